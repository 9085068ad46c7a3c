"""Plans in the making: what they cost, what machine code does to them, what they leave out."""

from dataclasses import replace

import numpy as np
import pytest

from planner.optimize.annealing import moves
from planner.optimize.annealing.anneal import FEWER_SHORT, anneal, errand
from planner.optimize.annealing.compiled import compiled, pointer
from planner.optimize.annealing.decode import lifted, on_model
from planner.optimize.annealing.moves import Tally
from planner.optimize.annealing.order_tables import order_tables
from planner.optimize.annealing.state import Board
from planner.optimize.incumbent.budgets import Budget
from planner.optimize.incumbent.incumbent import State
from planner.optimize.model.instance import make_instance
from planner.optimize.model.program import make_model
from planner.optimize.options import SolveOptions
from planner.optimize.search import run, workshop
from tests.support.random_season import hard_season, tiny_season


def random_board(season, seed: int):
    """A board with a random plan, improved a little, and the exact model that it belongs to."""
    it = make_instance(season)
    model = make_model(it)
    board = Board(it, model.choices, order_tables(it))
    rng = np.random.default_rng(seed)
    for f in rng.permutation(len(it.fields)).tolist():
        board.place(f, rng, noise=0.5)
    if seed % 2:
        most = int(rng.integers(1, 20))
        pieces = board.improve(rng, (1000.0, 100.0), lambda n: n / most if n < most else None, 1)
        board.lay(pieces)
    return model, board


def unshared(season):
    """The season without freight, discounts and limits on shares of all planted acres.

    The board takes the first two for what they are on average, the last for what they would be if
    nothing were short.
    """
    alone = replace(season.farm, most_of_one_variety=None)
    return replace(season, farm=alone, suppliers=(), discounts=(), maturity_spread=())


def check_board(season, seed: int) -> bool:
    """Whether the board can be ordered for; if so, that the model takes it, at the same cost."""
    model, board = random_board(unshared(season), seed)
    x = lifted(model, board)
    if board.cost > 1e9:  # more of a product than all containers hold
        assert x is None, seed
        return False
    assert x is not None, seed
    state = State(SolveOptions(), None, None)
    state.model = model
    assert state.offer(x), seed
    assert model.matrix.price(x) == pytest.approx(board.cost, rel=1e-6, abs=0.01), seed
    short = x[model.at["short"]]
    assert short == pytest.approx(np.maximum(0.0, board.short), abs=1e-6), seed
    return True


def test_board_prices_as_the_exact_model():
    """Bags, part bags, purchases, line losses, price breaks, credit, yield loss: the same money."""
    assert sum(check_board(tiny_season(seed), seed) for seed in range(200)) > 130
    for seed in range(12):
        assert check_board(hard_season(12, 8, 4, 1 + seed % 3, seed, short=seed % 4 == 0), seed)


def test_machine_code_does_what_the_plain_moves_do():
    """The same dice, the same plans: `moves` called as Python and compiled."""
    for seed in range(6):
        season = hard_season(12, 8, 4, 1 + seed % 3, seed, short=seed % 2 == 0)
        _, board = random_board(season, 2 * seed)
        x, c, w = board.facts, board.prices, board.scratch
        copies = [Tally(*(a.copy() for a in board.tally)) for _ in range(6)]
        plain, before, best, fast, old, kept = copies
        run = compiled().improve
        low = moves.improve(
            x, plain, c, w, np.random.default_rng(seed), before, best, np.inf, 30, 300.0
        )
        quick = [pointer(a) for a in (x, fast, c, w, old, kept)]
        again = run(*quick[:4], np.random.default_rng(seed), quick[4], quick[5], np.inf, 30, 300.0)
        assert low == pytest.approx(again, rel=1e-9), seed
        for a, b in zip(plain, fast, strict=True):
            assert a == pytest.approx(b, rel=1e-9, abs=1e-6), seed
        for a, b in zip(best, kept, strict=True):
            assert a == pytest.approx(b, rel=1e-9, abs=1e-6), seed


def test_freight_and_discounts_are_all_that_the_board_leaves_out():
    """The model's order is never dearer than the board's with all freight on top."""
    for seed in range(8):
        one = hard_season(12, 8, 4, 1 + seed % 3, seed)
        model, board = random_board(one, seed)
        x = lifted(model, board)
        assert x is not None
        freight = sum(s.freight for s in one.suppliers)
        assert model.matrix.price(x) <= board.cost + freight + 0.01


def test_board_goes_back_to_empty():
    """Taking every field off again leaves nothing used and nothing to pay but the empty order."""
    for seed in range(60):
        one = tiny_season(seed)
        _, board = random_board(one, seed)
        for f in range(len(board.acres)):
            board.take(f)
        board.fit_parts()
        s = board.tally
        left = board.cost, *s.need, *s.demand, *s.bags, *s.running, *s.lot_part, *s.rule_acres
        board.clear()
        s = board.tally
        fresh = board.cost, *s.need, *s.demand, *s.bags, *s.running, *s.lot_part, *s.rule_acres
        assert left == pytest.approx(fresh, abs=1e-6), seed


@pytest.mark.parametrize("size", [(50, 30, 6, 3, 10), (60, 40, 8, 1, 9)], ids=str)
def test_what_a_board_plants_of_scarce_seed_is_there(size):
    """Part bags and all: the exact model takes the plan, with fewer acres short than the first."""
    state = State(SolveOptions(effort=1), None, None)
    shop = workshop.open_shop(state, hard_season(*size, short=True))
    run._first_plan(shop)
    first = sum(state.short)
    job = errand(state, shop.board, Budget(1.0, steps=500), shop.rng)
    assert job.phases is FEWER_SHORT
    pieces = anneal(shop.board, job, state)
    x = on_model(state, shop.board, pieces)
    assert state.offer(x)
    assert sum(state.short) < 0.9 * first

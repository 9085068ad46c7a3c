"""Plans in the making: what they cost, what machine code does to them, what they leave out."""

from dataclasses import replace

import numpy as np
import pytest

from planner.optimize.annealing import moves
from planner.optimize.annealing.anneal import anneal, anneal_apart, annealing_job
from planner.optimize.annealing.compiled import compiled, pointer
from planner.optimize.annealing.decode import decoded, on_model
from planner.optimize.annealing.moves import Tally
from planner.optimize.annealing.order_tables import order_tables
from planner.optimize.annealing.state import AnnealingState
from planner.optimize.incumbent.budgets import Budget
from planner.optimize.incumbent.incumbent import Incumbent
from planner.optimize.model.instance import make_instance
from planner.optimize.model.program import make_model
from planner.optimize.options import SolveOptions
from planner.optimize.params import TUNED
from planner.optimize.search import common
from planner.optimize.search.first_plan import make_first_plan
from tests.support.random_season import hard_season, tiny_season


def random_state(season, seed: int):
    """A random plan in annealing, improved a little, and the exact model that it belongs to."""
    it = make_instance(season)
    model = make_model(it)
    current = AnnealingState(it, model.choices, order_tables(it))
    rng = np.random.default_rng(seed)
    for f in rng.permutation(len(it.fields)).tolist():
        current.place(f, rng, noise=0.5)
    if seed % 2:
        most = int(rng.integers(1, 20))
        pieces = current.improve(rng, (1000.0, 100.0), lambda n: n / most if n < most else None, 1)
        current.lay(pieces)
    return model, current


def unshared(season):
    """The season without freight, discounts and limits on shares of all planted acres.

    Annealing takes the first two for what they are on average, the last for what they would be if
    nothing were short.
    """
    alone = replace(season.farm, most_of_one_variety=None)
    return replace(season, farm=alone, suppliers=(), discounts=(), maturity_spread=())


def check_state(season, seed: int) -> bool:
    """Whether the plan can be ordered for; if so, that the model takes it, at the same cost."""
    model, current = random_state(unshared(season), seed)
    x = decoded(model, current)
    if current.cost > 1e9:  # more of a product than all containers hold
        assert x is None, seed
        return False
    assert x is not None, seed
    incumbent = Incumbent(SolveOptions(), None, None)
    incumbent.model = model
    assert incumbent.offer(x), seed
    assert model.matrix.price(x) == pytest.approx(current.cost, rel=1e-6, abs=0.01), seed
    short = x[model.at["short"]]
    assert short == pytest.approx(np.maximum(0.0, current.short), abs=1e-6), seed
    return True


def test_state_prices_as_the_exact_model():
    """Bags, part bags, purchases, line losses, price breaks, credit, yield loss: the same money."""
    assert sum(check_state(tiny_season(seed), seed) for seed in range(200)) > 130
    for seed in range(12):
        assert check_state(hard_season(12, 8, 4, 1 + seed % 3, seed, short=seed % 4 == 0), seed)


def test_machine_code_does_what_the_plain_moves_do():
    """The same dice, the same plans: `moves` called as Python and compiled."""
    for seed in range(6):
        season = hard_season(12, 8, 4, 1 + seed % 3, seed, short=seed % 2 == 0)
        _, current = random_state(season, 2 * seed)
        x, c, w = current.facts, current.prices, current.scratch
        copies = [Tally(*(a.copy() for a in current.tally)) for _ in range(6)]
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


def test_freight_and_discounts_are_all_that_the_state_leaves_out():
    """The model's order is never dearer than the annealing state's with all freight on top."""
    for seed in range(8):
        one = hard_season(12, 8, 4, 1 + seed % 3, seed)
        model, current = random_state(one, seed)
        x = decoded(model, current)
        assert x is not None
        freight = sum(s.freight for s in one.suppliers)
        assert model.matrix.price(x) <= current.cost + freight + 0.01


def test_state_goes_back_to_empty():
    """Taking every field off again leaves nothing used and nothing to pay but the empty order."""
    for seed in range(60):
        one = tiny_season(seed)
        _, current = random_state(one, seed)
        for f in range(len(current.acres)):
            current.take(f)
        current.fit_parts()
        s = current.tally
        left = current.cost, *s.need, *s.demand, *s.bags, *s.running, *s.lot_part, *s.rule_acres
        current.clear()
        s = current.tally
        fresh = current.cost, *s.need, *s.demand, *s.bags, *s.running, *s.lot_part, *s.rule_acres
        assert left == pytest.approx(fresh, abs=1e-6), seed


@pytest.mark.slow
@pytest.mark.parametrize("size", [(50, 30, 6, 3, 10), (60, 40, 8, 1, 9)], ids=str)
def test_what_a_state_plants_of_scarce_seed_is_there(size):
    """Part bags and all: the exact model takes the plan, with fewer acres short than the first."""
    incumbent = Incumbent(SolveOptions(effort=1), None, None)
    context = common.open_context(incumbent, hard_season(*size, short=True))
    make_first_plan(context)
    first = sum(incumbent.short)
    job = annealing_job(incumbent, Budget(1.0, steps=500), context.rng)
    assert job.phases is TUNED.annealing.fewer_short
    pieces = anneal(context.current, job, incumbent)
    x = on_model(incumbent, context.current, pieces)
    assert incumbent.offer(x)
    assert sum(incumbent.short) < 0.9 * first


class Sent:
    """A process that keeps what it is sent."""

    def __init__(self):
        self.sent = None
        self.jobs = []

    def run(self, job, arguments, stop):
        self.jobs.append(arguments)
        return [], []


def test_another_process_is_sent_only_the_choices_that_it_may_use():
    """A dealer's season has millions, and every process would hold them again."""
    params = replace(TUNED, many_choices=0, first_choices=2)
    incumbent = Incumbent(SolveOptions(params=params), None, None)
    context = common.open_context(incumbent, hard_season(12, 8, 4, 2, 1))
    make_first_plan(context)
    worker = Sent()
    for _ in range(2):
        job = annealing_job(incumbent, Budget(1.0), context.rng)
        assert anneal_apart(worker, context.current, job, incumbent, []) == []
    (first, _), (again, _) = worker.jobs
    assert len(first.choices) == len(context.current.choices) < len(context.current.it.choices)
    assert again is None  # it is there by then

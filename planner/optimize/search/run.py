"""How a season is solved: first as few acres short as possible, then as cheap as possible.

Plans are looked for on a board, in a process of its own, and here in neighborhoods of the exact
model; another process proves bounds, and all exchange what they find: see README.md of `optimize`.
"""

from __future__ import annotations

import threading
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from planner.errors import Interrupted, NoPlanError
from planner.optimize.annealing.anneal import plant_all
from planner.optimize.annealing.decode import lifted, on_model
from planner.optimize.annealing.order_tables import order_tables
from planner.optimize.annealing.state import Board
from planner.optimize.bounds.relaxations import exact, relax
from planner.optimize.heuristics.crossover import cross, worth_crossing
from planner.optimize.heuristics.neighborhood import Neighborhood, repair
from planner.optimize.heuristics.relax_and_fix import mend
from planner.optimize.incumbent.budgets import Budget, longest
from planner.optimize.incumbent.incumbent import State
from planner.optimize.incumbent.restrictions import capped
from planner.optimize.mip.highs import Answer, Limits, Matrix, now
from planner.optimize.mip.part import minimize_in_turn, solve_part
from planner.optimize.mip.process import TICK, start_apart
from planner.optimize.model.extract import make_plan
from planner.optimize.model.program import PURCHASE, rounded
from planner.optimize.options import SolveOptions, cores
from planner.optimize.search.head_start import (
    begin,
    begin_covered,
    head_start,
    leave_alone,
    to_the_end,
)
from planner.optimize.search.large import dive_for_plan, in_choices, narrow, prove_floor
from planner.optimize.search.portfolio import choose, rewarded
from planner.optimize.search.shortage import settle_shortage
from planner.optimize.search.strategies import RELAX_AND_FIX, _task, on_annealer
from planner.optimize.search.workshop import (
    GRACE,
    is_large,
    is_small,
    keep_to_fewest_short,
    open_shop,
    search_beside,
    sent_out,
    take_over,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

    from planner.optimize.annealing.state import Piece
    from planner.optimize.mip.highs import Floats
    from planner.optimize.mip.process import Worker
    from planner.optimize.model.program import Model
    from planner.optimize.options import OnProgress, Stop
    from planner.optimize.search.workshop import Workshop
    from planner.plan.plan import Plan
    from planner.season.domain import Season

FIRST_GAP = 0.1
"""How near its best the order of the first plan must be: nothing is known yet to order for."""
MOST_MORE = 6
"""Most processes that search beside the two that there always are."""
MENDED = 6
"""Plans made beside a settled relaxation before the exact model takes the floor over."""
ORDER_SECONDS = 2.0
"""Most time in the end for the cheapest order for what an unproven plan treats."""


def _plan_large(shop: Workshop) -> None:
    """Prove the floor of a large season, go on over its promising choices, and dive for a plan."""
    state = shop.state
    with _searching_aside(shop, turn=2):
        proven = prove_floor(state)
    if proven is None:
        return
    growing, orders = proven
    narrow(state, growing)
    model = state.model
    shop.board = Board(model.it, model.choices, order_tables(model.it))
    shop.near, shop.held = Neighborhood(capped(state)), state.short
    shop.guide = in_choices(model, growing)
    with _searching_aside(shop):
        if orders is not None and orders.best is not None:
            dive_for_plan(state, orders, shop.near)
        if state.options.effort is None:
            _get_ready(shop)


@contextmanager
def _searching_aside(shop: Workshop, turn: int = 0) -> Iterator[None]:
    """Search on a board in another process meanwhile; not where work is counted."""
    state, done = shop.state, threading.Event()
    if state.options.effort is not None:
        yield
        return

    def take(pieces: list[list[Piece]]) -> None:
        state.offer(on_model(state, shop.board, pieces))

    worker = shop.workers.for_bounds()
    aside = shop.workers.beside(lambda: search_beside(shop, worker, take, done, turn))
    try:
        yield
    finally:
        done.set()
        since = now()
        while aside.is_alive():
            aside.join(TICK)
            if state.is_set() and now() - since > GRACE:
                worker.close()


@dataclass(frozen=True, slots=True)
class _WithPlan:
    """Stop as the state does, but not without any plan."""

    state: State

    def is_set(self) -> bool:
        return self.state.x is not None and self.state.is_set()


def _first_plan(shop: Workshop) -> None:
    """Plant every field in one go; or, if the model does not take that, none at all.

    Where fields stay short, shares of all planted acres are shares of less: then once more, with
    less room.
    """
    state, board = shop.state, shop.board
    for _ in range(5):
        board.use_tables(order_tables(board.it), 1.0)
        plant_all(board, shop.rng)
        x = lifted(state.model, board, gap=FIRST_GAP, stop=_WithPlan(state))
        if state.offer(x) or state.x is not None:
            return
        planted = 1.0 - float(board.short.sum()) / float(board.acres.sum())
        board.rule_cap = board.rule_cap * min(0.98, 0.99 * planted)
    board.clear()
    state.offer(lifted(state.model, board, gap=FIRST_GAP))


def _in_background(shop: Workshop, model: Model) -> threading.Thread:
    def work() -> None:
        worker = shop.workers.for_bounds()
        if not is_large(shop):
            _prove(shop, model, worker)
        search_beside(shop, worker, shop.found.append)

    return shop.workers.beside(work)


def _prove(shop: Workshop, model: Model, worker: Worker) -> None:
    """Raise the floor; once the relaxation is settled, and plans made of it, by the exact model."""
    state = shop.state

    def take_bags(x: Floats) -> None:
        shop.bags = x

    settled = relax(state, model, shop.order.put, take_bags, worker.solve)
    rng = np.random.default_rng([state.options.seed, 1])
    rounds = 0
    while RELAX_AND_FIX.ready(shop) and worker.is_alive() and not state.is_set():
        if settled and rounds == MENDED:
            break
        if rounds % 3 == 2 and len(worth_crossing(state)) > 1:
            cross(state, shop.near, rng, worker.solve)
        else:
            mend(_task(shop, rng, worker.solve))
        rounds += 1
    if settled and not state.is_set():
        exact(state, model, to_the_end(state), worker.solve)


def _use_more_cores(shop: Workshop) -> None:
    """Search on one more board for every core beyond the two that are busy anyway."""
    for n in range(min(MOST_MORE, (shop.state.options.cores or cores()) - 2)):
        worker = shop.workers.start()

        def work(worker: Worker = worker, turn: int = n + 2) -> None:
            search_beside(shop, worker, shop.found.append, turn=turn, seed=turn)

        shop.workers.beside(work)


def _get_ready(shop: Workshop) -> None:
    """Have the board set up elsewhere; its first errand can take long."""
    sent_out(shop, Budget(0.01))
    shop.workers.ready.set()


def _search_by_time(shop: Workshop) -> None:
    state = shop.state
    if is_large(shop):
        _plan_large(shop)
    model = capped(state)
    shop.near, shop.held = Neighborhood(model), state.short
    _search_beside_proof(shop, _in_background(shop, model))


def _search_beside_proof(shop: Workshop, prover: threading.Thread) -> None:
    state = shop.state
    if not shop.workers.ready.is_set():
        shop.workers.beside(lambda: _get_ready(shop))
    _use_more_cores(shop)
    while not state.is_set():
        _turn(shop, None)
    prover.join(GRACE)
    shop.workers.close()
    prover.join(GRACE)
    if shop.workers.errors and state.x is None:
        raise shop.workers.errors[0]


def _search_small(shop: Workshop) -> None:
    """Solve the exact model at once; search beside it once it has had its head start."""
    state = shop.state
    planting = shop.workers.beside(lambda: _first_plan(shop))
    prover = begin_covered(shop)
    if prover is None:
        if state.x is None or not is_small(shop):
            planting.join()
        settle_shortage(shop)
    if state.x is not None and not state.is_set():
        model = capped(state)
        prover = prover or begin(shop, model)
        leave_alone(shop, prover)
        planting.join()
        shop.near, shop.held = Neighborhood(model), state.short
        _search_beside_proof(shop, prover)
    planting.join()


def _search_by_effort(shop: Workshop, effort: int) -> None:
    state, steps = shop.state, shop.state.options.params.step_nodes
    if is_large(shop):
        _plan_large(shop)
    model = capped(state)
    shop.near, shop.held = Neighborhood(model), state.short
    if not is_large(shop):
        exact(state, model, Limits(gap=state.options.gap / 2, nodes=steps * effort))
    shop.workers.ready.set()
    for _ in range(effort):
        if state.is_set():
            return
        _turn(shop, steps)


def _turn(shop: Workshop, steps: int | None) -> None:
    """Take over what was found elsewhere; else run the strategy with the best reward."""
    state = shop.state
    shop.turn += 1
    keep_to_fewest_short(shop)
    if shop.found:
        take_over(shop, shop.found.pop())
        return
    budget = Budget(min(shop.cycle, longest(state), state.left()), steps)
    if shop.guide is not None and shop.workers.ready.is_set():
        guide, shop.guide = shop.guide, None
        pieces = repair(shop.board, shop.near, guide, shop.rng)
        on_annealer(shop, budget, start=pieces, fine=True)
        return
    strategy = choose(shop)
    if strategy is None:
        shop.workers.ready.wait(TICK)
        return
    rewarded(shop, strategy, budget)


def _order_for_the_same(state: State) -> None:
    """Offer the best plan with the cheapest order for what it plants and treats.

    A search that is stopped early may hold an order that a small exact solve betters.
    """
    model, x = state.model, state.x
    assert x is not None
    limits = Limits(seconds=ORDER_SECONDS, seed=state.options.seed)
    if state.options.effort is not None:
        limits = Limits(nodes=state.options.params.step_nodes, seed=state.options.seed)
    y, _ = solve_part(model.matrix, model.of(PURCHASE), x, limits, known=True)
    if y is not None:
        state.offer(rounded(model, y))


def _settled(state: State) -> Floats:
    """The best plan with its whole numbers held and everything else solved again around them."""
    model, x = state.model, state.x
    assert x is not None
    free = ~model.matrix.integer

    def solve_one(matrix: Matrix, _: int) -> Answer:
        return solve_part(matrix, free, x)[1]

    def cap(_: int, answer: Answer | None) -> float:
        assert answer is not None
        return answer.objective * (1 + 1e-9) + 1e-9

    places = model.at["short_in"].tolist()
    answers, matrix = minimize_in_turn(model.matrix, places, solve_one, cap)
    y = solve_part(matrix, free, x)[0] if len(answers) == len(places) else None
    return x if y is None else y


def solve(
    season: Season,
    options: SolveOptions | None = None,
    on_progress: OnProgress | None = None,
    stop: Stop | None = None,
) -> Plan:
    """Plan a season.

    Raises
    ------
    NoPlanError
        When the time ran out before there was any plan, or the solver failed.
    Interrupted
        When `stop` was set before there was any plan.
    """
    return _solve(State(options or SolveOptions(), on_progress, stop), season)


def _solve(state: State, season: Season) -> Plan:
    return search(open_shop(state, season))


def search(shop: Workshop) -> Plan:
    """Search from an open workshop to the end; errors as `solve`."""
    state = shop.state
    try:
        if state.options.effort is None:
            shop.workers.for_bounds()
            start_apart()
        if head_start(shop):
            _search_small(shop)
        else:
            _first_plan(shop)
            settle_shortage(shop)
            if not state.is_set():
                if state.options.effort is None:
                    _search_by_time(shop)
                else:
                    _search_by_effort(shop, state.options.effort)
    finally:
        shop.workers.close()
    if state.x is None:
        if state.user_stop is not None and state.user_stop.is_set():
            msg = "stopped before there was any plan"
            raise Interrupted(msg)
        msg = f"no plan was found in {state.options.seconds:g} s; give it more time"
        raise NoPlanError(msg)
    if not state.ended.is_set():
        _order_for_the_same(state)
    plan = make_plan(state.model, _settled(state), state.floor, shortage_proven=state.short_proven)
    return replace(plan, seconds=state.seconds())

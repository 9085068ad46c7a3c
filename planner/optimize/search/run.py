"""How a season is solved: first as few acres short as possible, then as cheap as possible.

Plans are looked for by annealing, in a process of its own, and here in neighborhoods of the exact
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
from planner.optimize.annealing.decode import decoded, on_model
from planner.optimize.annealing.order_tables import order_tables
from planner.optimize.annealing.state import AnnealingState
from planner.optimize.bounds.relaxations import exact, relax
from planner.optimize.heuristics.crossover import cross
from planner.optimize.heuristics.neighborhood import Neighborhood, repair
from planner.optimize.heuristics.relax_and_fix import fix_in_turn
from planner.optimize.incumbent.budgets import Budget, longest
from planner.optimize.incumbent.incumbent import Incumbent
from planner.optimize.incumbent.restrictions import capped
from planner.optimize.mip.highs import Answer, Limits, Matrix, now
from planner.optimize.mip.part import minimize_in_turn, solve_part
from planner.optimize.mip.process import TICK, start_apart
from planner.optimize.model.extract import make_plan
from planner.optimize.model.program import PURCHASE, rounded
from planner.optimize.options import SolveOptions, cores
from planner.optimize.search.common import (
    DIVING,
    EXACT,
    GRACE,
    ORDER_APART,
    RELAXATION,
    is_large,
    is_tiny,
    keep_to_fewest_short,
    open_context,
    search_beside,
    submit_annealing,
    take_over,
    uses,
)
from planner.optimize.search.head_start import (
    begin,
    begin_covered,
    head_start,
    leave_alone,
    to_the_end,
)
from planner.optimize.search.large import dive_for_plan, in_choices, narrow, prove_bound
from planner.optimize.search.portfolio import choose, rewarded
from planner.optimize.search.shortage import settle_shortage
from planner.optimize.search.strategies import (
    NAMES,
    _task,
    crosses_over,
    on_annealer,
    relaxes_and_fixes,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

    from planner.optimize.annealing.state import Piece
    from planner.optimize.mip.highs import Floats
    from planner.optimize.mip.process import Worker
    from planner.optimize.model.program import Model
    from planner.optimize.options import OnProgress, Stop
    from planner.optimize.search.common import Context
    from planner.plan.plan import Plan
    from planner.season.domain import Season

FIRST_GAP = 0.1
"""How near its best the order of the first plan must be: nothing is known yet to order for."""
EXACT_SHARES = 250
"""Models with at most so many shares are not relaxed first.

Random seasons of 8 to 16 fields, 101 to 250 shares: to a proof in 9 s, with six plans made beside
first in 15 to 36 s; farms of 20 fields, 60 s, a gap of 1.8 against 2.3 % and 2.3 against 2.4 %."""
RIPE = 4.0
"""Seconds of search before that: the exact solve cuts far more off below a good plan.

A farm of 20 fields, one variety a field, after 40 s of the processor, with presolve and without: a
gap of 1.6 and 2.0 % where the best plan is known from the start, of 4.6 and 4.4 % where not."""
STALE = 15.0
"""Seconds without a better plan after which the search rests while the exact model is solved."""
REST = 3.0
"""Rests are so many times as long as turns of the search."""
MOST_MORE = 6
"""Most processes that search beside the two that there always are."""
REPAIRED = 6
"""Plans made beside a settled relaxation before the exact model takes the bound over."""
ORDER_SECONDS = 2.0
"""Most time in the end for the cheapest order for what an unproven plan treats."""


def _plan_large(context: Context) -> None:
    """Prove the bound of a large season, go on over its promising choices, and dive for a plan."""
    incumbent = context.incumbent
    with _searching_aside(context, turn=2):
        proven = prove_bound(incumbent, order_apart=uses(context, ORDER_APART))
    if proven is None:
        return
    master, orders = proven
    narrow(incumbent, master)
    model = incumbent.model
    context.current = AnnealingState(model.it, model.choices, order_tables(model.it))
    context.near, context.held = Neighborhood(capped(incumbent)), incumbent.short
    context.guide = in_choices(model, master)
    with _searching_aside(context):
        if orders is not None and orders.best is not None and uses(context, DIVING):
            dive_for_plan(incumbent, orders, context.near)
        if incumbent.options.effort is None:
            _get_ready(context)


@contextmanager
def _searching_aside(context: Context, turn: int = 0) -> Iterator[None]:
    """Anneal in another process meanwhile; not where work is counted."""
    incumbent, done = context.incumbent, threading.Event()
    if incumbent.options.effort is not None:
        yield
        return

    def take(pieces: list[list[Piece]]) -> None:
        incumbent.offer(on_model(incumbent, context.current, pieces))

    worker = context.workers.for_bounds()
    thread = context.workers.beside(lambda: search_beside(context, worker, take, done, turn))
    try:
        yield
    finally:
        done.set()
        since = now()
        while thread.is_alive():
            thread.join(TICK)
            if incumbent.is_set() and now() - since > GRACE:
                worker.close()


@dataclass(frozen=True, slots=True)
class _WithPlan:
    """Stop as the incumbent does, but not without any plan."""

    incumbent: Incumbent

    def is_set(self) -> bool:
        return self.incumbent.x is not None and self.incumbent.is_set()


def _first_plan(context: Context) -> None:
    """Plant every field in one go; or, if the model does not take that, none at all.

    Where fields stay short, shares of all planted acres are shares of less: then once more, with
    less room.
    """
    incumbent, current = context.incumbent, context.current
    for _ in range(5):
        current.use_tables(order_tables(current.it), 1.0)
        plant_all(current, context.rng)
        x = decoded(incumbent.model, current, gap=FIRST_GAP, stop=_WithPlan(incumbent))
        if incumbent.offer(x) or incumbent.x is not None:
            return
        planted = 1.0 - float(current.short.sum()) / float(current.acres.sum())
        current.rule_cap = current.rule_cap * min(0.98, 0.99 * planted)
    current.clear()
    incumbent.offer(decoded(incumbent.model, current, gap=FIRST_GAP))


def _in_background(context: Context, model: Model) -> threading.Thread:
    def work() -> None:
        worker = context.workers.for_bounds()
        if not is_large(context):
            _prove(context, model, worker)
        search_beside(context, worker, context.found.append)

    return context.workers.beside(work)


def _prove(context: Context, model: Model, worker: Worker) -> None:
    """Raise the bound: by the exact model soon where that is small, else by relaxations first.

    Once these are settled, and plans made of them, by the exact model too.
    """
    incumbent = context.incumbent
    settled = True
    if len(model.keys["share"]) > EXACT_SHARES or not uses(context, EXACT):
        settled = _settled_loosely(context, model, worker)
    else:
        incumbent.wait(RIPE)
    if settled and uses(context, EXACT) and not incumbent.is_set():
        context.proving = True
        exact(incumbent, model, to_the_end(incumbent), worker.solve)
        context.proving = False


def _settled_loosely(context: Context, model: Model, worker: Worker) -> bool:
    """Whether the relaxation is settled; plans are made of it and crossed meanwhile."""
    incumbent = context.incumbent

    def take_bags(x: Floats) -> None:
        context.bags = x

    settled = True
    if uses(context, RELAXATION):
        settled = relax(incumbent, model, context.order.put, take_bags, worker.solve)
    rng = np.random.default_rng([incumbent.options.seed, 1])
    rounds = 0
    while relaxes_and_fixes(context) and worker.is_alive() and not incumbent.is_set():
        if settled and rounds == REPAIRED:
            break
        if rounds % 3 == 2 and crosses_over(context):
            cross(incumbent, context.near, rng, worker.solve)
        else:
            fix_in_turn(_task(context, rng, worker.solve))
        rounds += 1
    return settled


def _use_more_cores(context: Context) -> None:
    """Search in one more process for every core beyond the two that are busy anyway."""
    for n in range(min(MOST_MORE, (context.incumbent.options.cores or cores()) - 2)):
        worker = context.workers.start()

        def work(worker: Worker = worker, turn: int = n + 2) -> None:
            search_beside(context, worker, context.found.append, turn=turn, seed=turn)

        context.workers.beside(work)


def _get_ready(context: Context) -> None:
    """Have the annealer set up elsewhere; its first job can take long."""
    submit_annealing(context, Budget(0.01))
    context.workers.ready.set()


def _search_by_time(context: Context) -> None:
    incumbent = context.incumbent
    if is_large(context):
        _plan_large(context)
    model = capped(incumbent)
    context.near, context.held = Neighborhood(model), incumbent.short
    _search_beside_proof(context, _in_background(context, model))


def _search_beside_proof(context: Context, prover: threading.Thread) -> None:
    incumbent = context.incumbent
    if not context.workers.ready.is_set():
        context.workers.beside(lambda: _get_ready(context))
    _use_more_cores(context)
    while not incumbent.is_set():
        since = now()
        _turn(context, None)
        if context.proving and now() - incumbent.improved > STALE:
            incumbent.wait(REST * (now() - since))
    prover.join(GRACE)
    context.workers.close()
    prover.join(GRACE)


def _search_small(context: Context) -> None:
    """Solve the exact model at once; search beside it once it has had its head start."""
    incumbent = context.incumbent
    planting = context.workers.beside(lambda: _first_plan(context))
    if is_tiny(context):
        planting.join()  # HiGHS has crashed in two threads of one process
    proof = begin_covered(context)
    if proof is None:
        planting.join()  # for the same reason: what settles the acres short solves here too
        settle_shortage(context)
    if incumbent.x is not None and not incumbent.is_set():
        model = capped(incumbent)
        proof = proof or begin(context, model)
        leave_alone(context, proof)
        planting.join()
        if incumbent.is_set():
            proof.thread.join(GRACE)
            return
        context.near, context.held = Neighborhood(model), incumbent.short
        _search_beside_proof(context, proof.thread)
    planting.join()


def _search_by_effort(context: Context, effort: int) -> None:
    incumbent, steps = context.incumbent, context.incumbent.options.params.step_nodes
    if is_large(context):
        _plan_large(context)
    model = capped(incumbent)
    context.near, context.held = Neighborhood(model), incumbent.short
    if not is_large(context) and uses(context, EXACT):
        exact(incumbent, model, Limits(gap=incumbent.options.gap / 2, nodes=steps * effort))
    context.workers.ready.set()
    for _ in range(effort):
        if incumbent.is_set():
            return
        _turn(context, steps)


def _turn(context: Context, steps: int | None) -> None:
    """Take over what was found elsewhere; else run the strategy with the best reward."""
    incumbent = context.incumbent
    context.turn += 1
    keep_to_fewest_short(context)
    if context.found:
        take_over(context, context.found.pop())
        return
    budget = Budget(min(context.cycle, longest(incumbent), incumbent.left()), steps)
    if context.guide is not None and context.workers.ready.is_set():
        guide, context.guide = context.guide, None
        pieces = repair(context.current, context.near, guide, context.rng)
        on_annealer(context, budget, start=pieces, fine=True)
        return
    strategy = choose(context)
    if strategy is None:
        context.workers.ready.wait(TICK)
        return
    rewarded(context, strategy, budget)


def _order_for_the_same(incumbent: Incumbent) -> None:
    """Offer the best plan with the cheapest order for what it plants and treats.

    A search that is stopped early may hold an order that a small exact solve betters.
    """
    model, x = incumbent.model, incumbent.x
    assert x is not None
    limits = Limits(seconds=ORDER_SECONDS, seed=incumbent.options.seed)
    if incumbent.options.effort is not None:
        limits = Limits(nodes=incumbent.options.params.step_nodes, seed=incumbent.options.seed)
    y, _ = solve_part(model.matrix, model.of(PURCHASE), x, limits, known=True)
    if y is not None:
        incumbent.offer(rounded(model, y))


def _settled(incumbent: Incumbent) -> Floats:
    """The best plan with its whole numbers held and everything else solved again around them."""
    model, x = incumbent.model, incumbent.x
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
    return _solve(Incumbent(options or SolveOptions(), on_progress, stop), season)


def _solve(incumbent: Incumbent, season: Season) -> Plan:
    return search(open_context(incumbent, season))


def search(context: Context) -> Plan:
    """Search in an open context to the end; errors as `solve`."""
    incumbent = context.incumbent
    assert incumbent.options.params.without <= NAMES
    try:
        if incumbent.options.effort is None and not is_tiny(context):
            context.workers.for_bounds()
            start_apart()
        if head_start(context):
            _search_small(context)
        else:
            _first_plan(context)
            settle_shortage(context)
            if not incumbent.is_set():
                if incumbent.options.effort is None:
                    _search_by_time(context)
                else:
                    _search_by_effort(context, incumbent.options.effort)
    finally:
        context.workers.close()
    if incumbent.x is None:
        if context.workers.errors:
            raise context.workers.errors[0]
        if incumbent.user_stop is not None and incumbent.user_stop.is_set():
            msg = "stopped before there was any plan"
            raise Interrupted(msg)
        msg = f"no plan was found in {incumbent.options.seconds:g} s; give it more time"
        raise NoPlanError(msg)
    if not incumbent.ended.is_set():
        _order_for_the_same(incumbent)
    plan = make_plan(
        incumbent.model,
        _settled(incumbent),
        incumbent.bound,
        shortage_proven=incumbent.short_proven,
    )
    return replace(plan, seconds=incumbent.seconds())

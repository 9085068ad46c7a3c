"""How a season is solved: first as few acres short as possible, then as cheap as possible.

A first plan is made without any search. Then acres short are made few. Then the cost is lowered:
one strategy after the other makes plans here and in an annealing process, another process proves
bounds, every further core anneals, and all exchange what they find. Seasons that the exact model
can settle are first solved by it alone. In the end the best plan gets its cheapest order.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.engine.jobs import cores
from planner.optimize.bounds.relaxations import exact
from planner.optimize.heuristics.neighborhood import repair
from planner.optimize.incumbent.budgets import Budget, longest
from planner.optimize.incumbent.incumbent import Incumbent
from planner.optimize.incumbent.restrictions import capped
from planner.optimize.mip.highs import Limits, now
from planner.optimize.mip.process import TICK, start_apart
from planner.optimize.options import SolveOptions
from planner.optimize.search.beside import GRACE, begin_search
from planner.optimize.search.common import (
    EXACT,
    ORDER_APART,
    get_ready,
    hold_short,
    is_large,
    is_tiny,
    keep_to_fewest_short,
    open_context,
    take_over,
    uses,
    with_patterns,
)
from planner.optimize.search.finish import finished
from planner.optimize.search.first_plan import make_first_plan
from planner.optimize.search.large import search_promising
from planner.optimize.search.objective import Objective, pursue
from planner.optimize.search.order_apart import settle_order
from planner.optimize.search.portfolio import choose, rewarded
from planner.optimize.search.proving import (
    begin_bounds,
    begin_covered,
    begin_exact,
    head_start,
    is_narrowed,
    is_relaxed,
    leave_alone,
)
from planner.optimize.search.shortage import prove_fewest, settle_shortage
from planner.optimize.search.strategies import NAMES, on_annealer

if TYPE_CHECKING:
    from threading import Thread

    from planner.optimize.model.program import Model
    from planner.optimize.options import OnProgress, Stop
    from planner.optimize.search.beside import Beside
    from planner.optimize.search.common import Context
    from planner.plan.plan import Plan
    from planner.season.domain import Season


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
    return search(open_context(Incumbent(options or SolveOptions(), on_progress, stop), season))


def search(context: Context) -> Plan:
    """Search in an open context to the end; errors as `solve`."""
    incumbent = context.incumbent
    assert incumbent.options.params.without <= NAMES
    try:
        if incumbent.options.effort is None and not is_tiny(context):
            context.workers.for_bounds()
            start_apart()
        if head_start(context):
            _exact_model_first(context)
        else:
            make_first_plan(context)
            settle_shortage(context)
            if not incumbent.is_set():
                _lower_cost(context)
        _settle_what_is_left(context)
    finally:
        incumbent.over.set()
        context.workers.close()
    return finished(context)


def _settle_what_is_left(context: Context) -> None:
    """Use the time left where the cost was proven before the acres short were."""
    incumbent = context.incumbent
    while incumbent.options.effort is None and not incumbent.is_set() and not is_large(context):
        was = incumbent.short
        prove_fewest(context)
        if incumbent.is_set() or incumbent.short == was:
            return
        if head_start(context):
            _prove_at_once(context)
        else:
            _lower_cost(context)


def _exact_model_first(context: Context) -> None:
    """Solve the exact model at once; search beside it once it has had its head start."""
    incumbent = context.incumbent
    planting = context.workers.beside(lambda: make_first_plan(context))
    if is_tiny(context):
        planting.join()  # HiGHS has crashed in two threads of one process
    proof = begin_covered(context)
    if proof is None:
        planting.join()  # for the same reason: what settles the acres short solves here too
        settle_shortage(context)
    if incumbent.x is not None and not incumbent.is_set():
        _prove_at_once(context, proof, planting)
    planting.join()


def _prove_at_once(
    context: Context, proof: Beside | None = None, planting: Thread | None = None
) -> None:
    """Prove the cost of the fewest acres short; search beside that after the head start."""
    incumbent = context.incumbent
    model = capped(incumbent)
    proof = proof or begin_exact(context, model)
    leave_alone(context, proof, model)
    if planting is not None:
        planting.join()
    if incumbent.is_done:
        proof.end()
        return
    if with_patterns(context):
        proof.end()
        _search_with_bounds(context, model)
        return
    hold_short(context, model)
    _begin_annealer(context)
    _search_beside_proof(context, proof)


def _lower_cost(context: Context) -> None:
    """Look for cheaper plans, with a proof beside; or, where work is counted, after it."""
    incumbent = context.incumbent
    if is_large(context):
        search_promising(context)
    model = capped(incumbent)
    effort, steps = incumbent.options.effort, incumbent.options.steps
    if effort is None and is_narrowed(context, model):
        _prove_at_once(context)
        return
    if effort is None or steps is None:
        _search_with_bounds(context, model)
        return
    hold_short(context, model)
    if not is_large(context) and uses(context, EXACT):
        limits = Limits(gap=incumbent.options.gap / 2, nodes=steps * effort, restarts=False)
        exact(incumbent, model, limits)
    context.workers.ready.set()
    pursue(context, COST, turns=effort)


def _search_with_bounds(context: Context, model: Model) -> None:
    """Decide order and planting apart first, where that says much; then search beside bounds."""
    hold_short(context, model)
    dive = None
    relaxed = is_relaxed(context, model) or with_patterns(context)
    if not is_large(context) and relaxed and uses(context, ORDER_APART):
        dive = settle_order(context, model)
        context.memory.turn += 1  # where plans are made step by step beside, first another way
    _begin_annealer(context)
    proof = begin_bounds(context, model)
    if dive is not None and not context.incumbent.is_set():
        dive()
    _search_beside_proof(context, proof)


def _begin_annealer(context: Context) -> None:
    if not context.workers.ready.is_set():
        context.workers.beside(lambda: get_ready(context))


def _search_beside_proof(context: Context, proof: Beside) -> None:
    options = context.incumbent.options
    more = min(options.params.strategies.most_more, (options.cores or cores()) - 2)
    workers = context.workers.for_more(max(0, more))
    others = [
        begin_search(context, worker=worker, turn=turn, seed=turn)
        for turn, worker in enumerate(workers, 2)
    ]
    pursue(context, COST)
    for other in others:
        other.done.set()
    proof.end()
    for other, worker in zip(others, workers, strict=True):
        other.thread.join(GRACE)
        if other.thread.is_alive():
            worker.close()  # the next thread to use it would hear what is meant for this one


def _run_next(context: Context, _: int, until: float) -> None:
    """Run the strategy with the best reward; rest where the exact model does better."""
    del until
    incumbent, since = context.incumbent, now()
    context.memory.turn += 1
    keep_to_fewest_short(context)
    seconds = min(context.memory.cycle, longest(incumbent), incumbent.left())
    budget = Budget(seconds, incumbent.options.steps)
    if context.memory.guide is not None and context.workers.ready.is_set():
        guide, context.memory.guide = context.memory.guide, None
        pieces = repair(context.current, context.near, guide, context.rng)
        on_annealer(context, budget, start=pieces, fine=True)
    elif (strategy := choose(context)) is not None:
        rewarded(context, strategy, budget)
    else:
        context.workers.ready.wait(TICK)
    params = incumbent.options.params.proof
    stale = context.workers.listed or now() - incumbent.improved > params.stale
    if context.workers.proving and stale:
        incumbent.wait(params.rest * (now() - since))


COST = Objective(lambda context: context.incumbent.is_done, take_over, _run_next)
"""Cheaper plans with no more acres short, by the portfolio."""

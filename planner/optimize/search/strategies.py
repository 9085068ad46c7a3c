"""Every strategy, listed once: what it is called, when it can run, and what it does."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from planner.optimize.heuristics.relax_and_fix import Task, fix_in_turn
from planner.optimize.incumbent.budgets import Budget, longest
from planner.optimize.mip.highs import solve as solve_matrix
from planner.optimize.model.program import order_held
from planner.optimize.search.common import (
    BOUNDS,
    Context,
    bags_near,
    best_of_patterns,
    best_pieces,
    polish_near,
    search_neighborhoods,
    submit_annealing,
    take_over,
    uses,
)

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy as np

    from planner.optimize.annealing.state import Piece
    from planner.optimize.mip.highs import Solver
    from planner.optimize.mip.process import Worker


def _never(_: Context) -> bool:
    return False


@dataclass(frozen=True, slots=True)
class Strategy:
    """A method that makes plans; what it finds is offered to the incumbent."""

    name: str
    ready: Callable[[Context], bool]
    """Whether it could run now."""
    run: Callable[[Context, Budget], None]
    """Run it for about the budget."""
    at_once: Callable[[Context], bool] = _never
    """Whether it is to run before any other that is ready."""
    leads: bool = False
    """Whether it takes every other turn, where it is ready."""
    tried_once: bool = False
    """Whether it is tried once even where another strategy leads."""


def _from_scratch(context: Context, budget: Budget) -> None:
    """Anneal from a first planting."""
    on_annealer(context, budget)
    if context.patterns is None:  # many plans are worth more there than good ones
        context.memory.cycle = min(context.memory.cycle * 1.3, longest(context.incumbent))


def _from_best(context: Context, budget: Budget) -> None:
    """Go on from the best plan by annealing."""
    on_annealer(context, budget, start=best_pieces(context), fine=True)


def _container_less(context: Context, budget: Budget) -> None:
    """Go on from the best plan, doing without one of its containers."""
    on_annealer(context, budget, start=best_pieces(context), fine=True, less=True)


def _bags_but_for_one(context: Context, budget: Budget) -> None:
    """Solve for plans with nearly the bags of the best one."""
    del budget
    assert context.incumbent.x is not None
    bags_near(context, context.incumbent.x)


def _full_bags(context: Context, budget: Budget) -> None:
    """Solve for plans with just the full bags of the best one, and just its order."""
    del budget
    assert context.incumbent.x is not None
    bags_near(context, context.incumbent.x, within=0, order=False)


def _set_partitioning(context: Context, budget: Budget) -> None:
    """Put patterns of all plans so far together again, under the order of the best one.

    Where seed is short, few of them can be so: under any order.
    """
    del budget
    incumbent = context.incumbent
    _polish_best(context)
    model = context.near.model
    assert incumbent.x is not None
    matrix = model.matrix if incumbent.is_short else order_held(model, incumbent.x)
    incumbent.offer(best_of_patterns(context, matrix))
    _polish_best(context)


def _polish_best(context: Context) -> None:
    """Polish the best plan, if it is new."""
    incumbent = context.incumbent
    if (
        incumbent.x is not None
        and incumbent.x is not context.memory.polished
        and not incumbent.is_set()
    ):
        polish_near(context, incumbent.x)
        context.memory.polished = incumbent.x


def _relax_and_fix(context: Context, budget: Budget) -> None:
    """Make a plan step by step."""
    del budget
    fix_in_turn(relax_and_fix_task(context, context.rng, solve_matrix))


def relax_and_fix_task(
    context: Context, rng: np.random.Generator, solver: Solver, worker: Worker | None = None
) -> Task:
    """What relax-and-fix works with: a process besides, where its solver is one."""
    return Task(context.incumbent, context.near, context.order, rng, solver, worker)


def on_annealer(
    context: Context,
    budget: Budget,
    *,
    start: list[list[Piece]] | None = None,
    fine: bool = False,
    less: bool = False,
) -> None:
    """Anneal in the other process, and take over the plan that it finds."""
    pieces = submit_annealing(context, budget, start=start, fine=fine, less=less)
    if pieces is not None:
        take_over(context, pieces)
    else:
        context.workers.ready.clear()


def _annealer_ready(context: Context) -> bool:
    return context.workers.ready.is_set()


def _plans_enough(context: Context) -> bool:
    """Whether there are plans enough for their patterns; late, any will do."""
    if context.patterns is None or not _annealer_ready(context):
        return False
    options = context.incumbent.options
    late = context.incumbent.left() < options.params.strategies.late * options.seconds
    return len(context.workers.seen) >= (1 if late else options.params.enough_seen)


def _patterns_wanted(context: Context) -> bool:
    """Whether patterns are still to be put together for the first time, of plans yet to come."""
    untried = context.patterns is not None and "set partitioning" not in context.memory.rewards
    return untried and _annealer_ready(context) and not _plans_enough(context)


def _order_known(context: Context) -> bool:
    return context.near.has_shares and context.patterns is None and context.order.x is not None


def _several_varieties(context: Context) -> bool:
    return context.near.has_shares and context.near.most > 1


def _no_patterns(context: Context) -> bool:
    return context.near.has_shares and (context.patterns is None or context.incumbent.is_short)


RELAX_AND_FIX = Strategy("relax and fix", _order_known, _relax_and_fix, leads=True)
STRATEGIES = (
    RELAX_AND_FIX,
    Strategy("annealing from scratch", _annealer_ready, _from_scratch, at_once=_patterns_wanted),
    Strategy("full bags fixed", _several_varieties, _full_bags),
    Strategy("annealing from the best plan", _annealer_ready, _from_best, tried_once=True),
    Strategy("set partitioning", _plans_enough, _set_partitioning, at_once=_plans_enough),
    Strategy("a container less", _annealer_ready, _container_less),
    Strategy("bags fixed but for one", _no_patterns, _bags_but_for_one),
    Strategy("large neighborhood search", _no_patterns, search_neighborhoods),
)
"""All of them, in the order in which they are first tried."""
NAMES = frozenset({*BOUNDS, *(s.name for s in STRATEGIES)})
"""Everything that `SearchParams.without` may name."""


def relaxes_and_fixes(context: Context) -> bool:
    """Whether relax-and-fix could run now."""
    return uses(context, RELAX_AND_FIX.name) and RELAX_AND_FIX.ready(context)

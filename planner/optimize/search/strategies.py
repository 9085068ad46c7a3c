"""Every strategy, listed once: what it is called, when it can run, and what it does."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from planner.optimize.heuristics.crossover import cross, worth_crossing
from planner.optimize.heuristics.relax_and_fix import Task, mend
from planner.optimize.incumbent.budgets import Budget, longest
from planner.optimize.mip.highs import solve as solve_matrix
from planner.optimize.model.program import order_held
from planner.optimize.search.workshop import (
    Workshop,
    around,
    bags_near,
    best_pieces,
    is_large,
    polish_near,
    put_together,
    sent_out,
    take_over,
)

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy as np

    from planner.optimize.annealing.state import Piece
    from planner.optimize.mip.highs import Solver

LATE = 0.15
"""Share of the time in the end in which any plans seen on boards are worth putting together."""


def _never(_: Workshop) -> bool:
    return False


@dataclass(frozen=True, slots=True)
class Strategy:
    """One way to a better plan; what it finds is offered to the incumbent."""

    name: str
    ready: Callable[[Workshop], bool]
    """Whether it could run now."""
    run: Callable[[Workshop, Budget], None]
    """Run it for about the budget."""
    at_once: Callable[[Workshop], bool] = _never
    """Whether it is to run before any other that is ready."""
    leads: bool = False
    """Whether it takes every other turn, where it is ready."""
    tried_once: bool = False
    """Whether it is tried once even where another strategy leads."""


def _anew(shop: Workshop, budget: Budget) -> None:
    """Cool a board down from a first planting."""
    on_annealer(shop, budget)
    if shop.patterns is None:  # many plans are worth more there than good ones
        shop.cycle = min(shop.cycle * 1.3, longest(shop.state))


def _finer(shop: Workshop, budget: Budget) -> None:
    """Go on from the best plan on the board."""
    on_annealer(shop, budget, start=best_pieces(shop), fine=True)


def _less(shop: Workshop, budget: Budget) -> None:
    """Go on from the best plan, doing without one of its containers."""
    on_annealer(shop, budget, start=best_pieces(shop), fine=True, less=True)


def _bags(shop: Workshop, budget: Budget) -> None:
    """Solve for plans with nearly the bags of the best one."""
    del budget
    assert shop.state.x is not None
    bags_near(shop, shop.state.x)


def _parts(shop: Workshop, budget: Budget) -> None:
    """Solve for plans with just the full bags of the best one, and just its order."""
    del budget
    assert shop.state.x is not None
    bags_near(shop, shop.state.x, within=0, order=False)


def _patterns(shop: Workshop, budget: Budget) -> None:
    """Put patterns of all plans so far together anew, under the order of the best one.

    Where seed is short, few of them can be so: under any order.
    """
    del budget
    state = shop.state
    _polish_best(shop)
    model = shop.near.model
    assert state.x is not None
    matrix = model.matrix if state.is_short else order_held(model, state.x)
    state.offer(put_together(shop, matrix))
    _polish_best(shop)


def _polish_best(shop: Workshop) -> None:
    """Polish the best plan, if it is new."""
    state = shop.state
    if state.x is not None and state.x is not shop.polished and not state.is_set():
        polish_near(shop, state.x)
        shop.polished = state.x


def _steps(shop: Workshop, budget: Budget) -> None:
    """Make a plan step by step."""
    del budget
    mend(_task(shop, shop.rng, solve_matrix))


def _task(shop: Workshop, rng: np.random.Generator, solver: Solver) -> Task:
    return Task(shop.state, shop.near, shop.order, shop.bags, rng, solver)


def _cross(shop: Workshop, budget: Budget) -> None:
    """Cross the best plan with another good one."""
    del budget
    cross(shop.state, shop.near, shop.rng, solve_matrix)


def on_annealer(
    shop: Workshop,
    budget: Budget,
    *,
    start: list[list[Piece]] | None = None,
    fine: bool = False,
    less: bool = False,
) -> None:
    """Anneal in the other process, and take over the plan that it finds."""
    pieces = sent_out(shop, budget, start=start, fine=fine, less=less)
    if pieces is not None:
        take_over(shop, pieces)
    else:
        shop.workers.ready.clear()


def _annealer_ready(shop: Workshop) -> bool:
    return shop.workers.ready.is_set()


def _plans_enough(shop: Workshop) -> bool:
    """Whether there are plans enough for their patterns; late, any will do."""
    if shop.patterns is None or not _annealer_ready(shop):
        return False
    options = shop.state.options
    late = shop.state.left() < LATE * options.seconds
    return len(shop.seen) >= (1 if late else options.params.enough_seen)


def _patterns_wanted(shop: Workshop) -> bool:
    """Whether patterns are still to be put together for the first time, of plans yet to come."""
    untried = shop.patterns is not None and "set partitioning" not in shop.paid
    return untried and _annealer_ready(shop) and not _plans_enough(shop)


def _order_known(shop: Workshop) -> bool:
    return shop.near.has_shares and shop.patterns is None and shop.order.x is not None


def _parents_known(shop: Workshop) -> bool:
    several = shop.near.has_shares and shop.patterns is None and not is_large(shop)
    return several and len(worth_crossing(shop.state)) > 1


def _several_varieties(shop: Workshop) -> bool:
    return shop.near.has_shares and shop.near.most > 1


def _no_patterns(shop: Workshop) -> bool:
    return shop.near.has_shares and (shop.patterns is None or shop.state.is_short)


RELAX_AND_FIX = Strategy("relax and fix", _order_known, _steps, leads=True)
STRATEGIES = (
    RELAX_AND_FIX,
    Strategy("annealing from scratch", _annealer_ready, _anew, at_once=_patterns_wanted),
    Strategy("full bags fixed", _several_varieties, _parts),
    Strategy("crossover", _parents_known, _cross, tried_once=True),
    Strategy("annealing from the best plan", _annealer_ready, _finer, tried_once=True),
    Strategy("set partitioning", _plans_enough, _patterns, at_once=_plans_enough),
    Strategy("a container less", _annealer_ready, _less),
    Strategy("bags fixed but for one", _no_patterns, _bags),
    Strategy("large neighborhood search", _no_patterns, around),
)
"""All of them, in the order in which they are first tried."""

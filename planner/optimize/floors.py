"""Proven floors: the exact model, or a relaxation of it, worked on beside the search for plans.

Whatever is proven here is a bound of the full problem: a relaxation only drops rules.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from planner.optimize.solver import Limits, Verdict, Watch, solve
from planner.optimize.state import SHORT_SLACK
from planner.optimize.strategies import relaxed

if TYPE_CHECKING:
    from collections.abc import Callable

    from planner.optimize.model import Model
    from planner.optimize.solver import Answer, Floats
    from planner.optimize.state import State

EXACT_SHARES = 500
"""Models with at most so many shares go to the exact solve at once."""
RELAXED_TIME = 0.35
"""Share of the time for the relaxation, where it goes first."""


def whole(model: Model, x: Floats) -> Floats:
    """Round what must be whole."""
    return np.where(model.matrix.integer, np.round(x), x)


def prove(state: State, model: Model, take_guide: Callable[[Floats], None]) -> None:
    """Raise the floor of the cost until the gap is closed or the time is up.

    `model` has its shortage held. Solutions of a relaxation go to `take_guide`.
    """
    if len(model.keys["share"]) > EXACT_SHARES:
        share = state.options.seconds * RELAXED_TIME
        _relaxed(state, model, min(state.left(), share), take_guide)
    if not state.is_set():
        exact(state, model, Limits(seconds=state.left(), gap=state.options.gap / 2))


def _relaxed(
    state: State, model: Model, seconds: float, take_guide: Callable[[Floats], None]
) -> Answer:
    loose = relaxed(model)
    limits = Limits(seconds=seconds, gap=max(state.options.gap, 5e-4), seed=state.options.seed)
    watch = Watch(state, lambda x, _: take_guide(whole(loose, x)), state.raise_floor)
    answer = solve(loose.matrix, limits, watch=watch)
    state.raise_floor(answer.bound)
    if answer.x is not None:
        take_guide(whole(loose, answer.x))
    return answer


def exact(state: State, model: Model, limits: Limits) -> Answer:
    """Solve the exact model from the best plan, exchanging plans and floors with the state."""

    def better(cost: float) -> Floats | None:
        mine = state.cost < cost - 1e-6 * max(1.0, abs(cost))
        return state.x if mine else None

    watch = Watch(state, _taker(state, model), state.raise_floor, better)
    answer = solve(model.matrix, limits, start=state.x, watch=watch)
    if answer.x is not None:
        state.offer(whole(model, answer.x))
    proven = answer.verdict is Verdict.OPTIMAL and not np.isfinite(answer.bound)
    state.raise_floor(answer.objective if proven else answer.bound)
    if answer.verdict is Verdict.OPTIMAL:
        state.ended.set()
    return answer


def _taker(state: State, model: Model) -> Callable[[Floats, float], None]:
    def take(x: Floats, _: float) -> None:
        state.offer(whole(model, x))

    return take


def fewest_short(state: State, model: Model, seconds: float, nodes: int | None = None) -> bool:
    """Make acres short as few as possible, priority by priority; says whether that is proven."""
    proven = True
    for place in range(len(model.keys["short_in"])):
        column = int(model.at["short_in"][place])
        if not state.short or state.short[place] > 1e-9:
            cost = np.zeros(model.matrix.n_columns)
            cost[column] = 1.0
            aim = model.aimed(cost)
            limits = Limits(seconds=seconds, gap=0.0, nodes=nodes, seed=state.options.seed)
            watch = Watch(state, _taker(state, model))
            answer = solve(aim.matrix, limits, start=state.x, watch=watch)
            if answer.x is not None:
                state.offer(whole(model, answer.x))
            proven = proven and answer.verdict is Verdict.OPTIMAL
        if not state.short:
            return False
        upper = model.matrix.upper[model.at["short_in"]].copy()
        upper[place] = min(upper[place], state.short[place] + SHORT_SLACK)
        model = model.bounded("short_in", upper)
    return proven

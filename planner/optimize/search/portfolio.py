"""Which strategy runs next: an adaptive portfolio (epsilon-greedy).

Each runs once, then mostly the one with the highest reward, which is the money that it saved a
second lately; at times any.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from planner.optimize.mip.highs import now
from planner.optimize.search.common import uses
from planner.optimize.search.strategies import STRATEGIES, Strategy

if TYPE_CHECKING:
    from planner.optimize.incumbent.budgets import Budget
    from planner.optimize.search.common import Context


def choose(context: Context) -> Strategy | None:
    """The strategy to run next; None if none is ready."""
    rewards = context.memory.rewards
    ready = [s for s in STRATEGIES if uses(context, s.name) and s.ready(context)]
    urgent = [s for s in ready if s.at_once(context)]
    if urgent or not ready:
        return urgent[0] if urgent else None
    leading = [s for s in ready if s.leads]
    if leading and context.memory.turn % 2:
        return leading[0]
    untried = [s for s in ready if s.name not in rewards and (s.tried_once or not leading)]
    if untried:
        return untried[0]
    if context.rng.random() < context.incumbent.options.params.strategies.exploration:
        return ready[int(context.rng.integers(len(ready)))]
    return max(ready, key=lambda s: rewards.get(s.name, 0.0))


def rewarded(context: Context, strategy: Strategy, budget: Budget) -> None:
    """Run a strategy, and note its reward."""
    incumbent = context.incumbent
    before, began, means = incumbent.cost, now(), _means(context)
    strategy.run(context, budget)
    if means != _means(context):
        # before there is an annealer, or an order to hold, other strategies do well
        context.memory.rewards.clear()
    elif np.isfinite(before):
        seconds = now() - began if budget.steps is None else 1.0
        rate = (before - incumbent.cost) / max(0.1, seconds)
        context.memory.rewards[strategy.name] = (
            0.25 * context.memory.rewards.get(strategy.name, rate) + 0.75 * rate
        )


def _means(context: Context) -> tuple[bool, bool]:
    return context.workers.ready.is_set(), context.order.x is not None

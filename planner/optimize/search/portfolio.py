"""Which strategy runs next: an adaptive portfolio (epsilon-greedy).

Each runs once, then mostly the one with the highest reward, which is the money that it saved a
second lately; at times any.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from planner.optimize.mip.highs import now
from planner.optimize.search.strategies import STRATEGIES, Strategy

if TYPE_CHECKING:
    from planner.optimize.incumbent.budgets import Budget
    from planner.optimize.search.workshop import Workshop

EXPLORATION = 0.3
"""How often a strategy runs that does not have the highest reward."""


def choose(shop: Workshop) -> Strategy | None:
    """The strategy to run next; None if none is ready."""
    ready = [s for s in STRATEGIES if s.ready(shop)]
    urgent = [s for s in ready if s.at_once(shop)]
    if urgent or not ready:
        return urgent[0] if urgent else None
    leading = [s for s in ready if s.leads]
    if leading and shop.turn % 2:
        return leading[0]
    untried = [s for s in ready if s.name not in shop.paid and (s.tried_once or not leading)]
    if untried:
        return untried[0]
    if shop.rng.random() < EXPLORATION:
        return ready[int(shop.rng.integers(len(ready)))]
    return max(ready, key=lambda s: shop.paid.get(s.name, 0.0))


def rewarded(shop: Workshop, strategy: Strategy, budget: Budget) -> None:
    """Run a strategy, and note its reward."""
    state = shop.state
    before, began, means = state.cost, now(), _means(shop)
    strategy.run(shop, budget)
    if means != _means(shop):
        shop.paid.clear()  # before there is a board, or an order to hold, other strategies do well
    elif np.isfinite(before):
        seconds = now() - began if budget.steps is None else 1.0
        rate = (before - state.cost) / max(0.1, seconds)
        shop.paid[strategy.name] = 0.25 * shop.paid.get(strategy.name, rate) + 0.75 * rate


def _means(shop: Workshop) -> tuple[bool, bool]:
    return shop.workers.ready.is_set(), shop.order.x is not None

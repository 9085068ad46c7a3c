"""Containers that are bought for no more than the farm's margin on product."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from planner.plan.price import order_cost
from planner.risk.uses import accounts

if TYPE_CHECKING:
    from planner.plan.plan import Plan
    from planner.season.domain import Season

CRUMB = 1e-6
"""Fl oz, and money, that count as none."""


class ForMargin(NamedTuple):
    """A container without which all but a part of the margin would be covered."""

    product: str
    container: str
    floz: float
    """Fl oz that are needed of it."""
    margin: float
    """Fl oz that the margin on the product comes to."""
    saved: float
    """Money paid less without it."""


def for_margin(season: Season, plan: Plan) -> tuple[ForMargin, ...]:
    """Find, for every product, the container of which no more than the margin is needed, if any.

    Of several kinds, the one that costs most; none that it costs nothing to have.
    """
    share = season.farm.product_margin
    margin = {a.product: a.on_seed * share / (1.0 + share) for a in accounts(season, plan)}
    left = {u.product: u.left for u in plan.products}
    found: dict[str, ForMargin] = {}
    for line in plan.order:
        usable = season.container_named[line.product, line.container].usable
        floz = usable - left[line.product]
        if not CRUMB < floz <= margin.get(line.product, 0.0) + CRUMB:
            continue
        saved = _saved(season, plan, (line.product, line.container))
        best = found.get(line.product)
        if saved > CRUMB and (best is None or saved > best.saved):
            found[line.product] = ForMargin(
                line.product, line.container, floz, margin[line.product], saved
            )
    return tuple(found.values())


def _saved(season: Season, plan: Plan, one: tuple[str, str]) -> float:
    """Money paid less without one container; 0 where so few can't be ordered."""
    counts = plan.counts
    if 1 < counts[one] <= min(b.from_count for b in season.container_named[one].breaks):
        return 0.0
    fewer = order_cost(season, {**counts, one: counts[one] - 1})
    return plan.cost.for_product - fewer.paid

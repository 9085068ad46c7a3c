"""Containers that are added to a decided order to be safe, and the plan without them."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

from planner.plan import price
from planner.plan.plan import Added, Plan
from planner.sums import summed

if TYPE_CHECKING:
    from collections.abc import Iterable

    from planner.season.domain import Season


def with_added(season: Season, plan: Plan, added: Iterable[Added]) -> Plan:
    """Return a plan with containers added to its order, all else as it was, priced again."""
    total = summed(((a.product, a.container), a.count) for a in (*plan.added, *added))
    more = tuple(Added(*key, round(count)) for key, count in total.items())
    return _reordered(season, as_decided(season, plan), more, 1)


def as_decided(season: Season, plan: Plan) -> Plan:
    """Return a plan without the containers that were added to its order, priced again."""
    if not plan.added:
        return plan
    return replace(_reordered(season, plan, plan.added, -1), added=())


class MorePaid(NamedTuple):
    """What a plan costs more than one that orders less."""

    paid: float
    """Money that leaves the farm."""
    kept: float
    """What of it stays in product left over, as plans are compared."""


def more_paid(less: Plan, more: Plan) -> MorePaid:
    """Compare what is paid for two orders of plans that are else the same."""
    paid = more.cost.spent - less.cost.spent
    return MorePaid(paid, paid - (more.cost.total - less.cost.total))


def _reordered(season: Season, plan: Plan, added: tuple[Added, ...], sign: int) -> Plan:
    counts = plan.counts
    for a in added:
        key = a.product, a.container
        counts[key] = counts.get(key, 0) + sign * a.count
    made = price.price_plan(
        season,
        counts,
        plan.bags_bought,
        plan.treating,
        plan.planting,
        plan.run_order,
        bound=plan.bound,
        shortage_proven=plan.shortage_proven,
    )
    return replace(
        made,
        shortages=plan.shortages,
        added=added,
        warnings=plan.warnings,
        seconds=plan.seconds,
    )

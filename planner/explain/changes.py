"""What differs between two plans of one farm, said shortly."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

from planner.plan.moves import ACRE, acres_by_share

if TYPE_CHECKING:
    from planner.plan.plan import Plan


def field_changes(old: Plan, new: Plan) -> list[str]:
    """Names of fields that are planted otherwise, in the old plan's order, then the new one's."""
    before, after = acres_by_share(old), acres_by_share(new)
    return list(
        dict.fromkeys(
            key[0]
            for key in [*before, *after]
            if abs(before.get(key, 0.0) - after.get(key, 0.0)) > ACRE
        )
    )


def order_changes(old: Plan, new: Plan) -> dict[tuple[str, str], int]:
    """Containers more (or fewer) that the new plan orders, by (product, container)."""
    change: dict[tuple[str, str], int] = defaultdict(int)
    for o in new.order:
        change[o.product, o.container] += o.count
    for o in old.order:
        change[o.product, o.container] -= o.count
    return {key: n for key, n in change.items() if n}


def acres_short(plan: Plan) -> float:
    """Acres that a plan leaves unplanted."""
    return sum(s.acres for s in plan.shortages)

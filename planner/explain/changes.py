"""What differs between two plans of one farm, said shortly."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING, NamedTuple

from planner.plan.moves import ACRE, acres_by_share, short_by_priority

if TYPE_CHECKING:
    from planner.explain.words import Speech
    from planner.plan.plan import Plan
    from planner.season.domain import Season


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


class Gain(NamedTuple):
    """What a plan plants more than another one, the first priorities first."""

    acres: float
    """Of priorities of which more is planted; 0 where the plan serves none better."""
    instead: float = 0.0
    """Of later priorities, that stay short in their place."""

    def in_place(self, speech: Speech) -> str:
        """Say which acres they take the place of; empty where there are none."""
        if self.instead <= ACRE:
            return ""
        return f" in place of {speech.acres(self.instead)} of a later priority"


def gain(plan: Plan, other: Plan, season: Season) -> Gain | None:
    """Return what another plan plants more; None where it plants less of what comes first.

    Their fields are those of the season.
    """
    both = zip(short_by_priority(plan, season), short_by_priority(other, season), strict=True)
    more = [a - b for a, b in both if abs(a - b) > ACRE]
    if more and more[0] < 0.0:
        return None
    return Gain(sum((max(0.0, m) for m in more), 0.0), sum((max(0.0, -m) for m in more), 0.0))


def acres_short(plan: Plan) -> float:
    """Acres that a plan leaves unplanted."""
    return sum(s.acres for s in plan.shortages)

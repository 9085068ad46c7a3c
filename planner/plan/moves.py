"""What of an earlier assignment of seed to fields a plan keeps, and what it moves.

Acres count as moved where a field no longer gets the variety, the recipe or the grower's seed that
it had. Lots of one variety and grower are interchangeable on a field that drops as many seeds of
either: which of them it gets is no move.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.season.domain import TargetStand
from planner.sums import summed

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from planner.plan.plan import Plan
    from planner.season.domain import Season

ACRE = 0.005
"""Acres that count as none."""

Share = tuple[str, str, str]
"""Field, lot, recipe."""
Kind = tuple[str, tuple[object, ...], str]
"""Field, what its lots have in common, recipe."""


def acres_by_share(plan: Plan) -> dict[Share, float]:
    """Acres planted, by (field, lot, recipe)."""
    return dict(summed(((p.field, p.lot, p.recipe), p.acres) for p in plan.planting))


def kinds_of(shares: Iterable[Share], season: Season) -> dict[Share, Kind]:
    """Kind of every share: shares of one kind are the same to the field."""
    by_stand = {f.name for f in season.fields if isinstance(f.sowing, TargetStand)}
    found: dict[Share, Kind] = {}
    for share in shares:
        field, name, recipe = share
        lot = season.lot_named.get(name)
        if lot is None:  # nothing is known of it any more
            found[share] = field, (name,), recipe
        else:
            germination = lot.germination if field in by_stand else None
            found[share] = field, (lot.variety, lot.grower, germination), recipe
    return found


def moved_by_field(
    old: Mapping[Share, float], new: Mapping[Share, float], season: Season
) -> dict[str, float]:
    """Acres of an old assignment that a new one does not keep, by field; those that keep all aside.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> season = SimpleNamespace(lot_named={}, fields=())
    >>> moved_by_field({("North", "L1", "Full"): 80.0}, {("North", "L1", "Full"): 50.0}, season)
    {'North': 30.0}
    """
    kinds = kinds_of({**old, **new}, season)
    missing = summed((kinds[share], acres) for share, acres in old.items())
    for share, acres in new.items():
        if kinds[share] in missing:
            missing[kinds[share]] -= acres
    moved = summed((field, acres) for (field, _, _), acres in missing.items() if acres > 0.0)
    return {field: acres for field, acres in moved.items() if acres > ACRE}


def moved_acres(old: Plan, new: Plan, season: Season) -> float:
    """Acres of an old plan's assignment that a new one does not keep."""
    return sum(moved_by_field(acres_by_share(old), acres_by_share(new), season).values())


def swapped_acres(old: Mapping[Share, float], new: Plan) -> float:
    """Acres of an old assignment that do not keep their lot, interchangeable or not."""
    after = acres_by_share(new)
    return sum(max(0.0, acres - after.get(share, 0.0)) for share, acres in old.items())


def short_by_priority(plan: Plan, season: Season) -> tuple[float, ...]:
    """Acres short of every priority, the first to be served first."""
    priority = {f.name: f.priority for f in season.fields}
    short = dict.fromkeys(sorted(set(priority.values())), 0.0)
    for s in plan.shortages:
        short[priority[s.field]] += s.acres
    return tuple(short.values())


def shorter(a: tuple[float, ...], b: tuple[float, ...]) -> bool:
    """Whether acres short by priority are fewer: the first priority that differs decides.

    >>> shorter((0.0, 5.0), (1.0, 0.0)), shorter((1.0, 5.0), (1.0, 5.001))
    (True, False)
    """
    for x, y in zip(a, b, strict=True):
        if abs(x - y) > ACRE:
            return x < y
    return False

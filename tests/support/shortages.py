"""Acres short by priority, and which of two shortages is the lesser."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

    from planner.plan.plan import Plan
    from planner.season.domain import Season


def short_by_priority(plan: Plan, season: Season) -> tuple[float, ...]:
    """Acres that a plan leaves short, by rising priority of the fields."""
    priority = {f.name: f.priority for f in season.fields}
    return tuple(
        sum(s.acres for s in plan.shortages if priority[s.field] == p)
        for p in sorted(set(priority.values()))
    )


def compared(short: Iterable[float], other: Iterable[float], tolerance: float = 1e-4) -> int:
    """-1 where fewer acres are short than in the other, 1 where more, 0 where the same.

    The first priority that differs by more than the tolerance decides. (`<=` on tuples would let
    any difference, however small, hide all priorities after it.)
    """
    for mine, theirs in zip(short, other, strict=True):
        if abs(mine - theirs) > tolerance:
            return -1 if mine < theirs else 1
    return 0

"""Orders that would bring more off, were they placed by a discount's last day.

A supplier whose own last day to order is later than a discount's counts for nothing there. He who
orders sooner loses nothing but time.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from planner.plan.plan import CENT
from planner.plan.price import best_levels

if TYPE_CHECKING:
    from collections.abc import Collection
    from datetime import date

    from planner.plan.plan import OrderLine
    from planner.season.domain import Season


@dataclass(frozen=True, slots=True)
class Sooner:
    """What ordering by an earlier day saves, the order itself held."""

    suppliers: tuple[str, ...]
    """Those whose own last day is later, and of whom all is ordered by that day instead."""
    day: date
    discounts: tuple[str, ...]
    """Names of the discounts that take more off."""
    saves: float
    """Money, more than the plan's discounts take off."""


def sooner(season: Season, lines: Collection[OrderLine]) -> tuple[Sooner, ...]:
    """For each day on which a discount ends, what is saved when more is ordered by it.

    Days before the plan's own are past. A day is left out where a later one saves as much, and so
    are suppliers whose orders add nothing.
    """
    ends = {d.order_by for d in season.discounts if d.order_by}
    days = sorted((day for day in ends if day >= season.farm.plan_date), reverse=True)
    found: list[Sooner] = []
    for day in days:
        one = _by(season, lines, day)
        if one is not None and all(one.saves > other.saves + CENT for other in found):
            found.append(one)
    return tuple(reversed(found))


def _by(season: Season, lines: Collection[OrderLine], day: date) -> Sooner | None:
    """All that could be ordered by a day, of the suppliers that it takes; None if none."""
    dated = {s.name: s.order_by for s in season.suppliers if s.order_by}
    late = [x.supplier for x in lines if x.supplier in dated and dated[x.supplier] > day]
    names = tuple(dict.fromkeys(late))
    most = _more_off(season, lines, names, day)
    if most <= CENT:
        return None
    for name in names:
        fewer = tuple(n for n in names if n != name)
        if _more_off(season, lines, fewer, day) > most - CENT:
            names = fewer
    before, after = (_off(s, lines) for s in (season, _moved(season, names, day)))
    more = [key[0] for key, off in after.items() if off > before.get(key, 0.0) + CENT]
    return Sooner(names, day, tuple(dict.fromkeys(more)), most)


def _more_off(
    season: Season, lines: Collection[OrderLine], names: Collection[str], day: date
) -> float:
    moved = _moved(season, names, day)
    return sum(_off(moved, lines).values()) - sum(_off(season, lines).values())


def _off(season: Season, lines: Collection[OrderLine]) -> dict[tuple[str, str | None], float]:
    """Money taken off, by discount."""
    return {key: saving for key, (_, saving) in best_levels(season, lines).items()}


def _moved(season: Season, names: Collection[str], day: date) -> Season:
    """Season in which some suppliers are ordered from by an earlier day."""
    suppliers = tuple(replace(s, order_by=day) if s.name in names else s for s in season.suppliers)
    return replace(season, suppliers=suppliers)

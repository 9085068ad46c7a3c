"""Who shares an order, and the season of some of them alone."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from planner.season.names import key

if TYPE_CHECKING:
    from collections.abc import Collection

    from planner.season.domain import Field, Grower, Season

FARM = "The farm"
"""Name of the farm itself where it has none."""


def farm_name(season: Season) -> str:
    """Name under which the farm itself shares."""
    return season.farm.name or FARM


def in_a_sentence(farm: str) -> str:
    """Name of the farm inside a sentence: one without a name is the farm."""
    return farm if farm != FARM else FARM.lower()


def growers_of(season: Season) -> tuple[str, ...]:
    """Growers of fields, then of seed lots; the farm itself where a field names nobody.

    A grower who is named as the farm is the farm.
    """
    farm = farm_name(season)
    names = [owner(f, season) for f in season.fields]
    names += [lot.grower for lot in season.lots if lot.grower]
    found: dict[str, str] = {}
    for name in names:
        found.setdefault(key(name), farm if key(name) == key(farm) else name)
    return tuple(found.values())


def owner(field: Field, season: Season) -> str:
    """Grower who pays for a field."""
    farm = farm_name(season)
    return farm if not field.grower or key(field.grower) == key(farm) else field.grower


def fields_of(season: Season, name: str) -> frozenset[str]:
    """Names of the fields that a grower pays for."""
    return frozenset(f.name for f in season.fields if key(owner(f, season)) == key(name))


def shared(season: Season) -> bool:
    """Whether two growers or more share the season's order."""
    return len(growers_of(season)) > 1


def record_of(season: Season, name: str) -> Grower | None:
    """What sheet Growers says of a grower."""
    return next((g for g in season.growers if key(g.name) == key(name)), None)


def season_of(season: Season, names: Collection[str]) -> Season:
    """The season with the fields and lots of some growers, and all that belongs to nobody."""
    wanted = {key(name) for name in names}
    fields = tuple(f for f in season.fields if key(owner(f, season)) in wanted)
    lots = tuple(x for x in season.lots if not x.grower or key(x.grower) in wanted)
    have = {x.name for x in lots}
    return replace(
        season,
        fields=fields,
        lots=lots,
        treated=tuple(t for t in season.treated if t.lot in have),
        unknowns=(),
        what_if=(),
    )

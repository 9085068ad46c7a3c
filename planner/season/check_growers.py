"""Rules among rows on the growers who order together; each returns the faults that it finds."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.season.farm import settings
from planner.season.names import key, near
from planner.season.references import index

if TYPE_CHECKING:
    from collections.abc import Iterator

    from planner.errors import Fault
    from planner.season.match import Tables


def growers_are_of_the_season(tables: Tables) -> Iterator[Fault]:
    """Every grower has a field or a seed lot, or is the farm itself."""
    names = index(tables, "Fields", "Grower") | index(tables, "Seed lots", "Grower")
    if any(line.bad for line in tables["Farm"].lines):
        return  # the farm's own name may be what is not read
    farm = settings(tables["Farm"]).get("name")
    if isinstance(farm, str):
        names |= {key(farm): farm}
    table = tables["Growers"]
    for line in table.lines:
        name = line.get("name")
        if isinstance(name, str) and key(name) not in names:
            remedy = near(name, names.values()) or "name the grower in Fields"
            expected = "a Grower of Fields or Seed lots, or the farm's name"
            yield table.fault(line, "name", expected, remedy)


GROWERS_RULES = (growers_are_of_the_season,)

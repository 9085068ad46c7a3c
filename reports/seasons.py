"""The seasons that benchmarks are made on: written by a seeded maker, none from elsewhere.

Run from the top of the project to write one as a folder of CSV files, to plan it or to look at it:

    python -m reports.seasons 60,30,6,3,5 a-new-folder

for 60 fields, 30 lots, 6 recipes, up to 3 varieties a field and the maker's seed 5; with `,short`
at the end its seed lots do not suffice.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from tests.support.random_season import hard_season
from tests.support.written import write

if TYPE_CHECKING:
    from planner.season.domain import Season

DEMO = Path(__file__).parent.parent / "data" / "demo"


class Case(NamedTuple):
    """What a generated season is made from; its text is its name."""

    fields: int
    lots: int
    recipes: int
    varieties: int
    """Most on a field."""
    seed: int
    short: bool = False
    """Seed does not suffice, whatever is planted where."""

    def __str__(self) -> str:
        return ",".join(map(str, self[:5])) + (",short" if self.short else "")

    def season(self) -> Season:
        """Make it; the same case gives the same season on every machine."""
        return hard_season(*self[:5], short=self.short)


FARMS = (
    Case(20, 12, 4, 1, 1),
    Case(20, 12, 4, 1, 12),
    Case(30, 18, 5, 2, 2),
    Case(40, 24, 6, 1, 3),
    Case(40, 24, 6, 2, 31),
    Case(45, 24, 6, 3, 4),
    Case(50, 30, 6, 1, 21),
    Case(60, 30, 6, 2, 5),
    Case(60, 30, 6, 3, 5),
    Case(60, 40, 8, 1, 2),
    Case(60, 40, 8, 1, 6),
    Case(60, 40, 8, 2, 33),
    Case(60, 40, 8, 3, 7),
)
SHORT = (
    Case(20, 12, 4, 1, 8, short=True),
    Case(30, 18, 5, 1, 2, short=True),
    Case(60, 40, 8, 1, 9, short=True),
    Case(60, 40, 8, 2, 5, short=True),
    Case(50, 30, 6, 3, 10, short=True),
    Case(400, 150, 12, 1, 1, short=True),
)
DEALERS = (
    Case(400, 150, 12, 3, 3),
    Case(400, 150, 12, 3, 11),
    Case(400, 150, 12, 1, 12),
    Case(3000, 600, 16, 3, 13),
)
HARD = ("demo", *map(str, FARMS + SHORT + DEALERS))
"""The benchmark's seasons, by name."""
GROWING = (20, 60, 200, 600, 2_000, 3_000)
GROWTH = tuple(Case(n, round(12 * (n / 20) ** 0.8), 8, 2, 1) for n in GROWING)
"""Seasons of growing size, lots growing with the fields to the power 0.8."""
CORES = ("demo", "60,30,6,2,5", "60,30,6,3,5", "60,40,8,1,6", "400,150,12,3,11")
"""Those that are solved on one core, two and more, by name."""
QUICK = ("demo", str(Case(6, 6, 3, 1, 1, short=True)))
QUICK_GROWTH = (Case(6, 6, 3, 2, 1), Case(12, 8, 3, 2, 1))
"""A few that are solved in no time, to try the whole path."""


def case(name: str) -> Case:
    """What a generated season's name says.

    Raises
    ------
    ValueError
        When it is not five whole numbers with commas between, `,short` behind them or not.
    """
    numbers, _, short = name.partition(",short")
    if short or numbers.count(",") != 4:
        message = f"{name!r} is no season: FIELDS,LOTS,RECIPES,VARIETIES,SEED or that with ,short"
        raise ValueError(message)
    return Case(*map(int, numbers.split(",")), short=name != numbers)


def load(name: str) -> Season:
    """The season of a name: generated, `demo`, or a folder's."""
    if name[0].isdigit():
        return case(name).season()
    from planner.season.read import read_season

    return read_season(DEMO if name == "demo" else Path(name))


def count_fields(name: str) -> int:
    """Fields of a season, without loading it."""
    if name[0].isdigit():
        return case(name).fields
    folder = DEMO if name == "demo" else Path(name)
    return len((folder / "fields.csv").read_text("utf-8").splitlines()) - 1


def main() -> None:
    """Write the season asked for."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("season", type=case, help="FIELDS,LOTS,RECIPES,VARIETIES,SEED[,short]")
    asked.add_argument("folder", type=Path)
    a = asked.parse_args()
    print(write(a.season.season(), a.folder))


if __name__ == "__main__":
    main()

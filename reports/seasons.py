"""Write a hard random season as a folder of CSV files, to plan it or to look at it.

Run from the top of the project; the last number is the seed:

    python -m reports.seasons 60 30 6 3 1 a-new-folder [--short]

for 60 fields, 30 lots, 6 recipes and up to 3 varieties a field.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from tests.hard_seasons import random_season
from tests.written import write

__all__ = ["random_season"]


def main() -> None:
    """Write the season asked for."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    for name in ("fields", "lots", "recipes", "varieties", "seed"):
        asked.add_argument(name, type=int)
    asked.add_argument("folder", type=Path)
    asked.add_argument("--short", action="store_true", help="seed does not suffice")
    a = asked.parse_args()
    season = random_season(a.fields, a.lots, a.recipes, a.varieties, a.seed, short=a.short)
    print(write(season, a.folder))


if __name__ == "__main__":
    main()

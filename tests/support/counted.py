"""Plans by counted effort: what they decide, and those that are kept.

`python -m tests.support.counted` makes the kept ones again, after a change of the optimizer that is
meant to change them.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from planner.optimize.options import SolveOptions
from planner.optimize.search.run import solve
from tests.support.random_season import full_season, fuller_season, hard_season

KEPT = Path(__file__).parents[1] / "instances" / "counted_effort.json"
MADE = {
    "full 0": lambda: full_season(0),
    "full 71": lambda: full_season(71),
    "fuller 3": lambda: fuller_season(3),
    "hard 12 x 8, one variety": lambda: hard_season(12, 8, 3, 1, 5),
    "hard 12 x 8, two varieties": lambda: hard_season(12, 8, 3, 2, 5),
}
EFFORT = 2


def decided(name: str) -> dict[str, Any]:
    """What a plan decides, to eight digits."""
    plan = solve(MADE[name](), SolveOptions(effort=EFFORT))
    return {
        "total": float(f"{plan.cost.total:.8g}"),
        "order": [[o.product, o.container, o.count] for o in plan.order],
        "treating": [[t.lot, t.recipe, t.full_bags, t.part_bag] for t in plan.treating],
        "planting": [[p.field, p.lot, p.recipe, float(f"{p.acres:.8g}")] for p in plan.planting],
    }


def main() -> None:
    """Make the kept plans again."""
    KEPT.write_text(json.dumps({name: decided(name) for name in MADE}, indent=1) + "\n", "utf-8")


if __name__ == "__main__":
    main()

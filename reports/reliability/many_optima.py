"""Plan many small random seasons to proof and hold each against a second model in separate code.

Run from the top of the project:

    python -m reports.reliability.many_optima --seasons 3000 --first 60000

Where the two differ, brute force is asked if the season is small enough for it. Prints every season
that is not settled, then one line of counts; ends with 1 if a plan was wrong.
"""

from __future__ import annotations

import argparse
import sys
from math import isclose

from planner.optimize.options import SolveOptions
from planner.optimize.search import solve
from planner.plan.audit import audit
from planner.plan.plan import Outcome
from tests import milp, oracle
from tests.seasons import random_season

LARGEST = 50_000
"""Size of the largest season that brute force is asked about."""


def same(one: milp.Answer, other: milp.Answer) -> bool:
    """Whether acres short and cost are the same up to rounding."""
    short = all(abs(a - b) <= 1e-5 for a, b in zip(one.short, other.short, strict=True))
    return short and isclose(one.cost, other.cost, rel_tol=1e-6, abs_tol=5e-4)


def look(seed: int) -> str:
    """Plan one season: proven, unproven, wrong, or the second model's fault."""
    season = random_season(seed)
    plan = solve(season, SolveOptions(seconds=30, gap=0.0))
    audit(plan, season)
    priority = {f.name: f.priority for f in season.fields}
    short = tuple(
        sum(s.acres for s in plan.shortages if priority[s.field] == p)
        for p in sorted(set(priority.values()))
    )
    found = milp.Answer(short, plan.cost.total)
    proven = "proven" if plan.outcome is Outcome.OPTIMAL else "not proven"
    try:
        if same(found, milp.solve(season)):
            return proven
    except AssertionError:
        pass  # its solver gave up
    if oracle.size(season) > LARGEST:
        return "not settled"
    return "second model wrong" if same(found, oracle.solve(season)) else "wrong"


def main() -> int:
    """Look at as many seasons as asked."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--seasons", type=int, default=3000)
    asked.add_argument("--first", type=int, default=60_000, help="seed of the first season")
    a = asked.parse_args()
    counts: dict[str, int] = {}
    for seed in range(a.first, a.first + a.seasons):
        verdict = look(seed)
        counts[verdict] = counts.get(verdict, 0) + 1
        if verdict != "proven":
            print(seed, verdict, flush=True)
    print(", ".join(f"{n} {verdict}" for verdict, n in sorted(counts.items())))
    return 1 if counts.get("wrong") else 0


if __name__ == "__main__":
    sys.exit(main())

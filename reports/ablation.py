"""What each strategy and each bound is worth: every one is switched off in turn.

    python -m reports.ablation --seconds 15          # all seasons, three seeds: some 80 minutes
    python -m reports.ablation --few --effort 2      # three small seasons: a quarter of an hour
    python -m reports.ablation --page                # only the page again, from what is known

A run is a season, a seed, and what it does without. Each is added to a file of results as soon as
it is done, so that it can be stopped at any time (Ctrl-C, or `--minutes`) and gone on with: runs
that are in the file are not made again. `reports/ablation.md` is written at the end of each go.
"""

from __future__ import annotations

import argparse
import json
from collections import defaultdict
from pathlib import Path
from statistics import mean
from time import monotonic
from typing import Any, NamedTuple

from planner.optimize.incumbent.incumbent import Incumbent
from planner.optimize.options import SearchParams, SolveOptions
from planner.optimize.search import common
from planner.optimize.search.common import BOUNDS, open_context
from planner.optimize.search.run import search, solve
from planner.optimize.search.strategies import STRATEGIES
from planner.plan.audit import audit
from reports.machine import code, described
from reports.seasons import Case, case, load

HERE = Path(__file__).parent
PAGE, RESULTS = HERE / "ablation.md", HERE / "ablation.jsonl"
SEASONS = (
    "demo",
    "20,12,4,1,1",
    "30,18,5,2,2",
    "40,24,6,1,3",
    "45,24,6,3,4",
    "60,30,6,2,5",
    "60,40,8,1,2",
    "20,12,4,1,8,short",
    "60,40,8,2,5,short",
    "400,150,12,3,3",
)
"""Small, middling and large; one variety a field and several; seed enough and short."""
FEW = tuple(map(str, (Case(12, 8, 3, 1, 5), Case(9, 6, 3, 2, 5), Case(7, 5, 3, 1, 6, short=True))))
SEEDS = (0, 1, 2)
PARTS = (*(s.name for s in STRATEGIES), *BOUNDS)
ALL = ""
"""Nothing is switched off."""
NO_BOUND = 90.0
"""Percent of the cost that a bound is lower that is worth nothing."""
NEEDS_SEVERAL = {
    "relax and fix",
    "full bags fixed",
    common.RELAXATION,
    common.DIVING,
}
"""Strategies that never run where a field has one variety."""
NEEDS_SHORT_OR_SEVERAL = {"bags fixed but for one", "large neighborhood search"}
NEEDS_ONE = {"set partitioning"}
NEEDS_SHORT = {common.AGGREGATED}
MANY_FIELDS = 400
TIMES_THE_LIMIT = 3.0
"""A season of so many fields gets this many times the seconds."""
NOTHING = 0.05
"""Percent: what is worth less than this in every season has no place in the search."""


class Run(NamedTuple):
    """One search; equal ones are made once."""

    season: str
    without: str
    seed: int
    seconds: float
    effort: int | None


def wanted(a: argparse.Namespace) -> list[Run]:
    """Every run, so ordered that each further seed makes all comparisons a little surer."""
    parts = (ALL, *PARTS)
    return [
        Run(season, part, seed, a.seconds, a.effort)
        for seed in SEEDS
        for season in a.seasons
        for part in parts
        if can_matter(part, season)
    ]


def can_matter(part: str, season: str) -> bool:
    """Whether a part can run at all in a season of that kind."""
    if season == "demo":
        return part not in NEEDS_ONE | NEEDS_SHORT
    made = case(season)
    several = made.varieties > 1
    if part in NEEDS_SHORT_OR_SEVERAL:
        return several or made.short
    return not (
        (part in NEEDS_SEVERAL and not several)
        or (part in NEEDS_ONE and several)
        or (part in NEEDS_SHORT and not made.short)
    )


def limit_of(run: Run) -> float:
    """Seconds that a run may take."""
    many = run.season != "demo" and case(run.season).fields >= MANY_FIELDS
    return run.seconds * (TIMES_THE_LIMIT if many else 1.0)


def made(run: Run) -> dict[str, Any]:
    """Make a run: what its plan costs, what is short, and what is proven."""
    season = load(run.season)
    params = SearchParams(without=frozenset({run.without} - {ALL}))
    options = SolveOptions(seconds=limit_of(run), effort=run.effort, seed=run.seed, params=params)
    context = open_context(Incumbent(options, None, None), season)
    plan = search(context)
    audit(plan, season)
    strange = [name for name in context.memory.rewards if not can_matter(name, run.season)]
    assert not strange, f"{strange} ran in {run.season} though left out of the comparison"
    return {
        **run._asdict(),
        "short": sum(s.acres for s in plan.shortages),
        "cost": plan.cost.total,
        "bound": plan.bound,
        "took": plan.seconds,
        "code": code(),
    }


def known(file: Path) -> dict[Run, dict[str, Any]]:
    """Runs that a file of results holds."""
    lines = file.read_text("utf-8").splitlines() if file.exists() else []
    rows = [json.loads(line) for line in lines if line]
    return {Run(*(row[name] for name in Run._fields)): row for row in rows}


def go_on(a: argparse.Namespace) -> None:
    """Make the runs that are missing, as long as there is time."""
    until = monotonic() + 60.0 * a.minutes
    done = known(a.results)
    missing = [run for run in wanted(a) if run not in done]
    if missing:  # the first search of a process compiles and loads, which is no run's fault
        solve(load(FEW[0]), SolveOptions(seconds=15.0, gap=1.0))
    for number, run in enumerate(missing, 1):
        if monotonic() >= until:
            break
        row = made(run)
        with a.results.open("a", encoding="utf-8") as out:
            out.write(json.dumps(row) + "\n")
        name = run.without or "nothing"
        print(
            f"{number}/{len(missing)} {run.season} without {name}: {row['cost']:,.2f}", flush=True
        )


# --- the page ---------------------------------------------------------------------------------


def worth(rows: dict[Run, dict[str, Any]], part: str) -> dict[str, dict[str, float]]:
    """What a season loses without a part: means over the seeds that both were run with.

    Acres more short; then, where acres are the same to a hundredth, percent of cost and of bound.
    """
    found: dict[str, list[dict[str, float]]] = defaultdict(list)
    for run, row in rows.items():
        full = rows.get(run._replace(without=ALL))
        if run.without == part and full is not None:
            scale = max(1.0, abs(full["cost"])) / 100.0
            found[run.season].append(
                {
                    "acres": row["short"] - full["short"],
                    "cost": (row["cost"] - full["cost"]) / scale,
                    "bound": (full["bound"] - row["bound"]) / scale,
                }
            )
    return {
        season: {key: mean(x[key] for x in each) for key in each[0]} | {"seeds": len(each)}
        for season, each in found.items()
    }


def cell(one: dict[str, float] | None) -> str:
    """Cost and bound lost in percent; acres where any more or less are short."""
    if one is None:
        return ""
    bound = f" / {one['bound']:+.2f}" if abs(one["bound"]) >= 0.005 else ""
    if one["bound"] > NO_BOUND:
        bound = " / no bound"
    if abs(one["acres"]) > 0.01:
        return f"{one['acres']:+.1f} ac"
    return f"{one['cost']:+.2f}{bound}"


def written(a: argparse.Namespace) -> None:
    """Write the page from the results for these limits."""
    rows = {
        run: row
        for run, row in known(a.results).items()
        if (run.seconds, run.effort) == (a.seconds, a.effort)
    }
    seasons = [s for s in dict.fromkeys((*SEASONS, *FEW)) if any(r.season == s for r in rows)]
    lost = {part: worth(rows, part) for part in PARTS}
    limit = f"{a.seconds:g} s a run" if a.effort is None else f"{a.effort} counted steps a run"
    table = [
        f"| without | {' | '.join(seasons)} |",
        "|---|" + "---|" * len(seasons),
        *(f"| {p} | {' | '.join(cell(lost[p].get(s)) for s in seasons)} |" for p in PARTS),
    ]
    full = [run for run in rows if run.without == ALL]
    codes = ", ".join(sorted({row["code"] for row in rows.values()}))
    text = [
        "# What each strategy and each bound is worth",
        "Made by `python -m reports.ablation`; nothing here is edited by hand.",
        f"Each is switched off in turn, all else as it is; {limit} (three times that from"
        f" {MANY_FIELDS} fields up); means over the seeds tried (up to {len(SEEDS)}). Seasons by"
        " fields, lots, recipes, most varieties a field, the maker's seed; short: its seed does not"
        " suffice. Empty: it never runs there. Percent of the cost that a plan is dearer without"
        " it, behind the slash percent that the proven bound is lower; acres (ac) where more or"
        " fewer are short.",
        f"{len(rows)} runs, {len(full)} of them with everything; code {codes}; {described()}.",
        "\n".join(table),
        spread(rows),
        verdict(lost, seasons),
    ]
    PAGE.write_text("\n\n".join(text) + "\n", "utf-8")
    print(f"{PAGE}: {len(rows)} runs")


def spread(rows: dict[Run, dict[str, Any]]) -> str:
    """How far runs with everything differ by their seeds alone."""
    each: dict[str, list[float]] = defaultdict(list)
    for run, row in rows.items():
        if run.without == ALL:
            each[run.season].append(row["cost"])
    said = [
        f"{season} {100.0 * (max(costs) - min(costs)) / max(1.0, abs(min(costs))):.2f}"
        for season, costs in each.items()
        if len(costs) > 1
    ]
    return f"With everything, the dearest seed is above the cheapest by (%): {'; '.join(said)}."


def verdict(lost: dict[str, dict[str, dict[str, float]]], seasons: list[str]) -> str:
    """What is worth nothing, as far as that can be said yet."""
    whole = len(seasons) >= len(SEASONS)
    little = []
    for part in PARTS:
        each = lost[part].values()
        small = [max(x["cost"], x["bound"]) < NOTHING and x["acres"] <= 0.01 for x in each]
        if small and all(small):
            little.append(part)
    named = ", ".join(little) if little else "none"
    said = f"Worth less than {NOTHING} % in every season tried: {named}."
    wanted = [(part, season) for part in PARTS for season in seasons if can_matter(part, season)]
    if not whole or any(season not in lost[part] for part, season in wanted):
        said += (
            f" This is a part of the {len(SEASONS)} seasons only: it says nothing for the others."
        )
    return said


def main() -> None:
    """Make runs, then the page."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--seconds", type=float, default=20.0, help="of each run")
    asked.add_argument("--effort", type=int, help="counted steps of each run in place of seconds")
    asked.add_argument("--minutes", type=float, default=float("inf"), help="stop after these")
    asked.add_argument("--few", action="store_true", help="three small seasons")
    asked.add_argument("--seasons", nargs="+", help="names as in reports/seasons.py")
    asked.add_argument("--results", type=Path, default=RESULTS)
    asked.add_argument("--page", action="store_true", help="make no run, only the page")
    a = asked.parse_args()
    a.seasons = a.seasons or (FEW if a.few else SEASONS)
    try:
        if not a.page:
            go_on(a)
    except KeyboardInterrupt:
        print("stopped; the same command goes on from here")
    written(a)


if __name__ == "__main__":
    main()

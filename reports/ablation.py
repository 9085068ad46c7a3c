"""What each strategy and each bound is worth: every one is switched off in turn.

    python -m reports.ablation                       # all seasons, three seeds: over three hours
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

from planner.optimize.options import SearchParams, SolveOptions
from planner.optimize.search.common import BOUNDS
from planner.optimize.search.run import solve
from planner.optimize.search.strategies import STRATEGIES
from planner.plan.audit import audit
from reports.machine import Others, code, described
from reports.seasons import Case, load

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
    "60,40,8,3,7",
    "20,12,4,1,8,short",
    "30,18,5,1,2,short",
    "60,40,8,2,5,short",
    "400,150,12,3,3",
    "400,150,12,1,1,short",
)
"""Small, middling and large; one variety a field and several; seed enough and short."""
FEW = tuple(map(str, (Case(12, 8, 3, 1, 5), Case(9, 6, 3, 2, 5), Case(7, 5, 3, 1, 6, short=True))))
SEEDS = (0, 1, 2)
ALL = ""
"""Nothing is switched off."""
NO_BOUND = 90.0
"""Percent of the cost that a bound is lower that is worth nothing."""
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
    parts = (ALL, *(s.name for s in STRATEGIES), *BOUNDS)
    return [
        Run(season, part, seed, a.seconds, a.effort)
        for seed in SEEDS
        for season in a.seasons
        for part in parts
    ]


def made(run: Run) -> dict[str, Any]:
    """Make a run: what its plan costs, what is short, and what is proven."""
    season = load(run.season)
    params = SearchParams(without=frozenset({run.without} - {ALL}))
    others = Others()
    plan = solve(
        season,
        SolveOptions(seconds=run.seconds, effort=run.effort, seed=run.seed, params=params),
    )
    audit(plan, season)
    return {
        **run._asdict(),
        "short": sum(s.acres for s in plan.shortages),
        "cost": plan.cost.total,
        "bound": plan.bound,
        "took": plan.seconds,
        "others": others.cores(),
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
    parts = [*(s.name for s in STRATEGIES), *BOUNDS]
    lost = {part: worth(rows, part) for part in parts}
    limit = f"{a.seconds:g} s a run" if a.effort is None else f"{a.effort} counted steps a run"
    table = [
        f"| without | {' | '.join(seasons)} |",
        "|---|" + "---|" * len(seasons),
        *(f"| {p} | {' | '.join(cell(lost[p].get(s)) for s in seasons)} |" for p in parts),
    ]
    full = [run for run in rows if run.without == ALL]
    busy = [row["others"] for row in rows.values() if row.get("others") is not None]
    text = [
        "# What each strategy and each bound is worth",
        "Made by `python -m reports.ablation`; nothing here is edited by hand.",
        f"Each is switched off in turn, all else as it is; {limit}; means over the seeds tried (up"
        f" to {len(SEEDS)}). Seasons by fields, lots, recipes, most varieties a field, the maker's"
        " seed; short: its seed does not suffice. Percent of the cost that a plan is dearer without"
        " it, behind the slash percent that the proven bound is lower; acres (ac) where more or"
        " fewer are short. Seeds differ by some tenths of a percent by themselves.",
        f"{len(rows)} runs, {len(full)} of them with everything; code {code()}; {described()}."
        + (f" Other work kept {mean(busy):.1f} cores busy meanwhile." if busy else ""),
        "\n".join(table),
        verdict(parts, lost, seasons),
    ]
    PAGE.write_text("\n\n".join(text) + "\n", "utf-8")
    print(f"{PAGE}: {len(rows)} runs")


def verdict(
    parts: list[str], lost: dict[str, dict[str, dict[str, float]]], seasons: list[str]
) -> str:
    """What is worth nothing, as far as that can be said yet."""
    whole = len(seasons) >= len(SEASONS)
    little = []
    for part in parts:
        each = lost[part].values()
        small = [max(x["cost"], x["bound"]) < NOTHING and x["acres"] <= 0.01 for x in each]
        if small and all(small):
            little.append(part)
    named = ", ".join(little) if little else "none"
    said = f"Worth less than {NOTHING} % in every season tried: {named}."
    if not whole or any(len(lost[part]) < len(seasons) for part in parts):
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

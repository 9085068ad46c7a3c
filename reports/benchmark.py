"""How good plans are on hard seasons in a given time, beside the plain model; and how that grows.

Run from the top of the project, other load off:

    python -m reports.benchmark [FOLDER ...] [--seconds 60] [--large] [--quick]
    python -m reports.benchmark --growth

A folder is a season, or holds seasons as folders of their own. Every season is solved by the plain
model, then by ours, in processes of their own, one after the other; every row is written as soon
as it is known, so that an interrupted run keeps its rows. `--large` adds a season of 3,000 fields.
Writes reports/benchmark.md, and reports/growth.md with `--growth`.
"""

from __future__ import annotations

import argparse
import json
import resource
import subprocess
import sys
from pathlib import Path
from time import monotonic
from typing import Any

from reports.benchmark_pages import Row, benchmark_page, beside, growth_page, line

HERE = Path(__file__).parent
DEMO = HERE.parent / "data" / "demo"
FARMS = (
    (20, 12, 4, 1, 1),
    (30, 18, 5, 2, 2),
    (40, 24, 6, 1, 3),
    (40, 24, 6, 2, 31),
    (45, 24, 6, 3, 4),
    (50, 30, 6, 1, 21),
    (60, 30, 6, 2, 5),
    (60, 40, 8, 1, 6),
    (60, 40, 8, 2, 33),
    (60, 40, 8, 3, 7),
)
"""Fields, lots, recipes, varieties a field, seed."""
SHORT = (
    (20, 12, 4, 1, 8),
    (30, 18, 5, 1, 2),
    (60, 40, 8, 1, 9),
    (60, 40, 8, 2, 5),
    (50, 30, 6, 3, 10),
    (400, 150, 12, 1, 1),
)
"""The same, their seed not sufficing."""
DEALERS = ((400, 150, 12, 3, 11), (400, 150, 12, 1, 12))
LARGE = (3000, 600, 16, 3, 13)
QUICK = (FARMS[0], FARMS[6])
GROWTH = (20, 60, 200, 600, 2000)
LONGER = ((200, 1), (1000, 3), (10**9, 10))
"""How many times as long seasons of up to so many fields get."""


def spec(case: tuple[int, ...], *, short: bool = False) -> str:
    """A generated season in a word."""
    return ",".join(map(str, case)) + (",short" if short else "")


def load(word: str) -> Any:
    """Load the season that a word stands for: numbers, or a folder."""
    from planner.season.read import read_season
    from tests.hard_seasons import random_season

    if word[0].isdigit():
        *numbers, last = word.split(",")
        short = last == "short"
        fields, lots, recipes, most, seed = map(int, numbers if short else [*numbers, last])
        return random_season(fields, lots, recipes, most, seed, short=short)
    return read_season(Path(word))


def size(season: Any) -> Row:
    """Fields, lots, recipes and shares a field."""
    most = season.farm.max_varieties or "any"
    return {
        "fields": len(season.fields),
        "size": f"{len(season.fields):,} x {len(season.lots)} x {len(season.recipes)}, {most}",
    }


def peak() -> float:
    """Highest memory of this process so far and of the largest process that it started, MB."""
    unit = 1e6 if sys.platform == "darwin" else 1e3
    asked = (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    return sum(resource.getrusage(who).ru_maxrss for who in asked) / unit


def run_plain(word: str, seconds: float) -> Row:
    """Solve by the plain model."""
    from reports.plain import solve_plainly

    season = load(word)
    began = monotonic()
    found = solve_plainly(season, seconds)
    taken = monotonic() - began
    return {**found._asdict(), "took": taken, "memory": peak(), **size(season)}


def run_ours(word: str, seconds: float) -> Row:
    """Solve by `planner.optimize`; the plan must pass the audit."""
    from planner.optimize.options import SolveOptions
    from planner.optimize.search import solve
    from planner.plan.audit import audit

    season = load(word)
    heard: list[Any] = []
    began = monotonic()
    plan = solve(season, SolveOptions(seconds=seconds), heard.append)
    taken = monotonic() - began
    memory = peak()
    audit(plan, season)
    short = sum(s.acres for s in plan.shortages)
    plans = [p for p in heard if p.cost is not None]
    complete = [p for p in plans if (p.acres_short or 0.0) <= short + 0.05]
    return {
        "cost": plan.cost.total,
        "floor": plan.bound,
        "short": short,
        "fewest": plan.shortage_proven,
        "first": plans[0].seconds if plans else None,
        "complete": complete[0].seconds if complete else taken,
        "floor at": next((p.seconds for p in heard if p.floor is not None), None),
        "took": taken,
        "memory": memory,
        **size(season),
    }


def run_build(word: str, _: float) -> Row:
    """Read the season into the optimizer's numbers and write its exact model down."""
    from planner.optimize.instance import make_instance
    from planner.optimize.model import make_model

    season = load(word)
    began = monotonic()
    it = make_instance(season)
    numbers = monotonic() - began
    row = {"numbers": numbers, "choices": len(it.choices), **size(season)}
    model = make_model(it)
    return {
        **row,
        "build": monotonic() - began,
        "columns": model.matrix.n_columns,
        "memory": peak(),
    }


WAYS = {"plain": run_plain, "ours": run_ours, "build": run_build}


def apart(way: str, word: str, seconds: float) -> Row:
    """Run one way in a process of its own; what went wrong is told in the row."""
    command = [sys.executable, "-m", "reports.benchmark", "--one", way, word, str(seconds)]
    try:
        done = subprocess.run(
            command, capture_output=True, text=True, timeout=2 * seconds + 900, check=False
        )
    except subprocess.TimeoutExpired:
        return {"failed": "no end after twice the time and 15 minutes"}
    if done.returncode:
        last = (done.stderr.strip() or f"exit {done.returncode}").splitlines()[-1]
        return {"failed": last.strip()[:120]}
    row: Row = json.loads(done.stdout.splitlines()[-1])
    return row


def longer(fields: int, seconds: float) -> float:
    """Seconds for a season of so many fields."""
    return seconds * next(times for most, times in LONGER if fields <= most)


def count_fields(word: str) -> int:
    """Fields of a season, without loading it."""
    if word[0].isdigit():
        return int(word.split(",")[0])
    return len((Path(word) / "fields.csv").read_text("utf-8").splitlines()) - 1


def words(asked: argparse.Namespace) -> list[str]:
    """All seasons to solve, those in folders first."""
    found = [str(DEMO)]
    for folder in asked.folder:
        inside = sorted(p.parent for p in folder.glob("*/fields.csv"))
        found += [str(p) for p in (inside or [folder])]
    if asked.quick:
        return [*found[:2], *(spec(case) for case in QUICK), spec(SHORT[0], short=True)]
    found += [spec(case) for case in FARMS]
    found += [spec(case, short=True) for case in SHORT]
    found += [spec(case) for case in DEALERS]
    return [*found, spec(LARGE)] if asked.large else found


def benchmark(asked: argparse.Namespace, command: str) -> None:
    """Solve all seasons, writing the page anew after each."""
    lines: list[str] = []
    for word in words(asked):
        seconds = longer(count_fields(word), asked.seconds)
        name = word if word[0].isdigit() else Path(word).name
        plain = apart("plain", word, seconds)
        ours = apart("ours", word, seconds)
        lines.append(line(name, "plain", plain, seconds, ""))
        lines.append(line(name, "ours", ours, seconds, beside(ours, plain)))
        print(lines[-2], lines[-1], sep="\n", flush=True)
        (HERE / "benchmark.md").write_text(benchmark_page(lines, command), "utf-8")


def growth(asked: argparse.Namespace, command: str) -> None:
    """Solve seasons of growing size, writing the page anew after each."""
    rows: list[Row] = []
    for fields in GROWTH[:3] if asked.quick else GROWTH:
        lots = round(12 * (fields / 20) ** 0.8)
        word = spec((fields, lots, 8, 2, 1))
        seconds = longer(fields, asked.seconds)
        built, solved = apart("build", word, 600), apart("ours", word, seconds)
        row: Row = {**built, "model MB": built.get("memory"), "memory": None, **solved}
        rows.append(row | {"fields": fields, "seconds": seconds})
        print({k: v for k, v in rows[-1].items() if k != "size"}, flush=True)
        (HERE / "growth.md").write_text(growth_page(rows, command), "utf-8")


def main() -> None:
    """Measure what was asked for."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("folder", nargs="*", type=Path)
    asked.add_argument("--seconds", type=float, default=60.0, help="for farms; dealers get more")
    asked.add_argument("--quick", action="store_true", help="a few small seasons only")
    asked.add_argument("--large", action="store_true", help="a season of 3,000 fields too")
    asked.add_argument("--growth", action="store_true", help="seasons of growing size instead")
    asked.add_argument("--one", nargs=3, help=argparse.SUPPRESS)
    a = asked.parse_args()
    if a.one:
        way, word, seconds = a.one
        print(json.dumps(WAYS[way](word, float(seconds))))
        return
    flags = [f"--{name}" for name in ("quick", "large", "growth") if getattr(a, name)]
    folders = ["FOLDER"] * bool(a.folder)
    told = ["python -m reports.benchmark", *folders, f"--seconds {a.seconds:g}", *flags]
    (growth if a.growth else benchmark)(a, " ".join(told))


if __name__ == "__main__":
    main()

"""How good plans are on hard seasons beside the plain model, and how work grows with the fields.

Run from the top of the project, other load off; about two hours on two cores:

    python -m reports.benchmark

writes benchmark.md, growth.md, cores.md and workbook-growth.md in reports/, all of it: no line of
theirs is written by hand. Every row is measured in a process of its own, one after the other, and
written as soon as it is known, so that an interrupted run keeps its rows (and its pages say so).

    python -m reports.benchmark --python /another/bin/python       # its versions too, side by side
    python -m reports.benchmark --runs 3                           # median and worst of three seeds
    python -m reports.benchmark 60,40,8,1,6 a-folder --seconds 10  # only these seasons' rows
    python -m reports.benchmark --only growth                      # only that page
    python -m reports.benchmark --quick                            # the whole path in a minute

Seasons are named as in `reports/seasons.py`, or are folders. With seasons named or `--quick` the
pages go to build/benchmark, so that those of the last full run stay.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import subprocess
import sys
from pathlib import Path

from reports import machine
from reports.benchmark_pages import Run, benchmark_page, book_page, cores_page, growth_page
from reports.measure import MARK, Row
from reports.seasons import CORES, GROWTH, HARD, QUICK, QUICK_GROWTH, Case, count_fields

ROOT = Path(__file__).parent.parent
ASIDE = ROOT / "build" / "benchmark"
PLAIN_UP_TO = 1000
"""Most fields of a season that the plain model is tried on."""
PAGES = ("benchmark", "growth", "cores", "workbook-growth")
"""What one run measures, page by page."""
LONGER = ((200, 1), (1000, 3), (10**9, 5))
"""How many times as long seasons of up to that many fields get."""
BOOKS = (40, 200, 1_000, 2_000, 5_000)
QUICK_BOOKS = (8, 16)
"""Fields of the seasons whose workbook is written."""
MOST_CORES = (1, 2, 4, 8)
"""Cores that seasons are solved on, as far as there are as many."""
BUILD_UP_TO = 2_000
"""Most fields of a season whose exact model is written down in full: that takes 4.5 GB."""
BUILD_SECONDS = 600.0
"""What writing a model down is given before it counts as without end."""


def apart(python: str, way: str, *arguments: object, seconds: float = BUILD_SECONDS) -> Row:
    """Measure one thing in a process of its own; a failure is reported in the row."""
    command = [python, "-m", "reports.measure", way, *map(str, arguments)]
    others, memory = machine.Others(), machine.Memory()
    most = 2 * seconds + 900
    try:
        with memory:
            done = subprocess.run(
                command, cwd=ROOT, capture_output=True, text=True, timeout=most, check=False
            )
    except subprocess.TimeoutExpired:
        return {"failed": f"no end after {most:,.0f} s"}
    except OSError as problem:
        return {"failed": f"{python}: {problem.strerror}"}
    rows = [line for line in done.stdout.splitlines() if line.startswith(MARK)]
    if done.returncode or not rows:
        last = (done.stderr.strip() or f"exit {done.returncode}").splitlines()[-1]
        return {"failed": last.strip()[:120].replace("|", "/")}
    row: Row = json.loads(rows[-1].removeprefix(MARK))
    return row | {"others": others.cores(), "together": memory.megabytes}


def longer(fields: int, seconds: float) -> float:
    """Seconds for a season of that many fields."""
    return seconds * next(times for most, times in LONGER if fields <= most)


class Benchmark:
    """One run: its Pythons by label, its rows, and the folder of its pages."""

    def __init__(self, pythons: list[str], folder: Path, seconds: float, command: str) -> None:
        self.folder, self.seconds = folder, seconds
        self.pythons, versions = labels(pythons)
        self.run = Run(
            command=command,
            code=machine.code(),
            cores=machine.cores(),
            system=f"{platform.system()} {platform.machine()}",
            began=machine.now(),
            load=machine.load(),
            versions=versions,
        )
        self.hard: list[Row] = []
        self.growing: list[Row] = []
        self.by_cores: list[Row] = []
        self.books: list[Row] = []

    def write(self) -> None:
        """Write the pages that have rows."""
        self.folder.mkdir(parents=True, exist_ok=True)
        pages = {
            "benchmark.md": self.hard and benchmark_page(self.hard, self.run, PLAIN_UP_TO),
            "growth.md": self.growing and growth_page(self.growing, self.run),
            "cores.md": self.by_cores and cores_page(self.by_cores, self.run),
            "workbook-growth.md": self.books and book_page(self.books, self.run),
        }
        for name, text in pages.items():
            if text:
                (self.folder / name).write_text(text, "utf-8")

    def keep(self, rows: list[Row], row: Row) -> None:
        """Add a row to those of its page."""
        rows.append(row)
        print({key: value for key, value in row.items() if key != "size"}, flush=True)
        self.write()

    def solve(self, season: str, runs: int) -> None:
        """A season by the plain model and by ours, with every Python."""
        fields = count_fields(season)
        seconds = longer(fields, self.seconds)
        name = Path(season).name
        for by, times in (("plain", int(fields <= PLAIN_UP_TO)), ("ours", runs)):
            for seed in range(times):
                for label, python in self.pythons.items():
                    head = {"season": name, "with": label, "by": by, "run": seed}
                    found = apart(python, by, season, seconds, seed, seconds=seconds)
                    self.keep(self.hard, head | {"seconds": seconds} | found)

    def grow(self, case: Case) -> None:
        """One size: the model written down, and the search."""
        seconds = longer(case.fields, self.seconds)
        for label, python in self.pythons.items():
            row = {"fields": case.fields, "with": label, "seconds": seconds}
            built = apart(python, "build", case) if case.fields <= BUILD_UP_TO else {}
            solved = apart(python, "ours", case, seconds, 0, seconds=seconds)
            failed = [found.pop("failed") for found in (built, solved) if "failed" in found]
            why = {"failed": "; ".join(failed)} if failed else {}
            self.keep(self.growing, row | built | solved | why)

    def on_cores(self, season: str) -> None:
        """A season on one core, on two, and so on."""
        seconds = longer(count_fields(season), self.seconds)
        python = next(iter(self.pythons.values()))
        for n in MOST_CORES:
            if n <= machine.cores():
                found = apart(python, "ours", season, seconds, 0, n, seconds=seconds)
                self.keep(self.by_cores, {"season": season, "cores": n, "seconds": seconds} | found)

    def book(self, fields: int) -> None:
        """The workbook of a season of that many fields; the solver has no part in it."""
        python = next(iter(self.pythons.values()))
        self.keep(self.books, {"fields": fields} | apart(python, "workbook", fields))


def labels(pythons: list[str]) -> tuple[dict[str, str], dict[str, dict[str, str]]]:
    """Pythons and their versions by HiGHS's version, the Python's own added where that is the same.

    Raises
    ------
    SystemExit
        When one lacks a library, or measures another copy of the planner than this.
    """
    commands: dict[str, str] = {}
    versions: dict[str, dict[str, str]] = {}
    for python in pythons:
        found = apart(python, "versions")
        if "failed" in found:
            sys.exit(f"{python} can't be measured: {found['failed']}")
        if Path(found.pop("planner")) != ROOT / "planner":
            sys.exit(f"{python} has another copy of the planner in front of this one")
        del found["others"], found["together"]
        label = f"HiGHS {found['highspy']}"
        if label in versions:
            label += f", Python {found['python']}"
        if label in versions:
            sys.exit(f"{python} has the same versions as another")
        commands[label], versions[label] = python, found
    return commands, versions


def known(season: str) -> str:
    """A season that can be counted, so that a misspelled one does not end a run in its middle."""
    try:
        count_fields(season)
    except (OSError, ValueError) as problem:
        message = f"{season!r} is neither a season's name nor a folder with one: {problem}"
        raise argparse.ArgumentTypeError(message) from problem
    return season


def told(argv: list[str]) -> str:
    """The command without what is only so on this machine."""
    shown = []
    for before, word in zip(["", *argv], argv, strict=False):
        if before == "--python":
            word = "OTHER_PYTHON"
        elif before == "--out" or os.sep in word:
            word = "FOLDER"
        shown.append(word)
    return " ".join(["python -m reports.benchmark", *shown])


def main(argv: list[str]) -> None:
    """Measure what was asked for."""
    asked = argparse.ArgumentParser(prog="python -m reports.benchmark", description=__doc__)
    asked.formatter_class = argparse.RawDescriptionHelpFormatter
    asked.add_argument("season", nargs="*", type=known, help="only these: names or folders")
    asked.add_argument("--seconds", type=float, help="for farms; dealers get more (60; quick: 1)")
    asked.add_argument("--runs", type=int, default=1, help="of ours, by seeds 0, 1, ... (1)")
    asked.add_argument("--python", action="append", default=[], help="one more to measure with")
    asked.add_argument("--out", type=Path, help="folder for the pages")
    asked.add_argument("--only", choices=PAGES, help="only this page; without it, all")
    asked.add_argument("--quick", action="store_true", help="a few tiny seasons only")
    a = asked.parse_args(argv)
    few = a.quick or a.season
    folder = a.out or (ASIDE if few else ROOT / "reports")
    seconds = a.seconds or (1.0 if a.quick else 60.0)
    bench = Benchmark([sys.executable, *a.python], folder, seconds, told(argv))
    for python in bench.pythons.values():
        apart(python, "warm")
    pages = ("benchmark",) if a.season else (a.only,) if a.only else PAGES
    for page in pages:
        if page == "benchmark":
            for season in a.season or (QUICK if a.quick else HARD):
                bench.solve(season, a.runs)
        elif page == "growth":
            for case in QUICK_GROWTH if a.quick else GROWTH:
                bench.grow(case)
        elif page == "cores":
            for season in QUICK if a.quick else CORES:
                bench.on_cores(season)
        else:
            for fields in QUICK_BOOKS if a.quick else BOOKS:
                bench.book(fields)
    bench.run = bench.run.done(machine.now())
    bench.write()
    print(f"pages in {folder}")


if __name__ == "__main__":
    try:
        main(sys.argv[1:])
    except KeyboardInterrupt:
        sys.exit("interrupted; the pages have the rows until here")

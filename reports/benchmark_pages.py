"""How the benchmark's rows are laid out as pages; every sentence of the pages is written here."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import log
from statistics import linear_regression
from typing import TYPE_CHECKING

from reports.benchmark_claims import ALIKE, Row, between_versions, gap, spread, wrong_claims

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence


@dataclass(frozen=True, slots=True)
class Run:
    """How and with what the rows were made."""

    command: str
    code: str
    cores: int
    system: str
    began: str
    load: str
    """Of the machine, over the minute before the run."""
    versions: dict[str, dict[str, str]]
    """Of every Python that was measured, by the label that its rows have."""
    ended: str | None = None

    def done(self, ended: str) -> Run:
        """The run at its end."""
        return replace(self, ended=ended)


def number(value: float | None, places: int = 0) -> str:
    """A figure, or a dash where there is none."""
    return "-" if value is None else f"{value:,.{places}f}"


def table(titles: Iterable[str], rows: Iterable[Iterable[str]]) -> str:
    """Lay texts out as a table."""
    titles = list(titles)
    lines = [titles, ["---"] * len(titles), *rows]
    return "\n".join(f"| {' | '.join(line)} |" for line in lines) + "\n"


def beside(ours: Row, plain: Row) -> str:
    """Our cost as a share of the plain model's, where both leave the same acres short."""
    if ours.get("cost") is None or plain.get("cost") is None:
        return "-"
    fewer = sum(plain["short"]) - sum(ours["short"])
    if abs(fewer) > ALIKE:
        return f"{abs(fewer):,.1f} acres {'fewer' if fewer > 0 else 'more'} short"
    if min(ours["cost"], plain["cost"]) <= 0.0:
        return "-"
    return f"{ours['cost'] / plain['cost']:.3f}"


def made(run: Run) -> str:
    """How the figures were made."""
    when = f"from {run.began} to {run.ended}" if run.ended else f"begun {run.began}"
    missing = "" if run.ended else "**This run has not ended: rows are missing.**\n\n"
    names = dict.fromkeys(name for found in run.versions.values() for name in found)
    rows = [[label, *map(found.get, names)] for label, found in run.versions.items()]
    return f"""{missing}Made by one run of

    {run.command}

on one machine, {when}:
{run.cores} cores, {run.system}, load {run.load} over the minute before. Code: {run.code}.
Others: cores that other work on the machine kept busy on average while a row was made.

{table(["with", *names], rows)}"""


# --- hard seasons -----------------------------------------------------------------------------

BENCHMARK = """# Hard seasons: ours beside the plain model

{made}
Every season was solved by the plain model, then by ours, each in a process of its own and with the
same seconds, which include building the model. The plain model is our exact model
(`planner/optimize/model/program.py`, with all its cuts) handed to HiGHS with its own settings:
first fewest acres short, priority by priority, for up to half of the time, then the lowest cost,
each solve continuing from the plan of the last (`reports/plain.py`). It is not tried on seasons of
more than {most:,} fields, whose exact model is too large. Ours is `solve` of
`planner/optimize/search/run.py`, whose plan passed the audit; it works against the clock in several
processes, so its runs differ a little.

Size: fields x lots x recipes, most varieties a field. With: see the table above. Short: acres that
stay unplanted. Floor: proven, no plan that leaves as few acres short costs less; gap: cost over
floor, percent of the cost, `-` where the cost is zero or less. First: seconds to the first plan;
complete: to the first that leaves no more acres short than the last. Took: seconds until it ended.
MB: the highest memory of all its processes together. A season's name says what `reports/seasons.py`
makes it from: fields, lots, recipes, varieties, seed; `short`: its seed does not suffice.

{rows}
{remarks}"""
TITLES = ("season", "size", "s", "with", "by", "cost", "short", "floor", "gap, %", "first")
TITLES += ("complete", "took", "MB", "others", "ours / plain")


def benchmark_page(rows: Sequence[Row], run: Run, most: int) -> str:
    """All rows so far, and what can be said of them."""
    said = [*wrong_claims(rows), *spread(rows), *between_versions(rows)]
    remarks = "".join(f"- {sentence}\n" for sentence in said)
    return BENCHMARK.format(
        made=made(run),
        most=most,
        rows=table(TITLES, (_cells(row, rows) for row in rows)),
        remarks=f"What these rows show:\n\n{remarks}" if remarks else "",
    )


def _cells(row: Row, rows: Sequence[Row]) -> list[str]:
    by = f"{row['by']}, run {row['run'] + 1}" if row.get("run") else row["by"]
    head = [row["season"], row.get("size", ""), f"{row['seconds']:g}", row["with"], by]
    if row.get("cost") is None:
        why = row.get("failed", "no plan")
        return [
            *head,
            why,
            *[""] * (len(TITLES) - len(head) - 3),
            number(row.get("others"), 1),
            "-",
        ]
    ratio = ""
    if row["by"] == "ours":
        plain = [
            r
            for r in rows
            if r["by"] == "plain" and r["season"] == row["season"] and r["with"] == row["with"]
        ]
        ratio = beside(row, plain[0]) if plain else "-"
    return [
        *head,
        number(row["cost"]),
        *_proven(row),
        *(number(row.get(key), 1) for key in ("first", "complete", "took")),
        number(row.get("together")),
        number(row.get("others"), 1),
        ratio,
    ]


def _proven(row: Row) -> list[str]:
    """Acres short, and whether these are the fewest; floor and gap."""
    unproven = "" if row["fewest"] else " (not proven fewest)"
    return [
        number(sum(row["short"]), 1) + unproven,
        number(row["floor"]),
        number(gap(row), 2),
    ]


# --- growth -----------------------------------------------------------------------------------

FIGURES = (
    ("choices", "choices", 0),
    ("columns", "columns", 0),
    ("numbers", "numbers, s", 2),
    ("build", "model, s", 2),
    ("model MB", "model, MB", 0),
    ("first", "first plan, s", 1),
    ("complete", "complete plan, s", 1),
    ("floor at", "floor, s", 1),
    ("to 5", "to 5 %, s", 1),
    ("to 1", "to 1 %, s", 1),
    ("together", "search, MB", 0),
)
"""Key in a row, title, decimals."""
GROWTH = """# How deciding grows with the fields

{made}
Generated seasons of 8 recipes and up to 2 varieties a field; lots grow with the fields to the power
0.8. Choices: what may be planted where (field, lot, recipe). Columns: of the exact model written
down in full, which the search avoids where that is too large (not written here over 2,000 fields).
Numbers, model: time to read a season into arrays, and to write its exact model down, and the memory
that takes. First plan, complete plan, floor: seconds of the search, building included, until there
was one, complete where no more acres are short than in the end; to 5 %, to 1 %: until a plan was
proven to be so near the best, `-` where none was. S given, gap: the time that the search had, and
where it ended; others: while it ran. Search, MB: the highest memory of all its processes together.
Exponents: least squares over all sizes on logarithmic scales; 1 is linear.

{rows}"""
CORES = """# What more cores bring

{made}
Every season solved by ours on one core, on two, four and eight, as far as the machine has as many:
the process and all that it starts are held to them by the system. Three processes share one core or
two: one makes plans, one proves, one anneals; every further core has one more that anneals. On one:
the cost over that on one core. Other columns as in `benchmark.md` and `growth.md`.

{rows}"""
CORES_FIGURES = (
    ("first", "first", 1),
    ("complete", "complete", 1),
    ("to 5", "to 5 %, s", 1),
    ("to 1", "to 1 %, s", 1),
    ("took", "took", 1),
    ("together", "MB", 0),
    ("others", "others", 1),
)
BOOK_FIGURES = (
    ("cells", "cells", 0),
    ("describe", "describe, s", 2),
    ("render", "render, s", 2),
    ("json", "plan.json, s", 2),
    ("memory", "memory, MB", 0),
    ("file", "workbooks, MB", 2),
)
BOOK = """# How the workbook grows

{made}
Plans of a sample season that is repeated, each size in a process of its own, with the first Python
only: the solver has no part in it. Describe, render, plan.json: processor seconds of one core.
Memory: what the process needed on top. Exponents: least squares over all sizes on logarithmic
scales; 1 is linear.

{rows}
Cells are kept in memory until the file is written (not in the library's write-only mode, which
could neither merge cells nor look back).
"""


def slope(rows: Sequence[Row], key: str) -> str:
    """Exponent of a figure's growth with the fields."""
    both = [(log(r["fields"]), log(r[key])) for r in rows if r.get(key)]
    if len(both) < 2:
        return "-"
    return f"{round(linear_regression(*zip(*both, strict=True)).slope, 2) + 0.0:.2f}"


def growth_page(rows: Sequence[Row], run: Run) -> str:
    """Figures of every size so far, and their exponents."""
    titles = ["fields", "with", *(title for _, title, _ in FIGURES), "s given", "gap, %", "others"]
    lines = []
    for r in rows:
        cells = [number(r.get(key), places) for key, _, places in FIGURES]
        end = [
            f"{r['seconds']:g}",
            r.get("failed") or number(gap(r), 2),
            number(r.get("others"), 1),
        ]
        lines.append([f"{r['fields']:,}", r["with"], *cells, *end])
    for label in dict.fromkeys(r["with"] for r in rows):
        own = [r for r in rows if r["with"] == label]
        lines.append(["exponent", label, *(slope(own, key) for key, _, _ in FIGURES), "", "", ""])
    return GROWTH.format(made=made(run), rows=table(titles, lines))


def cores_page(rows: Sequence[Row], run: Run) -> str:
    """Figures of every season on so many cores, and its cost beside that on one."""
    titles = ["season", "s", "cores", "cost", "on one", "short", "floor", "gap, %"]
    titles += [title for _, title, _ in CORES_FIGURES]
    lines = []
    for r in rows:
        head = [r["season"], f"{r['seconds']:g}", str(r["cores"])]
        if r.get("cost") is None:
            why = r.get("failed", "no plan")
            lines.append([*head, why, *[""] * (len(titles) - len(head) - 1)])
            continue
        one = next(o for o in rows if o["season"] == r["season"])
        cost = number(r["cost"]), "" if one is r else beside(r, one)
        figures = (number(r.get(key), places) for key, _, places in CORES_FIGURES)
        lines.append([*head, *cost, *_proven(r), *figures])
    return CORES.format(made=made(run), rows=table(titles, lines))


def book_page(rows: Sequence[Row], run: Run) -> str:
    """The workbook's figures of every size so far, and their exponents."""
    titles = ["fields", *(title for _, title, _ in BOOK_FIGURES), "others"]
    lines = []
    for r in rows:
        cells = [number(r.get(key), places) for key, _, places in BOOK_FIGURES]
        fields = f"{r['fields']:,}" + (f" ({r['failed']})" if "failed" in r else "")
        lines.append([fields, *cells, number(r.get("others"), 1)])
    lines.append(["exponent", *(slope(rows, key) for key, _, _ in BOOK_FIGURES), ""])
    return BOOK.format(made=made(run), rows=table(titles, lines))

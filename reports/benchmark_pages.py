"""How the benchmark's figures are laid out as pages."""

from __future__ import annotations

import os
import platform
from importlib.metadata import version
from math import log
from statistics import linear_regression
from typing import Any

Row = dict[str, Any]


def number(value: float | None, places: int = 0) -> str:
    """A figure, or a dash where there is none."""
    return "-" if value is None else f"{value:,.{places}f}"


def gap(row: Row) -> float | None:
    """(cost - floor) / cost, in percent."""
    if row.get("cost") is None or row.get("floor") is None:
        return None
    cost = float(row["cost"])
    return 100.0 * max(0.0, cost - float(row["floor"])) / max(1.0, abs(cost))


def beside(ours: Row, plain: Row) -> str:
    """Our cost as a share of the plain model's, where both leave the same acres short."""
    if ours.get("cost") is None or plain.get("cost") is None:
        return "-"
    fewer = plain["short"] - ours["short"]
    if abs(fewer) > 0.01:
        return f"{abs(fewer):,.1f} acres {'fewer' if fewer > 0 else 'more'} short"
    return f"{ours['cost'] / max(1.0, plain['cost']):.3f}"


def line(name: str, way: str, row: Row, seconds: float, ratio: str) -> str:
    """One row of the benchmark's table."""
    head = f"| {name} | {row.get('size', '')} | {seconds:g} | {way} "
    if "failed" in row:
        return head + f"| {row['failed']} | | | | | | | | |"
    fewest = "" if row.get("fewest", True) else " (not proven fewest)"
    return head + (
        f"| {number(row['cost'])} | {number(row['short'], 1)}{fewest} | {number(row['floor'])} "
        f"| {number(gap(row), 2)} | {number(row['first'], 1)} | {number(row.get('complete'), 1)} "
        f"| {number(row['took'], 1)} | {number(row['memory'])} | {ratio} |"
    )


def made(command: str) -> str:
    """How the figures were made."""
    load = ", ".join(f"{x:.1f}" for x in os.getloadavg())
    versions = ", ".join(f"{name} {version(name)}" for name in ("highspy", "pulp", "numpy"))
    return (
        f"Made by `{command}` on {os.cpu_count()} cores, {platform.system()} {platform.machine()}; "
        f"Python {platform.python_version()}, {versions}.\nLoad of the machine over 1, 5 and 15 "
        f"minutes when this was written: {load} (ours keeps up to two cores busy)."
    )


COLUMNS = ("season", "size", "s", "by", "cost", "short", "floor", "gap, %", "first", "complete")
COLUMNS += ("took", "MB", "ours / plain")
BENCHMARK = """# Hard seasons: ours beside the plain model

{made}

Every season was solved twice in one run, first by the plain model, then by ours, each in a process
of its own and with the same seconds, which include building the model. The plain model is our exact
model (`planner/optimize/model.py`, with all its cuts) handed to HiGHS with its own settings:
first fewest acres short, priority by priority, for up to half of the time, then the lowest cost,
each solve going on from the plan of the last (`reports/plain.py`). Ours is `solve` of
`planner/optimize/search.py` with `SolveOptions(seconds=...)`; its plan passed the audit.

Size: fields x lots x recipes, most shares a field. Short: acres that stay unplanted. Floor: proven,
no plan that leaves as few acres short costs less; gap: cost over floor, percent of the cost. First:
seconds to the first plan; complete: to the first that leaves no more acres short than the last.
Took: seconds until it ended. MB: the highest memory of the process and of the largest that it
starts. Seasons named by numbers come from `tests/hard_seasons.py` (the last number is the
seed; `short`: their seed does not suffice); the others were read from folders.

{head}
"""


def table_head(titles: tuple[str, ...]) -> str:
    """First two lines of a table."""
    return f"| {' | '.join(titles)} |\n" + "|---" * len(titles) + "|"


def benchmark_page(lines: list[str], command: str) -> str:
    """All rows so far."""
    head = BENCHMARK.format(made=made(command), head=table_head(COLUMNS))
    return head + "\n".join(lines) + "\n"


# --- growth -----------------------------------------------------------------------------------

FIGURES = (
    ("choices", "choices", 0),
    ("columns", "columns", 0),
    ("numbers", "numbers, s", 2),
    ("build", "model, s", 2),
    ("model MB", "model, MB", 0),
    ("complete", "complete plan, s", 1),
    ("floor at", "floor, s", 1),
    ("memory", "search, MB", 0),
)
"""Key in a row, title, decimals."""
GROWTH = """# How deciding grows with the fields

{made}

Generated seasons of 8 recipes and up to 2 varieties a field; lots grow with the fields to the power
0.8. Choices: what may be planted where (field, lot, recipe). Columns: of the exact model written
down in full, which the search avoids where that is too large. Numbers, model: time to read a
season into arrays, and to write its exact model down. Complete plan, floor: seconds of the search,
building included, until there was one; s given, gap: the time that the search had, and where it
ended. MB: the highest memory of the process and of the largest that it starts. Exponents: least
squares over all sizes on logarithmic scales; 1 is linear.

{head}
"""


def slope(rows: list[Row], key: str) -> str:
    """Exponent of a figure's growth with the fields."""
    both = [(log(r["fields"]), log(r[key])) for r in rows if r.get(key)]
    if len(both) < 2:
        return "-"
    return f"{linear_regression(*zip(*both, strict=True)).slope:.2f}"


def growth_page(rows: list[Row], command: str) -> str:
    """Figures of every size so far, and their exponents."""
    titles = ("fields", *(title for _, title, _ in FIGURES), "s given", "gap, %")
    lines = []
    for r in rows:
        cells = [number(r.get(key), places) for key, _, places in FIGURES]
        told = r.get("failed") or number(gap(r), 2)
        lines.append(f"| {r['fields']:,} | {' | '.join(cells)} | {r['seconds']:g} | {told} |")
    exponents = " | ".join(slope(rows, key) for key, _, _ in FIGURES)
    lines.append(f"| exponent | {exponents} | | |")
    head = GROWTH.format(made=made(command), head=table_head(titles))
    return head + "\n".join(lines) + "\n"

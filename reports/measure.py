"""What one process of the benchmark measures; the row goes to standard output, as one line of JSON.

python -m reports.measure plain NAME SECONDS SEED
python -m reports.measure ours NAME SECONDS SEED [CORES]
python -m reports.measure build NAME
python -m reports.measure workbook FIELDS
python -m reports.measure versions|warm
"""

from __future__ import annotations

import json
import sys
from time import monotonic, process_time
from typing import Any

from reports import machine
from reports.seasons import load

Row = dict[str, Any]
WITHIN = (5.0, 1.0)
"""Gaps, in percent, that the time to them is noted of."""
MARK = "row: "
"""Before the row, so that what a library prints is not taken for it."""


def size(season: Any) -> Row:
    """Fields, lots, recipes and the most varieties a field."""
    most = season.farm.max_varieties or "any"
    return {
        "fields": len(season.fields),
        "size": f"{len(season.fields):,} x {len(season.lots)} x {len(season.recipes)}, {most}",
    }


def peak() -> float:
    """Highest memory of this process until now and of the largest that it started, MB."""
    import resource

    unit = 1e6 if sys.platform == "darwin" else 1e3
    asked = (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    return sum(resource.getrusage(who).ru_maxrss for who in asked) / unit


def plain(name: str, seconds: str, _: str) -> Row:
    """Solve by the plain model."""
    from reports.plain import solve_plainly

    season = load(name)
    began = monotonic()
    found = solve_plainly(season, float(seconds))
    taken = monotonic() - began
    return {**found._asdict(), "took": taken, **size(season)}


def ours(name: str, seconds: str, seed: str, cores: str = "") -> Row:
    """Solve by `planner.optimize`, on so many cores at the most; the plan must pass the audit."""
    from planner.optimize.options import SolveOptions
    from planner.optimize.search.run import solve
    from planner.plan.audit import audit

    if cores:
        machine.hold(int(cores))
    season = load(name)
    heard: list[Any] = []
    began = monotonic()
    plan = solve(season, SolveOptions(seconds=float(seconds), seed=int(seed)), heard.append)
    taken = monotonic() - began
    audit(plan, season)
    priority = {f.name: f.priority for f in season.fields}
    by_priority = dict.fromkeys(sorted(set(priority.values())), 0.0)
    for one in plan.shortages:
        by_priority[priority[one.field]] += one.acres
    short = sum(by_priority.values())
    plans = [p for p in heard if p.cost is not None]
    complete = [p for p in plans if (p.acres_short or 0.0) <= short + 0.05]
    return {
        "cost": plan.cost.total,
        "floor": plan.bound,
        "short": list(by_priority.values()),
        "fewest": plan.shortage_proven,
        "first": plans[0].seconds if plans else None,
        "complete": complete[0].seconds if complete else taken,
        "floor at": next((p.seconds for p in heard if p.bound is not None), None),
        **{f"to {within:g}": first_within(complete, within) for within in WITHIN},
        "took": taken,
        **size(season),
    }


def first_within(plans: list[Any], percent: float) -> float | None:
    """Seconds until a plan was proven to be so near the best; None where none was."""
    near = (p.seconds for p in plans if p.gap is not None and 100.0 * p.gap <= percent)
    return next(near, None)


def build(name: str) -> Row:
    """Read the season into the optimizer's numbers and write its exact model down."""
    from planner.optimize.model.instance import make_instance
    from planner.optimize.model.program import make_model

    season = load(name)
    began = monotonic()
    it = make_instance(season)
    numbers = monotonic() - began
    model = make_model(it)
    return {
        "numbers": numbers,
        "build": monotonic() - began,
        "choices": len(it.choices),
        "columns": model.matrix.n_columns,
        "model MB": peak(),
        **size(season),
    }


def workbook(fields: str) -> Row:
    """Make and write the workbooks of that many fields: processor seconds, MB, cells."""
    import io

    import openpyxl

    from planner.report.frames import make_books
    from planner.report.json import json_bytes
    from planner.report.workbook import render
    from tests.support.sample_plan import tiled

    season, plan = tiled(int(fields) // 8)
    before = peak()
    start = process_time()
    books = make_books(plan, season)
    described = process_time()
    contents = [render(book) for book in books.values()]
    rendered = process_time()
    high = peak()
    json_bytes(plan, season)
    written = process_time()
    read = [openpyxl.load_workbook(io.BytesIO(c), read_only=True) for c in contents]
    return {
        "fields": len(season.fields),
        "cells": sum(
            len(row) for book in read for sheet in book for row in sheet.iter_rows(values_only=True)
        ),
        "describe": described - start,
        "render": rendered - described,
        "json": written - rendered,
        "memory": high - before,
        "file": sum(map(len, contents)) / 1e6,
    }


def versions() -> Row:
    """What this Python has."""
    return dict(machine.versions())


def warm() -> Row:
    """Have the moves of annealing compiled: an installation does that once, which is no row's."""
    from planner.optimize.incumbent.incumbent import Incumbent
    from planner.optimize.options import SolveOptions
    from planner.optimize.search.common import get_ready, open_context
    from reports.seasons import QUICK

    context = open_context(Incumbent(SolveOptions(), None, None), load(QUICK[-1]))
    began = monotonic()
    get_ready(context)
    context.workers.close()
    return {"compiled": monotonic() - began}


WAYS = {way.__name__: way for way in (plain, ours, build, workbook, versions, warm)}

if __name__ == "__main__":
    row = WAYS[sys.argv[1]](*sys.argv[2:])
    print(MARK + json.dumps(row), flush=True)

"""How time and memory of writing the workbook grow with the number of fields.

Run from the top of the project:

    python -m reports.workbook_growth

Every size runs in a process of its own, so that peaks don't add up. Writes
reports/workbook-growth.md.
"""

from __future__ import annotations

import json
import math
import platform
import resource
import subprocess
import sys
import time
from importlib.metadata import version
from pathlib import Path

SIZES = (40, 200, 1_000, 2_000, 5_000)
PAGE = Path(__file__).parent / "workbook-growth.md"


def measure(fields: int) -> dict[str, float]:
    """Make and write the workbook of a season of so many fields; processor seconds, MB, cells."""
    import io

    import openpyxl

    from planner.report.frames import make_book
    from planner.report.json import json_bytes
    from planner.report.workbook import render
    from tests.sample_plan import tiled

    season, plan = tiled(fields // 8)
    before = peak()
    start = time.process_time()
    book = make_book(plan, season)
    described = time.process_time()
    content = render(book)
    rendered = time.process_time()
    high = peak()
    json_bytes(plan, season)
    written = time.process_time()
    read = openpyxl.load_workbook(io.BytesIO(content), read_only=True)
    cells = sum(len(row) for sheet in read for row in sheet.iter_rows(values_only=True))
    return {
        "fields": len(season.fields),
        "cells": cells,
        "describe": described - start,
        "render": rendered - described,
        "json": written - rendered,
        "memory": high - before,
        "size": len(content) / 1e6,
    }


def peak() -> float:
    """Highest memory of this process so far, MB."""
    unit = 1e6 if sys.platform == "darwin" else 1e3
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / unit


def exponent(rows: list[dict[str, float]], key: str) -> float:
    """Slope between the last two sizes on logarithmic scales: 1 is linear."""
    one, two = rows[-2:]
    return math.log(two[key] / one[key]) / math.log(two["fields"] / one["fields"])


def page(rows: list[dict[str, float]]) -> str:
    """Write the figures as a page."""
    lines = [
        "# How the workbook grows",
        "",
        "Made by `python -m reports.workbook_growth`, one run, "
        f"Python {platform.python_version()}, openpyxl {version('openpyxl')}, "
        f"{platform.system()} {platform.machine()}. Processor seconds of one core; other work "
        "went on on the machine, so differences under a third say little.",
        "",
        "| fields | cells | describe, s | render, s | plan.json, s | memory, MB | plan.xlsx, MB |",
        "|---|---|---|---|---|---|---|",
    ]
    lines += [
        f"| {r['fields']:,} | {r['cells']:,} | {r['describe']:.2f} | {r['render']:.2f} "
        f"| {r['json']:.2f} | {r['memory']:.0f} | {r['size']:.2f} |"
        for r in rows
    ]
    slopes = {key: exponent(rows, key) for key in ("cells", "describe", "render", "memory")}
    said = ", ".join(f"{key} {slope:.2f}" for key, slope in slopes.items())
    lines += [
        "",
        f"Exponents between the last two sizes (1 is linear): {said}.",
        "",
        "Cells are kept in memory until the file is written (not in the library's write-only "
        "mode, which could neither merge cells nor look back): at this size that is cheaper than "
        "a second way of writing.",
        "",
    ]
    return "\n".join(lines)


def main() -> None:
    """Measure every size in a process of its own and write the page."""
    if len(sys.argv) > 1:
        print(json.dumps(measure(int(sys.argv[1]))))
        return
    rows = []
    for fields in SIZES:
        command = [sys.executable, "-m", "reports.workbook_growth", str(fields)]
        done = subprocess.run(command, check=True, capture_output=True, text=True)
        rows.append(json.loads(done.stdout))
        print(rows[-1])
    PAGE.write_text(page(rows), "utf-8")


if __name__ == "__main__":
    main()

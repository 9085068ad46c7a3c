"""Seasons with two things broken at once: each is refused with its faults, or planned and written.

    python -m reports.reliability.broken_pairs [--write] [--part I/N]

A small season in which every sheet is in use is broken in every way below, alone and in all pairs:
a sheet without rows, blank or missing; a name that sheets share, another one where it is defined
or where it is used, in one row or in all, or left blank. Nothing but the documented error may come
out: `InputError` when it is read, else a plan, why it is so and (with --write) its files. Prints
how many ended how, and each one that ended otherwise; leaves with 1 if there was any.
"""

from __future__ import annotations

import argparse
import itertools
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path

from planner import api
from planner.errors import InputError, NoPlanError
from planner.season.columns import Kind
from planner.season.schema import SHEETS
from planner.terminal.summary import season_lines
from tests.support.inputs import Sheets, folder, good, put, setting

Break = Callable[[Sheets], Sheets]


def full() -> Sheets:
    """The season that is broken: every column that refers to another sheet has a name in it."""
    sheets = good()
    put(sheets, "Fields", 2, "Only varieties", "Heron; Egret")
    put(sheets, "Discounts", 2, "Products", "Green Cap")
    put(sheets, "Containers", 3, "Supplier", "North yard")
    return sheets


def breaks() -> dict[str, Break]:
    """Every way of breaking the season, by a name that says where."""
    found: dict[str, Break] = {
        "Allow untreated": lambda s: setting(s, "Allow untreated", "yes"),
        "Weigh yield loss": lambda s: setting(s, "Weigh yield loss", "no"),
    }
    for sheet in SHEETS:
        found[f"{sheet.name}: no rows"] = _rows(sheet.name, slice(0, 1))
        found[f"{sheet.name}: blank"] = _rows(sheet.name, slice(0, 0))
        found[f"{sheet.name}: missing"] = _missing(sheet.name)
        for column in sheet.columns:
            there = (sheet.name, column.name)
            if column.name not in full()[sheet.name][0]:
                continue
            if column.refers or column.kind is Kind.NAME or column.name == "Variety":
                found[f"{sheet.name}.{column.name}: another"] = _put(*there, "Nowhere 7")
                found[f"{sheet.name}.{column.name}: blank"] = _put(*there, "")
                found[f"{sheet.name}.{column.name}: all of them"] = _all(*there, "Nowhere 7")
    return found


def _rows(sheet: str, kept: slice) -> Break:
    return lambda s: {**s, sheet: s[sheet][kept]}


def _missing(sheet: str) -> Break:
    return lambda s: {name: rows for name, rows in s.items() if name != sheet}


def _put(sheet: str, column: str, text: str) -> Break:
    return lambda s: put(s, sheet, 2, column, text) if len(s.get(sheet, ())) > 1 else s


def _all(sheet: str, column: str, text: str) -> Break:
    def change(sheets: Sheets) -> Sheets:
        for row in range(2, len(sheets.get(sheet, ())) + 1):
            put(sheets, sheet, row, column, text)
        return sheets

    return change


def end(sheets: Sheets, place: Path, *, plan: bool = True, write: bool = False) -> str:
    """How a season ends: "refused", "read", "planned" or "no plan"; any other error comes out."""
    path = folder(place / "season", sheets)
    try:
        season = api.load(path)
    except InputError as error:
        return "refused" if error.faults and str(error) else "refused without a fault"
    season_lines(season)
    if not plan:
        return "read"
    try:
        made = api.make_plan(season, effort=1)
    except NoPlanError:
        return "no plan"
    why = api.explain(season, made, seconds=0.0)
    if write:
        api.write(made, season, place / "plan", why)
    return "planned"


def cases() -> Iterator[tuple[str, Sheets]]:
    """The whole season, each break alone, and every two of them in both orders of the alphabet."""
    known = breaks()
    yield "whole", full()
    for name, change in known.items():
        yield name, change(full())
    for one, two in itertools.combinations(known, 2):
        yield f"{one} + {two}", known[two](known[one](full()))


def main() -> None:
    """Try them all."""
    asked = argparse.ArgumentParser()
    asked.add_argument("--write", action="store_true")
    asked.add_argument("--part", default="1/1", metavar="I/N", help="every N-th, from the I-th on")
    options = asked.parse_args()
    first, step = map(int, options.part.split("/"))
    begun, ended, bad = time.process_time(), Counter[str](), 0
    tried = 0
    for name, sheets in itertools.islice(cases(), first - 1, None, step):
        tried += 1
        with tempfile.TemporaryDirectory() as place:
            try:
                how = end(sheets, Path(place), write=options.write)
                ended[how] += 1
                bad += how == "refused without a fault"
            except Exception as error:
                bad += 1
                print(f"{name}: {type(error).__name__}: {error}", flush=True)
    count = ", ".join(f"{n:,} {how}" for how, n in ended.most_common())
    print(f"{tried:,} seasons: {count}, {bad} ended otherwise", flush=True)
    print(f"{time.process_time() - begun:.0f} s of processor time")
    raise SystemExit(bad > 0)


if __name__ == "__main__":
    main()

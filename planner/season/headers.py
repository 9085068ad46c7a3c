"""Which row of a sheet holds the headers, and which column each of them means."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

from planner.errors import Fault
from planner.season.names import key, nearest, shown, tidy
from planner.season.schema import Column, Kind, Sheet
from planner.units import ACCEPTED, RATES, Measure, Unreadable, check_unit, is_rate_unit

if TYPE_CHECKING:
    from collections.abc import Sequence

    from planner.season.grids import Grid

HEADER_WITHIN = 30
"""Filled rows within which the headers must stand."""
LIKELY = 0.8
"""Likeness from which an unknown header, sheet or setting is taken for a slip of the pen."""
PRESSURE = " pressure"


@dataclass(frozen=True, slots=True)
class Heading:
    """One column of a sheet as it was found."""

    column: Column
    header: str
    """As the user wrote it."""
    index: int
    """From 0."""
    unit: str
    """Unit of bare numbers; empty if there is none."""
    threat: str = ""
    """For a pressure column: the threat, as the header says it."""


def letters(index: int) -> str:
    """Letters of a spreadsheet column, counted from 0.

    >>> letters(0), letters(27)
    ('A', 'AB')
    """
    name = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        name = chr(65 + rest) + name
    return name


_BRACKETS = re.compile(r"^(.*?)\s*[(\[]([^()\[\]]*)[)\]]\s*$", re.DOTALL)


def split_header(text: str) -> tuple[str, str]:
    """Name and unit of a header.

    >>> split_header("Size  (gal) *")
    ('Size', 'gal')
    """
    plain = tidy(text[:500]).strip("* :")
    found = _BRACKETS.match(plain)
    return (found[1].strip("* :"), found[2].strip()) if found else (plain, "")


@lru_cache
def _known(sheet: Sheet) -> dict[str, tuple[Column, str]]:
    """Columns (or settings) by every header that means them, with the unit that it implies."""
    known: dict[str, tuple[Column, str]] = {}
    for column in (*sheet.columns, *sheet.settings):
        for name in (column.name, *column.aliases):
            plain, unit = split_header(name)
            known.setdefault(key(plain), (column, unit))
    return known


def find_column(sheet: Sheet, header: str, *, setting: bool = False) -> tuple[Column, str] | None:
    """Column that a header means, and the unit of its bare numbers; None if it means none."""
    name, unit = split_header(header)
    if sheet.per_threat and not setting and key(name).endswith(PRESSURE):
        return sheet.per_threat, ""
    found = _known(sheet).get(key(name))
    if found is None or (found[0] in sheet.settings) != setting:
        return None
    return found[0], unit or found[1] or found[0].unit


def header_row(grid: Grid) -> int | None:
    """Place, among the filled rows, of the row with the most known headers."""

    def hits(texts: Sequence[str]) -> int:
        found = (find_column(grid.sheet, t) for t in texts if t.strip())
        return len({c[0].key for c in found if c})

    counts = [hits(texts) for _, texts in grid.rows[:HEADER_WITHIN]]
    best = max(counts)
    enough = min(2, sum(column.must for column in grid.sheet.columns))
    return counts.index(best) if best >= enough else None


@dataclass(frozen=True, slots=True)
class Headers:
    """The row of headers of a sheet as it was understood."""

    row: int
    known: dict[str, Heading]
    """By the column's key; for a pressure ``pressure:`` and the threat's key."""
    unknown: tuple[tuple[int, str], ...] = ()
    """Place, from 0, and text of every other header."""
    lost: frozenset[str] = frozenset()
    """Keys of columns whose header is missing, misspelled or there twice, which is a fault."""


def read_headers(grid: Grid, number: int, header: Sequence[str]) -> tuple[Headers, list[Fault]]:
    """Tell which column each header means. Returns faults of the header row, too."""
    known: dict[str, Heading] = {}
    faults: list[Fault] = []
    unknown: list[tuple[int, str]] = []
    twice: set[str] = set()
    for index, text in enumerate(header):
        found = find_column(grid.sheet, text) if text.strip() else None
        if found is None:
            unknown += [(index, text)] if text.strip() else []
            continue
        column, unit = found
        threat = split_header(text)[0][: -len(PRESSURE)] if column is grid.sheet.per_threat else ""
        name = f"pressure:{key(threat)}" if threat else column.key
        if name in known:
            remedy = f"'{shown(known[name].header)}' is the same: keep one of them"
            faults.append(header_fault(grid, number, index, text, "each column once", remedy))
            twice.add(name)
            continue
        problem = unit_problem(column, unit)
        if problem:
            faults.append(header_fault(grid, number, index, text, *problem))
            unit = column.unit or column.shown
        known[name] = Heading(column, tidy(text)[:200], index, unit, threat.strip())
    faults += _troubled_headers(grid, number, header)
    lost = _missing_headers(grid, number, known, unknown)
    faults += lost.values()
    read = {name: heading for name, heading in known.items() if name not in twice}
    return Headers(number, read, tuple(unknown), frozenset({*lost, *twice})), faults


def _missing_headers(
    grid: Grid, number: int, known: dict[str, Heading], unknown: Sequence[tuple[int, str]]
) -> dict[str, Fault]:
    """Faults of columns that must be there or whose headers are probably misspelled, by key."""
    lost = {}
    missing = {c.name: c for c in grid.sheet.columns if c.key not in known}
    for index, text in unknown:
        like = nearest(split_header(text)[0], missing, LIKELY)
        if like:
            column = missing.pop(like)
            remedy = f"write '{like}' if that is meant, else another header"
            fault = header_fault(grid, number, index, text, "a known header", remedy)
            lost[column.key] = fault
    for name, column in missing.items():
        if column.must or (grid.sheet.settings and column.key == "value"):
            like = nearest(name, [text for _, text in unknown], 0.5)
            remedy = f"rename '{shown(like)}' if that is it" if like else ""
            lost[column.key] = Fault(
                grid.name, number, expected=f"a column '{name}'", remedy=remedy
            )
    return lost


def _troubled_headers(grid: Grid, number: int, header: Sequence[str]) -> list[Fault]:
    """Faults of headers that a formula should give but does not, above filled cells."""
    faults = []
    for (row, index), trouble in grid.troubles.items():
        below = (texts[index : index + 1] for at, texts in grid.rows if at > number)
        if row == number and any(t and t[0].strip() for t in below):
            text = "".join(header[index : index + 1]).strip() or trouble.value
            faults.append(header_fault(grid, number, index, text, "a header", "type it"))
    return faults


def header_fault(
    grid: Grid, number: int, index: int, text: str, expected: str, remedy: str
) -> Fault:
    """Fault of one header."""
    name = shown(text)
    return Fault(grid.name, number, name, name, expected, remedy, f"{letters(index)}{number}")


def unit_problem(column: Column, unit: str) -> tuple[str, str] | None:
    """What is expected, and the remedy, where a header's unit is none of its column's."""
    if not unit or column.kind not in (Kind.QUANTITY, Kind.PERCENT, Kind.RATE):
        return None
    if column.kind is Kind.PERCENT:
        fits = key(unit) in ("%", "percent", "pct")
        return None if fits else ("% as the unit in the header", "")
    if column.kind is Kind.RATE:
        return None if is_rate_unit(unit) else (f"a rate's unit in the header: {RATES}", "")
    measure = column.measure or Measure.VOLUME
    try:
        check_unit(unit, measure)
    except Unreadable as problem:
        return f"a unit in the header out of {ACCEPTED[measure]}", problem.remedy
    return None

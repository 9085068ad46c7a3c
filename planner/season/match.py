"""Which row of a sheet holds the headers, which column is which, which rows hold records."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from functools import lru_cache
from typing import TYPE_CHECKING

from planner.errors import Fault
from planner.season.names import key, nearest, shown, tidy
from planner.season.schema import HELP_SHEETS, SHEETS, Column, Kind, Sheet
from planner.units import ACCEPTED, RATES, Measure, Unreadable, find_unit, is_rate_unit

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from planner.season.tables import Book, Grid, Trouble

HEADER_WITHIN = 30
"""Filled rows within which the headers must stand."""
TOTALS = frozenset(("total", "totals", "sum", "grand total", "subtotal", "total:", "sum:"))
"""What a row of totals calls itself."""
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


@dataclass(slots=True)
class Line:
    """One filled row of a sheet: texts by the columns' keys, later values."""

    row: int
    texts: dict[str, str]
    values: dict[str, object] = field(default_factory=dict)
    """What was read, by key; blank cells are missing."""
    bad: set[str] = field(default_factory=set)
    """Keys of cells that hold faults."""

    def get(self, name: str) -> object:
        """Value of a cell; None where blank or faulty."""
        return self.values.get(name)


@dataclass(frozen=True, slots=True)
class Table:
    """One sheet with its columns told apart."""

    sheet: Sheet
    name: str
    """As the user knows it: the sheet's title or the file's name."""
    headings: Mapping[str, Heading]
    """By the column's key."""
    lines: tuple[Line, ...]
    comma: bool = True
    troubles: Mapping[tuple[int, int], Trouble] = field(default_factory=dict)

    def fault(
        self, line: Line, name: str, expected: str, remedy: str = "", seen: str | None = None
    ) -> Fault:
        """Fault of one cell, by the key of its column."""
        heading = self.headings.get(name)
        text = line.texts.get(name, "") if seen is None else seen
        column = self.sheet.by_key(name)
        return Fault(
            self.name,
            line.row,
            heading.header if heading else column.name if column else "",
            shown(text),
            expected,
            remedy,
            f"{letters(heading.index)}{line.row}" if heading else "",
        )


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


def _strangers(book: Book) -> list[str]:
    """Sheets that are neither a season's nor written by us to help with it."""
    ours = {key(name) for name in HELP_SHEETS}
    return [name for name in book.strangers if key(name) not in ours]


def match(book: Book) -> tuple[list[Table], list[Fault], list[str]]:
    """Tell the columns and rows of all sheets apart.

    Returns
    -------
    tuple[list[Table], list[Fault], list[str]]
        The tables, the faults, and what to tell.
    """
    faults = [*book.faults, *_missing_sheets(book)]
    told = [
        *book.told,
        *(f"'{shown(s)}' is no sheet of a season: passed over." for s in _strangers(book)),
    ]
    tables: dict[str, Table] = {}
    broken = {fault.sheet for fault in book.faults}
    for grid in book.grids:
        if grid.sheet.name in tables:
            other = tables[grid.sheet.name].name
            faults.append(
                Fault(
                    grid.name,
                    expected=f"sheet {grid.sheet.name} once",
                    remedy=f"it is there as '{shown(other)}' too: keep one of them",
                )
            )
            continue
        table, found, notes = _table(grid) if grid.name not in broken else (_empty(grid), [], [])
        tables[grid.sheet.name] = table
        faults += found
        told += notes
    return list(tables.values()), faults, told


def _missing_sheets(book: Book) -> list[Fault]:
    """Faults of sheets that must be there, and of sheets whose names are probably misspelled."""
    there = {grid.sheet.name for grid in book.grids}
    csv = any(grid.csv for grid in book.grids)
    strangers = {s.removesuffix(".csv") if csv else s: s for s in book.strangers}
    faults = []
    for sheet in SHEETS:
        if sheet.name in there:
            continue
        like = nearest(sheet.name, strangers, 0.6 if sheet.must else LIKELY)
        if like or sheet.must:
            what = f"a file '{sheet.file}'" if csv else f"a sheet '{sheet.name}'"
            remedy = f"rename '{shown(strangers[like])}' if that is it" if like else ""
            name = strangers[like] if like and not sheet.must else sheet.file if csv else sheet.name
            faults.append(Fault(shown(name), expected=what, remedy=remedy))
    return faults


def _empty(grid: Grid) -> Table:
    return Table(grid.sheet, grid.name, {}, (), grid.comma)


def _table(grid: Grid) -> tuple[Table, list[Fault], list[str]]:
    """Find the headers of a sheet and the rows below them."""
    if not grid.rows:
        columns = ", ".join(c.name for c in grid.sheet.columns if c.must)
        missing = Fault(grid.name, expected=f"headers ({columns}) and rows; it is blank")
        return _empty(grid), [missing] if grid.sheet.must else [], []
    at = _header_row(grid)
    if at is None:
        names = ", ".join(c.name for c in grid.sheet.columns if c.must)
        row, texts = grid.rows[0]
        seen = shown(" | ".join(t for t in texts if t.strip()))
        fault = Fault(
            grid.name,
            row,
            seen=seen,
            expected=f"a row of headers with {names}",
            remedy="put it above the rows",
        )
        return _empty(grid), [fault], []
    number, header = grid.rows[at]
    headings, faults, told = _headings(grid, number, header)
    lines, more, notes = _lines(grid, at, headings)
    table = Table(grid.sheet, grid.name, headings, tuple(lines), grid.comma, grid.troubles)
    return table, faults + more, told + notes


def _header_row(grid: Grid) -> int | None:
    """Place, among the filled rows, of the row with the most known headers."""

    def hits(texts: Sequence[str]) -> int:
        found = (find_column(grid.sheet, t) for t in texts if t.strip())
        return len({c[0].key for c in found if c})

    counts = [hits(texts) for _, texts in grid.rows[:HEADER_WITHIN]]
    best = max(counts)
    enough = min(2, sum(column.must for column in grid.sheet.columns))
    return counts.index(best) if best >= enough else None


def _headings(
    grid: Grid, number: int, header: Sequence[str]
) -> tuple[dict[str, Heading], list[Fault], list[str]]:
    """Columns by key, with faults of the header row and what to tell of it."""
    headings: dict[str, Heading] = {}
    faults: list[Fault] = []
    told: list[str] = []
    unknown: list[tuple[int, str]] = []
    for index, text in enumerate(header):
        if not text.strip():
            continue
        found = find_column(grid.sheet, text)
        if found is None:
            unknown.append((index, text))
            continue
        column, unit = found
        threat = (
            split_header(text)[0][: -len(PRESSURE)].strip() if column.name == "pressure" else ""
        )
        name = f"pressure:{key(threat)}" if threat else column.key
        if name in headings:
            remedy = f"'{shown(headings[name].header)}' is the same: keep one of them"
            faults.append(_header_fault(grid, number, index, text, "each column once", remedy))
            continue
        problem = unit_problem(column, unit)
        if problem:
            faults.append(_header_fault(grid, number, index, text, *problem))
            unit = column.unit or column.shown
        headings[name] = Heading(column, tidy(text)[:200], index, unit, threat)
    faults += _troubled_headers(grid, number, header)
    missing = [c for c in grid.sheet.columns if c.key not in headings]
    for index, text in unknown:
        like = nearest(split_header(text)[0], [c.name for c in missing], LIKELY)
        if like:
            missing = [c for c in missing if c.name != like]
            remedy = f"write '{like}' if that is meant, else another header"
            faults.append(_header_fault(grid, number, index, text, "a known header", remedy))
        else:
            told.append(f"{grid.name}: column '{shown(text)}' is not known and was passed over.")
    faults += [_missing(grid, number, c, [text for _, text in unknown]) for c in missing if c.must]
    return headings, faults, told


def _troubled_headers(grid: Grid, number: int, header: Sequence[str]) -> list[Fault]:
    """Faults of headers that a formula should give but does not, above filled cells."""
    faults = []
    for (row, index), trouble in grid.troubles.items():
        below = (texts[index : index + 1] for at, texts in grid.rows if at > number)
        if row == number and any(t and t[0].strip() for t in below):
            text = "".join(header[index : index + 1]).strip() or trouble.value
            faults.append(_header_fault(grid, number, index, text, "a header", "type it"))
    return faults


def _header_fault(
    grid: Grid, number: int, index: int, text: str, expected: str, remedy: str
) -> Fault:
    name = shown(text)
    return Fault(grid.name, number, name, name, expected, remedy, f"{letters(index)}{number}")


def _missing(grid: Grid, number: int, column: Column, unknown: Sequence[str]) -> Fault:
    like = nearest(column.name, unknown, 0.5)
    remedy = f"rename '{shown(like)}' if that is it" if like else ""
    return Fault(grid.name, number, expected=f"a column '{column.name}'", remedy=remedy)


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
        find_unit(unit, measure)
    except Unreadable as problem:
        return f"a unit in the header out of {ACCEPTED[measure]}", problem.remedy
    return None


def _lines(
    grid: Grid, at: int, headings: Mapping[str, Heading]
) -> tuple[list[Line], list[Fault], list[str]]:
    """Rows below the headers that hold something in a known column."""
    width = len(grid.rows[at][1])
    lines: list[Line] = []
    faults: list[Fault] = []
    told: list[str] = []
    notes: list[int] = []
    for number, texts in grid.rows[at + 1 :]:
        if grid.csv and any(t.strip() for t in texts[width:]):
            remedy = "put a text or number that holds the divider into quotes"
            expected = f"{width} cells, as in the header"
            seen = f"{len(texts)} cells"
            faults.append(Fault(grid.name, number, seen=seen, expected=expected, remedy=remedy))
            continue
        cells = {
            name: texts[h.index] if h.index < len(texts) else "" for name, h in headings.items()
        }
        troubled = any((number, h.index) in grid.troubles for h in headings.values())
        if troubled or any(t and not t.isspace() for t in cells.values()):
            lines.append(Line(number, cells))
        else:
            notes.append(number)
    if notes:
        told.append(f"{grid.name}: nothing but notes in {_rows(notes)}, passed over.")
    if lines and headings and _is_total(lines[-1], headings):
        told.append(f"{grid.name}: row {lines[-1].row} holds totals and was not planned.")
        lines.pop()
    return lines, faults, told


def _is_total(line: Line, headings: Mapping[str, Heading]) -> bool:
    """Whether a last row calls itself a total: in its first filled cell."""
    for heading in sorted(headings.items(), key=lambda item: item[1].index):
        text = key(line.texts[heading[0]])
        if text:
            return text in TOTALS
    return False


def _rows(numbers: Sequence[int]) -> str:
    """Row numbers in words, the first few of them."""
    first = ", ".join(map(str, numbers[:5]))
    more = f" and {len(numbers) - 5} more" if len(numbers) > 5 else ""
    return f"row{'s' if len(numbers) > 1 else ''} {first}{more}"

"""Which rows of which sheet hold records: tables of texts, told apart by columns."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from planner.errors import Fault
from planner.season.grids import ERRORS, Trouble
from planner.season.headers import LIKELY, Heading, header_row, letters, read_headers
from planner.season.names import key, nearest, shown
from planner.season.schema import HELP_SHEETS, SHEETS, Sheet

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from planner.season.grids import Book, Grid

TOTALS = frozenset(("total", "totals", "sum", "grand total", "subtotal", "total:", "sum:"))
"""What a row of totals calls itself."""


@dataclass(slots=True)
class Line:
    """One filled row of a sheet: texts by the columns' keys, later values."""

    row: int
    texts: dict[str, str]
    values: dict[str, object] = field(default_factory=dict)
    """What was read, by key; blank cells are missing."""
    bad: set[str] = field(default_factory=set)
    """Keys of cells that hold faults, or whose header is missing or misspelled."""

    def get(self, name: str) -> object:
        """Value of a cell; None where blank or faulty."""
        return self.values.get(name)


@dataclass(frozen=True, slots=True)
class Table:
    """One sheet with its columns told apart."""

    sheet: Sheet
    name: str
    """The sheet's title; in a folder the schema's name."""
    headings: Mapping[str, Heading]
    """By the column's key."""
    lines: tuple[Line, ...]
    comma: bool = True
    troubles: Mapping[tuple[int, int], Trouble] = field(default_factory=dict)
    merged: Mapping[tuple[int, int], str] = field(default_factory=dict)
    unknown: tuple[tuple[int, str], ...] = ()
    """Place, from 0, and text of headers that mean no column."""
    header_row: int = 0
    unread: bool = False
    """Whether it, or some of its rows, could not be read: a fault of its own says why."""

    def trouble(self, line: Line, name: str) -> Trouble | None:
        """Why a cell has no value, by the key of its column; None if it may have one."""
        heading = self.headings.get(name)
        if heading is None:
            return None
        is_error = line.texts.get(name, "").strip().upper() in ERRORS
        found = self.troubles.get((line.row, heading.index))
        if found is Trouble.MERGED and name == "note":
            return None  # nobody reads it
        return found or (Trouble.ERROR if is_error else None)

    def header(self, name: str) -> str:
        """Header of a column as it is written, by the column's key."""
        heading = self.headings.get(name)
        column = self.sheet.by_key(name)
        return heading.header if heading else column.name if column else ""

    def fault(
        self, line: Line, name: str, expected: str, remedy: str = "", seen: str | None = None
    ) -> Fault:
        """Fault of one cell, by the key of its column."""
        heading = self.headings.get(name)
        placed = heading is not None and heading.index >= 0 and line.row > 0
        text = line.texts.get(name, "") if seen is None else seen
        return Fault(
            self.name,
            line.row,
            self.header(name),
            shown(text),
            expected,
            remedy,
            f"{letters(heading.index)}{line.row}" if heading and placed else "",
        )


def match(book: Book) -> tuple[list[Table], list[Fault], list[str]]:
    """Tell the columns and rows of all sheets apart.

    Returns
    -------
    tuple[list[Table], list[Fault], list[str]]
        The tables, the faults, and what to tell.
    """
    missing = _missing_sheets(book)
    faults = [*book.faults, *missing.values()]
    reported = [
        *book.notes,
        *(f"'{shown(s)}' is not a sheet of a season and was ignored." for s in _strangers(book)),
    ]
    tables = {s.name: Table(s, s.name, {}, (), unread=True) for s in missing}
    places: dict[str, str] = {}
    broken = {fault.sheet for fault in book.faults}
    for grid in book.grids:
        place = grid.file or grid.name
        if grid.sheet.name in places:
            expected = f"sheet {grid.sheet.name} once"
            remedy = f"it is there as '{shown(places[grid.sheet.name])}' too: keep one of them"
            faults.append(Fault(shown(place), expected=expected, remedy=remedy))
            continue
        table, found, notes = _table(grid) if place not in broken else (_empty(grid), [], [])
        tables[grid.sheet.name] = table
        places[grid.sheet.name] = place
        faults += found
        reported += notes
    return list(tables.values()), faults, reported


def _strangers(book: Book) -> list[str]:
    """Sheets that are neither a season's nor written by us to help with it."""
    ours = {key(name) for name in HELP_SHEETS}
    return [name for name in book.strangers if key(name.removesuffix(".csv")) not in ours]


def _missing_sheets(book: Book) -> dict[Sheet, Fault]:
    """Faults of sheets that must be there, and of sheets whose names are probably misspelled."""
    there = {grid.sheet.name for grid in book.grids}
    csv = any(grid.file for grid in book.grids)
    strangers = {s.removesuffix(".csv") if csv else s: s for s in book.strangers}
    faults = {}
    for sheet in SHEETS:
        if sheet.name in there:
            continue
        like = nearest(sheet.name, strangers, 0.6 if sheet.must else LIKELY)
        if like or sheet.must:
            what = f"a file '{sheet.file}'" if csv else f"a sheet '{sheet.name}'"
            remedy = f"rename '{shown(strangers[like])}' if that is it" if like else ""
            name = strangers[like] if like and not sheet.must else sheet.name
            faults[sheet] = Fault(shown(name), expected=what, remedy=remedy)
    return faults


def _empty(grid: Grid, *, unread: bool = True) -> Table:
    return Table(grid.sheet, grid.name, {}, (), grid.comma, unread=unread)


def _table(grid: Grid) -> tuple[Table, list[Fault], list[str]]:
    """Find the headers of a sheet and the rows below them."""
    if not grid.rows:
        columns = ", ".join(c.name for c in grid.sheet.columns if c.must)
        missing = Fault(grid.name, expected=f"headers ({columns}) and rows; it is blank")
        must = grid.sheet.must
        return _empty(grid, unread=must), [missing] if must else [], []
    at = header_row(grid)
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
    headers, faults = read_headers(grid, number, header)
    lines, ragged, notes = _lines(grid, at, headers.known)
    for line in lines:
        line.bad |= headers.lost
    notes += _without_header(grid, at)
    table = Table(
        grid.sheet,
        grid.name,
        headers.known,
        tuple(lines),
        grid.comma,
        grid.troubles,
        grid.merged,
        headers.unknown,
        number,
        unread=bool(ragged),
    )
    return table, faults + ragged, notes


def _without_header(grid: Grid, at: int) -> list[str]:
    """Note of the columns that hold something below the headers but have none themselves."""
    header = grid.rows[at][1]
    found = {
        index
        for _, texts in grid.rows[at + 1 :]
        for index, text in enumerate(texts)
        if text and not text.isspace() and not "".join(header[index : index + 1]).strip()
    }
    if not found:
        return []
    names = ", ".join(letters(index) for index in sorted(found)[:5])
    more = f" and {len(found) - 5} more" if len(found) > 5 else ""
    many = len(found) > 1
    columns = f"columns {names}{more} have" if many else f"column {names} has"
    was = "were" if many else "was"
    return [f"{grid.name}: {columns} no header in row {grid.rows[at][0]} and {was} ignored."]


def _lines(
    grid: Grid, at: int, headings: Mapping[str, Heading]
) -> tuple[list[Line], list[Fault], list[str]]:
    """Rows below the headers that hold something in a known column."""
    header = [key(text) for text in grid.rows[at][1]]
    width = len(header)
    lines: list[Line] = []
    faults: list[Fault] = []
    reported: list[str] = []
    notes: list[int] = []
    again: list[int] = []
    for number, texts in grid.rows[at + 1 :]:
        if [key(text) for text in texts] == header:
            again.append(number)
            continue
        remedy = _ragged(texts, width, headings) if grid.file else ""
        if remedy:
            expected = f"{width} cells, as in the header"
            seen = f"{len(texts)} cells"
            faults.append(Fault(grid.name, number, seen=seen, expected=expected, remedy=remedy))
            continue
        cells = {
            name: texts[h.index] if h.index < len(texts) else "" for name, h in headings.items()
        }
        found = {grid.troubles.get((number, h.index)) for h in headings.values()}
        troubled = bool(found - {None, Trouble.MERGED})
        if troubled or any(t and not t.isspace() for t in cells.values()):
            lines.append(Line(number, cells))
        else:
            notes.append(number)
    if again:
        reported.append(f"{grid.name}: headers once more in {row_numbers(again)}, ignored.")
    if notes:
        reported.append(f"{grid.name}: nothing but notes in {row_numbers(notes)}, ignored.")
    if lines and headings and _is_total(lines[-1], headings):
        reported.append(f"{grid.name}: row {lines[-1].row} holds totals and was not planned.")
        lines.pop()
    return lines, faults, reported


def _ragged(texts: Sequence[str], width: int, headings: Mapping[str, Heading]) -> str:
    """Remedy for a row of a file that has more or fewer cells than its header; empty if none.

    A divider that is missing or too many moves all cells behind it. A note at the end, and what
    follows the name of a total, may be missing.
    """
    if any(text.strip() for text in texts[width:]):
        return "put a text or number that holds the divider into quotes"
    needed = max((h.index + 1 for h in headings.values() if h.column.key != "note"), default=0)
    first = next((text for text in texts if text.strip()), "")
    if len(texts) < needed and key(first) not in TOTALS:
        return "write the divider for blank cells, too"
    return ""


def _is_total(line: Line, headings: Mapping[str, Heading]) -> bool:
    """Whether a last row calls itself a total: in its first filled cell."""
    for heading in sorted(headings.items(), key=lambda item: item[1].index):
        text = key(line.texts[heading[0]])
        if text:
            return text in TOTALS
    return False


def row_numbers(numbers: Sequence[int]) -> str:
    """Row numbers in words, the first few of them.

    >>> row_numbers([5]), row_numbers([5, 6, 7, 8, 9, 10])
    ('row 5', 'rows 5, 6, 7, 8, 9 and 1 more')
    """
    first = ", ".join(map(str, numbers[:5]))
    more = f" and {len(numbers) - 5} more" if len(numbers) > 5 else ""
    return f"row{'s' if len(numbers) > 1 else ''} {first}{more}"


Tables = dict[str, Table]
"""Matched tables by the schema's sheet name; every sheet is there, if need be without lines."""


def all_tables(tables: Iterable[Table]) -> Tables:
    """Tables by sheet; an empty one where a sheet is missing."""
    found = {table.sheet.name: table for table in tables}
    return {s.name: found.get(s.name) or Table(s, s.name, {}, ()) for s in SHEETS}

"""What was typed into a workbook of ours: told from a plain save, and taken over into the next one.

Office programs write a file again when they save it, so bytes and dates say nothing. A workbook
carries a digest of what its cells held when it was written; numbers count to ten digits, as
programs keep them to 15. A result of a formula does not count, as it follows from the rest.
"""

from __future__ import annotations

import hashlib
import io
from collections import Counter
from dataclasses import replace
from datetime import date, datetime, time
from typing import TYPE_CHECKING, Any, NamedTuple

from openpyxl import load_workbook
from openpyxl.cell import MergedCell
from openpyxl.packaging.custom import StringProperty

from planner.report.fit import header, measure_of
from planner.report.measures import Measure
from planner.report.pen import Pen
from planner.report.sheets import Cell, Formula, Look, Table
from planner.season.workbook import check_archive, openpyxl_silent

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from planner.report.measures import Manner
    from planner.report.sheets import Block, Book, Column, Content, Sheet

WRITTEN = "Written by wholedrum"
"""Name of the property that holds the digests: of all cells, and of all but those to fill in."""
FORMULA = "="
"""What a formula says: programs write it in their own ways."""

Row = tuple[str, ...]
"""What a row of a table says, without what is to be filled in or passes."""


def sign(file: Any) -> None:
    """Put into a workbook of openpyxl what its cells hold now, as digests."""
    file.custom_doc_props.append(StringProperty(name=WRITTEN, value=" ".join(_digests(file))))


def is_as_written(path: Path) -> bool:
    """Whether all cells of a workbook of ours hold what we wrote there; False where that is open.

    Values, notes and fills count: some mark what is done by color.
    """
    file = _open(path)
    return file is not None and _signed(file) == [*_digests(file)]


class TakenOver(NamedTuple):
    """What came of an older workbook."""

    book: Book
    """With what was filled in there."""
    complete: bool
    """Whether nothing else was changed there, so that nothing is lost with it."""


def take_over(book: Book, older: Path) -> TakenOver:
    """Take over into a book what was filled in in an older workbook of the same sheets.

    A row is known by all of it that is not to be filled in, or by all of that but its days, as work
    is seldom done on the day that was planned; the title of its sheet and the headers of its table
    must be there once in both.
    """
    file = _open(older)
    if file is None:
        return TakenOver(book, complete=False)
    left = {(ws.title, *place) for ws in file.worksheets for place in _filled_in(ws)}
    sheets = []
    for sheet in book.sheets:
        if any(title == sheet.title for title, *_ in left):
            sheet, places = _with_filled_in(sheet, file[sheet.title], book.manner)
            left -= {(sheet.title, *place) for place in places}
        sheets.append(sheet)
    same = _signed(file)[1:] == [*_digests(file)][1:]
    return TakenOver(replace(book, sheets=tuple(sheets)), same and not left)


def _open(path: Path) -> Any:
    """The workbook; None where it can't be read."""
    with openpyxl_silent():
        try:
            data = path.read_bytes()
            check_archive(data, path.name)
            return load_workbook(io.BytesIO(data), keep_links=False)
        except Exception:  # whatever a damaged file makes openpyxl raise
            return None


def _signed(file: Any) -> list[str]:
    found = [p.value for p in file.custom_doc_props.props if p.name == WRITTEN]
    return str(found[0]).split() if found else []


def _digests(file: Any) -> tuple[str, str]:
    """Digest of all cells, and of all but those to fill in."""
    everything, fixed = hashlib.sha256(), hashlib.sha256()
    fills: dict[int, str] = {}
    for ws in file.worksheets:
        for digest in (everything, fixed):
            digest.update(f"\n{ws.title}\n".encode())
        for place, cell in sorted(ws._cells.items()):
            if isinstance(cell, MergedCell):  # the first of those merged says it all
                continue
            fill = fills.get(cell._style.fillId)
            if fill is None:
                fill = fills[cell._style.fillId] = _fill(cell)
            note = " ".join(cell.comment.text.split()) if cell.comment else ""
            value = _said_in(cell)
            if value or fill or note:
                part = repr((place, value, fill, note)).encode("utf-8", "backslashreplace")
                everything.update(part)
                if not _to_fill_in(cell):
                    fixed.update(part)
    return everything.hexdigest()[:32], fixed.hexdigest()[:32]


def said(value: object) -> str:
    """What a cell says, the same before and after an office program saved it.

    >>> said(0.33682973764999988), said(40), said(date(2027, 5, 1)), said(" a  b ")
    ('0.3368297377', '40', '2027-05-01 00:00:00', 'a b')
    """
    if value is None:
        return ""
    if isinstance(value, int | float) and not isinstance(value, bool):
        return f"{float(f'{value:.14g}'):.10g}"
    if isinstance(value, date) and not isinstance(value, datetime):
        value = datetime.combine(value, time())
    return " ".join(str(value).split())


def _said_in(cell: Any) -> str:
    return FORMULA if cell.data_type == "f" else said(cell.value)


def _fill(cell: Any) -> str:
    fill = cell.fill
    if fill.fill_type is None:
        return ""
    color = fill.fgColor
    return f"{fill.fill_type} {color.rgb[-6:] if color.type == 'rgb' else color.value}"


def _to_fill_in(cell: Any) -> bool:
    return not cell.protection.locked


def _filled_in(ws: Any) -> set[tuple[int, int]]:
    """Places, by row and column, of cells to fill in that hold something."""
    return {
        place for place, cell in ws._cells.items() if cell.value is not None and _to_fill_in(cell)
    }


def _with_filled_in(sheet: Sheet, ws: Any, manner: Manner) -> tuple[Sheet, set[tuple[int, int]]]:
    """A sheet with what was filled in in an older one, and where that stood there."""
    tables = [b for b in sheet.blocks if isinstance(b, Table) and not b.plain and b.rows]
    heads = Counter(_head(t, manner) for t in tables)
    blocks: list[Block] = []
    places: set[tuple[int, int]] = set()
    for block in sheet.blocks:
        if block in tables and isinstance(block, Table) and heads[_head(block, manner)] == 1:
            block, found = _table_with_filled_in(block, ws, manner)
            places |= found
        blocks.append(block)
    return replace(sheet, blocks=tuple(blocks)), places


def _head(table: Table, manner: Manner) -> Row:
    return tuple(said(header(column, manner)) for column in table.columns)


def _table_with_filled_in(
    table: Table, ws: Any, manner: Manner
) -> tuple[Table, set[tuple[int, int]]]:
    blanks = [i for i, column in enumerate(table.columns) if column.look is Look.FILL_IN]
    if not blanks:
        return table, set()
    open_ = {*blanks, *(i for i, column in enumerate(table.columns) if column.passing)}
    days = {i for i, column in enumerate(table.columns) if column.measure is Measure.DATE}
    width = range(1, len(table.columns) + 1)
    older = {
        row: [_said_at(ws, row, column) for column in width] for row in _under(table, ws, manner)
    }
    pen = Pen(manner, {})
    now = [
        [_will_say(c, column, pen) for c, column in zip(row, table.columns, strict=True)]
        for row in table.rows
    ]
    same = _same_rows(older, now, open_)
    for number, row_there in _same_rows(older, now, open_ | days).items():
        if row_there not in same.values():
            same.setdefault(number, row_there)
    rows: list[tuple[Content, ...]] = []
    places: set[tuple[int, int]] = set()
    for number, contents in enumerate(table.rows):
        row = [*contents]
        for i in blanks if number in same else []:
            place = same[number], i + 1
            cell = ws._cells.get(place)
            value = None if cell is None or not _to_fill_in(cell) else _kept(cell)
            if value is not None:
                row[i] = value
                places.add(place)
        rows.append(tuple(row))
    return replace(table, rows=tuple(rows)), places


def _same_rows(
    older: Mapping[int, list[str]], now: Sequence[list[str]], but: set[int]
) -> dict[int, int]:
    """Older row of each row now, by its number, that says the same but in the columns of `but`.

    Only rows that are there once, both before and now.
    """
    there = {row: _row(texts, but) for row, texts in older.items()}
    here = [_row(texts, but) for texts in now]
    known = {text: row for row, text in there.items()}
    before, after = Counter(there.values()), Counter(here)
    return {
        number: known[text]
        for number, text in enumerate(here)
        if before[text] == 1 and after[text] == 1
    }


def _under(table: Table, ws: Any, manner: Manner) -> range:
    """Rows under the header of a table; none where it is not there, or more than once."""
    head = _head(table, manner)
    columns = range(1, len(head) + 1)
    last = max((row for row, _ in ws._cells), default=0)
    found = [
        row
        for row in range(1, last + 1)
        if _said_at(ws, row, 1) == head[0]
        and tuple(_said_at(ws, row, column) for column in columns) == head
    ]
    return range(found[0] + 1, last + 1) if len(found) == 1 else range(0)


def _said_at(ws: Any, row: int, column: int) -> str:
    cell = ws._cells.get((row, column))  # cell() would make one
    return "" if cell is None else _said_in(cell)


def _row(texts: list[str], open_: set[int]) -> Row:
    return tuple(text for i, text in enumerate(texts) if i not in open_)


def _will_say(content: Content, column: Column, pen: Pen) -> str:
    value = content.value if isinstance(content, Cell) else content
    if isinstance(value, Formula):
        return FORMULA
    return said(pen.shown(value, measure_of(content, column)))


def _kept(cell: Any) -> str | float | date | None:
    """What was filled in, if it is a text, a number or a day."""
    value = cell.value
    if isinstance(value, datetime):
        return value.date() if value.time() == time() else None
    if cell.data_type == "f" or isinstance(value, bool):
        return None
    return value if isinstance(value, str | int | float | date) else None

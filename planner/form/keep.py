"""A copy of a season's workbook with one more scenario on its sheet What if."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from planner.errors import OutputError
from planner.form.mark import open_copy
from planner.form.safe import put_text, workbook_bytes
from planner.season.match import all_tables, match
from planner.season.names import key
from planner.season.schema import SHEETS
from planner.season.tables import read_tables
from planner.season.whatif import scenarios

if TYPE_CHECKING:
    from collections.abc import Sequence

    from planner.season.domain import WhatIf
    from planner.season.match import Table

SHEET = "What if"
KEYS = ("scenario", "sheet", "item", "column", "value")


def with_scenario(source: Path, name: str, changes: Sequence[WhatIf]) -> bytes:
    """Copy a workbook, with a scenario of this name added below the others.

    Raises
    ------
    OutputError
        When the name is blank or taken, there is nothing to keep, or it is no workbook that can be
        copied.
    """
    source = Path(source)
    if source.is_dir():
        msg = "only a workbook can be copied with a scenario; add rows to what if.csv by hand"
        raise OutputError(msg)
    table = all_tables(match(read_tables(source))[0])[SHEET]
    name = " ".join(name.split())
    if not name or not changes:
        msg = "give the scenario a name" if changes else "nothing is changed, so nothing is kept"
        raise OutputError(msg)
    if key(name) in {key(other) for other in scenarios(table)}:
        msg = f"there is a scenario '{name}' already; choose another name"
        raise OutputError(msg)
    book = open_copy(source)
    page, columns, row = _place(book, table)
    for n, change in enumerate(changes):
        texts = (name, change.sheet, change.item, change.column, change.value)
        for column, text in zip(columns, texts, strict=True):
            put_text(page.cell(row + n, column), text)
    return workbook_bytes(book)


def _place(book: Any, table: Table) -> tuple[Any, list[int], int]:
    """Sheet, columns (from 1) of its five texts, and the first free row."""
    page = next((s for s in book.worksheets if key(s.title) == key(table.name)), None)
    places = [table.headings[k].index for k in KEYS if k in table.headings]
    if page is not None and table.header_row and len(places) == len(KEYS) and min(places) >= 0:
        last = max([table.header_row, *(line.row for line in table.lines)])
        return page, [n + 1 for n in places], last + 1
    if page is not None:
        msg = f"sheet {table.name} has not the columns that a scenario needs"
        raise OutputError(msg)
    sheet = next(s for s in SHEETS if s.name == SHEET)
    page = book.create_sheet(SHEET)
    for n, name in enumerate(KEYS, 1):
        column = sheet.by_key(name)
        put_text(page.cell(1, n), column.name if column else name)
    return page, [1, 2, 3, 4, 5], 2

"""A copy of the input in which the faulty cells are marked and the messages stand as notes."""

from __future__ import annotations

import re
import zipfile
from pathlib import Path
from typing import TYPE_CHECKING, Any

from planner.errors import OutputError
from planner.form import look
from planner.form.safe import csv_bytes, put_text, workbook_bytes, write_whole
from planner.season.merged import merged_in
from planner.season.names import key
from planner.season.schema import HELP_SHEETS
from planner.season.tables import read_tables
from planner.season.workbook import openpyxl_silent

if TYPE_CHECKING:
    from collections.abc import Sequence

    from openpyxl import Workbook

    from planner.errors import Fault

LIST_SHEET = HELP_SHEETS[3]
HEADERS = ("Sheet", "Row", "Column", "What you typed", "What was expected", "What to do")
WIDTHS = (20, 7, 24, 32, 44, 52)
CELL = re.compile(r"[A-Z]{1,3}[1-9][0-9]{0,6}")
MAX_CELLS = 500_000
"""Most cells of a workbook that is copied."""
ONE_CELL = re.compile(rb"<(?:\w+:)?c[\s/>]")


def mark_faults(source: Path, faults: Sequence[Fault], target: Path) -> Path:
    """Write a copy of a season with its faults marked; the original is only read.

    A workbook becomes a workbook: faulty cells are framed and filled and bear the message as a
    note, and a first sheet lists every fault with a link to its cell. For a folder of CSV files
    the list is written as ``faults.csv`` (into `target` if that is a folder, else to `target`).

    Returns
    -------
    Path
        The file that was written.

    Raises
    ------
    OutputError
        When target and source are the same, the workbook cannot be copied, or nothing can be
        written there.
    """
    source, target = Path(source), Path(target)
    if target.exists() and source.exists() and target.samefile(source) and not target.is_dir():
        msg = f"the marked copy would overwrite {source}; choose another name"
        raise OutputError(msg)
    if source.is_dir():
        place = target / "faults.csv" if target.is_dir() or not target.suffix else target
        return write_whole(place, csv_bytes(_table(faults)))
    return write_whole(target, workbook_bytes(_marked(source, faults)))


def _table(faults: Sequence[Fault]) -> list[tuple[str, ...]]:
    """Header and one row a fault."""
    rows = [
        (_sheet(f), str(f.row or ""), f.column, f.seen, f.expected, f.remedy)
        for f in sorted(faults)
    ]
    return [HEADERS, *rows]


def _sheet(fault: Fault) -> str:
    return f"{fault.sheet} (scenario {fault.scenario})" if fault.scenario else fault.sheet


def open_copy(source: Path) -> Workbook:
    """Open a workbook to be copied, after the reader has found its bytes harmless.

    Raises
    ------
    OutputError
        When it is damaged, or has more cells than can be copied.
    """
    from openpyxl import load_workbook

    try:
        read_tables(source)
        if _cells(source) <= MAX_CELLS:
            with openpyxl_silent():
                return load_workbook(source, keep_vba=source.suffix.casefold() == ".xlsm")
    except Exception as error:  # any damage: openpyxl raises many kinds
        msg = f"{source} cannot be copied: it does not open as a workbook"
        raise OutputError(msg) from error
    msg = f"{source} cannot be copied: it has over {MAX_CELLS:,} cells,"
    msg += " blank and merged ones included; delete what lies around the tables"
    raise OutputError(msg)


def _cells(source: Path) -> int:
    """About how many cells a whole copy of a workbook has to hold, those within merges too."""
    found = 0
    with zipfile.ZipFile(source) as archive:
        for name in archive.namelist():
            if name.startswith("xl/worksheets/"):
                part = archive.read(name)
                found += sum(1 for _ in ONE_CELL.finditer(part))
                found += sum(merged.cells for merged in merged_in(part))
    return found


def _marked(source: Path, faults: Sequence[Fault]) -> Workbook:
    book = open_copy(source)
    sheets = {key(sheet.title): sheet for sheet in book.worksheets}
    messages: dict[tuple[str, str], list[str]] = {}
    for fault in sorted(faults):
        sheet = sheets.get(key(fault.sheet))
        if sheet is not None and CELL.fullmatch(fault.cell):
            messages.setdefault((sheet.title, fault.cell), []).append(_message(fault))
    for (title, cell), texts in messages.items():
        _mark(book[title], cell, "\n".join(texts))
    _list_sheet(book, faults, sheets)
    return book


def _message(fault: Fault) -> str:
    parts = []
    if fault.expected:
        parts.append(f"Expected {fault.expected}.")
    if fault.remedy:
        parts.append(f"{fault.remedy[0].upper()}{fault.remedy[1:]}.")
    return " ".join(parts) or str(fault)


def _mark(sheet: Any, address: str, text: str) -> None:
    """Fill, frame and note one cell (the first cell of the range where it is merged)."""
    from openpyxl.comments import Comment

    for area in sheet.merged_cells.ranges:
        if address in area:
            address = area.start_cell.coordinate
    cell = sheet[address]
    cell.fill = look.fill(look.AMBER)
    cell.border = look.frame("000000", "thick")  # tells the same without color
    if cell.comment is not None:
        text = f"{text}\n\nEarlier note: {cell.comment.text}"
    lines = sum(1 + len(line) // 44 for line in text.splitlines())
    cell.comment = Comment(text, "wholedrum", height=30 + 18 * lines, width=320)


def _list_sheet(book: Workbook, faults: Sequence[Fault], sheets: dict[str, Any]) -> None:
    """Put the list of all faults in front, each with a link to its cell."""
    from openpyxl.styles import Alignment

    title = LIST_SHEET
    while key(title) in sheets:
        title += " found"
    page = book.create_sheet(title, 0)
    book.active = 0
    for sheet in book.worksheets[1:]:
        sheet.sheet_view.tabSelected = False
    ordered = sorted(faults)
    for number, row in enumerate(_table(faults), start=1):
        for column, text in enumerate(row, start=1):
            cell = page.cell(number, column)
            put_text(cell, text)
            cell.font = look.font()
            cell.alignment = Alignment(wrap_text=True, vertical="top")
            if number == 1:
                cell.font = look.font(bold=True)
                cell.fill = look.fill(look.AMBER)
        tall = max(look.lines(text, w * 0.9) for text, w in zip(row, WIDTHS, strict=True))
        page.row_dimensions[number].height = 3 + 15.5 * tall
        fault = ordered[number - 2] if number > 1 else None
        if fault and CELL.fullmatch(fault.cell) and key(fault.sheet) in sheets:
            _link(page.cell(number, 1), sheets[key(fault.sheet)].title, fault.cell)
    for letter, width in zip("ABCDEF", WIDTHS, strict=True):
        page.column_dimensions[letter].width = width
    page.freeze_panes = "A2"
    look.page(page, "1:1")


def _link(cell: Any, sheet: str, address: str) -> None:
    from openpyxl.worksheet.hyperlink import Hyperlink

    quoted = sheet.replace("'", "''")
    cell.hyperlink = Hyperlink(ref=cell.coordinate, location=f"'{quoted}'!{address}")
    cell.font = look.font(color=look.DEEP, underline="single")

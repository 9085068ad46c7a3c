"""One sheet of the season workbook as a form: title, guidance, header, room for rows.

Row 1 says what the sheet is for, row 2 what is in each column, row 3 whether it must be filled,
row 4 is the header, the rows below are filled in. Checks of cells follow names typed elsewhere.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

from openpyxl.utils import get_column_letter

from planner.form import look
from planner.form.content import Percent, column_for, setting_for
from planner.form.safe import put_text
from planner.season.schema import Kind

if TYPE_CHECKING:
    from openpyxl.worksheet.worksheet import Worksheet

    from planner.form.content import Table, Value
    from planner.season.schema import Column, Sheet

HEADER = 4
FIRST = HEADER + 1
ROOM = 200
"""Rows that are laid out at the least."""
PRINTED = 15
"""Rows that a blank form is printed with."""
GUIDE, GUIDE_LINE = 8, 10.5
"""Size of the letters of guidance, and height of a line of it, points."""
SPARE_ROOM = 20
"""Empty rows below those that are filled, at the least."""
PAGE_WIDTH = 200
"""Characters that a printed page takes at a size that can be read."""
WIDEST = 44
"""Characters beyond which text runs over several lines."""
TITLE_WIDTH = 95
"""Characters that the title of a sheet may run over, at the least."""
SPARE_THREATS = 4
"""Columns of Fields for threats still to be named."""
FARM_COLUMNS = (
    ("A", 36, "Leave these names as they are.", ""),
    ("B", 26, "Fill in here.", "blank: see the note"),
    ("C", 92, "What it means; you may put a note of your own here.", ""),
)
"""Letter, width, guidance and flag of the columns of Farm."""
NOTE_WIDTH, NOTE_LINE = 100, 12.5
"""Characters of a note on Farm that fit into a line, and height of a line of it, points."""
PICK_THREAT = "Another threat: pick its name in the header below."


@dataclass(frozen=True, slots=True)
class Place:
    """Where a column is in the workbook."""

    sheet: Sheet
    header: str
    column: Column | None
    letter: str
    last: int
    """Last row that is laid out."""

    @property
    def first_cell(self) -> str:
        """Address of its first cell, relative."""
        return f"{self.letter}{FIRST}"

    @property
    def cells(self) -> str:
        """Range of its cells."""
        return f"{self.letter}{FIRST}:{self.letter}{self.last}"


def places(sheet: Sheet, table: Table) -> list[Place]:
    """Columns of a sheet as they are laid out, spare ones for threats included."""
    headers = list(table.headers)
    if sheet.per_threat is not None:
        headers += [""] * SPARE_THREATS
    last = FIRST - 1 + max(ROOM, len(table.rows) + SPARE_ROOM)
    found = []
    for number, header in enumerate(headers, start=1):
        column = sheet.per_threat if not header else column_for(sheet, header)
        found.append(Place(sheet, header, column, get_column_letter(number), last))
    return found


def write_form(page: Worksheet, sheet: Sheet, table: Table, laid: list[Place]) -> None:
    """Write title, guidance, header and rows of a sheet."""
    _widths(page, table, laid)
    tall = [_head(page, number, place) for number, place in enumerate(laid, start=1)]
    _title(page, sheet, len(laid))
    page.row_dimensions[2].height = 4 + GUIDE_LINE * max(guidance for guidance, _ in tall)
    page.row_dimensions[3].height = 4 + GUIDE_LINE * max(flag for _, flag in tall)
    wide = {p.letter: page.column_dimensions[p.letter].width for p in laid}
    heads = max(look.lines(p.header, wide[p.letter] * 0.8) for p in laid)
    page.row_dimensions[HEADER].height = 4 + 15.5 * max(2, heads)
    _body(page, table, laid)
    page.freeze_panes = f"B{FIRST}"
    page.sheet_properties.tabColor = look.DEEP if sheet.must else look.QUIET
    look.page(page, f"{HEADER}:{HEADER}", pages=math.ceil(sum(wide.values()) / PAGE_WIDTH))
    look.rows_of_one_height(page)
    if sheet.name != "Farm":
        _last_line(page, laid, FIRST + max(len(table.rows), PRINTED))


def _last_line(page: Worksheet, laid: list[Place], row: int) -> None:
    """Frame the last row that is printed while nothing stands further down.

    Without a print area, which would cut off what is filled in below it.
    """
    for place in laid:
        cell = page[f"{place.letter}{row}"]
        cell.number_format = look.number_format(place.column)
        cell.alignment = look.alignment(place.column)
        cell.border = look.frame()


def _widths(page: Worksheet, table: Table, laid: list[Place]) -> None:
    """Columns as wide as their kind asks for, and as their text does within reason."""
    for at, place in enumerate(laid):
        texts = [row[at] for row in table.rows if at < len(row)]
        longest = max((len(t) for t in texts if isinstance(t, str)), default=0)
        usual = look.width(place.column, place.header)
        page.column_dimensions[place.letter].width = max(usual, min(longest * 1.1 + 2, WIDEST))
    if laid[0].sheet.name == "Farm":
        for letter, wide, *_ in FARM_COLUMNS:
            page.column_dimensions[letter].width = wide


def _kind(sheet: Sheet) -> str:
    if sheet.settings:
        return "ANY VALUE MAY STAY BLANK"
    return "MUST BE FILLED" if sheet.must else "OPTIONAL: may stay empty"


def _title(page: Worksheet, sheet: Sheet, columns: int) -> None:
    """Sheet's name and what it is for; the words run over the columns of the first page."""
    put_text(page["A1"], sheet.name)
    put_text(page["B1"], f"{_kind(sheet)}. {sheet.meaning}")
    for cell in (page["A1"], page["B1"]):
        cell.font = look.font(bold=True, size=13, color=look.DEEP)
        cell.alignment = look.wrapped("center")
    until, room = 1, 0.0
    while until < 2 or room < TITLE_WIDTH:
        until += 1
        room += page.column_dimensions[get_column_letter(until)].width
    page.merge_cells(start_row=1, end_row=1, start_column=2, end_column=until)
    page.row_dimensions[1].height = 4 + 18 * look.lines(str(page["B1"].value), room * 0.7)
    for number in range(1, max(columns, until) + 1):
        page.cell(1, number).fill = look.fill(look.PAPER)


def _head(page: Worksheet, number: int, place: Place) -> tuple[int, int]:
    """Guidance and header of one column; returns the lines that guidance and flag take."""
    column = place.column
    wide = page.column_dimensions[place.letter].width
    page.column_dimensions[place.letter].number_format = look.number_format(column)
    page.column_dimensions[place.letter].alignment = look.alignment(column)
    must = column is not None and column.must and place.sheet.must
    guide = page.cell(2, number)
    text = _guidance(place)
    put_text(guide, text)
    guide.font = look.font(size=GUIDE, italic=True)
    guide.alignment = look.wrapped("bottom", "left", indent=1)
    flag = page.cell(3, number)
    put_text(flag, _flag(place))
    flag.font = look.font(size=GUIDE, bold=must)
    flag.alignment = look.wrapped("center", "left", indent=1)
    head = page.cell(HEADER, number)
    put_text(head, place.header)
    head.font = look.font(bold=True, color="FFFFFF" if must else look.INK)
    head.fill = look.fill(look.DEEP if must else look.PALE)
    head.border = look.frame(look.INK, "medium" if must else "thin")
    side = look.alignment(column)
    head.alignment = look.wrapped("center", side.horizontal, side.indent)
    for cell in (guide, flag):
        cell.fill = look.fill(look.PAPER)
    room = (wide - 1.5) * 1.15
    return look.lines(text, room), look.lines(_flag(place), room)


def _guidance(place: Place) -> str:
    if not place.header:
        return PICK_THREAT
    column = place.column
    if column is None:
        return "Column of your own; not read."
    text = column.meaning
    if column.choices:
        text = f"{text.rstrip('.')}: {', '.join(column.choices)}."
    elif column.example:
        text += f" E.g. {column.example}"
    return text


def _flag(place: Place) -> str:
    column = place.column
    if column is None:
        return ""
    if not column.must:
        return f"blank: {column.blank_means}"
    return "▼ MUST FILL" if place.sheet.must else "▼ fill in, in every row you use"


def _body(page: Worksheet, table: Table, laid: list[Place]) -> None:
    """Write the filled rows; empty ones have their number format from the column alone."""
    farm = laid[0].sheet.name == "Farm"
    for number, row in enumerate(table.rows, start=FIRST):
        setting = setting_for(str(row[0])) if farm else None
        for place, value in zip(laid, row, strict=False):
            column = setting if place.letter == "B" and setting else place.column
            if value is not None or farm:
                put(page[f"{place.letter}{number}"], value, column)
        longest = max((len(v) for v in row if isinstance(v, str)), default=0)
        if not farm and longest * 1.1 + 2 > WIDEST:
            _wrap(page, number)
    if farm:
        _farm_body(page, table)


def _wrap(page: Worksheet, number: int) -> None:
    """Give a row with long text the height that it takes."""
    tall = 1
    for cell in page[number]:
        side = cell.alignment
        cell.alignment = look.wrapped("center", side.horizontal, side.indent)
        if isinstance(cell.value, str):
            tall = max(tall, look.lines(cell.value, (WIDEST - 2) * 0.85))
    page.row_dimensions[number].height = 15.5 * tall


def put(cell: Any, value: Value, column: Column | None) -> None:
    """Write a value into a cell with the number format of its column; text stays text."""
    form = look.number_format(column)
    cell.alignment = look.alignment(column)
    if isinstance(value, str):
        put_text(cell, value, "@" if form == "General" else form)
        return
    cell.number_format = form
    if isinstance(value, Percent):
        cell.value = round(value.shown / 100, 12)
        cell.number_format = look.PERCENT
    elif isinstance(value, date):
        cell.value = value
        cell.number_format = look.KINDS[Kind.DATE]
    elif value is not None:
        cell.value = int(value) if float(value).is_integer() else value


def _farm_body(page: Worksheet, table: Table) -> None:
    """Settings read downwards: name, value in a frame, note in small print."""
    for letter, _, guide, flag in FARM_COLUMNS:
        put_text(page[f"{letter}2"], guide)
        put_text(page[f"{letter}3"], flag)
    for number in range(FIRST, FIRST + len(table.rows)):
        page[f"A{number}"].font = look.font(bold=True)
        page[f"A{number}"].alignment = look.wrapped("center", "left", indent=1)
        page[f"B{number}"].alignment = look.wrapped("center", "center")
        page[f"B{number}"].border = look.frame(look.DEEP)
        value, note = (str(page[f"{letter}{number}"].value or "") for letter in "BC")
        tall = max(15.5 * look.lines(value, 26), NOTE_LINE * look.lines(note, NOTE_WIDTH) + 5)
        page.row_dimensions[number].height = max(18, tall)
        page[f"C{number}"].font = look.font(size=9, italic=True)
        page[f"C{number}"].alignment = look.wrapped("center", "left", indent=1)
    page.row_dimensions[2].height = 18
    page.freeze_panes = f"A{FIRST}"

"""First page of the season workbook: what to fill, in which order, what comes out."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from planner.form import lists, live, look
from planner.form.safe import put_text
from planner.season import schema

if TYPE_CHECKING:
    from openpyxl.worksheet.worksheet import Worksheet

SHEET = schema.HELP_SHEETS[0]
STEPS = (
    "1. Farm: the settings of the season; a blank one takes what its note says.",
    "2. Fields: every field with its acres and its seeding rate or stand.",
    "3. Seed lots: every lot of seed with its units, the size of its bags and its seeds per lb.",
    "4. Products and Containers: what goes on seed, what of it is in the shop, what it is sold in.",
    "5. Recipes: which products go on a bag together, and at which rate (the label decides).",
    "6. Only if it matters to you: the sheets with gray tabs behind these, such as threats.",
    "Headers on dark ground under ▼ MUST FILL must be filled; all others may stay blank. On a "
    "sheet that you leave empty nothing has to be filled.",
    "Live check shows units needed and names without a match while you type; red text is wrong.",
    "Then save and run: wholedrum check THIS-FILE.xlsx and, when it finds no fault, "
    "wholedrum plan THIS-FILE.xlsx.",
    "Out comes plan.xlsx: what to order, what to treat with what, what to plant where, what it "
    "costs, what is short; shop.xlsx to treat from, and study.xlsx that says why.",
)
WIDTH = 112
"""Characters across the page."""
CAUTION = (
    "Seed treatments can hurt people, animals and land. The product's label, local rules and "
    "licensed practice come first; this workbook only counts."
)


def write_opening(page: Worksheet, what: str, notes: tuple[str, ...]) -> None:
    """Write the page; `what` says in a few words what the workbook holds, `notes` how it came."""
    page.sheet_view.showGridLines = False
    page.column_dimensions["A"].width = 3
    page.column_dimensions["B"].width = 24
    page.column_dimensions["C"].width = WIDTH - 24
    put_text(page["B2"], what)
    page["B2"].font = look.font(bold=True, size=18, color=look.DEEP)
    row = 4
    for text in STEPS:
        row = _line(page, row, text, look.font(size=12), 16.5)
    row = _line(page, row + 1, CAUTION, look.font(bold=True, color=look.ALARM), 15.5)
    if notes:
        put_text(page[f"B{row + 1}"], "What was taken over")
        page[f"B{row + 1}"].font = look.font(bold=True, size=12, color=look.DEEP)
        row += 2
        for note in notes:
            row = _line(page, row, f"- {note}", look.font(), 15.5)
    _index(page, row + 1)
    page.sheet_properties.tabColor = look.AMBER
    look.page(page, landscape=False)
    page.page_setup.fitToHeight = 1


def _line(page: Worksheet, row: int, text: str, font: Any, height: float) -> int:
    """One line of text across the page; returns the next row."""
    page.merge_cells(f"B{row}:C{row}")
    put_text(page[f"B{row}"], text)
    page[f"B{row}"].font = font
    page[f"B{row}"].alignment = look.wrapped("center")
    page.row_dimensions[row].height = height * look.lines(text, WIDTH * 0.9) + 3
    return row + 1


def _index(page: Worksheet, row: int) -> None:
    """Links to every sheet, those that must be filled first."""
    musts = [s for s in schema.SHEETS if s.must]
    blank = " Any value may stay blank."
    others = [s for s in schema.SHEETS if not s.must]
    for title, sheets in (("To fill in", musts), ("May stay empty", others)):
        put_text(page[f"B{row}"], title)
        page[f"B{row}"].font = look.font(bold=True, size=12, color=look.DEEP)
        row += 1
        for sheet in sheets:
            _link(page, row, sheet.name, sheet.meaning + blank * bool(sheet.settings))
            row += 1
        if sheets is musts:
            _link(page, row, live.SHEET, "Calculates while you fill in; nothing to fill in there.")
            row += 1
        row += 1
    note = f"A hidden sheet, {lists.SHEET}, feeds the drop-downs; nothing to fill in there."
    put_text(page[f"B{row}"], note)
    page[f"B{row}"].font = look.font(size=9, italic=True)


def _link(page: Worksheet, row: int, sheet: str, meaning: str) -> None:
    from openpyxl.worksheet.hyperlink import Hyperlink

    cell = page[f"B{row}"]
    put_text(cell, sheet)
    cell.hyperlink = Hyperlink(ref=cell.coordinate, location=f"{lists.quoted(sheet)}!A1")
    cell.font = look.font(color=look.DEEP, underline="single")
    cell.alignment = look.wrapped()
    put_text(page[f"C{row}"], meaning)
    page[f"C{row}"].alignment = look.wrapped()
    page.row_dimensions[row].height = 15.5 * look.lines(meaning, WIDTH - 24)

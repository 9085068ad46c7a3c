"""How a sheet comes out on paper: size, scale, breaks, repeated header, foot."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from openpyxl.worksheet.pagebreak import Break
from openpyxl.worksheet.properties import PageSetupProperties

from planner.report.labels import CM_PER_INCH, MARGIN
from planner.report.sheets import Table
from planner.report.texts import clean, shortened
from planner.units import say_day

if TYPE_CHECKING:
    from openpyxl.worksheet.worksheet import Worksheet

    from planner.report.layout import Layout
    from planner.report.sheets import Book

LETTER, A4 = 1, 9
DEEPEST_FROZEN = 14
"""A header further down would leave too little of the screen to scroll."""
LONGEST_FOOT = {True: 50.0, False: 30.0}
"""Widths of a digit that the farm's name may take at the foot, by whether the page lies: with the
plan's fingerprint behind it, it keeps clear of the sheet's name in the middle."""


def set_up_page(ws: Worksheet, book: Book, layout: Layout) -> None:
    """Set up how a sheet is printed and what stays in sight."""
    if layout.sheet.page.label is not None:
        _label_page(ws, layout, layout.sheet.page.label)
        return
    page = ws.page_setup
    page.paperSize = A4 if book.manner.metric else LETTER
    page.orientation = "landscape" if layout.lying else "portrait"
    if layout.one_page:
        ws.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)
        page.fitToWidth = page.fitToHeight = 1
    else:  # by scale: manual page breaks are ignored on pages that are fitted
        page.scale = int(100 * layout.scale)
    for row in layout.breaks:
        ws.row_breaks.append(Break(id=row - 1))
    margins = ws.page_margins
    margins.left = margins.right = 0.5
    margins.top, margins.bottom, margins.footer = 0.5, 0.7, 0.35
    ws.print_options.horizontalCentered = True
    _foot(ws, book, layout)
    for placed in layout.placed:
        block = placed.block
        if isinstance(block, Table) and block.repeat_header and placed.header_row:
            row = placed.header_row
            if placed.torn and not layout.one_page:
                ws.print_title_rows = f"{row}:{row}"
            if row <= DEEPEST_FROZEN:
                ws.freeze_panes = f"A{row + 1}"


def _label_page(ws: Worksheet, layout: Layout, stock: tuple[float, float]) -> None:
    """Each label on a page of its own size, without foot; what stands above is not printed."""
    page = ws.page_setup
    page.paperWidth, page.paperHeight = (f"{x * CM_PER_INCH * 10:.1f}mm" for x in stock)
    page.orientation = "portrait"  # not turned: it is as wide and as high as it says
    page.scale = 100
    for row in layout.breaks:
        ws.row_breaks.append(Break(id=row - 1))
    margins = ws.page_margins
    margins.left = margins.right = margins.top = margins.bottom = MARGIN
    margins.header = margins.footer = 0.0
    placed = next(p for p in layout.placed if p.firsts)
    ws.print_area = f"A{placed.rows[0]}:A{placed.rows[-1]}"


def _foot(ws: Worksheet, book: Book, layout: Layout) -> None:
    """Foot with farm, sheet, date and page, and on private sheets the plan's fingerprint."""
    sheet = layout.sheet
    foot: Any = ws.oddFooter
    dated = say_day(book.dated, metric=book.manner.metric) if book.dated else ""
    private = sheet.page.private
    own = f"plan {_literal(book.fingerprint)}" if private and book.fingerprint else ""
    farm = _literal(shortened(book.farm, LONGEST_FOOT[layout.lying]))
    foot.left.text = f"&8 {', '.join(filter(None, (farm, own)))}"
    title = sheet.title if sheet.apart else sheet.heading or sheet.title
    foot.center.text = f"&8 {_literal(title)}"
    page = "   page &P of &N" if private else "" if layout.one_page else "   page &P"
    foot.right.text = f"&8 {dated}{page}"


def _literal(text: str) -> str:
    """Text for a foot, where & commands."""
    return clean(text).replace("\n", " ").replace("&", "&&")

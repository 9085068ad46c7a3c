"""How the season workbook looks: colors, number formats, widths. No knowledge of any sheet.

The colors differ in lightness as well as in hue, so that they stay apart for every eye and on a
black-and-white print; nothing is said by color alone.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from planner.season.schema import Kind
from planner.units import Measure

if TYPE_CHECKING:
    from planner.season.schema import Column

FONT = "Arial"
"""On every system, or one of the same widths: text takes the room that it is given."""
INK = "1B2A41"
DEEP = "17456B"
"""Headers of columns that must be filled, tabs of sheets that must be filled."""
PALE = "D5E4F0"
"""Headers of columns that may stay blank."""
PAPER = "F6F4EC"
"""Guidance."""
QUIET = "8A8F98"
"""Tabs of optional sheets."""
ALARM = "B3301C"
"""Text that tells of something wrong; it always says so in words as well."""
AMBER = "F2B134"
LINE = "C3C8CF"

FORMATS = {
    Measure.AREA: "#,##0.0##",
    Measure.SEEDS: "#,##0",
    Measure.SEEDS_PER_AREA: "#,##0",
    Measure.PLANTS_PER_AREA: "#,##0",
    Measure.SEED_SIZE: "#,##0",
    Measure.MONEY: "#,##0.00",
    Measure.MONEY_PER_SEED_UNIT: "#,##0.00",
    Measure.MONEY_PER_AREA: "#,##0.00",
    Measure.CROP_PRICE: "#,##0.00",
}
PERCENT = "0.0%"
METRIC_DATE = "yyyy-mm-dd"
"""How days are shown where a farm counts in metric units."""
KINDS = {
    Kind.NUMBER: "0.0#",
    Kind.COUNT: "0",
    Kind.YEAR: "0",
    Kind.PERCENT: "General",
    Kind.DATE: "m/d/yyyy",
    Kind.QUANTITY: "General",
}
WIDE = {Kind.NAME: 22, Kind.REF: 19, Kind.REFS: 22, Kind.TEXTS: 16, Kind.TEXT: 18, Kind.RATE: 20}


def number_format(column: Column | None) -> str:
    """Number format of a column's cells, text for names.

    A blank percent cell has none: whether 3 or 3% is typed, the spreadsheet keeps it as it is.
    """
    if column is None:
        return "General"
    if column.measure in FORMATS:
        return FORMATS[column.measure]
    return KINDS.get(column.kind, "@")


def width(column: Column | None, header: str) -> float:
    """Width of a column, in characters."""
    base = 14 if column is None else WIDE.get(column.kind, 13)
    longest = max(len(word) for word in header.split()) if header.split() else 0
    if 16 < len(header) <= 20 and " " in header.partition("(")[2]:
        longest = len(header)  # so that a unit of two words is not torn apart
    if 12 <= len(header) <= 14 and "(" not in header:
        longest = len(header)  # so that it keeps off its neighbors
    return max(base, longest + 3)


def alignment(column: Column | None) -> Any:
    """How a column's cells are aligned: dates and choices in the middle."""
    from openpyxl.styles import Alignment

    if column is not None and column.kind in {Kind.DATE, Kind.CHOICE, Kind.YES_NO}:
        return Alignment(horizontal="center")
    numeric = column is not None and column.kind in KINDS
    return Alignment(horizontal="right") if numeric else Alignment(horizontal="left", indent=1)


def fill(color: str) -> Any:
    """Fill of one color."""
    from openpyxl.styles import PatternFill

    return PatternFill("solid", fgColor=color)


def frame(color: str = LINE, style: Any = "thin") -> Any:
    """Border all round."""
    from openpyxl.styles import Border, Side

    side = Side(style=style, color=color)
    return Border(left=side, right=side, top=side, bottom=side)


def font(**options: Any) -> Any:
    """Font of the workbook."""
    from openpyxl.styles import Font

    return Font(**{"name": FONT, "size": 10, "color": INK, **options})


def wrapped(vertical: str = "top", horizontal: str | None = None, indent: float = 0) -> Any:
    """Alignment of text that runs over several lines."""
    from openpyxl.styles import Alignment

    return Alignment(wrap_text=True, vertical=vertical, horizontal=horizontal, indent=indent)


def shrunk() -> Any:
    """Alignment of text that is printed smaller rather than cut."""
    from openpyxl.styles import Alignment

    return Alignment(shrink_to_fit=True)


def rows_of_one_height(sheet: Any) -> None:
    """Rows whose height is not set are as high as lines of text want to be, on every system."""
    sheet.sheet_format.defaultRowHeight, sheet.sheet_format.customHeight = 15, True


def page(sheet: Any, title_rows: str = "", *, landscape: bool = True, pages: int = 1) -> None:
    """Set a sheet up for printing: that many pages wide, headers repeated, pages counted."""
    from openpyxl.worksheet.properties import PageSetupProperties

    sheet.page_setup.orientation = "landscape" if landscape else "portrait"
    sheet.page_setup.fitToWidth = pages
    sheet.page_setup.fitToHeight = 0
    sheet.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)
    sheet.page_margins.left = sheet.page_margins.right = 0.4
    sheet.page_margins.top = 0.5
    sheet.page_margins.bottom = 0.8
    sheet.page_margins.footer = 0.4
    sheet.oddFooter.left.text = "&A"
    sheet.oddFooter.right.text = "page &P of &N"
    if title_rows:
        sheet.print_title_rows = title_rows
    if pages > 1:
        sheet.print_title_cols = "A:A"


def lines(text: str, characters: float) -> int:
    """Lines that text takes in a column of this width, a little on the safe side.

    >>> lines("as wide as it can be", 10), lines("x" * 25, 10)
    (2, 3)
    """
    total = 0
    for part in text.split("\n"):
        used, count = 0, 1
        for word in part.split():
            if used and used + 1 + len(word) > characters:
                count, used = count + 1, 0
            used += len(word) + (1 if used else 0)
            more = math.ceil(used / characters) - 1
            count, used = count + more, used - int(more * characters)
        total += count
    return total

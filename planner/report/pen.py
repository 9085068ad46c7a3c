"""Writing single cells: safe texts, numbers in the farm's units, jumps, and their dress."""

from __future__ import annotations

import math
from copy import copy
from typing import TYPE_CHECKING, Any

from openpyxl.utils import get_column_letter
from openpyxl.worksheet.hyperlink import Hyperlink

from planner.report import looks
from planner.report.fit import plain
from planner.report.texts import clean, risky

if TYPE_CHECKING:
    from openpyxl.worksheet.worksheet import Worksheet

    from planner.report.layout import Layout
    from planner.report.looks import Style
    from planner.report.measures import Manner, Measure
    from planner.report.sheets import Formula, Link, Value

LONG_TEXT = 255
"""Characters from which a cell formatted as text would show only # signs in some programs."""


class Pen:
    """Writes cells of one workbook.

    Parameters
    ----------
    manner
        How the farm reads its numbers.
    layouts
        Of all sheets by title, for jumps.
    """

    def __init__(self, manner: Manner, layouts: dict[str, Layout]) -> None:
        self.manner = manner
        self.layouts = layouts
        self._dresses: dict[int, tuple[Style, Any]] = {}

    def shown(self, value: Value | Formula, measure: Measure) -> Value:
        """Turn a value into what the cell holds: in the farm's units, yes and no as words."""
        value = plain(value)
        if isinstance(value, bool):
            return "yes" if value else "no"
        if isinstance(value, int | float):
            if not math.isfinite(value):
                return "no limit" if value > 0 else "not known"
            factor = self.manner.shown(measure).factor
            return value if factor == 1 else value * factor
        return value

    def put(self, ws: Worksheet, row: int, column: int, value: Value, style: Style) -> None:
        """Write a value; a text stays a text, whatever it begins with."""
        cell: Any = ws.cell(row, column)
        if not isinstance(value, str):
            cell.value = value  # openpyxl gives days a format of its own, so dress afterwards
            self.dress(cell, style)
            return
        self.dress(cell, style)
        text = clean(value)
        if not text:
            cell.value = None
            return
        cell.value = text
        cell.data_type = "s"
        if risky(text):
            cell.quotePrefix = True
        if len(text) > LONG_TEXT and cell.number_format == looks.TEXT_FORMAT:
            cell.number_format = "General"

    def formula(self, ws: Worksheet, row: int, column: int, text: str, style: Style) -> None:
        """Write a formula of ours."""
        cell: Any = ws.cell(row, column, text)
        self.dress(cell, style)
        if style.number_format == looks.TEXT_FORMAT:  # formulas would show as text
            cell.number_format = "General"

    def dress(self, cell: Any, style: Style) -> None:
        """Give a cell its style; every style is worked out once and then copied."""
        made = self._dresses.get(id(style))
        if made is not None:
            cell._style = copy(made[1])
            return
        cell.font, cell.fill, cell.border = style.font, style.fill, style.border
        cell.alignment, cell.number_format = style.alignment, style.number_format
        if style.protection is not None:
            cell.protection = style.protection
        self._dresses[id(style)] = (style, copy(cell._style))  # keeps the style, so its id too

    def layout_of(self, link: Link) -> Layout:
        """Layout of the sheet that a link leads to; ValueError if there is none."""
        layout = self.layouts.get(link.sheet)
        if layout is None:
            msg = f"link to a sheet that is not there: {link.sheet}"
            raise ValueError(msg)
        return self.layouts[layout.sheet.moved.get(link.table, link.sheet)]

    def jump(self, ws: Worksheet, row: int, column: int, link: Link) -> None:
        """Make a cell a jump inside the book.

        Raises
        ------
        ValueError
            When there is no such sheet or table.
        """
        layout = self.layout_of(link)
        target = layout.row_of(link)
        place = "'" + layout.sheet.title.replace("'", "''") + f"'!A{target}"
        cell: Any = ws.cell(row, column)
        style = copy(cell._style)
        cell.hyperlink = Hyperlink(ref=f"{get_column_letter(column)}{row}", location=place)
        cell._style = style  # openpyxl dresses links its own way

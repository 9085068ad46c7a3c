"""How high rows are: as high as the texts in them need, wrapped."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.report.fit import BOLD, EASE, MARGIN, header, plain
from planner.report.labels import height
from planner.report.layout import GAP
from planner.report.sheets import Cell, KeyFigures, Labels, Table, Text
from planner.report.texts import clean, lines
from planner.report.tiles import tile_lines

if TYPE_CHECKING:
    from planner.report.layout import Layout, Placed
    from planner.report.measures import Manner

LINE = 12.8
"""Of a line of text, points."""
ROOM = 6.5
"""More height for a row to write on."""
SAFE = 2.5
"""Characters that a text over the width of the page is taken to lack, so that no line is cut."""
TITLE, BLOCK_TITLE = 27.0, 20.0
TITLE_SIZE = 1.2
"""Size of the letters of a block's title, in those of a cell."""


def row_heights(layout: Layout, manner: Manner) -> dict[int, float]:
    """Heights of the rows that need more or less than the usual, points."""
    found = {1: TITLE, 2: _stretched(layout, layout.sheet.purpose)}
    for placed in layout.placed:
        block = placed.block
        if placed.title_row and isinstance(block, Table | Text):
            high = title_lines(layout, block.title)
            found[placed.title_row] = BLOCK_TITLE + TITLE_SIZE * LINE * (high - 1)
        if layout.sheet.page.one_page and isinstance(block, Table | Text | KeyFigures):
            found[placed.end - 1] = GAP
        if isinstance(block, Table):
            found |= _table(layout, placed, block, manner)
        elif isinstance(block, Text):
            for row, text in zip(placed.rows, block.paragraphs, strict=True):
                shown = f"   {text}" if block.bullets else text
                found[row] = _stretched(layout, shown, block.look in BOLD)
        elif isinstance(block, KeyFigures):
            label, note = tile_lines(block, layout.widths, manner)
            tall = (LINE * label + 4, 26.0, LINE * note + 4)
            found |= dict(zip(placed.rows, tall, strict=True))
        elif isinstance(block, Labels):
            width = (layout.sheet.page.label or (0.0, 0.0))[0]
            for row, (text, points, bold) in zip(placed.rows, placed.lines, strict=True):
                found[row] = height(text, points, width, bold)
    return found


def title_lines(layout: Layout, title: str) -> int:
    """Lines that a block's title takes over the width of the page."""
    return lines(clean(title), (sum(layout.widths) - SAFE) / TITLE_SIZE, bold=True)


def _stretched(layout: Layout, text: str, bold: bool = False) -> float:
    """Height of a text over the width of the page."""
    return LINE * lines(clean(text), sum(layout.widths) - SAFE, bold) + 3


def _table(layout: Layout, placed: Placed, table: Table, manner: Manner) -> dict[int, float]:
    found = {}
    if not table.rows:
        return {placed.note_row: _stretched(layout, table.empty)}
    widths = layout.widths
    if placed.header_row:
        texts = [header(c, manner) for c in table.columns]
        high = max(
            lines(t, w - MARGIN[i > 0] + EASE, bold=True)
            for i, (t, w) in enumerate(zip(texts, widths, strict=False))
        )
        found[placed.header_row] = LINE * high + 4
    if placed.note_row:
        found[placed.note_row] = _stretched(layout, table.note)
    for row, contents in zip(placed.rows, table.rows, strict=True):
        high = 1
        for i, content in enumerate(contents):
            text = plain(content)
            if isinstance(text, str):
                bold = isinstance(content, Cell) and content.look in BOLD
                high = max(high, lines(clean(text), widths[i] - MARGIN[i > 0], bold))
        if table.plain or table.roomy or high > 1:
            found[row] = LINE * high + (ROOM if table.plain or table.roomy else 3)
    return found

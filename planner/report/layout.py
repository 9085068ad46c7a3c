"""Where everything of a sheet stands: rows, column widths, addresses. Knows nothing of files."""

from __future__ import annotations

import math
import re
import unicodedata
from dataclasses import dataclass, field
from datetime import date
from functools import cache
from typing import TYPE_CHECKING

from planner.report.measures import Measure
from planner.report.sheets import (
    Cell,
    ChartKind,
    Charts,
    Formula,
    KeyFigures,
    PageBreak,
    Table,
    Text,
)

if TYPE_CHECKING:
    from planner.report.measures import Manner
    from planner.report.sheets import Block, Chart, Column, Content, Link, Sheet, Value

PAGE_ROWS = (47, 34)
"""Rows of 15 points on a page, upright and lying."""
UPRIGHT = 1.15
"""A sheet that may lie stands upright where it is not wider than so many pages."""
WIDE = 1.35
"""Widest sheet, in widths of a page; beyond, columns are narrowed and their texts wrap."""
SHRINK = 1.3
"""A sheet that is longer than a page by less than this is shrunk to one."""
NARROWEST, WIDEST = 7.0, 40.0
"""Characters of a column whose width is fitted; longer texts wrap."""
PORTRAIT, LANDSCAPE = 93.0, 127.0
"""Characters that fill the width of a printed page at full size, on letter as on A4."""
CM_PER_CHAR = 0.184
CM_PER_ROW = 0.529
"""Of 15 points."""
ALIKE = (
    (" !',./:;I[\\]fijlt|", 0.5),
    ('()-`r"^', 0.62),
    ("csvxyzJk", 0.9),
    ("mwMW@%", 1.6),
    ("&GOQ", 1.35),
)
"""Letters of about the same width, in widths of a digit."""
BARE = {Measure.MONEY, Measure.WHOLE_MONEY, Measure.PERCENT}
"""Measures whose unit stands in every cell, so that headers go without."""
REFERENCE = re.compile(r"\{(?:([a-z_]+)\.)?([a-z0-9_]+)(?::(\d+))?\}")


@dataclass(slots=True)
class Placed:
    """A block and its rows on the sheet, counted from 1."""

    block: Block
    top: int
    title_row: int = 0
    header_row: int = 0
    rows: list[int] = field(default_factory=list)
    """By index into `Table.rows`, or of paragraphs."""
    subtotals: list[tuple[int, int, int]] = field(default_factory=list)
    """Row, and first and last index of the group that it sums."""
    group_ends: list[int] = field(default_factory=list)
    """Last row of every group, that of its subtotal included."""
    total_row: int = 0
    note_row: int = 0
    end: int = 0
    """First row after the block."""


@dataclass(slots=True)
class Layout:
    """A sheet laid out."""

    sheet: Sheet
    placed: list[Placed]
    widths: list[float]
    """Characters, column by column; as many as texts and tiles stretch over."""
    lying: bool
    """Printed on landscape paper."""
    breaks: list[int] = field(default_factory=list)
    """Rows before which a new printed page begins."""

    def table(self, name: str) -> Placed:
        """Find a table by its name; KeyError if the sheet has none of that name."""
        for placed in self.placed:
            if isinstance(placed.block, Table) and placed.block.name == name:
                return placed
        msg = f"sheet {self.sheet.title} has no table {name}"
        raise KeyError(msg)

    @property
    def width_cm(self) -> float:
        """Width over which texts, tiles and charts stretch."""
        return sum(self.widths) * CM_PER_CHAR

    @property
    def scale(self) -> float:
        """Size at which the sheet is as wide as the paper, at most 1."""
        return min(1.0, (LANDSCAPE if self.lying else PORTRAIT) / max(sum(self.widths), 1.0))

    @property
    def page_rows(self) -> float:
        """Rows on a printed page, about."""
        return PAGE_ROWS[self.lying] / self.scale

    @property
    def one_page(self) -> bool:
        """Whether the sheet is printed on a single page, shrunk where need be."""
        forced = any(isinstance(p.block, PageBreak) for p in self.placed)
        rows = self.placed[-1].end if self.placed else 3
        return self.sheet.page.one_page or (not forced and rows < SHRINK * self.page_rows)

    def row_of(self, link: Link) -> int:
        """Row that a link jumps to."""
        if not link.table:
            return 1
        placed = self.table(link.table)
        if link.row < 0 or not placed.rows:
            return placed.header_row or placed.top
        return placed.rows[link.row]

    def resolve(self, text: str, placed: Placed, index: int) -> str:
        """Put addresses in place of the references of a formula in row `index` of a table."""

        def address(found: re.Match[str]) -> str:
            name, key, row = found.groups()
            place = self.table(name) if name else placed
            assert isinstance(place.block, Table)
            letter = letters(place.block.column(key) + 1)
            if row is not None:
                return f"${letter}${place.rows[int(row)]}"
            if name:
                return f"${letter}${place.rows[0]}:${letter}${place.rows[-1]}"
            return f"{letter}{place.rows[index]}"

        return REFERENCE.sub(address, text)


def lay_out(sheet: Sheet, manner: Manner, home: bool) -> Layout:
    """Place the blocks of a sheet below each other; `home` leaves a row for the way back."""
    tables = [b for b in sheet.blocks if isinstance(b, Table) and b.rows]
    widths = _widths(tables, manner)
    lying = sheet.page.landscape and sum(widths) > UPRIGHT * PORTRAIT
    full = LANDSCAPE if lying else PORTRAIT
    if not widths:
        widths = [full / 6] * 6
    while sum(widths) < full - 4:
        widths.append(min(14.0, full - sum(widths)))
    if sum(widths) > full * WIDE:
        widths = _narrowed(widths, full * WIDE)
    layout = Layout(sheet, [], widths, lying)
    row = 5 if home else 4
    for block in sheet.blocks:
        placed = _place(block, row)
        layout.placed.append(placed)
        row = placed.end
    if not layout.one_page:
        layout.breaks = _breaks(layout)
    return layout


def _breaks(layout: Layout) -> list[int]:
    """Rows to begin a page with, so that no block is torn that fits a page."""
    found: list[int] = []
    start = 1
    for placed in layout.placed:
        block, size = placed.block, placed.end - 1 - placed.top
        torn = placed.top + size - start > layout.page_rows >= size
        if isinstance(block, PageBreak) or (torn and placed.top > start + 4):
            found.append(placed.top)
            start = placed.top
        while placed.end - start > layout.page_rows:
            start += int(layout.page_rows)
        if isinstance(block, Table) and block.break_groups:
            found += [row + 1 for row in placed.group_ends[:-1]]
    return found


def _narrowed(widths: list[float], full: float) -> list[float]:
    """Take width from the widest columns until the page is not shrunk beyond reading."""
    cap = max(widths)
    while cap > 14 and sum(min(w, cap) for w in widths) > full:
        cap -= 2
    return [min(w, cap) for w in widths]


def _place(block: Block, row: int) -> Placed:
    if isinstance(block, Table):
        return _place_table(block, row)
    placed = Placed(block, row)
    if isinstance(block, Text):
        if block.title:
            placed.title_row = row
            row += 1
        placed.rows = list(range(row, row + len(block.paragraphs)))
        placed.end = row + len(block.paragraphs) + 1
    elif isinstance(block, KeyFigures):
        placed.rows = [row, row + 1, row + 2]
        placed.end = row + 4
    elif isinstance(block, Charts):
        height = max(chart_height(c) for c in block.charts)
        placed.end = row + math.ceil(height / CM_PER_ROW) + 1
    else:
        assert isinstance(block, PageBreak)
        placed.end = row
    return placed


def chart_height(chart: Chart) -> float:
    """Height of a chart, cm."""
    lying = chart.kind in (ChartKind.BARS, ChartKind.STACKED_BARS)
    return max(chart.height, 2.2 + 0.55 * chart.first) if lying else chart.height


def _place_table(table: Table, row: int) -> Placed:
    placed = Placed(table, row)
    if table.title:
        placed.title_row = row
        row += 1
    if not table.plain:
        placed.header_row = row
        row += 1
    if not table.rows:
        placed.header_row = 0
        placed.note_row = row - 1
        placed.end = row + 1
        return placed
    group = table.column(table.group) if table.group else -1
    start = 0
    for i, content in enumerate(table.rows):
        placed.rows.append(row)
        row += 1
        last = i + 1 == len(table.rows)
        if group >= 0 and (last or plain(table.rows[i + 1][group]) != plain(content[group])):
            if i > start:
                placed.subtotals.append((row, start, i))
                row += 1
            placed.group_ends.append(row - 1)
            start = i + 1
    if any(c.total for c in table.columns):
        placed.total_row = row
        row += 1
    if table.note:
        placed.note_row = row
        row += 1
    placed.end = row + 1
    return placed


def plain(content: Content) -> Value:
    """Value of a cell, that of a formula being its present one."""
    if isinstance(content, Cell):
        content = content.value
    return content.value if isinstance(content, Formula) else content


def measure_of(content: Content, column: Column) -> Measure:
    """Measure of a cell: its own, or its column's; a day is a day in any column."""
    own = content.measure if isinstance(content, Cell) else None
    return own or (Measure.DATE if isinstance(plain(content), date) else column.measure)


def header(column: Column, manner: Manner) -> str:
    """Header with its unit.

    >>> from planner.report.measures import Manner
    >>> from planner.report.sheets import Column
    >>> header(Column("need", "Need", Measure.VOLUME), Manner())
    'Need (gal)'
    """
    unit = manner.label(column.measure)
    return f"{column.header} ({unit})" if unit and column.measure not in BARE else column.header


def _widths(tables: list[Table], manner: Manner) -> list[float]:
    widths = [0.0] * max((len(t.columns) for t in tables), default=0)
    for table in tables:
        for i, column in enumerate(table.columns):
            widths[i] = max(widths[i], column.width or _fitted(table, i, manner))
    return widths


def _fitted(table: Table, index: int, manner: Manner) -> float:
    column = table.columns[index]
    longest = max((_length(row[index], column, manner) for row in table.rows), default=0.0)
    if column.total:
        total = sum(v for r in table.rows if isinstance(v := plain(r[index]), int | float))
        longest = max(longest, _length(total, column, manner))
    words = header(column, manner).split()
    longest = max(longest, 1.08 * max((text_width(w) for w in words), default=0.0))
    longest = max(longest, text_width(header(column, manner)) / 2)
    room = 4.0 if table.filter else 2.0
    return min(WIDEST, max(NARROWEST, longest + room))


def _length(content: Content, column: Column, manner: Manner) -> float:
    value = plain(content)
    if value is None:
        return 0.0
    if isinstance(value, bool):
        return 3.0
    if isinstance(value, int | float):
        measure = measure_of(content, column)
        factor, _, decimals = manner.shown(measure)
        decimals = decimals if column.decimals is None else column.decimals
        text = f"{value * factor:,.{decimals}f}"
        return len(text) + (text_width(manner.currency) if measure in BARE else 0.0)
    return 10.0 if not isinstance(value, str) else text_width(value)


def text_width(text: str) -> float:
    """Width of a text in widths of a digit; letters of East Asia count for two.

    >>> text_width("2027"), round(text_width("Will"), 2), text_width("大豆")
    (4.0, 3.2, 4.0)
    """
    return sum(_letter_width(c) for c in text)


@cache
def _letter_width(letter: str) -> float:
    """Width of a letter of a usual sans-serif, by its kind."""
    for letters_alike, width in ALIKE:
        if letter in letters_alike:
            return width
    if letter.isascii():
        return 1.25 if letter.isupper() else 1.0
    if unicodedata.combining(letter):
        return 0.0
    if unicodedata.east_asian_width(letter) in "WF":
        return 2.0
    return 1.3


def lines(text: str, width: float, bold: bool = False) -> int:
    """Lines that a wrapped text takes in a column of so many digits' width, estimated.

    Whole words move to the next line.
    """
    if len(text) * 1.6 < width and text.isascii() and "\n" not in text:
        return 1
    room = max(width / (1.08 if bold else 1.0), 1.0)
    count = 0
    for part in text.split("\n"):
        run = 0.0
        count += 1
        for word in part.split(" "):
            size = text_width(word)
            if run and run + 0.5 + size > room:
                count, run = count + 1, 0.0
            count += math.ceil(size / room) - 1 if size > room else 0
            run = size % room if size > room else run + size + (0.5 if run else 0)
    return count


def letters(column: int) -> str:
    """Letters of a column counted from 1.

    >>> letters(1), letters(26), letters(27), letters(703)
    ('A', 'Z', 'AA', 'AAA')
    """
    found = ""
    while column:
        column, rest = divmod(column - 1, 26)
        found = chr(65 + rest) + found
    return found

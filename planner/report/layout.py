"""Where everything of a sheet stands: rows, column widths, addresses. Knows nothing of files."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from openpyxl.utils import get_column_letter

from planner.report.fit import fitted_widths, narrowed, number_widths, plain
from planner.report.labels import fitted, width_chars
from planner.report.sheets import (
    ChartRow,
    KeyFigures,
    Labels,
    Look,
    PageBreak,
    Table,
    Text,
)
from planner.report.texts import together

if TYPE_CHECKING:
    from planner.report.measures import Manner
    from planner.report.sheets import Block, Chart, Link, Sheet

PAGE_POINTS = (690.0, 506.0)
"""Height of a printed page, upright and lying, on letter as on A4."""
ROW = 15.0
"""Height of a row, points, where nothing asks for more."""
UPRIGHT = 1.15
"""A sheet that may lie stands upright where it is not wider than that many pages."""
DENSE, DENSE_ROWS = 1.4, 60
"""The same for a table of that many rows that is only read: in smaller print, on fewer pages."""
WIDE, WIDE_ONE = 1.4, 1.55
"""Widest sheet, in widths of a page; beyond, columns are narrowed and their texts wrap. A sheet
that is shrunk to one page for its length may be wider."""
GAP = 8.0
"""Height of the empty row between blocks of a sheet that is shrunk to one page, points."""
SHRINK = 1.3
"""A sheet that is longer than a page by less than this is shrunk to one."""
SMALLEST, SMALLEST_ONE = 0.7, 0.45
"""Size of print under which no sheet is shrunk to a page; the same for one that asks for that."""
PORTRAIT, LANDSCAPE = 93.0, 127.0
"""Characters that fill the width of a printed page at full size, on letter as on A4."""
CM_PER_CHAR = 0.184
CM_PER_POINT = 2.54 / 72
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
    torn: bool = False
    """Whether it runs over the end of a printed page."""
    lines: list[tuple[str, float, bool]] = field(default_factory=list)
    """Of labels, by row: paragraph, size of its type, whether it is bold."""
    firsts: list[int] = field(default_factory=list)
    """First row of every label."""


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
    heights: dict[int, float] = field(default_factory=dict)
    """Points, of rows that need more or less than `ROW`."""
    shrunk: float = 1.0
    """How much smaller it is printed than its width asks for."""

    def table(self, name: str) -> Placed:
        """Find a table by its name; ValueError if the sheet has none of that name."""
        for placed in self.placed:
            if isinstance(placed.block, Table) and placed.block.name == name:
                return placed
        msg = f"sheet {self.sheet.title} has no table {name}"
        raise ValueError(msg)

    @property
    def scale(self) -> float:
        """Size of print: as wide as the paper or smaller, at most 1."""
        wide = (LANDSCAPE if self.lying else PORTRAIT) / max(sum(self.widths), 1.0)
        return min(1.0, wide) / self.shrunk

    @property
    def chart_chars(self) -> float:
        """Characters that charts may fill: a page of pictures, shrunk for its height, all of it."""
        if self.one_page or any(isinstance(p.block, Table) for p in self.placed):
            return sum(self.widths)
        page = LANDSCAPE if self.lying else PORTRAIT
        return max(sum(self.widths), 0.98 * page / self.scale)

    @property
    def page_points(self) -> float:
        """Points of rows that a printed page holds."""
        return PAGE_POINTS[self.lying] / self.scale

    @property
    def end(self) -> int:
        """First row after everything."""
        return self.placed[-1].end if self.placed else 4

    @property
    def one_page(self) -> bool:
        """Whether the sheet is printed on a single page, shrunk where need be."""
        forced = any(
            (isinstance(p.block, PageBreak) and not p.block.if_torn)
            or (isinstance(p.block, Table) and p.block.break_groups)
            for p in self.placed
        )
        high = self.points(1, self.end)
        if self.sheet.page.one_page:
            return self.scale * min(1.0, self.page_points / high) >= SMALLEST_ONE
        if forced or self.sheet.page.label is not None:
            return False
        return self.may_shrink(high)

    def may_shrink(self, high: float) -> bool:
        """Whether something so high can be read when it is printed on a single page."""
        over = high / self.page_points
        return over < SHRINK and (over <= 1.0 or self.scale / over >= SMALLEST)

    def points(self, first: int, end: int) -> float:
        """Height of rows, from `first` to the one before `end`."""
        more = sum(high - ROW for row, high in self.heights.items() if first <= row < end)
        return ROW * (end - first) + more

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
            letter = get_column_letter(place.block.column(key) + 1)
            if row is not None:
                return f"${letter}${place.rows[int(row)]}"
            if name:
                return f"${letter}${place.rows[0]}:${letter}${place.rows[-1]}"
            return f"{letter}{place.rows[index]}"

        return REFERENCE.sub(address, text)


def lay_out(sheet: Sheet, manner: Manner, home: bool) -> Layout:
    """Place the blocks of a sheet below each other; `home` leaves a row for the way back."""
    if sheet.page.label is not None:
        return _lay_out_labels(sheet, sheet.page.label, home)
    tables = [b for b in sheet.blocks if isinstance(b, Table) and b.rows]
    widths = fitted_widths(tables, manner)
    widest = DENSE if _dense(tables) else UPRIGHT
    lying = sheet.page.landscape and sum(widths) > widest * PORTRAIT
    full = LANDSCAPE if lying else PORTRAIT
    if not widths:
        widths = [full / 6] * 6
    while sum(widths) < full - 4:
        widths.append(min(14.0, full - sum(widths)))
    most = full * (WIDE_ONE if sheet.page.one_page else WIDE)
    if sum(widths) > most:
        firm = number_widths(tables, manner, len(widths))
        widths = narrowed(widths, firm, most)
    layout = Layout(sheet, [], widths, lying, shrunk=1.0 / sheet.page.smaller)
    row = 5 if home else 4
    for block in sheet.blocks:
        layout.placed.append(_place(block, row))
        row = layout.placed[-1].end
    return layout


def _lay_out_labels(sheet: Sheet, stock: tuple[float, float], home: bool) -> Layout:
    """Place labels, a row a paragraph, in one column as wide as the stock."""
    layout = Layout(sheet, [], [width_chars(stock[0])], lying=False)
    row = 5 if home else 4
    for block in sheet.blocks:
        placed = _place(block, row)
        if isinstance(block, Labels):
            for label in block.labels:
                points, parts = fitted([together(t) for t in label], stock, block.heads)
                for part in parts:
                    placed.firsts.append(row)
                    placed.lines += [(t, points, i < block.heads) for i, t in enumerate(part)]
                    row += len(part)
            placed.rows = list(range(placed.top, row))
            placed.end = row
        layout.placed.append(placed)
        row = placed.end
    return layout


def _dense(tables: list[Table]) -> bool:
    """Whether a sheet is a long table that nobody writes into."""
    blanks = any(c.look is Look.FILL_IN for t in tables for c in t.columns)
    return not blanks and any(len(t.rows) > DENSE_ROWS and t.repeat_header for t in tables)


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
    elif isinstance(block, ChartRow):
        height = max(chart_height(c) for c in block.charts)
        placed.end = row + math.ceil(height / CM_PER_POINT / ROW) + 1
    else:
        assert isinstance(block, PageBreak | Labels)
        placed.end = row
    return placed


def chart_height(chart: Chart) -> float:
    """Height of a chart, cm."""
    return max(chart.height, 2.2 + 0.55 * chart.first) if chart.kind.lying else chart.height


def _place_table(table: Table, row: int) -> Placed:
    placed = Placed(table, row)
    if table.title:
        placed.title_row = row
        row += 1
    if table.note and table.repeat_header and table.rows:  # else it might end up on a page alone
        placed.note_row = row
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
    if table.total_label and any(c.total for c in table.columns):
        placed.total_row = row
        row += 1
    if table.note and not placed.note_row:
        placed.note_row = row
        row += 1
    placed.end = row + 1
    return placed

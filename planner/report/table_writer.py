"""Writing tables: headers, rows, sums, filters, and what follows the text of live cells."""

from __future__ import annotations

import math
from functools import cache
from itertools import pairwise
from typing import TYPE_CHECKING

from openpyxl.formatting.rule import Rule
from openpyxl.styles import Font
from openpyxl.styles.differential import DifferentialStyle
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation

from planner.report import looks
from planner.report.fit import BOLD, header, measure_of, plain
from planner.report.measures import Measure
from planner.report.sheets import Cell, Formula, Look, Table

if TYPE_CHECKING:
    from openpyxl.worksheet.worksheet import Worksheet

    from planner.report.layout import Layout, Placed
    from planner.report.looks import Style
    from planner.report.measures import Manner
    from planner.report.pen import Pen
    from planner.report.sheets import Column, Content, Value

ROWS_OF_A_PART = 2.0
"""Rows that parts of a table have on average, or they are not ruled off."""
Results = dict[str, float | str]
"""Present results of a sheet's formulas by address."""


def write_table(ws: Worksheet, pen: Pen, layout: Layout, placed: Placed, results: Results) -> None:
    """Write a table that has rows; its title and note are written with the other texts."""
    table = placed.block
    assert isinstance(table, Table)
    if placed.header_row:
        for i, column in enumerate(table.columns, 1):
            style = _header_style(column.measure, i == 1)
            pen.put(ws, placed.header_row, i, header(column, pen.manner), style)
    last_rows = part_ends(table)
    for index, (row, contents) in enumerate(zip(placed.rows, table.rows, strict=True)):
        vertical = _vertical(layout, table, row)
        ends = index in last_rows
        for i, (content, column) in enumerate(zip(contents, table.columns, strict=True), 1):
            value = content.value if isinstance(content, Cell) else content
            style = _style(content, column, pen.manner, i == 1, vertical, ends)
            measure = measure_of(content, column)
            if isinstance(value, Formula):
                text = layout.resolve(value.text, placed, index)
                pen.formula(ws, row, i, text, style)
                results[f"{get_column_letter(i)}{row}"] = result(pen.shown(value, measure))
            else:
                pen.put(ws, row, i, pen.shown(value, measure), style)
            if isinstance(content, Cell) and content.link is not None:
                pen.jump(ws, row, i, content.link)
    _sums(ws, pen, placed, table)
    _extras(ws, placed, table)


def result(value: Value) -> float | str:
    """Result to be stored beside a formula."""
    if isinstance(value, str):
        return value
    return float(value) if isinstance(value, int | float) else 0.0


_header_style = cache(looks.header_style)
_cell_style = cache(looks.cell_style)


def _vertical(layout: Layout, table: Table, row: int) -> str:
    """Where in its row a table's cell stands: on the line where that is written on."""
    if table.plain or table.roomy:
        return "bottom"
    return "center" if row not in layout.heights else "top"


def part_ends(table: Table) -> set[int]:
    """Last rows of the parts that are ruled off; none where parts have hardly more than a row."""
    if not table.parts:
        return set()
    part = table.column(table.parts)
    names = [plain(row[part]) for row in table.rows]
    found = {n for n, (one, other) in enumerate(pairwise(names)) if one != other}
    return found if len(found) < len(names) / ROWS_OF_A_PART else set()


def _style(
    content: Content, column: Column, manner: Manner, first: bool, vertical: str, ends: bool
) -> Style:
    cell = content if isinstance(content, Cell) else None
    look = cell.look if cell and cell.look is not Look.PLAIN else column.look
    measure = measure_of(content, column)
    number_format = looks.TEXT_FORMAT
    if not isinstance(plain(content), str):
        number_format = looks.number_format(measure, manner, column.decimals)
    linked = cell is not None and cell.link is not None
    return _cell_style(measure, look, number_format, linked, first, vertical, ends)


def _sums(ws: Worksheet, pen: Pen, placed: Placed, table: Table) -> None:
    group = table.column(table.group) if table.group else 0
    for row, first, last in placed.subtotals:
        label = f"Total {plain(table.rows[first][group])}"
        _sum(ws, pen, row, table, label, range(first, last + 1))
    if placed.total_row:
        _sum(ws, pen, placed.total_row, table, table.total_label, range(len(table.rows)))


def _sum(ws: Worksheet, pen: Pen, row: int, table: Table, label: str, rows: range) -> None:
    for i, column in enumerate(table.columns, 1):
        value: Value = label if i == 1 else None
        measure = Measure.TEXT if i == 1 else column.measure
        if column.total and i > 1:
            numbers = [plain(table.rows[r][i - 1]) for r in rows]
            value = math.fsum(n for n in numbers if isinstance(n, int | float))
        number_format = looks.number_format(measure, pen.manner, column.decimals)
        style = _cell_style(measure, Look.TOTAL, number_format, False, i == 1, "center")
        pen.put(ws, row, i, pen.shown(value, measure), style)


def _extras(ws: Worksheet, placed: Placed, table: Table) -> None:
    first, last = placed.rows[0], placed.rows[-1]
    if table.filter:
        ws.auto_filter.ref = f"A{placed.header_row}:{get_column_letter(len(table.columns))}{last}"
    for i, column in enumerate(table.columns, 1):
        span = f"{get_column_letter(i)}{first}:{get_column_letter(i)}{last}"
        for text, look in column.when:
            ws.conditional_formatting.add(span, _rule(f"{get_column_letter(i)}{first}", text, look))
        if column.measure is Measure.COUNT and _overtyped(table, i - 1):
            _whole_numbers(ws, span)


def _rule(cell: str, text: str, look: Look) -> Rule:
    """Dress a cell while its text begins with `text`."""
    dress = DifferentialStyle(
        font=Font(bold=look in BOLD, color=looks.INKS.get(look, looks.INK)),
        fill=looks.live_fill(look),
    )
    return Rule(type="expression", dxf=dress, formula=[f'LEFT({cell},{len(text)})="{text}"'])


def _overtyped(table: Table, index: int) -> bool:
    if table.columns[index].look is Look.OVERTYPE:
        return True
    cells = (row[index] for row in table.rows)
    return any(isinstance(c, Cell) and c.look is Look.OVERTYPE for c in cells)


def _whole_numbers(ws: Worksheet, span: str) -> None:
    rule = DataValidation("whole", operator="greaterThanOrEqual", formula1="0")
    rule.errorTitle, rule.error = "Whole numbers", "Containers are whole: 0, 1, 2, ..."
    rule.showErrorMessage = True
    rule.add(span)
    ws.add_data_validation(rule)

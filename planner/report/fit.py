"""How wide columns are, what their headers say, and what a cell's content comes to."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

from planner.report.measures import Measure
from planner.report.sheets import Cell, Formula
from planner.report.texts import text_width

if TYPE_CHECKING:
    from planner.report.measures import Manner
    from planner.report.sheets import Column, Content, Table, Value

NARROWEST, WIDEST = 7.0, 40.0
"""Characters of a column whose width is fitted; longer texts wrap."""
MARGIN = (1.4, 2.6)
"""Characters that a cell's text keeps off its borders: in the first column, in others."""
BOLD = 1.08
"""How much wider bold letters are."""
BARE = {Measure.MONEY, Measure.WHOLE_MONEY, Measure.PERCENT}
"""Measures whose unit stands in every cell, so that headers go without."""


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


def fitted_widths(tables: list[Table], manner: Manner) -> list[float]:
    """Width that every column of a sheet needs for the tables on it, characters."""
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
    longest = max(longest, BOLD * _halved(header(column, manner)))
    room = MARGIN[index > 0] + (2.0 if table.filter else 0.4)
    return min(WIDEST, max(NARROWEST, longest + room))


def _halved(text: str) -> float:
    """Width of a text that is broken once, where that makes it narrowest.

    >>> _halved("Usable in all"), text_width("Usable"), text_width("in all")
    (5.65, 5.65, 4.0)
    """
    words = text.split()
    breaks = range(1, max(len(words), 2))
    halves = [(" ".join(words[:i]), " ".join(words[i:])) for i in breaks]
    return min(max(map(text_width, pair)) for pair in halves)


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


def narrowed(widths: list[float], full: float) -> list[float]:
    """Take width from the widest columns until the page is not shrunk beyond reading."""
    cap = max(widths)
    while cap > 14 and sum(min(w, cap) for w in widths) > full:
        cap -= 2
    return [min(w, cap) for w in widths]


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

"""How wide columns are, what their headers say, and what a cell's content comes to."""

from __future__ import annotations

import re
from datetime import date
from typing import TYPE_CHECKING

from planner.report.measures import Measure
from planner.report.sheets import Cell, Formula, Look
from planner.report.texts import FIRM, text_width

if TYPE_CHECKING:
    from planner.report.measures import Manner
    from planner.report.sheets import Column, Content, Table, Value

NARROWEST, WIDEST = 7.0, 40.0
"""Characters of a column whose width is fitted; longer texts wrap."""
MARGIN = (1.4, 2.6)
"""Characters that a cell's text keeps off its borders: in the first column, in others."""
FILTER = 2.0
"""Room of a filter's button."""
LONG_HEADER = 12.0
"""A header that is wider than this on two lines may take three."""
INDENT = 0.8
"""More room that numbers need, as they keep off the next column."""
DAY_WIDTH = 14.5
"""Width of a day with its weekday."""
EASE = 0.4
"""More room than is needed, as widths of letters are estimated."""
WIDER = 1.08
"""How much wider bold letters are."""
BOLD = {Look.STRONG, Look.SHORT, Look.TOTAL}
"""Looks in bold letters."""
APART = 1.2
"""More room beside a header than beside a number, so that it does not touch its neighbor."""
UNIT = re.compile(r"\([^()]*\)$")
BARE = {Measure.MONEY, Measure.WHOLE_MONEY, Measure.PERCENT}
"""Measures whose unit is in every cell, so that headers go without."""


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
    r"""Header with its unit, which is never broken over two lines.

    >>> from planner.report.measures import Manner
    >>> from planner.report.sheets import Column
    >>> header(Column("need", "Need", Measure.VOLUME), Manner())
    'Need (gal)'
    >>> header(Column("bag", "On a bag", Measure.DOSE), Manner())
    'On a bag (fl\xa0oz)'
    """
    unit = manner.label(column.measure)
    text = f"{column.header} ({unit})" if unit and column.measure not in BARE else column.header
    return UNIT.sub(lambda found: found[0].replace(" ", FIRM), text)


def fitted_widths(tables: list[Table], manner: Manner) -> list[float]:
    """Width that every column of a sheet needs for the tables on it, characters.

    A column with a width of its own gets more only where numbers would show as ### in it.
    """
    widths = [0.0] * max((len(t.columns) for t in tables), default=0)
    for table in tables:
        for i, column in enumerate(table.columns):
            least = _longest(table, i, manner, numbers=True) + MARGIN[0] + EASE
            wide = max(column.width, least) if column.width else _fitted(table, i, manner)
            widths[i] = max(widths[i], wide)
    return widths


def _fitted(table: Table, index: int, manner: Manner) -> float:
    column = table.columns[index]
    longest = _longest(table, index, manner)
    button = FILTER if table.filter else 0.0
    longest = max(longest, WIDER * _folded(header(column, manner)) + APART + button)
    return min(WIDEST, max(NARROWEST, longest + MARGIN[index > 0] + EASE))


def _longest(table: Table, index: int, manner: Manner, *, numbers: bool = False) -> float:
    """Width of the widest cell of a column, sums included; of numbers and days where asked."""
    column = table.columns[index]
    cells = [row[index] for row in table.rows]
    amounts = [c for c in cells if isinstance(plain(c), int | float)]
    days = [c for c in cells if isinstance(plain(c), date)]
    longest = max(
        (_length(c, column, manner) for c in ([*amounts, *days] if numbers else cells)), default=0.0
    )
    if column.total:
        total = sum(v for c in amounts if isinstance(v := plain(c), int | float))
        longest = max(longest, WIDER * _length(total, column, manner))
    return longest + INDENT if amounts else longest


def _folded(text: str) -> float:
    """Width of a header where that is narrowest: on two lines, on three if it is long.

    >>> _folded("Usable in all"), text_width("Usable"), text_width("in all")
    (5.65, 5.65, 4.0)
    >>> _folded("Treated strongly enough"), text_width("strongly")
    (6.42, 6.42)
    """
    words = text.split(" ")
    narrowest = _broken(words, 2)
    return narrowest if narrowest <= LONG_HEADER else _broken(words, 3)


def _broken(words: list[str], parts: int) -> float:
    """Width of the widest line of words put on at most that many lines, where that is least."""
    whole = text_width(" ".join(words))
    if parts == 1 or len(words) == 1:
        return whole
    return min(
        max(text_width(" ".join(words[:i])), _broken(words[i:], parts - 1))
        for i in range(1, len(words))
    )


def _length(content: Content, column: Column, manner: Manner) -> float:
    width = value_width(content, measure_of(content, column), manner, column.decimals)
    bold = isinstance(content, Cell) and content.look in BOLD
    return width * (WIDER if bold and isinstance(plain(content), str) else 1.0)


def value_width(
    content: Content, measure: Measure, manner: Manner, decimals: int | None = None
) -> float:
    """Width of a value as it is shown, characters."""
    value = plain(content)
    if value is None:
        return 0.0
    if isinstance(value, bool):
        return 3.0
    if isinstance(value, int | float):
        factor, _, usual = manner.shown(measure)
        factor *= 100.0 if measure is Measure.PERCENT else 1.0
        text = f"{value * factor:,.{usual if decimals is None else decimals}f}"
        return len(text) + (text_width(manner.currency) if measure in BARE else 0.0)
    return text_width(value) if isinstance(value, str) else DAY_WIDTH


def narrowed(widths: list[float], firm: list[float], full: float) -> list[float]:
    """Take width from the widest columns until the page is not shrunk beyond reading.

    None becomes narrower than its `firm` width, which its numbers and days need.
    """
    cap = max(widths)
    while cap > 14 and sum(min(w, cap) for w in widths) > full:
        cap -= 2
    return [max(min(w, cap), least) for w, least in zip(widths, firm, strict=True)]


def number_widths(tables: list[Table], manner: Manner, count: int) -> list[float]:
    """Width that numbers and days of each of that many columns need; 0 where there are none."""
    widths = [0.0] * count
    for table in tables:
        for i, column in enumerate(table.columns):
            longest = _longest(table, i, manner, numbers=True)
            if longest:
                widths[i] = max(widths[i], min(column.width or WIDEST, longest + MARGIN[1]))
    return widths

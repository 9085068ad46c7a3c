"""Charts of a plan as SVG: bars that lie or stand, side by side or stacked, lines and marks."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from markupsafe import Markup

from planner.page.axes import Lying, Standing
from planner.page.cells import say
from planner.page.picture import INKS, LETTER, WIDTH, Picture, axis_number, ticks
from planner.report.fit import plain
from planner.report.measures import Measure
from planner.report.sheets import Table

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from planner.report.measures import Manner
    from planner.report.sheets import Book, Chart, Column, Series


STANDS_OUT = 3
"""Color of a series that is filled with ink."""


@dataclass(frozen=True, slots=True)
class Row:
    """One drawn series."""

    name: str
    series: Series
    column: Column
    values: tuple[float, ...]
    ink: int


def _values(chart: Chart, book: Book) -> tuple[list[str], list[Row]]:
    sheet = next((s for s in book.sheets if s.title == chart.table.sheet), None)
    if sheet is not None and chart.table.table in sheet.moved:
        title = sheet.moved[chart.table.table]
        sheet = next((s for s in book.sheets if s.title == title), None)
    tables = [b for b in sheet.blocks if isinstance(b, Table)] if sheet is not None else []
    table = next((t for t in tables if t.name == chart.table.table), None)
    if table is None:
        return [], []
    rows = table.rows[: chart.first] if chart.first else table.rows
    at = table.column(chart.categories)
    first = table.columns[at]
    names = [say(plain(r[at]), first.measure, book.manner, first.decimals) for r in rows]
    found = []
    for ink, series in enumerate(chart.series):
        n = table.column(series.key)
        column = table.columns[n]
        cells = [plain(r[n]) for r in rows]
        values = tuple(_float(c, column.measure, book.manner) for c in cells)
        if series.marks:  # where there is no number there is no mark
            known = [isinstance(c, int | float) for c in cells]
            values = tuple(v if k else math.nan for v, k in zip(values, known, strict=True))
        color = STANDS_OUT if series.ink else ink % len(INKS)
        found.append(Row(column.header, series, column, values, color))
    return names, found


def _float(value: object, measure: Measure, manner: Manner) -> float:
    """Height of a bar, in the unit that is shown."""
    if hasattr(value, "toordinal"):
        return float(value.toordinal())
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        return 0.0
    return manner.value(float(value), measure)


def draw(chart: Chart, book: Book) -> Markup:
    """Draw a chart of a book; nothing where it has no numbers."""
    names, rows = _values(chart, book)
    if not names or not rows:
        return Markup("")
    lying, stacked = chart.kind.lying, chart.kind.stacked
    bars = [r for r in rows if not (r.series.marks or r.series.line)]
    marked = [r for r in rows if r.series.marks or (lying and r.series.line)]
    traced = [r for r in rows if not lying and r not in bars and not r.series.marks]
    scale = ticks(*_span(chart, rows, bars, stacked=stacked))
    manner, measure = book.manner, rows[0].column.measure
    labels = [axis_number(tick, measure, manner) for tick in scale]
    side_by_side = 1 if stacked else max(1, len(bars))
    axes = (Lying if lying else Standing)(names, scale, labels, side_by_side)
    picture = Picture(chart.title, axes.bottom + 20 + 18 * _legend_lines(rows))
    axes.frame(picture, _axis_title(chart, rows, manner))
    for i, name in enumerate(names):
        axes.name(picture, i)
        for place, low, high, row in _bars(bars, i, max(0.0, scale[0]), stacked=stacked):
            said = _said(name, row, row.values[i], manner)
            axes.bar(picture, i, place, low, high, row.ink, said)
        for row in marked:
            if not math.isnan(row.values[i]):
                axes.mark(picture, i, row.values[i])
    for row in traced:
        picture.trace([axes.point(i, v) for i, v in enumerate(row.values)])
    axes.base(picture, max(0.0, scale[0]))
    _legend(picture, rows, axes.bottom + 28)
    return picture.done([r.ink for r in bars])


def _bars(
    rows: Sequence[Row], i: int, base: float, *, stacked: bool
) -> Iterator[tuple[int, float, float, Row]]:
    """Place, low and high end of each bar of a category; places count the bars side by side."""
    start = 0.0
    for n, row in enumerate(rows):
        value = row.values[i]
        if not stacked and value:
            yield n, min(base, value), max(base, value), row
        if stacked and value > 0:
            if not row.series.lift:
                yield 0, start, start + value, row
            start += value


def _span(
    chart: Chart, rows: Sequence[Row], bars: Sequence[Row], *, stacked: bool
) -> tuple[float, float]:
    tops = [v for r in rows for v in r.values if not math.isnan(v)]
    if stacked and bars:
        n = len(bars[0].values)
        tops += [sum(max(0.0, r.values[i]) for r in bars) for i in range(n)]
    low = min([0.0, *tops]) if chart.low is None else chart.low
    return low, max([*tops, low + 1e-6])


def _said(name: str, row: Row, value: float, manner: Manner) -> str:
    label = manner.label(row.column.measure)
    money = row.column.measure in (Measure.MONEY, Measure.WHOLE_MONEY)
    amount = axis_number(value, row.column.measure, manner)
    return f"{name}, {row.name}: {amount}" + ("" if money or not label else f" {label}")


def _axis_title(chart: Chart, rows: Sequence[Row], manner: Manner) -> str:
    label = manner.label(rows[0].column.measure)
    return f"{chart.value_axis} ({label})" if label else chart.value_axis


def _legend(picture: Picture, rows: Sequence[Row], top: float) -> None:
    """Write the names of the series under a chart."""
    for row, x, line in _legend_places(rows):
        y = top + 18 * line
        if row.series.marks or row.series.line:
            picture.line(x, y - 4, x + 14, y - 4, "mark", 3)
        else:
            picture.bar(x, y - 10, 13, 11, row.ink, row.name)
        picture.text(x + 19, y, row.name)


def _legend_lines(rows: Sequence[Row]) -> int:
    return max((line + 1 for _, _, line in _legend_places(rows)), default=0)


def _legend_places(rows: Sequence[Row]) -> Iterator[tuple[Row, float, int]]:
    """Series to be named, with how far right and on which line; none where there is only one."""
    shown = [r for r in rows if not r.series.lift]
    x, line = 8.0, 0
    for row in shown if len(shown) > 1 else ():
        wide = 24 + LETTER * len(row.name)
        if x + wide > WIDTH and x > 8.0:
            x, line = 8.0, line + 1
        yield row, x, line
        x += wide + 14

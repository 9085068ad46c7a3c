"""Charts of a plan as SVG: bars that lie or stand, side by side or stacked, lines and marks.

No style is written into the picture: colours are attributes, patterns stand beside them, and texts
take their look from the page's style sheet.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import count
from typing import TYPE_CHECKING

from markupsafe import Markup, escape

from planner.page.cells import say
from planner.report.fit import plain
from planner.report.measures import Measure
from planner.report.sheets import ChartKind, Table

if TYPE_CHECKING:
    from collections.abc import Sequence

    from planner.report.measures import Manner
    from planner.report.sheets import Book, Chart, Column, Series

WIDTH = 560.0
LETTER = 6.6
"""Width of a letter of the chart's texts, at most, in units of the picture."""
INKS = ("#2f6f80", "#a3560c", "#dfe8ea", "#6e2410", "#6c8f98", "#5b4b8a")
EDGE = "#1c2b30"
PATTERNS = ("", "slant", "", "cross", "lines", "dots")
"""Beside each colour, so that bars stay apart without it."""
MOST_LABEL = 28
"""Letters of a name beside a lying bar; the whole name is in the bar's title."""
SHOULD_TICK = 5
_numbers = count(1)


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
        found.append(Row(column.header, series, column, values, ink % len(INKS)))
    return names, found


def _float(value: object, measure: Measure, manner: Manner) -> float:
    """Height of a bar, in the unit that is shown."""
    if hasattr(value, "toordinal"):
        return float(value.toordinal())
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        return 0.0
    return manner.value(float(value), measure)


def ticks(low: float, high: float) -> list[float]:
    """Round numbers that span from `low` to `high`.

    >>> ticks(0, 87)
    [0.0, 20.0, 40.0, 60.0, 80.0, 100.0]
    >>> ticks(-12, 30)
    [-20.0, -10.0, 0.0, 10.0, 20.0, 30.0]
    """
    span = max(high - low, 1e-9)
    rough = span / SHOULD_TICK
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(m * power for m in (1, 2, 2.5, 5, 10) if m * power >= rough * 0.999)
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    return [round(i * step, 10) + 0.0 for i in range(first, max(last, first + 1) + 1)]


def axis_number(number: float, measure: Measure, manner: Manner) -> str:
    """Number of an axis."""
    text = f"{number:,.2f}".rstrip("0").rstrip(".")
    if measure in (Measure.MONEY, Measure.WHOLE_MONEY):
        return f"-{manner.currency}{text[1:]}" if text.startswith("-") else manner.currency + text
    return f"{number * 100:g}%" if measure is Measure.PERCENT else text


class Picture:
    """Pieces of an SVG with patterns and names of its own."""

    def __init__(self, title: str, height: float, width: float = WIDTH) -> None:
        self.mark = f"c{next(_numbers)}"
        self.title, self.height, self.width = title, height, width
        self.parts: list[str] = []

    def fill(self, ink: int) -> str:
        """Colour or pattern of a series."""
        return f"url(#{self.mark}-{ink})" if PATTERNS[ink] else INKS[ink]

    def bar(self, x: float, y: float, w: float, h: float, ink: int, said: str) -> None:
        """Draw a bar with its title."""
        self.parts.append(
            f'<rect x="{x:.1f}" y="{y:.1f}" width="{max(w, 0):.1f}" height="{max(h, 0):.1f}" '
            f'fill="{self.fill(ink)}" stroke="{EDGE}" stroke-width="0.7">'
            f"<title>{escape(said)}</title></rect>"
        )

    def line(self, x1: float, y1: float, x2: float, y2: float, css: str, width: float = 1) -> None:
        """Draw a line."""
        self.parts.append(
            f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" class="{css}" '
            f'stroke-width="{width}"/>'
        )

    def text(self, x: float, y: float, text: str, anchor: str = "start", css: str = "") -> None:
        """Write a text."""
        self.parts.append(
            f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" class="{css}">'
            f"{escape(text)}</text>"
        )

    def done(self, inks: Sequence[int] = ()) -> Markup:
        """Close the picture."""
        patterns = "".join(_pattern(f"{self.mark}-{i}", i) for i in dict.fromkeys(inks))
        defs = f"<defs>{patterns}</defs>" if patterns else ""
        return Markup(
            f'<svg class="chart" viewBox="0 0 {self.width:.0f} {self.height:.0f}" role="img" '
            f'aria-labelledby="{self.mark}-t" preserveAspectRatio="xMidYMid meet">'
            f'<title id="{self.mark}-t">{escape(self.title)}</title>{defs}'
            f"{''.join(self.parts)}</svg>"
        )


def _pattern(name: str, ink: int) -> str:
    kind, color = PATTERNS[ink], INKS[ink]
    head = f'<pattern id="{name}" width="6" height="6" patternUnits="userSpaceOnUse"'
    ground = f'<rect width="6" height="6" fill="{color}"/>'
    drawn = {
        "slant": '<path d="M-1 7 L7 -1" stroke="#fff6e6" stroke-width="1.6"/>',
        "cross": '<path d="M0 3H6M3 0V6" stroke="#f8dccf" stroke-width="0.8"/>',
        "lines": '<path d="M0 3H6" stroke="#fff" stroke-width="1.6"/>',
        "dots": '<circle cx="3" cy="3" r="1.3" fill="#fff"/>',
    }
    return f"{head}>{ground}{drawn[kind]}</pattern>" if kind else ""


def draw(chart: Chart, book: Book) -> Markup:
    """Draw a chart of a book; nothing where it has no numbers."""
    names, rows = _values(chart, book)
    if not names or not rows:
        return Markup("")
    lying = chart.kind in (ChartKind.BARS, ChartKind.STACKED_BARS)
    stacked = chart.kind in (ChartKind.STACKED_BARS, ChartKind.STACKED_COLUMNS)
    bars = [r for r in rows if not r.series.marks and not r.series.line]
    if chart.kind is ChartKind.LINE:
        bars = []
    low, high = _span(chart, rows, bars, stacked)
    scale = ticks(low, high)
    if lying:
        return _lying(chart, book, names, rows, bars, scale, stacked=stacked)
    return _standing(chart, book, names, rows, bars, scale, stacked=stacked)


def _span(
    chart: Chart, rows: Sequence[Row], bars: Sequence[Row], stacked: bool
) -> tuple[float, float]:
    tops = [v for r in rows for v in r.values]
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


def _legend(picture: Picture, rows: Sequence[Row], y: float) -> float:
    """Names of the series under a chart. Returns how high they are."""
    shown = [r for r in rows if not r.series.lift]
    if len(shown) < 2:
        return 0.0
    x, top = 8.0, y
    for row in shown:
        wide = 24 + LETTER * len(row.name)
        if x + wide > WIDTH and x > 8.0:
            x, top = 8.0, top + 18
        if row.series.marks or row.series.line:
            picture.line(x, top - 4, x + 14, top - 4, "mark", 3)
        else:
            picture.bar(x, top - 10, 13, 11, row.ink, row.name)
        picture.text(x + 19, top, row.name)
        x += wide + 8
    return top - y + 20


def _legend_lines(rows: Sequence[Row]) -> int:
    shown = [r for r in rows if not r.series.lift]
    if len(shown) < 2:
        return 0
    x, lines = 8.0, 1
    for row in shown:
        wide = 24 + LETTER * len(row.name)
        if x + wide > WIDTH and x > 8.0:
            x, lines = 8.0, lines + 1
        x += wide + 8
    return lines


def _cut(name: str, most: int = MOST_LABEL) -> str:
    return name if len(name) <= most else name[: most - 1] + "…"


def _lying(
    chart: Chart,
    book: Book,
    names: Sequence[str],
    rows: Sequence[Row],
    bars: Sequence[Row],
    scale: Sequence[float],
    *,
    stacked: bool,
) -> Markup:
    manner = book.manner
    each = 1 if stacked else max(1, len(bars))
    thick = 15.0 if each == 1 else 9.0
    step = each * thick + 8
    left = 12 + LETTER * min(MOST_LABEL, max(len(n) for n in names))
    bottom = 10 + step * len(names)
    picture = Picture(chart.title, bottom + 40 + 18 * _legend_lines(rows))
    wide = WIDTH - left - 24

    def x_of(value: float) -> float:
        share = (value - scale[0]) / (scale[-1] - scale[0])
        return left + wide * min(1.0, max(0.0, share))

    measure = rows[0].column.measure
    for tick in scale:
        picture.line(x_of(tick), 6, x_of(tick), bottom, "grid")
        picture.text(x_of(tick), bottom + 14, axis_number(tick, measure, manner), "middle", "tick")
    picture.text(WIDTH - 24, bottom + 30, _axis_title(chart, rows, manner), "end", "tick")
    for i, name in enumerate(names):
        y = 8 + i * step
        picture.text(left - 6, y + step / 2, _cut(name), "end")
        start = max(0.0, scale[0])
        for n, row in enumerate(bars):
            value = row.values[i]
            said = _said(name, row, value, manner)
            if stacked:
                if not row.series.lift and value > 0:
                    a, b = x_of(start), x_of(start + value)
                    picture.bar(a, y, b - a, thick, row.ink, said)
                start += max(0.0, value)
            elif value:
                a, b = sorted((x_of(max(0.0, scale[0])), x_of(value)))
                picture.bar(a, y + n * thick, b - a, thick - 1, row.ink, said)
        for row in rows:
            if row.series.marks or row.series.line:
                x = x_of(row.values[i])
                picture.line(x, y - 3, x, y + each * thick + 3, "mark", 3)
    picture.line(x_of(0.0), 6, x_of(0.0), bottom, "axis")
    _legend(picture, rows, bottom + 48)
    return picture.done([r.ink for r in bars])


def _standing(
    chart: Chart,
    book: Book,
    names: Sequence[str],
    rows: Sequence[Row],
    bars: Sequence[Row],
    scale: Sequence[float],
    *,
    stacked: bool,
) -> Markup:
    manner, measure = book.manner, rows[0].column.measure
    left = 14 + LETTER * max(len(axis_number(t, measure, manner)) for t in scale)
    step = (WIDTH - left - 12) / len(names)
    most = int(step / LETTER)
    slanted = max(len(n) for n in names) > most
    high, top = 190.0, 26.0
    under = 18.0 if not slanted else 12 + 4.4 * min(14, max(len(n) for n in names))
    bottom = top + high
    picture = Picture(chart.title, bottom + under + 26 + 18 * _legend_lines(rows))

    def y_of(value: float) -> float:
        share = (value - scale[0]) / (scale[-1] - scale[0])
        return bottom - high * min(1.0, max(0.0, share))

    picture.text(8, 14, _axis_title(chart, rows, manner), "start", "tick")
    for tick in scale:
        picture.line(left, y_of(tick), WIDTH - 8, y_of(tick), "grid")
        picture.text(left - 6, y_of(tick) + 4, axis_number(tick, measure, manner), "end", "tick")
    each = 1 if stacked else max(1, len(bars))
    wide = min(46.0, step * 0.76)
    for i, name in enumerate(names):
        x = left + i * step + (step - wide) / 2
        _column(picture, name, i, bars, x, wide / each, y_of, manner, scale[0], stacked)
        for row in rows:
            if row.series.marks:
                picture.line(
                    x - 4, y_of(row.values[i]), x + wide + 4, y_of(row.values[i]), "mark", 3
                )
        middle = left + (i + 0.5) * step
        if slanted:
            picture.parts.append(
                f'<text transform="translate({middle:.1f} {bottom + 12:.1f}) rotate(-38)" '
                f'text-anchor="end" class="tick">{escape(_cut(name, 14))}</text>'
            )
        else:
            picture.text(middle, bottom + 15, name, "middle", "tick")
    for row in rows:
        if row.series.line or (chart.kind is ChartKind.LINE and not row.series.marks):
            trace(picture, [(left + (i + 0.5) * step, y_of(v)) for i, v in enumerate(row.values)])
    picture.line(left, y_of(max(0.0, scale[0])), WIDTH - 8, y_of(max(0.0, scale[0])), "axis")
    _legend(picture, rows, bottom + under + 20)
    return picture.done([r.ink for r in bars])


def _column(
    picture: Picture,
    name: str,
    i: int,
    bars: Sequence[Row],
    x: float,
    wide: float,
    y_of: object,
    manner: Manner,
    low: float,
    stacked: bool,
) -> None:
    height = y_of
    assert callable(height)
    start = max(0.0, low)
    for n, row in enumerate(bars):
        value = row.values[i]
        said = _said(name, row, value, manner)
        if stacked:
            if not row.series.lift and value > 0:
                a, b = height(start + value), height(start)
                picture.bar(x, a, wide, b - a, row.ink, said)
            start += max(0.0, value)
        elif value:
            a, b = sorted((height(value), height(max(0.0, low))))
            picture.bar(x + n * wide, a, wide - 0.5, b - a, row.ink, said)


def trace(picture: Picture, points: Sequence[tuple[float, float]], css: str = "path") -> None:
    """Draw a line through points."""
    if points:
        text = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
        picture.parts.append(f'<polyline points="{text}" class="{css}" fill="none"/>')

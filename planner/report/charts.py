"""Native charts of a book's tables, readable in black and white."""

from __future__ import annotations

from math import ceil
from typing import TYPE_CHECKING, Any

from openpyxl.chart import BarChart, LineChart, Reference, Series
from openpyxl.chart.legend import LegendEntry
from openpyxl.chart.marker import Marker
from openpyxl.chart.series import SeriesLabel
from openpyxl.chart.shapes import GraphicalProperties
from openpyxl.chart.text import RichText
from openpyxl.drawing.colors import ColorChoice
from openpyxl.drawing.fill import PatternFillProperties
from openpyxl.drawing.line import LineProperties
from openpyxl.drawing.spreadsheet_drawing import AnchorMarker, OneCellAnchor
from openpyxl.drawing.text import (
    CharacterProperties,
    Font,
    Paragraph,
    ParagraphProperties,
    RichTextProperties,
)
from openpyxl.drawing.xdr import XDRPositiveSize2D
from openpyxl.utils import get_column_letter

from planner.report import looks
from planner.report.fit import plain
from planner.report.layout import CM_PER_CHAR
from planner.report.sheets import ChartKind, Table

if TYPE_CHECKING:
    from openpyxl.worksheet.worksheet import Worksheet

    from planner.report.layout import Placed
    from planner.report.measures import Manner
    from planner.report.sheets import Chart

EMU_PER_CM = 360_000
OFF_ROW = 36_000
"""A tenth of a cm below its row, so that no border is printed at the foot of the page before."""
MOST_NAMED = 16
"""Names below upright bars; of more, one in a few is shown, as it would break into pieces."""


def draw(chart: Chart, data: Worksheet, placed: Placed, manner: Manner) -> BarChart:
    """Make a chart of a table that is on a sheet."""
    table = placed.block
    assert isinstance(table, Table)
    first = placed.rows[0]
    last = placed.rows[min(len(placed.rows), chart.first or len(placed.rows)) - 1]
    names = Reference(data, table.column(chart.categories) + 1, first, max_row=last)
    bars = [s for s in chart.series if not s.marks and not s.line]
    drawn = _bars(chart.kind)
    for number, series in enumerate(bars):
        drawn.series.append(_series(table, series.key, data, first, last))
        _dress(drawn.series[-1], number)
        if series.ink:
            drawn.series[-1].graphicalProperties = _filled(looks.INK)
        if series.lift:
            drawn.series[-1].graphicalProperties = _nothing()
    drawn.set_categories(names)
    marks = [s for s in chart.series if s.marks or s.line]
    if marks:
        over = LineChart()
        for series in marks:
            over.series.append(_series(table, series.key, data, first, last))
            (_rule if series.line else _mark)(over.series[-1])
        over.set_categories(names)
        drawn += over
    low = _low(chart, table, [s.key for s in bars])
    _frame(drawn, chart, manner.label(table.columns[table.column(bars[0].key)].measure), low)
    if last - first >= MOST_NAMED and not chart.kind.lying:
        names_axis: Any = drawn.x_axis
        names_axis.tickLblSkip = ceil((last - first + 1) / MOST_NAMED)
    if len(chart.series) == 1:
        drawn.legend = None
    elif drawn.legend is not None:
        lifts = [number for number, series in enumerate(bars) if series.lift]
        drawn.legend.legendEntry = [LegendEntry(idx=number, delete=True) for number in lifts]
    return drawn


def place(
    drawn: Any, sheet: Worksheet, row: int, left_cm: float, size: tuple[float, float]
) -> None:
    """Put a chart onto a sheet, `left_cm` from its left edge."""
    drawn.width, drawn.height = size
    marker = AnchorMarker(col=0, colOff=0, row=row - 1, rowOff=OFF_ROW)
    offset = left_cm
    column = 1
    while column < 60:  # the anchor must name the column that holds the corner
        letter = get_column_letter(column)
        width = (sheet.column_dimensions[letter].width or 13.0) * CM_PER_CHAR
        if offset < width:
            break
        offset -= width
        column += 1
    marker.col, marker.colOff = column - 1, int(offset * EMU_PER_CM)
    extent = XDRPositiveSize2D(int(size[0] * EMU_PER_CM), int(size[1] * EMU_PER_CM) - OFF_ROW)
    drawn.anchor = OneCellAnchor(_from=marker, ext=extent)
    sheet.add_chart(drawn)


def _bars(kind: ChartKind) -> BarChart:
    drawn = BarChart()
    drawn.type = "bar" if kind.lying else "col"
    drawn.gapWidth = 60
    if kind.stacked:
        drawn.grouping = "stacked"
        drawn.overlap = 100
    if kind.lying:
        drawn.x_axis.scaling.orientation = "maxMin"
        drawn.y_axis.crosses = "max"
    return drawn


def _series(table: Table, key: str, data: Worksheet, first: int, last: int) -> Any:
    index = table.column(key)
    series = Series(Reference(data, index + 1, first, max_row=last))
    series.tx = SeriesLabel(v=table.columns[index].header)
    return series


def _dress(series: Any, number: int) -> None:
    pattern: Any
    color, pattern, ground = looks.SERIES[number % len(looks.SERIES)]
    colors: Any = ColorChoice
    shape = GraphicalProperties()
    if pattern:
        shape.pattFill = PatternFillProperties(
            prst=pattern, fgClr=colors(srgbClr=color), bgClr=colors(srgbClr=ground)
        )
    else:
        shape.solidFill = color
    shape.line = LineProperties(solidFill=looks.INK, w=6350)
    series.graphicalProperties = shape
    series.invertIfNegative = False


def _mark(series: Any) -> None:
    series.marker = Marker(symbol="diamond", size=10)
    series.marker.graphicalProperties = GraphicalProperties(solidFill="000000")
    series.marker.graphicalProperties.line = LineProperties(solidFill="FFFFFF", w=9525)
    series.graphicalProperties = GraphicalProperties(ln=LineProperties(noFill=True))
    series.smooth = False


def _rule(series: Any) -> None:
    """A line through the heights, without marks."""
    series.marker = Marker(symbol="none")
    series.graphicalProperties = GraphicalProperties(ln=LineProperties(solidFill="000000", w=28575))
    series.smooth = False


def _filled(color: str) -> Any:
    shape = GraphicalProperties(solidFill=color)
    shape.line = LineProperties(solidFill=color, w=6350)
    return shape


def _nothing() -> Any:
    shape = GraphicalProperties(noFill=True)
    shape.line = LineProperties(noFill=True)
    return shape


def _letters(size: int, bold: bool = False) -> RichText:
    """Letters for axes and legend; those of an axis level, whatever there is room for."""
    font = CharacterProperties(
        sz=size * 100, b=bold, solidFill=looks.INK, latin=Font(typeface=looks.FONT)
    )
    body = RichTextProperties(rot=0, vert="horz")
    return RichText(
        bodyPr=body, p=[Paragraph(pPr=ParagraphProperties(defRPr=font), endParaRPr=font)]
    )


def _title(text: str, size: int, bold: bool) -> Any:
    from openpyxl.chart.title import title_maker

    title: Any = title_maker(text)
    font = CharacterProperties(
        sz=size * 100, b=bold, solidFill=looks.INK, latin=Font(typeface=looks.FONT)
    )
    for paragraph in title.tx.rich.p:
        paragraph.pPr = ParagraphProperties(defRPr=font)
        for run in paragraph.r:
            run.rPr = font
    title.overlay = False
    return title


def _low(chart: Chart, table: Table, keys: list[str]) -> float | None:
    """Value at which the axis begins; at 0 for bars, as programs cut them off where all are long.

    None, for the program to choose, where some are below 0.
    """
    if chart.low is not None:
        return chart.low
    values = [plain(row[table.column(key)]) for row in table.rows for key in keys]
    return 0.0 if all(v >= 0.0 for v in values if isinstance(v, int | float)) else None


def _frame(drawn: Any, chart: Chart, unit: str, low: float | None = None) -> None:
    drawn.title = _title(chart.title, 13, True)
    if not chart.kind.lying:
        # names beside bars are wide: a title would be drawn over them
        drawn.x_axis.title = _title(chart.category_axis, 10, False)
    label = f"{chart.value_axis} ({unit})" if unit not in ("", "%") else chart.value_axis
    drawn.y_axis.title = _title(label, 10, False)
    for axis in (drawn.x_axis, drawn.y_axis):
        axis.delete = False
        axis.txPr = _letters(10)
        axis.graphicalProperties = GraphicalProperties(ln=LineProperties(solidFill=looks.RULE))
    drawn.x_axis.tickLblPos = "low"
    drawn.x_axis.noMultiLvlLbl = True
    if low is not None:
        drawn.y_axis.scaling.min = low
    drawn.y_axis.number_format = "0%" if unit == "%" else "#,##0"
    drawn.y_axis.majorGridlines.spPr = GraphicalProperties(
        ln=LineProperties(solidFill="D9E0E1", w=6350)
    )
    if drawn.legend is not None:
        drawn.legend.position = "b"
        drawn.legend.txPr = _letters(10)

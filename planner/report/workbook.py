"""A book as the bytes of an Excel workbook. How things look is said in `looks` and `charts`.

Texts are written as texts, whatever they begin with; jumps go only where a `Link` says; formulas
are only those of a `Formula`, with their present results stored beside them.
"""

from __future__ import annotations

import io
import zipfile
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from openpyxl import Workbook
from openpyxl.packaging.workbook import WorkbookPackage
from openpyxl.styles import Font
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.cell_range import CellRange
from openpyxl.xml.functions import fromstring

from planner.form.safe import workbook_bytes
from planner.report import charts, looks
from planner.report.breaks import page_breaks, shrink_parts, spare_a_page
from planner.report.fit import plain
from planner.report.heights import row_heights, title_lines
from planner.report.layout import (
    CM_PER_CHAR,
    ROW,
    chart_height,
    lay_out,
)
from planner.report.paper import set_up_page
from planner.report.pen import Pen
from planner.report.sheets import (
    MAX_TITLE,
    ChartRow,
    Formula,
    KeyFigures,
    Labels,
    Link,
    Look,
    Table,
    Text,
)
from planner.report.stored import store_results
from planner.report.table_writer import result, write_table
from planner.report.texts import clean
from planner.report.tiles import tile_ends
from planner.report.typed import sign
from planner.units import say_day

if TYPE_CHECKING:
    from openpyxl.worksheet.worksheet import Worksheet

    from planner.report.layout import Layout, Placed
    from planner.report.looks import Style
    from planner.report.sheets import Book, Sheet
    from planner.report.table_writer import Results

GAP_CM = 0.4
"""Between two charts side by side."""


def render(book: Book) -> bytes:
    """Turn a book into the bytes of an ``.xlsx`` file, and read them once to be sure of them.

    Raises
    ------
    ValueError
        When the book contradicts itself: two sheets of one title, a title too long, a link or
        formula to a table that is not there.
    """
    _check_titles(book)
    layouts = {s.title: _laid_out(book, s) for s in book.sheets}
    pen = Pen(book.manner, layouts)
    file = _blank(book)
    results = {}
    for number, sheet in enumerate(book.sheets, 1):
        found = _write_sheet(file[sheet.title], pen, book, sheet)
        if found:
            results[number] = found
    for sheet in book.sheets:
        _draw_charts(file, pen, layouts[sheet.title])
    sign(file)
    file.properties.created = datetime.now(tz=UTC).replace(tzinfo=None)
    content = store_results(workbook_bytes(file), results)
    if _read_back(content) != [s.title for s in book.sheets]:
        msg = "the workbook does not read back as it was written"
        raise ValueError(msg)
    return content


def _read_back(content: bytes) -> list[str]:
    """Titles of the sheets of a workbook; none where a part of its file is damaged.

    Reading it with openpyxl takes as long as a fifth of writing it.
    """
    with zipfile.ZipFile(io.BytesIO(content)) as parts:
        if parts.testzip() is not None:
            return []
        tree: Any = fromstring(parts.read("xl/workbook.xml"))
    package = WorkbookPackage.from_tree(tree)
    return [] if package is None else [sheet.name for sheet in package.sheets]


def _check_titles(book: Book) -> None:
    seen: set[str] = set()
    for sheet in book.sheets:
        if not 0 < len(sheet.title) <= MAX_TITLE or sheet.title.casefold() in seen:
            msg = f"title of a sheet empty, too long, or there twice: {sheet.title!r}"
            raise ValueError(msg)
        seen.add(sheet.title.casefold())


def _laid_out(book: Book, sheet: Sheet) -> Layout:
    layout = lay_out(sheet, book.manner, home=sheet.page.private)
    layout.heights = row_heights(layout, book.manner)
    shrink_parts(layout)
    if not layout.one_page:
        if sheet.page.label is None:
            spare_a_page(layout)
        layout.breaks = page_breaks(layout)
    return layout


def _blank(book: Book) -> Workbook:
    """Make a workbook with all sheets, still empty."""
    file: Any = Workbook()
    del file[file.sheetnames[0]]
    file._named_styles["Normal"].font = Font(name=looks.FONT, size=10)
    for sheet in book.sheets:
        file.create_sheet(sheet.title)
    file.properties.creator = file.properties.lastModifiedBy = "wholedrum"
    file.properties.title = clean(f"{book.farm} {book.season}".strip())[:250]
    made: Workbook = file
    return made


def _write_sheet(ws: Worksheet, pen: Pen, book: Book, sheet: Sheet) -> Results:
    layout = pen.layouts[sheet.title]
    for i, width in enumerate(layout.widths, 1):
        ws.column_dimensions[get_column_letter(i)].width = width
    ws.sheet_format.defaultRowHeight, ws.sheet_format.customHeight = ROW, True
    for row, height in layout.heights.items():
        ws.row_dimensions[row].height = height
    ws.sheet_view.showGridLines = False
    ws.sheet_properties.tabColor = looks.TABS[sheet.room]
    _head(ws, pen, book, sheet)
    results: Results = {}
    for placed in layout.placed:
        _write_block(ws, pen, layout, placed, results)
    set_up_page(ws, book, layout)
    if sheet.protect:
        ws.protection.sheet = True
        ws.protection.formatColumns = False
        ws.protection.formatRows = False
    return results


def _head(ws: Worksheet, pen: Pen, book: Book, sheet: Sheet) -> None:
    layout = pen.layouts[sheet.title]
    pen.put(ws, 1, 1, sheet.heading or sheet.title, looks.TITLE)
    _stretch(ws, pen, layout, 2, sheet.purpose, looks.PURPOSE)
    first = book.sheets[0]
    if sheet is first:
        dated = f", made {say_day(book.dated, metric=book.manner.metric)}" if book.dated else ""
        about = ", ".join(t for t in (book.farm, book.season) if t)
        _stretch(ws, pen, layout, 3, f"{about}{dated}", looks.paragraph_style(Look.STRONG, False))
    elif sheet.page.private:
        pen.put(ws, 3, 1, f"Back to: {first.title}", looks.BACK)
        pen.jump(ws, 3, 1, Link(first.title))


def _stretch(ws: Worksheet, pen: Pen, layout: Layout, row: int, text: str, style: Style) -> None:
    """Write a text over the width of the page."""
    pen.put(ws, row, 1, text, style)
    columns = len(layout.widths)
    if columns > 1:  # merge_cells() would style every cell, a fifth of the time
        ws.merged_cells.add(CellRange(min_col=1, min_row=row, max_col=columns, max_row=row))


def _write_block(ws: Worksheet, pen: Pen, layout: Layout, placed: Placed, results: Results) -> None:
    block = placed.block
    if isinstance(block, Table | Text) and block.title:
        if title_lines(layout, block.title) > 1:
            _stretch(ws, pen, layout, placed.title_row, block.title, looks.LONG_TITLE)
        else:
            pen.put(ws, placed.title_row, 1, block.title, looks.BLOCK_TITLE)
    if isinstance(block, Table):
        if block.rows:
            write_table(ws, pen, layout, placed, results)
        said, style = (block.note, looks.NOTE) if block.rows else (block.empty, looks.EMPTY)
        if placed.note_row:
            _stretch(ws, pen, layout, placed.note_row, said, style)
    elif isinstance(block, Text):
        style = looks.paragraph_style(block.look, block.bullets)
        for row, text in zip(placed.rows, block.paragraphs, strict=True):
            said = f"• {text}" if block.bullets else text
            _stretch(ws, pen, layout, row, said, style)
    elif isinstance(block, KeyFigures):
        _tiles(ws, pen, layout, placed, results)
    elif isinstance(block, Labels):
        for row, (text, points, bold) in zip(placed.rows, placed.lines, strict=True):
            pen.put(ws, row, 1, text, looks.label_style(points, bold))


def _tiles(ws: Worksheet, pen: Pen, layout: Layout, placed: Placed, results: Results) -> None:
    block = placed.block
    assert isinstance(block, KeyFigures)
    ends = tile_ends(block, layout.widths, pen.manner)
    start = 1
    for figure, end in zip(block.figures, ends, strict=True):
        number_format = looks.TEXT_FORMAT
        if not isinstance(plain(figure.value), str):
            number_format = looks.number_format(figure.measure, pen.manner)
        value_style = looks.tile_style(figure.look, number_format)
        styles = (looks.TILE_LABEL, value_style, looks.TILE_NOTE)
        value = pen.shown(figure.value, figure.measure)
        for row, content, style in zip(
            placed.rows, (figure.label, value, figure.note), styles, strict=True
        ):
            for column in range(start, end + 1):
                pen.dress(ws.cell(row, column), style)
            pen.put(ws, row, start, content, style)
            if end > start:
                ws.merge_cells(start_row=row, end_row=row, start_column=start, end_column=end)
        row = placed.rows[1]
        if isinstance(figure.value, Formula):
            text = layout.resolve(figure.value.text, placed, 0)
            pen.formula(ws, row, start, text, value_style)
            results[f"{get_column_letter(start)}{row}"] = result(value)
        if figure.link:
            pen.jump(ws, row, start, figure.link)
        start = end + 1


def _draw_charts(file: Workbook, pen: Pen, layout: Layout) -> None:
    ws: Any = file[layout.sheet.title]
    for placed in layout.placed:
        if not isinstance(placed.block, ChartRow):
            continue
        count = len(placed.block.charts)
        full = layout.chart_chars * CM_PER_CHAR
        width = (full - GAP_CM * (count - 1)) / count
        for i, chart in enumerate(placed.block.charts):
            source = pen.layout_of(chart.table)
            data: Any = file[source.sheet.title]
            drawn = charts.draw(chart, data, source.table(chart.table.table), pen.manner)
            size = (width, chart_height(chart))
            charts.place(drawn, ws, placed.top, i * (width + GAP_CM), size)

"""A book as the bytes of an Excel workbook. How things look is said in `looks` and `charts`.

Texts are written as texts, whatever they begin with; jumps go only where a `Link` says; formulas
are only those of a `Formula`, with their present results stored beside them.
"""

from __future__ import annotations

import io
import math
from copy import copy
from typing import TYPE_CHECKING, Any

from openpyxl import Workbook, load_workbook
from openpyxl.formatting.rule import FormulaRule
from openpyxl.styles import Font
from openpyxl.styles.differential import DifferentialStyle
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.hyperlink import Hyperlink
from openpyxl.worksheet.pagebreak import Break
from openpyxl.worksheet.properties import PageSetupProperties

from planner.report import charts, looks
from planner.report.layout import (
    Layout,
    chart_height,
    header,
    lay_out,
    letters,
    lines,
    measure_of,
    plain,
)
from planner.report.measures import Measure
from planner.report.sheets import (
    MAX_TITLE,
    Cell,
    Charts,
    Formula,
    KeyFigures,
    Link,
    Look,
    Table,
    Text,
)
from planner.report.stored import store_results
from planner.report.texts import clean, risky

if TYPE_CHECKING:
    from openpyxl.worksheet.worksheet import Worksheet

    from planner.report.layout import Placed
    from planner.report.looks import Style
    from planner.report.sheets import Book, Column, Content, Sheet, Value

LETTER, A4 = 1, 9
LONG_TEXT = 255
"""Characters from which a cell formatted as text would show only # signs in some programs."""
LINE = 12.8
"""Height of a line, points."""
ROOM = 11.0
"""More height for a row to write on."""
GAP_CM = 0.4
"""Between two charts side by side."""


def render(book: Book) -> bytes:
    """Turn a book into the bytes of an ``.xlsx`` file, and read them once to be sure of them.

    Raises
    ------
    ValueError
        When the book contradicts itself: two sheets of one title, a link or formula to a table
        that is not there.
    """
    return _Writer(book).write()


class _Writer:
    """State of one rendering: the workbook, the layouts, and styles made so far."""

    def __init__(self, book: Book) -> None:
        self.book = book
        self.manner = book.manner
        self.file = Workbook()
        del self.file[self.file.sheetnames[0]]
        styles: Any = self.file
        normal = styles._named_styles["Normal"]
        normal.font = Font(name=looks.FONT, size=10)
        self.layouts = {
            sheet.title: lay_out(sheet, book.manner, home=sheet.page.private)
            for sheet in book.sheets
        }
        if len(self.layouts) != len(book.sheets):
            msg = "two sheets of one title"
            raise ValueError(msg)
        self.dresses: dict[Any, Any] = {}
        self.results: dict[int, dict[str, float | str]] = {}

    def write(self) -> bytes:
        for sheet in self.book.sheets:
            if len(sheet.title) > MAX_TITLE:
                msg = f"title too long: {sheet.title}"
                raise ValueError(msg)
            self.file.create_sheet(sheet.title)
        for number, sheet in enumerate(self.book.sheets, 1):
            results = self._sheet(sheet)
            if results:
                self.results[number] = results
        for sheet in self.book.sheets:
            self._charts(sheet)
        self._properties()
        out = io.BytesIO()
        self.file.save(out)
        content = store_results(out.getvalue(), self.results)
        names = load_workbook(io.BytesIO(content), read_only=True).sheetnames
        if names != [s.title for s in self.book.sheets]:
            msg = "the workbook does not read back as it was written"
            raise ValueError(msg)
        return content

    def _properties(self) -> None:
        about = self.file.properties
        about.creator = "wholedrum"
        about.title = clean(f"{self.book.farm} {self.book.season}".strip())[:250]

    # --- one sheet -------------------------------------------------------------------------

    def _sheet(self, sheet: Sheet) -> dict[str, float | str]:
        ws = self.file[sheet.title]
        layout = self.layouts[sheet.title]
        for i, width in enumerate(layout.widths, 1):
            ws.column_dimensions[letters(i)].width = width
        ws.sheet_view.showGridLines = False
        ws.sheet_properties.tabColor = looks.TABS[sheet.room]
        self._head(ws, sheet, layout)
        results: dict[str, float | str] = {}
        for placed in layout.placed:
            block = placed.block
            if isinstance(block, Table):
                self._table(ws, layout, placed, block, results)
            elif isinstance(block, Text):
                self._text(ws, layout, placed, block)
            elif isinstance(block, KeyFigures):
                self._tiles(ws, layout, placed, block, results)
        for row in layout.breaks:
            ws.row_breaks.append(Break(id=row - 1))
        self._page(ws, sheet, layout)
        if sheet.protect:
            ws.protection.sheet = True
            ws.protection.formatColumns = False
            ws.protection.formatRows = False
        return results

    def _head(self, ws: Worksheet, sheet: Sheet, layout: Layout) -> None:
        self._put(ws, 1, 1, sheet.heading or sheet.title, looks.TITLE)
        ws.row_dimensions[1].height = 27
        self._stretch(ws, 2, sheet.purpose, looks.PURPOSE, layout)
        if sheet.page.private and sheet is not self.book.sheets[0]:
            first = self.book.sheets[0].title
            self._put(ws, 3, 1, f"Back to: {first}", looks.BACK)
            self._jump(ws, 3, 1, Link(first))
        elif sheet.page.private:
            dated = f", made {self.book.dated.isoformat()}" if self.book.dated else ""
            about = ", ".join(t for t in (self.book.farm, self.book.season) if t)
            self._stretch(
                ws, 3, f"{about}{dated}", looks.paragraph_style(Look.STRONG, False), layout
            )

    def _stretch(
        self, ws: Worksheet, row: int, text: str, style: Style, layout: Layout, size: float = 10
    ) -> None:
        """Write a text over the width of the page, as high as it needs."""
        self._put(ws, row, 1, text, style)
        columns = len(layout.widths)
        if columns > 1:
            ws.merge_cells(start_row=row, end_row=row, start_column=1, end_column=columns)
        n = lines(text, sum(layout.widths) * 10 / size, bool(style.font.bold))
        ws.row_dimensions[row].height = max(15.0, LINE * n + 3)

    def _text(self, ws: Worksheet, layout: Layout, placed: Placed, text: Text) -> None:
        if text.title:
            self._block_title(ws, placed.title_row, text.title)
        style = looks.paragraph_style(text.look, text.bullets)
        for row, paragraph in zip(placed.rows, text.paragraphs, strict=True):
            self._stretch(ws, row, f"• {paragraph}" if text.bullets else paragraph, style, layout)

    def _block_title(self, ws: Worksheet, row: int, title: str) -> None:
        self._put(ws, row, 1, title, looks.BLOCK_TITLE)
        ws.row_dimensions[row].height = 20

    def _tiles(
        self,
        ws: Worksheet,
        layout: Layout,
        placed: Placed,
        tiles: KeyFigures,
        results: dict[str, float | str],
    ) -> None:
        ends = _shares(layout.widths, len(tiles.figures))
        start = 1
        for figure, end in zip(tiles.figures, ends, strict=True):
            number_format = looks.number_format(figure.measure, self.manner)
            if isinstance(plain(figure.value), str):
                number_format = looks.TEXT_FORMAT
            styles = (
                looks.TILE_LABEL,
                looks.tile_style(figure.look, number_format),
                looks.TILE_NOTE,
            )
            value = self._shown(figure.value, figure.measure)
            contents = (figure.label, value, figure.note)
            width = sum(layout.widths[start - 1 : end])
            for row, content, style in zip(placed.rows, contents, styles, strict=True):
                for column in range(start, end + 1):
                    self._dress(ws.cell(row, column), style)
                self._put(ws, row, start, content, style)
                if end > start:
                    ws.merge_cells(start_row=row, end_row=row, start_column=start, end_column=end)
            if isinstance(figure.value, Formula):
                row = placed.rows[1]
                ws.cell(row, start).value = layout.resolve(figure.value.text, placed, 0)
                results[f"{letters(start)}{row}"] = _result(value)
            if figure.link:
                self._jump(ws, placed.rows[1], start, figure.link)
            high = LINE * lines(figure.note, width - 2) + 4
            for row, height in zip(placed.rows, (17.0, 26.0, high), strict=True):
                ws.row_dimensions[row].height = max(height, ws.row_dimensions[row].height or 0)
            start = end + 1

    # --- tables ----------------------------------------------------------------------------

    def _table(
        self,
        ws: Worksheet,
        layout: Layout,
        placed: Placed,
        table: Table,
        results: dict[str, float | str],
    ) -> None:
        if table.title:
            self._block_title(ws, placed.title_row, table.title)
        if not table.rows:
            row = placed.note_row
            self._stretch(ws, row, table.empty, looks.paragraph_style(Look.FAINT, False), layout)
            return
        if placed.header_row:
            self._headers(ws, layout, placed.header_row, table)
        for index, (row, contents) in enumerate(zip(placed.rows, table.rows, strict=True)):
            high = 1
            for i, (content, column) in enumerate(zip(contents, table.columns, strict=True), 1):
                self._cell(ws, layout, placed, (index, row, i), content, column, results)
                text = plain(content)
                if isinstance(text, str):
                    bold = isinstance(content, Cell) and content.look in looks.BOLD
                    high = max(high, lines(text, layout.widths[i - 1] - 2, bold))
            if table.plain or high > 1:
                ws.row_dimensions[row].height = LINE * high + (ROOM if table.plain else 3)
        self._sums(ws, placed, table)
        if placed.note_row:
            self._stretch(ws, placed.note_row, table.note, looks.NOTE, layout, 9)
        self._table_extras(ws, placed, table)

    def _headers(self, ws: Worksheet, layout: Layout, row: int, table: Table) -> None:
        high = 1
        for i, (column, width) in enumerate(zip(table.columns, layout.widths, strict=False), 1):
            text = header(column, self.manner)
            self._put(ws, row, i, text, looks.header_style(column.measure, i == 1))
            high = max(high, lines(text, width - 1, bold=True))
        ws.row_dimensions[row].height = LINE * high + 4

    def _cell(
        self,
        ws: Worksheet,
        layout: Layout,
        placed: Placed,
        place: tuple[int, int, int],
        content: Content,
        column: Column,
        results: dict[str, float | str],
    ) -> None:
        index, row, i = place
        cell = content if isinstance(content, Cell) else None
        look = cell.look if cell and cell.look is not Look.PLAIN else column.look
        link = cell.link if cell else None
        value = cell.value if cell else content
        assert not isinstance(value, Cell)
        measure = measure_of(content, column)
        words = isinstance(plain(value), str)
        key = (words, measure, look, column.decimals, link is not None, i == 1)
        style = self.dresses.get(key)
        if style is None:
            number_format = looks.number_format(measure, self.manner, column.decimals)
            if words:
                number_format = looks.TEXT_FORMAT
            style = looks.cell_style(measure, look, number_format, link is not None, i == 1)
            self.dresses[key] = style
        if isinstance(value, Formula):
            target = ws.cell(row, i, layout.resolve(value.text, placed, index))
            self._dress(target, style)
            if isinstance(value.value, str):
                target.number_format = "General"
            shown = self._shown(value.value, measure)
            results[f"{letters(i)}{row}"] = _result(shown)
        else:
            self._put(ws, row, i, self._shown(value, measure), style)
        if link is not None:
            self._jump(ws, row, i, link)

    def _sums(self, ws: Worksheet, placed: Placed, table: Table) -> None:
        group = table.column(table.group) if table.group else 0
        for row, first, last in placed.subtotals:
            label = f"Total {plain(table.rows[first][group])}"
            self._sum(ws, row, table, label, range(first, last + 1))
        if placed.total_row:
            self._sum(ws, placed.total_row, table, table.total_label, range(len(table.rows)))

    def _sum(self, ws: Worksheet, row: int, table: Table, label: str, rows: range) -> None:
        for i, column in enumerate(table.columns, 1):
            value: Value = label if i == 1 else None
            measure = Measure.TEXT if i == 1 else column.measure
            if column.total and i > 1:
                numbers = [plain(table.rows[r][i - 1]) for r in rows]
                value = math.fsum(n for n in numbers if isinstance(n, int | float))
            number_format = looks.number_format(measure, self.manner, column.decimals)
            style = looks.cell_style(measure, Look.TOTAL, number_format, False, i == 1)
            self._put(ws, row, i, self._shown(value, measure), style)

    def _table_extras(self, ws: Worksheet, placed: Placed, table: Table) -> None:
        first, last = placed.rows[0], placed.rows[-1]
        if table.filter:
            end = letters(len(table.columns))
            ws.auto_filter.ref = f"A{placed.header_row}:{end}{last}"
        for i, column in enumerate(table.columns, 1):
            span = f"{letters(i)}{first}:{letters(i)}{last}"
            for text, look in column.when:
                top = f"{letters(i)}{first}"
                rule = FormulaRule(formula=[f'LEFT({top},{len(text)})="{text}"'])
                rule.dxf = DifferentialStyle(
                    font=Font(bold=look in looks.BOLD, color=looks.INKS.get(look, looks.INK)),
                    fill=looks.live_fill(look),
                )
                ws.conditional_formatting.add(span, rule)
            if column.measure is Measure.COUNT and self._overtyped(table, i - 1):
                self._whole_numbers(ws, span)

    def _overtyped(self, table: Table, index: int) -> bool:
        if table.columns[index].look is Look.OVERTYPE:
            return True
        cells = (row[index] for row in table.rows)
        return any(isinstance(c, Cell) and c.look is Look.OVERTYPE for c in cells)

    def _whole_numbers(self, ws: Worksheet, span: str) -> None:
        rule = DataValidation("whole", operator="greaterThanOrEqual", formula1="0")
        rule.errorTitle, rule.error = "Whole numbers", "Containers are whole: 0, 1, 2, ..."
        rule.showErrorMessage = True
        rule.add(span)
        ws.add_data_validation(rule)

    # --- cells -----------------------------------------------------------------------------

    def _shown(self, value: Value | Formula, measure: Measure) -> Value:
        value = plain(value)
        if isinstance(value, bool):
            return "yes" if value else "no"
        if isinstance(value, int | float):
            if not math.isfinite(value):
                return "no limit" if value > 0 else "unknown"
            factor = self.manner.shown(measure).factor
            return value if factor == 1 else value * factor
        return value

    def _put(self, ws: Worksheet, row: int, column: int, value: Value, style: Style) -> None:
        cell: Any = ws.cell(row, column)
        self._dress(cell, style)
        if not isinstance(value, str):
            cell.value = value
            if style.number_format != "General":
                cell.number_format = style.number_format  # openpyxl gives dates its own
            return
        text = clean(value)
        cell.value = text
        if text:
            cell.data_type = "s"
        if risky(text):
            cell.quotePrefix = True
        if len(text) > LONG_TEXT and cell.number_format == looks.TEXT_FORMAT:
            cell.number_format = "General"

    def _dress(self, cell: Any, style: Style) -> None:
        """Give a cell its style; a style is worked out once and then copied."""
        made = self.dresses.get(id(style))
        if made is None:
            cell.font, cell.fill, cell.border = style.font, style.fill, style.border
            cell.alignment, cell.number_format = style.alignment, style.number_format
            if style.protection is not None:
                cell.protection = style.protection
            self.dresses[id(style)] = (style, copy(cell._style))  # holds the style: ids stay
            return
        cell._style = copy(made[1])

    def _jump(self, ws: Worksheet, row: int, column: int, link: Link) -> None:
        """Make a cell a jump inside the book."""
        if link.sheet not in self.layouts:
            msg = f"link to a sheet that is not there: {link.sheet}"
            raise ValueError(msg)
        try:
            target = self.layouts[link.sheet].row_of(link)
        except KeyError as error:
            raise ValueError(error.args[0]) from None
        address = f"{letters(column)}{row}"
        place = "'" + link.sheet.replace("'", "''") + f"'!A{target}"
        cell: Any = ws.cell(row, column)
        style = copy(cell._style)
        cell.hyperlink = Hyperlink(ref=address, location=place, display=None)
        cell._style = style

    # --- page and charts -------------------------------------------------------------------

    def _page(self, ws: Worksheet, sheet: Sheet, layout: Layout) -> None:
        ws.page_setup.paperSize = A4 if self.manner.metric else LETTER
        ws.page_setup.orientation = "landscape" if layout.lying else "portrait"
        if layout.one_page:
            ws.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)
            ws.page_setup.fitToWidth = ws.page_setup.fitToHeight = 1
        else:  # by scale: page breaks would be passed over on pages that are fitted
            ws.page_setup.scale = int(100 * layout.scale)
        margins = ws.page_margins
        margins.left = margins.right = 0.5
        margins.top, margins.bottom, margins.footer = 0.5, 0.7, 0.35
        ws.print_options.horizontalCentered = True
        dated = self.book.dated.isoformat() if self.book.dated else ""
        own = f", plan {_foot(self.book.fingerprint)}" if self.book.fingerprint else ""
        private = sheet.page.private
        foot: Any = ws.oddFooter
        foot.left.text = f"&8 {_foot(self.book.farm)}{own if private else ''}"
        foot.center.text = f"&8 {_foot(sheet.heading or sheet.title)}"
        foot.right.text = f"&8 {dated}   page &P" + (" of &N" if private else "")
        if not private:
            ws.page_setup.firstPageNumber, ws.page_setup.useFirstPageNumber = 1, True
        for placed in layout.placed:
            if isinstance(placed.block, Table) and placed.block.repeat_header and placed.rows:
                row = placed.header_row
                if not layout.one_page:
                    ws.print_title_rows = f"{row}:{row}"
                if row <= 14:
                    ws.freeze_panes = f"A{row + 1}"

    def _charts(self, sheet: Sheet) -> None:
        ws, layout = self.file[sheet.title], self.layouts[sheet.title]
        for placed in layout.placed:
            if not isinstance(placed.block, Charts):
                continue
            count = len(placed.block.charts)
            width = (layout.width_cm - GAP_CM * (count - 1)) / count
            for i, chart in enumerate(placed.block.charts):
                data = self.layouts[chart.table.sheet].table(chart.table.table)
                drawn = charts.draw(chart, self.file[chart.table.sheet], data, self.manner)
                size = (width, chart_height(chart))
                charts.place(drawn, ws, placed.top, i * (width + GAP_CM), size)


def _result(value: Value) -> float | str:
    """Result to be stored beside a formula."""
    return (
        value if isinstance(value, str) else float(value) if isinstance(value, int | float) else 0
    )


def _shares(widths: list[float], count: int) -> list[int]:
    """Last column of each of `count` neighbours of about equal width."""
    ends: list[int] = []
    total, run = sum(widths), 0.0
    for i, width in enumerate(widths, 1):
        run += width
        left = count - len(ends)
        if run + width / 2 >= total * (len(ends) + 1) / count or len(widths) - i < left:
            ends.append(i)
    ends = ends[: count - 1]
    return [*ends, len(widths)]


def _foot(text: str) -> str:
    """Text for a foot of the page, where & commands."""
    return clean(text).replace("&", "&&")[:80]

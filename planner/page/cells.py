"""Sheets of a plan as what a page shows: texts, links, numbers to sort by."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING
from urllib.parse import quote

from planner.campaign.days import said
from planner.report.fit import header, measure_of, plain
from planner.report.measures import Measure
from planner.report.sheets import Cell, Look, Table
from planner.units import say_money

if TYPE_CHECKING:
    from collections.abc import Sequence

    from planner.report.measures import Manner
    from planner.report.sheets import Book, Column, Content, Link, Sheet, Value

SMALL_DOSE = 9.995
SHORT_TEXT, LONG_TEXT = 16, 60
"""Letters of a text that stays on one line, at most; of one that gets a wide column, more than."""
LEFT = (Measure.TEXT, Measure.DATE)


@dataclass(frozen=True, slots=True)
class Shown:
    """One cell as it is shown."""

    text: str
    css: str = ""
    href: str = ""


@dataclass(frozen=True, slots=True)
class Head:
    """Header of a column."""

    text: str
    css: str
    key: str


@dataclass(frozen=True, slots=True)
class Line:
    """A row of a shown table; `anchor` is where links jump to."""

    cells: tuple[Shown, ...]
    anchor: str = ""
    css: str = ""


@dataclass(frozen=True, slots=True)
class Grid:
    """A table as it is shown."""

    table: Table
    heads: tuple[Head, ...]
    lines: tuple[Line, ...]
    found: int
    """Rows that are looked for, of which `lines` may be a part."""
    of: int
    """Rows of the table."""
    label: str = ""
    """Names its scrolling box, other than any other one on the page."""


@dataclass(frozen=True, slots=True)
class Wish:
    """How a reader wants a table: rows with a text in them, sorted by a column, a part of them."""

    table: str = ""
    find: str = ""
    by: str = ""
    down: bool = False
    part: int = 0


ROWS = 500
"""Rows of a table shown at a time."""


def slug(title: str) -> str:
    """Title as a part of an address.

    >>> slug("If things differ"), slug("Order sheet 2")
    ('if-things-differ', 'order-sheet-2')
    """
    return re.sub(r"[^a-z0-9]+", "-", title.casefold()).strip("-") or "sheet"


OF_FILES = re.compile(
    r"(?: in the (?:plan|shop|study) workbook|; plan\.json [^.;]+| Drawn on Pictures\.)"
    r"(?=[.,;: ]|$)"
)


def here(text: str) -> str:
    """Text of a workbook as the page says it: every sheet is here, pictures are beside figures.

    >>> here("More: Notes in the study workbook.")
    'More: Notes.'
    >>> here("What each field costs. Drawn on Pictures.")
    'What each field costs.'
    >>> here("Only what differs is shown; plan.json holds every line.")
    'Only what differs is shown.'
    """
    return OF_FILES.sub("", text)


def sheet_of(book: Book, name: str) -> Sheet | None:
    """Sheet of an address; None if there is none."""
    return next((sheet for sheet in book.sheets if slug(sheet.title) == name), None)


def address(link: Link, book: Book, base: str) -> str:
    """Address of what a link means."""
    sheet = next((s for s in book.sheets if s.title == link.sheet), None)
    title = sheet.moved.get(link.table, link.sheet) if sheet is not None else link.sheet
    place = ""
    if link.table:
        place = f"#{link.table}" + (f"-{link.row}" if link.row >= 0 else "")
    return f"{base}/{quote(slug(title))}{place}"


def say(value: Value, measure: Measure, manner: Manner, decimals: int | None = None) -> str:
    """Write a value as the workbook shows it.

    >>> from planner.report.measures import Manner
    >>> say(1234.5, Measure.MONEY, Manner()), say(-3.0, Measure.MONEY, Manner())
    ('$1,234.50', '-$3.00')
    >>> say(0.031, Measure.PERCENT, Manner()), say(1280.0, Measure.VOLUME, Manner())
    ('3.1%', '10.00')
    >>> say(date(2027, 5, 3), Measure.DATE, Manner()), say(True, Measure.TEXT, Manner())
    ('Mon 5/3/2027', 'yes')
    """
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, date):
        return said(value, metric=manner.metric)
    if isinstance(value, str):
        return value
    return _number(float(value), measure, manner, decimals)


def _number(number: float, measure: Measure, manner: Manner, decimals: int | None) -> str:
    if not math.isfinite(number):
        return "not known"
    shown = manner.value(number, measure)
    places = manner.shown(measure).decimals if decimals is None else decimals
    if measure is Measure.DOSE and decimals is None and abs(shown) < SMALL_DOSE:
        places += 1
    if measure is Measure.PERCENT:
        return f"{shown * 100:.{places}f}%"
    if measure in (Measure.MONEY, Measure.WHOLE_MONEY):
        return say_money(f"{shown:z,.{places}f}", manner.currency)
    if measure is Measure.TEXT or (measure is Measure.NUMBER and decimals is None):
        return f"{shown:,.3f}".rstrip("0").rstrip(".")
    text = f"{shown:,.{places}f}"
    return text if text.strip("-0.,") else text.removeprefix("-")


def css_of(look: Look) -> str:
    """Class of a look; empty for a plain one."""
    return "" if look is Look.PLAIN else f"look-{look.value.replace(' ', '-')}"


def _cell(content: Content, column: Column, book: Book, base: str) -> Shown:
    cell = content if isinstance(content, Cell) else Cell()
    look = cell.look if cell.look is not Look.PLAIN else column.look
    value = plain(content)
    measure = measure_of(content, column)
    text = say(value, measure, book.manner, column.decimals)
    for begins, live in column.when:
        if text.startswith(begins):
            look = live
    side = "text" if isinstance(value, str) or measure in LEFT else "number"
    if measure is Measure.DATE and value is not None:
        side = "day"
    if isinstance(value, str):
        side += " name" if len(value) <= SHORT_TEXT else " long" if len(value) > LONG_TEXT else ""
    href = address(cell.link, book, base) if cell.link is not None else ""
    return Shown(text, " ".join(filter(None, (side, css_of(look)))), href)


def grid(table: Table, book: Book, base: str, wish: Wish) -> Grid:
    """Show a table, sorted and filtered where that is wished."""
    heads = tuple(
        Head(header(c, book.manner), "text" if c.measure in LEFT else "number", c.key)
        for c in table.columns
    )
    mine = wish.table == table.name
    order = list(range(len(table.rows)))
    if mine and wish.find:
        order = [i for i in order if _has(table.rows[i], table, book, wish.find)]
    sorted_by = (
        [c.key for c in table.columns].index(wish.by)
        if mine and wish.by in {c.key for c in table.columns}
        else None
    )
    if sorted_by is not None:
        order.sort(key=lambda i: _rank(plain(table.rows[i][sorted_by])), reverse=wish.down)
    first = wish.part * ROWS if mine else 0
    shown = order[first : first + ROWS]
    grouped = bool(table.group) and sorted_by is None
    lines = _lines(table, shown, book, base, grouped=grouped)
    summed = table.total_label and any(c.total for c in table.columns)
    if summed and len(shown) == len(order) and order:
        label = table.total_label if len(order) == len(table.rows) else f"{table.total_label} shown"
        lines.append(_sum(table, order, label, book))
    return Grid(table, heads, tuple(lines), len(order), len(table.rows))


def _lines(
    table: Table, order: Sequence[int], book: Book, base: str, *, grouped: bool
) -> list[Line]:
    lines: list[Line] = []
    at = table.column(table.group) if grouped else 0
    group: list[int] = []
    for i in order:
        if grouped and group and plain(table.rows[group[-1]][at]) != plain(table.rows[i][at]):
            lines += _subtotal(table, group, at, book)
            group = []
        group.append(i)
        cells = tuple(
            _cell(content, column, book, base)
            for content, column in zip(table.rows[i], table.columns, strict=True)
        )
        lines.append(Line(cells, f"{table.name}-{i}"))
    if grouped and group:
        lines += _subtotal(table, group, at, book)
    return lines


def _subtotal(table: Table, rows: Sequence[int], at: int, book: Book) -> list[Line]:
    if not any(c.total for c in table.columns):
        return []
    return [_sum(table, rows, f"Total {plain(table.rows[rows[0]][at])}", book)]


def _sum(table: Table, rows: Sequence[int], label: str, book: Book) -> Line:
    cells = [Shown(label, "text")]
    for n, column in enumerate(table.columns[1:], 1):
        if not column.total:
            cells.append(Shown(""))
            continue
        numbers = [plain(table.rows[i][n]) for i in rows]
        total = math.fsum(v for v in numbers if isinstance(v, int | float))
        cells.append(Shown(say(total, column.measure, book.manner, column.decimals), "number"))
    return Line(tuple(cells), css="total")


def _has(row: Sequence[Content], table: Table, book: Book, find: str) -> bool:
    wanted = find.casefold().split()
    texts = " ".join(
        say(plain(c), measure_of(c, column), book.manner, column.decimals)
        for c, column in zip(row, table.columns, strict=True)
    ).casefold()
    return all(word in texts for word in wanted)


def _rank(value: Value) -> tuple[int, float, str]:
    """Order of values of any kind: numbers and days, then texts, then blanks."""
    if value is None or value == "":
        return 2, 0.0, ""
    if isinstance(value, date):
        return 0, float(value.toordinal()), ""
    if isinstance(value, int | float):
        return 0, float(value), ""
    return 1, 0.0, value.casefold()

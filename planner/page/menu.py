"""The way through a plan: its pages in families, and charts beside the tables they draw."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.page.cells import slug
from planner.report.calendar_frames import CALENDAR
from planner.report.facts import (
    FIELD_COST,
    FIELDS,
    FRONT,
    MATURITY,
    NUMBERS,
    PICTURES,
    PRODUCTS,
    TRY,
)
from planner.report.sheets import ChartRow, Labels, Room

if TYPE_CHECKING:
    from collections.abc import Sequence

    from planner.report.sheets import Book, Chart, Sheet

LEFT_OUT = (FRONT, PICTURES, NUMBERS, TRY)
"""Sheets that the page has in a form of its own."""
FAMILIES = {
    Room.PLAN: "The plan",
    Room.ORDER: "Order",
    Room.FIELDS: "Fields",
    Room.STOCK: "Seed and products",
    Room.TREATING: "Treating",
    Room.WHY: "Why so",
    Room.NOTES: "Notes",
}


def groups(book: Book, more: Sequence[Sheet] = ()) -> list[tuple[str, list[tuple[str, str]]]]:
    """Families of pages: name, and the title and address of each; `more` are not in the book."""
    found = []
    for room, name in FAMILIES.items():
        pages = [
            (sheet.title, slug(sheet.title))
            for sheet in (*more, *book.sheets)
            if sheet.room is room and sheet.title not in LEFT_OUT and not _only_labels(sheet)
        ]
        if pages:
            found.append((name, pages))
    return found


def _only_labels(sheet: Sheet) -> bool:
    return any(isinstance(b, Labels) for b in sheet.blocks)


BESIDE = {
    MATURITY: "seed_by_maturity",
    CALENDAR: "treating_days",
    PRODUCTS: "product_need",
    FIELD_COST: "cost_by_field",
    FIELDS: "what_goes_where",
}
"""Sheets beside which a chart of Pictures stands, and the table of numbers that it draws."""


def charts_for(book: Book, sheet: Sheet) -> list[Chart]:
    """Charts of Pictures that show what a sheet says."""
    return [
        chart
        for other in book.sheets
        if other.title == PICTURES
        for block in other.blocks
        if isinstance(block, ChartRow)
        for chart in block.charts
        if chart.table.table == BESIDE.get(sheet.title)
    ]

"""The way through a plan: its pages in families, and charts beside the tables they draw."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.page.cells import slug
from planner.report.calendar_frames import CALENDAR
from planner.report.facts import CONTENTS, FRONT, PICTURES, TRY
from planner.report.sheets import Chart, ChartKind, Charts, Labels, Link, Room, Series, Table

if TYPE_CHECKING:
    from planner.report.sheets import Book, Sheet

LEFT_OUT = (CONTENTS, FRONT, PICTURES, TRY)
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


def groups(book: Book) -> list[tuple[str, list[tuple[str, str]]]]:
    """Families of pages: name, and the title and address of each."""
    found = []
    for room, name in FAMILIES.items():
        pages = [
            (sheet.title, slug(sheet.title))
            for sheet in book.sheets
            if sheet.room is room and sheet.title not in LEFT_OUT and not _only_labels(sheet)
        ]
        if pages:
            found.append((name, pages))
    return found


def _only_labels(sheet: Sheet) -> bool:
    return any(isinstance(b, Labels) for b in sheet.blocks)


def charts_for(book: Book, sheet: Sheet) -> list[Chart]:
    """Charts of other sheets that draw a table of this one, and the calendar's own."""
    own = {b.name for b in sheet.blocks if isinstance(b, Table)}
    if any(isinstance(b, Charts) for b in sheet.blocks):
        return []
    found = [
        chart
        for other in book.sheets
        for block in other.blocks
        if isinstance(block, Charts)
        for chart in block.charts
        if chart.table.sheet == sheet.title and chart.table.table in own
    ]
    if sheet.title == CALENDAR and "days" in own:
        found.append(_by_day(sheet))
    return found


def _by_day(sheet: Sheet) -> Chart:
    return Chart(
        "Bags to treat by day",
        ChartKind.COLUMNS,
        Link(sheet.title, "days"),
        "day",
        (Series("bags"),),
        "Day",
        "Bags",
    )

"""The workbooks of a plan, looked at together: each sheet in the first workbook that holds it."""

from __future__ import annotations

import io
from functools import cached_property
from typing import TYPE_CHECKING, Any

import openpyxl

from planner.report.frames import make_books
from planner.report.sheets import Pack, Table
from planner.report.workbook import render

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from planner.report.sheets import Book, Sheet

NAMES = ("plan.xlsx", "shop.xlsx", "study.xlsx")
"""Files of the three workbooks, of which the first is the one to begin with."""


def described(plan, season, **more) -> dict[Pack, Book]:
    """Describe all workbooks of a plan."""
    return dict(make_books(plan, season, **more))


def winter(plan, season, **more) -> Book:
    """Describe the workbook that begins with the answer."""
    return make_books(plan, season, **more)[Pack.WINTER]


def table_in(sheet: Sheet, name: str) -> Table:
    """Table of a sheet by its name."""
    return next(b for b in sheet.blocks if isinstance(b, Table) and b.name == name)


def all_sheets(books: Mapping[Pack, Book]) -> dict[str, Sheet]:
    """Every sheet by its title; one that stands in two workbooks as the first has it."""
    found: dict[str, Sheet] = {}
    for book in books.values():
        for sheet in book.sheets:
            found.setdefault(sheet.title, sheet)
    return found


class Written:
    """Rendered workbooks, read back."""

    def __init__(self, books: Mapping[Pack, Book]) -> None:
        self.content = {pack: render(book) for pack, book in books.items()}

    @cached_property
    def books(self) -> dict[Pack, Any]:
        """As openpyxl reads them."""
        return {p: openpyxl.load_workbook(io.BytesIO(c)) for p, c in self.content.items()}

    @property
    def first(self) -> Any:
        """The workbook that begins with the answer."""
        return self.books[Pack.WINTER]

    @property
    def sheets(self) -> list[Any]:
        """All sheets of all workbooks."""
        return [sheet for book in self.books.values() for sheet in book]

    @property
    def sheetnames(self) -> list[str]:
        """Titles of all sheets of all workbooks."""
        return [sheet.title for sheet in self.sheets]

    def __iter__(self) -> Iterator[Any]:
        """Go through all sheets of all workbooks."""
        return iter(self.sheets)

    def pack_of(self, title: str) -> Pack:
        """Workbook that holds a sheet."""
        return next(p for p, book in self.books.items() if title in book.sheetnames)

    def __getitem__(self, title: str) -> Any:
        """Sheet of a title."""
        return self.books[self.pack_of(title)][title]

"""Cells of a workbook that a merged range covers, and so have no value of their own.

Sheets are read row by row, and so openpyxl tells blank cells in place of covered ones; the XML of
a sheet names its ranges.
"""

from __future__ import annotations

import re
from bisect import bisect_left, bisect_right
from dataclasses import replace
from itertools import islice
from typing import TYPE_CHECKING, NamedTuple

from planner.season.grids import MAX_CELLS, MAX_COLUMNS, MAX_ROWS, Trouble, refuse_input

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from planner.season.grids import Grid

_MERGED = re.compile(
    rb"<(?:\w+:)?mergeCell\b[^>]*\bref\s*=\s*[\"']"
    rb"([A-Z]{1,3})([1-9][0-9]{0,6}):([A-Z]{1,3})([1-9][0-9]{0,6})[\"']"
)
_UNMERGE = "unmerge what lies around the tables"


class Merged(NamedTuple):
    """A merged range; columns and rows from 1."""

    name: str
    """Such as `B2:B5`."""
    left: int
    top: int
    right: int
    bottom: int

    @property
    def cells(self) -> int:
        """How many it has."""
        return (self.right - self.left + 1) * (self.bottom - self.top + 1)


def merged_in(part: bytes) -> Iterator[Merged]:
    """Merged ranges in a sheet's XML.

    >>> list(merged_in(b'<mergeCell ref="B2:AA5"/>'))
    [Merged(name='B2:AA5', left=2, top=2, right=27, bottom=5)]
    """
    for found in _MERGED.finditer(part) if b"mergeCell" in part else ():
        left, top, right, bottom = (text.decode() for text in found.groups())
        name = f"{left}{top}:{right}{bottom}"
        yield Merged(name, _column(left), int(top), _column(right), int(bottom))


def _column(letters: str) -> int:
    """Number of a spreadsheet column, from 1."""
    number = 0
    for letter in letters:
        number = 26 * number + ord(letter) - ord("A") + 1
    return number


def merged_ranges(part: bytes, source: str) -> list[Merged]:
    """Merged ranges in a sheet's XML, as many as a season's sheet may have.

    Raises
    ------
    InputError
        When there are more.
    """
    found = list(islice(merged_in(part), MAX_ROWS + 1))
    if len(found) > MAX_ROWS:
        refuse_input(source, f"over {MAX_ROWS:,} merged ranges in a sheet", "fewer", _UNMERGE)
    return found


def with_merged(grid: Grid, ranges: Sequence[Merged], source: str) -> Grid:
    """Add which cells of a sheet's filled rows its merged ranges cover.

    The first cell of a range holds what people see in all of it. Cells of a range that shows
    nothing are blank like any others.

    Raises
    ------
    InputError
        When the ranges cover more cells than a sheet may have.
    """
    texts = dict(grid.rows)
    numbers = sorted(texts)
    covered: dict[tuple[int, int], str] = {}
    looked_at = 0

    def text(row: int, column: int) -> str:
        return "".join(texts.get(row, ())[column : column + 1]).strip()

    for area in ranges:
        rows = numbers[bisect_left(numbers, area.top) : bisect_right(numbers, area.bottom)]
        columns = range(area.left - 1, min(area.right, MAX_COLUMNS))
        looked_at += len(rows) * len(columns)
        if looked_at > MAX_CELLS:
            seen = f"over {MAX_CELLS:,} merged cells in sheet '{grid.name}'"
            refuse_input(source, seen, "fewer", _UNMERGE)
        first = (area.top, area.left - 1)
        covered |= {
            (row, column): area.name
            for row in rows
            for column in columns
            if (row, column) != first and (text(*first) or text(row, column))
        }
    troubles = {**grid.troubles, **dict.fromkeys(covered, Trouble.MERGED)}
    return replace(grid, troubles=troubles, merged=covered)

"""A workbook or a folder of CSV files as texts in cells, with their addresses.

Nothing is understood here beyond which sheet is which; every cell becomes text in one way (numbers
in full, dates as ISO, percents with their sign), so that a workbook and its CSV twin are the same.
Limits keep time and memory bounded whatever the bytes; they are named below.
"""

from __future__ import annotations

from dataclasses import dataclass
from dataclasses import field as default
from enum import Enum
from functools import lru_cache
from typing import TYPE_CHECKING, NoReturn

from planner.errors import Fault, InputError
from planner.season.names import key
from planner.season.schema import SHEETS, Sheet

if TYPE_CHECKING:
    from collections.abc import Mapping

MAX_FILE_BYTES = 20_000_000
"""Largest workbook that is opened; as much in all CSV files of a folder together."""
MAX_UNPACKED_BYTES = 80_000_000
"""Most bytes that a workbook's parts may have when unpacked."""
MAX_RATIO = 200
"""How many times larger than its file a workbook's parts may be when unpacked."""
MAX_PARTS = 2_000
"""Most parts (files in the zip) of a workbook."""
MAX_ROWS = 50_000
"""Most filled rows of a sheet."""
MAX_COLUMNS = 500
"""Last column that may be filled."""
MAX_CELLS = 2_000_000
"""Most cells of a sheet, blank ones within its width included."""
MAX_BLANK_ROWS = 10_000
"""Reading of a sheet ends where this many blank rows follow one another."""
MAX_CELL_LETTERS = 32_767
"""Longest text of a cell, as in a spreadsheet."""
ERRORS = frozenset(
    ("#REF!", "#N/A", "#VALUE!", "#DIV/0!", "#NAME?", "#NUM!", "#NULL!", "#SPILL!", "#CALC!")
)
"""What a spreadsheet writes in place of a result, into CSV files as text."""


class Trouble(Enum):
    """Why a cell of a workbook has no value."""

    FORMULA = "a formula whose result was never stored"
    ERROR = "an error"
    BLANK = "a formula whose result is blank"
    MERGED = "a part of a merged range that is not its first cell"


@dataclass(frozen=True, slots=True)
class Grid:
    """The filled rows of one sheet or file."""

    sheet: Sheet
    """What the schema says of it."""
    name: str
    """The sheet's title; in a folder the schema's name."""
    rows: tuple[tuple[int, tuple[str, ...]], ...]
    """Row number, from 1, and the texts from the first column on."""
    troubles: Mapping[tuple[int, int], Trouble] = default(default_factory=dict)
    """By row number and column, from 0."""
    merged: Mapping[tuple[int, int], str] = default(default_factory=dict)
    """Merged range that such a cell is in, likewise."""
    comma: bool = True
    """Whether a comma in a number can only stand between thousands."""
    file: str = ""
    """Name of the file in a folder, whose rows should be as long as its header; else empty."""


@dataclass(frozen=True, slots=True)
class Book:
    """A whole input."""

    source: str
    """Name of the file or folder."""
    grids: tuple[Grid, ...]
    faults: tuple[Fault, ...] = ()
    notes: tuple[str, ...] = ()
    strangers: tuple[str, ...] = ()
    """Sheets or CSV files of other names."""


@lru_cache
def _sheets() -> dict[str, Sheet]:
    return {key(name): sheet for sheet in SHEETS for name in (sheet.name, *sheet.aliases)}


def sheet_of(title: str) -> Sheet | None:
    """Sheet of the schema that a title means; None if it means none.

    >>> sheet_of(" seed  LOTS ").name
    'Seed lots'
    """
    return _sheets().get(key(title))


def refuse_input(source: str, seen: str, expected: str, remedy: str = "") -> NoReturn:
    """Refuse a whole input in one sentence.

    Raises
    ------
    InputError
        Always.
    """
    raise InputError(source, [Fault(source, seen=seen, expected=expected, remedy=remedy)])

"""An Excel workbook as texts in cells."""

from __future__ import annotations

import contextlib
import io
import re
import warnings
import zipfile
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from planner.errors import InputError
from planner.season.grids import (
    MAX_BLANK_ROWS,
    MAX_CELLS,
    MAX_COLUMNS,
    MAX_PARTS,
    MAX_RATIO,
    MAX_ROWS,
    MAX_UNPACKED_BYTES,
    Book,
    Grid,
    Trouble,
    refuse_input,
    sheet_of,
)
from planner.season.merged import merged_ranges, with_merged
from planner.season.names import shown

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from planner.season.merged import Merged
    from planner.season.schema import Sheet

EXPECTED = "an Excel workbook (.xlsx or .xlsm), or a folder of CSV files"
SAVE_AGAIN = "open it in a spreadsheet program and save it as .xlsx"
OTHER_FILES = {
    ".csv": "for CSV give the folder that holds the files",
    ".json": "a plan is made from a season: name the season's own workbook",
}
"""Remedies for files that are no workbook, by suffix."""
PLAN_SHEETS = {"The plan", "The shop", "The study"}
"""First sheets of the workbooks of a plan; no season has them."""
Rows = list[tuple[int, tuple[str, ...]]]
"""Filled rows of a table: numbers from 1, and the texts of their cells."""
_SMALL = 5_000_000
"""Unpacked bytes below which no ratio is suspicious."""
_UNSTORED = re.compile(
    rb'<(?:\w+:)?c\b(?![^>]*\bt="str")[^>]*>\s*'
    rb"<(?:\w+:)?f\b(?:[^>]*/>|[^>]*>[^<]*</(?:\w+:)?f>)\s*"
    rb"(?:<(?:\w+:)?v\s*/>|<(?:\w+:)?v>\s*</(?:\w+:)?v>|</(?:\w+:)?c>)"
)
"""A cell with a formula and no stored result; a blank text is a result."""
_AS_TEXT = re.compile(r'"[^"]*"|\\.|[_*].|\[[^]]*]')
"""Parts of a number format that stand for themselves, or for space, color or language."""
LONGEST_FORMAT = 255
"""Characters of a number format that are looked at: no program writes a longer one."""
_FORBIDDEN = re.compile(rb"<!(?:DOCTYPE|ENTITY)")


def read_workbook(data: bytes, source: str) -> Book:
    """Read the sheets of a workbook that the schema knows.

    Raises
    ------
    InputError
        When the bytes are no workbook that can be read, or pass a limit.
    """
    found = check_archive(data, source)
    with _refused(source):
        return _read_sheets(data, source, found)


def read_first_sheet(data: bytes, source: str) -> Rows:
    """Filled rows, with their numbers, of the first sheet of a workbook that is no season.

    Raises
    ------
    InputError
        As in `read_workbook`.
    """
    check_archive(data, source)
    with _refused(source):
        book = _open(data, values=True)
        title = next(title for title in book.sheetnames if hasattr(book[title], "iter_rows"))
        return _texts(book[title], title)[0]


@contextlib.contextmanager
def _refused(source: str) -> Iterator[None]:
    """Turn whatever a workbook makes openpyxl raise into a refusal of it."""
    with openpyxl_silent():
        try:
            yield
        except InputError:
            raise
        except _Limit as limit:
            refuse_input(source, limit.seen, limit.expected, limit.remedy)
        except Exception:  # whatever arbitrary bytes make openpyxl raise
            refuse_input(source, "a damaged workbook", EXPECTED, SAVE_AGAIN)


@contextlib.contextmanager
def openpyxl_silent() -> Iterator[None]:
    """Nothing is warned of or printed: openpyxl prints what it finds wrong in styles."""
    with warnings.catch_warnings(), contextlib.redirect_stdout(io.StringIO()):
        warnings.simplefilter("ignore")  # of parts that openpyxl passes over, as we do
        yield


class _Limit(Exception):
    def __init__(self, seen: str, expected: str, remedy: str = "") -> None:
        super().__init__(seen)
        self.seen, self.expected, self.remedy = seen, expected, remedy


@dataclass(frozen=True, slots=True)
class SheetParts:
    """What the XML of sheets says that openpyxl does not tell when it reads sheet by sheet."""

    unstored: bool
    """Whether any formula lacks its result."""
    merged: Mapping[str, Sequence[Merged]]
    """Merged ranges, by name of the part."""


def check_archive(data: bytes, source: str) -> SheetParts:
    """Refuse what is no workbook or unpacks to too much. Returns what its sheets' XML says.

    Raises
    ------
    InputError
        Then.
    """
    if not data:
        refuse_input(source, "an empty file", EXPECTED)
    if data.startswith(b"\xd0\xcf\x11\xe0"):
        seen = "an old .xls file or a workbook with a password"
        refuse_input(source, seen, EXPECTED, "take off the password and save it as .xlsx")
    if not data.startswith(b"PK\x03\x04"):
        remedy = OTHER_FILES.get(source.lower()[source.rfind(".") :], SAVE_AGAIN)
        refuse_input(source, "no workbook", EXPECTED, remedy)
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            _check_parts(archive, len(data), source)
            return _check_xml(archive, source)
    except InputError:
        raise
    except Exception:  # whatever arbitrary bytes make zipfile and zlib raise
        refuse_input(source, "a damaged or cut-off workbook", EXPECTED, SAVE_AGAIN)


def _check_parts(archive: zipfile.ZipFile, packed: int, source: str) -> None:
    """Refuse other formats, and parts that are too many or too large."""
    infos = archive.infolist()
    names = {info.filename for info in infos}
    if "mimetype" in names or "content.xml" in names:
        refuse_input(source, "an OpenDocument file (.ods)", EXPECTED, SAVE_AGAIN)
    if "xl/workbook.bin" in names:
        refuse_input(source, "a binary workbook (.xlsb)", EXPECTED, SAVE_AGAIN)
    if any(info.flag_bits & 1 for info in infos):
        refuse_input(source, "a zip with a password", EXPECTED, SAVE_AGAIN)
    if "[Content_Types].xml" not in names:
        refuse_input(source, "a zip file that is no workbook", EXPECTED, SAVE_AGAIN)
    if len(infos) > MAX_PARTS:
        refuse_input(source, f"{len(infos):,} parts", f"at most {MAX_PARTS:,} parts")
    unpacked = sum(info.file_size for info in infos)
    if unpacked > MAX_UNPACKED_BYTES or unpacked > max(_SMALL, packed * MAX_RATIO):
        seen = f"{packed:,} bytes that unpack to {unpacked:,}"
        expected = f"at most {MAX_UNPACKED_BYTES:,} bytes and {MAX_RATIO} times the file's size"
        refuse_input(source, seen, expected, "copy the filled cells into a new workbook")


def _check_xml(archive: zipfile.ZipFile, source: str) -> SheetParts:
    """Refuse XML that defines entities. Returns what the sheets' XML says."""
    unstored = False
    merged: dict[str, Sequence[Merged]] = {}
    for info in archive.infolist():
        if not info.filename.lower().endswith((".xml", ".rels", ".vml")):
            continue
        part = archive.read(info)
        if part.startswith((b"\xff\xfe", b"\xfe\xff")) or b"\0" in part[:64]:
            refuse_input(source, "a part that is not UTF-8", EXPECTED, SAVE_AGAIN)
        if _FORBIDDEN.search(part):
            seen = "a part that defines entities, which no spreadsheet program writes"
            refuse_input(source, seen, EXPECTED, SAVE_AGAIN)
        if info.filename.startswith("xl/worksheets/"):
            unstored = unstored or _UNSTORED.search(part) is not None
            merged[info.filename] = merged_ranges(part, source)
    return SheetParts(unstored, merged)


def _open(data: bytes, *, values: bool) -> Any:
    """Open a workbook for reading sheet by sheet. Typed loosely: read-only sheets are."""
    import openpyxl

    return openpyxl.load_workbook(
        io.BytesIO(data), read_only=True, data_only=values, keep_links=False
    )


def _read_sheets(data: bytes, source: str, parts: SheetParts) -> Book:
    """Read all known sheets; a second look finds formulas without a stored result."""
    book = _open(data, values=True)
    grids: list[Grid] = []
    notes: list[str] = []
    strangers: list[str] = []
    asked = _open(data, values=False) if parts.unstored else None
    titles = [title for title in book.sheetnames if hasattr(book[title], "iter_rows")]
    for title in titles:
        sheet = sheet_of(title)
        if sheet is None:
            strangers.append(title)
            continue
        grid, note = _read_sheet(book[title], title, sheet)
        notes += [note] if note else []
        if book[title].sheet_state != "visible" and grid.rows:
            notes.append(f"{grid.name}: the sheet is hidden and was read all the same.")
        if asked is not None:
            grid = _with_formulas(grid, asked[title])
        grid = with_merged(grid, parts.merged.get(book[title]._worksheet_path, ()), source)
        troubles = {at: t for at, t in grid.troubles.items() if t is not Trouble.BLANK}
        grids.append(replace(grid, troubles=troubles))
    if PLAN_SHEETS & {*strangers} and not any(g.sheet.name == "Farm" for g in grids):
        remedy = "this is a plan, made from a season: name the season's own workbook"
        refuse_input(source, "the sheets of a plan", "a season to plan", remedy)
    if not grids:
        seen = "sheets " + ", ".join(f"'{shown(t)}'" for t in titles[:5])
        refuse_input(source, seen, "the sheets Farm, Fields, Seed lots and so on")
    return Book(source, tuple(grids), (), tuple(notes), tuple(strangers))


def _rows(sheet: Any, title: str) -> Iterator[tuple[int, Any]]:
    """Rows of a sheet with their numbers, within the limits."""
    sheet.reset_dimensions()
    cells = 0
    for number, row in enumerate(sheet.iter_rows(), 1):
        cells += len(row)
        if cells > MAX_CELLS:
            seen = f"over {MAX_CELLS:,} cells in sheet '{shown(title)}'"
            raise _Limit(seen, "fewer", "delete the blank rows and columns around the table")
        yield number, row


def _read_sheet(sheet: Any, title: str, known: Sheet) -> tuple[Grid, str]:
    """Return the texts of a sheet, and what to tell where reading ended early."""
    rows, troubles, note = _texts(sheet, title)
    return Grid(known, shown(title), tuple(rows), troubles), note


def _texts(sheet: Any, title: str) -> tuple[Rows, dict[tuple[int, int], Trouble], str]:
    """Return filled rows, cells without a value, and what to tell where reading ended early."""
    rows: Rows = []
    troubles: dict[tuple[int, int], Trouble] = {}
    last = 0
    note = ""
    for number, row in _rows(sheet, title):
        texts = tuple(_text(cell, number, i, troubles) for i, cell in enumerate(row))
        if any(text and not text.isspace() for text in texts):
            _check_size(rows, texts, title, number)
            rows.append((number, texts))
            last = number
        elif number - last >= MAX_BLANK_ROWS:
            blank = f"rows {last + 1:,} to {number:,} are blank"
            note = f"Sheet '{shown(title)}': {blank}; nothing below them was read."
            break
    return rows, troubles, note


def _check_size(rows: list[Any], texts: tuple[str, ...], title: str, number: int) -> None:
    if any(texts[MAX_COLUMNS:]):
        seen = f"something beyond column {MAX_COLUMNS} of sheet '{shown(title)}', row {number}"
        raise _Limit(seen, f"at most {MAX_COLUMNS} columns")
    if len(rows) >= MAX_ROWS:
        seen = f"over {MAX_ROWS:,} filled rows in sheet '{shown(title)}'"
        raise _Limit(seen, "fewer")


def _text(cell: Any, row: int, column: int, troubles: dict[tuple[int, int], Trouble]) -> str:
    """Text of a cell, in the one way that every value is written."""
    value = cell.value
    if value is None:
        if cell.data_type == "str":
            troubles[row, column] = Trouble.BLANK
        return ""
    if isinstance(value, str):
        if cell.data_type == "e":
            troubles[row, column] = Trouble.ERROR
        return value
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (int, float)):
        return _number(value, cell.number_format or "")
    if isinstance(value, datetime):
        whole = value.time() == time(0)
        return value.date().isoformat() if whole else value.isoformat(" ", "seconds")
    if isinstance(value, (date, time, timedelta)):
        return str(value)
    return str(value)


def _number(value: float, number_format: str) -> str:
    """Number in full; with a percent sign where the cell shows one.

    >>> _number(0.03, "0.0%"), _number(3, '0.0"%"'), _number(3.0, "0.0")
    ('3%', '3%', '3')
    """
    text = repr(value).removesuffix(".0")
    number_format = number_format[:LONGEST_FORMAT]
    if "%" in number_format and abs(value) < 1e15:
        if "%" in _AS_TEXT.sub("", number_format):
            return f"{(Decimal(text) * 100).normalize():f}%"
        if any("%" in part and part[0] != "_" for part in _AS_TEXT.findall(number_format)):
            return f"{Decimal(text):f}%"
    return text


def _with_formulas(grid: Grid, sheet: Any) -> Grid:
    """Add the formulas of a sheet that have no stored result."""
    texts = dict(grid.rows)
    troubles = dict(grid.troubles)
    rows = dict(grid.rows)
    last = max(texts, default=0)
    for number, row in _rows(sheet, grid.name):
        for column, cell in enumerate(row):
            if cell.data_type != "f":
                continue
            last = number
            known = texts.get(number, ())
            if (number, column) not in troubles and not "".join(known[column : column + 1]):
                troubles[number, column] = Trouble.FORMULA
                rows.setdefault(number, ())
        if number - last >= MAX_BLANK_ROWS:
            break
    return replace(grid, rows=tuple(sorted(rows.items())), troubles=troubles)

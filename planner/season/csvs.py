"""A folder of CSV files as texts in cells."""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING, NamedTuple

from planner.errors import Fault
from planner.season.names import key, shown
from planner.season.schema import SHEETS
from planner.season.tables import (
    MAX_CELL_LETTERS,
    MAX_CELLS,
    MAX_COLUMNS,
    MAX_FILE_BYTES,
    MAX_ROWS,
    Book,
    Grid,
    refuse_input,
    sheet_of,
)

if TYPE_CHECKING:
    from pathlib import Path

    from planner.season.schema import Sheet

DELIMITERS = ",;\t"
MAX_FILES = 10_000
"""Most entries of a folder that are looked at."""
_LOOK_AT = 20
"""Rows in which the header is looked for when the delimiter is found out."""
UTF8 = "UTF-8 text (a CSV file as 'CSV UTF-8' or 'Unicode (UTF-8)')"


class _Unfit(Exception):
    def __init__(self, fault: Fault) -> None:
        super().__init__(fault)
        self.fault = fault


class _Rows(NamedTuple):
    rows: list[tuple[int, tuple[str, ...]]]
    delimiter: str


def read_folder(path: Path, source: str) -> Book:
    """Read the CSV files of a folder that are named like sheets.

    Raises
    ------
    InputError
        When none is.
    """
    grids: list[Grid] = []
    faults: list[Fault] = []
    strangers: list[str] = []
    for file in _files(path, source):
        sheet = sheet_of(file.stem)
        if sheet is None:
            strangers.append(file.name)
            continue
        try:
            rows, delimiter = _read_file(file, sheet)
            sure = delimiter != ";"
            grids.append(Grid(sheet, sheet.name, tuple(rows), comma=sure, file=file.name))
        except _Unfit as unfit:
            faults.append(unfit.fault)
            grids.append(Grid(sheet, sheet.name, (), file=file.name))
    if not grids:
        names = ", ".join(sheet.file for sheet in SHEETS if sheet.must)
        seen = f"a folder without any of them; {len(strangers)} other CSV files"
        refuse_input(source, seen, f"the files {names}")
    return Book(source, tuple(grids), tuple(faults), strangers=tuple(strangers))


def _files(path: Path, source: str) -> list[Path]:
    """CSV files of a folder, by name."""
    found = []
    for count, entry in enumerate(path.iterdir()):
        if count >= MAX_FILES:
            refuse_input(source, f"a folder of over {MAX_FILES:,} files", "the season's folder")
        if entry.suffix.lower() == ".csv" and entry.is_file() and not entry.name.startswith("."):
            found.append(entry)
    return sorted(found, key=lambda file: file.name)


def _read_file(file: Path, sheet: Sheet) -> _Rows:
    """Filled rows of a file, and what divides its cells."""
    name = file.name
    try:
        with file.open("rb") as stream:
            data = stream.read(MAX_FILE_BYTES + 1)
    except OSError as error:
        raise _Unfit(Fault(name, seen=f"{error.strerror}", expected="a readable file")) from None
    if len(data) > MAX_FILE_BYTES:
        raise _Unfit(Fault(name, expected=f"at most {MAX_FILE_BYTES:,} bytes"))
    text = _text(data, name)
    delimiter = _delimiter(text, sheet)
    return _Rows(_rows(text, delimiter, name), delimiter)


def _text(data: bytes, name: str) -> str:
    """Decode UTF-8, with or without a byte-order mark."""
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise _Unfit(
            Fault(name, seen="UTF-16 text", expected=UTF8, remedy="save the file again so")
        )
    if data.startswith(b"PK\x03\x04"):
        raise _Unfit(
            Fault(name, seen="a workbook", expected=UTF8, remedy="give the workbook itself")
        )
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        row = data.count(b"\n", 0, error.start) + 1
        seen = f"byte {data[error.start]:02X}, as in Windows-1252 and other old encodings"
        raise _Unfit(
            Fault(name, row, seen=seen, expected=UTF8, remedy="save the file again so")
        ) from None
    if "\0" in text:
        row = text.count("\n", 0, text.index("\0")) + 1
        raise _Unfit(
            Fault(
                name,
                row,
                seen="a NUL byte",
                expected=UTF8,
                remedy="the file is damaged or UTF-16: save it again from the spreadsheet",
            )
        )
    return text


def _delimiter(text: str, sheet: Sheet) -> str:
    """What divides the cells: whichever shows the most headers of the sheet."""
    known = {key(c.name) for c in sheet.columns} | {
        key(alias) for c in sheet.columns for alias in c.aliases
    }
    lines = [line for line in text[:100_000].splitlines() if line.strip()][:_LOOK_AT]

    def headers(delimiter: str) -> int:
        cells = (line.split(delimiter) for line in lines)
        return max(
            (
                sum(key(cell.strip(' "').split("(")[0]) in known for cell in row[:MAX_COLUMNS])
                for row in cells
            ),
            default=0,
        )

    return max(DELIMITERS, key=headers)


def _rows(text: str, delimiter: str, name: str) -> list[tuple[int, tuple[str, ...]]]:
    """Filled rows with their numbers."""
    rows: list[tuple[int, tuple[str, ...]]] = []
    cells = 0
    start = 1
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    number = 0
    try:
        for number, row in enumerate(reader, 1):
            start = reader.line_num + 1
            cells += len(row)
            if len(row) > MAX_COLUMNS and any(c.strip() for c in row[MAX_COLUMNS:]):
                raise _Unfit(Fault(name, number, expected=f"at most {MAX_COLUMNS} columns"))
            if cells > MAX_CELLS or len(rows) >= MAX_ROWS:
                expected = f"at most {MAX_ROWS:,} rows and {MAX_CELLS:,} cells"
                raise _Unfit(Fault(name, number, expected=expected))
            if max(map(len, row), default=0) > MAX_CELL_LETTERS:
                raise _Unfit(
                    Fault(name, number, expected=f"at most {MAX_CELL_LETTERS:,} letters in a cell")
                )
            if any(cell and not cell.isspace() for cell in row):
                rows.append((number, tuple(row)))
    except csv.Error as error:
        raise _Unfit(_csv_fault(str(error), name, number + 1, start)) from None
    return rows


def _csv_fault(error: str, name: str, row: int, line: int) -> Fault:
    """Fault for what the csv module says."""
    where = f"look at line {line} of the file"
    if "unexpected end" in error or "field larger" in error:
        return Fault(
            name,
            row,
            seen='a quote (") that is never closed',
            expected="a closing quote after the text",
            remedy=where,
        )
    return Fault(
        name,
        row,
        seen=f"quotes that don't match ({shown(error)})",
        expected='text in quotes with every quote within it doubled ("")',
        remedy=where,
    )

"""A folder of CSV files as texts in cells."""

from __future__ import annotations

import csv
import io
from itertools import islice
from typing import TYPE_CHECKING

from planner.errors import Fault, InputError
from planner.season.grids import (
    MAX_BLANK_ROWS,
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
from planner.season.names import key, shown
from planner.season.schema import SHEETS
from planner.season.workbook import read_first_sheet

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Iterator
    from pathlib import Path

    from planner.season.workbook import Rows

GUARDED = frozenset("=+-@\t\r\n'")
"""What text starts with that is written to CSV files with an apostrophe before it."""
DELIMITERS = ",;\t"
MAX_ROW_LETTERS = 1_000_000
"""Most letters of a row, however many lines its quotes span."""
MAX_FILES = 10_000
"""Most entries of a folder that are looked at."""
_LOOK_AT = 20
"""Rows in which the header is looked for when the delimiter is found out."""
WORKBOOKS = (b"PK\x03\x04", b"\xd0\xcf\x11\xe0")
"""What a workbook begins with, an old one of .xls too."""
UTF8 = "UTF-8 text (a CSV file as 'CSV UTF-8' or 'Unicode (UTF-8)')"


class _Unfit(Exception):
    def __init__(self, fault: Fault) -> None:
        super().__init__(fault)
        self.fault = fault


def read_folder(path: Path, source: str) -> Book:
    """Read the CSV files of a folder that are named like sheets.

    Raises
    ------
    InputError
        When none is.
    """
    grids: list[Grid] = []
    faults: list[Fault] = []
    notes: list[str] = []
    strangers: list[str] = []
    left = MAX_FILE_BYTES
    if sum(1 for _ in islice(path.iterdir(), MAX_FILES + 1)) > MAX_FILES:
        refuse_input(source, f"a folder of over {MAX_FILES:,} files", "the season's folder")
    for file in csv_files(path):
        sheet, name = sheet_of(file.stem), shown(file.name)
        if sheet is None:
            strangers.append(name)
            continue
        try:
            data = _read_file(file, name, left)
            left -= len(data)
            text = _text(data, name)
            delimiter = _delimiter(
                text, {key(h) for c in sheet.columns for h in (c.name, *c.aliases)}
            )
            rows, note = _rows(text, delimiter, name)
            sure = delimiter != ";"
            grids.append(Grid(sheet, sheet.name, tuple(rows), comma=sure, file=name))
            notes += [note] if note else []
        except _Unfit as unfit:
            faults.append(unfit.fault)
            grids.append(Grid(sheet, sheet.name, (), file=name))
    if not grids:
        names = ", ".join(sheet.file for sheet in SHEETS if sheet.must)
        seen = f"a folder without any of them; {len(strangers)} other CSV files"
        refuse_input(source, seen, f"the files {names}")
    return Book(source, tuple(grids), tuple(faults), tuple(notes), tuple(strangers))


def read_rows(path: Path, headers: Iterable[str]) -> Rows:
    """Filled rows, with their numbers, of a table that is no sheet of a season.

    It is a CSV file, or the first sheet of a workbook.

    Parameters
    ----------
    headers
        Those that tell what divides the cells of a CSV file.

    Raises
    ------
    InputError
        When it can't be read.
    """
    name = shown(path.name)
    try:
        data = _read_file(path, name, MAX_FILE_BYTES)
        if data.startswith(WORKBOOKS):
            return read_first_sheet(data, name)
        text = _text(data, name)
        return _rows(text, _delimiter(text, {key(header) for header in headers}), name)[0]
    except _Unfit as unfit:
        raise InputError(name, [unfit.fault]) from None


def csv_files(path: Path) -> list[Path]:
    """CSV files among the entries of a folder that are looked at, by name.

    Raises
    ------
    OSError
        When it cannot be read.
    """
    found = [
        entry
        for entry in islice(path.iterdir(), MAX_FILES)
        if entry.suffix.lower() == ".csv" and entry.is_file() and not entry.name.startswith(".")
    ]
    return sorted(found, key=lambda file: file.name)


def _read_file(file: Path, name: str, most: int) -> bytes:
    """Bytes of a file, if they are not too many."""
    try:
        with file.open("rb") as stream:
            data = stream.read(most + 1)
    except OSError as error:
        raise _Unfit(
            Fault(name, seen=f"{error.strerror}", expected="a file that can be read")
        ) from None
    if len(data) > most:
        expected = f"at most {MAX_FILE_BYTES:,} bytes in all files of the season together"
        raise _Unfit(Fault(name, seen=f"over {most:,} bytes", expected=expected))
    return data


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


def _delimiter(text: str, known: Collection[str]) -> str:
    """What divides the cells: whichever shows the most of the headers known."""
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


def _lines(text: str, name: str, letters: list[int]) -> Iterator[str]:
    """Lines of a file; `letters` counts those since whoever reads them last set it to 0."""
    for number, line in enumerate(io.StringIO(text, newline=""), 1):
        letters[0] += len(line)
        if letters[0] > MAX_ROW_LETTERS:
            expected = f"at most {MAX_ROW_LETTERS:,} letters in a row"
            raise _Unfit(Fault(name, number, expected=expected, remedy="is a quote never closed?"))
        yield line


def _rows(text: str, delimiter: str, name: str) -> tuple[Rows, str]:
    """Filled rows with their numbers; and what to tell where reading ended early."""
    rows: Rows = []
    letters = [0]
    cells = number = last = 0
    start = 1
    reader = csv.reader(_lines(text, name, letters), delimiter=delimiter, strict=True)
    try:
        for number, row in enumerate(reader, 1):
            start = reader.line_num + 1
            letters[0] = 0
            cells += len(row)
            if any(cell and not cell.isspace() for cell in row):
                _check_size(row, len(rows), cells, name, number)
                rows.append((number, tuple(_unquoted(cell) for cell in row)))
                last = number
            elif number - last >= MAX_BLANK_ROWS or cells > MAX_CELLS:
                blank = f"rows {last + 1:,} to {number:,} are blank"
                return rows, f"{name}: {blank}; nothing below them was read."
    except csv.Error as error:
        raise _Unfit(_csv_fault(str(error), name, number + 1, start)) from None
    return rows, ""


def _check_size(row: list[str], rows: int, cells: int, name: str, number: int) -> None:
    """Refuse a file that passes a limit."""
    expected = ""
    if any(cell.strip() for cell in row[MAX_COLUMNS:]):
        expected = f"at most {MAX_COLUMNS} columns"
    elif cells > MAX_CELLS or rows >= MAX_ROWS:
        expected = f"at most {MAX_ROWS:,} rows and {MAX_CELLS:,} cells"
    elif max(map(len, row)) > MAX_CELL_LETTERS:
        expected = f"at most {MAX_CELL_LETTERS:,} letters in a cell"
    if expected:
        raise _Unfit(Fault(name, number, expected=expected))


def _unquoted(cell: str) -> str:
    """Cell without the apostrophe that keeps spreadsheets from taking text for a formula.

    >>> _unquoted("'=North 80"), _unquoted("O'Hara"), _unquoted("'80s")
    ('=North 80', "O'Hara", "'80s")
    """
    return cell[1:] if cell[:1] == "'" and cell[1:2] in GUARDED else cell


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

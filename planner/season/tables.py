"""A workbook or a folder of CSV files, read into texts in cells (`planner.season.grids`)."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.season.csvs import read_folder
from planner.season.grids import MAX_FILE_BYTES, Book, refuse_input
from planner.season.names import printable
from planner.season.workbook import read_workbook

if TYPE_CHECKING:
    from pathlib import Path


def read_tables(path: Path) -> Book:
    """Read a workbook or a folder of CSV files.

    Raises
    ------
    InputError
        When it cannot be read as a whole; faults of single sheets are in the result.
    """
    source = printable(path.name or path.absolute().name)
    try:
        if path.is_dir():
            return read_folder(path, source)
        if not path.exists():
            refuse_input(source, "nothing of this name", "a workbook or a folder of CSV files")
        if not path.is_file():
            refuse_input(source, "neither a file nor a folder", "a workbook or a folder")
        if path.stat().st_size > MAX_FILE_BYTES:
            refuse_input(
                source,
                f"a file of {path.stat().st_size:,} bytes",
                f"at most {MAX_FILE_BYTES:,}",
                "is it the season's workbook?",
            )
        return read_workbook(path.read_bytes(), source)
    except (OSError, ValueError) as error:  # ValueError: a path with NUL in it
        reason = getattr(error, "strerror", None) or "it has no such name"
        refuse_input(source, f"something that can't be opened ({reason})", "a readable input")

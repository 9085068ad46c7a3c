"""Seasons in a folder, their content and its fingerprint."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

from planner.errors import Fault, InputError
from planner.report.files import is_ours
from planner.season.csvs import csv_files
from planner.season.tables import sheet_of

if TYPE_CHECKING:
    from pathlib import Path

WORKBOOKS = (".xlsx", ".xlsm")
SUMMARY = "all seasons.xlsx"
"""What `many` writes."""


@dataclass(frozen=True, slots=True)
class Source:
    """A season's file or folder of CSV files."""

    path: Path

    @property
    def name(self) -> str:
        """Its name, which no other one in the folder has."""
        return self.path.name

    def content(self) -> dict[str, bytes]:
        """Bytes by file name: of the workbook, or of every CSV file of the folder."""
        if self.path.is_dir():
            return {p.name: p.read_bytes() for p in tables_of(self.path)}
        return {self.path.name: self.path.read_bytes()}


def seasons_in(folder: Path) -> list[Source]:
    """Find all seasons of a folder, by name: workbooks, and folders of CSV files.

    Raises
    ------
    InputError
        When the folder cannot be read or holds none.
    """
    try:
        paths = sorted(folder.iterdir())
    except OSError as error:
        fault = Fault("", expected=f"a folder of seasons that can be read ({error.strerror})")
        raise InputError(str(folder), [fault]) from None
    found = [Source(p) for p in paths if is_season(p)]
    if not found:
        expected = "season workbooks (.xlsx) or folders of CSV files"
        raise InputError(str(folder), [Fault("", seen="none of them", expected=expected)])
    return found


def is_season(path: Path) -> bool:
    """Whether a path is a season, by its name and what it holds: ours to plan, not our own output.

    Workbooks that wholedrum wrote, and copies with marked faults, are none.
    """
    if path.name.startswith((".", "~$")) or path.stem.casefold().endswith("-faults"):
        return False
    if path.is_dir():
        sheets = [sheet_of(p.stem) for p in tables_of(path)]
        return any(sheet is not None and sheet.name in ("Farm", "Fields") for sheet in sheets)
    return path.suffix.casefold() in WORKBOOKS and path.is_file() and not is_ours(path)


def tables_of(folder: Path) -> list[Path]:
    """CSV files of a folder, as the reader takes them; none where it cannot be read."""
    try:
        return csv_files(folder)
    except OSError:
        return []


def fingerprint(name: str, content: dict[str, bytes], version: str) -> str:
    """Mark a season by its name, its content and the version that plans it.

    >>> a, b = ({"s.xlsx": data} for data in (b"1", b"2"))
    >>> fingerprint("s", a, "1") == fingerprint("s", a, "1") != fingerprint("s", b, "1")
    True
    """
    digest = hashlib.sha256()
    for part in (version, name, *(x for file, data in content.items() for x in (file, data))):
        data = part.encode("utf-8", "surrogateescape") if isinstance(part, str) else part
        digest.update(len(data).to_bytes(8, "big") + data)
    return digest.hexdigest()[:16]

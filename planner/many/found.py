"""Seasons in a folder, their content and its fingerprint."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

from planner.errors import Fault, InputError
from planner.report.files import is_ours
from planner.season.csvs import csv_files
from planner.season.grids import sheet_of
from planner.season.names import for_file

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

WORKBOOKS = (".xlsx", ".xlsm")
OTHERS = (".xls", ".xlsb", ".ods", ".numbers")
"""Spreadsheets that are not read."""
MARKED = "-faults"
"""What the name of a copy with marked faults has after that of its workbook."""
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
    found = [Source(p) for p in _paths(folder) if is_season(p)]
    if not found:
        expected = "season workbooks (.xlsx) or folders of CSV files"
        others = " ".join(left_out(folder, found))
        fault = Fault("", seen="none of them", expected=expected, remedy=others)
        raise InputError(str(folder), [fault])
    return found


def _paths(folder: Path) -> list[Path]:
    """All that is in a folder, by name without regard to case and accents."""
    try:
        return sorted(folder.iterdir(), key=lambda p: (for_file(p.name), p.name))
    except OSError as error:
        fault = Fault("", expected=f"a folder of seasons that can be read ({error.strerror})")
        raise InputError(str(folder), [fault]) from None


def left_out(folder: Path, taken: Sequence[Source]) -> tuple[str, ...]:
    """Say which spreadsheets of a folder are not planned, and why.

    Parameters
    ----------
    taken
        Its seasons, as `seasons_in` finds them.

    Raises
    ------
    InputError
        When the folder cannot be read.
    """
    seasons = {source.path for source in taken}
    paths = [p for p in _paths(folder) if p.is_file() and p not in seasons]
    told = [(p.name, _why_not(p)) for p in paths if not p.name.startswith((".", "~$"))]
    return tuple(f"{name} is left out: {why}." for name, why in told if why)


def _why_not(path: Path) -> str:
    """Why a spreadsheet is no season; empty where it is none."""
    if path.suffix.casefold() in OTHERS:
        return "only .xlsx and .xlsm are read; save it as .xlsx"
    if path.suffix.casefold() not in WORKBOOKS or path.name == SUMMARY:
        return ""
    first = _marked_from(path)
    if first:
        return (
            f"it is a copy of {first} with the faults marked. If you corrected the copy, take "
            f"{first} out of the folder"
        )
    return "wholedrum wrote it, it is no season"


def _marked_from(path: Path) -> str:
    """Name of the season beside a workbook that this is a copy of, by its name; empty if none."""
    name = path.stem[: -len(MARKED)]
    if not name or not path.stem.casefold().endswith(MARKED):
        return ""
    return next((n for n in (f"{name}{path.suffix}", name) if path.with_name(n).exists()), "")


def is_season(path: Path) -> bool:
    """Whether a path is a season, by its name and what it holds: ours to plan, not our own output.

    Workbooks that wholedrum wrote are none, nor are copies with marked faults, unless the season
    that they were copied from is gone.
    """
    if path.name.startswith((".", "~$")):
        return False
    if path.is_dir():
        sheets = [sheet_of(p.stem) for p in tables_of(path)]
        return any(sheet is not None and sheet.name in ("Farm", "Fields") for sheet in sheets)
    if path.suffix.casefold() not in WORKBOOKS or _marked_from(path):
        return False
    return path.is_file() and not is_ours(path)


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

"""Seasons in a folder, their content and its fingerprint."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

from planner.errors import Fault, InputError

if TYPE_CHECKING:
    from pathlib import Path

WORKBOOKS = (".xlsx", ".xlsm")
SUMMARY = "all seasons.xlsx"
"""Our own workbook, which may stand in the same folder and is no season."""


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
            return {p.name: p.read_bytes() for p in _tables(self.path)}
        return {self.path.name: self.path.read_bytes()}


def seasons_in(folder: Path) -> list[Source]:
    """Find all seasons of a folder, by name: workbooks, and folders with a table of fields.

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
    found = [Source(p) for p in paths if _is_season(p)]
    if not found:
        expected = "season workbooks (.xlsx) or folders of CSV files"
        raise InputError(str(folder), [Fault("", seen="none of them", expected=expected)])
    return found


def _is_season(path: Path) -> bool:
    if path.name.startswith((".", "~$")) or path.name == SUMMARY:
        return False
    if path.is_dir():
        return any(p.stem.strip().casefold() == "fields" for p in _tables(path))
    return path.suffix.casefold() in WORKBOOKS


def _tables(folder: Path) -> list[Path]:
    try:
        return sorted(p for p in folder.iterdir() if p.suffix.casefold() == ".csv" and p.is_file())
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

"""What is planned already, kept on disk: a folder a season, its record beside its plan."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from planner.report.files import write_together
from planner.report.json import as_bytes
from planner.season.names import for_file
from planner.sharing.dealer import FAULTS, from_data, to_data

if TYPE_CHECKING:
    from pathlib import Path

    from planner.many.work import Result
    from planner.sharing.dealer import Planned

RECORD = "season.json"


def folder_name(name: str, mark: str) -> str:
    """Name a season's folder: plain letters of its name and its fingerprint, nothing else.

    >>> folder_name("../North + Sons.xlsx", "0123456789abcdef")
    'north-sons-xlsx-01234567'
    >>> folder_name("大豆", "0123456789abcdef")
    'season-01234567'
    """
    return f"{for_file(name) or 'season'}-{mark[:8]}"


def keep(result: Result, folder: Path) -> None:
    """Write a season's plan and its record, all or none; from then on it counts as planned.

    Raises
    ------
    OutputError
        When they cannot be written.
    """
    record = result.record
    content = {**result.files, RECORD: as_bytes(to_data(record))}
    write_together(folder / folder_name(record.name, record.mark), content)


def kept(folder: Path, name: str, mark: str, seconds: float) -> Planned | None:
    """Read what is kept of a season as it is now, planned for at least that long; None if nothing.

    What is no whole record counts as nothing: the season is planned again.
    """
    path = folder / folder_name(name, mark) / RECORD
    try:
        record = from_data(json.loads(path.read_text("utf-8")))
    except (OSError, ValueError, TypeError, KeyError, AttributeError):
        return None
    good = (record.name, record.mark) == (name, mark)
    return record if good and (record.seconds >= seconds or record.outcome == FAULTS) else None

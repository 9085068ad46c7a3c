"""Where files go when the user does not say."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

from planner.errors import OutputError

if TYPE_CHECKING:
    from pathlib import Path


def plan_folder(source: Path) -> Path:
    """Folder of a season's plan: beside the input, named after it.

    >>> from pathlib import Path
    >>> plan_folder(Path("farm/season.xlsx")).as_posix().endswith("farm/season-plan")
    True
    """
    whole = source.resolve()
    name = whole.name if whole.is_dir() else whole.stem
    return whole.parent / f"{name}-plan"


def marked_copy(source: Path) -> Path:
    """File that shows a season's faults: beside the input, named after it.

    >>> from pathlib import Path
    >>> marked_copy(Path("farm/season.xlsx")).name
    'season-faults.xlsx'
    """
    whole = source.resolve()
    if whole.is_dir():
        return whole.parent / f"{whole.name}-faults.csv"
    return whole.with_name(f"{whole.stem}-faults{whole.suffix}")


def check_writable(folder: Path) -> None:
    """Find out before the long work whether a folder can be written to; changes nothing.

    Raises
    ------
    OutputError
        When it is a file, or it or its nearest existing parent can't be written to.
    """
    if folder.exists() and not folder.is_dir():
        msg = f"{folder} is a file; name a folder for the plan with --out"
        raise OutputError(msg)
    place = folder.resolve()
    while not place.exists() and place != place.parent:
        place = place.parent
    if not place.is_dir() or not os.access(place, os.W_OK | os.X_OK):
        msg = f"{place} can't be written to; name another folder for the plan with --out"
        raise OutputError(msg)

"""Where files go when the user does not say."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.many.found import WORKBOOKS, is_season
from planner.report.files import JSON

if TYPE_CHECKING:
    from pathlib import Path


def plan_folder(source: Path) -> Path:
    """Folder of a season's plan: beside the input, named after it.

    A workbook beside another season of its name keeps its suffix there, so that each has a folder.

    >>> from pathlib import Path
    >>> plan_folder(Path("farm/season.xlsx")).as_posix().endswith("farm/season-plan")
    True
    """
    whole = source.resolve()
    name = whole.name if whole.is_dir() or _has_twin(whole) else whole.stem
    return whole.parent / f"{name}-plan"


def plan_file(path: Path) -> Path:
    """File of a plan that is named by its file or by its folder.

    A folder of CSV files is a season, wherever its plan was written.
    """
    inside = path / JSON
    return inside if inside.is_file() and not is_season(path) else path


def _has_twin(workbook: Path) -> bool:
    others = (workbook.with_suffix(suffix) for suffix in ("", *WORKBOOKS))
    own = workbook.name.casefold()
    return any(other.name.casefold() != own and is_season(other) for other in others)


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

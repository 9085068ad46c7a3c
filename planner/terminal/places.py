"""Where files go when the user does not say."""

from __future__ import annotations

from typing import TYPE_CHECKING

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

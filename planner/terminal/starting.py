"""Season workbooks to fill in, never over what stands there unless asked to."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.errors import OutputError

if TYPE_CHECKING:
    from pathlib import Path


def start_season(
    file: Path | None,
    folder: Path | None,
    *,
    demo: bool,
    old: Path | None,
    plan: Path | None,
    force: bool,
) -> tuple[tuple[Path, ...], tuple[str, ...]]:
    """Write a blank season (or the demo, or the one after an old one) as a workbook, as CSV files.

    Parameters
    ----------
    plan
        ``plan.json`` of the old season, or its folder; looked for beside it where not given.

    Returns
    -------
    tuple[tuple[Path, ...], tuple[str, ...]]
        What was written, and what was kept, moved or cleared of the old season.

    Raises
    ------
    InputError
        When the old season has faults.
    OutputError
        When something stands there already and `force` is not set, or it can't be written.
    """
    from planner.form.template import write_blank, write_csv, write_next

    if not force:
        _refuse_to_replace(file, folder)
    if old is not None:
        return write_next(file, folder, old, plan)
    written: tuple[Path, ...] = ()
    if file is not None:
        written += (write_blank(file, demo=demo),)
    if folder is not None:
        written += write_csv(folder, demo=demo)
    return written, ()


def _refuse_to_replace(file: Path | None, folder: Path | None) -> None:
    taken = file if file is not None and file.exists() else None
    if folder is not None and folder.exists() and (folder.is_file() or any(folder.iterdir())):
        taken = folder
    if taken is not None:
        msg = f"{taken} is there already; choose another name, or add --force to replace it"
        raise OutputError(msg)

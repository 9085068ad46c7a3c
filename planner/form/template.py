"""The season workbook to fill in, or the same as CSV files."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from openpyxl import Workbook
from openpyxl.utils.indexed_list import IndexedList

from planner.form import lists, live, look, opening, validation
from planner.form.carry import next_season
from planner.form.content import as_text, blank_content, demo_content, full, setting_for
from planner.form.safe import csv_bytes, workbook_bytes, write_whole
from planner.form.sheet import places, write_form
from planner.season import schema
from planner.season.schema import Kind

if TYPE_CHECKING:
    from collections.abc import Mapping

    from planner.form.content import Table

GUIDE = "how to fill in.txt"


def write_blank(path: Path, *, demo: bool = False) -> Path:
    """Write a season workbook, empty or with the demo season.

    Raises
    ------
    OutputError
        When it cannot be written.
    """
    return write_workbook(path, *_content(demo))


def write_csv(folder: Path, *, demo: bool = False) -> tuple[Path, ...]:
    """Write the same season as CSV files, one a sheet, and a guide to their columns.

    Raises
    ------
    OutputError
        When one cannot be written.
    """
    return write_folder(folder, _content(demo)[0])


def write_next(
    file: Path | None, folder: Path | None, old: Path, plan: Path | None = None
) -> tuple[tuple[Path, ...], tuple[str, ...]]:
    """Write next season's workbook, CSV files, or both, made from an old season and its plan.

    Returns
    -------
    tuple[tuple[Path, ...], tuple[str, ...]]
        What was written, and what was kept, moved or cleared, line by line.

    Raises
    ------
    InputError
        When the old season has faults.
    OutputError
        When something cannot be written.
    """
    carried = next_season(old, plan)
    written: tuple[Path, ...] = ()
    if file is not None:
        what = f"The season after {Path(old).name}"
        written += (write_workbook(file, carried.content, what, carried.notes),)
    if folder is not None:
        written += write_folder(folder, carried.content)
    return written, carried.notes


def _content(demo: bool) -> tuple[dict[str, Table], str]:
    if demo:
        return full(demo_content()), "The demo season: an invented farm"
    return full(blank_content()), "A season to plan"


def write_workbook(
    path: Path, content: Mapping[str, Table], what: str, notes: tuple[str, ...] = ()
) -> Path:
    """Write a season workbook that holds this content, with notes on its first page."""
    return write_whole(path, workbook_bytes(build(content, what, notes)))


def write_folder(folder: Path, content: Mapping[str, Table]) -> tuple[Path, ...]:
    """Write this content as CSV files and a guide."""
    written = []
    for sheet in schema.SHEETS:
        table = content[sheet.name]
        rows = [table.headers, *(tuple(as_text(v) for v in row) for row in table.rows)]
        written.append(write_whole(Path(folder) / sheet.file, csv_bytes(rows)))
    written.append(write_whole(Path(folder) / GUIDE, guide().encode("utf-8")))
    return tuple(written)


def build(content: Mapping[str, Table], what: str, notes: tuple[str, ...] = ()) -> Workbook:
    """Season workbook with this content (see `planner.form.content.full`)."""
    book = Workbook()
    _set_font(book)
    first = book.active
    assert first is not None
    first.title = opening.SHEET
    opening.write_opening(first, what, notes)
    laid = {s.name: places(s, content[s.name]) for s in schema.SHEETS}
    musts = [s for s in schema.SHEETS if s.must]
    others = [s for s in schema.SHEETS if not s.must]
    pages = {s.name: book.create_sheet(s.name) for s in musts}
    live_page = book.create_sheet(live.SHEET)
    pages |= {s.name: book.create_sheet(s.name) for s in others}
    known = lists.write_lists(book, laid)
    for sheet in schema.SHEETS:
        page, table = pages[sheet.name], content[sheet.name]
        write_form(page, sheet, table, laid[sheet.name])
        validation.add_checks(page, laid[sheet.name], known, table)
    settings = [str(row[0]) for row in content["Farm"].rows if row and row[0]]
    names = [setting.name for setting in map(setting_for, settings) if setting]
    what_if = lists.write_what_if(book, laid, known, names)
    validation.add_what_if_lists(pages["What if"], laid["What if"], what_if)
    live.write_live(live_page, laid, known, len(content["Fields"].rows))
    if _is_metric(content["Farm"]):
        _show_metric_dates(book)
    live_page.column_dimensions["A"].width = pages["Fields"].column_dimensions["A"].width
    return book


def _is_metric(farm: Table) -> bool:
    return any(str(row[0]) == "Units" and str(row[1]) == "metric" for row in farm.rows)


def _show_metric_dates(book: Any) -> None:
    usual = look.KINDS[Kind.DATE]
    for page in book.worksheets:
        cells = [cell for row in page.iter_rows() for cell in row]
        for styled in (*page.column_dimensions.values(), *cells):
            if styled.number_format == usual:
                styled.number_format = look.METRIC_DATE


def _set_font(book: Any) -> None:
    """Write everything in the workbook's font, also what is typed into it later."""
    book._fonts = IndexedList([look.font()])
    book._named_styles["Normal"].font = look.font()


def guide() -> str:
    """What every file and column of the folder means, as plain text."""
    lines = [
        "What to fill in, file by file. * must be there or be filled; in a file without * only in "
        "the rows you use. Every setting of farm.csv may stay blank.",
        "",
    ]
    for sheet in schema.SHEETS:
        lines.append(f"{sheet.file}{' *' if sheet.must else ''} - {sheet.meaning}")
        if sheet.settings:
            lines += [
                f"    {s.header}: {s.meaning} Blank: {s.blank_means}." for s in sheet.settings
            ]
        for column in (*sheet.columns, *filter(None, [sheet.per_threat])):
            name = column.header if column is not sheet.per_threat else f"<threat> {column.name}"
            end = "" if column.must else f" Blank: {column.blank_means}."
            allowed = f" One of: {', '.join(column.choices)}." if column.choices else ""
            lines.append(f"    {name}{' *' if column.must else ''}: {column.meaning}{allowed}{end}")
        lines.append("")
    return "\n".join(lines)

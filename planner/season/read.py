"""A workbook or a folder of CSV files to a `Season`, or every fault that is in the way."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from planner.errors import Fault, InputError
from planner.season.asking import asking
from planner.season.build import build
from planner.season.check import check
from planner.season.domain import TRIED
from planner.season.farm import currency, farm_values
from planner.season.hints import hints
from planner.season.match import all_tables, match
from planner.season.names import shown
from planner.season.references import look_alikes, resolve
from planner.season.schema import SHEETS
from planner.season.tables import read_tables
from planner.season.values import duplicates, read_values
from planner.season.whatif import change, scenarios, with_rows

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from planner.season.domain import Season, WhatIf
    from planner.season.grids import Book
    from planner.season.match import Tables

MAX_NOTES = 200
"""Most notes on a season that can be planned."""
MAX_FAULTS = 1_000
"""Most faults that are gathered; a last one says how many more there are."""


def read_season(path: Path | str, scenario: str = "") -> Season:
    """Read a season and check it.

    Parameters
    ----------
    path
        A workbook (.xlsx, .xlsm) or a folder of CSV files.
    scenario
        Name of a scenario of the sheet What if, whose changes are made first; empty for none.

    Returns
    -------
    Season
        In working units; `Season.notes` say what was ignored or taken in a way worth saying.

    Raises
    ------
    InputError
        When anything cannot be planned with; holds every fault.
    """
    return _season(read_tables(Path(path)), scenario)


def read_scenarios(path: Path | str) -> dict[str, Season]:
    """Read the season of every scenario of the sheet What if.

    Returns
    -------
    dict
        Seasons by the scenario's name, in the order of the sheet.

    Raises
    ------
    InputError
        When one of them cannot be planned; holds every fault, with its scenario.
    """
    return scenarios_of(read_tables(Path(path)))


def scenarios_of(book: Book, changes: Sequence[WhatIf] = ()) -> dict[str, Season]:
    """Season of every scenario of an input whose cells were read already, as `read_scenarios`.

    Parameters
    ----------
    changes
        Made in every scenario, beside its own.

    Raises
    ------
    InputError
        When any scenario cannot be planned with; holds the faults of all.
    """
    found: dict[str, Season] = {}
    faults: list[Fault] = []
    for name in scenarios(all_tables(match(book)[0])["What if"]):
        try:
            found[name] = _season(book, name, changes)
        except InputError as error:
            faults += error.faults
    if faults:
        raise InputError(book.source, _some(faults, sheet_order(book)))
    return found


def changed_season(book: Book, changes: Sequence[WhatIf] = ()) -> Season:
    """Season of an input whose cells were read already, with changes made first.

    Parameters
    ----------
    changes
        As rows of the sheet What if would make them; their scenario does not matter.

    Raises
    ------
    InputError
        When it cannot be planned with; faults of a change are said to be of What if.
    """
    return _season(book, TRIED if changes else "", changes)


def _season(book: Book, scenario: str, more: Sequence[WhatIf] = ()) -> Season:
    """Season of a book, with the changes of a scenario if one is named."""
    matched, faults, notes = match(book)
    tables = all_tables(matched)
    if more:
        tables["What if"] = with_rows(tables["What if"], scenario, more)
    money, _ = currency(tables["Farm"])
    faults += change(tables, scenario, money)
    problems, own = farm_values(tables["Farm"])
    faults += problems
    for table in tables.values():
        if table.sheet.name != "Farm":
            faults += read_values(table, money)
            faults += duplicates(table)
    problems, passed = resolve(tables)
    faults += problems + check(tables)
    if faults:
        found = [_of(scenario, fault) for fault in faults]
        raise InputError(book.source, _some(found, sheet_order(book)))
    notes += own + passed + look_alikes(tables) + hints(tables)
    return build(
        tables,
        today=date.today(),
        asked=asking(tables)[:MAX_NOTES],
        notes=notes if len(notes) <= MAX_NOTES else [*notes[:MAX_NOTES], f"{len(notes)} in all."],
        source=book.source,
        mark=fingerprint(tables),
    )


def _of(scenario: str, fault: Fault) -> Fault:
    """Fault with its scenario; on What if the row says it."""
    if not scenario or fault.sheet == "What if":
        return fault
    return replace(fault, scenario=shown(scenario), cell="")


def sheet_order(book: Book) -> dict[str, int]:
    """Places of the sheets, by the names that faults have for them: as in the workbook.

    Files of a folder have no order of their own: as in a blank workbook, like missing sheets.
    """
    blank = [s.name for must in (True, False) for s in SHEETS if s.must is must]
    own = [] if any(grid.file for grid in book.grids) else [grid.name for grid in book.grids]
    return {name: n for n, name in enumerate(dict.fromkeys([*own, *blank]))}


def _some(faults: list[Fault], places: Mapping[str, int]) -> list[Fault]:
    """All faults, or as many as anyone could read; those of the whole input first."""
    unique = sorted(set(faults), key=lambda fault: (places.get(fault.sheet, -1), fault))
    if len(unique) <= MAX_FAULTS:
        return unique
    more = Fault("", expected=f"no further faults; at least {len(unique) - MAX_FAULTS:,} more")
    return [*unique[:MAX_FAULTS], more]


def fingerprint(tables: Tables) -> str:
    """Short digest of all values; the same whatever the order of rows and columns, or the format.

    Units do not matter either: 2.5 gal and 320 fl oz are one.
    """
    digest = hashlib.sha256()
    for name in sorted(tables):
        rows = (repr(sorted(line.values.items())) for line in tables[name].lines if line.values)
        digest.update("\n".join([name, *sorted(rows), ""]).encode("utf-8", "backslashreplace"))
    return digest.hexdigest()[:12]

"""Next season's workbook from this season's: what is kept, moved, cleared, and a word on each.

Kept: settings, fields, products, containers, recipes and everything optional that still holds.
Moved a year on: crop year and dates. Cleared: lots, what was treated or ordered so far, approvals.
Stock on hand is what the season's plan leaves over. Whatever is not kept is noted.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

from planner.errors import Fault, InputError
from planner.form.content import (
    NUMERIC,
    Table,
    column_for,
    full,
    setting_for,
    typed,
    typed_farm,
)
from planner.season import schema
from planner.season.cells import Setting, read_cell
from planner.season.domain import LIVING
from planner.season.grids import sheet_of
from planner.season.match import match
from planner.season.names import key
from planner.season.read import read_season
from planner.season.schema import Kind
from planner.season.tables import read_tables
from planner.units import Measure, Unreadable, in_unit

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from pathlib import Path

    from planner.form.content import Value
    from planner.season.domain import Season
    from planner.season.grids import Grid
    from planner.season.headers import Heading
    from planner.season.match import Table as Matched
    from planner.season.schema import Column, Sheet

CLEARED = ("Seed lots", "Treated so far", "Ordered so far", "Recipe approvals")
LEFT_BEHIND = ("is not a sheet of a season", "holds totals")
"""What the reader's notes say of sheets and rows that are not carried over."""
WEEKS = timedelta(weeks=52)
"""Days off keep their weekday."""
NO_STOCK = (
    "So stock on hand is cleared. Count it again, or start over with --plan and the folder of the"
    " season's plan to take over what it leaves."
)
ODD = (ValueError, KeyError, TypeError, AttributeError, OverflowError, RecursionError)
"""What JSON that is no plan can raise."""


@dataclass(frozen=True, slots=True)
class Carried:
    """Next season's content, and what was done to get there, line by line."""

    content: Mapping[str, Table]
    notes: tuple[str, ...]


def plan_beside(old: Path) -> Path | None:
    """Plan of a season where plans are usually written: in or beside it; None if there is none."""
    whole = old.resolve()
    names = [whole.name] if whole.is_dir() else [whole.name, whole.stem]
    places = [*(whole.parent / f"{name}-plan" for name in names), whole.parent]
    if whole.is_dir():
        places.insert(0, whole)
    return next((p / "plan.json" for p in places if (p / "plan.json").is_file()), None)


def next_season(old: Path, plan: Path | None = None) -> Carried:
    """Make next season's content from an old season and its plan.

    Parameters
    ----------
    plan
        ``plan.json`` or its folder; looked for in and beside the old season where not given.

    Raises
    ------
    InputError
        When the old season has faults, or the plan that was named is not there, can't be read, or
        is that of another season.
    """
    season = read_season(old)
    found, notes = _content(old)
    content = full(found)
    content["Farm"] = typed_farm(content["Farm"])
    notes = [*_notes_of_reading(season.notes), *notes]
    path = plan_beside(old) if plan is None else plan / "plan.json" if plan.is_dir() else plan
    left, word = _leftovers(path, season.fingerprint, season.farm.crop_year)
    if left is None and plan is not None:  # he asked for it, so nothing is made without it
        raise InputError(str(plan), [Fault("", expected=f"the plan of {old.name}", remedy=word)])
    notes.append(word if left is not None else f"{word}. {NO_STOCK}")
    _move_dates(content, notes)
    if season.farm.plan_date > season.farm.first_treating_day:
        _clear_plan_date(content, notes)
    _stock(content, season, left, notes)
    notes += _expired(season)
    _clear(content, notes)
    notes.append("Prices, discounts and what suppliers offer are last season's: look them over.")
    notes.append("Fill in Seed lots, a row for each lot, before you plan: it is empty now.")
    return Carried(content, tuple(notes))


def _notes_of_reading(notes: tuple[str, ...]) -> list[str]:
    """Strange sheets and rows of totals are left behind; all else that was noted goes along."""
    return [f"Not carried over - {line}" for line in notes if any(x in line for x in LEFT_BEHIND)]


def _content(old: Path) -> tuple[dict[str, Table], list[str]]:
    """Everything that is in the old sheets, in their columns, those of nobody's included."""
    book = read_tables(old)
    grids = {grid.sheet.name: grid for grid in book.grids}
    content = {}
    notes = []
    for table in match(book)[0]:
        columns = sorted(table.headings.items(), key=lambda item: item[1].index)
        strange = _strange(grids[table.sheet.name], table)
        if strange:
            names = ", ".join(name for _, name in strange)
            notes.append(f"{table.sheet.name}: columns of your own kept as they are: {names}.")
        rows = dict(grids[table.sheet.name].rows)
        lines = []
        for line in table.lines:
            own = [typed(line.texts[name], heading.column) for name, heading in columns]
            texts = rows[line.row]
            lines.append((*own, *(texts[i] if i < len(texts) else None for i, _ in strange)))
        headers = (*(_header(h) for _, h in columns), *(name for _, name in strange))
        content[table.sheet.name] = Table(headers, tuple(lines))
    return content, notes


def _header(heading: Heading) -> str:
    """Header with the unit that bare numbers have; of words and dates as the schema has it."""
    column = heading.column
    if heading.threat:
        return f"{heading.threat} {column.name}"
    with_unit = column.kind in {*NUMERIC, Kind.RATE}
    if not with_unit or heading.unit in {"", column.unit, column.shown}:
        return column.header
    return f"{column.name} ({heading.unit})"


def _strange(grid: Grid, table: Matched) -> list[tuple[int, str]]:
    """Columns of the header row that are none of ours: place and header."""
    for _, texts in grid.rows:
        found = all(
            h.index < len(texts) and " ".join(texts[h.index].split())[:200] == h.header
            for h in table.headings.values()
        )
        if found and table.headings:
            ours = {h.index for h in table.headings.values()}
            return [(i, t.strip()) for i, t in enumerate(texts) if t.strip() and i not in ours]
    return []


def _leftovers(path: Path | None, mark: str, year: int) -> tuple[dict[str, float] | None, str]:
    """Fl oz of every product that a plan leaves, and where they come from or why there are none."""
    if path is None:
        return None, "No plan.json was found beside it"
    shown = f"{path.parent.name}/{path.name}"
    try:
        plan: Any = json.loads(path.read_text(encoding="utf-8"))
        left = {str(p["product"]): _finite(p["left"]) for p in plan["products"]}
        same = plan.get("fingerprint", mark) == mark and plan["crop_year"] == year
    except (*ODD, OSError):
        return None, f"{shown} cannot be read as a plan"
    if not same:
        return None, f"{shown} is the plan of another state of the season; plan again"
    return left, f"Stock on hand is what {shown} leaves over: measure before you rely on it."


def _finite(value: Any) -> float:
    volume = float(value)
    if not math.isfinite(volume):
        msg = "not a volume"
        raise ValueError(msg)
    return volume


def _change(
    table: Table, name: str, change: Callable[[Value, tuple[Value, ...]], Value], sheet: Sheet
) -> Table:
    """Table with a function of value and row in place of every value of a column."""
    for at, header in enumerate(table.headers):
        column = column_for(sheet, header)
        if column is not None and column.name == name:
            rows = tuple((*r[:at], change(r[at], r), *r[at + 1 :]) for r in table.rows)
            return replace(table, rows=rows)
    return table


def _later(value: Value, column: Column | None, by: timedelta | None = None) -> Value:
    """A date a year on, whether it stands there as a date or as text."""
    if isinstance(value, str) and column is not None:
        try:
            read = read_cell(value, column, Setting(""))
        except Unreadable:
            return value
        value = read if isinstance(read, date) else value
    if not isinstance(value, date):
        return value
    if by is not None:
        return value + by
    leap = (value.month, value.day) == (2, 29)
    return value.replace(year=value.year + 1, day=28 if leap else value.day)


def _move_dates(content: dict[str, Table], notes: list[str]) -> None:
    """Crop year and dates a year on, those of What if too; rows of `CLEARED` go anyway."""
    farm = []
    for row in content["Farm"].rows:
        setting, value = setting_for(str(row[0])), row[1]
        if setting is not None and setting.kind is Kind.DATE:
            value = _later(value, setting)
        elif setting is not None and setting.kind is Kind.YEAR and isinstance(value, float):
            value += 1
        farm.append((row[0], value, *row[2:]))
    content["Farm"] = replace(content["Farm"], rows=tuple(farm))
    for sheet in schema.SHEETS:
        for column in sheet.columns:
            if column.kind is Kind.DATE and sheet.name not in CLEARED:
                _shift(content, sheet, column, WEEKS if sheet.name == "Days off" else None)
    content["What if"] = _later_scenarios(content["What if"])
    notes.append(
        "Moved a year on: crop year, plan date, treating, planting, order-by and pay-by dates."
    )
    if content["Days off"].rows:
        notes.append("Days off: moved by 52 weeks, so that they keep their weekday.")


def _clear_plan_date(content: dict[str, Table], notes: list[str]) -> None:
    """Next winter's plan is not made for a day in the middle of the season, as the last was."""
    farm = content["Farm"]

    def kept(row: tuple[Value, ...]) -> Value:
        setting = setting_for(str(row[0]))
        return None if setting is not None and setting.key == "plan_date" else row[1]

    rows = tuple((row[0], kept(row), *row[2:]) for row in farm.rows)
    content["Farm"] = replace(farm, rows=rows)
    notes.append("Farm: Plan date was in mid-season and is cleared; blank means today.")


def _shift(content: dict[str, Table], sheet: Sheet, column: Column, by: timedelta | None) -> None:
    table = content[sheet.name]
    content[sheet.name] = _change(table, column.name, lambda v, _: _later(v, column, by), sheet)


def _later_scenarios(table: Table) -> Table:
    """Sheet What if with a year on each date that a scenario sets, days off by weeks as above."""
    place = {name: at for at, name in enumerate(table.headers)}

    def later(value: Value, row: tuple[Value, ...]) -> Value:
        name, item, header = (
            str(row[place[name]] or "") if name in place else ""
            for name in ("Sheet", "Row", "Column")
        )
        sheet = sheet_of(name)
        if sheet is None:
            return value
        changed = setting_for(item) if sheet.name == "Farm" else column_for(sheet, header)
        if changed is None or changed.kind is not Kind.DATE:
            return value
        return _later(value, changed, WEEKS if sheet.name == "Days off" else None)

    return _change(table, "Value", later, schema.sheet("What if"))


def _stock(
    content: dict[str, Table], season: Season, left: dict[str, float] | None, notes: list[str]
) -> None:
    """Stock on hand from the plan; its last day is that of containers not yet seen.

    What is alive is kept over winter only where the season gives it a carryover value.
    """
    sheet = schema.sheet("Products")
    table = content["Products"]
    alive = {key(p.name): p.name for p in season.products if p.kind in LIVING and not p.carryover}
    by_key = {key(name): volume for name, volume in (left or {}).items()}
    gone = [name for one, name in alive.items() if by_key.get(one)]
    header = next(h for h in table.headers if column_for(sheet, h) is sheet.column("On hand"))
    unit = header.partition("(")[2].rstrip(") ")

    def stock(_: Value, row: tuple[Value, ...]) -> Value:
        volume = by_key.get(key(str(row[0])))
        if volume is None or key(str(row[0])) in alive:
            return None
        return round(in_unit(volume, Measure.VOLUME, unit), 3)

    table = _change(table, "On hand", stock, sheet)
    content["Products"] = _change(table, "Expires", lambda *_: None, sheet)
    notes.append("Products: Expires is cleared; write it from the labels of what is left.")
    if gone:
        names = ", ".join(gone)
        notes.append(f"Products: alive and without a Carryover value, so not carried: {names}.")
    there = {key(str(row[0])) for row in table.rows}
    strangers = sorted(name for name in left or () if key(name) not in there)
    if strangers:
        notes.append(f"Products: not on the sheet, leftover not kept: {', '.join(strangers)}.")


def _rows(count: int) -> str:
    return f"{count} row{'s' if count != 1 else ''}"


def _expired(season: Season) -> list[str]:
    """Stock that the plan could not count."""
    day = season.farm.first_treating_day
    gone = [p.name for p in season.products if p.on_hand and p.expires and p.expires < day]
    if not gone:
        return []
    return [f"Products: expired before the first treating day, not carried: {', '.join(gone)}."]


def _is_cleared(title: str) -> bool:
    sheet = sheet_of(title)
    return sheet is not None and sheet.name in CLEARED


def _clear(content: dict[str, Table], notes: list[str]) -> None:
    """Empty what belongs to one season alone."""
    for name in CLEARED:
        table = content[name]
        if table.rows:
            firsts = ", ".join(str(row[0]) for row in table.rows[:20])
            more = f" and {len(table.rows) - 20} more" if len(table.rows) > 20 else ""
            notes.append(f"{name}: {_rows(len(table.rows))} cleared ({firsts}{more}).")
            content[name] = replace(table, rows=())
    growers = content["Growers"]
    if growers.rows:
        of = schema.sheet("Growers")
        content["Growers"] = _change(growers, "Deposit", lambda *_: None, of)
        notes.append("Growers: Deposit is cleared; it was of last season's order.")
    scenarios = content["What if"]
    at = scenarios.headers.index("Sheet")
    kept = tuple(row for row in scenarios.rows if not _is_cleared(str(row[at])))
    gone = len(scenarios.rows) - len(kept)
    if gone:
        notes.append(f"What if: {_rows(gone)} cleared, of changes to rows cleared above.")
    content["What if"] = replace(scenarios, rows=kept)
    fields = content["Fields"]
    at = fields.headers.index("Only varieties")
    if any(row[at] for row in fields.rows):
        notes.append(
            "Fields: Only varieties is kept; it shows 'no match' until lots are filled in."
        )

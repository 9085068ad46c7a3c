"""Scenarios: rows of the sheet What if as changes of cells of the other sheets."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

from planner.errors import Fault
from planner.season.cells import Setting, read_cell
from planner.season.dropped import drop
from planner.season.grids import sheet_of
from planner.season.headers import PRESSURE, Heading, find_column, split_header
from planner.season.match import Line
from planner.season.names import key, near
from planner.season.percents import NUMBERS, change_of, default_text, shifted
from planner.season.pick import JOINT, Misplaced, Texts, misplaced, rows_of
from planner.season.schema import SHEETS
from planner.units import Unreadable, refuse
from planner.units.numbers import number_and_rest

if TYPE_CHECKING:
    from collections.abc import Iterable

    from planner.season.domain import WhatIf
    from planner.season.match import Table, Tables
    from planner.season.schema import Column, Sheet


WAS = "was"
"""Key under which a row of What if keeps what is in the cell that it changes."""
BECOMES = "becomes"
"""Key under which it keeps what a change by percent makes of that."""
MAX_CHANGES = 1_000
"""Most rows of What if."""
MAX_SCENARIOS = 50
"""Most scenarios of What if; each is read and planned as a season of its own."""
MOST_SHOWN = 4
"""Most different texts of cells changed together that are shown."""
DROP, ADD, ADD_LIKE = "drop", "add", "add like "
"""Words under Value, with a blank Column."""


class _Cells(NamedTuple):
    """The cells that a row of What if changes, or the rows that it drops."""

    sheet: str
    name: str
    """Key of the column; empty for whole rows."""
    column: Column | None
    """None for whole rows."""
    unit: str
    lines: list[Line]


Added = set[tuple[str, str, str]]
"""Scenario, sheet and text, by key, of rows that scenarios add."""


def change(tables: Tables, scenario: str, money: str) -> list[Fault]:
    """Make the changes of a scenario (none if its name is empty). Returns faults of What if."""
    table = tables["What if"]
    faults = _unknown_scenario(table, scenario)
    if len(table.lines) > MAX_CHANGES:
        seen = f"{len(table.lines):,} rows"
        return [Fault(table.name, seen=seen, expected=f"at most {MAX_CHANGES:,} of them")]
    if len(scenarios(table)) > MAX_SCENARIOS:
        seen = f"{len(scenarios(table)):,} scenarios"
        return [Fault(table.name, seen=seen, expected=f"at most {MAX_SCENARIOS} of them")]
    lines = [x for x in table.lines if _can_be_followed(table, x) and not _unread(tables, x)]
    added = {_added(x) for x in lines if _whole_row(x).startswith(ADD)}
    mine = [x for x in lines if scenario and key(_text(x, "scenario")) == key(scenario)]
    faults += _add_rows(table, [x for x in mine if _whole_row(x).startswith(ADD)], tables)
    edits: list[tuple[Line, _Cells, list[str]]] = []
    texts: Texts = {}
    ours = set(map(id, mine))
    for line in lines:
        try:
            cells = _cells(tables, line, texts, added)
            new = _new_texts(line, cells, money, table.comma)
        except Misplaced as problem:
            faults.append(table.fault(line, problem.name, problem.expected, problem.remedy))
            continue
        line.texts[WAS] = _was(line, cells)
        by_percent = cells.column is not None and change_of(_text(line, "value")) is not None
        line.texts[BECOMES] = _shown(new) if by_percent else ""
        edits += [(line, cells, new)] if id(line) in ours else []
    for _, cells, new in edits:
        if cells.column is not None:
            for line, text in zip(cells.lines, new, strict=True):
                line.texts[cells.name] = text
            tables[cells.sheet] = _with_cells(tables[cells.sheet], cells)
    for line, cells, _ in edits:
        if _whole_row(line) == DROP or _is_no_land(cells, _text(line, "value")):
            drop(tables, cells.sheet, cells.lines)
    return faults


def _can_be_followed(table: Table, line: Line) -> bool:
    """Whether a row of What if has all that it needs; what it lacks is a fault of its own."""
    needed = all(_text(line, name) for name in ("scenario", "sheet", "item"))
    return needed and not line.bad and not any(table.trouble(line, name) for name in line.texts)


def _unread(tables: Tables, line: Line) -> bool:
    """Whether the rows of the sheet that a row of What if names can't be told apart.

    It is missing, or a header of what tells them apart is; either is a fault already.
    """
    sheet = sheet_of(_text(line, "sheet"))
    if sheet is None:
        return False
    table = tables[sheet.name]
    names = {sheet.columns[0].key, *(sheet.column(name).key for name in sheet.unique)}
    return table.unread or any(names & other.bad for other in table.lines)


def scenarios(table: Table) -> tuple[str, ...]:
    """Names of all scenarios, each once, in the order of the sheet."""
    names = {key(_text(x, "scenario")): _text(x, "scenario") for x in reversed(table.lines)}
    return tuple(reversed([name for name in names.values() if name]))


def with_rows(table: Table, scenario: str, changes: Iterable[WhatIf]) -> Table:
    """Sheet What if with rows of a scenario that are in no file; its own rows come after them."""
    lines = tuple(
        Line(
            0,
            {
                "scenario": scenario,
                "sheet": c.sheet,
                "item": c.item,
                "column": c.column,
                "value": c.value,
            },
        )
        for c in changes
    )
    headings = dict(table.headings)
    for column in table.sheet.columns:
        if column.key in lines[0].texts:
            headings.setdefault(column.key, Heading(column, column.name, -1, column.unit))
    return replace(table, headings=headings, lines=(*lines, *table.lines))


def _text(line: Line, name: str) -> str:
    return line.texts.get(name, "").strip()


def _whole_row(line: Line) -> str:
    """What a row of What if does to a whole row: its value by key, where it names no column."""
    return "" if _text(line, "column") else key(_text(line, "value"))


def _added(line: Line) -> tuple[str, str, str]:
    sheet = sheet_of(_text(line, "sheet"))
    name = sheet.name if sheet else ""
    return key(_text(line, "scenario")), name, key(_text(line, "item"))


def _add_rows(table: Table, lines: Iterable[Line], tables: Tables) -> list[Fault]:
    """Add what rows of What if say. Returns the faults of those for which it can't be done."""
    faults = []
    for line in lines:
        try:
            _add(tables, line)
        except Misplaced as problem:
            faults.append(table.fault(line, problem.name, problem.expected, problem.remedy))
    return faults


def _was(line: Line, cells: _Cells) -> str:
    """What is in the cells that a row of What if changes."""
    if cells.column is None:
        return "there" if _whole_row(line) == DROP else "not there"
    return _shown([_text(x, cells.name) for x in cells.lines])


def _shown(cells: Iterable[str]) -> str:
    """Different texts of cells, as many as are shown; empty where all are blank."""
    texts = list(dict.fromkeys(text or "blank" for text in cells))
    more = ["..."] if len(texts) > MOST_SHOWN else []
    return "; ".join([*texts[:MOST_SHOWN], *more]) if texts != ["blank"] else ""


def _is_no_land(cells: _Cells, text: str) -> bool:
    """Whether a scenario sets a field's acres to nothing, which leaves the field out."""
    if cells.sheet != "Fields" or cells.name != "acres" or not text[:1].isdigit():
        return False
    try:
        return number_and_rest(text, comma=True)[0] == 0.0
    except Unreadable:
        return False


def _unknown_scenario(table: Table, scenario: str) -> list[Fault]:
    said = [line.texts.get("scenario", "") for line in table.lines]
    names = {key(name): name for name in said}
    if not scenario or key(scenario) in names:
        return []
    expected, remedy = "a scenario of What if", near(scenario, names.values())
    return [table.fault(Line(0, {}), "scenario", expected, remedy, scenario)]


def _sheet(line: Line) -> Sheet:
    sheet = sheet_of(_text(line, "sheet"))
    if sheet is None or sheet.name == "What if":
        closest = near(_text(line, "sheet"), [s.name for s in SHEETS])
        misplaced("sheet", "a sheet of the season", closest)
    return sheet


def _cells(tables: Tables, line: Line, texts: Texts, added: Added) -> _Cells:
    """Find the cells, or the whole rows, that a row of What if means."""
    sheet = _sheet(line)
    table = tables[sheet.name]
    if not _text(line, "column"):
        _check_whole_row(line, sheet)
        if _whole_row(line).startswith(ADD):
            _model(table, line)
        elif _added(line) not in added:
            return _Cells(sheet.name, "", None, "", rows_of(table, line, texts))
        return _Cells(sheet.name, "", None, "", [])
    if sheet.settings:
        return _setting(table, line)
    found = find_column(sheet, line.texts["column"])
    name = found[0].key if found else ""
    if found and found[0] is sheet.per_threat:
        threat = split_header(line.texts["column"])[0][: -len(PRESSURE)]
        name = f"pressure:{key(threat)}"
        found = found if name in table.headings else None
    if found is None:
        closest = near(line.texts["column"], [c.name for c in sheet.columns])
        misplaced("column", f"a column of sheet {sheet.name}", closest)
    heading = table.headings.get(name)
    unit = heading.unit if heading else found[1]
    try:
        rows = rows_of(table, line, texts)
    except Misplaced:
        if _added(line) not in added:
            raise
        rows = []  # the scenario adds it
    return _Cells(sheet.name, name, found[0], unit, rows)


def _check_whole_row(line: Line, sheet: Sheet) -> None:
    """Refuse a row of What if that names no column and neither drops nor adds a row."""
    text = _whole_row(line)
    if text != DROP and text != ADD and not text.startswith(ADD_LIKE):
        expected = "the header of a column, or drop or add under Value"
        misplaced("column", expected, "drop leaves the row out, add makes a new one")
    if sheet.settings:
        misplaced("value", "a value, as settings stay", "name Value as the column; blank clears it")


def _add(tables: Tables, line: Line) -> None:
    """Add a row, blank or like another one, named as the row of What if says."""
    sheet = _sheet(line)
    _check_whole_row(line, sheet)
    table = tables[sheet.name]
    names = [sheet.column(name).key for name in sheet.unique] or [sheet.columns[0].key]
    parts = _text(line, "item").split(JOINT)
    if len(parts) > len(names):
        misplaced("item", f"text of {JOINT.join(sheet.unique) or sheet.columns[0].name}")
    model = _model(table, line)
    texts = model.texts if model else {}
    new = {name: text for name, text in texts.items() if name not in (WAS, BECOMES)}
    for name, part in zip(names, parts, strict=False):
        new[name] = part.strip()
    headings = dict(table.headings)
    for column in sheet.columns:
        if (column.must or column.key in new) and column.key not in headings:
            headings[column.key] = Heading(column, column.name, -1, column.unit)
    for name in headings:
        new.setdefault(name, "")
    tables[sheet.name] = replace(table, headings=headings, lines=(*table.lines, Line(0, new)))
    for other in table.lines:
        for name in headings:
            other.texts.setdefault(name, "")


def _model(table: Table, line: Line) -> Line | None:
    """Row that a new one shall be like; None where it shall be blank."""
    like = _text(line, "value")[len(ADD_LIKE) :].strip()
    if not like:
        return None
    try:
        (row,) = rows_of(table, Line(line.row, {"item": like}), {})
    except (Misplaced, ValueError):
        first = table.sheet.columns[0].key
        closest = near(like, (x.texts.get(first, "") for x in table.lines))
        misplaced("value", f"add like a row of sheet {table.sheet.name}", closest)
    return row


def _setting(table: Table, line: Line) -> _Cells:
    """Find the cell of a setting; a setting that Farm leaves out gets a line of its own."""
    found = find_column(table.sheet, line.texts["item"], setting=True)
    if found is None:
        closest = near(split_header(line.texts["item"])[0], [s.name for s in table.sheet.settings])
        misplaced("item", "a setting of Farm", closest)
    if key(line.texts["column"]) != "value":
        misplaced("column", "Value, as the sheet is Farm")
    for other in table.lines:
        there = find_column(table.sheet, other.texts.get("setting", ""), setting=True)
        if there and there[0] is found[0]:
            return _Cells(table.sheet.name, "value", found[0], there[1], [other])
    new = Line(line.row, {"setting": found[0].name, "value": ""})
    return _Cells(table.sheet.name, "value", *found, [new])


def _new_texts(line: Line, cells: _Cells, money: str, comma: bool) -> list[str]:
    """Give what is in each cell in the scenario, read so that a slip is reported where it is."""
    column, text = cells.column, _text(line, "value")
    if column is None or _is_no_land(cells, text):
        return [text] * len(cells.lines)
    setting = Setting(cells.unit, money, comma)
    by = change_of(text) if column.kind in NUMBERS else None
    if not text and column.must:
        remedy = "to leave the row out: a blank Column, and drop here"
        misplaced("value", f"a value, as {column.name} must be filled", remedy)
    try:
        if by is not None:
            return _shifted_texts(cells, column, by, setting) if cells.lines else []
        if text:
            read_cell(text, column, setting)
    except Unreadable as problem:
        expected = f"for {column.name} {problem.expected}"
        percent = by is None and text.endswith("%") and column.kind in NUMBERS
        remedy = f"write +{text} for as much more" if percent else problem.remedy
        misplaced("value", expected, remedy)
    return [text] * len(cells.lines)


def _shifted_texts(cells: _Cells, column: Column, share: float, setting: Setting) -> list[str]:
    """Change every number by a share of itself; blank cells among several stay blank."""
    several = len(cells.lines) > 1
    new = []
    done = {"": ""}
    for line in cells.lines:
        text = _text(line, cells.name) or ("" if several else default_text(column))
        if text not in done:
            done[text] = shifted(text, column, share, setting)
        new.append(done[text])
    if not any(new):
        refuse("a number to change by percent, but the cell is blank", "write the value")
    return new


def _with_cells(table: Table, cells: _Cells) -> Table:
    """Table with a column (or, on Farm, a line) that it may not have yet."""
    if cells.column is None:
        return table
    if table.sheet.settings:
        new = (line for line in cells.lines if line not in table.lines)
        return replace(table, lines=(*table.lines, *new))
    if cells.name in table.headings:
        return table
    for line in table.lines:
        line.texts.setdefault(cells.name, "")
    heading = Heading(cells.column, cells.column.name, -1, cells.unit)
    return replace(table, headings={**table.headings, cells.name: heading})

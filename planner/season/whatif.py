"""Scenarios: rows of the sheet What if as changes of cells of the other sheets."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple, NoReturn

from planner.errors import Fault
from planner.season.cells import Setting, read_cell
from planner.season.headers import PRESSURE, Heading, find_column, split_header
from planner.season.match import Line
from planner.season.names import key, nearest, shown
from planner.season.schema import SHEETS
from planner.season.tables import sheet_of
from planner.units import Unreadable

if TYPE_CHECKING:
    from collections.abc import Iterable

    from planner.season.match import Table, Tables
    from planner.season.schema import Column

JOINT = " / "
"""What joins the texts of several columns where the first alone does not tell rows apart."""


WAS = "was"
"""Key under which a row of What if keeps what stands in the cell that it changes."""
MAX_CHANGES = 1_000
"""Most rows of What if."""

Texts = dict[str, list[dict[str, list[Line]]]]
"""By sheet: rows by the texts that may mean them, from the shortest on."""


class _Misplaced(Exception):
    def __init__(self, name: str, expected: str, remedy: str = "") -> None:
        super().__init__(name)
        self.name, self.expected, self.remedy = name, expected, remedy


def _misplaced(name: str, expected: str, remedy: str = "") -> NoReturn:
    raise _Misplaced(name, expected, remedy)


class _Cells(NamedTuple):
    """The cells that a row of What if changes."""

    sheet: str
    name: str
    """Key of the column."""
    column: Column
    unit: str
    lines: list[Line]


def change(tables: Tables, scenario: str, money: str) -> list[Fault]:
    """Make the changes of a scenario (none if its name is empty). Returns faults of What if."""
    table = tables["What if"]
    faults = _unknown_scenario(table, scenario)
    if len(table.lines) > MAX_CHANGES:
        seen = f"{len(table.lines):,} rows"
        return [Fault(table.name, seen=seen, expected=f"at most {MAX_CHANGES:,} of them")]
    changes = []
    texts: Texts = {}
    for line in table.lines:
        if not all(line.texts.get(name, "").strip() for name in ("sheet", "item", "column")):
            continue  # these must be filled, and are told of with all such cells
        try:
            cells = _cells(tables, line, texts)
            _check_value(line, cells, money, table.comma)
        except _Misplaced as problem:
            faults.append(table.fault(line, problem.name, problem.expected, problem.remedy))
            continue
        line.texts[WAS] = "; ".join(x.texts.get(cells.name, "").strip() for x in cells.lines)
        if scenario and key(line.texts.get("scenario", "")) == key(scenario):
            changes.append((cells, line.texts.get("value", "")))
    for cells, text in changes:
        for line in cells.lines:
            line.texts[cells.name] = text
        tables[cells.sheet] = _with_cells(tables[cells.sheet], cells)
    return faults


def _unknown_scenario(table: Table, scenario: str) -> list[Fault]:
    said = [line.texts.get("scenario", "") for line in table.lines]
    names = {key(name): name for name in said}
    if not scenario or key(scenario) in names:
        return []
    expected, remedy = "a scenario of What if", _near(scenario, names.values())
    return [table.fault(Line(0, {}), "scenario", expected, remedy, scenario)]


def _near(text: str, names: Iterable[str]) -> str:
    near = nearest(text, names)
    return f"nearest: '{shown(near)}'" if near else ""


def _cells(tables: Tables, line: Line, texts: Texts) -> _Cells:
    """Find the cells that a row of What if means."""
    sheet = sheet_of(line.texts["sheet"])
    if sheet is None or sheet.name == "What if":
        near = _near(line.texts["sheet"], [s.name for s in SHEETS])
        _misplaced("sheet", "a sheet of the season", near)
    table = tables[sheet.name]
    if sheet.settings:
        return _setting(table, line)
    found = find_column(sheet, line.texts["column"])
    name = found[0].key if found else ""
    if found and found[0] is sheet.per_threat:
        threat = split_header(line.texts["column"])[0][: -len(PRESSURE)]
        name = f"pressure:{key(threat)}"
        found = found if name in table.headings else None
    if found is None:
        near = _near(line.texts["column"], [c.name for c in sheet.columns])
        _misplaced("column", f"a column of sheet {sheet.name}", near)
    heading = table.headings.get(name)
    unit = heading.unit if heading else found[1]
    return _Cells(sheet.name, name, found[0], unit, _rows(table, line, texts))


def _setting(table: Table, line: Line) -> _Cells:
    """Find the cell of a setting; a setting that Farm leaves out gets a line of its own."""
    found = find_column(table.sheet, line.texts["item"], setting=True)
    if found is None:
        near = _near(split_header(line.texts["item"])[0], [s.name for s in table.sheet.settings])
        _misplaced("item", "a setting of Farm", near)
    if key(line.texts["column"]) != "value":
        _misplaced("column", "Value, as the sheet is Farm")
    for other in table.lines:
        there = find_column(table.sheet, other.texts.get("setting", ""), setting=True)
        if there and there[0] is found[0]:
            return _Cells(table.sheet.name, "value", found[0], there[1], [other])
    new = Line(line.row, {"setting": found[0].name, "value": ""})
    return _Cells(table.sheet.name, "value", *found, [new])


def _rows(table: Table, line: Line, texts: Texts) -> list[Line]:
    """Find the row of a sheet by the text of its first column, or of all that tell rows apart."""
    if table.sheet.name not in texts:
        texts[table.sheet.name] = _by_text(table)
    wanted = key(line.texts["item"])
    for rows in texts[table.sheet.name]:
        found = rows.get(wanted, [])
        if len(found) == 1:
            return found
        if found:
            names = JOINT.join(table.sheet.unique)
            _misplaced("item", "text that means one row only", f"write {names}")
    if table.sheet.must and not table.lines:
        return []  # told of already
    expected = f"text of the first column of sheet {table.sheet.name}"
    first = table.sheet.columns[0].key
    there = (other.texts.get(first, "") for other in table.lines)
    return _misplaced("item", expected, _near(wanted, there))


def _by_text(table: Table) -> list[dict[str, list[Line]]]:
    """Rows by their first column, by the first two that tell them apart, by all of these."""
    unique = [table.sheet.column(name).key for name in table.sheet.unique]
    found = []
    for keys in ([table.sheet.columns[0].key], unique[:2], unique):
        rows: dict[str, list[Line]] = defaultdict(list)
        for line in table.lines:
            rows[key(JOINT.join(line.texts.get(k, "").strip() for k in keys))].append(line)
        found.append(dict(rows))
    return found


def _check_value(line: Line, cells: _Cells, money: str, comma: bool) -> None:
    """Read the new value as its column would, so that a slip is told where it is written."""
    text = line.texts.get("value", "").strip()
    try:
        if text:
            read_cell(text, cells.column, Setting(cells.unit, money, comma))
    except Unreadable as problem:
        expected = f"for {cells.column.name} {problem.expected}"
        _misplaced("value", expected, problem.remedy)


def _with_cells(table: Table, cells: _Cells) -> Table:
    """Table with a column (or, on Farm, a line) that it may not have yet."""
    if table.sheet.settings:
        new = (line for line in cells.lines if line not in table.lines)
        return replace(table, lines=(*table.lines, *new))
    if cells.name in table.headings:
        return table
    for line in table.lines:
        line.texts.setdefault(cells.name, "")
    heading = Heading(cells.column, cells.column.name, -1, cells.unit)
    return replace(table, headings={**table.headings, cells.name: heading})

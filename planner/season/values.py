"""Texts of matched tables to values, with every fault."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.season.cells import Setting, try_cell
from planner.season.grids import Trouble
from planner.season.names import key
from planner.units import Unreadable

if TYPE_CHECKING:
    from planner.errors import Fault
    from planner.season.match import Line, Table

ENOUGH = 5_000
"""Faults of a sheet after which its other cells are left unread; nobody reads as many."""


def read_values(table: Table, money: str) -> list[Fault]:
    """Read all cells of a table into its lines. Returns the faults, or `ENOUGH` of them."""
    faults: list[Fault] = []
    for name, heading in table.headings.items():
        setting = Setting(heading.unit, money, table.comma)
        done: dict[str, object] = {}
        for line in table.lines:
            if len(faults) >= ENOUGH:
                line.bad.add(name)
                continue
            text = line.texts[name].strip()
            trouble = table.trouble(line, name)
            if trouble is not None:
                faults.append(trouble_fault(table, line, name, trouble))
                line.bad.add(name)
            elif text:
                if text not in done:
                    done[text] = try_cell(text, heading.column, setting)
                faults += _keep(table, line, name, done[text])
            elif heading.column.must:
                faults.append(table.fault(line, name, "a value, but the cell is blank"))
                line.bad.add(name)
    return faults


def trouble_fault(
    table: Table, line: Line, name: str, trouble: Trouble, setting: str = ""
) -> Fault:
    """Fault of a cell that has no value of its own; on Farm with the setting that it is for."""
    expected = f"for {setting} a value" if setting else "a value"
    if trouble is Trouble.FORMULA:
        remedy = "open the workbook in a spreadsheet program and save it: that stores results"
        return table.fault(line, name, expected, remedy, trouble.value)
    if trouble is Trouble.MERGED:
        area = table.merged[line.row, table.headings[name].index]
        expected += f" of its own, but the cell is part of merged range {area}"
        remedy = "unmerge it and fill in each of its cells that should hold something"
        return table.fault(line, name, expected, remedy)
    return table.fault(line, name, f"{expected}, not an error", "fix the formula or type the value")


def _keep(table: Table, line: Line, name: str, value: object) -> list[Fault]:
    if isinstance(value, Unreadable):
        line.bad.add(name)
        return [table.fault(line, name, value.expected, value.remedy)]
    line.values[name] = value
    return []


def duplicates(table: Table) -> list[Fault]:
    """Faults of rows that say again what an earlier row says."""
    columns = [table.sheet.column(name) for name in table.sheet.unique]
    first: dict[tuple[object, ...], Line] = {}
    faults = []
    for line in table.lines:
        if table.sheet.repeats or not columns or any(c.key in line.bad for c in columns):
            continue
        cells = [line.get(c.key) if c.key in line.values else c.default for c in columns]
        if all(cell is None for cell in cells):
            continue
        same = tuple(key(cell) if isinstance(cell, str) else cell for cell in cells)
        if same in first:
            what = " and ".join(c.name for c in columns)
            other = first[same]
            remedy = f"row {other.row} has it already: keep one"
            texts = [(line.texts.get(c.key, ""), other.texts.get(c.key, "")) for c in columns]
            if any(one != two and key(one) == key(two) for one, two in texts):
                remedy += " (case and spaces don't tell names apart)"
            seen = " / ".join(one.strip() for one, _ in texts)
            faults.append(table.fault(line, columns[0].key, f"each {what} once", remedy, seen))
        first.setdefault(same, line)
    return faults

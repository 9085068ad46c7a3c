"""The rows of the sheet Farm to values of settings."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.season.cells import Setting, try_cell
from planner.season.headers import find_column, split_header, unit_problem
from planner.season.match import Line
from planner.season.names import key, nearest, shown
from planner.season.schema import SETTINGS
from planner.season.values import trouble_fault
from planner.units import Unreadable

if TYPE_CHECKING:
    from planner.errors import Fault
    from planner.season.match import Table


def farm_values(table: Table) -> tuple[list[Fault], list[str]]:
    """Read the rows Setting | Value of Farm: every line gets its value under the setting's key.

    Returns
    -------
    tuple[list[Fault], list[str]]
        The faults, and what to tell.
    """
    if table.lines and "setting" not in table.headings:
        return [], []
    notes: list[str] = []
    lines: dict[str, Line] = {}
    money, faults = currency(table)
    for line in table.lines:
        name = line.texts.get("setting", "").strip()
        found = find_column(table.sheet, name, setting=True)
        if not name:
            faults.append(table.fault(line, "setting", "the name of a setting"))
        elif found is None:
            like = _like_setting(split_header(name)[0])
            if like:
                near = " or ".join(f"'{n}'" for n in like)
                faults.append(table.fault(line, "setting", "a known setting", f"nearest: {near}"))
            else:
                notes.append(f"{table.name}: setting '{shown(name)}' is not known and was ignored.")
        elif found[0].key in lines:
            remedy = f"row {lines[found[0].key].row} has it already: keep one"
            faults.append(table.fault(line, "setting", "each setting once", remedy))
        else:
            lines[found[0].key] = line
    for name, line in lines.items():
        faults += _setting_value(table, name, line, money)
    return faults, notes


def _like_setting(name: str) -> list[str]:
    """Settings that a name may mean: those that it begins, else the one that it is most like."""
    names = [setting.name for setting in SETTINGS]
    begins = [n for n in names if len(key(name)) > 3 and key(n).startswith(key(name))]
    close = nearest(name, names, 0.75)
    return [close] if close else begins


def currency(table: Table) -> tuple[str, list[Fault]]:
    """Return the sign of money that Farm sets, and the fault of its cell if it is none."""
    for line in table.lines:
        if key(split_header(line.texts.get("setting", ""))[0]) != "currency":
            continue
        if table.trouble(line, "value"):
            return "$", []  # a fault like that of any other setting
        sign = line.texts.get("value", "").strip()
        if len(sign) > 8 or any(c.isdigit() or c in "%/;,." for c in sign):
            fault = table.fault(line, "value", "for Currency a sign or code such as $ or EUR")
            return "$", [fault]
        return sign or "$", []
    return "$", []


def _setting_value(table: Table, name: str, line: Line, money: str) -> list[Fault]:
    """Read the value of one setting into its line, under the setting's key."""
    column, unit = find_column(table.sheet, line.texts["setting"], setting=True) or (None, "")
    text = line.texts.get("value", "").strip()
    trouble = table.trouble(line, "value")
    if column is None or (not text and trouble is None):
        return []
    line.bad.add("value")
    if trouble is not None:
        return [trouble_fault(table, line, "value", trouble, column.name)]
    problem = unit_problem(column, unit)
    if problem:
        return [table.fault(line, "setting", *problem)]
    value = try_cell(text, column, Setting(unit, money, table.comma))
    if isinstance(value, Unreadable):
        expected = f"for {column.name} {value.expected}"
        return [table.fault(line, "value", expected, value.remedy)]
    line.bad.discard("value")
    line.values[name] = value
    return []


def settings(table: Table) -> dict[str, object]:
    """Values of all settings that were read, by key."""
    return {name: value for line in table.lines for name, value in line.values.items()}


def setting_line(table: Table, name: str) -> Line:
    """Line of a setting; one without a place where it is not filled."""
    return next((line for line in table.lines if name in line.values), Line(0, {}))

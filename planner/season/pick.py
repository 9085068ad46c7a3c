"""Rows of a sheet as a row of What if means them: by text, or all of several."""

from __future__ import annotations

from typing import TYPE_CHECKING, NoReturn

from planner.season.cells import Setting, read_cell
from planner.season.names import key, near
from planner.season.schema import Kind
from planner.sums import grouped
from planner.units import Unreadable

if TYPE_CHECKING:
    from planner.season.match import Line, Table
    from planner.season.schema import Column

JOINT = " / "
"""What joins the texts of several columns where the first alone does not tell rows apart."""
ALL = "all"
"""Word that stands for every text of a column."""

Texts = dict[str, "list[dict[str, list[Line]]]"]
"""By sheet: rows by the texts that may mean them, from the shortest on."""


class Misplaced(Exception):
    """A cell of What if can't be followed: the key of its column, what was expected, a remedy."""

    def __init__(self, name: str, expected: str, remedy: str) -> None:
        super().__init__(name)
        self.name, self.expected, self.remedy = name, expected, remedy


def misplaced(name: str, expected: str, remedy: str = "") -> NoReturn:
    """Raise `Misplaced`."""
    raise Misplaced(name, expected, remedy)


def rows_of(table: Table, line: Line, texts: Texts) -> list[Line]:
    """Find the row of a sheet by the text of its first column, or of all that tell rows apart."""
    if table.sheet.name not in texts:
        texts[table.sheet.name] = _by_text(table)
    wanted = key(line.texts["item"])
    for rows in texts[table.sheet.name]:
        found = rows.get(wanted, [])
        if len(found) == 1:
            return found
        unique = [table.sheet.column(name).key for name in table.sheet.unique]
        rest = unique[wanted.count(JOINT) + 1 :]
        bare = [x for x in found if not any(x.texts.get(name, "").strip() for name in rest)]
        if len(bare) == 1 and rest:
            return bare
        if found:
            names = JOINT.join(table.sheet.unique)
            misplaced("item", "text that means one row only", f"write {names}; or all for a part")
    if table.sheet.must and not table.lines:
        return []  # a fault already
    several = _matching(table, wanted)
    if several:
        return several
    expected = f"text of the first column of sheet {table.sheet.name}, or all"
    first = table.sheet.columns[0].key
    there = (other.texts.get(first, "") for other in table.lines)
    return misplaced("item", expected, near(wanted, there))


def _matching(table: Table, wanted: str) -> list[Line]:
    """Rows that a text with ``all`` in place of one or more of its parts means."""
    parts = wanted.split(JOINT)
    names = [table.sheet.column(name).key for name in table.sheet.unique]
    names = names or [table.sheet.columns[0].key]
    if ALL not in parts or len(parts) > len(names):
        return []
    return [
        line
        for line in table.lines
        if all(
            part in (ALL, key(line.texts.get(name, "")))
            for part, name in zip(parts, names, strict=False)
        )
    ]


def _by_text(table: Table) -> list[dict[str, list[Line]]]:
    """Rows by their first column, by the first two that tell them apart, by all of these.

    Also by all but days, which a spreadsheet's lists can't show as they are written, and with
    counts as they are read: a blank From count is 1.
    """
    columns = [table.sheet.column(name) for name in table.sheet.unique]
    unique = [column.key for column in columns]
    timeless = [column.key for column in columns if column.kind is not Kind.DATE]
    found = []
    for keys in ([table.sheet.columns[0].key], unique[:2], timeless, unique):
        rows = grouped(
            (key(JOINT.join(line.texts.get(k, "").strip() for k in keys)), line)
            for line in table.lines
        )
        found.append(dict(rows))
    as_read = (
        (key(JOINT.join(_as_read(line, column) for column in columns)), line)
        for line in table.lines
    )
    return [*found, dict(grouped(as_read))]


def _as_read(line: Line, column: Column) -> str:
    """Text of a cell; a count as the number that it means."""
    text = line.texts.get(column.key, "").strip()
    if column.kind is not Kind.COUNT:
        return text
    try:
        return str(read_cell(text, column, Setting("")) if text else column.default)
    except Unreadable:
        return text

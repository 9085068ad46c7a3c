"""Texts of matched tables to values, with every fault; references to the names that they mean."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.season.cells import Setting, read_cell
from planner.season.domain import UNTREATED
from planner.season.match import LIKELY, Line, Table, find_column, split_header, unit_problem
from planner.season.names import key, look, nearest, shown
from planner.season.schema import SETTINGS, SHEETS, Kind
from planner.season.tables import Trouble
from planner.units import Unreadable

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from planner.errors import Fault
    from planner.season.match import Heading
    from planner.season.schema import Column

Tables = dict[str, Table]
"""Matched tables by the schema's sheet name; every sheet is there, if need be without lines."""

_REMEDIES = {
    Trouble.FORMULA: "open the workbook in a spreadsheet program and save it, so that results are "
    "stored",
    Trouble.ERROR: "mend the formula or type the value",
}


def all_tables(tables: Iterable[Table]) -> Tables:
    """Tables by sheet; an empty one where a sheet is missing."""
    found = {table.sheet.name: table for table in tables}
    return {s.name: found.get(s.name) or Table(s, s.name, {}, ()) for s in SHEETS}


def read_values(table: Table, money: str) -> list[Fault]:
    """Read all cells of a table into its lines. Returns the faults."""
    faults: list[Fault] = []
    for name, heading in table.headings.items():
        setting = Setting(heading.unit, money, table.comma)
        done: dict[str, object] = {}
        for line in table.lines:
            text = line.texts[name].strip()
            trouble = table.troubles.get((line.row, heading.index))
            if trouble is not None:
                seen = trouble.value if trouble is Trouble.FORMULA else text
                expected = "a value" if trouble is Trouble.FORMULA else "a value, not an error"
                faults.append(table.fault(line, name, expected, _REMEDIES[trouble], seen))
                line.bad.add(name)
            elif text:
                if text not in done:
                    done[text] = _read(text, heading.column, setting)
                faults += _keep(table, line, name, done[text])
            elif heading.column.must:
                faults.append(table.fault(line, name, "a value, but the cell is blank"))
                line.bad.add(name)
    return faults


def _read(text: str, column: Column, setting: Setting) -> object:
    """Value of a text, or the exception that says why there is none."""
    try:
        return read_cell(text, column, setting)
    except Unreadable as problem:
        return problem


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


def look_alikes(tables: Tables) -> list[str]:
    """Sentences on names that differ but look the same."""
    told = []
    for table in tables.values():
        for column in table.sheet.columns:
            if column.kind is not Kind.NAME and column.key != "variety":
                continue
            names = {
                key(str(line.get(column.key))): line for line in table.lines if line.get(column.key)
            }
            seen: dict[str, str] = {}
            for line in names.values():
                name = str(line.get(column.key))
                twin = seen.setdefault(look(name), name)
                if twin != name:
                    told.append(
                        f"{table.name}, row {line.row}: '{shown(name)}' only looks like "
                        f"'{shown(twin)}'; they are taken for two."
                    )
    return told


def farm_values(table: Table) -> tuple[list[Fault], list[str]]:
    """Read the rows Setting | Value of Farm: every line gets its value under the setting's key.

    Returns
    -------
    tuple[list[Fault], list[str]]
        The faults, and what to tell.
    """
    told: list[str] = []
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
                faults.append(table.fault(line, "setting", "a known setting", f"nearest: '{like}'"))
            else:
                told.append(f"{table.name}: setting '{shown(name)}' is not known, passed over.")
        elif found[0].key in lines:
            remedy = f"row {lines[found[0].key].row} has it already: keep one"
            faults.append(table.fault(line, "setting", "each setting once", remedy))
        else:
            lines[found[0].key] = line
    for name, line in lines.items():
        faults += _setting_value(table, name, line, money)
    return faults, told


def _like_setting(name: str) -> str:
    names = [setting.name for setting in SETTINGS]
    begins = [n for n in names if len(key(name)) > 3 and key(n).startswith(key(name))]
    return nearest(name, names, 0.75) or (begins[0] if len(begins) == 1 else "")


def currency(table: Table) -> tuple[str, list[Fault]]:
    """Return the sign of money that Farm sets, and the fault of its cell if it is none."""
    for line in table.lines:
        if key(split_header(line.texts.get("setting", ""))[0]) != "currency":
            continue
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
    heading = table.headings.get("value")
    trouble = table.troubles.get((line.row, heading.index)) if heading else None
    if column is None or (not text and trouble is None):
        return []
    if trouble is not None:
        seen = trouble.value if trouble is Trouble.FORMULA else text
        return [table.fault(line, "value", f"for {column.name} a value", _REMEDIES[trouble], seen)]
    problem = unit_problem(column, unit)
    if problem:
        return [table.fault(line, "setting", *problem)]
    value = _read(text, column, Setting(unit, money, table.comma))
    if isinstance(value, Unreadable):
        line.bad.add("value")
        expected = f"for {column.name} {value.expected}"
        return [table.fault(line, "value", expected, value.remedy)]
    line.values[name] = value
    return []


def settings(table: Table) -> dict[str, object]:
    """Values of all settings that were read, by key."""
    return {name: value for line in table.lines for name, value in line.values.items()}


def setting_line(table: Table, name: str) -> Line:
    """Line of a setting; one without a place where it is not filled."""
    return next((line for line in table.lines if name in line.values), Line(0, {}))


Index = dict[str, str]
"""Names as they are kept, by their keys."""


def index(tables: Tables, sheet: str, column: str) -> Index:
    """Names of a column by key; of several spellings the first in the alphabet."""
    name = tables[sheet].sheet.column(column).key
    found: Index = {}
    for line in tables[sheet].lines:
        value = line.get(name)
        for word in value if isinstance(value, tuple) else (value,):
            if isinstance(word, str):
                found[key(word)] = min(found.get(key(word), word), word)
    return found


def resolve(tables: Tables) -> tuple[list[Fault], list[str]]:
    """Write every name as where it is defined; faults of names that are defined nowhere."""
    faults: list[Fault] = []
    told: list[str] = []
    for table in tables.values():
        for name, heading in table.headings.items():
            if heading.column.refers is None:
                continue
            names, sure = _names_for(tables, table, heading.column)
            if names is None:
                continue
            for line in table.lines:
                found = _resolve_cell(table, line, name, heading, names, sure)
                faults += found if sure else []
                told += [] if sure else _passed_over(table, line, name, found, names, faults)
    _spell_alike(tables)
    return faults, list(dict.fromkeys(told))


def _names_for(tables: Tables, table: Table, column: Column) -> tuple[Index | None, bool]:
    """Names that a column may hold (None: not to be checked here), and whether others are faults.

    Names of a sheet that could not be read are not checked, lest one fault bring many.
    """
    sheet, other = column.refers or ("", "")
    target = tables[sheet]
    names = index(tables, sheet, other)
    if not target.lines and (target.sheet.must or sheet == "Suppliers"):
        return None, True
    if target.lines and target.sheet.column(other).key not in target.headings:
        return None, True
    if column.key == "of" or column.key == "container":  # of one product only: a rule of check.py
        return None, True
    if column.key == "only_recipes":
        names |= {key(UNTREATED): UNTREATED}
    if table.sheet.name == "Discounts" and column.key == "supplier":
        names = index(tables, "Containers", "Supplier") | names
    return names, table.sheet.name not in ("Protection", "Active limits") or other == "Product"


def _resolve_cell(
    table: Table, line: Line, name: str, heading: Heading, names: Index, sure: bool
) -> list[Fault]:
    """Spell the names of a cell as they are defined. Returns faults of those that are not."""
    value = line.get(name)
    if value is None:
        return []
    words = value if isinstance(value, tuple) else (str(value),)
    faults = []
    sheet, column = heading.column.refers or ("", "")
    for word in words:
        if key(word) not in names:
            near = nearest(word, names.values())
            remedy = f"nearest: '{shown(near)}'" if near else f"add it to {sheet}"
            if near and look(near) == look(word):
                remedy += ", which only looks the same: type it anew"
            expected = f"a {column} of sheet {sheet}"
            faults.append(table.fault(line, name, expected, remedy, word))
            line.bad.add(name)
    kept = tuple(names.get(key(word), word) for word in words)
    line.values[name] = kept if isinstance(value, tuple) else kept[0]
    return faults


def _passed_over(
    table: Table, line: Line, name: str, found: list[Fault], names: Index, faults: list[Fault]
) -> list[str]:
    """Tell of a name that is defined nowhere; it stays a fault if it is probably a misspelling."""
    told = []
    for fault in found:
        if nearest(fault.seen, names.values(), LIKELY):
            faults.append(fault)
        else:
            sheet, column = table.headings[name].column.refers or ("", "")
            told.append(
                f"{table.name}: {column.lower()} '{fault.seen}' is not on {sheet}; its rows were "
                "passed over."
            )
    return told


_ALIKE = (
    (("Fields", "Trait"), ("Seed lots", "Trait")),
    (("Fields", "Grower"), ("Seed lots", "Grower")),
    (("Seed lots", "Variety"),),
    (("Containers", "Supplier"), ("Discounts", "Supplier"), ("Suppliers", "Supplier")),
    (("Containers", "Container"), ("Ordered so far", "Container")),
    (("Recipes", "Recipe"),),
    (("Discounts", "Discount"),),
    (("Actives", "Active ingredient"), ("Recipes", "Of"), ("Active limits", "Active ingredient")),
    (("What if", "Scenario"),),
)
"""Columns whose words are the same things."""


def _spell_alike(tables: Tables) -> None:
    """Spell words that are the same thing in one way, whichever rows come first."""
    for columns in _ALIKE:
        names: Mapping[str, str] = {}
        for sheet, column in columns:
            names = index(tables, sheet, column) | dict(names)
        for sheet, column in columns:
            name = tables[sheet].sheet.column(column).key
            for line in tables[sheet].lines:
                value = line.get(name)
                if isinstance(value, tuple):
                    line.values[name] = tuple(names[key(word)] for word in value)
                elif isinstance(value, str):
                    line.values[name] = names[key(value)]

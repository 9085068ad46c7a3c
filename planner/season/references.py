"""Names of other rows: what they refer to, and one spelling for what is one thing."""

from __future__ import annotations

from itertools import islice
from typing import TYPE_CHECKING

from planner.errors import Fault
from planner.season.cells import blank_for_all, blank_for_nothing
from planner.season.domain import UNTREATED
from planner.season.farm import settings
from planner.season.headers import LIKELY, split_header
from planner.season.names import key, look, nearest, shown
from planner.season.schema import Kind

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from planner.season.headers import Heading
    from planner.season.match import Line, Table, Tables
    from planner.season.schema import Column

MAY_BE_UNKNOWN = ("Protection", "Active limits", "Tolerance")
"""Sheets that may say more than a season needs: rows of what it does not know are ignored."""
MAX_NEAREST = 100
"""Misspelled names of a column for which the nearest one is looked up."""
MAX_LET_BE = 400
"""Names of a column that are defined nowhere and may be ignored; further ones are faults."""

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
    notes: list[str] = []
    for table in tables.values():
        for name, heading in table.headings.items():
            if heading.column.refers is None:
                continue
            names, sure = _names_for(tables, table, heading.column)
            if names is None:
                continue
            unsure = names_are_lost(tables, *(heading.column.refers))
            near: Index = {}
            slips: dict[str, bool] = {}
            for line in table.lines:
                found = _resolve_cell(table, line, name, heading, names, near)
                found = [f for f in found if not unsure or near.get(key(f.seen))]
                faults += found if sure else []
                notes += [] if sure else _let_be(table, name, found, names, slips, faults)
    _spell_alike(tables)
    return faults, list(dict.fromkeys(notes))


def names_are_lost(tables: Tables, sheet: str, column: str) -> bool:
    """Whether names of a column could not be read, which is a fault of its own.

    A name that is not in that column, nor near one there, may then be right.
    """
    table = tables[sheet]
    name = table.sheet.column(column).key
    return table.unread or any(name in line.bad for line in table.lines)


def _names_for(tables: Tables, table: Table, column: Column) -> tuple[Index | None, bool]:
    """Names that a column may hold (None: not to be checked here), and whether others are faults.

    Names of a sheet that could not be read are not checked, lest one fault bring many.
    """
    sheet, other = column.refers or ("", "")
    target = tables[sheet]
    names = index(tables, sheet, other)
    if table.sheet.name == "Discounts" and column.key == "supplier":
        names = index(tables, "Containers", "Supplier") | names
        return (names if tables["Containers"].lines else None), True
    if not target.lines and (target.unread or target.sheet.must or sheet == "Suppliers"):
        return None, True
    if target.lines and target.sheet.column(other).key not in target.headings:
        return None, True
    if column.key == "of" or column.key == "container":  # of one product only: a rule of check.py
        return None, True
    if column.key == "only_recipes":
        names |= {key(UNTREATED): UNTREATED}
    if sheet == "Suppliers":
        return names, False
    return names, table.sheet.name not in MAY_BE_UNKNOWN or other == "Product"


def _resolve_cell(
    table: Table, line: Line, name: str, heading: Heading, names: Index, known: Index
) -> list[Fault]:
    """Spell the names of a cell as they are defined. Returns faults of those that are not.

    `known` keeps the nearest names that were looked up already.
    """
    value = line.get(name)
    if value is None:
        return []
    words = value if isinstance(value, tuple) else (str(value),)
    faults = []
    sheet, column = heading.column.refers or ("", "")
    for word in words:
        if key(word) not in names:
            if key(word) not in known and len(known) < MAX_NEAREST:
                known[key(word)] = nearest(word, names.values())
            near = known.get(key(word), "")
            remedy = f"nearest: '{shown(near)}'" if near else f"add it to {sheet}"
            remedy = blank_for_all(word, heading.column) or remedy
            if not near:
                remedy = blank_for_nothing(word, heading.column) or remedy
            if table.sheet.name == "Discounts" and sheet == "Suppliers":
                remedy += ", or leave it blank for any supplier"
            if near and look(near) == look(word):
                remedy += ", which only looks the same: retype it"
            if isinstance(value, tuple) and (whole := _divided(word, names)):
                remedy = f"the ; in '{shown(whole)}' divides it: give that a name without one"
            parts = word.split(",")
            if isinstance(value, tuple) and len(parts) > 1 and all(key(x) in names for x in parts):
                remedy = f"write '{'; '.join(names[key(x)] for x in parts)}', with ; between"
            expected = f"a {column} of sheet {sheet}"
            faults.append(table.fault(line, name, expected, remedy, word))
            line.bad.add(name)
    kept = tuple(names.get(key(word), word) for word in words)
    line.values[name] = kept if isinstance(value, tuple) else kept[0]
    return faults


def _divided(word: str, names: Index) -> str:
    """Name of which a list, where ; divides names, makes several, this word among them.

    >>> _divided("1", {"v; 1": "V; 1"}), _divided("1", {"v 1": "V 1"})
    ('V; 1', '')
    """
    whole = (n for n in names.values() if ";" in n and key(word) in map(key, n.split(";")))
    return next(whole, "")


def _let_be(
    table: Table,
    name: str,
    found: list[Fault],
    names: Index,
    slips: dict[str, bool],
    faults: list[Fault],
) -> list[str]:
    """Tell of a name that is defined nowhere; it stays a fault if it is probably a misspelling.

    `slips` keeps which names are; where they are too many to be compared, all further ones are.
    """
    notes = []
    for fault in found:
        if fault.seen not in slips and len(slips) < MAX_LET_BE:
            slips[fault.seen] = bool(nearest(fault.seen, names.values(), LIKELY))
        if slips.get(fault.seen, True):
            faults.append(fault)
        else:
            sheet, column = table.headings[name].column.refers or ("", "")
            if sheet != "Suppliers":  # of those asking.py asks
                notes.append(
                    f"{table.name}: {column.lower()} '{fault.seen}' is not on {sheet}; its rows "
                    "were ignored."
                )
    return notes


def sheets_have_rows(tables: Tables) -> Iterator[Fault]:
    """There are fields and seed, recipes unless seed may go untreated, and all that is named."""
    needed = ["Fields", "Seed lots"]
    if not settings(tables["Farm"]).get("allow_untreated"):
        needed.append("Recipes")
    for table in tables.values():
        if table.lines or table.unread or not table.sheet.must:
            continue  # what can't be read is a fault already
        first = split_header(table.sheet.columns[0].name)[0]
        named, place, column = _named(tables, table.sheet.name)
        if named:
            each = first if column == first else f"{first}, with each {column}"
            expected = f"a row for each {each} that other sheets name: {some(named)}"
            yield Fault(table.name, expected=expected, remedy=f"see {place}")
        elif table.sheet.name in needed:
            expected = f"at least one row below the headers, with its {first}"
            yield Fault(table.name, expected=expected)


def _named(tables: Tables, sheet: str) -> tuple[Index, str, str]:
    """Names that others expect on a sheet, by key, where the first stands, and in which column."""
    found: Index = {}
    place, column = "", ""
    for table in tables.values():
        for name, heading in table.headings.items():
            if heading.column.refers is None or heading.column.refers[0] != sheet:
                continue
            for line in table.lines:
                value = line.get(name)
                for word in value if isinstance(value, tuple) else (value,):
                    if isinstance(word, str) and key(word) != key(UNTREATED):
                        place = place or f"{table.name}, row {line.row}, {heading.header}"
                        column = column or heading.column.refers[1]
                        found.setdefault(key(word), word)
    return found, place, column


def some(names: Mapping[str, str]) -> str:
    """Up to ten names, for a list of what there is."""
    more = ["..."] if len(names) > 10 else []
    return ", ".join([*map(shown, islice(names.values(), 10)), *more])


_ALIKE = (
    (("Fields", "Trait"), ("Seed lots", "Trait")),
    (("Fields", "Grower"), ("Seed lots", "Grower"), ("Growers", "Grower")),
    (("Seed lots", "Variety"),),
    (
        ("Seed lots", "Seller"),
        ("Containers", "Supplier"),
        ("Discounts", "Supplier"),
        ("Suppliers", "Supplier"),
    ),
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


def look_alikes(tables: Tables) -> list[str]:
    """Sentences on names that differ but look the same."""
    notes = []
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
                    notes.append(
                        f"{table.name}, row {line.row}: '{shown(name)}' only looks like "
                        f"'{shown(twin)}'; they are taken for two."
                    )
    return notes

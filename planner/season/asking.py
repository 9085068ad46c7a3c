"""What the reader asks about: cells that can be read, but perhaps not as they were meant."""

from __future__ import annotations

import re
from collections import defaultdict
from itertools import combinations, islice
from typing import TYPE_CHECKING

from planner.season.farm import settings
from planner.season.headers import find_column
from planner.season.match import row_numbers
from planner.season.names import is_slip, key, nearest, shown
from planner.season.references import index
from planner.season.schema import Kind

if TYPE_CHECKING:
    from collections.abc import Iterator

    from planner.season.match import Tables

SHARED_NAMES = (
    ("Containers", "name", "product", "Each has price breaks of its own."),
    ("Recipes", "name", "", "Each is a recipe of its own, with the products of its rows alone."),
    ("Discounts", "name", "supplier", "Both are taken off, each with levels of its own."),
    ("Fields", "grower", "", "Seed of one grower may not go on fields of the other."),
    ("Seed lots", "grower", "", "Seed of one grower may not go on fields of the other."),
)
"""Sheet, column of a name that rows may share, column within which they do, and what comes of
another name."""
MOST_PAIRS = 100_000
"""Pairs of names of one sheet that are held against each other."""
NUMBERS = frozenset({Kind.NUMBER, Kind.COUNT, Kind.QUANTITY, Kind.RATE})
"""Kinds of cells whose numbers may have been typed with a point between thousands."""
BY_POINT = re.compile(r"\s*[^\d\s.,]{0,8}\s*([1-9]\d{0,2})\.(\d{2}0)(?!\d)", re.ASCII)
"""Thousands as they are written where a comma stands before decimals; 1.5 and 0.250 are none."""


def asking(tables: Tables) -> list[str]:
    """All questions, in the order of the sheets."""
    return [
        *points_between_thousands(tables),
        *suppliers_not_listed(tables),
        *suppliers_without_sales(tables),
        *no_first_treating_day(tables),
        *names_a_slip_apart(tables),
    ]


def points_between_thousands(tables: Tables) -> Iterator[str]:
    """Numbers such as 480.000, of which a spreadsheet's own numbers are never written."""
    farm = tables["Farm"]
    for line in farm.lines:
        found = find_column(farm.sheet, line.texts.get("setting", ""), setting=True)
        if found and found[0].kind in NUMBERS and found[0].key in settings(farm):
            yield from _of_point(line.texts.get("value", ""), f"Farm, {found[0].name}", "")
    for table in tables.values():
        for name, heading in table.headings.items():
            if heading.column.kind not in NUMBERS:
                continue
            texts = {line.row: line.texts.get(name, "") for line in table.lines}
            rows = [row for row, text in texts.items() if BY_POINT.match(text)]
            if rows:
                place = f"{table.name}, {heading.column.name}"
                yield from _of_point(texts[rows[0]], place, f" ({row_numbers(rows)})")


def _of_point(text: str, place: str, rows: str) -> Iterator[str]:
    found = BY_POINT.match(text)
    if found:
        whole, rest = found.groups()
        decimal = f"{whole}.{rest}".rstrip("0").rstrip(".")
        yield (
            f"{place}: is '{shown(text.strip())}' meant as {decimal}? It was read so, as a point "
            f"stands before decimals. For thousands write {whole},{rest} or {whole}{rest}{rows}."
        )


def suppliers_not_listed(tables: Tables) -> Iterator[str]:
    """Containers whose supplier is not on Suppliers, where that sheet is filled."""
    listed = index(tables, "Suppliers", "Supplier")
    rows: dict[str, list[int]] = defaultdict(list)
    for line in tables["Containers"].lines:
        name = line.get("supplier")
        if isinstance(name, str) and key(name) not in listed:
            rows[name].append(line.row)
    for name, where in rows.items() if listed else ():
        near = nearest(name, listed.values())
        hint = f" (nearest there: '{shown(near)}')" if near else ""
        yield (
            f"Containers, Supplier ({row_numbers(where)}): is '{shown(name)}' right? It is not on "
            f"Suppliers{hint}, so that no freight and no last day to order are known, and none "
            "were taken."
        )


def suppliers_without_sales(tables: Tables) -> Iterator[str]:
    """Suppliers that no container and no seed lot names, so that nothing is bought there."""
    selling = index(tables, "Containers", "Supplier")
    named = selling | index(tables, "Seed lots", "Seller")
    given = index(tables, "Discounts", "Supplier")
    for line in tables["Suppliers"].lines:
        name = line.get("name")
        if not isinstance(name, str) or key(name) in named or not named:
            continue
        near = nearest(name, named.values())
        hint = f" (nearest name: '{shown(near)}')" if near else ""
        discount = ", discounts" if key(name) in given else ""
        yield (
            f"Suppliers, Supplier (row {line.row}): does '{shown(name)}' sell anything? No "
            f"container and no seed lot names it{hint}, so that its freight{discount} and days "
            "count for nothing."
        )


def names_a_slip_apart(tables: Tables) -> Iterator[str]:
    """Names that rows share, where another one looks like the same mistyped."""
    for sheet, column, within, then in SHARED_NAMES:
        rows: dict[object, dict[str, list[int]]] = defaultdict(lambda: defaultdict(list))
        for line in tables[sheet].lines:
            name = line.get(column)
            if isinstance(name, str):
                rows[line.get(within) if within else None][name].append(line.row)
        heading = tables[sheet].sheet.by_key(column)
        for named in rows.values():
            # the one that fewer rows have, or a later one, is more likely mistyped
            names = sorted(named, key=lambda name: (-len(named[name]), named[name][0]))
            for right, odd in islice(combinations(names, 2), MOST_PAIRS):
                if is_slip(right, odd):
                    yield (
                        f"{sheet}, {heading.name if heading else column} "
                        f"({row_numbers(named[odd])}): is '{shown(odd)}' another than "
                        f"'{shown(right)}' ({row_numbers(named[right])})? {then} If it is the "
                        "same, spell it the same."
                    )


def no_first_treating_day(tables: Tables) -> Iterator[str]:
    """The setting is blank, so that treating may begin on the plan date."""
    if "first_treating_day" not in settings(tables["Farm"]):
        yield (
            "No First treating day is given on Farm: the calendar starts on the plan date. Give "
            "the first day on which you could treat."
        )

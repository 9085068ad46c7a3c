"""Rules among rows on what is not known yet; each returns the faults that it finds."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.season.cells import blank_for_all
from planner.season.domain import Quantity
from planner.season.names import key, near, shown
from planner.season.references import index, names_are_lost

if TYPE_CHECKING:
    from collections.abc import Iterator

    from planner.errors import Fault
    from planner.season.match import Line, Table, Tables

HOME = {
    Quantity.ACRES: ("Fields", "Field"),
    Quantity.PRODUCT_USED: ("Products", "Product"),
}
"""Sheet and column of the names that a row may hold; lots for all others."""
LOTS = ("Seed lots", "Lot")


def home(what: object) -> tuple[str, str]:
    """Sheet and column in which the names of a row stand.

    >>> home("Acres"), home("Germination")
    (('Fields', 'Field'), ('Seed lots', 'Lot'))
    """
    return HOME.get(Quantity(what), LOTS)


def unknown_names_exist(tables: Tables) -> Iterator[Fault]:
    """Every name is a lot, a field or a product, by what the row is about."""
    table = tables["Unknowns"]
    for line in table.lines:
        if line.get("what") is None:
            continue
        sheet, column = home(line.get("what"))
        names = index(tables, sheet, column)
        lost = names_are_lost(tables, sheet, column) or not names
        for word in _words(line):
            closest = near(word, names.values())
            if key(word) not in names and (closest or not lost):
                remedy = closest or f"add it to {sheet}"
                remedy = blank_for_all(word, table.sheet.column("Of")) or remedy
                yield table.fault(line, "of", f"a {column} of sheet {sheet}", remedy, word)


def unknowns_are_in_order(tables: Tables) -> Iterator[Fault]:
    """Low is no more than Likely, and Likely no more than High."""
    table = tables["Unknowns"]
    for line in table.lines:
        if line.bad & {"low", "likely", "high"}:
            continue
        low, high, likely = line.get("low"), line.get("high"), _likely(line)
        if not isinstance(low, float) or not isinstance(high, float):
            continue
        if low > high:
            expected = f"no more than High, {high * 100:g}%"
            yield table.fault(line, "low", expected, "swap the two")
        elif not low <= likely <= high:
            name = "likely" if "likely" in line.values else "low"
            expected = f"Likely from Low to High, {low * 100:g} to {high * 100:g}%"
            blank = "" if "likely" in line.values else "; a blank Likely is 0%"
            yield table.fault(line, name, expected, f"fill in Likely{blank}")


def unknowns_leave_something(tables: Tables) -> Iterator[Fault]:
    """No figure that must be above zero can fall to zero or below, all its rows together."""
    table = tables["Unknowns"]
    lots = {key(str(x.get("name"))): x for x in tables["Seed lots"].lines}
    taken: dict[str, float] = {}
    for line in table.lines:
        low = line.get("low")
        if not isinstance(low, float) or line.get("what") is None:
            continue
        what = Quantity(line.get("what"))
        if what in (Quantity.SEEDS_PER_LB, Quantity.PRODUCT_USED) and low <= -1.0:
            yield table.fault(line, "low", "a percent above -100%", f"{what.value} can't be 0")
        if what is Quantity.GERMINATION:
            yield from _germination(table, line, low, lots, taken)


def _germination(
    table: Table, line: Line, low: float, lots: dict[str, Line], taken: dict[str, float]
) -> Iterator[Fault]:
    """Faults of a row about germination; adds what it takes off to that of the rows above it."""
    named = [key(word) for word in _words(line)]
    for name in named or lots:
        lot = lots.get(name)
        if lot is None or "germination" in lot.bad:
            continue
        known = lot.get("germination")
        who = shown(str(lot.get("name")))
        if known is None and named:
            remedy = "fill it in on Seed lots, or leave the lot out here"
            yield table.fault(line, "of", "a lot with a Germination", remedy, who)
        elif isinstance(known, float):
            before = taken.get(name, 0.0)
            taken[name] = before - low
            if known - before > 0.0 >= known + low - before:
                expected = f"points that leave a germination above 0%: {who} has {known * 100:g}%"
                if before > 0.0:
                    expected += f", of which rows above take {before * 100:g} points"
                yield table.fault(line, "low", expected)


def _words(line: Line) -> tuple[str, ...]:
    value = line.get("of")
    return value if isinstance(value, tuple) else ()


def _likely(line: Line) -> float:
    value = line.get("likely")
    return value if isinstance(value, float) else 0.0


UNKNOWNS_RULES = (unknown_names_exist, unknowns_are_in_order, unknowns_leave_something)

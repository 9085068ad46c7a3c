"""Rules among rows on what is mixed in the shop; each returns the faults that it finds."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.season.cells import Amount
from planner.season.domain import CARRIER, POWDER
from planner.season.names import shown
from planner.sums import grouped

if TYPE_CHECKING:
    from collections.abc import Iterator

    from planner.errors import Fault
    from planner.season.match import Tables

BY_UNIT, BY_SEED = "fl oz/unit", "fl oz/seed"
"""Basis of every rate by volume on a unit or on so many seeds, whatever it is written in."""


def _of_kind(tables: Tables, kind: str) -> set[object]:
    """Names of the products of a kind."""
    return {line.get("name") for line in tables["Products"].lines if line.get("kind") == kind}


def carriers_are_not_bought(tables: Tables) -> Iterator[Fault]:
    """What only thins the slurry has no containers, holds no threat and no active ingredient."""
    carriers = _of_kind(tables, CARRIER)
    for sheet in ("Containers", "Ordered so far", "Protection", "Actives"):
        for line in tables[sheet].lines:
            if line.get("product") in carriers:
                expected = f"no product of kind {CARRIER}: it only thins and is not bought"
                remedy = "remove this row, or give the product another Kind on Products"
                yield tables[sheet].fault(line, "product", expected, remedy)


def carriers_thin_something(tables: Tables) -> Iterator[Fault]:
    """Every recipe holds a product besides what thins it."""
    table = tables["Recipes"]
    carriers = _of_kind(tables, CARRIER)
    for lines in grouped((line.get("name"), line) for line in table.lines).values():
        if all(line.get("product") in carriers for line in lines):
            expected = f"a recipe with a product besides its {CARRIER}"
            yield table.fault(lines[0], "product", expected, "add one, or remove the recipe")


def powders_go_by_the_unit(tables: Tables) -> Iterator[Fault]:
    """A powder for the planter is dosed by the unit."""
    table = tables["Recipes"]
    powders = _of_kind(tables, POWDER)
    for line in table.lines:
        rate = line.get("rate")
        by_unit = isinstance(rate, Amount) and rate.basis in (BY_UNIT, BY_SEED)
        if line.get("product") in powders and rate is not None and not by_unit:
            expected = f"fl oz/unit or mL/unit, as a {POWDER} goes into the planter by the unit"
            yield table.fault(line, "rate", expected, "half a cup is 4 fl oz")


def nothing_keeps_off_itself(tables: Tables) -> Iterator[Fault]:
    """No product must not be mixed with itself."""
    table = tables["Products"]
    for line in table.lines:
        others = line.get("not_with")
        if isinstance(others, tuple) and line.get("name") in others:
            expected = f"other products than {shown(str(line.get('name')))} itself"
            yield table.fault(line, "not_with", expected)


SHOP_RULES = (
    carriers_are_not_bought,
    carriers_thin_something,
    powders_go_by_the_unit,
    nothing_keeps_off_itself,
)

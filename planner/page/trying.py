"""The page Try it: fields to type in, from a season and its plan, and back to changes."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from planner.report.measures import Measure, manner_of
from planner.season.domain import WhatIf
from planner.units import read_land

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from planner.plan.plan import Plan
    from planner.report.measures import Manner
    from planner.season.domain import Season

BARE = re.compile(r"[\d.,\s]+")
"""A number without a unit: it counts in the unit that stands beside the field."""
MEASURED = ("Acres", "Seeds per lb")
"""Columns whose numbers have a unit of the farm's manner."""
MOST_COUNT = 100_000
MOST_TEXT = 100
"""Letters of a typed value that are read."""


@dataclass(frozen=True, slots=True)
class Slot:
    """One figure that may be changed."""

    name: str
    """Of the form's field."""
    texts: tuple[str, ...]
    """What it is of, for the first columns of its table."""
    value: str
    """As it is in the workbook, or in the plan for a count."""
    unit: str
    column: str = ""
    """Sheet, item and column of the cell; empty for a count, which is a decision."""
    sheet: str = ""
    item: str = ""


@dataclass(frozen=True, slots=True)
class Group:
    """Figures of one kind: a table of fields to type in."""

    key: str
    title: str
    heads: tuple[str, ...]
    slots: tuple[Slot, ...]
    help: str = ""


def groups(season: Season, plan: Plan) -> tuple[Group, ...]:
    """All figures that may be changed, of the season as the workbook has it."""
    manner = manner_of(season.farm)
    return (
        Group(
            "counts",
            "Containers to order",
            ("Product", "Container", "Supplier"),
            tuple(_counts(season, plan)),
            "How many of each are ordered. Planning again decides these itself.",
        ),
        Group(
            "prices",
            "Prices of containers",
            ("Product", "Container", "From count"),
            tuple(_prices(season)),
        ),
        Group("acres", "Land of fields", ("Field",), tuple(_acres(season, manner))),
        Group("sizes", "Seed size of lots", ("Lot", "Variety"), tuple(_sizes(season, manner))),
        Group("rates", "Rates of recipes", ("Recipe", "Product"), tuple(_rates(season))),
    )


def _counts(season: Season, plan: Plan) -> Iterator[Slot]:
    ordered = plan.counts
    for n, c in enumerate(season.containers):
        value = str(ordered.get((c.product, c.name), 0))
        yield Slot(f"count-{n}", (c.product, c.name, c.supplier or ""), value, "")


def _prices(season: Season) -> Iterator[Slot]:
    for n, c in enumerate(season.containers):
        for m, b in enumerate(c.breaks):
            item = f"{c.product} / {c.name}" + (f" / {b.from_count}" if len(c.breaks) > 1 else "")
            yield Slot(
                f"price-{n}-{m}",
                (c.product, c.name, str(b.from_count)),
                f"{b.price:.2f}",
                season.farm.currency,
                "Price",
                "Containers",
                item,
            )


def _acres(season: Season, manner: Manner) -> Iterator[Slot]:
    unit = manner.label(Measure.AREA)
    for n, f in enumerate(season.fields):
        value = _plain(manner.value(f.acres, Measure.AREA), 3)
        yield Slot(f"acres-{n}", (f.name,), value, unit, "Acres", "Fields", f.name)


def _sizes(season: Season, manner: Manner) -> Iterator[Slot]:
    unit = manner.label(Measure.SEEDS_PER_WEIGHT)
    for n, lot in enumerate(season.lots):
        value = _plain(manner.value(lot.seeds_per_lb, Measure.SEEDS_PER_WEIGHT), 1)
        yield Slot(
            f"size-{n}", (lot.name, lot.variety), value, unit, "Seeds per lb", "Seed lots", lot.name
        )


def _rates(season: Season) -> Iterator[Slot]:
    for n, recipe in enumerate(season.recipes):
        for m, rate in enumerate(recipe.rates):
            item = f"{recipe.name} / {rate.product}"
            texts = (recipe.name, rate.product)
            yield Slot(f"rate-{n}-{m}", texts, rate.written, "", "Rate", "Recipes", item)


def _plain(number: float, decimals: int) -> str:
    return f"{number:.{decimals}f}".rstrip("0").rstrip(".")


def typed(form: Mapping[str, object], shown: tuple[Group, ...]) -> dict[str, str]:
    """What a form says otherwise than the workbook and the plan, by the names of its fields."""
    found = {}
    for group in shown:
        for slot in group.slots:
            given = form.get(slot.name)
            text = given.strip()[:MOST_TEXT] if isinstance(given, str) else ""
            if text and text != slot.value:
                found[slot.name] = text
    return found


def changes(typed: Mapping[str, str], shown: tuple[Group, ...]) -> tuple[WhatIf, ...]:
    """Changes of cells that were typed."""
    return tuple(
        WhatIf("", slot.sheet, slot.item, slot.column, _with_unit(typed[slot.name], slot))
        for group in shown
        for slot in group.slots
        if slot.column and slot.name in typed
    )


def _with_unit(text: str, slot: Slot) -> str:
    """Text of a cell: a bare number counts in the unit beside the field, whatever its header."""
    bare = slot.column in MEASURED and BARE.fullmatch(text)
    return f"{text} {slot.unit}" if bare else text


def most_moved(text: str, season: Season) -> float | None:
    """Acres that may change at the most, in the farm's unit where none is typed; None if blank.

    Raises
    ------
    Unreadable
        When it is no land.
    """
    given = text.strip()[:MOST_TEXT]
    return max(0.0, read_land(given, metric=season.farm.metric)) if given else None


def counts(
    typed: Mapping[str, str], season: Season, plan: Plan
) -> tuple[dict[tuple[str, str], int], list[str]]:
    """Containers to order, and what is wrong with what was typed, in sentences."""
    found = plan.counts
    wrong = []
    for n, c in enumerate(season.containers):
        text = typed.get(f"count-{n}")
        if text is None:
            continue
        if not text.isascii() or not text.isdigit() or int(text) > MOST_COUNT:
            wrong.append(
                f"{c.product}, {c.name}: you typed '{text}'; expected a whole number of containers."
            )
            continue
        found[c.product, c.name] = int(text)
    return found, wrong

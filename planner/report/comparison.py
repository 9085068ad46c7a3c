"""Plans side by side, as JSON and as a workbook."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from planner.explain.words import listing
from planner.plan.plan import NEARNESS, TOTAL, how_near
from planner.report.json import as_bytes
from planner.report.measures import Measure
from planner.report.sheets import Book, Cell, Column, Look, Page, Room, Sheet, Table, Text
from planner.report.spread import spread

if TYPE_CHECKING:
    from collections.abc import Sequence

    from planner.explain.compare import Comparison, Part
    from planner.report.measures import Manner
    from planner.report.sheets import Block, Content

AS_IT_IS = "Its plan if it does not happen"
"""What people read above `Comparison.totals_as_it_is`."""
HELD_SAID = (
    "Each total is counted with the figures of its own season. "
    f"{AS_IT_IS}: what the same order, bags and fields come to in the season as it is."
)
NOT_ALLOWED = "not possible"
"""In place of a total where the season as it is does not allow a plan's decisions."""
NOT_FOUND = "no plan found in its time"
LONGEST = 12
"""Lines up to which a side of the plans is on the first sheet."""
MEASURES = {
    "money": Measure.MONEY,
    "count": Measure.COUNT,
    "acres": Measure.AREA,
    "units": Measure.UNITS,
}


def remarks(compared: Comparison) -> tuple[str, ...]:
    """What keeps plans from being compared by their totals alone, in sentences."""
    found = []
    if compared.currencies:
        each = zip(compared.names, compared.currencies, strict=True)
        found.append(
            f"Not one money: {listing([f'{name} is in {sign}' for name, sign in each])}. Amounts "
            f"stand as they are, all under {compared.currencies[0]}, and can't be compared."
        )
    if compared.plants_less:
        leaves = "leaves" if len(compared.plants_less) == 1 else "leave"
        found.append(
            f"{listing(compared.plants_less)} {leaves} more land unplanted (see Shortages): a "
            "lower total is not cheaper there."
        )
    if compared.open_short:
        found.append(
            f"Less land may have to stay short in: {', '.join(compared.open_short)}. The search "
            "did not rule that out; with more seconds it may plant more."
        )
    if compared.paid_before:
        found.append(
            f"Containers ordered already cost nothing in {listing(compared.paid_before)}: totals "
            "can't be compared where not the same ones are ordered already."
        )
    if compared.better_as_it_is:
        decides = "decides" if len(compared.better_as_it_is) == 1 else "decide"
        found.append(
            f"What {listing(compared.better_as_it_is)} {decides} is cheaper than the plan in the "
            "season as it is, too: the time for deciding was too short to find it, or the plan "
            "stays near an old one. Plan again with more time."
        )
    if compared.treated_before:
        found.append(
            f"Seed treated already takes no more product in {listing(compared.treated_before)}: "
            "totals can't be compared where not the same seed is treated already."
        )
    return tuple(found)


def comparison_json(compared: Comparison) -> dict[str, Any]:
    """Turn a comparison into a dict ready for `json.dumps`."""
    from planner.explain.as_json import comparison

    gaps = [gap if math.isfinite(gap) else None for gap in compared.gaps]
    return {"contract": 1, "same": compared.same, **comparison(compared), "gaps": gaps}


def comparison_bytes(comparison: Comparison) -> bytes:
    """Write a comparison as the bytes of ``compare.json``."""
    return as_bytes(comparison_json(comparison))


def comparison_book(comparison: Comparison, manner: Manner) -> Book:
    """Describe a workbook of costs, shortages, order and so on, long ones on their own sheets."""
    missing = comparison.not_found
    found = comparison.only([n for n in range(len(comparison.names)) if n not in missing])
    blocks: list[Block] = []
    apart = []
    for part in found.parts:
        table = _lines(part, found)
        if len(part.lines) <= LONGEST:
            blocks.append(replace(table, title=part.name))
            continue
        blocks.append(Text((f"See the sheet {part.name}.",), part.name))
        purpose, page = "Lines that differ come first.", Page(landscape=True)
        table = replace(table, repeat_header=True)
        apart.append(Sheet(part.name, purpose, (table,), page, Room.WHY))
    sheets = [_first(comparison, blocks), *apart]
    return Book(spread(sheets, manner), manner, farm="", season="Plans compared")


def _first(comparison: Comparison, sides: Sequence[Block]) -> Sheet:
    """What each plan costs and how near the cheapest it is, remarks on that, and the sides."""
    (total,) = (x.amounts for x in comparison.parts[0].lines if x.what == (TOTAL,))
    short = comparison.acres_short
    priced = bool(comparison.totals_as_it_is)
    rows: list[tuple[Content, ...]] = [
        (name, Cell(NOT_FOUND, Look.WATCH), *[None] * (1 + priced + any(short)))
        if n in comparison.not_found
        else (
            name,
            how_near(outcome, gap),
            total[n],
            *([held_total(comparison, n)] if priced else []),
            *([short[n]] if any(short) else []),
        )
        for n, (name, outcome, gap) in enumerate(
            zip(comparison.names, comparison.outcomes, comparison.gaps, strict=True)
        )
    ]
    columns = (
        Column("plan", "Plan"),
        Column("near", NEARNESS, Measure.PERCENT, decimals=2),
        Column("total", TOTAL, Measure.MONEY),
        *([Column("held", AS_IT_IS, Measure.MONEY)] if priced else []),
        *([Column("short", "Land short", Measure.AREA)] if any(short) else []),
    )
    words = "Nothing differs." if comparison.same else "Every table shows what differs first."
    blocks: tuple[Block, ...] = (
        Text((words, *remarks(comparison))),
        Table("plans", columns, tuple(rows), "The plans", note=HELD_SAID if priced else ""),
        *sides,
    )
    purpose = "What differs between these plans."
    return Sheet("Comparison", purpose, blocks, Page(landscape=True), Room.PLAN)


def held_total(comparison: Comparison, number: int) -> Content:
    """Total of a plan's decisions in the season as it is, or that it does not allow them."""
    total = comparison.totals_as_it_is[number]
    return Cell(NOT_ALLOWED, Look.FAINT) if total is None else total


def _lines(part: Part, comparison: Comparison) -> Table:
    """Every line of a side of the plans."""
    measure = MEASURES[part.unit]
    what = tuple(Column(f"what_{n}", name) for n, name in enumerate(part.columns))
    plans = tuple(Column(f"plan_{n}", name, measure) for n, name in enumerate(comparison.names))
    rows = tuple(
        (
            *line.what,
            *(Cell(amount, Look.STRONG if line.differs else Look.FAINT) for amount in line.amounts),
            Cell(line.amounts[-1] - line.amounts[0]) if line.differs else None,
        )
        for line in part.lines
    )
    more = Column("more", "Last less first", measure)
    name = part.name.lower().replace(" ", "_")
    return Table(name, (*what, *plans, more), rows, empty="Nothing in any plan.")

"""Plans side by side, as JSON and as a workbook."""

from __future__ import annotations

import json
import math
from typing import TYPE_CHECKING, Any

from planner.explain.words import listing
from planner.plan.plan import said_gap
from planner.report.measures import Measure
from planner.report.sheets import Book, Cell, Column, Look, Page, Room, Sheet, Table, Text
from planner.report.spread import spread

if TYPE_CHECKING:
    from planner.explain.compare import Comparison, Part
    from planner.report.measures import Manner

MEASURES = {
    "money": Measure.MONEY,
    "count": Measure.COUNT,
    "acres": Measure.AREA,
    "units": Measure.UNITS,
}


def may_be_shorter(compared: Comparison) -> str:
    """Say which plans may leave more land short than need be; empty where none does."""
    if not compared.open_short:
        return ""
    return (
        f"Less land may have to stay short in: {', '.join(compared.open_short)}. The search did "
        "not rule that out; with more seconds it may plant more."
    )


def paid_before(compared: Comparison) -> str:
    """Say in which totals what is ordered already is free; empty where all have the same."""
    if not compared.paid_before:
        return ""
    return (
        f"Containers ordered already cost nothing in {listing(compared.paid_before)}: totals can't "
        "be compared where not the same ones are ordered already."
    )


def comparison_json(compared: Comparison) -> dict[str, Any]:
    """Turn a comparison into a dict ready for `json.dumps`."""
    from planner.explain.as_json import comparison

    gaps = [gap if math.isfinite(gap) else None for gap in compared.gaps]
    return {"contract": 1, "same": compared.same, **comparison(compared), "gaps": gaps}


def comparison_bytes(comparison: Comparison) -> bytes:
    """Write a comparison as the bytes of ``compare.json``."""
    text = json.dumps(comparison_json(comparison), ensure_ascii=False, indent=1, allow_nan=False)
    return (text + "\n").encode("utf-8", "backslashreplace")


def comparison_book(comparison: Comparison, manner: Manner) -> Book:
    """Describe a workbook of one sheet a side: costs, shortages, order, and so on."""
    sheets = [_first(comparison), *(_sheet(part, comparison) for part in comparison.parts)]
    return Book(spread(sheets, manner), manner, farm="", season="Plans compared")


def _first(comparison: Comparison) -> Sheet:
    rows = tuple(
        (name, outcome.words, said_gap(gap), part.amounts[number])
        for number, (name, outcome, gap) in enumerate(
            zip(comparison.names, comparison.outcomes, comparison.gaps, strict=True)
        )
        for part in comparison.parts[0].lines
        if part.what == ("Total",)
    )
    columns = (
        Column("plan", "Plan"),
        Column("outcome", "How sure"),
        Column("gap", "Proven gap", Measure.PERCENT, decimals=2),
        Column("total", "Total cost", Measure.MONEY),
    )
    counts = tuple((part.name, len(part.different), len(part.lines)) for part in comparison.parts)
    sides = (
        Column("side", "Side"),
        Column("differ", "Lines that differ", Measure.COUNT),
        Column("lines", "Lines in all", Measure.COUNT),
    )
    words = "Nothing differs." if comparison.same else "Each sheet shows what differs first."
    paid = paid_before(comparison)
    blocks = (
        Text((words, paid) if paid else (words,)),
        Table("plans", columns, rows, title="The plans"),
        Table("sides", sides, counts, title="Where they differ"),
    )
    return Sheet("Comparison", "What differs between these plans.", blocks, Page(), Room.PLAN)


def _sheet(part: Part, comparison: Comparison) -> Sheet:
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
    table = Table(
        "lines", (*what, *plans, more), rows, repeat_header=True, empty="Nothing in any plan."
    )
    return Sheet(
        part.name, "Lines that differ come first.", (table,), Page(landscape=True), Room.WHY
    )

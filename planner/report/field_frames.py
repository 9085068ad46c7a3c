"""Fields: what goes where, what it costs there, and whether it is protected."""

from __future__ import annotations

import math
from datetime import date
from typing import TYPE_CHECKING

from planner.agronomy.rates import floz_per_unit
from planner.agronomy.seeding import drop_rate, planter_rate, seeds_in_a_row
from planner.plan.recount import planted_units
from planner.report.facts import FIELD_COST, FIELDS, PICTURES, SEED, SHORT_FIELDS
from planner.report.measures import Measure
from planner.report.packs import elsewhere
from planner.report.sheets import Cell, Column, Link, Look, Pack, Page, Room, Sheet, Table, Text
from planner.season.domain import POWDER, UNTREATED
from planner.sums import grouped, summed

if TYPE_CHECKING:
    from collections.abc import Iterator

    from planner.plan.plan import Planting
    from planner.report.facts import Facts
    from planner.report.sheets import Block, Content
    from planner.season.domain import Field

LATEST = date.max
NOT_PLANTED = "not planted"
CORNER = 2.0
"""Acres of one lot in a field that nobody changes the planter's seed for: common practice."""
WORTH_TELLING = 0.05
"""Least volume of powder that is told, fl oz."""


def by_day(facts: Facts) -> list[Field]:
    """List the fields in the order of planting."""
    order = {f.name: i for i, f in enumerate(facts.season.fields)}
    return sorted(facts.season.fields, key=lambda f: (f.planting_date or LATEST, order[f.name]))


def fields_sheet(facts: Facts) -> Sheet:
    """Make the sheet of what goes where."""
    return Sheet(
        FIELDS,
        "What goes where, in the order of planting.",
        (_planter(facts), _planting(facts)) if facts.plan.planting else (_planting(facts),),
        Page(landscape=True),
        Room.FIELDS,
    )


def _planter(facts: Facts) -> Text:
    """What treated seed does to a planter.

    A planter set for 30,000 dropped about 26,000 treated seeds (Kansas State Univ., 23 Mar 2004, in
    seedquest.com); elsewhere 2 to 5% fewer. Cold seed turning tacky: common practice.
    """
    powders = [p.name for p in facts.season.products if p.kind == POWDER]
    with_powder = f" Mix in {', '.join(powders)} as you fill." if powders else ""
    return Text(
        (
            "Treated seed runs slower: a planter set as for bare seed can drop several percent too"
            f" few.{with_powder} Set the planter again for each lot and recipe, and check the drop"
            " behind it; after the first rounds once more.",
            *_powder_not_counted(facts, powders),
            "Seed colder than the air sweats and turns tacky: let it warm up before you fill.",
        ),
        "Set the planter and check the drop",
        bullets=True,
    )


def _powder(facts: Facts, p: Planting) -> float:
    """Fl oz of powder for the seed of a share."""
    return p.units * sum(_powders(facts, p.lot, p.recipe).values())


def _powders(facts: Facts, lot: str, recipe: str) -> dict[str, float]:
    """Fl oz a unit of every powder of a recipe."""
    rates = facts.recipes[recipe].rates if recipe != UNTREATED else ()
    return summed(
        (r.product, floz_per_unit(r, facts.lots[lot], facts.season))
        for r in rates
        if facts.products[r.product].kind == POWDER
    )


def _powder_not_counted(facts: Facts, powders: list[str]) -> list[str]:
    """Powder for seed that was treated before the plan, which counts what it treats itself."""
    season, plan = facts.season, facts.plan
    before = summed(((t.lot, t.recipe), t.units) for t in season.treated)
    before |= {(x.name, x.treated_with): math.inf for x in season.lots if x.treated_with}
    more = dict.fromkeys(powders, 0.0)
    for (lot, recipe), units in planted_units(plan).items():
        for name, each in _powders(facts, lot, recipe).items():
            more[name] += each * min(units, before[lot, recipe])
    left = {u.product: u.left for u in plan.products}
    return [
        f"Seed that was treated before the plan, or is bought treated, takes"
        f" {facts.say(amount, Measure.DOSE)} of {name}, too, which the order does not count:"
        f" {facts.say(left.get(name, 0.0), Measure.DOSE)} are left over"
        + (" for it." if amount <= left.get(name, 0.0) else ". Get the rest as well.")
        for name, amount in more.items()
        if amount > WORTH_TELLING
    ]


def short_sheet(facts: Facts, ways_out: tuple[Block, ...]) -> Sheet:
    """Make the sheet of the acres that stay unplanted, and of what would cover them."""
    return Sheet(
        SHORT_FIELDS,
        "Which land stays unplanted, why, and the cheapest ways out."
        if ways_out
        else "Which land stays unplanted, and why.",
        (_shortages(facts), *ways_out),
        Page(landscape=True),
        Room.FIELDS,
    )


def _planting(facts: Facts) -> Table:
    metric = facts.season.farm.metric
    in_a_row = f"Seeds in 10 {'m' if metric else 'ft'} of row"
    return Table(
        name="planting",
        columns=(
            Column("day", "Planting date", Measure.DATE, width=17 if facts.manner.metric else 15),
            Column("field", "Field"),
            Column("lot", "Lot"),
            Column("variety", "Variety"),
            Column("maturity", "Maturity", Measure.NUMBER),
            Column("recipe", "Recipe"),
            Column("area", "Planted", Measure.AREA, total=True),
            Column("drop", "Set planter to", Measure.SEEDS_PER_AREA),
            Column("row", in_a_row, Measure.NUMBER, decimals=1),
            Column("units", "Seed", Measure.UNITS, total=True),
            Column("powder", "Powder", Measure.DOSE),
            Column("cost", "Cost", Measure.MONEY_PER_AREA),
            Column("short", "Short", Measure.AREA, total=True),
        ),
        rows=tuple(_planting_rows(facts)),
        filter=True,
        repeat_header=True,
        empty="The season has no fields.",
        note="The planter rate is rounded to the nearest setting; seed is counted at the exact"
        " rate, spare included. Cost is that of the whole field, its seed, treating and expected"
        " loss: see "
        f"{elsewhere(FIELD_COST, Pack.STUDY)}.{_split_said(facts)}",
    ).without_blank("row", "powder", "short")


def _planting_rows(facts: Facts) -> Iterator[tuple[Content, ...]]:
    """A row for every share of a field, and for what stays unplanted of it."""
    planted = grouped((p.field, p) for p in facts.plan.planting)
    short = {s.field: s.acres for s in facts.plan.shortages}
    lots = {b.lot.name: i for i, b in enumerate(facts.lot_balances)}
    metric = facts.season.farm.metric
    for field in by_day(facts):
        for p in planted[field.name]:
            lot = facts.lots[p.lot]
            drop = planter_rate(drop_rate(field, lot), metric=metric)
            yield (
                field.planting_date,
                field.name,
                p.lot,
                lot.variety,
                lot.maturity,
                p.recipe,
                p.acres,
                drop,
                seeds_in_a_row(drop, field.row_width, metric=metric),
                Cell(p.units, link=Link(SEED, "lots", lots[p.lot])),
                _powder(facts, p) or None,
                facts.cost_per_acre.get(field.name),
                None,
            )
        if field.name in short:
            acres = Cell(short[field.name], Look.SHORT)
            blank = [None] * 9
            nothing = Cell(NOT_PLANTED, Look.SHORT)
            yield (field.planting_date, field.name, nothing, *blank, acres)


def _split_said(facts: Facts) -> str:
    """Say what a part under the smallest split is, or a mere corner, where the plan has one."""
    farm, fields = facts.season.farm, facts.fields
    least_split = max(farm.smallest_split, CORNER)
    small = [
        p for p in facts.plan.planting if p.acres < min(least_split, fields[p.field].acres) - 1e-6
    ]
    if not small:
        return ""
    least = min(small, key=lambda p: p.acres)
    text = f" {least.field} has only {facts.say(least.acres, Measure.AREA)} of {least.lot}"
    if farm.smallest_split > 0.0:
        text += ": Smallest split adds up the lots of a variety under a recipe"
    return f"{text}. The setting Smallest lot share keeps such parts out."


def _shortages(facts: Facts) -> Table:
    causes = {s.field: s.cause.value for s in facts.why.shortages} if facts.why else {}
    rows: list[tuple[Content, ...]] = [
        (
            s.field,
            facts.fields[s.field].priority,
            facts.fields[s.field].planting_date,
            Cell(s.acres, Look.SHORT),
            facts.units_short(s.field, s.acres),
            causes.get(s.field),
            s.why,
        )
        for s in facts.plan.shortages
    ]
    return Table(
        name="short",
        columns=(
            Column("field", "Field"),
            Column("priority", "Priority", Measure.COUNT),
            Column("day", "Planting date", Measure.DATE, width=17),
            Column("area", "Short", Measure.AREA, total=True),
            Column("units", "Seed it would take", Measure.UNITS, total=True),
            Column("cause", "Held back by"),
            Column("why", "Why", width=64),
        ),
        rows=tuple(rows),
        repeat_header=True,
        empty="All land is covered.",
    ).without_blank("cause")


def cost_sheet(facts: Facts) -> Sheet:
    """Make the sheet of what each field costs."""
    weighed = facts.season.farm.weigh_yield_loss
    kinds = ["products", "seed", "yield_loss"] if weighed else ["products", "seed"]
    rows: list[tuple[Content, ...]] = []
    fields = [c for c in facts.costs if c.acres > 0]
    for c in sorted(fields, key=lambda c: -c.total / c.acres):
        parts = [getattr(c, kind) for kind in kinds]
        each = [part / c.acres for part in (*parts, c.total)]
        rows.append((c.field, c.acres, *parts, Cell(c.total, Look.STRONG), *each))
    for c in facts.costs:
        if c.acres <= 0:
            parts = [getattr(c, kind) for kind in kinds]
            rows.append(("on no field", None, *parts, c.total, *[None] * (len(kinds) + 1)))
    table = Table(
        name="fields",
        columns=(
            Column("field", "Field"),
            Column("area", "Planted", Measure.AREA, total=True),
            *(Column(k, _kind(k), Measure.MONEY, total=True) for k in (*kinds, "total")),
            *(Column(f"{k}_acre", _kind(k), Measure.MONEY_PER_AREA) for k in (*kinds, "total")),
        ),
        rows=tuple(rows),
        filter=True,
        repeat_header=True,
        empty="No field is planted.",
        note="The plan's total compared, shared out by use: products by what the seed takes, "
        "freight and discounts by list price, seed bought and return value of seed used by units, "
        "left-over treated seed included. Products are less the credit for what is left.",
    )
    return Sheet(
        FIELD_COST,
        "What each field costs: seed, treating, expected loss; what costs most for its land first. "
        f"Drawn on {PICTURES}.",
        (table,),
        Page(landscape=True),
        Room.FIELDS,
        packs=(Pack.STUDY,),
    )


def _kind(key: str) -> str:
    """Header of a kind of cost."""
    return "In all" if key == "total" else key.replace("_", " ").capitalize()

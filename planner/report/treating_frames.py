"""Treating: which bags get which recipe, and what goes on them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.agronomy.rates import floz_per_unit
from planner.agronomy.seeding import unit_weight
from planner.campaign.records import CAUTIONS_SHORT
from planner.explain.words import listing, number
from planner.report.facts import DOSES, PRODUCT_DETAIL, SEED, TREATING
from planner.report.fit import plain
from planner.report.measures import Measure
from planner.report.packs import elsewhere
from planner.report.sheets import Cell, Column, Link, Look, Pack, Page, Room, Sheet, Table, Text
from planner.season.domain import POWDER
from planner.sums import summed

if TYPE_CHECKING:
    from collections.abc import Iterator

    from planner.plan.plan import Treating
    from planner.report.facts import Facts
    from planner.report.sheets import Block, Content


def treating_sheet(facts: Facts) -> Sheet:
    """Make the sheet of what is treated how."""
    caution = Text(
        (
            "The product label goes before anything here: rates, mixing order, protective "
            "equipment.",
            *CAUTIONS_SHORT,
        ),
        look=Look.WATCH,
    )
    blocks: list[Block] = [_bags(facts), caution]
    if any(b.treated_before for b in facts.lot_balances):
        blocks.insert(1, _before(facts))
    return Sheet(
        TREATING,
        f"Which bags get which recipe. What goes on a bag is on {elsewhere(DOSES, Pack.SHOP)}.",
        tuple(blocks),
        Page(landscape=True),
        Room.TREATING,
        packs=(Pack.WINTER,),
    )


def doses_sheet(facts: Facts) -> Sheet:
    """Make the sheet of what goes on a bag."""
    return Sheet(
        DOSES,
        "Which bags get which recipe, and how much of each product goes on a bag.",
        (Text(CAUTIONS_SHORT, look=Look.STRONG), _doses(facts)),
        Page(landscape=True),
        Room.TREATING,
    )


def _sorted(facts: Facts) -> list[Treating]:
    places = {r.name: i for i, r in enumerate(facts.season.recipes)}
    lots = {lot.name: i for i, lot in enumerate(facts.season.lots)}
    return sorted(facts.plan.treating, key=lambda t: (places[t.recipe], lots[t.lot]))


def part_units(facts: Facts, t: Treating) -> float:
    """Units in the part bag of a treating; 0 without one."""
    rest = t.units - t.full_bags * facts.lots[t.lot].units_per_bag
    return rest if t.part_bag else 0.0


def _bags(facts: Facts) -> Table:
    places = {b.lot.name: i for i, b in enumerate(facts.lot_balances)}
    rows: list[tuple[Content, ...]] = []
    for t in _sorted(facts):
        lot = facts.lots[t.lot]
        part = part_units(facts, t)
        rows.append(
            (
                t.recipe,
                t.lot,
                lot.variety,
                Cell(t.full_bags, Look.STRONG),
                lot.units_per_bag,
                t.part_bag,
                part if t.part_bag else None,
                Cell(t.units, link=Link(SEED, "lots", places[t.lot])),
                t.units * unit_weight(lot, facts.season.farm),
            )
        )
    return Table(
        name="bags",
        columns=(
            Column("recipe", "Recipe"),
            Column("lot", "Lot"),
            Column("variety", "Variety"),
            Column("full", "Full bags", Measure.COUNT, total=True),
            Column("bag", "In a full bag", Measure.UNITS),
            Column("part", "Part bags", Measure.COUNT, total=True),
            Column("in_part", "In the part bag", Measure.UNITS),
            Column("units", "In all", Measure.UNITS, total=True),
            Column("weight", "Weight", Measure.WEIGHT, total=True),
        ),
        rows=tuple(rows),
        group="recipe",
        repeat_header=True,
        empty="No seed is to be treated.",
    )


def _doses(facts: Facts) -> Table:
    return Table(
        name="doses",
        columns=(
            Column("recipe", "Recipe"),
            Column("lot", "Lot"),
            Column("product", "Product"),
            Column("bags", "Bags of units", width=16.5),
            Column("rate", "Rate as given"),
            Column("unit", "Rate", Measure.DOSE_PER_UNIT),
            Column("bag", "On a full bag", Measure.DOSE),
            Column("part", "On the part bag", Measure.DOSE),
            Column("all", "On all bags", Measure.DOSE),
        ),
        rows=tuple(_dose_rows(facts)),
        parts="recipe",
        filter=True,
        repeat_header=True,
        empty="No product goes on seed.",
        note="What the seed takes; margin and line loss come on top, see "
        f"{elsewhere(PRODUCT_DETAIL, Pack.STUDY)}.{_in_the_planter(facts)}",
    )


def _dose_rows(facts: Facts) -> Iterator[tuple[Content, ...]]:
    """A row for every lot and recipe, and product of it."""
    needs = {str(plain(row[0])): i for i, row in reversed([*enumerate(per_recipe(facts).rows)])}
    for t in _sorted(facts):
        lot = facts.lots[t.lot]
        part = part_units(facts, t)
        recipe = facts.recipes[t.recipe]
        for rate in (*recipe.rates, *recipe.carriers):
            link = Link(PRODUCT_DETAIL, "need", needs.get(rate.product, -1))
            each = floz_per_unit(rate, lot, facts.season)
            yield (
                t.recipe,
                t.lot,
                rate.product,
                _bags_said(facts, t),
                rate.written or f"{rate.amount:g} {rate.basis.value}",
                each,
                Cell(each * lot.units_per_bag, Look.STRONG) if t.full_bags else None,
                Cell(each * part, Look.STRONG) if t.part_bag else None,
                each * t.units if rate in recipe.carriers else Cell(each * t.units, link=link),
            )


def _in_the_planter(facts: Facts) -> str:
    """Say which products do not go through the treater."""
    used = {r.product for t in facts.plan.treating for r in facts.recipes[t.recipe].rates}
    powders = [p.name for p in facts.season.products if p.kind == POWDER and p.name in used]
    return f" {listing(powders)}: into the planter, not the treater." if powders else ""


def _bags_said(facts: Facts, t: Treating) -> str:
    """Say how many bags of which size a treating is."""
    size = facts.lots[t.lot].units_per_bag
    said = [f"{t.full_bags:,} of {number(size)}"] if t.full_bags else []
    said += [f"1 of {number(part_units(facts, t))}"] if t.part_bag else []
    return " + ".join(said)


def _flushed(facts: Facts) -> set[tuple[str, str]]:
    """Product and recipe that brings it onto the line, in the plan's order."""
    found: set[tuple[str, str]] = set()
    on: frozenset[str] = frozenset()
    for name in facts.plan.run_order:
        now = frozenset(rate.product for rate in facts.recipes[name].rates)
        found |= {(product, name) for product in now - on}
        on = now
    return found


def per_recipe(facts: Facts) -> Table:
    """List what each recipe needs of each product, margin and line loss included."""
    farm = facts.season.farm
    takes = summed(
        ((r.product, t.recipe), t.units * floz_per_unit(r, facts.lots[t.lot], facts.season))
        for t in _sorted(facts)
        for r in facts.recipes[t.recipe].rates
    )
    places = {p.name: i for i, p in enumerate(facts.season.products)}
    flushed = _flushed(facts) if farm.line_stays_primed else set(takes)
    rows: list[tuple[Content, ...]] = []
    for (product, recipe), taken in sorted(takes.items(), key=lambda x: places[x[0][0]]):
        margin = taken * farm.product_margin
        loss = facts.products[product].line_loss if (product, recipe) in flushed else 0.0
        total = taken + margin + loss
        rows.append((product, recipe, taken, margin, loss, total))
    return Table(
        name="need",
        title="Product needed, by recipe",
        columns=(
            Column("product", "Product"),
            Column("recipe", "Recipe"),
            Column("taken", "On seed", Measure.VOLUME),
            Column("margin", "Margin", Measure.VOLUME),
            Column("loss", "Line loss", Measure.VOLUME),
            Column("need", "Used", Measure.VOLUME),
        ),
        rows=tuple(rows),
        parts="product",
        empty="No product is needed.",
        note=(
            "The line stays primed: a product's line loss is at the recipe that brings it on, as "
            f"they run: {', then '.join(facts.plan.run_order)}."
            if farm.line_stays_primed and facts.plan.run_order
            else ""
        ),
    )


def _before(facts: Facts) -> Table:
    done = summed(((t.recipe, t.lot), t.units) for t in facts.season.treated)
    for balance in facts.lot_balances:
        lot = balance.lot
        if lot.treated_with is not None:  # whole lot, whatever of it the season lists besides
            done[lot.treated_with, lot.name] = balance.treated_before
    bought = any(facts.lots[s.lot].treated_with for s in facts.plan.seed_purchases)
    rows: list[tuple[Content, ...]] = [
        (recipe, lot, facts.lots[lot].variety, None, None, None, None, units)
        for (recipe, lot), units in done.items()
        if units
    ]
    return Table(
        name="before",
        title="Treated before this plan" + ", or bought treated" * bought,
        columns=(
            Column("recipe", "Recipe"),
            Column("lot", "Lot"),
            Column("variety", "Variety"),
            *(Column(f"blank_{n}", "") for n in "abcd"),
            Column("units", "In all", Measure.UNITS, total=True),
        ),
        rows=tuple(rows),
        empty="No seed was treated before this plan.",
    )

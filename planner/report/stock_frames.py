"""Stock: where products and seed come from, and what is left of them."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from planner.plan.offers import lowest_price_per_floz
from planner.plan.price import expired
from planner.report.answer import TIGHT
from planner.report.facts import (
    MATURITY,
    ORDER,
    PICTURES,
    PRODUCT_DETAIL,
    PRODUCTS,
    SEED,
    size_decimals,
)
from planner.report.measures import Measure
from planner.report.sheets import Cell, Column, Link, Look, Pack, Page, Room, Sheet, Table, Text
from planner.report.treating_frames import per_recipe
from planner.risk.words import first_short
from planner.sums import summed

if TYPE_CHECKING:
    from collections.abc import Iterator

    from planner.report.facts import Facts
    from planner.report.sheets import Block, Content


def products_sheet(facts: Facts) -> Sheet:
    """Make the sheet of product balances."""
    blocks: list[Block] = [_products(facts)]
    if facts.margins:
        blocks.append(
            Text((first_short(facts.margins, metric=facts.manner.metric),), "What runs short first")
        )
    return Sheet(
        PRODUCTS,
        "Where each product comes from, what is used of it, and how much is spare.",
        tuple(blocks),
        Page(landscape=True),
        Room.STOCK,
        packs=(Pack.WINTER,),
    )


def product_detail_sheet(facts: Facts) -> Sheet:
    """Make the sheet of what each recipe needs, of all containers, and what is left is worth."""
    return Sheet(
        PRODUCT_DETAIL,
        f"What each product is needed for and comes in, and what is left of it is worth; {PRODUCTS}"
        " has the sums.",
        (per_recipe(facts), _containers(facts), _worth(facts)),
        Page(landscape=True),
        Room.STOCK,
        packs=(Pack.STUDY,),
    )


def _products(facts: Facts) -> Table:
    return Table(
        name="products",
        columns=(
            Column("product", "Product"),
            Column("kind", "Kind"),
            Column("need", "Used", Measure.VOLUME),
            Column("stock", "On hand", Measure.VOLUME),
            Column("expired", "Expired, not counted", Measure.VOLUME),
            Column("coming", "Ordered, not delivered", Measure.VOLUME),
            Column("nominal", "In containers to order", Measure.VOLUME),
            Column("bought", "To order, usable", Measure.VOLUME),
            Column("left", "Left", Measure.VOLUME),
            Column("slack", "Spare", Measure.DOSE, decimals=0),
            Column("spare", "Spare, percent", Measure.PERCENT, width=9),
            Column(
                "size", f"Short when {facts.manner.seeds_per} differ by", Measure.PERCENT, width=14
            ),
            Column("tight", "Remark", width=9),
        ),
        rows=tuple(_product_rows(facts)),
        repeat_header=True,
        empty="The season lists no products.",
        note="Used = on seed, with margin and line losses. On hand + ordered, not delivered + to "
        "order, usable = used + left. Spare: what is left, also in percent of what goes on seed; "
        f"under {TIGHT:.0%} it is TIGHT. Fewer {facts.manner.seeds_per} are heavier seed, which "
        "takes more of what goes by weight.",
    )


def _product_rows(facts: Facts) -> Iterator[tuple[Content, ...]]:
    """A row for every product of the plan."""
    nominal = summed(
        (line.product, line.count * facts.containers[line.product, line.container].size)
        for line in facts.plan.order
    )
    margin = {m.product: m for m in facts.margins}
    for use in facts.plan.products:
        p = facts.products[use.product]
        lost = p.on_hand if expired(p, facts.season) else 0.0
        m = margin.get(p.name)
        tight = m is not None and m.used < TIGHT
        yield (
            p.name,
            p.kind,
            Cell(use.need, link=Link(PRODUCT_DETAIL, "need") if use.need else None),
            use.on_hand,
            Cell(lost, Look.WATCH) if lost else Cell(0.0, Look.FAINT),
            use.on_its_way,
            Cell(nominal[p.name], link=Link(ORDER, "order") if use.bought else None),
            use.bought,
            Cell(use.left, Look.SHORT if use.left < -1e-3 else Look.STRONG),
            m.slack if m else None,
            _spare(m.used if m else None),
            _spare(m.seed_size if m else None),
            Cell("TIGHT", Look.SHORT) if tight else None,
        )


def _spare(share: float | None) -> Content:
    """A share, or nothing where it can't run short by that."""
    return None if share is None or math.isinf(share) else share


def _worth(facts: Facts) -> Table:
    """List what is left of each product, and what that is worth."""
    rows: list[tuple[Content, ...]] = []
    for use in facts.plan.products:
        left = max(0.0, use.left)
        worth = left * lowest_price_per_floz(facts.season, use.product)
        rows.append((use.product, left, worth, facts.products[use.product].carryover * worth))
    return Table(
        name="worth",
        title="What is left is worth",
        columns=(
            Column("product", "Product"),
            Column("left", "Left", Measure.VOLUME),
            Column("worth", "Worth", Measure.MONEY, total=True),
            Column("credit", "Carryover credit", Measure.MONEY, total=True),
        ),
        rows=tuple(rows),
        empty="The season lists no products.",
        note="At the lowest price a volume among the product's containers; the credit is the share "
        "of it that the season counts.",
    )


def _containers(facts: Facts) -> Table:
    return Table(
        name="containers",
        title="Containers",
        columns=(
            Column("product", "Product"),
            Column("container", "Container"),
            Column("size", "Size", Measure.VOLUME, decimals=size_decimals(facts.season)),
            Column("heel", "Can't be pumped out (heel)", Measure.VOLUME),
            Column("usable", "Usable", Measure.VOLUME),
            Column("coming", "Ordered, not delivered", Measure.COUNT),
            Column("count", "To order", Measure.COUNT),
            Column("supply", "Usable in all", Measure.VOLUME),
        ),
        rows=tuple(_container_rows(facts)),
        parts="product",
        empty="The season lists no containers.",
    )


def _container_rows(facts: Facts) -> Iterator[tuple[Content, ...]]:
    """A row for every container, product by product."""
    counts = {(line.product, line.container): line.count for line in facts.plan.order}
    coming = {(o.product, o.container): o.count for o in facts.season.ordered}
    for p in facts.season.products:
        for c in (c for c in facts.season.containers if c.product == p.name):
            key = (c.product, c.name)
            count, sent = counts.get(key, 0), coming.get(key, 0)
            look = Look.PLAIN if count or sent else Look.FAINT
            yield tuple(
                Cell(value, look)
                for value in (
                    c.product,
                    c.name,
                    c.size,
                    c.heel,
                    c.usable,
                    sent,
                    count,
                    (count + sent) * c.usable,
                )
            )


def seed_sheet(facts: Facts) -> Sheet:
    """Make the sheet of seed balances."""
    return Sheet(
        SEED,
        "What becomes of every lot: treated, planted, left.",
        (_lots(facts),),
        Page(landscape=True),
        Room.STOCK,
    )


def maturity_sheet(facts: Facts) -> Sheet:
    """Make the sheet of seed by maturity, drawn and counted."""
    return Sheet(
        MATURITY,
        f"Is there enough seed of each maturity, and what becomes of it? Drawn on {PICTURES}.",
        (_maturities(facts),),
        Page(),
        Room.STOCK,
    )


def _lots(facts: Facts) -> Table:
    return Table(
        name="lots",
        columns=(
            Column("variety", "Variety"),
            Column("lot", "Lot"),
            Column("maturity", "Maturity", Measure.NUMBER),
            Column("stock", "On hand", Measure.UNITS, total=True),
            Column("bought", "Bought", Measure.UNITS, total=True),
            Column("before", "Treated before", Measure.UNITS, total=True),
            Column("treated", "Treated by this plan", Measure.UNITS, total=True),
            Column("planted", "Planted", Measure.UNITS, total=True),
            Column("left_treated", "Left, treated", Measure.UNITS, total=True),
            Column("left_untreated", "Left, untreated", Measure.UNITS, total=True),
        ),
        rows=tuple(_lot_rows(facts)),
        group="variety",
        repeat_header=True,
        empty="The season lists no seed lots.",
        note="On hand + bought = planted + left. What is left treated is worth nothing later.",
    )


def _lot_rows(facts: Facts) -> Iterator[tuple[Content, ...]]:
    """A row for every lot."""
    places = {s.lot: i for i, s in enumerate(facts.plan.seed_purchases)}
    for b in facts.lot_balances:
        bought = Cell(0.0, Look.FAINT)
        if b.bought:
            bought = Cell(b.bought, Look.STRONG, Link(ORDER, "seed", places[b.lot.name]))
        yield (
            b.lot.variety,
            b.lot.name,
            b.lot.maturity,
            b.lot.on_hand,
            bought,
            b.treated_before if b.treated_before else Cell(0.0, Look.FAINT),
            b.treated,
            b.planted,
            Cell(b.left_treated, Look.WATCH if b.left_treated > 0.05 else Look.PLAIN),
            b.left_untreated,
        )


def _maturities(facts: Facts) -> Table:
    rows: list[tuple[Content, ...]] = [
        (
            m.label,
            m.planted,
            m.left_treated,
            m.left_untreated,
            m.planted + m.left_treated + m.left_untreated,
            Cell(m.short, Look.SHORT) if m.short > 1e-6 else m.short,
            m.planted + m.short,
        )
        for m in facts.maturities
    ]
    return Table(
        name="maturities",
        columns=(
            Column("maturity", "Maturity"),
            Column("planted", "Planted", Measure.UNITS, total=True),
            Column("left_treated", "Left, treated", Measure.UNITS, total=True),
            Column("left_untreated", "Left, untreated", Measure.UNITS, total=True),
            Column("available", "Available", Measure.UNITS, total=True),
            Column("short", "Short", Measure.UNITS, total=True),
            Column("needed", "Needed", Measure.UNITS, total=True),
        ),
        rows=tuple(rows),
        empty="The season lists no seed lots.",
        note="Needed = planted + what the short land would take, counted at the maturity nearest "
        "to the middle of their window.",
    )

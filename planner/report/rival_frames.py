"""The sheet of other ways to buy what the plan needs."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.explain.mixes import mix_words
from planner.explain.price_flips import HIGHEST_RISE
from planner.report.measures import Measure
from planner.report.sheets import (
    Block,
    Cell,
    Column,
    Look,
    Page,
    Room,
    Sheet,
    Table,
    Text,
)

if TYPE_CHECKING:
    from planner.explain.rivals import OrderRivals, ProductRivals


TITLE = "Other ways to buy it"
WIDE = Page(landscape=True)


def rivals_sheet(order: OrderRivals) -> Sheet:
    """Other ways to buy it, product by product, level by level and as a whole."""
    words = tuple(r.sentence for r in order.products)
    blocks: list[Block] = [
        Text((order.second_best,)),
        _mixes(order.products),
        Text(words, title="Product by product", bullets=True),
        _flips(order.products),
        _price_flips(order.products),
    ]
    if order.levels:
        blocks.append(_levels(order))
    purpose = "Other orders that would cover what the plan needs, and what would change the order."
    return Sheet(TITLE, purpose, tuple(blocks), WIDE, Room.WHY)


def _mixes(products: tuple[ProductRivals, ...]) -> Table:
    return Table(
        name="mixes",
        title="What else would cover the need, the other products ordered as planned",
        columns=(
            Column("product", "Product"),
            Column("rank", "No.", Measure.COUNT),
            Column("mix", "Containers", width=40),
            Column("cost", "Adds to the plan's cost", Measure.MONEY),
            Column("more", "Over the plan's", Measure.MONEY),
            Column("left", "Left", Measure.VOLUME),
        ),
        rows=tuple(
            (
                r.product,
                n,
                Cell(mix_words(m.containers), Look.STRONG if n == 1 else Look.PLAIN),
                m.cost,
                Cell(m.more, Look.FAINT if n == 1 else Look.PLAIN),
                m.left,
            )
            for r in products
            for n, m in enumerate(r.mixes, 1)
        ),
        parts="product",
        repeat_header=True,
        note="Number 1 is the plan's. Costs hold freight, discounts and credit for what is left. "
        "An order that only adds containers to a better one is left out.",
    )


def _flips(products: tuple[ProductRivals, ...]) -> Table:
    return Table(
        name="needs",
        title="If you need more, or less",
        columns=(
            Column("product", "Product"),
            Column("to_buy", "To buy", Measure.DOSE),
            Column("up", "Covers still more", Measure.DOSE),
            Column("mix_up", "Beyond that, best is", width=30),
            Column("step_up", "which costs more by", Measure.MONEY),
            Column("down", "Need less by", Measure.DOSE),
            Column("mix_down", "and this would do", width=30),
            Column("saved", "which saves", Measure.MONEY),
            Column("unit", "One more unit treated costs", Measure.MONEY),
        ),
        rows=tuple(
            (
                r.product,
                r.to_buy,
                r.need_up,
                mix_words(r.mix_up) if r.need_up is not None else "no order covers more",
                r.step_up if r.need_up is not None else None,
                r.need_down,
                mix_words(r.mix_down) if r.need_down is not None else None,
                r.saved_down if r.need_down is not None else None,
                r.one_more_unit,
            )
            for r in products
        ),
        note="More and saved are between the two orders at the need where the other one is best, "
        "each with credit for what it leaves then.",
    )


def _price_flips(products: tuple[ProductRivals, ...]) -> Table:
    return Table(
        name="prices",
        title="Break-even prices",
        columns=(
            Column("product", "Product"),
            Column("container", "Container"),
            Column("now", "Price now", Measure.MONEY),
            Column("flip", "Break-even price", Measure.MONEY),
            Column("change", "Change", Measure.MONEY),
            Column("instead", "Then best", width=36),
        ),
        rows=tuple(
            (
                r.product,
                f.container,
                f.price_now,
                f.price,
                f.price - f.price_now,
                mix_words(f.instead),
            )
            for r in products
            for f in r.price_flips
        ),
        empty="No price within reach changes the order.",
        note="At the break-even price both orders cost the same; beyond it the other is best. "
        "For a container that is missing here, no price between nothing and "
        f"{HIGHEST_RISE + 1:g} times its own changes the order, the other prices held.",
    )


def _levels(order: OrderRivals) -> Table:
    return Table(
        name="levels",
        title="Rounding up to a discount or to free freight",
        columns=(
            Column("level", "Level"),
            Column("missing", "List price missing", Measure.MONEY),
            Column("product", "Nearest by more of"),
            Column("mix", "Its order then", width=30),
            Column("more", "Plan costs more by", Measure.MONEY),
            Column("pays", "Pays"),
        ),
        rows=tuple(
            (
                x.level,
                x.missing,
                x.product or "nothing reaches it",
                mix_words(x.containers) if x.product else None,
                x.more,
                None if x.more is None else Cell("yes", Look.OK) if x.more < -0.005 else "no",
            )
            for x in order.levels
        ),
    )

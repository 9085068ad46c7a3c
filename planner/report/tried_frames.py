"""What comes of changes that are tried with a plan held: differences first."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.plan.plan import COST_TERMS, TOTAL, cost_in_cents
from planner.report.measures import Measure, manner_of
from planner.report.sheets import (
    Book,
    Cell,
    Column,
    KeyFigure,
    KeyFigures,
    Look,
    Room,
    Sheet,
    Table,
    Text,
)

if TYPE_CHECKING:
    from planner.explain.tried import Tried
    from planner.plan.plan import Plan, ProductUse
    from planner.report.sheets import Block, Content

TRIED = "What comes of it"
SAME = 5e-3
"""Money that counts as no difference."""
CRUMB = 1e-3
"""Fl oz that count as none."""


def tried_book(tried: Tried, plan: Plan) -> Book:
    """Describe what comes of changes, against the plan that is held."""
    manner = manner_of(tried.season.farm)
    blocks: tuple[Block, ...] = (
        _figures(tried, plan),
        *_trouble(tried),
        _products(tried, plan),
        _costs(tried, plan),
    )
    purpose = "Bags, recipes and fields stay as planned; needs and costs are counted again."
    return Book((Sheet(TRIED, purpose, blocks, room=Room.WHY),), manner, tried.season.farm.name)


def _figures(tried: Tried, plan: Plan) -> KeyFigures:
    total, before = tried.plan.cost.total, plan.cost.total
    short = len(tried.products_short)
    units = sum(s.short for s in tried.seed_short)
    manner = manner_of(tried.season.farm)
    if abs(total - before) < SAME:
        said = "as planned"
    else:
        more = "more" if total > before else "less"
        said = f"{manner.say(abs(total - before), Measure.MONEY)} {more} than planned"
    return KeyFigures(
        (
            KeyFigure(TOTAL, total, Measure.MONEY, said),
            KeyFigure(
                "Products short",
                short,
                Measure.COUNT,
                ", ".join(tried.products_short) or "enough of every product",
                Look.SHORT if short else Look.OK,
            ),
            KeyFigure(
                "Seed short, units",
                units,
                Measure.UNITS,
                f"of {len(tried.seed_short)} lots" if units else "enough of every lot",
                Look.SHORT if units else Look.OK,
            ),
        )
    )


def _trouble(tried: Tried) -> list[Block]:
    manner = manner_of(tried.season.farm)
    said = [
        f"{s.lot} under {s.recipe}: fields take {manner.say(s.needed, Measure.UNITS)}, "
        f"{manner.say(max(0.0, s.there), Measure.UNITS)} are treated for them."
        for s in tried.seed_short
    ]
    found: list[Block] = []
    if tried.past_limits:
        title = "Limits that the plan would not keep"
        found.append(Text(tried.past_limits, title, Look.SHORT, bullets=True))
    if tried.wrong_counts:
        title = "Counts that can't be ordered"
        found.append(Text(tried.wrong_counts, title, Look.SHORT, bullets=True))
    if said:
        title = "Seed is short: more bags would have to be treated"
        found.append(Text(tuple(said), title, Look.SHORT, bullets=True))
    return found


def _products(tried: Tried, plan: Plan) -> Table:
    before = {use.product: use for use in plan.products}
    rows = [(_weight(use, before.get(use.product)), use) for use in tried.plan.products]
    rows.sort(key=lambda pair: -pair[0])
    return Table(
        "products",
        (
            Column("product", "Product"),
            Column("verdict", "Enough?"),
            Column("need", "Need", Measure.VOLUME),
            Column("supply", "On hand, coming and to order", Measure.VOLUME),
            Column("left", "Left", Measure.VOLUME),
            Column("need_before", "Need as planned", Measure.VOLUME, look=Look.FAINT),
            Column("left_before", "Left as planned", Measure.VOLUME, look=Look.FAINT),
        ),
        tuple(_product(use, before.get(use.product)) for _, use in rows),
        title="Products, those that change first",
    )


def _weight(use: ProductUse, before: ProductUse | None) -> float:
    """Place of a product: short ones first, then those that change, most of their need first."""
    if use.left < -CRUMB:
        return 2.0 - use.left / max(1.0, use.need)
    if before is None:
        return 1.0
    return min(1.0, abs(use.left - before.left) / max(1.0, before.need, use.need))


def _product(use: ProductUse, before: ProductUse | None) -> tuple[Content, ...]:
    short = use.left < -CRUMB
    moved = before is None or abs(use.left - before.left) > CRUMB
    look = Look.SHORT if short else Look.STRONG if moved else Look.PLAIN
    return (
        use.product,
        Cell("short" if short else "enough", Look.SHORT if short else Look.OK),
        use.need,
        use.on_hand + use.on_its_way + use.bought,
        Cell(use.left, look),
        before.need if before else None,
        before.left if before else None,
    )


def _costs(tried: Tried, plan: Plan) -> Table:
    rows: list[tuple[Content, ...]] = []
    changed, planned = cost_in_cents(tried.plan.cost), cost_in_cents(plan.cost)
    for key, name, _ in COST_TERMS:
        if key in changed or key in planned:
            rows.append(_cost(name, changed.get(key, 0.0), planned.get(key, 0.0)))
    rows.sort(key=lambda row: row[3] is None)
    rows.append(_cost(TOTAL, tried.plan.cost.total, plan.cost.total, Look.TOTAL))
    return Table(
        "costs",
        (
            Column("kind", "Kind"),
            Column("now", "Now", Measure.MONEY),
            Column("planned", "As planned", Measure.MONEY, look=Look.FAINT),
            Column("difference", "Difference", Measure.MONEY, look=Look.STRONG),
        ),
        tuple(rows),
        title="Cost, what changes first",
    )


def _cost(name: str, now: float, was: float, look: Look = Look.PLAIN) -> tuple[Content, ...]:
    differs = abs(now - was) > SAME
    return (Cell(name, look), Cell(now, look), was, now - was if differs else None)

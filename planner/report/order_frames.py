"""What to order, for the grower."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.campaign.days import said
from planner.report import answer
from planner.report.facts import ORDER, PRODUCT_DETAIL
from planner.report.measures import Measure
from planner.report.seed_order_frames import cash_table, seed_table
from planner.report.sheets import (
    Cell,
    Column,
    Link,
    Look,
    Pack,
    Page,
    Room,
    Sheet,
    Table,
)
from planner.sums import grouped

if TYPE_CHECKING:
    from planner.plan.plan import OrderLine
    from planner.report.facts import Account, Facts
    from planner.report.measures import Manner
    from planner.report.sheets import Content
    from planner.season.domain import Container, DiscountLevel


def supplier_title(number: int) -> str:
    """Name the sheet of the n-th supplier."""
    return f"Order sheet {number}"


def order_sheet(facts: Facts) -> Sheet:
    """Make the sheet of all that is to be ordered."""
    on_its_way = [_on_its_way(facts)] if facts.season.ordered else []
    return Sheet(
        ORDER,
        "All containers and seed to order, by supplier, with the price that each count reaches.",
        (
            _lines(facts),
            _accounts(facts),
            _discounts(facts),
            *on_its_way,
            seed_table(facts),
            cash_table(facts),
        ),
        Page(),
        Room.ORDER,
        packs=(Pack.STUDY,),
    )


def _lines(facts: Facts) -> Table:
    places = {p.name: i for i, p in enumerate(facts.season.products)}
    rows: list[tuple[Content, ...]] = []
    for account in facts.accounts:
        for line in account.lines:
            container = facts.containers[line.product, line.container]
            link = Link(PRODUCT_DETAIL, "worth", places[line.product])
            rows.append(
                (
                    account.name,
                    line.product,
                    line.container,
                    container.size,
                    Cell(line.count, Look.STRONG, link),
                    line.unit_price,
                    line.cost,
                    break_reached(facts, line, container),
                    account.order_by,
                )
            )
    return Table(
        name="order",
        title="Containers",
        columns=(
            Column("supplier", "Supplier"),
            Column("product", "Product"),
            Column("container", "Container"),
            Column("size", "Size", Measure.VOLUME, decimals=facts.size_decimals(facts.plan.order)),
            Column("count", "Count", Measure.COUNT, total=True),
            Column("price", "Price each", Measure.MONEY),
            Column("cost", "List cost", Measure.MONEY, total=True),
            Column("break", "Count price", width=24),
            Column("order_by", "Order by", Measure.DATE, width=17),
        ),
        rows=tuple(rows),
        group="supplier" if len(facts.accounts) > 1 else "",
        repeat_header=True,
        empty=facts.nothing_to_order,
    )


def break_reached(facts: Facts, line: OrderLine, container: Container) -> str:
    """Say which count price a line has and which one comes next."""
    reached = max((b.from_count for b in container.breaks if b.from_count <= line.count), default=1)
    said = [f"price from {reached}"] if reached > 1 else []
    later = [b for b in container.breaks if b.from_count > line.count]
    if later:
        each = facts.say(later[0].price, Measure.MONEY)
        said.append(f"{each} each from {later[0].from_count}")
    return "; ".join(said)


def _accounts(facts: Facts) -> Table:
    rows: list[tuple[Content, ...]] = [
        (
            a.name,
            Cell(supplier_title(n), link=Link(supplier_title(n))),
            Cell(_freight_said(facts, a)),
            a.spend,
            -a.saved,
            a.freight,
            Cell(a.to_pay, Look.STRONG),
            a.pay_by,
            a.order_by,
        )
        for n, a in enumerate(facts.accounts, 1)
    ]
    return Table(
        name="accounts",
        title="What each supplier is paid",
        columns=(
            Column("supplier", "Supplier"),
            Column("sheet", "To send"),
            Column("terms", "Freight terms"),
            Column("list", "List cost", Measure.MONEY, total=True),
            Column("discounts", "Discounts", Measure.MONEY, total=True),
            Column("freight", "Freight", Measure.MONEY, total=True),
            Column("pay", "To pay", Measure.MONEY, total=True),
            Column("pay_by", "Pay by"),
            Column("order_by", "Order by", Measure.DATE),
        ),
        rows=tuple(rows),
        empty="No supplier is ordered from.",
    )


def _freight_said(facts: Facts, account: Account) -> str:
    supplier = account.supplier
    if supplier is None or not supplier.freight:
        return "no freight"
    if supplier.free_from is None:
        return "once per order"
    limit = facts.say(supplier.free_from, Measure.MONEY)
    return f"free from {limit}"


def _discounts(facts: Facts) -> Table:
    rows: list[tuple[Content, ...]] = [
        (
            a.name,
            s.level.name,
            on_what(s.level, facts.manner),
            s.level.spend,
            s.spend,
            s.level.percent,
            Cell(-s.amount, Look.STRONG),
        )
        for a in facts.accounts
        for s in a.savings
    ]
    return Table(
        name="discounts",
        title="Discounts reached",
        columns=(
            Column("supplier", "Supplier"),
            Column("discount", "Discount"),
            Column("products", "On"),
            Column("from", "Reached from", Measure.MONEY),
            Column("spend", "Counts here", Measure.MONEY),
            Column("percent", "Percent off", Measure.PERCENT),
            Column("amount", "Taken off", Measure.MONEY, total=True),
        ),
        rows=tuple(rows),
        empty="No discount is reached.",
        note=" ".join([*_together(facts), *answer.sooner_lines(facts)]),
    )


def on_what(level: DiscountLevel, manner: Manner) -> str:
    """Say what a discount is on, and until when."""
    products = "; ".join(level.products) or "all products"
    if level.order_by is None:
        return products
    return f"{products}, ordered by {said(level.order_by, metric=manner.metric)}"


def _together(facts: Facts) -> list[str]:
    """Say which discounts count what several suppliers are paid."""
    spend = grouped(
        (s.level.name, s.spend)
        for account in facts.accounts
        for s in account.savings
        if s.level.supplier is None
    )
    return [
        f"{name} counts the list cost at all suppliers together: "
        f"{facts.say(sum(each), Measure.MONEY)}."
        for name, each in spend.items()
        if len(each) > 1
    ]


def _on_its_way(facts: Facts) -> Table:
    rows: list[tuple[Content, ...]] = []
    for o in facts.season.ordered:
        c = facts.containers[o.product, o.container]
        rows.append((o.product, o.container, None, c.size, o.count, None, o.count * c.usable))
    return Table(
        name="on_its_way",
        title="Ordered, not delivered",
        columns=(
            Column("product", "Product"),
            Column("container", "Container"),
            Column("blank", ""),
            Column(
                "size", "Size", Measure.VOLUME, decimals=facts.size_decimals(facts.season.ordered)
            ),
            Column("count", "Count", Measure.COUNT),
            Column("blank_too", ""),
            Column("usable", "Usable", Measure.VOLUME),
        ),
        rows=tuple(rows),
        empty="Nothing is still to be delivered.",
    )

"""Order sheets that can be sent as they are: for each supplier, and for each seller of seed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.report.facts import NO_SUPPLIER, bag_units
from planner.report.measures import Measure
from planner.report.order_frames import on_what, supplier_title
from planner.report.seed_order_frames import seed_accounts
from planner.report.sheets import Cell, Column, Look, Page, Room, Sheet, Table
from planner.sums import grouped

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    from planner.report.facts import Account, Facts
    from planner.report.seed_order_frames import SeedAccount
    from planner.report.sheets import Content
    from planner.season.domain import SeedLot

SEED_ORDER = "Seed order"


def supplier_sheets(facts: Facts) -> list[Sheet]:
    """Make an order sheet for each supplier; nothing on it but his own business."""
    return [_supplier_sheet(facts, a, n) for n, a in enumerate(facts.accounts, 1)]


def _supplier_sheet(facts: Facts, account: Account, number: int) -> Sheet:
    named = account.name != NO_SUPPLIER
    return Sheet(
        supplier_title(number),
        f"Seed treatment products for season {facts.season.farm.crop_year}"
        + (f", from {account.name}." if named else "."),
        (
            _parties(facts, account.name if named else "", account.order_by, account.pay_by),
            _supplier_lines(facts, account),
            _supplier_total(facts, account),
            _signatures(),
        ),
        Page(private=False),
        Room.ORDER,
        heading="Order",
    )


def seed_order_sheets(facts: Facts) -> list[Sheet]:
    """Make an order sheet for each seller of seed that is bought; a line to write on for nobody."""
    sellers = grouped((account.seller, account) for account in seed_accounts(facts))
    return [
        Sheet(
            SEED_ORDER if len(sellers) == 1 else f"{SEED_ORDER} {number}",
            f"Seed for season {facts.season.farm.crop_year}"
            + (f", from {seller}." if seller else "."),
            (
                _parties(facts, seller, accounts[0].order_by, _only({a.pay_by for a in accounts})),
                _seed_lines(facts, accounts),
                _signatures(),
            ),
            Page(private=False),
            Room.ORDER,
            heading="Order",
        )
        for number, (seller, accounts) in enumerate(sellers.items(), 1)
    ]


def _seed_lines(facts: Facts, accounts: Sequence[SeedAccount]) -> Table:
    rows: list[tuple[Content, ...]] = []
    for account in accounts:
        for s in account.lines:
            lot = facts.lots[s.lot]
            rows.append(
                (
                    lot.variety,
                    s.lot,
                    _comes(facts, lot),
                    bag_units(lot),
                    Cell(s.bags, Look.STRONG),
                    s.units,
                    lot.buy_price,
                    s.cost,
                    account.order_by,
                )
            )
    table = Table(
        name="lines",
        columns=(
            Column("variety", "Variety", width=24),
            Column("lot", "Lot", width=34),
            Column("treated", "To come", width=26),
            Column("bag", "Package of", width=14),
            Column("bags", "Packages", Measure.COUNT, total=True),
            Column("units", "Seed", Measure.UNITS, total=True),
            Column("price", "Price", Measure.MONEY_PER_UNIT),
            Column("amount", "Amount", Measure.MONEY, total=True),
            Column("order_by", "Order by", Measure.DATE),
        ),
        rows=tuple(rows),
        total_label="To pay",
        repeat_header=True,
    )
    alike = len({a.order_by for a in accounts}) <= 1
    treated = any(facts.lots[s.lot].treated_with for a in accounts for s in a.lines)
    return table.without(*["order_by"] * alike, *["treated"] * (not treated))


def _comes(facts: Facts, lot: SeedLot) -> str:
    """Say to the seller how the seed is to come: with what on it, or bare."""
    if lot.treated_with is None:
        return "untreated"
    products = ", ".join(rate.product for rate in facts.recipes[lot.treated_with].rates)
    return f"treated with {lot.treated_with}: {products}"


def _only(days: set[date | None]) -> date | None:
    """Return the day that all have; None where they differ."""
    return next(iter(days)) if len(days) == 1 else None


def _parties(facts: Facts, supplier: str, order_by: date | None, pay_by: date | None) -> Table:
    """Say who orders from whom, and by when; the day to pay by where there is one.

    A day that was over when the plan was made is left to be agreed on.
    """
    farm = facts.season.farm
    order_by, pay_by = (
        day if day is not None and day >= farm.plan_date else None for day in (order_by, pay_by)
    )
    return Table(
        name="parties",
        columns=(Column("what", "", width=24), Column("who", "", width=34)),
        rows=(
            ("Supplier", Cell(supplier or None, _line_if(not supplier))),
            ("Ordered by", Cell(farm.name or None, _line_if(not farm.name))),
            ("Order to reach you by", order_by or Cell(None, Look.FILL_IN)),
            *([("Pay by", pay_by)] if pay_by is not None else []),
            ("Delivery to", Cell(None, Look.FILL_IN)),
            ("Delivery by", Cell(None, Look.FILL_IN)),
        ),
        plain=True,
    )


def _line_if(missing: bool) -> Look:
    return Look.FILL_IN if missing else Look.STRONG


def _supplier_lines(facts: Facts, account: Account) -> Table:
    rows: list[tuple[Content, ...]] = []
    for line in account.lines:
        container = facts.containers[line.product, line.container]
        counts = [b.from_count for b in container.breaks if b.from_count <= line.count]
        reached = f"from {max(counts)}" if max(counts) > 1 else ""
        rows.append(
            (
                line.product,
                line.container,
                container.size,
                Cell(line.count, Look.STRONG),
                line.unit_price,
                reached,
                line.cost,
            )
        )
    return Table(
        name="lines",
        columns=(
            Column("product", "Product", width=24),
            Column("container", "Container", width=34),
            Column("size", "Size", Measure.VOLUME, decimals=facts.size_decimals(account.lines)),
            Column("count", "Count", Measure.COUNT, total=True),
            Column("price", "Price each", Measure.MONEY),
            Column("break", "Count price", width=12),
            Column("amount", "Amount", Measure.MONEY, total=True),
        ),
        rows=tuple(rows),
        total_label="List price",
        repeat_header=True,
    )


def _supplier_total(facts: Facts, account: Account) -> Table:
    rows: list[tuple[Content, ...]] = []
    for s in account.savings:
        rows.append(
            (
                f"Discount {s.level.name}",
                f"on {on_what(s.level, facts.manner)}",
                None,
                None,
                None,
                s.level.percent,
                -s.amount,
            )
        )
    supplier = account.supplier
    if supplier is not None and supplier.freight:
        said = ""
        if not account.freight and supplier.free_from is not None:
            said = f"free from {facts.say(supplier.free_from, Measure.MONEY)} list price"
        rows.append(("Freight", said, None, None, None, None, account.freight))
    rows.append(("List price", "", None, None, None, None, account.spend))
    rows = [rows[-1], *rows[:-1]]
    return Table(
        name="total",
        columns=(
            Column("what", "Sum"),
            Column("said", ""),
            Column("blank", ""),
            Column("blank_too", ""),
            Column("blank_three", ""),
            Column("percent", "Percent", Measure.PERCENT),
            Column("amount", "Amount", Measure.MONEY, total=True),
        ),
        rows=tuple(rows),
        total_label="To pay",
    )


def _signatures() -> Table:
    line = Cell(None, Look.FILL_IN)
    return Table(
        name="signatures",
        columns=(Column("what", ""), Column("sign", "")),
        rows=(
            ("Ordered, date", line),
            ("Signature", line),
            ("Confirmed, date", line),
            ("Signature of supplier", line),
        ),
        plain=True,
    )

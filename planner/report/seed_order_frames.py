"""Seed to order and to pay, by seller and day, and all that is paid by day."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from planner.plan.price import seed_by_seller
from planner.report.facts import SEED, bag_units
from planner.report.measures import Measure
from planner.report.sheets import Cell, Column, Link, Look, Table

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from datetime import date

    from planner.plan.plan import SeedPurchase
    from planner.report.facts import Facts
    from planner.report.sheets import Content


class SeedAccount(NamedTuple):
    """Seed to buy from one seller, with one last day to order and one to pay."""

    seller: str
    """Empty where nobody is named."""
    order_by: date | None
    pay_by: date | None
    lines: tuple[SeedPurchase, ...]


def seed_accounts(facts: Facts) -> tuple[SeedAccount, ...]:
    """Group the seed to buy by seller and days; what must be ordered first comes first."""
    lines = seed_by_seller(facts.season, facts.plan.seed_purchases)
    found = [SeedAccount(*key, tuple(own)) for key, own in lines.items()]
    return tuple(sorted(found, key=lambda a: (a.order_by is None, a.order_by, a.seller)))


def seed_table(facts: Facts) -> Table:
    """Make the table of all seed to buy; seller and day only where the season names any."""
    accounts = seed_accounts(facts)
    treated = any(facts.lots[s.lot].treated_with for a in accounts for s in a.lines)
    columns = (
        Column("seller", "Seller"),
        Column("lot", "Lot"),
        Column("variety", "Variety"),
        *([Column("treated", "Comes treated with")] if treated else []),
        Column("bag", "Package"),
        Column("units", "Seed", Measure.UNITS, total=True),
        Column("bags", "Bags", Measure.COUNT, total=True),
        Column("price", "Price", Measure.MONEY_PER_UNIT),
        Column("cost", "Cost", Measure.MONEY, total=True),
        Column("order_by", "Order by", Measure.DATE),
    )
    first = 0 if any(a.seller for a in accounts) else 1
    last = len(columns) if any(a.order_by for a in accounts) else len(columns) - 1
    return Table(
        name="seed",
        title="Seed to buy",
        columns=columns[first:last],
        rows=tuple(row[first:last] for row in _seed_rows(facts, accounts, treated)),
        empty="No seed to buy.",
    )


def _seed_rows(
    facts: Facts, accounts: Sequence[SeedAccount], treated: bool
) -> Iterator[tuple[Content, ...]]:
    """A row for every lot to buy, with what is on it where any comes `treated`."""
    places = {b.lot.name: i for i, b in enumerate(facts.lot_balances)}
    for account in accounts:
        for s in account.lines:
            lot = facts.lots[s.lot]
            yield (
                account.seller or None,
                s.lot,
                lot.variety,
                *([lot.treated_with or "untreated"] if treated else []),
                f"bags of {bag_units(lot)}",
                Cell(s.units, link=Link(SEED, "lots", places[s.lot])),
                Cell(s.bags, Look.STRONG),
                lot.buy_price,
                s.cost,
                account.order_by,
            )


def cash_table(facts: Facts) -> Table:
    """Make the table of what is paid to whom and when, the first day first."""
    due = [(a.pay_by, a.name, "products", a.to_pay) for a in facts.accounts]
    due += [
        (a.pay_by, a.seller or "seller not named", "seed", sum(s.cost for s in a.lines))
        for a in seed_accounts(facts)
    ]
    due.sort(key=lambda d: (d[0] is None, d[0], d[2], d[1]))
    rows: list[tuple[Content, ...]] = []
    so_far = 0.0
    for day, who, what, amount in due:
        so_far += amount
        rows.append((day or "no day named", who, what, Cell(amount, Look.STRONG), so_far))
    return Table(
        name="cash",
        title="What is paid when",
        columns=(
            Column("pay_by", "Pay by", Measure.DATE),
            Column("who", "To"),
            Column("what", "For"),
            Column("amount", "To pay", Measure.MONEY, total=True),
            Column("so_far", "Paid by then", Measure.MONEY),
        ),
        rows=tuple(rows),
        empty="Nothing is to be paid.",
    )

"""A workbook for each grower of a shared order: his fields, seed, treating and bill only."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.campaign.records import CAUTIONS
from planner.explain.words import capital
from planner.report.measures import Measure, manner_of
from planner.report.share_frames import NOT_BILLED, RULES
from planner.report.sheets import (
    Book,
    Cell,
    Column,
    KeyFigure,
    KeyFigures,
    Look,
    Page,
    Room,
    Sheet,
    Table,
    Text,
)
from planner.report.spread import spread
from planner.season.domain import UNTREATED
from planner.season.names import for_file
from planner.sharing.growers import farm_name, fields_of, in_a_sentence
from planner.sharing.settlement import settle
from planner.sums import grouped

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from datetime import date

    from planner.campaign.domain import Batch, Campaign
    from planner.plan.plan import Plan
    from planner.report.sheets import Block, Content
    from planner.season.domain import Season
    from planner.sharing.bills import Bill
    from planner.sharing.settlement import Account
    from planner.sharing.shares import Sharing

BILL, WORK = "Bill", "Fields and seed"


def file_names(growers: Sequence[str]) -> dict[str, str]:
    """Name the file of each grower: a number and the plain letters of his name, nothing else of it.

    >>> file_names(["North Home", "../../etc", "大豆"])["North Home"]
    'bill 1 north-home.xlsx'
    >>> list(file_names(["North Home", "../../etc", "大豆"]).values())[1:]
    ['bill 2 etc.xlsx', 'bill 3.xlsx']
    """
    return {
        name: f"bill {number} {for_file(name)}".strip() + ".xlsx"
        for number, name in enumerate(growers, 1)
    }


def grower_book(
    bill: Bill, sharing: Sharing, plan: Plan, season: Season, campaign: Campaign
) -> Book:
    """Describe the workbook that a grower gets: one sheet to pay by, one to work by."""
    manner = manner_of(season.farm)
    accounts = settle(sharing.bills, season)
    account = next(a for a in accounts if a.grower == bill.grower)
    own = fields_of(season, bill.grower)
    why = _why_paid(account, accounts, season)
    sheets = [
        _bill_sheet(bill, account, plan, season, own, sharing.by, why),
        _work_sheet(plan, season, campaign, own),
    ]
    return Book(
        sheets=spread(sheets, manner),
        manner=manner,
        season=f"Season {season.farm.crop_year}",
        dated=season.farm.plan_date,
    )


def _bill_sheet(
    bill: Bill,
    account: Account,
    plan: Plan,
    season: Season,
    own: frozenset[str],
    by: str,
    why: str,
) -> Sheet:
    farm = farm_name(season)
    acres = sum(p.acres for p in plan.planting if p.field in own)
    parties: list[tuple[Content, ...]] = [("Bill for", Cell(bill.grower, Look.STRONG))]
    if account.address:
        parties.append(("Address", account.address))
    parties.append(("Ordered and treated by", farm))
    blocks: list[Block] = [
        Table(
            "parties",
            (Column("what", "", width=38), Column("who", "", width=36)),
            tuple(parties),
            plain=True,
        ),
        KeyFigures(tuple(_bill_figures(bill, account, acres, season))),
        _lines(bill, by),
    ]
    if not account.orders:
        blocks += [_to_pay(account, in_a_sentence(farm)), Text((why,))]
    return Sheet(
        BILL,
        f"Your share of one order for seed and treating, season {season.farm.crop_year}.",
        tuple(blocks),
        Page(private=False),
        Room.ORDER,
    )


def _bill_figures(
    bill: Bill, account: Account, acres: float, season: Season
) -> Iterator[KeyFigure]:
    """What a grower bears, what that saves him, and what he owes who ordered."""
    yield KeyFigure("Your share", bill.share, Measure.MONEY, note=_each(bill, acres, season))
    if bill.saved is not None:
        look = Look.SHORT if bill.saved < 0 else Look.OK
        alone = manner_of(season.farm).say(bill.alone or 0.0, Measure.MONEY)
        yield KeyFigure("Saved together", bill.saved, Measure.MONEY, f"alone {alone}", look)
    if not account.orders:
        said = f"{'to' if account.due >= 0 else 'from'} {in_a_sentence(farm_name(season))}"
        what = "To pay" if account.due >= 0 else "You get back"
        yield KeyFigure(what, abs(account.due), Measure.MONEY, said, Look.STRONG)


def _each(bill: Bill, acres: float, season: Season) -> str:
    if acres <= 0:
        return ""
    return manner_of(season.farm).say(bill.share / acres, Measure.MONEY_PER_AREA) + " planted"


def _lines(bill: Bill, by: str) -> Table:
    return Table(
        "lines",
        (
            Column("what", "What", width=38),
            Column("why", "What for", width=36),
            Column("amount", "Amount", Measure.MONEY, total=True, width=20),
        ),
        tuple((*_parted(x.what), x.amount) for x in bill.lines),
        "What your share is made of",
        total_label="Your share",
        repeat_header=True,
        empty="Nothing: your fields take no part of the order.",
        note=f"Shared {RULES[by]}.",
    )


def _parted(what: str) -> tuple[str, str]:
    """What a line is of, and what for.

    >>> _parted("Alpha, jug: on seed"), _parted("Freight, Elm")
    (('Alpha, jug', 'on seed'), ('Freight, Elm', ''))
    """
    of, _, why = what.rpartition(": ")
    return (of, why) if of else (why, "")


def _to_pay(account: Account, farm: str) -> Table:
    """From the share to what is to be paid, line by line."""
    rows: list[tuple[Content, ...]] = [("Your share", "", account.share)]
    if account.own:
        rows.append((NOT_BILLED, "own seed, yield loss", -account.own))
    if account.lent:
        rows.append(("Your seed on others' fields", "at its return value", -account.lent))
    rows.append(("Deposit", "paid already", -account.deposit or 0.0))
    return Table(
        "to_pay",
        (
            Column("what", "To settle", width=38),
            Column("why", "", width=36),
            Column("amount", "Amount", Measure.MONEY, total=True, width=20),
        ),
        tuple(rows),
        total_label=f"To pay to {farm}" if account.due >= 0 else f"To get back from {farm}",
    )


def _why_paid(account: Account, accounts: Sequence[Account], season: Season) -> str:
    """Say why a grower pays the farm or gets money back, or that he may be the farm himself."""
    farm = in_a_sentence(farm_name(season))
    orders = f"{farm} orders everything and pays all suppliers, for your fields too."
    if account.due < 0:
        return (
            f"{capital(farm)} pays you this back: what you have paid or given in seed is more than "
            f"your part. {capital(orders)}"
        )
    why = f"Why to {farm}: {orders}"
    if any(a.orders for a in accounts):
        return why
    return (
        f"{why} Are you {farm} yourself? Then you pay this to nobody: it is your own part of what "
        "you pay the suppliers."
    )


def _work_sheet(plan: Plan, season: Season, campaign: Campaign, own: frozenset[str]) -> Sheet:
    blocks: list[Block] = [_planting(plan, season, own)]
    short = tuple((s.field, s.acres) for s in plan.shortages if s.field in own)
    if short:
        columns = (Column("field", "Field", width=28), Column("acres", "Short", Measure.AREA))
        rows = tuple((field, Cell(acres, Look.SHORT)) for field, acres in short)
        blocks.append(Table("short", columns, rows, "Acres that stay unplanted"))
    blocks += [
        _treated(plan, campaign, own),
        _recipes(plan, season, own),
        Text(CAUTIONS, "Cautions", Look.WATCH, bullets=True),
    ]
    return Sheet(
        WORK,
        "What goes on your fields, how it is treated, and when.",
        tuple(blocks),
        Page(landscape=True, private=False),
        Room.FIELDS,
    )


def _planting(plan: Plan, season: Season, own: frozenset[str]) -> Table:
    rows = tuple(
        (
            p.field,
            f.planting_date,
            season.lot_named[p.lot].variety,
            p.lot,
            p.recipe,
            p.acres,
            p.units,
        )
        for f in season.fields
        if f.name in own
        for p in plan.planting
        if p.field == f.name
    )
    return Table(
        "planting",
        (
            Column("field", "Field", width=26),
            Column("day", "Planting date", Measure.DATE, width=17),
            Column("variety", "Variety", width=20),
            Column("lot", "Lot", width=16),
            Column("recipe", "Recipe", width=16),
            Column("acres", "Planted", Measure.AREA, total=True),
            Column("units", "Seed", Measure.UNITS, total=True),
        ),
        rows,
        "Your fields",
        repeat_header=True,
        empty="Nothing is planted on your fields.",
    )


def _treated(plan: Plan, campaign: Campaign, own: frozenset[str]) -> Table:
    """Units treated for these fields, day by day."""
    rows: list[tuple[Content, ...]] = [
        (day, b.variety, b.lot, b.recipe, bags, units, units * b.unit_weight)
        for day, b, bags, units in _runs(campaign, own)
    ]
    done = {(b.lot, b.recipe) for b in campaign.batches}
    earlier = any(
        p.field in own and p.recipe != UNTREATED and (p.lot, p.recipe) not in done
        for p in plan.planting
    )
    return Table(
        "treated",
        (
            Column("day", "Treated on", Measure.DATE, width=17),
            Column("variety", "Variety", width=20),
            Column("lot", "Lot", width=16),
            Column("recipe", "Recipe", width=16),
            Column("bags", "Bags", width=16),
            Column("units", "Treated for you", Measure.UNITS, total=True),
            Column("weight", "Weight", Measure.WEIGHT, total=True),
        ),
        tuple(rows),
        "Seed treated for you, as planned",
        empty="Nothing is treated for your fields in this plan.",
        note="Days may still move with the weather."
        + (" Seed that was treated before this plan is not listed." if earlier else ""),
    )


def _runs(campaign: Campaign, own: frozenset[str]) -> Iterator[tuple[date, Batch, str, float]]:
    """Day, batch, bags and units of what is treated for some fields."""
    batches = {(b.lot, b.recipe): b for b in campaign.batches}
    parts = grouped(((s.lot, s.recipe, s.bag), (s.field, s.units)) for s in campaign.shared)
    for run in campaign.calendar.runs:
        batch = batches[run.lot, run.recipe]
        bags, units = [], 0.0
        for bag in range(run.first_bag, run.last_bag + 1):
            split = parts.get((run.lot, run.recipe, bag))
            if split is None:
                mine = batch.units_of(bag, bag) if _all_own(batch, bag, own) else 0.0
            else:
                mine = sum(amount for field, amount in split if field in own)
            if mine > 0:
                bags.append(bag)
                units += mine
        if bags:
            said = f"{bags[0]} to {bags[-1]}" if len(bags) > 1 else f"{bags[0]}"
            yield run.day, batch, said, units


def _all_own(batch: Batch, bag: int, own: frozenset[str]) -> bool:
    """Whether a bag that is not split goes to one of these fields."""
    for portion in batch.portions:
        if portion.first_bag <= bag < portion.first_bag + portion.bags:
            return bool(portion.fields) and own.issuperset(portion.fields)
    return False


def _recipes(plan: Plan, season: Season, own: frozenset[str]) -> Table:
    used = {p.recipe for p in plan.planting if p.field in own}
    rows = tuple(
        (r.name, rate.product, rate.written or f"{rate.amount:g} {rate.basis.value}")
        for r in season.recipes
        if r.name in used
        for rate in (*r.rates, *r.carriers)
    )
    return Table(
        "recipes",
        (
            Column("recipe", "Recipe", width=26),
            Column("product", "Product", width=36),
            Column("rate", "Rate", width=36),
        ),
        rows,
        "What is on your seed",
        empty="Nothing: your seed is planted untreated.",
    )

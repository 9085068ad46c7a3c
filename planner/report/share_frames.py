"""Several growers, one order: who bears what, who owes whom, and whether that is fair."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from planner.explain.words import capital, count
from planner.plan.plan import CENT
from planner.plan.traced import Term
from planner.report.measures import Measure, manner_of
from planner.report.sheets import (
    Book,
    Cell,
    Column,
    Formula,
    Look,
    Pack,
    Page,
    Room,
    Sheet,
    Table,
    Text,
)
from planner.report.spread import spread
from planner.season.sheets_growers import BY_REGRET, BY_SAVINGS, BY_USE
from planner.sharing.growers import farm_name, fields_of, growers_of, in_a_sentence
from planner.sharing.settlement import settle
from planner.sharing.shares import bills_of
from planner.sums import summed

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from planner.plan.plan import Plan
    from planner.report.facts import Facts
    from planner.report.measures import Manner
    from planner.report.sheets import Block, Content
    from planner.season.domain import Season
    from planner.sharing.bills import Bill
    from planner.sharing.settlement import Account
    from planner.sharing.shares import Charge, Sharing

BILLS, SETTLEMENT, FAIR = "Bills", "Settlement", "Is it fair"
MOST_SIDE_BY_SIDE = 5
"""Growers whose amounts stand side by side; more stand one below the other."""
MOST_GROUPS = 40
"""Groups that are shown, the most overcharged first."""
RULES = {
    "use": "by use: every cost goes to the fields that take it",
    BY_SAVINGS: "by savings: what a grower adds to the cost, on average over all orders in which "
    "they could join (Shapley value)",
    BY_REGRET: "by least regret: the group that gains least from ordering together gains as much "
    "as can be, then the next (nucleolus)",
}
NOT_BILLED = "Not billed"
"""What the sheets of bills and of the settlement call what a grower bears without paying."""
NOT_ALL_PAID = (
    "A share is no bill yet. It holds what nobody bills: the yield that a grower's own fields are "
    "expected to lose, and what the grower's own seed would have brought back untreated. The rest "
    "is money: products, freight, seed bought, seed taken from another's stock at its return "
    "value, less the worth of product left over."
)
LICENSE = (
    "Treating seed for others, paid or not, may need a license or a permit where you are; so may "
    "selling treated seed. Ask the state office in charge of pesticides and seed first.",
    "Containers stay whole: one treater treats for all, and what is shared is money. Filling "
    "product from its container into another one for a neighbor is regulated as repackaging.",
)


def bills_sheets(facts: Facts) -> list[Sheet]:
    """Make the sheet of bills, where several growers share the plan."""
    bills, by = bills_of(facts.plan, facts.season, facts.sharing)
    return [bills_sheet(bills, by, facts.plan, facts.season)] if bills else []


def bills_sheet(bills: Sequence[Bill], by: str, plan: Plan, season: Season) -> Sheet:
    """Make the sheet of what each grower bears of the plan's total, line by line."""
    table = _side_by_side(bills) if len(bills) <= MOST_SIDE_BY_SIDE else _one_by_one(bills)
    return Sheet(
        BILLS,
        "What each grower bears of the total compared, and what of it is paid in money.",
        (Text((f"Shared {RULES[by]}.", NOT_ALL_PAID)), _shares(bills, plan, season), table),
        Page(landscape=True),
        Room.ORDER,
        packs=(Pack.STUDY,),
    )


def _shares(bills: Sequence[Bill], plan: Plan, season: Season) -> Table:
    acres = planted_acres(plan, season)
    known = any(b.alone is not None for b in bills)
    columns = [
        Column("grower", "Grower", width=28),
        Column("acres", "Planted", Measure.AREA, total=True),
        Column("share", "Share", Measure.MONEY, total=True),
        Column("per_acre", "Share", Measure.MONEY_PER_AREA),
        Column("own", NOT_BILLED, Measure.MONEY, total=True),
        Column("paid", "In money", Measure.MONEY, total=True, look=Look.STRONG),
    ]
    if known:
        columns.append(Column("alone", "Alone", Measure.MONEY))
        columns.append(Column("saved", "Saved together", Measure.MONEY))
    rows: list[tuple[Content, ...]] = []
    for b in bills:
        land = acres.get(b.grower, 0.0)
        row: list[Content] = [b.grower, land, b.share, b.share / land if land else None]
        row += [b.own, b.in_money]
        if known:
            row += [b.alone, saved_cell(b)]
        rows.append(tuple(row))
    return Table("shares", tuple(columns), tuple(rows), "Shares of the total compared")


def saved_cell(bill: Bill) -> Cell:
    """What ordering together saves a grower; blank where alone he would plant less."""
    saved = bill.saved
    return Cell(saved, Look.SHORT if saved is not None and saved < 0 else Look.PLAIN)


def planted_acres(plan: Plan, season: Season) -> Mapping[str, float]:
    """Acres planted, by grower."""
    planted = summed((p.field, p.acres) for p in plan.planting)
    return {
        name: sum(planted[field] for field in fields_of(season, name))
        for name in growers_of(season)
    }


def _side_by_side(bills: Sequence[Bill]) -> Table:
    """What every cost is, and who bears how much of it."""
    names = _merged([[x.what for x in b.lines] for b in bills])
    amounts = [summed((x.what, x.amount) for x in b.lines) for b in bills]
    rows = tuple(
        (
            what,
            *(round(a[what], 2) or None for a in amounts),
            round(sum(a[what] for a in amounts), 2) or 0.0,
        )
        for what in names
    )
    return Table(
        "lines",
        (
            Column("what", "What for", width=44),
            *(
                Column(f"grower_{i}", b.grower, Measure.MONEY, width=18, total=True)
                for i, b in enumerate(bills)
            ),
            Column("all", "All", Measure.MONEY, total=True),
        ),
        rows,
        "Line by line",
        repeat_header=True,
    )


def _merged(lists: Sequence[Sequence[str]]) -> list[str]:
    """All texts of several lists, in an order that none of them contradicts.

    >>> _merged([["a", "c", "d"], ["a", "b", "d"]])
    ['a', 'c', 'b', 'd']
    """
    found: list[str] = []
    for texts in reversed(lists):  # so that what only one list has is in the lists' order
        at = 0
        for text in texts:
            if text in found:
                at = found.index(text) + 1
            else:
                found.insert(at, text)
                at += 1
    return found


def _one_by_one(bills: Sequence[Bill]) -> Table:
    rows = tuple((b.grower, x.what, x.amount) for b in bills for x in b.lines)
    return Table(
        "lines",
        (
            Column("grower", "Grower", width=28),
            Column("what", "What for", width=44),
            Column("amount", "Amount", Measure.MONEY, total=True),
        ),
        rows,
        "Line by line",
        group="grower",
        repeat_header=True,
    )


def settlement_book(sharing: Sharing, plan: Plan, season: Season, files: Mapping[str, str]) -> Book:
    """Describe the workbook for the one who orders.

    Parameters
    ----------
    files
        Name of the file with each grower's bill.
    """
    manner = manner_of(season.farm)
    sheets = [
        _settlement(sharing, plan, season, files, manner),
        _fair(sharing, season, manner),
        bills_sheet(sharing.bills, sharing.by, plan, season),
    ]
    return Book(
        sheets=spread(sheets, manner),
        manner=manner,
        farm=season.farm.name,
        season=f"Season {season.farm.crop_year}",
        dated=season.farm.plan_date,
        fingerprint=season.fingerprint,
    )


def _settlement(
    sharing: Sharing, plan: Plan, season: Season, files: Mapping[str, str], manner: Manner
) -> Sheet:
    farm = in_a_sentence(farm_name(season))
    accounts = settle(sharing.bills, season)
    blocks: list[Block] = [
        Text(_who_pays(accounts, farm, manner), look=Look.STRONG),
        Text((why_paid(accounts, farm),)),
        _accounts(accounts, files, farm),
        _where_it_goes(sharing.bills, plan, farm, manner),
        Text(LICENSE, "Before you treat for others", Look.WATCH, bullets=True),
    ]
    purpose = f"For {farm}, which orders and pays for all: what the others have to pay."
    return Sheet(SETTLEMENT, purpose, tuple(blocks), Page(landscape=True), Room.PLAN)


def _accounts(accounts: Sequence[Account], files: Mapping[str, str], farm: str) -> Table:
    """From each grower's share to what he still owes."""
    lend = any(a.lent for a in accounts)
    columns = [
        Column("grower", "Grower", width=24),
        Column("address", "Address", width=24),
        Column("share", "Share", Measure.MONEY, total=True),
        Column("own", NOT_BILLED, Measure.MONEY, total=True),
        Column("money", "In money", Measure.MONEY, total=True),
        Column("lent", "For own seed", Measure.MONEY, total=True),
        Column("deposit", "Deposit", Measure.MONEY, total=True),
        Column("due", f"Still owes {farm}", Measure.MONEY),
        Column("file", "Bill in file", width=36),
    ]
    rows: list[tuple[Content, ...]] = []
    for a in accounts:
        money = Formula("={share}-{own}", a.in_money)
        due = Formula("={money}-{lent}-{deposit}" if lend else "={money}-{deposit}", a.due)
        rows.append(
            (
                a.grower,
                a.address,
                a.share,
                a.own,
                money,
                *((a.lent,) if lend else ()),
                Cell(a.deposit, Look.OVERTYPE),
                Cell("orders for all", Look.FAINT) if a.orders else Cell(due, Look.STRONG),
                Cell(files.get(a.grower, ""), Look.FAINT),
            )
        )
    note = (
        f"{NOT_BILLED}: expected yield loss on a grower's own fields and what the grower's own "
        "seed would have brought back; nobody pays for these. What is owed follows the deposits."
    )
    return Table(
        "accounts",
        tuple(c for c in columns if lend or c.key != "lent"),
        tuple(rows),
        "Who owes whom",
        note=f"{note} For own seed: what the others pay for a grower's seed." if lend else note,
    )


def _who_pays(accounts: Sequence[Account], farm: str, manner: Manner) -> tuple[str, ...]:
    said = []
    for a in accounts:
        if a.due > 0:
            said.append(f"{a.grower} pays {farm} {manner.say(a.due, Measure.MONEY)}.")
        elif a.due < 0:
            back = manner.say(-a.due, Measure.MONEY)
            said.append(f"{capital(farm)} pays {a.grower} back {back}.")
    return tuple(said) or ("Nobody owes anything.",)


def why_paid(accounts: Sequence[Account], farm: str) -> str:
    """Say why growers pay the farm, and what to do where one of them is the farm."""
    start = capital(farm)
    said = f"{start} orders everything and pays all suppliers; growers pay it back their shares."
    if any(a.orders for a in accounts):
        return said
    names = " or ".join(a.grower for a in accounts)
    return (
        f"{said} Every field names a grower, so {farm} has no fields and bears nothing itself: "
        f"all that it pays out comes back. Is {names} {farm} itself? Then that money changes no "
        f"hands: it is {farm}'s own part of what it pays the suppliers. Leave Grower blank on "
        "those fields and lots, and they are the farm's own, here too."
    )


def _where_it_goes(bills: Sequence[Bill], plan: Plan, farm: str, manner: Manner) -> Table:
    """All shares in money: what of it is paid out, and what somebody keeps, and for what."""
    cost = plan.cost
    rows: list[tuple[str, float, str]] = [
        ("Containers, at list price", cost.containers, "the suppliers"),
        ("Freight", cost.freight, "the suppliers"),
        ("Discounts", -cost.discounts, "taken off by the suppliers"),
        ("Seed bought", cost.seed_bought, "those who sell it"),
    ]
    out = sum(amount for _, amount, _ in rows)
    kept = summed(((x.term, x.keeper), x.amount) for b in bills for x in b.lines if not x.own)
    for (term, keeper), amount in kept.items():
        who = in_a_sentence(keeper)
        if term is Term.SEED_GIVEN_UP:
            what = f"Seed from {who}'s stock, at its return value"
            rows.append((what, amount, f"{who} keeps it: this seed can't be returned once treated"))
    left = sum(amount for (term, _), amount in kept.items() if term is Term.CREDIT)
    if left:
        rows.append(
            ("Product left over, at its worth", left, f"{farm} keeps the product and pays for it")
        )
    cents_over = sum(b.in_money for b in bills) - sum(round(amount, 2) for _, amount, _ in rows)
    if round(cents_over, 2):
        rows.append(("Rounded to cents", round(cents_over, 2), ""))
    return Table(
        "paid",
        (
            Column("what", "What for", width=44),
            Column("amount", "Amount", Measure.MONEY, total=True),
            Column("who", "Who gets it", width=56),
        ),
        tuple(rows),
        "Where the money of all shares goes",
        total_label="All shares, in money",
        note=f"{capital(farm)} pays out {manner.say(out, Measure.MONEY)} of it.",
    )


def _fair(sharing: Sharing, season: Season, manner: Manner) -> Sheet:
    blocks: list[Block] = [
        Text(verdict(sharing, season), look=Look.STRONG),
        _gains(sharing, manner),
        _groups(sharing),
        _only_together(sharing),
    ]
    notes = _notes(sharing, season, manner)
    if notes:
        blocks.append(Text(notes, "How exact the shares are", bullets=True))
    purpose = "Does anyone, or any group, pay more than by ordering alone?"
    return Sheet(FAIR, purpose, tuple(blocks), Page(landscape=True), Room.WHY)


def verdict(sharing: Sharing, season: Season) -> tuple[str, ...]:
    """Say whether a group pays more than alone, and whether other shares could help."""
    if not sharing.charges:
        return ("No group was planned by itself, so there is nothing to compare with.",)
    manner = manner_of(season.farm)
    alike = [c for c in sharing.charges if not c.short]
    other = [c for c in sharing.charges if c.short]
    said = [_plants_otherwise(c, manner) for c in other if len(c.names) == 1]
    if _nobodys(season):
        said.append(
            "Products on hand and seed without a grower belong to nobody, so each group is planned "
            "as if it had all of them to itself: that makes being alone look cheaper than it is."
        )
    if not alike:
        return tuple(said)
    worst = alike[0]
    group = _group(worst)
    if worst.over >= CENT / 2:
        more = manner.say(worst.over, Measure.MONEY)
        if len(worst.names) == 1:
            said.append(f"{group} pays {more} more here than by ordering alone.")
        else:
            said.append(f"{group} pay {more} more here than if they ordered by themselves.")
    elif _one_by_one_only(sharing):
        which = "No other grower" if other else "No grower"
        said.append(f"{which} pays more here than by ordering alone.")
    else:
        which = "No group" if sharing.all_groups and not other else "No other group"
        said.append(f"{which} pays more than it would alone.")
    if _one_by_one_only(sharing) and not sharing.all_groups:
        said.append("Whether several of them would do better by themselves was not looked into.")
    if sharing.core_empty:
        least = manner.say(sharing.core_excess or 0.0, Measure.MONEY)
        said.append(
            f"No way to share this order leaves every group as well off as alone (the core is "
            f"empty): some group pays at least {least} too much. Whole containers often do that."
        )
    elif sharing.core_empty is False and worst.over >= CENT / 2:
        said.append(
            "There are shares under which no group pays more than alone (the core is not empty): "
            "set Share costs by to least regret."
        )
    return tuple(said)


def _one_by_one_only(sharing: Sharing) -> bool:
    """Whether each grower was planned alone, and no group of several."""
    return all(len(c.names) == 1 for c in sharing.charges)


def _nobodys(season: Season) -> bool:
    """Whether there is anything that every group alone would have in full."""
    stock = any(p.on_hand > 0 for p in season.products) or bool(season.ordered)
    return stock or any(not x.grower and x.on_hand > 0 for x in season.lots)


def _plants_otherwise(charge: Charge, manner: Manner) -> str:
    acres = manner.say(abs(charge.short), Measure.AREA)
    if charge.short < 0.0:
        return (
            f"{_group(charge)} alone would plant {acres} that stay unplanted here, so the cost "
            "alone is that of more planting."
        )
    return (
        f"{_group(charge)} alone would leave {acres} unplanted that are planted here, so the cost "
        "alone is that of less planting."
    )


def _group(charge: Charge) -> str:
    *first, last = charge.names
    return f"{', '.join(first)} and {last}" if first else last


def _gains(sharing: Sharing, manner: Manner) -> Table:
    """What each grower saves against ordering alone, and how sure his share is."""
    ranged = _ranged(sharing)
    sampled = bool(sharing.error)
    columns = [
        Column("grower", "Grower", width=28),
        Column("alone", "Alone", Measure.MONEY),
        Column("share", "Share", Measure.MONEY),
        Column("saved", "Saved together", Measure.MONEY),
    ]
    if ranged:
        columns.append(Column("sure", "Share could be", width=32))
    if sampled:
        columns.append(Column("error", "Sampling error, +/-", Measure.MONEY))
    rows: list[tuple[Content, ...]] = []
    for i, b in enumerate(sharing.bills):
        row: list[Content] = [b.grower, b.alone, b.share, saved_cell(b)]
        if ranged:
            row.append(_range(sharing.low[i], sharing.high[i], manner))
        if sampled:
            row.append(sharing.error[i])
        rows.append(tuple(row))
    return Table("gains", tuple(columns), tuple(rows), "Each grower against ordering alone")


def _ranged(sharing: Sharing) -> bool:
    """Whether any share could be another one, as far as that is known."""
    ends = zip(sharing.low, sharing.high, strict=True)
    return any(math.isfinite(high - low) and high - low >= CENT for low, high in ends)


def _range(low: float, high: float, manner: Manner) -> str:
    if not math.isfinite(high - low):
        return "not known"
    ends = [manner.say(x, Measure.MONEY) for x in (low, high)]
    return ends[0] if ends[0] == ends[1] else " to ".join(ends)


def _groups(sharing: Sharing) -> Table:
    charges = sharing.charges
    rows = tuple(
        (
            _group(c),
            c.pays,
            c.alone,
            None if c.short else Cell(c.over, Look.SHORT if c.over >= CENT / 2 else Look.OK),
            None if c.short else c.bound if math.isfinite(c.bound) else "not known",
            Cell(c.short, Look.WATCH) if c.short else None,
        )
        for c in charges[:MOST_GROUPS]
    )
    more = f" {len(charges)} groups in all; those that gain least are shown."
    return Table(
        "groups",
        (
            Column("group", "Group", width=44),
            Column("pays", "Pays here", Measure.MONEY),
            Column("alone", "Alone", Measure.MONEY),
            Column("over", "More than alone", Measure.MONEY),
            Column("floor", "Alone at least", Measure.MONEY),
            Column("short", "Less planted alone (more: below 0)", Measure.AREA, width=16),
        ),
        rows,
        f"{'Every group' if sharing.all_groups else 'Groups'} against ordering by "
        f"{'itself' if sharing.all_groups else 'themselves'}",
        repeat_header=True,
        note="Alone is the cost of a plan made for that group; Alone at least is proven: no plan "
        "of the group costs less." + (more if len(charges) > MOST_GROUPS else ""),
    )


def _only_together(sharing: Sharing) -> Table:
    return Table(
        "together",
        (
            Column("product", "Product", width=28),
            Column("container", "Container", width=20),
            Column("count", "Count", Measure.COUNT),
            Column("cost", "List cost", Measure.MONEY),
        ),
        tuple((x.product, x.container, x.count, x.cost) for x in sharing.together),
        "Containers bought only because they order together",
        empty="None: each of these containers would be bought by someone alone, too.",
    )


def _notes(sharing: Sharing, season: Season, manner: Manner) -> tuple[str, ...]:
    said = []
    rooms = [c.alone - c.bound for c in sharing.charges if not c.short]
    open_ = sum(not math.isfinite(room) for room in rooms)
    loose = max((room for room in rooms if math.isfinite(room)), default=0.0)
    if open_:
        said.append(
            f"How little {count(open_, 'group')} could cost alone was not found out in the time. "
            "More seconds for each group (--each) may do it."
        )
    if loose >= CENT / 2:
        said.append(
            f"Plans of {'the other ' if open_ else ''}groups are not all proven cheapest: the "
            f"loosest could cost up to {manner.say(loose, Measure.MONEY)} less. More seconds for "
            "each group (--each) narrow that."
        )
    if sharing.by == BY_SAVINGS and _ranged(sharing):
        said.append("Share could be: with each group's cost anywhere from its floor to its plan.")
    if sharing.by == BY_REGRET and _ranged(sharing):
        said.append("Share could be: the share if every group's plan cost only its floor.")
    if sharing.error:
        said.append(
            "There are too many growers to plan every group, so the shares come from random orders "
            "of them; the sampling error holds 95 of 100 times."
        )
    if any(c.short > 0.0 for c in sharing.charges) and sharing.by != BY_USE:
        said.append(
            "Some groups would plant less alone, and so cost less: shares by what groups cost "
            "alone favor their members. Shares by use don't look at that."
        )
    if any(c.short < 0.0 for c in sharing.charges) and sharing.by != BY_USE:
        said.append(
            "Some groups would plant more alone, and so cost more: shares by what groups cost "
            "alone burden their members. Shares by use don't look at that."
        )
    return tuple(said)

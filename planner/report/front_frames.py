"""First page: the answer."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.campaign.notes import before_ordering
from planner.explain.words import count
from planner.plan.plan import (
    CENT,
    COST_TERMS,
    NEARNESS,
    TOTAL,
    Outcome,
    cost_in_cents,
    in_cents,
    says_something,
)
from planner.plan.product_cautions import order_by_passed
from planner.plan.questions import questions
from planner.report import answer
from planner.report.facts import (
    FIELD_COST,
    FIELDS,
    FRONT,
    NOTES,
    ORDER,
    PRODUCT_DETAIL,
    PRODUCTS,
    PROTECTION,
    SEED,
    SHORT_FIELDS,
    TREATING,
    WARNINGS,
    bag_units,
)
from planner.report.measures import Measure
from planner.report.packs import elsewhere
from planner.report.seed_order_frames import seed_accounts
from planner.report.sheets import (
    Cell,
    Column,
    KeyFigure,
    KeyFigures,
    Link,
    Look,
    Pack,
    Page,
    Room,
    Sheet,
    Table,
    Text,
)
from planner.report.texts import text_width, together
from planner.risk.words import NOTHING, SAFE, chance, how_often, percent
from planner.sums import summed

if TYPE_CHECKING:
    from planner.report.facts import Facts
    from planner.report.sheets import Block, Content
    from planner.season.domain import SeedLot

WIDEST_NAME = 40.0
"""Widths of a digit that names of suppliers and products may take in the order."""
MOST_LINES = 24
"""Order lines, of product and seed, that the first page has room for."""
MOST_SHORT = 12
"""Short fields that the first page names."""
MOST_REASONS = 3
"""Of these, the largest, for which it says why."""
MOST_TO_CHECK = 5
"""Questions, and what can't be used, that the first page names."""


def front_sheet(facts: Facts) -> Sheet:
    """Make the first page: a few lines to read in ten seconds, then the order, then the cost."""
    short = any(not answer.enough(p) for p in facts.threats)
    tight = bool(answer.tight(facts))
    spare = tuple(together(said) for said in answer.spare(facts))
    blocks: list[Block] = [
        _figures(facts),
        *_short(facts),
        Text((answer.cash(facts),), answer.CASH),
        *_safety(facts),
        Text(tuple(answer.threats(facts)), _threats_title(facts), Look.WATCH if short else Look.OK),
        *([Text(spare, answer.SHORT_FIRST, Look.WATCH if tight else Look.PLAIN)] if spare else []),
        *_to_check(facts),
        Text((*answer.to_do_lines(facts), answer.LABEL_FIRST), "Do next"),
        _order(facts),
        _cost(facts),
        Text((*nearness(facts),), NEARNESS, nearness_look(facts)),
    ]
    purpose = "What to order, what to pay when, whether it is enough, and what to do next."
    return Sheet(FRONT, purpose, tuple(blocks), Page(one_page=True), Room.PLAN)


def _safety(facts: Facts) -> list[Block]:
    """Say in how many seasons the order is enough; nothing where nothing is said to be unknown."""
    held = facts.held
    if held is None:
        return []
    look = Look.OK if held.enough >= SAFE else Look.WATCH
    said = held.said or how_often(held)
    spare = held.spare
    enough = spare.enough if spare is not None else held.seed_enough
    if enough < SAFE:
        acres = spare.short_acres if spare is not None else held.short_acres
        even = f"even with the {percent(spare.share)} spare seed planted, " if spare else ""
        kept = f"; with it kept back, in {chance(1.0 - held.seed_enough)}" if spare else ""
        seed = "Seed is tighter" if enough < held.enough else "Seed runs short, too"
        land = facts.say(acres, Measure.AREA)
        land = "hardly any land" if land.startswith("0 ") else land
        said += (
            f" That counts product only. {seed}: {even}some lot comes up short in "
            f"{chance(1.0 - enough)} seasons, {land} in an average year{kept}."
        )
    return [Text((said,), answer.HOW_SAFE, look)]


def _threats_title(facts: Facts) -> str:
    return answer.THREATS if len(facts.threats) > 1 else "Threats"


def _figures(facts: Facts) -> KeyFigures:
    """Make the figures on top, one for each line below them."""
    units = sum(t.units for t in facts.plan.treating)
    of_all = f"of {facts.say(facts.acres, Measure.AREA)}"
    short = f"{of_all}; {facts.say(facts.short, Measure.AREA)} short"
    figures = [
        KeyFigure("To pay in all", answer.to_pay(facts), Measure.MONEY, _paid_for(facts)),
        KeyFigure(
            f"Planted, {facts.manner.label(Measure.AREA)}",
            facts.planted,
            Measure.AREA,
            short if facts.short else f"{of_all}: all covered",
            Look.SHORT if facts.short else Look.PLAIN,
            Link(SHORT_FIELDS if facts.plan.shortages else FIELDS),
        ),
    ]
    asked = [p for p in facts.threats if any(f.need for f in p.fields)]
    if asked:
        ok = answer.verdict(asked[0]) == "enough"
        figures.append(
            KeyFigure(
                asked[0].threat,
                answer.verdict(asked[0]),
                note=f"{facts.say(asked[0].units_needed, Measure.UNITS)} needed",
                look=Look.OK if ok else Look.WATCH,
                link=Link(PROTECTION),
            )
        )
    if facts.margins:
        least = facts.margins[0]
        look = Look.WATCH if least.used < answer.TIGHT else Look.PLAIN
        some = percent(least.used) if least.used >= NOTHING else "nothing"
        note = f"{least.product}: {some} to spare"
        figures.append(
            KeyFigure("Tightest product", least.used, Measure.PERCENT, note, look, Link(PRODUCTS))
        )
    sizes = answer.bags_by_size(facts)
    note = f"a unit is {facts.season.farm.seeds_per_unit:,.0f} seeds"
    note += f"; bags: {sizes}" if sizes else ""
    figures.append(KeyFigure("Units to treat", units, Measure.UNITS, note, link=Link(TREATING)))
    return KeyFigures(tuple(figures))


def _paid_for(facts: Facts) -> str:
    """Say what the money is for."""
    bought = [(facts.plan.order, "product"), (facts.plan.seed_purchases, "seed")]
    return " and ".join(what for lines, what in bought if lines) or "nothing is bought"


def nearness(facts: Facts) -> list[str]:
    """Say how much cheaper any plan could be, and whether fewer acres could be short.

    What was added to be safe is set aside: a plan without it is not what was asked for.
    """
    plan = facts.decided
    if not says_something(plan):
        said = [
            "The plan keeps every rule. How much cheaper another one could be is not known: the "
            "search ended before it had proven a floor for the total."
        ]
    else:
        said = [_room_said(facts, max(0.0, plan.cost.total - plan.bound))]
    said = [*answer.aside(facts), *said]
    if plan.shortages and not plan.shortage_proven:
        said.append("A plan that leaves less land short may exist; the search did not rule it out.")
    return said


def _room_said(facts: Facts, room: float) -> str:
    """Say how much cheaper any plan could be."""
    short = bool(facts.plan.shortages)  # plans that leave more land short may well be cheaper
    if room < CENT / 2:
        also = " and leaves no more land short" if short else ""
        return f"Proven: no plan that keeps every rule{also} is cheaper by a cent."
    gap = facts.decided.gap
    share = "less than 0.01%" if gap < 1e-4 else facts.say(gap, Measure.PERCENT)
    amount = facts.say(room, Measure.MONEY)
    which = " that leaves no more land short" if short else ""
    text = f"no plan{which} can be cheaper by more than {amount} ({share} of the total compared)."
    if facts.decided.outcome is Outcome.OPTIMAL:
        return f"Proven: {text}"
    return f"N{text[1:]} A longer search may find a part of that."


def nearness_look(facts: Facts) -> Look:
    """Whether that is proven to be all but the cheapest."""
    return Look.OK if facts.decided.outcome is Outcome.OPTIMAL else Look.WATCH


def _short(facts: Facts) -> list[Block]:
    """Name the land that stays unplanted, most first; nothing where all is covered."""
    short = sorted(facts.plan.shortages, key=lambda s: -s.acres)
    if not short:
        return []
    said = [
        f"{s.field}: {facts.say(s.acres, Measure.AREA)} short" + (f" - {s.why}" if s.why else "")
        for s in short[:MOST_REASONS]
    ]
    named, rest = short[MOST_REASONS:MOST_SHORT], short[MOST_SHORT:]
    more = [f"{s.field} ({facts.say(s.acres, Measure.AREA)})" for s in named]
    if rest:
        acres = facts.say(sum(s.acres for s in rest), Measure.AREA)
        more.append(f"{count(len(rest), 'more field')} ({acres})")
    if more:
        said.append(f"{', '.join(more)}: see {SHORT_FIELDS}.")
    title = f"Short: {facts.say(facts.short, Measure.AREA)} stay unplanted"
    return [Text(tuple(said), title, Look.SHORT, bullets=True)]


def _to_check(facts: Facts) -> list[Block]:
    """Name orders whose day has passed, what the shop lacks, what is hardly needed, odd figures.

    What the season's rules keep off only a part is on Notes.
    """
    said = [
        *order_by_passed(facts.plan, facts.season),
        *(before_ordering(facts.campaign) if facts.campaign is not None else []),
        *answer.for_margin_lines(facts),
        *(b.sentence for b in facts.barred if b.wholly),
        *questions(facts.season),
    ]
    more = len(said) - MOST_TO_CHECK
    rest = [f"and {more:,} more: see {WARNINGS}."] if more > 0 else []
    shown = (*said[:MOST_TO_CHECK], *rest)
    return [Text(shown, "Check before you order", Look.WATCH, bullets=True)] if said else []


def _order(facts: Facts) -> Table:
    """List what is ordered from whom by which day, product and seed."""
    rows = [*_product_rows(facts), *_seed_rows(facts)]
    more = len(rows) - MOST_LINES
    note = _paid_said(facts)
    if more > 0:
        note = f"{count(more, 'more line')} on {elsewhere(ORDER, Pack.STUDY)}. " + note
    columns = (
        Column("supplier", "Supplier", width=_wide(rows, 0, 21.0)),
        Column("product", "Product or lot", width=_wide(rows, 1, 28.0)),
        Column("container", "Container or bag"),
        Column("count", "Count", Measure.COUNT, total=True),
        Column("price", "Price each", Measure.MONEY),
        Column("cost", "List cost", Measure.MONEY, total=more <= 0),
        Column("order_by", "Order by", Measure.DATE),
    )
    shown = len(columns) if any(row[-1] for row in rows) else len(columns) - 1
    suppliers = {row[0] for row in rows}
    return Table(
        name="order",
        title="What to order",
        columns=columns[:shown],
        rows=tuple(row[:shown] for row in rows[:MOST_LINES]),
        group="supplier" if more <= 0 and len(suppliers) > 1 else "",
        empty=facts.nothing_to_order,
        note=note,
    )


def _wide(rows: list[tuple[Content, ...]], at: int, least: float) -> float:
    """Width of a column of names: where they are long, wider, so that they take fewer lines."""
    longest = max((text_width(str(row[at])) for row in rows), default=0.0)
    return min(max(least, longest + 1.0), WIDEST_NAME)


def _product_rows(facts: Facts) -> list[tuple[Content, ...]]:
    return [
        (
            account.name,
            line.product,
            line.container,
            Cell(line.count, Look.STRONG),
            line.unit_price,
            line.cost,
            account.order_by,
        )
        for account in facts.accounts
        for line in account.lines
    ]


def _seed_said(lot: SeedLot) -> str:
    """Name seed to buy, and what it is to have on it."""
    treated = f", treated with {lot.treated_with}" if lot.treated_with else ""
    return f"seed {lot.variety}, lot {lot.name}{treated}"


def _seed_rows(facts: Facts) -> list[tuple[Content, ...]]:
    """Seed by the bag: what stands under price is that of a bag."""
    return [
        (
            account.seller or "seed, seller not named",
            _seed_said(facts.lots[s.lot]),
            f"bag of {bag_units(facts.lots[s.lot])}",
            Cell(s.bags, Look.STRONG),
            s.cost / s.bags if s.bags else None,
            s.cost,
            account.order_by,
        )
        for account in seed_accounts(facts)
        for s in account.lines
    ]


def _paid_said(facts: Facts) -> str:
    """Say how list price, discounts and freight make what is paid."""
    off, freight = facts.plan.cost.discounts, facts.plan.cost.freight
    if not off and not freight:
        return ""
    parts = [f"less {facts.say(off, Measure.MONEY)} of discounts"] if off else []
    parts += [f"plus {facts.say(freight, Measure.MONEY)} of freight"] if freight else []
    total = facts.say(answer.to_pay(facts), Measure.MONEY)
    each = _paid_each(facts)
    return f"List cost, {' and '.join(parts)}, is {total} to pay{f': {each}' if each else ''}."


def _paid_each(facts: Facts) -> str:
    """Say what of it each one is paid; empty where there is one, or too many to name."""
    paid = summed((payment.who, payment.amount) for payment in answer.payments(facts))
    if not 1 < len(paid) <= answer.MOST_PAYMENTS:
        return ""
    return ", ".join(f"{who} {facts.say(amount, Measure.MONEY)}" for who, amount in paid.items())


def _cost(facts: Facts) -> Table:
    cost = facts.plan.cost
    links = {
        "containers": Link(ORDER, "order"),
        "freight": Link(ORDER, "accounts"),
        "discounts": Link(ORDER, "discounts"),
        "seed_bought": Link(ORDER, "seed"),
        "seed_given_up": Link(SEED, "lots"),
        "carryover_credit": Link(PRODUCT_DETAIL, "worth"),
        "yield_loss": Link(FIELD_COST, "fields"),
    }
    amounts = cost_in_cents(cost)
    kinds = [
        (key, name, amounts.get(key, 0.0))
        for key, name, _ in COST_TERMS
        if key in amounts or key == "containers"
    ]
    return Table(
        name="cost",
        title=answer.COMPARED,
        columns=(
            *(Column(key, name, Measure.MONEY) for key, name, _ in kinds),
            Column("total", TOTAL, Measure.MONEY),
        ),
        rows=(
            (
                *(Cell(value, link=links[key]) for key, _, value in kinds),
                Cell(in_cents(cost.total), Look.TOTAL),
            ),
        ),
        note=_compared_said(facts),
    )


def _compared_said(facts: Facts) -> str:
    """Say why the total compared is not what is paid, and what it comes to by land."""
    total = facts.plan.cost.total
    per_acre = facts.say(total / facts.planted, Measure.MONEY_PER_AREA) if facts.planted else ""
    an_acre = f"{per_acre} planted. " if per_acre else ""
    given_up = "Return value: what the seed would bring unplanted. "
    loss = "Expected yield loss: yield that disease still takes, at the soybean price. "
    return (
        f"{an_acre}Part of it is not paid, so that plans can be compared. "
        + (given_up if facts.plan.cost.seed_given_up else "")
        + (loss if facts.plan.cost.yield_loss else "")
        + f"More: {elsewhere(NOTES, Pack.STUDY)}."
    )

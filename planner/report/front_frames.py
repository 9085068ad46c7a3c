"""First page: the answer."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from planner.plan.plan import Outcome
from planner.plan.questions import questions
from planner.report.facts import (
    DIFFER,
    FIELD_COST,
    FIELDS,
    FRONT,
    NOTES,
    ORDER,
    PRODUCTS,
    SEED,
    SHORT_FIELDS,
    TREATING,
    WARNINGS,
)
from planner.report.measures import Measure
from planner.report.packs import elsewhere
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
from planner.risk.words import first_short, how_often

if TYPE_CHECKING:
    from planner.report.facts import Facts
    from planner.report.sheets import Block, Content

COST_KINDS = (
    ("containers", "Containers", 1),
    ("freight", "Freight", 1),
    ("discounts", "Discounts", -1),
    ("seed_bought", "Seed bought", 1),
    ("seed_given_up", "Return value of seed you use", 1),
    ("carryover_credit", "Carryover credit", -1),
    ("yield_loss", "Expected yield loss", 1),
)
"""Terms of the cost, their names and signs."""
MOST_LINES = 24
"""Order lines that the first page has room for."""
MOST_SEED = 6
"""Lots of seed to buy that the first page names."""
MOST_SHORT = 6
"""Short fields that the first page names."""
MOST_TO_CHECK = 5
"""Questions and rules that keep something off that the first page names."""
CENT = 0.01
LONG_NAME = 16.0
"""Widths of a digit from which names stand beside bars, not below columns."""
MOST_BARS = 30
"""Fields in the chart of costs."""


def front_sheet(facts: Facts) -> Sheet:
    """Make the first page."""
    blocks: list[Block] = [
        _figures(facts),
        Text((*nearness(facts),), "How near the cheapest", nearness_look(facts)),
        _short(facts),
        *_if_things_differ(facts),
        *_to_check(facts),
        _order(facts),
        *_seed_to_buy(facts),
        _cost(facts),
    ]
    purpose = "What to order, what it costs, what is short, and how sure that is."
    return Sheet(FRONT, purpose, tuple(blocks), Page(one_page=True), Room.PLAN)


def _figures(facts: Facts) -> KeyFigures:
    plan, total = facts.plan, facts.plan.cost.total
    per_acre = facts.say(total / facts.planted, Measure.MONEY_PER_AREA) if facts.planted else "-"
    containers = sum(line.count for line in plan.order)
    bags = sum(t.full_bags + t.part_bag for t in plan.treating)
    units = sum(t.units for t in plan.treating)
    of_all = f"of {facts.say(facts.acres, Measure.AREA)}"
    short = f"{of_all}; {facts.say(facts.short, Measure.AREA)} short"
    pay = sum(a.to_pay for a in facts.accounts)
    return KeyFigures(
        (
            KeyFigure("Total cost", total, Measure.MONEY, f"{per_acre} planted", link=_cost_link()),
            KeyFigure(
                f"Planted, {facts.manner.label(Measure.AREA)}",
                facts.planted,
                Measure.AREA,
                short if facts.short else f"{of_all}: all covered",
                Look.SHORT if facts.short else Look.PLAIN,
                Link(SHORT_FIELDS if facts.plan.shortages else FIELDS),
            ),
            KeyFigure(
                "To pay suppliers",
                pay,
                Measure.MONEY,
                f"{_count(containers, 'container')} from {_count(len(facts.accounts), 'supplier')}",
                link=Link(ORDER),
            ),
            KeyFigure(
                "Bags to treat",
                bags,
                Measure.COUNT,
                f"{facts.say(units, Measure.UNITS)} under "
                f"{_count(len({t.recipe for t in plan.treating}), 'recipe')}",
                link=Link(TREATING),
            ),
        )
    )


def _cost_link() -> Link:
    return Link(FRONT, "cost")


def _count(n: int, one: str) -> str:
    return f"{n:,} {one}" if n == 1 else f"{n:,} {one}s"


def nearness(facts: Facts) -> list[str]:
    """Say how much cheaper any plan could be, and whether fewer acres could be short."""
    plan = facts.plan
    room = max(0.0, plan.cost.total - plan.bound)
    said = []
    if not math.isfinite(room) or plan.gap > 1.0:  # a floor that far off says nothing
        said.append(
            "The plan keeps every rule. How much cheaper another one could be is not known: the "
            "search ended before it had proven a floor for the cost."
        )
    else:
        said.append(_room_said(facts, room))
    most = facts.season.farm.most_to_spend
    if most is not None:
        spent, most_said = facts.say(plan.cost.spent, Measure.MONEY), facts.say(most, Measure.MONEY)
        said.append(
            f"{spent} of at most {most_said} is spent on containers, freight and seed, discounts "
            "taken off."
        )
    if plan.shortages and not plan.shortage_proven:
        said.append("A plan with fewer short acres may exist; the search did not rule it out.")
    return said


def _room_said(facts: Facts, room: float) -> str:
    """Say how much cheaper any plan could be."""
    if room < CENT / 2:
        return "Proven: no plan that keeps every rule is cheaper by a cent."
    gap = facts.plan.gap
    share = "less than 0.01 %" if gap < 1e-4 else facts.say(gap, Measure.PERCENT)
    amount = facts.say(room, Measure.MONEY)
    text = f"no plan can be cheaper by more than {amount} ({share} of the cost)."
    if facts.plan.outcome is Outcome.OPTIMAL:
        return f"Proven: {text}"
    return f"N{text[1:]} A longer search may find a part of that."


def nearness_look(facts: Facts) -> Look:
    """Whether that is proven to be all but the cheapest."""
    return Look.OK if facts.plan.outcome is Outcome.OPTIMAL else Look.WATCH


def _short(facts: Facts) -> Text:
    short = facts.plan.shortages
    if not short:
        return Text(
            (f"All {facts.say(facts.acres, Measure.AREA)} are covered.",),
            "Short acres",
            Look.OK,
        )
    said = [
        f"{s.field}: {facts.say(s.acres, Measure.AREA)} short" + (f" - {s.why}" if s.why else "")
        for s in short[:MOST_SHORT]
    ]
    if len(short) > MOST_SHORT:
        rest = sum(s.acres for s in short[MOST_SHORT:])
        said.append(
            f"and {_count(len(short) - MOST_SHORT, 'more field')} with "
            f"{facts.say(rest, Measure.AREA)}: see {SHORT_FIELDS}."
        )
    title = f"Short: {facts.say(facts.short, Measure.AREA)} stay unplanted"
    return Text(tuple(said), title, Look.SHORT, bullets=True)


def _if_things_differ(facts: Facts) -> list[Block]:
    """Say in a line how much may differ before the order runs short, and how often it suffices."""
    if not facts.margins:
        return []
    held = facts.held
    said = [first_short(facts.margins)]
    if held is not None:
        said = [held.said or how_often(held), *said]
    text = f"{' '.join(said)} See {elsewhere(DIFFER, Pack.STUDY)}."
    return [Text((text,), "If things differ")]


def _to_check(facts: Facts) -> list[Block]:
    """What can't be used at all, figures that are asked about, and what is kept off a part."""
    said = [b.sentence for b in facts.barred if b.wholly]
    said += questions(facts.season)
    said += [b.sentence for b in facts.barred if not b.wholly]
    more = len(said) - MOST_TO_CHECK
    rest = [f"and {more:,} more: see {WARNINGS}."] if more > 0 else []
    title = "Check before you order: questions, and what your rules keep off"
    serious = any(b.wholly for b in facts.barred) or questions(facts.season)
    look = Look.WATCH if serious else Look.PLAIN
    return [Text((*said[:MOST_TO_CHECK], *rest), title, look, bullets=True)] if said else []


def _order(facts: Facts) -> Table:
    rows: list[tuple[Content, ...]] = []
    index = 0
    for account in facts.accounts:
        for line in account.lines:
            rows.append(
                (
                    account.name,
                    line.product,
                    line.container,
                    Cell(line.count, Look.STRONG, Link(ORDER, "order", index)),
                    line.unit_price,
                    line.cost,
                    account.order_by,
                )
            )
            index += 1
    more = len(rows) - MOST_LINES
    note = f"List price, before discounts and freight: see {elsewhere(ORDER, Pack.STUDY)}."
    if more > 0:
        note = f"{_count(more, 'more line')} on {elsewhere(ORDER, Pack.STUDY)}. " + note
    columns = (
        Column("supplier", "Supplier", width=21),
        Column("product", "Product"),
        Column("container", "Container"),
        Column("count", "Count", Measure.COUNT, total=True),
        Column("price", "Price each", Measure.MONEY),
        Column("cost", "List cost", Measure.MONEY, total=more <= 0),
        Column("order_by", "Order by", Measure.DATE, width=15),
    )
    shown = len(columns) if any(a.order_by for a in facts.accounts) else len(columns) - 1
    return Table(
        name="order",
        title="What to order",
        columns=columns[:shown],
        rows=tuple(row[:shown] for row in rows[:MOST_LINES]),
        group="supplier" if more <= 0 and len(facts.accounts) > 1 else "",
        empty="Nothing to order: the stock on hand covers what the seed takes.",
        note=note,
    )


def _seed_to_buy(facts: Facts) -> list[Block]:
    """Say in a line which seed is to be ordered besides; nothing if none is."""
    bought = facts.plan.seed_purchases
    if not bought:
        return []
    said = [
        f"{_count(s.bags, 'bag')} of {s.lot} ({facts.lots[s.lot].variety}), "
        f"{facts.say(s.units, Measure.UNITS)}"
        for s in bought[:MOST_SEED]
    ]
    if len(bought) > MOST_SEED:
        said.append(f"{len(bought) - MOST_SEED} more lots on {elsewhere(ORDER, Pack.STUDY)}")
    cost = facts.say(sum(s.cost for s in bought), Measure.MONEY)
    return [Text((f"{'; '.join(said)}: {cost} in all.",), "Seed to buy")]


def _cost(facts: Facts) -> Table:
    cost = facts.plan.cost
    links = {
        "containers": Link(ORDER, "order"),
        "freight": Link(ORDER, "accounts"),
        "discounts": Link(ORDER, "discounts"),
        "seed_bought": Link(ORDER, "seed"),
        "seed_given_up": Link(SEED, "lots"),
        "carryover_credit": Link(PRODUCTS, "products"),
        "yield_loss": Link(FIELD_COST, "fields"),
    }
    rows: list[tuple[Content, ...]] = []
    for key, name, sign in COST_KINDS:
        value = getattr(cost, key)
        if value or key == "containers":
            rows.append((name, Cell(sign * value, link=links[key])))
    return Table(
        name="cost",
        title="What it costs",
        columns=(
            Column("kind", "Kind"),
            Column("amount", "Amount", Measure.MONEY, total=True),
        ),
        rows=tuple(rows),
        total_label="Total cost",
        note=f"What each kind means is on {elsewhere(NOTES, Pack.STUDY)}.",
    )

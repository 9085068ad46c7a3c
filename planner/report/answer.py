"""The answer in short: what is paid, whether it is enough, what is tight, what to do next.

Plain sentences and records, for the first page and for any other screen.
"""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING, NamedTuple

from planner.campaign.days import said
from planner.explain.words import Speech, count, listing, number
from planner.plan.plan import TOTAL
from planner.plan.price import expired
from planner.report.facts import NO_SUPPLIER, WARNINGS
from planner.report.measures import Measure
from planner.report.seed_order_frames import seed_accounts
from planner.risk.for_margin import for_margin
from planner.risk.words import NOTHING, first_short, kept_words, percent
from planner.sums import grouped, summed

if TYPE_CHECKING:
    from datetime import date

    from planner.explain.threats import ThreatPage
    from planner.report.facts import Facts
    from planner.risk.margins import ProductMargin

TIGHT = 0.03
"""Spare product under this share of what goes on seed is marked."""
USED_UP = 0.05
"""A lot with less left than this share of what is needed is nearly used up."""
LEFT = 0.05
"""Units under which nothing is left of a lot: shown with one decimal, they would be 0."""
MOST_SPARE = 12
"""Products whose spare is named one by one, the scarcest."""
MOST_TODO = 8
"""Days with something to do that the first page names."""
SATURDAY, SUNDAY = 5, 6
MOST_PAYMENTS = 6
"""Payments that the first page names."""
MOST_SIZES = 4
"""Sizes of bags that are named."""
CASH = "Cash"
HOW_SAFE = "How safe is this order"
THREATS = "White mold and other threats"
SHORT_FIRST = "What runs short first"
COMPARED = f"{TOTAL} (not a bill)"
LABEL_FIRST = (
    "The product label comes first, then your state's rules; a licensed person approves every "
    "recipe."
)


class Payment(NamedTuple):
    """What one party is paid by one day."""

    day: date | None
    who: str
    what: str
    amount: float


class ToDo(NamedTuple):
    """Something to see to."""

    day: date | None
    what: str


def payments(facts: Facts) -> tuple[Payment, ...]:
    """All that is paid for product and seed, the first day first."""
    due = [Payment(a.pay_by, _named(a.name), "products", a.to_pay) for a in facts.accounts]
    due += [
        Payment(a.pay_by, a.seller or "your seed supplier", "seed", sum(s.cost for s in a.lines))
        for a in seed_accounts(facts)
    ]
    paid = summed(((d.day, d.who, d.what), d.amount) for d in due)
    found = [Payment(*key, amount) for key, amount in paid.items()]
    return tuple(sorted(found, key=lambda d: (d.day is None, d.day, d.what, d.who)))


def _named(supplier: str) -> str:
    return "your supplier" if supplier == NO_SUPPLIER else supplier


def to_pay(facts: Facts) -> float:
    """Money that leaves the farm for product and seed: discounts taken off, freight on top."""
    return sum(p.amount for p in payments(facts))


def cash(facts: Facts) -> str:
    """Say what is paid to whom by which day, and in all."""
    due = payments(facts)
    if not due:
        return "Nothing is to be paid: no product and no seed is bought."
    parts = [
        f"{facts.say(p.amount, Measure.MONEY)} to {p.who}{_for(p, due)}{_by(facts, p.day)}"
        for p in due[:MOST_PAYMENTS]
    ]
    if len(due) > MOST_PAYMENTS:
        rest = sum(p.amount for p in due[MOST_PAYMENTS:])
        more = count(len(due) - MOST_PAYMENTS, "more payment")
        parts.append(f"{facts.say(rest, Measure.MONEY)} in {more}")
    total = facts.say(to_pay(facts), Measure.MONEY)
    most = facts.season.farm.most_to_spend
    limit = f", of at most {facts.say(most, Measure.MONEY)}" if most is not None else ""
    seed = "seed included" if facts.plan.seed_purchases else "no seed is bought"
    return f"{total} in all ({seed}{limit}): {'; '.join(parts)}."


def sooner_lines(facts: Facts) -> list[str]:
    """Say what ordering by a discount's last day would bring, and how to plan with it."""
    return [
        f"Ordered{_by(facts, each.day)} from {listing(each.suppliers)} too, "
        f"{facts.say(each.saves, Measure.MONEY)} more comes off ({listing(each.discounts)}). To "
        "plan with it, enter that day as Order by on sheet Suppliers."
        for each in facts.sooner
    ]


def _for(payment: Payment, due: tuple[Payment, ...]) -> str:
    """Say what a payment is for where the payments are for different things."""
    return f" for {payment.what}" if len({p.what for p in due}) > 1 else ""


def _by(facts: Facts, day: date | None) -> str:
    if day is None:
        return ""
    word = said(day, metric=facts.manner.metric)
    return f" now (was due {word})" if _past(facts, day) else f" by {word}"


def _past(facts: Facts, day: date) -> bool:
    """Whether a day was over when the plan was made."""
    return day < facts.season.farm.plan_date


LAND_SHORT = "LAND UNPLANTED"
"""Said where protection is strong enough on all that is planted, but not all is planted."""


POOR_ASKED = "only poor asked"
"""Said in place of enough where protection that hardly holds a threat is all that is asked for."""


def enough(page: ThreatPage) -> bool:
    """Whether every field that asks for protection from a threat gets it."""
    return all(f.enough for f in page.fields if f.need)


def verdict(page: ThreatPage) -> str:
    """Say in a word or two whether what is asked against a threat is there."""
    if not enough(page):
        return LAND_SHORT.lower()
    return POOR_ASKED if page.asks_poor else "enough"


def threats(facts: Facts) -> list[str]:
    """Say threat by threat whether seed is treated strongly enough, white mold in full."""
    asked = [p for p in facts.threats if any(f.need for f in p.fields)]
    if not asked:
        return ["No field asks for protection from a threat."]
    speech = Speech(facts.season.farm)
    said_ = [_threat(page, speech) for page in asked if page.white_mold]
    others = [p for p in asked if not p.white_mold]
    lacking = [p for p in others if not enough(p)]
    if lacking:
        each = ", ".join(f"{p.threat} ({_unplanted(p, speech)})" for p in lacking)
        rest = " What is planted is protected." if facts.plan.planting else ""
        said_.append(f"{LAND_SHORT} that needs protection from: {each}.{rest}")
    fine = [p for p in others if enough(p)]
    if fine:
        each = ", ".join(
            f"{p.threat} ({speech.units(p.units_needed)} needed, {number(p.units_strong)} treated "
            f"for it{f'; {POOR_ASKED}' if p.asks_poor else ''})"
            for p in fine
        )
        said_.append(f"{'Also covered' if said_ else 'Covered'}: {each}.")
    return said_


def _threat(page: ThreatPage, speech: Speech) -> str:
    needed = speech.units(page.units_needed)
    if enough(page) and page.asks_poor:
        text = (
            f"{page.threat}: a rating of P (poor) is all that Threats asks for, which holds little "
            f"of it. {needed} needed, {speech.units(page.units_strong)} treated so"
        )
    elif enough(page):
        text = (
            f"{page.threat}: ENOUGH. {needed} needed, "
            f"{speech.units(page.units_strong)} treated strongly enough"
        )
    else:  # what is treated elsewhere would only look like enough for all
        asking = speech.acres(sum(f.acres for f in page.fields if f.need))
        text = (
            f"{page.threat}: {LAND_SHORT}. What is planted is protected, but of {asking} that "
            f"need it ({needed}), {_unplanted(page, speech)} stay unplanted"
            if any(f.acres > f.acres_short for f in page.fields if f.need)
            else f"{page.threat}: {LAND_SHORT}. None of the {asking} that need it ({needed}) is "
            "planted"
        )
    tight = next((lot for lot in page.lots if lot.tight), None)
    if tight is not None:
        left = tight.left_strong + tight.left_open
        near = left < USED_UP * page.units_needed
        how = "is nearly used up" if near else "has the least left"
        left_ = f"{how} ({speech.units(left)} left)" if left >= LEFT else "is used up"
        text += f"; of the seed that suits, lot {tight.lot} {left_}"
    return f"{text}." + (" No seed treatment protects all season." * page.white_mold)


def _unplanted(page: ThreatPage, speech: Speech) -> str:
    """Say how much of the land that needs protection stays unplanted."""
    return speech.acres(sum(f.acres_short for f in page.fields if f.need and not f.enough))


def aside(facts: Facts) -> list[str]:
    """Say that containers added to be safe are not counted; nothing where none were."""
    if not facts.plan.added:
        return []
    cost = facts.plan.cost.total - facts.decided.cost.total
    more = facts.say(cost, Measure.MONEY)
    return [f"Said of the plan without what was added to be safe, which adds {more} to the total:"]


def tight(facts: Facts) -> list[ProductMargin]:
    """Products with less spare than `TIGHT`, the scarcest first."""
    return [m for m in facts.margins if m.used < TIGHT]


def spare(facts: Facts) -> list[str]:
    """Say what every product has to spare, the scarcest first, and when the first runs short."""
    if not facts.margins:
        return []
    each = [
        (
            f"{m.product} nothing"
            if m.used < NOTHING
            else f"{m.product} {_volume(facts, m.slack)} ({percent(m.used)})"
        )
        + (" TIGHT" if m.used < TIGHT else "")
        for m in facts.margins[:MOST_SPARE]
    ]
    rest = facts.margins[MOST_SPARE:]
    if rest:
        each.append(f"{count(len(rest), 'more product')} with {percent(rest[0].used)} and more")
    return [
        "To spare, in percent of what goes on seed (what can't be pumped out is already taken "
        f"off): {', '.join(each)}.",
        first_short(facts.margins, metric=facts.manner.metric),
    ]


def for_margin_lines(facts: Facts) -> list[str]:
    """Say which containers are bought for no more than the margin on product."""
    share = percent(facts.season.farm.product_margin)
    return [
        f"Of the last {f.container} of {f.product} only {_volume(facts, f.floz)} are needed, part "
        f"of the {share} product margin ({_volume(facts, f.margin)}): without it "
        f"{facts.say(f.saved, Measure.MONEY)} less is paid, and "
        f"{_volume(facts, max(0.0, f.margin - f.floz))} of the margin are left."
        for f in for_margin(facts.season, facts.plan)
    ]


def _volume(facts: Facts, floz: float) -> str:
    """A spare volume in fl oz, or liters on a metric farm."""
    if facts.manner.metric:
        return facts.say(floz, Measure.VOLUME)
    return f"{floz:,.0f} fl oz" if floz >= 10 else f"{number(floz)} fl oz"


def to_do(facts: Facts) -> tuple[ToDo, ...]:
    """What to see to next, the first day first and what has no day last."""
    found = [
        *_decision(facts),
        *_approvals(facts),
        *_samples(facts),
        *_orders(facts),
        *_sooner(facts),
        *_to_pay(facts),
        *_expired(facts),
        *_warnings(facts),
    ]
    return tuple(sorted(found, key=lambda t: (t.day is None, t.day)))


def _decision(facts: Facts) -> list[ToDo]:
    """What is to be decided before the first containers are ordered."""
    safer = facts.held.safer if facts.held is not None else None
    if safer is None or safer.paid <= 0.0:
        return []
    day = min((a.order_by for a in facts.accounts if a.order_by), default=None)
    farm = facts.season.farm
    worth = kept_words(farm, safer.kept)
    text = f"decide whether to spend {Speech(farm).money(safer.paid)} more to be safe"
    return [ToDo(day, f"{text} ({worth})" if worth else text)]


def _to_pay(facts: Facts) -> list[ToDo]:
    return [
        ToDo(p.day, f"pay {p.who} {facts.say(p.amount, Measure.MONEY)}") for p in payments(facts)
    ]


def _warnings(facts: Facts) -> list[ToDo]:
    n = len(facts.plan.warnings)
    if n < 2:
        return [ToDo(None, f"read the warning on sheet {WARNINGS}")] if n else []
    return [ToDo(None, f"read the warnings: sheet {WARNINGS} lists all {n}")]


def _approvals(facts: Facts) -> list[ToDo]:
    if facts.campaign is None:
        return []
    cards = facts.campaign.cards
    open_ = grouped((card.needed_by, card.recipe) for card in cards if not card.approved_by)
    return [
        ToDo(day, f"have {_recipes(names)} approved by a licensed person")
        for day, names in open_.items()
    ]


def _recipes(names: list[str]) -> str:
    return f"{'recipe' if len(names) == 1 else 'recipes'} {listing(names)}"


def _samples(facts: Facts) -> list[ToDo]:
    retests = facts.campaign.retests if facts.campaign is not None else ()
    return [ToDo(r.send_by, f"send a sample of {r.lot} for a germination test") for r in retests]


def _orders(facts: Facts) -> list[ToDo]:
    found = [
        ToDo(
            a.order_by,
            f"order {count(sum(x.count for x in a.lines), 'container')} from {_named(a.name)}",
        )
        for a in facts.accounts
    ]
    found += [
        ToDo(
            a.order_by,
            f"order {count(sum(s.bags for s in a.lines), 'bag')} of seed"
            + (f" from {a.seller}" if a.seller else ""),
        )
        for a in seed_accounts(facts)
    ]
    return found


def _sooner(facts: Facts) -> list[ToDo]:
    """Orders that bring more off when they are placed by a discount's last day."""
    return [
        ToDo(
            each.day,
            f"order from {listing(each.suppliers)} by then too: "
            f"{facts.say(each.saves, Measure.MONEY)} more comes off ({listing(each.discounts)})",
        )
        for each in facts.sooner
    ]


def _expired(facts: Facts) -> list[ToDo]:
    return [
        ToDo(None, f"set aside {_volume(facts, p.on_hand)} of expired {p.name}; don't use it")
        for p in facts.season.products
        if p.on_hand > 0.0 and expired(p, facts.season)
    ]


def to_do_lines(facts: Facts) -> list[str]:
    """Say what to do next in lines, one a day; what was due before the plan is to be done now."""
    by_day = grouped((each.day, each.what) for each in to_do(facts))
    lines = []
    for day, what in by_day.items():
        if day is not None:
            when = _by(facts, day).strip()
            weekend = "" if _past(facts, day) else _weekend(day)
            lines.append(f"{when[0].upper()}{when[1:]}{weekend}: {'; '.join(what)}.")
    more = len(lines) - MOST_TODO
    if more > 0:
        lines = [*lines[:MOST_TODO], f"and {count(more, 'more day')} with something to do."]
    undated = "; ".join(by_day[None])
    return [*lines, *([f"{undated[0].upper()}{undated[1:]}."] if undated else [])]


def _weekend(day: date) -> str:
    return " (a weekend: by the Friday before)" if day.weekday() in (SATURDAY, SUNDAY) else ""


def bags_by_size(facts: Facts) -> str:
    """Say how many bags of each size are treated: a mini-bulk box is not a bag of one unit.

    Part bags are those that hold what a lot has beyond full ones.
    """
    full: dict[float, int] = defaultdict(int)
    parts = 0
    for t in facts.plan.treating:
        full[facts.lots[t.lot].units_per_bag] += t.full_bags
        parts += t.part_bag
    sizes = sorted((size for size, n in full.items() if n), reverse=True)
    said_ = [f"{full[size]:,} of {_units(size)}" for size in sizes[:MOST_SIZES]]
    rest = sum(full[size] for size in sizes[MOST_SIZES:])
    said_ += [f"{rest:,} of other sizes"] if rest else []
    said_ += [count(parts, "part bag")] if parts else []
    return ", ".join(said_)


def _units(size: float) -> str:
    return f"{number(size)} {'unit' if size == 1 else 'units'}"

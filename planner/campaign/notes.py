"""What wants to be said about a campaign before anyone goes to the shop."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.campaign.clock import BEFORE, OLD_TEST
from planner.campaign.days import said
from planner.campaign.standing import standing, too_heavy, too_long
from planner.campaign.to_buy import WORTH_TELLING
from planner.explain.words import count
from planner.season.domain import UNTREATED
from planner.sums import grouped
from planner.units import say_money
from planner.units.exact import KG_PER_LB, ML_PER_FLOZ

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    from planner.campaign.domain import Batch, Campaign, Card, Flush, Portion
    from planner.campaign.standing import Standing

MOST_NAMED = 12
"""Fields that a note names."""


def notes(campaign: Campaign) -> tuple[str, ...]:
    """Say everything that is wrong, missing or only assumed; what is urgent comes first."""
    if not campaign.batches:
        return ()
    return (
        *_late(campaign),
        *_no_day(campaign),
        *_early(campaign),
        *_flushed(campaign),
        *_sits_too_long(campaign),
        *_long_days(campaign),
        *_heavy_bags(campaign),
        *_not_approved(campaign),
        *_tests(campaign),
        *_old_stock(campaign),
        *_clock(campaign),
        *_order(campaign),
        *_missing(campaign),
    )


def _late(campaign: Campaign) -> list[str]:
    calendar, lost = campaign.calendar, _without_day(campaign)
    if not calendar.late:
        return []
    if calendar.late == lost:
        return [
            f"No day suits {count(lost, 'bag')}: cured in time, what lives on the seed is gone when"
            " the last of it is planted."
        ]
    many = "bag is" if calendar.late == 1 else "bags are"
    aside = f" No day suits {lost} of them, whatever is changed." if lost else ""
    found = [
        f"There are not enough days: {calendar.late} {many} too many{_proof(campaign)}.{aside}"
    ]
    others = " for the others" if lost else ""
    if calendar.remedies:
        make = "bring the others in time" if lost else "make it fit"
        these = "; or ".join(calendar.remedies)
        found.append(f"Any one of these would {make}, in the same order: {these}.")
    else:
        found.append(
            f"No single change of days, of daily capacity or of floor space is enough{others}."
        )
    return found


def _without_day(campaign: Campaign) -> int:
    """Bags still to treat for which there is no day."""
    by_name = {(b.lot, b.recipe): b for b in campaign.batches}
    bags = 0
    for run in campaign.calendar.runs:
        for p in by_name[run.lot, run.recipe].portions:
            if p.has_no_day and not run.done and run.treats(p):
                last = min(run.last_bag, p.first_bag + p.bags - 1)
                bags += last - max(run.first_bag, p.first_bag) + 1
    return bags


def _proof(campaign: Campaign) -> str:
    floor = campaign.calendar.late_floor
    if campaign.calendar.late == floor:
        return ", and no other order would do better"
    least = f"; at least {floor} in any order" if floor else ""
    if campaign.order.exact:
        return f", the fewest as long as no recipe is run twice{least}"
    return least


def _day(campaign: Campaign, day: date) -> str:
    return said(day, metric=campaign.shop.metric)


def _no_day(campaign: Campaign) -> list[str]:
    return [
        f"{b.lot} with {b.recipe}, {_bags(p)}: no day fits. It must be treated by"
        f" {_day(campaign, p.latest)} to be cured, and not before"
        f" {_day(campaign, p.earliest)} to be alive"
        f" ({b.life} days on the seed). {_nearer_together(p)}"
        for b, p in _portions(campaign)
        if p.earliest and p.latest and p.has_no_day
    ]


def _nearer_together(portion: Portion) -> str:
    if len(portion.fields) == 1:
        return "Cure it less."
    return (
        "Plant its fields nearer together, cure it less, or give the last of them seed of another"
        " bag."
    )


def _early(campaign: Campaign) -> list[str]:
    early, within = campaign.calendar.early, campaign.shop.treat_within
    if not early:
        return []
    bags = "1 bag is" if early == 1 else f"{early} bags are"
    return [
        f"{bags} treated more than {within} days before planting: later, other seed would come too"
        " late or have no spare days, or the line would take more product than is there."
    ]


def before_ordering(campaign: Campaign) -> list[str]:
    """Say in winter what the shop lacks: days, and product beyond the plan; and what would help."""
    late = " ".join(_late(campaign))
    missing = [f for f in campaign.drawdown.flushes if f.missing > WORTH_TELLING]
    return [
        *([f"In the shop: {late}"] if late else []),
        *(_flush(campaign, f) for f in missing),
        *_sits_too_long(campaign),
    ]


def _flush_names_purchase(campaign: Campaign, product: str) -> bool:
    """Whether what to buy of a product is said where it is flushed, before its nights."""
    flushes = campaign.drawdown.flushes
    return any(f.product == product and f.missing > WORTH_TELLING for f in flushes)


def _flushed(campaign: Campaign) -> list[str]:
    """What the line takes beyond the plan, and whether what is there covers it."""
    found = []
    if campaign.order.kept is False:
        more = "" if campaign.drawdown.flushes else ": that of the calendar flushes no more"
        found.append(f"Days do not allow the order of recipes that the plan decided on{more}.")
    return [*found, *(_flush(campaign, f) for f in campaign.drawdown.flushes)]


def _flush(campaign: Campaign, flush: Flush) -> str:
    times = "once" if flush.times == 1 else f"{flush.times} times"
    turned = campaign.order.kept is False
    cause = "in the order that days allow" if turned else "as a recipe is run again"
    covers = f"{_volume(campaign, flush.there)} left over by the plan"
    covers = f"the {covers} cover it"
    if flush.missing > WORTH_TELLING:
        covers = (
            f"only {_volume(campaign, flush.there)} are left over by the plan, so"
            f" {_volume(campaign, flush.missing)} are missing"
            + _ways(campaign, flush.product, "" if turned else "treat the recipe in one go")
        )
    return (
        f"{flush.product} is flushed {times} more than the plan counts on, {cause}:"
        f" {_volume(campaign, flush.more)}, {_money(campaign, flush.money)}; {covers}."
    )


def _sits_too_long(campaign: Campaign) -> list[str]:
    """What is primed again after nights in the line, where what is there does not cover it."""
    nights = grouped((s.night.product, s) for s in standing(campaign) if s.night.again)
    return [
        _primed_again(campaign, mine)
        for mine in nights.values()
        if sum(s.missing for s in mine) > WORTH_TELLING
    ]


def _primed_again(campaign: Campaign, nights: Sequence[Standing]) -> str:
    first, night = nights[0], nights[0].night
    other = "treat it on fewer days"
    said = _flush_names_purchase(campaign, night.product)
    ways = f", too: {other}, or buy as above" if said else _ways(campaign, night.product, other)
    times = "" if len(nights) == 1 else f" {len(nights)} times, first"
    takes, missing = sum(s.takes for s in nights), sum(s.missing for s in nights)
    return (
        f"{night.product} may sit {night.may:g} hours and would sit in the line for longer,{times}"
        f" from {_day(campaign, night.since)} to {_day(campaign, night.until)}. To flush it and"
        f" prime it again takes {_volume(campaign, takes)} more; only"
        f" {_volume(campaign, first.there)} are left over by the plan, so"
        f" {_volume(campaign, missing)} are missing{ways}."
    )


def _ways(campaign: Campaign, product: str, other: str) -> str:
    """Say what helps where a product is missing; a purchase covers all that is missing of it."""
    found = next((b for b in campaign.to_buy if b.product == product), None)
    if found is not None and not found.words:
        return f": {other}; what is sold does not cover it" if other else ": too little is sold"
    buy = found.words if found is not None else "buy more"
    return f": {other}, or {buy}" if other else f": {buy}"


def _long_days(campaign: Campaign) -> list[str]:
    """Days that are longer than the hours of a day, everything counted."""
    days, most = too_long(campaign), campaign.shop.minutes_per_day
    if not days or most is None:
        return []
    each = ", ".join(f"{_day(campaign, day)} {minutes:.0f}" for day, minutes in days.items())
    return [
        f"Minutes in the shop beyond the {most:.0f} of Hours per day: {each}. To flush in the"
        " evening what may not sit in the line, to prime it again, and to flush the line after the"
        " last bag come on top of what days were chosen by; and a bag that takes longer than a day"
        " has one of its own. Give these days more hours, or treat a recipe on fewer days."
    ]


def _heavy_bags(campaign: Campaign) -> list[str]:
    """Days of a single bag that is more than what the treater gets through in a day."""
    days, most = too_heavy(campaign), campaign.shop.pounds_per_day
    if not days or most is None:
        return []
    each = [f"{_day(campaign, d)} {_weight(campaign, weight)}" for d, weight in days.items()]
    more = f" and {len(each) - MOST_NAMED} days more" if len(each) > MOST_NAMED else ""
    return [
        f"A single bag is more than the {_weight(campaign, most)} of Pounds per day and has a day"
        f" of its own: {', '.join(each[:MOST_NAMED])}{more}. Look at Pounds per day and Units per"
        " bag again."
    ]


def _not_approved(campaign: Campaign) -> list[str]:
    open_ = [c for c in campaign.cards if not c.approved_by]
    found = []
    names = "; ".join(
        f"{c.recipe} (before {_day(campaign, c.needed_by)}, when {_then(c)})"
        for c in open_
        if c.needed_by
    )
    if names:
        found.append(f"Recipes without the approval of a licensed person: {names}.")
    late = "; ".join(
        f"{c.recipe} (since {_day(campaign, c.treated_from)})" for c in open_ if c.treated_from
    )
    if late:
        found.append(
            f"Treated without an approval on record: {late}. Have the recipe signed now, and fill"
            " in Recipe approvals."
        )
    return found


def _then(card: Card) -> str:
    """Say what comes on the day before which a recipe is to be approved."""
    if card.order_by == card.needed_by:
        return f"{card.bought} must be ordered"
    return "its next bags are treated" if card.treated_from else "it is first treated"


def _tests(campaign: Campaign) -> list[str]:
    """Lots to test again, and until when the sample must go out."""
    found = []
    for r in campaign.retests:
        today = campaign.today
        late = " That day is past: send it now and wait for the result before treating."
        found.append(
            f"{r.lot}: its germination test is too old for planting on"
            f" {_day(campaign, r.planting)} (good until {_day(campaign, r.good_until)}). Send a"
            f" sample by {_day(campaign, r.send_by)}: the result must be there by"
            f" {_day(campaign, r.needed_by)}, before the seed is treated or planted."
            f"{late if today and r.send_by < today else ''}"
        )
    return found


def _old_stock(campaign: Campaign) -> list[str]:
    return [
        f"{c.product}, {c.source}: {c.note}. Use it before, or take it off On hand and plan again."
        for c in campaign.drawdown.containers
        if c.note
    ]


def _clock(campaign: Campaign) -> list[str]:
    asked = {r.lot for r in campaign.retests}
    seen = [
        p
        for p in campaign.clock
        if p.note
        and not p.note.startswith(BEFORE)
        and not (p.lot in asked and p.note.startswith(OLD_TEST))
    ]
    before = sorted({p.field for p in campaign.clock if p.note.startswith(BEFORE)})
    found = [f"{p.field}, {p.lot} with {p.recipe}: {p.note}." for p in seen]
    if before:
        found.append(
            f"Some seed was treated before this plan; its own cure and life count too, on:"
            f" {'; '.join(before)}."
        )
    return found


def _order(campaign: Campaign) -> list[str]:
    order = campaign.order
    found = []
    if not order.exact:
        found.append(
            f"Not every order of the recipes could be tried: changes take {order.minutes:,.0f}"
            f" minutes, and no order takes less than {order.floor_minutes:,.0f}."
        )
    minutes, money = order.minutes - order.least_minutes, order.money - order.least_money
    if minutes > 0.5 or money > 0.5:
        found.append(
            f"Treating in this order adds {max(minutes, 0.0):,.0f} minutes of changes and"
            f" {_money(campaign, max(money, 0.0))} of product left in the line to what the order"
            " with the fewest changes takes."
        )
    saved = order.planned_loss - order.loss
    if saved > 0.05 and not campaign.shop.stays_primed:
        found.append(
            f"Products that stay on the line between recipes may save {_volume(campaign, saved)}"
            " of the line losses that the plan counts; the list of containers counts them all."
        )
    return found


def _money(campaign: Campaign, money: float) -> str:
    return say_money(f"{money:z,.0f}", campaign.shop.currency)


def _volume(campaign: Campaign, floz: float) -> str:
    return f"{floz * ML_PER_FLOZ:,.0f} mL" if campaign.shop.metric else f"{floz:.1f} fl oz"


def _weight(campaign: Campaign, pounds: float) -> str:
    return f"{pounds * KG_PER_LB:,.0f} kg" if campaign.shop.metric else f"{pounds:,.0f} lb"


def _missing(campaign: Campaign) -> list[str]:
    shop = campaign.shop
    found = []
    if (shop.bags_per_day, shop.pounds_per_day, shop.minutes_per_day) == (None, None, None):
        found.append(
            "What the treater gets through in a day is not given (Pounds per day, or Seed flow and"
            " Hours per day): all that is due together is on one day."
        )
    if shop.seed_flow is None:
        found.append(
            "Seed flow is not given: calibration sheets show amounts a bag, none a minute."
        )
    undated = sorted(
        {s.field for s in campaign.shares if s.planting is None and s.recipe != UNTREATED}
    )
    if undated:
        named = ", ".join(undated[:MOST_NAMED])
        named += f" and {len(undated) - MOST_NAMED} more" if len(undated) > MOST_NAMED else ""
        found.append(
            f"No planting date, so no last day: {named}. Their bags count as leaving the floor "
            "when they are cured."
        )
    return found


def _portions(campaign: Campaign) -> list[tuple[Batch, Portion]]:
    return [(b, p) for b in campaign.batches for p in b.portions]


def _bags(portion: Portion) -> str:
    last = portion.first_bag + portion.bags - 1
    return f"bag {last}" if portion.bags == 1 else f"bags {portion.first_bag} to {last}"

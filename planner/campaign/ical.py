"""The campaign's days for a calendar program (iCalendar, RFC 5545; alarms by RFC 9074)."""

from __future__ import annotations

import hashlib
from datetime import UTC, datetime, time, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING

from planner.campaign.clock import plant_by
from planner.campaign.days import said, shift
from planner.campaign.domain import Event
from planner.explain.words import capital
from planner.plan.price import order_days, seed_by_seller
from planner.sums import grouped

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import date

    from planner.campaign.domain import (
        Calendar,
        Campaign,
        Card,
        ContainerUse,
        PlantBy,
        Retest,
        Run,
        Shop,
    )
    from planner.plan.plan import Plan
    from planner.season.domain import Season, SeedLot

WEEK_AND_DAY = (7, 1)
"""Reminders of what needs a call or a check, days before."""
WEEKEND = (5, 6)
"""Saturday and Sunday, as `date.weekday` counts."""
MORNING = 7
"""Hour of the day at which a reminder comes."""


def deadlines(season: Season, plan: Plan) -> tuple[Event, ...]:
    """Last days to order and to pay of the suppliers that the plan orders from.

    A discount that is taken may want the order sooner than the supplier himself.
    """
    found = []
    due = order_days(season, plan.order)
    for supplier in season.suppliers:
        lines = [o for o in plan.order if o.supplier == supplier.name and o.count]
        if not lines:
            continue
        order = due.get(supplier.name)
        pay = supplier.pay_by or order
        text = "; ".join(f"{o.count} x {o.container} {o.product}" for o in lines)
        if order:
            what = "Order and pay" if pay == order else "Order"
            title = f"{what} by today: {supplier.name}"
            found.append(_deadline(order, title, text, f"order|{supplier.name}"))
        if pay and pay != order:
            title = f"Pay by today: {supplier.name}"
            found.append(_deadline(pay, title, text, f"pay|{supplier.name}"))
    return (*found, *_seed_deadlines(season, plan))


def _bags_of(lot: SeedLot, bags: int) -> str:
    return f"{bags} x {lot.units_per_bag:g} units of {lot.name} ({lot.variety})"


def _seed_deadlines(season: Season, plan: Plan) -> list[Event]:
    """Last days to order and to pay for seed: one event for each seller and day."""
    found = []
    for (seller, order, pay), lines in seed_by_seller(season, plan.seed_purchases).items():
        of = f": {seller}" if seller else ""
        text = "; ".join(_bags_of(season.lot_named[s.lot], s.bags) for s in lines)
        if order:
            title = f"{'Order and pay' if pay == order else 'Order'} seed by today{of}"
            found.append(_deadline(order, title, text, f"order seed|{seller}|{order}"))
        if pay and pay != order:
            title = f"Pay seed by today{of}"
            found.append(_deadline(pay, title, text, f"pay seed|{seller}|{order}"))
    return found


def _deadline(day: date, title: str, text: str, key: str) -> Event:
    """Last day to order or to pay; on a weekend nobody may be there, so Friday reminds."""
    if day.weekday() not in WEEKEND:
        return Event(day, title, text, key, WEEK_AND_DAY)
    friday = day.weekday() - 4
    return Event(
        day, f"{title} (a weekend: by the Friday before)", text, key, (WEEK_AND_DAY[0], friday)
    )


def events(
    calendar: Calendar,
    containers: Iterable[ContainerUse],
    clock: Iterable[PlantBy],
    cards: Iterable[Card],
    retests: Iterable[Retest],
    shop: Shop,
    today: date | None,
) -> tuple[Event, ...]:
    """Collect every day that wants to be remembered, by day; what is overdue is for today."""
    asked = tuple(retests)
    found = [
        *_treating(calendar, _ready(containers)),
        *_planting(clock, asked, shop),
        *_approvals(cards, shop, today),
        *_samples(asked, shop, today),
    ]
    return tuple(sorted(found, key=lambda e: (e.day, e.title, e.text)))


def _ready(containers: Iterable[ContainerUse]) -> dict[date, list[str]]:
    """Containers to have ready, by the day on which the one before may run dry."""
    return grouped(
        (use.dry_day, f"{following.source} of {following.product}")
        for use, following in pairwise(containers)
        if use.dry_day and following.product == use.product and following.on_day
    )


def _treating(calendar: Calendar, ready: dict[date, list[str]]) -> list[Event]:
    """One event for every treating day still to come."""
    found: list[Event] = []
    started = any(r.done for r in calendar.runs)
    for number, day in enumerate(calendar.days, 1):
        runs = [r for r in calendar.runs if r.day == day.day and not r.done]
        if not runs:
            continue
        lines = [_run_line(r) for r in runs]
        containers = dict.fromkeys(ready.get(day.day, ()))
        if containers:
            lines.append(f"Have ready: {'; '.join(containers)}")
        lines.append(f"Still untreated that evening: {day.free:,.0f} units")
        recipes = ", ".join(dict.fromkeys(r.recipe for r in runs))
        units = sum(r.units for r in runs)
        first = "" if started or found else "First treating day: "
        title = f"{first}treat {units:,.0f} units, {recipes}"
        remind = (7, 1) if first else (1,)
        found.append(Event(day.day, capital(title), "\n".join(lines), f"treat|{number}", remind))
    return found


def _run_line(run: Run) -> str:
    bags = f"bag {run.last_bag}"
    if run.bags > 1:
        bags = f"bags {run.first_bag} to {run.last_bag}"
    late = " - LATE" if run.late else ""
    return f"{run.recipe}: {run.lot}, {bags}, {run.units:g} units{late}"


def _planting(clock: Iterable[PlantBy], asked: Iterable[Retest], shop: Shop) -> list[Event]:
    """The last day to plant: one event for each day, with the fields that it is the last for.

    A germination test that is too old asks for a sample, not for planting.
    """
    retested = {r.lot for r in asked}
    fields: dict[date, list[str]] = {}
    for p in clock:
        last = plant_by(p, retested, shop)
        if last:
            fields.setdefault(last, []).append(p.field)
    if shop.last_planting is None:
        fields = {min(fields): fields[min(fields)]} if fields else {}
    return [
        Event(
            day,
            "Last planting day" if day == shop.last_planting else "Plant by today",
            "; ".join(dict.fromkeys(names)),
            f"plant|{'last' if day == shop.last_planting else day.isoformat()}",
            WEEK_AND_DAY,
        )
        for day, names in fields.items()
    ]


def _approvals(cards: Iterable[Card], shop: Shop, today: date | None) -> list[Event]:
    """One event for each day before which recipes need approval."""
    open_ = grouped(
        (card.needed_by, card) for card in cards if card.needed_by and not card.approved_by
    )
    return [
        Event(
            max(shift(day, -1), today or shift(day, -1)),
            f"Approval needed: {', '.join(c.recipe for c in mine)}",
            "\n".join(_approval_reason(c, metric=shop.metric) for c in mine),
            "approve|" + ";".join(c.recipe for c in mine),
            WEEK_AND_DAY,
        )
        for day, mine in open_.items()
    ]


def _approval_reason(card: Card, *, metric: bool) -> str:
    """Say what comes on the day before which a recipe is to be approved."""
    if card.needed_by is None:
        return ""
    day = said(card.needed_by, metric=metric)
    if card.order_by == card.needed_by:
        return f"{card.recipe}: {card.bought} must be ordered by {day}"
    goes_on = "goes on" if card.treated_from else "starts"
    return f"{card.recipe}: treating {goes_on} on {day}"


def _samples(asked: Iterable[Retest], shop: Shop, today: date | None) -> list[Event]:
    """Days on which samples of seed must go out."""
    return [
        Event(
            max(r.send_by, today or r.send_by),
            f"Send seed sample for germination test: {r.lot}",
            f"The result must be there on {said(r.needed_by, metric=shop.metric)}, before it is"
            " treated or planted. Its test is good until"
            f" {said(r.good_until, metric=shop.metric)}.",
            f"sample|{r.lot}",
            WEEK_AND_DAY,
        )
        for r in asked
    ]


def to_ical(campaign: Campaign) -> bytes:
    """Write the events of a campaign as an iCalendar file, the same for the same campaign.

    Days that have passed are left out.

    An event keeps its UID when the campaign is brought up to date, so that a calendar program
    moves it instead of showing it twice. Reminders are alarms inside the events, at seven in the
    morning of the days before; some programs drop alarms on import.
    """
    import icalendar

    calendar = icalendar.Calendar()
    calendar.add("prodid", "-//wholedrum//season planner//EN")
    calendar.add("version", "2.0")
    stamp = datetime.combine(campaign.shop.plan_date or campaign.shop.first_day, time(), UTC)
    seen: dict[str, int] = {}
    today = campaign.today
    for event in sorted((*campaign.deadlines, *campaign.events), key=lambda e: (e.day, e.title)):
        if today and event.day < today:
            continue
        about = f"{campaign.shop.farm or campaign.shop.apart}|{campaign.shop.crop_year}|{event.key}"
        key = hashlib.sha256(about.encode("utf-8", "backslashreplace")).hexdigest()
        seen[key] = seen.get(key, 0) + 1
        entry = icalendar.Event()
        entry.add("uid", f"{key[:32]}-{seen[key]}@wholedrum.invalid")
        entry.add("dtstamp", stamp)
        entry.add("sequence", campaign.revision)
        entry.add("dtstart", event.day)
        entry.add("dtend", shift(event.day, 1))
        entry.add("summary", _clean(event.title))
        if event.text:
            entry.add("description", _clean(event.text))
        entry.add("transp", "TRANSPARENT")
        for days in event.remind:
            alarm = icalendar.Alarm()
            alarm.add("action", "DISPLAY")
            alarm.add("description", _clean(event.title))
            alarm.add("trigger", timedelta(hours=MORNING - 24 * days))
            entry.add_component(alarm)
        calendar.add_component(entry)
    text: bytes = calendar.to_ical()
    return text


def _clean(text: str) -> str:
    return "".join(c for c in text if c == "\n" or c.isprintable())

"""The campaign's days for a calendar program (iCalendar, RFC 5545)."""

from __future__ import annotations

import hashlib
from datetime import UTC, datetime, time
from itertools import pairwise
from typing import TYPE_CHECKING

from planner.campaign.days import shift
from planner.campaign.domain import Event
from planner.plan.price import order_days

if TYPE_CHECKING:
    from collections.abc import Iterable

    from planner.campaign.domain import Calendar, Campaign, Card, ContainerUse, PlantBy
    from planner.plan.plan import Plan
    from planner.season.domain import Season


def deadlines(season: Season, plan: Plan) -> tuple[Event, ...]:
    """Order-by days of the suppliers that the plan orders from."""
    found = []
    days = order_days(season, plan.order)
    for supplier in season.suppliers:
        lines = [o for o in plan.order if o.supplier == supplier.name and o.count]
        if supplier.name in days and lines:
            text = "; ".join(f"{o.count} x {o.container} {o.product}" for o in lines)
            title = f"Order by today: {supplier.name}"
            found.append(Event(days[supplier.name], title, text, f"order|{supplier.name}"))
    return tuple(found)


def events(
    calendar: Calendar,
    containers: Iterable[ContainerUse],
    clock: Iterable[PlantBy],
    cards: Iterable[Card],
) -> tuple[Event, ...]:
    """Collect every day that wants to be remembered, by day."""
    found = [*_treating(calendar), *_changes(containers), *_plant_by(clock), *_approvals(cards)]
    return tuple(sorted(found, key=lambda e: (e.day, e.title, e.text)))


def _treating(calendar: Calendar) -> list[Event]:
    found = []
    for number, day in enumerate(calendar.days, 1):
        runs = [r for r in calendar.runs if r.day == day.day and not r.done]
        if runs:
            text = "\n".join(
                f"{r.lot}, {r.recipe}: bags {r.first_bag} to {r.last_bag}"
                f"{' - LATE' if r.late else ''}"
                for r in runs
            )
            title = f"Treat {sum(r.bags for r in runs)} bags"
            found.append(Event(day.day, title, text, f"treat|{number}"))
    return found


def _changes(containers: Iterable[ContainerUse]) -> list[Event]:
    found = []
    for use, following in pairwise(containers):
        if use.dry_day and following.product == use.product and following.on_day:
            text = f"{use.source} (no. {use.number}) runs dry at {use.dry} at the earliest."
            title = f"Stand ready: {following.source} of {use.product}"
            key = f"ready|{use.product}|{following.number}"
            found.append(Event(use.dry_day, title, text, key))
    return found


def _plant_by(clock: Iterable[PlantBy]) -> list[Event]:
    return [
        Event(
            p.last,
            f"Plant by today: {p.field}",
            "; ".join(filter(None, (f"{p.lot}, {p.recipe}", p.note))),
            f"plant|{p.field}|{p.lot}|{p.recipe}",
        )
        for p in clock
        if p.last
    ]


def _approvals(cards: Iterable[Card]) -> list[Event]:
    return [
        Event(
            shift(card.needed_by, -1),
            f"Approval needed: {card.recipe}",
            f"Treating starts on {card.needed_by.isoformat()}.",
            f"approve|{card.recipe}",
        )
        for card in cards
        if card.needed_by and not card.approved_by
    ]


def to_ical(campaign: Campaign) -> bytes:
    """Write the events of a campaign as an iCalendar file, the same for the same campaign.

    An event keeps its UID when the campaign is brought up to date, so that a calendar program
    moves it instead of showing it twice.
    """
    import icalendar

    calendar = icalendar.Calendar()
    calendar.add("prodid", "-//wholedrum//season planner//EN")
    calendar.add("version", "2.0")
    stamp = datetime.combine(campaign.shop.plan_date or campaign.shop.first_day, time(), UTC)
    seen: dict[str, int] = {}
    for event in sorted((*campaign.deadlines, *campaign.events), key=lambda e: (e.day, e.title)):
        about = f"{campaign.shop.farm}|{campaign.shop.crop_year}|{event.key}"
        key = hashlib.sha256(about.encode("utf-8", "backslashreplace")).hexdigest()
        seen[key] = seen.get(key, 0) + 1
        entry = icalendar.Event()
        entry.add("uid", f"{key[:32]}-{seen[key]}@wholedrum.invalid")
        entry.add("dtstamp", stamp)
        entry.add("sequence", len(campaign.done))
        entry.add("dtstart", event.day)
        entry.add("dtend", shift(event.day, 1))
        entry.add("summary", _clean(event.title))
        if event.text:
            entry.add("description", _clean(event.text))
        entry.add("transp", "TRANSPARENT")
        calendar.add_component(entry)
    text: bytes = calendar.to_ical()
    return text


def _clean(text: str) -> str:
    return "".join(c for c in text if c == "\n" or c.isprintable())

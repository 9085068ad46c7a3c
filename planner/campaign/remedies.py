"""What would bring every bag in time for which there is a day, one thing at a time."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING

from planner.agronomy.rates import LB_PER_100KG
from planner.campaign.begun import NOTHING_DONE
from planner.campaign.calendar import late_bags, soonest
from planner.campaign.days import said
from planner.campaign.placer import Placer
from planner.explain.words import count

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from planner.campaign.begun import Begun
    from planner.campaign.domain import Batch, Shop
    from planner.campaign.placer import Piece

FURTHEST = 10_000
"""Most bags a day, or on the floor, that is tried as a remedy."""
STEP = 1_000
"""Pounds a day by which a remedy is given."""


def remedies(order: Sequence[Batch], shop: Shop, begun: Begun = NOTHING_DONE) -> tuple[str, ...]:
    """What would bring every bag in time for which there is a day, the order kept."""
    lost = sum(p.bags for b in order for p in b.portions if p.has_no_day)

    def late(shop: Shop) -> int:
        return late_bags(order, shop, begun) - lost

    if not late(shop):
        return ()
    found = _later(late, soonest(order, shop, begun), shop)
    if begun.cursor is None:
        found += _earlier(late, shop)

    def enough(change: Callable[[int], Shop], say: Callable[[int], str]) -> list[str]:
        number = _smallest(lambda n: late(change(n)), FURTHEST)
        return [] if number is None else [say(number)]

    if shop.bags_per_day:
        found += enough(lambda n: faster(shop, n), lambda n: f"{count(n, 'bag')} more a day")
    if shop.pounds_per_day:
        found += enough(lambda n: heavier(shop, n), lambda n: f"{_pounds(shop, n)} more a day")
    if shop.minutes_per_day:
        found += enough(lambda n: longer(shop, n), lambda n: f"{count(n, 'hour')} more a day")
    if shop.floor_space:
        found += enough(
            lambda n: wider(shop, n), lambda n: f"floor space for {count(n, 'bag')} more"
        )
    return tuple(found)


def _pounds(shop: Shop, steps: int) -> str:
    pounds = steps * STEP
    return f"{pounds * 100.0 / LB_PER_100KG:,.0f} kg" if shop.metric else f"{pounds:,} lb"


def faster(shop: Shop, bags: int) -> Shop:
    """Shop that treats that many more bags a day."""
    return replace(shop, bags_per_day=(shop.bags_per_day or 0) + bags)


def heavier(shop: Shop, steps: int) -> Shop:
    """Shop that treats that many thousand pounds more a day."""
    return replace(shop, pounds_per_day=(shop.pounds_per_day or 0.0) + steps * STEP)


def longer(shop: Shop, hours: int) -> Shop:
    """Shop that runs that many hours more a day, twenty-four at the most."""
    minutes = (shop.minutes_per_day or 0.0) + 60.0 * hours
    return replace(shop, minutes_per_day=min(minutes, 1440.0))


def wider(shop: Shop, bags: int) -> Shop:
    """Shop with floor space for that many more bags."""
    return replace(shop, floor_space=(shop.floor_space or 0) + bags)


def _later(late: Callable[[Shop], int], placed: Sequence[Piece], shop: Shop) -> list[str]:
    if shop.done_by is None or late(replace(shop, done_by=None)):
        return []
    last = max(p.day for p in placed)
    placer = Placer(shop)
    after = range(shop.done_by.toordinal() + 1, last + 1)
    more = sum(placer.working(d) == d for d in after)
    until = said(date.fromordinal(last), metric=shop.metric)
    return [f"{count(more, 'treating day')} more at the end, until {until}"]


def _earlier(late: Callable[[Shop], int], shop: Shop) -> list[str]:
    if shop.plan_date is None:
        return []
    first, plan = shop.first_day.toordinal(), shop.plan_date.toordinal()

    def starting(days: int) -> int:
        return late(replace(shop, first_day=date.fromordinal(first - days)))

    days = _smallest(starting, first - plan)
    if days is None:
        return []
    start = said(date.fromordinal(first - days), metric=shop.metric)
    return [f"starting {count(days, 'day')} earlier, on {start}"]


def _smallest(late: Callable[[int], int], most: int) -> int | None:
    """Smallest number from 1 to `most` for which nothing is late; `late` never rises."""
    high = 1
    while high < most and late(high):
        high *= 2
    high = min(high, most)
    if most < 1 or late(high):
        return None
    low = high // 2
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if late(middle) else (low, middle)
    return high

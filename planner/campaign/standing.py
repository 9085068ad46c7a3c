"""What sits in the line from one treating day to the next, longer than it may.

The plan counts a line loss once for every stretch of recipes that hold a product. What may not sit
as long as the line stands between two days of a stretch is flushed in the evening and primed again,
which takes its line loss once more; whether what the plan leaves over covers that is said here.
What the recipe of the next day lacks is flushed then at the latest: in the evening, where it may
not sit so long, and not primed again.
Neither the plan's cost nor its order counts it. A premix sits no longer than the shortest Slurry
life in it allows, and goes as a whole.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

from planner.campaign.changes import products_of
from planner.sums import grouped, summed

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import date

    from planner.campaign.domain import Campaign, Run

LONG_DAY = 12.0
"""Hours of a treating day where the farm does not say how many: common practice."""
HAIR = 1e-9


class Standing(NamedTuple):
    """A product that would sit in the line too long between two treating days."""

    product: str
    since: date
    until: date
    may: float
    """Hours that it may sit."""
    sits: float
    """Hours at least."""
    takes: float
    """Fl oz, to prime it again; 0 for what the next recipe lacks."""
    there: float
    """Fl oz that the plan leaves over for that."""
    again: bool = True
    """Whether it is primed again, as the next recipe holds it too."""

    @property
    def missing(self) -> float:
        """Fl oz that are not there."""
        return max(0.0, self.takes - self.there)


def standing(campaign: Campaign) -> tuple[Standing, ...]:
    """Everything still to come that would sit in the line too long, by day."""
    shop = campaign.shop
    hours = LONG_DAY if shop.minutes_per_day is None else shop.minutes_per_day / 60.0
    losses = {s.product: s.line_loss for s in campaign.supplies}
    left = _left_over(campaign)
    found = []
    for product, may, before, after, wanted in _kept(campaign):
        sits = 24.0 * (after.day - before.day).days - hours
        if after.done or sits <= may + HAIR:
            continue
        takes = losses[product] if wanted else 0.0
        there = max(0.0, left[product])
        left[product] -= takes
        found.append(Standing(product, before.day, after.day, may, sits, takes, there, wanted))
    return tuple(found)


def minutes_again(campaign: Campaign) -> dict[date, float]:
    """Minutes by day to flush in the evening and to prime again; the calendar counts none of them.

    Flushing what is not primed again is part of the change to the next recipe, which is counted.
    """
    each = campaign.shop.changeover_minutes
    return summed((day, each) for s in standing(campaign) if s.again for day in (s.since, s.until))


def too_long(campaign: Campaign) -> dict[date, float]:
    """Minutes of the days that are longer than Hours per day with what `minutes_again` adds."""
    most, again = campaign.shop.minutes_per_day, minutes_again(campaign)
    days = {
        d.day: (d.running or 0.0) + d.minutes + again.get(d.day, 0.0)
        for d in campaign.calendar.days
    }
    return {
        day: minutes
        for day, minutes in days.items()
        if most is not None and again.get(day) and minutes > most + HAIR
    }


def taken_again(campaign: Campaign) -> dict[str, list[tuple[date, float]]]:
    """Fl oz by which a product is less than its draw-down says from a day on, by product."""
    return grouped((s.product, (s.until, s.takes)) for s in standing(campaign) if s.takes)


def _kept(campaign: Campaign) -> Iterator[tuple[str, float, Run, Run, bool]]:
    """Products in the line from a day to the next, the hours that they may be, if it goes on."""
    held = {(b.lot, b.recipe): products_of(b) for b in campaign.batches}
    lives = {s.product: s.slurry_life for s in campaign.supplies}
    premixed = {
        (p.recipe, step.product): mix.life
        for p in campaign.premixes
        for mix in p.mixes
        for step in mix.steps
    }
    for before, after in pairwise(campaign.calendar.runs):
        same = before.recipe == after.recipe
        if before.day == after.day or not (same or campaign.shop.stays_primed):
            continue
        wanted = held[after.lot, after.recipe]
        for product in sorted(held[before.lot, before.recipe]):
            may = premixed.get((before.recipe, product), lives[product])
            if may is not None:
                yield product, may, before, after, product in wanted


def _left_over(campaign: Campaign) -> dict[str, float]:
    """Fl oz that the draw-down leaves of every product, margin used up; less than 0 if short."""
    found = summed((use.product, use.left) for use in campaign.drawdown.containers)
    for flush in campaign.drawdown.flushes:
        found[flush.product] -= flush.missing
    return found

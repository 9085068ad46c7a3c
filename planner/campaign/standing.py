"""What sits in the line from one treating day to the next, longer than it may.

The plan counts a line loss once for every stretch of recipes that hold a product. What may not sit
as long as the line stands between two days of a stretch is flushed in the evening and primed again,
which takes its line loss once more; whether what the plan leaves over covers that is said here.
What the recipe of the next day lacks is flushed then at the latest: in the evening, where it may
not sit so long, and not primed again.
The plan's cost does not count it, nor does its order; days come nearer for it where they may
(`planner.campaign.nearer`). A premix sits no longer than the shortest Slurry life in it allows, and
goes as a whole.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

from planner.campaign.changes import products_of
from planner.sums import summed

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from datetime import date

    from planner.campaign.domain import Batch, Campaign, Premix, Run, Shop, Supply

LONG_DAY = 12.0
"""Hours of a treating day where the farm does not say how many: common practice."""
HAIR = 1e-9


class Night(NamedTuple):
    """A product that would sit in the line too long between two treating days."""

    product: str
    since: date
    until: date
    may: float
    """Hours that it may sit."""
    sits: float
    """Hours at least."""
    again: bool = True
    """Whether it is primed again, as the next recipe holds it too."""
    over: bool = False
    """Whether both days are done."""


class Standing(NamedTuple):
    """A night to come, and what there is for it."""

    night: Night
    takes: float
    """Fl oz, to prime it again; 0 for what the next recipe lacks."""
    there: float
    """Fl oz that the plan leaves over for that."""

    @property
    def missing(self) -> float:
        """Fl oz that are not there."""
        return max(0.0, self.takes - self.there)


def may_sit(
    batches: Iterable[Batch], supplies: Iterable[Supply], premixes: Iterable[Premix]
) -> dict[tuple[str, str], float]:
    """Hours that a product may sit in tank and line, by recipe and product, where it is limited."""
    lives = {s.product: s.slurry_life for s in supplies}
    held = {(b.recipe, d.product) for b in batches for d in b.draws}
    found = {key: life for key in held if (life := lives[key[1]]) is not None}
    for premix in premixes:
        for mix in premix.mixes:
            if mix.life is not None:
                found |= {(premix.recipe, step.product): mix.life for step in mix.steps}
    return found


def nights(
    runs: Sequence[Run],
    batches: Iterable[Batch],
    shop: Shop,
    sits: Mapping[tuple[str, str], float],
) -> tuple[Night, ...]:
    """Everything that would sit in the line too long between two days, by day.

    Parameters
    ----------
    sits
        Hours by recipe and product, as `may_sit` gives them.
    """
    held = {(b.lot, b.recipe): products_of(b) for b in batches}
    hours = LONG_DAY if shop.minutes_per_day is None else shop.minutes_per_day / 60.0
    found = []
    for before, after in pairwise(runs):
        stays = before.recipe == after.recipe or shop.stays_primed
        if before.day == after.day or not stays:
            continue
        stands = 24.0 * (after.day - before.day).days - hours
        wanted = held[after.lot, after.recipe]
        for product in sorted(held[before.lot, before.recipe]):
            may = sits.get((before.recipe, product))
            if may is not None and stands > may + HAIR:
                night = Night(product, before.day, after.day, may, stands, product in wanted)
                found.append(night._replace(over=after.done))
    return tuple(found)


def nights_of(campaign: Campaign) -> tuple[Night, ...]:
    """Nights of a campaign, those that are over too."""
    sits = may_sit(campaign.batches, campaign.supplies, campaign.premixes)
    return nights(campaign.calendar.runs, campaign.batches, campaign.shop, sits)


def standing(campaign: Campaign) -> tuple[Standing, ...]:
    """Everything still to come that would sit in the line too long, by day."""
    losses = {s.product: s.line_loss for s in campaign.supplies}
    to_come = [n for n in nights_of(campaign) if not n.over]
    left = {level.product: level.left for level in campaign.drawdown.levels}
    for night in to_come:
        left[night.product] += losses[night.product] * night.again
    found = []
    for night in to_come:
        takes = losses[night.product] * night.again
        found.append(Standing(night, takes, max(0.0, left[night.product])))
        left[night.product] -= takes
    return tuple(found)


def minutes_again(campaign: Campaign) -> dict[date, float]:
    """Minutes by day to flush in the evening and to prime again; the calendar counts none of them.

    Flushing what is not primed again is part of the change to the next recipe, which is counted.
    """
    each = campaign.shop.changeover_minutes
    again = [n for n in nights_of(campaign) if n.again and not n.over]
    return summed((day, each) for n in again for day in (n.since, n.until))


def too_long(campaign: Campaign) -> dict[date, float]:
    """Minutes of the days to come that are longer than Hours per day, everything counted.

    Days are chosen without what `minutes_again` adds and without the flush after the last bag.
    """
    most, again = campaign.shop.minutes_per_day, minutes_again(campaign)
    to_do = {run.day for run in campaign.calendar.runs if not run.done}
    days = {
        d.day: (d.running or 0.0) + d.minutes + again.get(d.day, 0.0)
        for d in campaign.calendar.days
        if d.day in to_do
    }
    return {day: minutes for day, minutes in days.items() if most and minutes > most + HAIR}


def too_heavy(campaign: Campaign) -> dict[date, float]:
    """Pounds of days to come with a single bag that is heavier than Pounds per day."""
    most = campaign.shop.pounds_per_day
    to_do = {run.day for run in campaign.calendar.runs if not run.done}
    days = {d.day: d.weight for d in campaign.calendar.days if d.day in to_do and d.bags == 1}
    return {day: w for day, w in days.items() if most and w > most * (1.0 + HAIR)}

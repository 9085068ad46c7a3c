"""What is treated in the shop, and how far it is: what a schedule is made from."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

from planner.campaign.changes import EMPTY, Line
from planner.campaign.daily import leaving
from planner.campaign.days import shift
from planner.campaign.domain import Run
from planner.campaign.placer import Cursor, due

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import date

    from planner.campaign.domain import Batch, Campaign, Premix, Shop, Supply


class Work(NamedTuple):
    """What is treated, with what, in which shop."""

    batches: Sequence[Batch]
    """All of them, with what is done of them."""
    supplies: Sequence[Supply]
    """What goes on them."""
    shop: Shop
    premixes: Sequence[Premix] = ()
    """How batches are premixed; a premix sits no longer than the shortest life in it."""


class Begun(NamedTuple):
    """What is done of it, and where the calendar goes on."""

    done: Sequence[Run] = ()
    line: Line = EMPTY
    """What that left on the line."""
    cursor: Cursor | None = None
    """The next day, with what is on the floor; None for the shop's first treating day."""


NOTHING_DONE = Begun()


def begun_by(campaign: Campaign, today: date | None) -> Begun:
    """What is done of a campaign; `today` is the first day left, where it is given."""
    done = _runs(campaign)
    return Begun(done, _line(campaign.batches, done), _cursor(campaign, done, today))


def rest_of(batches: Iterable[Batch], done: Iterable[Run]) -> tuple[Batch, ...]:
    """What is left of batches, of those of which anything is; bags keep their numbers."""
    so_far: Counter[tuple[str, str]] = Counter()
    for run in done:
        so_far[run.lot, run.recipe] += run.bags
    rest = (_rest(b, so_far[b.lot, b.recipe]) for b in batches)
    return tuple(b for b in rest if b.portions)


def _runs(campaign: Campaign) -> tuple[Run, ...]:
    """Runs that are done, each taking the next bags of its batch."""
    batches_ = {(b.lot, b.recipe): b for b in campaign.batches}
    so_far: Counter[tuple[str, str]] = Counter()
    found = []
    for d in campaign.done:
        batch = batches_[d.lot, d.recipe]
        first = so_far[d.lot, d.recipe] + 1
        last = first + d.bags - 1
        so_far[d.lot, d.recipe] = last
        day = d.on or campaign.shop.first_day
        late = _late(batch, first, last, day, campaign.shop)
        units = batch.units_of(first, last)
        found.append(Run(day, d.lot, d.recipe, first, last, units, late=late, done=True))
    return tuple(found)


def _late(batch: Batch, first: int, last: int, day: date, shop_: Shop) -> bool:
    met = [p for p in batch.portions if first < p.first_bag + p.bags and p.first_bag <= last]
    return any(day.toordinal() > due(p, shop_) for p in met)


def _rest(batch: Batch, so_far: int) -> Batch:
    """Give a batch without the bags that are done so far; bags keep their numbers."""
    portions = []
    for p in batch.portions:
        cut = min(max(so_far - p.first_bag + 1, 0), p.bags)
        if cut < p.bags:
            portions.append(replace(p, first_bag=p.first_bag + cut, bags=p.bags - cut))
    return replace(batch, portions=tuple(portions))


def _cursor(campaign: Campaign, done: Sequence[Run], today: date | None) -> Cursor | None:
    """Where the calendar goes on: after the last day done, with what still is on the floor."""
    if not done and today is None:
        return None
    first = campaign.shop.first_day
    day = max([first, *(shift(r.day, 1) for r in done)])
    day = max(first, today) if today else day
    by_name = {(b.lot, b.recipe): b for b in campaign.batches}
    floor: Counter[int] = Counter()
    for run in done:
        for leave, bags in leaving(run, by_name[run.lot, run.recipe], campaign.shop):
            floor[leave] += bags
    start = day.toordinal()
    return Cursor(start, 0, tuple(sorted((d, n) for d, n in floor.items() if d > start)))


def _line(batches_: Iterable[Batch], done: Sequence[Run]) -> Line:
    """What the treater holds after what is done."""
    if not done:
        return EMPTY
    last = done[-1]
    batch = next(b for b in batches_ if (b.lot, b.recipe) == (last.lot, last.recipe))
    return Line(frozenset(d.product for d in batch.draws), last.lot)

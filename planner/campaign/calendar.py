"""From an order of batches to days: every bag as late as the order, the days and spare days allow.

Bags are treated in the given order, as much a day as the shop gets through, never on a day off. A
bag is on the floor from the day it is treated until the planting date of its fields, or until
it is cured where there is no date.

`soonest` puts every bag on the earliest day that it has in any calendar of the order, so no other
calendar of the order has fewer bags late: placing a bag earlier takes nothing from the bags after
it, because those come no earlier than it in any case, and the day on which a bag leaves the floor
comes no later.

`pieces` goes back from the last bag to the first and finds the latest day of each that keeps the
spare days free; then it goes forward again, no bag before that day. Where the days are few, bags
start on the first day and eat up the spare days, not more: a bag comes on the later of its soonest
and its latest day, so one that is in time in the soonest calendar is in time here; where more would
be late all the same (floor space, hours), the soonest calendar stays.

Why late: most seed that dealers treat is treated the day before planting or on the day
(agprofessional.com, outlook of 2017); germination and vigor fall in store after treating (Pereira
et al. 2020). That treated seed cannot go back or get another recipe is common practice.
"""

from __future__ import annotations

import heapq
from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING, NamedTuple

from planner.campaign.begun import NOTHING_DONE
from planner.campaign.changes import setups
from planner.campaign.days import LAST
from planner.campaign.domain import Run
from planner.campaign.placer import Cursor, Piece, Placer, due
from planner.sums import grouped

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from planner.campaign.begun import Begun
    from planner.campaign.changes import Line
    from planner.campaign.domain import Batch, Portion, Shop


class Aim(NamedTuple):
    """Bags of a portion and the day before which they are not treated."""

    batch: Batch
    portion: Portion
    first_bag: int
    bags: int
    day: int
    setup: float
    """Minutes before the first of them."""


def soonest(order: Sequence[Batch], shop: Shop, begun: Begun = NOTHING_DONE) -> list[Piece]:
    """Every bag as early as can be, in the given order of batches."""
    placer = Placer(shop)
    found: list[Piece] = []
    cursor = placer.start(begun.cursor)
    for batch, setup in zip(order, setups(order, shop, begun.line), strict=True):
        cursor, _ = placer.put(batch, cursor, found, setup)
    return found


def pieces(order: Sequence[Batch], shop: Shop, begun: Begun = NOTHING_DONE) -> list[Piece]:
    """Every bag on its day, in the given order of batches: late, but no more of them too late."""
    first = Placer(shop).start(begun.cursor).day
    found = place(aims(order, shop, first, begun.line), shop, begun.cursor)
    early = soonest(order, shop, begun)
    return found if _late(found) <= _late(early) else early


def place(aimed: Iterable[Aim], shop: Shop, begin: Cursor | None = None) -> list[Piece]:
    """Bags one after the other, none before the day of its aim."""
    placer = Placer(shop)
    cursor = placer.start(begin)
    found: list[Piece] = []
    for aim in aimed:
        cursor, _ = placer.place(
            aim.batch,
            aim.portion,
            aim.first_bag,
            aim.bags,
            cursor,
            found,
            setup=aim.setup,
            release=aim.day,
        )
    return found


def _late(placed: Iterable[Piece]) -> int:
    return sum(p.bags for p in placed if p.late)


def aims(order: Sequence[Batch], shop: Shop, first: int, line: Line) -> list[Aim]:
    """Latest days of bags, from the last one back; day 0 where nothing says how late.

    The bags of a lot under a recipe run in one go: none after the last day of the first of them
    that is due, and on one day if a day holds them all.
    Where hours limit a day, the minutes before a batch count on each of its days, so that it may
    begin a little sooner than it must.
    """
    placer = Placer(shop)
    found: list[Aim] = []
    cursor = Cursor(LAST)
    before = list(setups(order, shop, line))
    for batch, setup in zip(reversed(order), reversed(before), strict=True):
        fresh = True
        cursor = _whole(placer, batch, setup, cursor)
        for portion in reversed(batch.portions):
            last = portion.first_bag + portion.bags
            while last > portion.first_bag:
                left = last - portion.first_bag
                if cursor.day >= LAST or cursor.day < first:
                    found.append(Aim(batch, portion, portion.first_bag, left, 0, 0.0))
                    break
                bags = min(left, placer.room(cursor, batch, setup if fresh else 0.0))
                if bags <= 0:
                    cursor, fresh = Cursor(placer.back(cursor.day - 1)), True
                    continue
                cursor = placer.take(cursor, batch, bags, setup if fresh else 0.0)
                fresh = False
                last -= bags
                found.append(Aim(batch, portion, last, bags, cursor.day, 0.0))
        if found and found[-1].batch is batch:
            found[-1] = found[-1]._replace(setup=setup)
    return found[::-1]


def _whole(placer: Placer, batch: Batch, setup: float, cursor: Cursor) -> Cursor:
    """Go back to the last day that a batch may have, one that holds all of it if any does."""
    limit = min((due(p, placer.shop) for p in batch.portions), default=LAST)
    if limit < LAST:
        last = placer.back(limit, placer.shop.spare_days)
        cursor = cursor if cursor.day <= last else Cursor(last)
    bags = sum(p.bags for p in batch.portions)
    before = Cursor(placer.back(cursor.day - 1)) if cursor.day < LAST else cursor
    if placer.room(cursor, batch, setup) < bags <= placer.room(before, batch, setup):
        return before
    return cursor


def late_bags(order: Sequence[Batch], shop: Shop, begun: Begun = NOTHING_DONE) -> int:
    """Count bags past their day in a given order of batches."""
    return _late(soonest(order, shop, begun))


def runs(placed: Iterable[Piece]) -> tuple[Run, ...]:
    """Join neighboring pieces of one batch on one day."""
    found: list[Run] = []
    for piece in placed:
        batch, last = piece.batch, piece.first_bag + piece.bags - 1
        run = Run(
            day=date.fromordinal(min(piece.day, LAST)),
            lot=batch.lot,
            recipe=batch.recipe,
            first_bag=piece.first_bag,
            last_bag=last,
            units=batch.units_of(piece.first_bag, last),
            late=piece.late,
            early=piece.early,
        )
        before = found[-1] if found else None
        if before and _continues(before, run):
            units = batch.units_of(before.first_bag, last)
            found[-1] = replace(before, last_bag=last, units=units)
        else:
            found.append(run)
    return tuple(found)


def by_batch(of: Iterable[Run]) -> dict[tuple[str, str], list[Run]]:
    """Group runs by the lot and recipe of their batch."""
    return grouped(((run.lot, run.recipe), run) for run in of)


def _continues(before: Run, run: Run) -> bool:
    same = (before.day, before.lot, before.recipe, before.late, before.early)
    return (
        same == (run.day, run.lot, run.recipe, run.late, run.early)
        and before.last_bag + 1 == run.first_bag
    )


def late_in_any_order(batches: Sequence[Batch], shop: Shop, begin: Cursor | None = None) -> int:
    """Bags that are late whatever the order: a bound for every calendar.

    Every day takes what is due first among what may be treated, and what is past its day is let
    go. For jobs of one length this keeps the most in time (Horn 1974, from memory): so the bags
    are counted where Bags per day limits, and the pounds where weight or hours do; as many of the
    heaviest bags as those pounds make up are late at least. Floor space, changes of the line and
    the order of recipes are left out, so a real calendar may be worse.
    """
    jobs = [(p, b) for b in batches for p in b.portions]
    by_count = 0
    if shop.bags_per_day or not _pounds(shop):
        counted = [(p, p.bags) for p, b in jobs if not b.together]
        by_count = _least_late(counted, shop.bags_per_day or LAST, shop, begin)
    most = _pounds(shop)
    if most is None or not jobs:
        return by_count
    weights = {b.bag_weight for _, b in jobs}
    if len(weights) == 1:
        each = max(1, int(most / weights.pop() + 1e-9))
        return max(by_count, _least_late([(p, p.bags) for p, _ in jobs], each, shop, begin))
    most = max(most, *weights)
    pounds = _least_late(
        [(p, int(p.bags * b.bag_weight)) for p, b in jobs], int(most) + 1, shop, begin
    )
    return max(by_count, _heaviest(jobs, pounds))


def _pounds(shop: Shop) -> float | None:
    """Most lb that a day holds, without any change of the line."""
    limits = [shop.pounds_per_day] if shop.pounds_per_day is not None else []
    if shop.minutes_per_day is not None and shop.seed_flow:
        limits.append(shop.minutes_per_day * shop.seed_flow)
    return min(limits, default=None)


def _heaviest(jobs: Iterable[tuple[Portion, Batch]], pounds: float) -> int:
    """Fewest bags that weigh so much."""
    count = 0
    for portion, batch in sorted(jobs, key=lambda j: -j[1].bag_weight):
        if pounds <= 0:
            break
        bags = min(portion.bags, -int(-pounds // batch.bag_weight))
        count += bags
        pounds -= bags * batch.bag_weight
    return count


def _least_late(
    jobs: Iterable[tuple[Portion, int]], most: int, shop: Shop, begin: Cursor | None
) -> int:
    """Fewest jobs of one length that are late where a day takes that many."""
    placer = Placer(shop)
    day = placer.start(begin).day
    waiting = [
        (p.earliest.toordinal() if p.earliest else 0, due(p, shop), number) for p, number in jobs
    ]
    heapq.heapify(waiting)
    ready: list[tuple[int, int]] = []
    late, room = 0, most
    while waiting or ready:
        if not ready and waiting[0][0] > day:
            day, room = placer.working(waiting[0][0]), most
        while waiting and waiting[0][0] <= day:
            _, limit, number = heapq.heappop(waiting)
            heapq.heappush(ready, (limit, number))
        while ready and (room or ready[0][0] < day):
            limit, number = heapq.heappop(ready)
            now = number if limit < day else min(number, room)
            late, room = (late + now, room) if limit < day else (late, room - now)
            if number > now:
                heapq.heappush(ready, (limit, number - now))
        day, room = placer.working(day + 1), most
    return late

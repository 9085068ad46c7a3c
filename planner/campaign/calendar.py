"""From an order of batches to days: every bag as early as the order, the days and the floor allow.

Bags are treated in the given order, at most so many a day, never on a day off. A bag stands on the
floor from the day it is treated until the planting date of its fields, or until it is cured where
there is no date. Treated as early as this allows, each bag has the earliest day that it has in any
calendar of this order, so no other calendar of the order has fewer bags late: placing a bag earlier
takes nothing from the bags after it, because those come no earlier than it in any case, and the day
on which a bag leaves the floor comes no later.
"""

from __future__ import annotations

import heapq
from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING, NamedTuple

from planner.campaign.domain import Run

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from planner.campaign.domain import Batch, Portion, Shop

LAST = date.max.toordinal()
FURTHEST = 10_000
"""Most bags a day, or on the floor, that is tried as a remedy."""


class Cursor(NamedTuple):
    """How far a calendar has come. Days are ordinals."""

    day: int
    used: int = 0
    """Bags treated on that day."""
    floor: tuple[tuple[int, int], ...] = ()
    """(day of leaving, bags) for bags still in the shop, by day."""


class Piece(NamedTuple):
    """Bags of one portion on one day."""

    day: int
    batch: Batch
    first_bag: int
    bags: int
    late: bool


def due(portion: Portion, shop: Shop) -> int:
    """Last day on which bags of a portion are in time."""
    days = [d.toordinal() for d in (portion.latest, shop.done_by) if d is not None]
    return min(days, default=LAST)


def leaves(day: int, portion: Portion, shop: Shop) -> int:
    """Day on which bags treated on a day leave the floor: cured, and their field is planted."""
    cured = day + shop.cure_days
    return max(cured, portion.planting.toordinal()) if portion.planting else cured


class Placer:
    """Puts batches on days, one after the other."""

    def __init__(self, shop: Shop) -> None:
        self.shop = shop
        self.off = {d.toordinal() for d in shop.days_off}
        self.most = shop.bags_per_day or LAST
        self.space = shop.floor_space or LAST

    def start(self, begin: Cursor | None = None) -> Cursor:
        """Stand where a calendar begins: at the first treating day where nothing else is said."""
        begin = begin or Cursor(self.shop.first_day.toordinal())
        return begin._replace(day=self.working(begin.day))

    def working(self, day: int) -> int:
        """Take a day, or the first one after it that is not off."""
        while day in self.off:
            day += 1
        return min(day, LAST)

    def put(
        self, batch: Batch, cursor: Cursor, pieces: list[Piece] | None = None
    ) -> tuple[Cursor, int]:
        """Place all bags of a batch and count those that are late."""
        late = 0
        for portion in batch.portions:
            limit = due(portion, self.shop)
            first, left = portion.first_bag, portion.bags
            if portion.earliest and portion.earliest.toordinal() > cursor.day:
                cursor = self._go(cursor, portion.earliest.toordinal())
            while left:
                cursor = self._until_room(cursor)
                bags = min(left, self._room(cursor))
                if pieces is not None:
                    pieces.append(Piece(cursor.day, batch, first, bags, cursor.day > limit))
                late += bags if cursor.day > limit else 0
                cursor = self._stand(cursor, portion, bags)
                first, left = first + bags, left - bags
        return cursor, late

    def _room(self, cursor: Cursor) -> int:
        return min(self.most - cursor.used, self.space - sum(n for _, n in cursor.floor))

    def _until_room(self, cursor: Cursor) -> Cursor:
        while self._room(cursor) <= 0 and cursor.day < LAST:
            full = sum(n for _, n in cursor.floor) >= self.space
            cursor = self._go(cursor, cursor.floor[0][0] if full else cursor.day + 1)
        return cursor if cursor.day < LAST else Cursor(LAST, -LAST, ())

    def _go(self, cursor: Cursor, day: int) -> Cursor:
        day = self.working(day)
        return Cursor(day, 0, tuple(x for x in cursor.floor if x[0] > day))

    def _stand(self, cursor: Cursor, portion: Portion, bags: int) -> Cursor:
        used = cursor.used + bags
        leave = leaves(cursor.day, portion, self.shop)
        if self.space == LAST or leave <= cursor.day:
            return Cursor(cursor.day, used, cursor.floor)
        floor = dict(cursor.floor)
        floor[leave] = floor.get(leave, 0) + bags
        return Cursor(cursor.day, used, tuple(sorted(floor.items())))


def pieces(order: Sequence[Batch], shop: Shop, begin: Cursor | None = None) -> list[Piece]:
    """Every bag on its day, in the given order of batches."""
    placer = Placer(shop)
    found: list[Piece] = []
    cursor = placer.start(begin)
    for batch in order:
        cursor, _ = placer.put(batch, cursor, found)
    return found


def late_bags(order: Sequence[Batch], shop: Shop, begin: Cursor | None = None) -> int:
    """Count bags past their day in a given order of batches."""
    return sum(p.bags for p in pieces(order, shop, begin) if p.late)


def runs(placed: Iterable[Piece]) -> tuple[Run, ...]:
    """Join neighbouring pieces of one batch on one day."""
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
    found: dict[tuple[str, str], list[Run]] = {}
    for run in of:
        found.setdefault((run.lot, run.recipe), []).append(run)
    return found


def _continues(before: Run, run: Run) -> bool:
    same = (before.day, before.lot, before.recipe, before.late)
    return same == (run.day, run.lot, run.recipe, run.late) and before.last_bag + 1 == run.first_bag


def late_in_any_order(batches: Sequence[Batch], shop: Shop, begin: Cursor | None = None) -> int:
    """Bags that are late whatever the order: a floor for every calendar.

    Every day takes the bags that are due first among those that may be treated, and those past
    their day are let go. For jobs of one length this keeps the most in time (Horn 1974, from
    memory). Floor space and the order of recipes are left out, so a real calendar may be worse.
    """
    placer = Placer(shop)
    day = placer.start(begin).day
    waiting = [
        (p.earliest.toordinal() if p.earliest else 0, due(p, shop), p.bags)
        for b in batches
        for p in b.portions
    ]
    heapq.heapify(waiting)
    ready: list[tuple[int, int]] = []
    late, room = 0, placer.most
    while waiting or ready:
        if not ready and waiting[0][0] > day:
            day, room = placer.working(waiting[0][0]), placer.most
        while waiting and waiting[0][0] <= day:
            _, limit, bags = heapq.heappop(waiting)
            heapq.heappush(ready, (limit, bags))
        while ready and (room or ready[0][0] < day):
            limit, bags = heapq.heappop(ready)
            now = bags if limit < day else min(bags, room)
            late, room = (late + now, room) if limit < day else (late, room - now)
            if bags > now:
                heapq.heappush(ready, (limit, bags - now))
        day, room = placer.working(day + 1), placer.most
    return late


def remedies(order: Sequence[Batch], shop: Shop, begin: Cursor | None = None) -> tuple[str, ...]:
    """What would bring every bag in time, one thing at a time, the order kept."""
    if not late_bags(order, shop, begin):
        return ()
    found = []
    placed = pieces(order, shop, begin)
    if shop.done_by:
        free = replace(shop, done_by=None)
        if not late_bags(order, free, begin):
            last = max(p.day for p in placed)
            more = sum(
                Placer(shop).working(d) == d for d in range(shop.done_by.toordinal() + 1, last + 1)
            )
            until = date.fromordinal(last).isoformat()
            found.append(f"{_many(more, 'treating day')} more at the end, until {until}")
    found += _earlier(order, shop, begin)
    if shop.bags_per_day:
        found += _more(lambda n: faster(shop, n), order, begin, "{} more a day")
    if shop.floor_space:
        found += _more(lambda n: wider(shop, n), order, begin, "floor space for {} more")
    return tuple(found)


def _more(
    change: Callable[[int], Shop], order: Sequence[Batch], begin: Cursor | None, words: str
) -> list[str]:
    bags = _smallest(lambda n: late_bags(order, change(n), begin), FURTHEST)
    return [] if bags is None else [words.format(_many(bags, "bag"))]


def faster(shop: Shop, bags: int) -> Shop:
    """Shop that treats so many more bags a day."""
    return replace(shop, bags_per_day=(shop.bags_per_day or 0) + bags)


def wider(shop: Shop, bags: int) -> Shop:
    """Shop with floor space for so many more bags."""
    return replace(shop, floor_space=(shop.floor_space or 0) + bags)


def _earlier(order: Sequence[Batch], shop: Shop, begin: Cursor | None) -> list[str]:
    if begin is not None or shop.plan_date is None:
        return []
    first, plan = shop.first_day.toordinal(), shop.plan_date.toordinal()

    def late(days: int) -> int:
        return late_bags(order, replace(shop, first_day=date.fromordinal(first - days)))

    days = _smallest(late, first - plan)
    if days is None:
        return []
    start = date.fromordinal(first - days).isoformat()
    return [f"starting {_many(days, 'day')} earlier, on {start}"]


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


def _many(count: int, noun: str) -> str:
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"

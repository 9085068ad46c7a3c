"""Puts bags on days: what a day and the floor hold, and how far a calendar has come."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from planner.campaign.days import LAST

if TYPE_CHECKING:
    from planner.campaign.domain import Batch, Portion, Shop

HAIR = 1e-9
"""Share of a weight that is rounding."""


class Cursor(NamedTuple):
    """How far a calendar has come. Days are ordinals."""

    day: int
    used: int = 0
    """Bags treated on that day, as Bags per day counts them."""
    floor: tuple[tuple[int, int], ...] = ()
    """(day of leaving, bags) for bags still in the shop, by day."""
    weight: float = 0.0
    """lb treated on that day."""
    setup: float = 0.0
    """Minutes of changes and calibrations on that day."""


class Piece(NamedTuple):
    """Bags of one portion on one day."""

    day: int
    batch: Batch
    first_bag: int
    bags: int
    late: bool
    early: bool = False


def due(portion: Portion, shop: Shop) -> int:
    """Last day on which bags of a portion are in time."""
    days = [d.toordinal() for d in (portion.latest, shop.done_by) if d is not None]
    return min(days, default=LAST)


def leaves(day: int, portion: Portion, shop: Shop) -> int:
    """Day on which bags treated on a day leave the floor: cured, and their last field planted."""
    cured = day + shop.cure_days
    empty = portion.emptied or portion.planting
    return max(cured, empty.toordinal()) if empty else cured


class Placer:
    """Puts bags on days, one portion after the other."""

    def __init__(self, shop: Shop) -> None:
        self.shop = shop
        self.off = {d.toordinal() for d in shop.days_off}
        self.most = shop.bags_per_day or LAST
        self.space = shop.floor_space or LAST
        self.pounds = shop.pounds_per_day
        self.minutes = shop.minutes_per_day if shop.seed_flow else None

    def start(self, begin: Cursor | None = None) -> Cursor:
        """Stand where a calendar begins: at the first treating day where nothing else is said."""
        begin = begin or Cursor(self.shop.first_day.toordinal())
        return begin._replace(day=self.working(begin.day))

    def working(self, day: int) -> int:
        """Take a day, or the first one after it that is not off."""
        while day in self.off:
            day += 1
        return min(day, LAST)

    def back(self, day: int, steps: int = 0) -> int:
        """Take a day, or the last one before it that is not off, and that many open days less."""
        while day in self.off:
            day -= 1
        for _ in range(steps):
            day -= 1
            while day in self.off:
                day -= 1
        return day

    def put(
        self,
        batch: Batch,
        cursor: Cursor,
        pieces: list[Piece] | None = None,
        setup: float = 0.0,
    ) -> tuple[Cursor, int]:
        """Place all bags of a batch as early as can be and count those that are late.

        Parameters
        ----------
        setup
            Minutes before its first bag.
        """
        late = 0
        for portion in batch.portions:
            cursor, more = self.place(
                batch, portion, portion.first_bag, portion.bags, cursor, pieces, setup=setup
            )
            late, setup = late + more, 0.0
        return cursor, late

    def place(
        self,
        batch: Batch,
        portion: Portion,
        first: int,
        left: int,
        cursor: Cursor,
        pieces: list[Piece] | None = None,
        *,
        setup: float = 0.0,
        release: int = 0,
    ) -> tuple[Cursor, int]:
        """Place some bags of a portion, not before a day, and count those that are late."""
        late, limit = 0, due(portion, self.shop)
        opens = portion.opens.toordinal() if portion.opens else 0
        alive = portion.earliest.toordinal() if portion.earliest else 0
        if max(alive, release) > cursor.day:
            cursor = self._go(cursor, max(alive, release))
        while left:
            cursor = self._until_room(cursor, batch, setup)
            bags = min(left, self.room(cursor, batch, setup))
            if pieces is not None:
                day = cursor.day
                pieces.append(Piece(day, batch, first, bags, day > limit, day < opens))
            late += bags if cursor.day > limit else 0
            cursor = self._stand(self.take(cursor, batch, bags, setup), portion, bags)
            first, left, setup = first + bags, left - bags, 0.0
        return cursor, late

    def room(self, cursor: Cursor, batch: Batch, setup: float = 0.0) -> int:
        """Bags of a batch that the cursor's day still holds; a bag always fits on an empty day."""
        if cursor.day >= LAST:
            return LAST
        bags = self.most - cursor.used
        if batch.together and bags > 0:
            bags = LAST
        floor = self.space - sum(n for _, n in cursor.floor)
        pounds = [LAST * batch.bag_weight]
        if self.pounds is not None:
            pounds.append(self.pounds - cursor.weight)
        if self.minutes is not None and self.shop.seed_flow:
            minutes = self.minutes - cursor.setup - setup
            pounds.append(minutes * self.shop.seed_flow - cursor.weight)
        fit = int(max(0.0, min(pounds)) / batch.bag_weight * (1.0 + HAIR) + HAIR)
        if not cursor.weight:
            fit = max(1, fit)
        return min(bags, floor, fit)

    def take(self, cursor: Cursor, batch: Batch, bags: int, setup: float = 0.0) -> Cursor:
        """Count bags of a batch on the cursor's day."""
        return cursor._replace(
            used=cursor.used + (1 if batch.together else bags),
            weight=cursor.weight + bags * batch.bag_weight,
            setup=cursor.setup + setup,
        )

    def _until_room(self, cursor: Cursor, batch: Batch, setup: float) -> Cursor:
        while self.room(cursor, batch, setup) <= 0 and cursor.day < LAST:
            full = sum(n for _, n in cursor.floor) >= self.space
            cursor = self._go(cursor, cursor.floor[0][0] if full else cursor.day + 1)
        return cursor if cursor.day < LAST else Cursor(LAST)

    def _go(self, cursor: Cursor, day: int) -> Cursor:
        day = self.working(day)
        return Cursor(day, 0, tuple(x for x in cursor.floor if x[0] > day))

    def _stand(self, cursor: Cursor, portion: Portion, bags: int) -> Cursor:
        leave = leaves(cursor.day, portion, self.shop)
        if self.space == LAST or leave <= cursor.day:
            return cursor
        floor = dict(cursor.floor)
        floor[leave] = floor.get(leave, 0) + bags
        return cursor._replace(floor=tuple(sorted(floor.items())))

"""In which order the batches run: what a change costs least, living recipes late.

The batches of a recipe stay together, so that its line loss comes once, as the plan counts it; its
lots follow by the last day on which they may be treated, but a lot may be drawn to either end where
it meets itself under the neighbouring recipe. Among such orders one is better that has, in turn,

1. fewer bags past their day in the calendar,
2. fewer plain recipes after a living one (so living recipes are as late as their fields allow),
3. fewer minutes: every product that enters or leaves the line, every new lot,
4. less money lost with the liquid in the line: products that stay on it lose nothing,
5. recipes earlier in the alphabet.

Up to `EXACT` recipes the best order is found by dynamic programming over sets of recipes (Held and
Karp 1962, from memory): whatever comes after depends only on which recipes are done, which one is
on the line and how far the calendar has come. Beyond, the same search keeps only the `WIDTH` best
beginnings of each length, and the proven floor says how much better an order could be.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from planner.campaign.calendar import Cursor, Placer, due
from planner.campaign.domain import RunOrder

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from planner.campaign.domain import Batch, Shop, Supply

EXACT = 12
"""Recipes up to which every order is considered."""
EXACT_LATE = 8
"""The same where the days don't suffice, which makes the search much longer."""
WIDTH = 100
"""Beginnings kept of each length beyond that."""


class Cost(NamedTuple):
    """What an order costs; compared from left to right."""

    late: int = 0
    inversions: int = 0
    minutes: float = 0.0
    money: float = 0.0
    loss: float = 0.0
    """fl oz."""


class Label(NamedTuple):
    """A beginning of an order: its cost, its batches by number, how far the calendar has come."""

    cost: Cost
    path: tuple[int, ...]
    cursor: Cursor


@dataclass(frozen=True, slots=True)
class Group:
    """All batches of one recipe."""

    number: int
    products: frozenset[str]
    living: bool
    batches: tuple[int, ...]
    """Numbers of the batches, by the last day on which they may be treated."""


@dataclass(frozen=True, slots=True)
class Line:
    """What stands on the line before the first batch."""

    products: frozenset[str] = frozenset()
    lot: str = ""


EMPTY = Line()


def find_order(
    batches: Sequence[Batch],
    supplies: Iterable[Supply],
    shop: Shop,
    line: Line = EMPTY,
    begin: Cursor | None = None,
) -> tuple[tuple[Batch, ...], RunOrder]:
    """Order batches as said at the top of this module; exact for up to `EXACT` recipes.

    Parameters
    ----------
    batches
        What is still to treat, in any order.
    supplies
        Line loss and worth of every product that the batches take.
    line
        Products and lot that the treater holds now.
    begin
        Where the calendar goes on; at the shop's first treating day where not given.
    """
    batches = sorted(batches, key=lambda b: (b.recipe, b.lot))
    search = _Search(batches, {s.product: s for s in supplies}, shop, line, begin)
    wide = len(search.groups) <= EXACT
    best = search.run(with_days=False, width=None if wide else WIDTH)
    exact = wide
    late = search.lateness(best.path)
    if late:
        wide = len(search.groups) <= EXACT_LATE
        dated = search.run(with_days=True, width=None if wide else WIDTH)
        exact = wide
        best = min(best._replace(cost=best.cost._replace(late=late)), dated)
    order = tuple(batches[i] for i in best.path)
    floor = best.cost.minutes if exact else search.floor()
    return order, RunOrder(
        minutes=best.cost.minutes,
        floor_minutes=floor,
        exact=exact,
        loss=best.cost.loss,
        planned_loss=sum(search.loss(g.products) for g in search.groups),
    )


def change_minutes(before: frozenset[str], after: frozenset[str], shop: Shop) -> float:
    """Minutes to change the line from one set of products to another."""
    return len(before ^ after) * shop.changeover_minutes


class _Search:
    """The search for one order; holds what all of its steps look up."""

    def __init__(
        self,
        batches: Sequence[Batch],
        supplies: Mapping[str, Supply],
        shop: Shop,
        line: Line,
        begin: Cursor | None,
    ) -> None:
        self.batches, self.supplies, self.shop, self.line = batches, supplies, shop, line
        self.placer = Placer(shop)
        self.begin = self.placer.start(begin)
        self.groups = _groups(batches, shop)
        self.plain = sum(1 << g.number for g in self.groups if not g.living)
        """Recipes without anything living, a bit each."""
        self.changes: dict[tuple[int, int], tuple[float, float, float]] = {}
        lots = [b.lot for b in batches]
        self.shared = {lot for lot in lots if lots.count(lot) > 1}

    def loss(self, products: Iterable[str]) -> float:
        """Fl oz left in the line by products."""
        return sum(self.supplies[p].line_loss for p in products)

    def change(self, last: int, following: int) -> tuple[float, float, float]:
        """Minutes, money and fl oz of the change from a recipe (-1: what is on) to another."""
        if (last, following) not in self.changes:
            before = self.groups[last].products if last >= 0 else self.line.products
            after = self.groups[following].products
            money = sum(self.supplies[p].line_loss * self.supplies[p].value for p in after - before)
            minutes = change_minutes(before, after, self.shop)
            self.changes[last, following] = (minutes, money, self.loss(after - before))
        return self.changes[last, following]

    def lateness(self, path: Iterable[int]) -> int:
        """Bags past their day in an order."""
        cursor, late = self.begin, 0
        for i in path:
            cursor, more = self.placer.put(self.batches[i], cursor)
            late += more
        return late

    def run(self, *, with_days: bool, width: int | None) -> Label:
        """Best order of all recipes; with a width, the best that the bounded search meets."""
        layer: dict[tuple[int, int, str], list[Label]] = {
            (0, -1, self.line.lot): [Label(Cost(), (), self.begin)]
        }
        for _ in self.groups:
            after: dict[tuple[int, int, str], list[Label]] = {}
            for (done, last, lot), labels in layer.items():
                for group in self.groups:
                    if done >> group.number & 1:
                        continue
                    for arrangement in self.arrangements(group, lot):
                        end = self.batches[arrangement[-1]].lot
                        key = (done | 1 << group.number, group.number, self.keep(end))
                        kept = after.setdefault(key, [])
                        for label in labels:
                            new = self.step(label, done, last, lot, group, arrangement, with_days)
                            _keep_best(kept, new)
            layer = after if width is None else _narrow(after, width)
        return min(
            (self.finish(label, key[1]) for key, labels in layer.items() for label in labels),
            default=Label(Cost(), (), self.begin),
        )

    def keep(self, lot: str) -> str:
        """Remember the last lot only where it can come again."""
        return lot if lot in self.shared else ""

    def arrangements(self, group: Group, lot: str) -> list[tuple[int, ...]]:
        """Orders of a recipe's lots: by last day, with a shared lot drawn to either end."""
        firsts: list[int | None] = [None]
        firsts += [i for i in group.batches if self.batches[i].lot == lot]
        found = []
        for first in firsts:
            lasts = [i for i in group.batches if self.batches[i].lot in self.shared and i != first]
            for last in [None, *lasts]:
                middle = [i for i in group.batches if i not in (first, last)]
                ends = ([] if first is None else [first], [] if last is None else [last])
                found.append((*ends[0], *middle, *ends[1]))
        return list(dict.fromkeys(found))

    def step(
        self,
        label: Label,
        done: int,
        last: int,
        lot: str,
        group: Group,
        arrangement: tuple[int, ...],
        with_days: bool,
    ) -> Label:
        """Run one recipe more."""
        new_lots = len(arrangement) - (self.batches[arrangement[0]].lot == lot)
        minutes, money, loss = self.change(last, group.number)
        minutes += new_lots * self.shop.calibration_minutes
        plain = (self.plain & ~done).bit_count() if group.living else 0
        cursor, late = label.cursor, 0
        if with_days:
            for i in arrangement:
                cursor, more = self.placer.put(self.batches[i], cursor)
                late += more
        cost = Cost(
            label.cost.late + late,
            label.cost.inversions + plain,
            label.cost.minutes + minutes,
            round(label.cost.money + money, 6),
            round(label.cost.loss + loss, 6),
        )
        return Label(cost, label.path + arrangement, cursor)

    def finish(self, label: Label, last: int) -> Label:
        """Flush the line after the last batch."""
        if last < 0:
            return label
        minutes = change_minutes(self.groups[last].products, frozenset(), self.shop)
        return label._replace(cost=label.cost._replace(minutes=label.cost.minutes + minutes))

    def floor(self) -> float:
        """Minutes that no order can go below.

        Every product still to run leaves the line at least once and enters it once if it is not
        on it; every lot is calibrated at least once. And every recipe is entered from somewhere:
        the cheapest ways in, added up, and the cheapest way out at the end.
        """
        if not self.groups:
            return 0.0
        all_products = frozenset[str]().union(*(g.products for g in self.groups))
        changes = len(all_products | self.line.products) + len(all_products - self.line.products)
        once = changes * self.shop.changeover_minutes
        ways = 0.0
        for group in self.groups:
            others = [g.products for g in self.groups if g is not group] + [self.line.products]
            ways += min(change_minutes(o, group.products, self.shop) for o in others)
        ways += min(len(g.products) for g in self.groups) * self.shop.changeover_minutes
        lots = len({b.lot for b in self.batches} - {self.line.lot})
        return max(once, ways) + lots * self.shop.calibration_minutes


def _groups(batches: Sequence[Batch], shop: Shop) -> list[Group]:
    names = sorted({b.recipe for b in batches})
    found = []
    for number, name in enumerate(names):
        members = [i for i, b in enumerate(batches) if b.recipe == name]
        members.sort(key=lambda i: (min(due(p, shop) for p in batches[i].portions), batches[i].lot))
        found.append(
            Group(
                number,
                frozenset(d.product for i in members for d in batches[i].draws),
                any(batches[i].living for i in members),
                tuple(members),
            )
        )
    return found


def _keep_best(labels: list[Label], new: Label) -> None:
    """Keep a label unless another is at least as good in every way that matters later."""
    if any(_beats(label, new) for label in labels):
        return
    labels[:] = [label for label in labels if not _beats(new, label)]
    labels.append(new)


def _beats(one: Label, other: Label) -> bool:
    """Whether one is no worse and its calendar is nowhere behind."""
    if (one.cost, one.path) > (other.cost, other.path):
        return False
    ahead = (one.cursor.day, one.cursor.used) <= (other.cursor.day, other.cursor.used)
    return ahead and _emptier(one.cursor, other.cursor)


def _emptier(one: Cursor, other: Cursor) -> bool:
    """Whether no later day finds more bags of the first calendar on the floor."""
    if one.floor == other.floor:
        return True
    days = [day for day, _ in one.floor]
    return all(
        sum(n for d, n in one.floor if d >= day) <= sum(n for d, n in other.floor if d >= day)
        for day in days
        if day > other.day
    )


def _narrow(
    layer: dict[tuple[int, int, str], list[Label]], width: int
) -> dict[tuple[int, int, str], list[Label]]:
    """Keep the best beginnings of a layer."""
    best = sorted(((x, key) for key, labels in layer.items() for x in labels))[:width]
    found: dict[tuple[int, int, str], list[Label]] = {}
    for label, key in best:
        found.setdefault(key, []).append(label)
    return found

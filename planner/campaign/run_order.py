"""In which order the batches run: what is planted first, then what a change costs least.

The batches of a recipe stay together, so that its line loss comes once, as the plan counts it; its
lots follow by the last day on which they may be treated, but a lot may be drawn to either end where
it meets itself under the neighboring recipe. Where the days want it, a recipe is cut into
stretches first (`planner.campaign.stretches`), which then count as recipes of their own here. Among
such orders one is better that has, in turn,

1. fewer bags past their day in the calendar,
2. fewer recipes run before one whose first seed is due sooner (so what is planted first is treated
   first),
3. fewer plain recipes after a living one (so living recipes are as late as their fields allow),
4. fewer minutes: every product that enters or leaves the line, every new lot,
5. less money lost with the liquid in the line: products that stay on it lose nothing,
6. recipes earlier in the alphabet.

Where the plan has decided on an order of recipes, only their lots are ordered here.

Up to `EXACT` recipes the best order is found by dynamic programming over sets of recipes (Held and
Karp 1962, from memory): whatever comes after depends only on which recipes are done, which one is
on the line and how far the calendar has come. Beyond, the same search keeps only the `WIDTH` best
beginnings of each length, and the proven bound says how much better an order could be.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, NamedTuple

from planner.campaign.begun import NOTHING_DONE, Begun
from planner.campaign.calendar import late_bags
from planner.campaign.changes import change_minutes, products_of
from planner.campaign.days import LAST
from planner.campaign.domain import RunOrder
from planner.campaign.placer import Placer, due

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from planner.campaign.changes import Line
    from planner.campaign.domain import Batch, Shop, Supply
    from planner.campaign.placer import Cursor

EXACT = 12
"""Recipes up to which every order is considered."""
EXACT_LATE = 8
"""The same where the days don't suffice, which makes the search much longer."""
WIDTH = 100
"""Beginnings kept of each length beyond that."""


class Cost(NamedTuple):
    """What an order costs; compared from left to right."""

    late: int = 0
    out_of_turn: int = 0
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
    """All batches of one recipe, or of one stretch of it."""

    number: int
    recipe: str
    due: int
    """Last day of what is due first, an ordinal."""
    products: frozenset[str]
    living: bool
    batches: tuple[int, ...]
    """Numbers of the batches, by the last day on which they may be treated."""


def find_order(
    batches: Sequence[Batch],
    supplies: Iterable[Supply],
    shop: Shop,
    begun: Begun = NOTHING_DONE,
    *,
    planned: Sequence[str] = (),
    stretches: Sequence[int] = (),
) -> tuple[tuple[Batch, ...], RunOrder]:
    """Order batches as said at the top of this module; exact for up to `EXACT` recipes.

    Parameters
    ----------
    batches
        What is still to treat, in any order.
    supplies
        Line loss and worth of every product that the batches take.
    begun
        What the treater holds now, and where the calendar goes on.
    planned
        Recipes in the order to keep; all of the batches' recipes, and perhaps others.
    stretches
        Number of the stretch of its recipe that each batch belongs to, as `batches`.
    """
    numbered = list(zip(batches, stretches or [0] * len(batches), strict=True))
    numbered.sort(key=lambda x: (x[0].recipe, x[0].lot, x[1]))
    batches = [b for b, _ in numbered]
    groups = _groups(batches, [n for _, n in numbered], shop)
    if planned:
        places = {name: i for i, name in enumerate(planned)}
        ranks = sorted(groups, key=lambda g: (places[g.recipe], g.number))
        planned_groups = tuple(g.number for g in ranks)
    else:
        planned_groups = ()
    search = _Search(batches, groups, {s.product: s for s in supplies}, shop, begun, planned_groups)
    wide = len(search.groups) <= EXACT or bool(planned)
    best = search.run(with_days=False, width=None if wide else WIDTH)
    exact = wide
    late = search.lateness(best.path)
    if late:
        wide = len(search.groups) <= EXACT_LATE or bool(planned)
        dated = search.run(with_days=True, width=None if wide else WIDTH)
        exact = wide
        best = min(best._replace(cost=best.cost._replace(late=late)), dated)
    order = tuple(batches[i] for i in best.path)
    bound = best.cost.minutes if exact else search.bound()
    by_recipe = {g.recipe: g.products for g in search.groups}
    return order, RunOrder(
        minutes=best.cost.minutes,
        floor_minutes=bound,
        exact=exact,
        loss=best.cost.loss,
        planned_loss=sum(search.loss(products) for products in by_recipe.values()),
        money=best.cost.money,
    )


def least_changes(
    batches: Sequence[Batch], supplies: Iterable[Supply], shop: Shop, line: Line
) -> tuple[float, float]:
    """Minutes and money of the order with the fewest changes, whatever is planted first."""
    batches = sorted(batches, key=lambda b: (b.recipe, b.lot))
    undated = replace(shop, done_by=None)
    groups = [
        replace(g, due=LAST, living=False) for g in _groups(batches, [0] * len(batches), shop)
    ]
    begun = Begun(line=line)
    search = _Search(batches, groups, {s.product: s for s in supplies}, undated, begun, ())
    best = search.run(with_days=False, width=None if len(groups) <= EXACT else WIDTH)
    return best.cost.minutes, best.cost.money


class _Search:
    """The search for one order; holds what all of its steps look up."""

    def __init__(
        self,
        batches: Sequence[Batch],
        groups: list[Group],
        supplies: Mapping[str, Supply],
        shop: Shop,
        begun: Begun,
        planned: tuple[int, ...],
    ) -> None:
        self.batches, self.supplies, self.shop, self.begun = batches, supplies, shop, begun
        self.placer = Placer(shop)
        self.start = self.placer.start(begun.cursor)
        self.groups = groups
        self.planned = planned
        """Numbers of the groups in the order to keep; empty where any order will do."""
        self.sooner = [sum(1 << g.number for g in groups if g.due < group.due) for group in groups]
        """Groups due sooner than each, a bit each."""
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
            before = self.groups[last].products if last >= 0 else self.begun.line.products
            after = self.groups[following].products
            money = sum(self.supplies[p].line_loss * self.supplies[p].value for p in after - before)
            minutes = change_minutes(before, after, self.shop)
            self.changes[last, following] = (minutes, money, self.loss(after - before))
        return self.changes[last, following]

    def lateness(self, path: Iterable[int]) -> int:
        """Bags past their day in an order."""
        order = [self.batches[i] for i in path]
        return late_bags(order, self.shop, self.begun)

    def run(self, *, with_days: bool, width: int | None) -> Label:
        """Best order of all recipes; with a width, the best that the bounded search meets."""
        layer: dict[tuple[int, int, str], list[Label]] = {
            (0, -1, self.begun.line.lot): [Label(Cost(), (), self.start)]
        }
        for place in range(len(self.groups)):
            after: dict[tuple[int, int, str], list[Label]] = {}
            for (done, last, lot), labels in layer.items():
                for group in self.groups:
                    if done >> group.number & 1:
                        continue
                    if self.planned and self.planned[place] != group.number:
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
            default=Label(Cost(), (), self.start),
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
        setup = minutes
        minutes += new_lots * self.shop.calibration_minutes
        plain = (self.plain & ~done).bit_count() if group.living else 0
        out_of_turn = (self.sooner[group.number] & ~done).bit_count()
        cursor, late = label.cursor, 0
        if with_days:
            for i in arrangement:
                batch = self.batches[i]
                setup += self.shop.calibration_minutes if batch.lot != lot else 0.0
                cursor, more = self.placer.put(batch, cursor, setup=setup)
                late, setup, lot = late + more, 0.0, batch.lot
        cost = Cost(
            label.cost.late + late,
            label.cost.out_of_turn + out_of_turn,
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

    def bound(self) -> float:
        """Minutes that no order can go below.

        Every product still to run leaves the line at least once and enters it once if it is not
        on it; every lot is calibrated at least once. And every recipe is entered from somewhere:
        the cheapest ways in, added up, and the cheapest way out at the end.
        """
        if not self.groups:
            return 0.0
        on_line = self.begun.line.products
        all_products = frozenset[str]().union(*(g.products for g in self.groups))
        changes = len(all_products | on_line) + len(all_products - on_line)
        once = changes * self.shop.changeover_minutes
        ways = 0.0
        for group in self.groups:
            others = [g.products for g in self.groups if g is not group] + [on_line]
            ways += min(change_minutes(o, group.products, self.shop) for o in others)
        ways += min(len(g.products) for g in self.groups) * self.shop.changeover_minutes
        lots = len({b.lot for b in self.batches} - {self.begun.line.lot})
        return max(once, ways) + lots * self.shop.calibration_minutes


def _groups(batches: Sequence[Batch], stretches: Sequence[int], shop: Shop) -> list[Group]:
    keys = [(b.recipe, n) for b, n in zip(batches, stretches, strict=True)]
    found = []
    for number, name in enumerate(sorted(set(keys))):
        members = [i for i, k in enumerate(keys) if k == name]
        first = {i: min(due(p, shop) for p in batches[i].portions) for i in members}
        members.sort(key=lambda i: (first[i], batches[i].lot))
        found.append(
            Group(
                number=number,
                recipe=name[0],
                due=min(first.values()),
                products=frozenset[str]().union(*(products_of(batches[i]) for i in members)),
                living=any(batches[i].living for i in members),
                batches=tuple(members),
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
    ahead = one.cursor.day < other.cursor.day or (
        one.cursor.day == other.cursor.day
        and one.cursor.used <= other.cursor.used
        and one.cursor.weight <= other.cursor.weight
        and one.cursor.setup <= other.cursor.setup
    )
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

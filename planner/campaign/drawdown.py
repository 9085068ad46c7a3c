"""How the containers are emptied, bag by bag.

Every bag takes units x rate x (1 + margin) of each product of its recipe. The first bag of a recipe
takes the line loss of every product before it, as the plan counts them; where the line stays
primed, only that of products that were not on it. A recipe that is taken up again takes it again,
and so does what is flushed in the evening and primed again (`planner.campaign.standing`).
With nothing of the margin used, a
container lasts longer and more is left: so a container runs dry at the named bag at the earliest,
and the level should lie between the two that are given.
"""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from planner.campaign.changes import products_of
from planner.campaign.days import said
from planner.campaign.domain import ContainerUse, DrawDown, Flush, Level
from planner.sums import grouped, summed
from planner.units.exact import FLOZ_PER_GAL

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence
    from datetime import date

    from planner.campaign.domain import Batch, Run, Shop, Source, Supply
    from planner.campaign.standing import Night

WORTH_TELLING = 1e-6
"""Share of a line loss below which a difference is rounding."""
ROUNDING = 1e-9
"""Share of an amount that is rounding, not liquid."""


class Tap:
    """The state of one product: which container is on the line and what is left in it."""

    def __init__(self, supply: Supply, *, metric: bool) -> None:
        self.metric = metric
        self.supply = supply
        self.number = 0
        """Sources opened so far; the last of them is on the line."""
        self.open = 0.0
        """Usable fl oz in the source on the line."""
        self.left = sum(s.usable for s in supply.sources)
        self.margin = 0.0
        """fl oz of margin drawn so far."""
        self.drawn = [0.0] * len(supply.sources)
        self.on_line: list[tuple[str, date]] = []
        self.dry: list[tuple[str, date]] = []
        self.last_day: date | None = None

    def draw(self, amount: float, where: str, day: date) -> None:
        """Take an amount, opening containers as they are needed.

        What is missing in the end shows as a negative `left`; notes tell it.
        """
        self.left -= amount
        hair = ROUNDING * amount
        while amount > hair:
            if self.open <= 0.0:
                if self.number == len(self.supply.sources):
                    return
                self.open = self.supply.sources[self.number].usable
                self.number += 1
                self.on_line.append((where, day))
            part = min(amount, self.open)
            self.drawn[self.number - 1] += part
            self.open -= part
            amount -= part
            self.last_day = day
            usable = self.supply.sources[self.number - 1].usable
            if self.open <= ROUNDING * usable:
                self.open, self.drawn[self.number - 1] = 0.0, usable
                self.dry.append((where, day))

    def source(self) -> Source | None:
        """Container on the line."""
        return self.supply.sources[self.number - 1] if self.number else None

    def uses(self) -> Iterable[ContainerUse]:
        """Tell the story of every container."""
        for i, source in enumerate(self.supply.sources):
            on_line = self.on_line[i] if i < len(self.on_line) else ("", None)
            dry = self.dry[i] if i < len(self.dry) else ("", None)
            yield ContainerUse(
                product=self.supply.product,
                source=source.name,
                number=i + 1,
                usable=source.usable,
                drawn=self.drawn[i],
                on_line=on_line[0],
                on_day=on_line[1],
                dry=dry[0],
                dry_day=dry[1],
                note=self._note(source, dry[1] or (self.last_day if on_line[1] else None)),
            )

    def _note(self, source: Source, last: date | None) -> str:
        if last and source.expires and source.expires < last:
            expires, still = (said(d, metric=self.metric) for d in (source.expires, last))
            return f"expires on {expires}, still drawn from on {still}"
        return ""


def draw_down(
    runs: Sequence[Run],
    batches: Iterable[Batch],
    supplies: Iterable[Supply],
    shop: Shop,
    nights: Iterable[Night],
) -> DrawDown:
    """Empty the containers run by run; what sat in the line too long is primed again first."""
    supplies, batches = tuple(supplies), tuple(batches)
    taps = {s.product: Tap(s, metric=shop.metric) for s in supplies}
    by_name = {(b.lot, b.recipe): b for b in batches}
    filled = dict(fillings(runs, by_name, shop))
    again = grouped((night.until, night.product) for night in nights if night.again)
    today: set[str] = set()
    levels: list[Level] = []
    for i, run in enumerate(runs):
        batch = by_name[run.lot, run.recipe]
        for product in again.pop(run.day, ()):
            tap = taps[product]
            tap.draw(tap.supply.line_loss, f"{run.recipe}, primed again", run.day)
        _prime(batch, filled.get(i, ()), run, taps)
        _treat(batch, run, taps, shop)
        after = f"{run.lot}, {run.recipe}, bag {run.last_bag}"
        levels += [_level(taps[d.product], run.day, after) for d in batch.draws]
        today |= {d.product for d in batch.draws}
        if i + 1 == len(runs) or runs[i + 1].day != run.day:
            levels += [_level(taps[name], run.day, "day") for name in sorted(today)]
            today.clear()
    uses = tuple(use for tap in taps.values() for use in tap.uses())
    return DrawDown(uses, tuple(levels), flushes(runs, batches, supplies, shop))


def fillings(
    runs: Sequence[Run], by_name: Mapping[tuple[str, str], Batch], shop: Shop
) -> Iterator[tuple[int, frozenset[str]]]:
    """Number of each run before which the line is filled, and the products that it takes."""
    before: str | None = None
    products: frozenset[str] = frozenset()
    for i, run in enumerate(runs):
        wanted = products_of(by_name[run.lot, run.recipe])
        if run.recipe != before:
            yield i, wanted - products if shop.stays_primed else wanted
        before, products = run.recipe, wanted


def flushes(
    runs: Sequence[Run], batches: Iterable[Batch], supplies: Iterable[Supply], shop: Shop
) -> tuple[Flush, ...]:
    """Products that the line takes more of than the plan holds for it."""
    by_name = {(b.lot, b.recipe): b for b in batches}
    times: Counter[str] = Counter()
    for _, products in fillings(runs, by_name, shop):
        times.update(products)
    seed = summed(
        (draw.product, batch.units * draw.floz_per_unit * (1.0 + shop.margin))
        for batch in by_name.values()
        for draw in batch.draws
    )
    found = []
    for supply in supplies:
        more = times[supply.product] * supply.line_loss - supply.planned_loss
        held = sum(s.usable for s in supply.sources)
        if more > WORTH_TELLING * supply.line_loss:
            there = max(0.0, held - seed[supply.product] - supply.planned_loss)
            extra = round(more / supply.line_loss)
            money = more * supply.value
            found.append(Flush(supply.product, extra, more, there, money))
    return tuple(found)


def _prime(batch: Batch, products: Iterable[str], run: Run, taps: Mapping[str, Tap]) -> None:
    for draw in batch.draws:
        if draw.product not in products:
            continue
        tap = taps[draw.product]
        tap.draw(tap.supply.line_loss, f"start of {run.recipe}", run.day)


def _treat(batch: Batch, run: Run, taps: Mapping[str, Tap], shop: Shop) -> None:
    for draw in batch.draws:
        tap = taps[draw.product]
        for bag in range(run.first_bag, run.last_bag + 1):
            seed = batch.units_of(bag, bag) * draw.floz_per_unit
            tap.margin += seed * shop.margin
            tap.draw(seed * (1.0 + shop.margin), f"{run.lot}, {run.recipe}, bag {bag}", run.day)


def _level(tap: Tap, day: date, after: str) -> Level:
    source = tap.source()
    density = tap.supply.density
    net = gross = None
    if source is not None and density is not None:
        net = (tap.open + source.heel) * density / FLOZ_PER_GAL
        gross = net + source.tare if source.tare is not None else None
    return Level(
        product=tap.supply.product,
        day=day,
        after=after,
        left=tap.left,
        left_at_most=tap.left + tap.margin,
        source=source.name if source else "",
        in_source=tap.open,
        net_weight=net,
        gross_weight=gross,
    )

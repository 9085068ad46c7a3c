"""The exact small order problem of one product: which containers cover a need at the least cost.

The other products' order is held. A mix's cost is what the whole order costs more than without
any of the product (containers, freight, discounts), less the carryover credit of what it adds. The
search branches on the count of each container and cuts what can't come among the best.
"""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from planner.explain.words import listing
from planner.plan.price import list_price, lowest_price_per_floz, reaches

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from planner.explain.words import Speech
    from planner.plan.plan import Plan
    from planner.season.domain import Container, DiscountLevel, Season

CENT = 0.01
MOST_NODES = 20_000
"""Counts that a search tries before it stops and says so."""
TINY = 1e-9


class Mix(NamedTuple):
    """Containers of one product, bought together."""

    counts: tuple[tuple[str, int], ...]
    """By container name, in the season's order, none of zero."""
    volume: float
    """Fl oz that can be drawn out."""
    spend: float
    """At list price."""
    cost: float
    """What it adds to the cost of the plan, credit for volume taken off."""


class Best(NamedTuple):
    """The cheapest mixes, cheapest first; `complete` if every mix was weighed."""

    mixes: tuple[Mix, ...]
    complete: bool


@dataclass(frozen=True, slots=True)
class Around:
    """The rest of the order, as far as it bears on one product's cost."""

    season: Season
    product: str
    spend: dict[str, float]
    """List spend of the other products, by supplier."""
    groups: tuple[tuple[tuple[DiscountLevel, float], ...], ...]
    """Levels of each discount that counts the product, with the other products' spend."""
    credit: float
    """Worth of a fl oz left, per fl oz."""

    @classmethod
    def of(cls, season: Season, product: str, counts: Mapping[tuple[str, str], int]) -> Around:
        """Gather what the order of the other products, by (product, container), does."""
        lines = []
        for c in season.containers:
            n = counts.get((c.product, c.name), 0)
            if n > 0 and c.product != product:
                lines.append((c, n * list_price(c, n)))
        spend: dict[str, float] = defaultdict(float)
        for c, cost in lines:
            spend[c.supplier or ""] += cost
        groups: dict[tuple[str, str | None], list[tuple[DiscountLevel, float]]] = defaultdict(list)
        for level in season.discounts:
            other = sum(cost for c, cost in lines if _counts(level, c))
            groups[level.name, level.supplier].append((level, other))
        share = next(p.carryover for p in season.products if p.name == product)
        credit = share * lowest_price_per_floz(season, product)
        return cls(season, product, dict(spend), tuple(map(tuple, groups.values())), credit)

    def cost(self, chosen: Mapping[str, tuple[Container, int]]) -> float:
        """Freight and containers less discounts of the order with a mix, by container name."""
        lines = [(c, n * list_price(c, n)) for c, n in chosen.values() if n > 0]
        spend = dict(self.spend)
        for c, cost in lines:
            spend[c.supplier or ""] = spend.get(c.supplier or "", 0.0) + cost
        total = sum(cost for _, cost in lines)
        for s in self.season.suppliers:
            if s.name in spend and not (
                s.free_from is not None and reaches(spend[s.name], s.free_from)
            ):
                total += s.freight
        ordered = bool(lines or self.spend)
        for levels in self.groups:
            saving = 0.0
            for level, other in levels:
                qualifies = other + sum(cost for c, cost in lines if _counts(level, c))
                if ordered and reaches(qualifies, level.spend):
                    saving = max(saving, level.percent * qualifies)
            total -= saving
        return total

    def most_off(self) -> tuple[float, float]:
        """Largest share off the product's own spend, and most that its spend can save elsewhere."""
        off = elsewhere = 0.0
        for levels in self.groups:
            off += max(level.percent for level, _ in levels)
            elsewhere += max(level.percent * other for level, other in levels)
        free = sum(s.freight for s in self.season.suppliers if s.name in self.spend and s.free_from)
        return min(off, 1.0), elsewhere + free


class Spend(NamedTuple):
    """List spend on a product that a mix must reach, at one supplier or (None) at all."""

    least: float = 0.0
    supplier: str | None = None


def _counts(level: DiscountLevel, container: Container) -> bool:
    """Whether a discount level counts spend on a container."""
    if level.supplier is not None and level.supplier != container.supplier:
        return False
    return not level.products or container.product in level.products


def cheapest(
    around: Around,
    want: float,
    keep: int = 3,
    spend: Spend | None = None,
    nodes: int = MOST_NODES,
) -> Best:
    """Find the cheapest mixes of which `want` fl oz can be drawn.

    Parameters
    ----------
    want
        Fl oz to be bought, 0 or less where the stock will do.
    keep
        How many mixes to return.
    spend
        List spend on the product that a mix must reach.
    nodes
        Counts to try at most.

    Notes
    -----
    A mix of which a container could be left out, still covering and at no higher cost, is passed
    over. All mixes cover, so for any need between `want` and a mix's volume their order stays.
    """
    search = _Search(around, want, keep, spend or Spend(), nodes)
    search.branch(0, 0.0, 0.0, {})
    found = sorted(search.found, key=lambda m: (round(m.cost, 6), m.volume, m.counts))
    return Best(tuple(found[:keep]), search.nodes < nodes)


class _Search:
    """Depth-first search over counts with a floor on what is still to be bought."""

    def __init__(self, around: Around, want: float, keep: int, spend: Spend, most: int) -> None:
        self.around, self.want, self.keep = around, want, keep
        self.spend = spend
        sold = [c for c in around.season.containers if c.product == around.product]
        self.off, self.elsewhere = around.most_off()
        self.base = around.cost({})
        self.sold = sorted(sold, key=self._net)
        net = [self._net(c) for c in self.sold]
        self.least = [min(net[i:], default=0.0) for i in range(len(net) + 1)]
        self.caps = [self._cap(c) for c in self.sold]
        self.order = {c.name: i for i, c in enumerate(sold)}
        self.found: list[Mix] = []
        self.nodes, self.most = 0, most

    def _net(self, c: Container) -> float:
        """Least that a usable fl oz of a container can cost, credit off."""
        usable = max(c.size - c.heel, TINY)
        return min(b.price for b in c.breaks) * (1.0 - self.off) / usable - self.around.credit

    def _cap(self, c: Container) -> int:
        """Count beyond which no more of a container could be worth having."""
        usable = max(c.size - c.heel, TINY)
        most = max(0, math.ceil(self.want / usable - TINY))
        most = max(most, *(b.from_count for b in c.breaks))
        price = min(b.price for b in c.breaks)
        levels = [s.free_from or 0.0 for s in self.around.season.suppliers if s.name == c.supplier]
        levels += [level.spend for group in self.around.groups for level, _ in group]
        levels.append(self.spend.least)
        if price > 0.0:
            most = max(most, math.ceil(max(levels) / price - TINY))
        return most if c.most is None else min(most, c.most)

    def _worst(self) -> float:
        """Cost that a mix must beat."""
        if len(self.found) < self.keep:
            return math.inf
        return sorted(m.cost for m in self.found)[self.keep - 1]

    def _floor(self, i: int, spend: float, volume: float) -> float:
        """Least cost of any completion from the i-th container on."""
        if self.least[i] < 0.0:
            return -math.inf
        rest = max(0.0, self.want - volume) * self.least[i]
        own = spend * (1.0 - self.off) - self.around.credit * volume
        return own + rest - self.elsewhere

    def branch(self, i: int, spend: float, volume: float, chosen: dict[str, int]) -> None:
        """Try every count of the i-th container and those behind it."""
        if self.nodes >= self.most:
            return
        if i == len(self.sold):
            self.nodes += 1
            if volume >= self.want - 1e-6 * max(1.0, self.want):
                self._take(chosen)
            return
        c = self.sold[i]
        last = max(b.from_count for b in c.breaks)
        for n in self._tries(i, volume):
            added = n * list_price(c, n) if n else 0.0
            total = volume + n * (c.size - c.heel)
            if self._floor(i + 1, spend + added, total) > self._worst() + TINY:
                self.nodes += 1
                if n >= last and total >= self.want:
                    break  # more of it only costs more
                continue
            chosen[c.name] = n
            self.branch(i + 1, spend + added, total, chosen)
            del chosen[c.name]

    def _tries(self, i: int, volume: float) -> Iterator[int]:
        """Counts of a container that can be ordered, those that just cover first."""
        c = self.sold[i]
        lowest = min(b.from_count for b in c.breaks)
        usable = max(c.size - c.heel, TINY)
        enough = max(0, math.ceil((self.want - volume) / usable - TINY))
        cap = self.caps[i]
        start = min(enough, cap)
        if i + 1 < len(self.sold):
            yield from (n for n in range(start - 1, -1, -1) if n == 0 or n >= lowest)
        yield from (n for n in range(start, cap + 1) if n == 0 or n >= lowest)

    def _take(self, chosen: dict[str, int]) -> None:
        mix = self.mix(chosen)
        if not self._spent(chosen):
            return
        for name, n in chosen.items():
            c = next(c for c in self.sold if c.name == name)
            spare = mix.volume - (c.size - c.heel) >= self.want - 1e-6 * max(1.0, self.want)
            lowest = min(b.from_count for b in c.breaks)
            if n and spare and (n == 1 or n > lowest):
                less = self.mix({**chosen, name: n - 1})
                if less.cost <= mix.cost + 1e-6 and self._spent({**chosen, name: n - 1}):
                    return
        self.found.append(mix)
        if len(self.found) > 8 * self.keep:
            self.found = sorted(self.found, key=lambda m: m.cost)[: self.keep]

    def _spent(self, chosen: Mapping[str, int]) -> bool:
        """Whether a mix reaches the spend asked for."""
        spend = sum(
            chosen[c.name] * list_price(c, chosen[c.name])
            for c in self.sold
            if chosen.get(c.name, 0) > 0 and self.spend.supplier in (None, c.supplier)
        )
        return reaches(spend, self.spend.least)

    def mix(self, chosen: Mapping[str, int]) -> Mix:
        """Describe a mix from counts by container name."""
        return describe(self.around, chosen, self.base)


def describe(around: Around, chosen: Mapping[str, int], base: float | None = None) -> Mix:
    """Describe a mix from counts by container name, with its volume, spend and cost."""
    sold = {c.name: c for c in around.season.containers if c.product == around.product}
    picked = {name: (sold[name], chosen[name]) for name in sold if chosen.get(name, 0) > 0}
    volume = sum(n * (c.size - c.heel) for c, n in picked.values())
    spend = sum(n * list_price(c, n) for c, n in picked.values())
    without = around.cost({}) if base is None else base
    cost = around.cost(picked) - without - around.credit * volume
    return Mix(tuple((name, n) for name, (_, n) in picked.items()), volume, spend, cost)


def mix_words(mix: tuple[tuple[str, int], ...]) -> str:
    """Say a mix.

    >>> mix_words((("keg", 2), ("jug", 1))), mix_words(())
    ('2 x keg and 1 x jug', 'nothing')
    """
    return listing([f"{n} x {name}" for name, n in mix]) or "nothing"


def order_counts(plan: Plan) -> dict[tuple[str, str], int]:
    """Return the containers that a plan orders, by (product, container)."""
    return {(o.product, o.container): o.count for o in plan.order}


def more_words(amount: float, speech: Speech) -> str:
    """Say a difference in cost.

    >>> from datetime import date
    >>> from planner.season.domain import Farm
    >>> from planner.explain.words import Speech
    >>> farm = Farm(date(2027, 1, 4), 2027, date(2027, 3, 1))
    >>> more_words(12.5, Speech(farm)), more_words(0.0, Speech(farm))
    ('$12.50 more', 'at the same cost')
    """
    if abs(amount) < CENT / 2.0:
        return "at the same cost"
    return f"{speech.money(abs(amount))} {'more' if amount > 0 else 'less'}"

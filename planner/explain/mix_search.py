"""The exact small order problem of one product: which containers cover a need at the least cost.

Depth-first branch and bound on the count of each container; what can't come among the cheapest is
cut. The other products' order is held, see `planner.explain.mixes`.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

from planner.explain.mixes import describe
from planner.plan.price import list_price, most_affordable, most_off, pays_unused, reaches

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping

    from planner.explain.mixes import Around, Mix
    from planner.season.domain import Container

MOST_NODES = 20_000
"""Counts that a search tries before it stops and says so."""
SLACK = 1e-6
"""Fl oz, or share of a volume, that are nothing; and money."""
TINY = 1e-9


class Best(NamedTuple):
    """The cheapest mixes, cheapest first; `complete` if every mix was weighed."""

    mixes: tuple[Mix, ...]
    complete: bool


class Spend(NamedTuple):
    """List spend on some containers of a product that a mix must reach."""

    least: float = 0.0
    on: Callable[[Container], bool] = lambda _: True


class Wanted(NamedTuple):
    """Which mixes will do."""

    volume: float
    """Fl oz that can be drawn out, at the least."""
    spend: Spend = Spend()
    most: Mapping[str, int] | None = None
    """Most of each container, by name; None for no limit but what is available."""


def cheapest(
    around: Around, want: float, spend: Spend | None = None, nodes: int = MOST_NODES
) -> Best:
    """Find the cheapest mix of which `want` fl oz can be drawn, none if there is no such mix.

    Parameters
    ----------
    want
        Fl oz to be bought, 0 or less where the stock will do.
    spend
        List spend on the product that a mix must reach.
    nodes
        Counts to try at most.
    """
    return _search(around, Wanted(_least(want), spend or Spend()), nodes)


def cheapest_beyond(around: Around, volume: float) -> Best:
    """Find the cheapest mix of which more than `volume` fl oz can be drawn."""
    return _search(around, Wanted(volume + SLACK * max(1.0, volume)))


def ways_to_buy(around: Around, want: float, keep: int) -> Best:
    """Find the cheapest mixes that cover a need, none of which only adds to a better one.

    A mix is left out where some of its containers alone would cover, at no higher cost.
    """
    return _search(around, Wanted(_least(want)), keep=keep)


def _least(want: float) -> float:
    return want - SLACK * max(1.0, want)


def _search(around: Around, wanted: Wanted, nodes: int = MOST_NODES, keep: int = 1) -> Best:
    search = _Search(around, wanted, keep, nodes)
    search.branch(0, 0.0, 0.0, {})
    return Best(tuple(search.found), search.nodes < nodes)


class _Search:
    """Depth-first search over counts with a bound on the cost of what is still to be bought."""

    def __init__(self, around: Around, wanted: Wanted, keep: int, most: int) -> None:
        self.around, self.wanted, self.keep = around, wanted, keep
        sold = [c for c in around.season.containers if c.product == around.product]
        self.off = max((most_off(around.season, c) for c in sold), default=0.0)
        self.elsewhere = around.most_elsewhere()
        self.base = around.cost({})
        self.sold = sorted(sold, key=self._net)
        net = [self._net(c) for c in self.sold]
        self.least = [min(net[i:], default=0.0) for i in range(len(net) + 1)]
        self.caps = [self._cap(c) for c in self.sold]
        self.found: list[Mix] = []
        """Cheapest first, at most `keep`."""
        self.nodes, self.most = 0, most

    def _net(self, c: Container) -> float:
        """Least that a usable fl oz of a container can cost, credit off."""
        price = min(b.price for b in c.breaks) * (1.0 - self.off)
        return price / max(c.usable, TINY) - self.around.credit

    def _cap(self, c: Container) -> int:
        """Count beyond which no more of a container could be worth having."""
        most = _enough(c, self.wanted.volume)
        most = max(most, *(b.from_count for b in c.breaks))
        price = min(b.price for b in c.breaks)
        levels = [s.free_from or 0.0 for s in self.around.season.suppliers if s.name == c.supplier]
        levels += [level.spend for group in self.around.groups for level, _ in group]
        levels.append(self.wanted.spend.least)
        if price > 0.0:
            most = max(most, math.ceil(max(levels) / price - TINY))
        if pays_unused(self.around.season, c):
            most = max(most, most_affordable(self.around.season, c) or 0)
        if self.wanted.most is not None:
            most = min(most, self.wanted.most.get(c.name, 0))
        return most if c.most is None else min(most, c.most)

    def _worst(self) -> float:
        """Cost that a mix must beat."""
        return math.inf if len(self.found) < self.keep else self.found[-1].cost

    def _bound(self, i: int, spend: float, volume: float) -> float:
        """Least cost of any completion from the i-th container on."""
        if self.least[i] < 0.0:
            return -math.inf
        rest = max(0.0, self.wanted.volume - volume) * self.least[i]
        own = spend * (1.0 - self.off) - self.around.credit * volume
        return own + rest - self.elsewhere

    def branch(self, i: int, spend: float, volume: float, chosen: dict[str, int]) -> None:
        """Try every count of the i-th container and those behind it."""
        if self.nodes >= self.most:
            return
        if i == len(self.sold):
            self.nodes += 1
            if volume >= self.wanted.volume and self._spent(chosen):
                self._take(chosen)
            return
        c = self.sold[i]
        last = max(b.from_count for b in c.breaks)
        for n in self._tries(i, volume):
            added = n * list_price(c, n) if n else 0.0
            total = volume + n * c.usable
            if self._bound(i + 1, spend + added, total) > self._worst() + SLACK:
                self.nodes += 1
                if n >= last and total >= self.wanted.volume and self._net(c) >= 0.0:
                    break  # more of it only costs more
                continue
            chosen[c.name] = n
            self.branch(i + 1, spend + added, total, chosen)
            del chosen[c.name]

    def _tries(self, i: int, volume: float) -> Iterator[int]:
        """Counts of a container that can be ordered, those that just cover first."""
        c = self.sold[i]
        lowest = min(b.from_count for b in c.breaks)
        cap = self.caps[i]
        start = min(_enough(c, self.wanted.volume - volume), cap)
        if i + 1 < len(self.sold):
            yield from (n for n in range(start - 1, -1, -1) if n == 0 or n >= lowest)
        yield from (n for n in range(start, cap + 1) if n == 0 or n >= lowest)

    def _take(self, chosen: dict[str, int]) -> None:
        """Keep a mix that will do, if it is among the cheapest and only adds to none of them."""
        mix = describe(self.around, chosen, self.base)
        if mix.cost > self._worst() + SLACK or (self.keep > 1 and self._only_adds(mix)):
            return
        self.found = sorted([*self.found, mix], key=_rank)[: self.keep]

    def _only_adds(self, mix: Mix) -> bool:
        """Whether some of a mix's containers alone would do at no higher cost."""
        counts = dict(mix.counts)
        for better in self.found:
            if better.cost > mix.cost + SLACK:
                break
            if all(n <= counts.get(c, 0) for c, n in better.counts):
                return True
        usable = [c.usable for c in self.sold if c.name in counts]
        if mix.volume - min(usable, default=mix.volume) < self.wanted.volume:
            return False  # every one of them is needed
        inside = _Search(self.around, self.wanted._replace(most=counts), 1, self.most - self.nodes)
        inside.branch(0, 0.0, 0.0, {})
        self.nodes += inside.nodes
        return bool(inside.found) and inside.found[0].counts != mix.counts

    def _spent(self, chosen: Mapping[str, int]) -> bool:
        """Whether a mix reaches the spend asked for."""
        spend = sum(
            chosen[c.name] * list_price(c, chosen[c.name])
            for c in self.sold
            if chosen.get(c.name, 0) > 0 and self.wanted.spend.on(c)
        )
        return reaches(spend, self.wanted.spend.least)


def _rank(mix: Mix) -> tuple[float, float, tuple[tuple[str, int], ...]]:
    """Order of mixes: by cost to a millionth, then by volume, so that what only adds comes last."""
    return round(mix.cost, 6), mix.volume, mix.counts


def _enough(c: Container, volume: float) -> int:
    """Count of a container that covers a volume, fl oz."""
    return max(0, math.ceil(volume / max(c.usable, TINY) - TINY))

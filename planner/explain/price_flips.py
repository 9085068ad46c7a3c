"""The prices at which another mix of a product's containers becomes the cheapest."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from planner.explain.mix_search import cheapest
from planner.explain.mixes import Around, Mix, describe
from planner.plan.plan import CENT

if TYPE_CHECKING:
    from collections.abc import Mapping

    from planner.season.domain import Container, Season

FLIP_NODES = 3_000
"""Counts tried for each price; a product that takes more is not looked at."""
HIGHEST_RISE = 4.0
"""How many times its price a container may rise in the search for a flip."""


@dataclass(frozen=True, slots=True)
class PriceFlip:
    """Price of a container from which another mix is cheaper, the other prices held."""

    container: str
    price_now: float
    """Of each, at the count that the plan orders; at the lowest count if it orders none."""
    price: float
    instead: tuple[tuple[str, int], ...]


def price_flips(
    around: Around, want: float, mine: Mix, counts: Mapping[tuple[str, str], int]
) -> tuple[PriceFlip, ...]:
    """Prices at which the choice flips: dearer for what is bought, cheaper for what is not."""
    if want <= 0.0:
        return ()
    own = dict(mine.counts)
    flips = []
    for c in around.season.containers:
        if c.product != around.product:
            continue
        n = own.get(c.name, 0)
        reached = [b.price for b in c.breaks if b.from_count <= n]
        now = reached[-1] if reached else c.breaks[0].price
        span = now * HIGHEST_RISE if n else -min(b.price for b in c.breaks)
        flip = _flip(around, c, want, mine, span, counts)
        if flip:
            flips.append(PriceFlip(c.name, now, round(now + flip[0], 2), flip[1].counts))
    return tuple(flips)


def _flip(
    around: Around,
    container: Container,
    want: float,
    mine: Mix,
    span: float,
    counts: Mapping[tuple[str, str], int],
) -> tuple[float, Mix] | None:
    """Change of a container's price, between 0 and `span`, from which another mix is cheaper."""

    def better(change: float) -> Mix | None:
        season = _repriced(around.season, container, change)
        there = Around.of(season, around.product, counts)
        found = cheapest(there, want, nodes=FLIP_NODES)
        best = next(iter(found.mixes), None) if found.complete else None
        held = describe(there, dict(mine.counts))
        return best if best and best.cost < held.cost - 1e-7 else None

    low, high = 0.0, span
    found = better(high)
    if found is None or better(0.0) is not None:
        return None
    while abs(high - low) > CENT / 2.0:
        middle = (low + high) / 2.0
        other = better(middle)
        if other is None:
            low = middle
        else:
            high, found = middle, other
    return high, found


def _repriced(season: Season, container: Container, change: float) -> Season:
    """Return the season with every break of a container dearer by an amount."""
    breaks = tuple(replace(b, price=max(0.0, b.price + change)) for b in container.breaks)
    new = replace(container, breaks=breaks)
    key = (container.product, container.name)
    return replace(
        season,
        containers=tuple(new if (c.product, c.name) == key else c for c in season.containers),
    )

"""In which order recipes run through a line that stays primed, and how often products are flushed.

A product's line loss is taken once for every unbroken stretch of recipes that hold it.
"""

from __future__ import annotations

from collections import Counter
from itertools import permutations
from typing import TYPE_CHECKING

from planner.plan.offers import lowest_price_per_floz
from planner.season.domain import LIVING

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping, Sequence

    from planner.plan.plan import Planting
    from planner.season.domain import Season

EXACT = 10
"""Recipes up to which every order is weighed where none is known."""
ALL_TRIED = 7
"""Recipes up to which all orders are tried for the one that suits the days best."""


def held(season: Season) -> dict[str, frozenset[str]]:
    """Products of every recipe that leave something in the line."""
    lossy = {p.name for p in season.products if p.line_loss > 0.0}
    return {r.name: frozenset(x.product for x in r.rates) & lossy for r in season.recipes}


def flushes(order: Sequence[str], season: Season) -> Counter[str]:
    """How often each product is flushed, by the order in which recipes run."""
    return _stretches(order, held(season))


def _stretches(order: Sequence[str], holds: Mapping[str, frozenset[str]]) -> Counter[str]:
    """Unbroken stretches of each product.

    >>> a, b = frozenset("p"), frozenset("q")
    >>> sorted(_stretches("ABA", {"A": a, "B": b}).items())
    [('p', 2), ('q', 1)]
    """
    found: Counter[str] = Counter()
    before: frozenset[str] = frozenset()
    for name in order:
        found.update(holds[name] - before)
        before = holds[name]
    return found


def shortest(run: Collection[str], season: Season) -> tuple[str, ...]:
    """Order of some recipes in which the least is lost, by the lowest price of each product.

    Exact up to `EXACT` recipes (dynamic programming over sets, Held and Karp 1962, from memory);
    beyond, each time the recipe that adds least comes next.
    """
    names = sorted(run)
    holds = held(season)
    price = {p.name: lowest_price_per_floz(season, p.name) for p in season.products}
    # of what is not sold less is still better
    worth = {p.name: p.line_loss * (price[p.name] or 1.0) for p in season.products}

    def added(before: str, name: str) -> float:
        on = holds[before] if before else frozenset()
        return sum(worth[p] for p in holds[name] - on)

    if len(names) > EXACT:
        order: list[str] = []
        while len(order) < len(names):
            last = order[-1] if order else ""
            rest = [n for n in names if n not in order]
            order.append(min(rest, key=lambda n: (added(last, n), n)))
        return tuple(order)
    layer: dict[tuple[frozenset[str], str], tuple[float, tuple[str, ...]]] = {
        (frozenset(), ""): (0.0, ())
    }
    for _ in names:
        after: dict[tuple[frozenset[str], str], tuple[float, tuple[str, ...]]] = {}
        for (done, last), (cost, path) in layer.items():
            for name in names:
                if name in done:
                    continue
                key = done | {name}, name
                new = round(cost + added(last, name), 9), (*path, name)
                after[key] = min(after.get(key, new), new)
        layer = after
    return min(layer.values())[1]


def suiting(
    order: Sequence[str], planting: Collection[Planting], season: Season
) -> tuple[str, ...]:
    """Of all orders that flush no product more often, the one that suits the days best.

    Living recipes late, those of fields planted early first.
    """
    if len(order) > ALL_TRIED or len(order) < 2:
        return tuple(order)
    holds = held(season)
    most = _stretches(order, holds)
    rank = _ranks(order, planting, season)
    allowed = (
        other for other in permutations(sorted(order)) if not _stretches(other, holds) - most
    )
    return max(allowed, key=lambda o: (sum(i * rank[n] for i, n in enumerate(o)), o[::-1]))


def _ranks(order: Sequence[str], planting: Collection[Planting], season: Season) -> dict[str, int]:
    days = {f.name: f.planting_date for f in season.fields}
    kinds = {p.name: p.kind.casefold() for p in season.products}
    living = {r.name: any(kinds[x.product] in LIVING for x in r.rates) for r in season.recipes}

    def key(name: str) -> tuple[bool, str, str]:
        mine = [str(days[p.field]) for p in planting if p.recipe == name and days[p.field]]
        return living[name], min(mine, default="9999"), name

    return {name: n for n, name in enumerate(sorted(order, key=key))}

"""Orders to compare: the plan's, those with reserve, best ones of draws, and their neighbors."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.risk.second_stage import Order, order_of, ordered_by, spent

if TYPE_CHECKING:
    from collections.abc import Iterable

    from planner.plan.plan import Plan
    from planner.risk.as_planned import AsPlanned
    from planner.risk.second_stage import Outcome
    from planner.season.domain import Container, Season


def possible(season: Season, order: Order) -> bool:
    """Whether an order can be placed: counts from their lowest, what is available, money."""
    kinds = {(c.product, c.name): c for c in season.containers}
    lots = {x.name: x for x in season.lots}
    for key, n in order.counts.items():
        c = kinds[key]
        if n < min(b.from_count for b in c.breaks) or (c.most is not None and n > c.most):
            return False
    if any(n * lots[x].units_per_bag > lots[x].can_buy + 1e-6 for x, n in order.seed):
        return False
    most = season.farm.most_to_spend
    return most is None or spent(season, order) <= most + 1e-6


def smallest(season: Season, product: str) -> Container | None:
    """Smallest container of a product; the cheapest of those."""
    mine = [c for c in season.containers if c.product == product]
    return min(mine, key=lambda c: (c.size, c.breaks[0].price, c.name), default=None)


def with_reserve(season: Season, plan: Plan, held: AsPlanned) -> dict[str, Order]:
    """Plan's order with small containers added: enough for 9 needs in 10, and for the most."""
    found = {}
    for label, need in (("enough for 9 in 10", "nine_in_ten"), ("enough for all", "most")):
        counts = dict(ordered_by(plan).counts)
        for p in held.products:
            c, lack = smallest(season, p.product), getattr(p, need) - p.supply
            while c is not None and lack > 1e-6 and c.size > c.heel:
                counts[c.product, c.name] = counts.get((c.product, c.name), 0) + 1
                lack -= c.size - c.heel
        found[label] = order_of(counts, dict(ordered_by(plan).seed))
    return {label: order for label, order in found.items() if possible(season, order)}


def neighbors(season: Season, order: Order, found: Iterable[Outcome]) -> dict[str, Order]:
    """Orders with one container, or bag of seed, more or less.

    Parameters
    ----------
    found
        What became of the order in draws. Only what was bought late in one of them is ordered
        more of, and only what went back or was left is ordered less of: where it was neither,
        more of it is never needed, and less of it is never bought back for less.
    """
    outcomes = list(found)
    bought = set().union(*(o.bought for o in outcomes))
    spare = set().union(*(o.spare for o in outcomes))
    more: dict[str, Order] = {}
    counts, bags = order.counts, dict(order.seed)
    for name in dict.fromkeys(c.product for c in season.containers):
        c = smallest(season, name)
        if c is not None and name in bought:
            more[f"1 more {c.name} of {name}"] = order_of(
                {**counts, (name, c.name): counts.get((name, c.name), 0) + 1}, bags
            )
    for (product, name), n in counts.items():
        if (product, name) in spare:
            less = order_of({**counts, (product, name): n - 1}, bags)
            more[f"1 fewer {name} of {product}"] = less
    for lot in season.lots:
        n = bags.get(lot.name, 0)
        if lot.name in bought:
            more[f"1 more bag of {lot.name}"] = order_of(counts, {**bags, lot.name: n + 1})
        if n:
            more[f"1 fewer bag of {lot.name}"] = order_of(counts, {**bags, lot.name: n - 1})
    return {label: o for label, o in more.items() if possible(season, o)}


def without(order: Order, product: str) -> Order:
    """Order that waits with a product."""
    counts = {key: n for key, n in order.counts.items() if key[0] != product}
    return order_of(counts, dict(order.seed))

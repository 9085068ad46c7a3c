"""Orders to compare: the plan's, those with reserve, best ones of draws, and their neighbors."""

from __future__ import annotations

from itertools import combinations
from math import ceil, floor
from typing import TYPE_CHECKING

from planner.optimize.model.instance import supply_of
from planner.plan.plan import CENT
from planner.risk.order import Order, order_of, ordered_by, price_paid, spent

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from planner.plan.plan import Plan
    from planner.risk.chances import AsPlanned
    from planner.risk.second_stage import Outcome
    from planner.season.domain import Container, Season, SeedLot

MORE = 3
"""Of a product's smallest container, that many more and fewer are tried."""
SMALL_BAGS = 8
"""Bags so small go by as many at a time as hold this part of the season's largest."""
MOST_BACK = 24
"""Containers, at the most, that are ordered to go back, for a discount level that they reach."""
MOST_OF_TWO = 4
"""The same, of each of two kinds."""
LEVELS = 8
"""Orders that reach more, at the most."""
STEPS = (1, 2, 3, -1)
"""Containers, or bags at a time, that are tried more of what is not sold late."""
LACKING = 10.0
"""Times a container's price that lacking it counts as, where none can be bought late."""


def possible(season: Season, order: Order) -> bool:
    """Whether an order can be placed: counts from their lowest, what is available, money."""
    for key, n in order.counts.items():
        c = season.container_named[key]
        if n < min(b.from_count for b in c.breaks) or (c.most is not None and n > c.most):
            return False
    if any(
        n * season.lot_named[x].units_per_bag > season.lot_named[x].can_buy + 1e-6
        for x, n in order.seed
    ):
        return False
    most = season.farm.most_to_spend
    return most is None or spent(season, order) <= most + 1e-6


def smallest(season: Season, product: str) -> Container | None:
    """Smallest container of a product; the cheapest of those. None where none is sold."""
    mine = [c for c in season.containers if c.product == product]
    return min(mine, key=lambda c: (c.size, c.breaks[0].price, c.name), default=None)


def with_reserve(season: Season, plan: Plan, held: AsPlanned) -> list[Order]:
    """Plan's order with small containers added: enough for 9 needs in 10, and for the most."""
    found = []
    for need in ("nine_in_ten", "most"):
        counts = dict(ordered_by(plan).counts)
        for p in held.products:
            c, lack = smallest(season, p.product), getattr(p, need) - p.supply
            while c is not None and lack > 1e-6 and c.usable > 0.0:
                counts[c.product, c.name] = counts.get((c.product, c.name), 0) + 1
                lack -= c.usable
        found.append(order_of(counts, dict(ordered_by(plan).seed)))
    return [order for order in found if possible(season, order)]


def by_product(season: Season, known: Sequence[Order], found: Sequence[Outcome]) -> Order:
    """Order put together product by product and lot by lot, plantings of draws held.

    Of each product, of all that known orders have of it with up to `MORE` of its smallest container
    more or fewer, the one with the least mean of early price, late purchases and returns (as a
    newsvendor does); of each lot likewise.

    Parameters
    ----------
    found
        Draws at best: what they need of products, and the bags that they order.
    """
    counts: dict[tuple[str, str], int] = {}
    for name in dict.fromkeys(c.product for c in season.containers):
        kinds = [c for c in season.containers if c.product == name]
        there = supply_of(season, season.product_named[name])
        needs = [dict(o.needs).get(name, 0.0) - there for o in found]
        choices = _around(kinds, known)
        best = min(choices, key=lambda own: (_mean_cost(kinds, own, needs), sorted(own.items())))
        counts |= {(name, c): n for c, n in best.items()}
    return order_of(counts, {x.name: _bags(x, found) for x in season.lots})


def _around(kinds: Sequence[Container], known: Sequence[Order]) -> list[dict[str, int]]:
    """Counts of a product's containers in known orders, and near them."""
    small = min(kinds, key=lambda c: (c.size, c.breaks[0].price, c.name)).name
    found: dict[tuple[tuple[str, int], ...], None] = {}
    for order in known:
        own = {c.name: order.counts.get((c.product, c.name), 0) for c in kinds}
        for step in range(-MORE, MORE + 1):
            near = {**own, small: max(0, own[small] + step)}
            if all(_sold(c, near[c.name]) for c in kinds):
                found[tuple(sorted(near.items()))] = None
    return [dict(x) for x in found]


def _sold(c: Container, n: int) -> bool:
    least = min(b.from_count for b in c.breaks)
    return n == 0 or (n >= least and (c.most is None or n <= c.most))


def _mean_cost(kinds: Sequence[Container], own: dict[str, int], needs: Sequence[float]) -> float:
    """Early price and the mean of what is bought late or sent back; list prices.

    Late containers are all of the kind that covers what is lacking for the least.
    """
    price = {c.name: _price(c, own[c.name]) for c in kinds}
    early = sum(n * price[name] for name, n in own.items())
    supply = sum(own[c.name] * c.usable for c in kinds)
    late = [(c.late_price, c.usable) for c in kinds if c.late_price is not None]
    late = late or [(LACKING * max(c.breaks[0].price for c in kinds), kinds[0].usable)]
    back = [
        (c.returned_for * price[c.name], c.usable, own[c.name])
        for c in kinds
        if c.returned_for > 0.0
    ]
    total = 0.0
    for need in needs:
        lack = need - supply
        total += min(max(0, ceil(lack / volume - 1e-9)) * money for money, volume in late)
        for money, volume, n in sorted(back, reverse=True):
            went = min(n, max(0, floor(-lack / volume + 1e-9)))
            total -= went * money
            lack += went * volume
    return early + total / max(1, len(needs))


def _price(c: Container, n: int) -> float:
    reached = [b.price for b in c.breaks if b.from_count <= n]
    return reached[-1] if reached else c.breaks[0].price


def _bags(lot: SeedLot, found: Sequence[Outcome]) -> int:
    """Bags of a lot that are ordered early: a newsvendor, or what half of the draws order."""
    wanted = sorted(dict(o.order.seed).get(lot.name, 0) for o in found)
    if not wanted:
        return 0
    if lot.late_price is None or lot.late_price <= 0.0:
        return wanted[len(wanted) // 2]
    ratio = max(0.0, 1.0 - lot.buy_price / lot.late_price)
    return wanted[min(len(wanted) - 1, max(0, ceil(ratio * len(wanted)) - 1))]


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
        n, step = bags.get(lot.name, 0), _bags_at_a_time(season, lot)
        if lot.name in bought:
            label = f"{step} more {'bag' if step == 1 else 'bags'} of {lot.name}"
            more[label] = order_of(counts, {**bags, lot.name: n + step})
        if n:
            step = min(step, n)
            label = f"{step} fewer {'bag' if step == 1 else 'bags'} of {lot.name}"
            more[label] = order_of(counts, {**bags, lot.name: n - step})
    return {label: o for label, o in more.items() if possible(season, o)}


def around(season: Season, order: Order) -> list[Order]:
    """Orders with more or fewer of a product or lot that nothing is sold of late."""
    counts, bags = order.counts, dict(order.seed)
    late = {c.product for c in season.containers if c.late_price is not None}
    found = []
    for c in season.containers:
        if c.product not in late:
            n = counts.get((c.product, c.name), 0)
            near = [n + s for s in STEPS]
            found += [order_of({**counts, (c.product, c.name): x}, bags) for x in near if x >= 0]
    for lot in season.lots:
        if lot.late_price is None:
            n, step = bags.get(lot.name, 0), _bags_at_a_time(season, lot)
            more = [n + s * step for s in STEPS]
            found += [order_of(counts, {**bags, lot.name: x}) for x in more if x >= 0]
    return [o for o in dict.fromkeys(found) if possible(season, o)]


def _bags_at_a_time(season: Season, lot: SeedLot) -> int:
    largest = max(x.units_per_bag for x in season.lots)
    return max(1, round(largest / lot.units_per_bag / SMALL_BAGS))


def for_levels(season: Season, order: Order) -> list[Order]:
    """Orders with more of one or two containers that pay by the level or free freight they reach.

    What is not needed goes back. The best few by what is paid in the end, none with more of
    everything than a better one.
    """
    paid, bags, counts = spent(season, order), dict(order.seed), order.counts
    kinds = [
        c for c in season.containers if c.returned_for > 0.0 and counts.get((c.product, c.name))
    ]
    more: list[tuple[tuple[Container, int], ...]] = []
    more += [((c, n),) for c in kinds for n in range(1, MOST_BACK + 1)]
    more += [
        ((a, n), (b, m))
        for a, b in combinations(kinds, 2)
        for n in range(1, MOST_OF_TWO + 1)
        for m in range(1, MOST_OF_TWO + 1)
    ]
    saved: dict[Order, float] = {}
    for added in more:
        wider = {(c.product, c.name): counts[c.product, c.name] + n for c, n in added}
        other = order_of({**counts, **wider}, bags)
        if not possible(season, other):
            continue
        price = price_paid(season, other)
        back = sum(n * c.returned_for * price[c.product, c.name] for c, n in added)
        if (less := paid - spent(season, other) + back) > CENT:
            saved[other] = less
    kept: list[Order] = []
    for other in sorted(saved, key=lambda o: -saved[o]):
        if not any(all(other.counts[key] >= n for key, n in o.counts.items()) for o in kept):
            kept.append(other)
    return kept[:LEVELS]


def with_seed_of(order: Order, others: Iterable[Order]) -> list[Order]:
    """An order's containers with the bags of each of other orders."""
    return [Order(order.containers, seed) for seed in dict.fromkeys(o.seed for o in others)]


def without(order: Order, product: str) -> Order:
    """Order that waits with a product."""
    counts = {key: n for key, n in order.counts.items() if key[0] != product}
    return order_of(counts, dict(order.seed))

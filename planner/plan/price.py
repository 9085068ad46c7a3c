"""What decisions cost and use: the money and product side of a plan, computed from whole things.

Every function is arithmetic on the season and on what was decided. `planner.plan.audit` computes
the same figures again in its own way, so neither may borrow from the other.
"""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

from planner.agronomy.protection import loss_per_acre
from planner.agronomy.rates import floz_per_unit
from planner.plan.line import flushes, shortest, suiting
from planner.plan.offers import lowest_price_per_floz
from planner.plan.plan import Cost, OrderLine, Plan, ProductUse, SeedPurchase, proof
from planner.season.domain import UNTREATED
from planner.sums import grouped, summed

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Mapping, Sequence
    from datetime import date

    from planner.plan.plan import Planting, Treating
    from planner.season.domain import Container, DiscountLevel, Product, Season, SeedLot

MONEY_SLACK = 1e-9
"""Relative slack when a spend is held against a level, for sums of rounded prices."""

Amount = tuple[tuple[str, str], float]
"""Lot and recipe, and units."""


class OrderCost(NamedTuple):
    """An order line by line and its three cost terms."""

    lines: tuple[OrderLine, ...]
    containers: float
    freight: float
    discounts: float

    @property
    def paid(self) -> float:
        """Money paid out for it."""
        return self.containers + self.freight - self.discounts


class SeedCost(NamedTuple):
    """What seed costs: bought, and given up by treating it or planting it untreated."""

    bought: float
    given_up: float


def list_price(container: Container, count: int) -> float:
    """Price of each of `count` containers: that of the highest break that the count reaches.

    Raises
    ------
    ValueError
        When the count is under the lowest break, so that it cannot be ordered.
    """
    reached = [b for b in container.breaks if b.from_count <= count]
    if not reached:
        msg = f"{count} of {container.product} {container.name} is under its lowest From count"
        raise ValueError(msg)
    return max(reached, key=lambda b: b.from_count).price


def sold_by_any_count(season: Season, counts: Mapping[tuple[str, str], int]) -> Season:
    """Season where a container's price from its lowest From count holds for fewer, too."""
    return replace(
        season,
        containers=tuple(
            _from_count(c, counts.get((c.product, c.name), 0)) for c in season.containers
        ),
    )


def _from_count(container: Container, count: int) -> Container:
    first, *others = sorted(container.breaks, key=lambda b: b.from_count)
    if not 0 < count < first.from_count:
        return container
    return replace(container, breaks=(replace(first, from_count=count), *others))


def reaches(spend: float, level: float) -> bool:
    """Whether a list spend reaches a level.

    >>> reaches(0.1 + 0.2, 0.3), reaches(499.99, 500)
    (True, False)
    """
    return spend >= level - MONEY_SLACK * max(1.0, abs(level))


def order_cost(season: Season, counts: Mapping[tuple[str, str], int]) -> OrderCost:
    """Order lines in the season's order and their cost, from counts by (product, container)."""
    lines = []
    for c in season.containers:
        count = counts.get((c.product, c.name), 0)
        if count > 0:
            price = list_price(c, count)
            lines.append(
                OrderLine(c.product, c.name, count, price, count * price, c.supplier or "")
            )
    return OrderCost(
        lines=tuple(lines),
        containers=sum(line.cost for line in lines),
        freight=_freight(season, lines),
        discounts=sum(saving for _, saving in best_levels(season, lines).values()),
    )


def _freight(season: Season, lines: Iterable[OrderLine]) -> float:
    """Freight of every supplier that is ordered from and whose list spend does not free it."""
    spend = summed((line.supplier, line.cost) for line in lines)
    return sum(
        s.freight
        for s in season.suppliers
        if s.name in spend and (s.free_from is None or not reaches(spend[s.name], s.free_from))
    )


def counts_toward(level: DiscountLevel, product: str, supplier: str | None, season: Season) -> bool:
    """Whether a discount level counts what is spent on a product at a supplier.

    It must be its supplier's and its products', and ordered in time: not from a supplier whose own
    last day to order is later than the discount's.
    """
    if level.supplier not in (None, supplier) or (level.products and product not in level.products):
        return False
    if level.order_by is None:
        return True
    days = [s.order_by for s in season.suppliers if s.name == supplier and s.order_by]
    return all(day <= level.order_by for day in days)


def qualifying_spend(level: DiscountLevel, lines: Iterable[OrderLine], season: Season) -> float:
    """List spend that a discount level counts."""
    return sum(
        line.cost for line in lines if counts_toward(level, line.product, line.supplier, season)
    )


def best_levels(
    season: Season, lines: Iterable[OrderLine]
) -> dict[tuple[str, str | None], tuple[DiscountLevel, float]]:
    """Level reached that saves most and what it saves, by discount (name and supplier).

    Discounts of which no level is reached are left out.
    """
    lines = tuple(lines)
    best: dict[tuple[str, str | None], tuple[DiscountLevel, float]] = {}
    for level in season.discounts:
        spend = qualifying_spend(level, lines, season)
        if not lines or not reaches(spend, level.spend):
            continue
        saving = level.percent * spend
        key = (level.name, level.supplier)
        if key not in best or saving > best[key][1]:
            best[key] = (level, saving)
    return best


def order_days(season: Season, lines: Iterable[OrderLine]) -> dict[str, date]:
    """Last day to order, by supplier: his own, or that of a discount that is taken there."""
    lines = tuple(lines)
    taken = [level for level, _ in best_levels(season, lines).values()]
    own = {s.name: s.order_by for s in season.suppliers}
    found: dict[str, date] = {}
    for name in dict.fromkeys(line.supplier for line in lines):
        mine = [line for line in lines if line.supplier == name]
        days = [d.order_by for d in taken if qualifying_spend(d, mine, season) > 0.0]
        known = [day for day in (own.get(name), *days) if day]
        if known:
            found[name] = min(known)
    return found


def seed_days(lot: SeedLot, season: Season) -> tuple[date | None, date | None]:
    """Last days to order and to pay seed of a lot; None where neither it nor its seller names one.

    The lot's own Order by goes before its seller's; nothing is paid before it is ordered.
    """
    seller = next((s for s in season.suppliers if s.name == lot.seller), None)
    order = lot.order_by or (seller.order_by if seller else None)
    days = [day for day in (order, seller.pay_by if seller else None) if day]
    return order, max(days, default=None)


def seed_by_seller(
    season: Season, purchases: Iterable[SeedPurchase]
) -> dict[tuple[str, date | None, date | None], list[SeedPurchase]]:
    """Seed to buy by seller, last day to order and last day to pay; a seller may be unnamed."""
    lots = season.lot_named
    return grouped(
        ((lots[bought.lot].seller or "", *seed_days(lots[bought.lot], season)), bought)
        for bought in purchases
    )


def expired(product: Product, season: Season) -> bool:
    """Whether stock on hand expires before the first treating day, so that none of it counts."""
    return product.expires is not None and product.expires < season.farm.first_treating_day


def usable_stock(product: Product, season: Season) -> float:
    """Stock on hand that counts, fl oz."""
    return 0.0 if expired(product, season) else product.on_hand


def product_uses(
    season: Season,
    treating: Iterable[Treating],
    counts: Mapping[tuple[str, str], int],
    run_order: Sequence[str] = (),
) -> tuple[ProductUse, ...]:
    """Balance of every product of the season, fl oz, from bags treated and containers ordered."""
    need = _needs(season, treating, run_order)
    bought: dict[str, float] = defaultdict(float)
    coming: dict[str, float] = defaultdict(float)
    for key, count in counts.items():
        bought[key[0]] += count * season.container_named[key].usable
    for sent in season.ordered:
        container = season.container_named[sent.product, sent.container]
        coming[sent.product] += sent.count * container.usable
    uses = []
    for p in season.products:
        stock = usable_stock(p, season)
        left = stock + coming[p.name] + bought[p.name] - need[p.name]
        uses.append(ProductUse(p.name, need[p.name], stock, coming[p.name], bought[p.name], left))
    return tuple(uses)


def _needs(
    season: Season, treating: Iterable[Treating], run_order: Sequence[str]
) -> dict[str, float]:
    """Fl oz of each product: seed x rate x (1 + margin), and its line losses.

    One for every recipe that is run; where the line stays primed, one for every unbroken stretch
    of recipes in the order in which they run.
    """
    seed = [((t.lot, t.recipe), t.units) for t in treating]
    if not season.farm.line_stays_primed:
        return took_by_product(seed, season)
    need = _on_seed(seed, season)
    for product, times in flushes(run_order, season).items():
        need[product] += times * season.product_named[product].line_loss
    return need


def took_by_product(seed: Collection[Amount], season: Season) -> dict[str, float]:
    """Fl oz that treating some seed takes, margin and a line loss for every recipe included."""
    took = _on_seed(seed, season)
    for name in {recipe for (_, recipe), _ in seed}:
        for product in {rate.product for rate in season.recipe_named[name].rates}:
            took[product] += season.product_named[product].line_loss
    return took


def _on_seed(seed: Iterable[Amount], season: Season) -> defaultdict[str, float]:
    more = 1.0 + season.farm.product_margin
    return summed(
        (rate.product, units * floz_per_unit(rate, season.lot_named[lot], season) * more)
        for (lot, recipe), units in seed
        for rate in season.recipe_named[recipe].rates
    )


def order_of_runs(
    season: Season,
    treating: Iterable[Treating],
    planting: Collection[Planting],
    known: Sequence[str],
) -> tuple[str, ...]:
    """Order in which the recipes run; empty unless the line stays primed.

    A known order is kept unless another one flushes no product more often and some less, or suits
    the days better; where it is not that of these recipes, the shortest is found.
    """
    if not season.farm.line_stays_primed:
        return ()
    run = {t.recipe for t in treating}
    best = shortest(run, season)
    other = set(known) != run or len(known) != len(run)
    if other or not flushes(best, season) - flushes(known, season):
        known = best
    return suiting(known, planting, season)


def most_off(season: Season, container: Container) -> float:
    """Largest share that discounts can take off what is spent on a container, at most 1."""
    off: dict[tuple[str, str | None], float] = defaultdict(float)
    for level in season.discounts:
        if counts_toward(level, container.product, container.supplier, season):
            key = level.name, level.supplier
            off[key] = max(off[key], level.percent)
    return min(1.0, sum(off.values()))


def lowest_net_price(season: Season, container: Container) -> float:
    """Least that a container can cost: its lowest price, less the most that discounts take off."""
    return min(b.price for b in container.breaks) * (1.0 - most_off(season, container))


def most_affordable(season: Season, container: Container) -> int | None:
    """Count of a container that is sold, and that the most to spend pays; None without limit."""
    money, least = season.farm.most_to_spend, lowest_net_price(season, container)
    paid = int(money / least * (1.0 + 1e-9)) if money is not None and least > 0.0 else None
    return min((n for n in (container.most, paid) if n is not None), default=None)


def pays_unused(season: Season, container: Container) -> bool:
    """Whether one that nobody needs could be worth more at season's end than it costs."""
    kept = season.product_named[container.product].carryover
    credit = kept * lowest_price_per_floz(season, container.product) * container.usable
    return credit > lowest_net_price(season, container) * (1.0 + 1e-9)


def carryover(season: Season, uses: Iterable[ProductUse]) -> float:
    """Credit for product left at season's end: carryover value x lowest price x volume left."""
    share = {p.name: p.carryover for p in season.products}
    return sum(
        share[u.product] * lowest_price_per_floz(season, u.product) * max(0.0, u.left)
        for u in uses
        if share[u.product] > 0.0
    )


def seed_purchases(season: Season, bags: Mapping[str, int]) -> tuple[SeedPurchase, ...]:
    """Seed to buy, in the season's order, from full bags by lot."""
    found = []
    for lot in season.lots:
        count = bags.get(lot.name, 0)
        if count > 0:
            units = count * lot.units_per_bag
            found.append(SeedPurchase(lot.name, count, units, units * lot.buy_price))
    return tuple(found)


def seed_costs(
    season: Season,
    treating: Iterable[Treating],
    planting: Iterable[Planting],
    purchases: Iterable[SeedPurchase],
) -> SeedCost:
    """Cost of seed bought and of seed given up.

    Given up is return value x (units treated or planted untreated - units bought), over lots that
    were not already treated.
    """
    worth = {lot.name: lot.worth_untreated for lot in season.lots}
    purchases = tuple(purchases)
    used = sum(worth.get(t.lot, 0.0) * t.units for t in treating)
    used += sum(worth.get(p.lot, 0.0) * p.units for p in planting if p.recipe == UNTREATED)
    used -= sum(worth.get(s.lot, 0.0) * s.units for s in purchases)
    return SeedCost(bought=sum(s.cost for s in purchases), given_up=used)


def yield_loss(season: Season, planting: Iterable[Planting]) -> float:
    """Worth of the yield that planted acres are expected to lose; 0 where it is not weighed."""
    if not season.farm.weigh_yield_loss:
        return 0.0
    price = season.farm.soybean_price or 0.0
    return sum(
        p.acres
        * price
        * loss_per_acre(
            season.field_named[p.field],
            season.recipe_named.get(p.recipe),
            season.lot_named[p.lot].variety,
            season,
        )
        for p in planting
    )


def price_plan(
    season: Season,
    counts: Mapping[tuple[str, str], int],
    bags_bought: Mapping[str, int],
    treating: Iterable[Treating],
    planting: Iterable[Planting],
    run_order: Sequence[str] = (),
    *,
    bound: float = -math.inf,
    shortage_proven: bool = True,
) -> Plan:
    """Make a plan of whole decisions: its cost, order, seed purchases and product balances.

    Parameters
    ----------
    counts
        Containers to order, by product and container.
    bags_bought
        Full bags of seed to buy, by lot.
    run_order
        That of all recipes treated with, see `order_of_runs`.
    bound
        Proven: no plan costs less.
    shortage_proven
        Whether fewer acres short is proven impossible; what is short is left for the caller to say.
    """
    treating, planting = tuple(treating), tuple(planting)
    order = order_cost(season, counts)
    purchases = seed_purchases(season, bags_bought)
    uses = product_uses(season, treating, counts, run_order)
    seed = seed_costs(season, treating, planting, purchases)
    cost = Cost(
        containers=order.containers,
        freight=order.freight,
        discounts=order.discounts,
        seed_bought=seed.bought,
        seed_given_up=seed.given_up,
        carryover_credit=carryover(season, uses),
        yield_loss=yield_loss(season, planting),
    )
    outcome, gap, bound = proof(cost.total, bound, shortage_proven=shortage_proven)
    return Plan(
        outcome=outcome,
        gap=gap,
        bound=bound,
        cost=cost,
        order=order.lines,
        seed_purchases=purchases,
        treating=treating,
        planting=planting,
        products=uses,
        run_order=tuple(run_order),
        shortage_proven=shortage_proven,
    )

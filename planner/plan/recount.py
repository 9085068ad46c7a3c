"""A plan counted again: seed, product and money from its decisions and the season alone.

Nothing here looks at the plan's own totals, and nothing is shared with `planner.plan.price`,
which made them: the audit compares the two.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

from planner.agronomy.protection import rating
from planner.agronomy.rates import floz_per_unit
from planner.plan.plan import Cost
from planner.season.domain import UNTREATED, Rating

if TYPE_CHECKING:
    from planner.plan.plan import Plan
    from planner.season.domain import Container, DiscountLevel, Season, SeedLot

CRUMB = 1e-9
"""Share of a bag, or of a spend level, that is taken for rounding."""


class Bags(NamedTuple):
    """Bags of a lot on hand that are still to treat: `full` ones and units in a part bag."""

    full: int
    part: float


class Balance(NamedTuple):
    """A product's volumes counted again, fl oz."""

    need: float
    on_hand: float
    on_its_way: float
    bought: float

    @property
    def left(self) -> float:
        """What is over once the need is met; negative where it is not."""
        return self.on_hand + self.on_its_way + self.bought - self.need


def loose_units(lot: SeedLot, season: Season) -> float:
    """Units of a lot on hand that were not treated so far."""
    gone = math.fsum(t.units for t in season.treated if t.lot == lot.name)
    return max(0.0, lot.on_hand - gone)


def whole(units: float, units_per_bag: float) -> int:
    """Full bags in a number of units.

    >>> whole(120, 40), whole(119, 40), whole(0.3, 0.1)
    (3, 2, 3)
    """
    return math.floor(units / units_per_bag + CRUMB)


def bags_to_treat(lot: SeedLot, season: Season) -> Bags:
    """Bags of a lot on hand that can be treated; none where the lot is already treated."""
    if lot.treated_with is not None:
        return Bags(0, 0.0)
    units = loose_units(lot, season)
    full = whole(units, lot.units_per_bag)
    part = units - full * lot.units_per_bag
    return Bags(full, part if part > CRUMB * max(lot.units_per_bag, units) else 0.0)


def bought_units(plan: Plan, season: Season, lot: str) -> float:
    """Units of a lot that the plan buys: bags x units per bag."""
    per_bag = season.lot_named[lot].units_per_bag
    return per_bag * sum(s.bags for s in plan.seed_purchases if s.lot == lot)


def newly_treated(plan: Plan, season: Season) -> dict[tuple[str, str], float]:
    """Units that the plan treats, by (lot, recipe), counted bag by bag."""
    units: dict[tuple[str, str], float] = {}
    for t in plan.treating:
        lot = season.lot_named[t.lot]
        part = bags_to_treat(lot, season).part if t.part_bag else 0.0
        key = (t.lot, t.recipe)
        units[key] = units.get(key, 0.0) + t.full_bags * lot.units_per_bag + part
    return units


def treated_pool(plan: Plan, season: Season) -> dict[tuple[str, str], float]:
    """Units there are to plant under a recipe, by (lot, recipe), whenever they were treated."""
    pool = newly_treated(plan, season)
    for done in season.treated:
        pool[done.lot, done.recipe] = pool.get((done.lot, done.recipe), 0.0) + done.units
    for lot in season.lots:
        if lot.treated_with is not None:
            units = loose_units(lot, season) + bought_units(plan, season, lot.name)
            key = (lot.name, lot.treated_with)
            pool[key] = pool.get(key, 0.0) + units
    return pool


def planted_units(plan: Plan) -> dict[tuple[str, str], float]:
    """Units that the plan plants, by (lot, recipe); untreated seed under `UNTREATED`."""
    units: dict[tuple[str, str], float] = {}
    for p in plan.planting:
        units[p.lot, p.recipe] = units.get((p.lot, p.recipe), 0.0) + p.units
    return units


def times_primed(plan: Plan, season: Season, product: str) -> int:
    """How often a product comes onto the line, as the plan's recipes run."""
    has = {r.name: any(x.product == product for x in r.rates) for r in season.recipes}
    on = [False, *(has[name] for name in plan.run_order)]
    return sum(now and not before for before, now in pairwise(on))


def balances(plan: Plan, season: Season) -> dict[str, Balance]:
    """Volumes of every product, counted from bags treated and containers."""
    usable = {(c.product, c.name): c.size - c.heel for c in season.containers}
    seed = newly_treated(plan, season)
    run = {recipe for (_, recipe), units in seed.items() if units > 0.0}
    result = {}
    for product in season.products:
        need = 0.0
        for recipe in season.recipes:
            rates = [r for r in recipe.rates if r.product == product.name]
            for lot in season.lots if rates else ():
                units = seed.get((lot.name, recipe.name), 0.0)
                per_unit = math.fsum(floz_per_unit(r, lot, season) for r in rates)
                need += units * per_unit * (1.0 + season.farm.product_margin)
            if rates and recipe.name in run and not season.farm.line_stays_primed:
                need += product.line_loss
        if season.farm.line_stays_primed:
            need += product.line_loss * times_primed(plan, season, product.name)
        good = product.expires is None or product.expires >= season.farm.first_treating_day
        result[product.name] = Balance(
            need=need,
            on_hand=product.on_hand if good else 0.0,
            on_its_way=math.fsum(
                o.count * usable[o.product, o.container]
                for o in season.ordered
                if o.product == product.name
            ),
            bought=math.fsum(
                o.count * usable[o.product, o.container]
                for o in plan.order
                if o.product == product.name
            ),
        )
    return result


def break_price(container: Container, count: int) -> float | None:
    """Price of each container at a count; None under the lowest count that can be ordered."""
    price = None
    for b in sorted(container.breaks, key=lambda b: b.from_count):
        if count >= b.from_count:
            price = b.price
    return price


def list_spends(plan: Plan, season: Season) -> dict[tuple[str, str], float]:
    """List spend of every order line, by (product, container); 0 where it has no price."""
    containers = {(c.product, c.name): c for c in season.containers}
    return {
        (o.product, o.container): o.count
        * (break_price(containers[o.product, o.container], o.count) or 0.0)
        for o in plan.order
    }


def cost(plan: Plan, season: Season) -> Cost:
    """Every cost term counted again from the plan's decisions."""
    spends = list_spends(plan, season)
    return Cost(
        containers=math.fsum(spends.values()),
        freight=_freight(spends, season),
        discounts=_discounts(spends, season),
        seed_bought=math.fsum(
            bought_units(plan, season, lot.name) * lot.buy_price for lot in season.lots
        ),
        seed_given_up=_given_up(plan, season),
        carryover_credit=_carryover(plan, season),
        yield_loss=_yield_loss(plan, season),
    )


def _supplier_of(season: Season) -> dict[tuple[str, str], str | None]:
    return {(c.product, c.name): c.supplier for c in season.containers}


def _enough(spend: float, level: float) -> bool:
    return spend - level >= -CRUMB * max(1.0, level)


def _freight(spends: dict[tuple[str, str], float], season: Season) -> float:
    home = _supplier_of(season)
    total = 0.0
    for supplier in season.suppliers:
        theirs = [money for key, money in spends.items() if home[key] == supplier.name]
        free = supplier.free_from is not None and _enough(math.fsum(theirs), supplier.free_from)
        if theirs and not free:
            total += supplier.freight
    return total


def _discounts(spends: dict[tuple[str, str], float], season: Season) -> float:
    home = _supplier_of(season)
    savings: dict[tuple[str, str | None], list[float]] = {}
    for level in season.discounts:
        counted = math.fsum(
            money
            for key, money in spends.items()
            if level.supplier in (None, home[key])
            and (not level.products or key[0] in level.products)
            and not _too_late(level, home[key], season)
        )
        worth = counted * level.percent if _enough(counted, level.spend) else 0.0
        savings.setdefault((level.name, level.supplier), []).append(worth)
    return math.fsum(max(group) for group in savings.values())


def _too_late(level: DiscountLevel, supplier: str | None, season: Season) -> bool:
    """Whether a supplier is ordered from after the day of a discount."""
    due = {s.name: s.order_by for s in season.suppliers}.get(supplier or "")
    return level.order_by is not None and due is not None and due > level.order_by


def _given_up(plan: Plan, season: Season) -> float:
    seed = newly_treated(plan, season)
    untreated = planted_units(plan)
    total = 0.0
    for lot in season.lots:
        if lot.treated_with is not None:
            continue
        used = math.fsum(units for (name, _), units in seed.items() if name == lot.name)
        used += untreated.get((lot.name, UNTREATED), 0.0)
        total += lot.return_value * (used - bought_units(plan, season, lot.name))
    return total


def _carryover(plan: Plan, season: Season) -> float:
    total = 0.0
    balance = balances(plan, season)
    for product in season.products:
        prices = [
            b.price / c.size
            for c in season.containers
            if c.product == product.name
            for b in c.breaks
        ]
        if prices:
            left = max(0.0, balance[product.name].left)
            total += product.carryover * min(prices) * left
    return total


def _yield_loss(plan: Plan, season: Season) -> float:
    if not season.farm.weigh_yield_loss:
        return 0.0
    variety = {lot.name: lot.variety for lot in season.lots}
    bushels = 0.0
    for p in plan.planting:
        field = season.field_named[p.field]
        own = season.tolerance.get(variety[p.lot], {})
        left = []
        for threat in season.threats:
            loss = threat.loss.get(field.pressure_of(threat.name), 0.0)
            held = rating(season.recipe_named.get(p.recipe), threat.name, season.product_named)
            kept = season.control.get(held, 0.0) if held > Rating.NONE else 0.0
            born = season.control.get(own[threat.name], 0.0) if threat.name in own else 0.0
            left.append(loss * (1.0 - kept) * (1.0 - born))
        bushels += p.acres * _taken(left, field.expected_yield)
    return bushels * (season.farm.soybean_price or 0.0)


def _taken(losses: list[float], crop: float | None) -> float:
    """Bushels an acre lost: the sum, or one threat after the other off what stands of a crop."""
    if crop is None:
        return math.fsum(losses)
    stands = crop
    for loss in losses:
        stands -= stands * min(loss, crop) / crop
    return crop - stands

"""Seed that a plan leaves unused: by lot, and by the recipe that is already on it."""

from __future__ import annotations

from collections import defaultdict
from math import floor, inf
from typing import TYPE_CHECKING, NamedTuple

from planner.agronomy.rates import floz_per_unit
from planner.agronomy.seeding import units_per_acre
from planner.agronomy.suitability import lot_obstacles
from planner.season.domain import UNTREATED, SeedingRate
from planner.sums import summed

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from planner.plan.plan import Plan
    from planner.season.domain import Field, Recipe, Season, SeedLot

CRUMB = 1e-4
"""Units or acres that count as none: plans are exact to some 1e-6 of a field or lot."""


class Pool(NamedTuple):
    """Seed of one lot in one state."""

    lot: str
    recipe: str | None
    """Recipe that is on it; None while it may still be treated or stay untreated."""
    units: float


def buyable(lot: SeedLot) -> float:
    """Units that can be bought in full bags."""
    return int(lot.can_buy / lot.units_per_bag + 1e-9) * lot.units_per_bag


def not_bought(lot: SeedLot, plan: Plan) -> float:
    """Units of a lot that are for sale and that the plan doesn't buy."""
    bought = sum(s.units for s in plan.seed_purchases if s.lot == lot.name)
    return max(0.0, buyable(lot) - bought)


def all_seed(season: Season) -> dict[tuple[str, str | None], float]:
    """Units on hand and still available, by (lot, recipe that is on it)."""
    pools: dict[tuple[str, str | None], float] = defaultdict(float)
    for lot in season.lots:
        pools[lot.name, lot.treated_with] += lot.on_hand + buyable(lot)
    for done in season.treated:
        whole = season.lot_named[done.lot].treated_with
        pools[done.lot, whole] -= done.units
        pools[done.lot, done.recipe] += done.units
    return dict(pools)


def unused(plan: Plan, season: Season) -> tuple[Pool, ...]:
    """Seed that the plan neither plants nor, if treated, plants elsewhere; buyable seed included.

    Bags that the plan treats but does not empty are in the pool of their recipe.
    """
    pools: dict[tuple[str, str | None], float] = defaultdict(float, all_seed(season))
    for t in plan.treating:
        pools[t.lot, None] -= t.units
        pools[t.lot, t.recipe] += t.units
    for p in plan.planting:
        pools[p.lot, None if p.recipe == UNTREATED else p.recipe] -= p.units
    return tuple(Pool(lot, recipe, u) for (lot, recipe), u in pools.items() if u > CRUMB)


def usable_on(
    field: Field, pools: Iterable[Pool], pairs: Mapping[tuple[str, str], list[str]]
) -> tuple[Pool, ...]:
    """Pools that may be planted on a field as they are or once treated; `pairs` is `suitable`."""
    return tuple(
        p
        for p in pools
        if (allowed := pairs.get((field.name, p.lot))) and (p.recipe is None or p.recipe in allowed)
    )


def acres_from(field: Field, pools: Iterable[Pool], season: Season) -> float:
    """Acres of a field that pools of suitable lots would plant."""
    return sum(p.units / units_per_acre(field, season.lot_named[p.lot], season.farm) for p in pools)


def acres_to_treat(
    field: Field,
    pools: Sequence[Pool],
    pairs: Mapping[tuple[str, str], list[str]],
    plan: Plan,
    season: Season,
) -> float:
    """Acres of a field that pools of suitable lots would plant, those that are open once treated.

    As far as product left or for sale goes, under the one recipe that goes furthest.
    """

    def goes_as_it_is(pool: Pool) -> bool:
        return pool.recipe is not None or UNTREATED in pairs[field.name, pool.lot]

    ready = [p for p in pools if goes_as_it_is(p)]
    to_treat = [p for p in pools if not goes_as_it_is(p)]
    under = [
        _acres_under(recipe, field, fit, plan, season)
        for recipe in season.recipes
        if (fit := [p for p in to_treat if recipe.name in pairs[field.name, p.lot]])
    ]
    return acres_from(field, ready, season) + max(under, default=0.0)


def _acres_under(
    recipe: Recipe, field: Field, pools: Sequence[Pool], plan: Plan, season: Season
) -> float:
    """Acres that the bags of some pools plant that product is there for."""
    run = any(t.recipe == recipe.name for t in plan.treating)
    room = {
        rate.product: _room(rate.product, plan, season)
        - (0.0 if run else season.product_named[rate.product].line_loss)
        for rate in recipe.rates
    }
    acres = 0.0
    for pool in pools:
        lot = season.lot_named[pool.lot]
        each = summed((r.product, floz_per_unit(r, lot, season)) for r in recipe.rates)
        more = 1.0 + season.farm.product_margin
        units = min((room[p] / (floz * more) for p, floz in each.items() if floz > 0), default=inf)
        if units < pool.units:  # bags are treated whole
            units = max(0.0, floor(units / lot.units_per_bag + CRUMB) * lot.units_per_bag)
        units = min(units, pool.units)
        for product, floz in each.items():
            room[product] -= units * floz * more
        acres += units / units_per_acre(field, lot, season.farm)
    return acres


def _room(product: str, plan: Plan, season: Season) -> float:
    """Fl oz of a product that the plan leaves, and that are still for sale."""
    ordered = plan.counts
    left = sum(u.left for u in plan.products if u.product == product)
    for c in season.containers:
        if c.product == product:
            more = inf if c.most is None else c.most - ordered.get((product, c.name), 0)
            left += more * c.usable if more > 0 else 0.0
    return left


def needed_units(field: Field, season: Season) -> tuple[float, float]:
    """Least and most units that a field takes, over the lots that suit it.

    They differ only where the field is given by stand. (0, 0) where no lot suits.
    """
    if isinstance(field.sowing, SeedingRate):
        farm = season.farm
        units = field.acres * field.sowing.seeds * (1.0 + farm.spare_seed) / farm.seeds_per_unit
        return units, units
    each = [
        field.acres * units_per_acre(field, lot, season.farm)
        for lot in season.lots
        if lot.germination is not None and not lot_obstacles(field, lot)
    ]
    return (min(each), max(each)) if each else (0.0, 0.0)


def units_for(field: Field, acres: float, lots: Iterable[SeedLot], season: Season) -> float:
    """Fewest units that acres of a field take from any of some lots; 0 where that is not known.

    A lot without germination cannot be calculated where the field is given by stand.
    """
    needs = []
    for lot in lots:
        try:
            needs.append(units_per_acre(field, lot, season.farm) * acres)
        except ValueError:
            continue
    return min(needs, default=0.0)


def units_short(
    field: Field, acres: float, season: Season, pairs: Mapping[tuple[str, str], list[str]]
) -> float:
    """Fewest units that short acres of a field would take, of lots that may go on it if any may.

    `pairs` is `suitable` of the season.
    """
    allowed = [lot for lot in season.lots if pairs.get((field.name, lot.name))]
    if not allowed:
        allowed = [lot for lot in season.lots if not lot_obstacles(field, lot)]
    return units_for(field, acres, allowed or season.lots, season)

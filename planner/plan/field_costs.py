"""What each field's seed and treating cost: the plan's total, shared out.

Every cost term is passed on by use: an order's cost to products (freight and discounts by list
spend), a product's to lots by what their seed takes, a lot's to fields by the units planted there.
Shares of all fields and of what is on no field add up to the plan's total.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

from planner.agronomy.protection import loss_per_acre
from planner.agronomy.rates import floz_per_unit
from planner.plan.price import best_levels, lowest_price_per_floz, qualifying_spend, reaches
from planner.season.domain import UNTREATED

if TYPE_CHECKING:
    from planner.plan.plan import Plan
    from planner.season.domain import Season

NO_FIELD = ""
"""Name of the share that falls on no field: left-over seed of lots that are planted nowhere."""

Key = tuple[str, str]
"""Lot and recipe."""


@dataclass(frozen=True, slots=True)
class FieldCost:
    """Share of a field in the plan's cost, in the farm's currency."""

    field: str
    acres: float
    """Planted."""
    products: float
    """Containers, freight, less discounts and carryover credit."""
    seed: float
    """Seed bought and given up."""
    yield_loss: float
    total: float


def product_costs(plan: Plan, season: Season) -> dict[str, float]:
    """Net cost of every product ordered or credited: containers, freight, discounts, carryover."""
    spend: dict[str, float] = defaultdict(float)
    for line in plan.order:
        spend[line.supplier] += line.cost
    costs: dict[str, float] = defaultdict(float)
    for line in plan.order:
        costs[line.product] += line.cost
    for supplier in season.suppliers:
        lines = [x for x in plan.order if x.supplier == supplier.name]
        free = supplier.free_from is not None and reaches(spend[supplier.name], supplier.free_from)
        if lines and not free:
            total = spend[supplier.name]
            for line in lines:
                share = line.cost / total if total > 0 else 1 / len(lines)
                costs[line.product] += supplier.freight * share
    for level, _ in best_levels(season, plan.order).values():
        for line in plan.order:
            costs[line.product] -= level.percent * qualifying_spend(level, [line], season)
    share_left = {p.name: p.carryover for p in season.products}
    for use in plan.products:
        if share_left[use.product] > 0:
            credit = share_left[use.product] * lowest_price_per_floz(season, use.product)
            costs[use.product] -= credit * max(0.0, use.left)
    return dict(costs)


def _lot_costs(plan: Plan, season: Season) -> tuple[dict[Key, float], dict[Key, float]]:
    """Cost of product and of seed by lot and recipe."""
    lots = {lot.name: lot for lot in season.lots}
    products = {p.name: p for p in season.products}
    recipes = {r.name: r for r in season.recipes}
    use: dict[str, dict[Key, float]] = defaultdict(lambda: defaultdict(float))
    for t in plan.treating:
        for rate in recipes[t.recipe].rates:
            amount = floz_per_unit(rate, lots[t.lot], products[rate.product], season.farm)
            use[rate.product][t.lot, t.recipe] += amount * t.units
    on_product: dict[Key, float] = defaultdict(float)
    for product, cost in product_costs(plan, season).items():
        total = sum(use[product].values())
        if total <= 0:
            on_product[NO_FIELD, UNTREATED] += cost
        for key, amount in use[product].items():
            on_product[key] += cost * amount / total if total > 0 else 0.0
    return dict(on_product), _seed_costs(plan, season)


def _seed_costs(plan: Plan, season: Season) -> dict[Key, float]:
    """Cost of seed by lot and recipe: bought and given up, by the units used."""
    lots = {lot.name: lot for lot in season.lots}
    used: dict[str, dict[Key, float]] = defaultdict(lambda: defaultdict(float))
    for t in plan.treating:
        used[t.lot][t.lot, t.recipe] += t.units
    for p in plan.planting:
        if p.recipe == UNTREATED or lots[p.lot].treated_with is not None:
            used[p.lot][p.lot, p.recipe] += p.units
    bought = {s.lot: s for s in plan.seed_purchases}
    costs: dict[Key, float] = defaultdict(float)
    for name, lot in lots.items():
        units = sum(used[name].values())
        cost = bought[name].cost if name in bought else 0.0
        if lot.treated_with is None:
            kept = bought[name].units if name in bought else 0.0
            cost += lot.return_value * (units - kept)
        if units <= 0:
            costs[NO_FIELD, UNTREATED] += cost
        for key, amount in used[name].items():
            costs[key] += cost * amount / units if units > 0 else 0.0
    return dict(costs)


def _loss(plan: Plan, season: Season) -> dict[str, float]:
    """Worth of the expected yield loss by field; nothing where it is not weighed."""
    loss: dict[str, float] = defaultdict(float)
    if not season.farm.weigh_yield_loss:
        return loss
    products = {p.name: p for p in season.products}
    recipes = {r.name: r for r in season.recipes}
    fields = {f.name: f for f in season.fields}
    own = {lot.name: season.tolerance.get(lot.variety) for lot in season.lots}
    for p in plan.planting:
        recipe, tolerance = recipes.get(p.recipe), own[p.lot]
        bushels = loss_per_acre(
            fields[p.field], recipe, season.threats, season.control, products, tolerance
        )
        loss[p.field] += p.acres * bushels * (season.farm.soybean_price or 0.0)
    return loss


def field_costs(plan: Plan, season: Season) -> tuple[FieldCost, ...]:
    """Share the plan's total out to its planted fields, in the season's order.

    Where something falls on no field, a last record has `NO_FIELD` for a name. All shares add up
    to ``plan.cost.total``.
    """
    by_product, by_seed = _lot_costs(plan, season)
    loss = _loss(plan, season)
    planted: dict[Key, float] = defaultdict(float)
    for p in plan.planting:
        planted[p.lot, p.recipe] += p.units
    acres: dict[str, float] = defaultdict(float)
    product: dict[str, float] = defaultdict(float)
    seed: dict[str, float] = defaultdict(float)
    for p in plan.planting:
        key = (p.lot, p.recipe)
        share = p.units / planted[key] if planted[key] > 0 else 0.0
        acres[p.field] += p.acres
        product[p.field] += share * by_product.get(key, 0.0)
        seed[p.field] += share * by_seed.get(key, 0.0)
    on_fields = {key for key, units in planted.items() if units > 0}
    product[NO_FIELD] = sum(v for key, v in by_product.items() if key not in on_fields)
    seed[NO_FIELD] = sum(v for key, v in by_seed.items() if key not in on_fields)
    names = [f.name for f in season.fields if f.name in acres]
    if abs(product[NO_FIELD]) + abs(seed[NO_FIELD]) > 0.005:
        names.append(NO_FIELD)
    return tuple(
        FieldCost(
            name,
            acres[name],
            product[name],
            seed[name],
            loss[name],
            product[name] + seed[name] + loss[name],
        )
        for name in names
    )

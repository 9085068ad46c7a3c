"""Recipe cards: everything that a licensed person wants to see before signing a recipe."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.agronomy.rates import (
    floz_per_cwt,
    floz_per_unit,
    lb_per_acre,
    liquid_per_cwt,
    mg_per_seed,
)
from planner.agronomy.seeding import drop_rate, unit_weight
from planner.campaign.domain import Card, CardActive, CardLine, CardLot
from planner.plan.price import order_days
from planner.units.exact import FLOZ_PER_GAL, MG_PER_LB

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    from planner.campaign.domain import Batch, Share
    from planner.plan.plan import Plan
    from planner.season.domain import Rate, Recipe, Season, SeedLot


def cards(
    season: Season, plan: Plan, batches: Sequence[Batch], shares: Sequence[Share]
) -> tuple[Card, ...]:
    """One card for every recipe that is run; the day it is needed by comes with the calendar."""
    run = {b.recipe for b in batches}
    return tuple(
        _card(season, plan, recipe, batches, shares)
        for recipe in season.recipes
        if recipe.name in run
    )


def _card(
    season: Season,
    plan: Plan,
    recipe: Recipe,
    batches: Sequence[Batch],
    shares: Sequence[Share],
) -> Card:
    mine = sorted((b for b in batches if b.recipe == recipe.name), key=lambda b: b.lot)
    planted = [s for s in shares if s.recipe == recipe.name and (s.lot in {b.lot for b in mine})]
    order_by, bought = _ordered(season, plan, recipe)
    every = (*recipe.rates, *recipe.carriers)
    return Card(
        recipe=recipe.name,
        needed_by=None,
        approved_by=recipe.approved_by or "",
        approved_on=recipe.approved_on,
        lines=tuple(_line(season, rate, season.lot_named[b.lot]) for b in mine for rate in every),
        lots=tuple(_lot(season, recipe, season.lot_named[b.lot], b) for b in mine),
        fields=tuple(sorted({s.field for s in planted})),
        actives=_actives(season, recipe, planted),
        liquid_warning=season.farm.liquid_warning,
        liquid_limit=season.farm.liquid_limit,
        order_by=order_by,
        bought=bought,
        treated_from=min(
            (t.on for t in season.treated if t.recipe == recipe.name and t.on), default=None
        ),
    )


def _ordered(season: Season, plan: Plan, recipe: Recipe) -> tuple[date | None, str]:
    """First last day to order of what is bought for a recipe, and what is ordered then."""
    due = order_days(season, plan.order)
    products = {r.product for r in recipe.rates}
    found: dict[date, list[str]] = {}
    for line in plan.order:
        day = due.get(line.supplier or "")
        if line.count and line.product in products and day is not None:
            found.setdefault(day, []).append(line.product)
    if not found:
        return None, ""
    first = min(found)
    return first, ", ".join(dict.fromkeys(found[first]))


def _line(season: Season, rate: Rate, lot: SeedLot) -> CardLine:
    every = (*season.products, *season.carriers)
    product = next(p for p in every if p.name == rate.product)
    per_unit = floz_per_unit(rate, lot, season)
    per_seed = per_unit / season.farm.seeds_per_unit
    return CardLine(
        product=product.name,
        kind=product.kind,
        written=rate.written or f"{rate.amount:g} {rate.basis.value}",
        lot=lot.name,
        floz_per_unit=per_unit,
        floz_per_cwt=floz_per_cwt(rate, lot, season),
        actives=tuple(a.ingredient for a in product.actives),
        mg_per_seed=tuple(
            per_seed * a.concentration * MG_PER_LB / FLOZ_PER_GAL for a in product.actives
        ),
    )


def _lot(season: Season, recipe: Recipe, lot: SeedLot, batch: Batch) -> CardLot:
    liquid = liquid_per_cwt(recipe, lot, season)
    polymer = sum(
        floz_per_cwt(r, lot, season)
        for r in recipe.rates
        if season.product_named[r.product].kind == "polymer"
    )
    return CardLot(
        lot=lot.name,
        variety=lot.variety,
        bags=batch.bags,
        units=batch.units,
        liquid_per_unit=liquid * unit_weight(lot, season.farm) / 100.0,
        liquid_per_cwt=liquid,
        polymer_share=polymer / liquid if liquid else 0.0,
    )


def _actives(season: Season, recipe: Recipe, planted: Sequence[Share]) -> tuple[CardActive, ...]:
    limits = {a.ingredient: a for a in season.active_limits}
    found = []
    for share in planted:
        lot = season.lot_named[share.lot]
        seeds = drop_rate(season.field_named[share.field], lot)
        for ingredient, mg in mg_per_seed(recipe, lot, season).items():
            limit = limits.get(ingredient)
            found.append(
                CardActive(
                    field=share.field,
                    lot=share.lot,
                    ingredient=ingredient,
                    lb_per_acre=lb_per_acre(mg, seeds),
                    most=limit.per_acre if limit else None,
                    mg_per_seed=mg,
                    most_mg=limit.per_seed if limit else None,
                )
            )
    return tuple(sorted(found, key=lambda a: (a.ingredient, -a.lb_per_acre, a.field, a.lot)))

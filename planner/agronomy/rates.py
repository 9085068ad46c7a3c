"""Any rate of a recipe as fl oz a unit of a lot, fl oz per cwt, or mg of active a seed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.agronomy.seeding import unit_weight
from planner.season.domain import POWDER, Basis
from planner.units.exact import FLOZ_PER_GAL, KG_PER_LB, LB_PER_CWT, MG_PER_LB

if TYPE_CHECKING:
    from planner.season.domain import Product, Rate, Recipe, Season, SeedLot

LB_PER_100KG = 100.0 / KG_PER_LB
SLACK = 1e-9
"""Share of an amount that is rounding."""


def concentration(product: Product, ingredient: str | None) -> float:
    """Strength of a product in an active ingredient (its only one where none is named), lb/gal.

    Raises
    ------
    ValueError
        When the product has no such ingredient, or several and none is named.
    """
    found = [a for a in product.actives if ingredient is None or a.ingredient == ingredient]
    if len(found) != 1:
        msg = f"product {product.name} has {len(found)} active ingredients that would fit"
        raise ValueError(msg)
    return found[0].concentration


def floz_per_unit(rate: Rate, lot: SeedLot, season: Season) -> float:
    """Fl oz of its product that a rate puts on one unit of a lot.

    fl oz/cwt: rate x unit weight / 100 lb. mg/seed: rate x seeds a unit / strength. g/100 kg: rate
    x unit weight / strength.
    """
    weight = unit_weight(lot, season.farm)
    if rate.basis is Basis.FLOZ_PER_UNIT:
        return rate.amount
    if rate.basis is Basis.FLOZ_PER_CWT:
        return rate.amount * weight / LB_PER_CWT
    strength = concentration(season.product_named[rate.product], rate.active)
    mg_per_floz = strength * MG_PER_LB / FLOZ_PER_GAL
    if rate.basis is Basis.MG_PER_SEED:
        return rate.amount * season.farm.seeds_per_unit / mg_per_floz
    return rate.amount * 1000.0 * weight / LB_PER_100KG / mg_per_floz


def floz_per_cwt(rate: Rate, lot: SeedLot, season: Season) -> float:
    """Fl oz of its product that a rate puts on 100 lb of a lot."""
    return floz_per_unit(rate, lot, season) * LB_PER_CWT / unit_weight(lot, season.farm)


def liquid_per_cwt(recipe: Recipe, lot: SeedLot, season: Season) -> float:
    """All liquid that a recipe puts on 100 lb of a lot, fl oz; a dry powder is none."""
    wet = [r for r in recipe.rates if season.product_named[r.product].kind != POWDER]
    total = sum(floz_per_cwt(r, lot, season) for r in wet)
    return total + sum(floz_per_cwt(r, lot, season) for r in recipe.carriers)


def warned(floz_a_cwt: float, warning: float | None) -> bool:
    """Whether so much liquid on seed reaches the farm's warning, both in fl oz per cwt.

    >>> warned(7.7, 7.7), warned(7.69, 7.7), warned(7.69, None)
    (True, False, False)
    """
    return warning is not None and floz_a_cwt >= warning * (1.0 - SLACK)


def mg_per_seed(recipe: Recipe, lot: SeedLot, season: Season) -> dict[str, float]:
    """Active ingredients that a recipe puts on one seed of a lot, mg, by ingredient."""
    total: dict[str, float] = {}
    for rate in recipe.rates:
        floz_per_seed = floz_per_unit(rate, lot, season) / season.farm.seeds_per_unit
        for active in season.product_named[rate.product].actives:
            mg = floz_per_seed * active.concentration * MG_PER_LB / FLOZ_PER_GAL
            total[active.ingredient] = total.get(active.ingredient, 0.0) + mg
    return total


def lb_per_acre(mg_a_seed: float, seeds_per_acre: float) -> float:
    """Pounds of active ingredient on an acre.

    >>> round(lb_per_acre(0.15, 140_000), 6)
    0.046297
    """
    return mg_a_seed * seeds_per_acre / MG_PER_LB

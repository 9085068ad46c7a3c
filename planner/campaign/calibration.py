"""Calibration sheets: from the tag of a lot to what a timed catch of product should hold.

All of it follows from pounds: a unit weighs seeds per unit / seeds per lb, and at a seed flow in
lb/min a product flows at flow x (fl oz per cwt) / 100.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from planner.agronomy.seeding import unit_weight
from planner.campaign.domain import Calibration, Catch, Dose, SizeRow
from planner.campaign.premix import amounts, pump_names, streams
from planner.units.exact import G_PER_LB, LB_PER_CWT, ML_PER_FLOZ

if TYPE_CHECKING:
    from collections.abc import Sequence

    from planner.campaign.domain import Batch
    from planner.campaign.premix import Group
    from planner.season.domain import Recipe, Season, SeedLot

CATCH_SECONDS = (15, 30, 60)
TOLERANCE = 0.05
"""Band around a catch; common practice, the product's label or the maker may ask for less."""
SIZE_CHANGES = (-0.10, -0.05, 0.0, 0.05, 0.10)


def grams_per_1000(seeds_per_lb: float) -> float:
    """Weight of 1,000 seeds in g.

    >>> round(grams_per_1000(2800), 3)
    161.997
    """
    return 1000.0 * G_PER_LB / seeds_per_lb


def flow_of_catch(weight: float) -> float:
    """Seed a minute by the weight caught in half of one.

    >>> flow_of_catch(137.5)
    275.0
    """
    return weight * 2.0


def on_seed_by_flow(change: float) -> float:
    """Share by which the liquid on seed is off where the seed flow is, and pumps stay as they are.

    A fifth less seed gets a quarter more liquid, 7.5 in place of 6 fl oz/cwt:

    >>> round(6.0 * (1.0 + on_seed_by_flow(-0.2)), 9)
    7.5
    """
    return 1.0 / (1.0 + change) - 1.0


def calibration(season: Season, batch: Batch) -> Calibration:
    """Calibration sheet of a batch."""
    recipe, lot = season.recipe_named[batch.recipe], season.lot_named[batch.lot]
    groups = streams(season, recipe)
    names = pump_names(groups)
    return Calibration(
        lot=lot.name,
        recipe=recipe.name,
        seeds_per_lb=lot.seeds_per_lb,
        grams_per_1000=grams_per_1000(lot.seeds_per_lb),
        unit_weight=unit_weight(lot, season.farm),
        bag_weight=unit_weight(lot, season.farm) * lot.units_per_bag,
        seed_flow=season.farm.seed_flow,
        doses=doses(season, recipe, lot, groups),
        sizes=tuple(_size(season, recipe, lot, groups, change) for change in SIZE_CHANGES),
        premixed=tuple(
            (name, *(p.name for p in group))
            for name, group in zip(names, groups, strict=True)
            if len(group) > 1
        ),
    )


def _size(
    season: Season, recipe: Recipe, lot: SeedLot, groups: Sequence[Group], change: float
) -> SizeRow:
    real = replace(lot, seeds_per_lb=lot.seeds_per_lb * (1.0 + change))
    weight = unit_weight(real, season.farm)
    return SizeRow(
        change=change,
        seeds_per_lb=real.seeds_per_lb,
        unit_weight=weight,
        bag_weight=weight * lot.units_per_bag,
        doses=tuple(replace(d, catches=()) for d in doses(season, recipe, real, groups)),
    )


def doses(
    season: Season, recipe: Recipe, lot: SeedLot, groups: Sequence[Group] = ()
) -> tuple[Dose, ...]:
    """Every pump of a recipe on a lot: on a unit, a cwt and a bag, a minute and in a catch.

    `groups` are the recipe's products by pump, where they are known already.
    """
    weight = unit_weight(lot, season.farm)
    each = amounts(season, recipe, lot)
    groups = groups or streams(season, recipe)
    return tuple(
        dose(
            name,
            sum(each[p.name] for p in group),
            weight,
            lot.units_per_bag,
            season.farm.seed_flow,
        )
        for group, name in zip(groups, pump_names(groups), strict=True)
    )


def dose(
    product: str, per_unit: float, unit_lb: float, units_per_bag: float, flow: float | None
) -> Dose:
    """One product: fl oz a unit in every form that the shop needs.

    300 lb of seed a minute at 6 fl oz/cwt take 18 fl oz a minute, and a catch of 30 s holds 9:

    >>> made = dose("any", 3.0, 50.0, 40.0, 300.0)
    >>> made.floz_per_cwt, made.floz_per_min, made.catches[1].floz
    (6.0, 18.0, 9.0)
    """
    per_cwt = per_unit * LB_PER_CWT / unit_lb
    ml = per_unit * units_per_bag * ML_PER_FLOZ
    if flow is None:
        return Dose(product, per_unit, per_cwt, ml)
    minute = flow * per_cwt / LB_PER_CWT
    return Dose(
        product,
        per_unit,
        per_cwt,
        ml,
        minute,
        minute * ML_PER_FLOZ,
        tuple(catch(minute, seconds) for seconds in CATCH_SECONDS),
    )


def catch(floz_per_min: float, seconds: int) -> Catch:
    """What a catch of that many seconds should hold, with its band."""
    floz = floz_per_min * seconds / 60.0
    ml = floz * ML_PER_FLOZ
    return Catch(seconds, floz, ml, ml * (1.0 - TOLERANCE), ml * (1.0 + TOLERANCE))

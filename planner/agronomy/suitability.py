"""Which lot under which recipe may go on which field, and if not, why not."""

from __future__ import annotations

from enum import Enum
from itertools import chain
from typing import TYPE_CHECKING, NamedTuple

from planner.agronomy.protection import need, reached
from planner.agronomy.rates import lb_per_acre, liquid_per_cwt, mg_per_seed
from planner.agronomy.seeding import drop_rate
from planner.season.domain import UNTREATED

if TYPE_CHECKING:
    from planner.season.domain import Field, Recipe, Season, SeedLot

TOLERANCE = 1e-9
"""Relative slack in comparisons of computed amounts with limits."""


class Bar(Enum):
    """What keeps a lot or a recipe off a field."""

    MATURITY = "maturity outside the field's window"
    TRAIT = "trait does not fit"
    GROWER = "seed of another grower"
    VARIETY = "not among the field's only varieties"
    PROTECTION = "protection too weak"
    RECIPE = "not among the field's only recipes"
    UNTREATED = "seed may not be planted untreated"
    TREATED = "lot is already treated with another recipe"
    LIQUID = "more liquid than the limit"
    ACTIVE = "more active ingredient than the limit"


class Obstacle(NamedTuple):
    """A bar and the item that it is about (a threat, an ingredient), empty where there is none."""

    bar: Bar
    about: str = ""


def lot_obstacles(field: Field, lot: SeedLot) -> list[Obstacle]:
    """Everything that keeps a lot off a field, whatever the recipe; empty if it suits."""
    found = []
    low = field.earliest is not None and lot.maturity < field.earliest - TOLERANCE
    high = field.latest is not None and lot.maturity > field.latest + TOLERANCE
    if low or high:
        found.append(Obstacle(Bar.MATURITY))
    if field.traits and not set(field.traits) & set(lot.trait):
        found.append(Obstacle(Bar.TRAIT))
    if field.grower and lot.grower and field.grower != lot.grower:
        found.append(Obstacle(Bar.GROWER))
    if field.only_varieties and lot.variety not in field.only_varieties:
        found.append(Obstacle(Bar.VARIETY))
    return found


def recipe_obstacles(field: Field, recipe: Recipe | None, season: Season) -> list[Obstacle]:
    """Everything but protection that keeps a recipe (None: untreated) off a field, on any lot."""
    found = []
    name = recipe.name if recipe else UNTREATED
    if recipe is None and not season.farm.allow_untreated:
        found.append(Obstacle(Bar.UNTREATED))
    if field.only_recipes and name not in field.only_recipes:
        found.append(Obstacle(Bar.RECIPE))
    return found


def protection_obstacles(
    field: Field, variety: str, recipe: Recipe | None, season: Season
) -> list[Obstacle]:
    """Threats that a recipe (None: untreated) on a variety holds too weakly for a field."""
    own = season.tolerance.get(variety, {})
    return [
        Obstacle(Bar.PROTECTION, threat.name)
        for threat in season.threats
        if reached(recipe, threat, season.product_named, own) < need(field, threat)
    ]


def seed_obstacles(lot: SeedLot, recipe: Recipe | None, season: Season) -> list[Obstacle]:
    """Everything that keeps a recipe (None: untreated) off the seed of a lot, on any field.

    A lot that is already treated can be planted under that recipe only.
    """
    found = []
    if lot.treated_with is not None and (recipe is None or recipe.name != lot.treated_with):
        found.append(Obstacle(Bar.TREATED, lot.treated_with))
    if recipe is None:
        return found
    limit = season.farm.liquid_limit
    if limit is not None:
        liquid = liquid_per_cwt(recipe, lot, season)
        if liquid > limit * (1.0 + TOLERANCE):
            found.append(Obstacle(Bar.LIQUID))
    mg = mg_per_seed(recipe, lot, season)
    for active in season.active_limits:
        cap = active.per_seed
        if cap is not None and mg.get(active.ingredient, 0.0) > cap * (1.0 + TOLERANCE):
            found.append(Obstacle(Bar.ACTIVE, active.ingredient))
    return found


def acre_obstacles(
    field: Field, lot: SeedLot, recipe: Recipe | None, season: Season
) -> list[Obstacle]:
    """Active ingredients that a lot under a recipe would put on an acre of a field past a limit."""
    if recipe is None or not season.acre_limits:
        return []
    mg = mg_per_seed(recipe, lot, season)
    seeds = drop_rate(field, lot)
    return [
        Obstacle(Bar.ACTIVE, a.ingredient)
        for a in season.acre_limits
        if lb_per_acre(mg.get(a.ingredient, 0.0), seeds) > (a.per_acre or 0.0) * (1.0 + TOLERANCE)
    ]


def obstacles(field: Field, lot: SeedLot, recipe: Recipe | None, season: Season) -> list[Obstacle]:
    """Everything that keeps a lot under a recipe (None: untreated) off a field; empty if none."""
    found = lot_obstacles(field, lot) + recipe_obstacles(field, recipe, season)
    found += protection_obstacles(field, lot.variety, recipe, season)
    found += seed_obstacles(lot, recipe, season)
    if not lot_obstacles(field, lot):
        found += acre_obstacles(field, lot, recipe, season)
    return found


def lots_that_fit(season: Season) -> dict[str, list[SeedLot]]:
    """Lots that suit a field whatever the recipe, by its name."""
    alike: dict[tuple[object, ...], list[int]] = {}
    for n, lot in enumerate(season.lots):
        alike.setdefault((lot.maturity, lot.trait, lot.grower, lot.variety), []).append(n)
    found = {}
    for field in season.fields:
        fit = [same for same in alike.values() if not lot_obstacles(field, season.lots[same[0]])]
        found[field.name] = [season.lots[n] for n in sorted(chain.from_iterable(fit))]
    return found


def suitable(season: Season) -> dict[tuple[str, str], list[str]]:
    """Recipes that may be planted, by (field, lot) names; `UNTREATED` among them where allowed.

    Pairs without any recipe are left out.
    """
    recipes: list[Recipe | None] = [*season.recipes, None]
    on_seed = {
        lot.name: tuple(not seed_obstacles(lot, r, season) for r in recipes) for lot in season.lots
    }
    fits = lots_that_fit(season)
    result: dict[tuple[str, str], list[str]] = {}
    for field in season.fields:
        allowed: dict[tuple[object, ...], list[Recipe | None]] = {}
        for lot in fits[field.name]:
            grown, may = lot.variety if lot.variety in season.tolerance else "", on_seed[lot.name]
            if (grown, may) not in allowed:
                allowed[grown, may] = [
                    r
                    for r, seed_may in zip(recipes, may, strict=True)
                    if seed_may
                    and not recipe_obstacles(field, r, season)
                    and not protection_obstacles(field, grown, r, season)
                ]
            names = [
                r.name if r else UNTREATED
                for r in allowed[grown, may]
                if not acre_obstacles(field, lot, r, season)
            ]
            if names:
                result[field.name, lot.name] = names
    return result

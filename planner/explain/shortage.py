"""Why acres stay unplanted: which bar binds, read off the season and what the plan leaves."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, NamedTuple

from planner.agronomy.protection import need, rating
from planner.agronomy.rates import liquid_per_cwt
from planner.agronomy.suitability import Bar, lot_obstacles, obstacles
from planner.explain.limits import Cause, Scene, miss, not_enough
from planner.explain.supply import units_short
from planner.explain.words import Speech, count, listing, maturities, maturity

if TYPE_CHECKING:
    from collections.abc import Sequence

    from planner.plan.plan import Plan, Shortage
    from planner.season.domain import Field, Recipe, Season, SeedLot


class ShortField(NamedTuple):
    """A field with unplanted acres, the need that is not met and what it is bound by."""

    field: str
    acres: float
    units: float
    """Seed that the acres would take, of the suitable lot that takes least."""
    cause: Cause
    why: str


def why(plan: Plan, season: Season) -> dict[str, str]:
    """Say for every short field of a plan why it is short, by the field's name."""
    return {s.field: s.why for s in short_fields(plan, season)}


def short_fields(plan: Plan, season: Season) -> tuple[ShortField, ...]:
    """Diagnose every short field of a plan, in the plan's order."""
    if not plan.shortages:
        return ()
    scene = Scene.of(plan, season)
    return tuple(_diagnose(season.field_named[s.field], s, scene) for s in plan.shortages)


def _diagnose(field: Field, shortage: Shortage, scene: Scene) -> ShortField:
    season = scene.season
    fitting = [lot for lot in season.lots if not lot_obstacles(field, lot)]
    allowed = [lot for lot in fitting if (field.name, lot.name) in scene.pairs]
    if not fitting:
        cause, text = _no_lot(field, season)
    elif not allowed:
        cause, text = _no_recipe(field, fitting, season)
    else:
        cause, text = not_enough(field, shortage.acres, allowed, scene)
    units = units_short(field, shortage.acres, season, scene.pairs)
    return ShortField(field.name, shortage.acres, units, cause, text)


# -- no lot ---------------------------------------------------------------------------------------


def _no_lot(field: Field, season: Season) -> tuple[Cause, str]:
    """No lot may go on the field, whatever the recipe."""
    if not season.lots:
        return Cause.SEED, "There are no seed lots."
    bars = {lot.name: {o.bar for o in lot_obstacles(field, lot)} for lot in season.lots}
    tally = Counter(bar for found in bars.values() for bar in found)
    alone = Counter(next(iter(b)) for b in bars.values() if len(b) == 1)
    bar = (alone or tally).most_common(1)[0][0]
    parts = [f"{_lots(n)} {_bar_words(field, b, season, n)}" for b, n in tally.most_common()]
    return Cause[bar.name], f"No lot suits this field: {'; '.join(parts)}."


def _lots(n: int) -> str:
    return count(n, "lot")


def _bar_words(field: Field, bar: Bar, season: Season, n: int) -> str:
    verb = "is" if n == 1 else "are"
    if bar is Bar.MATURITY:
        near = min(
            (lot for lot in season.lots if miss(field, lot) > 0),
            key=lambda lot: (miss(field, lot), lot.name),
        )
        nearest = f"nearest {near.name} at {maturity(near.maturity)}"
        window = maturities(field.earliest, field.latest)
        return f"{verb} outside its maturity window {window} ({nearest})"
    if bar is Bar.TRAIT:
        return f"{'has' if n == 1 else 'have'} a trait other than {listing(field.traits, 'or')}"
    if bar is Bar.GROWER:
        return f"{verb} not {field.grower}'s"
    return f"{verb} not of {listing(field.only_varieties, 'or')}"


# -- no recipe ------------------------------------------------------------------------------------


def _no_recipe(field: Field, lots: Sequence[SeedLot], season: Season) -> tuple[Cause, str]:
    """Lots would fit, but no recipe may go on them for this field."""
    recipes: list[Recipe | None] = [*season.recipes, None]
    tried = {
        (lot.name, r.name if r else ""): obstacles(field, lot, r, season)
        for lot in lots
        for r in recipes
        if r is not None or season.farm.allow_untreated
    }
    start = f"{count(len(lots), 'lot')} would fit ({listing([lot.name for lot in lots])}), but "
    if not tried:
        return Cause.UNTREATED, f"{start}there is no recipe and seed may not be planted untreated."
    fewest = min(len(o) for o in tried.values())
    bars = Counter(o for found in tried.values() if len(found) == fewest for o in found)
    obstacle, _ = min(bars.items(), key=lambda kv: (-kv[1], kv[0].bar.name, kv[0].about))
    if obstacle.bar is Bar.LIQUID:
        near = [key for key, o in tried.items() if len(o) == fewest and obstacle in o]
        return Cause.LIQUID, start + _liquid_words(near, season)
    text = _recipe_words(field, obstacle.bar, obstacle.about, season)
    return Cause[obstacle.bar.name], start + text


def _liquid_words(near: Sequence[tuple[str, str]], season: Season) -> str:
    """Say which of the recipes on lots (by name) that liquid alone keeps off is the least wet."""
    put, lot, recipe = min(
        (liquid_per_cwt(season.recipe_named[r], season.lot_named[lot], season), lot, r)
        for lot, r in near
    )
    limit, least = Speech(season.farm).liquids(season.farm.liquid_limit or 0.0, put)
    return (
        f"every recipe that is strong enough puts more liquid on than {limit}: "
        f"{least} at the least ({recipe} on {lot})."
    )


def _recipe_words(field: Field, bar: Bar, about: str, season: Season) -> str:
    if bar is Bar.PROTECTION:
        threat = next(t for t in season.threats if t.name == about)
        best = max(
            season.recipes, key=lambda r: rating(r, about, season.product_named), default=None
        )
        has = rating(best, about, season.product_named)
        word = has.name if has else "none"
        strongest = f"the strongest, {best.name}, has {word}" if best else "there is no recipe"
        if has >= need(field, threat):
            strongest = "those that reach it are kept off by another rule"
        pressure = field.pressure[about].value
        wants = need(field, threat).name
        return f"{about} at {pressure} pressure needs a rating of {wants}; {strongest}."
    if bar is Bar.RECIPE:
        return f"none may be treated with {listing(field.only_recipes, 'or')}, its only recipes."
    if bar is Bar.TREATED:
        return f"already treated with {about}, which this field does not allow."
    if bar is Bar.ACTIVE:
        return f"every recipe that is strong enough puts more {about} on than its ceiling allows."
    return "no recipe is allowed and seed may not be planted untreated."

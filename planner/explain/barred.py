"""What a season's own rules keep off: recipes, lots and fields that don't go together."""

from __future__ import annotations

from collections import defaultdict
from operator import itemgetter
from typing import TYPE_CHECKING

from planner.agronomy.protection import need
from planner.agronomy.rates import floz_per_cwt, lb_per_acre, liquid_per_cwt, mg_per_seed
from planner.agronomy.seeding import drop_rate
from planner.agronomy.suitability import (
    Bar,
    acre_obstacles,
    lots_that_fit,
    protection_obstacles,
    recipe_obstacles,
    seed_obstacles,
    suitable,
)
from planner.explain.unused import Barred, idle_fields, idle_lots
from planner.explain.words import Speech, listing, number
from planner.season.domain import POWDER
from planner.sums import grouped

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from planner.explain.unused import Fits
    from planner.season.domain import Field, Recipe, Season, SeedLot

LARGEST = 0.5
"""Share of a recipe's liquid from which a single product is named as its cause."""


def barred(
    season: Season, pairs: Mapping[tuple[str, str], Sequence[str]] | None = None
) -> tuple[Barred, ...]:
    """Find what a season's rules keep off, the worst first; `pairs` is `suitable`, if known.

    What can't be used at all comes first: fields without seed or recipe, recipes, lots; then what
    is kept off a part, the largest part first, limits before needs.
    """
    fits = lots_that_fit(season)
    pairs = pairs if pairs is not None else suitable(season)
    recipes = _together(_recipes(season, fits, pairs))
    found = [*idle_fields(season, fits, pairs), *recipes, *idle_lots(season, fits)]
    order = ("field", "recipe", "lot")
    return tuple(
        sorted(
            found,
            key=lambda b: (not b.wholly, order.index(b.what), b.bar is Bar.PROTECTION, -b.share),
        )
    )


# -- recipes --------------------------------------------------------------------------------------


def _recipes(
    season: Season, fits: Fits, pairs: Mapping[tuple[str, str], Sequence[str]]
) -> list[Barred]:
    used = {name for names in pairs.values() for name in names}
    found = []
    for recipe in season.recipes:
        bars = [*_on_seed(recipe, season), *_on_land(recipe, season, fits)]
        idle = recipe.name not in used
        bars.sort(key=lambda b: -b.share)
        if idle and not bars:
            bars = [_without_seed(recipe)]
        for rank, bar in enumerate(bars):
            shown = bar.bar is not Bar.RECIPE or (idle and rank == 0)
            if shown:
                found.append(_ended(bar, idle, first=rank == 0))
    return found


def _without_seed(recipe: Recipe) -> Barred:
    """No rule of its own bars a recipe, but no lot may take it either."""
    lots = "on no lot: each one is treated otherwise already or fits no field"
    return Barred("recipe", (recipe.name,), Bar.TREATED, "", (), (), False, 1.0, lots)


def _ended(bar: Barred, idle: bool, first: bool) -> Barred:
    """Add what comes of a bar to its sentence."""
    wholly = idle and first
    end = ""
    if wholly and bar.share > 1.0 - 1e-9:
        end = ", so it isn't used"
    elif wholly:
        end = "; with the other rules nothing is left to use it on"
    return bar._replace(wholly=wholly, sentence=f"{bar.sentence}{end}.")


def _together(bars: Iterable[Barred]) -> list[Barred]:
    """Write one sentence on recipes of which the same is true."""
    found = []
    for sentence, alike in grouped((bar.sentence, bar) for bar in bars).items():
        names = tuple(name for bar in alike for name in bar.names)
        verb = f"Recipe {names[0]} is" if len(names) == 1 else f"Recipes {listing(names)} are"
        found.append(alike[0]._replace(names=names, sentence=f"{verb} {sentence}"))
    return found


def _on_seed(recipe: Recipe, season: Season) -> list[Barred]:
    """Limits that a recipe passes on the seed of lots that could still be treated with it."""
    lots = [x for x in season.lots if x.treated_with in (None, recipe.name)]
    over = grouped(
        (obstacle, lot) for lot in lots for obstacle in seed_obstacles(lot, recipe, season)
    )
    found = []
    for (bar, about), hit in over.items():
        text = _liquid_words if bar is Bar.LIQUID else _seed_words
        where = _of("lot", [x.name for x in hit], len(lots))
        sentence = f"over {text(recipe, about, hit, season)} on {where}"
        names = tuple(x.name for x in hit)
        share = len(hit) / len(lots)
        found.append(
            Barred("recipe", (recipe.name,), bar, about, names, (), False, share, sentence)
        )
    return found


def _liquid_words(recipe: Recipe, _about: str, lots: Sequence[SeedLot], season: Season) -> str:
    """Liquid limit, what the recipe puts on, and what most of it comes from."""
    speech = Speech(season.farm)
    put, worst = max(((liquid_per_cwt(recipe, x, season), x) for x in lots), key=itemgetter(0))
    wet = (r for r in recipe.rates if season.product_named[r.product].kind != POWDER)
    parts = [(floz_per_cwt(r, worst, season), r.product) for r in (*wet, *recipe.carriers)]
    most, name = max(parts)
    cause = f", {speech.liquid(most)} of it {name}" if put > most > LARGEST * put else ""
    limit, puts = speech.liquids(season.farm.liquid_limit or 0.0, put)
    return f"your Liquid limit of {limit} (it puts up to {puts} on{cause})"


def _seed_words(recipe: Recipe, about: str, lots: Sequence[SeedLot], season: Season) -> str:
    """Limit of an active ingredient on a seed, and what the recipe puts on."""
    limit = min(a.per_seed or 0.0 for a in season.active_limits if a.ingredient == about)
    put = [mg_per_seed(recipe, lot, season).get(about, 0.0) for lot in lots]
    return f"the limit of {_mg(limit)} for {about} (it puts up to {_mg(max(put))} on)"


def _mg(x: float) -> str:
    return f"{number(x, 4)} mg/seed"


def _on_land(recipe: Recipe, season: Season, fits: Fits) -> list[Barred]:
    """Needs, lists of recipes and limits per acre that keep a recipe off fields."""
    over: dict[tuple[Bar, str], list[Field]] = defaultdict(list)
    partly: set[tuple[Bar, str]] = set()
    for field in season.fields:
        lots = [x for x in fits[field.name] if x.treated_with in (None, recipe.name)]
        grown = {x.variety if x.variety in season.tolerance else "" for x in lots} or {""}
        weak = [set(protection_obstacles(field, v, recipe, season)) for v in sorted(grown)]
        past = [set(acre_obstacles(field, lot, recipe, season)) for lot in lots]
        for obstacle in recipe_obstacles(field, recipe, season):
            over[obstacle].append(field)
        for each in (weak, past):
            for obstacle in sorted(set().union(*each), key=lambda o: o.about):
                over[obstacle].append(field)
                if not all(obstacle in one for one in each):
                    partly.add(obstacle)
    found = []
    for (bar, about), hit in over.items():
        names = tuple(f.name for f in hit)
        where = _of("field", names, len(season.fields))
        if bar is Bar.PROTECTION:
            threat = next(t for t in season.threats if t.name == about)
            asked = listing([w.name for w in sorted({need(f, threat) for f in hit})], "or")
            text = f"too weak for {about} on {where} (needed: {asked})"
        elif bar is Bar.RECIPE:
            text = f"not among the Only recipes of {where}"
        else:
            text = f"over {_acre_words(recipe, about, hit, season, fits)} on {where}"
        text += " (with some of their lots)" if (bar, about) in partly else ""
        share = len(hit) / len(season.fields)
        found.append(Barred("recipe", (recipe.name,), bar, about, (), names, False, share, text))
    return found


def _acre_words(
    recipe: Recipe, about: str, fields: Sequence[Field], season: Season, fits: Fits
) -> str:
    """Limit of an active ingredient on an acre, and the most that the recipe puts on."""
    limit = min(a.per_acre or 0.0 for a in season.active_limits if a.ingredient == about)
    put = max(
        lb_per_acre(mg_per_seed(recipe, lot, season).get(about, 0.0), drop_rate(field, lot))
        for field in fields
        for lot in fits[field.name]
    )
    speech = Speech(season.farm)
    return f"the limit of {speech.active(limit)} for {about} (up to {speech.active(put)})"


def _of(what: str, names: Sequence[str], total: int) -> str:
    """Which of all lots or fields, in words.

    >>> _of("lot", ["A", "B"], 2), _of("lot", ["A"], 3), _of("field", ["A"], 1)
    ('all 2 lots', '1 of 3 lots: A', 'the only field')
    """
    if len(names) == total:
        return f"all {total:,} {what}s" if total > 1 else f"the only {what}"
    return f"{len(names):,} of {total:,} {what}s: {listing(names)}"


def as_dicts(found: Iterable[Barred]) -> list[dict[str, object]]:
    """Give what is barred for ``plan.json``."""
    return [
        {
            "what": b.what,
            "names": list(b.names),
            "rule": b.bar.value,
            "about": b.about,
            "lots": list(b.lots),
            "fields": list(b.fields),
            "wholly": b.wholly,
            "sentence": b.sentence,
        }
        for b in found
    ]

"""Fields and lots for which a season's own rules leave nothing, and how many fields a lot suits."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, NamedTuple

from planner.agronomy.suitability import (
    Bar,
    acre_obstacles,
    lot_obstacles,
    protection_obstacles,
    recipe_obstacles,
    seed_obstacles,
)
from planner.explain.words import Speech, count, listing, maturity

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from planner.season.domain import Field, Recipe, Season, SeedLot

BAR_WORDS = {
    Bar.MATURITY: "maturity",
    Bar.TRAIT: "trait",
    Bar.GROWER: "grower",
    Bar.VARIETY: "varieties",
}


class Barred(NamedTuple):
    """One rule that keeps a recipe, a lot or a field from being used, wholly or in part."""

    what: str
    """Recipe, lot or field."""
    names: tuple[str, ...]
    """Usually one; recipes that are too weak for a threat on the same fields go together."""
    bar: Bar
    """The rule; of several that only together bar all, the one that bars most."""
    about: str
    """Threat or active ingredient; empty where there is none."""
    lots: tuple[str, ...]
    """Lots that a recipe is kept off; empty where the rule is about fields."""
    fields: tuple[str, ...]
    """Fields that a recipe is kept off; empty where the rule is about lots."""
    wholly: bool
    """Whether nothing is left of its use."""
    share: float
    """Share of the lots or fields that are barred, of one."""
    sentence: str


Fits = dict[str, list["SeedLot"]]
"""Lots that suit a field whatever the recipe, by its name."""


def idle_lots(season: Season, fits: Fits) -> list[Barred]:
    """Lots that suit no field."""
    there = {lot.name for lots in fits.values() for lot in lots}
    found = []
    for lot in season.lots:
        if lot.name in there or not season.fields:
            continue
        bars = [o.bar for f in season.fields for o in lot_obstacles(f, lot)]
        tally = Counter(bars).most_common()
        kept = listing([f"{BAR_WORDS[bar]} keeps it off {n:,}" for bar, n in tally])
        sentence = (
            f"Lot {lot.name} ({lot.variety}, {maturity(lot.maturity)}) fits none of the "
            f"{count(len(season.fields), 'field')}: {kept}."
        )
        bar = tally[0][0]
        found.append(Barred("lot", (lot.name,), bar, "", (lot.name,), (), True, 1.0, sentence))
    return found


def idle_fields(
    season: Season, fits: Fits, pairs: Mapping[tuple[str, str], Sequence[str]]
) -> list[Barred]:
    """Fields that no lot suits, or no recipe on any lot that does."""
    with_recipe = {field for field, _ in pairs}
    total = sum(f.acres for f in season.fields)
    found = []
    for field in season.fields:
        if field.name in with_recipe or not season.lots:
            continue
        size = f"Field {field.name} ({Speech(season.farm).acres(field.acres)})"
        bar, about, text = _why_not(field, fits[field.name], season)
        sentence = f"{size} can't be planted: {text}."
        share = field.acres / total
        found.append(
            Barred("field", (field.name,), bar, about, (), (field.name,), True, share, sentence)
        )
    return found


def _why_not(field: Field, lots: Sequence[SeedLot], season: Season) -> tuple[Bar, str, str]:
    """What keeps all seed off a field: its lots, or the recipes on those that would suit."""
    if not lots:
        bars = Counter(o.bar for lot in season.lots for o in lot_obstacles(field, lot))
        kept = listing(
            [f"{BAR_WORDS[b]} keeps {count(n, 'lot')} off" for b, n in bars.most_common()]
        )
        return bars.most_common(1)[0][0], "", f"none of the lots fits ({kept})"
    recipes: list[Recipe | None] = [*season.recipes]
    if season.farm.allow_untreated:
        recipes.append(None)
    tally: Counter[tuple[Bar, str]] = Counter()
    for recipe in recipes:
        for lot in lots:
            tally.update(recipe_obstacles(field, recipe, season))
            tally.update(protection_obstacles(field, lot.variety, recipe, season))
            tally.update(seed_obstacles(lot, recipe, season))
            tally.update(acre_obstacles(field, lot, recipe, season))
    if not tally:
        return Bar.UNTREATED, "", "there is no recipe, and seed may not be planted untreated"
    (bar, about), _ = tally.most_common(1)[0]
    reason = f"{bar.value}{f' ({about})' if about else ''}"
    return bar, about, f"{count(len(lots), 'lot')} would fit, but no recipe may be used: {reason}"


class LotFit(NamedTuple):
    """How many fields a lot suits, and how many each rule keeps it off."""

    lot: SeedLot
    fields: int
    kept_off: Mapping[Bar, int]


def lot_fits(season: Season) -> tuple[LotFit, ...]:
    """Count for every lot the fields that it suits, those that suit fewest first."""
    found = []
    for lot in season.lots:
        bars = [{o.bar for o in lot_obstacles(f, lot)} for f in season.fields]
        kept = Counter(bar for each in bars for bar in each)
        found.append(LotFit(lot, sum(not each for each in bars), kept))
    return tuple(sorted(found, key=lambda fit: fit.fields))

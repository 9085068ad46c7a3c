"""Warnings about what threats take, and about who holds them."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

from planner.agronomy.protection import (
    is_water_mold,
    loss_per_acre,
    rating,
    without_white_mold,
)
from planner.plan.words import money
from planner.season.domain import Rating
from planner.units import Measure, in_unit

if TYPE_CHECKING:
    from collections.abc import Iterator

    from planner.plan.plan import Plan, Planting
    from planner.season.domain import Field, Season

USUAL_YIELD = 50.0
"""Bushels an acre (USDA NASS, Crop Production Annual Summaries of 2023 and 2024: 50.6 and 50.7
in the U.S.; from memory)."""
MOST_LOST = 0.4
"""Share of a usual yield from which losses that add up are warned about."""
MOST_NAMED = 12
"""Fields that one warning names."""


def losses_past_the_crop(plan: Plan, season: Season) -> Iterator[str]:
    """Fields without an expected yield whose losses add up to much of a usual one."""
    del plan
    high = [
        (f, lost)
        for f in season.fields
        if f.expected_yield is None and (lost := _lost(f, season)) > MOST_LOST * USUAL_YIELD
    ]
    if not high:
        return
    unit = "kg/ha" if season.farm.metric else "bu/acre"
    said = [f"{f.name} {_yield(lost, season)}" for f, lost in high[:MOST_NAMED]]
    more = [f"and {len(high) - MOST_NAMED} more"] if len(high) > MOST_NAMED else []
    yield (
        f"Without protection, losses add up to more than {MOST_LOST:.0%} of a usual yield of "
        f"{_yield(USUAL_YIELD, season)} {unit}: {', '.join([*said, *more])}. "
        "Threats take from one crop: fill Expected yield on Fields, so that each takes its share "
        "of what the others leave, or look the losses over."
    )


def _lost(field: Field, season: Season) -> float:
    """Bushels an acre that all threats on a field take without protection, added up."""
    return sum(t.loss.get(field.pressure_of(t.name), 0.0) for t in season.threats)


def _yield(bushels: float, season: Season) -> str:
    """Bushels an acre as the farm counts a yield, without its unit."""
    if season.farm.metric:
        return f"{bushels * in_unit(1.0, Measure.YIELD, 'kg/ha'):,.0f}"
    return f"{bushels:,.1f}".removesuffix(".0")


def white_mold_in_the_total(plan: Plan, season: Season) -> Iterator[str]:
    """Money that the total counts as saved from white mold by what is on the seed.

    Notes
    -----
    Most infection in the field comes by spores through the flowers: D. Smith, Univ. of Wisconsin,
    reprint in No-Till Farmer.
    """
    if not season.farm.weigh_yield_loss or season.farm.credit_white_mold:
        return
    bare = without_white_mold(season)
    saved = sum(
        p.acres * (_left(p, bare) - _left(p, season)) * (season.farm.soybean_price or 0.0)
        for p in plan.planting
    )
    if saved >= 1.0:
        yield (
            f"The total counts {money(saved, season)} of losses to white mold as kept off by what "
            "is on the seed, as Protection, Ratings and Threats say. White mold infects through "
            "the flowers, long after that has gone: don't bank on it. To plan without, clear White "
            "mold's losses on Threats."
        )


def _left(planted: Planting, season: Season) -> float:
    """Bushels an acre that what is planted is expected to lose."""
    field, recipe = season.field_named[planted.field], season.recipe_named.get(planted.recipe)
    return loss_per_acre(field, recipe, season.lot_named[planted.lot].variety, season)


def seedlings_without_protection(plan: Plan, season: Season) -> Iterator[str]:
    """Water molds that only the variety holds, which it does not before the first true leaves.

    Notes
    -----
    Partial (field) resistance works against every pathotype of Phytophthora, but only from the
    first trifoliate leaf on: extension advice reprinted by farms.com, news item 153822.
    """
    variety = {lot.name: lot.variety for lot in season.lots}
    for threat in season.threats:
        if not is_water_mold(threat.name):
            continue
        bare: dict[str, list[str]] = defaultdict(list)
        for p in plan.planting:
            grown = variety[p.lot]
            has = season.tolerance.get(grown, {}).get(threat.name, Rating.NONE)
            held = rating(season.recipe_named.get(p.recipe), threat.name, season.product_named)
            pressed = threat.name in season.field_named[p.field].pressure
            if pressed and has > Rating.NONE and held is Rating.NONE:
                bare[f"{grown} under {p.recipe}"].append(p.field)
        if bare:
            said = "; ".join(f"{what} on {_names(names)}" for what, names in bare.items())
            yield (
                f"Only the variety holds {threat.name} ({said}). Field resistance works from the "
                "first trifoliate leaf on: the seedling before that has no protection. Take a "
                "recipe with a product against it."
            )


def _names(names: list[str]) -> str:
    names = list(dict.fromkeys(names))
    more = [f"{len(names) - MOST_NAMED} more"] if len(names) > MOST_NAMED else []
    return ", ".join([*names[:MOST_NAMED], *more])

"""How well recipes hold threats, what fields need, and what a shortfall costs."""

from __future__ import annotations

from dataclasses import replace
from math import prod
from typing import TYPE_CHECKING

from planner.season.domain import Rating

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from planner.season.domain import Field, Product, Recipe, Season, Threat


def rating(recipe: Recipe | None, threat: str, products: Mapping[str, Product]) -> Rating:
    """Best rating that the products of a recipe have for a threat; NONE for no recipe."""
    if recipe is None:
        return Rating.NONE
    return max(
        (products[r.product].protection.get(threat, Rating.NONE) for r in recipe.rates),
        default=Rating.NONE,
    )


def need(field: Field, threat: Threat) -> Rating:
    """Lowest rating for a threat that will do on a field; NONE where nothing is needed."""
    return threat.need.get(field.pressure_of(threat.name), Rating.NONE)


def reached(
    recipe: Recipe | None,
    threat: Threat,
    products: Mapping[str, Product],
    tolerance: Mapping[str, Rating],
) -> Rating:
    """Rating that counts toward a need: the recipe's, or the variety's where that counts too.

    Parameters
    ----------
    tolerance
        The variety's own ratings, by threat.
    """
    own = tolerance.get(threat.name, Rating.NONE) if threat.variety_counts else Rating.NONE
    return max(rating(recipe, threat.name, products), own)


def loss_per_acre(
    field: Field, recipe: Recipe | None, variety: str | None, season: Season
) -> float:
    """Bushels an acre that a field is expected to lose under a recipe (None: untreated).

    Of every threat is left: loss at the field's pressure x (1 - control of the recipe's rating) x
    (1 - control of the variety's rating). What is left adds up, or, where the
    field's expected yield is known, every threat takes its share of what the others leave.

    Notes
    -----
    Two controls that act one after the other: S. R. Colby, "Calculating synergistic and
    antagonistic responses of herbicide combinations", Weeds 15 (1967), from memory.
    """
    own, control = season.tolerance.get(variety or "", {}), season.control
    left = []
    for threat in season.threats:
        loss = threat.loss.get(field.pressure_of(threat.name), 0.0)
        loss *= 1.0 - control.get(rating(recipe, threat.name, season.product_named), 0.0)
        left.append(loss * (1.0 - control.get(own.get(threat.name, Rating.NONE), 0.0)))
    return together(left, field.expected_yield)


def together(losses: Iterable[float], expected_yield: float | None) -> float:
    """Bushels an acre that several losses take together.

    They add up; with a yield every one takes its share of what the others leave, so that no more
    than the crop is lost.

    Notes
    -----
    The product form is attributed to G. W. Padwick, "Losses caused by plant diseases in the
    colonies" (1956), from memory. It takes threats to act independently.

    Examples
    --------
    >>> round(together([6.0, 4.8, 3.0], None), 3), round(together([6.0, 4.8, 3.0], 60.0), 3)
    (13.8, 12.804)
    """
    if expected_yield is None:
        return sum(losses)
    return expected_yield * (1.0 - prod(1.0 - min(1.0, loss / expected_yield) for loss in losses))


def is_water_mold(threat: str) -> bool:
    """Whether a threat is a water mold of the seedling, by its name.

    >>> is_water_mold("Phytophthora root rot"), is_water_mold("White mold")
    (True, False)
    """
    return any(name in threat.casefold() for name in ("phytophthora", "pythium"))


def is_white_mold(threat: str) -> bool:
    """Whether a threat is white mold, by its name.

    >>> is_white_mold("White  Mould"), is_white_mold("Pythium")
    (True, False)
    """
    name = " ".join(threat.casefold().split())
    return "white mold" in name or "white mould" in name


def without_white_mold(season: Season) -> Season:
    """Season as it counts for a seed treatment's worth: products don't hold white mold.

    It infects through the flowers, by spores, long after what is on the seed has gone (D. Smith,
    Univ. of Wisconsin, reprint in No-Till Farmer); on ground that has it, treating seed keeps none
    of it off the crop (derived).
    """
    held = (
        replace(p, protection={t: r for t, r in p.protection.items() if not is_white_mold(t)})
        for p in season.products
    )
    return replace(season, products=tuple(held))

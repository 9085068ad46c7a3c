"""How well recipes hold threats, what fields need, and what a shortfall costs."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.season.domain import Pressure, Rating

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from planner.season.domain import Field, Product, Recipe, Threat


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
    return threat.need.get(field.pressure.get(threat.name, Pressure.NONE), Rating.NONE)


def loss_per_acre(
    field: Field,
    recipe: Recipe | None,
    threats: Iterable[Threat],
    control: Mapping[Rating, float],
    products: Mapping[str, Product],
) -> float:
    """Bushels an acre that a field is expected to lose under a recipe (None: untreated).

    The sum over threats of loss at the field's pressure x (1 - control of the recipe's rating).
    """
    total = 0.0
    for threat in threats:
        loss = threat.loss.get(field.pressure.get(threat.name, Pressure.NONE), 0.0)
        total += loss * (1.0 - control.get(rating(recipe, threat.name, products), 0.0))
    return total


def is_white_mold(threat: str) -> bool:
    """Whether a threat is white mold, by its name.

    >>> is_white_mold("White  Mould"), is_white_mold("Pythium")
    (True, False)
    """
    name = " ".join(threat.casefold().split())
    return "white mold" in name or "white mould" in name

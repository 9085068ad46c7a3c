"""Seed to be bought treated, held against treating seed of that variety yourself, unit by unit."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from planner.explain.words import Speech
from planner.explain.worth import cost_per_unit, volume_prices

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from planner.plan.plan import Plan
    from planner.season.domain import Season, SeedLot

LEFT_OUT = "Freight, your time and the line losses are left out."


@dataclass(frozen=True, slots=True)
class BoughtTreated:
    """A lot that can be bought treated beside one that you would treat. Money is per unit."""

    lot: str
    recipe: str
    price: float
    units: float
    """That the plan buys."""
    other: str
    """Lot of the same variety that is not treated; empty where there is none."""
    seed: float | None
    """Price of the other lot, or what its seed on hand is still worth untreated."""
    product: float
    """What the recipe puts on a unit, margin included, at the price that the plan pays."""
    more: float | None
    """What buying it treated costs more; negative where it is the cheaper."""
    sentence: str


def bought_treated(plan: Plan, season: Season) -> tuple[BoughtTreated, ...]:
    """Compare every lot that can be bought treated with each way to treat its variety yourself."""
    prices = volume_prices(plan, season)
    bought = {s.lot: s.units for s in plan.seed_purchases}
    found: list[BoughtTreated] = []
    for lot in season.lots:
        if lot.treated_with is None or lot.can_buy < lot.units_per_bag:
            continue
        others = [
            (other, seed, on_hand)
            for other in season.lots
            if other.variety == lot.variety and other.treated_with is None
            for seed, on_hand in _seed(other)
        ]
        for other, seed, on_hand in others:
            found.append(
                _beside(lot, other, seed, bought.get(lot.name, 0.0), prices, season, on_hand)
            )
        if not others:
            found.append(_alone(lot, bought.get(lot.name, 0.0), prices, season))
    return tuple(found)


def _seed(other: SeedLot) -> Iterator[tuple[float, bool]]:
    """What a unit of seed costs before it is treated, on hand and to buy."""
    if other.on_hand > 0.0:
        yield other.return_value, True
    if other.can_buy >= other.units_per_bag:
        yield other.buy_price, False


def _beside(
    lot: SeedLot,
    other: SeedLot,
    seed: float,
    units: float,
    prices: Mapping[str, float],
    season: Season,
    on_hand: bool,
) -> BoughtTreated:
    recipe, speech = lot.treated_with or "", Speech(season.farm)
    product = cost_per_unit(season.recipe_named[recipe], other, prices, season)
    more = lot.buy_price - (seed + product)
    where = "worth untreated" if on_hand else "to buy"
    verdict = "just as much"
    if abs(more) >= 0.005:
        verdict = f"{speech.money(abs(more))} {'less' if more > 0 else 'more'} a unit"
    text = (
        f"{lot.name} bought with {recipe} on it costs {speech.money(lot.buy_price)} a unit. "
        f"{other.name} {'on hand' if on_hand else 'bought'} and treated here costs {verdict}: seed "
        f"{speech.money(seed)} ({where}), product {speech.money(product)}. {LEFT_OUT}"
    )
    return BoughtTreated(
        lot.name, recipe, lot.buy_price, units, other.name, seed, product, more, text
    )


def _alone(
    lot: SeedLot, units: float, prices: Mapping[str, float], season: Season
) -> BoughtTreated:
    recipe, speech = lot.treated_with or "", Speech(season.farm)
    product = cost_per_unit(season.recipe_named[recipe], lot, prices, season)
    text = (
        f"{lot.name} bought with {recipe} on it costs {speech.money(lot.buy_price)} a unit. No "
        f"untreated lot of {lot.variety} is there to compare; the product alone would cost "
        f"{speech.money(product)} a unit here. {LEFT_OUT}"
    )
    return BoughtTreated(lot.name, recipe, lot.buy_price, units, "", None, product, None, text)

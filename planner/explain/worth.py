"""Worth treating? What a recipe costs on a field, and the bushels that pay for it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from planner.agronomy.protection import loss_per_acre, without_white_mold
from planner.agronomy.rates import floz_per_unit
from planner.agronomy.seeding import units_per_acre
from planner.agronomy.suitability import lot_obstacles, suitable
from planner.explain.words import Speech
from planner.plan.price import list_price, order_cost
from planner.sums import grouped, summed

if TYPE_CHECKING:
    from collections.abc import Mapping

    from planner.plan.plan import Plan
    from planner.season.domain import Field, Recipe, Season, SeedLot

CRUMB = 1e-9
"""bu/acre that are not worth a word."""


@dataclass(frozen=True, slots=True)
class Worth:
    """One recipe on one field: what it costs and what must come back."""

    field: str
    recipe: str
    lot: str
    """Lot whose seed size is counted."""
    acres: float
    """Acres that the plan plants so; 0 for a recipe that is only compared."""
    per_unit: float
    """Product on a unit of seed, margin included."""
    per_acre: float
    break_even: float | None
    """bu/acre that pay for it at the farm's price; None without a price."""
    loss_prevented: float | None
    """bu/acre expected to be saved against untreated seed; None where no threat carries losses."""
    net_per_acre: float | None
    """Worth of the loss prevented less the cost; None where either is not known."""
    sentence: str
    not_credited: float = 0.0
    """bu/acre of white mold that the recipe's rating would prevent, left out of the above."""


def volume_prices(plan: Plan, season: Season) -> dict[str, float]:
    """Price of a usable fl oz of each product.

    What the plan pays for it after discounts, freight aside; where it buys none, the lowest of
    its containers ordered at their lowest count; 0 where none is sold.
    """
    counts = plan.counts
    prices = {}
    for product in season.products:
        sold = [c for c in season.containers if c.product == product.name and c.size > c.heel]
        own = {key: n for key, n in counts.items() if key[0] == product.name}
        if own:
            rest = {key: n for key, n in counts.items() if key[0] != product.name}
            whole, without = order_cost(season, counts), order_cost(season, rest)
            paid = (whole.containers - whole.discounts) - (without.containers - without.discounts)
            usable = sum(n * c.usable for c in sold if (n := own.get((c.product, c.name))))
            prices[product.name] = paid / usable if usable else 0.0
        else:
            each = [list_price(c, min(b.from_count for b in c.breaks)) / c.usable for c in sold]
            prices[product.name] = min(each, default=0.0)
    return prices


def break_even(cost_per_acre: float, price: float) -> float:
    """Bushels an acre that pay for a cost at a price.

    With $15.00 a unit of 140,000 seeds, 150,000 seeds an acre and $9.10 a bushel (prices of the
    Maryland soybean checkoff's project 53199, 2017; the division is ours):

    >>> round(break_even(16.07, 9.10), 2)
    1.77
    """
    return cost_per_acre / price


def worth_treating(plan: Plan, season: Season) -> tuple[Worth, ...]:
    """Weigh every field with every recipe that may go on it, what the plan does first.

    Seed size is that of the lot that the plan plants there under the recipe,
    else of the lot that it plants most of there, else of the first that suits.
    """
    pairs = suitable(season)
    prices = volume_prices(plan, season)
    planted = grouped(((p.field, p.recipe), (p.lot, p.acres)) for p in plan.planting)
    found = []
    for field in season.fields:
        for recipe in season.recipes:
            mine = summed(planted[field.name, recipe.name])
            lot = _lot(field, recipe, mine, pairs, plan, season)
            if lot is not None:
                acres = sum(mine.values())
                found.append(_weigh(field, recipe, season.lot_named[lot], acres, prices, season))
    order = {f.name: i for i, f in enumerate(season.fields)}
    return tuple(sorted(found, key=lambda w: (order[w.field], w.acres <= 0.0, w.per_acre)))


def _lot(
    field: Field,
    recipe: Recipe,
    mine: Mapping[str, float],
    pairs: Mapping[tuple[str, str], list[str]],
    plan: Plan,
    season: Season,
) -> str | None:
    """Lot to count a recipe on a field with; None where no lot may go there under it."""
    if mine:
        return max(mine, key=lambda name: (mine[name], name))
    may = [
        lot.name
        for lot in season.lots
        if recipe.name in pairs.get((field.name, lot.name), ())
        and lot.treated_with is None
        and not lot_obstacles(field, lot)
    ]
    there = [p for p in plan.planting if p.field == field.name and p.lot in may]
    if there:
        return max(there, key=lambda p: (p.acres, p.lot)).lot
    return may[0] if may else None


def cost_per_unit(
    recipe: Recipe, lot: SeedLot, prices: Mapping[str, float], season: Season
) -> float:
    """What a recipe's products cost on a unit of a lot, at prices by product; margin included."""
    return sum(
        floz_per_unit(r, lot, season) * (1.0 + season.farm.product_margin) * prices[r.product]
        for r in recipe.rates
    )


def _weigh(
    field: Field,
    recipe: Recipe,
    lot: SeedLot,
    acres: float,
    prices: Mapping[str, float],
    season: Season,
) -> Worth:
    farm = season.farm
    product = cost_per_unit(recipe, lot, prices, season)
    per_acre = product * units_per_acre(field, lot, farm)
    price = farm.soybean_price
    bare = loss_per_acre(field, None, lot.variety, season)
    all_kept = bare - loss_per_acre(field, recipe, lot.variety, season)
    credited = season if farm.credit_white_mold else without_white_mold(season)
    kept = bare - loss_per_acre(field, recipe, lot.variety, credited)
    # without a sheet Ratings nobody has said what any rating prevents
    prevented = kept if bare > 0.0 and season.control else None
    worth = Worth(
        field=field.name,
        recipe=recipe.name,
        lot=lot.name,
        acres=acres,
        per_unit=product,
        per_acre=per_acre,
        break_even=break_even(per_acre, price) if price else None,
        loss_prevented=prevented,
        net_per_acre=prevented * price - per_acre if prevented is not None and price else None,
        sentence="",
        not_credited=all_kept - kept,
    )
    speech = Speech(farm)
    return replace(worth, sentence=_sentence(worth, speech) + _left_out(worth, speech))


def _left_out(worth: Worth, speech: Speech) -> str:
    """Say what of white mold is not credited, and why."""
    if worth.not_credited <= CRUMB:
        return ""
    return (
        f" {speech.bushels(worth.not_credited)} of white mold are not credited: it infects "
        "through the flowers, long after a seed treatment is gone (setting Credit white mold)."
    )


def _sentence(worth: Worth, speech: Speech) -> str:
    """Say whether a recipe pays on a field."""
    land, even, net = speech.an_acre(), worth.break_even, worth.net_per_acre
    text = (
        f"{worth.recipe} on {worth.field} costs {speech.money(worth.per_unit)} per unit, "
        f"{speech.money(speech.per_acre(worth.per_acre))} per {land}"
    )
    if even is not None:
        text += f"; {speech.bushels(even)} per {land} pay for it"
    if worth.loss_prevented is not None:
        text += f", {speech.bushels(worth.loss_prevented)} are expected to be saved"
    if net is not None:
        side = "ahead" if net >= 0.0 else "behind"
        text += f": {speech.money(speech.per_acre(abs(net)))} {side}"
    return text + "."

"""Seasons of 8 to 16 fields whose line stays primed and whose money is limited.

A full season (`tests/support/random_season/full.py`) with the rules that it leaves out: a line that
stays primed with more recipes to put in order, a ceiling on what is spent, water and a powder in
recipes, a smallest part of a lot, and discounts with a day of their own. All names and figures are
invented. Nothing here depends on the optimizer.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from random import Random

from planner.season.domain import (
    CARRIER,
    POWDER,
    Basis,
    Container,
    PriceBreak,
    Product,
    Rate,
    Recipe,
    Season,
)
from tests.laws.second_model import drop, floz_a_unit
from tests.support.random_season.full import full_season
from tests.support.random_season.hard import ALWAYS, GALLON

WATER, DUST = "Water", "Dust"
PAIL = 5.0 * GALLON
MORE_RECIPES = 5
"""Recipes of a season at the most: the second model puts them in order by places in a row."""
DAYS = (None, date(2027, 1, 10), date(2027, 1, 20), date(2027, 2, 5))
"""Before, between and after the days by which the yards want orders."""


def shop_season(seed: int) -> Season:
    """The full season of this seed with the shop's rules; the same seed gives the same season."""
    rng = Random(f"shop season {seed}")
    one = _with_powder(rng, _with_water(rng, _more_recipes(rng, full_season(seed))))
    one = replace(
        one,
        products=tuple(replace(p, line_loss=_lost(rng, p)) for p in one.products),
        discounts=tuple(replace(d, order_by=rng.choice(DAYS)) for d in one.discounts),
        farm=replace(
            one.farm,
            name=f"Shop season {seed}",
            line_stays_primed=rng.random() < 0.85,
            smallest_lot_share=rng.choice((0.0, 0.0, 0.0, 8.0, 15.0)),
        ),
        source=f"shop season, seed {seed}",
    )
    share = rng.choice((None, None, None, 0.7, 1.0, 1.3, 1.8))
    if share is None:
        return one
    return replace(one, farm=replace(one.farm, most_to_spend=round(share * _money(one), 2)))


def _lost(rng: Random, product: Product) -> float:
    """Enough to buy a jug for, now and then; a powder does not run through the line."""
    return 0.0 if product.kind == POWDER else rng.choice((8.0, 24.0, 60.0, 150.0))


def _more_recipes(rng: Random, one: Season) -> Season:
    """One or two recipes with products of two others, so that an order has something to join."""
    found = list(one.recipes)
    for _ in range(rng.choice((0, 1, 1, 2))):
        if len(found) == MORE_RECIPES:
            break
        first, second = rng.sample(one.recipes, 2)
        rates = {r.product: r for r in (*first.rates, *second.rates)}
        kept = [n for n in rates if n in ALWAYS or rng.random() < 0.6]
        if len(kept) > 1 and rng.random() < 0.5:
            kept.remove(rng.choice(kept))
        name = f"Recipe {len(found) + 1}"
        found.append(Recipe(name, tuple(rates[n] for n in kept)))
    return replace(one, recipes=tuple(found))


def _with_water(rng: Random, one: Season) -> Season:
    """Some recipes are thinned with water, which is not bought and counts as liquid."""
    thin = tuple(
        replace(r, carriers=(Rate(WATER, rng.choice((0.5, 1.0)), Basis.FLOZ_PER_CWT),))
        if rng.random() < 0.3
        else r
        for r in one.recipes
    )
    if not any(r.carriers for r in thin):
        return one
    return replace(one, recipes=thin, carriers=(Product(WATER, CARRIER),))


def _with_powder(rng: Random, one: Season) -> Season:
    """Some recipes bring a powder, which is bought in pails and is no liquid."""
    rate = Rate(DUST, rng.choice((2.0, 4.0)), Basis.FLOZ_PER_UNIT)
    dusted = tuple(
        replace(r, rates=(*r.rates, rate)) if rng.random() < 0.3 else r for r in one.recipes
    )
    if dusted == one.recipes:
        return one
    pail = Container(DUST, "pail", PAIL, (PriceBreak(1, rng.choice((40.0, 65.0))),))
    return replace(
        one,
        recipes=dusted,
        products=(*one.products, Product(DUST, POWDER)),
        containers=(*one.containers, pail),
    )


def _money(one: Season) -> float:
    """About what all fields together take, at the prices of the recipe with the fewest products."""
    recipe = min(one.recipes, key=lambda r: len(r.rates))
    lot = one.lots[0]
    price = {}
    for c in one.containers:
        each = min(b.price for b in c.breaks) / (c.size - c.heel)
        price[c.product] = min(each, price.get(c.product, each))
    a_unit = sum(floz_a_unit(r, lot, one) * price[r.product] for r in recipe.rates)
    units = sum(f.acres * drop(f, lot) for f in one.fields) / one.farm.seeds_per_unit
    return max(500.0, units * a_unit)

"""Seasons of 8 to 16 fields and 10 to 18 lots that use every optional sheet, many of them short.

All names and figures are invented. A hard season (`tests/support/random_season/hard.py`) gets what
those leave out: growers, lists of varieties and recipes, rates by active ingredient and limits on
them, stock that has expired, minimum counts, containers of which few are left, a discount across
suppliers, shares of maturities, treated lots that can be bought, seed treated so far and containers
on their way. Nothing here depends on the optimizer.
"""

from __future__ import annotations

import hashlib
from collections import Counter
from dataclasses import replace
from datetime import date
from enum import Enum
from random import Random

from planner.season.domain import (
    Active,
    ActiveLimit,
    Basis,
    Container,
    DiscountLevel,
    Farm,
    Field,
    MaturityShare,
    OnItsWay,
    PriceBreak,
    Product,
    Rate,
    Rating,
    Recipe,
    Season,
    SeedingRate,
    SeedLot,
    TreatedSeed,
)
from tests.laws.second_model import lot_suits, recipe_suits
from tests.support.random_season.hard import ALWAYS, GALLON, PRODUCTS, THREATS, hard_season

SEEDS_A_LB = 2750.0
MG_A_LB = 453_592.37
JUG = 2.5 * GALLON
TIGHT = (0.97, 1.1, 1.25, 1.5)
"""Of what the strongest recipe puts on an average seed: how much of an active is allowed."""
GROWERS = ("home", "neighbor")
LAST_YEAR, NEXT_YEAR = date(2026, 11, 30), date(2028, 1, 31)
CONTROL = {Rating.P: 0.05, Rating.F: 0.25, Rating.G: 0.5, Rating.VG: 0.7, Rating.E: 0.85}


class Short(Enum):
    """Why a season is short of anything."""

    NOTHING = "nothing"
    NOTHING_SUITS = "a field that nothing suits"
    SEED = "seed runs out"
    PRODUCT = "a product runs out"


def why_short(seed: int) -> Short:
    """Half of the seasons are short of nothing (at least by design), a sixth for each reason."""
    turn = (Short.NOTHING, Short.NOTHING_SUITS, Short.NOTHING, Short.SEED, Short.NOTHING)
    return (*turn, Short.PRODUCT)[seed % 6]


def full_season(seed: int) -> Season:
    """A season with every optional sheet in use; the same seed gives the same season."""
    rng = Random(f"full season {seed}")
    short = why_short(seed)
    base = hard_season(
        fields=min(rng.randint(8, 16) for _ in range(2)),
        lots=min(rng.randint(10, 18) for _ in range(2)),
        recipes=rng.choice((2, 2, 3, 3, 4)),
        varieties_a_field=rng.choice((1, 1, 1, 2, 2, 3, None)),
        seed=seed,
        short=short is Short.SEED,
    )
    products = _products(rng, base)
    recipes = tuple(_by_active(rng, one, products) for one in base.recipes)
    names = {one.name for one in products}
    containers = _containers(rng, tuple(c for c in base.containers if c.product in names))
    lots = _lots(rng, base.lots, recipes)
    one = replace(
        base,
        farm=_farm(rng, base.farm, seed),
        fields=_fields(rng, base.fields, lots, recipes),
        lots=lots,
        products=products,
        recipes=recipes,
        containers=containers,
        control=CONTROL,
        active_limits=_active_limits(rng, base.recipes, products),
        threats=tuple(replace(t, variety_counts=rng.random() < 0.4) for t in base.threats),
        tolerance=_tolerance(rng, lots),
        discounts=(*base.discounts, *_discounts(rng, products)),
        maturity_spread=_spread(rng, lots),
        treated=_treated(rng, lots, recipes),
        ordered=_ordered(rng, containers),
        source=f"full season, seed {seed}",
    )
    one = _loosened(one)
    if short is Short.NOTHING_SUITS:
        return _nothing_suits(rng, one)
    return _product_short(rng, one) if short is Short.PRODUCT else one


def mark(season: Season) -> str:
    """A short digest of the season's figures, to tell when the maker draws others."""
    figures = [
        *(f.acres for f in season.fields),
        *((x.on_hand, x.seeds_per_lb, x.can_buy, x.treated_with) for x in season.lots),
        *((c.size, c.heel, c.most, *(b.price for b in c.breaks)) for c in season.containers),
        *(rate.amount for one in season.recipes for rate in one.rates),
        *((t.lot, t.units) for t in season.treated),
    ]
    return hashlib.sha256(repr(figures).encode()).hexdigest()[:12]


def _farm(rng: Random, farm: Farm, seed: int) -> Farm:
    return replace(
        farm,
        name=f"Full season {seed}",
        first_treating_day=date(2027, 3, 15),
        seeds_per_unit=rng.choice((140_000.0, 140_000.0, 130_000.0)),
        smallest_split=rng.choice((0.0, 10.0, 10.0, 25.0)),
        most_of_one_variety=rng.choice((0.45, 0.55, 0.7)),
        liquid_limit=rng.choice((10.0, 14.0, 18.0)),
        allow_untreated=rng.random() < 0.2,
        weigh_yield_loss=rng.random() < 0.6,
    )


def _fields(
    rng: Random, fields: tuple[Field, ...], lots: tuple[SeedLot, ...], recipes: tuple[Recipe, ...]
) -> tuple[Field, ...]:
    """Growers for most, lists for many: few choices a field, so that proofs take seconds."""
    varieties = sorted({one.variety for one in lots})
    names = [one.name for one in recipes]
    found = []
    for one in fields:
        mine = [v for v in varieties if any(_in_bounds(one, x) for x in lots if x.variety == v)]
        listed = rng.sample(mine, rng.randint(1, len(mine))) if mine else []
        some = sorted(rng.sample(names, rng.randint(1, len(names) - 1)))
        found.append(
            replace(
                one,
                earliest=None if rng.random() < 0.1 else one.earliest,
                priority=rng.choice((1, 1, 2, 3)),
                grower=rng.choice((*GROWERS, None)),
                expected_yield=rng.choice((None, 45.0, 60.0)),
                only_varieties=tuple(sorted(listed)) if rng.random() < 0.4 else (),
                only_recipes=tuple(sorted({*some, names[-1]})) if rng.random() < 0.4 else (),
            )
        )
    return tuple(found)


def _loosened(season: Season) -> Season:
    """Fields that nothing suits lose their lists, and their pressure if that does not help."""

    def suited(field: Field) -> bool:
        return any(
            lot_suits(field, lot) and recipe_suits(field, lot, recipe, season)
            for lot in season.lots
            for recipe in season.recipes
        )

    def loose(field: Field) -> Field:
        for less in ({}, {"only_varieties": (), "only_recipes": ()}, {"grower": None}):
            field = replace(field, **less)
            if suited(field):
                return field
        return replace(field, pressure={})

    return replace(season, fields=tuple(loose(one) for one in season.fields))


def _in_bounds(field: Field, lot: SeedLot) -> bool:
    low, high = field.earliest, field.latest
    return (low is None or low <= lot.maturity) and (high is None or lot.maturity <= high)


def _lots(
    rng: Random, lots: tuple[SeedLot, ...], recipes: tuple[Recipe, ...]
) -> tuple[SeedLot, ...]:
    """Some belong to one grower; the last two are treated already, one of them to be bought."""
    found = [replace(one, grower=rng.choice((*GROWERS, None, None, None))) for one in lots]
    for place, bags in ((-1, rng.choice((1, 2, 3))), (-2, 0)):
        one = found[place]
        found[place] = replace(
            one,
            treated_with=rng.choice(recipes).name,
            return_value=0.0,
            can_buy=bags * one.units_per_bag,
            buy_price=round(one.buy_price * 1.3, 2),
        )
    return tuple(found)


def _products(rng: Random, base: Season) -> tuple[Product, ...]:
    """Those that recipes use, with actives; some stock expires before it could be treated with."""
    used = {rate.product for one in base.recipes for rate in one.rates}
    found = []
    for one in base.products:
        if one.name not in used:
            continue
        actives = [Active(f"active of {one.name}", rng.choice((0.8, 1.2, 2.1, 5.0)))]
        if rng.random() < 0.3:
            actives.append(Active("shared active", rng.choice((0.3, 0.6))))
        found.append(
            replace(
                one,
                expires=rng.choice((None, NEXT_YEAR, LAST_YEAR)),
                line_loss=rng.choice((8.0, 16.0, 24.0)),
                actives=tuple(actives),
            )
        )
    return tuple(found)


def _by_active(rng: Random, recipe: Recipe, products: tuple[Product, ...]) -> Recipe:
    """Some of its rates counted in active ingredient, of about the same amount of product."""
    actives = {one.name: one.actives[0] for one in products}

    def written(rate: Rate) -> Rate:
        if rate.basis is not Basis.FLOZ_PER_CWT or rng.random() < 0.7:
            return rate
        active = actives[rate.product]
        g_per_100kg = rate.amount / GALLON * active.concentration * 1000.0  # lb in 100 lb, in g
        name = active.ingredient
        if rng.random() < 0.5:
            return Rate(rate.product, round(g_per_100kg, 1), Basis.G_PER_100KG, name)
        mg = g_per_100kg / 100_000.0 * MG_A_LB / SEEDS_A_LB
        return Rate(rate.product, round(mg, 4), Basis.MG_PER_SEED, name)

    return replace(recipe, rates=tuple(written(rate) for rate in recipe.rates))


def _containers(rng: Random, containers: tuple[Container, ...]) -> tuple[Container, ...]:
    """The last of each product may have few left, or be sold from a minimum count only."""
    last = {one.product: one.name for one in containers}
    sizes = Counter(one.product for one in containers)
    found = []
    for one in containers:
        if last[one.product] == one.name and sizes[one.product] > 1:
            if rng.random() < 0.4:
                one = replace(one, most=rng.choice((1, 2, 4)))
            if rng.random() < 0.4 and one.most != 1:
                dear = one.breaks[0].price
                one = replace(
                    one, breaks=(PriceBreak(2, dear), PriceBreak(4, round(dear * 0.95, 2)))
                )
        found.append(one)
    return tuple(found)


def _active_limits(
    rng: Random, recipes: tuple[Recipe, ...], products: tuple[Product, ...]
) -> tuple[ActiveLimit, ...]:
    """On two actives, about what the recipe with most of it puts on a seed, or on an acre."""
    mg: Counter[str] = Counter()
    for recipe in recipes:
        here: Counter[str] = Counter()
        for rate in recipe.rates:
            floz_per_cwt = rate.amount * (1.0 if rate.basis is Basis.FLOZ_PER_CWT else 2.0)
            for active in next(one.actives for one in products if one.name == rate.product):
                lb_per_cwt = floz_per_cwt / GALLON * active.concentration
                here[active.ingredient] += lb_per_cwt / 100.0 / SEEDS_A_LB * MG_A_LB
        mg |= here
    first, *_, last = sorted(mg)
    an_acre = 130_000.0 / MG_A_LB
    return (
        ActiveLimit(
            first, round(rng.choice(TIGHT) * mg[first] * an_acre, 4), round(2 * mg[first], 3)
        ),
        ActiveLimit(last, None, round(rng.choice(TIGHT) * mg[last], 4)),
    )


def _discounts(rng: Random, products: tuple[Product, ...]) -> tuple[DiscountLevel, ...]:
    """Two levels on two products, whoever sells them, or only who takes orders that early."""
    names = tuple(sorted(rng.sample([one.name for one in products], 2)))
    first, day = rng.choice((3_000.0, 6_000.0)), rng.choice((None, date(2027, 1, 20)))
    return (
        DiscountLevel("Pair", first, 0.01, None, names, day),
        DiscountLevel("Pair", 2.5 * first, 0.03, None, names, day),
    )


def _tolerance(rng: Random, lots: tuple[SeedLot, ...]) -> dict[str, dict[str, Rating]]:
    """Some varieties hold a threat or two by themselves."""
    varieties = sorted({one.variety for one in lots})
    found = {}
    for variety in rng.sample(varieties, max(1, len(varieties) // 2)):
        held = rng.sample(THREATS, rng.choice((1, 2)))
        found[variety] = {threat: Rating(rng.randint(1, 5)) for threat in held}
    return found


def _spread(rng: Random, lots: tuple[SeedLot, ...]) -> tuple[MaturityShare, ...]:
    known = sorted({one.maturity for one in lots})
    middle = known[len(known) // 2]
    return (
        MaturityShare(known[0], round(middle - 0.1, 1), rng.choice((0.6, 0.75, 0.9))),
        MaturityShare(middle, round(known[-1] + 0.2, 1), rng.choice((0.6, 0.8, 0.9))),
    )


def _treated(
    rng: Random, lots: tuple[SeedLot, ...], recipes: tuple[Recipe, ...]
) -> tuple[TreatedSeed, ...]:
    mine = [one for one in lots if one.treated_with is None]
    return tuple(
        TreatedSeed(one.name, rng.choice(recipes).name, one.units_per_bag)
        for one in rng.sample(mine, rng.choice((1, 1, 2)))
    )


def _ordered(rng: Random, containers: tuple[Container, ...]) -> tuple[OnItsWay, ...]:
    smallest = {one.product: one for one in reversed(containers)}
    one = rng.choice(sorted(smallest.values(), key=lambda c: c.product))
    return (OnItsWay(one.product, one.name, rng.choice((1, 1, 2))),)


# --- short of something ---------------------------------------------------------------------------


def _nothing_suits(rng: Random, season: Season) -> Season:
    """One or two fields may be planted with nothing that there is."""
    fields = list(season.fields)
    for place in rng.sample(range(len(fields)), rng.choice((1, 2))):
        one = fields[place]
        nothing = (
            {"traits": ("system C",)},
            {"earliest": 3.5, "latest": 3.9},
            {"only_varieties": (min(x.variety for x in season.lots),), "earliest": 1.7},
        )
        fields[place] = replace(one, **rng.choice(nothing))
    return replace(season, fields=tuple(fields))


def _product_short(rng: Random, season: Season) -> Season:
    """Of a product of every recipe there is less than all fields take, and little can be had."""
    name = rng.choice(ALWAYS)
    needed = rng.uniform(0.3, 0.85) * _floz(season, name)
    one = min((c for c in season.containers if c.product == name), key=lambda c: c.size)
    each = round(one.breaks[0].price * JUG / one.size, 2)
    few = max(1, int(needed // (JUG - one.heel)))
    jug = replace(one, name="jug", size=JUG, most=few, breaks=(PriceBreak(1, each),))
    others = [c for c in season.containers if c.product != name]
    containers = (jug, *others)
    products = tuple(
        replace(one, on_hand=0.0) if one.name == name else one for one in season.products
    )
    kept = tuple(one for one in season.ordered if one.product != name)
    ordered = kept or (OnItsWay(others[0].product, others[0].name, 1),)
    return replace(season, containers=containers, products=products, ordered=ordered)


def _floz(season: Season, name: str) -> float:
    """About what all fields together take of a product."""
    seeds = sum(
        one.acres * (one.sowing.seeds if isinstance(one.sowing, SeedingRate) else 120_000.0)
        for one in season.fields
    )
    typical = next(rate for product, _, _, rate in PRODUCTS if product == name)
    return seeds / SEEDS_A_LB / 100.0 * typical

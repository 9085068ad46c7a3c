"""Tiny seasons that use every optional sheet and setting, each with some chance.

Small enough for brute force. All names and figures are invented.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
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
    Pressure,
    Product,
    Rate,
    Rating,
    Recipe,
    Row,
    Season,
    SeedingRate,
    SeedLot,
    Supplier,
    TargetStand,
    Threat,
    TreatedSeed,
)
from tests.support.seasons import FIRST_DAY, container, farm

THREATS = ("damping off", "white mold")
RECIPES = ("R1", "R2", "R3")
PRODUCTS = ("Alpha", "Beta", "Gamma")
SUPPLIERS = ("Elm Supply", "Oak Supply")
VARIETIES = {"V16": 1.6, "V20": 2.0, "V24": 2.4}


def tiny_season(seed: int) -> Season:
    """A tiny season in which every optional sheet and setting has some chance."""
    rng = Random(seed)
    n_products = rng.choice((1, 2, 2, 3))
    recipes = _recipes(rng, n_products)
    lots = _lots(rng, recipes)
    threats = _threats(rng)
    known = [t.name for t in threats]
    products = tuple(_product(rng, name, known) for name in PRODUCTS[:n_products])
    containers = tuple(c for p in products for c in _containers(rng, p.name))
    fields = tuple(
        _field(rng, name, recipes, lots, known) for name in ("A", "B", "C")[: rng.randint(1, 3)]
    )
    return Season(
        farm=_farm(rng, len({one.variety for one in lots})),
        fields=fields,
        lots=lots,
        products=products,
        containers=containers,
        recipes=recipes,
        threats=threats,
        control={Rating.P: 0.1, Rating.F: 0.3, Rating.G: 0.6, Rating.VG: 0.8, Rating.E: 0.95},
        active_limits=_active_limits(rng, products),
        suppliers=_suppliers(rng),
        discounts=_discounts(rng, PRODUCTS[:n_products]),
        maturity_spread=_spread(rng, lots),
        treated=_treated(rng, lots, recipes),
        ordered=_ordered(rng, containers),
    )


def fuller_season(seed: int) -> Season:
    """The random season of this seed with rules that came later, each with some chance."""
    one, rng = tiny_season(seed), Random(f"fuller {seed}")
    days = (date(2027, 1, 10), date(2027, 2, 1), None)
    varieties = sorted({x.variety for x in one.lots})
    known = tuple(t.name for t in one.threats)
    return replace(
        one,
        farm=replace(one.farm, **_more_settings(rng, one)),
        fields=tuple(
            replace(f, expected_yield=_some(rng, 0.4, lambda: rng.choice((5.0, 50.0, 62.5))))
            for f in one.fields
        ),
        threats=tuple(replace(t, variety_counts=rng.random() < 0.5) for t in one.threats),
        tolerance={
            v: {t: rng.choice(tuple(Rating)[1:]) for t in known if rng.random() < 0.8}
            for v in varieties
            if rng.random() < 0.6
        },
        suppliers=tuple(replace(s, order_by=rng.choice(days)) for s in one.suppliers),
        discounts=tuple(replace(d, order_by=rng.choice(days)) for d in one.discounts),
    )


def _more_settings(rng: Random, one: Season) -> dict:
    most = rng.choice((0.0, 150.0, 400.0, 900.0, 2500.0))
    return {"most_to_spend": _some(rng, 0.4, most), "line_stays_primed": rng.random() < 0.5}


def with_lot_share(one: Season, seed: int) -> Season:
    """The season with a smallest lot share, and all its lots of one variety."""
    first = one.lots[0]
    same = {"variety": first.variety, "maturity": first.maturity, "trait": first.trait}
    return replace(
        one,
        farm=replace(one.farm, smallest_lot_share=Random(seed).choice((4.0, 8.0, 12.0, 18.0))),
        fields=tuple(replace(f, only_varieties=()) for f in one.fields),
        lots=tuple(replace(x, **same) for x in one.lots),
    )


def _some(rng: Random, chance: float, value, otherwise=None):
    """`value` (called if callable) with some chance."""
    if rng.random() >= chance:
        return otherwise
    return value() if callable(value) else value


def _farm(rng: Random, n_varieties: int) -> Farm:
    weigh = rng.random() < 0.35
    return farm(
        spare_seed=rng.choice((0.0, 0.0, 0.03, 0.05)),
        product_margin=rng.choice((0.0, 0.0, 0.02, 0.05)),
        max_varieties=rng.choice((None, None, 1, 1, 2)),
        smallest_split=rng.choice((0.0, 0.0, 0.0, 5.0, 12.0, 30.0)),
        most_of_one_variety=_some(
            rng, 0.25 if n_varieties > 1 else 0.0, lambda: rng.choice((0.5, 0.6, 0.75))
        ),
        liquid_limit=_some(rng, 0.2, lambda: rng.choice((5.0, 8.0, 12.0))),
        allow_untreated=rng.random() < 0.3,
        weigh_yield_loss=weigh,
        soybean_price=10.5 if weigh else None,
        seeds_per_unit=rng.choice((140_000.0, 140_000.0, 100_000.0)),
    )


def _field(
    rng: Random,
    name: str,
    recipes: tuple[Recipe, ...],
    lots: tuple[SeedLot, ...],
    threats: list[str],
) -> Field:
    varieties = sorted({one.variety for one in lots})
    drop = rng.choice((100_000.0, 120_000.0, 140_000.0, 155_000.0))
    stand = TargetStand(rng.choice((90_000.0, 110_000.0)), rng.choice((0.85, 0.9)))
    low = _some(rng, 0.2, lambda: rng.choice((1.6, 1.8, 2.0)))
    return Field(
        name=name,
        acres=rng.choice((8.0, 15.0, 20.0, 25.5, 40.0)),
        sowing=stand if rng.random() < 0.25 else SeedingRate(drop),
        earliest=low,
        latest=_some(rng, 0.2, lambda: max(low or 0.0, rng.choice((2.0, 2.2, 2.4)))),
        traits=_some(rng, 0.12, lambda: tuple(rng.sample(("x", "y"), rng.randint(1, 2))), ()),
        priority=rng.choice((1, 1, 2, 3)),
        grower=_some(rng, 0.12, "Ann"),
        only_varieties=_some(rng, 0.1, lambda: (rng.choice(varieties),), ()),
        only_recipes=_some(rng, 0.1, lambda: (rng.choice(recipes).name, "Untreated"), ()),
        pressure={t: rng.choice(tuple(Pressure)) for t in threats if rng.random() < 0.5},
        row=Row("Fields", 2 + "ABC".index(name)),
    )


def _lots(rng: Random, recipes: tuple[Recipe, ...]) -> tuple[SeedLot, ...]:
    traits = {v: rng.choice((("x",), ("y",), ("x", "y"))) for v in VARIETIES}
    lots = []
    n = rng.choice((1, 2, 2, 3))
    same = rng.random() < 0.3
    for i, variety in enumerate(rng.sample(sorted(VARIETIES), n)):
        variety = lots[0].variety if same and i == 1 else variety
        per_bag = rng.choice((10.0, 12.5, 20.0, 40.0))
        bags = rng.choice((1, 1, 2, 2, 3)) if per_bag > 12.5 else rng.choice((1, 2, 3, 4))
        part = rng.choice((0.0, 0.0, 0.25, 0.6)) * per_bag
        bought = rng.choice((0.0, 0.0, 1.0, 1.5)) * per_bag
        lots.append(
            SeedLot(
                name=f"L{i + 1}",
                variety=variety,
                maturity=VARIETIES[variety],
                on_hand=bags * per_bag + part,
                seeds_per_lb=rng.choice((2400.0, 2800.0, 3300.0)),
                trait=traits[variety],
                units_per_bag=per_bag,
                germination=rng.choice((0.85, 0.9, 0.95)),
                return_value=rng.choice((0.0, 20.0, 45.5, 45.5, 58.0)),
                can_buy=bought,
                buy_price=rng.choice((48.0, 55.0, 62.5)),
                treated_with=_some(rng, 0.12, lambda: rng.choice(recipes).name),
                grower=_some(rng, 0.15, lambda: rng.choice(("Ann", "Bob"))),
                row=Row("Seed lots", 2 + i),
            )
        )
    return tuple(lots)


def _product(rng: Random, name: str, threats: list[str]) -> Product:
    strength = rng.choice((0.5, 1.2))
    actives = [Active(f"{name.lower()}-ine", strength)]
    if rng.random() < 0.3:
        actives.append(Active("shared-ol", 0.4))
    return Product(
        name=name,
        on_hand=rng.choice((0.0, 0.0, 25.0, 80.0)),
        expires=_some(rng, 0.3, lambda: rng.choice((date(2027, 4, 19), FIRST_DAY))),
        line_loss=rng.choice((0.0, 0.0, 4.0, 12.0)),
        carryover=rng.choice((0.0, 0.0, 0.3, 0.6, 0.75)),
        protection={t: rng.choice(tuple(Rating)[1:]) for t in threats if rng.random() < 0.8},
        actives=tuple(actives),
        row=Row("Products", 2 + PRODUCTS.index(name)),
    )


def _containers(rng: Random, name: str) -> list[Container]:
    found = []
    for label, size, price in (("jug", 64.0, 90.0), ("keg", 160.0, 205.0))[: rng.choice((1, 1, 2))]:
        base = price * rng.choice((0.8, 1.0, 1.3))
        breaks = rng.choice(
            (
                [(1, base)],
                [(1, base)],
                [(1, base), (2, base * 0.9)],
                [(2, base * 0.95)],
                [(1, base), (2, base * 0.95), (4, base * 0.8)],
                [(1, base), (3, base * 1.1)],
            )
        )
        found.append(
            container(
                name,
                label,
                size,
                breaks=breaks,
                heel=rng.choice((0.0, 0.0, 2.0, 4.5)),
                most=_some(rng, 0.25, lambda: rng.choice((1, 2, 3))),
                supplier=_some(rng, 0.8, lambda: rng.choice(SUPPLIERS)),
            )
        )
    return found


def _recipes(rng: Random, n_products: int) -> tuple[Recipe, ...]:
    recipes = []
    for name in RECIPES[: rng.choice((1, 2, 2, 3))]:
        used = rng.sample(PRODUCTS[:n_products], rng.randint(1, n_products))
        recipes.append(Recipe(name, tuple(_rate(rng, p) for p in used), row=Row("Recipes", 2)))
    return tuple(recipes)


def _rate(rng: Random, name: str) -> Rate:
    basis = rng.choice(tuple(Basis))
    amount = {
        Basis.FLOZ_PER_UNIT: (0.8, 1.5, 2.5),
        Basis.FLOZ_PER_CWT: (1.5, 3.0, 4.6),
        Basis.MG_PER_SEED: (0.02, 0.03, 0.05),
        Basis.G_PER_100KG: (10.0, 20.0, 30.0),
    }[basis]
    active = f"{name.lower()}-ine" if basis in (Basis.MG_PER_SEED, Basis.G_PER_100KG) else None
    return Rate(name, rng.choice(amount), basis, active)


def _threats(rng: Random) -> tuple[Threat, ...]:
    levels = (Pressure.LOW, Pressure.MODERATE, Pressure.HIGH)
    needs = rng.choice(((), (), (Rating.P, Rating.F, Rating.G), (Rating.NONE, Rating.P, Rating.P)))
    return tuple(
        Threat(
            name,
            need={p: r for p, r in zip(levels, needs, strict=False) if r},
            loss=dict(
                zip(levels, rng.choice(((), (0.5, 1.5, 3.0), (0.2, 0.4, 0.8))), strict=False)
            ),
        )
        for name in THREATS[: rng.randint(0, 2)]
    )


def _active_limits(rng: Random, products: tuple[Product, ...]) -> tuple[ActiveLimit, ...]:
    limits = []
    for name in sorted({a.ingredient for p in products for a in p.actives}):
        if rng.random() < 0.2:
            per_acre = _some(rng, 0.6, lambda: rng.choice((0.008, 0.015, 0.03)))
            per_seed = _some(rng, 0.6, lambda: rng.choice((0.025, 0.04, 0.08)))
            limits.append(ActiveLimit(name, per_acre, per_seed))
    return tuple(limits)


def _suppliers(rng: Random) -> tuple[Supplier, ...]:
    """Both suppliers, or none of them has a row of its own."""
    if rng.random() < 0.25:
        return ()
    return tuple(
        Supplier(
            name,
            freight=rng.choice((0.0, 35.0, 120.0)),
            free_from=_some(rng, 0.5, lambda: rng.choice((180.0, 400.0, 900.0))),
        )
        for name in SUPPLIERS
    )


def _discounts(rng: Random, names: tuple[str, ...]) -> tuple[DiscountLevel, ...]:
    levels = []
    for name in ("Early", "Volume"):
        if rng.random() < 0.4:
            supplier = _some(rng, 0.5, lambda: rng.choice(SUPPLIERS))
            products = _some(
                rng, 0.4, lambda: tuple(rng.sample(names, rng.randint(1, len(names)))), ()
            )
            rising = ((150.0, 0.04), (300.0, 0.07), (600.0, 0.1))[: rng.randint(1, 3)]
            for spend, percent in rng.choice((rising, rising, ((150.0, 0.08), (300.0, 0.03)))):
                levels.append(DiscountLevel(name, spend, percent, supplier, products))
    if rng.random() < 0.15:
        levels.append(DiscountLevel("Early", 200.0, 0.03, SUPPLIERS[0], (PRODUCTS[0],)))
    return tuple(levels)


def _spread(rng: Random, lots: tuple[SeedLot, ...]) -> tuple[MaturityShare, ...]:
    """Spans with a bound on a maturity of the season; they leave another one beside them."""
    known = sorted({one.maturity for one in lots})
    if len(known) == 1:
        return ()
    found = []
    for edge in rng.sample(known, min(len(known), rng.choice((0, 0, 0, 1, 2)))):
        low, high = rng.choice(((edge, edge), (edge - 0.1, edge), (edge, edge + 0.1)))
        found.append(MaturityShare(low, high, rng.choice((0.4, 0.6, 0.75))))
    return tuple(found)


def _treated(
    rng: Random, lots: tuple[SeedLot, ...], recipes: tuple[Recipe, ...]
) -> tuple[TreatedSeed, ...]:
    found = []
    for one in lots:
        if rng.random() < 0.2 and one.on_hand > 0.0 and one.treated_with is None:
            share = rng.choice((0.25, 0.5, 1.0))
            found.append(TreatedSeed(one.name, rng.choice(recipes).name, share * one.on_hand))
    return tuple(found)


def _ordered(rng: Random, containers: tuple[Container, ...]) -> tuple[OnItsWay, ...]:
    return tuple(
        OnItsWay(c.product, c.name, rng.randint(1, 2)) for c in containers if rng.random() < 0.15
    )

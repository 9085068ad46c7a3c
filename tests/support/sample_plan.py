"""A hand-made season and simple plans for the tests of what is written on paper.

The plans keep every rule and their figures add up (the audit says so), but nobody looked for the
cheapest. All names and figures are invented.
"""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import replace
from datetime import date
from random import Random

from planner.agronomy.rates import floz_per_unit
from planner.agronomy.seeding import units_per_acre
from planner.agronomy.suitability import suitable
from planner.plan.plan import Plan, Planting, Shortage, Treating
from planner.plan.price import price_plan, usable_stock
from planner.season.domain import (
    UNTREATED,
    Active,
    Basis,
    Container,
    DiscountLevel,
    Farm,
    Field,
    OnItsWay,
    Pressure,
    PriceBreak,
    Product,
    Rate,
    Rating,
    Recipe,
    Season,
    SeedingRate,
    SeedLot,
    Supplier,
    TargetStand,
    Threat,
)

GAL = 128.0
AWKWARD = (
    '=HYPERLINK("http://x.invalid","North")',
    "+Süd, @home & <b>bold</b>",
    "@SUM(1+1)",
    "-2+3",
    "大豆の畑 三番 (Ōta-ku の北にある細長い畑)",
    "Поле за старой мельницей у дороги на Красный Яр, дальнее",
    "حقل الشمال",
    "A field name of exactly sixty characters, to see it wrapped!",
    "'quoted",
    "Tab\there and\nnew line",
)
"""Names that a careless workbook would cut, calculate or garble."""


def sample_season(metric: bool = False, currency: str = "$") -> Season:
    """Eight fields, six lots, four products in seven containers of two suppliers."""
    return Season(
        farm=Farm(
            plan_date=date(2026, 12, 1),
            crop_year=2027,
            first_treating_day=date(2027, 4, 12),
            name="Quillback Bend Farm",
            currency=currency,
            spare_seed=0.03,
            product_margin=0.04,
            max_varieties=3,
            metric=metric,
        ),
        fields=_fields(),
        lots=_lots(),
        products=_products(),
        containers=_containers(),
        recipes=(
            Recipe("Base", (_cwt("Duskfield", 3.0), _cwt("Slipcoat", 1.0))),
            Recipe(
                "Base + nematode",
                (_cwt("Duskfield", 3.0), _cwt("Copperhook", 2.4), _cwt("Slipcoat", 1.0)),
            ),
            Recipe(
                "Full",
                (
                    _cwt("Duskfield", 4.0),
                    _cwt("Copperhook", 2.4),
                    Rate("Rosemark", 0.35, Basis.FLOZ_PER_UNIT, written="0.35 fl oz/unit"),
                    _cwt("Slipcoat", 1.2),
                ),
            ),
        ),
        threats=(
            Threat("Pythium", {Pressure.LOW: Rating.P, Pressure.HIGH: Rating.G}),
            Threat("White mold", {Pressure.MODERATE: Rating.F, Pressure.HIGH: Rating.G}),
            Threat("Cyst nematode", {Pressure.MODERATE: Rating.F, Pressure.HIGH: Rating.G}),
        ),
        suppliers=(
            Supplier("North Depot", 185.0, 15_000.0, date(2027, 1, 15)),
            Supplier("River Depot", 140.0, None, date(2027, 2, 1)),
        ),
        discounts=(
            DiscountLevel("Early order", 5_000.0, 0.02),
            DiscountLevel("Early order", 12_000.0, 0.04),
            DiscountLevel("Drum club", 3_000.0, 0.03, "North Depot", ("Duskfield",)),
        ),
        ordered=(OnItsWay("Rosemark", "1 gal jug", 1),),
        source="sample.xlsx",
        fingerprint="5f0c2a91",
    )


def _cwt(product: str, amount: float) -> Rate:
    return Rate(product, amount, Basis.FLOZ_PER_CWT, written=f"{amount:g} fl oz/cwt")


def _fields() -> tuple[Field, ...]:
    def one(name, acres, low, high, day, **pressure) -> Field:
        found = {
            "White mold": pressure.get("mold", Pressure.NONE),
            "Cyst nematode": pressure.get("scn", Pressure.NONE),
            "Pythium": pressure.get("pyth", Pressure.LOW),
        }
        return Field(
            name,
            acres,
            SeedingRate(pressure.get("seeds", 135_000.0)),
            low,
            high,
            planting_date=date(2027, 5, day),
            pressure=found,
        )

    moderate, high = Pressure.MODERATE, Pressure.HIGH
    return (
        one("Marsh Bottom", 146.0, 1.9, 2.3, 12, mold=high, seeds=110_000.0),
        one("Willow Slough", 96.0, 1.8, 2.4, 12, mold=moderate, seeds=110_000.0),
        one("Crane Corner", 88.0, 2.0, 2.4, 10, scn=high),
        one("Long Eighty", 78.5, 1.6, 2.1, 3),
        one("Church Quarter", 158.0, 1.8, 2.4, 5, scn=moderate, pyth=high),
        one("Home Place", 61.2, 1.6, 2.0, 1),
        one("Gravel Pit", 39.0, 2.2, 2.6, 8),
        replace(
            one("Far Forty", 40.0, 2.5, 2.6, 9), sowing=TargetStand(110_000.0, 0.9), priority=2
        ),
    )


def _lots() -> tuple[SeedLot, ...]:
    def one(name, variety, maturity, units, bag, size, **more) -> SeedLot:
        return SeedLot(name, variety, maturity, units, size, units_per_bag=bag, **more)

    return (
        one("B16-101", "Brindle 16", 1.6, 160.0, 40.0, 2620.0, germination=0.93, return_value=48.0),
        one("C18-201", "Cobble 18", 1.8, 200.0, 40.0, 2900.0, germination=0.94, return_value=50.0),
        one(
            "G21-301", "Gantry 21", 2.1, 185.0, 45.0, 2780.0, germination=0.91, can_buy=90.0,
            buy_price=61.5, return_value=48.0,
        ),
        one("G21-302", "Gantry 21", 2.1, 56.0, 1.0, 3040.0, germination=0.9),
        one("H23-401", "Harrow 23", 2.3, 160.0, 40.0, 2500.0, germination=0.92, return_value=51.0),
        one("S26-701", "Sorrel 26", 2.6, 20.0, 40.0, 3200.0, germination=0.95),
    )  # fmt: skip


def _products() -> tuple[Product, ...]:
    r = Rating
    return (
        Product(
            "Duskfield", "fungicide", 4.75 * GAL, date(2028, 3, 31), 24.0, 0.6,
            protection={"Pythium": r.G, "White mold": r.F},
            actives=(Active("Fludioxonil", 0.2), Active("Metalaxyl", 0.3)),
        ),
        Product(
            "Copperhook", "nematicide", 1.4 * GAL, date(2027, 3, 1), 24.0, 0.7,
            protection={"Cyst nematode": r.VG, "White mold": r.G},
            actives=(Active("Fluopyram", 5.0),),
        ),
        Product("Rosemark", "inoculant", 0.0, None, 6.0, 0.0),
        Product("Slipcoat", "polymer", 3.0 * GAL, None, 0.0, 0.5),
    )  # fmt: skip


def _containers() -> tuple[Container, ...]:
    def one(product, name, gal, heel, supplier, *breaks, most=None) -> Container:
        found = tuple(PriceBreak(count, price) for count, price in breaks)
        return Container(product, name, gal * GAL, found, heel, most, supplier)

    north, river = "North Depot", "River Depot"
    return (
        one("Duskfield", "2.5 gal jug", 2.5, 3.0, north, (1, 1095.0), (4, 1060.0)),
        one("Duskfield", "15 gal keg", 15.0, 16.0, north, (1, 6180.0)),
        one("Copperhook", "2.5 gal jug", 2.5, 3.0, north, (1, 1240.5), (3, 1199.99), (6, 1150.0)),
        one("Rosemark", "1 gal jug", 1.0, 1.0, river, (1, 410.0)),
        one("Rosemark", "2.5 gal bag", 2.5, 2.0, river, (1, 940.0)),
        one("Slipcoat", "2.5 gal jug", 2.5, 3.0, river, (1, 96.0), (4, 88.0)),
        one("Slipcoat", "30 gal drum", 30.0, 40.0, None, (1, 910.0), most=2),
    )


def awkward_season() -> Season:
    """The sample with names of all kinds: formulas, markup, long ones, many scripts."""
    season = sample_season(currency="kr")
    fields = tuple(replace(f, name=AWKWARD[i]) for i, f in enumerate(season.fields))
    lots = tuple(
        replace(lot, name=f"{AWKWARD[-1 - i]} {i}", variety=f"=variety {lot.variety}")
        for i, lot in enumerate(season.lots)
    )
    new = {p.name: f"{AWKWARD[i]} {p.name}" for i, p in enumerate(season.products)}
    supplier = {"North Depot": "=North & Sons", "River Depot": "@River <Depot> 河"}
    return replace(
        season,
        farm=replace(season.farm, name="=1+1 & Söhne 農場"),
        fields=fields,
        lots=lots,
        products=tuple(replace(p, name=new[p.name]) for p in season.products),
        containers=tuple(
            replace(c, product=new[c.product], supplier=supplier.get(c.supplier or ""))
            for c in season.containers
        ),
        recipes=tuple(
            replace(
                r,
                name=f"+{r.name} with a name that goes on to sixty characters, more or less",
                rates=tuple(replace(x, product=new[x.product]) for x in r.rates),
            )
            for r in season.recipes
        ),
        suppliers=tuple(replace(s, name=supplier[s.name]) for s in season.suppliers),
        discounts=tuple(
            replace(
                d,
                supplier=supplier.get(d.supplier or ""),
                products=tuple(new[p] for p in d.products),
            )
            for d in season.discounts
        ),
        ordered=tuple(replace(o, product=new[o.product]) for o in season.ordered),
    )


def big_season(n_fields: int) -> Season:
    """The sample's products with as many fields as wanted, and lots in proportion."""
    rng = Random(1)
    season = sample_season()
    fields, lots = [], []
    for i in range(n_fields):
        base = season.fields[i % len(season.fields)]
        acres = round(rng.uniform(20, 160), 1)
        fields.append(replace(base, name=f"{base.name} {i + 1}", acres=acres))
    for i in range(max(6, n_fields // 2)):
        base = season.lots[i % len(season.lots)]
        lots.append(replace(base, name=f"{base.name}-{i + 1}", on_hand=base.on_hand * 2))
    return replace(season, fields=tuple(fields), lots=tuple(lots))


def greedy_plan(season: Season) -> Plan:
    """First lot that fits, first recipe that will do, smallest containers: a plan, not a good one.

    Every lot is treated with one recipe only. Seed treated before the plan is not used.
    """
    fit = suitable(season)
    bought = {lot.name: math.floor(lot.can_buy / lot.units_per_bag) for lot in season.lots}
    left = {
        lot.name: lot.on_hand
        - sum(t.units for t in season.treated if t.lot == lot.name)
        + bought[lot.name] * lot.units_per_bag
        for lot in season.lots
    }
    recipe_of: dict[str, str] = {}
    planting, shortages = [], []
    used: dict[str, float] = defaultdict(float)
    for field in sorted(season.fields, key=lambda f: f.priority):
        acres = field.acres
        for lot in season.lots:
            names = [n for n in fit.get((field.name, lot.name), []) if n != UNTREATED]
            known = recipe_of.get(lot.name)
            name = known if known in names else (names[-1] if names and not known else None)
            if name is None or acres <= 1e-9 or left[lot.name] <= 1e-9:
                continue
            per_acre = units_per_acre(field, lot, season.farm)
            share = min(acres, left[lot.name] / per_acre)
            recipe_of[lot.name] = name
            planting.append(Planting(field.name, lot.name, name, share, share * per_acre))
            left[lot.name] -= share * per_acre
            used[lot.name] += share * per_acre
            acres -= share
        if acres > 1e-6:
            shortages.append(Shortage(field.name, acres, "no more seed that suits"))
    treating = _bags(season, used, recipe_of, bought)
    bags = {t.lot: bought[t.lot] for t in treating if bought[t.lot]}
    for lot in season.lots:
        if lot.treated_with is not None and used[lot.name] > lot.on_hand + 1e-9:
            bags[lot.name] = bought[lot.name]
    counts = _containers_for(season, treating)
    made = price_plan(season, counts, bags, treating, planting, shortage_proven=False)
    return replace(
        made,
        gap=0.031,
        bound=made.cost.total * 0.969,
        shortages=tuple(shortages),
        warnings=("Copperhook: 1.4 gal on hand expired on 2027-03-01 and are not counted.",),
        seconds=12.3,
    )


def _bags(season, used, recipe_of, bought) -> list[Treating]:
    treating = []
    for lot in season.lots:
        if used[lot.name] <= 0 or lot.treated_with is not None:
            continue
        done = sum(t.units for t in season.treated if t.lot == lot.name)
        stock = lot.on_hand - done
        full = math.floor(stock / lot.units_per_bag + 1e-9)
        part = stock - full * lot.units_per_bag
        full += bought[lot.name]
        wanted = math.ceil(used[lot.name] / lot.units_per_bag - 1e-9)
        count = min(full, wanted)
        units = count * lot.units_per_bag
        with_part = int(units < used[lot.name] - 1e-9)
        units += part * with_part
        treating.append(Treating(lot.name, recipe_of[lot.name], count, with_part, units))
    return treating


def _containers_for(season: Season, treating: list[Treating]) -> dict[tuple[str, str], int]:
    lots = {lot.name: lot for lot in season.lots}
    recipes = {r.name: r for r in season.recipes}
    counts: dict[tuple[str, str], int] = {}
    for product in season.products:
        need = 0.0
        for t in treating:
            for rate in recipes[t.recipe].rates:
                if rate.product == product.name:
                    per_unit = floz_per_unit(rate, lots[t.lot], season)
                    need += t.units * per_unit * (1 + season.farm.product_margin)
        run = {t.recipe for t in treating}
        need += product.line_loss * sum(
            any(rate.product == product.name for rate in recipes[name].rates) for name in run
        )
        need -= usable_stock(product, season)
        sold = [c for c in season.containers if c.product == product.name]
        for o in season.ordered:
            if o.product == product.name:
                size = next(c for c in sold if c.name == o.container)
                need -= o.count * (size.size - size.heel)
        for c in sorted(sold, key=lambda c: c.size):
            if need <= 0:
                break
            count = math.ceil(need / (c.size - c.heel))
            count = min(count, c.most) if c.most is not None else count
            count = max(count, c.breaks[0].from_count)
            counts[c.product, c.name] = count
            need -= count * (c.size - c.heel)
    return counts


def tiled(times: int) -> tuple[Season, Plan]:
    """The sample's fields and lots so many times over, under new names, with its plan likewise."""
    season = sample_season()
    plan = greedy_plan(season)

    def again(records, *keys):
        return tuple(
            replace(r, **{k: f"{getattr(r, k)} {i}" for k in keys})
            for i in range(times)
            for r in records
        )

    season = replace(season, fields=again(season.fields, "name"), lots=again(season.lots, "name"))
    treating = again(plan.treating, "lot")
    planting = again(plan.planting, "field", "lot")
    bags = {f"{s.lot} {i}": s.bags for s in plan.seed_purchases for i in range(times)}
    counts = _containers_for(season, [*treating])
    made = price_plan(season, counts, bags, treating, planting)
    plan = replace(
        plan,
        bound=made.cost.total * 0.969,
        cost=made.cost,
        order=made.order,
        seed_purchases=made.seed_purchases,
        treating=treating,
        planting=planting,
        products=made.products,
        shortages=again(plan.shortages, "field"),
    )
    return season, plan

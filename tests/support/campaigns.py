"""Small seasons with their plans for the campaign's tests: one worked by hand, and random ones.

All names and figures are invented. A random plan is written down by plain arithmetic here, without
the optimizer and without the code under test.
"""

from datetime import date, timedelta
from random import Random

from planner.campaign.domain import Batch, Draw, Portion, Shop, Supply
from planner.plan.plan import (
    Cost,
    OrderLine,
    Outcome,
    Plan,
    Planting,
    ProductUse,
    Treating,
)
from planner.season.domain import (
    Active,
    Basis,
    Container,
    Farm,
    Field,
    PriceBreak,
    Product,
    Rate,
    Recipe,
    Season,
    SeedingRate,
    SeedLot,
    Supplier,
)

FIRST = date(2027, 4, 20)


def hand_season() -> Season:
    """Two lots, two recipes; Beta lives ten days on the seed.

    South is planted on 10 May: its seed is treated not before 30 April (10 days) and, to cure for
    2 days, not after 8 May. North is planted on 5 May: its seed is treated by 3 May.
    """
    return Season(
        farm=Farm(
            plan_date=date(2027, 2, 1),
            crop_year=2027,
            first_treating_day=FIRST,
            name="Hand farm",
            product_margin=0.05,
            bags_per_day=3.0,
            liquid_warning=5.0,
            seed_flow=300.0,
        ),
        fields=(
            Field("North", 100.0, SeedingRate(140_000.0), planting_date=date(2027, 5, 5)),
            Field("South", 80.0, SeedingRate(140_000.0), planting_date=date(2027, 5, 10)),
        ),
        lots=(
            SeedLot("L1", "V18", 1.8, 120.0, 2800.0, units_per_bag=40.0),
            SeedLot(
                "L2", "V22", 2.2, 90.0, 2800.0, units_per_bag=40.0, test_date=date(2026, 9, 12)
            ),
        ),
        products=(
            Product(
                "Alpha",
                "fungicide",
                on_hand=100.0,
                line_loss=10.0,
                density=9.6,
                actives=(Active("fludioxonil", 4.0),),
            ),
            Product("Beta", "inoculant", line_loss=4.0, on_seed_life=10.0),
        ),
        containers=(
            Container("Alpha", "jug", 200.0, (PriceBreak(1, 90.0),), heel=4.0, tare=3.0),
            Container("Beta", "pouch", 128.0, (PriceBreak(1, 60.0),), supplier="Elm"),
        ),
        recipes=(
            Recipe("R1", (Rate("Alpha", 2.0, Basis.FLOZ_PER_UNIT),)),
            Recipe(
                "R2",
                (
                    Rate("Alpha", 4.0, Basis.FLOZ_PER_CWT, written="4 fl oz/cwt"),
                    Rate("Beta", 1.0, Basis.FLOZ_PER_UNIT),
                ),
                approved_by="A. Keeper",
                approved_on=date(2027, 3, 1),
            ),
        ),
        suppliers=(Supplier("Elm", order_by=date(2027, 3, 15)),),
    )


def hand_plan() -> Plan:
    """The plan of `hand_season`.

    R1 takes 120 units x 2 fl oz x 1.05 = 252 and a line loss of 10; R2 takes 90 x 2 x 1.05 = 189
    and 10 again (a unit weighs 50 lb, so 4 fl oz/cwt is 2 fl oz): Alpha needs 461. Stock of 100
    and two jugs of 200 - 4 make 492, so 31 are left. Beta: 90 x 1 x 1.05 + 4 = 98.5 of 128.
    """
    return Plan(
        outcome=Outcome.OPTIMAL,
        gap=0.0,
        bound=240.0,
        cost=Cost(containers=240.0),
        order=(
            OrderLine("Alpha", "jug", 2, 90.0, 180.0),
            OrderLine("Beta", "pouch", 1, 60.0, 60.0, "Elm"),
        ),
        treating=(Treating("L1", "R1", 3, 0, 120.0), Treating("L2", "R2", 2, 1, 90.0)),
        planting=(
            Planting("North", "L1", "R1", 100.0, 100.0),
            Planting("South", "L2", "R2", 80.0, 80.0),
        ),
        products=(
            ProductUse("Alpha", 461.0, 100.0, 0.0, 392.0, 31.0),
            ProductUse("Beta", 98.5, 0.0, 0.0, 128.0, 29.5),
        ),
    )


def random_case(seed: int) -> tuple[Season, Plan]:
    """A random season of up to four recipes and a plan of it that adds up."""
    rng, lives = Random(seed), Random(f"slurry {seed}")
    products = tuple(
        Product(
            name,
            rng.choice(("fungicide", "inoculant", "polymer")),
            on_hand=rng.choice((0.0, 30.0, 75.5)),
            expires=rng.choice((None, FIRST + timedelta(days=3))),
            line_loss=rng.choice((0.0, 4.0, 12.5)),
            on_seed_life=rng.choice((None, None, 8.0, 20.0)),
            density=rng.choice((None, 9.1)),
            slurry_life=lives.choice((None, 6.0, 12.0, 40.0)),
        )
        for name in ("Alpha", "Beta", "Gamma", "Delta")
    )
    containers = tuple(
        Container(
            p.name, label, size, (PriceBreak(1, size),), heel=rng.choice((0.0, 2.5)), tare=2.0
        )
        for p in products
        for label, size in (("jug", 64.0), ("keg", 150.0))
    )
    recipes = tuple(
        Recipe(
            f"R{i}",
            tuple(
                Rate(p.name, rng.choice((0.5, 1.7, 2.2)), rng.choice(tuple(Basis)[:2]))
                for p in rng.sample(products, rng.randint(1, 3))
            ),
        )
        for i in range(rng.randint(1, 4))
    )
    lots = tuple(
        SeedLot(f"L{i}", "V", 2.0, 500.0, rng.choice((2400.0, 3100.0)), units_per_bag=upb)
        for i, upb in enumerate(rng.choices((1.0, 20.0, 40.0), k=rng.randint(1, 4)))
    )
    fields = tuple(
        Field(
            f"F{i}",
            500.0,
            SeedingRate(140_000.0),
            planting_date=rng.choice((None, FIRST + timedelta(days=rng.randint(2, 30)))),
        )
        for i in range(3)
    )
    farm = Farm(
        plan_date=date(2027, 2, 1),
        crop_year=2027,
        first_treating_day=FIRST,
        product_margin=rng.choice((0.0, 0.04)),
        bags_per_day=rng.choice((None, 1.0, 3.0, 8.0)),
        floor_space=rng.choice((None, None, 6.0, 15.0)),
        treating_done_by=rng.choice((None, FIRST + timedelta(days=9))),
        cure_days=rng.choice((0.0, 1.0, 2.0)),
    )
    season = Season(
        farm=farm,
        fields=fields,
        lots=lots,
        products=products,
        containers=containers,
        recipes=recipes,
        days_off=tuple(FIRST + timedelta(days=d) for d in rng.sample(range(20), 4)),
    )
    return season, _random_plan(rng, season)


def _random_plan(rng: Random, season: Season) -> Plan:
    pairs = [(lot, r) for lot in season.lots for r in season.recipes]
    treating, planting = [], []
    for lot, recipe in rng.sample(pairs, rng.randint(1, len(pairs))):
        bags = rng.randint(0, 6)
        part = rng.choice((0.0, 0.25)) * lot.units_per_bag if lot.units_per_bag > 1 else 0.0
        units = bags * lot.units_per_bag + part
        if not units:
            continue
        treating.append(Treating(lot.name, recipe.name, bags, 1 if part else 0, units))
        left = units
        for f in rng.sample(season.fields, rng.randint(1, 3)):
            share = left * rng.choice((0.3, 0.5, 1.0))
            left -= share
            if share > 1e-9:
                planting.append(Planting(f.name, lot.name, recipe.name, share, share))
    return Plan(
        outcome=Outcome.FEASIBLE,
        gap=0.0,
        bound=0.0,
        cost=Cost(),
        treating=tuple(treating),
        planting=tuple(planting),
        **_random_order(season, treating),
    )


def _random_order(season: Season, treating: list[Treating]) -> dict:
    """Kegs, then one jug, as far as they are needed."""
    lines, uses = [], []
    for p in season.products:
        need = need_of(season, treating, p.name)
        kinds = {c.name: c for c in season.containers if c.product == p.name}
        missing = max(0.0, need - p.on_hand)
        kegs = int(missing // (kinds["keg"].size - kinds["keg"].heel))
        missing -= kegs * (kinds["keg"].size - kinds["keg"].heel)
        jugs = 0
        while jugs * (kinds["jug"].size - kinds["jug"].heel) < missing - 1e-9:
            jugs += 1
        bought = 0.0
        for name, count in (("keg", kegs), ("jug", jugs)):
            bought += count * (kinds[name].size - kinds[name].heel)
            if count:
                price = kinds[name].breaks[0].price
                lines.append(OrderLine(p.name, name, count, price, price * count))
        left = p.on_hand + bought - need
        uses.append(ProductUse(p.name, need, p.on_hand, 0.0, bought, left))
    return {"order": tuple(lines), "products": tuple(uses)}


def need_of(season: Season, treating: list[Treating], product: str) -> float:
    """Units x rate on that lot x (1 + margin), and the line loss once a recipe."""
    lots = {lot.name: lot for lot in season.lots}
    recipes = {r.name: r for r in season.recipes}
    total, run = 0.0, set()
    for row in treating:
        for rate in recipes[row.recipe].rates:
            if rate.product != product:
                continue
            weight = 140_000.0 / lots[row.lot].seeds_per_lb
            per_unit = rate.amount
            if rate.basis is Basis.FLOZ_PER_CWT:
                per_unit = rate.amount * weight / 100.0
            total += row.units * per_unit * (1.0 + season.farm.product_margin)
            run.add(row.recipe)
    return total + len(run) * next(p.line_loss for p in season.products if p.name == product)


# --- batches without a season, for order and calendar ---------------------------------------


def batch(lot: str, recipe: str, products: str, portions=((1, None, None, None),), **changes):
    """Batch of one-unit bags; a portion is (bags, planting, earliest, latest) in days of FIRST."""
    made, first = [], 1
    for bags, *days in portions:
        planting, earliest, latest = (None if d is None else FIRST + timedelta(d) for d in days)
        made.append(Portion(first, bags, ("F",), planting, earliest, latest))
        first += bags
    return Batch(
        lot=lot,
        recipe=recipe,
        variety="V",
        units_per_bag=1.0,
        full_bags=first - 1,
        part_units=0.0,
        unit_weight=50.0,
        seeds_per_lb=2800.0,
        draws=tuple(Draw(p, 1.0) for p in products),
        portions=tuple(made),
        **changes,
    )


def supply(product: str, line_loss: float = 1.0, value: float = 1.0) -> Supply:
    return Supply(product, "other", line_loss, value, None, ())


def random_batches(rng: Random, recipes: int, lots: int, *, dated: bool) -> list[Batch]:
    """Batches of up to so many recipes, over a pool of lots, each with one or two portions."""
    made = []
    for r in range(recipes):
        products = "".join(rng.sample("ABCDE", rng.randint(1, 4)))
        living = rng.random() < 0.3
        for n in rng.sample(range(lots), rng.randint(1, min(2, lots))):
            portions = [_random_portion(rng, dated) for _ in range(rng.choice((1, 1, 2)))]
            made.append(batch(f"L{n}", f"R{r}", products, portions, living=living))
    return made


def _random_portion(rng: Random, dated: bool) -> tuple[int, int | None, int | None, int | None]:
    bags = rng.randint(1, 3)
    if not dated or rng.random() < 0.3:
        return bags, None, None, None
    planting = rng.randint(1, 9)
    return bags, planting, rng.choice((None, planting - 4)), planting - 1


def random_shop(rng: Random) -> Shop:
    return Shop(
        first_day=FIRST,
        cure_days=1,
        plan_date=FIRST - timedelta(days=5),
        done_by=rng.choice((None, FIRST + timedelta(days=rng.randint(2, 7)))),
        bags_per_day=rng.choice((None, 1, 2, 4)),
        floor_space=rng.choice((None, None, 3, 5)),
        changeover_minutes=rng.choice((0.0, 20.0, 15.0)),
        calibration_minutes=10.0,
        days_off=tuple(FIRST + timedelta(days=d) for d in rng.sample(range(8), 2)),
    )

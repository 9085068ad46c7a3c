"""Hard seasons of any size: few shares a field, large bags, dear seed and product in few sizes.

All names and figures are invented. Seed on hand is about one and a half times what the fields
need, variety by variety, so that most fields have several lots and recipes to choose from, and
bags, containers, price breaks and freight decide what is cheap. Nothing here depends on the
optimizer.
"""

from __future__ import annotations

from datetime import date, timedelta
from random import Random

from planner.season.domain import (
    Basis,
    Container,
    DiscountLevel,
    Farm,
    Field,
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

MATURITIES = tuple(round(1.6 + 0.1 * i, 1) for i in range(12))
TRAITS = ("system A", "system B")
BAG = 40.0
LEFT_OVER = (0.0, 0.0, 0.0, 5.0, 7.0, 12.0, 25.0)
"""Units of a lot beyond its full bags."""
TYPICAL_ACRES = 65.0
"""Mean field where many fields share many lots; smaller seasons take what their lots give."""
YARDS = ("North yard", "River yard")
THREATS = ("White mold", "Sudden death", "Cyst nematode", "Pythium", "Phytophthora")
ML_PER_100KG = 65.1984
"""mL/100 kg in a fl oz/cwt: 29.5735 mL on 45.3592 kg."""
GALLON = 128.0
SIZES = (
    ("jug", 2.5, 1.0),
    ("keg", 15.0, 0.98),
    ("drum", 30.0, 0.97),
    ("big drum", 55.0, 0.95),
    ("tote", 110.0, 0.93),
)
"""Container, gallons, and its price a gallon beside a jug's."""
PRODUCTS = (
    ("Fungicide 1", "fungicide", 440.0, 2.8),
    ("Inoculant 2", "inoculant", 165.0, 2.1),
    ("Nematicide 3", "nematicide", 1450.0, 1.1),
    ("Polymer 4", "polymer", 46.0, 1.0),
    ("Plant Defence 5", "plant defence", 830.0, 2.5),
    ("Insecticide 6", "insecticide", 530.0, 1.6),
    ("Fungicide 7", "fungicide", 450.0, 2.6),
)
"""Name, kind, price a gallon, fl oz/cwt."""
ALWAYS = ("Fungicide 1", "Polymer 4")
"""Products of every recipe."""


def hard_season(
    fields: int,
    lots: int,
    recipes: int,
    varieties_a_field: int | None,
    seed: int,
    *,
    short: bool = False,
) -> Season:
    """A hard season; the same arguments give the same season.

    In a `short` one the seed does not suffice, whatever is planted where; none can be bought.
    """
    rng = Random(f"{fields} {lots} {recipes} {varieties_a_field} {seed} {short}")
    seeds = _lots(rng, lots, fields, short=short)
    kinds = _recipes(rng, recipes)
    return Season(
        farm=Farm(
            plan_date=date(2026, 12, 10),
            crop_year=2027,
            first_treating_day=date(2026, 12, 10),
            name=f"Hard season {seed}",
            spare_seed=0.03,
            product_margin=0.02,
            max_varieties=varieties_a_field,
            smallest_split=10.0,
            soybean_price=10.5,
        ),
        fields=_fields(rng, fields, seeds, short=short),
        lots=seeds,
        products=_products(rng, kinds),
        containers=_containers(rng),
        recipes=kinds,
        threats=tuple(_threat(rng, name) for name in THREATS),
        suppliers=(
            Supplier(YARDS[0], 150.0, 5000.0, date(2027, 1, 15)),
            Supplier(YARDS[1], 90.0, None, date(2027, 2, 1)),
        ),
        discounts=(
            DiscountLevel("Early pay", 4_000.0, 0.03, YARDS[0]),
            DiscountLevel("Early pay", 12_000.0, 0.05, YARDS[0]),
        ),
        source=f"{fields} x {lots} x {recipes}, seed {seed}",
    )


def _varieties(rng: Random, lots: int) -> list[tuple[str, float, str, float]]:
    """Name, maturity, trait and price of each; about two and a half lots share one."""
    found = []
    for i in range(max(2, round(0.4 * lots))):
        again, place = divmod(i, len(MATURITIES))
        maturity = MATURITIES[place]
        letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
        letter = letters[again % 26] * (1 + again // 26)
        price = round(rng.uniform(38.0, 62.0) * 1.05, 2)
        found.append((f"Variety {maturity}{letter}", maturity, rng.choice(TRAITS), price))
    return found


def _lots(rng: Random, lots: int, fields: int, *, short: bool) -> tuple[SeedLot, ...]:
    varieties = _varieties(rng, lots)
    larger = max(1.0, fields * TYPICAL_ACRES * 1.45 / (lots * 4.2 * BAG))
    found = []
    for i in range(lots):
        name, maturity, trait, price = varieties[i % len(varieties)]
        bags = max(1, round(rng.choice((2, 3, 4, 5, 6)) * larger))
        found.append(
            SeedLot(
                name=f"L{i + 1:03d}",
                variety=name,
                maturity=maturity,
                on_hand=BAG * bags + rng.choice(LEFT_OVER),
                seeds_per_lb=float(rng.randint(2400, 3280)),
                trait=(trait,),
                units_per_bag=BAG,
                germination=round(rng.uniform(0.86, 0.97), 3),
                return_value=round(price * rng.choice((0.0, 0.76, 0.76, 0.86)), 2),
                can_buy=0.0 if short else rng.choice((0.0, 0.0, 2.0, 5.0)) * BAG * round(larger),
                buy_price=price,
            )
        )
    return tuple(found)


def _fields(
    rng: Random, fields: int, lots: tuple[SeedLot, ...], *, short: bool
) -> tuple[Field, ...]:
    """Fields around the varieties in turn, each as large as its variety's seed allows."""
    anchors = list({one.variety: one for one in lots}.values())
    supply = {one.variety: 0.0 for one in anchors}
    for one in lots:
        supply[one.variety] += one.on_hand
    plenty = (0.8, 0.95) if short else (1.35, 1.65)
    shares = [rng.uniform(0.7, 1.3) for _ in range(fields)]
    need = [supply[a.variety] / rng.uniform(*plenty) for a in anchors]
    if fields < len(anchors):  # some varieties have no field of their own
        need = [sum(need) / fields] * len(anchors)
    found = []
    for i in range(fields):
        at = i % len(anchors)
        sowing, dropped = _sowing(rng)
        units = need[at] * shares[i] / sum(shares[at :: len(anchors)])
        acres = max(18.0, units * 140_000.0 / (dropped * 1.03))
        anchor = anchors[at]
        found.append(
            Field(
                name=f"Field {i + 1}",
                acres=round(acres, 1),
                sowing=sowing,
                earliest=round(anchor.maturity - rng.choice((0.0, 0.1, 0.2, 0.3)), 1),
                latest=round(anchor.maturity + rng.choice((0.1, 0.2, 0.3, 0.5)), 1),
                traits=anchor.trait if rng.random() < 0.45 else (),
                planting_date=date(2027, 5, 1) + timedelta(days=rng.randrange(25)),
                priority=rng.choice((1, 1, 2)),
                pressure=_pressure(rng),
            )
        )
    return tuple(found)


def _sowing(rng: Random) -> tuple[SeedingRate | TargetStand, float]:
    """How a field is sown, and the seeds that drop an acre at a common germination."""
    if rng.random() < 0.3:
        plants = rng.choice((88_000.0, 96_000.0, 104_000.0, 112_000.0, 120_000.0))
        return TargetStand(plants, 0.92), plants / 0.92 / 0.92
    seeds = rng.choice((110_000.0, 120_000.0, 130_000.0, 140_000.0, 150_000.0))
    return SeedingRate(seeds), seeds


def _pressure(rng: Random) -> dict[str, Pressure]:
    chances = (0.46, 0.28, 0.16, 0.1)
    drawn = {name: rng.choices(tuple(Pressure), chances)[0] for name in THREATS}
    return {name: p for name, p in drawn.items() if p is not Pressure.NONE}


def _threat(rng: Random, name: str) -> Threat:
    loss = {Pressure.LOW: 0.5, Pressure.MODERATE: 2.0, Pressure.HIGH: 6.0}
    moderate, high = rng.choice((Rating.F, Rating.G)), rng.choice((Rating.G, Rating.VG))
    return Threat(name, {Pressure.MODERATE: moderate, Pressure.HIGH: high}, loss)


def _recipes(rng: Random, recipes: int) -> tuple[Recipe, ...]:
    """From plain to rich; the last one holds the most products."""
    others = [name for name, *_ in PRODUCTS if name not in ALWAYS]
    found = []
    for i in range(recipes):
        more = 0 if i == 0 else 3 if i == recipes - 1 else rng.randint(0, 3)
        names = [*ALWAYS, *rng.sample(others, more)]
        rates = tuple(_rate(rng, name) for name in names)
        found.append(Recipe(f"Recipe {i + 1}", rates))
    return tuple(found)


def _rate(rng: Random, name: str) -> Rate:
    typical = next(rate for product, _, _, rate in PRODUCTS if product == name)
    amount = typical * rng.uniform(0.75, 1.3)
    as_units = amount / 2.0  # a unit weighs about half a hundredweight
    if rng.random() < 0.35:
        return Rate(name, round(as_units, 3), Basis.FLOZ_PER_UNIT)
    if rng.random() < 0.5:  # as from a rate in mL/100 kg of three decimals
        return Rate(name, round(amount * ML_PER_100KG, 3) / ML_PER_100KG, Basis.FLOZ_PER_CWT)
    return Rate(name, round(amount, 3), Basis.FLOZ_PER_CWT)


def _products(rng: Random, recipes: tuple[Recipe, ...]) -> tuple[Product, ...]:
    """Products with random ratings; the richest recipe holds every threat."""
    ratings = {
        name: {t: Rating(rng.randint(1, 5)) for t in THREATS if rng.random() < 0.35}
        for name, *_ in PRODUCTS
    }
    rich = max(recipes, key=lambda r: len(r.rates))
    for threat in THREATS:
        ratings[rng.choice(rich.rates).product][threat] = Rating.E
    return tuple(
        Product(
            name=name,
            kind=kind,
            on_hand=rng.choice((0.0, 0.0, round(rng.uniform(100.0, 800.0), 1))),
            line_loss=rng.choice((8.0, 16.0, 24.0)),
            carryover=rng.choice((0.0, 0.4, 0.7)),
            protection=ratings[name],
        )
        for name, kind, *_ in PRODUCTS
    )


def _containers(rng: Random) -> tuple[Container, ...]:
    found = []
    for product, _, gallon, _ in PRODUCTS:
        base = gallon * rng.uniform(0.85, 1.15)
        for place in sorted(rng.sample(range(len(SIZES)), rng.randint(2, 3))):
            name, gallons, beside = SIZES[place]
            price = base * beside * gallons
            breaks = [PriceBreak(1, round(price, 2))]
            if rng.random() < 0.4:
                breaks.append(PriceBreak(rng.choice((3, 4, 6)), round(price * 0.94, 2)))
            heel = rng.choice((0.0, 4.0, 8.0))
            found.append(
                Container(
                    product, name, gallons * GALLON, tuple(breaks), heel, supplier=rng.choice(YARDS)
                )
            )
    return tuple(found)

"""Tiny seasons for the tests: builders with sensible defaults.

All names and figures are invented.
"""

from __future__ import annotations

from datetime import date

from planner.season.domain import (
    Basis,
    Container,
    Farm,
    Field,
    PriceBreak,
    Product,
    Rate,
    Recipe,
    Row,
    Season,
    SeedingRate,
    SeedLot,
)

FIRST_DAY = date(2027, 4, 20)


def farm(**changes) -> Farm:
    return Farm(
        **{
            "plan_date": date(2027, 2, 1),
            "crop_year": 2027,
            "first_treating_day": FIRST_DAY,
            "name": "Tiny farm",
            **changes,
        }
    )


def field(name="North", acres=80.0, seeds=140_000.0, **changes) -> Field:
    sowing = changes.pop("sowing", SeedingRate(seeds))
    return Field(name=name, acres=acres, sowing=sowing, row=Row("Fields", 2), **changes)


def lot(name="L1", variety="V20", maturity=2.0, on_hand=120.0, **changes) -> SeedLot:
    values = {"seeds_per_lb": 2800.0, "units_per_bag": 40.0, "row": Row("Seed lots", 2), **changes}
    return SeedLot(name=name, variety=variety, maturity=maturity, on_hand=on_hand, **values)


def product(name="Alpha", **changes) -> Product:
    return Product(name=name, row=Row("Products", 2), **changes)


def container(product="Alpha", name="jug", size=320.0, price=300.0, **changes) -> Container:
    breaks = changes.pop("breaks", ((1, price),))
    return Container(
        product=product,
        name=name,
        size=size,
        breaks=tuple(PriceBreak(count, each) for count, each in breaks),
        row=Row("Containers", 2),
        **changes,
    )


def recipe(name="R1", water=0.0, **rates) -> Recipe:
    """Recipe from product=amount (fl oz/unit) or product=(amount, basis[, active]), and water."""
    found = []
    for name_, rate in rates.items():
        amount, basis, *active = rate if isinstance(rate, tuple) else (rate, Basis.FLOZ_PER_UNIT)
        found.append(Rate(name_, float(amount), basis, active[0] if active else None))
    thin = (Rate("Water", water, Basis.FLOZ_PER_UNIT),) if water else ()
    return Recipe(name=name, rates=tuple(found), carriers=thin, row=Row("Recipes", 2))


def season(**changes) -> Season:
    """One field, one lot, one recipe, one product in jugs, unless said otherwise."""
    return Season(
        **{
            "farm": farm(),
            "fields": (field(),),
            "lots": (lot(),),
            "products": (product(),),
            "containers": (container(),),
            "recipes": (recipe(Alpha=2.0),),
            **changes,
        }
    )


def jug_by_jug(most):
    """200 acres, a unit each, in bags of 40; a jug of $600 is just enough for a bag."""
    return season(
        farm=farm(most_to_spend=most),
        fields=(field(acres=200.0),),
        lots=(lot(on_hand=200.0),),
        recipes=(recipe("R1", Alpha=8.0),),
        containers=(container(price=600.0),),
    )

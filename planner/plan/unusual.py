"""Figures far from what is usual, asked about and never refused: perhaps a slip of the point."""

from __future__ import annotations

import re
from collections import defaultdict
from statistics import median
from typing import TYPE_CHECKING

from planner.agronomy.rates import floz_per_cwt, floz_per_unit, liquid_per_cwt
from planner.plan.usual import (
    ACTIVE_ON_SEED,
    ACTIVE_ON_WEIGHT,
    ALL_ON_SEED,
    ANY_CONTAINER,
    CONTAINERS,
    CROP_PRICE,
    DENSITY,
    DROP,
    FIELD,
    LIKE_DOLLARS,
    PRODUCT_ON_SEED,
    SEED,
    SEED_PRICE,
    SEEDS_PER_UNIT,
    TIMES,
    TREATMENT_COST,
    UNITS_PER_BAG,
    USUAL_SEEDS_PER_LB,
    WET,
    Usual,
)
from planner.plan.words import money, where
from planner.season.domain import Basis, SeedingRate
from planner.sums import grouped
from planner.units import Measure, in_unit
from planner.units.exact import LB_PER_CWT

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from planner.season.domain import Container, PriceBreak, Rate, Season


METRIC = {
    Measure.AREA: "ha",
    Measure.SEED_SIZE: "seeds/kg",
    Measure.SEEDS_PER_AREA: "seeds/ha",
    Measure.PLANTS_PER_AREA: "plants/ha",
    Measure.VOLUME: "L",
    Measure.LIQUID_ON_SEED: "mL/100 kg",
    Measure.DENSITY: "kg/L",
}
US = {Measure.VOLUME: "gal"}
PRICES = frozenset({Measure.MONEY, Measure.MONEY_PER_SEED_UNIT, Measure.CROP_PRICE})
RANGES = {
    Basis.FLOZ_PER_UNIT: PRODUCT_ON_SEED,
    Basis.FLOZ_PER_CWT: PRODUCT_ON_SEED,
    Basis.MG_PER_SEED: ACTIVE_ON_SEED,
    Basis.G_PER_100KG: ACTIVE_ON_WEIGHT,
}


BY_ACTIVE = frozenset({Basis.MG_PER_SEED, Basis.G_PER_100KG})
SLACK = 1e-9
MOST = 5
"""Questions of one kind that are asked one by one."""


def unusual(season: Season) -> Iterator[str]:
    """Ask about every figure that is far from what is usual, sheet by sheet."""
    for sheet, ask in (
        ("Farm", _settings),
        ("Fields", _fields),
        ("Seed lots", _lots),
        ("Products", _products),
        ("Containers", _containers),
        ("Recipes", _recipes),
        ("Recipes", _liquids),
    ):
        found = list(ask(season))
        yield from found[:MOST]
        if len(found) > MOST:
            yield f"There are {len(found) - MOST:,} more such questions about {sheet}."


def _say(value: float, measure: Measure, season: Season, figures: int = 4) -> str:
    """A value in the farm's units of measure, or in its money, to that many figures."""
    if measure is Measure.CROP_PRICE and season.farm.metric:
        return money(in_unit(value, measure, "$/t"), season)
    if measure in PRICES:
        return money(value, season)
    unit = (METRIC if season.farm.metric else US).get(measure, measure.value)
    value = in_unit(value, measure, unit)
    return f"{value:,.0f} {unit}" if value >= 1_000.0 else f"{value:.{figures}g} {unit}"


def _ask(
    value: float | None, usual: Usual, measure: Measure, of: str, kind: str, season: Season
) -> Iterator[str]:
    """Ask about a value outside its range; a price only where it is in money like dollars."""
    if value is None or usual.holds(value) or (measure in PRICES and not _in_dollars(season)):
        return
    low, high = _say(usual.low, measure, season, 3), _say(usual.high, measure, season, 3)
    if low.split(" ")[1:] == high.split(" ")[1:]:
        low = low.split(" ")[0]
    slip = ""
    for other in (value / 10.0, value * 10.0):
        if usual.holds(other):
            slip = f"; {_say(other, measure, season)} would be"
    yield f"Is {_say(value, measure, season)} right for {of}? {kind} {low} to {high}{slip}."


def _settings(season: Season) -> Iterator[str]:
    farm = season.farm
    for value, usual, measure, name, kind in (
        (farm.seeds_per_unit, SEEDS_PER_UNIT, Measure.SEEDS, "Seeds per unit", "A unit is usually"),
        (farm.liquid_limit, ALL_ON_SEED, Measure.LIQUID_ON_SEED, "Liquid limit", "It is usually"),
        (
            farm.soybean_price,
            CROP_PRICE,
            Measure.CROP_PRICE,
            "Soybean price",
            "A metric ton is usually" if farm.metric else "A bushel is usually",
        ),
    ):
        yield from _ask(value, usual, measure, f"{name} (Farm)", kind, season)


def _fields(season: Season) -> Iterator[str]:
    for field in season.fields:
        of = f"field {field.name}{where(field.row)}"
        if isinstance(field.sowing, SeedingRate):
            seeds, measure, kind = (
                field.sowing.seeds,
                Measure.SEEDS_PER_AREA,
                "Seed is usually dropped at",
            )
        else:
            seeds, measure, kind = (
                field.sowing.plants,
                Measure.PLANTS_PER_AREA,
                "Stands are usually",
            )
        yield from _ask(seeds, DROP, measure, of, kind, season)
        yield from _ask(field.acres, FIELD, Measure.AREA, of, "A field usually has", season)


def _lots(season: Season) -> Iterator[str]:
    for lot in season.lots:
        of = f"lot {lot.name}{where(lot.row)}"
        yield from _ask(
            lot.seeds_per_lb, SEED, Measure.SEED_SIZE, of, "Soybean seed usually has", season
        )
        bag = f"Units per bag of {of}"
        kind = "A bag, box or truck usually holds"
        yield from _ask(lot.units_per_bag, UNITS_PER_BAG, Measure.SEED_UNITS, bag, kind, season)
        price, unit = lot.buy_price or None, Measure.MONEY_PER_SEED_UNIT
        yield from _ask(price, SEED_PRICE, unit, f"a unit of {of}", "A unit usually costs", season)


def _products(season: Season) -> Iterator[str]:
    for product in season.products:
        of = f"the Density of {product.name}{where(product.row)}"
        yield from _ask(
            product.density, DENSITY, Measure.DENSITY, of, "Liquids usually have", season
        )


# -- containers -----------------------------------------------------------------------------------


def _containers(season: Season) -> Iterator[str]:
    by_product: dict[str, list[tuple[Container, PriceBreak]]] = defaultdict(list)
    for container in season.containers:
        by_product[container.product] += [(container, b) for b in container.breaks]
        usual, kind = _container_kind(container.name)
        of = f"the Size of {container.product} / {container.name}{where(container.row)}"
        yield from _ask(container.size, usual, Measure.VOLUME, of, kind, season)
    for product, offers in by_product.items():
        yield from _prices(product, offers, season)


def _container_kind(name: str) -> tuple[Usual, str]:
    words = re.findall(r"[a-z]+", name.casefold())
    for word, usual in CONTAINERS.items():
        if word in words:
            return usual, f"A {word} usually holds"
    return ANY_CONTAINER, "Containers usually hold"


def _prices(
    product: str, offers: Sequence[tuple[Container, PriceBreak]], season: Season
) -> Iterator[str]:
    """Ask about a price that is far from the product's others by volume, or from any treatment."""
    each = [b.price / c.size for c, b in offers]
    takes = _floz_a_unit(product, season)
    for (container, step), price, fellow in zip(offers, each, _far(each), strict=True):
        cost = takes * price
        start = (
            f"Is {money(step.price, season)} right for {product} / {container.name}"
            f"{where(step.row)}?"
        )
        if fellow is not None:
            yield (
                f"{start} That is {_by_volume(price, season)}, and the product's other prices come "
                f"to {_by_volume(fellow, season)}."
            )
        elif cost > 0.0 and not TREATMENT_COST.holds(cost) and _in_dollars(season):
            low, high = (money(x, season) for x in TREATMENT_COST)
            yield (
                f"{start} It puts {money(cost, season)} of product on a unit of seed; {low} to "
                f"{high} is usual."
            )


def _far(values: Sequence[float]) -> list[float | None]:
    """What a value's fellows are where it is far from them, else None; of two, the larger is.

    >>> _far([3.2, 32.0, 3.2]), _far([0.5, 5.0]), _far([4.6])
    ([None, 3.2, None], [None, 0.5], [None])
    """
    if len(values) == 2:
        low, high = min(values), max(values)
        return [low if v == high >= TIMES * low > 0.0 else None for v in values]
    middle = median(values) if values else 0.0
    near = middle / TIMES, middle * TIMES
    return [None if v <= 0.0 or near[0] < v < near[1] else middle for v in values]


def _in_dollars(season: Season) -> bool:
    return season.farm.currency.strip() in LIKE_DOLLARS


def _by_volume(price: float, season: Season) -> str:
    """A price per fl oz in the farm's money, by gallon or liter."""
    if season.farm.metric:
        return f"{money(price / in_unit(1.0, Measure.VOLUME, 'L'), season)} a liter"
    return f"{money(price / in_unit(1.0, Measure.VOLUME, 'gal'), season)} a gallon"


def _floz_a_unit(product: str, season: Season) -> float:
    """Fl oz of a product that its recipes put on a unit of the season's first lot, their median."""
    rates = [r for recipe in season.recipes for r in recipe.rates if r.product == product]
    if not rates or not season.lots:
        return 0.0
    return median(floz_per_unit(r, season.lots[0], season) for r in rates)


# -- recipes --------------------------------------------------------------------------------------


def _recipes(season: Season) -> Iterator[str]:
    """Ask about a rate that is far from the product's in other recipes, or from any usual one."""
    alike = grouped(
        ((rate.product, rate.active, RANGES[rate.basis]), (recipe, rate))
        for recipe in season.recipes
        for rate in recipe.rates
    )
    for (product, active, usual), found in alike.items():
        values = [_on_seed(rate, season) for _, rate in found]
        for (recipe, rate), value, fellow in zip(found, values, _far(values), strict=True):
            if usual.holds(value) and fellow is None:
                continue
            why = []
            if fellow is not None:
                why.append(f"in other recipes it is {_rate(fellow, rate, season)}")
            if not usual.holds(value):
                why.append(_span(usual, rate, season))
            text = ", and ".join(why)
            written = rate.written or _rate(value, rate, season)
            yield (
                f"Is {written} of {active or product} right in recipe {recipe.name}"
                f"{where(rate.row)}? {text[0].upper()}{text[1:]}."
            )


def _liquids(season: Season) -> Iterator[str]:
    """Ask about recipes that are wet all together, where the farm sets no limit or warning.

    Not where one product is much by itself: that is asked about as its rate.
    """
    if season.farm.liquid_limit is not None or season.farm.liquid_warning is not None:
        return
    for recipe in season.recipes:
        most, lot = max(
            ((liquid_per_cwt(recipe, lot, season), lot.name) for lot in season.lots),
            default=(0.0, ""),
        )
        each = [floz_per_cwt(r, season.lot_named[lot], season) for r in recipe.rates if lot]
        if most > WET * (1.0 + SLACK) and max(each) <= PRODUCT_ON_SEED.high:
            yield (
                f"Can seed flow and dry with {_say(most, Measure.LIQUID_ON_SEED, season, 3)} on "
                f"it? That is what recipe {recipe.name}{where(recipe.row)} puts on lot {lot}. In a "
                f"trial weak seed took harm as liquid rose from "
                f"{_say(WET, Measure.LIQUID_ON_SEED, season, 2)}. Liquid limit and Liquid warning "
                "on Farm are blank."
            )


def _span(usual: Usual, rate: Rate, season: Season) -> str:
    """Range of a rate in words."""
    low, high = _rate(usual.low, rate, season), _rate(usual.high, rate, season)
    of = "active ingredient" if rate.basis in BY_ACTIVE else "product"
    return f"{low.split(' ')[0]} to {high} of one {of} is usual"


def _on_seed(rate: Rate, season: Season) -> float:
    """A rate in the unit of its range; a rate by the unit of seed, at a usual seed size."""
    if rate.basis is not Basis.FLOZ_PER_UNIT:
        return rate.amount
    return rate.amount * LB_PER_CWT * USUAL_SEEDS_PER_LB / season.farm.seeds_per_unit


def _rate(value: float, rate: Rate, season: Season) -> str:
    """A rate in the unit of its range, in the farm's units of measure."""
    if rate.basis not in BY_ACTIVE:
        return _say(value, Measure.LIQUID_ON_SEED, season)
    return f"{value:,.4g} {rate.basis.value}"

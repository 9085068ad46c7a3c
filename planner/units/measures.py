"""What is measured, in which units, and every spelling of them that is understood."""

from __future__ import annotations

from enum import Enum


class Measure(Enum):
    """What a quantity measures; the value is its working unit."""

    VOLUME = "fl oz"
    AREA = "acres"
    SEEDS = "seeds"
    SEEDS_PER_AREA = "seeds/acre"
    PLANTS_PER_AREA = "plants/acre"
    SEED_SIZE = "seeds/lb"
    SEED_UNITS = "units"
    BAGS = "bags"
    LIQUID_ON_SEED = "fl oz/cwt"
    DENSITY = "lb/gal"
    WEIGHT = "lb"
    ACTIVE_PER_AREA = "lb/acre"
    ACTIVE_PER_SEED = "mg/seed"
    MONEY = "$"
    MONEY_PER_SEED_UNIT = "$/unit"
    MONEY_PER_AREA = "$/acre"
    CROP_PRICE = "$/bu"
    YIELD = "bu/acre"
    DAYS = "days"
    MINUTES = "min"
    HOURS = "h"
    LENGTH = "inches"
    SEED_FLOW = "lb/min"


DEFINITIONS = (
    "meter = [length]",
    "gram = [mass]",
    "minute = [time]",
    "day = [day]",
    "week = 7 * day",
    "twenty_fourth = day / 24",
    "seed = [seed]",
    "plant = [plant]",
    "unit = [seed_unit]",
    "bag = [bag]",
    "dollar = [money]",
    "hour = 60 * minute",
    "second = minute / 60",
    "inch = 0.0254 * meter",
    "centimeter = meter / 100",
    "millimeter = meter / 1000",
    "foot = 12 * inch",
    "liter = 0.001 * meter ** 3",
    "milliliter = liter / 1000",
    "gallon = 231 * inch ** 3",
    "quart = gallon / 4",
    "pint = gallon / 8",
    "fluid_ounce = gallon / 128",
    "milligram = gram / 1000",
    "microgram = gram / 1000000",
    "kilogram = 1000 * gram",
    "tonne = 1000000 * gram",
    "pound = 453.59237 * gram",
    "ounce = pound / 16",
    "hundredweight = 100 * pound",
    "short_ton = 2000 * pound",
    "hectokilogram = 100 * kilogram",
    "bushel = 60 * pound",
    "hectare = 10000 * meter ** 2",
    "acre = 43560 * foot ** 2",
    "thousand_seeds = 1000 * seed",
    "thousand_acre = 1000 * acre",
)
"""Exact factors: NIST Handbook 44, Appendix C; the foot, and so the acre, is the international one;
the hundredweight is of 100 lb; the bushel is soybean's legal 60 lb (Indiana Code 24-6-1-1)."""

_VOLUME = {
    "fluid_ounce": "fl oz|floz|fl ozs|fl ounce|fl ounces|fluid ounce|fluid ounces|fluid oz|oz fl",
    "gallon": "gal|gals|gallon|gallons|us gal|us gallon|us gallons",
    "quart": "qt|qts|quart|quarts",
    "pint": "pt|pts|pint|pints",
    "liter": "L|l|liter|liters|litre|litres",
    "milliliter": "mL|ml|milliliter|milliliters|millilitre|millilitres|cc",
}
_MASS = {
    "pound": "lb|lbs|pound|pounds",
    "kilogram": "kg|kgs|kilogram|kilograms",
    "gram": "g|gram|grams",
    "ounce": "oz|ounce|ounces",
    "milligram": "mg|milligram|milligrams",
    "microgram": "ug|microgram|micrograms",
    "tonne": "t|tonne|tonnes|metric ton|metric tons",
    "hundredweight": "cwt|100 lb|100 lbs|hundredweight",
}
_AREA = {"acre": "acres|acre|ac", "hectare": "ha|hectare|hectares"}
_PER_AREA = {"acre": "acre|ac|a|acres", "hectare": "ha|hectare|hectares"}
_COUNTED_AREA = _PER_AREA | {"meter ** 2": "m2|m^2|square meter|square metre|sq m"}
_SEED = {"seed": "seeds|seed"}
_SEEDS = _SEED | {"thousand_seeds": "thousand seeds|1000 seeds"}
_SEED_MASS = {
    "hundredweight": "cwt|100 lb|100 lbs|100 pounds|hundredweight",
    "hectokilogram": "100 kg|100kg|dt",
    "kilogram": "kg",
    "tonne": "t|tonne",
    "pound": "lb|lbs|pound|pounds",
    "bushel": "bu|bushel",
}
_UNIT = {"unit": "units|unit"}
_CROP = {
    "bushel": "bu|bushel|bushels",
    "tonne": "t|tonne|tonnes|metric ton",
    "kilogram": "kg",
    "hundredweight": "cwt",
    "pound": "lb",
    "short_ton": "short ton",
}
_TIME = {"minute": "min|minute|minutes", "hour": "h|hr|hour|hours", "second": "s|sec|second"}
_DAYS = {"day": "days|day|d", "week": "weeks|week|wk", "twenty_fourth": "hours|hour|h|hr|hrs"}
_LENGTH = {
    "inch": 'inches|inch|in|"',
    "centimeter": "cm",
    "millimeter": "mm",
    "foot": "ft|foot|feet",
}
_NOTHING: dict[str, str] = {}

Atoms = dict[str, str]

FORMS: dict[Measure, tuple[tuple[Atoms, Atoms], ...]] = {
    Measure.VOLUME: ((_VOLUME, _NOTHING),),
    Measure.AREA: ((_AREA, _NOTHING),),
    Measure.SEEDS: ((_SEEDS, _NOTHING),),
    Measure.SEEDS_PER_AREA: ((_SEEDS, _COUNTED_AREA),),
    Measure.PLANTS_PER_AREA: (({"plant": "plants|plant"}, _COUNTED_AREA),),
    Measure.SEED_SIZE: (
        (_SEED, {"pound": "lb|pound", "kilogram": "kg|kilogram", "gram": "g"}),
        (
            {"gram": "g|grams", "milligram": "mg"},
            {"thousand_seeds": "1000 seeds|1000 seed|1000|1k seeds", "seed": "seed"},
        ),
    ),
    Measure.SEED_UNITS: ((_UNIT, _NOTHING),),
    Measure.BAGS: (({"bag": "bags|bag"}, _NOTHING),),
    Measure.LIQUID_ON_SEED: ((_VOLUME, _SEED_MASS),),
    Measure.DENSITY: (
        (
            {k: _MASS[k] for k in ("pound", "kilogram", "gram", "milligram")},
            {k: _VOLUME[k] for k in ("gallon", "liter", "milliliter", "fluid_ounce", "quart")},
        ),
    ),
    Measure.WEIGHT: (({k: _MASS[k] for k in ("pound", "kilogram", "gram", "tonne")}, _NOTHING),),
    Measure.ACTIVE_PER_AREA: (
        ({k: _MASS[k] for k in ("pound", "kilogram", "gram", "ounce")}, _PER_AREA),
    ),
    Measure.ACTIVE_PER_SEED: (
        ({k: _MASS[k] for k in ("milligram", "microgram", "gram")}, {"seed": "seed|seeds"}),
    ),
    Measure.MONEY: (({"dollar": "$|$ each|$/each"}, _NOTHING),),
    Measure.MONEY_PER_SEED_UNIT: (({"dollar": "$|"}, _UNIT),),
    Measure.MONEY_PER_AREA: (({"dollar": "$|"}, _PER_AREA),),
    Measure.CROP_PRICE: (({"dollar": "$|"}, _CROP),),
    Measure.YIELD: ((_CROP, _PER_AREA),),
    Measure.DAYS: ((_DAYS, _NOTHING),),
    Measure.MINUTES: ((_TIME, _NOTHING),),
    Measure.HOURS: ((_TIME, _NOTHING),),
    Measure.LENGTH: ((_LENGTH, _NOTHING),),
    Measure.SEED_FLOW: (
        ({k: _MASS[k] for k in ("pound", "kilogram", "tonne", "hundredweight")}, _TIME),
    ),
}

WORKING = {
    Measure.VOLUME: "fluid_ounce",
    Measure.AREA: "acre",
    Measure.SEEDS: "seed",
    Measure.SEEDS_PER_AREA: "seed / acre",
    Measure.PLANTS_PER_AREA: "plant / acre",
    Measure.SEED_SIZE: "seed / pound",
    Measure.SEED_UNITS: "unit",
    Measure.BAGS: "bag",
    Measure.LIQUID_ON_SEED: "fluid_ounce / hundredweight",
    Measure.DENSITY: "pound / gallon",
    Measure.WEIGHT: "pound",
    Measure.ACTIVE_PER_AREA: "pound / acre",
    Measure.ACTIVE_PER_SEED: "milligram / seed",
    Measure.MONEY: "dollar",
    Measure.MONEY_PER_SEED_UNIT: "dollar / unit",
    Measure.MONEY_PER_AREA: "dollar / acre",
    Measure.CROP_PRICE: "dollar / bushel",
    Measure.YIELD: "bushel / acre",
    Measure.DAYS: "day",
    Measure.MINUTES: "minute",
    Measure.HOURS: "hour",
    Measure.LENGTH: "inch",
    Measure.SEED_FLOW: "pound / minute",
}

ACCEPTED = {
    Measure.VOLUME: "fl oz, gal, qt, pt, L or mL",
    Measure.AREA: "acres or ha",
    Measure.SEEDS: "seeds",
    Measure.SEEDS_PER_AREA: "seeds/acre, seeds/ha or seeds/m2",
    Measure.PLANTS_PER_AREA: "plants/acre, plants/ha or plants/m2",
    Measure.SEED_SIZE: "seeds/lb, seeds/kg or g/1000 seeds",
    Measure.SEED_UNITS: "units",
    Measure.BAGS: "bags",
    Measure.LIQUID_ON_SEED: "fl oz/cwt or mL/100 kg",
    Measure.DENSITY: "lb/gal, kg/L or g/L",
    Measure.WEIGHT: "lb, kg, g or t",
    Measure.ACTIVE_PER_AREA: "lb/acre, kg/ha or g/ha",
    Measure.ACTIVE_PER_SEED: "mg/seed",
    Measure.MONEY: "the farm's money",
    Measure.MONEY_PER_SEED_UNIT: "the farm's money per unit",
    Measure.MONEY_PER_AREA: "the farm's money per acre or ha",
    Measure.CROP_PRICE: "the farm's money per bu or t",
    Measure.YIELD: "bu/acre, t/ha or kg/ha",
    Measure.DAYS: "days, weeks or h",
    Measure.MINUTES: "min or h",
    Measure.HOURS: "h or min",
    Measure.LENGTH: "inches or cm",
    Measure.SEED_FLOW: "lb/min or kg/min",
}
"""Usual units of a measure, for messages; further spellings are understood."""

RATES = "fl oz/unit, fl oz/140,000 seeds, fl oz/cwt, mL/100 kg, mg/seed or g/100 kg"
"""Units of a recipe's rate, for messages."""

RATE_FORMS: tuple[tuple[str, str, Atoms, Atoms], ...] = (
    ("fl oz/unit", "fluid_ounce / unit", _VOLUME, {"unit": "unit|units"}),
    ("fl oz/cwt", "fluid_ounce / hundredweight", _VOLUME, _SEED_MASS),
    (
        "mg/seed",
        "milligram / seed",
        {k: _MASS[k] for k in ("milligram", "microgram", "gram")},
        {"seed": "seed|seeds"},
    ),
    (
        "g/100 kg",
        "gram / hectokilogram",
        {k: _MASS[k] for k in ("gram", "milligram", "kilogram")},
        {k: _SEED_MASS[k] for k in ("hectokilogram", "kilogram", "tonne")},
    ),
)

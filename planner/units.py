"""Units of measure: a closed list of spellings, and text to numbers in working units.

Factors come from one pint registry with our own few definitions, made on first use. Text from a
user never reaches pint: it is looked up in the closed list, and what is not there is refused
together with what would do.
"""

from __future__ import annotations

import difflib
import math
import re
import unicodedata
from dataclasses import dataclass
from enum import Enum
from functools import lru_cache
from typing import TYPE_CHECKING, Any, NoReturn

if TYPE_CHECKING:
    from collections.abc import Iterator

MOST = 1e12
"""Numbers beyond this, in working units, are refused: nothing on a farm is that large."""


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
    CROP_PRICE = "$/bu"
    YIELD = "bu/acre"
    DAYS = "days"
    MINUTES = "min"
    SEED_FLOW = "lb/min"


class Unreadable(ValueError):
    """A text is not what was expected; says what would have been, and the nearest remedy."""

    def __init__(self, expected: str, remedy: str = "") -> None:
        super().__init__(expected, remedy)
        self.expected = expected
        self.remedy = remedy


def refuse(expected: str, remedy: str = "") -> NoReturn:
    """Raise `Unreadable`."""
    raise Unreadable(expected, remedy)


DEFINITIONS = (
    "meter = [length]",
    "gram = [mass]",
    "minute = [time]",
    "day = [day]",
    "seed = [seed]",
    "plant = [plant]",
    "unit = [seed_unit]",
    "bag = [bag]",
    "dollar = [money]",
    "hour = 60 * minute",
    "second = minute / 60",
    "inch = 0.0254 * meter",
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
"""Exact factors: NIST Handbook 44, Appendix C; the acre is the international one; the hundredweight
is of 100 lb; the bushel is soybean's legal 60 lb (Indiana Code 24-6-1-1)."""

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
_SEED = {"seed": "seeds|seed"}
_SEED_MASS = {
    "hundredweight": "cwt|100 lb|100 lbs|hundredweight",
    "hectokilogram": "100 kg|100kg|dt",
    "kilogram": "kg",
    "tonne": "t|tonne",
    "pound": "lb|pound",
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
_NOTHING: dict[str, str] = {}

Atoms = dict[str, str]

_FORMS: dict[Measure, tuple[tuple[Atoms, Atoms], ...]] = {
    Measure.VOLUME: ((_VOLUME, _NOTHING),),
    Measure.AREA: ((_AREA, _NOTHING),),
    Measure.SEEDS: ((_SEED, _NOTHING),),
    Measure.SEEDS_PER_AREA: ((_SEED, _PER_AREA),),
    Measure.PLANTS_PER_AREA: (({"plant": "plants|plant"}, _PER_AREA),),
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
    Measure.WEIGHT: (({k: _MASS[k] for k in ("pound", "kilogram", "gram")}, _NOTHING),),
    Measure.ACTIVE_PER_AREA: (
        ({k: _MASS[k] for k in ("pound", "kilogram", "gram", "ounce")}, _PER_AREA),
    ),
    Measure.ACTIVE_PER_SEED: (
        ({k: _MASS[k] for k in ("milligram", "microgram", "gram")}, {"seed": "seed|seeds"}),
    ),
    Measure.MONEY: (({"dollar": "$|$ each|$/each"}, _NOTHING),),
    Measure.MONEY_PER_SEED_UNIT: (({"dollar": "$|"}, _UNIT),),
    Measure.CROP_PRICE: (({"dollar": "$|"}, _CROP),),
    Measure.YIELD: ((_CROP, _PER_AREA),),
    Measure.DAYS: (({"day": "days|day|d"}, _NOTHING),),
    Measure.MINUTES: ((_TIME, _NOTHING),),
    Measure.SEED_FLOW: (
        ({k: _MASS[k] for k in ("pound", "kilogram", "tonne", "hundredweight")}, _TIME),
    ),
}

_WORKING = {
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
    Measure.CROP_PRICE: "dollar / bushel",
    Measure.YIELD: "bushel / acre",
    Measure.DAYS: "day",
    Measure.MINUTES: "minute",
    Measure.SEED_FLOW: "pound / minute",
}

ACCEPTED = {
    Measure.VOLUME: "fl oz, gal, qt, pt, L or mL",
    Measure.AREA: "acres or ha",
    Measure.SEEDS: "seeds",
    Measure.SEEDS_PER_AREA: "seeds/acre or seeds/ha",
    Measure.PLANTS_PER_AREA: "plants/acre or plants/ha",
    Measure.SEED_SIZE: "seeds/lb, seeds/kg or g/1000 seeds",
    Measure.SEED_UNITS: "units",
    Measure.BAGS: "bags",
    Measure.LIQUID_ON_SEED: "fl oz/cwt or mL/100 kg",
    Measure.DENSITY: "lb/gal, kg/L or g/L",
    Measure.WEIGHT: "lb, kg or g",
    Measure.ACTIVE_PER_AREA: "lb/acre, kg/ha or g/ha",
    Measure.ACTIVE_PER_SEED: "mg/seed",
    Measure.MONEY: "money",
    Measure.MONEY_PER_SEED_UNIT: "money per unit",
    Measure.CROP_PRICE: "money per bu or t",
    Measure.YIELD: "bu/acre, t/ha or kg/ha",
    Measure.DAYS: "days",
    Measure.MINUTES: "min or h",
    Measure.SEED_FLOW: "lb/min or kg/min",
}
"""Usual units of a measure, for messages; further spellings are understood."""

RATES = "fl oz/unit, mL/unit, fl oz/cwt, mL/100 kg, mg/seed or g/100 kg"
"""Units of a recipe's rate, for messages."""

_RATE_FORMS: tuple[tuple[str, str, Atoms, Atoms], ...] = (
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


@dataclass(frozen=True, slots=True)
class Unit:
    """One unit of the closed list: how its numbers become working units."""

    factor: float
    upside_down: bool = False
    """Whether the working unit is the factor divided by the number, as for g/1000 seeds."""

    def to_working(self, value: float) -> float:
        """Number of working units that a number of these units is.

        Raises
        ------
        ZeroDivisionError
            When the unit is upside down and the value is 0.
        """
        return self.factor / value if self.upside_down else self.factor * value


@lru_cache
def registry() -> Any:
    """Return the one pint registry, with our own definitions only. Typed loosely: pint is."""
    import pint

    made: Any = pint.UnitRegistry(None)
    for definition in DEFINITIONS:
        made.define(definition)
    return made


@lru_cache(maxsize=512)
def _unit(unit: str, working: str) -> Unit:
    """Factor from one of our own unit expressions to another, cleaned of the last bits' noise."""
    quantity = registry().Quantity(1.0, unit)
    upside_down = not quantity.is_compatible_with(working)
    if upside_down:
        quantity = 1.0 / quantity
    factor = float(quantity.to(working).magnitude)
    clean = float(f"{factor:.12g}")
    return Unit(clean if math.isclose(clean, factor, rel_tol=4e-15) else factor, upside_down)


def _spellings(top: Atoms, bottom: Atoms) -> Iterator[tuple[str, str]]:
    """Every (spelling, expression) of a numerator over a denominator."""
    for upper, uppers in top.items():
        for spelled in uppers.split("|"):
            if not bottom:
                yield spelled, upper
            for lower, lowers in bottom.items():
                for below in lowers.split("|"):
                    yield f"{spelled}/{below}", f"{upper} / {lower}"


@lru_cache
def _known(measure: Measure) -> dict[str, str]:
    """All spellings of a measure's units, plain, with our expression for each."""
    pairs = (pair for form in _FORMS[measure] for pair in _spellings(*form))
    return {_plain(spelled): expression for spelled, expression in pairs}


@lru_cache
def _known_rates() -> dict[str, tuple[str, str, str]]:
    """All spellings of rate units, plain, with basis, our expression and the basis' own."""
    return {
        _plain(spelled): (basis, expression, working)
        for basis, working, top, bottom in _RATE_FORMS
        for spelled, expression in _spellings(top, bottom)
    }


_ACTIVE = re.compile(r"\b(?:ai|active ingredient|active|product)\b")
_THOUSANDS = re.compile(r"(?<=\d)[, ](?=\d{3}\b)")


@lru_cache(maxsize=4096)
def _plain(unit: str) -> str:
    """Spelling of a unit without what does not matter: case, dots, spaces, 'per' for '/'."""
    text = unicodedata.normalize("NFKC", unit).casefold().replace("μ", "u").replace(".", "")
    text = _THOUSANDS.sub("", re.sub(r"\bper\b", "/", text))
    text = " ".join(_ACTIVE.sub(" ", text).split())
    return re.sub(r"\s*/\s*", "/", text)


def find_unit(text: str, measure: Measure, money: str = "$") -> Unit:
    """Look up a unit of a measure in the closed list.

    Parameters
    ----------
    text
        The unit as written, such as ``fl. oz`` or ``seeds per kg``.
    money
        The farm's sign of money, which stands for ``$``.

    Raises
    ------
    Unreadable
        When it is not in the list.
    """
    known = _known(measure)
    plain = _plain(_signed(text, money))
    if plain not in known:
        refuse(f"a number in {ACCEPTED[measure]}", _remedy(plain, known))
    return _unit(known[plain], _WORKING[measure])


def is_rate_unit(text: str) -> bool:
    """Whether a text is a unit of a recipe's rate.

    >>> is_rate_unit("fl. oz per cwt"), is_rate_unit("oz/cwt")
    (True, False)
    """
    return _plain(text) in _known_rates()


def in_unit(value: float, measure: Measure, unit: str) -> float:
    """Give a value in working units in another unit of the closed list.

    >>> round(in_unit(320.0, Measure.VOLUME, "L"), 6)
    9.463529
    """
    found = find_unit(unit, measure)
    return found.factor / value if found.upside_down else value / found.factor


def _signed(text: str, money: str) -> str:
    """Unit with the farm's own sign of money as $."""
    sign = money.strip()
    if sign and sign != "$" and text.lstrip().casefold().startswith(sign.casefold()):
        return "$" + text.lstrip()[len(sign) :]
    return text


def _remedy(plain: str, known: dict[str, str] | dict[str, tuple[str, str, str]]) -> str:
    """Nearest unit of the list that could have been meant."""
    wet = re.sub(r"^(?:oz|ounces?)\b", "fl oz", plain)
    if wet != plain and wet in known:
        return f"ounces of a liquid are fluid ounces: write '{wet}'"
    if plain in ("m", "mm", "mil", "million"):
        return "write the number in full or with k for thousand"
    near = difflib.get_close_matches(plain, known, 1, 0.6)
    return f"nearest unit: '{near[0]}'" if near else ""


_NUMBER = re.compile(
    r"[+\-]?(?:(?:\d{1,3}(?:,\d{3})+|\d{1,3}(?: \d{3})+|\d+)(?:\.\d*)?|\.\d+)(?:[eE][+\-]?\d{1,3})?",
    re.ASCII,
)
_SPACES = dict.fromkeys(map(ord, "\u00a0\u2007\u2009\u202f\t"), " ")
_MINUS = {0x2212: "-"}
A_NUMBER = "a number such as 140,000 or 4.6"


def _split(text: str) -> tuple[str, str]:
    """Leading number of a text and what follows it."""
    text = text.translate(_SPACES).translate(_MINUS).strip()
    match = _NUMBER.match(text)
    if not match:
        return "", text
    digits = match.group()
    rest = text[len(digits) :]
    if digits[-1:].isdigit() and re.match(r"[.,:'’]?\d", rest):  # 1,5 or 1'000 or 12,34
        return "", text
    return digits, rest.strip()


def read_number(text: str, comma: bool = True) -> float:
    """Read a number without a unit.

    Parameters
    ----------
    text
        Digits, with ``,`` or a space between thousands, ``.`` before decimals, ``k`` for thousand.
    comma
        Whether ``,`` between thousands is sure to mean that: not so in a file whose cells are
        divided by ``;``.

    Raises
    ------
    Unreadable
        When it is anything else, not finite or beyond `MOST`.

    >>> read_number("140,000"), read_number("140k"), read_number("1 000.5")
    (140000.0, 140000.0, 1000.5)
    """
    value, rest = _number_and_rest(text, comma)
    if rest:
        remedy = _number_remedy(text) or f"'{rest[:20]}' after the number is not understood"
        refuse(A_NUMBER, remedy)
    return value


def _number_and_rest(text: str, comma: bool) -> tuple[float, str]:
    """Value of the leading number and the text after it."""
    digits, rest = _split(text)
    if not digits:
        refuse(A_NUMBER, _number_remedy(text))
    if "," in digits and not comma:
        refuse(
            "a number without a comma, as ; divides the cells of this file",
            f"write {digits.replace(',', '')} or {digits.replace(',', '.', 1)}",
        )
    value = float(digits.replace(",", "").replace(" ", ""))
    if re.match(r"k(?![a-z])", rest, re.IGNORECASE):
        value, rest = value * 1000.0, rest[1:].strip()
    if not math.isfinite(value) or abs(value) > MOST:
        refuse(f"a number up to {MOST:g}", "look for a slip of the decimal point")
    return value, rest


def _number_remedy(text: str) -> str:
    """What to write instead of a text that is not a number."""
    tidy = text.translate(_SPACES).strip()
    decimal = re.match(r"([+\-]?\d+),(\d{1,2}|\d{4,})(?![\d,])", tidy)
    if decimal:
        return f"decimals follow a point: {decimal[1]}.{decimal[2]}"
    if re.match(r"\d+\s*/\s*\d+", tidy) or any(c in tidy for c in "½¼¾⅓⅔"):
        return "write a fraction as a decimal number, such as 0.5"
    if tidy.casefold() in ("n/a", "na", "none", "-", "--", "?", "tbd", "unknown"):
        return "leave the cell blank for the default"
    return ""


def read_quantity(
    text: str, measure: Measure, unit: str = "", money: str = "$", comma: bool = True
) -> float:
    """Read a number with a unit (or a bare one, in `unit`) in working units.

    Parameters
    ----------
    unit
        Unit of a bare number; empty where the text must say it (0 needs none).

    Raises
    ------
    Unreadable
        When the text is no number, or its unit is not one of the measure's.

    >>> read_quantity("2.5 gal", Measure.VOLUME), read_quantity("80", Measure.AREA, "acres")
    (320.0, 80.0)
    """
    sign = _sign_before(text, measure, money)
    if measure in _MONEYED and any(unicodedata.category(c) == "Sc" for c in text[len(sign) :]):
        _check_sign(text, money)
    value, rest = _number_and_rest(text.strip()[len(sign) :], comma)
    written = (money if sign else "") + rest
    if not rest and (not sign or unit):
        if not unit:
            if value == 0.0:
                return 0.0
            refuse(f"a number in {ACCEPTED[measure]}", "write the unit after the number")
        written = unit
        money = "$" if unit.startswith("$") else money
    found = find_unit(written, measure, money)
    if found.upside_down and value == 0.0:
        refuse("a number above 0")
    result = found.to_working(value)
    if not math.isfinite(result) or abs(result) > MOST:
        refuse(f"a number up to {MOST:g} {measure.value}")
    return result


_MONEYED = (Measure.MONEY, Measure.MONEY_PER_SEED_UNIT, Measure.CROP_PRICE)


def _check_sign(text: str, money: str) -> None:
    """Refuse a sign of money that is not the farm's."""
    others = {c for c in text if unicodedata.category(c) == "Sc"} - set(money)
    if others:
        refuse(f"money in {money.strip()}, as Currency on Farm says", "leave the sign out")


def _sign_before(text: str, measure: Measure, money: str) -> str:
    """Sign of money that stands before a number of money; empty if none."""
    sign = money.strip()
    found = measure in _MONEYED and sign and text.strip().casefold().startswith(sign.casefold())
    return text.strip()[: len(sign)] if found else ""


def read_rate(text: str, unit: str = "", comma: bool = True) -> tuple[float, str]:
    """Read the rate of a recipe: the amount and what it is counted on.

    Returns
    -------
    tuple[float, str]
        The amount and its unit: ``fl oz/unit``, ``fl oz/cwt``, ``mg/seed`` or ``g/100 kg``.

    Raises
    ------
    Unreadable
        When the text is no number, or its unit is none of a rate.

    >>> read_rate("4.6 fl oz/cwt")
    (4.6, 'fl oz/cwt')
    """
    value, rest = _number_and_rest(text, comma)
    plain = _plain(rest or unit)
    known = _known_rates()
    if plain not in known:
        remedy = _remedy(plain, known) if plain else "write the unit after the number"
        refuse(f"a rate in {RATES}", remedy)
    basis, expression, working = known[plain]
    return _unit(expression, working).to_working(value), basis


def read_percent(text: str, comma: bool = True) -> float:
    """Read a percent as a fraction of one.

    Raises
    ------
    Unreadable
        When it is no number, or a bare number strictly between 0 and 1.

    >>> read_percent("3%"), read_percent("3"), read_percent("0.5 %")
    (0.03, 0.03, 0.005)
    """
    value, rest = _number_and_rest(text, comma)
    if rest.casefold() not in ("", "%", "percent", "pct", "per cent"):
        refuse("a percent such as 3%", f"'{rest[:20]}' after the number is no percent")
    if not rest and 0.0 < abs(value) < 1.0:
        refuse("a percent such as 3%", f"write {value:g}% or {value * 100:g}%, whichever is meant")
    return value / 100.0

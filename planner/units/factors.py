"""Factors between units, by pint, and the closed list of spellings that leads to them."""

from __future__ import annotations

import difflib
import math
import re
import unicodedata
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from planner.units.measures import ACCEPTED, DEFINITIONS, FORMS, RATE_FORMS, WORKING, Atoms, Measure
from planner.units.numbers import MOST_LETTERS, refuse

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping


@dataclass(frozen=True, slots=True)
class Unit:
    """One unit of the closed list: how its numbers become working units."""

    factor: float
    upside_down: bool = False
    """Whether the working unit is the factor divided by the number, as for g/1000 seeds."""

    def to_working(self, value: float) -> float:
        """Number of working units that a number of these units is, to thirteen significant digits.

        The noise behind them would make two seasons of one that is written in two units.

        Raises
        ------
        ZeroDivisionError
            When the unit is upside down and the value is 0.
        """
        if self.factor == 1.0 and not self.upside_down:
            return value
        converted = self.factor / value if self.upside_down else self.factor * value
        return float(f"{converted:.13g}")


@lru_cache
def registry() -> Any:
    """Return the one pint registry, with our own definitions only. Typed loosely: pint is."""
    import pint

    made: Any = pint.UnitRegistry(None)
    for definition in DEFINITIONS:
        made.define(definition)
    return made


@lru_cache(maxsize=512)
def factor_between(unit: str, working: str) -> Unit:
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
def known_units(measure: Measure) -> dict[str, str]:
    """All spellings of a measure's units, plain, with our expression for each."""
    pairs = (pair for form in FORMS[measure] for pair in _spellings(*form))
    return {plain_unit(spelled): expression for spelled, expression in pairs}


@lru_cache
def known_rates() -> dict[str, tuple[str, str, str]]:
    """All spellings of rate units, plain, with basis, our expression and the basis' own."""
    return {
        plain_unit(spelled): (basis, expression, working)
        for basis, working, top, bottom in RATE_FORMS
        for spelled, expression in _spellings(top, bottom)
    }


_ACTIVE = re.compile(r"\b(?:ai|active ingredient|active|product)\b")
_RUN_ON = re.compile(r"(?<=\d)(?=[a-z])")
_THOUSANDS = re.compile(r"(?<=\d)[, ](?=\d{3}\b)")
_OF_SEED = re.compile(
    r"\b(cwt|lbs?|pounds?|kg|hundredweight|bu|bushel|units?) (?:of )?(?:soybean )?seeds?$"
)
_OF_SO_MANY = re.compile(r"([^/]+)/(?:unit of )?(\d+)( k| thousand)? ?(\D+?)(?: unit| bag)?")


@lru_cache(maxsize=4096)
def plain_unit(unit: str) -> str:
    """Spelling of a unit without what does not matter: case, dots, spaces, 'per' for '/'.

    What a label adds about seed by weight does not matter either.

    >>> plain_unit("Fl. Oz. per 100 lb"), plain_unit("fl oz/cwt of seed")
    ('fl oz/100 lb', 'fl oz/cwt')
    """
    text = unicodedata.normalize("NFKC", unit).casefold().replace("μ", "u").replace(".", "")
    text = _THOUSANDS.sub("", re.sub(r"\bper\b", "/", text))
    text = " ".join(_ACTIVE.sub(" ", _RUN_ON.sub(" ", text)).split())
    return _OF_SEED.sub(r"\1", re.sub(r"\s*/\s*", "/", text))


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
    known = known_units(measure)
    signed = _signed(text, money)[:MOST_LETTERS]
    written = as_fluid(signed, known)
    if written not in known:
        refuse(f"a number in {ACCEPTED[measure]}", unit_remedy(written, known))
    return factor_between(known[written], WORKING[measure])


_OUNCES = re.compile(r"(?:oz|ozs|ounces?)(?![a-z])")
_WEIGHED = re.compile(r"\b(?:ai|active)\b")


def as_fluid(text: str, known: Mapping[str, object]) -> str:
    """Plain spelling of a unit; bare ounces are fluid where only those are known.

    Ounces that are said to be of active ingredient stay as they are: they are weighed.

    >>> as_fluid("oz per cwt", known_rates()), as_fluid("oz ai/cwt", known_rates())
    ('fl oz/cwt', 'oz/cwt')
    """
    plain = plain_unit(text)
    weighed = _WEIGHED.search(text.casefold().replace(".", ""))
    if plain in known or weighed or not _OUNCES.match(plain):
        return plain
    fluid = _OUNCES.sub("fl oz", plain, count=1)
    return fluid if fluid in known else plain


def is_bare_ounces(text: str) -> bool:
    """Whether a unit, with or without a number before it, is ounces that are not called fluid.

    >>> is_bare_ounces("4.6 oz/cwt"), is_bare_ounces("ounces"), is_bare_ounces("16 fl oz")
    (True, True, False)
    """
    unit = text[:MOST_LETTERS].lstrip("+-0123456789.,kK \u00a0")
    return bool(_OUNCES.match(plain_unit(unit)))


def rate_unit(text: str) -> tuple[str, Unit] | None:
    """What a rate in a unit is counted on, and how its numbers become that; None if it is no unit.

    Labels also count on so many seeds or pounds, as in ``fl oz/140,000 seeds``.

    >>> rate_unit("fl. oz per cwt"), rate_unit("fl oz/1,000 seeds"), rate_unit("lb/cwt")
    (('fl oz/cwt', Unit(...)), ('fl oz/seed', Unit(factor=0.001, ...)), None)
    """
    known, plain = known_rates(), plain_unit(text[:MOST_LETTERS])
    many = _OF_SO_MANY.fullmatch(plain)
    written, count = as_fluid(text[:MOST_LETTERS], known), 1.0
    if written not in known and many and int(many[2]):
        top, below = many[1], many[4]
        count = int(many[2]) * (1000.0 if many[3] else 1.0)
        volumes = known_units(Measure.VOLUME)
        volume = as_fluid(top, volumes)
        if below in ("seed", "seeds") and volume in volumes:
            of_one = factor_between(volumes[volume], WORKING[Measure.VOLUME])
            return "fl oz/seed", Unit(of_one.factor / count)
        written = as_fluid(f"{top}/{below}", known)
    if written not in known:
        return None
    basis, expression, working = known[written]
    found = factor_between(expression, working)
    return basis, found if count == 1.0 else Unit(found.factor / count)


def is_rate_unit(text: str) -> bool:
    """Whether a text is a unit of a recipe's rate.

    >>> is_rate_unit("fl. oz per cwt"), is_rate_unit("lb/cwt")
    (True, False)
    """
    return rate_unit(text) is not None


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


def unit_remedy(plain: str, known: dict[str, str] | dict[str, tuple[str, str, str]]) -> str:
    """Nearest unit of the list that could have been meant."""
    wet = _OUNCES.sub("fl oz", plain, count=1) if _OUNCES.match(plain) else plain
    if wet != plain and wet in known:
        return f"write '{wet}' if it is of product; active ingredient is in mg/seed or g/100 kg"
    if plain in ("m", "mm", "mil", "million"):
        return "write the number in full or with k for thousand"
    top, slash, below = plain.partition("/")
    if plain in _BAGS and "units" in known:
        return "a bag may hold several units: write bags x Units per bag"
    if top == "$" and "$" in known and below in known_units(Measure.VOLUME):
        return "write the price of one container: that of a gallon x the gallons in it"
    if below in _BAGS:
        return "a bag may hold several units: say how much goes on a unit of seed, as fl oz/unit"
    if plain.startswith("/"):
        of = {known[unit]: unit for unit in reversed(known) if unit.endswith(plain)}
        return f"nearest unit: {_or(list(reversed(of.values()))[:2])}" if of else ""
    per = {known[unit]: unit for unit in reversed(known) if unit.startswith(f"{plain}/")}
    if not slash and per:
        return f"say per what: {_or(list(reversed(per.values()))[:2])}"
    near = _near(plain, known)
    return f"nearest unit: {_or(near)}" if near else ""


def _or(units: list[str]) -> str:
    return " or ".join(f"'{unit}'" for unit in units)


_BAGS = ("bag", "bags", "box", "boxes", "tote", "totes", "mini-bulk", "mini-bulks")
NEAR = 0.6
"""Likeness from which a spelling could have been meant."""


@lru_cache
def _parts() -> frozenset[str]:
    """What stands over and under the line in units of any measure."""
    known = [*known_rates(), *(unit for measure in FORMS for unit in known_units(measure))]
    return frozenset(part for unit in known for part in unit.split("/", 1))


def _near(plain: str, known: Mapping[str, object]) -> list[str]:
    """Units of the list that a misspelled one is like, over the line and under it; two if alike.

    Whatever is a unit of something else is no misspelling, so nothing is near it.
    """
    top, slash, below = plain.partition("/")
    pairs = [unit.partition("/") for unit in known]
    if not slash:
        return _alike(top, [u for u, line, _ in pairs if not line])
    tops, belows = [u for u, line, _ in pairs if line], [b for _, line, b in pairs if line]
    found = [f"{u}/{b}" for u in _alike(top, tops) for b in _alike(below, belows)]
    return [unit for unit in found if unit in known][:2]


def _alike(part: str, spellings: list[str]) -> list[str]:
    """Spellings that a misspelled one is like; never one that counts on another number."""
    if part in spellings:
        return [part]
    if part in _parts():
        return []
    match = difflib.SequenceMatcher(b=part)
    ratios: dict[str, float] = {}
    digits = re.findall(r"\d+", part)
    like = [word for word in dict.fromkeys(spellings) if re.findall(r"\d+", word) == digits]
    for word in difflib.get_close_matches(part, like, 3, NEAR):
        match.set_seq1(word)
        ratios[word] = match.ratio()
    return [word for word, ratio in ratios.items() if ratio == max(ratios.values())]

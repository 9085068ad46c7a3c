"""Text to quantities, rates and percents in working units."""

from __future__ import annotations

import re
import unicodedata

from planner.units.factors import (
    as_fluid,
    find_unit,
    is_rate_unit,
    known_rates,
    rate_unit,
    unit_remedy,
)
from planner.units.measures import ACCEPTED, RATES, Measure
from planner.units.numbers import (
    MOST_LETTERS,
    Unreadable,
    check_size,
    fraction,
    number_and_rest,
    refuse,
)


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
    sign, sign_of_farm = _sign_before(text, measure, money), money.strip()
    if measure in _MONEYED and any(unicodedata.category(c) == "Sc" for c in text[len(sign) :]):
        _check_sign(text, money)
    expected = f"a number in {ACCEPTED[measure]}"
    if measure is Measure.VOLUME and _CONTAINER.search(text.strip()):
        refuse(expected, "write what is in it: half of a 2.5 gal jug is 1.25 gal")
    value, rest = number_and_rest(text.strip()[len(sign) :], comma, expected)
    written = (f"{money} " if sign else "") + rest  # as if the sign had followed the number
    if not rest and (not sign or unit):
        if not unit:
            if value == 0.0:
                return 0.0
            refuse(expected, "write the unit after the number")
        written = unit
        money = "$" if unit.startswith("$") else money
    try:
        found = find_unit(written, measure, money)
    except Unreadable as problem:
        remedy = _in_one_unit(text, measure, comma) or problem.remedy
        if measure in _MONEYED and not rest:
            remedy = f"fix the unit in the header, {unit}: Currency on Farm is {sign_of_farm}"
        refuse(problem.expected, remedy)
    if found.upside_down and value == 0.0:
        refuse("a number above 0")
    result = found.to_working(value)
    check_size(result, f" {measure.value}")
    return result


def read_land(text: str, *, metric: bool) -> float:
    """Read land in acres; a bare number is in ha on a metric farm, else in acres.

    Raises
    ------
    Unreadable
        When the text is no number, or its unit is none of land.

    >>> read_land("40", metric=False), round(read_land("40", metric=True), 2)
    (40.0, 98.84)
    """
    return read_quantity(text, Measure.AREA, "ha" if metric else "acres")


_PIECE = re.compile(r"\s*([\d.,]+)\s*([^\d,;]+?)[\s,]*(?=\d|$)")
_CONTAINER = re.compile(r"\b(?:jug|keg|drum|tote|bottle|can|pail|box|container)(?:s|es)?$", re.I)


def _in_one_unit(text: str, measure: Measure, comma: bool) -> str:
    """What to write in place of a quantity in several units, such as 6 gal 3 qt."""
    if len(text) > MOST_LETTERS:
        return ""
    pieces = _PIECE.findall(text)
    if len(pieces) < 2 or _PIECE.sub("", text):
        return ""
    first = pieces[0][1]
    try:
        units = [find_unit(unit, measure) for _, unit in pieces]
        values = [number_and_rest(number, comma)[0] for number, _ in pieces]
    except Unreadable:
        return ""
    total = sum(unit.to_working(x) for unit, x in zip(units, values, strict=True))
    return f"write {total / units[0].factor:.6g} {first}"


_MONEYED = (
    Measure.MONEY,
    Measure.MONEY_PER_SEED_UNIT,
    Measure.MONEY_PER_AREA,
    Measure.CROP_PRICE,
)
_ANY_SIGN = re.compile(r"^(?:[^\W\d_]{0,3}[^\w\s/]|[A-Z]{3})(?=$|[\s/])")


def check_unit(unit: str, measure: Measure) -> None:
    """Refuse a unit that is none of a measure's; money may have any sign, as in ``CHF/unit``.

    Raises
    ------
    Unreadable
        When it is refused.
    """
    find_unit(_ANY_SIGN.sub("$", unit) if measure in _MONEYED else unit, measure)


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
        The amount and its unit: ``fl oz/unit``, ``fl oz/seed``, ``fl oz/cwt``, ``mg/seed`` or
        ``g/100 kg``.

    Raises
    ------
    Unreadable
        When the text is no number, or its unit is none of a rate.

    >>> read_rate("4.6 fl oz/cwt")
    (4.6, 'fl oz/cwt')
    """
    expected = f"a rate in {RATES}"
    value, rest = number_and_rest(text, comma, expected)
    found = rate_unit(rest or unit)
    if found is None:
        refuse(expected, _rate_remedy(value, rest or unit))
    basis, factor = found
    amount = factor.to_working(value)
    check_size(amount, f" {basis}")
    return amount, basis


_UP_TO = re.compile(r"(?:-|\N{EN DASH}|to\b) *[\d.]+ *(?P<unit>[^\d.].*)", re.I)


def _rate_remedy(value: float, written: str) -> str:
    """What to write in place of a rate: one of the label's range, or a unit that is known."""
    if not written:
        return "write the unit after the number"
    span = _UP_TO.fullmatch(written[:MOST_LETTERS])
    if span and is_rate_unit(span["unit"]):
        return f"write the one rate that you will use, such as {value:g} {span['unit']}"
    known = known_rates()
    return unit_remedy(as_fluid(written[:MOST_LETTERS], known), known)


A_PERCENT = "a percent such as 3%"


def read_percent(text: str, comma: bool = True) -> float:
    """Read a percent as a fraction of one.

    Raises
    ------
    Unreadable
        When it is no number, or a bare number strictly between 0 and 1.

    >>> read_percent("3%"), read_percent("3"), read_percent("0.5 %")
    (0.03, 0.03, 0.005)
    """
    part = fraction(text)
    if part is not None:
        value = part[0]
        refuse(A_PERCENT, f"write {value * 100:g}% or {value:g}%, whichever is meant")
    value, rest = number_and_rest(text, comma, A_PERCENT)
    if rest.casefold() not in ("", "%", "percent", "pct", "per cent"):
        refuse(A_PERCENT, f"'{rest[:20]}' after the number is no percent")
    if not rest and 0.0 < abs(value) < 1.0:
        refuse(A_PERCENT, f"write {value:g}% or {value * 100:g}%, whichever is meant")
    return value / 100.0

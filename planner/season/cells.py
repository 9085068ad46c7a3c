"""One cell's text to the value that its column says it holds."""

from __future__ import annotations

import math
import re
from calendar import month_name, monthrange
from datetime import date
from typing import TYPE_CHECKING, NamedTuple

from planner.season.names import key, nearest, words
from planner.season.schema import Kind
from planner.units import (
    Measure,
    Unreadable,
    is_bare_ounces,
    read_number,
    read_percent,
    read_quantity,
    read_rate,
    refuse,
)

if TYPE_CHECKING:
    from collections.abc import Callable

    from planner.season.schema import Column

FIRST_YEAR, LAST_YEAR = 1900, 2200
TRUE = frozenset(("yes", "true"))
FALSE = frozenset(("no", "false"))
NOTHING = frozenset(("n/a", "na", "none", "-", "--", "?", "tbd", "unknown"))
"""What people write into a cell that has nothing to say."""
EVERYTHING = frozenset(("all", "any", "every", "everything"))


class Setting(NamedTuple):
    """What a cell's reading hangs on besides its column."""

    unit: str
    """Unit of a bare number."""
    money: str = "$"
    comma: bool = True


class Amount(NamedTuple):
    """A rate as it was read."""

    amount: float
    basis: str
    written: str


def read_cell(text: str, column: Column, setting: Setting) -> object:
    """Read a filled cell.

    Returns
    -------
    object
        By the column's kind: str, tuple of str, bool, int, float (working units), date, `Amount`.

    Raises
    ------
    Unreadable
        When the text is not what the column holds, or out of its bounds.
    """
    try:
        value = _READERS[column.kind](text, column, setting)
    except Unreadable as problem:
        remedy = blank_for_nothing(text, column) or problem.remedy
        raise Unreadable(problem.expected, remedy) from None
    meant = blank_for_all(text, column) if column.kind in (Kind.TEXT, Kind.TEXTS) else ""
    if meant:
        refuse(f"a {column.name} by name", meant)
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        _check_bounds(float(value), column)
    elif isinstance(value, Amount):
        _check_bounds(value.amount, column)
    return value


def blank_for_nothing(text: str, column: Column) -> str:
    """Say to leave a cell blank that says it has nothing to say, where it may be."""
    if key(text) not in NOTHING or column.must:
        return ""
    return f"leave the cell blank, which means {column.blank_means}"


def blank_for_all(text: str, column: Column) -> str:
    """Say to leave a cell blank where it says what a blank one means, such as all or any."""
    blank = column.blank_means
    if key(text) not in EVERYTHING or not blank.startswith(("all", "any")):
        return ""
    return f"leave the cell blank, which means {blank}"


def try_cell(text: str, column: Column, setting: Setting) -> object:
    """Value of a text, or the exception that says why there is none."""
    try:
        return read_cell(text, column, setting)
    except Unreadable as problem:
        return problem


def _check_bounds(value: float, column: Column) -> None:
    low, high = column.low, column.high
    under = low is not None and (value <= low if column.above_low else value < low)
    if under or (high is not None and value > high):
        refuse(bounds(column), column.outside)


def bounds(column: Column) -> str:
    """Bounds of a column's numbers, in words.

    >>> from planner.season.schema import sheet
    >>> bounds(sheet("Seed lots").column("Germination"))
    'a percent above 0% and up to 100%'
    """

    def show(value: float) -> str:
        if column.kind is Kind.PERCENT:
            return f"{value * 100:g}%"
        if column.kind is Kind.YEAR:
            return f"{value:g}"
        unit = f" {column.measure.value}" if column.measure else ""
        return f"{value:,.10g}{unit}"

    what = {Kind.COUNT: "a whole number", Kind.PERCENT: "a percent", Kind.YEAR: "a year"}
    noun = what.get(column.kind, "a number")
    low, high = column.low, column.high
    if low is None:
        return noun if high is None else f"{noun} up to {show(high)}"
    if high is None:
        return f"{noun} above {show(low)}" if column.above_low else f"{noun} of {show(low)} or more"
    if column.above_low:
        return f"{noun} above {show(low)} and up to {show(high)}"
    return f"{noun} from {show(low)} to {show(high)}"


def _words(text: str, column: Column, setting: Setting) -> str:
    return words(text)


def _name(text: str, column: Column, setting: Setting) -> str:
    name = words(text)
    if not name:
        refuse("a name with visible characters")
    return name


def _list(text: str, column: Column, setting: Setting) -> tuple[str, ...]:
    parts = {key(part): words(part) for part in text.split(";")}
    return tuple(word for word in parts.values() if word)


def _choice(text: str, column: Column, setting: Setting) -> str:
    word = words(text)
    known = {key(choice): choice for choice in column.choices}
    known |= {key(spelled): choice for spelled, choice in column.words}
    if key(word) in known:
        return known[key(word)]
    if not column.closed:
        return word
    like = nearest(word, known)
    remedy = f"nearest: '{known[key(like)]}'" if like else ""
    remedy = {key(other): told for other, told in column.other_words}.get(key(word), remedy)
    return refuse("one of " + ", ".join(column.choices), remedy)


_SHORT = {"y": "yes", "x": "yes", "1": "yes", "n": "no", "0": "no"}


def _yes_no(text: str, column: Column, setting: Setting) -> bool:
    word = key(text)
    if word not in TRUE | FALSE:
        refuse("yes or no", f"write {_SHORT[word]}" if word in _SHORT else "")
    return word in TRUE


_GROUP = re.compile(r"^\s*(?:MG|RM)\s*(?=\d)", re.I)
"""What tags write before a maturity."""


def _plain_number(text: str, column: Column, setting: Setting) -> float:
    if column.high == 12 and re.match(r"0\d", text.strip()):
        refuse(
            "a decimal number such as 1.8", "maturities before 0 have no sure number: see the tag"
        )
    if column.high == 12:
        text = _GROUP.sub("", text)
    return read_number(text, setting.comma, bounds(column))


def _whole(text: str, column: Column, setting: Setting) -> int:
    value = read_number(text, setting.comma, bounds(column))
    if not value.is_integer():
        refuse(bounds(column), _whole_near(value, column))
    return int(value)


def _whole_near(value: float, column: Column) -> str:
    """What to write in place of a number that is not whole, within the column's bounds."""
    low, high = column.low, column.high
    fit = [n for n in (math.floor(value), math.ceil(value)) if low is None or n >= low]
    fit = [n for n in fit if high is None or n <= high]
    return f"write {' or '.join(map(str, fit))}" if fit else ""


def _percent(text: str, column: Column, setting: Setting) -> float:
    if column.low is not None and column.low >= 0.0 and re.match(r"\s*[-\u2212]\s*[\d.]", text):
        refuse(bounds(column), column.outside)
    return read_percent(text, setting.comma)


def _quantity(text: str, column: Column, setting: Setting) -> float:
    measure = column.measure or Measure.VOLUME
    return read_quantity(text, measure, setting.unit, setting.money, setting.comma)


def _rate(text: str, column: Column, setting: Setting) -> Amount:
    amount, basis = read_rate(text, setting.unit, setting.comma)
    written = words(text)
    bare = not any(c.isalpha() for c in written)
    written = f"{written} {setting.unit}" if bare else written
    if is_bare_ounces(written):
        written = re.sub(r"(?i)(?:ozs?|ounces?)(?![a-z])", "fl oz", written, count=1)
    return Amount(amount, basis, written)


def in_bare_ounces(text: str, unit: str) -> bool:
    """Whether a cell says ounces, or its header for a bare number, without calling them fluid.

    >>> in_bare_ounces("16 oz", "fl oz"), in_bare_ounces("16", "oz"), in_bare_ounces("16", "gal")
    (True, True, False)
    """
    bare = text.strip() and not any(map(str.isalpha, text))
    return is_bare_ounces(unit if bare else text)


_ISO = re.compile(
    r"(\d{4})[-/](\d{1,2})[-/](\d{1,2})(?:[ T]\d{2}:\d{2}(?::\d{2}(?:\.\d+)?)?)?", re.A
)
_OTHER = re.compile(r"(\d{1,2})-(\d{1,2})-(\d{4}|\d{2})", re.A)
_BETWEEN_PARTS = re.compile(r"(?<=\d)\s*[-/.\u2010-\u2015\u2212]\s*(?=\d)", re.A)
_WEEKDAY = re.compile(r"(?:mon|tue|wed|thu|fri|sat|sun)[a-z]*[., ]+", re.A | re.I)
_MONTH = re.compile(
    r"(?P<name>[a-z]{3,9})\.?[ ,-]+(?P<year>\d{4})|(?P<first>\d{1,2})-(?P<then>\d{4})"
    r"|(?P<iso>\d{4})-(?P<number>\d{1,2})",
    re.A | re.I,
)
_MONTH_FIRST = re.compile(
    r"(?P<month>[a-z]{3,9})\.?[ -]+(?P<day>\d{1,2})(?:st|nd|rd|th)?"
    r"(?:[ ,-]+(?P<year>\d{4}|\d{2}))?",
    re.A | re.I,
)
_DAY_FIRST = re.compile(
    r"(?P<day>\d{1,2})(?:st|nd|rd|th|\.)?[ -]*(?P<month>[a-z]{3,9})\.?"
    r"(?:[ ,-]+(?P<year>\d{4}|\d{2}))?",
    re.A | re.I,
)
A_DATE = "a date as 2027-05-10"


def _date(text: str, column: Column, setting: Setting) -> date:
    found = _ISO.fullmatch(text.strip())
    if not found:
        refuse(A_DATE, _date_remedy(text.strip()))
    parts = [int(part) for part in found.groups()]
    day = _day(*parts)
    if day is None and FIRST_YEAR <= parts[0] <= LAST_YEAR:
        refuse(A_DATE, _no_such_day(*parts))
    if day is None or not FIRST_YEAR <= day.year <= LAST_YEAR:
        refuse(f"{A_DATE}, between {FIRST_YEAR} and {LAST_YEAR}")
    return day


def _day(year: int, month: int, day: int) -> date | None:
    try:
        return date(year, month, day)
    except ValueError:
        return None


def _no_such_day(year: int, month: int, day: int) -> str:
    """Say that a day doesn't exist, and how many there are in its month.

    >>> _no_such_day(2027, 2, 31), _no_such_day(2027, 13, 32)
    ('there is no such day: February 2027 has 28 days', 'there is no such day')
    """
    if not 1 <= month <= 12 or day < 1:
        return "there is no such day"
    days = monthrange(year, month)[1]
    return f"there is no such day: {month_name[month]} {year} has {days} days"


def _date_remedy(text: str) -> str:
    """What to write instead of a date in another order, or of a day's bare number."""
    if re.fullmatch(r"\d{5}(?:\.\d+)?", text, re.A):
        return "give the cell a date format, so that it shows the day"
    text = _parted(text)
    found = _ISO.fullmatch(text)
    if found:
        day = _day(*map(int, found.groups()))
        return f"write {day}" if day else _no_such_day(*map(int, found.groups()))
    found = _OTHER.fullmatch(text)
    if found:
        a, b, year = map(int, found.groups())
        year += 2000 if year < 100 else 0
        days = sorted({day for day in (_day(year, a, b), _day(year, b, a)) if day})
        if len(days) < 2:
            return f"write {days[0]}" if days else _no_such_day(year, a, b)
        said = [f"{day} if that is {month_name[day.month]} {day.day}" for day in days]
        return f"write {' or '.join(said)}"
    named = _MONTH_FIRST.fullmatch(text) or _DAY_FIRST.fullmatch(text)
    if named:
        return _named_day(named["month"], int(named["day"]), named["year"])
    month = _MONTH.fullmatch(text)
    if month:
        year = int(month["year"] or month["then"] or month["iso"])
        first = _day(year, int(month["first"] or month["number"] or _month(month["name"])), 1)
        return f"write the day, too, as {first}" if first else ""
    return ""


def _parted(text: str) -> str:
    """A date without its weekday, with a plain ``-`` between numbers; eight digits are taken apart.

    >>> _parted("20261201"), _parted("12012026"), _parted("1. 12. 2026"), _parted("Tue, Dec 1")
    ('2026-12-01', '12-01-2026', '1-12-2026', 'Dec 1')
    """
    text = _BETWEEN_PARTS.sub("-", _WEEKDAY.sub("", text, count=1))
    if not re.fullmatch(r"\d{8}", text, re.A):
        return text
    if FIRST_YEAR <= int(text[:4]) <= LAST_YEAR:
        return f"{text[:4]}-{text[4:6]}-{text[6:]}"
    return f"{text[:2]}-{text[2:4]}-{text[4:]}"


def _named_day(month: str, day: int, year: str | None) -> str:
    """What to write in place of a day whose month is named.

    >>> _named_day("Dec", 1, "2026"), _named_day("May", 7, None), _named_day("Mai", 7, None)
    ('write 2026-12-01', 'write the year, too, as 2027-05-07', '')
    """
    number = _month(month)
    written = int(year or 2027)
    found = _day(written + 2000 if written < 100 else written, number, day) if number else None
    if found is None:
        return ""
    return f"write {found}" if year else f"write the year, too, as {found}"


def _month(name: str) -> int:
    """Number of a month by its name or the beginning of it; 0 if it is none."""
    word = name.casefold()
    return next((n for n in range(1, 13) if month_name[n].casefold().startswith(word)), 0)


_READERS: dict[Kind, Callable[[str, Column, Setting], object]] = {
    Kind.TEXT: _words,
    Kind.NAME: _name,
    Kind.REF: _name,
    Kind.TEXTS: _list,
    Kind.REFS: _list,
    Kind.CHOICE: _choice,
    Kind.YES_NO: _yes_no,
    Kind.NUMBER: _plain_number,
    Kind.COUNT: _whole,
    Kind.YEAR: _whole,
    Kind.PERCENT: _percent,
    Kind.QUANTITY: _quantity,
    Kind.RATE: _rate,
    Kind.DATE: _date,
}

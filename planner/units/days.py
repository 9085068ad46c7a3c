"""Days as a farm writes them."""

from __future__ import annotations

import re
from datetime import date

_US = re.compile(r"(\d{1,2})/(\d{1,2})/(\d{4})", re.ASCII)


def say_day(day: date, *, metric: bool = False) -> str:
    """Write a day: month, day and year where a farm counts in US units, else as ISO 8601 has it.

    >>> from datetime import date
    >>> say_day(date(2027, 5, 8)), say_day(date(2027, 5, 8), metric=True)
    ('5/8/2027', '2027-05-08')
    """
    return day.isoformat() if metric else f"{day.month}/{day.day}/{day.year}"


def read_day(text: str, *, metric: bool) -> date:
    """Read a day as `say_day` writes it, or as ISO 8601 has it.

    Raises
    ------
    ValueError
        When it is no such day.

    >>> read_day("5/8/2027", metric=False), read_day("2027-05-08", metric=True)
    (datetime.date(2027, 5, 8), datetime.date(2027, 5, 8))
    """
    found = None if metric else _US.fullmatch(text)
    if found is None:
        return date.fromisoformat(text)
    month, day, year = map(int, found.groups())
    return date(year, month, day)

"""Days as a farm writes them."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from datetime import date


def say_day(day: date, *, metric: bool = False) -> str:
    """Write a day: month, day and year where a farm counts in US units, else as ISO 8601 has it.

    >>> from datetime import date
    >>> say_day(date(2027, 5, 8)), say_day(date(2027, 5, 8), metric=True)
    ('5/8/2027', '2027-05-08')
    """
    return day.isoformat() if metric else f"{day.month}/{day.day}/{day.year}"

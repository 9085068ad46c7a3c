"""Days before and after others, within the calendar that Python knows."""

from __future__ import annotations

import math
from datetime import date

from planner.units import say_day

DAY_NAMES = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
MOST_DAYS = 3650
"""Spans beyond ten years count as this; a life on the seed beyond it, as no limit."""
ROUNDING = 1e-9
LAST = date.max.toordinal()


def said(day: date, *, metric: bool = True) -> str:
    """Write a day with its weekday; month first where a farm counts in US units.

    >>> said(date(2027, 5, 3)), said(date(2027, 5, 3), metric=False)
    ('Mon 2027-05-03', 'Mon 5/3/2027')
    """
    return f"{DAY_NAMES[day.weekday()]} {say_day(day, metric=metric)}"


def shift(day: date, days: int) -> date:
    """Day that many days later (earlier where negative), at the ends of the calendar at most.

    >>> shift(date(2027, 4, 20), 12), shift(date.max, 2) == date.max
    (datetime.date(2027, 5, 2), True)
    """
    number = day.toordinal() + days
    return date.fromordinal(min(max(number, date.min.toordinal()), date.max.toordinal()))


def whole_days_up(days: float) -> int:
    """Whole days that hold a span.

    >>> whole_days_up(1.5), whole_days_up(2.0), whole_days_up(1e300)
    (2, 2, 3650)
    """
    return math.ceil(min(days, MOST_DAYS) - ROUNDING)


def whole_days_down(days: float) -> int:
    """Whole days that fit into a span.

    >>> whole_days_down(1.5), whole_days_down(2.0)
    (1, 2)
    """
    return int(min(days, MOST_DAYS) + ROUNDING)

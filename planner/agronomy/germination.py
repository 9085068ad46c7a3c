"""Until when a germination test counts as fresh."""

from __future__ import annotations

import calendar
from datetime import date

TEST_MONTHS = 9
"""Months that a germination test holds, the month of the test not counted (Iowa Code
199.8(1)(a))."""


def fresh_until(tested: date) -> date:
    """Last day on which a germination test is not too old.

    >>> fresh_until(date(2026, 9, 12)), fresh_until(date(2026, 5, 31))
    (datetime.date(2027, 6, 30), datetime.date(2027, 2, 28))
    """
    years, month = divmod(tested.month - 1 + TEST_MONTHS, 12)
    year = tested.year + years
    if year > date.max.year:
        return date.max
    return date(year, month + 1, calendar.monthrange(year, month + 1)[1])

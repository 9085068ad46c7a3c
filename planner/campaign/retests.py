"""Germination tests that are too old for the planting date: when a new sample must go out."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.campaign.days import shift
from planner.campaign.domain import Retest

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from planner.campaign.domain import LotTest, Run, Share, Shop


def retests(
    tests: Iterable[LotTest], shares: Sequence[Share], runs: Sequence[Run], shop: Shop
) -> tuple[Retest, ...]:
    """Ask for a new test of every lot whose test is too old when it is planted.

    The answer must be there before the first of its seed is treated, as treated seed does not go
    back, or before it is planted where none of it is treated any more. A lot's treated and its
    untreated seed, once both are there, are two samples (Minn. R. 1510.0310).
    """
    found = []
    for test in tests:
        mine = [s.planting for s in shares if s.lot == test.lot and s.planting]
        late = [day for day in mine if day > test.good_until]
        if not late:
            continue
        to_treat = [r.day for r in runs if r.lot == test.lot and not r.done]
        needed = min([*to_treat, *mine])
        send = shift(needed, -shop.test_days)
        found.append(Retest(test.lot, test.variety, test.good_until, min(late), needed, send))
    return tuple(sorted(found, key=lambda r: (r.send_by, r.lot)))

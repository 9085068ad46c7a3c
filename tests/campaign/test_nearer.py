"""Treating days nearer to the day before where less is flushed and primed again, worked by hand.

One bag of L1 is due on day 3, one of L2 later, both under X with product A. A day has 12 hours, so
from one day to the next the line stands 12, and 24 more for every day between.
"""

from dataclasses import replace
from datetime import timedelta

import pytest

from planner.campaign.begun import Begun, Work
from planner.campaign.changes import Line
from planner.campaign.domain import Run, Shop
from planner.campaign.schedule import schedule
from tests.support.campaigns import FIRST, batch, supply


def days_of(life, *, due=6, bags=1, **settings):
    shop = replace(Shop(FIRST, cure_days=1, bags_per_day=bags), **settings)
    made = [batch(lot, "X", "A", [(1, n + 1, None, n)]) for lot, n in (("L1", 3), ("L2", due))]
    stock = [replace(supply("A", 2.0), slurry_life=life, planned_loss=2.0)]
    placed = schedule(made, Work(made, stock, shop)).placed
    return [(p.day - FIRST.toordinal(), p.batch.lot) for p in placed]


@pytest.mark.parametrize(
    ("life", "settings", "day"),
    [
        (None, {}, 6),  # it may sit
        (60.0, {}, 6),  # from day 3 to day 6 the line stands 60 hours
        (59.0, {}, 4),
        (12.0, {}, 4),
        (11.0, {}, 6),  # even from one day to the next it may not sit: nothing is saved
        (11.0, {"bags": 2}, 3),  # day 3 holds both
        (12.0, {"bags": 2}, 4),  # day 4 is as good, and later
        (36.0, {"days_off": (FIRST + timedelta(4),)}, 5),
        (35.0, {"days_off": (FIRST + timedelta(4),)}, 6),
        (12.0, {"due": 11}, 4),
        (12.0, {"due": 12}, 12),  # eight days sooner are too many
    ],
)
def test_a_day_comes_nearer_only_where_less_is_primed_again(life, settings, day):
    assert days_of(life, **settings) == [(3, "L1"), (day, "L2")]


@pytest.mark.parametrize(("opens", "day"), [(4, 4), (5, 6)])
def test_no_bag_comes_longer_before_planting_than_the_farm_wants(opens, day):
    first, second = (batch(f"L{n}", "X", "A", [(1, 7, None, d)]) for n, d in ((1, 3), (2, 6)))
    portion = replace(second.portions[0], opens=FIRST + timedelta(opens))
    made = [first, replace(second, portions=(portion,))]
    stock = [replace(supply("A", 2.0), slurry_life=12.0, planned_loss=2.0)]
    placed = schedule(made, Work(made, stock, Shop(FIRST, cure_days=1))).placed
    assert [p.day - FIRST.toordinal() for p in placed] == [3, day]


def test_what_is_done_stays_and_the_rest_comes_nearer_to_it():
    """L1 was done on day 3; L2, due on day 6, follows on day 4."""
    made = [batch(lot, "X", "A", [(1, 7, None, 6)]) for lot in ("L1", "L2")]
    stock = [replace(supply("A", 2.0), slurry_life=12.0, planned_loss=2.0)]
    done = Run(FIRST + timedelta(3), "L1", "X", 1, 1, 1.0, done=True)
    shop = replace(Shop(FIRST, cure_days=1), first_day=FIRST + timedelta(4))
    line = Line(frozenset("A"), "L1")
    placed = schedule(made[1:], Work(made, stock, shop), Begun([done], line)).placed
    assert [p.day - FIRST.toordinal() for p in placed] == [4]

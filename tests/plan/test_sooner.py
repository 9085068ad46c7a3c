"""Ordering by a discount's last day: what it saves, worked out by hand."""

from dataclasses import replace
from datetime import date, timedelta

import pytest

from planner.plan.plan import OrderLine
from planner.plan.sooner import Sooner, sooner
from planner.report.answer import sooner_lines, to_do
from planner.report.facts import Facts
from planner.season.domain import DiscountLevel, Supplier
from tests.support.plans import HAND_PLAN
from tests.support.seasons import farm, season

EARLY, LAST = date(2027, 2, 10), date(2027, 3, 1)
ELM = OrderLine("Alpha", "jug", 1, 600.0, 600.0, "Elm")
OAK = OrderLine("Beta", "keg", 1, 500.0, 500.0, "Oak")
ASH = OrderLine("Gamma", "keg", 1, 50.0, 50.0, "Ash")


def farm_with(*levels, ash=LAST, **settings):
    """Elm's last day is the discount's, Oak's and Ash's are later."""
    sellers = (Supplier("Elm", order_by=EARLY), Supplier("Oak", order_by=LAST))
    sellers += (Supplier("Ash", order_by=ash),)
    return season(farm=farm(**settings), suppliers=sellers, discounts=levels)


def early(spend, percent, day=EARLY, **of):
    return DiscountLevel(of.pop("name", "Early"), spend, percent, order_by=day, **of)


def test_what_a_later_order_keeps_from_a_discount():
    """600 x 3 % now; all of 1,150 reaches 1,100, so 4 % of it: 46 - 18."""
    one = farm_with(early(500.0, 0.03), early(1_100.0, 0.04))
    (found,) = sooner(one, (ELM, OAK, ASH))
    assert found == Sooner(("Oak", "Ash"), EARLY, ("Early",), pytest.approx(28.0))


def test_a_supplier_that_adds_nothing_keeps_his_day():
    one = farm_with(early(500.0, 0.03, supplier="Oak"))
    (found,) = sooner(one, (ELM, OAK, ASH))
    assert (found.suppliers, found.saves) == (("Oak",), pytest.approx(15.0))


@pytest.mark.parametrize(
    "levels",
    [
        (),
        (early(2_000.0, 0.04),),  # all of 1,150 does not reach it
        (early(500.0, 0.03, day=LAST),),  # all is in time
        (early(500.0, 0.03, day=None),),
    ],
)
def test_nothing_is_said_where_nothing_is_saved(levels):
    assert sooner(farm_with(*levels), (ELM, OAK, ASH)) == ()


def test_a_day_that_is_past_is_not_named():
    levels = (early(500.0, 0.03),)
    assert sooner(farm_with(*levels, plan_date=EARLY), (ELM, OAK))
    assert not sooner(farm_with(*levels, plan_date=EARLY + timedelta(days=1)), (ELM, OAK))


def test_of_two_days_the_earlier_is_named_where_it_saves_more():
    """By 10 February both: 3 % of 500 and 5 % of 500; by 20 February just the 3 %."""
    day = EARLY + timedelta(days=10)
    levels = (early(400.0, 0.03, day=day, supplier="Oak"), early(400.0, 0.05, name="First"))
    two = sooner(farm_with(*levels), (OAK,))
    assert [(s.day, set(s.discounts), s.saves) for s in two] == [
        (EARLY, {"First", "Early"}, pytest.approx(40.0)),
        (day, {"Early"}, pytest.approx(15.0)),
    ]
    (one,) = sooner(farm_with(*levels[:1], early(9_000.0, 0.05, name="First")), (OAK,))
    assert one.day == day


def test_the_answer_tells_it():
    one = farm_with(early(500.0, 0.03), early(1_100.0, 0.04))
    facts = Facts(replace(HAND_PLAN, order=(ELM, OAK, ASH)), one)
    (said,) = sooner_lines(facts)
    assert said.startswith("Ordered by Wed 2/10/2027 from Oak and Ash too, $28.00 more comes off")
    assert any(
        t.day == EARLY and "order from Oak and Ash by then too" in t.what for t in to_do(facts)
    )

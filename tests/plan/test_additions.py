"""The cheapest containers for a volume that is lacking, worked by hand."""

from dataclasses import replace

import pytest

from planner import api
from planner.plan.additions import additions, cheapest
from planner.plan.plan import Added, Plan
from planner.season.domain import Container, DiscountLevel, PriceBreak, Season, Supplier
from tests.support.seasons import product, recipe, season

JUG = Container("Alpha", "jug", 330.0, (PriceBreak(1, 300.0),), supplier="Elm")
CAN = Container("Alpha", "can", 100.0, (PriceBreak(1, 120.0), PriceBreak(3, 80.0)), supplier="Oak")
ELM, OAK = Supplier("Elm", freight=0.0), Supplier("Oak", freight=150.0)


def made(*containers: Container, **more: object) -> tuple[Season, Plan]:
    """80 units take 320 fl oz, one jug of 330."""
    one = season(
        products=(product(),),
        recipes=(recipe(Alpha=4.0),),
        containers=(JUG,),
        suppliers=(ELM, OAK),
    )
    plan = api.make_plan(one, seconds=5)
    assert plan.counts == {("Alpha", "jug"): 1}
    return replace(one, containers=(JUG, *containers), **more), plan


@pytest.mark.parametrize(
    ("lack", "list_price", "counts"),
    [
        (0.0, 0.0, ()),
        (90.0, 120.0, (("can", 1),)),
        # two cans are 240 dollars, three 240 too, and hold more
        (150.0, 240.0, (("can", 3),)),
        (310.0, 300.0, (("jug", 1),)),
    ],
)
def test_by_list_price(lack: float, list_price: float, counts: tuple[tuple[str, int], ...]) -> None:
    last = additions(*made(CAN), "Alpha", lack)[-1]
    assert (last.cost, last.counts) == (list_price, counts)


def test_freight_decides_for_the_one_that_lists_higher() -> None:
    """A can lists at 120 and comes with 150 of freight; from Elm freight is free."""
    found = cheapest(*made(CAN), "Alpha", 90.0)
    assert found is not None
    assert found.added == (Added("Alpha", "can", 1),)
    assert found.paid == pytest.approx(270.0)
    dearer = replace(OAK, freight=200.0)
    found = cheapest(*made(CAN, suppliers=(ELM, dearer)), "Alpha", 90.0)
    assert found is not None
    assert found.added == (Added("Alpha", "jug", 1),)
    assert found.paid == pytest.approx(300.0)


def test_a_discount_that_is_reached_comes_off() -> None:
    """Two jugs of 300 reach the level of 500: 10 % of 600 come off, so 240 more is paid."""
    level = DiscountLevel("Early", 500.0, 0.1)
    found = cheapest(*made(discounts=(level,)), "Alpha", 90.0)
    assert found is not None
    assert found.paid == pytest.approx(240.0)


def test_none_where_too_little_is_sold() -> None:
    one, plan = made()
    few = replace(one, containers=(replace(JUG, most=2),))
    assert cheapest(few, plan, "Alpha", 330.0) is not None
    assert cheapest(few, plan, "Alpha", 331.0) is None


def test_over_the_most_to_spend_is_known() -> None:
    one, plan = made()
    for most, within in ((600.0, True), (599.0, False), (None, True)):
        found = cheapest(
            replace(one, farm=replace(one.farm, most_to_spend=most)), plan, "Alpha", 90.0
        )
        assert found is not None
        assert found.within_money is within

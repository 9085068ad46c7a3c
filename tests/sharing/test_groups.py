"""A plan of every group by itself: what becomes of one that fails."""

import pytest

from planner.errors import NoPlanError
from planner.optimize.options import SolveOptions
from planner.optimize.search import run
from planner.season.domain import DiscountLevel, SeedLot, Supplier
from planner.sharing.groups import plan_group, plan_groups
from tests.support import seasons

ALONE = seasons.season(fields=(seasons.field("A", 10.0, grower="Ann"),))


@pytest.mark.parametrize(
    ("raised", "told", "said"),
    [
        (NoPlanError("time ran out"), NoPlanError, r"for Ann alone \(time ran out\); give more"),
        (KeyError("A"), KeyError, "^'A'$"),
    ],
)
def test_only_a_group_without_a_plan_is_a_matter_of_time(
    raised: Exception, told: type[Exception], said: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A bug of ours comes through as it is."""

    def fails(*_: object) -> None:
        raise raised

    monkeypatch.setattr(run, "solve", fails)
    with pytest.raises(told, match=said):
        plan_groups(ALONE, ["Ann"], [1], SolveOptions(seconds=1.0))


@pytest.mark.parametrize(("most", "bags"), [(None, 3), (1_000.0, 2), (480.0, 1), (479.0, 0)])
def test_a_group_without_fields_still_buys_seed_worth_more(most: float | None, bags: int) -> None:
    """Three bags of ten units to be had: 48 a unit, worth 58 at season's end; the rest is not."""

    def sold(name: str, price: float) -> SeedLot:
        back = {"buy_price": price, "return_value": 58.0, "can_buy": 35.0}
        return seasons.lot(name, on_hand=0.0, units_per_bag=10.0, **back)

    one = seasons.season(
        farm=seasons.farm(most_to_spend=most),
        fields=(),
        lots=(sold("L1", 48.0), sold("L2", 58.0)),
    )
    assert plan_group((1, one, SolveOptions())).cost == pytest.approx(-100.0 * bags)


def test_a_group_without_fields_buys_what_is_worth_most_for_all_its_money():
    """$1,000 are one bag of L1 that gains $300, with $400 left over, or two of L2 that gain $400.

    A dollar gains more in L1.
    """
    lots = tuple(
        seasons.lot(
            name, on_hand=0.0, units_per_bag=size, buy_price=10.0, return_value=back, **more
        )
        for name, size, back, more in (
            ("L1", 60.0, 15.0, {"can_buy": 60.0}),
            ("L2", 50.0, 14.0, {"can_buy": 100.0}),
        )
    )
    one = seasons.season(farm=seasons.farm(most_to_spend=1_000.0), fields=(), lots=lots)
    found = plan_group((1, one, SolveOptions()))
    assert found.cost == found.bound == pytest.approx(-400.0)


def test_a_group_without_fields_buys_product_worth_more_than_it_costs():
    """Left over it is worth all of its list price of $300; a tenth of that comes off: $30 a jug."""
    one = seasons.season(
        fields=(),
        products=(seasons.product(carryover=1.0),),
        containers=(seasons.container(supplier="Yard", most=2),),
        suppliers=(Supplier("Yard"),),
        discounts=(DiscountLevel("Early", 300.0, 0.1),),
    )
    found = plan_group((1, one, SolveOptions()))
    assert found.cost == pytest.approx(-60.0)
    assert found.order == (("Alpha", "jug", 2),)

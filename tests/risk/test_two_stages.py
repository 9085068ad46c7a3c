"""Two stages against published answers: order now, decide again when all is known."""

import itertools
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from planner import api
from planner.optimize.mip.highs import Answer, Verdict
from planner.risk import second_stage
from planner.risk.floors import Tolls
from planner.risk.order import Order
from planner.risk.second_stage import Outcome, SecondStage
from planner.risk.statistics import dearest_mean, gap_upper, interval, values
from planner.risk.tolls import balanced
from planner.risk.turned_out import AS_PLANNED, Turn
from planner.risk.two_stages import _is_short_unproven, _left_open, _more_short
from planner.season.domain import Quantity, Season, Supplier
from tests.support import seasons
from tests.support.inputs import csv_files

ONE = {
    "farm.csv": "Setting,Value\nFarm name,One\nPlan date,2027-01-15\n",
    "fields.csv": "Field,Acres,Seeding rate\nOnly,128,140000\n",
    "seed lots.csv": (
        "Lot,Variety,Maturity,Units on hand,Units per bag,Seeds per lb\n"
        "L-1,Heron,1.8,128,128,2800\n"
    ),
    "products.csv": "Product,Kind\nGreen Cap,fungicide\n",
    "recipes.csv": "Recipe,Product,Rate\nBase,Green Cap,1 fl oz/unit\n",
}
"""One bag of 128 units that takes 1 gal of one product, as planned; draws say how often that."""


def season(tmp_path: Path, containers: str) -> Season:
    return api.load(csv_files(tmp_path, {**ONE, "containers.csv": containers}))


def gallons(need: float) -> Turn:
    return Turn({(Quantity.PRODUCT_USED, "Green Cap"): need})


def costs(stage: SecondStage, orders: list[Order], turns: list[Turn]) -> np.ndarray:
    return np.array([[stage.outcome(o, t).value for t in turns] for o in orders])


def least(stage: SecondStage, turns: list[Turn]) -> np.ndarray:
    return np.array([stage.floor(t).floor for t in turns])


JUGS = "Product,Container,Size,Price,Late price,Returned for\n"
NEEDS, CHANCES = [12.0, 16.0, 22.0], np.array([0.5, 0.3, 0.2])


def whole_orders() -> list[Order]:
    """Every order up to 11 small and 3 large containers: beyond that only waste."""
    kinds = ("2.5 gal jug", "15 gal keg")
    return [
        Order(tuple(("Green Cap", k, n) for k, n in zip(kinds, ns, strict=True) if n))
        for ns in itertools.product(range(12), range(4))
    ]


def test_whole_containers_late_at_a_fifth_more(tmp_path: Path) -> None:
    """Derived by enumeration: needs of 12, 16, 22 gal; 2.5 gal $250, 15 gal $1,200, late +20 %.

    One keg is ordered: 1,470. The order for the mean need, 15.2 gal, costs 1,570. Known before,
    1,425.
    """
    made = season(
        tmp_path,
        JUGS + "Green Cap,2.5 gal jug,2.5 gal,250,300,\nGreen Cap,15 gal keg,15 gal,1200,1440,\n",
    )
    stage, turns, orders = SecondStage(made, gap=0.0), [gallons(n) for n in NEEDS], whole_orders()
    mean_best = stage.floor(gallons(float(CHANCES @ NEEDS))).order
    assert mean_best.containers == (("Green Cap", "15 gal keg", 1), ("Green Cap", "2.5 gal jug", 1))
    found = values(
        costs(stage, orders, turns), least(stage, turns), orders.index(_sorted(mean_best)), CHANCES
    )
    assert orders[found.best].counts == {("Green Cap", "15 gal keg"): 1}
    assert found.recourse == pytest.approx(1470.0)
    assert found.planned == pytest.approx(1570.0)
    assert found.knowing == pytest.approx(1425.0)
    assert found.of_planning == pytest.approx(100.0)
    assert found.of_knowing == pytest.approx(45.0)


def test_tolls_raise_the_floor_toward_the_best_order(tmp_path: Path) -> None:
    """Derived by enumeration of the same season: known before, 1,425; the best order 1,470.

    With what is ordered early $16 a gal cheaper where 12 gal are needed and as much dearer where 16
    or 22 are, $0 on average, draws at best cost 1,461 on average: no order can cost less.
    """
    made = season(
        tmp_path,
        JUGS + "Green Cap,2.5 gal jug,2.5 gal,250,300,\nGreen Cap,15 gal keg,15 gal,1200,1440,\n",
    )
    stage = SecondStage(made, gap=0.0)
    tolls = [Tolls({"Green Cap": each / 128.0}) for each in (-16.0, 16.0, 16.0)]
    floors = [stage.floor(gallons(n), t).floor for n, t in zip(NEEDS, tolls, strict=True)]
    assert float(CHANCES @ floors) == pytest.approx(1461.0, abs=0.01)
    for order in whole_orders():
        assert float(CHANCES @ [t.on(made, order) for t in tolls]) == pytest.approx(0.0, abs=1e-9)


def test_tolls_of_a_batch_bring_the_floor_as_near_as_tolls_can(tmp_path: Path) -> None:
    """Derived: the same needs as five, three and two draws of a batch of ten.

    By a linear program over `whole_orders`, worked apart, no tolls by the gallon bring the mean of
    draws at best above 1,461: one keg, 1,470, cannot be shared out among draws, tolls or none.
    """
    made = season(
        tmp_path,
        JUGS + "Green Cap,2.5 gal jug,2.5 gal,250,300,\nGreen Cap,15 gal keg,15 gal,1200,1440,\n",
    )
    stage = SecondStage(made, gap=0.0)
    keg = Order((("Green Cap", "15 gal keg", 1),))
    orders = [keg, *(o for o in whole_orders() if o != keg)]
    known = costs(stage, orders, [gallons(n) for n in NEEDS]).T
    which = np.repeat([0, 1, 2], [5, 3, 2])
    tolls = balanced(made, orders, known[which])
    for order in orders:
        assert sum(t.on(made, order) for t in tolls) == pytest.approx(0.0, abs=1e-6)
    floors = [stage.floor(gallons(NEEDS[n]), t).floor for n, t in zip(which, tolls, strict=True)]
    assert float(np.mean(floors)) == pytest.approx(1461.0, abs=0.01)


def _sorted(order: Order) -> Order:
    """The same in the order in which `whole_orders` names containers."""
    return Order(tuple(sorted(order.containers, key=lambda c: c[1] != "2.5 gal jug")))


def test_returns_change_the_order_itself(tmp_path: Path) -> None:
    """Derived by enumeration: as above, unopened jugs bring back 90 %. 2.5 + 15 gal: 1,457.50."""
    made = season(
        tmp_path,
        JUGS + "Green Cap,2.5 gal jug,2.5 gal,250,300,90%\n"
        "Green Cap,15 gal keg,15 gal,1200,1440,\n",
    )
    stage, turns, orders = SecondStage(made, gap=0.0), [gallons(n) for n in NEEDS], whole_orders()
    mean_best = orders.index(_sorted(stage.floor(gallons(float(CHANCES @ NEEDS))).order))
    found = values(costs(stage, orders, turns), least(stage, turns), mean_best, CHANCES)
    assert orders[found.best].counts == {
        ("Green Cap", "2.5 gal jug"): 1,
        ("Green Cap", "15 gal keg"): 1,
    }
    assert found.recourse == pytest.approx(1457.5)
    assert found.of_planning == pytest.approx(0.0)
    assert found.of_knowing == pytest.approx(32.5)


def test_newsvendor_with_discrete_demand(tmp_path: Path) -> None:
    """Snyder & Shen, Fundamentals of Supply Chain Theory, problem 4.7b.

    Overage 500,000, underage 1,000,000: order 5 at a mean loss of 1,225,000; 3 lose 1,725,000.
    Here containers of 1 gal at 1,000,000, late 2,000,000, half back for those not opened.
    """
    made = season(tmp_path, JUGS + "Green Cap,jug,1 gal,1000000,2000000,50%\n")
    chances = np.array([0.25, 0.05, 0.10, 0.20, 0.15, 0.10, 0.10, 0.05])
    demand = np.arange(1.0, 9.0)
    turns = [gallons(d) for d in demand]
    orders = [Order((("Green Cap", "jug", n),)) if n else Order() for n in range(9)]
    stage = SecondStage(made, gap=0.0)
    lost = costs(stage, orders, turns) @ chances - 1e6 * float(chances @ demand)
    assert int(lost.argmin()) == 5
    assert lost[5] == pytest.approx(1_225_000.0)
    assert lost[3] == pytest.approx(1_725_000.0)


def test_farmer_problem() -> None:
    """J. R. Birge and F. Louveaux, Introduction to Stochastic Programming, section 1.1.

    Recourse 108,390, for mean yields 107,240, knowing 115,405.56: worth 1,150 and 7,015.56.
    """
    yields = np.array([[3.0, 3.6, 24.0], [2.5, 3.0, 20.0], [2.0, 2.4, 16.0]])
    plans = [(170.0, 80.0, 250.0), (120.0, 80.0, 300.0)]
    known = [(550 / 3, 200 / 3, 250.0), (120.0, 80.0, 300.0), (100.0, 25.0, 375.0)]
    table = np.array([[_farm_cost(p, y) for y in yields] for p in plans])
    best = np.array([_farm_cost(p, y) for p, y in zip(known, yields, strict=True)])
    found = values(table, best, planned=1)
    assert found.best == 0
    assert found.recourse == pytest.approx(-108_390.0)
    assert found.planned == pytest.approx(-107_240.0)
    assert found.knowing == pytest.approx(-115_405.56, abs=0.01)
    assert found.of_planning == pytest.approx(1_150.0)
    assert found.of_knowing == pytest.approx(7_015.56, abs=0.01)


def _farm_cost(acres: tuple[float, ...], per_acre: np.ndarray) -> float:
    """Planting, what is bought for the cattle, less what is sold."""
    wheat, corn, beets = np.array(acres) * per_acre
    cost = float(np.array(acres) @ [150.0, 230.0, 260.0])
    cost += 238.0 * max(0.0, 200.0 - wheat) - 170.0 * max(0.0, wheat - 200.0)
    cost += 210.0 * max(0.0, 240.0 - corn) - 150.0 * max(0.0, corn - 240.0)
    return cost - 36.0 * min(beets, 6000.0) - 10.0 * max(0.0, beets - 6000.0)


@pytest.mark.parametrize(
    ("share", "mean"), [(0.20, 350.0), (0.15, 400.0), (0.10, 500.0), (0.05, 500.0)]
)
def test_mean_of_the_dearest_splits_an_atom(share: float, mean: float) -> None:
    """Derived: losses 0 (seven times), 100, 200, 500 with chances of a tenth each."""
    losses = np.array([0.0] * 7 + [100.0, 200.0, 500.0])
    assert dearest_mean(losses, share) == pytest.approx(mean)
    rare = np.array([0.0, 100.0, 200.0, 500.0])
    chances = np.array([0.7, 0.1, 0.1, 0.1])
    assert dearest_mean(rare, share, chances) == pytest.approx(mean)


def test_farmer_who_shuns_the_dearest_fifth() -> None:
    """Mean cost + 2 x mean of the dearest fifth at (100, 100, 300): -220,700.

    mpi-sppy, documentation on risk management, for the farmer problem.
    """
    yields = np.array([[3.0, 3.6, 24.0], [2.5, 3.0, 20.0], [2.0, 2.4, 16.0]])
    found = np.array([_farm_cost((100.0, 100.0, 300.0), y) for y in yields])
    assert found.tolist() == pytest.approx([-147_000.0, -117_500.0, -56_800.0])
    assert found.mean() + 2.0 * dearest_mean(found, 0.2) == pytest.approx(-220_700.0)


def test_gap_interval() -> None:
    """Mak, Morton and Wood 1999; derived: gaps 4, 0, 2, 6, 3 with t(4, 95 %) = 2.1318."""
    assert gap_upper(np.array([4.0, 0.0, 2.0, 6.0, 3.0])) == pytest.approx(5.1318, abs=1e-4)


def test_interval_of_a_mean() -> None:
    """Derived: the same values, t(4, 97.5 %) = 2.7764, standard error 1."""
    found = interval(np.array([4.0, 0.0, 2.0, 6.0, 3.0]))
    assert (found.mean, found.low, found.high) == pytest.approx((3.0, 0.2236, 5.7764), abs=1e-4)


def test_the_floor_makes_no_money_of_returns(tmp_path: Path) -> None:
    """Derived: 10 % off from $1,000 on and 95 % of the price paid back: a jug too many costs $9.

    16 gal are 7 jugs of 2.5 gal at $200 less 10 %, or 1,260; at a refund of the list price each
    jug too many would bring in $10. 10 gal are 5 for the discount, one of them sent back: 729.
    """
    made = season(tmp_path, JUGS + "Green Cap,2.5 gal jug,2.5 gal,200,300,95%\n")
    text = "Discount,Supplier,Products,Spend at least,Percent off\nEarly,,,1000,10%\n"
    (tmp_path / "discounts.csv").write_text(text, "utf-8")
    stage = SecondStage(api.load(tmp_path), gap=0.0)
    found = stage.floor(gallons(16.0))
    assert found.value == pytest.approx(1260.0)
    assert found.order.counts == {("Green Cap", "2.5 gal jug"): 7}
    few = stage.floor(gallons(10.0))
    assert few.value == pytest.approx(729.0)
    assert SecondStage(made, gap=0.0).floor(gallons(16.0)).value == pytest.approx(1400.0)


@pytest.mark.parametrize("lower", ["", "Early,,,800,5%\n"])
def test_ordering_more_for_a_discount_and_sending_it_back(tmp_path: Path, lower: str) -> None:
    """Derived: 4 jugs needed at $200; five reach $1,000 and 40 % off, $120 each, one back at 90 %.

    5 x 120 - 108 = 492, where four cost 800, or 760 with a lower level.
    """
    season(tmp_path, JUGS + "Green Cap,2.5 gal jug,2.5 gal,200,300,90%\n")
    text = f"Discount,Supplier,Products,Spend at least,Percent off\n{lower}Early,,,1000,40%\n"
    (tmp_path / "discounts.csv").write_text(text, "utf-8")
    stage = SecondStage(api.load(tmp_path), gap=0.0)
    assert stage.floor(gallons(10.0)).value == pytest.approx(492.0)
    order = Order((("Green Cap", "2.5 gal jug", 5),))
    assert stage.outcome(order, gallons(10.0)).value == pytest.approx(492.0)


def test_sending_back_is_worth_the_price_of_the_break_reached(tmp_path: Path) -> None:
    """Derived: jugs at $200, from four on $100 each; 95 % back. 7.5 gal: four, one back, 305.

    Back at the price of the first break it would bring 190.
    """
    text = "Green Cap,2.5 gal jug,2.5 gal,200,1,300,95%\nGreen Cap,2.5 gal jug,2.5 gal,100,4,,\n"
    made = season(tmp_path, JUGS.replace("Price,", "Price,From count,") + text)
    assert SecondStage(made, gap=0.0).floor(gallons(7.5)).value == pytest.approx(305.0)


def test_what_is_bought_late_is_within_the_most_to_spend(tmp_path: Path) -> None:
    """By hand: of 4 jugs one is free, the others are $200 late; $400 pay for two of them.

    The bag of 32 acres that the third would have treated costs $10 an acre short.
    """
    text = "Green Cap,free jug,2.5 gal,0,,\nGreen Cap,2.5 gal jug,2.5 gal,500,200,\n"
    made = season(tmp_path, JUGS + text)
    jug, other = made.containers
    farm = replace(made.farm, most_to_spend=400.0, short_acre_cost=10.0)
    lots = (replace(made.lots[0], units_per_bag=32.0),)
    made = replace(made, farm=farm, lots=lots, containers=(replace(jug, most=1), other))
    found = SecondStage(made, gap=0.0).floor(gallons(10.0))
    assert found.short == pytest.approx(32.0)
    assert found.value == pytest.approx(400.0 + 320.0)


def test_a_jug_for_next_to_nothing_may_be_bought_late() -> None:
    """By hand: early it is $300 and $50 of freight, late $310, whatever the seed takes of it."""
    for floz in (1e-4, 1.0):
        made = seasons.season(
            farm=seasons.farm(short_acre_cost=500.0),
            recipes=(seasons.recipe(Alpha=floz),),
            suppliers=(Supplier("Elm", freight=50.0),),
            containers=(seasons.container(supplier="Elm", late_price=310.0),),
        )
        stage = SecondStage(made, gap=0.0)
        assert stage.outcome(Order(), AS_PLANNED).value == pytest.approx(310.0)
        assert stage.floor(AS_PLANNED).floor == pytest.approx(310.0)


def test_what_goes_back_was_spent_all_the_same(tmp_path: Path) -> None:
    """Derived: as five jugs for the discount and one back, at 492; but $600 are spent at first.

    With $590 to spend at the most that can't be paid, nor can four at $800: at $200 two are.
    """
    season(tmp_path, JUGS + "Green Cap,2.5 gal jug,2.5 gal,200,,90%\n")
    text = "Discount,Supplier,Products,Spend at least,Percent off\nEarly,,,1000,40%\n"
    (tmp_path / "discounts.csv").write_text(text, "utf-8")
    values = {}
    for most in (600, 590):
        page = ONE["farm.csv"] + f"Most to spend,{most}\nCost of a short acre,100\n"
        (tmp_path / "farm.csv").write_text(page, "utf-8")
        stage = SecondStage(api.load(tmp_path), gap=0.0)
        values[most] = stage.floor(gallons(10.0)).value
    assert values[600] == pytest.approx(492.0)
    assert values[590] > 492.0 + 100.0


@pytest.mark.parametrize("acre", [None, 10.0])
def test_a_draw_at_best_without_a_solution_in_time_has_a_floor_of_money_or_none(
    tmp_path: Path, acre: float | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A floor may hold the price that puts acres first: how much of it is not known then."""
    made = season(tmp_path, JUGS + "Green Cap,2.5 gal jug,2.5 gal,500,200,\n")
    made = replace(made, farm=replace(made.farm, short_acre_cost=acre))
    late = Answer(Verdict.NONE_FOUND, None, np.inf, 700.0)
    monkeypatch.setattr(second_stage, "solve", lambda *_, **__: late)
    found = SecondStage(made).floor(gallons(10.0))
    assert found.floor == pytest.approx(700.0)
    assert found.money_floor == (-np.inf if acre is None else found.floor)


def test_acres_more_short_are_a_mean_over_all_draws() -> None:
    """Eight acres more in one draw of four."""
    none = Outcome(100.0, 100.0, 0.0, False, 100.0, Order(), frozenset())
    some = replace(none, value=9000.0, short=8.0)
    assert _more_short([(some, none), *[(none, none)] * 3]) == 2.0


def test_land_short_in_a_planting_that_may_be_far_from_the_best_is_told() -> None:
    """18,000 with 60 acres short, proven only to be no lower than 13,000; or than 17,990."""
    far = Outcome(18_000.0, 18_000.0, 60.0, False, 13_000.0, Order(), frozenset())
    assert _is_short_unproven(far, 0.0)
    assert not _is_short_unproven(far, 60.0)  # as many as in the plan
    assert not _is_short_unproven(replace(far, floor=17_990.0), 0.0)
    assert not _is_short_unproven(replace(far, short=0.0), 0.0)


def test_what_stays_open_of_a_draw_is_no_more_than_an_order_costs_there() -> None:
    """At best $130 was found in time, the order costs $110, none less than $100: $10 is open.

    In the second draw $105 was found: $7.50 on average, of $1,000.
    """
    first = Outcome(130.0, 130.0, 0.0, False, 100.0, Order(), frozenset())
    second = replace(first, value=105.0)
    assert _left_open([first, second], np.array([110.0, 120.0]), 1000.0) == pytest.approx(0.0075)

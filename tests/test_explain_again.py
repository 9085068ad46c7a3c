"""Planning again: nothing moves without need, and what changed is said."""

from dataclasses import replace

import pytest

from planner.explain.again import plan_again
from planner.explain.changes import moved_acres
from planner.explain.spare import spare_things
from planner.optimize.options import SolveOptions
from planner.optimize.search import solve
from planner.plan.audit import audit
from planner.plan.plan import Planting
from planner.season.domain import Basis, OnItsWay, Season, TreatedSeed
from tests.seasons import container, field, lot, random_season, recipe, season


def again(whole: Season, old, allowed: float = 0.001):
    cheapest = solve(whole, SolveOptions())
    plan, told = plan_again(whole, old, cheapest, allowed=allowed)
    audit(plan, whole)
    assert plan.cost.total <= cheapest.cost.total + allowed * abs(cheapest.cost.total) + 0.01
    return plan, told


def two_lots(first: float, second: float) -> Season:
    """Two lots that could each plant the field, of which one is worth more at season's end."""
    return season(
        fields=(field(acres=80.0),),
        lots=(
            lot("L1", on_hand=80.0, return_value=first),
            lot("L2", "V22", 2.2, on_hand=80.0, return_value=second),
        ),
    )


def test_nothing_changed_changes_nothing() -> None:
    for seed in range(40):
        whole = random_season(seed)
        old = solve(whole, SolveOptions(10.0))
        plan, told = again(whole, old)
        assert (plan.planting, plan.treating, plan.order) == (
            old.planting,
            old.treating,
            old.order,
        )
        assert told.moved == 0.0
        assert told.sentences[0].startswith("Nothing changes")


def test_a_small_saving_moves_nothing_worked_by_hand() -> None:
    """The old plan plants L1. Now L1 is worth $0.01 a unit more than L2: 80 x 0.01 = $0.80.

    The cheapest plan, jug $300 and 80 x $10 given up, costs $1,100; 0.1 % of it is $1.10, so the
    field stays with L1 at $0.80 more.
    """
    old = solve(two_lots(10.0, 12.0), SolveOptions())
    assert {p.lot for p in old.planting} == {"L1"}
    plan, told = again(two_lots(10.01, 10.0), old)
    assert {p.lot for p in plan.planting} == {"L1"}
    assert (told.moved, told.total - told.cheapest) == pytest.approx((0.0, 0.80))
    assert "Staying costs $0.80 over the cheapest plan." in told.sentences[0]


def test_a_large_saving_moves_the_field() -> None:
    """At $1 a unit more the saving is $80 of $1,100, so the field moves to L2."""
    old = solve(two_lots(10.0, 12.0), SolveOptions())
    plan, told = again(two_lots(11.0, 10.0), old)
    assert {p.lot for p in plan.planting} == {"L2"}
    assert told.moved == pytest.approx(80.0)
    assert told.fields[0].before == "80 acres L1, R1"
    assert told.fields[0].after == "80 acres L2, R1"


def test_as_many_acres_stay_as_the_cost_allows_worked_by_hand() -> None:
    """In bags of 40, keeping one bag of L1 costs 40 x $1 = $40, both $80.

    Allowed are 5 % of $1,100, $55: so one bag, 40 acres, stays and 40 move; no plan moves fewer.
    """
    old = solve(two_lots(10.0, 12.0), SolveOptions())
    plan, told = again(two_lots(11.0, 10.0), old, allowed=0.05)
    kept = sum(p.acres for p in plan.planting if p.lot == "L1")
    assert kept == pytest.approx(40.0)
    assert (told.moved, told.moved_floor) == pytest.approx((40.0, 40.0))
    assert "no plan at this cost moves fewer" in told.sentences[0]


def test_in_mid_season_the_rest_of_the_plan_stands() -> None:
    """One of the two bags is treated and the jug is on its way: one bag to treat, none to buy."""
    whole = two_lots(10.0, 12.0)
    old = solve(whole, SolveOptions())
    now = replace(
        whole,
        treated=(TreatedSeed("L1", "R1", 40.0),),
        ordered=(OnItsWay("Alpha", "jug", 1),),
    )
    plan, told = again(now, old)
    assert [(t.lot, t.full_bags) for t in plan.treating] == [("L1", 1)]
    assert plan.order == ()
    assert told.moved == 0.0
    assert told.order[0].change == 0
    assert told.sentences[0].startswith("Nothing changes")
    assert told.sentences[1] == "To buy now: nothing."


def test_real_tags_change_the_order_not_the_fields() -> None:
    """Smaller seed: at 3 fl oz/cwt a unit of 2,240 to the lb weighs 62.5 instead of 50 lb.

    200 units take 300 fl oz from 50-lb seed, one jug of 320; 375 fl oz from 62.5-lb seed: two.
    """
    tagged = season(
        fields=(field(acres=200.0),),
        lots=(lot(on_hand=200.0, seeds_per_lb=2800.0),),
        recipes=(recipe(Alpha=(3.0, Basis.FLOZ_PER_CWT)),),
    )
    old = solve(tagged, SolveOptions())
    real = replace(tagged, lots=(lot(on_hand=200.0, seeds_per_lb=2240.0),))
    plan, told = again(real, old)
    assert plan.order[0].count == 2
    assert told.order[0].change == 1
    assert told.fields == ()
    assert (
        "Every field keeps its seed and recipe. The order changes: +1 jug of Alpha."
        in (told.sentences[0])
    )


def test_what_is_on_its_way_and_not_needed_can_be_returned() -> None:
    """The field shrinks from 160 to 40 acres: one bag of 80 fl oz needs one of two jugs coming."""
    whole = season(
        fields=(field(acres=160.0),),
        lots=(lot(on_hand=200.0, return_value=5.0),),
        containers=(container(size=200.0),),
    )
    old = solve(whole, SolveOptions())
    assert old.order[0].count == 2
    less = replace(whole, fields=(field(acres=40.0),), ordered=(OnItsWay("Alpha", "jug", 2),))
    _, told = again(less, old)
    jugs = [s for s in told.spare if s.kind == "container"]
    assert [(s.amount, s.worth) for s in jugs] == [(1, 300.0)]
    seed = next(s for s in told.spare if s.kind == "seed")
    assert (seed.amount, seed.worth) == pytest.approx((160.0, 800.0))
    assert "1 x jug of Alpha on the way can be cancelled or returned" in told.sentences[2]


def test_only_seed_that_is_there_can_be_returned_or_is_left() -> None:
    """Three bags of 40 on hand, two treated for 70 acres, one and two more to be had are not.

    One bag goes back at $9 a unit; ten treated units are left.
    """
    there = lot(on_hand=120.0, can_buy=80.0, buy_price=60.0, return_value=9.0)
    one = season(fields=(field(acres=70.0),), lots=(there,))
    plan = solve(one, SolveOptions())
    assert [(t.full_bags, t.units) for t in plan.treating] == [(2, 80.0)]
    found = {s.sentence: (s.amount, s.worth) for s in spare_things(one, plan) if s.kind == "seed"}
    assert found == {
        "40 units of L1 can be returned for $360": (40.0, 360.0),
        "10 units of L1 under R1 will be left": (10.0, 0.0),
    }


def test_a_lot_that_is_gone_moves_its_acres_and_no_more() -> None:
    whole = two_lots(10.0, 12.0)
    old = solve(whole, SolveOptions())
    plan, told = again(replace(whole, lots=whole.lots[1:]), old)
    assert {p.lot for p in plan.planting} == {"L2"}
    assert (told.moved, told.moved_floor) == pytest.approx((80.0, 80.0))


def test_never_farther_than_the_cheapest_plan_and_never_too_dear() -> None:
    """Random seasons with changed prices and seed: at least what the cheapest plan keeps stays."""
    for seed in range(0, 90, 3):
        whole = random_season(seed)
        old = solve(whole, SolveOptions(10.0))
        lots = tuple(
            replace(x, on_hand=x.on_hand * (0.8, 1.0)[i % 2]) for i, x in enumerate(whole.lots)
        )
        breaks = tuple(
            replace(c, breaks=tuple(replace(b, price=b.price * (1 + i % 3)) for b in c.breaks))
            for i, c in enumerate(whole.containers)
        )
        now = replace(whole, lots=lots, containers=breaks, treated=())
        cheapest = solve(now, SolveOptions(10.0))
        plan, told = again(now, old, allowed=0.02)
        assert told.moved <= moved_acres(old, cheapest) + 0.01
        assert told.moved_floor <= told.moved + 1e-6
        assert sum(s.acres for s in plan.shortages) == pytest.approx(
            sum(s.acres for s in cheapest.shortages), abs=0.01
        )


def test_moved_acres() -> None:
    old = solve(two_lots(10.0, 12.0), SolveOptions())
    half = replace(old, planting=(Planting("North", "L1", "R1", 30.0, 30.0),))
    assert moved_acres(old, half) == pytest.approx(50.0)


def test_seed_to_buy_that_changes_is_said() -> None:
    """80 acres from 80 units on hand; then only 40 are there, and a bag must be bought."""
    whole = season(lots=(lot(on_hand=80.0, can_buy=80.0, buy_price=50.0),))
    old = solve(whole, SolveOptions())
    less = replace(whole, lots=(replace(whole.lots[0], on_hand=40.0),))
    _, told = again(less, old)
    assert [(c.lot, c.old, c.now) for c in told.seed] == [("L1", 0, 1)]
    assert "The order changes: +1 bag of L1." in told.sentences[0]
    assert "1 bag of L1" in told.sentences[1]

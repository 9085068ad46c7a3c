"""Planning again: nothing moves without need, and what changed is said."""

from dataclasses import replace
from random import Random

import pytest

from planner.api import keep_near
from planner.explain.again import plan_again
from planner.explain.again_words import move_lines
from planner.explain.move_steps import _why
from planner.explain.spare import spare_things
from planner.explain.words import Speech
from planner.optimize.from_plan.each_move import Step
from planner.optimize.options import SolveOptions
from planner.optimize.search.run import solve
from planner.plan.audit import audit
from planner.plan.moves import acres_by_share, moved_acres
from planner.plan.plan import Planting
from planner.report.again_frames import again_sheet
from planner.season.domain import Basis, OnItsWay, Season, TreatedSeed
from tests.laws import second_model
from tests.support.books import table_in
from tests.support.plans import HAND_PLAN
from tests.support.quick import long_after
from tests.support.random_season import tiny_season
from tests.support.seasons import container, farm, field, lot, recipe, season


def again(whole: Season, old, worth: float = 1.0, most: float | None = None):
    whole = replace(whole, farm=replace(whole.farm, worth_moving=worth))
    cheapest = solve(whole, SolveOptions())
    plan, told = plan_again(whole, old, cheapest, most_moved=most)
    audit(plan, whole)
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


@pytest.mark.slow
def test_nothing_changed_changes_nothing() -> None:
    for seed in range(40):
        whole = tiny_season(seed)
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
    """The old plan plants L1. Now L1 is worth $0.90 a unit more than L2: 80 x 0.90 = $72.

    One unit plants one acre, so moving would save $0.90 an acre, less than the $1 asked for.
    """
    old = solve(two_lots(10.0, 12.0), SolveOptions())
    assert {p.lot for p in old.planting} == {"L1"}
    plan, told = again(two_lots(10.9, 10.0), old)
    assert {p.lot for p in plan.planting} == {"L1"}
    assert (told.moved, told.total - told.cheapest) == pytest.approx((0.0, 72.0))
    assert "costs $72.00 over the cheapest plan." in told.sentences[0]


def test_a_large_saving_moves_the_field_and_says_what_it_saves() -> None:
    """At $1.10 a unit more moving saves 80 x 1.10 = $88, more than $80; at $2 an acre it stays."""
    old = solve(two_lots(10.0, 12.0), SolveOptions())
    plan, told = again(two_lots(11.1, 10.0), old)
    assert {p.lot for p in plan.planting} == {"L2"}
    assert told.moved == pytest.approx(80.0)
    assert (told.fewest, told.moved_bound) == (0.0, 0.0)
    change = told.fields[0]
    assert (change.before, change.after) == ("80 acres L1, R1", "80 acres L2, R1")
    assert (change.steps, change.must) == ((1,), False)
    assert [(m.fields, m.acres, m.saves) for m in told.moves] == [
        (("North",), pytest.approx(80.0), pytest.approx(88.0))
    ]
    said = "none must move. Moving them saves $88.00 in all; Worth moving asks for $1.00 per acre."
    assert said in told.sentences[0]
    assert move_lines(told)[1].startswith(
        "1. North, 80 acres: $88.00 (seed worth $88.00 more can go"
    )
    plan, told = again(two_lots(11.1, 10.0), old, worth=2.0)
    assert {p.lot for p in plan.planting} == {"L1"}


def test_no_more_acres_move_than_asked_for_worked_by_hand() -> None:
    """In bags of 40: 80 acres would move to save $88; with 50 acres at the most one bag moves."""
    old = solve(two_lots(10.0, 12.0), SolveOptions())
    plan, told = again(two_lots(11.1, 10.0), old, most=50.0)
    kept = sum(p.acres for p in plan.planting if p.lot == "L1")
    assert (kept, told.moved) == pytest.approx((40.0, 40.0))
    assert [m.saves for m in told.moves] == [pytest.approx(44.0)]
    plan, told = again(two_lots(11.1, 10.0), old, most=0.0)
    assert told.moved == 0.0


def test_what_must_move_moves_though_fewer_acres_were_asked_for() -> None:
    """One of the two bags of L1 is gone, so 40 of 80 acres must move, or stay short."""
    whole = two_lots(10.0, 12.0)
    old = solve(whole, SolveOptions())
    less = replace(whole, lots=(replace(whole.lots[0], on_hand=40.0), whole.lots[1]))
    plan, told = again(less, old, most=10.0)
    assert plan.shortages == ()
    assert (told.moved, told.fewest, told.moved_bound) == pytest.approx((40.0, 40.0, 40.0))
    assert told.fields[0].must
    assert (
        "; no plan moves fewer. That is more than the 10 acres that may change"
        in (told.sentences[0])
    )


def test_lots_of_one_variety_are_interchangeable() -> None:
    """L1 is gone but for one bag; L3 of its variety takes its place: the field keeps its seed."""
    lots = (lot("L1", on_hand=80.0), lot("L3", on_hand=0.0), lot("L2", "V22", 2.2, on_hand=80.0))
    whole = season(fields=(field(acres=80.0),), lots=lots)
    old = solve(whole, SolveOptions())
    old = replace(old, planting=(Planting("North", "L1", "R1", 80.0, 80.0),))
    now = replace(
        whole, lots=(replace(lots[0], on_hand=40.0), replace(lots[1], on_hand=40.0), lots[2])
    )
    plan, told = again(now, old)
    assert {p.lot: p.acres for p in plan.planting} == pytest.approx({"L1": 40.0, "L3": 40.0})
    assert (told.moved, told.moved_bound, told.fields[0].acres) == (0.0, 0.0, 0.0)
    assert told.sentences[0].startswith("Every field keeps its seed and recipe.")
    grower = replace(now.lots[1], grower="Ann")
    _, told = again(replace(now, lots=(now.lots[0], grower, now.lots[2])), old)
    assert (told.moved, told.moved_bound) == pytest.approx((40.0, 40.0))


def test_one_field_more_moves_only_what_it_must() -> None:
    """A new field takes the seed that is free; two lots that others could swap stay put.

    North has L1 and South L2, at the same cost either way. East is new, 40 acres; a bag of each is
    free. Nothing has to move, so nothing does.
    """
    lots = (
        lot("L1", on_hand=120.0, return_value=10.0),
        lot("L2", "V22", 2.2, on_hand=120.0, return_value=10.0),
    )
    fields = (field("North", acres=80.0), field("South", acres=80.0))
    whole = season(fields=fields, lots=lots)
    old = solve(whole, SolveOptions())
    swapped = tuple(
        replace(p, field={"North": "South", "South": "North"}[p.field]) for p in old.planting
    )
    more = replace(whole, fields=(*fields, field("East", acres=40.0)))
    for planting in (old.planting, swapped):
        _, told = again(more, replace(old, planting=planting))
        assert (told.moved, told.fewest) == (0.0, 0.0)
        assert [f.field for f in told.fields] == ["East"]


def changed(seed: int) -> tuple[Season, Season]:
    """A random season, and the same with other stocks of seed and prices."""
    whole = tiny_season(seed)
    lots = tuple(
        replace(x, on_hand=x.on_hand * (0.8, 1.0)[i % 2]) for i, x in enumerate(whole.lots)
    )
    breaks = tuple(
        replace(c, breaks=tuple(replace(b, price=b.price * (1 + i % 3)) for b in c.breaks))
        for i, c in enumerate(whole.containers)
    )
    return whole, replace(whole, lots=lots, containers=breaks, treated=())


@pytest.mark.slow
@pytest.mark.parametrize("seed", long_after(20, range(0, 120, 3)))
def test_fewest_acres_and_what_pays_equal_a_second_model(seed) -> None:
    """The fewest acres that move, and the lowest cost with $3 for every acre moved.

    Against `tests.laws.second_model`, which shares no arithmetic with the package.
    """
    whole, now = changed(seed)
    shares = acres_by_share(solve(whole, SolveOptions(10.0)))
    _, told = again(now, solve(whole, SolveOptions(10.0)), worth=3.0)
    fewest = second_model.solve(now, shares)
    assert (told.fewest, told.moved_bound) == pytest.approx((fewest.cost, fewest.cost), abs=0.02)
    best = second_model.solve(now, shares, 3.0)
    score = told.total + 3.0 * told.moved
    acres = sum(shares.values())
    assert best.cost - 0.05 <= score <= best.cost + 1e-4 * abs(best.cost) + 0.01 * acres + 0.05


def test_nothing_moves_that_saves_less_than_asked_for() -> None:
    """Four lots whose worth at season's end is drawn again: every change is worth its acres."""
    pays = 0
    fields = tuple(
        field(name, acres=acres) for name, acres in (("A", 40.0), ("B", 60.0), ("C", 80.0))
    )
    for seed in range(8):
        draw = Random(seed)

        def priced(draw=draw) -> Season:
            names = (("L1", "V1"), ("L2", "V2"), ("L3", "V3"), ("L4", "V4"))
            return season(
                fields=fields,
                lots=tuple(
                    lot(n, v, on_hand=80.0, units_per_bag=20.0, return_value=draw.uniform(5.0, 9.0))
                    for n, v in names
                ),
            )

        old = solve(priced(), SolveOptions(10.0))
        _, told = again(priced(), old, worth=1.0)
        assert told.keeping - told.total >= 1.0 * (told.moved - told.fewest) - 0.01
        for move in told.moves:
            assert move.saves >= 1.0 * move.acres - 0.01
            pays += 1
    assert pays >= 5


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


def test_an_old_order_that_nothing_tells_of_is_not_bought_twice_unsaid() -> None:
    whole = two_lots(10.0, 12.0)
    old = solve(whole, SolveOptions())
    words = "nothing of the old plan's order counts as bought"
    _, told = again(whole, old)
    assert f"To be paid now: $300, as {words}." in told.sentences[0]
    _, told = again(replace(whole, ordered=(OnItsWay("Alpha", "jug", 1),)), old)
    assert words not in told.sentences[0]


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
    assert told.sentences[2:] == (
        "Can be cancelled or returned: 1 x jug of Alpha on the way for $300.",
        "Can be returned: 160 units of L1 for $800.",
        "Product left: 120 fl oz of Alpha.",
    )


def test_only_seed_that_is_there_can_be_returned_or_is_left() -> None:
    """Three bags of 40 on hand, two treated for 70 acres, one and two more to be had are not.

    One bag goes back at $9 a unit; ten treated units are left.
    """
    there = lot(on_hand=120.0, can_buy=80.0, buy_price=60.0, return_value=9.0)
    one = season(fields=(field(acres=70.0),), lots=(there,))
    plan = solve(one, SolveOptions())
    assert [(t.full_bags, t.units) for t in plan.treating] == [(2, 80.0)]
    seed = [s for s in spare_things(one, plan) if s.kind == "seed"]
    assert {(s.what, s.fate): (s.amount, s.worth) for s in seed} == {
        ("40 units of L1", "can be returned"): (40.0, 360.0),
        ("10 units of L1 under R1", "will be left"): (10.0, 0.0),
    }


def test_treated_seed_for_sale_is_left_only_where_it_is_bought() -> None:
    """Of a lot that is sold under R1 nothing is bought; then, with no other, two bags of 40."""
    sold = lot("L2", "V20", on_hand=0.0, can_buy=120.0, buy_price=60.0, treated_with="R1")
    one = season(lots=(lot(on_hand=80.0), sold))
    plan = solve(one, SolveOptions())
    assert plan.seed_purchases == ()
    assert [s for s in spare_things(one, plan) if s.kind == "seed"] == []
    one = season(fields=(field(acres=70.0),), lots=(sold,))
    plan = solve(one, SolveOptions())
    assert [s.units for s in plan.seed_purchases] == [80.0]
    (left,) = [s for s in spare_things(one, plan) if s.kind == "seed"]
    assert (left.what, left.fate) == ("10 units of L2 under R1", "will be left")


def test_a_lot_that_is_gone_moves_its_acres_and_no_more() -> None:
    whole = two_lots(10.0, 12.0)
    old = solve(whole, SolveOptions())
    plan, told = again(replace(whole, lots=whole.lots[1:]), old)
    assert {p.lot for p in plan.planting} == {"L2"}
    assert (told.moved, told.moved_bound) == pytest.approx((80.0, 80.0))


def test_moved_acres() -> None:
    old = solve(two_lots(10.0, 12.0), SolveOptions())
    half = replace(old, planting=(Planting("North", "L1", "R1", 30.0, 30.0),))
    assert moved_acres(old, half, two_lots(10.0, 12.0)) == pytest.approx(50.0)


def test_seed_to_buy_that_changes_is_said() -> None:
    """80 acres from 80 units on hand; then only 40 are there, and a bag must be bought."""
    whole = season(lots=(lot(on_hand=80.0, can_buy=80.0, buy_price=50.0),))
    old = solve(whole, SolveOptions())
    less = replace(whole, lots=(replace(whole.lots[0], on_hand=40.0),))
    _, told = again(less, old)
    assert [(c.lot, c.old, c.bought, c.now) for c in told.seed] == [("L1", 0, 0, 1)]
    assert "The order changes: +1 bag of L1." in told.sentences[0]
    assert "1 bag of L1" in told.sentences[1]


def test_a_field_that_only_gains_acres_is_said_to_be_planted_further() -> None:
    """60 acres of 80 were planted, for there were 60 units; 20 units more plant the rest."""
    short = season(fields=(field(acres=80.0),), lots=(lot(on_hand=60.0, units_per_bag=1.0),))
    old = solve(short, SolveOptions())
    _, told = again(replace(short, lots=(lot(on_hand=80.0, units_per_bag=1.0),)), old)
    (change,) = told.fields
    assert (change.acres, change.more) == (0.0, True)
    said = str(again_sheet(told))
    assert "more of it is planted" in said
    assert "another lot" not in said
    assert told.sentences[0].startswith(
        "Every field keeps its seed and recipe. More is planted in 1 field (North)."
    )


def test_a_field_that_is_smaller_or_gone_does_not_stay_unplanted() -> None:
    """North of 80 acres has 60 now, and South of 40 is no longer there; seed is left."""
    lots = (lot(on_hand=120.0),)
    old = solve(season(fields=(field(acres=80.0), field("South", acres=40.0)), lots=lots))
    plan, told = again(season(fields=(field(acres=60.0),), lots=lots), old)
    assert plan.shortages == ()
    assert told.sentences[0].startswith(
        "2 fields are smaller or gone (North and South), 60 acres in all; no plan moves fewer."
    )
    table = table_in(again_sheet(told), "fields")
    assert [row[-1] for row in table.rows] == ["smaller or gone"] * 2


def test_the_time_of_planning_again_is_told() -> None:
    plan, _ = keep_near(
        two_lots(10.0, 12.0),
        solve(two_lots(10.0, 12.0), SolveOptions()),
        solve(two_lots(10.0, 12.0), SolveOptions()),
        seconds=3.0,
    )
    assert 0.0 < plan.seconds < 60.0


def test_the_reasons_of_a_step_add_up_to_what_it_saves() -> None:
    """Freight 100, loss 60, discount 50 and seed 40 saved: three are said, the fourth as the rest.

    A seed of 10 is under 5% of 220 and goes without a word.
    """
    plan, speech = HAND_PLAN, Speech(farm())
    for seed, money, rest in ((40.0, 250.0, "; all else $40.00 less"), (10.0, 220.0, "")):
        cost = plan.cost
        dear = replace(
            cost,
            freight=cost.freight + 100.0,
            yield_loss=cost.yield_loss + 60.0,
            discounts=cost.discounts - 50.0,
            seed_given_up=cost.seed_given_up + seed,
        )
        step = Step(("North",), 10.0, money, replace(plan, cost=dear), plan, True)
        said = "$100 less freight; $60.00 less expected yield loss; $50.00 more discount"
        assert _why(step, speech) == said + rest


def test_a_new_field_is_named() -> None:
    """80 acres of North were planned; then South is there with 40 more, of the same seed."""
    lots = (lot(on_hand=120.0, units_per_bag=1.0),)
    old = solve(season(fields=(field(acres=80.0),), lots=lots), SolveOptions())
    both = season(fields=(field(acres=80.0), field("South", acres=40.0)), lots=lots)
    _, told = again(both, old)
    assert "More is planted in 1 field (South)." in told.sentences[0]

"""Repairs of short fields, which really cover them at the cost they state."""

from dataclasses import replace

import pytest

from planner.explain.ideas import ALL, ideas
from planner.explain.repairs import repair_trials, repaired
from planner.explain.shortage import short_fields
from planner.explain.trial import ExplainBudget, solve_all
from planner.optimize.options import SolveOptions
from planner.optimize.search.run import solve
from planner.plan.audit import audit
from planner.report.facts import Facts
from planner.season.domain import (
    Pressure,
    Rating,
    Season,
    TargetStand,
)
from tests.explain.test_shortage import CASES, MOLD
from tests.support.random_season import tiny_season
from tests.support.seasons import container, farm, field, lot, product, recipe, season


def mended(whole: Season):
    plan = solve(whole, SolveOptions())
    short = short_fields(plan, whole)
    tried = ideas(plan, whole, short)
    found = solve_all(repair_trials(tried, plan), ExplainBudget(30.0))
    return plan, tried, found, repaired(plan, whole, short, tried, found, {})


def test_buying_bags_worked_by_hand() -> None:
    """100 acres take 100 units, 60 are there: two bags of 20 more at $50 a unit cover the rest.

    Seed: 40 x $50 = $2,000. Product: 60 units take 120 fl oz, 100 units 200 fl oz, both one jug
    of 320. So the plan costs $2,000 more and nothing else changes.
    """
    whole = season(
        fields=(field(acres=100.0),), lots=(lot(on_hand=60.0, units_per_bag=20.0, buy_price=50.0),)
    )
    plan, _, _, (each,) = mended(whole)
    assert plan.shortages[0].acres == pytest.approx(40.0)
    buy = next(r for r in each.repairs if r.what.startswith("buy"))
    assert buy.what == "buy 2 bags more of L1 at $50.00 a unit"
    assert buy.cost == pytest.approx(2000.0)
    assert buy.acres_covered == pytest.approx(40.0)
    assert buy.also_changes == "nothing else changes"


def test_more_of_a_sold_out_lot_that_covers_all_short_fields_comes_first() -> None:
    """Two fields of 50 acres, one bag of 20 units for sale: 80 acres short.

    Four bags more of it are 80 units x $90 = $7,200; 20 units take 40 fl oz of product, 100 units
    200 fl oz, both one jug of 320. L2 would be cheaper, but nobody sells it.
    """
    sold_out = lot(on_hand=0.0, units_per_bag=20.0, can_buy=20.0, buy_price=90.0)
    other = lot("L2", on_hand=0.0, units_per_bag=20.0, buy_price=50.0)
    whole = season(
        fields=(field("A", 50.0), field("B", 50.0)),
        lots=(other, sold_out),
        containers=(container(size=320.0),),
    )
    plan, tried, _, (both, *single) = mended(whole)
    assert [s.field for s in plan.shortages] == ["A", "B"] == [r.field for r in single]
    assert (tried[0].field, tried[0].what) == (ALL, "buy 4 bags more of L1")
    assert tried[0].covers == ("A", "B")
    assert both.sentence.startswith("All short fields are together short by 80 acres; ")
    found = next(r for r in both.repairs if "L1" in r.what)
    assert (found.cost, found.acres_covered) == pytest.approx((7_200.0, 80.0))
    assert found.also_changes == "nothing else changes"


def test_a_repair_that_costs_nothing_says_so() -> None:
    _, _, _, (each,) = mended(season(lots=(lot(on_hand=60.0),)))
    rate = next(r for r in each.repairs if r.what.startswith("drop"))
    assert "(25% less): the plan costs the same and covers 20 acres" in rate.sentence


@pytest.mark.parametrize("by_stand", [False, True])
def test_the_seed_that_is_short_is_one_figure(by_stand: bool) -> None:
    """In the reason and on the sheet; lots of other germinations that don't fit don't count."""
    sowing = {"sowing": TargetStand(100_000.0, 0.9)} if by_stand else {}
    whole = season(
        fields=(field(latest=2.1, **sowing),),
        lots=(lot(on_hand=60.0, germination=0.9), lot("L2", "V26", 2.6, germination=0.5)),
    )
    plan = solve(whole, SolveOptions())
    (short,) = short_fields(plan, whole)
    facts = Facts(plan, whole)
    assert facts.units_short(short.field, short.acres) == pytest.approx(short.units)
    assert f"is {short.units:,.1f}".removesuffix(".0") in short.why


def test_dropping_fewer_seeds_worked_by_hand() -> None:
    """60 units on 80 acres are 105,000 seeds an acre of the 140,000 wanted: 25 % less."""
    whole = season(lots=(lot(on_hand=60.0),))
    _, _, _, (each,) = mended(whole)
    rate = next(r for r in each.repairs if r.what.startswith("drop"))
    assert rate.what == "drop 105,000 instead of 140,000 seeds per acre (25% less)"
    assert rate.cost == pytest.approx(0.0)


@pytest.mark.parametrize(("latest", "by"), [(1.9, "0.1"), (1.8, "0.2")])
def test_widening_the_window_by_what_it_takes(latest: float, by: str) -> None:
    """The only lot is a 2.0. A jug of $300 is then needed where nothing was planted."""
    _, _, _, (each,) = mended(season(fields=(field(latest=latest),)))
    assert each.repairs[0].what == f"widen its maturity window by {by}"
    assert each.repairs[0].cost == pytest.approx(300.0)
    ways = len(each.repairs)
    said = f"{ways} single changes would cover it, cheapest first."
    assert (said if ways > 1 else "1 single change would cover it.") in each.sentence


def test_one_more_variety() -> None:
    whole = CASES["SHARES"][0]
    _, _, _, (each,) = mended(whole)
    assert "allow 2 varieties a field instead of 1" in [r.what for r in each.repairs]


@pytest.mark.parametrize(
    ("cause", "what"),
    [
        ("VARIETY_SHARE", "raise Most of one variety from 50% to 75%"),
        ("MATURITY_SHARE", "raise Most share of maturities 1.9 to 2.2 from 50% to 75%"),
    ],
)
def test_a_larger_share_worked_by_hand(cause: str, what: str) -> None:
    """20 of 80 acres can't be V20; with as many of it, half, 40 are short. 60 of 80 are 75 %."""
    _, _, _, (each,) = mended(CASES[cause][0])
    (found,) = (r for r in each.repairs if r.what == what)
    assert found.acres_covered == pytest.approx(40.0)
    assert f"{what[1:]}: the plan costs the same and covers 40 acres" in found.sentence


def test_a_larger_share_for_all_short_fields_together() -> None:
    """40 acres of C and as many of the 120 of A and B: 80 are short. 120 of all 160 are 75 %."""
    whole = season(
        farm=farm(most_of_one_variety=0.5),
        fields=(
            field("A", 60.0, latest=2.1),
            field("B", 60.0, latest=2.1),
            field("C", 40.0, earliest=2.2),
        ),
        lots=(lot(), lot("L2", "V22", 2.2, on_hand=40.0)),
    )
    plan, tried, _, (both, *_) = mended(whole)
    assert [s.field for s in plan.shortages] == ["A", "B"]
    what = "raise Most of one variety from 50% to 75%"
    assert (tried[0].field, tried[0].what, tried[0].covers) == (ALL, what, ("A", "B"))
    (found,) = (r for r in both.repairs if r.what == what)
    assert found.acres_covered == pytest.approx(80.0)
    assert [idea.field for idea in tried if "Most of one variety" in idea.what] == [ALL]


@pytest.mark.parametrize(
    ("metric", "limits"),
    [
        (False, "3 fl oz/cwt to 4 fl oz/cwt"),
        (True, "196 mL/100 kg to 265 mL/100 kg"),
    ],
)
def test_a_higher_liquid_limit_is_named_where_liquid_alone_keeps_recipes_off(metric, limits):
    """2 fl oz on a unit of 50 lb are 4 fl oz/cwt; a limit of 3 lets in nothing but untreated seed.

    A jug of $300 for 80 acres that nothing was bought for. 4 fl oz/cwt are 260.8 mL/100 kg (NIST
    Handbook 44: 29.57 mL a fl oz, 0.45359 kg a pound), which is rounded up.
    """
    _, _, _, (each,) = mended(season(farm=farm(liquid_limit=3.0, metric=metric)))
    (found,) = (r for r in each.repairs if "Liquid limit" in r.what)
    assert found.what.startswith(f"raise Liquid limit from {limits}, if the labels allow it")
    assert (found.cost, found.acres_covered) == pytest.approx((300.0, 80.0))


def test_a_liquid_limit_rises_no_further_than_the_seed_that_is_missing_takes():
    """Seed for 60 acres takes 4 fl oz/cwt, smaller seed for 80 takes 5: two fields of 70 acres."""
    lots = (lot("L1", on_hand=60.0), lot("L2", seeds_per_lb=3500.0, on_hand=80.0))
    limited = season(farm=farm(liquid_limit=3.0), fields=(field("A", 40.0),), lots=lots)
    _, tried, _, _ = mended(limited)
    assert [i.what.split(",")[0] for i in tried if "Liquid" in i.what] == [
        "raise Liquid limit from 3 fl oz/cwt to 4 fl oz/cwt"
    ]
    both = replace(limited, fields=(field("A", 70.0), field("B", 70.0)))
    _, tried, _, (all_, *_) = mended(both)
    (idea,) = (i for i in tried if "Liquid" in i.what and i.field == ALL)
    assert idea.what.startswith("raise Liquid limit from 3 fl oz/cwt to 5 fl oz/cwt")
    (found,) = (r for r in all_.repairs if "Liquid" in r.what)
    assert found.acres_covered == pytest.approx(140.0)


def test_a_liquid_limit_that_keeps_nothing_off_is_not_raised():
    _, tried, _, _ = mended(season(farm=farm(liquid_limit=5.0), lots=(lot(on_hand=60.0),)))
    assert tried
    assert not any("Liquid" in i.what for i in tried)


def test_the_next_stronger_recipe_not_the_strongest() -> None:
    """Only Weak is allowed, which is too weak; Fair will do, Strong would too but is stronger."""
    whole = season(
        fields=(field(pressure={"White mold": Pressure.LOW}, only_recipes=("Weak",)),),
        products=tuple(
            product(name, protection={"White mold": rating})
            for name, rating in (("A", Rating.P), ("B", Rating.F), ("C", Rating.E))
        ),
        containers=tuple(container(name) for name in "ABC"),
        recipes=(recipe("Weak", A=1.0), recipe("Fair", B=1.0), recipe("Strong", C=1.0)),
        threats=(MOLD,),
    )
    _, _, _, (each,) = mended(whole)
    assert [r.what for r in each.repairs] == ["allow the next stronger recipe, Fair"]


def test_where_nothing_is_short_there_is_nothing_to_repair() -> None:
    plan, tried, _, each = mended(season())
    assert (plan.shortages, tried, each) == ((), (), ())


def test_what_a_better_plan_covers_needs_no_change() -> None:
    """There is seed for all 60 acres; a search that was cut short planted 40 of them."""
    whole = season(lots=(lot(on_hand=60.0, units_per_bag=20.0),), fields=(field(acres=60.0),))
    good = solve(whole, SolveOptions())
    assert not good.shortages
    poor = solve(replace(whole, lots=(lot(on_hand=40.0, units_per_bag=20.0),)), SolveOptions())
    short = short_fields(poor, whole)
    (each,) = repaired(poor, whole, short, ideas(poor, whole, short), {}, {}, good)
    assert each.repairs == ()
    assert each.sentence == (
        "North is short by 20 acres; the better plan that turned up covers that without any change."
    )


def test_a_repair_costs_what_it_adds_to_the_best_plan_that_is_known() -> None:
    """The better plan is $50 cheaper, with as many acres short: each change costs $50 more."""
    whole = season(lots=(lot(on_hand=60.0),))
    plan, tried, found, (each,) = mended(whole)
    better = replace(plan, cost=replace(plan.cost, yield_loss=-50.0))
    (again,) = repaired(plan, whole, short_fields(plan, whole), tried, found, {}, better)
    costs = [r.cost for r in each.repairs]
    assert costs
    assert [r.cost for r in again.repairs] == pytest.approx([cost + 50.0 for cost in costs])


def test_rules_that_hold_a_field_back_are_named() -> None:
    whole = CASES["SHARES"][0]
    plan = solve(whole, SolveOptions())
    free = solve(replace(whole, farm=farm()), SolveOptions())
    short = short_fields(plan, whole)
    (each,) = repaired(plan, whole, short, (), {}, {"The variety rule": free})
    assert each.held_by == ("The variety rule",)


def by_field(plan) -> dict[str, float]:
    short = dict.fromkeys("ABC", 0.0)
    return {**short, **{s.field: s.acres for s in plan.shortages}}


@pytest.mark.long
@pytest.mark.slow
def test_a_repair_removes_the_shortage_at_the_cost_it_states() -> None:
    """On random seasons: the plan that proves a repair keeps every rule of the repaired season.

    It leaves the field whole and costs what is stated more; and where planning the repaired
    season afresh leaves the same acres short, that is no cheaper.
    """
    proved = priced = 0
    for seed in range(70):
        whole = tiny_season(seed)
        plan, tried, found, repairs = mended(whole)
        slack = 0.01 + 2e-4 * abs(plan.cost.total)
        for each in repairs:
            assert [r.cost for r in each.repairs] == sorted(r.cost for r in each.repairs)
            for r in each.repairs:
                mine = [i for i in tried if i.field == r.field and i.key in found]
                proofs = [
                    i
                    for i in mine
                    if found[i.key].cost.total - plan.cost.total == pytest.approx(r.cost)
                    and all(s.field not in i.covers for s in found[i.key].shortages)
                ]
                assert proofs, (seed, r)
                for i in proofs:
                    audit(found[i.key], i.season)
                    afresh = solve(i.season, SolveOptions(10.0))
                    best, mine_left = by_field(afresh), by_field(found[i.key])
                    if best == pytest.approx(mine_left, abs=0.01):
                        assert found[i.key].cost.total <= afresh.cost.total + slack
                        priced += 1
                    proved += 1
    assert proved >= 5
    assert priced >= 3


def test_repairs_of_a_field_by_stand_lower_the_stand() -> None:
    whole = season(
        fields=(field(sowing=TargetStand(100_000.0, 0.9)),),
        lots=(lot(on_hand=60.0, germination=0.9),),
    )
    _, tried, _, _ = mended(whole)
    assert any(i.what.startswith("aim at") for i in tried)


def test_no_rate_under_seven_tenths_is_proposed() -> None:
    """55 units on 80 acres would be 68.75 % of the rate wanted; 56 units are 70 %."""
    _, tried, _, _ = mended(season(lots=(lot(on_hand=55.0),)))
    assert not any(i.what.startswith("drop") for i in tried)
    _, tried, _, _ = mended(season(lots=(lot(on_hand=56.0),)))
    assert any(i.what.startswith("drop 98,000") for i in tried)

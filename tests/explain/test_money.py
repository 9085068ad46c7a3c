"""What the most to spend leaves short, and what one more $1,000 would bring: worked by hand."""

from dataclasses import replace

import pytest

from planner.explain.explain import explain
from planner.explain.limits import Cause
from planner.explain.money import MORE, NO_LIMIT, money_answer, money_trials
from planner.explain.overlooked import best_known
from planner.explain.trial import ExplainBudget as Time
from planner.explain.trial import attempt
from planner.optimize.options import SolveOptions
from planner.optimize.search.run import solve
from planner.plan.plan import Outcome
from planner.season.domain import Supplier
from tests.support.random_season import hard_season
from tests.support.seasons import (
    container,
    farm,
    field,
    jug_by_jug,
    lot,
    product,
    recipe,
    season,
)
from tests.support.shortages import compared, short_by_priority


def told(one):
    plan = solve(one, SolveOptions(seconds=20, gap=0.0))
    return explain(one, plan, Time(seconds=30.0, gap=0.0))


def test_one_more_step_worked_by_hand():
    """$1,300 pay for two jugs, 80 acres; $2,300 for three, 120 acres; all 200 take five, $3,000."""
    why = told(jug_by_jug(1_300.0))
    money = why.money
    assert money is not None
    assert (money.most, money.spent, money.wanted) == (1_300.0, 1_200.0, 3_000.0)
    assert money.short == money.left_short == pytest.approx(120.0)
    assert money.step_acres == pytest.approx(40.0)
    assert money.step_saved == pytest.approx(-600.0)
    assert "leaves 120 acres short" in money.sentence
    assert "$1,000 more would plant 40 acres more" in money.sentence
    assert "$600 higher" in money.sentence
    (short,) = why.shortages
    assert short.cause is Cause.MONEY
    # 120 acres take 960 fl oz, of which 5.33 jugs at $600 of 320: $1,800; $100 are left.
    assert "take $1,800 or more" in short.why
    assert "$100 is left" in short.why
    (repaired,) = why.repairs
    assert "Held back by: At most $1,300 to spend." in repaired.sentence


def test_treated_seed_for_sale_is_not_there_yet():
    """80 units at $60 for 80 acres are $4,800; nothing of it is on hand."""
    sold = lot("L1", "V20", on_hand=0.0, can_buy=80.0, buy_price=60.0, treated_with="R1")
    why = told(season(farm=farm(most_to_spend=100.0), lots=(sold,)))
    (short,) = why.shortages
    assert short.cause is Cause.MONEY
    assert "take $4,800 or more" in short.why


@pytest.mark.parametrize(
    ("changed", "why"),
    [
        # The jug that 80 acres take is $300, and its freight $1: $301, of which $300 may be spent.
        (
            {
                "farm": farm(most_to_spend=300.0),
                "containers": (container(supplier="Elm Supply"),),
                "suppliers": (Supplier("Elm Supply", freight=1.0),),
            },
            "planting it would take $301 or more for seed and product, and of the $300 that may "
            "be spent $300 is left.",
        ),
        # With 79 units there, the last acre takes a whole bag of 40: $2,200; $2,199 are left.
        (
            {
                "farm": farm(most_to_spend=2_499.0),
                "lots": (lot(on_hand=79.0, units_per_bag=40.0, can_buy=80.0, buy_price=55.0),),
            },
            "planting it would take $2,200 or more for seed and product, and of the $2,499 that "
            "may be spent $2,199 is left.",
        ),
    ],
)
def test_freight_and_whole_bags_of_seed_are_named_where_money_is_short_for_them(changed, why):
    """Both are in the money that may be spent (derived by hand)."""
    (short,) = told(season(**changed)).shortages
    assert short.cause is Cause.MONEY
    assert short.why.endswith(why)


def test_a_limit_that_costs_nothing():
    money = told(jug_by_jug(3_000.0)).money
    assert (money.left_short, money.saved, money.step_acres, money.step_saved) == (0, 0, 0, 0)
    assert "neither land nor money" in money.sentence
    assert "$1,000 more would bring nothing" in money.sentence


@pytest.mark.parametrize(
    ("reached", "proven", "said"),
    [
        (False, True, "$3,000 of at most $9,000 is spent; $6,000 is left."),
        (
            True,
            True,
            "$3,000 of at most $9,000 is spent; $6,000 is left."
            " The limit costs neither acres nor money.",
        ),
        (
            True,
            False,
            "$3,000 of at most $9,000 is spent; $6,000 is left."
            " No cheaper plan was found with more to spend.",
        ),
    ],
)
def test_of_a_limit_far_above_what_is_spent_nobody_asks_what_more_would_bring(
    reached, proven, said
):
    one = jug_by_jug(9_000.0)
    plan = solve(one, SolveOptions(seconds=20, gap=0.0))
    plan = replace(plan, outcome=Outcome.OPTIMAL if proven else Outcome.FEASIBLE)
    assert money_answer(plan, one, {NO_LIMIT: plan, MORE: plan} if reached else {}).sentence == said


def test_land_that_comes_first_counts_where_other_land_takes_its_seed():
    """100 units: $1,000 don't pay for the keg at $5,000 that 60 acres of priority 1 need.

    So the seed goes to 100 acres of priority 2; with no limit only 40 of these would get it.
    """
    one = season(
        farm=farm(most_to_spend=1_000.0),
        fields=(
            field("First", 60.0, only_recipes=("Dear",)),
            field("Later", 100.0, only_recipes=("Cheap",), priority=2),
        ),
        lots=(lot(on_hand=100.0),),
        products=(product(), product("Beta")),
        containers=(container(price=100.0), container("Beta", "keg", price=5_000.0)),
        recipes=(recipe("Cheap", Alpha=1.0), recipe("Dear", Beta=1.0)),
    )
    why = told(one)
    assert why.money.left_short == why.money.left_instead == pytest.approx(60.0)
    assert (
        "leaves 60 acres short, which with no limit would be planted in place of 60 acres of a "
        "later priority for $5,100 in all. $1,000 more would bring nothing."
    ) in why.money.sentence
    (short,) = why.shortages
    assert short.cause is Cause.MONEY
    assert short.why == (
        "Seed that suits goes to Later (priority 2, 100 units) in its place: planting it here "
        "would take $5,000 or more for seed and product, and at most $1,000 may be spent."
    )


def test_a_limit_that_costs_money_only():
    """The keg for $400 comes to $220 with half its rest credited, but only the jug can be paid.

    0.5 x 0.25 x 1,440 fl oz are $180; the jug is $300 less 0.5 x 0.25 x 160 = $20.
    """
    one = season(
        farm=farm(most_to_spend=399.0),
        products=(product(carryover=0.5),),
        containers=(container(), container(name="keg", size=1600.0, price=400.0)),
    )
    money = told(one).money
    assert money.saved == money.step_saved == pytest.approx(60.0)
    assert "no more land, but lower the total by $60" in money.sentence


def test_what_was_not_proven_is_not_claimed():
    """A plan that only a search found may be short of more than money leaves short."""
    one = jug_by_jug(1_300.0)
    plan = replace(
        solve(one, SolveOptions(seconds=20, gap=0.0)),
        outcome=Outcome.FEASIBLE,
        shortage_proven=False,
    )
    poor = {NO_LIMIT: plan, MORE: plan}
    answer = money_answer(plan, one, poor)
    assert "nothing" not in answer.sentence
    assert "No gain from $1,000 more was found" in answer.sentence
    assert "less land short may be possible" in answer.sentence
    known = replace(plan, outcome=Outcome.OPTIMAL, shortage_proven=True)
    sure = money_answer(known, one, {NO_LIMIT: known, MORE: known})
    assert "costs neither land nor money. $1,000 more would bring nothing." in sure.sentence


def test_what_a_better_plan_brings_for_the_same_money_is_no_gain_from_more_money():
    """Two jugs for 80 acres where the search found one; a plan dearer by $50 than one with more.

    With no limit the search found what the limit allows as well: it is not money that is missing.
    """
    one = jug_by_jug(1_300.0)
    good = solve(one, SolveOptions(seconds=20, gap=0.0))
    poor = solve(jug_by_jug(700.0), SolveOptions(seconds=20, gap=0.0))
    better = best_known(replace(poor, outcome=Outcome.FEASIBLE), one, [good])
    fewer = money_answer(poor, one, {NO_LIMIT: good, MORE: good}, better)
    assert (fewer.left_short, fewer.step_acres) == (0.0, 0.0)
    dear = replace(
        good, cost=replace(good.cost, yield_loss=50.0), outcome=Outcome.FEASIBLE, bound=0.0
    )
    cheaper = money_answer(dear, one, {NO_LIMIT: good, MORE: good}, best_known(dear, one, [good]))
    assert (cheaper.saved, cheaper.step_saved) == (0.0, 0.0)
    assert "more money was found to bring no more land and no lower cost" in cheaper.sentence
    assert money_answer(dear, one, {NO_LIMIT: good}).saved == 50.0


@pytest.mark.slow
def test_seasons_with_more_to_spend_begin_with_the_plan():
    """A search without time for more still knows the plan itself: never more acres short.

    Of the first priority first: two of the second may be short for one of the first.
    """
    one = replace(hard_season(20, 12, 4, 1, 1), source="")
    one = replace(one, farm=replace(one.farm, most_to_spend=16_490.0))
    plan = solve(one, SolveOptions(seconds=1.0))
    assert plan.shortages
    free, more = money_trials(plan, one)
    assert (free.key, more.key) == (NO_LIMIT, MORE)
    for trial in (free, more):
        again = attempt(trial, SolveOptions(seconds=0.5))
        assert again is not None
        mine, known = (short_by_priority(p, trial.season) for p in (again, plan))
        assert compared(mine, known) <= 0


def test_no_limit_no_word():
    assert told(season()).money is None

"""Better plans of the season that turn up while changed seasons are planned: worked by hand."""

from dataclasses import replace

from planner.explain.again_changes import Again
from planner.explain.explain import Explanation, explain
from planner.explain.held import held_plan
from planner.explain.overlooked import best_known, overlooked
from planner.explain.trial import ExplainBudget
from planner.optimize.options import SolveOptions
from planner.optimize.search.run import solve
from planner.plan.plan import Outcome
from planner.terminal.summary import why_lines
from tests.support.seasons import farm, field, jug_by_jug, lot, season

QUICK = SolveOptions(seconds=20, gap=0.0)
TWO = season(farm=farm(max_varieties=1), fields=(field(latest=2.1),))


def dearer(good, one):
    """The same with a jug of $300 too many."""
    two = replace(good, order=(replace(good.order[0], count=2),))
    return held_plan(two, one, replace(good, bound=0.0))


def test_a_cheaper_plan_that_the_season_allows_is_said():
    good = solve(TWO, QUICK)
    poor = dearer(good, TWO)
    assert poor.cost.total == good.cost.total + 300.0
    best = best_known(poor, TWO, [poor, good])
    assert best.cost.total == good.cost.total
    said = overlooked(poor, best, TWO)
    assert "a plan of this very season turned up that costs $300 less: the time for" in said
    assert best_known(poor, TWO, [poor]) is poor
    assert overlooked(poor, poor, TWO) == ""
    proven = replace(poor, outcome=Outcome.OPTIMAL)
    assert best_known(proven, TWO, [good]) is proven


def test_a_plan_that_breaks_a_rule_of_the_season_is_none():
    """A 2.0 may go on no field up to 1.9: cheaper it is, with nothing short, and not allowed."""
    narrow = replace(TWO, fields=(field(latest=1.9),), lots=(*TWO.lots, lot("L2", "V18", 1.8)))
    good = solve(narrow, QUICK)
    other = solve(TWO, QUICK)
    poor = dearer(good, narrow)
    assert best_known(poor, narrow, [other]) is poor
    gone = replace(narrow, lots=narrow.lots[1:])  # nor one of seed that is not there
    assert best_known(poor, gone, [other]) is poor


def test_fewer_acres_short_are_better_whatever_they_cost():
    """$1,300 pay for two jugs of $600, 80 acres; a plan with one plants 40."""
    one = jug_by_jug(1_300.0)
    good, poor = solve(one, QUICK), solve(jug_by_jug(700.0), QUICK)
    poor = held_plan(replace(poor, bound=0.0), one, replace(poor, bound=0.0))
    best = best_known(poor, one, [good])
    assert "plants 40 acres more and costs $600 more" in overlooked(poor, best, one)


def test_it_is_told_once_before_the_reasons_and_not_of_a_plan_kept_near_another():
    good = solve(TWO, QUICK)
    why = explain(TWO, dearer(good, TWO), ExplainBudget(seconds=20.0, gap=0.0))
    shown = " ".join(" ".join(why_lines(why, TWO)).split())
    assert shown.count("a plan of this very season turned up that costs $300 less") == 1
    assert why.foreword == (why.overlooked,)
    (shares,) = (r for r in why.rules if r.rule.startswith("At most 1 share"))
    assert shares.cost == 0.0  # $300 if it were counted from the plan
    near = replace(why, again=object.__new__(Again))
    assert near.foreword == ()
    assert Explanation().foreword == ()

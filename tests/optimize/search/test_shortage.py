"""The fewest acres short, by priority, and the proof of it.

Optima come from brute force (`tests/laws/oracle.py`) and a second model
(`tests/laws/second_model.py`), which share no arithmetic with the optimizer.
"""

from dataclasses import replace

import numpy as np
import pytest

from planner.optimize.bounds.variety_aggregated import aggregated_program, least_short_aggregated
from planner.optimize.incumbent.incumbent import Incumbent, RuledOut
from planner.optimize.incumbent.restrictions import narrowed, open_shares
from planner.optimize.mip.highs import Limits
from planner.optimize.mip.highs import solve as solve_matrix
from planner.optimize.model.extract import make_plan
from planner.optimize.model.instance import make_instance
from planner.optimize.model.program import make_model
from planner.optimize.options import SearchParams, SolveOptions
from planner.optimize.params import ProofParams, ShortageParams
from planner.optimize.search import common, relaxed_acres, shortage
from planner.optimize.search.first_plan import make_first_plan
from planner.optimize.search.run import solve
from planner.plan.audit import audit
from planner.plan.plan import Outcome
from tests.laws import second_model
from tests.support.quick import few
from tests.support.random_season import hard_season
from tests.support.searches import SHORT, best, hard
from tests.support.seasons import farm, field, lot, season
from tests.support.shortages import compared, short_by_priority


@pytest.mark.parametrize("case", few(SHORT, 3), ids=str)
def test_acres_short_are_as_few_as_can_be(case):
    """Short hard seasons end with the second model's acres short by priority, and its cost."""
    one, optimum = hard(case), best(case)
    plan = solve(one, SolveOptions(seconds=20.0))
    audit(plan, one)
    assert sum(optimum.short) > 1.0
    assert plan.shortage_proven
    assert plan.outcome is Outcome.OPTIMAL
    assert short_by_priority(plan, one) == pytest.approx(optimum.short, abs=1e-4)
    assert plan.cost.total == pytest.approx(optimum.cost, rel=2e-4)


@pytest.mark.parametrize("seed", few([6, 8, 9, 11], 4, long_from=3))
def test_the_cost_is_proven_over_what_so_few_acres_short_leave_possible(seed, monkeypatch):
    """One variety a field, work counted, without the exact model at once for small seasons.

    Equal to the second model's acres short and cost; and few fields have a choice of varieties.
    """
    one = hard_season(7, 5, 3, 1, seed, short=True)
    optimum, left = second_model.solve(one), []
    params = SearchParams(small_shares=0, head_start=(), proof=ProofParams(glance=0.0))
    given = relaxed_acres.columns_without

    def noted(model, program, pairs):
        left.append(pairs.mean())
        return given(model, program, pairs)

    monkeypatch.setattr(relaxed_acres, "columns_without", noted)
    plan = solve(one, SolveOptions(effort=6, params=params))
    audit(plan, one)
    assert left
    assert left[0] < 1.0
    assert plan.outcome is Outcome.OPTIMAL
    assert short_by_priority(plan, one) == pytest.approx(optimum.short, abs=1e-4)
    assert plan.cost.total == pytest.approx(optimum.cost, rel=2e-4)


@pytest.mark.long
@pytest.mark.slow
def test_a_farm_of_twenty_fields_short_of_seed_is_proven():
    """One variety a field: its cost was known to 17 % with as many steps."""
    one = hard_season(20, 12, 4, 1, 8, short=True)
    plan = solve(one, SolveOptions(effort=3))
    audit(plan, one)
    assert plan.outcome is Outcome.OPTIMAL
    assert plan.gap <= 1e-4


def test_acres_short_are_settled_after_the_cost_where_they_were_not_before():
    """Without time for them at first, they are proven in what is left once the cost is."""
    case = ((4, 3, 2, 1), 2, True)
    assert case in SHORT
    one, optimum = hard(case), best(case)
    params = SearchParams(shortage=ShortageParams(time=0.0))
    plan = solve(one, SolveOptions(seconds=20.0, params=params))
    audit(plan, one)
    assert plan.shortage_proven
    assert plan.outcome is Outcome.OPTIMAL
    assert short_by_priority(plan, one) == pytest.approx(optimum.short, abs=1e-4)
    assert plan.cost.total == pytest.approx(optimum.cost, rel=2e-4)


NOT_AT_ONCE = SolveOptions(effort=2, params=SearchParams(small_shares=0))
"""Acres short are not left to the exact model at once."""


@pytest.mark.slow
@pytest.mark.parametrize("size", [(10, 7, 3, 3, 7), (10, 7, 3, 1, 2)], ids=str)
def test_fewest_short_is_proven_by_a_plan_made_of_a_relaxation(size):
    """The acres left are those that it says: without the field rule, or for one variety bags."""
    one = hard_season(*size, short=True)
    incumbent = Incumbent(NOT_AT_ONCE, None, None)
    context = common.open_context(incumbent, one)
    make_first_plan(context)
    first = incumbent.short
    shortage.settle_shortage(context)
    assert incumbent.short_proven
    assert compared(incumbent.short, first, 0.01) < 0
    assert incumbent.short == pytest.approx(second_model.solve(one).short, abs=1e-3)


@pytest.mark.long
@pytest.mark.slow
def test_fewest_short_where_acres_must_be_spread():
    """No variety over a share of all acres: the second model's acres short, though planted in turn.

    The first plan, which meets the rule by planting less, leaves far more.
    """
    one = hard_season(10, 7, 3, 1, 2, short=True)
    one = replace(one, farm=replace(one.farm, most_of_one_variety=0.36))
    free = sum(second_model.solve(hard_season(10, 7, 3, 1, 2, short=True)).short)
    incumbent = Incumbent(NOT_AT_ONCE, None, None)
    context = common.open_context(incumbent, one)
    make_first_plan(context)
    first = sum(incumbent.short)
    shortage.settle_shortage(context)
    audit(make_plan(incumbent.model, incumbent.x, -np.inf), one)
    assert incumbent.short_proven
    assert free + 1.0 < sum(incumbent.short) < first - 1.0
    assert incumbent.short == pytest.approx(second_model.solve(one).short, abs=1e-3)


def test_acres_at_the_edge_of_the_slack_are_not_short():
    """Solved to the edge of 3e-5 acres a plan may lie 1e-13 over it: still nothing is short."""
    from planner.optimize.incumbent.incumbent import SAME_SHORT, same_short, short_slack

    edge = SAME_SHORT * short_slack(2)
    none = np.zeros(2)
    assert same_short(edge * (1.0 + 1e-8), none)
    assert not same_short(edge * 1.001, none)


@pytest.mark.long
@pytest.mark.slow
@pytest.mark.parametrize("size", [(20, 12, 4, 1, 8), (24, 14, 4, 2, 1), (24, 14, 4, 3, 5)], ids=str)
def test_acres_short_are_few_where_promising_choices_only_are_looked_at(size):
    """Few choices in memory: what the relaxation without bags gives is planted all the same.

    No plan has fewer acres short than that relaxation solved to the end, over all choices.
    """
    one = hard_season(*size, short=True)
    few_choices = SearchParams(many_choices=0, first_choices=3)
    incumbent = Incumbent(SolveOptions(effort=4, params=few_choices), None, None)
    context = common.open_context(incumbent, one)
    make_first_plan(context)
    first, few = incumbent.short, len(incumbent.model.choices)
    shortage.settle_shortage(context)
    assert few < len(incumbent.model.choices) < len(incumbent.model.it.choices)
    program = aggregated_program(incumbent.model)
    _, least = least_short_aggregated(incumbent, program, 60.0, None, solve_matrix)
    assert sum(first) > 1.02 * sum(least)
    assert sum(least) - 1e-3 <= sum(incumbent.short) < 1.01 * sum(least)
    assert incumbent.short[0] == pytest.approx(least[0], abs=1e-3)
    audit(make_plan(incumbent.model, incumbent.x, -np.inf), one)


def test_what_is_ruled_out_holds_for_plans_short_by_no_more():
    """A hair over no acre counts as none, as in every cap; more acres short than that do not."""
    incumbent = Incumbent(SolveOptions(effort=1), None, None)
    incumbent.model = make_model(make_instance(hard_season(7, 5, 3, 1, 6, short=True)))
    columns = np.arange(incumbent.model.matrix.n_columns) == incumbent.model.at["share"][0]
    incumbent.ruled_out = RuledOut(np.array([0.0, 60.0]), columns)
    for short, left in (((6e-14, 59.9), 1), ((0.0, 60.1), 0), ((0.1, 10.0), 0)):
        incumbent.short = short
        whole = open_shares(incumbent.model)
        assert open_shares(narrowed(incumbent)) == whole - left


def test_fewer_acres_of_the_first_priority_may_use_what_is_ruled_out():
    """One variety a field: 50 acres of the first priority and 60 of the second, 40 and 60 units.

    Units of the second variety on the second field leave 10 + 0 acres short, and with no more of
    either no plan has another variety anywhere. The fewest are 0 + 20, the other way round.
    """
    one = season(
        farm=farm(max_varieties=1),
        fields=(field("A", acres=50.0), field("B", acres=60.0, priority=2)),
        lots=(
            lot("L1", "V1", on_hand=40.0, units_per_bag=1.0),
            lot("L2", "V2", on_hand=60.0, units_per_bag=1.0),
        ),
    )
    incumbent = Incumbent(SolveOptions(seconds=20.0), None, None)
    context = common.open_context(incumbent, one)
    held = incumbent.model.bounded("short_in", np.array([10.0, 0.0]))
    assert incumbent.offer(solve_matrix(held.matrix, Limits()).x)
    relaxed_acres.aggregate(context)
    relaxed_acres.narrow(context, solve_matrix)
    assert open_shares(narrowed(incumbent)) == 2
    shortage.prove_fewest(context)
    assert incumbent.short_proven
    assert incumbent.short == pytest.approx((0.0, 20.0), abs=1e-4)

"""Plans near a plan, and of two plans: crossover and large neighborhood search."""

import numpy as np
import pytest

from planner.optimize.from_plan.warm_start import columns_of
from planner.optimize.heuristics import crossover
from planner.optimize.heuristics.neighborhood import Neighborhood, plant_short_fields
from planner.optimize.incumbent.budgets import Budget
from planner.optimize.incumbent.incumbent import Incumbent
from planner.optimize.mip.highs import Limits, Watch
from planner.optimize.mip.highs import solve as solve_matrix
from planner.optimize.model.extract import make_plan
from planner.optimize.options import SolveOptions
from planner.optimize.search import relaxed_acres
from planner.optimize.search.common import open_context
from planner.optimize.search.run import solve
from tests.support.searches import relaxed
from tests.support.seasons import jug_by_jug


@pytest.mark.long
@pytest.mark.slow
def test_crossed_plans_have_only_what_their_parents_have():
    """Every field is planted as in one plan or the other; the child is no dearer than the best."""
    context, guide, _ = relaxed((24, 14, 4, 2, 1), step_nodes=20, worth_crossing=10.0)
    incumbent, near = context.incumbent, context.near
    for planting in (True, False):
        incumbent.offer(
            relaxed_acres.repaired(context, guide, context.rng, solve_matrix, planting=planting)
        )
    parents = crossover.worth_crossing(incumbent)
    assert len(parents) > 1
    before = incumbent.cost
    y, _ = near.among(parents[:2], Limits(nodes=50), Watch())
    on = np.any([near.share_acres(x) > 1e-6 for x in parents[:2]], axis=0)
    assert not (near.share_acres(y) > 1e-6)[~on].any()
    assert incumbent._keeps_rules(y)
    assert near.model.matrix.price(y) <= before + 1e-6
    crossover.cross(incumbent, context.near, context.rng, solve_matrix)
    assert incumbent.cost <= before


@pytest.mark.long
@pytest.mark.slow
def test_plans_kept_are_planted_differently_the_cheapest_first():
    """None is kept twice, none with more acres short, and no more than are asked for."""
    context, guide, _ = relaxed((24, 14, 4, 2, 1))
    incumbent = context.incumbent
    for planting in (True, False, True):
        incumbent.offer(
            relaxed_acres.repaired(context, guide, context.rng, solve_matrix, planting=planting)
        )
    incumbent.offer(incumbent.x)
    costs = [cost for cost, _ in incumbent.plans]
    assert costs == sorted(costs)
    assert costs[0] == pytest.approx(incumbent.cost)
    shares = [np.round(x[incumbent.model.at["share"]]).tobytes() for _, x in incumbent.plans]
    assert len(set(shares)) == len(shares) > 1


@pytest.mark.slow
@pytest.mark.parametrize(("within", "order"), [(0, False), (0, True), (1, True)])
def test_plans_near_a_plan_have_nearly_its_bags(within, order):
    """Full bags differ by no more than is said, a held order by nothing; no plan is dearer."""
    context, _, _ = relaxed((16, 10, 3, 2, 1))
    incumbent, model = context.incumbent, context.near.model
    y, _ = context.near.near_bags(
        incumbent.x, Limits(nodes=20), Watch(), start=True, within=within, order=order
    )
    assert incumbent._keeps_rules(y)
    assert model.matrix.price(y) < incumbent.cost
    assert np.abs(y - incumbent.x)[model.at["bags"]].max() <= within + 1e-6
    if not order:
        assert np.array_equal(y[model.at["count"]], np.round(incumbent.x[model.at["count"]]))


def test_short_fields_are_planted_from_a_known_plan_without_any_search():
    """Two jugs are known, 80 acres; $3,000 pay for the five that all 200 acres take, $2,999 for 4.

    Counted by hand: a jug more is 40 acres and $600 more.
    """
    known = solve(jug_by_jug(1_300.0), SolveOptions(seconds=20, gap=0.0))
    for most, jugs in ((3_000.0, 5), (2_999.0, 4)):
        options = SolveOptions(seconds=20, gap=0.0)
        incumbent = open_context(Incumbent(options, None, None), jug_by_jug(most)).incumbent
        incumbent.offer(columns_of(incumbent.model, known))
        assert incumbent.short == pytest.approx((120.0,))
        plant_short_fields(incumbent, Neighborhood(incumbent.model), Budget(20.0))
        assert incumbent.short == pytest.approx((200.0 - 40.0 * jugs,))
        assert make_plan(incumbent.model, incumbent.x, 0.0).cost.spent == pytest.approx(
            600.0 * jugs
        )

"""Plans near a plan: large neighborhood search, and what is held in it."""

import numpy as np
import pytest

from planner.optimize.from_plan.warm_start import columns_of
from planner.optimize.heuristics.neighborhood import Neighborhood, plant_short_fields
from planner.optimize.incumbent.budgets import Budget
from planner.optimize.incumbent.incumbent import Incumbent
from planner.optimize.mip.highs import Limits, Watch
from planner.optimize.model.extract import make_plan
from planner.optimize.options import SolveOptions
from planner.optimize.search.common import open_context
from planner.optimize.search.run import solve
from tests.support.searches import relaxed
from tests.support.seasons import jug_by_jug


@pytest.mark.slow
@pytest.mark.parametrize(
    ("within", "order"),
    [(0, False), (1, True), pytest.param(0, True, marks=pytest.mark.long)],
)
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

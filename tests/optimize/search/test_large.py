"""Seasons with many choices: the search goes on over the promising ones."""

import pytest

from planner.optimize.options import SearchParams, SolveOptions
from planner.optimize.search.run import solve
from planner.plan.audit import audit
from tests.support.seasons import container, farm, lot, product, recipe, season


@pytest.mark.parametrize(
    "rules",
    [
        {"max_varieties": 1},
        {"max_varieties": 2},
        {"line_stays_primed": True},
        {"max_varieties": 1, "line_stays_primed": True},
    ],
    ids=str,
)
def test_the_best_plan_goes_on_where_choices_join(rules):
    """Over one choice a field has no shares to be told apart, and the line one way only.

    80 acres take 160 fl oz of Alpha or 80 of Beta: a jug for $300 either way.
    """
    one = season(
        farm=farm(**rules),
        lots=tuple(lot(f"L{n}", f"V{n}") for n in range(3)),
        products=(product("Alpha", line_loss=20.0), product("Beta", line_loss=5.0)),
        recipes=(
            recipe("R1", Alpha=2.0),
            recipe("R2", Alpha=2.0, Beta=1.0),
            recipe("R3", Beta=1.0),
        ),
        containers=(container(), container("Beta")),
    )
    few_choices = SearchParams(many_choices=0, first_choices=1)
    plan = solve(one, SolveOptions(effort=1, params=few_choices))
    audit(plan, one)
    assert not plan.shortages
    assert plan.cost.total == pytest.approx(300.0)

"""Seasons with many choices: the search goes on over the promising ones."""

import pytest

from planner.optimize.incumbent.incumbent import Incumbent
from planner.optimize.options import SearchParams, SolveOptions
from planner.optimize.search import large
from planner.optimize.search.common import open_context
from planner.optimize.search.first_plan import make_first_plan
from planner.optimize.search.run import solve
from planner.plan.audit import audit
from tests.support.random_season import hard_season
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


@pytest.mark.parametrize("late", [False, True])
def test_no_other_choices_are_written_down_once_the_time_is_up(monkeypatch, late):
    """That takes seconds for a dealer's season, and longer on a busy machine."""
    params = SearchParams(many_choices=0, first_choices=2)
    incumbent = Incumbent(SolveOptions(effort=1, params=params), None, None)
    context = open_context(incumbent, hard_season(12, 8, 4, 2, 1))
    make_first_plan(context)
    model, prove = incumbent.model, large.prove_bound

    def proves(*asked):
        found = prove(*asked)
        if late:
            incumbent.over.set()
        return found

    monkeypatch.setattr(large, "prove_bound", proves)
    large.search_promising(context)
    assert (incumbent.model is model) == late

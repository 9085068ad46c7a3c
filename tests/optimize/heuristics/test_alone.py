"""A plan by search in one process.

Optima come from a second model (`tests/laws/second_model.py`), which shares no arithmetic with the
optimizer.
"""

from dataclasses import replace

import pytest

from planner.optimize.heuristics.alone import plan_alone
from planner.optimize.incumbent.incumbent import Incumbent
from planner.optimize.model.instance import make_instance
from planner.optimize.model.program import make_model
from planner.optimize.options import SolveOptions
from planner.optimize.search import common
from tests.support.searches import best, hard, under

CASES = [((4, 3, 2, 1), 4, False), ((5, 4, 3, 1), 2, False)]
"""Seed suffices."""
ACRE = 1e5
"""Money that an acre short counts as."""


def priced(season):
    """The exact model, acres short at a price."""
    model = make_model(make_instance(season))
    cost = model.matrix.cost.copy()
    cost[model.at["short"]] += ACRE
    return replace(model, matrix=replace(model.matrix, cost=cost))


@pytest.mark.parametrize("case", CASES, ids=str)
def test_it_keeps_the_rules_and_comes_near_the_optimum(case):
    season, optimum = hard(case), best(case)
    incumbent = Incumbent(SolveOptions(), None, None)
    common.open_context(incumbent, season)
    model = priced(season)
    x = plan_alone(model, 2.0)
    if x is None:  # on a busy machine the moves may take longer to compile
        x = plan_alone(model, 60.0)
    assert x is not None
    assert incumbent._keeps_rules(x)
    found = model.matrix.price(x)
    assert sum(optimum.short) == 0.0
    assert under(optimum.cost, found)
    assert found <= 1.03 * optimum.cost


def test_without_time_there_is_a_plan_or_none():
    model = priced(hard(CASES[0]))
    x = plan_alone(model, 0.0)
    assert x is None or x.shape == (model.matrix.n_columns,)

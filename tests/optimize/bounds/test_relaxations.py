"""No bound of a relaxation is above the optimum.

Optima come from brute force (`tests/laws/oracle.py`) and a second model
(`tests/laws/second_model.py`), which share no arithmetic with the optimizer.
"""

from dataclasses import replace

import numpy as np
import pytest

from planner.optimize.bounds.relaxations import fewest_short, least_short
from planner.optimize.incumbent.incumbent import Incumbent
from planner.optimize.mip.highs import Limits, Verdict
from planner.optimize.mip.highs import solve as solve_matrix
from planner.optimize.model.instance import make_instance
from planner.optimize.model.program import (
    BOUGHT,
    all_ordered,
    make_model,
    with_all_ordered,
    with_whole_order,
    without_field_rule,
)
from planner.optimize.options import SolveOptions
from planner.optimize.search import common, shortage
from planner.optimize.search.first_plan import make_first_plan
from tests.laws import oracle
from tests.support.quick import few, long_after
from tests.support.random_season import full_season, tiny_season
from tests.support.relaxations import keeps_rows
from tests.support.searches import SHORT, SMALL, best, hard, held_short, under
from tests.support.shortages import compared


def loosened(model):
    """The linear relaxation, that with whole containers, and that without the field rule only."""
    nothing = np.zeros(model.matrix.n_columns, dtype=bool)
    linear = replace(model, matrix=replace(model.matrix, integer=nothing))
    loose = without_field_rule(model)
    return linear, with_whole_order(loose), loose


def floors_of(model) -> list[float]:
    """Bounds of the relaxations, and of the model."""
    found = []
    for one in (*loosened(model), model):
        answer = solve_matrix(one.matrix, Limits(gap=1e-9))
        assert answer.verdict is Verdict.OPTIMAL
        found.append(answer.bound if np.isfinite(answer.bound) else answer.objective)
    return found


@pytest.mark.slow
def test_relaxations_are_floors_of_brute_force():
    """On tiny seasons with every rule, no relaxation's bound is above brute force's optimum."""
    seen = 0
    for seed in range(120):
        one = tiny_season(seed)
        if oracle.size(one) > 100:
            continue
        seen += 1
        optimum = oracle.solve(one)
        bounds = floors_of(held_short(one, optimum.short))
        assert all(under(bound, optimum.cost) for bound in bounds), seed
        assert bounds[-1] == pytest.approx(optimum.cost, rel=1e-5, abs=1e-2), seed
    assert seen > 15


@pytest.mark.slow
@pytest.mark.parametrize("case", long_after(7, SMALL), ids=str)
def test_relaxations_are_floors_of_hard_seasons(case):
    """No relaxation's bound is above the second model's optimum; the exact one's is the optimum."""
    optimum = best(case)
    bounds = floors_of(held_short(hard(case), optimum.short))
    assert all(under(bound, optimum.cost) for bound in bounds)
    assert bounds[-1] == pytest.approx(optimum.cost, rel=1e-5)


@pytest.mark.parametrize("case", few(SHORT, 3), ids=str)
def test_no_plan_leaves_fewer_acres_short_than_the_relaxation(case):
    """What it says can't be undercut isn't, by the second model's optimum, priority by priority.

    Whether or not the relaxation comes to it, that optimum is what the season is settled at.
    """
    incumbent = Incumbent(SolveOptions(effort=1), None, None)
    context = common.open_context(incumbent, hard(case))
    make_first_plan(context)
    optimum = best(case).short
    guide, least = least_short(incumbent, incumbent.model, 60.0, None, solve_matrix)
    assert compared(guide[incumbent.model.at["short_in"]], optimum) <= 0
    assert compared(least, optimum) <= 0
    shortage.settle_shortage(context)
    assert incumbent.short == pytest.approx(optimum, abs=1e-3)


@pytest.mark.parametrize("seed", few(range(12), 4))
def test_what_any_order_suffices_for_can_be_planted_with_everything_ordered(seed):
    """The first plan of a season with every sheet keeps all rules with that order. Derived."""
    incumbent = Incumbent(SolveOptions(effort=1), None, None)
    make_first_plan(common.open_context(incumbent, full_season(seed)))
    ordered = all_ordered(incumbent.model)
    y = with_all_ordered(ordered, incumbent.x)
    assert keeps_rows(ordered.matrix, y)
    assert y[ordered.at["short"]] == pytest.approx(incumbent.x[ordered.at["short"]])
    counts = ordered.at["count"]
    assert y[counts].sum() >= incumbent.x[counts].sum()


@pytest.mark.parametrize("case", few(SHORT, 3), ids=str)
def test_fewest_acres_short_are_proven_with_the_order_held(case):
    """The second model's, though what is ordered is no longer decided; its cost is decided then."""
    incumbent = Incumbent(SolveOptions(effort=1), None, None)
    make_first_plan(common.open_context(incumbent, hard(case)))
    model, programs = incumbent.model, []

    def noted(matrix, limits, **more):
        programs.append(matrix)
        return solve_matrix(matrix, limits, **more)

    assert fewest_short(incumbent, model, np.inf, 1000, noted)
    assert incumbent.short == pytest.approx(best(case).short, abs=1e-3)
    held = model.of(BOUGHT)
    assert all(np.array_equal(one.lower[held], one.upper[held]) for one in programs)
    dearest = model.matrix.price(with_all_ordered(all_ordered(model), incumbent.x))
    assert incumbent.cost < dearest


def test_where_money_is_limited_the_order_stays_open():
    one = hard(SMALL[0])
    one = replace(one, farm=replace(one.farm, most_to_spend=1000.0))
    model = make_model(make_instance(one))
    assert all_ordered(model) is model
    x = np.arange(model.matrix.n_columns, dtype=float)
    assert with_all_ordered(model, x) is x

"""The relaxation with a row for every lot: what it costs is between two that are known."""

from dataclasses import replace

import numpy as np
import pytest

from planner.optimize.bounds.seed_by_lot import with_seed_by_lot
from planner.optimize.mip.highs import INFINITE, Limits, Verdict, solve
from planner.optimize.model.instance import make_instance
from planner.optimize.model.program import make_model, without_field_rule
from tests.support.quick import few
from tests.support.random_season import hard_season
from tests.support.random_season.full import full_season

SEASONS = [
    *((full_season, seed) for seed in range(1, 25)),
    (hard_season, 20, 12, 4, 1, 1),
    (hard_season, 20, 12, 4, 3, 1),
]


def least(matrix):
    answer = solve(matrix.linear, Limits())
    assert answer.verdict is Verdict.OPTIMAL
    return answer.objective


@pytest.mark.parametrize("made", few(SEASONS, 8), ids=lambda made: str(made[1:]))
def test_it_is_a_relaxation_and_hardly_weaker(made):
    """Never above the linear relaxation, never below that in which recipes run for nothing."""
    season = made[0](*made[1:])
    model = without_field_rule(make_model(make_instance(season)))
    m = model.aimed(_short_first(model)).matrix
    answer = solve(m.linear, Limits())
    model = model.bounded("short_in", answer.x[model.at["short_in"]] + 1e-4)
    small = with_seed_by_lot(model)
    assert len(small.matrix.row_lower) < len(model.matrix.row_lower)
    assert small.matrix.n_columns == model.matrix.n_columns
    free = np.zeros(len(model.matrix.row_lower), dtype=bool)
    free[model.rows["recipes_run_where_bags_are_treated"]] = True
    m = model.matrix
    without_runs = replace(m, row_upper=np.where(free, INFINITE, m.row_upper))
    cost, dust = least(small.matrix), 1e-6 * abs(answer.objective) + 1e-3
    assert least(without_runs) - dust <= cost <= least(m) + dust
    assert cost >= 0.99 * least(m)


def _short_first(model):
    cost = np.zeros(model.matrix.n_columns)
    cost[model.at["short_in"]] = 1.0
    return cost


def test_every_row_keeps_its_rule():
    """Rows are still found by the rule that they come from, and whole numbers stay whole."""
    model = make_model(make_instance(hard_season(12, 8, 4, 2, 1)))
    small = with_seed_by_lot(model)
    for rule in ("fields_are_planted_or_short", "supply_covers_need", "planted_seed_is_treated"):
        old, new = model.rows[rule], small.rows[rule]
        assert len(old) == len(new)
        assert np.array_equal(model.matrix.row_upper[old], small.matrix.row_upper[new])
    assert len(small.rows["bags_are_there_once"]) == 0
    assert np.array_equal(model.matrix.integer, small.matrix.integer)

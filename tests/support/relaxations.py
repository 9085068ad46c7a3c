"""Relaxations of small hard seasons, over few choices or all."""

from dataclasses import replace

import numpy as np

from planner.optimize.annealing.order_tables import order_tables
from planner.optimize.bounds.benders import DECIDED
from planner.optimize.bounds.column_generation import best_with_room, rough_price, start_master
from planner.optimize.incumbent.incumbent import Incumbent
from planner.optimize.mip.highs import Limits, Verdict, solve
from planner.optimize.model.instance import make_instance
from planner.optimize.model.program import make_model, without_field_rule
from planner.optimize.options import SolveOptions
from planner.optimize.params import TUNED
from tests.support.random_season import hard_season

CASES = [((12, 8, 4, 2), seed, short) for seed in (1, 2, 3) for short in (False, True)]


def opened(case, first=2, params=TUNED):
    """A season's incumbent and model, the acres short held, and its relaxation over few choices."""
    size, seed, short = case
    it = make_instance(hard_season(*size, seed, short=short))
    model = make_model(it)
    cost = np.zeros(model.matrix.n_columns)
    cost[model.at["short_in"]] = 1.0
    fewest = solve(model.aimed(cost).matrix, Limits(gap=0.0))
    assert fewest.x is not None
    most = fewest.x[model.at["short_in"]] + 1e-4
    incumbent = Incumbent(SolveOptions(seconds=120, params=params), None, None)
    incumbent.model = model.bounded("short_in", most)
    some = best_with_room(it, rough_price(it, order_tables(it)), first)
    planted = np.flatnonzero(fewest.x[model.at["acres"]] > 0)
    return incumbent, start_master(incumbent, it, np.union1d(some, planted), most)


def keeps_rows(matrix, x):
    """Whether a solution keeps every row, but for the dust of the solver's arithmetic."""
    rows, slack = matrix.times(x), 1e-6 * np.maximum(1.0, matrix.row_size)
    return np.all((rows >= matrix.row_lower - slack) & (rows <= matrix.row_upper + slack))


def with_whole_order(model, groups=DECIDED):
    """The optimum where only an order is whole, and no field rule holds."""
    loose = without_field_rule(model)
    whole = np.zeros(loose.matrix.n_columns, dtype=bool)
    for group in groups:
        whole[loose.at[group]] = loose.matrix.integer[loose.at[group]]
    answer = solve(replace(loose.matrix, integer=whole), Limits(gap=1e-7))
    assert answer.verdict is Verdict.OPTIMAL
    return answer.objective

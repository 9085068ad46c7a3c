"""Dives from the relaxation to a plan with the best order."""

import numpy as np
import pytest

from planner.optimize.bounds.benders import find, open_orders
from planner.optimize.bounds.column_generation import generate_columns
from planner.optimize.heuristics.diving import NONE, dive
from planner.optimize.heuristics.neighborhood import Neighborhood
from planner.optimize.model.program import without_field_rule
from planner.optimize.search.order_apart import in_columns
from tests.support.relaxations import CASES, keeps_rows, opened


@pytest.mark.slow
@pytest.mark.parametrize("case", CASES[::2], ids=str)
def test_a_dive_ends_with_nearly_all_bags_whole(case):
    """All but a few bags are whole, and the runs; every row of the relaxation is kept."""
    incumbent, master = opened(case)
    generate_columns(incumbent, master, 60)
    orders = open_orders(master)
    assert find(incumbent, orders, 60)
    loose = without_field_rule(incumbent.model)
    none = np.zeros(len(loose.at["left"]))
    x = dive(
        loose,
        Neighborhood(incumbent.model),
        in_columns(orders, loose),
        none,
        incumbent,
        elastic=True,
    )
    assert x is not None
    assert keeps_rows(loose.matrix, x)
    groups = [x[loose.at[group]] for group in ("run", "bags", "part")]
    values = np.concatenate(groups)
    assert np.mean(np.abs(values - np.round(values)) > NONE) < 0.05

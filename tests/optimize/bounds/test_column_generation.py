"""What large seasons are solved with, on small ones: order apart from planting, and dives."""

from dataclasses import replace

import numpy as np
import pytest

from planner.optimize.annealing.order_tables import order_tables
from planner.optimize.bounds.benders import DECIDED, find, open_orders
from planner.optimize.bounds.column_generation import (
    best_with_room,
    generate_columns,
    rough_price,
    start_master,
)
from planner.optimize.heuristics.diving import NONE, dive
from planner.optimize.heuristics.neighborhood import Neighborhood
from planner.optimize.incumbent.incumbent import Incumbent
from planner.optimize.mip.highs import Limits, Verdict, solve
from planner.optimize.model.instance import make_instance
from planner.optimize.model.program import make_model, without_field_rule
from planner.optimize.options import SolveOptions
from planner.optimize.params import TUNED
from planner.optimize.search.order_apart import in_columns
from tests.support.quick import few
from tests.support.random_season import hard_season

CASES = [((12, 8, 4, 2), seed, short) for seed in (1, 2, 3) for short in (False, True)]


def opened(case, first=2):
    """A season's incumbent and model, the acres short held, and its relaxation over few choices."""
    size, seed, short = case
    it = make_instance(hard_season(*size, seed, short=short))
    model = make_model(it)
    cost = np.zeros(model.matrix.n_columns)
    cost[model.at["short_in"]] = 1.0
    fewest = solve(model.aimed(cost).matrix, Limits(gap=0.0))
    assert fewest.x is not None
    most = fewest.x[model.at["short_in"]] + 1e-4
    incumbent = Incumbent(SolveOptions(seconds=120), None, None)
    incumbent.model = model.bounded("short_in", most)
    some = best_with_room(it, rough_price(it, it.choices, order_tables(it)), first)
    planted = np.flatnonzero(fewest.x[model.at["acres"]] > 0)
    return incumbent, start_master(incumbent, it, np.union1d(some, planted), most)


def with_whole_order(model, groups=DECIDED):
    """The optimum where only an order is whole, and no field rule holds."""
    loose = without_field_rule(model)
    whole = np.zeros(loose.matrix.n_columns, dtype=bool)
    for group in groups:
        whole[loose.at[group]] = loose.matrix.integer[loose.at[group]]
    answer = solve(replace(loose.matrix, integer=whole), Limits(gap=1e-7))
    assert answer.verdict is Verdict.OPTIMAL
    return answer.objective


@pytest.mark.parametrize("case", few(CASES, 3), ids=str)
def test_relaxation_grows_to_that_over_all_choices(case):
    """The growing relaxation's bound is the linear relaxation's over all choices at once."""
    incumbent, master = opened(case)
    linear = with_whole_order(incumbent.model, groups=())
    generate_columns(incumbent, master, 60)
    assert incumbent.bound <= linear + 1e-6 * abs(linear)
    assert incumbent.bound == pytest.approx(linear, rel=6e-4)


@pytest.mark.slow
@pytest.mark.parametrize("case", CASES, ids=str)
def test_best_order_apart_is_the_best_order(case):
    """Cuts lead to the order that the same program finds in one piece, and to its cost."""
    incumbent, master = opened(case)
    optimum = with_whole_order(incumbent.model)
    generate_columns(incumbent, master, 60)
    orders = open_orders(master)
    assert find(incumbent, orders, 60)
    assert incumbent.bound <= optimum + 1e-6 * abs(optimum)
    assert orders.cost >= optimum - 1e-6 * abs(optimum)
    assert orders.cost - incumbent.bound <= 1.01 * TUNED.large.order_gap * abs(orders.cost)
    linear = with_whole_order(incumbent.model, groups=())
    assert incumbent.bound > linear


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
    rows, m = loose.matrix.times(x), loose.matrix
    slack = 1e-6 * np.maximum(1.0, m.row_size)
    assert np.all((rows >= m.row_lower - slack) & (rows <= m.row_upper + slack))
    groups = [x[loose.at[group]] for group in ("run", "bags", "part")]
    values = np.concatenate(groups)
    assert np.mean(np.abs(values - np.round(values)) > NONE) < 0.05


def test_first_choices_leave_room_for_every_field():
    """Where seed suffices, each field's first choices are on lots with room at its turn."""
    it = make_instance(hard_season(40, 20, 5, 2, 3))
    places = best_with_room(it, rough_price(it, it.choices, order_tables(it)), 3)
    c = it.choices
    assert set(c.field[places].tolist()) == set(c.field.tolist())
    assert np.bincount(c.field[places]).max() <= 3
    first = {int(f): int(j) for f, j in zip(c.field[places], c.lot[places], strict=True)}
    assert len(set(first.values())) > 3

"""Order and planting decided apart: the order is the best, and the bound is one.

Optima come from brute force (`tests/laws/oracle.py`), which shares no arithmetic with the
optimizer, and from the same program solved in one piece.
"""

import numpy as np
import pytest

from planner.optimize.bounds import benders
from planner.optimize.bounds.benders import BOUGHT, DECIDED, find, hold_runs, open_orders
from planner.optimize.bounds.column_generation import generate_columns
from planner.optimize.from_plan.warm_start import columns_of
from planner.optimize.incumbent.incumbent import Incumbent
from planner.optimize.incumbent.restrictions import capped
from planner.optimize.model.program import in_order, moved, without_field_rule
from planner.optimize.options import SolveOptions
from planner.optimize.params import TUNED
from planner.optimize.search import order_apart
from planner.optimize.search.common import open_context
from planner.optimize.search.first_plan import make_first_plan
from planner.optimize.search.order_apart import prove_bound
from planner.optimize.search.run import solve
from tests.laws import oracle
from tests.support.quick import long_after
from tests.support.random_season import hard_season, tiny_season
from tests.support.relaxations import CASES, keeps_rows, opened, with_whole_order
from tests.support.searches import under


@pytest.fixture
def no_clock(monkeypatch):
    """No time passes for the search, however busy the machine is; each solve has its limit."""
    monkeypatch.setattr(Incumbent, "seconds", lambda _: 0.0)


@pytest.mark.slow
@pytest.mark.parametrize("case", long_after(3, CASES), ids=str)
@pytest.mark.usefixtures("no_clock")
def test_best_order_apart_is_the_best_order(case):
    """Cuts lead to the order that the same program finds in one piece, and to its cost.

    First with recipes that may run in part, then wholly.
    """
    incumbent, master = opened(case)
    generate_columns(incumbent, master, 600)
    orders = open_orders(master)
    linear = with_whole_order(incumbent.model, groups=())
    for groups in (BOUGHT, DECIDED):
        if groups is DECIDED:
            hold_runs(orders)
        optimum = with_whole_order(incumbent.model, groups)
        assert find(incumbent, orders, 600)
        assert incumbent.bound <= optimum + 1e-6 * abs(optimum)
        assert orders.cost >= optimum - 1e-6 * abs(optimum)
        assert orders.cost - incumbent.bound <= 1.01 * TUNED.large.order_gap * abs(orders.cost)
        assert incumbent.bound > linear


@pytest.mark.parametrize(("each", "ends"), [(20.0, True), (1.0, False)])
def test_no_order_is_looked_for_where_planting_one_takes_too_long(monkeypatch, each, ends):
    """Ten orders of 20 s don't fit into 60 s, ten of a second do."""
    incumbent, master = opened(CASES[0])
    generate_columns(incumbent, master, 60)
    orders = open_orders(master)
    cut, calls = benders._cut, []
    monkeypatch.setattr(benders, "_cut", lambda *args: calls.append(1) or cut(*args))
    monkeypatch.setattr(Incumbent, "seconds", lambda _: each * len(calls))
    find(incumbent, orders, 60.0)
    assert (len(calls) < 3) == ends
    assert incumbent.bound > -np.inf


@pytest.mark.slow
def test_recipes_that_run_wholly_raise_the_bound():
    """Line losses are counted then, so one keg more is needed: HiGHS in one piece says the same."""
    incumbent, _ = opened(((12, 8, 4, 2), 1, False))
    assert with_whole_order(incumbent.model, DECIDED) > with_whole_order(incumbent.model, BOUGHT)


@pytest.mark.slow
@pytest.mark.usefixtures("no_clock")
def test_an_order_too_tight_for_recipes_that_run_wholly_gets_a_container_more(monkeypatch):
    """Where that was never looked at, there is an order to hold all the same."""
    monkeypatch.setattr(order_apart, "_with_whole_runs", lambda *_: None)
    context = open_context(
        Incumbent(SolveOptions(200.0), None, None), hard_season(60, 30, 6, 2, 42)
    )
    make_first_plan(context)
    model = capped(context.incumbent)
    try:
        order_apart.settle_order(context, model)
    finally:
        context.workers.close()
    loose = without_field_rule(model)
    x = moved(model, loose, context.order.x)
    whole = x[in_order(loose)]
    assert np.allclose(whole, np.round(whole))
    assert keeps_rows(loose.matrix, x)


@pytest.mark.slow
def test_orders_decided_apart_are_a_floor_of_brute_force():
    """On tiny seasons with every rule, Benders' bound is not above brute force's optimum."""
    close = []
    for seed in range(70):
        one = tiny_season(seed)
        if oracle.size(one) > 100:
            continue
        optimum = oracle.solve(one)
        plan = solve(one, SolveOptions(seconds=20.0, gap=0.0))
        incumbent = open_context(Incumbent(SolveOptions(60.0), None, None), one).incumbent
        assert incumbent.offer(columns_of(incumbent.model, plan)), seed
        if not len(incumbent.model.it.choices) or prove_bound(incumbent) is None:
            continue
        assert under(incumbent.bound, optimum.cost), seed
        close.append(incumbent.bound > optimum.cost - 0.2 * abs(optimum.cost))
    assert len(close) > 8
    assert sum(close) > len(close) / 2

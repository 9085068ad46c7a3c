"""Whole fields in whole bags: bounds and listed patterns against optima of a second model.

Optima come from `tests/laws/second_model.py`, which shares no arithmetic with the optimizer.
"""

from functools import cache

import numpy as np
import pytest

from planner.optimize.bounds.benders import columns_in, with_cuts
from planner.optimize.bounds.dantzig_wolfe import OrdersKnown, open_patterns, raise_bound, settle
from planner.optimize.bounds.pattern_program import (
    generated_program,
    list_patterns,
    under_orders,
)
from planner.optimize.incumbent.incumbent import Incumbent
from planner.optimize.mip.highs import INFINITE, Limits, Verdict, solve
from planner.optimize.options import SolveOptions
from planner.optimize.search.common import open_context
from planner.optimize.search.order_apart import prove_bound
from tests.laws import second_model
from tests.support.random_season import hard_season
from tests.support.searches import under

CASES = [(6, 6, 3, 1, 6), (6, 5, 3, 1, 1), (9, 4, 3, 1, 4), (7, 6, 3, 1, 2), (8, 7, 3, 1, 3)]
"""Hard seasons of one variety a field that have seed for every acre."""
TRIED = [
    CASES[0],
    pytest.param(CASES[1], marks=pytest.mark.slow),
    *(pytest.param(case, marks=[pytest.mark.slow, pytest.mark.long]) for case in CASES[2:]),
]
MOST = 20_000


class Heard:
    """Who asks: never says stop, and notes what is told."""

    def __init__(self):
        self.bounds = []

    def is_set(self):
        return False

    def tell(self, bound):
        self.bounds.append(bound)


@cache
def opened(case):
    """A season's incumbent with a plan, its program over orders, and the optimum."""
    season = hard_season(*case)
    incumbent = open_context(Incumbent(SolveOptions(seconds=300.0), None, None), season).incumbent
    model = incumbent.model.bounded("short_in", 0.0)
    found = solve(model.matrix, Limits(gap=1e-7))
    assert incumbent.offer(np.where(model.matrix.integer, np.round(found.x), found.x))
    assert incumbent.is_covered
    _, orders = prove_bound(incumbent)
    best = second_model.solve(season)
    assert sum(best.short) == pytest.approx(0.0, abs=1e-6)
    known = OrdersKnown(with_cuts(orders), columns_in(orders, incumbent.model))
    return incumbent, known, best.cost


@pytest.mark.parametrize("by_lot", [False, True])
@pytest.mark.parametrize("case", TRIED, ids=str)
def test_bound_is_one_and_better_than_without_whole_fields(case, by_lot):
    incumbent, known, optimum = opened(case)
    heard = Heard()
    assert raise_bound(incumbent.model, known, INFINITE, 60.0, by_lot, heard).is_settled
    assert under(heard.bounds[-1], optimum)
    assert heard.bounds[-1] >= incumbent.bound - 1e-6 * abs(optimum)


@pytest.mark.slow
def test_bounds_are_better_by_much():
    """What is missing without whole fields in whole bags is mostly made up for."""
    closed = []
    for case in CASES[:2]:
        incumbent, known, optimum = opened(case)
        heard = Heard()
        raise_bound(incumbent.model, known, INFINITE, 60.0, True, heard)
        closed.append((heard.bounds[-1] - incumbent.bound) / (optimum - incumbent.bound))
    assert np.median(closed) > 0.5


@pytest.mark.parametrize("seed", range(3))
def test_a_cut_holds_whatever_the_duals_are(seed):
    """At the best plan's order every cut says no more than that plan costs."""
    incumbent, known, optimum = opened(CASES[0])
    patterns = open_patterns(incumbent.model, known, True, Heard())
    rng = np.random.default_rng(seed)
    rows = len(patterns.matrix.row_lower) + len(patterns.blocks)
    for scale in (1.0, 50.0, 2000.0):
        cut, _ = patterns.cut(scale * rng.normal(size=rows))
        assert under(cut.least + float(cut.slope @ incumbent.x[known.columns]), optimum)


@pytest.mark.parametrize("by_lot", [False, True])
@pytest.mark.parametrize("over", [1e-4, 0.02])
@pytest.mark.parametrize("case", TRIED, ids=str)
def test_listed_patterns_hold_the_best_plan(case, over, by_lot):
    """The program over all patterns of plans that cost less than so much has the optimum."""
    incumbent, orders, optimum = opened(case)
    most = optimum + over * abs(optimum)
    known = raise_bound(incumbent.model, orders, most, 60.0, False, Heard())
    settled = settle(incumbent.model, known, most, 60.0, by_lot, Heard())
    program = list_patterns(settled, MOST)
    answer = solve(program.matrix, Limits(gap=1e-7))
    assert answer.verdict is Verdict.OPTIMAL
    assert answer.objective == pytest.approx(optimum, rel=1e-5)
    plan = program.in_model(answer.x)
    assert not incumbent.offer(plan) or incumbent.cost == pytest.approx(optimum, rel=1e-5)
    assert incumbent.model.matrix.price(plan) == pytest.approx(answer.objective, rel=1e-6)
    back = program.in_patterns(plan)
    assert program.matrix.price(back) == pytest.approx(answer.objective, rel=1e-6)
    assert np.all(program.matrix.times(back) <= program.matrix.row_upper + 1e-4)


@pytest.mark.parametrize("by_lot", [False, True])
@pytest.mark.parametrize("case", TRIED, ids=str)
def test_plans_of_generated_patterns_are_near_the_optimum(case, by_lot):
    """Under the orders that were planted; none is cheaper than the optimum of another model."""
    incumbent, orders, optimum = opened(case)
    model = incumbent.model.bounded("short_in", 0.0)
    known = raise_bound(model, orders, INFINITE, 60.0, by_lot, Heard())
    program, costs = generated_program(model, known), []
    for _, held in under_orders(program, known):
        answer = solve(held, Limits(gap=1e-7))
        if answer.x is not None:
            plan = program.in_model(answer.x)
            rows = model.matrix.times(plan)
            assert np.all(rows <= model.matrix.row_upper + 1e-4)
            assert np.all(rows >= model.matrix.row_lower - 1e-4)
            assert model.matrix.price(plan) == pytest.approx(answer.objective, rel=1e-6)
            costs.append(answer.objective)
    assert under(optimum, min(costs))
    assert min(costs) <= 1.01 * optimum


def test_lots_by_themselves_leave_fewer_patterns():
    """What must be cheap by two kinds of patterns is less than what is by one."""
    incumbent, known, optimum = opened(CASES[0])
    found = [
        len(
            list_patterns(
                settle(incumbent.model, known, 1.02 * optimum, 60.0, lots, Heard()), MOST
            ).patterns
        )
        for lots in (False, True)
    ]
    assert found[1] < found[0]


def test_too_many_patterns_are_not_listed():
    incumbent, known, optimum = opened(CASES[0])
    settled = settle(incumbent.model, known, 1.02 * optimum, 60.0, False, Heard())
    assert list_patterns(settled, 3) is None

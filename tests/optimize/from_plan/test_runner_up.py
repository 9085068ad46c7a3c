"""The cheapest plan with another order, worked by hand."""

from dataclasses import replace

import pytest

from planner.explain.rivals import order_rivals
from planner.optimize.from_plan.runner_up import second_best_order
from planner.optimize.options import SolveOptions
from planner.optimize.search.run import solve
from tests.explain.test_rivals import PACKS, packs_season
from tests.support.seasons import container, product, recipe


def test_second_best_order_worked_by_hand() -> None:
    """Two products of 1,050 fl oz each, the second in packs of 500 and 600 for 1.00 and 1.10.

    Alpha: 2.40, next best 0.35 more. Beta: 500 + 600 holds 1,100 for 2.10, next best 2 x 600 for
    2.20, 0.10 more: so that is the whole order's runner-up.
    """
    beta = (
        container("Beta", "500", 500.0, 1.00),
        container("Beta", "600", 600.0, 1.10),
    )
    whole = replace(
        packs_season(),
        products=(product(), product("Beta")),
        containers=(*PACKS, *beta),
        recipes=(recipe(Alpha=13.125, Beta=13.125),),
    )
    plan = solve(whole, SolveOptions())
    rivals = order_rivals(plan, whole)
    assert plan.cost.total == pytest.approx(4.50)
    assert second_best_order(whole, plan).more == pytest.approx(0.10)
    assert "2 x 600 of Beta in place of 1 x 500 and 1 x 600" in rivals.second_best

"""From a solution to a plan: what the solver's tolerance leaves out is not in it."""

import pytest

from planner.optimize.options import SolveOptions
from planner.optimize.search.run import solve
from planner.season.domain import Pressure, Threat
from tests.support.seasons import farm, field, lot, season

LOST = {
    "farm": farm(weigh_yield_loss=True, soybean_price=10.0),
    "threats": (Threat("White mold", loss={Pressure.HIGH: 2.0}),),
}
UNTREATED = {"farm": farm(allow_untreated=True), "lots": (lot(on_hand=200.0, return_value=40.0),)}


@pytest.mark.parametrize(("changed", "an_acre"), [(LOST, 20.0), (UNTREATED, 40.0)])
def test_a_field_that_is_planted_is_planted_to_the_edge(changed: dict, an_acre: float) -> None:
    """Where land costs something, solutions leave out a billionth of an acre.

    An acre loses 2 bu at $10; or it takes a unit of seed worth $40 (derived by hand).
    """
    one = season(
        fields=(field(acres=80.0, pressure={"White mold": Pressure.HIGH}),),
        **{"lots": (lot(on_hand=200.0),), **changed},
    )
    plan = solve(one, SolveOptions(seconds=20, gap=0.0))
    (row,) = plan.planting
    assert (row.acres, row.units) == (80.0, pytest.approx(80.0, rel=1e-15, abs=0.0))
    cost = plan.cost.yield_loss if changed is LOST else plan.cost.seed_given_up
    assert cost == pytest.approx(80.0 * an_acre, rel=1e-15, abs=0.0)
    assert plan.shortages == ()

"""The best plan and its bound: what is proven of other acres short says nothing of these."""

import numpy as np
import pytest

from planner.optimize.bounds.relaxations import exact
from planner.optimize.incumbent.incumbent import Incumbent
from planner.optimize.incumbent.restrictions import capped, proven_in
from planner.optimize.mip.highs import Limits, solve
from planner.optimize.model.instance import make_instance
from planner.optimize.model.program import make_model
from planner.optimize.options import SolveOptions
from tests.support.seasons import container, field, lot, product, recipe, season

TWO_PRIORITIES = season(
    fields=(
        field("A", priority=1, only_recipes=("R1",)),
        field("B", priority=2, only_recipes=("R2",)),
    ),
    lots=(lot(on_hand=100.0, units_per_bag=1.0),),
    products=(product("Alpha"), product("Beta")),
    recipes=(recipe("R1", Alpha=1.0), recipe("R2", Beta=20.0)),
    containers=(
        container("Alpha", size=50.0, price=100.0),
        container("Beta", size=50.0, price=300.0),
    ),
)
"""100 units for 160 acres. 20 units on A take a jug of Alpha, 80 on B 32 jugs of Beta: 9,700. 80 on
A take two of Alpha, 20 on B eight of Beta: 2,600, with fewer acres of the first priority short."""


def planned(incumbent: Incumbent, short: tuple[float, float], dearer: float = 0.0):
    model = incumbent.model.bounded("short_in", np.array(short))
    least = np.zeros(len(model.at["count"]))
    least[-1] = dearer
    upper = model.matrix.upper[model.at["count"]]
    return solve(model.bounded("count", upper, least).matrix, Limits(seconds=20.0)).x


def test_a_bound_for_other_acres_short_is_given_up():
    incumbent = Incumbent(SolveOptions(seconds=60.0), None, None)
    incumbent.model = make_model(make_instance(TWO_PRIORITIES))
    assert incumbent.offer(planned(incumbent, (60.0, 0.0)))
    before = capped(incumbent)
    exact(incumbent, before, Limits(seconds=20.0))
    assert incumbent.bound == pytest.approx(9_700.0, rel=1e-3)
    assert incumbent.offer(planned(incumbent, (0.0, 60.0), dearer=33.0))
    assert incumbent.cost == pytest.approx(10_100.0)
    assert incumbent.bound == -np.inf
    proven_in(incumbent, before)(9_700.0)  # a proof that still ran
    assert incumbent.bound == -np.inf
    exact(incumbent, capped(incumbent), Limits(seconds=20.0))
    assert incumbent.cost == incumbent.bound == pytest.approx(2_600.0, rel=1e-3)


def test_a_bound_holds_where_fewer_acres_of_all_are_short():
    """A bound of more plans is one of fewer."""
    incumbent = Incumbent(SolveOptions(seconds=60.0), None, None)
    incumbent.model = make_model(make_instance(TWO_PRIORITIES))
    assert incumbent.offer(planned(incumbent, (80.0, 60.0)))
    proven_in(incumbent, capped(incumbent))(100.0)
    assert incumbent.offer(planned(incumbent, (0.0, 60.0)))
    assert incumbent.bound == 100.0

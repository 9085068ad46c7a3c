"""The growing relaxation of large seasons, on small ones: its bound, and its first choices."""

import numpy as np
import pytest

from planner.optimize.annealing.order_tables import order_tables
from planner.optimize.bounds.column_generation import best_with_room, generate_columns, rough_price
from planner.optimize.model.instance import make_instance
from tests.support.quick import few
from tests.support.random_season import hard_season
from tests.support.relaxations import CASES, opened, with_whole_order


@pytest.mark.parametrize("case", few(CASES, 3), ids=str)
def test_relaxation_grows_to_that_over_all_choices(case):
    """The growing relaxation's bound is the linear relaxation's over all choices at once."""
    incumbent, master = opened(case)
    linear = with_whole_order(incumbent.model, groups=())
    generate_columns(incumbent, master, 60)
    assert incumbent.bound <= linear + 1e-6 * abs(linear)
    assert incumbent.bound == pytest.approx(linear, rel=6e-4)


def test_first_choices_leave_room_for_every_field():
    """Where seed suffices, each field's first choices are on lots with room at its turn."""
    it = make_instance(hard_season(40, 20, 5, 2, 3))
    places = best_with_room(it, rough_price(it, it.choices, order_tables(it)), 3)
    c = it.choices
    assert set(c.field[places].tolist()) == set(c.field.tolist())
    assert np.bincount(c.field[places]).max() <= 3
    first = {int(f): int(j) for f, j in zip(c.field[places], c.lot[places], strict=True)}
    assert len(set(first.values())) > 3

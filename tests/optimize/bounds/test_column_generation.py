"""The growing relaxation of large seasons, on small ones: its bound, and its first choices."""

import tracemalloc

import numpy as np
import pytest

from planner.optimize.annealing.order_tables import order_tables
from planner.optimize.bounds.column_generation import (
    best_choices,
    best_with_room,
    generate_columns,
    rough_price,
)
from planner.optimize.model import instance
from planner.optimize.model.instance import make_instance, places_of
from planner.optimize.params import TUNED, SearchParams
from tests.support.quick import few
from tests.support.random_season import hard_season
from tests.support.relaxations import CASES, opened, with_whole_order


@pytest.mark.parametrize(
    ("params", "near"), [(TUNED, 6e-4), (SearchParams(many_choices=1), 2e-3)], ids=["few", "many"]
)
@pytest.mark.parametrize("case", few(CASES, 3), ids=str)
def test_relaxation_grows_to_that_over_all_choices(case, params, near):
    """The growing relaxation's bound is the linear relaxation's over all choices at once.

    Where these count as many, bags have no rows of their own, which may take a little off.
    """
    incumbent, master = opened(case, params=params)
    linear = with_whole_order(incumbent.model, groups=())
    generate_columns(incumbent, master, 60)
    assert incumbent.bound <= linear + 1e-6 * abs(linear)
    assert incumbent.bound == pytest.approx(linear, rel=near)


def test_first_choices_leave_room_for_every_field():
    """Where seed suffices, each field's first choices are on lots with room at its turn."""
    it = make_instance(hard_season(40, 20, 5, 2, 3))
    places = best_with_room(it, rough_price(it, order_tables(it)), 3)
    c = it.choices
    assert set(c.field[places].tolist()) == set(c.field.tolist())
    assert np.bincount(c.field[places]).max() <= 3
    first = {int(f): int(j) for f, j in zip(c.field[places], c.lot[places], strict=True)}
    assert len(set(first.values())) > 3


@pytest.mark.parametrize("block", [1, 100, 10**6])
def test_fields_are_priced_a_few_at_a_time_or_all_at_once(monkeypatch, block):
    """What is said of a season's choices does not depend on how many are looked at together."""
    monkeypatch.setattr(instance, "BLOCK", block)
    it = make_instance(hard_season(20, 12, 4, 2, 3))
    c, acres = it.choices, np.array([f.acres for f in it.fields])
    price = rough_price(it, order_tables(it))
    parts = [(a, part.field) for a, part in c.blocks()]
    assert sum(len(np.unique(field)) for _, field in parts) == len(np.unique(c.field))
    assert np.array_equal(np.concatenate([field for _, field in parts]), c.field)
    assert [a for a, _ in parts] == np.cumsum([0, *(len(f) for _, f in parts[:-1])]).tolist()

    found, cost = best_choices(it, price, 3), price(c)
    for f in np.unique(c.field).tolist():
        mine = np.flatnonzero(c.field == f)
        three = np.sort(cost[mine])[:3]
        assert np.sort(cost[found[c.field[found] == f]]) == pytest.approx(three)
    assert places_of(it, c.only(found)).tolist() == found.tolist()

    use = it.use[c.lot, c.recipe] * (c.units * acres[c.field])[:, None]
    one_each = np.array([use[c.field == f].max(axis=0) for f in np.unique(c.field)]).sum(axis=0)
    bags = sum(it.use[j, k] * it.lots[j].units_per_bag for j, k in it.on_seed)
    lost = [
        p.line_loss * sum(p.name in {rate.product for rate in r.rates} for r in it.recipes)
        for p in it.products
    ]
    assert np.all(it.most_need <= one_each + bags + lost + 1e-6)
    for (lot, k), most in it.most_bags.items():
        pool = (c.lot == lot) & (c.recipe == k)
        wanted = (acres[c.field[pool]] * c.units[pool]).sum() / it.lots[lot].units_per_bag
        there = it.full_bags[lot] + it.can_buy[lot]
        assert most == min(int(there), int(np.ceil(wanted - 1e-9))), (lot, k)


def test_prices_of_all_choices_are_never_there_together(monkeypatch):
    """A dealer's season has millions: finding the best takes less than one number for each."""
    monkeypatch.setattr(instance, "BLOCK", 500)
    it = make_instance(hard_season(100, 60, 8, 2, 1))
    price = rough_price(it, order_tables(it))
    tracemalloc.start()
    best_with_room(it, price, 3)
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert most < it.choices.units.nbytes

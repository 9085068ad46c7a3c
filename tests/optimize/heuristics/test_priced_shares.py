"""Shares that break the field rule made dearer until few fields do."""

from dataclasses import replace

import numpy as np
import pytest

from planner.optimize.heuristics.neighborhood import Neighborhood
from planner.optimize.heuristics.priced_shares import (
    SharesToPrice,
    price_shares,
    shares_to_price,
)
from planner.optimize.mip.highs import INFINITE, Limits, Matrix, Watch, solve
from planner.optimize.model.instance import make_instance
from planner.optimize.model.program import make_model, moved, rounded, with_whole_order
from tests.support.random_season import hard_season
from tests.support.searches import relaxed


class _Never:
    def is_set(self):
        return False


def _to_price(matrix, most, least):
    n = matrix.n_columns
    return SharesToPrice(
        (matrix,),
        np.arange(n),
        np.arange(n),
        np.zeros(n, dtype=np.int64),
        np.full(n, least),
        most,
        1.0,
    )


def _one_field(cost, upper):
    """A field of 100 acres that may have so much of each of some shares."""
    n = len(cost)
    return Matrix(
        cost=np.array(cost),
        lower=np.zeros(n),
        upper=np.array(upper),
        integer=np.zeros(n, dtype=bool),
        row_lower=np.array([100.0]),
        row_upper=np.array([100.0]),
        start=np.arange(n + 1),
        row=np.zeros(n, dtype=np.int64),
        value=np.ones(n),
    )


def test_what_breaks_the_field_rule_is_what_is_beyond_the_most_or_too_small():
    """By hand: of 60, 30 and 10 acres the third is one too many; 10 of at least 20 too few."""
    it = _to_price(_one_field([1.0] * 4, [100.0] * 4), most=2, least=20.0)
    for acres, broken in (
        ([60.0, 30.0, 10.0, 0.0], [False, False, True, False]),
        ([0.0, 90.0, 0.0, 10.0], [False, False, False, True]),
        ([0.0, 20.0, 80.0, 0.0], [False] * 4),
    ):
        assert it.breaking(np.array(acres)).tolist() == broken


def test_none_are_wanted_where_there_is_no_solution():
    """100 acres do not fit into lots of 60."""
    it = _to_price(_one_field([1.0, 1.0], [30.0, 30.0]), most=2, least=0.0)
    assert not price_shares(it, 2, 10, 30.0, 0, _Never()).any()


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_fewer_fields_break_the_rule_than_in_the_relaxation(seed):
    """One variety a field; one turn is the relaxation but for the prices to begin with."""
    model = make_model(make_instance(hard_season(30, 18, 5, 1, seed)))
    near = Neighborhood(model.bounded("short_in", 0.0))
    plain = shares_to_price(near, np.zeros(near.model.matrix.n_columns), 0.04)
    it = replace(plain, programs=(near.loose.matrix.linear,), step=1.0)

    def over(turns):
        shares = price_shares(it, 1, turns, INFINITE, 1, _Never())
        return int((np.bincount(near.field_of_share[shares]) > near.most).sum())

    assert over(40) < over(1)


@pytest.mark.slow
@pytest.mark.parametrize("size", [(16, 10, 3, 2, 2), (24, 14, 4, 2, 1)], ids=str)
def test_a_farm_has_plans_of_a_few_shares(size):
    """A relaxation's bags: the exact model has plans of the shares that come out, and no others.

    They cost no less than the bound; the same seed gives the same shares.
    """
    context, _, bound = relaxed(size)
    near, model = context.near, context.near.model
    rough = with_whole_order(near.loose)
    order = moved(rough, model, rounded(rough, solve(rough.matrix, Limits(nodes=100)).x))
    it = shares_to_price(near, order, 0.04)
    wanted = price_shares(it, 6, 40, INFINITE, 1, _Never())
    assert np.array_equal(wanted, price_shares(it, 6, 40, INFINITE, 1, _Never()))
    assert 0 < wanted.sum() < 0.6 * len(wanted)
    x, _ = near.near_bags(order, Limits(nodes=300), Watch(), start=False, shares=wanted)
    assert x is not None
    assert context.incumbent._keeps_rules(x)
    assert not (near.share_acres(x) > 1e-6)[~wanted].any()
    assert model.matrix.price(x) >= bound - 1e-6 * abs(bound)

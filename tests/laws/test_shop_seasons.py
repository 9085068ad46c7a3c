"""Seasons of 8 to 16 fields whose line stays primed and whose money is limited.

The optimizer against a second model in separate code (`tests/laws/second_model.py`), which puts
recipes in order by places in a row where ours chooses among ways worked out before.
"""

from dataclasses import replace
from functools import cache

import pytest

from planner.optimize.options import SolveOptions
from planner.optimize.search.run import solve
from planner.plan.audit import audit
from planner.plan.plan import Outcome
from planner.season.read import read_season
from tests.laws import second_model
from tests.laws.verdicts import claim
from tests.support import written
from tests.support.quick import few
from tests.support.random_season import shop_season

SEEDS = (2, 9, 8, 3, 4, 13, 12, 0, 1)
"""Seasons that the second model proves in 4 s; by the first a primed line and money bite."""
SECONDS = 60.0
"""Most of them take less than two; the rest of this is for busy machines."""


@cache
def best_of(seed):
    """What the second model proves."""
    return second_model.solve(shop_season(seed))


@pytest.mark.parametrize("seed", few(SEEDS, long_from=6))
def test_plans_equal_the_second_model(seed):
    one = shop_season(seed)
    plan = solve(one, SolveOptions(seconds=SECONDS))
    audit(plan, one)
    assert plan.outcome is Outcome.OPTIMAL
    ours, best = claim(plan, one), best_of(seed)
    assert ours.short == pytest.approx(best.short, abs=1e-3)
    assert ours.cost == pytest.approx(best.cost, rel=1e-4)


@pytest.mark.parametrize(
    "without", [{"line_stays_primed": False}, {"most_to_spend": None}], ids=str
)
def test_line_and_money_bite(without):
    one = shop_season(SEEDS[0])
    free = second_model.solve(replace(one, farm=replace(one.farm, **without)))
    best = best_of(SEEDS[0])
    fewer = sum(free.short) < sum(best.short) - 1.0
    assert fewer or free.cost > best.cost + 100.0
    assert fewer == ("most_to_spend" in without)


def test_every_rule_is_in_use_and_reads_back(tmp_path):
    drawn = [shop_season(seed) for seed in range(24)]
    for rule in (
        lambda one: one.farm.line_stays_primed,
        lambda one: one.farm.most_to_spend is not None,
        lambda one: one.farm.smallest_lot_share > 0.0,
        lambda one: one.carriers,
        lambda one: any(p.kind == "fluency powder" for p in one.products),
        lambda one: any(d.order_by for d in one.discounts),
        lambda one: any(f.expected_yield for f in one.fields),
        lambda one: one.tolerance and any(t.variety_counts for t in one.threats),
    ):
        assert 6 <= sum(map(bool, map(rule, drawn))) <= 24
    for seed, one in enumerate(drawn[:6]):
        back = read_season(written.write(one, tmp_path / str(seed)))
        a, b = (m.program(cost) for m, _, cost, _ in map(second_model.build, (one, back)))
        assert a.matrix.shape == b.matrix.shape
        assert abs(a.matrix - b.matrix).max() < 1e-6
        assert b.cost == pytest.approx(a.cost, abs=1e-6)

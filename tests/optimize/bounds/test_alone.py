"""Bounds by patterns of draws at best, with columns and costs of their own, against exact solves.

Late containers and bags, containers that go back, tolls on what is ordered early, acres short at a
price that is worth paying or at one that is not.
"""

from dataclasses import replace
from random import Random

import numpy as np
import pytest

from planner.optimize.bounds import alone
from planner.optimize.bounds.alone import most_short, prove_alone
from planner.optimize.mip.highs import Limits, Verdict, solve
from planner.optimize.model.instance import make_instance
from planner.optimize.model.program import LATE, make_model
from planner.risk.floors import Tolls, at_best
from planner.risk.turned_out import Turn, turned_out
from planner.season.domain import Quantity
from tests.support.random_season import hard_season
from tests.support.searches import under

DEAR, CHEAP = 20_000.0, 150.0
CASES = [
    ((6, 5, 3, 1, 1), 0, DEAR),
    ((7, 6, 3, 1, 2), 1, DEAR),
    ((5, 4, 3, 1, 2), 2, CHEAP),
    ((6, 5, 3, 1, 1), 3, CHEAP),
]
"""Size and seed of a season, number of a draw, price of an acre short."""
SECONDS, ONE = 120.0, 0.5
"""For all of it, and for a plan with one order."""


def made(size):
    """A hard season in which much is sold late and may go back."""
    season, rng = hard_season(*size), Random(f"late {size}")

    def late(price):
        return price * rng.uniform(1.05, 1.4) if rng.random() < 0.7 else None

    containers = [
        replace(c, late_price=late(c.breaks[0].price), returned_for=rng.choice((0.0, 0.6, 0.95)))
        for c in season.containers
    ]
    lots = [replace(lot, late_price=late(lot.buy_price)) for lot in season.lots]
    return replace(season, containers=tuple(containers), lots=tuple(lots))


def at_best_in(size, draw, acre):
    """A draw at best as a model, and what gives the model without the field rule the same."""
    season, rng = made(size), Random(f"draw {size} {draw}")
    turn = Turn(
        {(Quantity.SEEDS_PER_LB, x.name): rng.uniform(0.95, 1.05) for x in season.lots}
        | {(Quantity.GERMINATION, x.name): rng.uniform(-0.07, 0.03) for x in season.lots}
        | {(Quantity.ACRES, f.name): rng.uniform(0.95, 1.03) for f in season.fields}
    )
    tolls = Tolls(
        {p.name: rng.uniform(-0.05, 0.05) for p in season.products},
        {x.name: rng.uniform(-50.0, 50.0) for x in season.lots},
    )

    def widened(model):
        cost = model.matrix.cost.copy()
        cost[model.at["short"]] += acre
        return at_best(replace(model, matrix=replace(model.matrix, cost=cost)), season, tolls)

    return widened(make_model(make_instance(turned_out(season, turn)))), widened


def solved(model, gap):
    answer = solve(model.matrix, Limits(gap=gap))
    assert answer.verdict is Verdict.OPTIMAL
    return answer


@pytest.mark.parametrize("case", CASES, ids=str)
def test_bound_is_one_and_plans_are_solutions(case, monkeypatch):
    monkeypatch.setattr(alone, "ONE", ONE)
    monkeypatch.setattr(alone, "MOST_SHORT", np.inf)
    model, widened = at_best_in(*case)
    m, optimum = model.matrix, solved(model, 1e-7).objective
    assert len(model.at[LATE]) > 0
    bound, x = prove_alone(model, widened, solved(model, 0.05).x, SECONDS)
    assert under(bound, optimum)
    assert bound >= (0.9 if case[-1] == DEAR else 0.1) * optimum
    assert under(optimum, m.price(x))
    rows, slack = m.times(x), 2e-6 * np.maximum(1.0, m.row_size)
    assert np.all(rows >= m.row_lower - slack)
    assert np.all(rows <= m.row_upper + slack)
    assert np.all((x >= m.lower - 1e-6) & (x <= m.upper + 1e-6))
    assert np.allclose(x[m.integer], np.round(x[m.integer]), atol=1e-6)


def test_nothing_is_said_where_many_acres_may_be_short():
    model, widened = at_best_in(*CASES[2])
    known = solved(model, 0.05).x
    bound, x = prove_alone(model, widened, known, SECONDS)
    assert bound == -np.inf
    assert x is known


@pytest.mark.parametrize("over", [1e-4, 0.05])
def test_no_cheap_solution_is_short_of_more_acres(over):
    model, _ = at_best_in(*CASES[2])
    m, short_in = model.matrix, model.at["short_in"]
    most = (1.0 + over) * solved(model, 1e-7).objective
    aim = np.zeros(m.n_columns)
    aim[short_in] = -1.0
    paid = np.arange(m.n_columns)
    row = np.zeros(len(paid), dtype=np.int64), paid, m.cost
    capped = m.with_rows(row, np.array([-np.inf]), np.array([most - m.offset]))
    found = solve(replace(capped, cost=aim, offset=0.0), Limits(gap=1e-6, seconds=20.0))
    assert -found.objective <= most_short(m, short_in, most) + 1e-6

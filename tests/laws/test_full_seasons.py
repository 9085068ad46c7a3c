"""Seasons of 8 to 16 fields with every optional sheet: the optimizer against two other engines.

Optima come from outside the optimizer: `tests/instances/full_seasons.json` holds what HiGHS,
without our search, and SCIP proved on the second model (`tests/laws/second_model.py`), the same
answer each.
"""

import json
from pathlib import Path

import numpy as np
import pytest
from scipy.sparse import csr_array

from planner.optimize.options import SolveOptions
from planner.optimize.search.run import solve
from planner.plan.audit import audit
from planner.season.read import read_season
from tests.laws import engines, second_model
from tests.laws.verdicts import Claim, Verdict, claim, judge, refuted
from tests.support import written
from tests.support.quick import examples, few
from tests.support.random_season import full, full_season
from tests.support.random_season.full import Short, why_short

KEPT = json.loads(Path(__file__).parents[1].joinpath("instances", "full_seasons.json").read_text())
MADE_BY = KEPT["made by"]
SECONDS = 60.0
"""Most of them take less than one; the rest of this is for busy machines."""


def proven(short, cost):
    """What an engine says that came to a proof, within its gap."""
    return second_model.Best(short, cost, cost - engines.GAP * abs(cost), True, True)


@pytest.mark.parametrize(
    "kept", few(KEPT["seasons"], long_from=30), ids=lambda one: f"season {one['seed']}"
)
def test_claims_hold_against_what_two_engines_proved(kept):
    """Plan and floor against both, and in both directions: none is above, none below."""
    one = full_season(kept["seed"])
    assert full.mark(one) == kept["mark"], f"another season; make them again: {MADE_BY}"
    plan = solve(one, SolveOptions(seconds=SECONDS))
    audit(plan, one)
    others = {name: proven(tuple(kept["short"]), kept[name]) for name in engines.ENGINES}
    verdict, differences = judge(claim(plan, one), others)
    assert verdict is Verdict.PROVEN, differences


def test_kept_seasons_are_of_every_kind():
    kinds = [why_short(kept["seed"]) for kept in KEPT["seasons"]]
    assert len(kinds) == 60
    assert {kind: kinds.count(kind) for kind in Short} == {
        Short.NOTHING: 30,
        Short.NOTHING_SUITS: 10,
        Short.SEED: 10,
        Short.PRODUCT: 10,
    }
    for kind in (Short.NOTHING_SUITS, Short.SEED):  # of a product there may be just enough
        mine = [kept for kept in KEPT["seasons"] if why_short(kept["seed"]) is kind]
        assert all(sum(kept["short"]) > 1.0 for kept in mine)
    fields = [len(full_season(kept["seed"]).fields) for kept in KEPT["seasons"]]
    assert min(fields) == 8
    assert max(fields) >= 12


# --- what counts as wrong -------------------------------------------------------------------------

OPTIMAL = Claim((0.0,), 80_644.53, 80_643.99, short_proven=True, optimal=True)
"""A claim that was made once; 80,354.13 is a plan of that season."""


def best(short, cost, *, proven=True, short_proven=True):
    """What an engine says."""
    bound = cost if proven else cost - 1000.0
    return second_model.Best(short, cost, bound, short_proven, proven and short_proven)


@pytest.mark.parametrize(
    ("ours", "other", "verdict"),
    [
        (OPTIMAL, best((0.0,), 80_354.13), Verdict.WRONG),
        (OPTIMAL, best((0.0,), 80_354.13, proven=False), Verdict.WRONG),
        (OPTIMAL._replace(optimal=False), best((0.0,), 80_354.13, proven=False), Verdict.WRONG),
        (OPTIMAL, best((0.0,), 80_644.2), Verdict.PROVEN),
        (OPTIMAL, best((0.0,), 80_644.53, proven=False), Verdict.ALONE),
        (OPTIMAL, best((0.0,), 90_000.0), Verdict.DISPUTED),
        (OPTIMAL, best((0.01,), 80_000.0, short_proven=False), Verdict.ALONE),
        (OPTIMAL, best((0.01,), 80_000.0), Verdict.DISPUTED),
        (OPTIMAL._replace(short=(0.01,)), best((0.0,), 90_000.0), Verdict.WRONG),
        (OPTIMAL._replace(bound=80_000.0, optimal=False), best((0.0,), 80_354.13), Verdict.BEHIND),
        (OPTIMAL._replace(bound=80_350.0), best((0.0,), 80_354.13), Verdict.WRONG),
        (
            OPTIMAL._replace(bound=80_000.0, optimal=False),
            best((0.0,), 80_354.13, proven=False),
            Verdict.OPEN,
        ),
        (
            OPTIMAL._replace(short=(0.01,), short_proven=False, optimal=False),
            best((0.0,), 90_000.0),
            Verdict.BEHIND,
        ),
        # fewer acres short of priority 2 make up for nothing of priority 1
        (OPTIMAL._replace(short=(2.0, 5.0)), best((1.9, 90.0), 80_000.0), Verdict.WRONG),
        (OPTIMAL._replace(short=(1.9, 90.0)), best((1.9, 5.0), 80_000.0), Verdict.WRONG),
    ],
)
def test_ours_is_judged_by_acres_short_first_then_by_cost(ours, other, verdict):
    assert judge(ours, {"engine": other, "none": None})[0] is verdict


def test_worst_verdict_counts():
    others = {"one": best((0.0,), 80_644.53), "other": best((0.0,), 80_354.13)}
    verdict, differences = judge(OPTIMAL, others)
    assert verdict is Verdict.WRONG
    assert differences == ["floor 80643.99, other has a plan at 80354.13"]
    text = "one's floor is 80644.53, other has a plan at 80354.13"
    assert refuted(others, others) == {"one": [text]}


# --- engines and seasons --------------------------------------------------------------------------

INFINITE = float("inf")
KNAPSACK = second_model.Program(
    cost=np.array([-10.0, -7.0, -3.5]),
    whole=np.array([1, 1, 0]),
    least=np.zeros(3),
    most=np.array([INFINITE, 2.0, 1.0]),
    matrix=csr_array(np.array([[4.0, 3.0, 2.0], [1.0, -1.0, 0.0]])),
    low=np.array([-INFINITE, 0.0]),
    high=np.array([9.5, 0.0]),
)
"""As many of the first as of the second, 9.5 in all: one of each takes 7, and 2 of the third.

Worth 20.5 by hand; without whole numbers 9.5 / 7 of each were worth 23.07.
"""


@pytest.mark.parametrize("name", engines.ENGINES)
def test_engines_solve_a_program(name):
    if name == "SCIP":
        pytest.importorskip("pyscipopt", reason="pip install -e '.[engines]'")
    found = engines.ENGINES[name](KNAPSACK, 10.0)
    assert found.proven
    assert found.value == pytest.approx(-20.5)
    assert found.bound == pytest.approx(-20.5)
    assert found.x == pytest.approx([1.0, 1.0, 1.0])
    loose = engines.ENGINES[name](KNAPSACK._replace(whole=np.zeros(3, dtype=int)))
    assert loose.value < -20.5
    nothing = KNAPSACK._replace(
        low=np.array([20.0, 0.0]), high=np.array([30.0, 0.0]), most=np.ones(3)
    )
    assert engines.ENGINES[name](nothing).x is None


@pytest.mark.sampled
def test_seasons_use_every_optional_sheet_and_read_back(tmp_path):
    """What is written down is read as the same program, in US and in metric units."""
    for seed in range(examples(12)):
        one = full_season(seed)
        sheets = written.sheets(one)
        assert all(len(rows) > 1 for rows in sheets.values()), seed
        for metric in (False, True):
            back = read_season(written.write(one, tmp_path / f"{seed} {metric}", metric=metric))
            a, b = (m.program(cost) for m, _, cost, _ in map(second_model.build, (one, back)))
            assert a.matrix.shape == b.matrix.shape
            assert abs(a.matrix - b.matrix).max() < 1e-6
            assert b.cost == pytest.approx(a.cost, abs=1e-6)


def test_seasons_are_as_large_as_said():
    drawn = [full_season(seed) for seed in range(120)]
    assert {len(one.fields) for one in drawn} >= set(range(8, 15))
    assert all(8 <= len(one.fields) <= 16 and 10 <= len(one.lots) <= 18 for one in drawn)
    assert {one.farm.max_varieties for one in drawn} == {1, 2, 3, None}
    for one in drawn:
        assert any(lot.treated_with and lot.can_buy for lot in one.lots)
    parts = [any(lot.on_hand % lot.units_per_bag for lot in one.lots) for one in drawn]
    assert sum(parts) > 110


@pytest.mark.slow
def test_acres_of_a_season_of_112_shares_with_one_variety_a_field_are_settled():
    """As few as HiGHS 1.16 proves on the second model in 5 s; the search once left 6 acres more."""
    one = full_season(1635)
    plan = solve(one, SolveOptions(seconds=60.0))
    audit(plan, one)
    assert plan.shortage_proven
    assert claim(plan, one).short == pytest.approx((102.7639, 203.4140, 442.2072), abs=1e-3)

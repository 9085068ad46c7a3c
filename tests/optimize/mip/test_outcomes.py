"""How one solve may end: optimal, out of time, stopped, infeasible."""

import subprocess
import sys
from functools import cache

import numpy as np
import pytest

from planner.optimize.mip.highs import Limits, Verdict, Watch
from planner.optimize.mip.highs import solve as solve_matrix
from planner.optimize.model.instance import make_instance
from planner.optimize.model.program import make_model
from planner.optimize.options import SolveOptions
from planner.optimize.search.run import solve
from planner.plan.audit import audit
from tests.support import seasons
from tests.support.random_season import hard_season


@cache
def hard_model():
    """A season's program, hours of work for HiGHS as it stands; an acre short costs 1,000."""
    model = make_model(make_instance(hard_season(20, 12, 4, 1, 3)))
    cost = model.matrix.cost.copy()
    cost[model.at["short"]] = 1000.0
    return model.aimed(cost)


class At:
    """Stops when it is looked at for the nth time."""

    def __init__(self, n: int) -> None:
        self.left = n

    def is_set(self) -> bool:
        self.left -= 1
        return self.left <= 0


def test_an_optimum_has_a_solution_its_cost_and_a_bound():
    matrix = make_model(make_instance(seasons.season())).matrix
    answer = solve_matrix(matrix, Limits())
    assert answer.verdict is Verdict.OPTIMAL
    assert answer.objective == pytest.approx(matrix.price(answer.x))
    assert answer.bound <= answer.objective + 1e-6


def test_time_limit_with_a_plan():
    """Out of time is never called optimal, though there is a plan (PuLP's status would be)."""
    matrix = hard_model().matrix
    answer = solve_matrix(matrix, Limits(seconds=1.5, gap=0.0))
    assert answer.verdict is Verdict.FEASIBLE
    assert answer.objective == pytest.approx(matrix.price(answer.x))
    assert answer.bound < answer.objective


def test_time_limit_without_a_plan():
    """Out of time before all acres are planted: there are no values to read, but a bound."""
    matrix = hard_model().bounded("short", 0.0).matrix
    answer = solve_matrix(matrix, Limits(seconds=0.05, gap=0.0))
    assert answer.verdict is Verdict.NONE_FOUND
    assert answer.x is None
    assert not np.isfinite(answer.objective)


def test_interrupted():
    """Stopped by the user, with a plan from before or without one."""
    matrix = hard_model().matrix
    nothing = np.zeros(matrix.n_columns)
    nothing[hard_model().at["short"]] = matrix.upper[hard_model().at["short"]]
    for group, key in (("short_in", p) for p in hard_model().keys["short_in"]):
        mine = [f.acres for f in hard_model().it.fields if f.priority == key]
        nothing[hard_model().column(group, key)] = sum(mine)
    supply = hard_model().it.supply / hard_model().it.lump
    nothing[hard_model().at["left"]] = supply
    answer = solve_matrix(matrix, Limits(gap=0.0), start=nothing, watch=Watch(At(20)))
    assert answer.verdict is Verdict.FEASIBLE
    assert answer.objective <= matrix.price(nothing) + 1e-6
    assert answer.bound < answer.objective
    planted = hard_model().bounded("short", 0.0).matrix
    answer = solve_matrix(planted, Limits(gap=0.0), watch=Watch(At(1)))
    assert answer.verdict is Verdict.NONE_FOUND
    assert answer.x is None


def test_contradiction_is_infeasible():
    """All acres planted while no bag may be treated: there is no solution, and that is said."""
    one = hard_season(6, 4, 3, 2, 1)
    model = make_model(make_instance(one)).bounded("short", 0.0)
    for group in ("bags", "part"):
        model = model.bounded(group, 0.0)
    answer = solve_matrix(model.matrix, Limits())
    assert answer.verdict is Verdict.INFEASIBLE
    assert answer.x is None


def test_nothing_can_be_planted():
    """No lot suits the only field: a plan without planting, its acres short, proven at once."""
    one = seasons.season(fields=(seasons.field(earliest=5.0, latest=6.0),))
    plan = solve(one, SolveOptions(seconds=5.0))
    audit(plan, one)
    assert plan.planting == ()
    assert plan.shortage_proven
    assert [s.acres for s in plan.shortages] == [80.0]


OWN_HIGHS_FIRST = """
import highspy
own = highspy.Highs()
own.setOptionValue("output_flag", False)
own.setOptionValue("threads", 2)
own.addVar(0.0, 1.0)
own.changeColIntegrality(0, highspy.HighsVarType.kInteger)
own.run()

from planner.optimize.mip.highs import Limits, solve
from planner.optimize.model.instance import make_instance
from planner.optimize.model.program import make_model
from tests.support import seasons

print(solve(make_model(make_instance(seasons.season())).matrix, Limits()).verdict.value)
"""


def test_a_caller_that_has_used_highs_with_more_threads():
    """HiGHS takes one number of threads a process: with another one a run ends without a status."""
    done = subprocess.run(
        [sys.executable, "-c", OWN_HIGHS_FIRST], capture_output=True, text=True, check=False
    )
    assert done.stdout.split()[-1:] == ["optimal"], done.stderr

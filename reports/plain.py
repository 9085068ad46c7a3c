"""The plain way to solve a season, to measure ours by: its exact model handed to HiGHS as it is.

HiGHS keeps its own settings but for the time and our gap. Acres short are made as few as possible
first, priority by priority, then the cost as low as possible; the first goal may take half of the
time. Every solve continues from the last one's plan.
"""

from __future__ import annotations

from time import monotonic
from typing import TYPE_CHECKING, Any, NamedTuple

import highspy
import numpy as np

from planner.optimize.mip.highs import new_highs
from planner.optimize.model.instance import make_instance
from planner.optimize.model.program import make_model

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from planner.optimize.mip.highs import Matrix
    from planner.season.domain import Season

    Floats = NDArray[np.float64]

GAP = 1e-4
SLACK = 1e-6
"""Acres over the fewest short that the cost may use."""


class Result(NamedTuple):
    """Where it ended; None for what it did not find."""

    cost: float | None
    floor: float | None
    short: list[float] | None
    """Acres by priority, the most urgent first."""
    fewest: bool
    """Whether HiGHS says that no fewer acres can be short."""
    first: float | None
    """Seconds until it had any plan."""


def solve_plainly(season: Season, seconds: float) -> Result:
    """Build the model and solve it, all within so many seconds."""
    began = monotonic()
    model = make_model(make_instance(season))
    matrix, places = model.matrix, model.at["short_in"]
    upper = matrix.upper.copy()
    x: Floats | None = None
    first: float | None = None
    proven = True
    for i, column in enumerate(places.tolist()):
        goal = np.zeros(matrix.n_columns)
        goal[column] = 1.0
        left = 0.5 * (seconds - (monotonic() - began)) / (len(places) - i)
        found = _run(matrix, goal, 0.0, upper, x, left, began)
        first = first or found.first
        x = found.x if found.x is not None else x
        proven = proven and found.optimal
        if x is None:
            break
        upper[column] = min(upper[column], x[column] + SLACK)
    left = seconds - (monotonic() - began)
    found = _run(matrix, matrix.cost, matrix.offset, upper, x, left, began)
    first = first or found.first
    x = found.x if found.x is not None else x
    floor = found.bound if np.isfinite(found.bound) else None
    if x is None:
        return Result(None, floor, None, fewest=False, first=None)
    return Result(matrix.price(x), floor, x[places].tolist(), proven, first)


class _Found(NamedTuple):
    x: Floats | None
    bound: float
    first: float | None
    optimal: bool


def _run(
    matrix: Matrix,
    goal: Floats,
    offset: float,
    upper: Floats,
    start: Floats | None,
    seconds: float,
    began: float,
) -> _Found:
    highs = new_highs()
    highs.passModel(_program(matrix, goal, offset, upper))
    highs.setOptionValue("time_limit", max(0.1, seconds))
    highs.setOptionValue("mip_rel_gap", GAP)
    if start is not None:
        solution = highspy.HighsSolution()
        solution.col_value = start.tolist()
        highs.setSolution(solution)
    times: list[float] = []

    def hear(kind: Any, message: str, out: Any, ask: Any, data: Any) -> None:
        times.append(monotonic() - began)

    highs.setCallback(hear, None)
    highs.startCallback(highspy.cb.HighsCallbackType.kCallbackMipImprovingSolution)
    highs.run()
    info = highs.getInfo()
    found = info.primal_solution_status == highspy.SolutionStatus.kSolutionStatusFeasible
    optimal = highs.getModelStatus() == highspy.HighsModelStatus.kOptimal
    x = np.array(highs.getSolution().col_value) if found else None
    first = times[0] if times else monotonic() - began if found else None
    return _Found(x, float(info.mip_dual_bound), first, optimal)


def _program(matrix: Matrix, goal: Floats, offset: float, upper: Floats) -> highspy.HighsLp:
    lp = highspy.HighsLp()
    lp.num_col_, lp.num_row_ = matrix.n_columns, len(matrix.row_lower)
    lp.col_cost_, lp.col_lower_, lp.col_upper_ = goal, matrix.lower, upper
    lp.row_lower_, lp.row_upper_, lp.offset_ = matrix.row_lower, matrix.row_upper, offset
    lp.a_matrix_.format_ = highspy.MatrixFormat.kColwise
    lp.a_matrix_.start_ = matrix.start.astype(np.int32)
    lp.a_matrix_.index_ = matrix.row.astype(np.int32)
    lp.a_matrix_.value_ = matrix.value
    whole, real = highspy.HighsVarType.kInteger, highspy.HighsVarType.kContinuous
    lp.integrality_ = [whole if i else real for i in matrix.integer.tolist()]
    return lp

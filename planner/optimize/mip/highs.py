"""The only room that knows HiGHS, a status, or which PuLP is installed.

PuLP writes the model down; `assemble` takes it from PuLP's own hand-over to HiGHS as plain arrays
(`Matrix`), of which `solve` can solve any part without building anything again.
"""

from __future__ import annotations

import os
import sys
import threading
from collections.abc import Callable
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from enum import Enum
from pathlib import Path
from time import monotonic
from typing import TYPE_CHECKING, Any

import highspy
import numpy as np

from planner.errors import NoPlanError

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    import pulp
    from numpy.typing import NDArray

    from planner.optimize.options import Stop

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]
    Bools = NDArray[np.bool_]

INFINITE = highspy.kHighsInf


class Verdict(Enum):
    """What a solve ended with."""

    OPTIMAL = "optimal"
    """Within the gap asked for."""
    FEASIBLE = "feasible"
    """Stopped early, with a solution."""
    INFEASIBLE = "infeasible"
    NONE_FOUND = "none found"
    """Stopped early, without a solution."""


ROUNDING = 1e-9
"""Entries of bundled columns that are rounding only."""


@dataclass(frozen=True, slots=True, eq=False)
class Matrix:
    """A mixed-integer program: minimize cost x with rows and x between their bounds.

    `cost`, `lower`, `upper` and `integer` are by column, `row_lower` and `row_upper` by row.
    """

    cost: Floats
    lower: Floats
    upper: Floats
    integer: Bools
    row_lower: Floats
    row_upper: Floats
    start: NDArray[np.int64]
    """Where each column's entries start; one more than there are columns."""
    row: NDArray[np.int64]
    """Row of each entry, column after column, as `value`."""
    value: Floats
    offset: float = 0.0
    """Cost that is there whatever x is."""

    @property
    def n_columns(self) -> int:
        """Number of variables."""
        return len(self.cost)

    @property
    def column(self) -> NDArray[np.int64]:
        """Column of every entry."""
        return np.repeat(np.arange(self.n_columns), np.diff(self.start))

    @property
    def row_size(self) -> Floats:
        """Largest bound or entry of every row, a scale for its slack."""
        size = np.zeros(len(self.row_lower))
        for bound in (self.row_lower, self.row_upper):
            size = np.maximum(size, np.where(np.abs(bound) < INFINITE, np.abs(bound), 0.0))
        np.maximum.at(size, self.row, np.abs(self.value))
        return size

    @property
    def linear(self) -> Matrix:
        """The same with nothing that must be whole."""
        return replace(self, integer=np.zeros(self.n_columns, dtype=bool))

    def only(self, columns: NDArray[np.int64]) -> Matrix:
        """The same with some of its columns, in the order given; the others are zero."""
        lengths = np.diff(self.start)[columns]
        ends = np.cumsum(lengths)
        entries = np.arange(int(lengths.sum())) + np.repeat(
            self.start[columns] - (ends - lengths), lengths
        )
        return replace(
            self,
            cost=self.cost[columns],
            lower=self.lower[columns],
            upper=self.upper[columns],
            integer=self.integer[columns],
            start=np.concatenate([[0], ends]).astype(np.int64),
            row=self.row[entries],
            value=self.value[entries],
        )

    def bundled(
        self, rest: NDArray[np.int64], bundles: Sequence[tuple[NDArray[np.int64], Floats]]
    ) -> Matrix:
        """The program over some columns as they are, and bundles of others to take or leave.

        Parameters
        ----------
        rest
            The columns that stay.
        bundles
            Columns and what each has of them.
        """
        apart = self.only(np.concatenate([columns for columns, _ in bundles]))
        times = np.concatenate([values for _, values in bundles])
        of = np.repeat(np.arange(len(bundles)), [len(columns) for columns, _ in bundles])
        rows, column = len(self.row_lower), apart.column
        place, back = np.unique(of[column] * rows + apart.row, return_inverse=True)
        value = np.bincount(back, apart.value * times[column], len(place))
        place, value = place[np.abs(value) > ROUNDING], value[np.abs(value) > ROUNDING]
        ends = np.cumsum(np.bincount(place // rows, minlength=len(bundles)))
        own, n = self.only(rest), len(bundles)
        return replace(
            own,
            cost=np.concatenate([own.cost, np.bincount(of, apart.cost * times, n)]),
            lower=np.concatenate([own.lower, np.zeros(n)]),
            upper=np.concatenate([own.upper, np.ones(n)]),
            integer=np.concatenate([own.integer, np.ones(n, dtype=bool)]),
            start=np.concatenate([own.start, own.start[-1] + ends]).astype(np.int64),
            row=np.concatenate([own.row, place % rows]),
            value=np.concatenate([own.value, value]),
        )

    def with_columns(self, cost: Floats, lower: Floats, upper: Floats) -> Matrix:
        """The same with more variables, none of them whole, that are in no row."""
        return replace(
            self,
            cost=np.concatenate([self.cost, cost]),
            lower=np.concatenate([self.lower, lower]),
            upper=np.concatenate([self.upper, upper]),
            integer=np.concatenate([self.integer, np.zeros(len(cost), dtype=bool)]),
            start=np.concatenate([self.start, np.full(len(cost), self.start[-1])]),
        )

    def with_whole_columns(
        self, cost: Floats, upper: Floats, entries: Sequence[Mapping[int, float]]
    ) -> Matrix:
        """The same with more whole variables from 0 on; the entries of each by row."""
        n = len(cost)
        ends = self.start[-1] + np.cumsum([len(e) for e in entries], dtype=np.int64)
        return replace(
            self,
            cost=np.concatenate([self.cost, cost]),
            lower=np.concatenate([self.lower, np.zeros(n)]),
            upper=np.concatenate([self.upper, upper]),
            integer=np.concatenate([self.integer, np.ones(n, dtype=bool)]),
            start=np.concatenate([self.start, ends]).astype(np.int64),
            row=np.concatenate([self.row, [r for e in entries for r in e]]).astype(np.int64),
            value=np.concatenate([self.value, [v for e in entries for v in e.values()]]),
        )

    def with_rows(
        self,
        entries: tuple[NDArray[np.int64], NDArray[np.int64], Floats],
        lower: Floats,
        upper: Floats,
    ) -> Matrix:
        """The same with more rows; entries by row (0 is the first new one), column and value."""
        row, new_column, value = entries
        column = np.concatenate([self.column, new_column])
        order = np.argsort(column, kind="stable")
        counts = np.bincount(column, minlength=self.n_columns)
        return replace(
            self,
            row_lower=np.concatenate([self.row_lower, lower]),
            row_upper=np.concatenate([self.row_upper, upper]),
            start=np.concatenate([[0], np.cumsum(counts)]).astype(np.int64),
            row=np.concatenate([self.row, len(self.row_lower) + row])[order].astype(np.int64),
            value=np.concatenate([self.value, value])[order],
        )

    def times(self, x: Floats) -> Floats:
        """Value of every row at x."""
        entries = self.value * x[self.column]
        return np.bincount(self.row, entries, len(self.row_lower)).astype(np.float64)

    def price(self, x: Floats) -> float:
        """Cost at x."""
        return float(self.cost @ x) + self.offset

    @property
    def least(self) -> float:
        """Cost that nothing within the bounds of the columns can go below."""
        each = np.zeros(self.n_columns)
        up, down = self.cost > 0.0, self.cost < 0.0
        each[up] = self.cost[up] * self.lower[up]
        each[down] = self.cost[down] * self.upper[down]
        return float(each.sum()) + self.offset


@dataclass(frozen=True, slots=True, eq=False)
class Answer:
    """What HiGHS found; `x` is None where there is no solution."""

    verdict: Verdict
    x: Floats | None
    objective: float
    bound: float
    """Proven: no solution is below it. -inf if nothing was proven."""
    row_dual: Floats | None = None
    """Of an LP only."""
    nodes: int = 0
    iterations: int = 0
    """Of the simplex method, in all."""


Solver = Callable[..., Answer]
"""`solve`, or the same in a process of its own."""


@dataclass(frozen=True, slots=True)
class Limits:
    """When a single solve stops."""

    seconds: float = INFINITE
    gap: float = 1e-6
    nodes: int | None = None
    cutoff: float | None = None
    """Stop looking for anything at or above this cost."""
    target: float | None = None
    """Stop once something at or below this cost is found."""
    seed: int = 0
    presolve: bool = True
    restarts: bool = True
    """Whether HiGHS may presolve again and begin anew at the root once many columns are fixed.

    Off where a good plan is known from outside: 18 random seasons of 8 to 16 fields, the best plan
    told, took 65 s of the processor with restarts and 37 s without, the median a third.
    """


_banner = threading.Lock()
_banner_is_out = threading.Event()


def new_highs() -> highspy.Highs:
    """Make a HiGHS that prints nothing.

    The first one of a process prints its license on file descriptor 1, whatever its options say:
    for just that moment the descriptor leads nowhere.
    """
    let_banner_out()
    highs = highspy.Highs()
    highs.setOptionValue("output_flag", False)
    return highs


def let_banner_out() -> None:
    """Have the license of HiGHS printed where nobody sees it, once a process."""
    with _banner:
        if not _banner_is_out.is_set():
            with _standard_output_aside():
                highspy.Highs()
            _banner_is_out.set()


@contextmanager
def _standard_output_aside() -> Iterator[None]:
    """Let file descriptor 1 lead nowhere; where there is none, there is nothing to keep clean."""
    try:
        kept = os.dup(1)
    except OSError:
        yield
        return
    with suppress(OSError, ValueError, AttributeError):
        sys.stdout.flush()
    try:
        with Path(os.devnull).open("wb") as nowhere:
            os.dup2(nowhere.fileno(), 1)
        yield
    finally:
        os.dup2(kept, 1)
        os.close(kept)


def assemble(problem: pulp.LpProblem, order: Sequence[Any]) -> Matrix:
    """Take a problem from PuLP as arrays, its columns in the order of the variables given."""
    import pulp  # a process that only solves never needs it, and it takes as long as all else

    let_banner_out()
    solver = pulp.HiGHS(msg=False)
    solver.createAndConfigureSolver(problem)
    solver.buildSolverModel(problem)
    lp = problem.solverModel.getLp()
    if hasattr(problem, "exported_variables"):  # PuLP 4
        at = {x.id: j for j, x in enumerate(problem.exported_variables())}
        where = [at.get(x.id, -1) for x in order]
    else:  # PuLP 3
        at = {id(x): j for j, x in enumerate(problem.variables())}
        where = [at.get(id(x), -1) for x in order]
    keep = np.array(where, dtype=np.int64)
    whole = np.array([x.cat == "Integer" for x in order], dtype=bool)
    matrix = Matrix(
        cost=np.append(np.array(lp.col_cost_, dtype=np.float64), 0.0)[keep],
        lower=np.array([x.lowBound for x in order], dtype=np.float64),
        upper=np.array(
            [INFINITE if x.upBound is None else x.upBound for x in order], dtype=np.float64
        ),
        integer=whole,
        row_lower=np.array(lp.row_lower_, dtype=np.float64),
        row_upper=np.array(lp.row_upper_, dtype=np.float64),
        start=np.zeros(len(keep) + 1, dtype=np.int64),
        row=np.zeros(0, dtype=np.int64),
        value=np.zeros(0),
        offset=float(lp.offset_),
    )
    a = lp.a_matrix_
    start, row, value = np.array(a.start_), np.array(a.index_), np.array(a.value_, dtype=np.float64)
    if a.format_ != highspy.MatrixFormat.kColwise:
        rows = np.repeat(np.arange(len(start) - 1), np.diff(start))
        by_column = np.argsort(row, kind="stable")
        columns, row, value = row[by_column], rows[by_column], value[by_column]
        counts = np.bincount(columns, minlength=len(lp.col_cost_))
        start = np.concatenate([[0], np.cumsum(counts)])
    lengths = np.append(np.diff(start), 0)[keep]  # the last of them for a variable in no row
    ends = np.cumsum(lengths)
    entries = np.arange(int(lengths.sum())) + np.repeat(start[keep] - (ends - lengths), lengths)
    return replace(
        matrix,
        start=np.concatenate([[0], ends]).astype(np.int64),
        row=row[entries].astype(np.int64),
        value=value[entries],
    )


def reduced(matrix: Matrix, free: Bools, x: Floats) -> tuple[Matrix, NDArray[np.int64]]:
    """The program that is left when every column that is not free is fixed at x.

    Returns it with the places of its columns in the whole.
    """
    column = matrix.column
    held = ~free
    fixed = np.bincount(
        matrix.row[held[column]],
        weights=matrix.value[held[column]] * x[column[held[column]]],
        minlength=len(matrix.row_lower),
    )
    columns = np.flatnonzero(free)
    part = matrix.only(columns)
    used = np.zeros(len(matrix.row_lower), dtype=bool)
    used[part.row] = True
    renumber = np.cumsum(used) - 1
    part = replace(
        part,
        row_lower=(matrix.row_lower - fixed)[used],
        row_upper=(matrix.row_upper - fixed)[used],
        row=renumber[part.row],
        offset=matrix.offset + float(matrix.cost[held] @ x[held]),
    )
    return part, columns


def _hand_over(matrix: Matrix) -> highspy.Highs:
    lp = highspy.HighsLp()
    lp.num_col_, lp.num_row_ = matrix.n_columns, len(matrix.row_lower)
    lp.col_cost_, lp.col_lower_, lp.col_upper_ = matrix.cost, matrix.lower, matrix.upper
    lp.row_lower_, lp.row_upper_ = matrix.row_lower, matrix.row_upper
    lp.offset_ = matrix.offset
    lp.a_matrix_.format_ = highspy.MatrixFormat.kColwise
    lp.a_matrix_.start_ = matrix.start.astype(np.int32)
    lp.a_matrix_.index_ = matrix.row.astype(np.int32)
    lp.a_matrix_.value_ = matrix.value
    if matrix.integer.any():
        kinds = highspy.HighsVarType
        lp.integrality_ = [kinds.kInteger if i else kinds.kContinuous for i in matrix.integer]
    highs = new_highs()
    highs.setOptionValue("threads", 1)
    highs.setOptionValue("parallel", "off")
    if highs.passModel(lp) == highspy.HighsStatus.kError:
        msg = "the solver did not take the model"
        raise NoPlanError(msg)
    return highs


@dataclass(slots=True)
class Watch:
    """Looks on while HiGHS works: may stop it, and hears of better solutions and bounds."""

    stop: Stop | None = None
    on_solution: Callable[[Floats, float], None] | None = None
    on_bound: Callable[[float], None] | None = None
    better: Callable[[float], Floats | None] | None = None
    """Asked now and then, with the cost of HiGHS's best, for a solution from elsewhere."""

    def attach(self, highs: highspy.Highs) -> None:
        """Register with a solver."""
        kinds = highspy.cb.HighsCallbackType
        highs.setCallback(self._hear, None)
        wanted = [
            kinds.kCallbackMipInterrupt,
            kinds.kCallbackSimplexInterrupt,
            kinds.kCallbackIpmInterrupt,
        ]
        if self.on_solution:
            wanted.append(kinds.kCallbackMipImprovingSolution)
        if self.better:
            wanted.append(kinds.kCallbackMipUserSolution)
        for kind in wanted:
            highs.startCallback(kind)

    def _hear(self, kind: Any, message: str, out: Any, ask: Any, data: Any) -> None:
        del message, data
        kinds = highspy.cb.HighsCallbackType
        if kind == kinds.kCallbackMipImprovingSolution and self.on_solution:
            self.on_solution(np.array(out.mip_solution), float(out.objective_function_value))
        elif kind == kinds.kCallbackMipUserSolution and self.better:
            x = self.better(float(out.mip_primal_bound))
            if x is not None:
                ask.setSolution(x)
        else:
            if kind == kinds.kCallbackMipInterrupt and self.on_bound:
                self.on_bound(float(out.mip_dual_bound))
            if self.stop is not None and self.stop.is_set():
                ask.user_interrupt = True


def is_lower(cost: float, known: float) -> bool:
    """Whether a cost is lower, by over a millionth, than a known one, which may be infinite."""
    return known - cost > 1e-6 * max(1.0, abs(cost))


def knowing(matrix: Matrix, x: Floats) -> Callable[[float], Floats | None]:
    """For `Watch.better`: a known solution, given to HiGHS while it works."""
    cost = matrix.price(x)

    def better(known: float) -> Floats | None:
        return x if is_lower(cost, known) else None

    return better


def solve(
    matrix: Matrix, limits: Limits, start: Floats | None = None, watch: Watch | None = None
) -> Answer:
    """Solve a program, from a solution where one is given.

    No verdict or bound of a single solve is a proof (see `verified`). What needs a proof gives its
    solution by `Watch.better`, not as a start: where presolve leaves no cost, HiGHS 1.15 called any
    start optimal.

    Raises
    ------
    NoPlanError
        When HiGHS fails.
    """
    if matrix.n_columns == 0:
        inside = np.all(matrix.row_lower <= 1e-9) and np.all(matrix.row_upper >= -1e-9)
        verdict = Verdict.OPTIMAL if inside else Verdict.INFEASIBLE
        return Answer(verdict, np.zeros(0) if inside else None, matrix.offset, matrix.offset)
    highs = _hand_over(matrix)
    try:
        _configure(highs, limits)
        if start is not None:
            solution = highspy.HighsSolution()
            solution.col_value = list(start)
            highs.setSolution(solution)
        if watch is not None:
            watch.attach(highs)
        _run(highs)
        return _answer(highs, matrix)
    finally:
        highs.clear()


def _run(highs: highspy.Highs) -> None:
    """Run, once more where a caller's own HiGHS in this process has set more threads than ours.

    Their number is set once per process; with another one HiGHS ends at once and says nothing.
    """
    try:
        highs.run()
        if highs.getModelStatus() == highspy.HighsModelStatus.kNotset:
            highspy.Highs.resetGlobalScheduler(True)
            highs.run()
    except MemoryError:
        raise
    except Exception as error:
        msg = f"the solver failed: {error}"
        raise NoPlanError(msg) from error


def _configure(highs: highspy.Highs, limits: Limits) -> None:
    options: dict[str, Any] = {
        "random_seed": limits.seed,
        "mip_rel_gap": limits.gap,
        "mip_abs_gap": 1e-9,
        "mip_allow_restart": limits.restarts,
    }
    if not limits.presolve:
        options["presolve"] = "off"
        options["mip_heuristic_run_feasibility_jump"] = False  # HiGHS 1.15 could crash in it
    if limits.seconds < INFINITE:
        options["time_limit"] = max(0.05, limits.seconds)
    if limits.nodes is not None:
        options["mip_max_nodes"] = limits.nodes
    if limits.cutoff is not None:
        options["objective_bound"] = limits.cutoff
    if limits.target is not None:
        options["objective_target"] = limits.target
    for name, value in options.items():
        if highs.setOptionValue(name, value) == highspy.HighsStatus.kError:
            msg = f"the solver does not know {name} = {value}"
            raise NoPlanError(msg)


def _answer(highs: highspy.Highs, matrix: Matrix) -> Answer:
    status, info = highs.getModelStatus(), highs.getInfo()
    kinds = highspy.HighsModelStatus
    mixed = bool(matrix.integer.any())
    found = info.primal_solution_status == highspy.SolutionStatus.kSolutionStatusFeasible
    bound = float(info.mip_dual_bound) if mixed else -INFINITE
    solution = highs.getSolution()
    x = np.array(solution.col_value) if found else None
    objective = float(info.objective_function_value) if found else INFINITE
    if status in (kinds.kInfeasible, kinds.kUnboundedOrInfeasible):
        return Answer(Verdict.INFEASIBLE, None, INFINITE, INFINITE)
    if status == kinds.kOptimal:
        if not mixed:
            dual = np.array(solution.row_dual) if solution.dual_valid else None
            return Answer(Verdict.OPTIMAL, x, objective, objective, dual)
        work = int(info.mip_node_count), int(info.simplex_iteration_count)
        return Answer(Verdict.OPTIMAL, x, objective, bound, None, *work)
    stopped = (
        kinds.kTimeLimit,
        kinds.kInterrupt,
        kinds.kSolutionLimit,
        kinds.kIterationLimit,
        kinds.kObjectiveBound,
        kinds.kObjectiveTarget,
        kinds.kMemoryLimit,
        kinds.kUnknown,
    )
    if status not in stopped:
        msg = f"the solver failed: {highs.modelStatusToString(status)}"
        raise NoPlanError(msg)
    if not mixed:
        return Answer(Verdict.NONE_FOUND, None, INFINITE, -INFINITE)
    return Answer(Verdict.FEASIBLE if found else Verdict.NONE_FOUND, x, objective, bound)


class Kept:
    """A linear program that stays in HiGHS and grows; each solve starts from the last."""

    def __init__(self, matrix: Matrix, stop: Stop | None = None) -> None:
        """Hand a program over; what is whole in it may be cut."""
        self.highs = _hand_over(matrix.linear)
        Watch(stop).attach(self.highs)

    def add_columns(
        self, cost: Floats, upper: Floats, start: NDArray[np.int64], row: Any, value: Floats
    ) -> NDArray[np.int64]:
        """Add columns with lower bound 0; `start` as in `Matrix`, without its last entry.

        Returns their numbers.
        """
        n, first = len(cost), int(self.highs.getNumCol())
        self.highs.addCols(
            n,
            cost,
            np.zeros(n),
            upper,
            len(value),
            start.astype(np.int32),
            np.asarray(row, dtype=np.int32),
            value,
        )
        return np.arange(first, first + n, dtype=np.int64)

    def bound(self, columns: NDArray[np.int64], lower: Floats, upper: Floats) -> None:
        """Set the bounds of some columns."""
        self.highs.changeColsBounds(len(columns), columns.astype(np.int32), lower, upper)

    def price(self, columns: NDArray[np.int64], cost: Floats) -> None:
        """Set the cost of some columns."""
        self.highs.changeColsCost(len(columns), columns.astype(np.int32), cost)

    def free(self, rows: NDArray[np.int64]) -> None:
        """Let some rows be anything."""
        n = len(rows)
        wide = np.full(n, INFINITE)
        self.highs.changeRowsBounds(n, rows.astype(np.int32), -wide, wide)

    def solve(self, seconds: float) -> Answer:
        """Solve it as it is now, for so long at the most."""
        since = float(self.highs.getRunTime())
        self.highs.setOptionValue("time_limit", since + max(0.05, seconds))
        _run(self.highs)
        info, solution = self.highs.getInfo(), self.highs.getSolution()
        if self.highs.getModelStatus() == highspy.HighsModelStatus.kInfeasible:
            return Answer(Verdict.INFEASIBLE, None, INFINITE, INFINITE)
        if self.highs.getModelStatus() != highspy.HighsModelStatus.kOptimal:
            return Answer(Verdict.NONE_FOUND, None, INFINITE, -INFINITE)
        objective = float(info.objective_function_value)
        dual = np.array(solution.row_dual)
        return Answer(Verdict.OPTIMAL, np.array(solution.col_value), objective, objective, dual)


def now() -> float:
    """Seconds of a clock that only goes forward."""
    return monotonic()

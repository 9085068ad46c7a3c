"""Verified solves: a bound or an optimum counts only where two kinds of solve agree on it.

HiGHS 1.15 ended OPTIMAL at costs above feasible plans of the same program: with three of six
random seeds on `tests/instances/ends_too_soon.npz`, and never without presolve there. HiGHS 1.16
solves it, but the proof of a mixed-integer program comes without a certificate that could be
checked afterwards. So every such program whose bound is reported is solved in two ways: with
presolve; and without, from another random seed; or twice without, where presolve is slow. The two
exchange solutions while they work, and what both have proven is what is proven. `python -m
reports.reliability.two_solves` shows it. The second solve runs in a process of its own: HiGHS
crashed once, in some hundred thousand solves, while two ran in threads of one process.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass, field, replace
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from planner.errors import NoPlanError
from planner.optimize.mip.highs import (
    INFINITE,
    Answer,
    Limits,
    Matrix,
    Verdict,
    Watch,
    is_lower,
    now,
    solve,
)
from planner.optimize.mip.process import solve_apart

if TYPE_CHECKING:
    from collections.abc import Sequence

    from planner.optimize.mip.highs import Floats, Solver

KINDS = ((True, 0), (False, 1), (True, 2), (False, 3))
"""Kinds of solve: with presolve or not, and what is added to the random seed. The first two always;
the others only where those contradict each other."""
AS_IT_IS = ((False, 0), (False, 1), (False, 2), (True, 3))
"""The same for programs that presolve is slow on; without it none was ever wrong."""
SAME = 1e-6
"""Share by which a bound may lie above a known cost: rounding."""
SMALL = 150
"""Columns of programs whose solves take no time: one after the other there, so that the same input
gives the same plan and bound on every run."""
MORE_NODES = 4, 1000
"""Nodes for the second solve where they are counted: times those of the first, and on top."""
TICK = 0.1
"""Seconds between two looks for Ctrl-C while the second solve is waited for."""


def verified(
    matrix: Matrix,
    limits: Limits,
    watch: Watch,
    solver: Solver = solve,
    *,
    at_once: bool = True,
    exchange: bool = True,
    kinds: Sequence[tuple[bool, int]] = KINDS,
) -> Answer:
    """Solve a program in two ways, and report what both say.

    Parameters
    ----------
    matrix, limits, watch
        As for `solver.solve`. `watch.on_bound` hears only of bounds that both solves have proven.
    solver
        Does the first solve.
    at_once
        Whether both run at the same time, each for `limits.seconds`, the second one in another
        process, but for small programs; else one after the other in this process, so that counted
        work is the same on every run.
    exchange
        Whether each is given solutions of the other. A program over orders that was given its own
        optimum never ended (HiGHS 1.16.0, neither time limit nor interrupt heard).
    kinds
        Kinds of solve, as `KINDS`.

    Returns
    -------
    Answer
        The better solution of the two. OPTIMAL or INFEASIBLE only where both ended so; `bound` is
        the lower one of both. A solve that the other's solution proves wrong does not count, and
        another is done in its place.
    """
    common, until = _Common(watch, kinds, exchange), now() + limits.seconds
    first, second = (common.job(n, matrix, limits) for n in (0, 1))
    other: Solver = solve
    if at_once and matrix.n_columns > SMALL:
        other = solve_apart
        beside = threading.Thread(target=second, args=(other,), daemon=True)
        beside.start()
        first(solver)
        while beside.is_alive():
            beside.join(TICK)
    else:
        answer = first(solver)
        common.job(1, matrix, _after(limits, answer, until))(solve)
    for n in range(2, len(kinds)):
        if len(common.trusted()) >= 2 or now() >= until:
            break
        nodes = None if limits.nodes is None else MORE_NODES[0] * limits.nodes
        common.job(n, matrix, replace(limits, seconds=until - now(), nodes=nodes))(other)
    return common.answer()


def _after(limits: Limits, first: Answer, until: float) -> Limits:
    """Limits for the second of two solves, one after the other."""
    nodes = limits.nodes
    if nodes is not None:
        nodes = max(nodes, MORE_NODES[0] * first.nodes + MORE_NODES[1])
    return replace(limits, seconds=max(0.0, until - now()), nodes=nodes)


@dataclass(slots=True)
class _Common:
    """What the solves of one program know together; used from several threads."""

    watch: Watch
    kinds: Sequence[tuple[bool, int]] = KINDS
    exchange: bool = True
    x: Floats | None = None
    cost: float = INFINITE
    bounds: dict[int, float] = field(default_factory=dict)
    answers: dict[int, Answer] = field(default_factory=dict)
    lock: threading.RLock = field(default_factory=threading.RLock)

    def job(self, n: int, matrix: Matrix, limits: Limits) -> _Job:
        """One kind of solve, ready to run."""
        presolve, more = self.kinds[n]
        return _Job(self, n, matrix, replace(limits, presolve=presolve, seed=limits.seed + more))

    def take(self, x: Floats, cost: float) -> None:
        """Note a solution."""
        with self.lock:
            if cost < self.cost:
                self.x, self.cost = x, cost
        if self.watch.on_solution:
            self.watch.on_solution(x, cost)

    def better(self, known: float) -> Floats | None:
        """A solution cheaper than the best that one of the solves knows."""
        with self.lock:
            if self.exchange and self.x is not None and is_lower(self.cost, known):
                return self.x
        return self.watch.better(known) if self.watch.better else None

    def bound(self, n: int, value: float) -> None:
        """Note what one solve has proven so far, and report what two have."""
        with self.lock:
            self.bounds[n] = value
            both = _second([b for b in self.bounds.values() if b <= self._most])
        if self.watch.on_bound and np.isfinite(both):
            self.watch.on_bound(both)

    def end(self, n: int, answer: Answer) -> None:
        """Note how a solve ended."""
        if answer.verdict is Verdict.OPTIMAL and not np.isfinite(answer.bound):
            answer = replace(answer, bound=answer.objective)
        with self.lock:
            self.answers[n] = answer
            if answer.x is not None and answer.objective < self.cost:
                self.x, self.cost = answer.x, answer.objective
        self.bound(n, answer.bound)

    def trusted(self) -> list[Answer]:
        """Answers that say something, and whose bound no known solution contradicts."""
        return [a for a in self.answers.values() if -INFINITE < a.bound <= self._most]

    @property
    def _most(self) -> float:
        """No bound above this can be right."""
        return INFINITE if self.x is None else self.cost + SAME * max(1.0, abs(self.cost))

    def answer(self) -> Answer:
        """What two solves agree on."""
        trusted = self.trusted()
        bound = _second([a.bound for a in trusted])
        ended = [a.verdict for a in trusted]
        nodes = sum(a.nodes for a in self.answers.values())
        iterations = sum(a.iterations for a in self.answers.values())
        if self.x is None:
            verdict = Verdict.NONE_FOUND
            if ended.count(Verdict.INFEASIBLE) >= 2:
                verdict = Verdict.INFEASIBLE
            return Answer(verdict, None, INFINITE, bound, None, nodes, iterations)
        verdict = Verdict.FEASIBLE
        if ended.count(Verdict.OPTIMAL) >= 2:
            verdict = Verdict.OPTIMAL
        return Answer(verdict, self.x, self.cost, bound, None, nodes, iterations)


@dataclass(frozen=True, slots=True)
class _Job:
    common: _Common
    n: int
    matrix: Matrix
    limits: Limits

    def __call__(self, solver: Solver) -> Answer:
        common = self.common
        watch = Watch(common.watch.stop, common.take, partial(common.bound, self.n), common.better)
        try:
            answer = solver(self.matrix, self.limits, watch=watch)
        except NoPlanError:
            answer = Answer(Verdict.NONE_FOUND, None, INFINITE, -INFINITE)
        common.end(self.n, answer)
        return answer


def _second(bounds: list[float]) -> float:
    """What at least two of some bounds say: the second highest."""
    return sorted(bounds)[-2] if len(bounds) > 1 else -INFINITE

"""The best plan so far, the proven bound, and the clock, shared by everything that searches."""

from __future__ import annotations

import threading
from dataclasses import dataclass
from time import sleep
from typing import TYPE_CHECKING

import numpy as np

from planner.optimize.mip.highs import now
from planner.optimize.model.program import flagged
from planner.optimize.options import Progress
from planner.plan.plan import gap_of

if TYPE_CHECKING:
    from planner.optimize.mip.highs import Bools, Floats
    from planner.optimize.model.program import Model
    from planner.optimize.options import OnProgress, SolveOptions, Stop

TICK = 0.1
"""Seconds between two looks for the sign to stop."""
SHORT_SLACK = 2e-5
"""Acres over the fewest short of the first priority that the search may use.

Well above the solver's tolerance of 1e-6: near that, HiGHS has cut off solutions and proven wrong
bounds. Every later priority has more, more than the slack of those before it can buy."""
SLACK_GROWTH, SLACK_MOST = 4.0, 16.0
SAME_SHORT = 1.5
"""Shortages that differ by no more than this many times their slack count as the same."""
FEASIBLE, FEASIBLE_SHARE = 2e-6, 2e-6
"""Slack of a row in what is taken over as a plan: at the least, and relative to its size."""


def short_slack(priorities: int) -> Floats:
    """Acres over the fewest short that the search may use, by priority."""
    growth: Floats = np.minimum(SLACK_GROWTH ** np.arange(priorities), SLACK_MOST)
    return SHORT_SLACK * growth


def same_short(short: Floats, other: Floats) -> bool:
    """Whether two shortages, by priority, count as the same."""
    slack = SAME_SHORT * short_slack(len(short)) * (1.0 + 1e-6)  # solved to the edge, and over
    return bool(np.all(np.abs(short - other) <= slack))


@dataclass(frozen=True, slots=True, eq=False)
class RuledOut:
    """Columns that are zero in every plan with no more acres short than `short`, by priority."""

    short: Floats
    columns: Bools


class Incumbent:
    """Best solution of a model (fewest acres short by priority, then cheapest) and its bound.

    Safe to use from several threads.
    """

    def __init__(
        self, options: SolveOptions, on_progress: OnProgress | None, stop: Stop | None
    ) -> None:
        self.options, self.on_progress, self.user_stop = options, on_progress, stop
        self.began = now()
        self.model: Model
        self.x: Floats | None = None
        self.short: tuple[float, ...] = ()
        self.cost = np.inf
        self.bound = -np.inf
        self.bound_short: Floats | None = None
        """Acres short by priority that no plan passes of which that bound is proven."""
        self.short_proven = False
        self.ruled_out: RuledOut | None = None
        self.ended = threading.Event()
        self.over = threading.Event()
        """Set when the search is over, so that what still runs beside it ends."""
        self.first_plan: float | None = None
        self.improved = self.began
        """When the best plan was found."""
        self._lock = threading.RLock()

    # --- the clock ---

    def seconds(self) -> float:
        """Seconds since the start."""
        return now() - self.began

    def left(self) -> float:
        """Seconds left; without end where effort is counted in steps."""
        if self.options.effort is not None:
            return np.inf
        return max(0.0, self.options.seconds - self.seconds())

    def is_set(self) -> bool:
        """Whether to stop: the user says so, the time is up, or the gap is closed."""
        if self.user_stop is not None and self.user_stop.is_set():
            return True
        return self.ended.is_set() or self.over.is_set() or self.left() <= 0.0

    def wait(self, seconds: float) -> None:
        """Let time pass, or less of it where the search is to stop."""
        until = now() + seconds
        while not self.is_set() and now() < until:
            sleep(max(0.0, min(TICK, until - now())))

    @property
    def gap(self) -> float:
        """Proven distance from the best possible cost, as a share of the cost."""
        if self.x is None:
            return np.inf
        return gap_of(self.cost, self.bound)

    @property
    def is_done(self) -> bool:
        """Whether nothing cheaper is to be looked for: it is time to stop, or the gap is closed."""
        return self.is_set() or self.gap <= self.options.gap

    # --- what was found ---

    @property
    def is_short(self) -> bool:
        """Whether the best plan leaves more acres short than count as none."""
        return not same_short(np.array(self.short), np.zeros(len(self.short)))

    @property
    def is_covered(self) -> bool:
        """Whether there is a plan that leaves no acre short."""
        return self.x is not None and not self.is_short

    def shortage(self, x: Floats) -> tuple[float, ...]:
        """Acres short by priority."""
        return tuple(x[self.model.at["short_in"]].tolist())

    def offer(self, x: Floats | None) -> bool:
        """Take a solution over if it is one and is better; says whether it was."""
        if x is None or not self._keeps_rules(x):
            return False
        with self._lock:
            short, cost = self.shortage(x), self.model.matrix.price(x)
            side = -1 if self.x is None else self._side(short)
            if side < 0:
                self.short = short
            if side > 0 or (side == 0 and not self._cheaper(cost)):
                return False
            self.x, self.cost, self.improved = x, cost, now()
            if self.contradicts(self.bound) or not self._bound_holds():
                self.bound = -np.inf
            if self.first_plan is None:
                self.first_plan = self.seconds()
            self._tell()
        return True

    def move(self, model: Model, x: Floats) -> None:
        """Go on with another model of the same season, the best plan in its columns."""
        with self._lock:
            self.model, self.ruled_out = model, None
            self.x = x if self._keeps_rules(x) else flagged(model, x)
            self.cost = model.matrix.price(self.x)
            assert self._keeps_rules(self.x)

    def _side(self, short: tuple[float, ...]) -> int:
        """-1 where fewer acres are short than the fewest known, 1 where more, 0 where the same."""
        slack = SAME_SHORT * short_slack(len(short))
        for mine, best, same in zip(short, self.short, slack, strict=True):
            if abs(mine - best) > same:
                return -1 if mine < best else 1
        return 0

    def _cheaper(self, cost: float) -> bool:
        return cost < self.cost - 1e-7 * max(1.0, abs(self.cost))

    def _keeps_rules(self, x: Floats) -> bool:
        m = self.model.matrix
        rows = m.times(x)
        size = np.maximum(FEASIBLE, FEASIBLE_SHARE * m.row_size)
        whole = np.abs(x - np.round(x))[m.integer]
        return bool(
            np.all(rows >= m.row_lower - size)
            and np.all(rows <= m.row_upper + size)
            and np.all(x >= m.lower - 1e-6)
            and np.all(x <= m.upper + 1e-6)
            and (not len(whole) or whole.max() < 1e-6)
        )

    def raise_bound(self, bound: float, short: Floats) -> None:
        """Take over a bound of the cost, proven of plans with no more acres short than those.

        `short` is by priority. Where fewer of one priority and more of a later one are short by
        now, the bound says nothing of such plans.
        """
        with self._lock:
            if self.contradicts(bound) or not self._is_within(short):
                return
            if np.isfinite(bound) and bound > self.bound:
                self.bound, self.bound_short = bound, short
                self._tell()
            if self.gap <= self.options.gap and self.short_proven:
                self.ended.set()

    def _bound_holds(self) -> bool:
        return self.bound_short is None or self._is_within(self.bound_short)

    def _is_within(self, short: Floats) -> bool:
        """Whether the best plan has no more acres short than those, of any priority."""
        if self.x is None:
            return True
        mine = np.array(self.short)
        return bool(np.all(mine <= short + SAME_SHORT * short_slack(len(mine))))

    def contradicts(self, bound: float) -> bool:
        """Whether there is a plan below what was said to be a bound, so that it is not one."""
        return self.x is not None and bound > self.cost + 1e-6 * max(1.0, abs(self.cost))

    def prove_shortage(self) -> None:
        """Note that no plan has fewer acres short."""
        with self._lock:
            self.short_proven = True
            if self.gap <= self.options.gap:
                self.ended.set()

    def _tell(self) -> None:
        if self.on_progress:
            cost = float(self.cost) if self.x is not None else None
            bound = float(self.bound) if np.isfinite(self.bound) else None
            self.on_progress(Progress(self.seconds(), cost, bound, sum(self.short)))

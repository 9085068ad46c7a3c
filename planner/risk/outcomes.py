"""Outcomes of orders in draws: solved by the engine, each once, kept in a table."""

from __future__ import annotations

import pickle
from collections.abc import Callable
from dataclasses import dataclass, field
from hashlib import sha256
from time import monotonic
from typing import TYPE_CHECKING

from planner.engine.jobs import Job
from planner.risk.floors import NONE
from planner.risk.second_stage import SECONDS, SecondStage

if TYPE_CHECKING:
    from collections.abc import Sequence

    from planner.engine.jobs import Engine, Stop
    from planner.risk.floors import Tolls
    from planner.risk.order import Order
    from planner.risk.second_stage import Outcome, Pool
    from planner.risk.turned_out import Turn
    from planner.season.domain import Season

Said = Callable[[str], None]
ROUGH_GAP, FLOOR_GAP, GAP = 6e-3, 3e-3, 2e-3
"""Proven distance from the best at which a draw's own best is good enough to learn from and as a
floor, and at which a second stage is."""
Effort = tuple[float, float, float]
"""Gap, acres that known plans have short, and most seconds of a solve."""
LEAST_SECONDS = 2.0
"""Most time of a solve at the least."""
_stages: dict[tuple[bytes, Effort], SecondStage] = {}
"""Second stages that this process has built."""
KEPT = 4

Ask = tuple[bytes, Effort, "Order | None", "Turn", "Pool", "Tolls | None"]
"""Season, effort, order or none, draw, what known plans plant, and tolls on ordering where a floor
is asked for."""


def most_seconds(even: float) -> float:
    """Most time of a solve whose even share that is."""
    return min(SECONDS, max(LEAST_SECONDS, even))


def work(ask: Ask) -> Outcome:
    """Solve one second stage, or where no order is given a draw's floor.

    Without tolls, what is best in the draw with known plantings.
    """
    blob, effort, order, turn, pool, tolls = ask
    key = (sha256(blob).digest(), effort)
    if key not in _stages:
        while len(_stages) >= KEPT:
            del _stages[next(iter(_stages))]
        _stages[key] = SecondStage(pickle.loads(blob), *effort)
    stage = _stages[key]
    if order is not None:
        return stage.outcome(order, turn, pool)
    return stage.best_of(turn, pool) if tolls is None else stage.floor(turn, tolls, pool)


@dataclass(slots=True)
class Until:
    """The sign to stop: the user's, or the time."""

    end: float
    user: Stop | None = None

    def is_set(self) -> bool:
        """Whether to stop."""
        return monotonic() > self.end or (self.user is not None and self.user.is_set())


@dataclass(slots=True)
class OutcomeTable:
    """Outcomes known so far, by draws, order (None: at best) and number of the draw.

    Fields are offered what `pool` has on them and what is best in the draw itself, if that is known
    by then.
    """

    season: Season
    engine: Engine
    said: Said
    blob: bytes = b""
    base: float = 0.0
    """Acres that known plans have short."""
    pool: Pool = frozenset()
    most: float = SECONDS
    """Seconds, at the most, for what a draw costs at best."""
    floor_gap: float = FLOOR_GAP
    most_again: float = SECONDS
    """Seconds, at the most, in which an order's season is decided again."""
    known: dict[tuple[int, Order | None, int], Outcome] = field(default_factory=dict)
    solves: int = 0
    full: int = 0
    """Solves that were free in what fields have."""
    full_seconds: float = 0.0
    """What they took."""

    @property
    def each(self) -> float:
        """Seconds that a full solve took on average."""
        return self.full_seconds / max(1, self.full)

    def fill(
        self,
        what: str,
        asked: Sequence[tuple[Order | None, int]],
        drawn: Sequence[Turn],
        which: int,
        until: Until,
        tolls: Sequence[Tolls] | None = None,
        pools: Sequence[Pool] | None = None,
    ) -> None:
        """Solve what is asked for and not known yet, as far as time allows.

        Parameters
        ----------
        tolls
            On ordering, by draw, where what a draw costs at best is asked for.
        pools
            All that fields are offered, by draw, however many acres that leaves short; where a
            floor is asked for, what is tried first.
        """
        new = [a for a in dict.fromkeys(asked) if (which, *a) not in self.known]
        jobs = {str(n): (which, order, i) for n, (order, i) in enumerate(new)}
        sent = (
            Job(name, self._ask(key, drawn[key[2]], tolls, pools)) for name, key in jobs.items()
        )
        for n, done in enumerate(self.engine.run(sent, work, stop=until), 1):
            if done.error is not None:
                raise done.error
            self.known[jobs[done.key]] = done.value
            self.solves += 1
            if pools is None or tolls is not None:
                self.full += 1
                self.full_seconds += done.seconds
            self.said(f"{what}: {n:,} of {len(new):,}")

    def _ask(
        self,
        key: tuple[int, Order | None, int],
        turn: Turn,
        tolls: Sequence[Tolls] | None,
        pools: Sequence[Pool] | None,
    ) -> Ask:
        which, order, i = key
        if order is None and tolls is None and pools is not None:
            return self.blob, (ROUGH_GAP, 0.0, self.most_again), None, turn, pools[i], None
        if order is None:
            effort = (self.floor_gap, self.base, self.most)
            toll = NONE if tolls is None else tolls[i]
            pool = frozenset() if pools is None else pools[i]
            return self.blob, effort, None, turn, pool, toll
        if pools is not None:
            effort = (GAP, float("inf"), self.most_again)
            return self.blob, effort, order, turn, pools[i], None
        at_best = self.known.get((which, None, i))
        pool = self.pool | at_best.planted if at_best is not None else self.pool
        return self.blob, (GAP, self.base, self.most_again), order, turn, pool, None

    def of(self, which: int, order: Order | None, n: int) -> list[Outcome | None]:
        """Outcomes of an order in the first draws."""
        return [self.known.get((which, order, i)) for i in range(n)]

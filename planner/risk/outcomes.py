"""Outcomes of orders in draws: solved by the engine, each once, kept in a table."""

from __future__ import annotations

import pickle
from collections.abc import Callable
from dataclasses import dataclass, field
from hashlib import sha256
from typing import TYPE_CHECKING

from planner.engine.jobs import Job
from planner.risk.floors import NONE
from planner.risk.second_stage import SECONDS, SecondStage

if TYPE_CHECKING:
    from collections.abc import Iterable

    from planner.engine.jobs import Engine
    from planner.optimize.options import Until
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


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is to be found out of a draw."""

    kind: int
    """Of draw and of how it is found out; see `planner.risk.tried`."""
    order: Order | None
    """None: what is best when all is known."""
    i: int
    """Number of the draw."""
    turn: Turn
    pool: Pool | None = None
    """All that fields are offered, however many acres that leaves short."""
    tolls: Tolls | None = None
    """On ordering, where what the draw costs at best is to be proven; the pool is tried first."""


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

    def fill(self, what: str, wanted: Iterable[Wanted], until: Until) -> None:
        """Solve what is wanted and not known yet, as far as time allows."""
        new = {(w.kind, w.order, w.i): w for w in wanted}
        left = [w for key, w in new.items() if key not in self.known]
        jobs = {str(n): w for n, w in enumerate(left)}
        sent = (Job(name, self._ask(w)) for name, w in jobs.items())
        for n, done in enumerate(self.engine.run(sent, work, stop=until), 1):
            if done.error is not None:
                raise done.error
            w = jobs[done.key]
            self.known[w.kind, w.order, w.i] = done.value
            self.solves += 1
            if w.pool is None or w.tolls is not None:
                self.full += 1
                self.full_seconds += done.seconds
            self.said(f"{what}: {n:,} of {len(left):,}")

    def _ask(self, w: Wanted) -> Ask:
        if w.order is None and w.pool is not None and w.tolls is None:
            return self.blob, (ROUGH_GAP, 0.0, self.most_again), None, w.turn, w.pool, None
        if w.order is None:
            effort = (self.floor_gap, self.base, self.most)
            return self.blob, effort, None, w.turn, w.pool or frozenset(), w.tolls or NONE
        if w.pool is not None:
            effort = (GAP, float("inf"), self.most_again)
            return self.blob, effort, w.order, w.turn, w.pool, None
        at_best = self.known.get((w.kind, None, w.i))
        pool = self.pool | at_best.planted if at_best is not None else self.pool
        return self.blob, (GAP, self.base, self.most_again), w.order, w.turn, pool, None

    def of(self, which: int, order: Order | None, n: int) -> list[Outcome | None]:
        """Outcomes of an order in the first draws."""
        return [self.known.get((which, order, i)) for i in range(n)]

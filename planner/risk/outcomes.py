"""Outcomes of orders in draws: solved by the engine, each once, kept in a table."""

from __future__ import annotations

import pickle
from collections.abc import Callable
from dataclasses import dataclass, field
from hashlib import sha256
from time import monotonic
from typing import TYPE_CHECKING

from planner.engine.jobs import Job
from planner.errors import NoPlanError
from planner.risk.second_stage import SecondStage

if TYPE_CHECKING:
    from collections.abc import Sequence

    from planner.engine.jobs import Engine, Stop
    from planner.risk.second_stage import Order, Outcome, Pool
    from planner.risk.turned_out import Turn
    from planner.season.domain import Season

Said = Callable[[str], None]
ROUGH_GAP, FLOOR_GAP, GAP = 1e-2, 4e-3, 2e-3
"""Proven distance from the best at which a draw's own best is good enough for a candidate and for
the floor, and at which a second stage is."""
_stages: dict[tuple[bytes, Pool, float], SecondStage] = {}
"""Second stages that this process has built."""
KEPT = 4

Ask = tuple[bytes, "Pool", float, float, "Order | None", "Turn"]
"""Season, what known plans plant, their acres short, gap, order or none, draw."""


def work(ask: Ask) -> Outcome:
    """Solve one second stage, or one draw's floor where no order is given."""
    blob, pool, base, gap, order, turn = ask
    key = (sha256(blob).digest(), pool, gap)
    if key not in _stages:
        while len(_stages) >= KEPT:
            del _stages[next(iter(_stages))]
        _stages[key] = SecondStage(pickle.loads(blob), pool, gap, base)
    stage = _stages[key]
    return stage.floor(turn) if order is None else stage.outcome(order, turn)


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
    """Outcomes known so far, by draws, order (None: at best) and number of the draw."""

    season: Season
    engine: Engine
    said: Said
    blob: bytes = b""
    base: float = 0.0
    """Acres that known plans have short."""
    pool: Pool = frozenset()
    known: dict[tuple[int, Order | None, int], Outcome] = field(default_factory=dict)
    solves: int = 0

    def fill(
        self,
        what: str,
        asked: Sequence[tuple[Order | None, int]],
        drawn: Sequence[Turn],
        which: int,
        until: Until,
        floor_gap: float = FLOOR_GAP,
    ) -> None:
        """Solve what is asked for and not known yet, as far as time allows."""
        new = [a for a in dict.fromkeys(asked) if (which, *a) not in self.known]
        jobs = {str(n): ((which, order, i), order, i) for n, (order, i) in enumerate(new)}
        sent = (Job(name, self._ask(o, drawn[i], floor_gap)) for name, (_, o, i) in jobs.items())
        for n, done in enumerate(self.engine.run(sent, work, stop=until), 1):
            if done.failure:
                raise NoPlanError(done.failure)
            self.known[jobs[done.key][0]] = done.value
            self.solves += 1
            self.said(f"{what}: {n:,} of {len(new):,}")

    def _ask(self, order: Order | None, turn: Turn, floor_gap: float) -> Ask:
        if order is None:
            return self.blob, frozenset(), self.base, floor_gap, None, turn
        return self.blob, self.pool, self.base, GAP, order, turn

    def of(self, which: int, order: Order | None, n: int) -> list[Outcome | None]:
        """Outcomes of an order in the first draws."""
        return [self.known.get((which, order, i)) for i in range(n)]

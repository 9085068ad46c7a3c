"""A plan in this process alone, where one variety a field makes exact solves slow.

Annealing, the plan polished, patterns of all that annealing came by put together again, and
neighborhoods of the best plan, in turn. For programs that are solved by the hundred side by side
and need a good plan each, not a proof: HiGHS alone leaves acres short there for a long time.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from planner.optimize.annealing.anneal import AnnealingJob, anneal
from planner.optimize.annealing.decode import decoded, discounts_taken, pieces_of, planted
from planner.optimize.annealing.order_tables import order_tables
from planner.optimize.annealing.state import AnnealingState
from planner.optimize.heuristics.neighborhood import DUST, Neighborhood, shrink_or_grow
from planner.optimize.heuristics.set_partitioning import Patterns
from planner.optimize.incumbent.budgets import Budget
from planner.optimize.mip.highs import Limits, Watch, is_lower, now
from planner.optimize.options import Until
from planner.optimize.params import TUNED

if TYPE_CHECKING:
    from planner.optimize.annealing.moves import Tally
    from planner.optimize.annealing.state import Piece
    from planner.optimize.mip.highs import Floats
    from planner.optimize.model.program import Model

CYCLE = 0.5
"""Seconds of a stretch of annealing; neighborhoods take as long in all."""
ONE = 1.5
"""Most seconds of one solve of what is put together, or of a neighborhood."""
ROUGH = 2
"""Stretches of annealing from scratch, before each one from the best plan."""
FIELDS = 8
"""Fields of the first neighborhood."""
NEAR = 0.03
"""Plans that cost more than the best one by a larger share are not polished."""


def plan_alone(model: Model, seconds: float, seed: int = 0) -> Floats | None:
    """Search for a plan for so many seconds; by column, None where there is none in time.

    Acres short are few first: they should be dear in the model.
    """
    search = _Search(model, np.random.default_rng(seed), Until(now() + seconds, None))
    turn = 0
    while not search.until.is_set():
        search.anneal(search.x if turn % (ROUGH + 1) == ROUGH else None)
        search.solve_neighborhoods(turn)
        turn += 1
    return search.x


@dataclass(slots=True, eq=False)
class _Search:
    model: Model
    rng: np.random.Generator
    until: Until
    x: Floats | None = None
    cost: float = np.inf
    fields: int = FIELDS
    state: AnnealingState = field(init=False)
    near: Neighborhood = field(init=False)
    patterns: Patterns = field(init=False)

    def __post_init__(self) -> None:
        it = self.model.it
        self.state = AnnealingState(it, it.choices, order_tables(it))
        self.near, self.patterns = Neighborhood(self.model), Patterns(self.model)

    def left(self, most: float) -> float:
        """Seconds left, no more than `most`."""
        return max(0.01, min(most, self.until.end - now()))

    def offer(self, x: Floats | None) -> bool:
        """Keep a plan if it is cheaper."""
        if x is None or not is_lower(self.model.matrix.price(x), self.cost):
            return False
        self.x, self.cost = x, self.model.matrix.price(x)
        return True

    def anneal(self, best: Floats | None) -> None:
        """Anneal, polish what comes of it, and put patterns of what it came by together again.

        From the best plan, if it is given, or from scratch.
        """
        params = TUNED.annealing
        seen: list[Tally] = []
        off = {} if self.x is None else discounts_taken(self.model, self.x)
        start = None if best is None else pieces_of(self.state, self.model, best)
        phases = params.rough if best is None else params.fine
        if self._is_short:
            phases = params.fewer_short if best is None else params.fine_acres
        job = AnnealingJob(
            start,
            phases,
            Budget(self.left(CYCLE)),
            int(self.rng.integers(2**31)),
            off,
            {},
            TUNED.strategies.samples,
        )
        self._polish(self._decoded(anneal(self.state, job, self.until, seen), off))
        if self.x is None:
            return
        for tally in seen:
            self.patterns.add(planted(self.model, self.state, tally))
        limits = Limits(self.left(ONE), 1e-4)
        y = self.patterns.best(self.model.matrix, self.x, limits, Watch(self.until))
        self._polish(y if self.offer(y) else None)

    @property
    def _is_short(self) -> bool:
        """Whether the best plan leaves acres short."""
        return self.x is not None and float(self.x[self.model.at["short"]].sum()) > DUST

    def _decoded(self, pieces: list[list[Piece]], off: dict[int, float]) -> Floats | None:
        self.state.use_tables(order_tables(self.model.it, off))
        self.state.lay(pieces)
        return decoded(self.model, self.state, self.left(ONE), stop=self.until)

    def _polish(self, x: Floats | None) -> None:
        """Offer a plan, and the same with acres, bags and order solved again, shares held."""
        near = self.cost + NEAR * abs(self.cost)
        if x is None or self.model.matrix.price(x) > near:
            return
        self.offer(x)
        none, limits = np.zeros(len(self.near.acres), dtype=bool), Limits(self.left(ONE), 1e-5)
        self.offer(self.near.solve(x, none, limits, Watch(self.until))[0])

    def solve_neighborhoods(self, turn: int) -> None:
        """Solve neighborhoods of the best plan, larger ones while they take no time."""
        end = now() + CYCLE
        while self.x is not None and now() < end and not self.until.is_set():
            began, limits = now(), Limits(self.left(ONE), 2e-4, seed=turn)
            fields = self.near.fields_nearby(self.rng, self.fields)
            local = bool(self.rng.integers(2))
            y, answer = self.near.solve(self.x, fields, limits, Watch(self.until), local=local)
            self.offer(y)
            self.fields = shrink_or_grow(self.fields, answer, now() - began, len(self.near.acres))

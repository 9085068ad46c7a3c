"""Orders on fresh draws, batch by batch, and what each of these would cost at best.

In a batch it is known first what the orders compared come to, then what other orders do, from which
come its tolls (`planner.risk.tolls`), then what its draws cost at best with these.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from time import monotonic
from typing import TYPE_CHECKING

import numpy as np

from planner.optimize.options import Until
from planner.risk import candidates
from planner.risk.floors import NONE
from planner.risk.order import Order
from planner.risk.outcomes import Wanted, most_seconds
from planner.risk.tolls import balanced
from planner.risk.tried import FRESH, WEIGHED, Tried

if TYPE_CHECKING:
    from collections.abc import Sequence

    from planner.risk.floors import Tolls
    from planner.risk.second_stage import Pool
    from planner.risk.turned_out import Turn

BATCH = 4
"""Fresh draws over which tolls come to nought, at the most."""
BATCHES = 4
"""Batches that draws are divided into at the least: the gap's interval is of their means."""
UNEVEN = 2.0
"""Times its even share of the time that a fresh draw at best may take, while other batches follow:
few need it, and what they leave unproven counts in the gap."""
FIRST, WEIGHING = 0.3, 0.5
"""Shares of a batch's time for what is found out first, and for other orders."""
RIVALS = 4
"""Best of the orders tried, and of those that reach a discount level, that tolls are made for."""


@dataclass(slots=True)
class Fresh:
    """A few orders on fresh draws, batch by batch, and what these cost at best."""

    tried: Tried
    few: list[Order]
    """The best by the choosing draws first."""
    drawn: Sequence[Turn]
    tolls: list[Tolls] = field(default_factory=list)
    """By draw, as far as batches were begun."""

    @property
    def size(self) -> int:
        """Draws of a batch."""
        return max(1, min(BATCH, len(self.drawn) // BATCHES))

    @property
    def batches(self) -> list[range]:
        """Draws of every batch."""
        return [range(i, i + self.size) for i in range(0, len(self.drawn), self.size)]

    @property
    def done(self) -> list[int]:
        """Draws in which it is known what all of the few come to."""
        known = self.tried.table.known
        return [i for i in range(len(self.drawn)) if all((FRESH, o, i) in known for o in self.few)]

    @property
    def whole(self) -> list[range]:
        """Batches in which it is known as well what every draw costs at best."""
        known, done = self.tried.table.known, set(self.done)
        return [
            batch
            for batch in self.batches
            if all(i in done and (FRESH, None, i) in known for i in batch)
        ]

    def settle(self, until: Until) -> None:
        """Settle batch after batch, each in its share of the time that is left.

        As many as are likely to be done share it, by what those before took: one that is not done
        in all its draws says nothing. While the last draws of a batch are proven, the next batch is
        begun.
        """
        table, begun, batches = self.tried.table, monotonic(), self.batches
        self._share((until.end - begun) / len(batches))
        table.fill(self._said(batches[0]), self._first(batches[0]), until)
        for number, batch in enumerate(batches):
            if until.is_set():
                return
            left, now = len(batches) - number, monotonic()
            each = (now - begun) / number if number else 0.0
            likely = max(1, round((until.end - now) / each)) if each > 0.0 else left
            seconds = max(0.0, until.end - now) / min(left, likely)
            self._share(seconds)
            self._weigh(batch, Until(now + WEIGHING * seconds, until.user))
            even = max(0.0, now + seconds - monotonic()) * table.engine.workers / self.size
            table.most = most_seconds(even if min(left, likely) == 1 else UNEVEN * even)
            at_best = [
                Wanted(FRESH, None, i, self.drawn[i], self._planted(i), self.tolls[i])
                for i in batch
            ]
            after = self._first(batches[number + 1]) if left > 1 else []
            table.fill(self._said(batch), [*at_best, *after], until)

    def _share(self, seconds: float) -> None:
        """Share out a batch's time among what is decided again in it."""
        table = self.tried.table
        solves = self.size * (len(self.few) + 1)
        table.most_again = most_seconds(FIRST * seconds * table.engine.workers / solves)

    def _said(self, batch: range) -> str:
        return f"fresh draws, {batch.start} of {len(self.drawn)} settled"

    def _first(self, batch: range) -> list[Wanted]:
        """What is found out of a batch first: the few orders, and roughly what would be best."""
        few = [Wanted(FRESH, o, i, self.drawn[i]) for i in batch for o in self.few]
        if len(batch) == 1:
            return few
        pool = self.tried.table.pool
        return [*few, *(Wanted(WEIGHED, None, i, self.drawn[i], pool) for i in batch)]

    def _weigh(self, batch: range, until: Until) -> None:
        """Find tolls for a batch from what orders near the best come to in it."""
        table, orders = self.tried.table, []
        if len(batch) > 1 and all((FRESH, self.few[0], i) in table.known for i in batch):
            orders = self._rivals(batch)
            pools = {i: self._planted(i) for i in batch}
            wanted = [Wanted(WEIGHED, o, i, self.drawn[i], pools[i]) for o in orders for i in batch]
            table.fill(self._said(batch), wanted, until)
        costs = {
            o: [x.value for i in batch if (x := table.known.get((WEIGHED, o, i)))] for o in orders
        }
        weighed = [o for o in orders if len(costs[o]) == len(batch)]
        if weighed:
            values = np.array([costs[o] for o in weighed]).T
            self.tolls += balanced(table.season, weighed, values)
        else:
            self.tolls += [NONE] * len(batch)

    def _planted(self, i: int) -> Pool:
        """What fields have in a draw under the best order and when all is known before."""
        known = self.tried.table.known
        found = known.get((FRESH, self.few[0], i)), known.get((WEIGHED, None, i))
        return frozenset().union(*(o.planted for o in found if o is not None))

    def _rivals(self, batch: range) -> list[Order]:
        """Orders weighed for tolls, the best first.

        What draws of this batch and some before would have ordered at best, in whole and in part;
        other good orders; and those near the best in what cannot be waited with.
        """
        tried, best, season = self.tried, self.few[0], self.tried.table.season
        known = tried.table.known
        now = [known.get((WEIGHED, None, i)) for i in batch]
        before = [known.get((FRESH, None, i)) for i in range(batch.start)][-len(batch) :]
        of_batch = [o.order for o in now if o is not None and o.planted]
        others = [
            *of_batch,
            *candidates.around(season, best),
            *(Order(best.containers, o.seed) for o in of_batch),
            *tried.ranked()[:RIVALS],
            *candidates.for_levels(season, best)[:RIVALS],
            *(o.order for o in before if o is not None and o.planted),
            *(Order(o.containers, best.seed) for o in of_batch),
        ]
        others = [o for o in dict.fromkeys(others) if o != best]
        return [best, *(o for o in others if candidates.possible(season, o))]

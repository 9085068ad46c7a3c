"""Orders tried on choosing draws: a few of these first, the best of the orders on all of them."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from planner.risk import candidates
from planner.risk.order import Order
from planner.risk.outcomes import Wanted

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from planner.optimize.options import Until
    from planner.plan.plan import Plan
    from planner.risk.chances import AsPlanned
    from planner.risk.outcomes import OutcomeTable
    from planner.risk.second_stage import Outcome, Pool
    from planner.risk.turned_out import Turn

CHOOSING = 32
"""Draws that orders are chosen by; a power of two."""
PARTS = 4
"""Parts of these that are settled one after the other: where time runs out, fewer draws choose."""
COMMON = 8
"""The first of these: their own best orders become candidates."""
DEAR = 4
"""One choosing draw of so many is among the dearest, which are looked at more closely."""
LOOKED = (2, 4)
"""Of the dearest draws one of so many is looked at first, and of the others."""
KEPT = 4
"""Orders that are tried on all choosing draws after a first look."""
ROUNDS = 6
"""Times that the neighbors of the best order so far are looked at."""
COMMONLY, FRESH, SETTLED, WEIGHED = range(4)
"""Kinds of what is known: of choosing draws and of fresh ones in full, and of both with fields
offered only what they have under known orders in the same draw."""


@dataclass(slots=True)
class Tried:
    """Orders tried, in the order in which they came up."""

    table: OutcomeTable
    own: Order
    drawn: Sequence[Turn]
    """Choosing draws."""
    orders: dict[Order, None] = field(default_factory=dict)
    """Those tried, the plan's own first."""
    settled: list[Order] = field(default_factory=list)
    """Those whose plantings others are tried with."""
    left_out: list[str] = field(default_factory=list)

    def settle(self, guess: Order | None, until: Until) -> None:
        """Find out what is planted under the plan's order, and under a guess, draw by draw."""
        self.orders = {self.own: None, **self.orders}
        self.settled = list(dict.fromkeys([self.own, guess or self.own]))
        size = max(1, len(self.drawn) // PARTS)
        for first in range(0, len(self.drawn), size):
            part = range(first, min(first + size, len(self.drawn)))
            wanted = [
                Wanted(COMMONLY, order, i, self.drawn[i]) for i in part for order in self.settled
            ]
            self.table.fill("two orders to go by", wanted, until)
            mine = [i for i in part if (COMMONLY, self.own, i) in self.table.known]
            self._fill("the plan's order", [self.own], mine, until)

    def pools(self) -> list[Pool]:
        """What fields are offered in each draw: what they have under settled orders or at best.

        Much quicker than all, and what orders come to is never too low.
        """
        known = [self.table.of(COMMONLY, o, len(self.drawn)) for o in (None, *self.settled)]
        return [frozenset().union(*(o.planted for o in x if o)) for x in zip(*known, strict=True)]

    def look(self, what: str, orders: Iterable[Order], until: Until) -> None:
        """Try orders that are new and can be placed: on a few draws, the best of them on all."""
        season = self.table.season
        new = [o for o in dict.fromkeys(orders) if o not in self.orders]
        new = [o for o in new if candidates.possible(season, o)]
        self.orders |= dict.fromkeys(new)
        dear, rest = self._first_draws()
        self._fill(what, new, [*dear, *rest], until)
        first = {o: self._mean_of_first(o, dear, rest) for o in new}
        kept = sorted(new, key=lambda o: first[o])[:KEPT]
        self._fill(f"{what}, the best few", kept, self._known(), until)

    def first_few(self, what: str, orders: Iterable[Order], until: Until) -> None:
        """Find out what orders come to in the common draws."""
        self._fill(what, list(orders), range(COMMON), until)

    def _fill(self, what: str, orders: Sequence[Order], draws: Sequence[int], until: Until) -> None:
        pools = self.pools()
        wanted = [
            Wanted(SETTLED, order, i, self.drawn[i], pools[i]) for order in orders for i in draws
        ]
        self.table.fill(what, wanted, until)

    def _known(self) -> list[int]:
        """Draws in which it is known what the plan's order comes to."""
        return [i for i, o in enumerate(self._of(self.own)) if o is not None]

    def _first_draws(self) -> tuple[list[int], list[int]]:
        """Draws for a first look: some of the dearest for the plan's order, and some others."""
        values = {i: o.value for i, o in enumerate(self._of(self.own)) if o is not None}
        by_value = sorted(values, key=lambda i: -values[i])
        cut = len(by_value) // DEAR
        return by_value[:cut][:: LOOKED[0]], by_value[cut:][:: LOOKED[1]]

    def _mean_of_first(self, order: Order, dear: Sequence[int], rest: Sequence[int]) -> float:
        """Mean value more than the plan's order's by a first look, draws weighted as they are."""
        found = self.against_own(order)
        if not all(i in found for i in (*dear, *rest)):
            return np.inf
        parts = [(1.0 / DEAR, dear), (1.0 - 1.0 / DEAR, rest)]
        return sum(share * float(np.mean([found[i] for i in x])) for share, x in parts if x)

    def _of(self, order: Order) -> list[Outcome | None]:
        return self.table.of(SETTLED, order, len(self.drawn))

    def against_own(self, order: Order) -> dict[int, float]:
        """Value more than the plan's order's in each choosing draw known of both."""
        pairs = zip(self._of(order), self._of(self.own), strict=True)
        return {i: a.value - b.value for i, (a, b) in enumerate(pairs) if a and b}

    def ranked(self) -> list[Order]:
        """Orders by their mean value over all choosing draws; the plan's own where none is known.

        Those known of fewer draws than the plan's order are left out.
        """
        most = len(self._known())
        if not most:
            return [self.own]
        known = {o: list(self.against_own(o).values()) for o in self.orders}
        enough = [o for o, x in known.items() if len(x) == most]
        return sorted(enough, key=lambda o: float(np.mean(known[o])))

    def outcomes(self, order: Order) -> list[Outcome]:
        """What became of an order in choosing draws."""
        return [o for o in self._of(order) if o is not None]


def train(tried: Tried, plan: Plan, held: AsPlanned, until: Until) -> list[Order]:
    """Make candidates: one made of what draws need, those best in some draws, some with reserve.

    Finds out first what the common draws cost at best.
    """
    table, season = tried.table, tried.table.season
    wanted = [Wanted(COMMONLY, None, i, tried.drawn[i]) for i in range(COMMON)]
    table.fill("best orders of draws", wanted, until)
    found = [o for o in table.of(COMMONLY, None, COMMON) if o is not None and o.planted]
    if len(found) < COMMON:
        tried.left_out.append(f"best orders of {len(found)} of {COMMON} draws were candidates")
    table.pool = table.pool.union(*(o.planted for o in found))
    at_best = [o.order for o in found]
    orders = [candidates.by_product(season, [tried.own, *at_best], found)] if found else []
    orders += [*at_best, *candidates.with_reserve(season, plan, held)]
    orders += candidates.with_seed_of(tried.own, orders)
    orders += [Order(o.containers, tried.own.seed) for o in at_best]
    return [o for o in dict.fromkeys(orders) if candidates.possible(season, o)]


def improve(tried: Tried, until: Until) -> None:
    """Go on from the best order to others near it while that helps."""
    season = tried.table.season
    for _ in range(ROUNDS):
        best = tried.ranked()[0]
        outcomes = tried.outcomes(best)
        if until.is_set() or not outcomes:
            return
        near = [
            *steps_from(tried, best).values(),
            *candidates.for_levels(season, best),
            candidates.by_product(season, list(tried.orders), outcomes),
            *candidates.with_seed_of(best, tried.orders),
        ]
        tried.look("near the best order", near, until)
        if tried.ranked()[0] == best:
            return


def steps_from(tried: Tried, best: Order) -> dict[str, Order]:
    """Orders with one container or bag more or less, where draws ask for it."""
    return candidates.neighbors(tried.table.season, best, tried.outcomes(best))

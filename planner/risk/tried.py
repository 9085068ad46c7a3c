"""Orders tried on common draws: in full, or planted as the best order so far is in each of them."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from planner.risk import candidates
from planner.risk.second_stage import Order

if TYPE_CHECKING:
    from collections.abc import Sequence

    from planner.plan.plan import Plan
    from planner.risk.chances import AsPlanned
    from planner.risk.outcomes import OutcomeTable, Until
    from planner.risk.turned_out import Turn

COMMON = 8
"""Draws whose own best orders become candidates, and that candidates are compared on."""
SCREENED = 4
"""Of these, the first that every candidate is compared on; the best few go on to all."""
FEW = 2
"""Orders that are compared on fresh draws, beside the plan's."""
ROUNDS = 6
"""Times that the neighbors of the best order so far are looked at."""
COMMONLY, FRESH, NEAR = range(3)
"""Kinds of draws; from NEAR on the common ones, planted as the best order so far is in them, a kind
for every round."""
SETTLED = 1000
"""The kind of draws of the last look at neighbors."""


@dataclass(slots=True)
class Tried:
    """Orders tried, in the order in which they came up."""

    table: OutcomeTable
    own: Order
    orders: dict[Order, None]
    left_out: list[str] = field(default_factory=list)

    def compare(
        self, what: str, orders: Sequence[Order], drawn: Sequence[Turn], until: Until
    ) -> None:
        """Find out what orders, and the plan's, come to on common draws, draw by draw."""
        asked = [(order, i) for i in range(len(drawn)) for order in (self.own, *orders)]
        self.table.fill(what, asked, drawn, COMMONLY, until)

    def race(self, orders: Sequence[Order], drawn: Sequence[Turn], until: Until) -> None:
        """Compare orders on the first common draws, and the best few of all on the rest."""
        self.compare("orders compared", orders, drawn[:SCREENED], until)
        few = self.ranked(SCREENED)[: FEW + 1]
        self.compare("orders compared, the best few", few, drawn, until)

    def take_best_of_draws(self) -> None:
        """Take up orders that are best in some draws, to be tried with what is planted anyway."""
        for o in self.table.of(COMMONLY, None, COMMON):
            if o is not None and o.planted:
                self.take(o.order)

    def near(
        self,
        what: str,
        best: Order,
        orders: Sequence[Order],
        drawn: Sequence[Turn],
        kind: int,
        until: Until,
    ) -> None:
        """Find out what orders come to in common draws if fields have what the best's have there.

        Much quicker than `compare`, and never too low.
        """
        pools = [o.planted if o else frozenset() for o in self.table.of(COMMONLY, best, COMMON)]
        known = [i for i, pool in enumerate(pools) if pool]
        asked = [(order, i) for i in known for order in orders]
        self.table.fill(what, asked, drawn, kind, until, pools=pools)

    def more_than(self, best: Order, order: Order, kind: int) -> float:
        """Mean value more than the best order's in common draws, planted alike."""
        pairs = zip(
            self.table.of(kind, order, COMMON), self.table.of(COMMONLY, best, COMMON), strict=True
        )
        found = [a.value - b.value for a, b in pairs if a and b]
        return float(np.mean(found)) if found else np.inf

    def take(self, order: Order) -> None:
        """Take up an order, if it can be placed and is not known yet."""
        if candidates.possible(self.table.season, order):
            self.orders.setdefault(order)

    def against_own(self, order: Order, first: int = COMMON) -> list[float]:
        """Value more than the plan's order in each of the first common draws known of both."""
        pairs = zip(
            self.table.of(COMMONLY, order, first),
            self.table.of(COMMONLY, self.own, first),
            strict=True,
        )
        return [a.value - b.value for a, b in pairs if a and b]

    def ranked(self, first: int = COMMON) -> list[Order]:
        """Orders by their mean value over the first common draws.

        Those known of fewer draws come after the others, and those of too few to tell not at all.
        """
        known = {o: self.against_own(o, first) for o in self.orders}
        most = max(len(x) for x in known.values())
        if not most:
            return [self.own]
        enough = [o for o, x in known.items() if 2 * len(x) >= most]
        return sorted(enough, key=lambda o: (len(known[o]) < most, float(np.mean(known[o]))))


def train(tried: Tried, plan: Plan, held: AsPlanned, drawn: Sequence[Turn], until: Until) -> None:
    """Take up orders with reserve, those that are best in some draws, and one made of these."""
    table, n = tried.table, len(drawn)
    table.fill("best orders of draws", [(None, i) for i in range(n)], drawn, COMMONLY, until)
    found = [o for o in table.of(COMMONLY, None, n) if o is not None and o.planted]
    if len(found) < n:
        tried.left_out.append(f"best orders of {len(found)} draws of {n} were candidates")
    table.pool = table.pool.union(*(o.planted for o in found))
    for order in candidates.with_reserve(table.season, plan, held):
        tried.take(order)
    at_best = [o for o in found if candidates.possible(table.season, o.order)]
    if found:
        known = [tried.own, *(o.order for o in at_best)]
        tried.take(candidates.by_product(table.season, known, found))
        for order in candidates.with_seed_of(tried.own, list(tried.orders)):
            tried.take(order)


def improve(tried: Tried, common: Sequence[Turn], until: Until) -> None:
    """Go on from the best order to others near it while that helps."""
    for number in range(ROUNDS):
        best = tried.ranked()[0]
        outcomes = [o for o in tried.table.of(COMMONLY, best, COMMON) if o is not None]
        if until.is_set() or not outcomes:
            return
        season, orders = tried.table.season, list(tried.orders)
        again = candidates.by_product(season, orders, outcomes)
        waiting = [o for o in orders if not any(tried.table.of(COMMONLY, o, COMMON))]
        near = [
            *steps_from(tried, best).values(),
            *candidates.for_levels(season, best),
            Order(again.containers, best.seed),
            *candidates.with_seed_of(best, orders),
        ]
        fresh = [o for o in near if o not in tried.orders and candidates.possible(season, o)]
        fresh = list(dict.fromkeys([*waiting, *fresh]))
        kind = NEAR + number
        tried.near("near the best order", best, fresh, common, kind, until)
        few = sorted(fresh, key=lambda o: tried.more_than(best, o, kind))[:FEW]
        for order in few:
            tried.take(order)
        tried.compare("the best of these", few, common, until)
        if tried.ranked()[0] == best:
            return


def steps_from(tried: Tried, best: Order) -> dict[str, Order]:
    """Orders with one container or bag more or less, where draws ask for it."""
    outcomes = [o for o in tried.table.of(COMMONLY, best, COMMON) if o is not None]
    return candidates.neighbors(tried.table.season, best, outcomes)

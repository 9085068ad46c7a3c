"""Tolls that leave draws little to gain by knowing themselves: Lagrange multipliers of one order.

That the same is ordered in every draw of a batch is relaxed and priced (dual decomposition: C. C.
Carøe and R. Schultz, Operations Research Letters 24, 1999, from memory). Within a batch tolls come
to nought, so no order is charged on average, and the mean floor stays below the least mean cost of
any order in that batch. Which tolls bring it nearest is a linear program over orders whose cost is
known in each draw; of the best it takes those that leave other orders dearest, as some that are not
known will be tried.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from planner.plan import price
from planner.plan.offers import lowest_price_per_floz
from planner.risk.floors import Tolls

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from planner.risk.order import Order
    from planner.season.domain import Container, Season

    Floats = npt.NDArray[np.float64]

MOST_APART = 60.0
"""Money by which other orders are kept dearer in a draw, at the most."""
APART, LITTLE = 0.05, 1e-4
"""What a dollar of that counts, and what a dollar of toll does, where one of the floor counts 1."""


class _Amounts:
    """What orders hold: containers of a product as so many of its smallest, and bags of lots."""

    def __init__(self, season: Season) -> None:
        self.season = season
        self.small: dict[str, float] = {}
        for c in season.containers:
            if c.usable > 0.0:
                self.small[c.product] = min(c.usable, self.small.get(c.product, c.usable))
        self.lots = [x.name for x in season.lots if x.can_buy > 0.0]

    def of(self, order: Order) -> Floats:
        """Amounts of an order, shape (products + lots,)."""
        bags, found = dict(order.seed), dict.fromkeys(self.small, 0.0)
        for product, name, n in order.containers:
            if product in found:
                usable = self.season.container_named[product, name].usable
                found[product] += n * usable / self.small[product]
        return np.array([*found.values(), *(float(bags.get(x, 0)) for x in self.lots)])

    def most(self) -> tuple[Floats, Floats]:
        """Tolls at the least and at the most, by amount.

        They take no more off a container than it loses where it is not needed, so ordering some to
        send back never pays by tolls alone, which a draw at best counts on
        (`planner.risk.floors`); and put no more on than waiting for the late price costs.
        """
        low, high = [], []
        for product, floz in self.small.items():
            kinds = [c for c in self.season.containers if c.product == product and c.usable > 0.0]
            low.append(-floz * min(self._lost(c) / c.usable for c in kinds))
            late = [c.late_price / c.usable for c in kinds if c.late_price is not None]
            early = min(c.breaks[-1].price / c.usable for c in kinds)
            high.append(max(0.0, floz * (min(late) - early)) if late else np.inf)
        for name in self.lots:
            lot = self.season.lot_named[name]
            more = np.inf if lot.late_price is None else lot.late_price - lot.buy_price
            low.append(-np.inf)
            high.append(max(0.0, more * lot.units_per_bag))
        return np.array(low), np.array(high)

    def _lost(self, c: Container) -> float:
        """Money that a container too many costs at the least, what it brings back taken off."""
        least = price.lowest_net_price(self.season, c)
        kept = self.season.product_named[c.product].carryover
        credit = kept * lowest_price_per_floz(self.season, c.product) * c.usable
        return max(0.0, least - max(c.returned_for * least, credit))

    def tolls(self, each: Floats) -> Tolls:
        """Tolls by amount as tolls by fl oz and by bag."""
        values, n = each.tolist(), len(self.small)
        pairs = zip(self.small.items(), values[:n], strict=True)
        products = {product: toll / floz for (product, floz), toll in pairs}
        return Tolls(products, dict(zip(self.lots, values[n:], strict=True)))


def balanced(season: Season, orders: Sequence[Order], costs: Floats) -> list[Tolls]:
    """Find tolls for a batch of draws, one for each, which come to nought over the batch.

    Parameters
    ----------
    costs
        What orders come to, shape (draws, orders). The cheapest on average is to be the cheapest in
        every draw, tolls and all.
    """
    from scipy.optimize import linprog
    from scipy.sparse import coo_array, eye_array, hstack, kron

    amounts = _Amounts(season)
    held = np.array([amounts.of(o) for o in orders])
    n, k = costs.shape
    best = int(costs.mean(axis=0).argmin())
    more = held - held[best]
    m = more.shape[1]
    if n < 2 or not m:
        return [Tolls()] * n
    # by draw: its floor, by how much others are dearer, tolls upward, tolls downward
    own, other = eye_array(n), coo_array((np.arange(k) != best).astype(float)[:, None])
    on_more = kron(own, coo_array(more))
    within = hstack([kron(own, np.ones((k, 1))), kron(own, other), -on_more, on_more])
    nothing = coo_array((m, 2 * n))
    all_draws = kron(np.ones((1, n)), eye_array(m))
    low, high = amounts.most()
    upward, downward = [(0.0, x) for x in high], [(0.0, -x) for x in low]
    found = linprog(
        np.concatenate([-np.ones(n), np.full(n, -APART), np.full(2 * n * m, LITTLE)]),
        within.tocsr(),
        costs.ravel(),
        hstack([nothing, all_draws, -all_draws]).tocsr(),
        np.zeros(m),
        bounds=[(None, None)] * n + [(0.0, MOST_APART)] * n + n * upward + n * downward,
        method="highs",
    )
    if found.x is None:
        return [Tolls()] * n
    up, down = found.x[2 * n :].reshape(2, n, m)
    each = up - down
    each -= each.mean(axis=0)
    return [amounts.tolls(x) for x in each]

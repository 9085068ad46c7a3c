"""What a need for a product costs at best, as a table that can be looked up in a moment.

The tables take each product alone: price breaks exactly, discounts as a share taken off. The exact
order, with freight and discount levels shared between products, is the model's to find.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from planner.optimize.model.variables import most_containers

if TYPE_CHECKING:
    from planner.optimize.mip.highs import Floats
    from planner.optimize.model.instance import Instance

MOST_POINTS = 4000
"""Steps kept in a table; finer ones are thinned, always towards the dearer side."""
DEAR = 20.0
"""Times the straight-line price that a fl oz costs which the search is to do without."""
BEYOND = 1e12
"""Cost of a need that no order can meet."""


@dataclass(frozen=True, slots=True, eq=False)
class OrderTable:
    """Steps of one product: a need up to `reach[i]` fl oz costs `cost[i]`, credit apart.

    Both rise; the last step reaches any need, at `BEYOND`.
    """

    reach: Floats
    cost: Floats
    credit: float
    """Money a fl oz left over is worth."""
    linear: float
    """Price of a fl oz of need if containers could be cut."""

    def up_to(self, most: float) -> OrderTable:
        """The table with every fl oz of need beyond `most` made dear."""
        beyond = np.maximum(0.0, self.reach[:-1] - most)
        cost = self.cost.copy()
        cost[:-1] += DEAR * max(self.linear, 1e-3) * beyond
        return replace(self, cost=cost)


def _thinned(reach: Floats, cost: Floats) -> tuple[Floats, Floats]:
    """Cheapest ways only: cost rises strictly with reach."""
    order = np.lexsort((-reach, cost))
    reach, cost = reach[order], cost[order]
    best = np.maximum.accumulate(reach)
    keep = np.concatenate([[True], best[1:] > best[:-1] + 1e-9])
    reach, cost = reach[keep], cost[keep]
    if len(reach) > MOST_POINTS:
        at = np.unique(np.linspace(0, len(reach) - 1, MOST_POINTS).astype(int))
        reach, cost = reach[at], cost[at]
    return reach, cost


def _ways(
    it: Instance, container: int, top: int, off: float, limit: float, credit: float
) -> tuple[Floats, Floats]:
    """Volume and cost, less the credit for all of it, of every count that can be ordered."""
    c = it.containers[container]
    most = min(top, int(np.ceil(limit / c.usable)) + 1 if c.usable > 0 else 0)
    number = np.arange(0.0, most + 1.0)
    price = np.full(len(number), np.inf)
    for b in c.breaks:
        price[number >= b.from_count] = b.price
    price[0] = 0.0
    can = np.isfinite(price)
    volume = number[can] * c.usable
    return volume, number[can] * price[can] * (1.0 - off) - credit * volume


def order_tables(it: Instance, off: dict[int, float] | None = None) -> list[OrderTable]:
    """One table per product. `off` is the share that discounts take off, by container."""
    needs, tops = it.most_need, most_containers(it)
    tables = []
    for p, product in enumerate(it.products):
        limit = max(0.0, float(needs[p] - it.supply[p]))
        reach, cost = np.zeros(1), np.zeros(1)
        unit = []
        for i, c in enumerate(it.containers):
            if c.product != product.name or c.size <= c.heel:
                continue
            share = (off or {}).get(i, 0.0)
            more, dear = _ways(it, i, tops[i], share, limit, float(it.credit[p]))
            both = np.minimum((reach[:, None] + more[None, :]).ravel(), limit + c.size)
            reach, cost = _thinned(both, (cost[:, None] + dear[None, :]).ravel())
            unit.append(min(b.price for b in c.breaks) * (1.0 - share) / c.usable)
        tables.append(_table(reach, cost, float(it.supply[p]), float(it.credit[p]), unit))
    return tables


def _table(
    reach: Floats, cost: Floats, supply: float, credit: float, unit: list[float]
) -> OrderTable:
    """Lay stock under the ways to order, and make the cost of a need its cheapest way or dearer."""
    value = cost - credit * supply
    value = np.minimum.accumulate(value[::-1])[::-1]
    return OrderTable(
        reach=np.append(reach + supply, np.inf),
        cost=np.append(value, BEYOND),
        credit=credit,
        linear=min(unit, default=0.0),
    )

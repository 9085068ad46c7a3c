"""What a draw would cost at best, had all been known before ordering: a floor for every order.

Early and late purchases are decided together with planting and treating, by the exact model; where
a field has one variety and many choices of it, a bound comes from patterns
(`planner.optimize.bounds.alone`). The mean of such floors holds what knowing would be worth, so it
stays below the cost of any order that can be placed. Tolls close most of that distance: what is
ordered early counts as dearer in some draws and cheaper in others, by amounts that come to nought
over a batch of draws. An order then costs on average what it did, but a draw gains little by
knowing itself (`planner.risk.tolls`).
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from math import ceil
from typing import TYPE_CHECKING

import numpy as np

from planner.optimize.model.variables import qualifying

if TYPE_CHECKING:
    from planner.optimize.mip.highs import Floats, Matrix
    from planner.optimize.model.program import Model
    from planner.risk.order import Order
    from planner.season.domain import Container, Season


@dataclass(frozen=True, slots=True)
class Tolls:
    """Money that what is ordered early counts as dearer in a draw; negative: cheaper."""

    products: dict[str, float] = field(default_factory=dict)
    """Of every fl oz that a container gives, by product."""
    lots: dict[str, float] = field(default_factory=dict)
    """Of every bag, by lot."""

    def of(self, c: Container) -> float:
        """Toll on a container."""
        return c.usable * self.products.get(c.product, 0.0)

    def on(self, season: Season, order: Order) -> float:
        """Tolls on an order, money."""
        of_containers = (n * self.of(season.container_named[p, c]) for p, c, n in order.containers)
        return sum(of_containers) + sum(n * self.lots.get(lot, 0.0) for lot, n in order.seed)


NONE = Tolls()


def at_best(model: Model, planned: Season, tolls: Tolls = NONE) -> Model:
    """Program of a draw in which all is bought when that is best.

    Parameters
    ----------
    model
        Of the season as it turned out. Its containers and bags bought are those ordered early.
    planned
        The season before: its containers and lots as they are sold.

    Notes
    -----
    After the model's own columns come bags bought late; then, as the group `LATE`, containers
    bought late, at their late price, without freight or discount, and containers that go back.
    """
    cost = model.matrix.cost.copy()
    cost[model.at["count"]] += [tolls.of(model.it.containers[i]) for i, _ in model.keys["count"]]
    names = [model.it.lots[j].name for j in model.keys["bought"]]
    cost[model.at["bought"]] += [tolls.lots.get(name, 0.0) for name in names]
    seed = replace(model, matrix=_with_late_seed(model, planned, cost))
    late = replace(seed, matrix=_with_late(seed, planned))
    return model.with_late(_with_free_returns(late, planned), seed.matrix.n_columns)


def cover_rows(model: Model) -> dict[str, tuple[int, float]]:
    """Row in which a product's supply covers its need, and the fl oz that it counts in."""
    rows = model.rows["supply_covers_need"]
    return {
        p.name: (row, lump)
        for p, row, lump in zip(model.it.products, rows, model.it.lump.tolist(), strict=True)
    }


def _money_row(model: Model) -> int | None:
    """Row of the most to spend; None where money is not limited."""
    return next(iter(model.rows["money_spent_is_within_the_most"]), None)


def _some_rows(model: Model) -> dict[str, set[int]]:
    """Rows that ask for some container of a product, which one bought late is as well."""
    rows = set(model.rows["what_is_not_on_hand_is_bought"])
    found: dict[str, set[int]] = {}
    for (i, _), column in zip(model.keys["count"], model.at["count"].tolist(), strict=True):
        mine = rows.intersection(_entries(model.matrix, column))
        found.setdefault(model.it.containers[i].product, set()).update(mine)
    return found


def _with_late_seed(model: Model, planned: Season, cost: Floats) -> Matrix:
    """Program with `cost` in which bags are bought late as well, no more than there are in all."""
    matrix, money, lots = model.matrix, _money_row(model), planned.lot_named
    pairs: list[tuple[int, int]] = []
    prices, most, entries = [], [], []
    for j, column in zip(model.keys["bought"], model.at["bought"].tolist(), strict=True):
        lot = lots[model.it.lots[j].name]
        if lot.late_price is None:
            continue
        more = lot.units_per_bag * (lot.late_price - lot.buy_price)
        mine = _entries(matrix, column)
        if money is not None:
            mine[money] = mine.get(money, 0.0) + more
        pairs.append((column, matrix.n_columns + len(pairs)))
        prices.append(float(matrix.cost[column]) + more)
        most.append(float(matrix.upper[column]))
        entries.append(mine)
    wider = replace(matrix, cost=cost).with_whole_columns(np.array(prices), np.array(most), entries)
    rows = np.repeat(np.arange(len(pairs)), 2)
    both = (rows, np.array(pairs, dtype=np.int64).ravel(), np.ones(2 * len(pairs)))
    return wider.with_rows(both, np.full(len(pairs), -np.inf), np.array(most))


def _entries(matrix: Matrix, column: int) -> dict[int, float]:
    """Entries of a column by row."""
    here = slice(int(matrix.start[column]), int(matrix.start[column + 1]))
    return dict(zip(matrix.row[here].tolist(), matrix.value[here].tolist(), strict=True))


def _with_late(model: Model, planned: Season) -> Matrix:
    sold = [c for c in planned.containers if c.late_price is not None and c.usable > 0.0]
    covers, some, money = cover_rows(model), _some_rows(model), _money_row(model)
    need = dict(zip((p.name for p in model.it.products), model.it.most_need, strict=True))
    supply = dict(zip((p.name for p in model.it.products), model.it.supply, strict=True))
    prices, most, entries = [], [], []
    for c in sold:
        row, lump = covers[c.product]
        price, floz = c.late_price or 0.0, c.usable
        top = ceil(max(0.0, need[c.product] - supply[c.product]) / floz)
        prices.append(price)
        most.append(float(top if c.most is None else min(top, c.most)))
        entry = {row: floz / lump} | dict.fromkeys(some.get(c.product, ()), 1.0)
        entries.append(entry | ({money: price} if money is not None else {}))
    return model.matrix.with_whole_columns(np.array(prices), np.array(most), entries)


def _pays_to_return(c: Container, season: Season, free: set[str]) -> bool:
    """Whether ordering more than is needed, for a From count or a discount, could pay."""
    helps = c.breaks[-1].from_count > 1 or bool(season.discounts) or c.supplier in free
    return c.returned_for > 0.0 and helps


def _with_free_returns(model: Model, season: Season) -> Matrix:
    """Program in which what is ordered may go back, where ordering more than is needed could pay.

    It goes back at the price of its break, less the discounts that count. What was paid for it is
    spent all the same, so the most to spend knows of the whole discount.
    """
    free = {s.name for s in season.suppliers if s.free_from is not None}
    sold = model.it.containers
    pays = [
        (i, j, column)
        for (i, j), column in zip(model.keys["count"], model.at["count"].tolist(), strict=True)
        if _pays_to_return(sold[i], season, free)
    ]
    most = [float(model.matrix.upper[column]) for _, _, column in pays]
    money = [sold[i].returned_for * sold[i].breaks[j].price for i, j, _ in pays]
    covers, limit = cover_rows(model), _money_row(model)
    entries = [
        {covers[sold[i].product][0]: -sold[i].usable / covers[sold[i].product][1]}
        | _less_discount(model, i, j, limit)
        for i, j, _ in pays
    ]
    matrix = model.matrix.with_whole_columns(-np.array(money), np.array(most), entries)
    first = model.matrix.n_columns
    within = [(k, first + k, 1.0) for k in range(len(pays))]
    within += [(k, column, -1.0) for k, (_, _, column) in enumerate(pays)]
    rows, cols, value = zip(*within, strict=True) if within else ((), (), ())
    return matrix.with_rows(
        (np.array(rows, dtype=np.int64), np.array(cols, dtype=np.int64), np.array(value)),
        np.full(len(pays), -np.inf),
        np.zeros(len(pays)),
    )


def _less_discount(model: Model, i: int, j: int, limit: int | None) -> dict[int, float]:
    """Entries of container `i` at its break `j` that goes back, in rows about discounts.

    A discount is at most its percentage of what is spent, and what comes back is not spent; in the
    row of the most to spend (`limit`), where the discount stands too, only the discount shrinks.
    """
    matrix, it, c = model.matrix, model.it, model.it.containers[i]
    discounts = model.at["discount"].tolist()
    rows = {row for column in discounts for row in _entries(matrix, column)} - {limit}
    mine = _entries(matrix, model.column("count", (i, j)))
    found = {row: -value * c.returned_for for row, value in mine.items() if row in rows}
    off = sum(it.discounts[d].percent for d in model.keys["discount"] if i in qualifying(it, d))
    if limit is not None and off:
        found[limit] = -off * c.returned_for * c.breaks[j].price
    return found

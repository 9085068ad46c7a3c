"""What a draw would cost at best, had all been known before ordering: a floor for every order.

Early and late purchases are decided together with planting and treating, by the exact model. The
mean of such floors holds what knowing would be worth, so it stays below the cost of any order that
can be placed. Tolls close part of that distance: what is ordered early counts as cheaper in draws
that have plenty of it and dearer in those that run short, by amounts whose mean over all draws is
nought. An order then costs on average what it did, but a draw gains little by knowing itself
(information relaxation with a penalty: D. B. Brown, J. E. Smith and P. Sun, "Information
relaxations and duality in stochastic dynamic programs", Operations Research 58, 2010, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from math import ceil
from typing import TYPE_CHECKING

import numpy as np

from planner.optimize.model.instance import most_need
from planner.optimize.model.variables import qualifying

if TYPE_CHECKING:
    from planner.optimize.mip.highs import Matrix
    from planner.optimize.model.program import Model
    from planner.risk.second_stage import Order
    from planner.season.domain import Container, Season


@dataclass(frozen=True, slots=True)
class Tolls:
    """Money that containers ordered early count as dearer in a draw; negative: cheaper."""

    products: dict[str, float] = field(default_factory=dict)
    """Of every fl oz that a container gives, by product."""

    def of(self, c: Container) -> float:
        """Toll on a container."""
        return c.usable * self.products.get(c.product, 0.0)

    def on(self, season: Season, order: Order) -> float:
        """Tolls on an order, money."""
        return sum(n * self.of(season.container_named[p, c]) for p, c, n in order.containers)


NONE = Tolls()


def seed_at_best(season: Season) -> Season:
    """Season in which every bag costs its early or late price, whichever is less."""
    lots = tuple(
        replace(x, buy_price=min(x.buy_price, x.late_price)) if x.late_price is not None else x
        for x in season.lots
    )
    return replace(season, lots=lots)


def at_best(model: Model, planned: Season, tolls: Tolls = NONE) -> Matrix:
    """Program of a draw in which all is bought when that is best.

    Parameters
    ----------
    model
        Of the season as it turned out, by `seed_at_best`.
    planned
        The season before: its containers and lots as they are sold.

    Notes
    -----
    After the model's own columns come containers bought late, at their late price, without freight
    or discount, and then those that go back.
    """
    cost = model.matrix.cost.copy()
    cost[model.at["count"]] += [tolls.of(model.it.containers[i]) for i, _ in model.keys["count"]]
    taxed = replace(model, matrix=replace(model.matrix, cost=cost))
    late = replace(taxed, matrix=_with_late(taxed, planned))
    return _with_free_returns(late, planned)


def early_seed(planned: Season, bags: dict[str, int]) -> dict[str, int]:
    """Bags that the program took as bought early: those that are no cheaper late."""
    lots = planned.lot_named
    return {
        name: n
        for name, n in bags.items()
        if (late := lots[name].late_price) is None or lots[name].buy_price <= late
    }


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
    rows, m = model.rows["what_is_not_on_hand_is_bought"], model.matrix
    found: dict[str, set[int]] = {}
    for (i, _), column in zip(model.keys["count"], model.at["count"].tolist(), strict=True):
        mine = m.row[int(m.start[column]) : int(m.start[column + 1])].tolist()
        found.setdefault(model.it.containers[i].product, set()).update(set(mine) & set(rows))
    return found


def _with_late(model: Model, planned: Season) -> Matrix:
    sold = [c for c in planned.containers if c.late_price is not None and c.usable > 0.0]
    covers, some, money = cover_rows(model), _some_rows(model), _money_row(model)
    need = dict(zip((p.name for p in model.it.products), most_need(model.it), strict=True))
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

    def entries(column: int) -> dict[int, float]:
        here = slice(int(matrix.start[column]), int(matrix.start[column + 1]))
        return dict(zip(matrix.row[here].tolist(), matrix.value[here].tolist(), strict=True))

    rows = {row for column in model.at["discount"].tolist() for row in entries(column)} - {limit}
    mine = entries(model.column("count", (i, j)))
    found = {row: -value * c.returned_for for row, value in mine.items() if row in rows}
    off = sum(it.discounts[d].percent for d in model.keys["discount"] if i in qualifying(it, d))
    if limit is not None and off:
        found[limit] = -off * c.returned_for * c.breaks[j].price
    return found

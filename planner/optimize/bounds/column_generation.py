"""The bound of a large season: its linear relaxation over all choices, few of them in memory.

The relaxation starts with some choices of every field. Its duals price all the others; the most
promising join, until none is worth it. At every step the duals prove a bound for all choices: a
field's acres could gain no more than the best price that has not joined (Lagrangian bound).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from planner.optimize.incumbent.restrictions import proven_in
from planner.optimize.mip.highs import INFINITE, Kept
from planner.optimize.model.instance import starts, units_to_treat
from planner.optimize.model.program import Model, any_shares, make_model

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from planner.optimize.annealing.order_tables import OrderTable
    from planner.optimize.incumbent.incumbent import Incumbent
    from planner.optimize.mip.highs import Answer, Bools, Floats
    from planner.optimize.model.instance import Choices, Instance

    Ints = NDArray[np.int64]


Pricing = Callable[["Choices"], "Floats"]
"""What an acre costs under each of some choices."""


def best_of_each(field: Ints, value: Floats, most: int) -> Ints:
    """Places of the `most` lowest values of every field."""
    found = [np.zeros(0, dtype=np.int64)]
    for a, b in pairwise([*starts(field).tolist(), len(field)]):
        if b - a <= most:
            found.append(np.arange(a, b))
        else:
            found.append(a + np.argpartition(value[a:b], most)[:most])
    return np.sort(np.concatenate(found))


def best_choices(it: Instance, price: Pricing, most: int) -> Ints:
    """Places of the `most` choices of every field with the lowest prices."""
    blocks = it.choices.blocks()
    found = [a + best_of_each(c.field, price(c), most) for a, c in blocks]
    return np.concatenate([np.zeros(0, dtype=np.int64), *found])


def best_of_each_lot(c: Choices, value: Floats) -> Ints:
    """Place of the lowest value of every field and lot, the first of them."""
    lots = int(c.lot.max(initial=0)) + 1
    first = starts(c.field * lots + c.lot)
    pair = np.repeat(np.arange(len(first)), np.diff(first, append=len(c)))
    lowest = np.flatnonzero(value == np.minimum.reduceat(value, first)[pair])
    return lowest[starts(pair[lowest])]


def best_with_room(it: Instance, price: Pricing, most: int) -> Ints:
    """Places of the `most` choices of every field with the lowest prices, one a lot, with room.

    Fields take their turn, the most important and pickiest first, and the best lots fill up.
    """
    places, values = [np.zeros(0, dtype=np.int64)], [np.zeros(0)]
    for a, c in it.choices.blocks():
        value = price(c)
        best = best_of_each_lot(c, value)
        places.append(a + best)
        values.append(value[best])
    c, at, value = it.choices, np.concatenate(places), np.concatenate(values)
    ends = np.searchsorted(c.field[at], np.arange(len(it.fields) + 1)).tolist()
    left = units_to_treat(it)
    turns = sorted(
        range(len(it.fields)),
        key=lambda f: (it.fields[f].priority, ends[f + 1] - ends[f], -it.fields[f].acres),
    )
    found = [np.zeros(0, dtype=np.int64)]
    for f in turns:
        here = slice(ends[f], ends[f + 1])
        mine = at[here][np.argsort(value[here], kind="stable")]
        units = c.units[mine] * it.fields[f].acres
        room = np.flatnonzero(left[c.lot[mine]] >= units)
        if not len(room):
            room = np.argsort(-left[c.lot[mine]], kind="stable")
        found.append(mine[room[:most]])
        rest = 1.0
        for t in room.tolist():
            lot = int(c.lot[mine[t]])
            share = min(rest, float(left[lot] / units[t]))
            left[lot] -= share * units[t]
            rest -= share
            if rest <= 0.0:
                break
    return np.sort(np.concatenate(found))


def rough_price(it: Instance, tables: list[OrderTable]) -> Pricing:
    """Cost of an acre under every choice given if bags and containers could be cut."""
    linear = np.array([t.linear for t in tables])
    worth = np.array([x.worth_untreated for x in it.lots])
    scarce = np.array([x.on_hand for x in it.lots]) <= 0
    buy = np.array([x.buy_price for x in it.lots])
    unit = (it.use @ linear) + np.where(scarce, buy, worth)[:, None]

    def price(c: Choices) -> Floats:
        return np.asarray(c.units * unit[c.lot, c.recipe] + c.loss)

    return price


@dataclass(slots=True)
class RestrictedMaster:
    """The relaxation as it grows."""

    it: Instance
    model: Model
    kept: Kept
    chosen: list[Ints]
    """Places in all choices, as they joined."""
    at: list[Ints]
    """Their columns."""
    pool_row: NDArray[np.int64]
    other_rows: list[tuple[Ints, Floats]]
    """By lot: rows of the spread of acres, and their entries."""
    field_row: Ints
    untreated_cost: Floats
    """By lot: money a unit planted untreated gives up."""
    joined: Bools
    """Which of all choices have joined."""
    duals: Floats | None = None
    answer: Answer | None = None


def start_master(
    incumbent: Incumbent, it: Instance, first: Ints, short: Floats
) -> RestrictedMaster:
    """Write the relaxation down over the first choices and one of every pool."""
    c = it.choices
    chosen = np.union1d(first, _one_of_each_pool(it))
    loose = replace(it, season=any_shares(it.season))
    model = make_model(loose, c.only(chosen)).bounded("short_in", short)
    m = model.matrix
    pool_row = np.full((len(it.lots), len(it.recipes) + 1), -1, dtype=np.int64)
    field_row = np.full(len(it.fields), -1, dtype=np.int64)
    others: list[tuple[Ints, Floats]] = [
        (np.zeros(0, dtype=np.int64), np.zeros(0)) for _ in it.lots
    ]
    for column, t in enumerate(chosen.tolist()):
        a, b = int(m.start[column]), int(m.start[column + 1])
        order = np.argsort(m.row[a:b], kind="stable")
        rows, values = m.row[a:b][order], m.value[a:b][order]
        field_row[c.field[t]] = rows[0]
        pool_row[c.lot[t], c.recipe[t]] = rows[1]
        others[int(c.lot[t])] = (rows[2:], values[2:])
    worth = np.array([x.worth_untreated for x in it.lots])
    at, joined = np.arange(len(chosen)), np.zeros(len(c), dtype=bool)
    joined[chosen] = True
    return RestrictedMaster(
        it, model, Kept(m, incumbent), [chosen], [at], pool_row, others, field_row, worth, joined
    )


def _one_of_each_pool(it: Instance) -> Ints:
    """The first choice of every lot under every recipe."""
    width = len(it.recipes) + 1
    first = np.full(len(it.lots) * width, -1, dtype=np.int64)
    for a, c in it.choices.blocks():
        pools, at = np.unique(c.lot * width + c.recipe, return_index=True)
        first[pools] = np.where(first[pools] < 0, a + at, first[pools])
    return first[first >= 0]


def prices(g: RestrictedMaster, dual: Floats) -> Pricing:
    """Reduced cost of an acre under a choice."""
    pool = np.where(g.pool_row >= 0, dual[g.pool_row], 0.0)
    spread = np.array([float(dual[rows] @ values) for rows, values in g.other_rows])

    def price(c: Choices) -> Floats:
        untreated = c.recipe == g.it.untreated
        unit = np.where(untreated, g.untreated_cost[c.lot], 0.0) - pool[c.lot, c.recipe]
        acre = c.loss - dual[g.field_row[c.field]] - spread[c.lot]
        return np.asarray(acre + c.units * unit)

    return price


def not_joined(g: RestrictedMaster, duals: Floats, most: int) -> tuple[float, Ints]:
    """What all choices that have not joined could save at the most, and each field's best."""
    acres, price = np.array([f.acres for f in g.it.fields]), prices(g, duals)
    lowest, wanted = np.zeros(len(acres)), [np.zeros(0, dtype=np.int64)]
    for a, c in g.it.choices.blocks():
        value = price(c)
        value[g.joined[a : a + len(c)]] = INFINITE
        first = starts(c.field)
        lowest[c.field[first]] = np.minimum.reduceat(value, first)
        best = best_of_each(c.field, value, most)
        wanted.append(a + best[value[best] < -1e-7])
    return float(np.minimum(0.0, lowest) @ acres), np.concatenate(wanted)


def generate_columns(incumbent: Incumbent, g: RestrictedMaster, seconds: float) -> None:
    """Let choices join until the bound is the relaxation's, or the time is up.

    Where they are few it is solved once at the least: a search stopped at once has a bound then.
    """
    until, params = incumbent.seconds() + seconds, incumbent.options.params.large
    few = not incumbent.options.params.are_many(g.it.choices)
    while not incumbent.is_set() or (few and g.duals is None):
        left = min(incumbent.left(), until - incumbent.seconds())
        answer = g.kept.solve(max(1.0, left) if few else left)
        if answer.x is None or answer.row_dual is None:
            return
        g.answer, g.duals = answer, answer.row_dual
        lost, wanted = not_joined(g, answer.row_dual, params.join)
        proven_in(incumbent, g.model)(answer.objective + lost)
        close = lost >= -params.relaxation_gap * max(1.0, abs(answer.objective))
        if close or incumbent.seconds() >= until or not len(wanted):
            return
        join(g, wanted)


def join(g: RestrictedMaster, wanted: Ints) -> None:
    """Let choices join."""
    c = g.it.choices
    acres = np.array([f.acres for f in g.it.fields])
    lots, recipes = c.lot[wanted], c.recipe[wanted]
    starts, rows, values = [], [], []
    size = 0
    for t, lot, recipe in zip(wanted.tolist(), lots.tolist(), recipes.tolist(), strict=True):
        more, entries = g.other_rows[lot]
        starts.append(size)
        rows += [int(g.field_row[c.field[t]]), int(g.pool_row[lot, recipe]), *more.tolist()]
        values += [1.0, float(c.units[t]), *entries.tolist()]
        size += 2 + len(more)
    untreated = recipes == g.it.untreated
    cost = c.loss[wanted] + np.where(untreated, g.untreated_cost[lots] * c.units[wanted], 0.0)
    at = g.kept.add_columns(
        cost, acres[c.field[wanted]], np.array(starts, dtype=np.int64), rows, np.array(values)
    )
    g.chosen.append(wanted)
    g.joined[wanted] = True
    g.at.append(at)


def planted(g: RestrictedMaster) -> Ints:
    """Choices that the relaxation plants."""
    assert g.answer is not None
    assert g.answer.x is not None
    at = np.concatenate(g.at)
    known = at < len(g.answer.x)
    on = g.answer.x[at[known]] > 1e-7
    places: Ints = np.concatenate(g.chosen)[known][on]
    return places

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

from planner.optimize.bounds.seed_by_lot import with_seed_by_lot
from planner.optimize.incumbent.restrictions import proven_in
from planner.optimize.mip.highs import INFINITE, Kept
from planner.optimize.model.instance import starts, units_to_treat
from planner.optimize.model.program import Model, any_shares, make_model

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from planner.optimize.annealing.order_tables import OrderTable
    from planner.optimize.incumbent.incumbent import Incumbent
    from planner.optimize.mip.highs import Answer, Bools, Floats, Matrix
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


@dataclass(frozen=True, slots=True, eq=False)
class Entries:
    """Rows and values of several owners, one owner after the other."""

    start: Ints
    """Where those of each begin; one more than there are owners."""
    row: Ints
    value: Floats

    def worth(self, dual: Floats) -> Floats:
        """What each owner's entries are worth at some duals."""
        owner = np.repeat(np.arange(len(self.start) - 1), np.diff(self.start))
        worth = np.bincount(owner, self.value * dual[self.row], len(self.start) - 1)
        return worth.astype(np.float64)

    def of(self, owners: Ints) -> tuple[Ints, Ints, Floats]:
        """Entries of some owners: place among these, row and value."""
        count = np.diff(self.start)[owners]
        place = np.repeat(np.arange(len(owners)), count)
        ends = np.cumsum(count)
        at = np.arange(len(place)) + np.repeat(self.start[owners] - (ends - count), count)
        return place, self.row[at], self.value[at]


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
    field_row: Ints
    by_unit: Entries
    """What an acre has for every unit that it takes, by pool: a lot under a recipe."""
    by_acre: Entries
    """What it has besides, by lot: the rows of the spread of acres."""
    unit_cost: Floats
    """Money a unit planted costs, lot x recipe: what treating it takes is in rows."""
    joined: Bools
    """Which of all choices have joined."""
    duals: Floats | None = None
    answer: Answer | None = None


def start_master(
    incumbent: Incumbent,
    it: Instance,
    first: Ints,
    short: Floats,
    widened: Callable[[Model], Model] | None = None,
) -> RestrictedMaster:
    """Write the relaxation down over the first choices and one of every pool.

    `widened` gives it columns and costs of a caller's own.
    """
    c = it.choices
    chosen = np.union1d(first, _one_of_each_pool(it))
    loose = replace(it, season=any_shares(it.season))
    model = make_model(loose, c.only(chosen))
    model = (widened(model) if widened else model).bounded("short_in", short)
    if incumbent.options.params.are_many(c):
        model = with_seed_by_lot(model)
    m, fields = model.matrix, model.rows["fields_are_planted_or_short"]
    at, joined = np.arange(len(chosen)), np.zeros(len(c), dtype=bool)
    joined[chosen] = True
    field_row, full = np.full(len(it.fields), -1, dtype=np.int64), m.only(at)
    of_field = (full.row >= fields.start) & (full.row < fields.stop)
    field_row[c.field[chosen[full.column[of_field]]]] = full.row[of_field]
    unit_cost, by_unit, by_acre = _shared(model, it, c.only(chosen))
    kept = Kept(m, incumbent)
    return RestrictedMaster(
        it, model, kept, [chosen], [at], field_row, by_unit, by_acre, unit_cost, joined
    )


def _shared(model: Model, it: Instance, c: Choices) -> tuple[Floats, Entries, Entries]:
    """What acres of any field have: cost and entries by unit and pool, entries by acre and lot."""
    m, shape = model.matrix, (len(it.lots), it.untreated + 1)
    number = np.arange(len(m.row_lower))
    fields, spread = (
        np.isin(number, model.rows[rule])
        for rule in ("fields_are_planted_or_short", "planted_acres_are_spread")
    )
    pool, one = np.unique(c.lot * shape[1] + c.recipe, return_index=True)
    unit_cost = np.zeros(shape)
    unit_cost.flat[pool] = (m.cost[one] - c.loss[one]) / c.units[one]
    by_unit = _entries(m, one, pool, ~(fields | spread), unit_cost.size, c.units[one])
    lot, one = np.unique(c.lot, return_index=True)
    return unit_cost, by_unit, _entries(m, one, lot, spread, shape[0], np.ones(len(one)))


def _entries(
    m: Matrix, columns: Ints, owner: Ints, rows: Bools, owners: int, per: Floats
) -> Entries:
    """Entries in some rows of a column for each of some owners, these sorted; over `per`."""
    part = m.only(columns)
    mine, column = rows[part.row], part.column
    count = np.bincount(owner[column[mine]], minlength=owners)
    start = np.concatenate([[0], np.cumsum(count)])
    return Entries(start, part.row[mine], (part.value / per[column])[mine])


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
    unit = g.unit_cost - g.by_unit.worth(dual).reshape(g.unit_cost.shape)
    spread, field = g.by_acre.worth(dual), dual[g.field_row]

    def price(c: Choices) -> Floats:
        acre = c.loss - field[c.field] - spread[c.lot]
        return np.asarray(acre + c.units * unit[c.lot, c.recipe])

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
    c = g.it.choices.only(wanted)
    acres = np.array([f.acres for f in g.it.fields])
    n = len(wanted)
    of_unit, unit_row, unit = g.by_unit.of(c.lot * g.unit_cost.shape[1] + c.recipe)
    of_acre, acre_row, acre = g.by_acre.of(c.lot)
    column = np.concatenate([np.arange(n), of_unit, of_acre])
    order = np.argsort(column, kind="stable")
    at = g.kept.add_columns(
        c.loss + c.units * g.unit_cost[c.lot, c.recipe],
        acres[c.field],
        np.searchsorted(column[order], np.arange(n)),
        np.concatenate([g.field_row[c.field], unit_row, acre_row])[order],
        np.concatenate([np.ones(n), unit * c.units[of_unit], acre])[order],
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

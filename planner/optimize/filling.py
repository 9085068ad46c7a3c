"""Where a field has one variety: how few acres stay short at least, and what then stands where.

A relaxation that keeps the field rule: which fields use up the seed of every variety. Recipes are
not told apart, bags may be cut, and products are left out, so it is small, and where seed is short
mostly little is between it and the full problem.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from planner.optimize.floors import twice
from planner.optimize.instance import units_to_treat
from planner.optimize.solver import INFINITE, Limits, Matrix, Watch, now
from planner.optimize.state import short_slack

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from planner.optimize.instance import Instance
    from planner.optimize.model import Model
    from planner.optimize.solver import Floats, Solver
    from planner.optimize.state import State

    Ints = NDArray[np.int64]
    Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Filling:
    """The relaxation as a program, without any cost."""

    matrix: Matrix
    field: Ints
    """Of every pair of a field and a variety that suits it."""
    variety: Ints
    whether: Ints
    """Column that says whether the field has the variety, by pair."""
    short_in: Ints
    """Columns of acres short, by priority."""

    def given(self, x: Floats, it: Instance) -> Bools:
        """Whether a field has a variety, by field and variety."""
        has = np.zeros((len(it.fields), len(it.varieties)), dtype=bool)
        on = x[self.whether] > 0.5
        has[self.field[on], self.variety[on]] = True
        return has


def pairs_of(it: Instance) -> tuple[Ints, Ints]:
    """Fields and the varieties that suit them, pair by pair."""
    varieties = len(it.varieties)
    pairs = np.unique(it.choices.field * varieties + it.variety_of[it.choices.lot])
    return pairs // varieties, pairs % varieties


def filling(model: Model) -> Filling:
    r"""Write the relaxation down.

    .. math:: \sum_l a_{fl} + h_f = A_f, \quad \sum_v y_{fv} \le 1, \quad
        m_f y_{fv} \le \sum_{l \in v} a_{fl} \le A_f y_{fv}, \quad
        \sum_f u_{fl} a_{fl} \le S_l, \quad \sum_{f \in p} h_f = H_p

    Columns are :math:`h`, :math:`y`, :math:`a`, :math:`H`.
    """
    it, c = model.it, model.it.choices
    lots, width = len(it.lots), len(it.varieties)
    places, first = np.unique(c.field * lots + c.lot, return_index=True)
    field, lot, units = places // lots, places % lots, c.units[first]
    owner, variety = pairs_of(it)
    pair = np.searchsorted(owner * width + variety, field * width + it.variety_of[lot])
    acres = np.array([f.acres for f in it.fields])
    least = np.minimum(it.season.farm.smallest_split, acres)
    priorities = np.array(model.keys["short_in"])
    own = np.searchsorted(priorities, [f.priority for f in it.fields])
    n, k, m, p = len(acres), len(owner), len(places), len(priorities)
    h, y, a, total = np.split(np.arange(n + k + m + p), [n, n + k, n + k + m])
    full, one, within, above, seed, added = np.split(
        np.arange(2 * n + 2 * k + lots + p), np.cumsum([n, n, k, k, lots])
    )
    blocks = [
        (full, h, np.ones(n)),
        (full[field], a, np.ones(m)),
        (one[owner], y, np.ones(k)),
        (within[pair], a, np.ones(m)),
        (within, y, -acres[owner]),
        (above[pair], a, np.ones(m)),
        (above, y, -least[owner]),
        (seed[lot], a, units),
        (added[own], h, np.ones(n)),
        (added, total, -np.ones(p)),
    ]
    row, column, value = (np.concatenate(part) for part in zip(*blocks, strict=True))
    whole = np.zeros(n + k + m + p, dtype=bool)
    whole[y] = True
    low, high = np.full(added[-1] + 1, -INFINITE), np.full(added[-1] + 1, INFINITE)
    low[full], low[above], low[added] = acres, 0.0, 0.0
    high[full], high[one], high[within], high[added] = acres, 1.0, 0.0, 0.0
    high[seed] = seed_there_is(it)
    empty = Matrix(
        cost=np.zeros(len(whole)),
        lower=np.zeros(len(whole)),
        upper=np.concatenate([acres, np.ones(k), acres[field], np.full(p, acres.sum())]),
        integer=whole,
        row_lower=np.zeros(0),
        row_upper=np.zeros(0),
        start=np.zeros(len(whole) + 1, dtype=np.int64),
        row=np.zeros(0, dtype=np.int64),
        value=np.zeros(0),
    )
    return Filling(empty.with_rows((row, column, value), low, high), owner, variety, y, total)


def seed_there_is(it: Instance) -> Floats:
    """Units of every lot that can be had, treated before or not."""
    seed = units_to_treat(it)
    for (lot, _), units in it.before.items():
        seed[lot] += units
    return seed


def least_filled(
    state: State, model: Model, seconds: float, nodes: int | None, solver: Solver
) -> tuple[Bools | None, Floats]:
    """What the relaxation gives every field, and acres short that no plan has fewer than.

    As `floors.least_short`: by priority, every figure for plans that leave no more short in those
    before it. By field and variety; None where nothing was found in time.
    """
    until, program = now() + seconds, filling(model)
    matrix, x = program.matrix, None
    least: Floats = np.zeros(len(program.short_in))
    for place, column in enumerate(program.short_in.tolist()):
        found = 0.0
        if not state.short or state.short[place] > 1e-9:
            cost = np.zeros(matrix.n_columns)
            cost[column] = 1.0
            limits = Limits(until - now(), gap=0.0, nodes=nodes, seed=state.options.seed)
            answer = twice(replace(matrix, cost=cost), limits, Watch(state), solver)
            x = answer.x
            if x is None:
                return None, least
            found = float(x[column]) + short_slack(len(least))[place]
            least[place] = max(0.0, answer.bound)
        upper = matrix.upper.copy()
        upper[column] = min(upper[column], found)
        matrix = replace(matrix, upper=upper)
    return None if x is None else program.given(x, model.it), least

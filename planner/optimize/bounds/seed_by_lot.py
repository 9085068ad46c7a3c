"""The linear relaxation of a large season written smaller: seed is treated as it is planted.

Bags may be cut in it, so all that matters of a lot is how many units are treated or planted
untreated, and planting an acre can take product itself. Bags need no columns and rows of their own
then, of which there are some for every lot and recipe: the simplex method is many times as fast.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from planner.optimize.mip.highs import INFINITE

if TYPE_CHECKING:
    from planner.optimize.mip.highs import Bools, Floats, Ints
    from planner.optimize.model.program import Model

    Sparse = tuple[Ints, Ints, Floats]
    """Row, column and value of entries."""

POOL = "planted_seed_is_treated"
REPLACED = (
    "bags_are_there_once",
    "untreated_seed_is_left_over_from_treating",
    "recipes_run_where_bags_are_treated",
)
"""Rules that have other rows here."""


@dataclass(frozen=True, slots=True, eq=False)
class _Treating:
    """Columns of full and part bags treated, as parallel arrays; a pool is a lot under a recipe."""

    column: Ints
    lot: Ints
    pool: Ints
    units: Floats
    """Of seed, in a whole one."""


def with_seed_by_lot(model: Model) -> Model:
    r"""The linear relaxation with a row for every lot, and none for its bags.

    .. math:: \sum_{f,r} u_{fl} a_{flr} + \sum_r (U_l x_{lr} + P_l q_{lr}) - U_l b_l
        \le U_l bags_l + P_l

    .. math:: \sum_f u_{fl} a_{flr} + U_l x_{lr} + P_l q_{lr} \le (U_l X_{lr} + P_l) z_r

    Here x and q are what is treated and not planted; an acre costs and takes what treating its seed
    does. Where seed was treated before, what is planted of it keeps its row by recipe, and x and q
    are all that is treated. Never above the linear relaxation, and hardly ever below.
    """
    m, it, gone = model.matrix, model.it, _rows(model, REPLACED)
    size = np.array([lot.units_per_bag for lot in it.lots], dtype=float)
    t = _treating(model, size)
    cost, entries, with_planting = _treated_as_planted(model, t)
    number = np.cumsum(~gone) - 1
    kept = [(number[r[~gone[r]]], j[~gone[r]], v[~gone[r]]) for r, j, v in entries]
    first = int((~gone).sum())
    kept += [(first + lot, j, v) for lot, j, v in _by_lot(model, t, size, with_planting)]
    row, column, value = (np.concatenate(part) for part in zip(*kept, strict=True))
    by_column = np.argsort(column, kind="stable")
    matrix = replace(
        m,
        cost=cost,
        row_lower=np.concatenate([m.row_lower[~gone], np.full(len(size), -INFINITE)]),
        row_upper=np.concatenate([m.row_upper[~gone], it.full_bags * size + it.part_bag]),
        start=np.searchsorted(column[by_column], np.arange(m.n_columns + 1)),
        row=row[by_column],
        value=value[by_column],
    )
    return replace(model, matrix=matrix, rows=_renumbered(model, gone))


def _treating(model: Model, size: Floats) -> _Treating:
    bags, part = (np.array(model.keys[g], dtype=np.int64).reshape(-1, 2) for g in ("bags", "part"))
    lot, recipe = np.concatenate([bags, part]).T
    return _Treating(
        np.concatenate([model.at["bags"], model.at["part"]]),
        lot,
        lot * (model.it.untreated + 1) + recipe,
        np.concatenate([size[bags[:, 0]], model.it.part_bag[part[:, 0]]]),
    )


def _treated_as_planted(model: Model, t: _Treating) -> tuple[Floats, list[Sparse], Ints]:
    """Costs and entries where acres take what treating their seed does; and which acres do."""
    m, it, c, width = model.matrix, model.it, model.choices, model.it.untreated + 1
    pool = c.lot * width + c.recipe
    treats = np.full(len(it.lots) * width, -1, dtype=np.int64)
    treats[t.pool] = np.arange(len(t.pool))
    treats[[lot * width + k for lot, k in it.before]] = -1
    mine, now = np.flatnonzero(treats[pool] >= 0), np.flatnonzero(treats >= 0)

    planting, in_pool = m.column < len(c), _rows(model, (POOL,))
    at, row_of = planting & in_pool[m.row], np.full(len(treats), -1, dtype=np.int64)
    row_of[pool[m.column[at]]] = m.row[at]
    here = np.zeros(len(in_pool), dtype=bool)
    here[row_of[now]] = True
    value = np.where(here[m.row] & ~planting, -m.value, m.value)
    most: Floats = np.bincount(t.pool, t.units * m.upper[t.column], len(treats)).astype(float)
    run = np.array([model.column("run", k) for k in (now % width).tolist()], dtype=np.int64)

    by = treats[pool[mine]]
    taken, times = m.only(t.column[by]), c.units[mine] / t.units[by]
    cost = m.cost.copy()
    cost[mine] += taken.cost * times
    more = ~in_pool[taken.row]
    of = taken.column[more]
    return (
        cost,
        [
            (m.row, m.column, value),
            (taken.row[more], mine[of], taken.value[more] * times[of]),
            (row_of[now], run, -most[now]),
        ],
        mine,
    )


def _by_lot(model: Model, t: _Treating, size: Floats, with_planting: Ints) -> list[Sparse]:
    """Entries of the rows of lots: seed planted, treated and bought."""
    c = model.choices
    planted = np.union1d(with_planting, np.flatnonzero(c.recipe == model.it.untreated))
    bought = np.array(model.keys["bought"], dtype=np.int64)
    return [
        (c.lot[planted], planted, c.units[planted]),
        (t.lot, t.column, t.units),
        (bought, model.at["bought"], -size[bought]),
    ]


def _rows(model: Model, rules: tuple[str, ...]) -> Bools:
    """Which rows are those of some rules."""
    found = np.zeros(len(model.matrix.row_lower), dtype=bool)
    for rule in rules:
        found[model.rows[rule]] = True
    return found


def _renumbered(model: Model, gone: Bools) -> dict[str, range]:
    before: Ints = np.concatenate([[0], np.cumsum(~gone)])
    return {
        rule: range(int(before[rows.start]), int(before[rows.stop]))
        for rule, rows in model.rows.items()
    }

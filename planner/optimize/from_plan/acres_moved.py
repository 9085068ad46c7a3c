"""The exact model of a season with the acres counted that an old assignment loses."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from planner.optimize.from_plan.warm_start import columns_of, settled_around, share_names, short_as
from planner.optimize.model.extract import make_plan
from planner.optimize.model.instance import make_instance
from planner.optimize.model.program import make_model
from planner.plan.moves import acres_by_share, kinds_of, moved_by_field, swapped_acres

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from planner.optimize.mip.highs import Floats, Matrix
    from planner.optimize.model.instance import Instance
    from planner.optimize.model.program import Model
    from planner.plan.moves import Kind, Share
    from planner.plan.plan import Plan
    from planner.season.domain import Season

SWAP = 0.01
"""Money an acre that changing between interchangeable lots must save: less is not worth a word."""
SLACK = 1e-6
"""Acres that may move beyond a cap, for rounding."""
DUST = 1e-6
"""Acres that may move beyond those of a plan, for rounding."""


@dataclass(frozen=True, slots=True)
class Terms:
    """When moving is worth it."""

    worth: float = 0.0
    """Money that an acre moved must save."""
    most: float | None = None
    """Acres that may be moved; those that must move are moved all the same."""


@dataclass(frozen=True, slots=True, eq=False)
class Moving:
    """The exact model with columns behind its own for the acres moved.

    One column for every kind of share that the old assignment has (M), then one for every old
    share that may be swapped for another of its kind (m).
    """

    season: Season
    model: Model
    wide: bool
    """Whether every choice is in it, so that what is proven holds for all plans."""
    matrix: Matrix
    kinds: tuple[Kind, ...]
    """Of the columns M."""
    groups: tuple[tuple[NDArray[np.int64], float], ...]
    """Columns of acres that keep each M or m from moving, and the old acres."""
    lost: Mapping[str, float]
    """Old acres that can't be kept, as the season no longer allows them, by field."""
    old: Mapping[Share, float]
    bound: float
    shortage_proven: bool

    @property
    def moves(self) -> NDArray[np.int64]:
        """Columns M."""
        return self.model.matrix.n_columns + np.arange(len(self.kinds), dtype=np.int64)

    @property
    def counting(self) -> Matrix:
        """The program whose cost is the acres moved."""
        cost = np.zeros(self.matrix.n_columns)
        cost[self.moves] = 1.0
        return replace(self.matrix, cost=cost, offset=0.0)

    def moved_by_field(self, plan: Plan) -> dict[str, float]:
        """Old acres that a plan does not keep, by field."""
        return moved_by_field(self.old, acres_by_share(plan), self.season)

    def moved(self, plan: Plan) -> float:
        """Old acres that a plan does not keep."""
        return sum(self.moved_by_field(plan).values())

    @property
    def gone(self) -> float:
        """Old acres that can't be kept."""
        return sum(self.lost.values())

    def of(self, groups: tuple[str, ...]) -> NDArray[np.bool_]:
        """Columns of some groups of variables."""
        found = np.zeros(self.matrix.n_columns, dtype=bool)
        found[: self.model.matrix.n_columns] = self.model.of(groups)
        return found

    def moved_by_kind(self, plan: Plan) -> dict[Kind, float]:
        """Old acres that a plan does not keep, by kind; of those that can be kept."""
        new = acres_by_share(plan)
        kinds = kinds_of({**self.old, **new}, self.season)
        same: dict[Kind, float] = {}
        for share, acres in new.items():
            same[kinds[share]] = same.get(kinds[share], 0.0) + acres
        wanted = (want for _, want in self.groups)
        return {
            kind: max(0.0, want - same.get(kind, 0.0))
            for kind, want in zip(self.kinds, wanted, strict=False)
        }

    def no_further(self, matrix: Matrix, most: Mapping[Kind, float]) -> Matrix:
        """A program in which no more acres of each kind move."""
        upper = matrix.upper.copy()
        caps = np.array([most[kind] for kind in self.kinds])
        upper[self.moves] = np.minimum(upper[self.moves], caps + DUST)
        return replace(matrix, upper=upper)

    def capped(self, matrix: Matrix, most: float | None) -> Matrix:
        """A program in which no more acres move in all, those included that can't be kept."""
        if most is None:
            return matrix
        of = self.moves
        entries = np.zeros(len(of), dtype=np.int64), of, np.ones(len(of))
        most = max(0.0, most - self.gone) + SLACK
        return matrix.with_rows(entries, np.array([-np.inf]), np.array([most]))

    def score(self, plan: Plan, worth: float) -> float:
        """Cost of a plan, with what it moves."""
        return plan.cost.total + worth * self.moved(plan) + SWAP * swapped_acres(self.old, plan)

    def columns(self, plan: Plan) -> Floats | None:
        """Values of all columns that stand for a plan."""
        x = columns_of(self.model, plan)
        if x is None:
            return None
        return np.concatenate([x, [max(0.0, w - x[of].sum()) for of, w in self.groups]])

    def aimed(self, worth: float) -> Matrix:
        """The program whose cost is the plan's, with so much for every acre moved."""
        moves = np.full(len(self.groups), SWAP)
        moves[: len(self.kinds)] = worth
        cost = np.concatenate([self.model.matrix.cost, moves])
        return replace(self.matrix, cost=cost, offset=self.model.matrix.offset)

    def plan(self, x: Floats) -> Plan:
        """Return the plan that a solution stands for."""
        model = self.model
        settled = settled_around(model, x[: model.matrix.n_columns])
        return make_plan(model, settled, self.bound, shortage_proven=self.shortage_proven)


def make_moving(
    season: Season,
    known: tuple[Plan, ...],
    old: Mapping[Share, float],
    whole_model: int,
) -> Moving:
    """Write the program down; the acres short are those of the first plan known.

    With more choices than `whole_model` only shares near the known plans stay open.
    """
    it = make_instance(season)
    wide = len(it.choices) <= whole_model
    model = make_model(it) if wide else _narrow(it, known, old)
    model = short_as(model, known[0])
    names = share_names(it, model.choices)
    places = {name: int(model.at["acres"][t]) for t, name in enumerate(names)}
    kinds = kinds_of({**old, **dict.fromkeys(names, 0.0)}, season)
    columns: dict[Kind, list[int]] = {}
    for name, column in places.items():
        columns.setdefault(kinds[name], []).append(column)
    want: dict[Kind, float] = {}
    for name, acres in sorted(old.items()):
        want[kinds[name]] = want.get(kinds[name], 0.0) + acres
    able = tuple(kind for kind in want if kind in columns)
    groups = [(np.array(columns[kind], dtype=np.int64), want[kind]) for kind in able]
    groups += [
        (np.array([places[name]], dtype=np.int64), acres)
        for name, acres in sorted(old.items())
        if name in places and len(columns[kinds[name]]) > 1
    ]
    lost: dict[str, float] = {}
    for kind, acres in want.items():
        if kind not in columns:
            lost[kind[0]] = lost.get(kind[0], 0.0) + acres
    return Moving(
        season,
        model,
        wide,
        _counting(model.matrix, groups),
        able,
        tuple(groups),
        lost,
        old,
        known[0].bound,
        known[0].shortage_proven,
    )


def _counting(base: Matrix, groups: list[tuple[NDArray[np.int64], float]]) -> Matrix:
    """Add columns m with m + (acres kept) >= acres wanted."""
    n, extra = base.n_columns, len(groups)
    want = np.array([w for _, w in groups], dtype=np.float64)
    own = np.arange(extra)
    row = np.concatenate([own, *(np.full(len(of), i) for i, (of, _) in enumerate(groups))])
    column = np.concatenate([n + own, *(of for of, _ in groups)])
    wide = base.with_columns(np.zeros(extra), np.zeros(extra), want)
    entries = row.astype(np.int64), column.astype(np.int64), np.ones(len(row))
    return wide.with_rows(entries, want, np.full(extra, np.inf))


def _narrow(it: Instance, known: tuple[Plan, ...], old: Mapping[Share, float]) -> Model:
    """Write the exact model over the shares of the known plans only."""
    variety = {lot.name: lot.variety for lot in it.lots}
    near = {(p.field, variety[p.lot], p.recipe) for plan in known for p in plan.planting}
    near |= {(f, variety[lot], r) for f, lot, r in old if lot in variety}
    keep = [(f, variety[lot], r) in near for f, lot, r in share_names(it, it.choices)]
    return make_model(it, it.choices.only(np.array(keep)))

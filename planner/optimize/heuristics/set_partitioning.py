"""Plans put together of the parts of many others, the exact model saying which go together best.

A pattern is what one variety under one recipe has in some plan: its fields and acres, and its bags.
Patterns of two varieties have only products in common, so those of any plans can be mixed. Which to
take is a small program: the exact model with the columns of planting and seed in bundles. Where a
field has one variety, whole bags are inside the bundles, and that program is far stronger than the
model itself.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from planner.optimize.mip.highs import Limits, Verdict
from planner.optimize.mip.highs import solve as solve_matrix
from planner.optimize.params import TUNED

if TYPE_CHECKING:
    from planner.optimize.mip.highs import Floats, Ints, Matrix, Solver, Watch
    from planner.optimize.model.program import Model
    from planner.optimize.params import StrategyParams


class Patterns:
    """All patterns seen so far of a model's plans."""

    def __init__(self, model: Model, params: StrategyParams = TUNED.strategies) -> None:
        self.params = params
        self.group = _groups(model)
        self.rest = np.flatnonzero(self.group < 0)
        self.known: dict[bytes, tuple[Ints, Floats]] = {}
        self.most: float = params.patterns
        """Patterns to choose from, as many as can be done."""

    def add(self, x: Floats) -> list[bytes]:
        """Take a plan apart, as far as it plants and uses seed; the keys of its patterns."""
        held = np.flatnonzero((x != 0.0) & (self.group >= 0))
        order = held[np.argsort(self.group[held], kind="stable")]
        cuts = np.flatnonzero(np.diff(self.group[order])) + 1
        keys = []
        for columns in np.split(order, cuts):
            values = x[columns]
            key = columns.tobytes() + np.round(values, 6).tobytes()
            self.known.setdefault(key, (columns, values))
            keys.append(key)
        return keys

    def best(
        self, matrix: Matrix, x: Floats, limits: Limits, watch: Watch, solver: Solver = solve_matrix
    ) -> Floats | None:
        """Best plan that its patterns make, continued from one of theirs; None if there is none.

        `matrix` is the model's, or the same with other bounds or another aim.
        """
        mine = set(self.add(x))
        keys, known = list(self.known), list(self.known.values())
        has = np.array([key in mine for key in keys])
        whole, first = matrix.bundled(self.rest, known), len(self.rest)
        bound, dearer = _priced(whole, limits, watch, solver)
        if not np.isfinite(bound):
            return None
        dearer = np.where(has, -np.inf, dearer[first:])
        kept = np.argsort(dearer, kind="stable")[: self.params.patterns_kept]
        self.known = {keys[k]: known[k] for k in kept.tolist()}
        chosen = kept[: int(self.most)]
        chosen = chosen[dearer[chosen] <= matrix.price(x) - bound]
        small = whole.only(np.concatenate([np.arange(first), first + chosen]))
        start = np.concatenate([x[self.rest], has[chosen].astype(np.float64)])
        answer = solver(small, limits, start=start, watch=watch)
        growth = self.params.patterns_growth
        self.most *= growth if answer.verdict is Verdict.OPTIMAL else 1.0 / growth
        if answer.x is None:
            return None
        y = np.zeros(len(x))
        y[self.rest] = answer.x[:first]
        for k in chosen[answer.x[first:] > 0.5].tolist():
            columns, values = known[k]
            y[columns] += values
        return np.where(matrix.integer, np.round(y), y)


def _priced(whole: Matrix, limits: Limits, watch: Watch, solver: Solver) -> tuple[float, Floats]:
    """What the program costs if all may be cut, and the reduced cost of its columns; or -inf."""
    answer = solver(whole.linear, Limits(seconds=limits.seconds), watch=watch)
    if answer.row_dual is None:
        return -np.inf, whole.cost
    entries = whole.value * answer.row_dual[whole.row]
    return answer.objective, whole.cost - np.bincount(whole.column, entries, whole.n_columns)


def _groups(model: Model) -> Ints:
    """Number of every column's variety and recipe; -1 where it belongs to none."""
    it = model.it
    width = len(it.recipes) + 1
    group = np.full(model.matrix.n_columns, -1, dtype=np.int64)
    for name in ("share", "bare"):
        for (_, variety, recipe), column in zip(model.keys[name], model.at[name], strict=True):
            group[column] = variety * width + recipe
    for name in ("acres", "lot_share", "bags", "part"):
        for (*_, lot, recipe), column in zip(model.keys[name], model.at[name], strict=True):
            group[column] = it.variety_of[lot] * width + recipe
    return group

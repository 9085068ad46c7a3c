"""Methods for better plans: each takes the incumbent and a budget, and offers it what it finds.

None of them looks at the others, so they can be run in any order and left out at will.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from planner.optimize.annealing.decode import discounts_taken, pieces_of
from planner.optimize.annealing.order_tables import order_tables
from planner.optimize.mip.highs import Limits, Verdict, Watch
from planner.optimize.mip.highs import solve as solve_matrix
from planner.optimize.mip.part import minimize_in_turn, solve_part
from planner.optimize.model.program import order_held, rounded, without_field_rule

if TYPE_CHECKING:
    from planner.optimize.annealing.state import AnnealingState, Piece
    from planner.optimize.incumbent.budgets import Budget
    from planner.optimize.incumbent.incumbent import Incumbent
    from planner.optimize.mip.highs import Answer, Bools, Floats, Ints, Matrix, Solver
    from planner.optimize.model.program import Model

DUST = 1e-6
"""Acres short that count as none."""


class Neighborhood:
    """Solving a part of the exact model around a solution, everything else held."""

    def __init__(self, model: Model) -> None:
        self.model = model
        it, c = model.it, model.choices
        self.field_of_share = np.array([k[0] for k in model.keys["share"]], dtype=np.int64)
        number = {key: i for i, key in enumerate(model.keys["share"])}
        keys = zip(c.field.tolist(), it.variety_of[c.lot].tolist(), c.recipe.tolist(), strict=True)
        self.share_of = np.array([number.get(k, -1) for k in keys], dtype=np.int64)
        self.acres = np.array([f.acres for f in it.fields])
        farm = it.season.farm
        self.split = np.minimum(max(farm.smallest_split, farm.smallest_lot_share), self.acres)
        self.lot_split = np.minimum(farm.smallest_lot_share, self.acres)
        self.most = it.season.farm.max_varieties or 10**6
        suits = np.zeros((len(it.fields), len(it.lots)), dtype=np.float32)
        suits[c.field, c.lot] = 1.0
        self.suits = suits
        self.lot_of = {
            group: np.array(
                [k if group == "bought" else k[0] for k in model.keys[group]], dtype=int
            )
            for group in ("bags", "part", "bought")
        }

    @cached_property
    def loose(self) -> Model:
        """The model without the field rule."""
        return without_field_rule(self.model)

    @property
    def has_shares(self) -> bool:
        """Whether the field rule bites anywhere."""
        return len(self.field_of_share) > 0

    def share_acres(self, x: Floats) -> Floats:
        """Acres of every share."""
        held = self.share_of >= 0
        acres = x[self.model.at["acres"]][held]
        count = len(self.field_of_share)
        return np.bincount(self.share_of[held], acres, count).astype(np.float64)

    def breaking(self, x: Floats) -> Bools:
        """Fields that break the field rule in a solution of a relaxation."""
        acres = self.share_acres(x)
        on = acres > 1e-6
        count = np.bincount(self.field_of_share[on], minlength=len(self.acres))
        sliver = on & (acres < self.split[self.field_of_share] - 1e-6)
        bad = count > self.most
        bad[self.field_of_share[sliver]] = True
        planted, field = x[self.model.at["acres"]], self.model.choices.field
        bad[field[(planted > 1e-6) & (planted < self.lot_split[field] - 1e-6)]] = True
        return bad

    def solve(
        self,
        x: Floats,
        fields: Bools,
        limits: Limits,
        watch: Watch,
        *,
        start: bool = True,
        local: bool = False,
        matrix: Matrix | None = None,
        solver: Solver = solve_matrix,
    ) -> tuple[Floats | None, Answer]:
        """Free the shares of some fields, hold those of the others.

        Seed is free too, or (`local`) only that of lots which the fields could take; so is the
        order. `matrix` has the model's rows with other bounds or another aim.

        Parameters
        ----------
        x
            A solution of the model, by column; with `start` the solve begins at it.
        fields
            Those to free, by field.

        Returns
        -------
        tuple of array or None, and Answer
            The best solution found, by column; what the solver said of the part.
        """
        m = self.model
        on = self.share_acres(x) > 1e-6
        z = x.copy()
        free = np.ones(m.matrix.n_columns, dtype=bool)
        held = ~fields[self.field_of_share]
        free[m.at["share"][held]] = False
        z[m.at["share"][held]] = on[held]
        off = np.append(~on, False)[self.share_of]
        lost = off & ~fields[m.choices.field]
        free[m.at["acres"][lost]] = False
        z[m.at["acres"][lost]] = 0.0
        if local:
            self._hold_far_seed(free, fields)
        matrix = matrix or m.matrix
        y, answer = solve_part(matrix, free, z, limits, start=start, watch=watch, solver=solver)
        return None if y is None else rounded(m, y), answer

    def near_bags(
        self,
        x: Floats,
        limits: Limits,
        watch: Watch,
        *,
        start: bool,
        within: int = 1,
        order: bool = True,
        shares: Bools | None = None,
        solver: Solver = solve_matrix,
    ) -> tuple[Floats | None, Answer]:
        """Open no lot for another recipe, and change no number of bags by more than `within`.

        What is planted where is free, or (`shares`) just some shares are, and with `order` what is
        ordered. With such shares, or where no number may change, part bags may get any recipe. `x`
        may be a relaxation's solution; where it is a plan it can be the start.
        """
        m = self.model
        matrix = m.matrix if order else order_held(m, x)
        low, high = bounds_near_bags(matrix, m.at["bags"], x, within)
        shut = ~self._open_pools(x, any_part=within == 0 or shares is not None)
        if shares is not None:
            shut |= ~np.append(shares, True)[self.share_of]
        self._shut(high, shut)
        return self._solve_within(x, (low, high), limits, watch, start=start, solver=solver)

    def _shut(self, high: Floats, choices: Bools) -> None:
        """Leave no acres to some choices, nor to shares that have no others."""
        m = self.model
        high[m.at["acres"][choices]] = 0.0
        closed = np.ones(len(self.field_of_share), dtype=bool)
        closed[self.share_of[~choices & (self.share_of >= 0)]] = False
        high[m.at["share"][closed]] = 0.0
        if len(m.at["bare"]):
            high[m.at["bare"][closed]] = 0.0

    def _solve_within(
        self,
        x: Floats,
        bounds: tuple[Floats, Floats],
        limits: Limits,
        watch: Watch,
        *,
        start: bool,
        solver: Solver,
    ) -> tuple[Floats | None, Answer]:
        """Solve with other bounds, what they leave no room held; from `x` where it can `start`."""
        matrix, (low, high) = self.model.matrix, bounds
        free = high > low
        z = np.where(free, x, low)
        within = replace(matrix, lower=low, upper=high)
        y, answer = solve_part(within, free, z, limits, start=start, watch=watch, solver=solver)
        return None if y is None else rounded(self.model, y), answer

    def _open_pools(self, x: Floats, *, any_part: bool) -> Bools:
        """Choices whose seed the solution treats, or was treated before, or goes untreated.

        With `any_part`, those too whose seed could be a part bag.
        """
        m, it = self.model, self.model.it
        is_open = np.zeros((len(it.lots), len(it.recipes) + 1), dtype=bool)
        is_open[:, it.untreated] = True
        for key in it.before:
            is_open[key] = True
        for key, value in m.values("bags", x):
            is_open[key] |= value > 0.5
        for key, value in m.values("part", x):
            is_open[key] |= any_part or value > 0.5
        for j, lot in enumerate(it.lots):
            is_open[j] |= lot.treated_with is not None
        return np.asarray(is_open[m.choices.lot, m.choices.recipe])

    def _hold_far_seed(self, free: Bools, fields: Bools) -> None:
        m = self.model
        near = np.asarray(self.suits[fields].any(axis=0))
        free[m.at["acres"][~fields[m.choices.field]]] = False
        for group, lots in self.lot_of.items():
            free[m.at[group][~near[lots]]] = False

    def fields_nearby(self, rng: np.random.Generator, size: int) -> Bools:
        """Some fields that compete for the same lots."""
        n = len(self.acres)
        near = self.suits @ self.suits[int(rng.integers(n))]
        chosen = np.zeros(n, dtype=bool)
        chosen[np.argsort(-near * (0.3 + rng.random(n)), kind="stable")[:size]] = True
        return chosen


def bounds_near_bags(matrix: Matrix, bags: Ints, x: Floats, within: int) -> tuple[Floats, Floats]:
    """Bounds of all columns; those of bags within so many of a solution's, 0 where it has none."""
    low, high = matrix.lower.copy(), matrix.upper.copy()
    number = np.round(x[bags])
    low[bags] = np.maximum(low[bags], number - within)
    high[bags] = np.where(number > 0.0, np.minimum(high[bags], number + within), 0.0)
    return low, high


def polish(
    incumbent: Incumbent, near: Neighborhood, x: Floats, budget: Budget, seed: int
) -> Floats | None:
    """Solve acres, bags and order again, every field's shares held."""
    none = np.zeros(len(near.acres), dtype=bool)
    y, _ = near.solve(x, none, budget.limits(1e-5, seed), Watch(incumbent))
    return y


def plant_short_fields(incumbent: Incumbent, near: Neighborhood, budget: Budget) -> None:
    """Free the shares of fields that are short: fewest acres short in turn, then the least cost.

    Shares of all other fields are held, seed and order are free. The incumbent has a plan.
    """
    model, x = near.model, incumbent.x
    assert x is not None
    fields, columns = x[model.at["short"]] > DUST, model.at["short_in"].tolist()
    solves = 1 + int((x[columns] > DUST).sum())
    each = replace(budget, seconds=budget.seconds / solves)
    limits = each.limits(incumbent.options.gap, incumbent.options.seed)

    def best(aim: Matrix) -> tuple[Floats, Answer]:
        assert incumbent.x is not None
        y, answer = near.solve(
            incumbent.x, fields, limits, Watch(incumbent), start=False, matrix=aim
        )
        incumbent.offer(y)
        return incumbent.x, answer

    def solve_one(aim: Matrix, place: int) -> Answer | None:
        if x[columns[place]] <= DUST:
            return None
        known, answer = best(aim)
        return replace(answer, x=known)

    def cap(place: int, answer: Answer | None) -> float:
        found = 0.0 if answer is None or answer.x is None else float(answer.x[columns[place]])
        return found if found > DUST else 0.0

    _, matrix = minimize_in_turn(model.matrix, columns, solve_one, cap)
    best(matrix)


def shrink_or_grow(size: int, answer: Answer, seconds: float, most: int) -> int:
    """Fit the number of freed fields to what can be solved in a moment."""
    if answer.verdict is Verdict.OPTIMAL and seconds < 1.5:
        return min(most, size + 2)
    return size if answer.verdict is Verdict.OPTIMAL else max(2, size - 2)


def repair(
    current: AnnealingState, near: Neighborhood, guide: Floats, rng: np.random.Generator
) -> list[list[Piece]]:
    """Pieces of a relaxation's solution, its rule-breaking fields placed again."""
    bad = near.breaking(guide)
    pieces = pieces_of(current, near.model, guide)
    tables = order_tables(current.it, discounts_taken(near.model, guide))
    current.use_tables(tables, 0.2)
    current.lay([[] if bad[f] else mine for f, mine in enumerate(pieces)])
    again = np.flatnonzero(bad).tolist() + free_lots(current)
    for f in sorted(again, key=lambda f: -current.acres[f]):
        current.place(f, rng)
    current.fit_parts()
    return current.pieces()


def free_lots(current: AnnealingState) -> list[int]:
    """Take fields off lots that are out of bags, small ones first; the fields taken off."""
    users: dict[int, set[int]] = {}
    for f, pieces in enumerate(current.pieces()):
        for piece in pieces:
            users.setdefault(int(current.choices.lot[piece.choice]), set()).add(f)
    taken: list[int] = []
    for lot, fields in sorted(users.items()):
        for f in sorted(fields - set(taken), key=lambda f: current.acres[f]):
            if current.tally.lot_bags[lot] <= current.facts.ceiling[lot]:
                break
            current.take(f)
            taken.append(f)
    return taken

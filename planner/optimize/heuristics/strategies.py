"""Ways to a better plan: each takes the state and a budget, and offers what it finds to the state.

None of them looks at the others, so they can be run in any order and left out at will.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from planner.optimize.annealing.decode import ORDER, lifted
from planner.optimize.annealing.order_tables import order_tables
from planner.optimize.annealing.state import SHORT_PRICE, Piece
from planner.optimize.incumbent.incumbent import short_slack
from planner.optimize.mip.highs import Limits, Verdict, Watch, now, reduced
from planner.optimize.mip.highs import solve as solve_matrix
from planner.optimize.model.program import without_field_rule
from planner.optimize.model.variables import qualifying

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from planner.optimize.annealing.moves import Tally
    from planner.optimize.annealing.state import Board
    from planner.optimize.incumbent.incumbent import State
    from planner.optimize.mip.highs import Answer, Bools, Floats, Matrix, Solver
    from planner.optimize.model.program import Model
    from planner.optimize.options import Stop

    Ints = NDArray[np.int64]

MOVES = 60
"""Moves on the board that count as much work as a node of branch and bound."""


@dataclass(frozen=True, slots=True)
class Budget:
    """How much a strategy may spend: seconds, or steps where work must be repeatable."""

    seconds: float
    steps: int | None = None

    def limits(self, gap: float, seed: int) -> Limits:
        """The same for one solve."""
        if self.steps is not None:
            return Limits(gap=gap, nodes=self.steps, seed=seed)
        return Limits(seconds=self.seconds, gap=gap, seed=seed)


@dataclass(frozen=True, slots=True)
class Phase:
    """A stretch of the search on the board: its share of the budget, smoothing, and heat."""

    share: float
    smooth: float
    heat: tuple[float, float]
    """First and last, as shares of a mean field's cost."""
    of_acres: bool = False
    """Heat is in acres short instead."""


COOLING = (
    Phase(0.4, 0.5, (0.12, 0.03)),
    Phase(0.2, 0.2, (0.06, 0.02)),
    Phase(0.4, 0.0, (0.06, 0.0012)),
)
"""From orders that can be cut to orders that can't, from rough to fine."""
FINE = (Phase(0.4, 0.1, (0.012, 0.003)), Phase(0.6, 0.0, (0.006, 0.0006)))
"""For a plan that is good already."""
FEWER_SHORT = (Phase(0.6, 0.2, (30.0, 0.1), of_acres=True), Phase(0.4, 0.0, (0.06, 0.0012)))
"""For as few acres short as can be."""
FINE_ACRES = (Phase(1.0, 0.1, (1.0, 0.03), of_acres=True),)
"""The same, from a plan that leaves few already."""


def plant_all(board: Board, rng: np.random.Generator) -> None:
    """Plant every field at the least cost, those with the fewest choices first."""
    x = board.facts
    for f in np.lexsort((-x.acres, np.diff(x.first), -x.short_price)).tolist():
        board.place(f, rng)
    board.fit_parts()


def pieces_of(board: Board, model: Model, x: Floats) -> list[list[Piece]]:
    """Take a solution apart into pieces for the board, where the board has its choices."""
    pieces: list[list[Piece]] = [[] for _ in board.acres]
    acres = x[model.at["acres"]]
    for t in np.flatnonzero(acres > 1e-7).tolist():
        pieces[int(model.choices.field[t])].append(Piece(t, float(acres[t])))
    return pieces


def discounts_taken(model: Model, x: Floats) -> dict[int, float]:
    """Share of the list price that the discounts of a solution take off, by container."""
    off: dict[int, float] = {}
    for level, value in model.values("level", x):
        if value > 0.5:
            for i in qualifying(model.it, level):
                off[i] = off.get(i, 0.0) + model.it.discounts[level].percent
    return off


@dataclass(frozen=True, slots=True)
class Errand:
    """One stretch of search on the board, complete with all that it starts from."""

    start: list[list[Piece]] | None
    """A plan to start from; None to plant all fields anew."""
    phases: tuple[Phase, ...]
    budget: Budget
    seed: int
    off: dict[int, float]
    """Share of the list price that discounts take off, by container."""
    most: dict[int, float]
    """Needs, fl oz by product, that are not to be passed if that can be helped."""
    samples: int = 0
    """How many plans that it comes by are to be kept, the best one apart."""


def anneal(
    board: Board, errand: Errand, stop: Stop, seen: list[Tally] | None = None
) -> list[list[Piece]]:
    """Search on the board, from a plan or from scratch; the best plan in pieces.

    Samples of what it comes by are added to `seen`.
    """
    rng = np.random.default_rng(errand.seed)
    tables = order_tables(board.it, errand.off)
    for p, need in errand.most.items():
        tables[p] = tables[p].up_to(need)
    board.use_tables(tables, errand.phases[0].smooth)
    if errand.start is None:
        plant_all(board, rng)
    else:
        board.lay(errand.start)
    pieces = board.pieces()
    budget = errand.budget
    for phase in errand.phases:
        board.use_tables(tables, phase.smooth)
        board.lay(pieces)
        scale = max(1.0, abs(board.cost)) / len(board.acres)
        scale = SHORT_PRICE if phase.of_acres else scale
        heat = (phase.heat[0] * scale, phase.heat[1] * scale)
        steps = None if budget.steps is None else max(1, int(MOVES * budget.steps * phase.share))
        more = _pace(stop, budget.seconds * phase.share, steps)
        if seen is not None:
            more = _sampled(board, more, seen, int(errand.samples * phase.share))
        pieces = board.improve(rng, heat, more, None if steps is None else MOVES)
    return pieces


def errand(
    state: State,
    board: Board,
    budget: Budget,
    rng: np.random.Generator,
    *,
    start: list[list[Piece]] | None = None,
    fine: bool = False,
    less: bool = False,
    acres: bool = False,
) -> Errand:
    """An errand from what is known: from a plan or none, fine or rough, with a container less.

    A fine one with `acres` looks for fewer acres short; a rough one always, until they are proven.
    """
    known = state.x is not None
    rough = FEWER_SHORT if state.is_short and not state.short_proven else COOLING
    near = FINE_ACRES if acres else FINE
    return Errand(
        start=start,
        phases=near if fine else rough,
        budget=budget,
        seed=int(rng.integers(2**31)),
        off=discounts_taken(state.model, state.x) if known and state.x is not None else {},
        most=container_less(state, rng) if known and less else {},
    )


def on_model(state: State, board: Board, pieces: list[list[Piece]]) -> Floats | None:
    """Pieces as a solution of the exact model, with the order that suits them."""
    off = discounts_taken(state.model, state.x) if state.x is not None else {}
    board.use_tables(order_tables(board.it, off))
    board.lay(pieces)
    return lifted(state.model, board, 5.0 if state.options.effort is None else np.inf)


def _pace(stop: Stop, seconds: float, steps: int | None) -> Callable[[int], float | None]:
    began = now()

    def more(step: int) -> float | None:
        done = (now() - began) / max(1e-3, seconds) if steps is None else step / steps
        return None if done >= 1.0 or stop.is_set() else done

    return more


def _sampled(
    board: Board, more: Callable[[int], float | None], seen: list[Tally], samples: int
) -> Callable[[int], float | None]:
    """The same pace, samples of the board being kept on the way."""
    taken = 0

    def watched(step: int) -> float | None:
        nonlocal taken
        done = more(step)
        if done is not None and done * samples >= taken + 1:
            taken += 1
            if board.keeps_limits():
                seen.append(board.snapshot())
        return done

    return watched


def container_less(state: State, rng: np.random.Generator) -> dict[int, float]:
    """A need that one container fewer of some product in the best plan's order would cover."""
    model, x = state.model, state.x
    assert x is not None
    at = {p.name: i for i, p in enumerate(model.it.products)}
    spares = []
    for (i, _), count in model.values("count", x):
        if count > 0.5:
            c = model.it.containers[i]
            p = at[c.product]
            bought = sum(
                n * (model.it.containers[j].size - model.it.containers[j].heel)
                for (j, _), n in model.values("count", x)
                if model.it.containers[j].product == c.product
            )
            spares.append((p, float(model.it.supply[p]) + bought - (c.size - c.heel)))
    if not spares:
        return {}
    p, most = spares[int(rng.integers(len(spares)))]
    return {p: most}


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
        solver: Solver = solve_matrix,
    ) -> tuple[Floats | None, Answer]:
        """Free the shares of some fields, hold those of the others.

        Seed is free too, or (`local`) only that of lots which the fields could take; so is the
        order.
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
        part, columns = reduced(m.matrix, free, z)
        answer = solver(part, limits, start=z[columns] if start else None, watch=watch)
        if answer.x is None:
            return None, answer
        z[columns] = answer.x
        return np.where(m.matrix.integer, np.round(z), z), answer

    def near_bags(
        self,
        x: Floats,
        limits: Limits,
        watch: Watch,
        *,
        start: bool,
        within: int = 1,
        order: bool = True,
        solver: Solver = solve_matrix,
    ) -> tuple[Floats | None, Answer]:
        """Open no lot for another recipe, and change no number of bags by more than `within`.

        Where that is none at all, part bags may get any recipe. What is planted where is free, and
        with `order` what is ordered. `x` may be a relaxation's solution; where it is a plan it can
        be the start.
        """
        m = self.model
        matrix = m.matrix if order else order_held(m, x)
        low, high = matrix.lower.copy(), matrix.upper.copy()
        at = m.at["bags"]
        bags = np.round(x[at])
        low[at] = np.maximum(low[at], bags - within)
        high[at] = np.where(bags > 0, np.minimum(high[at], bags + within), 0.0)
        self._shut(high, ~self._open_pools(x, any_part=within == 0))
        return self._solve_within(x, (low, high), limits, watch, start=start, solver=solver)

    def among(
        self, plans: list[Floats], limits: Limits, watch: Watch, solver: Solver = solve_matrix
    ) -> tuple[Floats | None, Answer]:
        """Plant every field only with what it has in any of some plans; all else is free.

        Goes on from the first of them.
        """
        m = self.model
        on = np.any([self.share_acres(x) > 1e-6 for x in plans], axis=0)
        high = m.matrix.upper.copy()
        self._shut(high, ~np.append(on, True)[self.share_of])
        bounds = (m.matrix.lower, high)
        return self._solve_within(plans[0], bounds, limits, watch, start=True, solver=solver)

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
        part, columns = reduced(replace(matrix, lower=low, upper=high), free, z)
        answer = solver(part, limits, start=z[columns] if start else None, watch=watch)
        if answer.x is None:
            return None, answer
        z[columns] = answer.x
        return np.where(matrix.integer, np.round(z), z), answer

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

    def around(self, rng: np.random.Generator, size: int) -> Bools:
        """Some fields that compete for the same lots."""
        n = len(self.acres)
        near = self.suits @ self.suits[int(rng.integers(n))]
        chosen = np.zeros(n, dtype=bool)
        chosen[np.argsort(-near * (0.3 + rng.random(n)), kind="stable")[:size]] = True
        return chosen


def in_order(model: Model) -> Ints:
    """Columns of the order that are whole."""
    columns = np.concatenate([model.at[group] for group in ORDER])
    return np.asarray(columns[model.matrix.integer[columns]], dtype=np.int64)


def order_held(model: Model, x: Floats) -> Matrix:
    """The model's program with the whole numbers of the order held at a solution's."""
    held = in_order(model)
    low, high = model.matrix.lower.copy(), model.matrix.upper.copy()
    low[held] = high[held] = np.round(x[held])
    return replace(model.matrix, lower=low, upper=high)


def capped(state: State) -> Model:
    """The model with the acres short of every priority held at the best known."""
    return state.model.bounded("short_in", short_caps(state))


def short_caps(state: State) -> Floats:
    """Upper bounds that hold the acres short at the fewest known.

    None at all is held exactly. Anything else gets a little slack: a bound that a solution just
    fits, or a tiny one, has made HiGHS cut off solutions that exist.
    """
    most = state.model.matrix.upper[state.model.at["short_in"]]
    short = np.array(state.short)
    return np.where(short > 1e-9, np.minimum(short + short_slack(len(short)), most), 0.0)


def polish(state: State, near: Neighborhood, x: Floats, budget: Budget, seed: int) -> Floats | None:
    """Solve acres, bags and order again, every field's shares held."""
    none = np.zeros(len(near.acres), dtype=bool)
    y, _ = near.solve(x, none, budget.limits(1e-5, seed), Watch(state))
    return y


def repair(
    board: Board, near: Neighborhood, guide: Floats, rng: np.random.Generator
) -> list[list[Piece]]:
    """Pieces of a relaxation's solution, its rule-breaking fields placed anew."""
    bad = near.breaking(guide)
    pieces = pieces_of(board, near.model, guide)
    tables = order_tables(board.it, discounts_taken(near.model, guide))
    board.use_tables(tables, 0.2)
    board.lay([[] if bad[f] else mine for f, mine in enumerate(pieces)])
    anew = np.flatnonzero(bad).tolist() + free_lots(board)
    for f in sorted(anew, key=lambda f: -board.acres[f]):
        board.place(f, rng)
    board.fit_parts()
    return board.pieces()


def free_lots(board: Board) -> list[int]:
    """Take fields off lots that are out of bags, small ones first; the fields taken off."""
    users: dict[int, set[int]] = {}
    for f, pieces in enumerate(board.pieces()):
        for piece in pieces:
            users.setdefault(int(board.choices.lot[piece.choice]), set()).add(f)
    taken: list[int] = []
    for lot, fields in sorted(users.items()):
        for f in sorted(fields - set(taken), key=lambda f: board.acres[f]):
            if board.tally.lot_bags[lot] <= board.facts.ceiling[lot]:
                break
            board.take(f)
            taken.append(f)
    return taken


def shrink_or_grow(size: int, answer: Answer, seconds: float, most: int) -> int:
    """Fit the number of freed fields to what can be solved in a moment."""
    if answer.verdict is Verdict.OPTIMAL and seconds < 1.5:
        return min(most, size + 2)
    return size if answer.verdict is Verdict.OPTIMAL else max(2, size - 2)

"""How few acres stay short at least, bags left out, and what then stands where.

A relaxation that keeps the field rule: which fields use up the seed of every variety. Recipes are
not told apart, bags may be cut, and products are left out, so it is small, and where seed is short
mostly little is between it and the full problem.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from planner.optimize.bounds.relaxations import fewest_in_turn
from planner.optimize.mip.highs import INFINITE, Limits, Matrix, Verdict, Watch, now
from planner.optimize.mip.part import solve_part
from planner.optimize.mip.verified import verified
from planner.optimize.model.instance import spread_rules, units_to_treat
from planner.optimize.params import TUNED

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from planner.optimize.incumbent.budgets import Budget
    from planner.optimize.incumbent.incumbent import Incumbent
    from planner.optimize.mip.highs import Floats, Solver
    from planner.optimize.model.instance import Instance
    from planner.optimize.model.program import Model
    from planner.optimize.options import Stop
    from planner.optimize.params import ShortageParams

    Ints = NDArray[np.int64]
    Bools = NDArray[np.bool_]

CLOSE = 1e-5
"""Its gap."""
MOST_PROBES = 20
"""Solutions after which so many pairs are possible that it is no use to go on."""


@dataclass(frozen=True, slots=True)
class AggregatedProgram:
    """The relaxation as a program, without any cost."""

    matrix: Matrix
    field: Ints
    """Of every pair of a field and a variety that suits it."""
    variety: Ints
    short: Ints
    """Columns of acres short, by field."""
    whether: Ints
    """Columns that say whether the field has the variety, by pair."""
    acres: Ints
    """Columns of acres of the variety in the field, by pair."""
    short_in: Ints
    """Columns of acres short, by priority."""
    least: Floats
    """Acres of the smallest share, by pair."""
    most: float
    """Varieties of a field."""

    def given(self, x: Floats, it: Instance) -> Bools:
        """Whether a field has a variety, by field and variety."""
        has = np.zeros((len(it.fields), len(it.varieties)), dtype=bool)
        on = x[self.whether] > 0.5
        has[self.field[on], self.variety[on]] = True
        return has

    def of(self, model: Model, x: Floats) -> Floats:
        """Write a plan in the columns of this."""
        it, c = model.it, model.choices
        width = len(it.varieties)
        pairs = self.field * width + self.variety
        at = np.searchsorted(pairs, c.field * width + it.variety_of[c.lot])
        acres = np.bincount(at, x[model.at["acres"]], len(pairs))
        z = np.zeros(self.matrix.n_columns)
        z[self.acres], z[self.whether] = acres, acres > 1e-7
        z[self.short], z[self.short_in] = x[model.at["short"]], x[model.at["short_in"]]
        return z


def aggregated_program(model: Model) -> AggregatedProgram:
    r"""Write the relaxation down.

    .. math:: \sum_v a_{fv} + h_f = A_f, \quad \sum_v y_{fv} \le K, \quad
        m_f y_{fv} \le a_{fv} \le A_f y_{fv}, \quad \sum_{f \in p} h_f = H_p, \quad
        \sum_f a_{fv} \min_l \lambda_l u_{fl} \le \sum_l \lambda_l S_l, \quad
        \sum_{f, v} a_{fv} \le share \cdot \sum_f (A_f - h_f)

    The last for varieties all of whose lots a rule of spread counts. Columns are :math:`h`,
    :math:`y`, :math:`a`, :math:`H`; on :math:`\lambda` see `seed_rows`.
    """
    it = model.it
    owner, variety = _pairs(it)
    acres = np.array([f.acres for f in it.fields])
    farm = it.season.farm
    least = np.minimum(max(farm.smallest_split, farm.smallest_lot_share), acres)
    priorities = np.array(model.keys["short_in"])
    own = np.searchsorted(priorities, [f.priority for f in it.fields])
    seed_row, pair, units, there_is = seed_rows(it, owner, variety)
    share, rule, of_rule = _wholly_spread(it, variety)
    n, k, p, s, r = len(acres), len(owner), len(priorities), len(there_is), len(share)
    h, y, a, total = np.split(np.arange(n + 2 * k + p), [n, n + k, n + 2 * k])
    rows = 2 * n + 2 * k + s + p + r
    full, few, within, above, seed, added, spread = np.split(
        np.arange(rows), np.cumsum([n, n, k, k, s, p])
    )
    blocks = [
        (full, h, np.ones(n)),
        (full[owner], a, np.ones(k)),
        (few[owner], y, np.ones(k)),
        (within, a, np.ones(k)),
        (within, y, -acres[owner]),
        (above, a, np.ones(k)),
        (above, y, -least[owner]),
        (seed[seed_row], a[pair], units),
        (added[own], h, np.ones(n)),
        (added, total, -np.ones(p)),
        (spread[rule], a[of_rule], np.ones(len(rule))),
        (np.repeat(spread, n), np.tile(h, r), np.repeat(share, n)),
    ]
    row, column, value = (np.concatenate(part) for part in zip(*blocks, strict=True))
    whole = np.zeros(n + 2 * k + p, dtype=bool)
    whole[y] = True
    low, high = np.full(rows, -INFINITE), np.full(rows, INFINITE)
    low[full], low[above], low[added] = acres, 0.0, 0.0
    high[full], high[within], high[added] = acres, 0.0, 0.0
    high[few] = most = it.season.farm.max_varieties or INFINITE
    high[seed], high[spread] = there_is, share * acres.sum()
    upper = np.concatenate([acres, np.ones(k), acres[owner], np.full(p, acres.sum())])
    matrix = _without_rows(upper, whole).with_rows((row, column, value), low, high)
    return AggregatedProgram(matrix, owner, variety, h, y, a, total, least[owner], most)


def _pairs(it: Instance) -> tuple[Ints, Ints]:
    """Field and variety of every pair of which some lot and recipe suit."""
    suits = np.zeros((len(it.fields), len(it.varieties)), dtype=bool)
    for _, c in it.choices.blocks():
        suits[c.field, it.variety_of[c.lot]] = True
    owner, variety = np.nonzero(suits)
    return owner, variety


def _wholly_spread(it: Instance, variety: Ints) -> tuple[Floats, Ints, Ints]:
    """Rules of spread: the share of each; rule and pair where it counts all lots of the variety."""
    share, member = spread_rules(it)
    inside = [[m[it.variety_of == v].all() for v in range(len(it.varieties))] for m in member]
    rule, pair = np.nonzero(
        np.reshape(np.array(inside, dtype=bool), (len(share), len(it.varieties)))[:, variety]
    )
    return share, rule, pair


def _without_rows(upper: Floats, integer: Bools) -> Matrix:
    """A program of columns from nought to their upper bounds that cost nothing."""
    n = len(upper)
    return Matrix(
        cost=np.zeros(n),
        lower=np.zeros(n),
        upper=upper,
        integer=integer,
        row_lower=np.zeros(0),
        row_upper=np.zeros(0),
        start=np.zeros(n + 1, dtype=np.int64),
        row=np.zeros(0, dtype=np.int64),
        value=np.zeros(0),
    )


def seed_rows(it: Instance, owner: Ints, variety: Ints) -> tuple[Ints, Ints, Floats, Floats]:
    r"""What the seed of a variety's lots allows, the lots not told apart.

    Every :math:`\lambda \ge 0` gives a row that holds: a lot's seed counts :math:`\lambda_l`. Units
    an acre are the same for all lots where seeds are set, and go with 1 / germination where plants
    are; the latter do best with the lots that germinate best. So one row for every lot, whose
    :math:`\lambda` is its germination beside this lot's, at least 1, says all there is to say where
    lots of a variety suit the same fields. Entries by row, pair and units an acre; then the seed.
    """
    c = it.choices
    units = np.full((len(it.fields), len(it.lots)), np.inf)
    units[c.field, c.lot] = c.units
    have = seed_there_is(it)
    germination = np.array([lot.germination or 1.0 for lot in it.lots])
    none = np.zeros(0, dtype=np.int64)
    parts: list[tuple[Ints, Ints, Floats]] = [(none, none, np.zeros(0))]
    seed: list[float] = []
    for v in np.unique(variety).tolist():
        lots, mine = np.flatnonzero(it.variety_of == v), np.flatnonzero(variety == v)
        for other in np.unique(germination[lots]).tolist():
            weight = np.maximum(1.0, germination[lots] / other)
            row = np.full(len(mine), len(seed))
            parts.append((row, mine, (units[np.ix_(owner[mine], lots)] * weight).min(axis=1)))
            seed.append(float(weight @ have[lots]))
    rows, pairs, values = (np.concatenate(part) for part in zip(*parts, strict=True))
    return rows, pairs, values, np.array(seed)


def seed_there_is(it: Instance) -> Floats:
    """Units of every lot that can be had, treated before or not."""
    seed = units_to_treat(it)
    for (lot, _), units in it.before.items():
        seed[lot] += units
    return seed


def least_short_aggregated(
    incumbent: Incumbent,
    program: AggregatedProgram,
    seconds: float,
    nodes: int | None,
    solver: Solver,
    stop: Stop | None = None,
) -> tuple[Floats | None, Floats]:
    """The relaxation's solution, and acres short that no plan has fewer than.

    As `relaxations.least_short`: by priority, every figure for plans that leave no more short in
    those before it. The solution is None where nothing was found in time.
    """
    return fewest_in_turn(
        incumbent, program.matrix, program.short_in.tolist(), seconds, nodes, solver, stop
    )


def possible_pairs(
    program: AggregatedProgram, short: Floats, limits: Limits, solver: Solver, stop: Stop
) -> Bools | None:
    """Pairs of a field and a variety that any plan with no more acres short than that may have.

    Probing (M. W. P. Savelsbergh, "Preprocessing and probing techniques for mixed integer
    programming problems", ORSA Journal on Computing 6, 1994, from memory): solutions with a pair
    that none before had, until there are no more. Where seed is short and fields have one variety,
    often one solution is all there is.

    Parameters
    ----------
    short
        Acres short at the most, by priority.
    limits
        Seconds of all solves together; nodes of each.

    Returns
    -------
    Shape (pairs,); None where time or work ran out, two kinds of solve did not agree, or so many
    solutions were found that little can be ruled out.
    """
    until, seen = now() + limits.seconds, np.zeros(len(program.field), dtype=bool)
    upper, cost = program.matrix.upper.copy(), np.zeros(program.matrix.n_columns)
    upper[program.short_in] = np.minimum(upper[program.short_in], short)
    cost[program.short_in] = 1.0  # any solution will do, but so aimed HiGHS sees sooner if none is
    matrix = replace(program.matrix, upper=upper, cost=cost)
    for _ in range(MOST_PROBES):
        other = program.whether[~seen]
        one_of_them = np.zeros(len(other), dtype=np.int64), other, np.ones(len(other))
        probe = matrix.with_rows(one_of_them, np.array([1.0]), np.array([INFINITE]))
        limits = replace(
            limits, seconds=until - now(), gap=0.0, target=float(short.sum()), restarts=False
        )
        at_once = limits.nodes is None
        answer = verified(probe, limits, Watch(stop), solver, at_once=at_once)
        if answer.verdict is Verdict.INFEASIBLE:
            return seen
        if answer.x is None or now() >= until:
            return None
        seen |= answer.x[program.whether] > 0.5
        if seen.all():
            return seen
    return None


def columns_without(model: Model, program: AggregatedProgram, pairs: Bools) -> Bools:
    """Columns of a model that are zero where fields have only varieties of some pairs."""
    it, c = model.it, model.choices
    other = np.ones((len(it.fields), len(it.varieties)), dtype=bool)
    other[program.field[pairs], program.variety[pairs]] = False
    columns = np.zeros(model.matrix.n_columns, dtype=bool)
    columns[model.at["acres"]] = other[c.field, it.variety_of[c.lot]]
    for group in ("share", "bare", "lot_share"):
        keys = np.array(model.keys[group], dtype=np.int64).reshape(-1, 3)
        variety = it.variety_of[keys[:, 1]] if group == "lot_share" else keys[:, 1]
        columns[model.at[group]] = other[keys[:, 0], variety]
    return columns


class AggregatedSearch:
    """Looks for a better solution of the relaxation, a few varieties at a time.

    Several threads may work on the same one, each with a solver and random numbers of its own.
    """

    def __init__(
        self,
        program: AggregatedProgram,
        weights: Floats,
        x: Floats,
        params: ShortageParams = TUNED.shortage,
    ) -> None:
        """Start from a solution; weights of an acre short are by priority."""
        cost = np.zeros(program.matrix.n_columns)
        cost[program.short_in] = weights
        self.program, self.x, self.params = program, x, params
        self.matrix = replace(program.matrix, cost=cost)
        self.ended = False
        """Whether all varieties together gave nothing better."""
        self.bound = -INFINITE
        """Cost that no solution is below."""
        self.least: Floats | None = None
        """Fewest acres short, by priority, where the whole of it was solved."""
        suits = np.zeros((program.field.max() + 1, program.variety.max() + 1))
        suits[program.field, program.variety] = 1.0
        self.near = suits.T @ suits
        """How many fields two varieties have in common."""
        self._lock = threading.Lock()

    @property
    def is_done(self) -> bool:
        """Whether there is next to nothing better to be found."""
        cost = self.matrix.price(self.x)
        return self.ended or cost - self.bound <= CLOSE * abs(cost)

    def work(self, budget: Budget, stop: Stop, rng: np.random.Generator, solver: Solver) -> None:
        """Go on for as long as is said."""
        params = self.params
        fewest, size = params.varieties
        until, tries = now() + budget.seconds, 0
        most = np.inf if budget.steps is None else budget.steps // params.try_steps
        while tries < most and now() < until and not stop.is_set() and not self.is_done:
            x, began = self.x, now()
            varieties = self._some(rng, int(size + rng.random()))
            limits = Limits(gap=CLOSE, nodes=params.try_nodes, seed=int(rng.integers(2**31)))
            if budget.steps is None:
                limits = replace(limits, seconds=min(params.long, until - began), nodes=None)
            proven = self._solve(x, self._free(x, varieties), limits, stop, solver, start=True)
            self.ended |= proven and bool(varieties.all())
            quick = proven and (budget.steps is not None or now() - began < params.quick)
            grown, shrunk = size + params.grow, size - params.shrink
            size = min(grown, len(self.near)) if quick else max(fewest, shrunk)
            tries += 1

    def follow(self, limits: Limits, stop: Stop, solver: Solver) -> None:
        """Cut what must be whole; hold the fields that keep the rule then, and fill the others."""
        p = self.program
        cut = solver(self.matrix.linear, limits, watch=Watch(stop))
        x = cut.x
        if x is None or stop.is_set():
            return
        on = x[p.acres] > 1e-7
        bad = np.bincount(p.field[on], minlength=len(p.short)) > p.most
        bad[p.field[on & (x[p.acres] < p.least - 1e-6)]] = True
        held = ~bad[p.field]
        x[p.whether] = on
        x[p.acres[~on]] = 0.0
        free = np.ones(len(x), dtype=bool)
        free[p.whether[held]] = free[p.acres[held & ~on]] = False
        self._solve(x, free, limits, stop, solver, start=False)
        self.bound = cut.bound

    def _solve(
        self, x: Floats, free: Bools, limits: Limits, stop: Stop, solver: Solver, *, start: bool
    ) -> bool:
        """Look for a better solution with some columns free; whether it was solved to the end."""
        watch = Watch(stop)
        y, answer = solve_part(
            self.matrix, free, x, limits, start=start, watch=watch, solver=solver
        )
        if y is not None:
            self.offer(y)
        return answer.verdict is Verdict.OPTIMAL

    def offer(self, x: Floats) -> None:
        """Take a solution over if it is no worse."""
        with self._lock:
            if self.matrix.price(x) <= self.matrix.price(self.x):
                self.x = np.where(self.matrix.integer, np.round(x), x)

    def _some(self, rng: np.random.Generator, size: int) -> Bools:
        """Some varieties that suit the same fields."""
        chosen = np.zeros(len(self.near), dtype=bool)
        chosen[int(rng.choice(np.flatnonzero(self.near.diagonal())))] = True
        while chosen.sum() < size:
            weight = np.where(chosen, 0.0, self.near[chosen].sum(axis=0))
            if not weight.any():
                break
            chosen[int(rng.choice(len(weight), p=weight / weight.sum()))] = True
        return chosen

    def _free(self, x: Floats, varieties: Bools) -> Bools:
        """Columns of some varieties in the fields that have one of them or are short."""
        p = self.program
        fields = x[p.short] > 1e-6
        mine = varieties[p.variety]
        fields[p.field[mine & (x[p.whether] > 0.5)]] = True
        pairs = fields[p.field] & mine
        free = np.zeros(len(x), dtype=bool)
        free[p.whether[pairs]] = free[p.acres[pairs]] = True
        free[p.short[fields]] = free[p.short_in] = True
        return free

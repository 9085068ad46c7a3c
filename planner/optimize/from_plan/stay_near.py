"""Planning again near an old assignment: keep first, then move only what pays.

Three programs, one after the other, over the season's exact model and one more variable for every
old share: the acres of it that are not kept.

1. The fewest acres that must move, whatever it costs, with as few acres short as can be.
2. The cheapest plan that moves no more than those.
3. The cheapest plan where every acre moved beyond them is charged what moving must save.

What of its moves is not worth it is put back, and what each of the others saves is found out
(`planner.optimize.from_plan.each_move`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from planner.optimize.from_plan.acres_moved import Terms, make_moving
from planner.optimize.from_plan.each_move import Moves
from planner.optimize.from_plan.warm_start import proven_bound
from planner.optimize.mip.highs import Limits, Watch, knowing, now, solve
from planner.optimize.mip.part import solve_part
from planner.optimize.mip.verified import verified
from planner.optimize.model.program import PLANTING
from planner.plan.moves import ACRE
from planner.plan.plan import CENT, PROVEN_GAP

if TYPE_CHECKING:
    from collections.abc import Mapping

    from planner.optimize.from_plan.acres_moved import Moving
    from planner.optimize.from_plan.each_move import Step
    from planner.optimize.mip.highs import Answer, Floats, Matrix
    from planner.optimize.options import SolveOptions, Stop
    from planner.plan.moves import Share
    from planner.plan.plan import Plan
    from planner.season.domain import Season

GAP = 1e-6
BOUGHT = ("count", "reached", "bought")
"""Containers and seed to buy."""
BAGS = (*BOUGHT, "bags", "part")
"""The order, and what is treated."""


@dataclass(frozen=True, slots=True)
class Stay:
    """A plan near an old assignment."""

    plan: Plan
    kept: Plan
    """The cheapest one found that moves only what must."""
    bound: float
    """Proven: every plan with as few acres short moves as many acres."""
    steps: tuple[Step, ...]
    """What it moves beyond `kept`, in the order in which it would be moved."""


def stay(
    season: Season,
    known: tuple[Plan, ...],
    old: Mapping[Share, float],
    terms: Terms,
    options: SolveOptions,
    stop: Stop | None = None,
) -> Stay:
    """Keep what need not change of an old assignment, and move what pays.

    Parameters
    ----------
    known
        Plans of the season, alike in acres short; the first one's acres short are kept to, and its
        bound is passed on. The first of two that are as good is preferred.
    old
        Acres by (field, lot, recipe); what the season no longer allows counts as moved.
    """
    moving = make_moving(season, known, old, options.params.stay.whole_model)
    clock, (_, _, second, _, fourth) = _Clock(options, now(), stop), options.params.stay.ends
    pool = list(known)
    fewest, bound = _fewest(moving, pool, clock)
    least = known[0].bound
    kept = _cheapest(moving, pool, Terms(0.0, fewest), least, clock.until(second), stop)
    cap = None if terms.most is None else max(terms.most, fewest)
    terms = Terms(terms.worth, cap)
    least += terms.worth * bound
    _near_known_plans(moving, pool, terms, least, clock)
    _cheapest(moving, pool, terms, least, clock.until(fourth), stop)
    best = _best(moving, pool, terms)
    moves = Moves(
        moving,
        kept,
        best,
        terms,
        clock.each,
        lambda: clock.over,
        stop,
        options.params.stay.most_tried,
    )
    plan, steps = moves.taken_apart()
    return Stay(plan, kept, min(bound, moving.moved(plan)), steps)


@dataclass(frozen=True, slots=True)
class _Clock:
    """When each step has to come to an end."""

    options: SolveOptions
    began: float
    stop: Stop | None

    def until(self, share: float, most: float = np.inf) -> Limits:
        """What is left until a share of the time, or the steps of the search in its place."""
        options = self.options
        if options.effort is not None:
            return Limits(1e6, GAP, options.effort, seed=options.seed)
        left = self.began + share * options.seconds - now()
        return Limits(max(options.params.stay.each[0], min(left, most)), GAP, seed=options.seed)

    def proven(self, matrix: Matrix, limits: Limits, watch: Watch) -> Answer:
        """Solve a program in two ways: what is proven counts where both agree."""
        return verified(matrix, limits, watch, at_once=self.options.effort is None)

    def each(self) -> Limits:
        """For one of the solves that tell moves apart: enough is left for some more of them."""
        left = self.began + self.options.seconds - now()
        least, most = self.options.params.stay.each
        return self.until(1.0, max(least, min(most, left / 3)))

    @property
    def over(self) -> bool:
        """Whether there is no time left, or the user wants to stop."""
        late = self.options.effort is None and now() - self.began >= self.options.seconds
        return late or (self.stop is not None and self.stop.is_set())


def _fewest(moving: Moving, pool: list[Plan], clock: _Clock) -> tuple[float, float]:
    """Find the fewest acres that must move, and prove how few that is; the plan joins the pool."""
    nearest = min(pool, key=moving.moved)
    if moving.moved(nearest) <= moving.gone + ACRE:
        return moving.moved(nearest), moving.gone
    matrix = moving.counting
    watch = _watch(matrix, moving.columns(nearest), clock.stop)
    answer = clock.proven(matrix, clock.until(clock.options.params.stay.ends[0]), watch)
    if answer.x is not None:
        pool.append(moving.plan(_bagged(moving, answer.x, clock)))
    bound = max(0.0, proven_bound(answer)) if moving.wide else 0.0
    return min(map(moving.moved, pool)), moving.gone + bound


def _bagged(moving: Moving, x: Floats, clock: _Clock) -> Floats:
    """Find the cheapest bags and order for the acres of a solution that did not look at costs."""
    free, limits = ~moving.of(PLANTING), clock.until(clock.options.params.stay.ends[1])
    y, _ = solve_part(moving.aimed(0.0), free, x, limits, known=True, watch=Watch(clock.stop))
    return x if y is None else y


def _cheapest(
    moving: Moving,
    pool: list[Plan],
    terms: Terms,
    least: float,
    limits: Limits,
    stop: Stop | None,
) -> Plan:
    """Find the plan of the least cost, with what moving is worth; new ones join the pool.

    `least` is proven: no plan scores less.
    """
    best = _best(moving, pool, terms)
    score = moving.score(best, terms.worth)
    if score - least > PROVEN_GAP * max(1.0, abs(score)):
        matrix = moving.capped(moving.aimed(terms.worth), terms.most)
        answer = solve(matrix, limits, watch=_watch(matrix, moving.columns(best), stop))
        if answer.x is not None:
            pool.append(moving.plan(answer.x))
    return _best(moving, pool, terms)


def _near_known_plans(
    moving: Moving, pool: list[Plan], terms: Terms, least: float, clock: _Clock
) -> None:
    """Solve the third program near the best plans known; what is found joins the pool.

    First with their bags and order, where only acres are left to decide, then with their order
    alone: both are much easier than the whole, and lead to better plans in the same time.
    """
    matrix = moving.capped(moving.aimed(terms.worth), terms.most)
    params = clock.options.params.stay
    (_, _, second, third, _), orders = params.ends, params.orders
    steps = [held for held in (BAGS, BOUGHT) for _ in range(orders)]
    for n, held in enumerate(steps):
        ranked = sorted(pool, key=lambda plan: moving.score(plan, terms.worth))
        score = moving.score(_best(moving, pool, terms), terms.worth)
        done = score - least <= PROVEN_GAP * max(1.0, abs(score))
        if done or clock.over or n % orders >= len(ranked):
            continue
        plan = ranked[n % orders]
        x = moving.columns(plan)
        if x is None:
            continue
        known = moving.moved(plan) <= _most(terms)
        limits = clock.until(second + (third - second) * (n + 1) / len(steps))
        watch = Watch(clock.stop)
        y, _ = solve_part(matrix, ~moving.of(held), x, limits, known=known, watch=watch)
        if y is not None:
            pool.append(moving.plan(y))


def _most(terms: Terms) -> float:
    return np.inf if terms.most is None else terms.most + ACRE


def _best(moving: Moving, pool: list[Plan], terms: Terms) -> Plan:
    """Take the best plan within the cap; of those as good to the cent the one known first."""
    inside = [plan for plan in pool if moving.moved(plan) <= _most(terms)]
    best = inside[0]
    for plan in inside[1:]:
        if moving.score(plan, terms.worth) < moving.score(best, terms.worth) - CENT:
            best = plan
    return best


def _watch(matrix: Matrix, x: Floats | None, stop: Stop | None) -> Watch:
    return Watch(stop) if x is None else Watch(stop, better=knowing(matrix, x))

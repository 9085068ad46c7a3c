"""Of all plans that cost little more than a known one, the one that moves the fewest acres."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from planner.optimize.extract import make_plan
from planner.optimize.instance import make_instance
from planner.optimize.model import make_model
from planner.optimize.solver import Limits, Matrix, Watch, knowing, now, solve
from planner.optimize.start import columns_of, proven_bound, settled_around, share_names, short_as

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from planner.optimize.instance import Instance
    from planner.optimize.model import Model
    from planner.optimize.options import SolveOptions, Stop
    from planner.optimize.solver import Floats
    from planner.plan.plan import Plan
    from planner.season.domain import Season

WHOLE_MODEL = 6_000
"""Choices up to which every one of them stays open; beyond, only those near the two plans."""
DUST = 1e-7


@dataclass(frozen=True, slots=True)
class Stay:
    """A plan near an old assignment."""

    plan: Plan
    moved: float
    """Acres of the old assignment that it does not keep."""
    moved_floor: float
    """Proven: every plan within the cost allowed moves as many."""


def stay(
    season: Season,
    best: Plan,
    old: Mapping[tuple[str, str, str], float],
    most_cost: float,
    options: SolveOptions,
    stop: Stop | None = None,
) -> Stay:
    """Keep as many acres of an old assignment as a cost allows, then be as cheap as that permits.

    Parameters
    ----------
    best
        A plan of the season; its acres short are kept to, its floor is passed on.
    old
        Acres by (field, lot, recipe); what the season no longer allows counts as moved.
    most_cost
        Total that the plan may cost, at least that of `best`.
    """
    end = now() + options.seconds
    model, wide = _model(make_instance(season), best, old)
    model = short_as(model, best)
    x = columns_of(model, best)
    moved, floor = _moved(old, best), 0.0
    for limit in (np.inf, most_cost):  # often the nearest plan of all is cheap enough already
        if x is None:
            break
        aim = _moving(model, old, limit)
        left = (end - now()) * (0.5 if limit == np.inf else 1.0)
        plan, bound = _nearest(model, aim, x, best, Limits(left, 1e-6, seed=options.seed), stop)
        floor = max(floor, aim.gone + (bound if wide else 0.0))
        if plan is not None and plan.cost.total <= most_cost + 1e-6 * max(1.0, abs(most_cost)):
            if _moved(old, plan) < moved:
                return Stay(plan, _moved(old, plan), min(_moved(old, plan), floor))
            break
    return Stay(best, moved, min(moved, floor))


def _nearest(
    model: Model, aim: _Aim, x: Floats, best: Plan, limits: Limits, stop: Stop | None
) -> tuple[Plan | None, float]:
    """Move as few acres as an aim allows, then be as cheap; the plan and the fewest proven."""
    end = now() + limits.seconds
    start = np.concatenate([x, np.maximum(0.0, aim.want - x[aim.of])])
    limits = replace(limits, seconds=max(0.1, limits.seconds * 0.7))
    watch = Watch(stop, better=knowing(aim.matrix, start))
    first = solve(aim.matrix, limits, watch=watch)
    if first.x is None:
        return None, 0.0
    limits = replace(limits, seconds=max(0.1, end - now()))
    held = _held(aim, first.x, model)
    second = solve(held, limits, watch=Watch(stop, better=knowing(held, first.x)))
    found = second.x if second.x is not None else first.x
    rounded = settled_around(model, found[: model.matrix.n_columns])
    plan = make_plan(model, rounded, best.bound, shortage_proven=best.shortage_proven)
    return plan, max(0.0, proven_bound(first))


def _moved(old: Mapping[tuple[str, str, str], float], plan: Plan) -> float:
    now_: dict[tuple[str, str, str], float] = {}
    for p in plan.planting:
        key = p.field, p.lot, p.recipe
        now_[key] = now_.get(key, 0.0) + p.acres
    return sum(max(0.0, acres - now_.get(key, 0.0)) for key, acres in old.items())


def _model(
    it: Instance, best: Plan, old: Mapping[tuple[str, str, str], float]
) -> tuple[Model, bool]:
    """Write the exact model; of a large season over the shares of both plans only."""
    if len(it.choices) <= WHOLE_MODEL:
        return make_model(it), True
    variety = {lot.name: lot.variety for lot in it.lots}
    near = {(p.field, variety[p.lot], p.recipe) for p in best.planting}
    near |= {(f, variety[lot], r) for f, lot, r in old if lot in variety}
    keep = [(f, variety[lot], r) in near for f, lot, r in share_names(it, it.choices)]
    return make_model(it, it.choices.only(np.array(keep))), False


@dataclass(frozen=True, slots=True, eq=False)
class _Aim:
    """The program that counts acres moved: columns behind the model's own, one per old share."""

    matrix: Matrix
    of: NDArray[np.int64]
    """Column of the acres that each old share is held against."""
    want: Floats
    gone: float
    """Acres that can't be kept, as the season no longer allows them."""


def _moving(model: Model, old: Mapping[tuple[str, str, str], float], most_cost: float) -> _Aim:
    """Write the program whose cost is the acres moved.

    Each old share of w acres gets m >= w - a, with the total cost under `most_cost`.
    """
    names = share_names(model.it, model.choices)
    place = {name: int(model.at["acres"][t]) for t, name in enumerate(names)}
    pairs = sorted((place[key], acres) for key, acres in old.items() if key in place)
    gone = sum(acres for key, acres in old.items() if key not in place)
    of = np.array([j for j, _ in pairs], dtype=np.int64)
    want = np.array([a for _, a in pairs], dtype=np.float64)
    base, n, extra = model.matrix, model.matrix.n_columns, len(of)
    priced = np.flatnonzero(base.cost)
    own = np.arange(extra)
    entries = (
        np.concatenate([own, own, np.full(len(priced), extra)]),
        np.concatenate([of, n + own, priced]),
        np.concatenate([np.ones(2 * extra), base.cost[priced]]),
    )
    wide = replace(base, cost=np.zeros(n), offset=0.0).with_columns(
        np.ones(extra), np.zeros(extra), want
    )
    matrix = wide.with_rows(
        entries,
        np.append(want, -np.inf),
        np.append(np.full(extra, np.inf), most_cost - base.offset),
    )
    return _Aim(matrix, of, want, gone)


def _held(aim: _Aim, x: Floats, model: Model) -> Matrix:
    """The program that is as cheap as can be with no more acres moved, share by share."""
    upper = aim.matrix.upper.copy()
    n = model.matrix.n_columns
    upper[n:] = np.minimum(upper[n:], np.maximum(0.0, x[n:]) + DUST)
    cost = np.concatenate([model.matrix.cost, np.zeros(len(aim.of))])
    return replace(aim.matrix, cost=cost, upper=upper, offset=model.matrix.offset)

"""The second-best whole order for what a plan needs, found exactly."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from planner.optimize.from_plan.warm_start import columns_of, share_names
from planner.optimize.mip.highs import Limits, Verdict, now, reduced, solve
from planner.optimize.model.extract import counts
from planner.optimize.model.instance import make_instance
from planner.optimize.model.program import PURCHASE, make_model
from planner.optimize.params import TUNED

if TYPE_CHECKING:
    from planner.plan.plan import Plan
    from planner.season.domain import Season


class RunnerUp(NamedTuple):
    """An order that covers the plan's needs and is not the plan's with something added."""

    counts: dict[tuple[str, str], int]
    """By (product, container)."""
    more: float
    """Cost over the plan's."""
    proven: bool
    """Whether no other such order is cheaper."""


def second_best_order(season: Season, plan: Plan) -> RunnerUp | None:
    """Find the cheapest order, needs held, that has less of something than the plan's.

    Every other order contains the plan's whole, so it only wastes. One small program is solved
    for each container ordered, with one less of it allowed. None where nothing else covers.
    """
    end = now() + TUNED.strategies.runner_up
    it = make_instance(season)
    planted = {(p.field, p.lot, p.recipe) for p in plan.planting}
    treated = {(t.lot, t.recipe) for t in plan.treating}
    names = share_names(it, it.choices)
    keep = [(f, j, r) in planted or (j, r) in treated for f, j, r in names]
    model = make_model(it, it.choices.only(np.array(keep, dtype=bool)))
    x = columns_of(model, plan)
    if x is None:
        return None
    part, columns = reduced(model.matrix, model.of(PURCHASE), x)
    place = {int(j): n for n, j in enumerate(columns)}
    mine = plan.counts
    best: RunnerUp | None = None
    proven = True
    for i, c in enumerate(it.containers):
        most = mine.get((c.product, c.name), 0) - 1
        if most < 0:
            continue
        upper = part.upper.copy()
        for (container, _), column in zip(model.keys["count"], model.at["count"], strict=True):
            if container == i:
                upper[place[int(column)]] = min(upper[place[int(column)]], most)
        beat = None if best is None else model.matrix.price(x) + best.more
        if now() > end:
            proven = False
            break
        answer = solve(replace(part, upper=upper), Limits(max(0.1, end - now()), cutoff=beat))
        proven = proven and answer.verdict in (Verdict.OPTIMAL, Verdict.INFEASIBLE)
        if answer.x is None:
            continue
        more = answer.objective - model.matrix.price(x)
        if best is None or more < best.more - 1e-6:
            whole = x.copy()
            whole[columns] = np.where(part.integer, np.round(answer.x), answer.x)
            best = RunnerUp(counts(model, whole), more, proven=True)
    return best and best._replace(proven=proven)

"""Plans made of a solution of the relaxation, in which some fields break the field rule."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from planner.optimize.workshop import LONGEST, limits_near, patient, times_best

if TYPE_CHECKING:
    import numpy as np

    from planner.optimize.solver import Floats, Solver
    from planner.optimize.workshop import Workshop


def mend(shop: Workshop, rng: np.random.Generator, solver: Solver) -> None:
    """Make a plan of the relaxation's solution, then settle its planting and its bags in turn.

    Once there is a newer solution, only a plan that is the best so far is gone on with.
    """
    state, guide = shop.state, shop.guide
    assert guide is not None
    x = mended(shop, guide, rng, solver)
    state.offer(x)
    for step, (within, order) in enumerate(((0, True), (1, True), (0, False))):
        dear = x is not None and times_best(state, x) > 1.0
        stale = step > 0 and dear and shop.guide is not guide
        if x is None or stale or state.is_set():
            return
        limits, watch = limits_near(shop, rng), patient(state)
        y, _ = shop.near.near_bags(
            x, limits, watch, start=True, within=within, order=order, solver=solver
        )
        x = x if y is None else y
        state.offer(x)


def mended(
    shop: Workshop, guide: Floats, rng: np.random.Generator, solver: Solver, gap: float = 1e-4
) -> Floats | None:
    """A plan near a solution in which some fields break the field rule.

    Held are, in turn, the fields that keep it, or the bags, or nearly the bags; `gap` is how near
    to the best of those.
    """
    near, state = shop.near, shop.state
    x = None
    for _ in range(3):
        shop.mended += 1
        limits, watch = limits_near(shop, rng, gap), patient(state)
        if shop.mended % 3 == 1:
            limits = replace(limits, seconds=limits.seconds / LONGEST)
            bad = near.breaking(guide)
            x, _ = near.solve(guide, bad, limits, watch, start=False, solver=solver)
        else:
            within = 0 if shop.mended % 3 == 2 else 1
            x, _ = near.near_bags(guide, limits, watch, start=False, within=within, solver=solver)
        if x is not None or state.is_set():
            break
    return x

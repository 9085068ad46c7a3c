"""Plans made of a solution of the relaxation, in which some fields break the field rule."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from planner.optimize.workshop import LONGEST, limits_near, patient, times_best

if TYPE_CHECKING:
    from collections.abc import Callable

    from planner.optimize.solver import Floats, Solver
    from planner.optimize.workshop import Workshop

WAYS = ("fields", "bags", "near bags")
"""What is held at first: the fields that keep the rule, or the bags, or nearly the bags."""
FAITHFUL = 0.5
"""How often what has led to the best plan is done again; otherwise any of them is."""
NEARLY = 1.003
"""Plans that cost so many times as much as the best one are better made anew than gone on with."""


def mend(shop: Workshop, rng: np.random.Generator, solver: Solver) -> None:
    """Make a plan of the relaxation's solution, then settle its planting and its bags in turn.

    After its planting only plans that are nearly the best so far are gone on with.
    """
    state, guide = shop.state, shop.guide
    assert guide is not None

    def stale() -> bool:
        return shop.guide is not guide

    way = _chosen(shop, rng)
    x = mended(shop, guide, way, rng, solver, stale)
    state.offer(x)
    for step, (within, order) in enumerate(((0, True), (1, True), (0, False))):
        if x is None or state.is_set():
            break
        most = 1.0 if stale() else NEARLY
        if times_best(state, x) > most and (step > 0 or way == "bags"):
            break
        limits, watch = limits_near(shop, rng), patient(state, started=True)
        y, _ = shop.near.near_bags(
            x, limits, watch, start=True, within=within, order=order, solver=solver
        )
        x = x if y is None else y
        state.offer(x)
    if x is not None and not stale():
        shop.mended[way] = min(shop.mended.get(way, np.inf), state.model.matrix.price(x))


def _chosen(shop: Workshop, rng: np.random.Generator) -> str:
    """Each way once, then mostly the one that has led to the best plan from this solution."""
    if shop.mended_from is not shop.guide:
        shop.mended_from, shop.mended = shop.guide, {}
    untried = [way for way in WAYS if way not in shop.mended]
    if untried:
        way = untried[int(rng.integers(len(untried)))]
        shop.mended[way] = np.inf
        return way
    if rng.random() < FAITHFUL:
        return min(WAYS, key=lambda way: shop.mended[way])
    return WAYS[int(rng.integers(len(WAYS)))]


def mended(
    shop: Workshop,
    guide: Floats,
    way: str,
    rng: np.random.Generator,
    solver: Solver,
    stale: Callable[[], bool] | None = None,
    gap: float = 1e-4,
) -> Floats | None:
    """A plan near a solution in which some fields break the field rule; None if none is found.

    `gap` is how near to the best of such plans; `stale` says when to stop.
    """
    near, limits, watch = shop.near, limits_near(shop, rng, gap), patient(shop.state, stale)
    if way == "fields":
        limits = replace(limits, seconds=limits.seconds / LONGEST)
        bad = near.breaking(guide)
        return near.solve(guide, bad, limits, watch, start=False, solver=solver)[0]
    within = 0 if way == "bags" else 1
    return near.near_bags(guide, limits, watch, start=False, within=within, solver=solver)[0]

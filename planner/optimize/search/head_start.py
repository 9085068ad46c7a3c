"""Seasons that the exact model can settle: it is solved at once, and mostly needs nothing else.

Most seasons have seed for every acre. So the solve begins with no acre short, before that is known:
the first plan that it finds proves it, and a season short of seed is mostly refuted in no time.
"""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING

from planner.optimize.bounds.relaxations import exact, exact_if_covered
from planner.optimize.mip.highs import Limits, now
from planner.optimize.mip.process import TICK
from planner.optimize.search.workshop import GRACE, is_large, search_beside

if TYPE_CHECKING:
    from planner.optimize.incumbent.incumbent import State
    from planner.optimize.model.program import Model
    from planner.optimize.search.workshop import Workshop

HOPE = 0.15
"""Share of the time in which a plan with no acre short must be found by then."""
MOST_ALONE = 0.4
"""Share of the time left in which nothing else searches, at the most."""


def head_start(shop: Workshop) -> float:
    """Seconds that the exact model has alone; 0 where it is not solved at once."""
    options, shares = shop.state.options, len(shop.state.model.keys["share"])
    if is_large(shop) or options.effort is not None:
        return 0.0
    return next((s for most, s in options.params.head_start if shares <= most), 0.0)


def begin_covered(shop: Workshop) -> threading.Thread | None:
    """Begin with no acre short; the thread that goes on with it, None where there is no hope."""
    state, hopeless = shop.state, threading.Event()

    def work() -> None:
        worker = shop.workers.for_bounds()
        exact_if_covered(state, state.model, to_the_end(state), worker.solve, hopeless)
        if not hopeless.is_set():
            search_beside(shop, worker, shop.found.append)

    prover = shop.workers.beside(work)
    until = now() + HOPE * state.left()
    while prover.is_alive() and not state.is_covered and not state.is_set() and now() < until:
        prover.join(TICK)
    if state.is_covered:
        state.prove_shortage()
        return prover
    hopeless.set()
    prover.join(GRACE)
    if prover.is_alive():
        shop.workers.end_bounds()
    return None


def begin(shop: Workshop, model: Model) -> threading.Thread:
    """Begin with the acres short that are known to be the fewest."""

    def work() -> None:
        worker = shop.workers.for_bounds()
        exact(shop.state, model, to_the_end(shop.state), worker.solve)
        search_beside(shop, worker, shop.found.append)

    return shop.workers.beside(work)


def leave_alone(shop: Workshop, prover: threading.Thread) -> None:
    """Wait while the exact model has its head start."""
    state = shop.state
    until = now() + min(head_start(shop), MOST_ALONE * state.left())
    while prover.is_alive() and not state.is_set() and now() < until:
        prover.join(TICK)


def to_the_end(state: State) -> Limits:
    """All the time that is left, and half the gap: for two solves that each prove it."""
    return Limits(seconds=state.left(), gap=state.options.gap / 2)

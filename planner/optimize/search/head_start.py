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
from planner.optimize.search.common import EXACT, GRACE, is_large, search_beside, uses

if TYPE_CHECKING:
    from planner.optimize.incumbent.incumbent import Incumbent
    from planner.optimize.model.program import Model
    from planner.optimize.search.common import Context

HOPE = 0.15
"""Share of the time in which a plan with no acre short must be found by then."""
MOST_ALONE = 0.4
"""Share of the time left in which nothing else searches, at the most."""


def head_start(context: Context) -> float:
    """Seconds that the exact model has alone; 0 where it is not solved at once."""
    options, shares = context.incumbent.options, len(context.incumbent.model.keys["share"])
    if is_large(context) or options.effort is not None or not uses(context, EXACT):
        return 0.0
    return next((s for most, s in options.params.head_start if shares <= most), 0.0)


def begin_covered(context: Context) -> threading.Thread | None:
    """Begin with no acre short; the thread that goes on with it, None where there is no hope."""
    incumbent, hopeless = context.incumbent, threading.Event()

    def work() -> None:
        worker = context.workers.for_bounds()
        exact_if_covered(incumbent, incumbent.model, to_the_end(incumbent), worker.solve, hopeless)
        if not hopeless.is_set():
            search_beside(context, worker, context.found.append)

    prover = context.workers.beside(work)
    until = now() + HOPE * incumbent.left()
    while (
        prover.is_alive() and not incumbent.is_covered and not incumbent.is_set() and now() < until
    ):
        prover.join(TICK)
    if incumbent.is_covered:
        incumbent.prove_shortage()
        return prover
    hopeless.set()
    prover.join(GRACE)
    if prover.is_alive():
        context.workers.end_bounds()
    return None


def begin(context: Context, model: Model) -> threading.Thread:
    """Begin with the acres short that are known to be the fewest."""

    def work() -> None:
        worker = context.workers.for_bounds()
        exact(context.incumbent, model, to_the_end(context.incumbent), worker.solve)
        search_beside(context, worker, context.found.append)

    return context.workers.beside(work)


def leave_alone(context: Context, prover: threading.Thread) -> None:
    """Wait while the exact model has its head start."""
    incumbent = context.incumbent
    until = now() + min(head_start(context), MOST_ALONE * incumbent.left())
    while prover.is_alive() and not incumbent.is_set() and now() < until:
        prover.join(TICK)


def to_the_end(incumbent: Incumbent) -> Limits:
    """All the time that is left, and half the gap: for two solves that each prove it."""
    return Limits(seconds=incumbent.left(), gap=incumbent.options.gap / 2)

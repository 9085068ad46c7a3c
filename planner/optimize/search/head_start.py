"""Seasons that the exact model can settle: it is solved at once, and mostly needs nothing else.

Most seasons have seed for every acre. So the solve begins with no acre short, before that is known:
the first plan that it finds proves it, and a season short of seed is mostly refuted in no time.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass
from typing import TYPE_CHECKING

from planner.optimize.bounds.relaxations import exact, exact_if_covered
from planner.optimize.mip.highs import Limits, now, solve
from planner.optimize.mip.process import TICK
from planner.optimize.search.common import EXACT, GRACE, is_large, is_tiny, search_beside, uses

if TYPE_CHECKING:
    from collections.abc import Callable

    from planner.optimize.incumbent.incumbent import Incumbent
    from planner.optimize.mip.highs import Solver
    from planner.optimize.model.program import Model
    from planner.optimize.search.common import Context

HOPE, HOPE_SECONDS, HOPE_MOST = 0.15, 5.0, 0.5
"""Share of the time in which a plan with no acre short must be found; seconds for it at the least,
as a busy machine starts processes slowly; and the share that these may be at the most."""
MOST_ALONE = 0.4
"""Share of the time left in which nothing else searches, at the most."""


def head_start(context: Context) -> float:
    """Seconds that the exact model has alone; 0 where it is not solved at once."""
    options, shares = context.incumbent.options, len(context.incumbent.model.keys["share"])
    if is_large(context) or options.effort is not None or not uses(context, EXACT):
        return 0.0
    return next((s for most, s in options.params.head_start if shares <= most), 0.0)


@dataclass(frozen=True, slots=True)
class Proof:
    """The exact model as it is solved in a thread."""

    thread: threading.Thread
    given_up: threading.Event

    def give_up(self, context: Context) -> None:
        """End it; its process serves others then."""
        self.given_up.set()
        self.thread.join(GRACE)
        if self.thread.is_alive():
            context.workers.end_bounds()

    def wait(self, until: float, enough: Callable[[], bool]) -> None:
        """Wait for its end, until then at the most, or until there is enough."""
        while self.thread.is_alive() and now() < until and not enough():
            self.thread.join(TICK)


def exact_solver(context: Context) -> Solver:
    """What solves the exact model: a process of its own, but for models that take no time."""
    return solve if is_tiny(context) else context.workers.for_bounds().solve


def begin_covered(context: Context) -> Proof | None:
    """Begin with no acre short; None where no plan like that is found, or not soon."""
    incumbent, solver = context.incumbent, exact_solver(context)

    def prove(given_up: threading.Event) -> None:
        exact_if_covered(incumbent, incumbent.model, to_the_end(incumbent), solver, given_up)

    proof = _begin(context, prove)
    left = incumbent.left()
    until = now() + min(max(HOPE * left, HOPE_SECONDS), HOPE_MOST * left)
    proof.wait(until, lambda: incumbent.is_covered or incumbent.is_set())
    if incumbent.is_covered:
        incumbent.prove_shortage()
        return proof
    proof.give_up(context)
    return None


def begin(context: Context, model: Model) -> Proof:
    """Begin with the acres short that are known to be the fewest."""
    incumbent, solver = context.incumbent, exact_solver(context)

    def prove(given_up: threading.Event) -> None:
        exact(incumbent, model, to_the_end(incumbent), solver, stop=given_up)

    return _begin(context, prove)


def _begin(context: Context, prove: Callable[[threading.Event], None]) -> Proof:
    given_up = threading.Event()

    def work() -> None:
        context.proving = True
        prove(given_up)
        context.proving = False
        if not given_up.is_set() and not context.incumbent.is_set():
            search_beside(context, context.workers.for_bounds(), context.found.append)

    return Proof(context.workers.beside(work), given_up)


def leave_alone(context: Context, proof: Proof) -> None:
    """Wait while the exact model has its head start."""
    incumbent = context.incumbent
    proof.wait(now() + min(head_start(context), MOST_ALONE * incumbent.left()), incumbent.is_set)


def to_the_end(incumbent: Incumbent) -> Limits:
    """All the time that is left, and half the gap: for two solves that each prove it."""
    return Limits(seconds=incumbent.left(), gap=incumbent.options.gap / 2)

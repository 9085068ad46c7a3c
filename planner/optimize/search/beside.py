"""What is done beside the main thread: begun there, searched on there, ended there.

Every such thread has a process of its own to solve or anneal in, so that none waits for another.
"""

from __future__ import annotations

import threading
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from planner.optimize.annealing.anneal import annealing_job
from planner.optimize.annealing.decode import pieces_of
from planner.optimize.incumbent.budgets import Budget, longest
from planner.optimize.mip.highs import now
from planner.optimize.mip.process import TICK
from planner.optimize.options import Either
from planner.optimize.search.common import submit

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from planner.optimize.annealing.state import Piece
    from planner.optimize.mip.process import Worker
    from planner.optimize.options import Stop
    from planner.optimize.search.common import Context
    from planner.optimize.search.workers import Workers

GRACE = 2.0
"""Seconds that a process has to end by itself."""


@dataclass(frozen=True, slots=True)
class Beside:
    """A job in a thread, which mostly works with the second process."""

    thread: threading.Thread
    done: threading.Event
    """Set for the job to stop."""
    workers: Workers

    def wait(self, until: float, enough: Callable[[], bool]) -> None:
        """Wait for its end, until then at the most, or until there is enough."""
        while self.thread.is_alive() and now() < until and not enough():
            self.thread.join(TICK)

    def end(self) -> None:
        """Have it stop; where it does not hear, the second process is ended, so that it does."""
        self.done.set()
        self.thread.join(GRACE)
        if self.thread.is_alive():
            self.workers.end_bounds()
            self.thread.join(GRACE)


def begin(context: Context, job: Callable[[threading.Event], object]) -> Beside:
    """Begin a job in a thread; it is given the sign to stop."""
    done = threading.Event()
    return Beside(context.workers.beside(lambda: job(done)), done, context.workers)


@contextmanager
def beside(context: Context, job: Callable[[Worker, Stop], object]) -> Iterator[None]:
    """Have a job done with the second process meanwhile; not where work is counted."""
    if context.incumbent.options.effort is not None:
        yield
        return
    worker = context.workers.for_bounds()
    begun = begin(context, lambda done: job(worker, Either(context.incumbent, done)))
    try:
        yield
    finally:
        begun.end()


def begin_search(
    context: Context,
    prove: Callable[[threading.Event], object] | None = None,
    worker: Worker | None = None,
    turn: int = 0,
    seed: int = 1,
) -> Beside:
    """Begin a proof, where there is one to begin; after it the same process anneals to the end.

    `worker` is the second process, if it is not named.
    """

    def work(done: threading.Event) -> None:
        if prove is not None:
            prove(done)
        stop = Either(context.incumbent, done)
        if not stop.is_set():
            own = worker or context.workers.for_bounds()
            search_beside(context, own, context.workers.found.append, stop, turn, seed)

    return begin(context, work)


def search_beside(
    context: Context,
    worker: Worker,
    take: Callable[[list[list[Piece]]], None],
    stop: Stop,
    turn: int = 0,
    seed: int = 1,
    *,
    acres: bool = False,
) -> None:
    """Anneal in another process too: from the best plan, with less of it, from scratch.

    Where there are patterns, two of three are from scratch: many plans of all kinds serve best.

    Parameters
    ----------
    take
        Called with each plan, in pieces.
    turn
        Which of the three comes first, from 0.
    seed
        Of this process, beside that of the options.
    acres
        Whether acres short count most.
    """
    incumbent = context.incumbent
    rng = np.random.default_rng([incumbent.options.seed, seed])
    cycle = min(2.0 * context.memory.cycle, longest(incumbent))
    while not stop.is_set() and incumbent.x is not None:
        budget = Budget(min(cycle, incumbent.left()))
        from_scratch, less = turn % 3 == 2, turn % 3 == 1 and not acres
        if context.patterns is not None:
            from_scratch, less = turn % 3 > 0, False
        start = None if from_scratch else pieces_of(context.current, incumbent.model, incumbent.x)
        job = annealing_job(
            incumbent,
            budget,
            rng,
            start=start,
            fine=not from_scratch,
            less=less,
            acres=acres,
        )
        turn += 1
        pieces = submit(context, worker, job, stop)
        if pieces is None:
            return
        take(pieces)

"""The processes and threads that work beside the main thread, and what they hand to it.

Threads only append to its lists and set its flags, which needs no lock of our own; processes and
threads are begun under a lock.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from planner.optimize.mip.highs import now
from planner.optimize.mip.process import ProcessGoneError, give_back, take_worker

if TYPE_CHECKING:
    from collections.abc import Callable

    from planner.optimize.annealing.moves import Tally
    from planner.optimize.annealing.state import Piece
    from planner.optimize.mip.process import Worker

PATIENCE = 1.0
"""Seconds in which threads beside must end once the search has."""


@dataclass(slots=True)
class Workers:
    """Processes that were started, what they are for, and what went wrong in threads."""

    started: list[Worker] = field(default_factory=list)
    given_back: int = 0
    """How many of these are ended, or kept for the next season."""
    second: Worker | None = None
    """The process that proves bounds, and anneals when there is none to raise."""
    annealer: Worker | None = None
    """The process that anneals for the main thread; None before there is any need."""
    ready: threading.Event = field(default_factory=threading.Event)
    """Set once `annealer` has its moves compiled and its season."""
    more: list[Worker] = field(default_factory=list)
    """Processes that anneal besides, where there are cores for them."""
    found: list[list[list[Piece]]] = field(default_factory=list)
    """Plans annealed elsewhere, for the main thread to take over."""
    seen: list[Tally] = field(default_factory=list)
    """Plans that annealing came by, their patterns not yet put together."""
    proving: bool = False
    """Whether the exact model is being solved for a proof."""
    listed: bool = False
    """Whether that is the program over all patterns of better plans, which finds these too."""
    errors: list[BaseException] = field(default_factory=list)
    """What threads beside raised; the first is raised again where the search has no plan."""
    threads: list[threading.Thread] = field(default_factory=list)
    """Those begun; the next one that begins drops what has ended."""
    closed: bool = False
    """Whether the search is over, so that no more processes start."""
    lock: threading.RLock = field(default_factory=threading.RLock)

    def start(self) -> Worker:
        """One more process.

        Raises
        ------
        ProcessGoneError
            When the search is over.
        """
        with self.lock:
            if self.closed:
                raise ProcessGoneError
            worker = take_worker()
            self.started.append(worker)
        return worker

    def for_bounds(self) -> Worker:
        """The second process, started where it is not there; errors as `start`."""
        with self.lock:
            self.second = self._there(self.second)
            return self.second

    def for_annealing(self) -> Worker:
        """The process that anneals for the main thread, started likewise."""
        with self.lock:
            self.annealer = self._there(self.annealer)
            return self.annealer

    def for_more(self, n: int) -> list[Worker]:
        """As many processes to anneal beside those two, started likewise."""
        with self.lock:
            kept = [*self.more, *([None] * n)][:n]
            self.more = [self._there(worker) for worker in kept]
            return list(self.more)

    def _there(self, worker: Worker | None) -> Worker:
        """That process, or another where there is none or it has died."""
        if worker is None or self.closed or not worker.is_alive():
            return self.start()
        return worker

    def beside(self, job: Callable[[], object]) -> threading.Thread:
        """Do a job in a thread beside the main one, which then still hears Ctrl-C."""

        def work() -> None:
            try:
                job()
            except Exception as error:
                if not self.closed:
                    self.errors.append(error)

        thread = threading.Thread(target=work, daemon=True)
        with self.lock:
            self.threads = [t for t in self.threads if t.is_alive()]
            self.threads.append(thread)
            thread.start()
        return thread

    def end_bounds(self) -> None:
        """End the second process, which does not hear; the next need starts another."""
        with self.lock:
            if self.second is not None:
                self.second.close()
                self.second = None

    def close(self) -> None:
        """End all processes that still work; keep the others for the next season.

        The sign to stop is set by then. Where a thread does not end, no process is kept: it might
        go on with one that works for the next season.
        """
        with self.lock:
            self.closed = True
        until = now() + PATIENCE
        for thread in self.threads:
            thread.join(max(0.0, until - now()))
        alone = not any(thread.is_alive() for thread in self.threads)
        for worker in self.started[self.given_back :]:
            self.given_back += 1
            if alone:
                give_back(worker)
            else:
                worker.close()

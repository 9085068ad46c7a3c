"""The processes and threads that work beside the main thread, and what they hand to it.

Threads only append to its lists and set its flags, which needs no lock of our own.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from planner.optimize.mip.process import give_back, take_worker

if TYPE_CHECKING:
    from collections.abc import Callable

    from planner.optimize.annealing.moves import Tally
    from planner.optimize.annealing.state import Piece
    from planner.optimize.mip.process import Worker


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
    """Whether that one has its moves compiled and its season."""
    found: list[list[list[Piece]]] = field(default_factory=list)
    """Plans annealed elsewhere, for the main thread to take over."""
    seen: list[Tally] = field(default_factory=list)
    """Plans that annealing came by, their patterns not yet put together."""
    proving: bool = False
    """Whether the exact model is being solved for a proof."""
    errors: list[BaseException] = field(default_factory=list)

    def start(self) -> Worker:
        """One more process."""
        worker = take_worker()
        self.started.append(worker)
        return worker

    def for_bounds(self) -> Worker:
        """The second process, started where it is not there yet."""
        self.second = self.second or self.start()
        return self.second

    def for_annealing(self) -> Worker:
        """The process that anneals for the main thread, started where it is not there yet."""
        self.annealer = self.annealer or self.start()
        return self.annealer

    def beside(self, job: Callable[[], object]) -> threading.Thread:
        """Do a job in a thread beside the main one, which then still hears Ctrl-C."""

        def work() -> None:
            try:
                job()
            except Exception as error:
                self.errors.append(error)

        thread = threading.Thread(target=work, daemon=True)
        thread.start()
        return thread

    def end_bounds(self) -> None:
        """End the second process, which does not hear; the next need starts another."""
        if self.second is not None:
            self.second.close()
            self.second = None

    def close(self) -> None:
        """End all processes that still work; keep the others for the next season."""
        for worker in self.started[self.given_back :]:
            self.given_back += 1
            give_back(worker)

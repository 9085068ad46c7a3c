"""Work in the background: one piece at a time, the others wait in a line."""

from __future__ import annotations

import queue
import threading
from time import monotonic
from typing import TYPE_CHECKING

from planner.errors import Interrupted, PlannerError, bug
from planner.page.answers import sentence
from planner.page.desk import Phase

if TYPE_CHECKING:
    from planner.page.desk import SeasonJob


class Works:
    """The line of work and the thread that does it."""

    def __init__(self) -> None:
        self._line: queue.Queue[SeasonJob | None] = queue.Queue()
        self._lock = threading.Lock()
        self._waiting: list[SeasonJob] = []
        self._thread = threading.Thread(target=self._run, daemon=True, name="planning")
        self._thread.start()

    def give(self, job: SeasonJob) -> SeasonJob:
        """Put a piece of work into the line; where its season has one already, that one stays."""
        with self._lock:
            old = job.desk.job
            if old is not None and not old.over:
                return old
            job.desk.job = job
            self._waiting.append(job)
        self._line.put(job)
        return job

    def before(self, job: SeasonJob) -> int:
        """How many plans come before it."""
        with self._lock:
            return self._waiting.index(job) if job in self._waiting else 0

    def close(self) -> None:
        """Ask everything to stop, and wait a moment for it."""
        with self._lock:
            for job in self._waiting:
                job.stop.set()
        self._line.put(None)
        self._thread.join(timeout=3.0)

    def _run(self) -> None:
        while (job := self._line.get()) is not None:
            try:
                _begin(job)
                job.task(job)
                job.phase = Phase.DONE
            except PlannerError as error:
                job.trouble = sentence(str(error))
                job.phase = Phase.FAILED
            except Exception as error:  # a bug must not end the page
                job.trouble = bug(error)
                job.phase = Phase.FAILED
            finally:
                job.ended = monotonic()
                with self._lock:
                    self._waiting.remove(job)


def _begin(job: SeasonJob) -> None:
    if job.stop.is_set():
        msg = "Stopped before it began."
        raise Interrupted(msg)
    job.began = monotonic()

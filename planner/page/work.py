"""Work in the background: one piece at a time, the others wait in a line."""

from __future__ import annotations

import queue
import threading
from dataclasses import dataclass, field
from enum import Enum
from time import monotonic
from typing import TYPE_CHECKING

from planner.errors import Interrupted, PlannerError
from planner.page.answers import sentence

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from planner.optimize.options import Progress
    from planner.page.desk import Desk, Made
    from planner.plan.earlier import Earlier
    from planner.season.domain import Season, WhatIf

MOST_POINTS = 400
"""States of a search that are kept for its picture; more are thinned out."""


class Phase(Enum):
    """What a piece of work is doing."""

    WAITING = "waiting for the plan before it"
    DECIDING = "deciding"
    STAYING = "staying near the plan before"
    GROUPS = "planning each group of growers by itself"
    SCENARIOS = "planning what if"
    WHY = "finding out why"
    WRITING = "writing the files"
    DONE = "done"
    FAILED = "failed"


@dataclass(frozen=True, slots=True)
class Point:
    """State of a search at a time."""

    seconds: float
    cost: float | None
    bound: float | None
    acres_short: float | None


@dataclass
class Job:
    """One piece of work on a season, and how far it is."""

    desk: Desk
    season: Season
    seconds: float
    task: Callable[[Job], None]
    """What is done; from `tasks`."""
    title: str = "Planning"
    searches: bool = True
    """Whether it decides a plan, so that best cost and bound are shown."""
    done: str = "The plan is made"
    """Title once it is done."""
    then: str = "answer"
    """Page of the season that shows what came of it."""
    see: str = "See the answer"
    """What leads there."""
    name: str = "as it is"
    made: Made | None = None
    """The plan that is worked on, or stayed near to."""
    earlier: Earlier | None = None
    """A plan of an earlier state of the workbook to stay near to."""
    most_moved: float | None = None
    """Acres that may change their seed or recipe at the most against that plan."""
    scenarios: Mapping[str, Season] = field(default_factory=dict)
    """Seasons of the scenarios to plan, by name."""
    changes: tuple[WhatIf, ...] = ()
    """What differs from the workbook."""
    base: str = ""
    """Fingerprint of the workbook's season."""
    notes: tuple[str, ...] = ()
    """What is to be said of the plan wherever it is shown."""
    phase: Phase = Phase.WAITING
    parts: int = 0
    """Seasons to plan, each with `seconds`: groups of growers, or scenarios; 0 for one."""
    parts_done: int = 0
    part: str = ""
    """Name of the scenario that is being planned."""
    part_began: float | None = None
    """When its search began, on the monotonic clock."""
    trouble: str = ""
    points: list[Point] = field(default_factory=list)
    began: float | None = None
    ended: float | None = None
    stop: threading.Event = field(default_factory=threading.Event)

    @property
    def over(self) -> bool:
        """Whether nothing more will come of it."""
        return self.phase in (Phase.DONE, Phase.FAILED)

    @property
    def elapsed(self) -> float:
        """Seconds since it began; 0 while it waits."""
        if self.began is None:
            return 0.0
        return (self.ended if self.ended is not None else monotonic()) - self.began

    @property
    def searched(self) -> float:
        """Seconds of the search that `points` are of."""
        began = self.part_began if self.part_began is not None else self.began
        return self.elapsed - (began - self.began if began and self.began else 0.0)

    def next_part(self, name: str) -> None:
        """Begin the search of the next scenario."""
        self.part, self.points, self.part_began = name, [], monotonic()

    def update(self, progress: Progress) -> None:
        """Take the state of the search; called from the thread that solves."""
        point = Point(self.searched, progress.cost, progress.bound, progress.acres_short)
        points = [*self.points, point]
        if len(points) > MOST_POINTS:
            points = [*points[:-2:2], *points[-2:]]
        self.points = points


class Works:
    """The line of work and the thread that does it."""

    def __init__(self) -> None:
        self._line: queue.Queue[Job | None] = queue.Queue()
        self._lock = threading.Lock()
        self._waiting: list[Job] = []
        self._thread = threading.Thread(target=self._run, daemon=True, name="planning")
        self._thread.start()

    def give(self, job: Job) -> Job:
        """Put a piece of work into the line; where its season has one already, that one stays."""
        with self._lock:
            old = job.desk.job
            if old is not None and not old.over:
                return old
            job.desk.job = job
            self._waiting.append(job)
        self._line.put(job)
        return job

    def before(self, job: Job) -> int:
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
                job.trouble = (
                    f"This is a bug in wholedrum ({type(error).__name__}: {error}). "
                    "Nothing is lost."
                )
                job.phase = Phase.FAILED
            finally:
                job.ended = monotonic()
                with self._lock:
                    self._waiting.remove(job)


def _begin(job: Job) -> None:
    if job.stop.is_set():
        msg = "Stopped before it began."
        raise Interrupted(msg)
    job.began = monotonic()

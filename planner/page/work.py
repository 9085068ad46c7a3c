"""Planning in the background: one plan at a time, the others wait in a line."""

from __future__ import annotations

import queue
import threading
from dataclasses import dataclass, field, replace
from enum import Enum
from time import monotonic
from typing import TYPE_CHECKING

from planner import api
from planner.errors import Interrupted, PlannerError
from planner.page.desk import Made

if TYPE_CHECKING:
    from pathlib import Path

    from planner.explain.explain import Explanation
    from planner.optimize.options import Progress
    from planner.page.desk import Desk
    from planner.plan.plan import Plan
    from planner.season.domain import Season, WhatIf

WHY_SHARE, WHY_MOST = 1 / 3, 20.0
"""Of the seconds for deciding, as many go into finding out why; seconds at the most."""
PARALLEL_FROM = 10.0
MOST_POINTS = 400
"""States of a search that are kept for its picture; more are thinned out."""


class Phase(Enum):
    """What a piece of work is doing."""

    WAITING = "waiting for the plan before it"
    DECIDING = "deciding"
    STAYING = "staying near the plan before"
    WHY = "finding out why"
    WRITING = "writing the files"
    DONE = "done"
    FAILED = "failed"


@dataclass(frozen=True, slots=True)
class Point:
    """State of a search at a time."""

    seconds: float
    cost: float | None
    floor: float | None
    acres_short: float | None


@dataclass
class Job:
    """One plan to make."""

    desk: Desk
    season: Season
    seconds: float
    name: str = "as it is"
    near: Made | None = None
    """A plan to stay near to."""
    changes: tuple[WhatIf, ...] = ()
    """What differs from the workbook."""
    base: str = ""
    """Fingerprint of the workbook's season."""
    notes: tuple[str, ...] = ()
    phase: Phase = Phase.WAITING
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

    def update(self, progress: Progress) -> None:
        """Take the state of the search; called from the thread that solves."""
        point = Point(self.elapsed, progress.cost, progress.floor, progress.acres_short)
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
                _work(job)
            except PlannerError as error:
                job.trouble = str(error)
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


def _work(job: Job) -> None:
    if job.stop.is_set():
        msg = "Stopped before it began."
        raise Interrupted(msg)
    job.began = monotonic()
    job.phase = Phase.DECIDING
    plan = api.make_plan(job.season, seconds=job.seconds, on_progress=job.update, stop=job.stop)
    again = None
    if job.near is not None:
        job.phase = Phase.STAYING
        plan, again = api.keep_near(
            job.season, job.near.plan, plan, seconds=max(2.0, job.seconds / 2), stop=job.stop
        )
    made = Made(
        job.name,
        job.season,
        plan,
        api.describe(plan, job.season),
        notes=job.notes,
        changes=job.changes,
        base=job.base,
    )
    _show(job, made)
    if not job.stop.is_set():
        job.phase = Phase.WHY
        why = _why(job, plan)
        if again is not None:
            why = replace(why, again=again)
        made = replace(made, why=why, book=api.describe(plan, job.season, why))
        _show(job, made)
    job.phase = Phase.WRITING
    files = api.write(plan, job.season, _folder(job), made.why)
    _show(job, replace(made, files=files))
    job.phase = Phase.DONE


def _folder(job: Job) -> Path:
    """Folder of the plan: that of the season, or beside it where changes are tried."""
    plans = job.desk.entry.plans
    return plans.with_name(f"{plans.name}-tried") if job.changes else plans


def _why(job: Job, plan: Plan) -> Explanation:
    seconds = min(WHY_MOST, job.seconds * WHY_SHARE)
    workers = 2 if seconds >= PARALLEL_FROM else 1
    return api.explain(job.season, plan, seconds=seconds, workers=workers, stop=job.stop)


def _show(job: Job, made: Made) -> None:
    """Put a plan on the desk; the one that was there before stays beside it."""
    desk = job.desk
    with desk.lock:
        if desk.made is not None and desk.made.plan is not made.plan:
            desk.before = desk.made
        desk.made = made

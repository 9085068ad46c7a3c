"""Jobs: independent pieces of work, each done once, and what does them in this process.

A job's work is a function of a module, called with the job's payload; both, and what it returns,
are pickled when other processes do the work. It must be pure: a job whose process dies is run again
from the start, so it may run more than once, but it is handed out once. It may keep what is
expensive to build in its module (a solver's model, say) for the next job of the same process.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from time import perf_counter
from typing import TYPE_CHECKING, Any, Protocol

from planner.errors import PlannerError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator


@dataclass(frozen=True, slots=True)
class Job:
    """One piece of work."""

    key: str
    """Its name, given to no other job of a run."""
    payload: Any
    """What `work` is called with."""


@dataclass(frozen=True, slots=True)
class Done:
    """What became of a job."""

    key: str
    value: Any = None
    """What `work` returned; None where it failed."""
    error: Exception | None = None
    """What `work` raised; an EngineError where every process that ran it died, a RuntimeError that
    says it where another process raised what can't be pickled."""
    seconds: float = 0.0
    """That `work` itself took."""

    @property
    def failure(self) -> str:
        """Why it failed, in a line; empty where it did not. What nobody foresaw has its kind."""
        if self.error is None:
            return ""
        kind = "" if isinstance(self.error, PlannerError) else f"{type(self.error).__name__}: "
        return " ".join(f"{kind}{self.error}".split())


class Stop(Protocol):
    """Anything that can say that the user wants to stop, such as `threading.Event`."""

    def is_set(self) -> bool:
        """Whether to stop now."""
        ...


class Engine(Protocol):
    """What runs jobs."""

    workers: int
    """Jobs that it runs at a time; of a cluster, when it was last looked at."""

    def run(
        self, jobs: Iterable[Job], work: Callable[[Any], Any], *, stop: Stop | None = None
    ) -> Iterator[Done]:
        """Run jobs and yield each once, as it ends; end early when `stop` is set."""
        ...


def cores() -> int:
    """Cores that this process may use."""
    try:
        return max(1, len(os.sched_getaffinity(0)))
    except AttributeError:  # macOS, Windows
        return max(1, os.cpu_count() or 1)


class Here:
    """One job after the other in this process."""

    workers = 1

    def run(
        self, jobs: Iterable[Job], work: Callable[[Any], Any], *, stop: Stop | None = None
    ) -> Iterator[Done]:
        """See `Engine.run`."""
        for job in unique(jobs):
            if stop is not None and stop.is_set():
                return
            yield attempt(work, job.key, job.payload)


def unique(jobs: Iterable[Job]) -> Iterator[Job]:
    """Yield jobs, and raise ValueError at a key that comes twice."""
    seen: set[str] = set()
    for job in jobs:
        if job.key in seen:
            msg = f"two jobs have the key {job.key!r}"
            raise ValueError(msg)
        seen.add(job.key)
        yield job


def attempt(work: Callable[[Any], Any], key: str, payload: Any) -> Done:
    """Do a job's work, and keep what it raises."""
    begun = perf_counter()
    try:
        value = work(payload)
    except Exception as error:
        return Done(key, error=error, seconds=perf_counter() - begun)
    return Done(key, value, seconds=perf_counter() - begun)

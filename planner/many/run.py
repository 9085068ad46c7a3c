"""Plan every season of a folder that is not planned yet."""

from __future__ import annotations

from dataclasses import dataclass
from time import monotonic
from typing import TYPE_CHECKING

from planner.engine.jobs import Done, Job
from planner.engine.run import run
from planner.many.found import fingerprint
from planner.many.ledger import keep, kept
from planner.many.work import Task, plan_one
from planner.sharing.dealer import FAILED, FAULTS, Planned

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from pathlib import Path

    from planner.many.found import Source
    from planner.optimize.options import SolveOptions, Stop


@dataclass(frozen=True, slots=True)
class All:
    """Every season of a folder, planned or not."""

    records: tuple[Planned, ...]
    """In the order of their names; seasons that were not reached are missing."""
    before: int
    """How many of them have a plan from before this run."""
    work: float
    """Seconds that jobs took in this run, all added up."""
    seconds: float
    """Seconds that this run took."""
    left: int
    """Seasons that were not reached."""
    workers: int = 0
    """Processes of this machine that did them; 0 of a cluster."""

    @property
    def busy(self) -> float | None:
        """Share of its workers' time that jobs took; None of a cluster, or where none were done."""
        there = self.workers * self.seconds
        return self.work / there if self.work and there else None


def plan_all(
    sources: Sequence[Source],
    out: Path,
    options: SolveOptions,
    *,
    version: str,
    workers: int = 1,
    cluster: str | None = None,
    on_done: Callable[[object], None] | None = None,
    on_kept: Callable[[object], None] | None = None,
    stop: Stop | None = None,
) -> All:
    """Plan seasons that are not kept in a folder yet; each is kept as soon as it is planned.

    Whatever ends this run, the next one goes on with the seasons that are left. One that cannot be
    planned stops no other.

    Parameters
    ----------
    version
        Of what plans; another one plans everything again.
    on_done
        Called with each season once it is planned and kept.
    on_kept
        Called with each season that was kept before or that can't be read.

    Raises
    ------
    OutputError
        When a plan cannot be written.
    EngineError
        When the workers or the cluster are gone; what was planned is kept.
    """
    began = monotonic()
    found: dict[str, Planned] = {}
    marks: dict[str, str] = {}
    before = 0

    def jobs() -> Iterator[Job]:
        nonlocal before
        for source in sources:
            record = _kept(_task(source, version, options), out, options)
            if isinstance(record, Task):
                marks[record.name] = record.mark
                yield Job(source.name, record)
                continue
            before += record.has_plan
            found[source.name] = record
            if on_kept is not None:
                on_kept(record)

    work = 0.0
    for done in run(jobs(), plan_one, workers=workers, cluster=cluster, stop=stop):
        work += done.seconds
        found[done.key] = _settled(done, marks[done.key], out, options)
        if on_done is not None:
            on_done(done)
    records = tuple(found[s.name] for s in sources if s.name in found)
    took = monotonic() - began
    left = len(sources) - len(records)
    return All(records, before, work, took, left, 0 if cluster else workers)


def _kept(task: Task | Planned, out: Path, options: SolveOptions) -> Task | Planned:
    """What was kept of a season before; the task itself where nothing was."""
    if isinstance(task, Planned):
        return task
    return kept(out, task.name, task.mark, options.seconds) or task


def _task(source: Source, version: str, options: SolveOptions) -> Task | Planned:
    """Make a job of a season; a record of its fault where it can't be read at all."""
    try:
        content = source.content()
    except OSError as error:
        said = f"the file can't be read ({error.strerror})"
        return Planned(source.name, "", FAULTS, faults=(said,))
    mark = fingerprint(source.name, content, version)
    return Task(source.name, mark, content, source.path.is_dir(), options)


def _settled(done: Done, mark: str, out: Path, options: SolveOptions) -> Planned:
    """Keep what a job brought. What failed by no fault of the season is not kept: try it again."""
    if done.error is not None:
        faults = (f"planning failed: {done.failure}",)
        return Planned(done.key, mark, FAILED, faults=faults, seconds=options.seconds)
    keep(done.value, out)
    record: Planned = done.value.record
    return record

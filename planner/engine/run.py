"""Run many independent jobs, each once, wherever there is room for them.

    jobs = [Job(f"draw-{n}", (season, n)) for n in range(1000)]
    for done in run(jobs, work, workers=2, stop=stop):
        if done.error:
            ...                # what `work` raised; the other jobs go on
        else:
            results[done.key] = done.value

Jobs come back in the order in which they end, so add up by key and not by arrival. Whatever has
been handed out is finished; to resume, run the jobs whose keys have not come back.

Several runs on the same processes: ``with opened(workers=2) as engine: engine.run(jobs, work)``.
"""

from __future__ import annotations

from contextlib import contextmanager
from itertools import chain, islice
from typing import TYPE_CHECKING, Any

from planner.engine.jobs import Here, cores
from planner.errors import EngineError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from planner.engine.jobs import Done, Engine, Job, Stop

FEW = 2
"""Jobs from which other processes are worth starting."""


def run(
    jobs: Iterable[Job],
    work: Callable[[Any], Any],
    *,
    workers: int | None = None,
    cluster: str | None = None,
    on_done: Callable[[Done], None] | None = None,
    stop: Stop | None = None,
) -> Iterator[Done]:
    """Run jobs and yield each once, as it ends.

    Parameters
    ----------
    jobs
        With different keys. They are taken as there is room for them, so a generator of very many
        is not held in memory; one job alone is run in this process.
    work
        A module's function of a job's payload.
    workers
        Processes on this machine; 1 is this process itself. Default: as many as it has cores.
    cluster
        Address of a running Dask scheduler, such as ``tcp://10.0.0.5:8786``, used in place of
        this machine. Its workers need wholedrum in the same version. Such a cluster runs whatever
        it is sent: use it on a trusted network only.
    on_done
        Called with each job that ended, before it is yielded.
    stop
        Looked at between jobs, and a few times a second while other processes work. Once it is
        set, what has ended is yielded and the rest is dropped.

    Raises
    ------
    EngineError
        Where Dask is missing (``pip install -e '.[many]'``), the cluster can't be reached, or
        all of its workers are gone. What was yielded before stays good.
    ValueError
        At a key that comes twice.
    """
    jobs = iter(jobs)
    first = list(islice(jobs, FEW))
    if not cluster and len(first) < FEW:
        workers = 1
    with opened(workers=workers, cluster=cluster) as engine:
        for done in engine.run(chain(first, jobs), work, stop=stop):
            if on_done is not None:
                on_done(done)
            yield done


@contextmanager
def opened(*, workers: int | None = None, cluster: str | None = None) -> Iterator[Engine]:
    """Open an engine for several runs; parameters and errors as in `run`."""
    workers = cores() if workers is None else workers
    if not _elsewhere(workers, cluster):
        yield Here()
        return
    from planner.engine import on_dask

    with on_dask.joined(cluster) if cluster else on_dask.started(workers) as engine:
        yield engine


def check(*, workers: int, cluster: str | None = None) -> None:
    """Find out whether an engine is available, without starting processes; errors as in `run`."""
    if _elsewhere(workers, cluster) and cluster:
        with opened(cluster=cluster):
            pass


def _elsewhere(workers: int, cluster: str | None) -> bool:
    """Whether work is for other processes.

    Raises
    ------
    EngineError
        Where it is and Dask is missing, or where nobody is to do it.
    """
    if workers < 1:
        msg = f"{workers} workers can't do any work; give 1 or more"
        raise EngineError(msg)
    if not cluster and workers == 1:
        return False
    try:
        import distributed  # noqa: F401
    except ModuleNotFoundError as error:
        msg = (
            "work in several processes needs Dask, which is not installed: "
            "pip install -e '.[many]' in the project's folder, or do with one worker"
        )
        raise EngineError(msg) from error
    return True

"""Jobs on Dask: worker processes of this machine, or a running cluster.

Dask is imported inside functions: it is an extra that need not be installed.

Chosen on purpose: processes with one thread each (a solver keeps a core busy); nothing listens
but on 127.0.0.1; no dashboard (its default is to listen on all addresses); every job under a
key of its own (Dask runs calls with equal arguments once); few jobs with the cluster at a time,
so that a long one does not hold others back; workers that may have children of their own.
A worker that dies is replaced, and its job is run again, at most as often as `TRIES` says.
"""

from __future__ import annotations

import logging
import pickle
import queue
from asyncio import CancelledError
from contextlib import contextmanager, suppress
from dataclasses import replace
from importlib import import_module
from time import monotonic
from typing import TYPE_CHECKING, Any
from uuid import uuid4

from planner.engine.jobs import Done, attempt, unique
from planner.errors import EngineError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from distributed import Client, Future, WorkerPlugin

    from planner.engine.jobs import Job, Stop

LOOPBACK = "127.0.0.1"
TICK = 0.2
"""Seconds between looks at the sign to stop."""
LOOK = 2.0
"""Seconds between looks at how many workers there are."""
PATIENCE = 60.0
"""Seconds for workers to appear, or to come back."""
CONNECT = 15.0
"""Seconds to reach a scheduler."""
TRIES = 2
"""Times that a job is handed to Dask, which itself gives up when some workers have died with it."""
FETCH = 5.0
"""Seconds to fetch a result. Where its worker dies in between, Dask may wait for it for ever."""
OWN_SETTINGS = {
    "distributed.worker.daemon": False,
    "distributed.scheduler.worker-saturation": 1.0,
    "distributed.scheduler.allowed-failures": 1,
    "distributed.scheduler.http.routes": [],
    "distributed.worker.http.routes": [],
}
"""Settings of Dask while it runs on this machine."""


class OnDask:
    """Jobs run by the workers of a Dask cluster."""

    def __init__(self, client: Client) -> None:
        self.client = client
        self.workers = 0
        self._looked = self._seen = -PATIENCE
        self._look()

    def run(
        self, jobs: Iterable[Job], work: Callable[[Any], Any], *, stop: Stop | None = None
    ) -> Iterator[Done]:
        """See `planner.engine.jobs.Engine.run`."""
        source, heard = unique(jobs), queue.SimpleQueue[Any]()
        out: dict[str, tuple[Job, Future, int]] = {}
        more, finished = True, 0
        self._seen = monotonic()
        try:
            while True:
                halted = stop is not None and stop.is_set()
                while more and not halted and len(out) < max(1, 2 * self.workers):
                    job = next(source, None)
                    more = job is not None
                    if job is not None:
                        self._submit(job, work, 1, out, heard)
                if not out:
                    return
                try:
                    future = heard.get(timeout=0.0 if halted else TICK)
                except queue.Empty:
                    if halted:
                        return
                    self._look(finished)
                    continue
                self._look(finished)
                job, _, tries = out.pop(future.key)
                done = self._ended(job, future, tries)
                if done is None:
                    self._submit(job, work, tries + 1, out, heard)
                else:
                    finished += 1
                    yield done
        finally:
            with suppress(Exception):
                self.client.cancel([future for _, future, _ in out.values()])

    def _submit(
        self,
        job: Job,
        work: Callable[[Any], Any],
        tries: int,
        out: dict[str, tuple[Job, Future, int]],
        heard: queue.SimpleQueue[Future],
    ) -> None:
        future = self.client.submit(
            _attempt, work, job.key, job.payload, key=f"job-{uuid4().hex}", pure=False
        )
        out[future.key] = (job, future, tries)
        future.add_done_callback(heard.put)

    def _ended(self, job: Job, future: Future, tries: int) -> Done | None:
        """What became of a job; None if it has to be run again."""
        from distributed import CancelledError as Cancelled
        from distributed import KilledWorker

        try:
            done: Done = future.result(timeout=FETCH)
        except (Cancelled, CancelledError) as error:
            msg = "the Dask scheduler lost the work it was given; start it and this command again"
            raise EngineError(msg) from error
        except (KilledWorker, TimeoutError):
            if tries < TRIES:
                return None
            return Done(job.key, error=EngineError("every worker process that ran it died"))
        except Exception as error:
            return Done(job.key, error=error)
        return done

    def _look(self, finished: int = 0) -> None:
        """Count the workers now and then.

        Raises
        ------
        EngineError
            When there have been none for too long, or the scheduler does not answer.
        """
        if monotonic() - self._looked < LOOK:
            return
        try:
            threads = self.client.nthreads()
        except Exception as error:
            msg = f"the Dask scheduler does not answer any more; {finished} jobs are done"
            raise EngineError(msg) from error
        self._looked = monotonic()
        self.workers = sum(threads.values())
        if self.workers:
            self._seen = self._looked
        elif self._looked - self._seen > PATIENCE:
            msg = f"the cluster has had no worker for {PATIENCE:.0f} s; {finished} jobs are done"
            raise EngineError(msg)


def _attempt(work: Callable[[Any], Any], key: str, payload: Any) -> Done:
    """Do a job's work; an error that can't be sent back as it is becomes one that says it."""
    done = attempt(work, key, payload)
    try:
        pickle.loads(pickle.dumps(done.error))
    except Exception:
        said = f"{type(done.error).__name__}: {done.error}"
        return replace(done, error=RuntimeError(said))
    return done


def _own_worker() -> WorkerPlugin:
    """Have workers of ours ignore Ctrl-C, which is for the process that asked, and end at once.

    Python's own way out of a process that has planned takes it up to some seconds. Nothing is lost:
    results are fetched by then, and solvers beside it end when nobody speaks to them any more.
    """
    from distributed import WorkerPlugin

    class Own(WorkerPlugin):  # type: ignore[misc, unused-ignore]
        def setup(self, worker: object) -> None:
            import signal

            del worker
            signal.signal(signal.SIGINT, signal.SIG_IGN)

        def teardown(self, worker: object) -> None:
            import os

            del worker
            os._exit(0)

    return Own()


@contextmanager
def started(workers: int) -> Iterator[OnDask]:
    """Start that many worker processes on this machine, and end them afterwards."""
    import dask
    from distributed import Client, LocalCluster

    with (
        dask.config.set(OWN_SETTINGS),
        LocalCluster(
            n_workers=workers,
            threads_per_worker=1,
            processes=True,
            memory_limit=0,
            host=LOOPBACK,
            scheduler_port=0,
            dashboard_address=None,
            scheduler_kwargs={"dashboard_address": f"{LOOPBACK}:0"},
            silence_logs=logging.CRITICAL + 1,
        ) as cluster,
        Client(cluster, set_as_default=False) as client,
    ):
        client.register_plugin(_own_worker())
        yield OnDask(client)


@contextmanager
def joined(address: str) -> Iterator[OnDask]:
    """Use a running cluster, which stays as it is.

    Raises
    ------
    EngineError
        If it can't be reached, has no workers, or its workers have another wholedrum or none.
    """
    from distributed import Client
    from distributed.utils import silence_logging_cmgr

    try:
        client = Client(address, set_as_default=False, timeout=CONNECT)
    except Exception as error:
        msg = f"no Dask scheduler answers at {address}"
        raise EngineError(msg) from error
    with silence_logging_cmgr(logging.CRITICAL + 1), client:
        try:
            client.wait_for_workers(1, timeout=PATIENCE)
        except TimeoutError as error:
            msg = f"the cluster at {address} has no workers; start one: dask worker {address}"
            raise EngineError(msg) from error
        _check_versions(client, address)
        yield OnDask(client)


def _check_versions(client: Client, address: str) -> None:
    own = version()
    try:
        found = client.run(version)
    except Exception as error:
        msg = f"the workers at {address} need wholedrum {own}: {error}"
        raise EngineError(msg) from error
    others = {name: v for name, v in found.items() if v != own}
    if others:
        name, other = next(iter(others.items()))
        msg = f"worker {name} has wholedrum {other}, this is {own}; install the same on both"
        raise EngineError(msg)


def version() -> str:
    """Version of wholedrum here."""
    return str(import_module("planner").__version__)

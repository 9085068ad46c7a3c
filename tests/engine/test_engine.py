"""Many jobs: each once, failures told, dead workers made good; here and on a real cluster."""

import contextlib
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from planner.engine.jobs import Done, Engine, Job
from planner.engine.run import opened, run
from planner.errors import EngineError
from tests.support import work
from tests.support.work import needs_dask

TEN = [Job(f"square {n}", n) for n in range(10)]


def values(done: list[Done]) -> dict[str, Any]:
    assert len({d.key for d in done}) == len(done), "a job came back twice"
    return {d.key: d.value for d in done}


SQUARES = {f"square {n}": n * n for n in range(10)}


def test_in_this_process() -> None:
    heard: list[Done] = []
    done = list(run(TEN, work.square, workers=1, on_done=heard.append))
    assert values(done) == SQUARES
    assert heard == done


def test_one_job_starts_no_process() -> None:
    (done,) = run([Job("a", 0.0)], work.pid_after, workers=8)
    import os

    assert done.value == os.getpid()


def test_a_failure_is_told_and_the_rest_goes_on() -> None:
    jobs = [Job(str(n), n) for n in range(5)]
    done = list(run(jobs, work.fail_on_three, workers=1))
    assert [d.value for d in done] == [0, 1, 2, None, 4]
    assert [d.failure for d in done] == ["", "", "", "ValueError: three is not wanted", ""]


def test_stopped_between_jobs_and_resumed() -> None:
    stop, done = threading.Event(), []
    for d in run(TEN, work.square, workers=1, stop=stop):
        done.append(d)
        if len(done) == 4:
            stop.set()
    assert len(done) == 4
    keys = {d.key for d in done}
    done += run([j for j in TEN if j.key not in keys], work.square, workers=1)
    assert values(done) == SQUARES


def test_a_key_given_twice_is_refused() -> None:
    with pytest.raises(ValueError, match="'a'"):
        list(run([Job("a", 1), Job("a", 2)], work.square, workers=1))


def test_no_workers_is_a_sentence() -> None:
    with pytest.raises(EngineError, match="0 workers"):
        list(run(TEN, work.square, workers=0))


def test_without_dask_it_is_said_how_to_get_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(EngineError, match=r"install -e '.\[many\]'"):
        list(run(TEN, work.square, workers=2))


@pytest.fixture(scope="module")
def two() -> Iterator[Engine]:
    """Two worker processes, shared by the tests below."""
    with opened(workers=2) as engine:
        yield engine


@needs_dask
def test_two_processes_share_the_work(two: Engine) -> None:
    assert values(list(two.run(TEN, work.square))) == SQUARES
    pids = [d.value for d in two.run([Job(str(n), 0.05) for n in range(8)], work.pid_after)]
    import os

    assert len(set(pids)) == 2
    assert os.getpid() not in pids


@needs_dask
def test_equal_payloads_are_separate_jobs(two: Engine) -> None:
    """Dask would run a call with equal arguments once."""
    done = list(two.run([Job(str(n), 7) for n in range(40)], work.square))
    assert values(done) == {str(n): 49 for n in range(40)}


@needs_dask
def test_failures_come_from_other_processes_too(two: Engine) -> None:
    done = {d.key: d for d in two.run([Job(str(n), n) for n in range(5)], work.fail_on_three)}
    assert done["3"].failure == "ValueError: three is not wanted"
    assert isinstance(done["3"].error, ValueError)
    assert [done[str(n)].value for n in (0, 1, 2, 4)] == [0, 1, 2, 4]


@needs_dask
@pytest.mark.parametrize(
    ("work", "said"),
    [(work.fail_with_two, "NeedsTwo: 3 is odd"), (work.fail_with_lock, "HoldsLock: held")],
)
def test_errors_that_do_not_pickle_are_told_in_words(
    two: Engine, work: Callable[[int], int], said: str
) -> None:
    (done,) = two.run([Job("a", 3)], work)
    assert done.failure == f"RuntimeError: {said}"
    assert done.seconds > 0.0


@needs_dask
def test_workers_may_have_children(two: Engine) -> None:
    (done,) = two.run([Job("a", 3)], work.child)
    assert (done.value, done.failure) == (0, "")


@needs_dask
def test_stopped_while_others_work(two: Engine) -> None:
    stop, done = threading.Event(), []
    for d in two.run([Job(str(n), 0.2) for n in range(100)], work.pid_after, stop=stop):
        done.append(d)
        stop.set()
    assert 1 <= len(done) <= 4


@needs_dask
def test_only_this_machine_can_reach_it(two: Engine) -> None:
    """Every socket of the scheduler and of its workers that listens is on 127.0.0.1."""
    import psutil

    list(two.run([Job("a", 1), Job("b", 2)], work.square))
    me = psutil.Process()
    found = set()
    for process in (me, *me.children(recursive=True)):
        with contextlib.suppress(psutil.NoSuchProcess):
            for c in process.net_connections("inet"):
                if c.status == psutil.CONN_LISTEN:
                    found.add(c.laddr.ip)
    assert found == {"127.0.0.1"}


@needs_dask
def test_a_worker_killed_in_the_middle_loses_and_doubles_nothing(
    two: Engine, tmp_path: Path
) -> None:
    jobs = [Job(f"square {n}", (str(tmp_path), n)) for n in range(10)]
    assert values(list(two.run(jobs, work.dies_once))) == SQUARES
    starts = [len(list(tmp_path.glob(f"{n}-*"))) for n in range(10)]
    assert starts[4] >= 2, "the job that killed its process was started again"
    assert all(starts)
    assert values(list(two.run(TEN, work.square))) == SQUARES, "and the next run is whole"


@needs_dask
@pytest.mark.slow
def test_a_job_that_kills_every_worker_is_a_failure_of_its_own() -> None:
    """Four processes die with it, one after the other; the answers of the others are whole."""
    with opened(workers=2) as engine:
        done = {d.key: d for d in engine.run([Job(str(n), n) for n in range(20)], work.dies)}
    assert len(done) == 20
    assert "died" in done["0"].failure
    assert isinstance(done["0"].error, EngineError)
    assert [done[str(n)].value for n in range(1, 20)] == list(range(1, 20))


@pytest.mark.slow
@needs_dask
def test_processes_end_at_once_when_all_is_done(tmp_path: Path) -> None:
    """What Python would still do on its way out of them is not done, let alone waited for."""
    with opened(workers=2) as engine:
        done = list(engine.run([Job(f"{n}", str(tmp_path / f"{n}")) for n in range(4)], work.ends))
    assert len(done) == 4
    assert list(tmp_path.iterdir()) == []


@needs_dask
def test_a_running_cluster_by_its_address(two: Engine) -> None:
    address = two.client.scheduler.address  # type: ignore[attr-defined]
    assert values(list(run(TEN, work.square, cluster=address))) == SQUARES
    assert values(list(two.run(TEN, work.square))) == SQUARES, "it stays as it was"


@needs_dask
def test_no_cluster_there_is_a_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("planner.engine.on_dask.CONNECT", 0.5)
    with pytest.raises(EngineError, match="no Dask scheduler answers at"):
        list(run(TEN, work.square, cluster="tcp://127.0.0.1:9"))


@needs_dask
def test_a_scheduler_that_is_lost_is_a_sentence_and_no_failure_of_the_job(two: Engine) -> None:
    """What a future raises then, by distributed's own class."""
    from distributed.client import FutureCancelledError

    class Lost:
        def result(self, timeout: float) -> None:
            assert timeout
            raise FutureCancelledError("job-1", "scheduler-connection-lost")

    with pytest.raises(EngineError, match="the Dask scheduler lost the work it was given"):
        two._ended(Job("1", 1), Lost(), 1)  # type: ignore[attr-defined]


def test_the_engine_is_imported_late() -> None:
    """Dask takes most of a second to import: not before it is asked for."""
    code = "import sys, planner.engine.on_dask; print('distributed' in sys.modules)"
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert found.stdout.strip() == "False"

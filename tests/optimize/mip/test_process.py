"""Processes that solve: one that has died is heard of by everyone who asks it, at once."""

import os
import threading

import pytest

from planner.optimize.mip.highs import Limits, Verdict, Watch, now
from planner.optimize.mip.process import ProcessGoneError, Worker
from planner.optimize.model.instance import make_instance
from planner.optimize.model.program import make_model
from tests.support.seasons import season

TINY = make_model(make_instance(season())).matrix


@pytest.fixture
def worker():
    one = Worker()
    yield one
    one.close()


def killed(worker: Worker) -> Worker:
    assert worker.solve(TINY, Limits(gap=0.0)).verdict is Verdict.OPTIMAL
    worker.process.kill()
    worker.process.wait()
    return worker


def test_a_dead_process_answers_every_time(worker):
    dead, began = killed(worker), now()
    for _ in range(3):
        assert dead.solve(TINY, Limits(seconds=60.0)).verdict is Verdict.NONE_FOUND
        with pytest.raises(ProcessGoneError):
            dead.run(os.getpid, (), threading.Event())
    assert now() - began < 60.0  # none of the six waited for its time


def test_one_that_dies_at_work_leaves_the_next_waiting_for_nothing(worker):
    """Killed in the middle of a solve that would never end by itself."""
    assert worker.solve(TINY, Limits(gap=0.0)).verdict is Verdict.OPTIMAL  # it hears by now
    timer = threading.Timer(0.5, worker.process.kill)
    timer.start()
    with pytest.raises(ProcessGoneError):
        worker.run(wait_for_ever, (), threading.Event())
    timer.join()
    assert worker.solve(TINY, Limits(seconds=60.0)).verdict is Verdict.NONE_FOUND


def wait_for_ever(stop) -> None:
    threading.Event().wait()


def test_what_is_to_stop_is_not_begun(worker):
    stop = threading.Event()
    stop.set()
    answer = worker.solve(TINY, Limits(), watch=Watch(stop))
    assert answer.verdict is Verdict.NONE_FOUND
    with pytest.raises(ProcessGoneError):
        worker.run(os.getpid, (), stop)
    assert not worker.busy
    assert worker.solve(TINY, Limits(gap=0.0)).verdict is Verdict.OPTIMAL

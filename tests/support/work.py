"""Work that tests of the engine hand to other processes: a module that those can import."""

import os
import signal
import threading
import time
from importlib.util import find_spec
from pathlib import Path

import pytest

NO_DASK = "Dask is not installed"
"""Why a test is skipped; `tests/conftest.py` says so at the end."""
needs_dask = pytest.mark.skipif(find_spec("distributed") is None, reason=NO_DASK)


def square(number: int) -> int:
    return number * number


def fail_on_three(number: int) -> int:
    if number == 3:
        msg = "three is\nnot wanted"
        raise ValueError(msg)
    return number


class NeedsTwo(Exception):
    """An exception whose arguments are not those that it is made of: it can't be unpickled."""

    def __init__(self, what: str, why: str) -> None:
        super().__init__(f"{what} is {why}")


def fail_with_two(number: int) -> int:
    raise NeedsTwo(str(number), "odd")


class HoldsLock(Exception):
    """An exception that can't even be pickled."""

    def __init__(self) -> None:
        super().__init__("held")
        self.lock = threading.Lock()


def fail_with_lock(number: int) -> int:
    del number
    raise HoldsLock


def pid_after(seconds: float) -> int:
    time.sleep(seconds)
    return os.getpid()


def dies_once(payload: tuple[str, int]) -> int:
    """Job 4 kills its process the first time; every start leaves a mark in a folder."""
    folder, number = payload
    first = not Path(folder, str(number)).exists()
    Path(folder, str(number)).touch()
    Path(folder, f"{number}-{os.getpid()}-{time.monotonic_ns()}").touch()
    time.sleep(0.05)
    if number == 4 and first:
        os.kill(os.getpid(), signal.SIGKILL)
    return number * number


def dies(number: int) -> int:
    """The first job kills every process that runs it."""
    if number == 0:
        os.kill(os.getpid(), signal.SIGKILL)
    return number


def child(number: int) -> int:
    """Starts a process of its own, which daemonic workers may not."""
    from multiprocessing import get_context

    process = get_context("spawn").Process(target=square, args=(number,))
    process.start()
    process.join()
    return int(process.exitcode or 0)


def ends(mark: str) -> None:
    """Leaves a mark where its process ends as Python does by itself."""
    import atexit

    atexit.register(Path(mark).touch)

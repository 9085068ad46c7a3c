"""HiGHS in a process of its own, so that it and the search for plans don't wait for each other.

`Worker.solve` is `planner.optimize.mip.highs.solve` elsewhere: same program, same answer. A worker
that dies proves nothing, and whoever asks it hears so at once. Messages are pickles of our own
over two pipes.
"""

from __future__ import annotations

import atexit
import os
import pickle
import queue
import subprocess
import sys
import threading
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO, Protocol

from planner.optimize.mip.highs import INFINITE, Answer, Limits, Matrix, Verdict, Watch, now, solve

if TYPE_CHECKING:
    from collections.abc import Callable

    from planner.optimize.mip.highs import Floats
    from planner.optimize.options import Stop

TICK = 0.1
"""Seconds between two looks at what the other side says."""
GRACE = 15.0
"""Seconds after the sign to stop in which a process must answer; then it is ended."""


class ProcessGoneError(Exception):
    """The process died before it answered."""


class Worker:
    """A process that solves one program, or does one job, after the other."""

    def __init__(self) -> None:
        # -P: no modules from the folder that the user happens to stand in.
        root = str(Path(__file__).resolve().parents[3])
        path = os.pathsep.join(p for p in (root, os.environ.get("PYTHONPATH")) if p)
        self.process = subprocess.Popen(
            [sys.executable, "-P", "-m", "planner.optimize.mip.process"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env={**os.environ, "PYTHONPATH": path},
            start_new_session=True,
        )
        self.heard: queue.SimpleQueue[tuple[str, Any]] = queue.SimpleQueue()
        self.sent: object = None
        """What the last job left there for the next one."""
        self.ready = False
        self.busy = False
        """Whether it has been given something that it has not answered yet."""
        self.told_to_stop: float | None = None
        threading.Thread(target=self._listen, daemon=True).start()

    def _listen(self) -> None:
        assert self.process.stdout is not None
        try:
            with suppress(EOFError, OSError, ValueError, pickle.UnpicklingError, MemoryError):
                while True:
                    self.heard.put(pickle.load(self.process.stdout))
        finally:
            self.heard.put(("gone", None))

    def _say(self, kind: str, value: Any) -> None:
        assert self.process.stdin is not None
        with suppress(OSError, ValueError):
            pickle.dump((kind, value), self.process.stdin)
            self.process.stdin.flush()

    def _give(self, kind: str, value: Any) -> None:
        self.busy = True
        self._say(kind, value)

    def _begin(self, stop: Stop | None) -> bool:
        """Wait until the process hears; whether it does and there is still something to do."""
        self.told_to_stop = None
        while not (stop is not None and stop.is_set()):
            if self.ready and self.is_alive():
                return True
            kind, _ = self._next(None)
            self.ready = self.ready or kind == "ready"
            if kind == "gone":
                return False
        return False

    def _next(self, stop: Stop | None) -> tuple[str, Any]:
        """What the process says next, or nothing yet; passes on the sign to stop."""
        if stop is not None and stop.is_set():
            if self.told_to_stop is None:
                self.told_to_stop = now()
                self._say("stop", None)
            elif now() - self.told_to_stop > GRACE:  # it does not hear any more
                with suppress(OSError):
                    self.process.kill()
        try:
            kind, value = self.heard.get(timeout=TICK)
        except queue.Empty:
            return "", None
        if kind == "gone":
            self.heard.put((kind, value))  # it stays gone
        return kind, value

    def solve(
        self,
        matrix: Matrix,
        limits: Limits,
        start: Floats | None = None,
        watch: Watch | None = None,
    ) -> Answer:
        """Solve a program; nothing is found and nothing proven if the process dies."""
        watch = watch or Watch()
        if not self._begin(watch.stop):
            return Answer(Verdict.NONE_FOUND, None, INFINITE, -INFINITE)
        self._give("solve", (matrix, limits, start))
        known = INFINITE
        while True:
            kind, value = self._next(watch.stop)
            if kind == "answer":
                self.busy = False
                answer: Answer = value
                return answer
            if kind == "gone":
                return Answer(Verdict.NONE_FOUND, None, INFINITE, -INFINITE)
            if kind == "solution" and watch.on_solution:
                watch.on_solution(*value)
                known = min(known, value[1])
            elif kind == "bound" and watch.on_bound:
                watch.on_bound(value)
            better = watch.better(known) if watch.better and not kind else None
            if better is not None:
                known = matrix.price(better)
                self._say("better", (better, known))

    def run(
        self,
        job: Callable[..., Any],
        arguments: tuple[Any, ...],
        stop: Stop,
        on_bound: Callable[[float], None] | None = None,
    ) -> Any:
        """Call a function of a module with these arguments and an `Asker`, elsewhere.

        `on_bound` is called with the bounds that it tells.

        Raises
        ------
        ProcessGoneError
            When the process dies, had died before, or was to stop before it began.
        """
        if not self._begin(stop):
            raise ProcessGoneError
        self._give("run", (job, arguments))
        while True:
            kind, value = self._next(stop)
            if kind == "done":
                self.busy = False
                return value
            if kind == "bound" and on_bound is not None:
                on_bound(value)
            if kind == "gone":
                raise ProcessGoneError

    def is_alive(self) -> bool:
        """Whether the process is still there."""
        return self.process.poll() is None

    def close(self) -> None:
        """End the process."""
        with suppress(OSError):
            self.process.kill()
        for pipe in (self.process.stdin, self.process.stdout):
            with suppress(OSError, ValueError):
                if pipe is not None:
                    pipe.close()
        self.process.wait()


_idle: list[Worker] = []
_idle_lock = threading.Lock()
MOST_IDLE = 3
"""Processes that are kept for the next program or job."""


def take_worker() -> Worker:
    """Take a process that has nothing to do, or start one."""
    with _idle_lock:
        while _idle:
            worker = _idle.pop()
            if worker.is_alive():
                return worker
            worker.close()
    return Worker()


def give_back(worker: Worker) -> None:
    """Keep a process for later; end it if it still works, or if there are enough."""
    with _idle_lock:
        keep = worker.is_alive() and not worker.busy and len(_idle) < MOST_IDLE
        if keep:
            worker.sent = None
            _idle.append(worker)
    if not keep:
        worker.close()


def start_apart() -> None:
    """Start a process for `solve_apart` now, so that the first solve need not wait for it."""
    give_back(take_worker())


def solve_apart(
    matrix: Matrix, limits: Limits, start: Floats | None = None, watch: Watch | None = None
) -> Answer:
    """`planner.optimize.mip.highs.solve` in a process that is kept for the next program.

    Where HiGHS crashes, that process ends, and nothing is found and nothing proven.
    """
    worker = take_worker()
    try:
        answer = worker.solve(matrix, limits, start, watch)
        if not worker.ready and not worker.is_alive():  # no process can be started here
            return solve(matrix, limits, start, watch)
        return answer
    finally:
        give_back(worker)


@atexit.register
def _close_idle() -> None:
    with _idle_lock:
        while _idle:
            _idle.pop().close()


class Asker(Protocol):
    """Who wants a job done: the sign to stop, and what to tell bounds to."""

    def is_set(self) -> bool:
        """Whether to stop."""
        ...

    def tell(self, bound: float) -> None:
        """Tell a bound that is proven."""
        ...


class _Ear:
    """What the parent says while a program is being solved; itself the sign to stop."""

    def __init__(self, source: BinaryIO, say: Callable[[str, Any], None]) -> None:
        self.jobs: queue.SimpleQueue[Any] = queue.SimpleQueue()
        self.source, self.say = source, say
        self.better: tuple[Floats, float] | None = None
        self.stop = False
        threading.Thread(target=self._listen, daemon=True).start()

    def _listen(self) -> None:
        try:
            while True:
                kind, value = pickle.load(self.source)
                if kind in ("solve", "run"):
                    self.stop, self.better = False, None
                    self.jobs.put((kind, value))
                elif kind == "better":
                    self.better = value
                else:
                    self.stop = True
        finally:
            os._exit(0)  # the parent is gone, or can't be understood

    def is_set(self) -> bool:
        """Whether the parent wants this solve to stop."""
        return self.stop

    def tell(self, bound: float) -> None:
        """Tell the parent a bound that is proven."""
        self.say("bound", bound)

    def take(self, cost: float) -> Floats | None:
        """A better solution that the parent has."""
        held, self.better = self.better, None
        return held[0] if held is not None and held[1] < cost else None


def _serve(source: BinaryIO, sink: BinaryIO) -> None:
    """Solve what comes in until nothing comes any more."""

    def say(kind: str, value: Any) -> None:
        pickle.dump((kind, value), sink)
        sink.flush()

    ear, spoken = _Ear(source, say), [0.0]

    def bound(value: float) -> None:
        if now() - spoken[0] > TICK:
            spoken[0] = now()
            say("bound", value)

    say("ready", None)
    while True:
        kind, job = ear.jobs.get()
        if kind == "run":
            function, arguments = job
            say("done", function(*arguments, ear))
            continue
        matrix, limits, start = job
        watch = Watch(ear, lambda x, cost: say("solution", (x, cost)), bound, ear.take)
        try:
            answer = solve(matrix, limits, start=start, watch=watch)
        except Exception:
            answer = Answer(Verdict.NONE_FOUND, None, INFINITE, -INFINITE)
        say("answer", answer)


def main() -> None:
    """Serve over standard input and a private copy of standard output."""
    sink = os.fdopen(os.dup(1), "wb")
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 1)
    _serve(sys.stdin.buffer, sink)


if __name__ == "__main__":
    main()

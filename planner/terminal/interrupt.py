"""Ctrl-C during a long piece of work: the first asks it to stop, the second leaves at once."""

from __future__ import annotations

import os
import signal
import threading
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

T = TypeVar("T")

BEAT = 0.1
"""Seconds between looks at the clock and at Ctrl-C."""
KEPT = b"\nThe plan is kept, and its files are written. Press Ctrl-C again to quit now.\n"


def interruptible(
    work: Callable[[threading.Event], T],
    beat: Callable[[], None],
    asked: Callable[[], None],
) -> tuple[T, bool]:
    """Run `work` in a thread, so that Ctrl-C is heard while a solver computes.

    Parameters
    ----------
    work
        Gets an event that is set by the first Ctrl-C.
    beat
        Called about ten times a second.
    asked
        Called once, when the first Ctrl-C came.

    Returns
    -------
    tuple of T and bool
        What `work` returned, and whether it was asked to stop.

    Raises
    ------
    KeyboardInterrupt
        At the second Ctrl-C; `work` may still be computing.
    """
    stop = threading.Event()
    results: list[T] = []
    failures: list[BaseException] = []

    def target() -> None:
        try:
            results.append(work(stop))
        except BaseException as error:  # noqa: BLE001, RUF100 - handed to the waiting thread
            failures.append(error)

    def on_signal(_number: int, _frame: object) -> None:
        if stop.is_set():
            raise KeyboardInterrupt
        stop.set()

    thread = threading.Thread(target=target, daemon=True, name="deciding")
    with _Handler(on_signal):
        thread.start()
        asked_to_stop = False
        while thread.is_alive():
            thread.join(BEAT)
            if stop.is_set() and not asked_to_stop:
                asked_to_stop = True
                asked()
            beat()
    if failures:
        raise failures[0]
    return results[0], stop.is_set()


@contextmanager
def kept() -> Iterator[threading.Event]:
    """Only note the first Ctrl-C while a plan is worked out and written; the second leaves at once.

    Yields
    ------
    threading.Event
        Set by the first: whatever can be left out is. What runs `interruptible` hears it itself.
    """
    asked = threading.Event()

    def on_signal(_number: int, _frame: object) -> None:
        if asked.is_set():
            raise KeyboardInterrupt
        asked.set()
        with suppress(OSError):
            os.write(2, KEPT)  # print may be in the middle of a line

    with _Handler(on_signal):
        yield asked


class _Handler:
    """Answers Ctrl-C with a function while it is entered, where signals are heard."""

    def __init__(self, on_signal: Callable[[int, object], None]) -> None:
        self._on_signal = on_signal
        self._able = threading.current_thread() is threading.main_thread()

    def __enter__(self) -> None:
        self._before = signal.getsignal(signal.SIGINT)
        self._able = self._able and self._before is not signal.SIG_IGN
        if self._able:
            signal.signal(signal.SIGINT, self._on_signal)

    def __exit__(self, *_: object) -> None:
        if self._able:
            signal.signal(signal.SIGINT, self._before)

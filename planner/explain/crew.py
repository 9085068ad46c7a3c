"""Processes that plan changed seasons side by side; one that dies costs its answer and no more.

Every process has a pipe of its own. Nothing is shared between them, no queue and no lock, so a
process that is killed at any moment can't hold up the others.
"""

from __future__ import annotations

import signal
from contextlib import suppress
from dataclasses import dataclass
from multiprocessing import get_context
from multiprocessing.connection import wait
from time import monotonic
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from multiprocessing.connection import Connection
    from multiprocessing.process import BaseProcess

OVERDUE = 20.0
"""Seconds past its own time after which an answer counts as lost."""
TICK = 0.05


@dataclass(slots=True)
class _Hand:
    """A process, the pipe to it, and what it works on."""

    process: BaseProcess
    pipe: Connection
    key: str = ""
    lost: float = 0.0
    """When its answer counts as lost; 0 while it has nothing to do."""

    def close(self) -> None:
        """End the process, whatever it does."""
        self.pipe.close()
        self.process.kill()
        self.process.join()


def _serve(pipe: Connection, task: Callable[..., Any]) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    with suppress(EOFError, OSError):
        while True:
            arguments = pipe.recv()
            try:
                answer = task(*arguments)
            except Exception:
                answer = None
            pipe.send(answer)


class Crew:
    """That many processes that do one task with different arguments.

    Raises
    ------
    OSError
        When there is no room for processes.
    """

    def __init__(self, task: Callable[..., Any], size: int) -> None:
        self._task = task
        self._hands: list[_Hand] = []
        try:
            for _ in range(size):
                self._hire()
        except BaseException:
            self.close()
            raise

    def _hire(self) -> None:
        ours, theirs = get_context("spawn").Pipe()
        process = get_context("spawn").Process(
            target=_serve, args=(theirs, self._task), daemon=True
        )
        process.start()
        theirs.close()
        self._hands.append(_Hand(process, ours))

    @property
    def busy(self) -> int:
        """How many have something to do."""
        return sum(hand.lost > 0.0 for hand in self._hands)

    @property
    def idle(self) -> int:
        """How many have nothing to do."""
        return len(self._hands) - self.busy

    def give(self, key: str, arguments: tuple[Any, ...], seconds: float) -> None:
        """Give an idle process something to do that should take that many seconds at most."""
        hand = next(hand for hand in self._hands if hand.lost == 0.0)
        hand.key, hand.lost = key, monotonic() + seconds + OVERDUE
        try:
            hand.pipe.send(arguments)
        except OSError:
            self._replace(hand)

    def answers(self) -> Iterator[tuple[str, Any]]:
        """Wait a moment; yield what is done by then. Who died or is overdue is replaced."""
        working = [hand for hand in self._hands if hand.lost > 0.0]
        ready = wait([hand.pipe for hand in working], TICK)
        for hand in working:
            if hand.pipe in ready:
                try:
                    answer = hand.pipe.recv()
                except (EOFError, OSError):
                    self._replace(hand)
                    continue
                hand.lost = 0.0
                yield hand.key, answer
            elif monotonic() > hand.lost:
                self._replace(hand)

    def _replace(self, hand: _Hand) -> None:
        self._hands.remove(hand)
        hand.close()
        with suppress(OSError):
            self._hire()

    def close(self) -> None:
        """End all processes."""
        for hand in self._hands:
            hand.close()
        self._hands.clear()

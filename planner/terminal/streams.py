"""What is printed, also where nobody reads the stream any more or the disk behind it is full.

The work goes on, and its files are written: what could not be printed is told at the end.
"""

from __future__ import annotations

import os
import sys
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from typing import TextIO

_failed: list[OSError] = []
"""Why results could not be printed, since `failure` was asked last."""


def put(text: str, stream: TextIO | None = None, end: str = "\n") -> None:
    """Print a text at once, on stdout unless said otherwise; a stream that fails goes to nowhere.

    A reader such as `head` that has seen enough is no failure, nor is what stderr can't take.
    """
    stream = stream or sys.stdout
    try:
        print(text, file=stream, end=end, flush=True)
    except OSError as error:
        _give_up(stream, error)


def flush() -> None:
    """Print what still waits to be."""
    for stream in (sys.stdout, sys.stderr):
        try:
            stream.flush()
        except OSError as error:
            _give_up(stream, error)


def failure() -> str:
    """Why results could not be printed, such as "No space left on device"; empty where all were."""
    said = [error.strerror or str(error) for error in _failed]
    _failed.clear()
    return said[0] if said else ""


def _give_up(stream: TextIO, error: OSError) -> None:
    if stream is sys.stdout and not isinstance(error, BrokenPipeError):
        _failed.append(error)
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, stream.fileno())
    os.close(nowhere)

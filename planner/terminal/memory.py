"""Memory: whether the system allows as much as planning takes, and how it shows that it ran out."""

from __future__ import annotations

import errno
import math
import os
import signal
import sys

LEAST = 1024 * 2**20
"""Bytes of address space below which libraries and threads fail in ways that nobody can catch.

To compile and search the moves of 60 fields takes between 560 and 640 MB of it, 700 fields between
640 and 768 MB (and half as much memory)."""
RAN_OUT = "There is not enough memory for this season; close other programs and try again."
_SIGNS = ("failed to map segment", "cannot allocate memory", "can't start new thread")
"""Words of errors that Python and the system's loader raise where memory is refused."""
_SIGNALS = ("SIGABRT", "SIGSEGV", "SIGBUS", "SIGKILL")
_ENDED_BY_LIBRARIES = {127, *(-getattr(signal, s) for s in _SIGNALS if hasattr(signal, s))}
"""How a process ends that was refused memory: the loader's code, and signals."""


def allowed() -> float:
    """Bytes that this process may take, where the system sets a limit."""
    try:
        import resource
    except ModuleNotFoundError:  # Windows sets none
        return math.inf
    kinds = (resource.RLIMIT_AS, resource.RLIMIT_DATA)
    limits = (resource.getrlimit(kind)[0] for kind in kinds)
    return min((n for n in limits if n != resource.RLIM_INFINITY), default=math.inf)


def too_little() -> str:
    """What to tell where less is allowed than planning takes; else nothing."""
    most = allowed()
    if most >= LEAST:
        return ""
    return (
        f"Only {most / 2**20:.0f} MB of memory are allowed here, and wholedrum needs"
        f" {LEAST / 2**20:.0f} MB; raise the limit (ulimit -v, ulimit -d) and try again."
    )


def watched() -> None:
    """Go on in a child where the system limits memory, so that somebody can tell how it ends.

    Libraries for which there is not enough end their process in ways that nobody can catch. Returns
    in the child; the parent waits and leaves with the child's exit code, or with 5 and a sentence.
    """
    if math.isinf(allowed()):
        return
    child = os.fork()
    if child == 0:
        return
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the terminal tells the child too
    signal.signal(signal.SIGTERM, lambda number, _: os.kill(child, number))
    code = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    if code in _ENDED_BY_LIBRARIES:
        print(RAN_OUT, file=sys.stderr)
        raise SystemExit(5)
    raise SystemExit(code if code >= 0 else 128 - code)


def ran_out(error: BaseException) -> bool:
    """Whether an error says that memory was refused.

    >>> ran_out(MemoryError()), ran_out(RuntimeError("can't start new thread"))
    (True, True)
    >>> ran_out(OSError(errno.ENOMEM, "Cannot allocate memory")), ran_out(ValueError("memory"))
    (True, False)
    """
    if isinstance(error, MemoryError):
        return True
    if isinstance(error, OSError) and error.errno == errno.ENOMEM:
        return True
    text = str(error).lower()
    return isinstance(error, ImportError | OSError | RuntimeError) and any(
        sign in text for sign in _SIGNS
    )

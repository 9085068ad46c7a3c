"""One run at a time in a folder."""

from __future__ import annotations

import contextlib
import errno
import os
import time
from contextlib import contextmanager
from typing import IO, TYPE_CHECKING, Any

from planner.errors import OutputError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

LOCK = ".wholedrum-lock"
WAIT_SECONDS = 20.0
"""How long a run waits for another one that writes into the same folder."""


@contextmanager
def locked(folder: Path) -> Iterator[None]:
    """Keep other runs out of a folder; the system lets go of the lock if this run dies.

    Raises
    ------
    OutputError
        When another run has not finished there within `WAIT_SECONDS`.
    """
    path = folder / LOCK
    until = time.monotonic() + WAIT_SECONDS
    while True:
        handle = path.open("a+b")
        if _held(handle) and _same(handle, path):
            break
        handle.close()
        if time.monotonic() > until:
            msg = f"another run is writing into {folder}; wait for it, or choose another folder"
            raise OutputError(msg)
        time.sleep(0.05)
    try:
        yield
    finally:
        if os.name == "nt":
            handle.close()
        with contextlib.suppress(OSError):
            path.unlink(missing_ok=True)
        handle.close()


def _held(handle: IO[bytes]) -> bool:
    try:
        if os.name == "nt":
            import msvcrt

            _call(msvcrt, "locking")(handle.fileno(), _call(msvcrt, "LK_NBLCK"), 1)
        else:
            import fcntl

            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        if error.errno in (errno.EAGAIN, errno.EACCES, errno.EDEADLK):
            return False
        return error.errno in (errno.ENOTSUP, errno.ENOSYS, errno.ENOLCK, errno.EINVAL)
    return True


def _call(module: Any, name: str) -> Any:
    return getattr(module, name)


def _same(handle: IO[bytes], path: Path) -> bool:
    """Tell whether the file locked is still the one of this name: its last holder deletes it."""
    try:
        return os.path.samestat(os.fstat(handle.fileno()), path.stat())
    except OSError:
        return False

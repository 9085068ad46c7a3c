"""What a run was made with: versions, cores, memory, and what else kept the machine busy."""

from __future__ import annotations

import os
import platform
import subprocess
import threading
from contextlib import suppress
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path
from time import monotonic

from planner.engine.jobs import cores

ROOT = Path(__file__).parent.parent
LIBRARIES = ("highspy", "pulp", "numpy", "numba", "openpyxl")
PROCESSES = Path("/proc")
STAT = PROCESSES / "stat"
LOOK = 0.5
"""Seconds between two looks at the memory in use."""


def versions() -> dict[str, str]:
    """Python and the libraries that figures depend on, and where the planner comes from."""
    import planner

    found = {"python": platform.python_version()} | {name: version(name) for name in LIBRARIES}
    return found | {"planner": str(Path(planner.__file__).parent)}


def load() -> str:
    """Load of the machine over the last minute, where the system knows it."""
    return f"{os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else "not known"


def now() -> str:
    """Date and time, UTC."""
    return datetime.now(UTC).strftime("%Y-%m-%d %H:%M UTC")


def described() -> str:
    """Versions, cores and day of a run, in one line."""
    found = versions()
    libraries = ", ".join(f"{name} {found[name]}" for name in ("highspy", "numpy", "numba"))
    return f"Python {found['python']}, {libraries}, {cores()} cores, {now()}"


def code() -> str:
    """The commit that is measured, and whether files differ from it."""
    asked = ["git", "describe", "--always", "--dirty=, with changes"]
    try:
        done = subprocess.run(asked, cwd=ROOT, capture_output=True, text=True, check=True)
    except (OSError, subprocess.CalledProcessError):
        return "not known"
    return done.stdout.strip()


class Others:
    """Mean number of cores that other processes keep busy from now on.

    All processors' busy time, as Linux counts it in /proc/stat (user, nice, system, interrupts and
    what other machines on the same host took), less that of this process and of those it started
    and has waited for.
    """

    def __init__(self) -> None:
        self._began = monotonic()
        self._busy, self._ours = _busy(), _ours()

    def cores(self) -> float | None:
        """None where the system does not count it."""
        busy, taken = _busy(), monotonic() - self._began
        if busy is None or self._busy is None or taken <= 0.0:
            return None
        return max(0.0, busy - self._busy - (_ours() - self._ours)) / taken


def _busy() -> float | None:
    if not STAT.exists():
        return None
    user, nice, system, _, _, *rest = map(int, STAT.read_text("ascii").split()[1:9])
    return (user + nice + system + sum(rest)) / os.sysconf("SC_CLK_TCK")


def _ours() -> float:
    times = os.times()
    return times.user + times.system + times.children_user + times.children_system


def hold(number: int) -> None:
    """Use no more than so many cores from now on, in this process and those that it starts."""
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, sorted(os.sched_getaffinity(0))[:number])


class Memory:
    """Highest memory that all processes begun below this one take together, while it is open.

    Looked at twice a second, as Linux counts it in /proc/PID/smaps_rollup: what processes share is
    counted once (proportional set size).
    """

    def __init__(self) -> None:
        self._most = 0.0
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._watch, daemon=True)

    def __enter__(self) -> Memory:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._ended.set()
        self._thread.join()

    @property
    def megabytes(self) -> float | None:
        """None where the system does not count it."""
        return self._most or None

    def _watch(self) -> None:
        while not self._ended.wait(LOOK):
            self._most = max(self._most, sum(map(_megabytes, _below(os.getpid()))))


def _below(process: int) -> list[int]:
    """Processes that one has started, and those that they have started."""
    children: dict[int, list[int]] = {}
    for stat in PROCESSES.glob("[0-9]*/stat"):
        with suppress(OSError):
            after_name = stat.read_text("utf-8", "replace").rpartition(")")[2].split()
            children.setdefault(int(after_name[1]), []).append(int(stat.parent.name))
    found, new = list[int](), [process]
    while new:
        new = [child for one in new for child in children.get(one, ())]
        found += new
    return found


def _megabytes(process: int) -> float:
    """What a process takes; nothing where it has ended."""
    with suppress(OSError):
        for line in (PROCESSES / str(process) / "smaps_rollup").read_text("ascii").splitlines():
            if line.startswith("Pss:"):
                return int(line.split()[1]) / 1e3
    return 0.0

"""What a run was made with: versions, cores, and what else kept the machine busy."""

from __future__ import annotations

import os
import platform
import subprocess
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path
from time import monotonic

ROOT = Path(__file__).parent.parent
LIBRARIES = ("highspy", "pulp", "numpy", "numba", "openpyxl")
STAT = Path("/proc/stat")


def versions() -> dict[str, str]:
    """Python and the libraries that figures depend on, and where the planner comes from."""
    import planner

    found = {"python": platform.python_version()} | {name: version(name) for name in LIBRARIES}
    return found | {"planner": str(Path(planner.__file__).parent)}


def cores() -> int:
    """Cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


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

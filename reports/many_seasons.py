"""Many seasons with deaths in between: `python -m reports.many_seasons [--seasons 120]`.

Writes seasons of 20 fields, starts `wholedrum many` on them, kills one of its workers, then the
whole command; starts it again, kills a worker once more, and lets it end. Writes
reports/many-seasons.md: that every season was planned once, and what share of the workers' time
was not spent on planning in the second run, as that run counts it. Linux only: the processes are
found in /proc.
"""

from __future__ import annotations

import argparse
import json
import os
import re
import signal
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from planner.many.ledger import RECORD
from reports.machine import ROOT, Others, code, described
from reports.seasons import Case
from tests.support.written import write

OUT = Path(__file__).parent / "many-seasons.md"
FIRST_SEED = 100
WORKER_DIES, COMMAND_DIES, SECOND_DIES = 0.2, 0.45, 0.7
"""Shares of the seasons that are kept when each is killed."""
TICK = 0.05
ENGINE = 0.05
"""Share of the workers' time that the engine may take."""
SAID = re.compile(r"(\d+) now, in (\d+) s; \d+ workers? planned ([\d.]+)%")


@dataclass(slots=True)
class Run:
    """One start of the command."""

    process: subprocess.Popen[str]
    began: float
    ended: float = 0.0
    said: str = ""


class Folder:
    """Seasons and what is kept of them."""

    def __init__(self, home: Path, seasons: int, seconds: float, workers: int) -> None:
        self.seasons, self.out = home / "seasons", home / "out"
        self.total, self.runs = seasons, list[Run]()
        self.command = [sys.executable, "-m", "planner", "many", str(self.seasons)]
        self.command += ["--out", str(self.out), "--seconds", f"{seconds:g}"]
        self.command += ["--workers", str(workers)]
        self.seasons.mkdir()
        for n in range(seasons):
            season = Case(20, 12, 4, 1, FIRST_SEED + n).season()
            write(season, self.seasons / f"farm-{n:03d}")

    def start(self) -> Run:
        """Start the command in a session of its own."""
        process = subprocess.Popen(
            self.command,
            cwd=ROOT,
            start_new_session=True,
            text=True,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
        )
        self.runs.append(Run(process, time.monotonic()))
        return self.runs[-1]

    def kept(self) -> dict[Path, int]:
        """When each record was written, in nanoseconds."""
        return {path: path.stat().st_mtime_ns for path in self.out.rglob(RECORD)}

    def wait_for(self, share: float, run: Run) -> int:
        """Wait until that share of the seasons is kept; how many are then."""
        while len(self.kept()) < share * self.total:
            if run.process.poll() is not None:
                msg = f"the command ended early: {run.process.returncode}"
                raise SystemExit(msg)
            time.sleep(TICK)
        return len(self.kept())


def children(pid: int) -> dict[int, str]:
    """Command lines of a process's children, by process."""
    found = {}
    for path in Path("/proc").glob("[0-9]*"):
        try:
            parent = int((path / "stat").read_text().rpartition(")")[2].split()[1])
            if parent == pid:
                found[int(path.name)] = (path / "cmdline").read_bytes().decode(errors="replace")
        except OSError:
            continue
    return found


def descendants(pid: int) -> list[int]:
    """All processes that a process started, and those that they did."""
    mine = list(children(pid))
    return [*mine, *(other for child in mine for other in descendants(child))]


def kill_a_worker(run: Run) -> int:
    """Kill one of the processes that plan seasons; which one."""
    workers = [p for p, line in children(run.process.pid).items() if "spawn_main" in line]
    os.kill(workers[0], signal.SIGKILL)
    return workers[0]


def kill_all(run: Run) -> None:
    """Kill the command and every process of it at once, as a machine that goes off does."""
    if run.process.poll() is not None:
        return
    for pid in (run.process.pid, *descendants(run.process.pid)):
        try:
            os.kill(pid, signal.SIGKILL)
        except ProcessLookupError:
            continue
    run.process.communicate()
    run.ended = time.monotonic()


def measured(folder: Folder) -> dict[str, float]:
    """Run, kill, run again; what was found."""
    first = folder.start()
    try:
        return _twice(folder, first)
    finally:
        for run in folder.runs:
            kill_all(run)


def _twice(folder: Folder, first: Run) -> dict[str, float]:
    at_worker = folder.wait_for(WORKER_DIES, first)
    kill_a_worker(first)
    folder.wait_for(COMMAND_DIES, first)
    kill_all(first)
    before = folder.kept()
    others, second = Others(), folder.start()
    at_second = folder.wait_for(SECOND_DIES, second)
    kill_a_worker(second)
    second.said, _ = second.process.communicate()
    second.ended = time.monotonic()
    after = folder.kept()
    records = [json.loads(path.read_text("utf-8")) for path in after]
    said = SAID.search(" ".join(second.said.split()))
    if said is None or second.process.returncode:
        msg = f"the second run ended with {second.process.returncode}:\n{second.said}"
        raise SystemExit(msg)
    return {
        "seasons": folder.total,
        "at worker": at_worker,
        "kept before": len(before),
        "at second": at_second,
        "first seconds": first.ended - first.began,
        "second seconds": second.ended - second.began,
        "written twice": sum(after[path] != stamp for path, stamp in before.items()),
        "names": len({record["name"] for record in records}),
        "records": len(records),
        "plans": sum(record["cost"] > 0.0 for record in records),
        "now": int(said[1]),
        "planning seconds": int(said[2]),
        "busy": float(said[3]) / 100.0,
        "took": sum(record["took"] for record in records) / len(records),
        "others": others.cores() or 0.0,
    }


def page(found: dict[str, float], command: str, workers: int) -> str:
    """The page of a run."""
    once = (
        found["records"] == found["names"] == found["seasons"]
        and not found["written twice"]
        and found["kept before"] + found["now"] == found["seasons"]
    )
    engine = 1.0 - found["busy"]
    return f"""# Many seasons, with deaths in between

Made by `{command}`
on {described()}, code {code()}.
Other work kept {found["others"]:.1f} of its cores busy during the second run. Each season
has 20 fields, 12 lots and 4 recipes; {workers} workers.

| what | measured |
|---|---:|
| seasons | {found["seasons"]:,.0f} |
| kept when a worker was killed | {found["at worker"]:,.0f} |
| kept when the whole command was killed | {found["kept before"]:,.0f} |
| kept when a worker of the second run was killed | {found["at second"]:,.0f} |
| planned by the second run | {found["now"]:,.0f} |
| seasons kept in the end | {found["records"]:,.0f} |
| different ones of them | {found["names"]:,.0f} |
| of them with a plan | {found["plans"]:,.0f} |
| records of the first run that the second wrote again | {found["written twice"]:,.0f} |
| seconds of the first run until it was killed | {found["first seconds"]:,.0f} |
| seconds of the second run, summary and pooled order included | {found["second seconds"]:,.0f} |
| seconds of it in which seasons were planned | {found["planning seconds"]:,.0f} |
| seconds that a season took, on average | {found["took"]:.1f} |
| share of the workers' time outside planning | {engine:.1%} |

- Every season was planned and kept exactly once{"" if once else ": **not kept**"}.
- The engine took {engine:.1%} of the workers' time, a killed worker's lost work and restart, and
  the wait for the last season included; at most {ENGINE:.0%} was wanted\
{", which is kept" if engine <= ENGINE else ", which is **not** kept"}.
"""


def main() -> None:
    """Measure and write."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seasons", type=int, default=120)
    parser.add_argument("--seconds", type=float, default=5.0)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--out", type=Path, default=OUT)
    asked = parser.parse_args()
    command = f"python -m reports.many_seasons --seasons {asked.seasons}"
    command += f" --seconds {asked.seconds:g} --workers {asked.workers}"
    with tempfile.TemporaryDirectory(prefix="wholedrum-many-") as made:
        folder = Folder(Path(made), asked.seasons, asked.seconds, asked.workers)
        asked.out.write_text(page(measured(folder), command, asked.workers), "utf-8")
    print(asked.out.read_text("utf-8"))


if __name__ == "__main__":
    main()

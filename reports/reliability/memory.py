"""Plan with ever less memory allowed, and see how it ends.

    python -m reports.reliability.memory --fields 0 --limits 20:1500:20
    python -m reports.reliability.memory --fields 700 --limits 512:900:16

Every run plans a season (a small one, or a random one of so many fields) with its address space
limited to so many MB. It must end with a whole plan, or with code 5, one sentence and no file, and
take no more than twice as long as without a limit. Prints every other end, and counts;
leaves with 1 if there was any. Linux.
"""

from __future__ import annotations

import argparse
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

from planner.report.files import WORKBOOKS
from reports.reliability.stop_anywhere import OLD, ROOT, make_season, state
from tests.support.random_season import hard_season
from tests.support.written import write

SECONDS = 8.0
UNLIMITED = resource.RLIM_INFINITY


def one_run(season: Path, out: Path, most: int) -> tuple[str, str, float]:
    """How it ended, what it told, and the seconds that it took."""

    def limit() -> None:
        resource.setrlimit(resource.RLIMIT_AS, (most, most))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))

    begin = time.monotonic()
    asked = ["plan", str(season), "--out", str(out), "--seconds", f"{SECONDS:g}", "--why", "2"]
    done = subprocess.run(
        [sys.executable, "-m", "planner", *asked, "--quiet"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
        preexec_fn=limit,
    )
    took = time.monotonic() - begin
    files = sorted(path.name for path in out.iterdir()) if out.exists() else []
    told = done.stderr.strip()
    if done.returncode == 0 and files == ["plan.ics", "plan.json", *sorted(WORKBOOKS)]:
        return "plan", told, took
    if done.returncode == 5 and not files and "memory" in told and told.count("\n") == 0:
        return "code 5 and a sentence", told, took
    return f"wrong: code {done.returncode}, {len(files)} files", told, took


def main() -> None:
    """Run them all."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--fields", type=int, default=0, help="0 for a small season")
    parser.add_argument("--limits", default="20:1500:20", help="from:to:step in MB")
    asked = parser.parse_args()
    found: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as name:
        base = Path(name)
        if asked.fields:
            season = write(hard_season(asked.fields, 120, 9, 1, 1), base / "season")
        else:
            season = make_season(base / "season", OLD)
        _, _, usual = one_run(season, base / "out", UNLIMITED)
        shutil.rmtree(base / "out")
        for megabytes in range(*map(int, asked.limits.split(":"))):
            kind, told, took = one_run(season, base / "out", megabytes * 2**20)
            if kind == "plan" and not asked.fields and state(base / "out") != "old":
                kind = "wrong: a broken plan"
            if took > 2.0 * usual + 5.0:
                kind = f"wrong: late, {kind}"
            found[kind] += 1
            if kind.startswith("wrong"):
                print(f"{megabytes} MB: {kind}, {took:.0f} s: {told[-400:]}", flush=True)
            shutil.rmtree(base / "out", ignore_errors=True)
    print(f"{found.total()} limits, {asked.limits} MB, {asked.fields or 2} fields:")
    for kind, count in sorted(found.items()):
        print(f"  {count:4d}  {kind}")
    raise SystemExit(any(kind.startswith("wrong") for kind in found))


if __name__ == "__main__":
    main()

"""The page of many seasons says what was kept and what was not."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from reports.many_seasons import children, descendants, page

RUN = {
    "seasons": 10,
    "at worker": 2,
    "kept before": 4,
    "at second": 7,
    "first seconds": 12.0,
    "second seconds": 20.0,
    "written twice": 0,
    "names": 10,
    "records": 10,
    "plans": 10,
    "now": 6,
    "planning seconds": 15,
    "busy": 0.97,
    "took": 4.0,
    "others": 0.1,
}


def test_a_run_that_keeps_everything() -> None:
    said = page(RUN, "command", 2)
    assert "planned and kept exactly once.\n" in said
    assert "3.0% of the workers' time" in said
    assert "**" not in said


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"busy": 0.9}, "wanted, which is **not** kept"),
        ({"written twice": 1}, "exactly once: **not kept**"),
        ({"records": 9}, "exactly once: **not kept**"),
        ({"names": 9}, "exactly once: **not kept**"),
        ({"now": 7}, "exactly once: **not kept**"),
    ],
)
def test_a_run_that_does_not(changed, said) -> None:
    assert said in page(RUN | changed, "command", 2)


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="processes are found in /proc")
def test_processes_are_found_by_who_started_them() -> None:
    line = [sys.executable, "-c", "print(flush=True); input()"]
    with subprocess.Popen(line, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as child:
        assert child.stdout is not None
        child.stdout.readline()  # before its program is loaded it has no command line
        assert "input()" in children(os.getpid())[child.pid]
        assert child.pid in descendants(os.getpid())
        child.communicate(b"\n")

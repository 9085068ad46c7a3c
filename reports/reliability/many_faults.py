"""Seasons that are nothing but faults: how long and how much memory it takes to be told.

    python -m reports.reliability.many_faults

Each is a folder of CSV files with as many rows as may be read, wrong in one way, and is read in a
process of its own. Prints for each how it was refused, seconds of processor time and memory at the
most; leaves with 1 if one was not refused, or took over 30 s or 1 GB. Linux.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

from tests.support.inputs import folder, good

ROWS = 49_000
SECONDS, MEGABYTES = 30.0, 1000.0
READ = """
import sys
from planner.errors import InputError
from planner.season.read import read_season
try:
    read_season(sys.argv[1])
    print("read")
except InputError as error:
    print(f"{len(error.faults):,} faults, {len(str(error)) / 1e6:.1f} MB of words")
"""

Lines = Callable[[int], str]


def rows(head: str, line: Lines) -> str:
    """A table of as many rows as may be read."""
    return "\n".join([head, *map(line, range(ROWS))])


def wide() -> str:
    """A table of 3,900 rows of 490 wrong words, each another one."""
    head = ",".join(f"threat {i} pressure" for i in range(490))
    lines = (",".join(f"h{row}x{i}" for i in range(490)) for row in range(3_900))
    return "\n".join(
        [f"Field,Acres,Seeding rate,{head}", *(f"F{i},80,140000,{x}" for i, x in enumerate(lines))]
    )


FIELDS = "Field,Acres,Seeding rate"
KINDS: dict[str, dict[str, str]] = {
    "unknown varieties": {
        "fields": rows(f"{FIELDS},Only varieties", lambda i: f"F{i},80,140000,Hreon {i}")
    },
    "unknown recipes": {
        "fields": rows(f"{FIELDS},Only recipes", lambda i: f"F{i},80,140000,Bsae {i}")
    },
    "unknown products": {
        "recipes": rows("Recipe,Product,Rate", lambda i: f"R{i},Geren Cap {i},4 fl oz/cwt")
    },
    "unknown threats": {
        "protection": rows("Product,Threat,Rating", lambda i: f"Green Cap,Whtie mold {i},G")
    },
    "unknown suppliers": {
        "containers": rows(
            "Product,Container,Size,Price,Supplier",
            lambda i: f"Green Cap,jug {i},1 gal,9,Nroth yard {i}",
        )
    },
    "names nearly alike in two sheets": {
        "threats": rows("Threat,Need at low", lambda i: f"threat number {i},G"),
        "protection": rows("Product,Threat,Rating", lambda i: f"Green Cap,thraet number {i},G"),
    },
    "unknown units": {
        "recipes": rows("Recipe,Product,Rate", lambda i: f"R{i},Green Cap,4 fl ozz/cwt{i}")
    },
    "wrong words": {
        "protection": rows("Product,Threat,Rating", lambda i: f"Green Cap,White mold,godo{i}")
    },
    "equal names": {"fields": rows(FIELDS, lambda _: "Home,80,140000")},
    "1.9 million wrong cells": {"fields": wide()},
}


def told(kind: str, place: Path) -> tuple[str, float, float]:
    """How reading ended, seconds of processor time, megabytes at the most."""
    season = folder(place / "season", good())
    for name, text in KINDS[kind].items():
        (season / f"{name}.csv").write_text(text, "utf-8")
    command = [sys.executable, "-c", READ, str(season)]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    words = process.stdout.read().strip()
    _, status, used = os.wait4(process.pid, 0)
    process.returncode = status
    return words or "died", used.ru_utime + used.ru_stime, used.ru_maxrss / 1024.0


def main() -> None:
    """Read them all."""
    bad = False
    for kind in KINDS:
        with tempfile.TemporaryDirectory() as place:
            words, seconds, megabytes = told(kind, Path(place))
        print(f"{kind}: {words}, {seconds:.1f} s, {megabytes:.0f} MB", flush=True)
        bad |= "faults" not in words or seconds > SECONDS or megabytes > MEGABYTES
    raise SystemExit(bad)


if __name__ == "__main__":
    main()

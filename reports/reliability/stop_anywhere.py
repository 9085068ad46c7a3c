"""Stop runs at random moments and see what stands in the output folder afterwards.

    python -m reports.reliability.stop_anywhere --signal KILL --runs 200
    python -m reports.reliability.stop_anywhere --signal INT --runs 200
    python -m reports.reliability.stop_anywhere --signal TERM --runs 200
    python -m reports.reliability.stop_anywhere --signal KILL --runs 200 --writing

Every run plans a small season into a folder where an older plan stands, and is sent the signal at a
moment drawn evenly from about the length of a run (with --writing: a process that does nothing but
write plans is stopped). Afterwards the folder must hold the old pair of files or the new one, whole
and of one plan. Prints one line of counts; leaves with 1 if anything else was found.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import zipfile
from collections import Counter
from pathlib import Path

from planner.report.files import WORKBOOKS, settle

ROOT = Path(__file__).parents[2]

SEASON = {
    "farm.csv": "Setting,Value\nFarm name,{farm}\nPlan date,2027-01-15\nSpare seed,3%\n",
    "fields.csv": "Field,Acres,Seeding rate\nHome 80,80,140000\nFar 60,60,140000\n",
    "seed lots.csv": (
        "Lot,Variety,Maturity,Units on hand,Units per bag,Seeds per lb\nL-1,Heron,1.8,160,40,2800\n"
    ),
    "products.csv": "Product,Kind\nGreen Cap,fungicide\n",
    "containers.csv": (
        "Product,Container,Size,Price\nGreen Cap,jug,1 gal,100\nGreen Cap,keg,2.5 gal,240\n"
    ),
    "recipes.csv": "Recipe,Product,Rate\nBase,Green Cap,4 fl oz/cwt\n",
}
OLD, NEW = "Marten Hill", "Otter Bank"

WRITER = """
import sys
from pathlib import Path
from planner.report.files import write_together
both = [{p.name: p.read_bytes() for p in Path(name).iterdir()} for name in sys.argv[2:]]
print("ready", flush=True)
while True:
    for files in both:
        write_together(Path(sys.argv[1]), files)
"""


def make_season(folder: Path, farm: str) -> Path:
    folder.mkdir()
    for name, text in SEASON.items():
        (folder / name).write_text(text.format(farm=farm), "utf-8")
    return folder


def farm_of_json(path: Path) -> str:
    return str(json.loads(path.read_text("utf-8"))["farm"])


def farm_of_workbook(path: Path) -> str:
    with zipfile.ZipFile(path) as book:
        if book.testzip() is not None:
            raise ValueError(path)
        text = b"".join(book.read(n) for n in book.namelist() if n.endswith(".xml")).decode()
    (farm,) = [farm for farm in (OLD, NEW) if farm in text]
    return farm


def state(folder: Path, *, settled: bool = False) -> str:
    """old, new, mixed or broken; and whether the next command had to finish a renaming."""
    try:
        farms = {farm_of_workbook(folder / name) for name in WORKBOOKS}
        farms.add(farm_of_json(folder / "plan.json"))
    except (OSError, ValueError, KeyError, zipfile.BadZipFile) as error:
        return f"broken ({type(error).__name__})"
    if len(farms) > 1:
        if settled:
            return "mixed"
        settle(folder)
        return f"{state(folder, settled=True)} once the next command ran, mixed until then"
    return "old" if farms == {OLD} else "new"


def command(season: Path, folder: Path) -> list[str]:
    done = ["plan", str(season), "--out", str(folder), "--seconds", "5"]
    return [sys.executable, "-m", "planner", *done]


def one_run(seasons: tuple[Path, Path], folder: Path, sent: signal.Signals, after: float) -> str:
    process = subprocess.Popen(
        command(seasons[1], folder),
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env=os.environ | {"TMPDIR": str(folder.with_name("temporary"))},
    )
    try:
        _, told = process.communicate(timeout=after)
        return f"{state(folder)}, ended before the signal"
    except subprocess.TimeoutExpired:
        process.send_signal(sent)
    _, told = process.communicate(timeout=120)
    if process.returncode in (1, -signal.SIGINT) and b"planner" not in told and b"bug" not in told:
        return f"{state(folder)}, Python itself was still starting"
    if b"Traceback" in told or process.returncode not in (0, 128 + sent, -sent):
        print(told.decode(), file=sys.stderr)
        return f"wrong end, exit code {process.returncode}"
    return f"{state(folder)}, exit code {process.returncode}"


def one_writing(plans: tuple[Path, Path], folder: Path, sent: signal.Signals) -> str:
    process = subprocess.Popen(
        [sys.executable, "-c", WRITER, str(folder), *map(str, plans)],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
    )
    assert process.stdout is not None
    process.stdout.readline()
    time.sleep(random.uniform(0.0, 0.5))
    process.send_signal(sent)
    process.communicate(timeout=120)
    return state(folder)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--signal", choices=["KILL", "TERM", "INT"], default="KILL")
    parser.add_argument("--runs", type=int, default=200)
    parser.add_argument("--writing", action="store_true")
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    random.seed(asked.seed)
    signal.signal(signal.SIGINT, signal.default_int_handler)  # a shell's background job ignores it
    sent = signal.Signals[f"SIG{asked.signal}"]
    found: Counter[str] = Counter()
    leftovers = elsewhere = 0
    with tempfile.TemporaryDirectory() as name:
        base = Path(name)
        seasons = make_season(base / "a", OLD), make_season(base / "b", NEW)
        start = time.monotonic()
        subprocess.run(command(seasons[0], base / "old"), cwd=ROOT, check=True, capture_output=True)
        usual = time.monotonic() - start
        subprocess.run(command(seasons[1], base / "new"), cwd=ROOT, check=True, capture_output=True)
        assert (state(base / "old"), state(base / "new")) == ("old", "new")
        plans = base / "old", base / "new"
        temporary = base / "temporary"
        temporary.mkdir()
        for number in range(asked.runs):
            folder = base / f"run {number}"
            shutil.copytree(base / "old", folder)
            if asked.writing:
                found[one_writing(plans, folder, sent)] += 1
            else:
                kind = one_run(seasons, folder, sent, random.uniform(0.0, usual))
                usual *= 0.93 if kind.endswith("before the signal") else 1.02
                found[kind] += 1
            extra = {path.name for path in folder.iterdir()} - {
                p.name for p in (base / "old").iterdir()
            }
            leftovers += bool(extra)
            shutil.rmtree(folder)
            scraps = [*temporary.iterdir()]
            elsewhere += bool(scraps)
            for path in scraps:
                path.unlink()
    print(f"SIG{asked.signal}, {asked.runs} runs, moments up to {usual:.1f} s:")
    for kind, count in sorted(found.items()):
        print(f"  {count:4d}  {kind}")
    print(f"runs that left temporary files: {leftovers} in the folder, {elsewhere} elsewhere")
    bad = [kind for kind in found if kind.startswith(("mixed", "broken", "wrong"))]
    raise SystemExit(bool(bad) or (asked.signal != "KILL" and leftovers + elsewhere > 0))


if __name__ == "__main__":
    main()

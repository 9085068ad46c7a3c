"""Plan the seasons that once had a wrong floor again and again, each time as a user would.

Run from the top of the project:

    python -m reports.reliability.same_proof --times 20
    python -m reports.reliability.same_proof --times 20 --load 4

Each time is a process of its own, `wholedrum plan`, with another random seed. `--load` keeps so
many other processes busy meanwhile. A time counts as right where the plan costs the known
optimum, its floor is not above that, and it is proven. Ends with 1 if any was not right.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
from pathlib import Path
from tempfile import TemporaryDirectory
from time import monotonic

INSTANCES = Path(__file__).parents[2] / "tests" / "instances"
OPTIMA = {"thirteen-fields": 80_354.13, "fourteen-fields": 56_009.66}
"""Of plans that separate code found and the audit passes; no plan was found below them since."""
CENT = 0.01


def main() -> int:
    """Plan both as often as asked."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--times", type=int, default=20)
    asked.add_argument("--seconds", type=float, default=60.0)
    asked.add_argument("--load", type=int, default=0, help="other processes kept busy")
    a = asked.parse_args()
    busy = [subprocess.Popen([sys.executable, "-c", "while True: pass"]) for _ in range(a.load)]
    try:
        right = [_right(name, seed, a.seconds) for name in OPTIMA for seed in range(a.times)]
    finally:
        for process in busy:
            process.kill()
    load = f"{a.load} busy processes beside, {os.cpu_count()} cores"
    print(f"{sum(right)} of {len(right)} right and proven ({load})")
    return 0 if all(right) else 1


def _right(name: str, seed: int, seconds: float) -> bool:
    began = monotonic()
    with TemporaryDirectory() as out:
        command = ["plan", str(INSTANCES / name), "--out", out, "--quiet", "--why", "0"]
        command += ["--seconds", str(seconds), "--seed", str(seed)]
        subprocess.run(
            [sys.executable, "-m", "planner", *command], check=True, stdout=subprocess.DEVNULL
        )
        plan = json.loads((Path(out) / "plan.json").read_text("utf-8"))
    cost, bound = plan["cost"]["total"], plan["bound"]
    optimum = OPTIMA[name]
    proven = plan["outcome"] == "optimal" and bound <= optimum + CENT
    right = proven and abs(cost - optimum) <= 1e-4 * optimum
    verdict = "right" if right else "NOT RIGHT"
    print(
        f"{name} seed {seed}: {cost:,.2f} floor {bound:,.2f} {plan['outcome']} {verdict}"
        f" ({monotonic() - began:.0f} s)",
        flush=True,
    )
    return right


if __name__ == "__main__":
    sys.exit(main())

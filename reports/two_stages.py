"""Speed of second stages and of the engine: `python -m reports.two_stages SEASON [DRAWS]`.

Writes reports/two-stages.md: warm and fresh second-stage solves at a gap of 0.5 %, draws an hour
on one and two workers, and the share of time that the engine itself takes where a job takes a
second.
"""

from __future__ import annotations

import pickle
import sys
import time
from pathlib import Path
from statistics import median

from planner import api
from planner.engine.jobs import Job
from planner.engine.run import opened
from planner.risk.floors import NONE
from planner.risk.order import ordered_by
from planner.risk.outcomes import work
from planner.risk.second_stage import SECONDS, SecondStage, planted_by
from planner.risk.turned_out import turns
from planner.risk.usual import with_usual_unknowns
from reports.machine import described

OUT = Path(__file__).parent / "two-stages.md"
GAP = 5e-3
TRAINED = 3
COMPARED = 6
"""Draws that are solved both ways."""
JOBS = 12


def nap(seconds: float) -> float:
    """A job that takes so long and no processor."""
    time.sleep(seconds)
    return seconds


def main() -> None:
    """Measure and write."""
    source, draws = sys.argv[1], int(sys.argv[2]) if len(sys.argv) > 2 else 8
    season = with_usual_unknowns(api.load(source))
    plan = api.make_plan(season, seconds=15)
    order, drawn = ordered_by(plan), turns(season, draws, 1)
    stage = SecondStage(season, GAP)
    known = planted_by(plan).union(*(stage.floor(t).planted for t in turns(season, 4, 2)[:TRAINED]))
    at_best, warm, fresh, more = [], [], [], []
    pools = []
    for turn in drawn:
        begun = time.process_time()
        pools.append(known | stage.floor(turn).planted)
        at_best.append(time.process_time() - begun)
    for turn, pool in list(zip(drawn, pools, strict=True))[:COMPARED]:
        begun = time.process_time()
        quick = stage.outcome(order, turn, pool)
        middle = time.process_time()
        slow = stage.outcome(order, turn)
        warm.append(middle - begun)
        fresh.append(time.process_time() - middle)
        more.append(quick.value / slow.value - 1.0)
    rates, naps = [], []
    blob = pickle.dumps(season)
    for workers in (1, 2):
        with opened(workers=workers) as engine:
            jobs = [
                Job(f"{n}", (blob, (GAP, 0.0, SECONDS), order, t, pool, NONE))
                for n, (t, pool) in enumerate(zip(drawn, pools, strict=True))
            ]
            list(engine.run([Job("first", jobs[0].payload)], work))
            begun = time.perf_counter()
            done = list(engine.run(jobs, work))
            rates.append(3600.0 * len(done) / (time.perf_counter() - begun))
            begun = time.perf_counter()
            list(engine.run([Job(f"nap {n}", 1.0) for n in range(JOBS)], nap))
            naps.append(1.0 - JOBS / workers / (time.perf_counter() - begun))
    lost = ", ".join(f"{x:.1%}" for x in naps)
    OUT.write_text(
        f"""# Second stages and the engine

Made by `python -m reports.two_stages {Path(source).name} {draws}` on {described()}.

| seconds are of the processor | measured |
|---|---|
| what a draw costs at best, median of {len(at_best)} | {median(at_best):.2f} |
| second stage, warm, median of {len(warm)} | {median(warm):.2f} |
| the same fresh: everything offered | {median(fresh):.2f} |
| warm over fresh, by median | {median(warm) / median(fresh):.2f} |
| cost of the warm answer beyond the fresh one, on average | {sum(more) / len(more):.2%} |
| draws an hour, 1 worker (in the process) and 2 | {rates[0]:,.0f}, {rates[1]:,.0f} |
| time lost to the engine, {JOBS} jobs of 1 s, 1 and 2 workers | {lost} |

All solves stop at a proven gap of {GAP:.1%}. A warm one offers fields what the plan, the best plans
of {TRAINED} other draws and the best one of its own plant there; these are known by then.
""",
        "utf-8",
    )
    print(OUT.read_text("utf-8"))


if __name__ == "__main__":
    main()

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
from planner.engine.jobs import Job, opened
from planner.risk.outcomes import work
from planner.risk.second_stage import SecondStage, ordered_by, planted_by
from planner.risk.turned_out import turns
from reports.machine import described

OUT = Path(__file__).parent / "two-stages.md"
GAP = 5e-3
TRAINED = 3
JOBS = 12


def nap(seconds: float) -> float:
    """A job that takes so long and no processor."""
    time.sleep(seconds)
    return seconds


def main() -> None:
    """Measure and write."""
    source, draws = sys.argv[1], int(sys.argv[2]) if len(sys.argv) > 2 else 8
    season = api.with_usual_unknowns(api.load(source))
    plan = api.make_plan(season, seconds=15)
    order, drawn = ordered_by(plan), turns(season, draws, 1)
    free = SecondStage(season, gap=GAP)
    pool = planted_by(plan).union(*(free.floor(t).planted for t in turns(season, 4, 2)[:TRAINED]))
    stage = SecondStage(season, pool, GAP)
    warm, fresh, more = [], [], []
    for turn in drawn[: min(draws, 6)]:
        begun = time.perf_counter()
        quick = stage.outcome(order, turn)
        middle = time.perf_counter()
        slow = stage.outcome(order, turn, warm=False)
        warm.append(middle - begun)
        fresh.append(time.perf_counter() - middle)
        more.append(quick.value / slow.value - 1.0)
    rates, naps = [], []
    blob = pickle.dumps(season)
    for workers in (1, 2):
        with opened(workers=workers) as engine:
            jobs = [Job(f"{n}", (blob, pool, 0.0, GAP, order, t)) for n, t in enumerate(drawn)]
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

| what | measured |
|---|---|
| second stage, warm: seconds, median of {len(warm)} | {median(warm):.2f} |
| the same fresh: everything offered | {median(fresh):.2f} |
| warm over fresh, by median | {median(warm) / median(fresh):.2f} |
| cost of the warm answer beyond the fresh one, on average | {sum(more) / len(more):.2%} |
| draws an hour, 1 worker (in the process) and 2 | {rates[0]:,.0f}, {rates[1]:,.0f} |
| time lost to the engine, {JOBS} jobs of 1 s, 1 and 2 workers | {lost} |

Both kinds of solve stop at a proven gap of {GAP:.1%}. A warm one offers fields what the plan and
the best plans of {TRAINED} draws plant there.
""",
        "utf-8",
    )
    print(OUT.read_text("utf-8"))


if __name__ == "__main__":
    main()

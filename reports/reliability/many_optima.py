"""Plan many random seasons to proof and hold each against a second model in separate code.

Run from the top of the project. Seasons of 8 to 16 fields with every optional sheet in use, the
second model solved by two engines, HiGHS without our search and SCIP (`pip install -e
'.[engines]'`); what is found is added to a file, season by season, so that a run can be stopped
and started again:

    python -m reports.reliability.many_optima full --seasons 2000 --results ../many-optima.jsonl
    python -m reports.reliability.many_optima page --results ../many-optima.jsonl
    python -m reports.reliability.many_optima shop --seasons 31 --results ../shop.jsonl

The second command writes `reports/reliability/many-optima.md`; the third holds seasons whose line
stays primed and whose money is limited (`tests/support/random_season/shop.py`). A season is begun
only while the machine has time for it; where other work goes first, give it longer (`nice -n 19`,
`--seconds 300`: the limit is by the clock). With `full --again BEHIND`, seasons of that verdict are
held once more.
Tiny seasons against scipy's HiGHS, and where the two differ against brute force:

    python -m reports.reliability.many_optima tiny --seasons 3000 --first 60000

Ends with 1 if a plan was wrong.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
import platform
import subprocess
import sys
import time
from concurrent.futures import ProcessPoolExecutor, as_completed
from math import isclose
from pathlib import Path
from typing import TYPE_CHECKING, Any

from planner.optimize.options import SolveOptions
from planner.optimize.search.run import solve
from planner.plan.audit import audit
from planner.plan.plan import Outcome
from tests.laws import oracle, second_model, verdicts
from tests.laws.verdicts import Verdict
from tests.support.random_season import full as full_seasons
from tests.support.random_season import full_season, shop_season, tiny_season

if TYPE_CHECKING:
    from collections.abc import Iterator

    from planner.season.domain import Season

LARGEST = 50_000
"""Size of the largest season that brute force is asked about."""
OURS = 60.0
"""Seconds by the clock that the program has."""
LONGER = 300.0
"""The same once more, where an engine proved something better."""
THEIRS = 10.0
"""Seconds of the processor that each engine has, if not said otherwise."""
WIDER = (50.0, 5.0)
"""Times the slack for acres short with which engines are asked again."""
CALM = 6.0
"""Load average, for each core, above which a season waits: the program's limit is by the clock."""


MAKERS = {"full": full_season, "shop": shop_season}
"""What makes a season of a seed, by the command's word for it."""


# --- seasons of 8 to 16 fields --------------------------------------------------------------------


def ours(season: Season, seconds: float) -> verdicts.Claim:
    """What the program says, its plan audited."""
    plan = solve(season, SolveOptions(seconds=seconds))
    audit(plan, season)
    return verdicts.claim(plan, season)


def asked(
    season: Season, seconds: float, wider: float = 1.0
) -> tuple[dict[str, second_model.Best | None], dict[str, float]]:
    """What each engine finds, and the seconds of the processor that it took."""
    from tests.laws.engines import ENGINES

    found, took = {}, {}
    for name, engine in ENGINES.items():
        since = time.process_time()
        found[name] = second_model.search(season, engine, seconds, wider=wider)
        took[name] = round(time.process_time() - since, 2)
    return found, took


def settled(
    season: Season, claim: verdicts.Claim, others: dict[str, second_model.Best | None]
) -> tuple[Verdict, list[str], list[str]]:
    """The verdict, what differs from ours, and which engines other plans refute.

    Where an engine's proof is above our plan, both are asked again with more room for acres short;
    an engine that a plan so found refutes has no say.
    """
    verdict, differences = verdicts.judge(claim, others)
    plans = dict(others)
    if verdict is Verdict.DISPUTED:
        for wider in WIDER:
            more, _ = asked(season, THEIRS, wider)
            plans |= {f"{name} with {wider:g} times the slack": b for name, b in more.items()}
    wrong = verdicts.refuted(others, plans)
    if wrong:
        sound = {name: best for name, best in others.items() if name not in wrong}
        verdict, _ = verdicts.judge(claim, sound)
    return verdict, differences, [texts[0] for texts in wrong.values()]


def hold(seed: int, maker: str, limit: float, theirs: float) -> dict[str, Any]:
    """Plan one season in `limit` seconds and hold it against both engines; a line of results."""
    while os.getloadavg()[0] > CALM * (os.cpu_count() or 1):
        time.sleep(5.0)
    season = MAKERS[maker](seed)
    others, took = asked(season, theirs)
    since, seconds = time.monotonic(), limit
    claim = ours(season, seconds)
    if verdicts.judge(claim, others)[0] is Verdict.BEHIND:
        seconds = max(limit, LONGER)
        claim = ours(season, seconds)
    took["ours"] = round(time.monotonic() - since, 2)
    verdict, differences, between = settled(season, claim, others)
    return {
        "seed": seed,
        "kind": full_seasons.why_short(seed).value,
        "fields": len(season.fields),
        "lots": len(season.lots),
        "verdict": verdict.name,
        "differences": differences,
        "between": between,
        "ours": claim._asdict(),
        **{name: best and best._asdict() for name, best in others.items()},
        "seconds": seconds,
        "took": took,
        "load": round(os.getloadavg()[0], 1),
    }


def here(processes: int, limit: float, theirs: float) -> dict[str, Any]:
    """Versions, machine and limits of a run."""
    from tests.laws.engines import versions

    git = ["git", "rev-parse", "--short", "HEAD"]
    commit = subprocess.run(git, capture_output=True, text=True, check=False).stdout.strip()
    return {
        "run": time.strftime("%Y-%m-%d %H:%M"),
        "commit": commit,
        "Python": platform.python_version(),
        **versions(),
        "cores": os.cpu_count(),
        "processes": processes,
        "limits": {"ours": limit, "ours, again": max(limit, LONGER), "engines": theirs},
    }


def lines(results: Path) -> list[dict[str, Any]]:
    """What a file of results holds; a line that a stop cut off is left out."""
    found = []
    for line in results.read_text("utf-8").splitlines() if results.exists() else ():
        try:
            found.append(json.loads(line))
        except ValueError:
            continue
    return found


def held(seeds: list[int], a: argparse.Namespace) -> Iterator[dict[str, Any]]:
    """Results as they come."""
    how = (a.what, a.seconds, a.theirs)
    if a.processes == 1:
        yield from (hold(seed, *how) for seed in seeds)
        return
    with ProcessPoolExecutor(a.processes, multiprocessing.get_context("spawn")) as pool:
        for work in as_completed([pool.submit(hold, seed, *how) for seed in seeds]):
            yield work.result()


def full(a: argparse.Namespace) -> int:
    """Hold as many seasons as asked that are not in the results yet, or need it again."""
    known = {one["seed"]: one for one in lines(a.results) if "seed" in one}
    done = {seed for seed, one in known.items() if one["verdict"] not in a.again}
    seeds = [seed for seed in range(a.first, a.first + a.seasons) if seed not in done]
    wrong = False
    with a.results.open("a", encoding="utf-8") as stream:
        stream.write("\n" + json.dumps(here(a.processes, a.seconds, a.theirs)) + "\n")
        stream.flush()
        for one in held(seeds, a):
            stream.write(json.dumps(one) + "\n")
            stream.flush()
            if one["differences"] or one["between"]:
                print(one["seed"], one["verdict"], *one["differences"], *one["between"], flush=True)
            wrong = wrong or one["verdict"] in ("WRONG", "BEHIND", "DISPUTED")
    return 1 if wrong else 0


# --- tiny seasons ---------------------------------------------------------------------------------


def same(one: second_model.Answer, other: second_model.Answer) -> bool:
    """Whether acres short and cost are the same up to rounding."""
    short = all(abs(a - b) <= 1e-5 for a, b in zip(one.short, other.short, strict=True))
    return short and isclose(one.cost, other.cost, rel_tol=1e-6, abs_tol=5e-4)


def look(seed: int) -> str:
    """Plan one tiny season: proven, unproven, wrong, or the second model's fault."""
    season = tiny_season(seed)
    plan = solve(season, SolveOptions(seconds=30, gap=0.0))
    audit(plan, season)
    claim = verdicts.claim(plan, season)
    found = second_model.Answer(claim.short, claim.cost)
    proven = "proven" if plan.outcome is Outcome.OPTIMAL else "not proven"
    try:
        if same(found, second_model.solve(season)):
            return proven
    except AssertionError:
        pass  # its solver gave up
    if oracle.size(season) > LARGEST:
        return "not settled"
    return "second model wrong" if same(found, oracle.solve(season)) else "wrong"


def tiny(first: int, seasons: int) -> int:
    """Look at as many tiny seasons as asked."""
    counts: dict[str, int] = {}
    for seed in range(first, first + seasons):
        verdict = look(seed)
        counts[verdict] = counts.get(verdict, 0) + 1
        if verdict != "proven":
            print(seed, verdict, flush=True)
    print(", ".join(f"{n} {verdict}" for verdict, n in sorted(counts.items())))
    return 1 if counts.get("wrong") else 0


def main() -> int:
    """Do what the command line asks."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("what", choices=(*MAKERS, "page", "tiny"))
    asked.add_argument("--seasons", type=int, default=2000)
    asked.add_argument("--first", type=int, default=0, help="seed of the first season")
    asked.add_argument("--processes", type=int, default=1, choices=(1, 2))
    asked.add_argument("--seconds", type=float, default=OURS, help="limit of ours, by the clock")
    asked.add_argument("--theirs", type=float, default=THEIRS, help="limit of each engine")
    asked.add_argument("--again", nargs="*", default=[], choices=[v.name for v in Verdict])
    asked.add_argument("--results", type=Path, default=Path("plan/many-optima.jsonl"))
    a = asked.parse_args()
    if a.what == "tiny":
        return tiny(a.first, a.seasons)
    a.results.parent.mkdir(parents=True, exist_ok=True)
    if a.what not in MAKERS:
        from reports.reliability.many_optima_page import page

        page(lines(a.results))
        return 0
    return full(a)


if __name__ == "__main__":
    sys.exit(main())

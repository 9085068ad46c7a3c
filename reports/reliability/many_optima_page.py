"""From the results of `many_optima full`: the page of what was found."""

from __future__ import annotations

from collections import Counter
from math import ceil
from pathlib import Path
from statistics import median
from typing import TYPE_CHECKING, Any

from tests.laws.verdicts import Verdict
from tests.support.random_season import full

if TYPE_CHECKING:
    from collections.abc import Iterable

    Line = dict[str, Any]

PAGE = Path(__file__).with_name("many-optima.md")
ENGINES = ("HiGHS", "SCIP")
ASKED = 2000
BAD = (Verdict.WRONG, Verdict.DISPUTED, Verdict.BEHIND)
SIZES = ((8, 9), (10, 11), (12, 13), (14, 16))
REFUTED = "an engine's proof is wrong: a plan of the same model is cheaper, no acre more short"
REMARKS: dict[int, str] = {}
"""Why a season differed, by seed, once that is known."""


def latest(lines: Iterable[Line]) -> list[Line]:
    """The last line of every season, by seed."""
    return [one for _, one in sorted({x["seed"]: x for x in lines if "seed" in x}.items())]


def table(head: Iterable[object], rows: Iterable[Iterable[object]]) -> str:
    """A table in Markdown."""
    rows = [[str(cell) for cell in row] for row in rows]
    head = [str(cell) for cell in head]
    marks = ["---"] * len(head)
    return "\n".join("| " + " | ".join(row) + " |" for row in [head, marks, *rows])


# --- the page -------------------------------------------------------------------------------------


def page(lines: list[Line]) -> None:
    """Write the page."""
    seasons, runs = latest(lines), [one for one in lines if "run" in one]
    parts = [
        "# Proofs held against other engines",
        "Made by `python -m reports.reliability.many_optima page --results FILE`; nothing here is "
        "edited by hand.",
        INTRODUCTION,
        _told(seasons),
        "## What came out",
        _verdicts(seasons),
        _sizes(seasons),
        "## What differed",
        _differences(seasons),
        "## The engines",
        _engines(seasons),
        "## Versions, limits, load",
        _runs(runs, seasons),
    ]
    PAGE.write_text("\n\n".join(parts) + "\n", "utf-8")


INTRODUCTION = """\
Random seasons of 8 to 16 fields and 10 to 18 lots (`tests/support/random_season/full.py`) with
every optional sheet in use, half of them short by design: nothing suits a field, seed runs out, or
a product does. The program plans each as it plans for anyone; its plan is audited. The second
model, separate code (`tests/laws/second_model.py`), is solved by two engines: HiGHS without our
search, and SCIP. Acres short are compared first, priority by priority; where they are equal, costs.
Wrong is: a floor above a plan that an engine found (its whole numbers held and all else solved
again), fewer acres short than we call the fewest, or a plan over 0.01 % dearer than a proven
optimum. Where the program's time ends before it has found that, it is asked once more with more
time; what is still dearer then is called behind, and a proof of an engine above our audited plan
disputed: both count as wrong until it is known why (last column of what differed). Before that the
engines are asked once more with 5 and with 50 times the slack that settled acres short are held
with: where seed is used to the last kernel, they have called plans the cheapest that were not. An
engine that a plan of the same model refutes, with no acre more short, has no say. The program's
limit is by the clock, so a plan may be behind because other work had the machine."""


def _told(seasons: list[Line]) -> str:
    count = Counter(one["verdict"] for one in seasons)
    bad = ", ".join(f"{count[v.name]} {v.name.lower()}" for v in BAD)
    tried = f"**{len(seasons):,} of {ASKED:,} seasons tried"
    first, last = (seasons[i]["seed"] for i in (0, -1)) if seasons else ("-", "-")
    return f"{tried} (seeds {first} to {last}): {bad}.**"


def _verdicts(seasons: list[Line]) -> str:
    kinds = [kind.value for kind in full.Short]
    count = Counter((one["verdict"], one["kind"]) for one in seasons)
    rows = [
        [v.name.lower(), v.value, *(count[v.name, k] for k in kinds), _sum(count, v.name)]
        for v in Verdict
    ]
    short = Counter(one["kind"] for one in seasons if sum(one["ours"]["short"]) > 0.1)
    some = [short[kind] for kind in kinds]
    rows.append(["", "of these with acres short in our plan", *some, sum(some)])
    return table(["verdict", "meaning", *(f"short by design: {k}" for k in kinds), "all"], rows)


def _sum(count: Counter[tuple[str, str]], verdict: str) -> int:
    return sum(n for (name, _), n in count.items() if name == verdict)


def _sizes(seasons: list[Line]) -> str:
    rows = []
    for low, high in SIZES:
        mine = [one for one in seasons if low <= one["fields"] <= high]
        if not mine:
            continue
        proven = sum(1 for one in mine if one["ours"]["optimal"])
        rows.append([f"{low} to {high}", len(mine), proven, *_times(mine, "ours")])
    head = ["fields", "seasons", "we call optimal", "median", "nine in ten", "longest"]
    return table(head, rows) + "\n\nTimes are the program's, seconds by the clock."


def _times(seasons: list[Line], who: str) -> list[str]:
    took = sorted(one["took"][who] for one in seasons)
    return [f"{t:.1f}" for t in (median(took), took[ceil(0.9 * len(took)) - 1], took[-1])]


def _differences(seasons: list[Line]) -> str:
    rows = [
        (
            [
                one["seed"],
                one["verdict"].lower(),
                "; ".join([*one["differences"], *one["between"]]),
            ],
            bool(one["between"]),
        )
        for one in seasons
        if one["differences"] or one["between"]
    ]
    if not rows:
        return "Nothing."
    return table(
        ["seed", "verdict", "what differed", "why"],
        [[*row, _why(row[0], refuted)] for row, refuted in rows],
    )


def _why(seed: int, refuted: bool) -> str:
    known = REFUTED if refuted else "not looked into yet"
    return REMARKS.get(seed, known)


def _engines(seasons: list[Line]) -> str:
    rows = []
    for name in ENGINES:
        mine = [one[name] for one in seasons]
        proven = sum(1 for best in mine if best and best["proven"])
        nothing = sum(1 for best in mine if not best)
        refuted = sum(any(t.startswith(name) for t in one["between"]) for one in seasons)
        times = _times(seasons, name) if seasons else []
        rows.append([name, proven, len(mine) - proven - nothing, nothing, refuted, *times])
    both = sum(1 for one in seasons if all(one[e] and one[e]["proven"] for e in ENGINES))
    either = sum(1 for one in seasons if any(one[e] and one[e]["proven"] for e in ENGINES))
    head = ["engine", "proved", "found a plan only", "found none", "refuted"]
    text = table([*head, "median", "nine in ten", "longest"], rows)
    text += "\n\nTimes are seconds of the processor. "
    return text + f"Both proved {both:,} seasons, at least one {either:,}."


def _runs(runs: list[Line], seasons: list[Line]) -> str:
    head = [key for key in (runs[-1] if runs else {}) if key != "limits"]
    limits = list(runs[-1]["limits"]) if runs else []
    rows = [[one[k] for k in head] + [f"{one['limits'][k]:g}" for k in limits] for one in runs]
    load = [one["load"] for one in seasons] or [0.0]
    return "\n\n".join(
        [
            table([*head, *(f"limit of {who}, s" for who in limits)], rows),
            "A run can be stopped and started again; each start is a row. Our limits are by the "
            "clock, the engines' of the processor. Load average of the machine, this work "
            "included: "
            f"{median(load):.1f} in the median, {max(load):.1f} at most.",
        ]
    )

"""Hold single solves of one program, and verified ones, against a known solution.

Run from the top of the project, about a minute a seed:

    python -m reports.reliability.two_solves --seeds 6

The program is a season's exact model, 446 columns and 386 rows, kept with a solution of it that
was found by another solver; `--other-program FILE` takes another one kept in the same way. Every
solve is alone in its process's time: no start, no callback, HiGHS's own settings but for one
thread and a gap of 0.005 %. With highspy 1.15.1 three single solves of six end OPTIMAL above the
known solution; with 1.16.0 none does. Ends with 1 if any solve, single or verified, proves a
floor above the known cost.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import fields
from importlib.metadata import version
from pathlib import Path

import numpy as np

from planner.optimize.mip.highs import Answer, Limits, Matrix, Watch, solve
from planner.optimize.mip.verified import verified

KEPT = Path(__file__).parents[2] / "tests" / "instances" / "ends_too_soon.npz"
GAP = 5e-5


def kept(path: Path = KEPT) -> tuple[Matrix, np.ndarray]:
    """A program, and a solution of it."""
    with np.load(path) as held:
        parts = {f.name: held[f.name] for f in fields(Matrix)}
        known = held["known"]
    parts |= {name: parts[name].astype(np.int64) for name in ("start", "row")}
    return Matrix(**parts | {"offset": float(parts["offset"])}), known


def keeps_all(matrix: Matrix, x: np.ndarray) -> bool:
    """Whether a solution breaks no row, no bound and no whole number."""
    rows, slack = matrix.times(x), 1e-9 * (1.0 + matrix.row_size)
    return bool(
        np.all(rows >= matrix.row_lower - slack)
        and np.all(rows <= matrix.row_upper + slack)
        and np.all(x >= matrix.lower)
        and np.all(x <= matrix.upper)
        and np.all(x[matrix.integer] == np.round(x[matrix.integer]))
    )


def main() -> int:
    """Solve it as often as asked."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--seeds", type=int, default=6)
    asked.add_argument("--other-program", type=Path, default=KEPT)
    a = asked.parse_args()
    matrix, known = kept(a.other_program)
    cost = matrix.price(known)
    print(f"highspy {version('highspy')}; a known solution costs {cost:,.2f}")
    if not keeps_all(matrix, known):
        print("which breaks a row: nothing can be said")
        return 1
    wrong = 0
    for seed in range(a.seeds):
        limits = Limits(seconds=300.0, gap=GAP, seed=seed)
        for kind, answer in (
            ("single", solve(matrix, limits)),
            ("verified", verified(matrix, limits, Watch())),
        ):
            wrong += _said(kind, seed, answer, cost)
    print(f"{wrong} wrong")
    return 1 if wrong else 0


def _said(kind: str, seed: int, answer: Answer, cost: float) -> bool:
    is_wrong = answer.bound > cost + 1e-6 * abs(cost)
    print(
        f"seed {seed} {kind:8} {answer.verdict.value:10} {answer.objective:12,.2f}"
        f" floor {answer.bound:12,.2f}{'  WRONG' if is_wrong else ''}",
        flush=True,
    )
    return is_wrong


if __name__ == "__main__":
    sys.exit(main())

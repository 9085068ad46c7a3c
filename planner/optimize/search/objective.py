"""One loop for every objective: first acres short, then cost (lexicographic)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from planner.optimize.mip.highs import now

if TYPE_CHECKING:
    from collections.abc import Callable

    from planner.optimize.annealing.state import Piece
    from planner.optimize.search.common import Context


@dataclass(frozen=True, slots=True)
class Objective:
    """What is made less, and how."""

    is_settled: Callable[[Context], bool]
    """Whether nothing better is to be looked for."""
    take: Callable[[Context, list[list[Piece]]], None]
    """Take over a plan that was annealed beside."""
    run_next: Callable[[Context, int, float], None]
    """Run the strategy whose turn it is; the turn, and the time at which all of it ends."""


def pursue(
    context: Context, objective: Objective, turns: float = np.inf, until: float = np.inf
) -> None:
    """Take over what was found beside, else run the next strategy, until it is settled."""
    turn = 0
    while turn < turns and now() < until and not objective.is_settled(context):
        if context.workers.found:
            objective.take(context, context.workers.found.pop())
            continue
        objective.run_next(context, turn, until)
        turn += 1

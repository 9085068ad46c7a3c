"""Good plans crossed: what is best of the plans whose fields have only what two others give them.

A common method for hard integer programs (E. Rothberg, "An evolutionary algorithm for polishing
mixed integer programming solutions", 2007; named from memory). Where two plans agree, little is
left to decide, and where they differ, each field has two ways to go: that program is strong enough
to leave bags and order free.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.optimize.incumbent.budgets import limits_near, patient

if TYPE_CHECKING:
    import numpy as np

    from planner.optimize.heuristics.neighborhood import Neighborhood
    from planner.optimize.incumbent.incumbent import Incumbent
    from planner.optimize.mip.highs import Floats, Solver


def worth_crossing(incumbent: Incumbent) -> list[Floats]:
    """The best plan and others that are nearly as good, planted differently."""
    plans, worth = list(incumbent.plans), incumbent.options.params.worth_crossing
    return [x for cost, x in plans if cost - plans[0][0] <= (worth - 1.0) * abs(plans[0][0])]


def cross(
    incumbent: Incumbent, near: Neighborhood, rng: np.random.Generator, solver: Solver
) -> None:
    """Solve for plans whose fields have only what the best or one or two other plans give them."""
    plans = worth_crossing(incumbent)
    if len(plans) < 2:
        return
    most = min(incumbent.options.params.strategies.most_others, len(plans) - 1)
    others = rng.choice(len(plans) - 1, int(rng.integers(1, most + 1)), replace=False)
    parents = [plans[0], *(plans[1 + i] for i in others.tolist())]
    limits, watch = limits_near(incumbent, rng), patient(incumbent, started=True)
    incumbent.offer(near.among(parents, limits, watch, solver)[0])

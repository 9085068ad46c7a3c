"""Small hard seasons that the second model proves, and searches of seasons, begun.

Optima come from `tests/laws/second_model.py`, which shares no arithmetic with the optimizer.
"""

from dataclasses import astuple, replace
from functools import cache

import numpy as np

from planner.optimize.heuristics.neighborhood import Neighborhood
from planner.optimize.incumbent.incumbent import Incumbent
from planner.optimize.incumbent.restrictions import capped
from planner.optimize.mip.highs import Limits
from planner.optimize.mip.highs import solve as solve_matrix
from planner.optimize.model.instance import make_instance
from planner.optimize.model.program import make_model, moved, rounded, without_field_rule
from planner.optimize.options import SearchParams, SolveOptions
from planner.optimize.search import common, shortage
from planner.optimize.search.first_plan import make_first_plan
from tests.laws import second_model
from tests.support.random_season import hard_season

CLOSE = 1e-6
"""Relative slack of a bound over an optimum: the solvers' own tolerance."""


SMALL = [((4, 3, 2, 1), seed, short) for seed in (1, 2, 3) for short in (False, True)]
SMALL += [((6, 4, 3, 2), 1, False), ((6, 4, 3, 2), 2, True), ((5, 4, 3, 1), 2, False)]
"""Hard seasons that the second model proves the optimum of: size, seed, whether seed is short."""
SHORT = [case for case in SMALL if case[2]]


def hard(case):
    size, seed, short = case
    return hard_season(*size, seed, short=short)


@cache
def best(case) -> second_model.Answer:
    """Proven optimum of a small hard season."""
    return second_model.solve(hard(case))


def under(bound: float, optimum: float) -> bool:
    return bound <= optimum + CLOSE * max(1.0, abs(optimum))


def held_short(season, short):
    """The exact model of a season, acres short of every priority held at the fewest."""
    model = make_model(make_instance(season))
    return model.bounded("short_in", np.array(short) + 2e-6)


def as_told(plan):
    """What a plan says: sorted rows, figures rounded past the dust of sums in another order."""

    def told(row):
        return tuple(round(x, 6) if isinstance(x, float) else x for x in astuple(row))

    tables = ("order", "seed_purchases", "treating", "planting", "products", "shortages")
    rows = {table: sorted(map(told, getattr(plan, table))) for table in tables}
    return rows, told(plan.cost), round(plan.bound, 6), plan.outcome, plan.shortage_proven


def relaxed(size, **params):
    """A context with its first plan, and the relaxation's best solution in 100 nodes.

    What follows is searched with other parameters.
    """
    incumbent = Incumbent(SolveOptions(effort=2), None, None)
    context = common.open_context(incumbent, hard_season(*size))
    make_first_plan(context)
    shortage.settle_shortage(context)
    context.memory.near = Neighborhood(capped(incumbent))
    loose = without_field_rule(context.near.model)
    answer = solve_matrix(loose.matrix, Limits(nodes=100, gap=5e-4))
    incumbent.options = replace(incumbent.options, params=SearchParams(**params))
    return context, moved(loose, context.near.model, rounded(loose, answer.x)), answer.bound

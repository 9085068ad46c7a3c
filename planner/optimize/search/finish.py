"""The end of a search: its best plan with the cheapest order, read off the model's solution."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from planner.errors import Interrupted, NoPlanError
from planner.optimize.incumbent.budgets import Budget
from planner.optimize.mip.part import minimize_in_turn, solve_part
from planner.optimize.model.extract import make_plan
from planner.optimize.model.program import PURCHASE, rounded

if TYPE_CHECKING:
    from planner.optimize.incumbent.incumbent import Incumbent
    from planner.optimize.mip.highs import Answer, Floats, Matrix
    from planner.optimize.model.program import Model
    from planner.optimize.search.common import Context
    from planner.plan.plan import Plan

ROOMS = 1e-9, 3e-7
"""Acres over the fewest short that are left to the priorities after it; more where that fails.

The solver's own tolerance is 1e-7, which the next solve may use up: the one after it has then been
told infeasible.
"""


def offer_cheapest_order(incumbent: Incumbent) -> None:
    """Offer the best plan with the cheapest order for what it plants and treats.

    A search that is stopped early may hold an order that a small exact solve betters.
    """
    model, x = incumbent.model, incumbent.x
    assert x is not None
    options = incumbent.options
    budget = Budget(options.params.strategies.order_seconds, options.steps)
    limits = budget.limits(1e-6, options.seed)
    y, _ = solve_part(model.matrix, model.of(PURCHASE), x, limits, known=True)
    if y is not None:
        incumbent.offer(rounded(model, y))


def settled(incumbent: Incumbent) -> Floats:
    """The best plan with its whole numbers held and everything else solved again around them."""
    x = incumbent.x
    assert x is not None
    for room in ROOMS:
        y, solved = _settled(incumbent.model, x, room)
        if solved:
            return y
    return y


def _settled(model: Model, x: Floats, room: float) -> tuple[Floats, bool]:
    """That with so much room in every priority's acres short; and whether its cost is least too."""
    free, best = ~model.matrix.integer, x

    def solve_one(matrix: Matrix, _: int) -> Answer:
        nonlocal best
        y, answer = solve_part(matrix, free, x)
        best = best if y is None else y
        return answer

    def cap(_: int, answer: Answer | None) -> float:
        assert answer is not None
        return answer.objective * (1 + 1e-9) + room

    _, matrix = minimize_in_turn(model.matrix, model.at["short_in"].tolist(), solve_one, cap)
    y, _ = solve_part(matrix, free, x)
    return (best, False) if y is None else (y, True)


def finished(context: Context) -> Plan:
    """The plan that a search has come to; errors as `run.solve`."""
    incumbent = context.incumbent
    if incumbent.x is None:
        if context.workers.errors:
            raise context.workers.errors[0]
        if incumbent.user_stop is not None and incumbent.user_stop.is_set():
            msg = "stopped before there was any plan"
            raise Interrupted(msg)
        msg = f"no plan was found in {incumbent.options.seconds:g} s; give it more time"
        raise NoPlanError(msg)
    if not incumbent.ended.is_set():
        offer_cheapest_order(incumbent)
    plan = make_plan(
        incumbent.model,
        settled(incumbent),
        incumbent.bound,
        shortage_proven=incumbent.short_proven,
    )
    return replace(plan, seconds=incumbent.seconds())

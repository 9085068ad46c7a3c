"""A bound and plans by patterns in this process alone, where a field has one variety.

For programs that are solved by the hundred side by side, which may have columns and costs of their
own besides the model's (`Model.with_late`). Orders are settled by Benders decomposition, then by
patterns, lots together and apart (`dantzig_wolfe.py`). Under the best orders the exact model then
puts together the patterns that were generated for that (price and branch).
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from planner.optimize.bounds import benders
from planner.optimize.bounds.benders import columns_in, with_cuts
from planner.optimize.bounds.column_generation import generate_columns, start_master
from planner.optimize.bounds.dantzig_wolfe import (
    OrdersKnown,
    open_patterns,
    plant_orders,
)
from planner.optimize.bounds.pattern_program import GAP, ONE, generated_program, under_orders
from planner.optimize.incumbent.incumbent import Incumbent
from planner.optimize.mip.highs import INFINITE, Limits, Verdict, Watch, now, solve
from planner.optimize.options import SolveOptions, Until

if TYPE_CHECKING:
    from collections.abc import Callable

    from planner.optimize.mip.highs import Floats, Ints, Matrix
    from planner.optimize.model.program import Model

WITHOUT = 0.3
"""Share of the time for orders without patterns, at the most."""
BOUND = 0.6
"""Share of what is left then for the bound by patterns; the rest is for plans."""
MOST_SHORT = 1.0
"""Acres up to which patterns hold seed for fewer: that costs them nothing, so more say little."""
OVER = 1.001, 1e-6
"""Slack of the acres that may be short: times so much, and on top."""


class _Alone(Until):
    """The sign to stop, and who hears of bounds: nobody."""

    def tell(self, bound: float) -> None:
        """Hear of a bound."""


def prove_alone(
    model: Model, widened: Callable[[Model], Model], known: Floats, seconds: float
) -> tuple[float, Floats]:
    """Find a bound by patterns, and a cheaper plan of them, in so many seconds.

    Parameters
    ----------
    model
        The exact model; a field has one variety in it, and acres short have a price.
    widened
        Gives the model without the field rule the columns and costs that this one has of its own.
    known
        A solution.

    Returns
    -------
    What no solution is below, and the best solution known. -inf where nothing was proven: so where
    a solution that is no dearer may leave more than `MOST_SHORT` acres short.
    """
    cost, until = model.matrix.price(known), now() + seconds
    short = most_short(model.matrix, model.at["short_in"], cost)
    if short is None or short > MOST_SHORT:
        return -INFINITE, known
    upper = model.matrix.upper[model.at["short_in"]]
    model = model.bounded("short_in", np.minimum(upper, short))
    orders = _orders(model, widened, short, WITHOUT * seconds)
    if orders is None:
        return -INFINITE, known
    bound, stop = -INFINITE, _Alone(until)
    for by_lot in (False, True):
        patterns = open_patterns(model, orders, by_lot, stop)
        left = BOUND * (until - now())
        orders, _, proven = plant_orders(patterns, orders, cost, left, stop)
        bound = max(bound, proven)
        if not orders.is_settled:
            break
    return min(bound, cost), _planned(model, orders, known, until)


def most_short(matrix: Matrix, short_in: Ints, cost: float) -> float | None:
    """Acres short of a solution that costs no more than that, at the most; None if not known.

    By the linear relaxation, acres short being in the cost.
    """
    aim = np.zeros(matrix.n_columns)
    aim[short_in] = -1.0
    paid = np.flatnonzero(matrix.cost)
    row = np.zeros(len(paid), dtype=np.int64), paid, matrix.cost[paid]
    capped = matrix.linear.with_rows(row, np.array([-INFINITE]), np.array([cost - matrix.offset]))
    answer = solve(replace(capped, cost=aim, offset=0.0), Limits())
    if answer.verdict is not Verdict.OPTIMAL:
        return None
    return OVER[0] * max(0.0, -answer.objective) + OVER[1]


def _orders(
    model: Model, widened: Callable[[Model], Model], short: float, seconds: float
) -> OrdersKnown | None:
    """What Benders decomposition says of orders; None where it was not even begun in time."""
    # effort is counted so that both kinds of solve run in this process
    incumbent = Incumbent(SolveOptions(effort=1), None, Until(now() + seconds))
    incumbent.model = model
    every = np.arange(len(model.choices))
    upper = model.matrix.upper[model.at["short_in"]]
    master = start_master(incumbent, model.it, every, upper, widened)
    generate_columns(incumbent, master, seconds)
    opened = benders.open_orders(master) if master.duals is not None else None
    if opened is None:
        return None
    benders.find(incumbent, opened, 0.7 * seconds)
    if any(p.line_loss > 0.0 for p in model.it.products):
        benders.hold_runs(opened)
        benders.find(incumbent, opened, 0.3 * seconds)
    return OrdersKnown(with_cuts(opened), columns_in(opened, model), short=short)


def _planned(model: Model, orders: OrdersKnown, known: Floats, until: float) -> Floats:
    """The best of plans made of the patterns generated, one for each of the best orders."""
    best, matrix, program = known, model.matrix, generated_program(model, orders)
    if program is None:
        return known
    for expected, held in under_orders(program, orders):
        cost = matrix.price(best)
        if now() >= until or expected >= cost:
            break
        limits = Limits(min(ONE, until - now()), GAP, cutoff=cost)
        answer = solve(held, limits, watch=Watch(Until(until)))
        if answer.x is not None and matrix.price(x := program.in_model(answer.x)) < cost:
            best = x
    return best

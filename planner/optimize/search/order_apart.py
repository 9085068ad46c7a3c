"""Order and planting decided apart: the bound with whole containers, a plan from the best order."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from planner.optimize.annealing.order_tables import order_tables
from planner.optimize.bounds import benders
from planner.optimize.bounds.benders import columns_in, with_cuts
from planner.optimize.bounds.column_generation import (
    best_choices,
    generate_columns,
    planted,
    prices,
    rough_price,
    start_master,
)
from planner.optimize.bounds.dantzig_wolfe import OrdersKnown
from planner.optimize.heuristics.diving import dive
from planner.optimize.heuristics.neighborhood import Neighborhood
from planner.optimize.incumbent.budgets import Budget
from planner.optimize.incumbent.restrictions import short_caps
from planner.optimize.mip.highs import Limits, Watch, solve
from planner.optimize.model.extract import supply
from planner.optimize.model.instance import places_of
from planner.optimize.model.program import (
    make_model,
    moved,
    rounded,
    with_whole_order,
    without_field_rule,
)
from planner.optimize.search.beside import beside, search_beside
from planner.optimize.search.common import DIVING, uses, with_patterns

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from planner.optimize.bounds.benders import Orders
    from planner.optimize.bounds.column_generation import RestrictedMaster
    from planner.optimize.incumbent.incumbent import Incumbent
    from planner.optimize.mip.highs import Floats
    from planner.optimize.model.program import Model
    from planner.optimize.search.common import Context


def settle_order(context: Context, model: Model) -> Callable[[], None] | None:
    """Prove the bound with whole containers, and hold the best order.

    Parameters
    ----------
    model
        The season's, its acres short held.

    Returns
    -------
    A dive for a plan with that order; None where there is none, or where patterns are put together:
    then the cuts are kept for those.
    """
    incumbent, params = context.incumbent, context.incumbent.options.params.large
    take = context.workers.found.append
    with beside(context, lambda worker, stop: search_beside(context, worker, take, stop, turn=2)):
        master, orders = prove_bound(incumbent) or (None, None)
    if master is None or orders is None:
        return None
    if with_patterns(context):
        context.memory.orders = OrdersKnown(with_cuts(orders), columns_in(orders, model))
        return None
    context.order.put(planted_under(orders, model, params.planting * incumbent.left()))
    if orders.best is None or context.patterns is not None or not uses(context, DIVING):
        return None
    rooms = params.rooms[:1]
    return lambda: dive_for_plan(incumbent, orders, promising(incumbent, master), rooms)


def planted_under(orders: Orders, model: Model, seconds: float) -> Floats | None:
    """What the relaxation without the field rule plants with the best order, bags cut.

    Where it does not suffice, or there is none that does, a container more of each kind is allowed.
    """
    rough = with_whole_order(without_field_rule(model))
    order, upper = in_columns(orders, rough), rough.matrix.upper[rough.at["count"]]
    count = np.round(order[rough.at["count"]])
    for more in (1.0,) if orders.best is None else (0.0, 1.0):
        held = rough.bounded("count", np.minimum(count + more, upper), count).matrix
        answer = solve(held, Limits(seconds, gap=1e-3))
        if answer.x is not None:
            return moved(rough, model, rounded(rough, answer.x))
    return None


def prove_bound(
    incumbent: Incumbent, order_apart: bool = True, slow: float = 0.0
) -> tuple[RestrictedMaster, Orders | None] | None:
    """Prove the bound over all choices of the season, with whole containers where time allows.

    `slow` is the share of the time that must be left for these. Returns the relaxation, and what
    is known of orders; None where there was no time for either.
    """
    it, params = incumbent.model.it, incumbent.options.params.large
    first = best_choices(it, rough_price(it, order_tables(it)), params.first_columns)
    master = start_master(
        incumbent, it, np.union1d(first, used_places(incumbent)), short_caps(incumbent)
    )
    generate_columns(incumbent, master, params.bound_time * incumbent.left())
    if master.duals is None:
        return None
    if not order_apart or incumbent.left() < slow * incumbent.options.seconds:
        return master, None
    orders = benders.open_orders(master, params)
    if orders is not None:
        benders.find(incumbent, orders, params.bound_time * incumbent.left())
        few = not incumbent.options.params.are_many(it.choices)
        if few and any(p.line_loss > 0.0 for p in it.products):
            _with_whole_runs(incumbent, orders)
    return master, orders


def _with_whole_runs(incumbent: Incumbent, orders: Orders) -> None:
    """Raise the bound by recipes that run wholly; the best order is one for that, if there is."""
    before = orders.best, orders.cost
    benders.hold_runs(orders)
    seconds = incumbent.options.params.large.runs_time * incumbent.left()
    if not benders.find(incumbent, orders, seconds):
        orders.best, orders.cost = before


def used_places(incumbent: Incumbent) -> NDArray[np.int64]:
    """Places among all choices of those that the best plan uses."""
    assert incumbent.x is not None
    used = incumbent.x[incumbent.model.at["acres"]] > 0
    return places_of(incumbent.model.it, incumbent.model.choices.only(used))


def promising(incumbent: Incumbent, master: RestrictedMaster) -> Model:
    """The model of the promising choices, those of the relaxation and the best plan among them."""
    it = incumbent.model.it
    assert master.duals is not None
    most = incumbent.options.params.large.promising
    close = best_choices(it, prices(master, master.duals), most)
    places = np.union1d(np.union1d(close, planted(master)), used_places(incumbent))
    return make_model(it, it.choices.only(places))


def dive_for_plan(
    incumbent: Incumbent, orders: Orders, model: Model, rooms: tuple[float, ...]
) -> None:
    """Dive for a plan with the best order; first once with some give, to see what must be over."""
    params, near = incumbent.options.params.large, Neighborhood(model)
    model = model.bounded("short_in", short_caps(incumbent))
    loose = without_field_rule(model)
    order = in_columns(orders, loose)
    nothing = np.zeros(len(loose.at["left"]))
    x = dive(loose, near, order, nothing, incumbent, params, elastic=True)
    if x is None:
        return
    held = supply(loose, order)
    more = supply(loose, x) - held
    for share in rooms:
        room = share * held
        seconds = 0.5 * params.bound_time * incumbent.left()
        if not benders.find(incumbent, orders, seconds, more + room):
            return
        x = dive(loose, near, in_columns(orders, loose), 0.5 * room, incumbent, params)
        if x is not None and plan_from(incumbent, model, moved(loose, model, x)):
            return


def in_columns(orders: Orders, model: Model) -> Floats:
    """The best order, or what comes nearest to one so far, in the columns of a model."""
    x = np.zeros(len(orders.columns))
    x[orders.columns] = orders.center if orders.best is None else orders.best
    return moved(orders.master.model, model, x)


def plan_from(incumbent: Incumbent, model: Model, guide: Floats) -> bool:
    """Make a better plan of a guide: its order held, bags nearly, and the field rule kept."""
    m = model.matrix
    low, high = m.lower.copy(), m.upper.copy()
    at = model.at["bags"]
    bags = guide[at]
    low[at] = np.maximum(low[at], np.floor(bags + 1e-6) - 1)
    high[at] = np.where(bags > 1e-6, np.minimum(high[at], np.ceil(bags - 1e-6) + 1), 0.0)
    for group in ("count", "reached", "level", "freight_free"):
        low[model.at[group]] = high[model.at[group]] = np.round(guide[model.at[group]])
    near = Neighborhood(replace(model, matrix=replace(m, lower=low, upper=high)))
    options = incumbent.options
    budget = Budget(options.params.large.repair_time * incumbent.left(), options.steps)
    limits = budget.limits(1e-3, options.seed)
    y, _ = near.solve(guide, near.breaking(guide), limits, Watch(incumbent), start=False)
    return y is not None and incumbent.offer(moved(model, incumbent.model, y))

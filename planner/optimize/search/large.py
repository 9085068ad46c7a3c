"""Large seasons: a floor over all choices, the promising ones, and a plan from the best order."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from planner.optimize.annealing.order_tables import order_tables
from planner.optimize.bounds import benders
from planner.optimize.bounds.column_generation import (
    best_of_each,
    grow,
    planted,
    prices,
    rough_price,
    start_growing,
)
from planner.optimize.heuristics.diving import dive
from planner.optimize.heuristics.neighborhood import Neighborhood
from planner.optimize.incumbent.restrictions import capped, short_caps
from planner.optimize.mip.highs import Limits, Watch
from planner.optimize.model.instance import places_of
from planner.optimize.model.program import make_model, moved, without_field_rule

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from planner.optimize.bounds.benders import Orders
    from planner.optimize.bounds.column_generation import Growing
    from planner.optimize.incumbent.incumbent import State
    from planner.optimize.mip.highs import Floats
    from planner.optimize.model.program import Model

FIRST_COLUMNS = 12
"""Choices of a field that the relaxation starts with."""
PROMISING = 25
"""Choices of a field that the search goes over once prices are known."""
FLOOR_TIME = 0.3
"""Share of the time left for each stage of the floor."""
SLOW = 0.75
"""Share of the time that must be left after the relaxation for orders to be looked at apart."""
ROOMS = (0.02, 0.01, 0.03)
"""Share of a product's supply kept over while diving, so that whole bags fit; tried in turn."""
MEND_TIME = 0.15
"""Share of the time left for mending the fields that a dive leaves in breach of the field rule."""
MEND_NODES = 300
"""The same where work is counted."""


def prove_floor(state: State) -> tuple[Growing, Orders | None] | None:
    """Prove the floor over all choices of the season, with whole containers where time allows.

    Returns the relaxation, and what is known of orders; None where there was no time for either.
    """
    it = state.model.it
    price = rough_price(it, it.choices, order_tables(it))
    first = best_of_each(it, it.choices.field, price, FIRST_COLUMNS)
    growing = start_growing(state, it, np.union1d(first, used_places(state)), short_caps(state))
    grow(state, growing, FLOOR_TIME * state.left())
    if growing.duals is None:
        return None
    if state.left() < SLOW * state.options.seconds:
        return growing, None
    orders = benders.open_orders(growing)
    benders.find(state, orders, FLOOR_TIME * state.left())
    return growing, orders


def used_places(state: State) -> NDArray[np.int64]:
    """Places among all choices of those that the best plan uses."""
    assert state.x is not None
    used = state.x[state.model.at["acres"]] > 0
    return places_of(state.model.it, state.model.choices.only(used))


def narrow(state: State, growing: Growing) -> None:
    """Go on over the promising choices, those of the relaxation and of the best plan among them."""
    it, old, x = state.model.it, state.model, state.x
    assert growing.duals is not None
    assert x is not None
    c = it.choices
    close = best_of_each(it, c.field, prices(growing, growing.duals), PROMISING)
    choices = c.only(np.union1d(np.union1d(close, planted(growing)), used_places(state)))
    model = make_model(it, choices)
    state.move(model, moved(old, model, x))


def dive_for_plan(state: State, orders: Orders, near: Neighborhood) -> None:
    """Dive for a plan with the best order; first once with some give, to see what must be over."""
    model = capped(state)
    loose = without_field_rule(model)
    order = in_columns(orders, loose)
    nothing = np.zeros(len(loose.at["left"]))
    x = dive(loose, near, order, nothing, state, elastic=True)
    if x is None:
        return
    held = supply(loose, order)
    more = supply(loose, x) - held
    for share in ROOMS:
        room = share * held
        if not benders.find(state, orders, 0.5 * FLOOR_TIME * state.left(), more + room):
            return
        x = dive(loose, near, in_columns(orders, loose), 0.5 * room, state)
        if x is not None and plan_from(state, model, moved(loose, model, x)):
            return


def in_choices(model: Model, growing: Growing) -> Floats:
    """What the relaxation plants, and the discounts it takes, in the columns of a narrower model.

    Nothing else: it is a guide for the board, which counts its own bags.
    """
    assert growing.answer is not None
    assert growing.answer.x is not None
    x, old, c = growing.answer.x, growing.model, growing.it.choices
    guide = np.zeros(model.matrix.n_columns)
    known = np.concatenate(growing.at) < len(x)
    places, at = np.concatenate(growing.chosen)[known], np.concatenate(growing.at)[known]
    for t, acres in zip(places.tolist(), x[at].tolist(), strict=True):
        key = int(c.field[t]), int(c.lot[t]), int(c.recipe[t])
        if acres > 0 and model.has("acres", key):
            guide[model.column("acres", key)] = acres
    for key, value in old.values("level", x):
        guide[model.column("level", key)] = np.round(value)
    return guide


def in_columns(orders: Orders, model: Model) -> Floats:
    """The best order in the columns of a model."""
    assert orders.best is not None
    x = np.zeros(len(orders.columns))
    x[orders.columns] = orders.best
    return moved(orders.growing.model, model, x)


def supply(model: Model, x: Floats) -> Floats:
    """What is on hand and bought of every product, in its largest container."""
    it = model.it
    at = {p.name: n for n, p in enumerate(it.products)}
    total = np.array(it.supply, dtype=np.float64)
    for (i, _), count in model.values("count", x):
        c = it.containers[i]
        total[at[c.product]] += count * (c.size - c.heel)
    return total / it.lump


def plan_from(state: State, model: Model, guide: Floats) -> bool:
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
    counted = MEND_NODES if state.options.effort is not None else None
    seconds = MEND_TIME * state.left()
    limits = Limits(seconds=seconds, gap=1e-3, nodes=counted, seed=state.options.seed)
    y, _ = near.solve(guide, near.breaking(guide), limits, Watch(state), start=False)
    return state.offer(y)

"""Plans made step by step: first whole containers, then whole bags, then what is planted where.

The relaxation in which only containers are whole is settled in seconds, and its order is nearly
that of the best plans. With an order held, whole bags are soon decided without the field rule; with
the full bags held as well, the exact model plants the fields.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from planner.optimize.bounds.relaxations import whole, with_whole_order
from planner.optimize.heuristics.strategies import order_held
from planner.optimize.model.program import moved
from planner.optimize.search.workshop import limits_near, patient, times_best

if TYPE_CHECKING:
    from planner.optimize.mip.highs import Floats, Solver
    from planner.optimize.model.program import Model
    from planner.optimize.search.workshop import Workshop

NEAR_ENOUGH = 2e-4
"""How near the best the bags of such an order need be."""
POOR = 1.005
"""Plans that cost so many times as much as the best one say that the order has too little room."""
WHOLE = 0.5
"""How often bags are those of the relaxation with whole bags, if it is cheaper than any plan."""
OWN_ORDER = 0.3
"""How often the order held is that of the best plan."""


def mend(shop: Workshop, rng: np.random.Generator, solver: Solver) -> None:
    """Make a plan for the relaxation's order or the best plan's, then hold only its full bags."""
    state, order = shop.state, shop.order.x
    if order is None or (state.x is not None and rng.random() < OWN_ORDER):
        order = state.x
    assert order is not None
    bags = shop.bags
    free = bags is not None and times_best(state, bags) < 1.0 and rng.random() < WHOLE
    if bags is None or not free:
        bags = _bags_for(shop, order, rng, solver)
    if bags is None or state.is_set():
        return
    x = None
    for within in (1, 0):
        if x is None and not state.is_set():
            x = _near(shop, bags, within, rng, solver, start=False, order=free)
    if x is not None and not state.is_set():
        x = _near(shop, x, 0, rng, solver)
    poor = x is None or times_best(state, x) > POOR
    if poor and not free and not state.is_set():
        room = shop.order.give_up(order, state.options.params.room)
        if room is not None:
            shop.order.put(_roomier(shop, order, room, rng, solver))


def _near(
    shop: Workshop,
    x: Floats,
    within: int,
    rng: np.random.Generator,
    solver: Solver,
    *,
    start: bool = True,
    order: bool = True,
) -> Floats | None:
    """Offer the best plan found near a solution's bags; give it, or `x` if that is a plan."""
    limits, watch = limits_near(shop, rng), patient(shop.state, started=start)
    y, _ = shop.near.near_bags(
        x, limits, watch, start=start, within=within, order=order, solver=solver
    )
    shop.state.offer(y)
    return x if y is None and start else y


def _bags_for(
    shop: Workshop, order: Floats, rng: np.random.Generator, solver: Solver
) -> Floats | None:
    """Whole bags that suit an order, the field rule left out; None if none were found."""
    model, loose = shop.near.model, shop.near.loose
    held = order_held(loose, moved(model, loose, order))
    answer = solver(held, limits_near(shop, rng, NEAR_ENOUGH), watch=patient(shop.state))
    return None if answer.x is None else moved(loose, model, whole(loose, answer.x))


def _roomier(
    shop: Workshop, x: Floats, room: float, rng: np.random.Generator, solver: Solver
) -> Floats | None:
    """An order of the relaxation with a share over of every product that a solution needs.

    The best plan's if there is none. Bags that are cut need less than whole ones.
    """
    near = shop.near
    rough = with_whole_order(near.loose)
    most = rough.matrix.upper[rough.at["left"]]
    over = room * _used(near.model, x) / near.model.it.lump
    rough = rough.bounded("left", most, np.minimum(over, most))
    answer = solver(rough.matrix, limits_near(shop, rng, NEAR_ENOUGH), watch=patient(shop.state))
    return shop.state.x if answer.x is None else moved(rough, near.model, whole(rough, answer.x))


def _used(model: Model, x: Floats) -> Floats:
    """Fl oz of each product that a solution needs."""
    it = model.it
    number = {p.name: i for i, p in enumerate(it.products)}
    used = it.supply - x[model.at["left"]] * it.lump
    for (i, _), count in model.values("count", x):
        c = it.containers[i]
        used[number[c.product]] += count * (c.size - c.heel)
    return used

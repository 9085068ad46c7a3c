"""Large seasons: the search goes on over their promising choices."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from planner.optimize.annealing.decode import on_model
from planner.optimize.annealing.order_tables import order_tables
from planner.optimize.annealing.state import AnnealingState
from planner.optimize.incumbent.restrictions import capped
from planner.optimize.model.program import moved
from planner.optimize.search.beside import beside, search_beside
from planner.optimize.search.common import DIVING, ORDER_APART, get_ready, hold_short, uses
from planner.optimize.search.order_apart import dive_for_plan, promising, prove_bound

if TYPE_CHECKING:
    from planner.optimize.annealing.state import Piece
    from planner.optimize.bounds.column_generation import RestrictedMaster
    from planner.optimize.mip.highs import Floats
    from planner.optimize.model.program import Model
    from planner.optimize.search.common import Context


def search_promising(context: Context) -> None:
    """Prove the bound of a large season, go on over its promising choices, and dive for a plan."""
    incumbent, params = context.incumbent, context.incumbent.options.params.large

    def take(pieces: list[list[Piece]]) -> None:
        incumbent.offer(on_model(incumbent, context.current, pieces))

    with beside(context, lambda worker, stop: search_beside(context, worker, take, stop, turn=2)):
        proven = prove_bound(incumbent, uses(context, ORDER_APART), params.slow)
    if proven is None or incumbent.is_set():
        return
    master, orders = proven
    model, old = promising(incumbent, master), incumbent.model
    assert incumbent.x is not None
    incumbent.move(model, moved(old, model, incumbent.x))
    context.memory.current = AnnealingState(model.it, model.choices, order_tables(model.it))
    hold_short(context, capped(incumbent))
    context.memory.guide = in_choices(model, master)
    with beside(context, lambda worker, stop: search_beside(context, worker, take, stop)):
        if orders is not None and orders.best is not None and uses(context, DIVING):
            dive_for_plan(incumbent, orders, model, params.rooms)
        if incumbent.options.effort is None:
            get_ready(context)


def in_choices(model: Model, master: RestrictedMaster) -> Floats:
    """What the relaxation plants, and the discounts it takes, in the columns of a narrower model.

    Nothing else: it is a guide for annealing, which counts its own bags.
    """
    assert master.answer is not None
    assert master.answer.x is not None
    x, old, c = master.answer.x, master.model, master.it.choices
    guide = np.zeros(model.matrix.n_columns)
    known = np.concatenate(master.at) < len(x)
    places, at = np.concatenate(master.chosen)[known], np.concatenate(master.at)[known]
    for t, acres in zip(places.tolist(), x[at].tolist(), strict=True):
        key = int(c.field[t]), int(c.lot[t]), int(c.recipe[t])
        if acres > 0 and model.has("acres", key):
            guide[model.column("acres", key)] = acres
    for key, value in old.values("level", x):
        guide[model.column("level", key)] = np.round(value)
    return guide

"""From the annealing state to a solution of the exact model, its order solved to the end."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from planner.optimize.annealing.order_tables import order_tables
from planner.optimize.annealing.state import MORE_URGENT, Piece, pieces_on
from planner.optimize.mip.highs import Limits, Watch, solve
from planner.optimize.mip.part import solve_part
from planner.optimize.model.program import ORDER, flag_lots
from planner.optimize.model.variables import qualifying

if TYPE_CHECKING:
    from planner.optimize.annealing.moves import Facts, Tally
    from planner.optimize.annealing.state import AnnealingState
    from planner.optimize.incumbent.incumbent import Incumbent
    from planner.optimize.mip.highs import Floats
    from planner.optimize.model.program import Model
    from planner.optimize.options import Stop

PLANTED = ("share", "bags", "part", "bought")
"""Groups of variables that say what is planted and which seed is used, acres apart."""
SHORT_GAP = 1e-3
"""Gap up to which acres short are settled where money is too."""
SHORT_SLACK = 1e-5
"""Acres of a priority that may be short beyond that."""


def decoded(
    model: Model,
    current: AnnealingState,
    seconds: float = 5.0,
    gap: float = 1e-6,
    stop: Stop | None = None,
) -> Floats | None:
    """The current plan in the model's columns; None if the model does not take it."""
    if not current.keeps_limits():
        return None
    return with_order(model, planted(model, current, current.tally), seconds, gap, stop)


def planted(model: Model, current: AnnealingState, tally: Tally) -> Floats:
    """What a plan in annealing plants and treats, in the model's columns; nothing is ordered."""
    x = np.zeros(model.matrix.n_columns)
    shares: dict[tuple[int, int, int], float] = {}
    c, it = current.choices, current.it
    for f, pieces in enumerate(pieces_on(tally)):
        for piece in pieces:
            lot, k = int(c.lot[piece.choice]), int(c.recipe[piece.choice])
            x[model.column("acres", (f, lot, k))] += piece.acres
            key = (f, int(it.variety_of[lot]), k)
            shares[key] = shares.get(key, 0.0) + piece.acres
    for key, acres in shares.items():
        if model.has("share", key):
            x[model.column("share", key)] = 1.0
        if model.has("bare", key):
            x[model.column("bare", key)] = max(0.0, float(current.acres[key[0]]) - acres)
    flag_lots(model, x)
    _put_seed(model, current.facts, tally, x)
    short = np.where(tally.short > 1e-9, tally.short, 0.0)
    x[model.at["short"]] = short
    for priority in model.keys["short_in"]:
        mine = np.array([f.priority == priority for f in it.fields])
        x[model.column("short_in", priority)] = float(short[mine].sum())
    return x


def _put_seed(model: Model, p: Facts, s: Tally, x: Floats) -> None:
    for pool in np.flatnonzero(s.bags > 0).tolist():
        key = int(p.lot[pool]), int(p.recipe[pool])
        if p.treats[pool]:
            x[model.column("bags", key)] = s.bags[pool]
    for lot, pool in enumerate(s.lot_part.tolist()):
        if pool >= 0:
            x[model.column("part", (lot, int(p.recipe[pool])))] = 1.0
        bought = int(s.lot_bags[lot] - p.full[lot])
        if bought > 0:
            x[model.column("bought", lot)] = bought


def with_order(
    model: Model, x: Floats, seconds: float, gap: float = 1e-6, stop: Stop | None = None
) -> Floats | None:
    """The solution with the cheapest order for the bags it treats."""
    limits, watch = Limits(seconds=seconds, gap=gap), None if stop is None else Watch(stop)
    y, _ = solve_part(model.matrix, model.of(ORDER), x, limits, watch=watch)
    if y is None and model.has_money_row and (stop is None or not stop.is_set()):
        return _paid_for(model, x, seconds, watch)
    return y


def _paid_for(model: Model, x: Floats, seconds: float, watch: Watch | None) -> Floats | None:
    """As much of a plan as the money to spend pays for, with the cheapest order for that.

    Nothing is planted, treated or bought that the plan does not; fields may stay short.
    """
    matrix = model.matrix
    low, high = matrix.lower, matrix.upper.copy()
    for group in PLANTED:
        high[model.at[group]] = np.minimum(
            high[model.at[group]], np.ceil(x[model.at[group]] - 1e-9)
        )
    acres = model.at["acres"]
    high[acres] = np.minimum(matrix.upper[acres], x[acres])
    held = replace(matrix, lower=low, upper=np.maximum(low, high))
    aim = np.zeros(matrix.n_columns)
    places = model.at["short_in"]
    aim[places] = MORE_URGENT ** np.arange(len(places), dtype=float)[::-1]
    limits = Limits(seconds=seconds / 2, gap=SHORT_GAP)
    fewest = solve(replace(held, cost=aim, offset=0.0), limits, watch=watch)
    if fewest.x is None:
        return None
    top = held.upper.copy()
    top[places] = np.minimum(top[places], fewest.x[places] + SHORT_SLACK)
    answer = solve(replace(held, upper=top), replace(limits, gap=1e-3), watch=watch)
    return fewest.x if answer.x is None else answer.x


def pieces_of(current: AnnealingState, model: Model, x: Floats) -> list[list[Piece]]:
    """Take a solution apart into pieces for annealing, as far as that has its choices."""
    pieces: list[list[Piece]] = [[] for _ in current.acres]
    acres = x[model.at["acres"]]
    for t in np.flatnonzero(acres > 1e-7).tolist():
        pieces[int(model.choices.field[t])].append(Piece(t, float(acres[t])))
    return pieces


def discounts_taken(model: Model, x: Floats) -> dict[int, float]:
    """Share of the list price that the discounts of a solution take off, by container."""
    off: dict[int, float] = {}
    for level, value in model.values("level", x):
        if value > 0.5:
            for i in qualifying(model.it, level):
                off[i] = off.get(i, 0.0) + model.it.discounts[level].percent
    return off


def on_model(
    incumbent: Incumbent, current: AnnealingState, pieces: list[list[Piece]]
) -> Floats | None:
    """Pieces as a solution of the exact model, with the order that suits them."""
    off = discounts_taken(incumbent.model, incumbent.x) if incumbent.x is not None else {}
    current.use_tables(order_tables(current.it, off))
    current.lay(pieces)
    return decoded(incumbent.model, current, 5.0 if incumbent.options.effort is None else np.inf)

"""What the relaxation without bags gives every field, planted by the exact model.

Variety by variety: each is a small solve of its own, and together they leave no more acres short
than the relaxation does, unless whole bags or the recipes that fields need don't allow that.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from planner.optimize.columns import rough_price
from planner.optimize.instance import spread_rules
from planner.optimize.large import places_of, used_places
from planner.optimize.lift import ORDER, with_order
from planner.optimize.model import make_model, moved
from planner.optimize.orders import order_tables
from planner.optimize.solver import INFINITE, Limits, Watch, reduced
from planner.optimize.solver import solve as solve_matrix
from planner.optimize.state import SHORT_SLACK

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from planner.optimize.filling import Refilling
    from planner.optimize.instance import Choices
    from planner.optimize.model import Model
    from planner.optimize.solver import Bools, Floats, Matrix, Solver
    from planner.optimize.state import State

    Ints = NDArray[np.int64]

AIM = 1000.0
"""How many times as much an acre weighs as one of the next priority."""


def weights(model: Model) -> Floats:
    """Of an acre short, by priority; one of the last priority weighs 1."""
    each: Floats = AIM ** np.arange(len(model.at["short_in"]), dtype=float)[::-1]
    return each


def aimed_at_acres(model: Model) -> Model:
    """The model with acres short as its cost, those of every priority above all of the next."""
    cost = np.zeros(model.matrix.n_columns)
    cost[model.at["short_in"]] = weights(model)
    return model.aimed(cost)


def plant(
    state: State, filled: Refilling, limits: Limits, solver: Solver = solve_matrix
) -> Floats | None:
    """As many acres as can be of what the relaxation gives every field.

    Where acres must be spread no field gets more than that, which the relaxation has spread.
    """
    model, z = state.model, filled.x
    fields, program = model.it.fields, filled.program
    acres = np.array([f.acres for f in fields])
    own = np.searchsorted(np.array(model.keys["short_in"]), [f.priority for f in fields])
    matrix, seed = _acres_only(model), _Seed(model, model.choices)
    x = np.zeros(matrix.n_columns)
    x[model.at["short"]], x[model.at["short_in"]] = acres, np.bincount(own, acres)
    given = program.given(z, model.it)
    to_come = np.bincount(program.field, z[program.acres], len(acres))
    spread = len(spread_rules(model.it)[0]) > 0
    bare = np.maximum(0.0, z[program.short]) if spread else np.zeros(len(acres))
    for variety in np.flatnonzero(given.any(axis=0)).tolist():
        mine = program.variety == variety
        gone = float(weights(model)[own[program.field[mine]]] @ z[program.acres[mine]])
        to_come[program.field[mine]] -= z[program.acres[mine]]
        lower = matrix.lower.copy()
        lower[model.at["short"]] = np.maximum(bare, to_come)
        enough = replace(limits, gap=0.0, target=matrix.price(x) - gone + SHORT_SLACK)
        for recipes in seed.recipes_for(given[:, variety], variety):
            free = seed.columns(given[:, variety], variety, recipes)
            part, columns = reduced(replace(matrix, lower=lower), free, x)
            answer = solver(part, enough, watch=Watch(state))
            if answer.x is None:
                return None
            if answer.objective <= (enough.target or 0.0):
                break
        x[columns] = answer.x
    return with_order(model, np.where(matrix.integer, np.round(x), x), limits.seconds)


def widen(state: State, filled: Refilling) -> None:
    """Go on over choices among which are those that planting this takes."""
    it, old, x = state.model.it, state.model, state.x
    assert x is not None
    c, seed = it.choices, _Seed(state.model, it.choices)
    given = filled.program.given(filled.x, it)
    allowed = np.zeros((len(it.varieties), it.untreated + 1), dtype=bool)
    for variety in np.flatnonzero(given.any(axis=0)).tolist():
        allowed[variety, seed.recipes_for(given[:, variety], variety)[0]] = True
    variety_of = it.variety_of[c.lot]
    new = np.flatnonzero(given[c.field, variety_of] & allowed[variety_of, c.recipe])
    some = np.union1d(np.union1d(places_of(it, old.choices), used_places(state)), new)
    model = make_model(it, c.only(some))
    state.move(model, moved(old, model, x))


class _Seed:
    """Which recipes to try for a variety, and the columns of its seed."""

    def __init__(self, model: Model, choices: Choices) -> None:
        self.model, self.choices = model, choices
        it = model.it
        self.price = rough_price(it, choices, order_tables(it))
        self.acres = np.array([f.acres for f in it.fields])
        self.variety = it.variety_of[choices.lot]

    def recipes_for(self, fields: Bools, variety: int) -> list[list[int]]:
        """Just the cheapest recipe that suits all of some fields, if any does; then all recipes."""
        c, it = self.choices, self.model.it
        own = fields[c.field] & (self.variety == variety)
        every = list(range(it.untreated + 1))
        common: dict[float, list[int]] = {}
        for k in every:
            mine = own & (c.recipe == k)
            if len(np.unique(c.field[mine])) == fields.sum():
                common[float(self.price[mine] @ self.acres[c.field[mine]])] = [k]
        return [common[min(common)], every] if common else [every]

    def columns(self, fields: Bools, variety: int, recipes: list[int]) -> Bools:
        """Those of a variety in some fields under some recipes."""
        m, it = self.model, self.model.it
        own = fields[self.choices.field] & (self.variety == variety)
        free = np.zeros(m.matrix.n_columns, dtype=bool)
        free[m.at["acres"][own & np.isin(self.choices.recipe, recipes)]] = True
        for group in ("share", "bare"):
            keys = [v == variety and fields[f] and k in recipes for f, v, k in m.keys[group]]
            free[m.at[group][np.array(keys, dtype=bool)]] = True
        for group in ("bags", "part"):
            keys = [it.variety_of[j] == variety and k in recipes for j, k in m.keys[group]]
            free[m.at[group][np.array(keys, dtype=bool)]] = True
        bought = [it.variety_of[j] == variety for j in m.keys["bought"]]
        free[m.at["bought"][np.array(bought, dtype=bool)]] = True
        free[m.at["short"][fields]] = free[m.at["short_in"]] = True
        return free


def _acres_only(model: Model) -> Matrix:
    """The program aimed at acres, whatever it takes of products.

    Rules of spread wait for the whole plan: the first variety would be all that is planted.
    """
    matrix = aimed_at_acres(model).matrix
    order = np.zeros(matrix.n_columns, dtype=bool)
    for group in ORDER:
        order[model.at[group]] = True
    asking = np.zeros(len(matrix.row_lower), dtype=bool)
    asking[matrix.row[order[matrix.column]]] = True
    short, added = (np.isin(matrix.column, model.at[group]) for group in ("short", "short_in"))
    of_all = np.bincount(matrix.row[short], minlength=len(asking)) == len(model.at["short"])
    of_all[matrix.row[added]] = False
    asking |= of_all & (len(model.at["short"]) > 1)
    return replace(
        matrix,
        row_lower=np.where(asking, -INFINITE, matrix.row_lower),
        row_upper=np.where(asking, INFINITE, matrix.row_upper),
    )

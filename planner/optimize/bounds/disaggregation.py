"""What the relaxation without bags gives every field, planted by the exact model.

Variety by variety: each is a small solve of its own, and together they leave no more acres short
than the relaxation does, unless whole bags or the recipes that fields need don't allow that.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from planner.optimize.annealing.decode import with_order
from planner.optimize.annealing.order_tables import order_tables
from planner.optimize.bounds.column_generation import rough_price
from planner.optimize.incumbent.incumbent import SHORT_SLACK
from planner.optimize.mip.highs import INFINITE, Limits, Watch
from planner.optimize.mip.highs import solve as solve_matrix
from planner.optimize.mip.part import solve_part
from planner.optimize.model.instance import places_of, spread_rules
from planner.optimize.model.program import ORDER, make_model, moved

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from planner.optimize.bounds.variety_aggregated import AggregatedSearch
    from planner.optimize.incumbent.incumbent import Incumbent
    from planner.optimize.mip.highs import Bools, Floats, Matrix, Solver
    from planner.optimize.model.instance import Choices
    from planner.optimize.model.program import Model

    Ints = NDArray[np.int64]

WIDTHS = {"share": 3, "bare": 3, "lot_share": 3, "bags": 2, "part": 2, "bought": 1}
"""Groups of columns that belong to a variety, and how many indices they have."""
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


def disaggregate(
    incumbent: Incumbent,
    aggregated: AggregatedSearch,
    limits: Limits,
    solver: Solver = solve_matrix,
) -> Floats | None:
    """As many acres as can be of what the relaxation gives every field.

    Where acres must be spread no field gets more than that, which the relaxation has spread.
    """
    model, z = incumbent.model, aggregated.x
    fields, program = model.it.fields, aggregated.program
    acres = np.array([f.acres for f in fields])
    own = np.searchsorted(np.array(model.keys["short_in"]), [f.priority for f in fields])
    matrix, seed = _acres_only(model), _Seed(model, model.choices)
    x: Floats = np.zeros(matrix.n_columns)
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
        start = x
        for recipes in seed.recipes_for(given[:, variety], variety):
            free = seed.columns(given[:, variety], variety, recipes)
            held = replace(matrix, lower=lower)
            y, answer = solve_part(held, free, start, enough, watch=Watch(incumbent), solver=solver)
            if y is None:  # so little time: its fields stay bare, those of the others do not
                break
            x = y
            if answer.objective <= (enough.target or 0.0):
                break
    return with_order(model, np.where(matrix.integer, np.round(x), x), limits.seconds)


def widen(incumbent: Incumbent, aggregated: AggregatedSearch) -> None:
    """Go on over choices among which are those that planting this takes."""
    it, old, x = incumbent.model.it, incumbent.model, incumbent.x
    assert x is not None
    given = aggregated.program.given(aggregated.x, it)
    mine = np.concatenate(
        [a + np.flatnonzero(given[c.field, it.variety_of[c.lot]]) for a, c in it.choices.blocks()]
    )
    seed = _Seed(incumbent.model, it.choices.only(mine))
    allowed = np.zeros((len(it.varieties), it.untreated + 1), dtype=bool)
    for variety in np.flatnonzero(given.any(axis=0)).tolist():
        allowed[variety, seed.recipes_for(given[:, variety], variety)[0]] = True
    new = mine[allowed[seed.variety, seed.choices.recipe]]
    model = make_model(it, it.choices.only(np.union1d(places_of(it, old.choices), new)))
    incumbent.move(model, moved(old, model, x))


class _Seed:
    """Which recipes to try for a variety, and the columns of its seed."""

    def __init__(self, model: Model, choices: Choices) -> None:
        self.model, self.choices = model, choices
        it = model.it
        self.price = rough_price(it, order_tables(it))(choices)
        self.acres = np.array([f.acres for f in it.fields])
        self.variety = it.variety_of[choices.lot]
        self.keys = {
            group: np.array(model.keys[group], dtype=np.int64).reshape(-1, width)
            for group, width in WIDTHS.items()
        }

    def recipes_for(self, fields: Bools, variety: int) -> list[list[int]]:
        """Just the cheapest recipe that suits all of some fields, if any does; then all recipes."""
        c, width = self.choices, self.model.it.untreated + 1
        own = np.flatnonzero(fields[c.field] & (self.variety == variety))
        f, k = c.field[own], c.recipe[own]
        suits = np.zeros((len(fields), width), dtype=bool)
        suits[f, k] = True
        common = suits.sum(axis=0) == fields.sum()
        cost = np.bincount(k, self.price[own] * self.acres[f], width)
        every = list(range(width))
        best = int(np.where(common, cost, np.inf).argmin())
        return [[best], every] if common[best] else [every]

    def columns(self, fields: Bools, variety: int, recipes: list[int]) -> Bools:
        """Those of a variety in some fields under some recipes."""
        m, c, variety_of = self.model, self.choices, self.model.it.variety_of
        under = np.zeros(m.it.untreated + 1, dtype=bool)
        under[recipes] = True
        free = np.zeros(m.matrix.n_columns, dtype=bool)
        own = fields[c.field] & (self.variety == variety) & under[c.recipe]
        free[m.at["acres"][own]] = True
        for group in ("share", "bare"):
            f, v, k = self.keys[group].T
            free[m.at[group][fields[f] & (v == variety) & under[k]]] = True
        f, lot, k = self.keys["lot_share"].T
        free[m.at["lot_share"][fields[f] & (variety_of[lot] == variety) & under[k]]] = True
        for group in ("bags", "part"):
            lot, k = self.keys[group].T
            free[m.at[group][(variety_of[lot] == variety) & under[k]]] = True
        free[m.at["bought"][variety_of[self.keys["bought"][:, 0]] == variety]] = True
        free[m.at["short"][fields]] = free[m.at["short_in"]] = True
        return free


def _acres_only(model: Model) -> Matrix:
    """The program aimed at acres, whatever it takes of products.

    Rules of spread wait for the whole plan: the first variety would be all that is planted.
    """
    matrix = aimed_at_acres(model).matrix
    order = model.of(ORDER)
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

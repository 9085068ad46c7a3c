"""The exact model of a season: written down by PuLP, held as arrays with names for its columns."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pulp

from planner.optimize.mip.highs import assemble
from planner.optimize.mip.part import solve_part
from planner.optimize.model.constraints import RULES
from planner.optimize.model.objective import cost_terms
from planner.optimize.model.variables import Variables, make_variables

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from planner.optimize.mip.highs import Bools, Floats, Ints, Matrix
    from planner.optimize.model.instance import Choices, Instance
    from planner.season.domain import Season

PLANTED = 1e-7
"""Acres up to which a field has none of something."""
PLANTING = ("acres", "short", "short_in", "share", "bare", "lot_share")
"""Groups of variables that say what is planted where."""
SEED = ("bags", "part", "bought")
"""Those that say which seed is treated or bought."""
PURCHASE = ("count", "reached", "left", "ordered", "freight_free", "level", "discount")
"""Those that say which containers are bought, and at what price."""
LATE = "late"
"""Whole columns that a caller adds to a model, of what is bought or sent back besides; none in a
model as it is made."""
BOUGHT = (*(group for group in PURCHASE if group != "left"), LATE)
"""Those of them that are decided: what is left follows."""
RUN = ("run", "sequence", "follows", "flow")
"""Those that say which recipes run."""
ORDER = (*RUN, *PURCHASE, LATE)
"""The order with the recipes that run, whose line loss is part of what is needed."""
TAKING = ("bags", "part", "run", "sequence", "follows")
"""Those that take product: onto seed, or left in the line."""
GROUPS = (*PLANTING, *SEED, *RUN, *PURCHASE)
"""Groups of variables, in the order of the matrix's columns."""
FLAGS = ("share", "bare", "lot_share", "sequence", "follows", "flow", "left")
"""Groups of variables that follow from all others. Models over other choices number the sequences
of a primed line otherwise, and have no shares where a field has no more of them than it may."""
DATA = ("choices", "sequences", "most_bags", "most_count", "most_spend")
"""What `Variables` holds besides."""


@dataclass(frozen=True, slots=True, eq=False)
class Model:
    """A season's exact program; `keys` and `at` say what the columns of a group stand for.

    `keys[group]` lists the index tuples of `Variables`, `at[group]` their columns.
    """

    it: Instance
    choices: Choices
    matrix: Matrix
    keys: dict[str, list[Any]]
    at: dict[str, NDArray[np.int64]]
    places: dict[tuple[str, Any], int]
    """Column by group and key."""
    rows: dict[str, range]
    """Rows of every rule, by the name of its function in `constraints.py`."""

    def column(self, group: str, key: Any) -> int:
        """Column of a variable."""
        return self.places[group, key]

    def has(self, group: str, key: Any) -> bool:
        """Whether there is such a variable."""
        return (group, key) in self.places

    @property
    def has_money_row(self) -> bool:
        """Whether money to spend is limited."""
        return self.it.season.farm.most_to_spend is not None

    def values(self, group: str, x: Floats) -> list[tuple[Any, float]]:
        """Key and value of every variable of a group."""
        return list(zip(self.keys[group], x[self.at[group]].tolist(), strict=True))

    def aimed(self, cost: Floats) -> Model:
        """The same program with another aim."""
        return replace(self, matrix=replace(self.matrix, cost=cost, offset=0.0))

    def of(self, groups: tuple[str, ...]) -> Bools:
        """Columns of some groups of variables."""
        found = np.zeros(self.matrix.n_columns, dtype=bool)
        for group in groups:
            found[self.at[group]] = True
        return found

    def with_late(self, matrix: Matrix, first: int) -> Model:
        """The model over a wider program, whose columns from `first` on are the group `LATE`."""
        at = np.arange(first, matrix.n_columns)
        numbers = list(range(len(at)))
        places = {(LATE, n): column for n, column in zip(numbers, at.tolist(), strict=True)}
        return replace(
            self,
            matrix=matrix,
            keys=self.keys | {LATE: numbers},
            at=self.at | {LATE: at},
            places=self.places | places,
        )

    def bounded(
        self, group: str, upper: float | Floats, lower: float | Floats | None = None
    ) -> Model:
        """The same program with other bounds on a group."""
        high, low = self.matrix.upper.copy(), self.matrix.lower.copy()
        high[self.at[group]] = upper
        if lower is not None:
            low[self.at[group]] = lower
        return replace(self, matrix=replace(self.matrix, upper=high, lower=low))


class _Counted:
    """A problem as rules know it, its rows counted: PuLP 4 lists all of them to say how many."""

    def __init__(self, problem: pulp.LpProblem) -> None:
        self.problem, self.rows = problem, 0

    def addConstraint(self, row: Any, name: str) -> None:
        """Add a row; named as PuLP does."""
        self.problem.addConstraint(row, name)
        self.rows += 1


def make_model(it: Instance, choices: Choices | None = None) -> Model:
    """Write a season's program down, over all its choices or some of them."""
    problem = pulp.LpProblem("season", pulp.LpMinimize)
    v = make_variables(problem, it, it.choices if choices is None else choices)
    rows, counted = {}, _Counted(problem)
    for rule in RULES:
        first = counted.rows
        rule(counted, v, it)
        rows[rule.__name__] = range(first, counted.rows)
    problem.setObjective(pulp.lpSum(list(cost_terms(v, it).values())))
    in_no_group = {f.name for f in fields(Variables)} - {*GROUPS, *DATA}
    assert not in_no_group, f"variables without columns, so held at zero: {in_no_group}"
    keys: dict[str, list[Any]] = {}
    at: dict[str, NDArray[np.int64]] = {}
    order: list[Any] = []
    for group in GROUPS:
        held = getattr(v, group)
        keys[group] = list(held) if isinstance(held, dict) else list(range(len(held)))
        if group == "acres":
            keys[group] = v.choices.keys
        at[group] = np.arange(len(order), len(order) + len(held))
        order.extend(held.values() if isinstance(held, dict) else held)
    keys[LATE], at[LATE] = [], np.zeros(0, dtype=np.int64)
    places = {
        (group, key): column
        for group in GROUPS
        for key, column in zip(keys[group], at[group].tolist(), strict=True)
    }
    return Model(it, v.choices, assemble(problem, order), keys, at, places, rows)


def any_shares(season: Season) -> Season:
    """Return the season without the field rule: any number of shares, as small as they like."""
    farm = replace(season.farm, max_varieties=None, smallest_split=0.0, smallest_lot_share=0.0)
    return replace(season, farm=farm)


def without_field_rule(model: Model) -> Model:
    """The model without the field rule, its shortage held as in the model: a relaxation."""
    it = model.it
    loose = make_model(replace(it, season=any_shares(it.season)), model.choices)
    return loose.bounded("short_in", model.matrix.upper[model.at["short_in"]])


def moved(old: Model, new: Model, x: Floats) -> Floats:
    """A solution in the columns of another model of the same season."""
    y = np.zeros(new.matrix.n_columns)
    for group, keys in old.keys.items():
        for key, value in zip(keys, x[old.at[group]].tolist(), strict=True):
            if value and new.has(group, key):
                y[new.column(group, key)] = value
    flag_lots(new, y)
    return y


def flag_lots(model: Model, x: Floats) -> None:
    """Set what follows from the acres of a solution: which lots its fields have seed of.

    Solutions from annealing, and those of a model without the field rule, come without it.
    """
    for key, column in zip(model.keys["lot_share"], model.at["lot_share"].tolist(), strict=True):
        x[column] = float(x[model.column("acres", key)] > PLANTED)


def flagged(model: Model, x: Floats) -> Floats:
    """A solution with all that follows from acres, bags and containers worked out; x if it can't.

    For one of a model over other choices.
    """
    y, _ = solve_part(model.matrix, model.of(FLAGS), x)
    return x if y is None else rounded(model, y)


def all_ordered(model: Model) -> Model:
    """The model with everything ordered that there may be; as it is where money is limited.

    What can be planted with any order can be planted with that one, so no plan leaves fewer acres
    short. A container that gives nothing is left out.
    """
    if model.has_money_row:
        return model
    held: Floats = np.zeros(model.matrix.n_columns)
    last = dict(sorted(model.keys["count"]))
    for key in last.items():
        top = model.matrix.upper[model.column("count", key)]
        if top > 0 and model.it.containers[key[0]].usable > 0:
            held[model.column("count", key)] = top
            if model.has("reached", key):
                held[model.column("reached", key)] = 1.0
    held[model.at["ordered"]] = 1.0
    low, high = model.matrix.lower.copy(), model.matrix.upper.copy()
    columns = model.of(BOUGHT)
    low[columns] = high[columns] = held[columns]
    return replace(model, matrix=replace(model.matrix, lower=low, upper=high))


def with_all_ordered(ordered: Model, x: Floats) -> Floats:
    """A solution with the order that `all_ordered` holds in place of its own, and what that leaves.

    Where money is limited, with its own.
    """
    if ordered.has_money_row:
        return x
    y: Floats = np.where(ordered.of(BOUGHT), ordered.matrix.lower, x)
    y[ordered.at["left"]] = 0.0
    cover = list(ordered.rows["supply_covers_need"])
    y[ordered.at["left"]] = (ordered.matrix.times(y) - ordered.matrix.row_lower)[cover]
    return y


def in_order(model: Model) -> Ints:
    """Columns of the order that are whole."""
    columns = np.concatenate([model.at[group] for group in ORDER])
    return np.asarray(columns[model.matrix.integer[columns]], dtype=np.int64)


def order_held(model: Model, x: Floats) -> Matrix:
    """The model's program with the whole numbers of the order held at a solution's."""
    held = in_order(model)
    low, high = model.matrix.lower.copy(), model.matrix.upper.copy()
    low[held] = high[held] = np.round(x[held])
    return replace(model.matrix, lower=low, upper=high)


def rounded(model: Model, x: Floats) -> Floats:
    """Round what must be whole."""
    return np.where(model.matrix.integer, np.round(x), x)


def with_whole_order(model: Model) -> Model:
    """The model with whole containers only: a relaxation."""
    integer = np.zeros(model.matrix.n_columns, dtype=bool)
    integer[in_order(model)] = True
    return replace(model, matrix=replace(model.matrix, integer=integer))

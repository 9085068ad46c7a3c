"""Order and planting decided apart (Benders): a bound with whole containers, and a good order.

For a given order, planting is a linear program once the field rule and whole bags are left out. Its
duals say what every other order would cost at the least: a cut. A small program over the order
alone, whole containers, breaks and discounts in it, takes the best order by the cuts so far; its
bound is a bound of the full problem.

First which recipes run is left to planting, where a recipe may run in part, so that hardly any line
loss is counted. Then that is decided with the order (`hold_runs`), from the same cuts.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from planner.optimize.bounds.column_generation import join, not_joined
from planner.optimize.incumbent.restrictions import proven_in
from planner.optimize.mip.highs import INFINITE, Limits, Matrix, Verdict, Watch, solve
from planner.optimize.mip.verified import verified
from planner.optimize.model.program import BOUGHT, ORDER
from planner.optimize.params import TUNED

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from planner.optimize.bounds.column_generation import RestrictedMaster
    from planner.optimize.incumbent.incumbent import Incumbent
    from planner.optimize.mip.highs import Answer, Bools, Floats
    from planner.optimize.model.instance import Instance
    from planner.optimize.model.program import Model
    from planner.optimize.params import LargeParams

DECIDED = tuple(group for group in ORDER if group != "left")
"""Groups of variables that the small program over the order decides."""
NONE = 1e-6
SAME = 1e-6
"""Share of the bound by which a cut must say more than that, or wider choices are needed."""


@dataclass(slots=True)
class Orders:
    """The program over orders, and what is known of them."""

    master: RestrictedMaster
    columns: Bools
    """Which columns of the relaxation are an order's, with the recipes that run."""
    held: Bools
    """Which of these planting is held to."""
    matrix: Matrix
    """Rows of the order alone; its last column is the total cost."""
    slope: list[Floats] = field(default_factory=list)
    least: list[float] = field(default_factory=list)
    """Cuts: total cost - slope times order is at least this."""
    center: Floats = field(default_factory=lambda: np.zeros(0))
    """Where cuts are made around: the best order so far, or the relaxation's."""
    nowhere: NDArray[np.int64] = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    """Columns of product out of nowhere."""
    price: float = 0.0
    best: Floats | None = None
    """Best whole order that needs none of it, and what it costs."""
    cost: float = INFINITE


def open_orders(master: RestrictedMaster, params: LargeParams = TUNED.large) -> Orders | None:
    """Set the program over orders up; the relaxation gets product out of nowhere, at a price.

    None where the search was stopped before the relaxation was solved again.
    """
    model = master.model
    m = model.matrix
    answer = master.kept.solve(INFINITE)
    if answer.x is None or answer.row_dual is None:
        return None
    columns, held = model.of(DECIDED), model.of(BOUGHT)
    mine = columns[m.column]
    joint, alone = rows_of(m, columns)
    number = np.cumsum(alone) - 1
    kept = mine & alone[m.row]
    where = np.cumsum(columns) - 1
    counts = np.bincount(where[m.column[kept]], minlength=int(columns.sum()) + 1)
    matrix = Matrix(
        cost=np.append(np.zeros(int(columns.sum())), 1.0),
        lower=np.append(m.lower[columns], -1e12),
        upper=np.append(m.upper[columns], 1e12),
        integer=np.append(m.integer[columns], False),
        row_lower=m.row_lower[alone],
        row_upper=m.row_upper[alone],
        start=np.concatenate([[0], np.cumsum(counts)]).astype(np.int64),
        row=number[m.row[kept]].astype(np.int64),
        value=m.value[kept],
    )
    rows = np.flatnonzero(joint)
    n, lump = len(rows), float(model.it.lump.max(initial=1.0))
    price = params.out_of_nowhere[0] * max(1.0, dearest_product(model.it)) * lump
    nowhere = master.kept.add_columns(
        np.full(2 * n, price),
        np.full(2 * n, INFINITE),
        np.arange(2 * n, dtype=np.int64),
        np.concatenate([rows, rows]),
        np.concatenate([-np.ones(n), np.ones(n)]),
    )
    orders = Orders(master, columns, held, matrix, nowhere=nowhere, price=price)
    orders.center = answer.x[: m.n_columns][columns]
    _note(orders, answer, answer.row_dual, orders.center, params.join)
    master.kept.free(np.flatnonzero(rows_of(m, held)[1]))
    return orders


def dearest_product(it: Instance) -> float:
    """Money a fl oz of the dearest container, before its price breaks."""
    return max((c.breaks[0].price / c.usable for c in it.containers if c.usable > 0), default=0.0)


def rows_of(m: Matrix, columns: Bools) -> tuple[Bools, Bools]:
    """Rows that some columns share with others, and rows that they have for themselves."""
    mine = columns[m.column]
    inside, outside = (np.zeros(len(m.row_lower), dtype=bool) for _ in range(2))
    inside[m.row[mine]] = True
    outside[m.row[~mine]] = True
    return inside & outside, inside & ~outside


def hold_runs(orders: Orders) -> None:
    """Have recipes run wholly or not at all from now on; what was proven before stays.

    The best order so far goes on as one with all the recipes that its planting runs in part.
    """
    m = orders.master.model.matrix
    more = orders.columns & ~orders.held & m.integer
    orders.held = orders.columns
    orders.master.kept.free(np.flatnonzero(rows_of(m, orders.columns)[1]))
    runs = more[orders.columns]
    orders.center = np.where(runs, np.ceil(orders.center - NONE), orders.center)


def find(incumbent: Incumbent, orders: Orders, seconds: float, spare: Floats | None = None) -> bool:
    """Look for the best order until the bound is close; says whether there is one.

    For so many seconds; where no order was found by then, a little longer. Where so few orders can
    be planted in that time that none will be found, it ends at once.

    `spare` of every product, in its largest container, must stay over; a bound for that is none of
    the season.
    """
    model, params = orders.master.model, incumbent.options.params.large
    if spare is not None:
        left = model.at["left"]
        orders.master.kept.bound(left, spare, model.matrix.upper[left])
    orders.best, orders.cost = None, INFINITE
    gap, between = params.order_gap, params.between
    lowest, settled, proposed = INFINITE, False, orders.center
    few = not incumbent.options.params.are_many(model.it.choices)
    began = incumbent.seconds()
    for turn in range(params.turns):
        took = incumbent.seconds() - began
        if turn and orders.best is None and took / turn * params.least_turns > seconds:
            break
        late = took - seconds
        if incumbent.is_set() or late > (0.3 * seconds if orders.best is None else 0.0):
            break
        limits = Limits(max(0.1, seconds), gap / 3)
        answer = solve(with_cuts(orders), limits, watch=Watch(incumbent))
        if answer.x is None:
            break
        if spare is None and turn % params.verify == params.verify - 1:
            _raise_bound(incumbent, orders, seconds)
        if orders.best is not None and orders.cost - answer.bound <= gap * abs(orders.cost):
            break
        last, proposed = proposed, np.round(answer.x[:-1], 6)
        middle = between * proposed + (1 - between) * orders.center
        if few:  # planting takes a tenth of the time of an order: a cut at each of the two
            _cut(incumbent, orders, middle)
        whole = few or settled or np.array_equal(last, proposed) or turn % 4 == 3
        point = proposed if whole else middle
        planted = _cut(incumbent, orders, point)
        if planted is None or planted.x is None:
            break
        settled = planted.objective - answer.bound <= gap * abs(answer.bound)
        if settled and whole and np.any(planted.x[orders.nowhere] > NONE):
            _raise_price(orders, params.out_of_nowhere[1])
            lowest = INFINITE
        elif whole and planted.objective < lowest:
            lowest, orders.center = planted.objective, point
            if not np.any(planted.x[orders.nowhere] > NONE):
                orders.best, orders.cost = point, planted.objective
                orders.master.answer, orders.master.duals = planted, planted.row_dual
    if spare is None and not incumbent.is_set():
        _raise_bound(incumbent, orders, 0.4 * seconds)
    return orders.best is not None


def _raise_bound(incumbent: Incumbent, orders: Orders, seconds: float) -> None:
    """Raise the bound to what two solves of the program over orders agree on."""
    proven = proven_in(incumbent, orders.master.model)
    watch = Watch(incumbent, on_bound=proven)
    matrix, at_once = with_cuts(orders), incumbent.options.effort is None
    answer = verified(matrix, Limits(seconds, 1e-6), watch, at_once=at_once, exchange=False)
    proven(answer.bound)


def _raise_price(orders: Orders, times: float) -> None:
    orders.price *= times
    orders.master.kept.price(orders.nowhere, np.full(len(orders.nowhere), orders.price))


def columns_in(orders: Orders, model: Model) -> NDArray[np.int64]:
    """The order's columns in the exact model, in the order of the program's."""
    loose = orders.master.model
    found = [model.column(group, key) for group in DECIDED for key in loose.keys[group]]
    return np.array(found, dtype=np.int64)


def with_cuts(orders: Orders) -> Matrix:
    """The program over orders with what is known of them; its last column is the total cost."""
    return under_cuts(orders.matrix, orders.slope, orders.least)


def under_cuts(matrix: Matrix, slopes: list[Floats], least: list[float]) -> Matrix:
    """The program with its last column at least each slope times the others and a constant."""
    if not slopes:
        return matrix
    entries = np.column_stack([-np.array(slopes), np.ones(len(slopes))])
    cut, column = np.nonzero(entries)
    wide = np.full(len(slopes), INFINITE)
    return matrix.with_rows((cut, column, entries[cut, column]), np.array(least), wide)


def _cut(incumbent: Incumbent, orders: Orders, point: Floats) -> Answer | None:
    """Plant for an order at the least cost, and note what that says of every other order.

    Of the order what planting is not held to is set to what it decides.
    """
    g = orders.master
    held = orders.held[orders.columns]
    at = np.flatnonzero(orders.held)
    g.kept.bound(at, point[held], point[held])
    answer = g.kept.solve(max(1.0, incumbent.left()))
    if answer.verdict is not Verdict.OPTIMAL or answer.x is None or answer.row_dual is None:
        return None
    point[~held] = answer.x[np.flatnonzero(orders.columns & ~orders.held)]
    params = incumbent.options.params.large
    lost, wanted = _note(orders, answer, answer.row_dual, point, params.join)
    near = answer.objective <= incumbent.bound + params.near * abs(incumbent.bound)
    cuts_nothing_off = answer.objective + lost <= incumbent.bound + abs(incumbent.bound) * SAME
    if (near or cuts_nothing_off) and lost < -0.1 * params.order_gap * abs(answer.objective):
        join(g, wanted)
    return answer


def _note(
    orders: Orders, answer: Answer, duals: Floats, point: Floats, joining: int
) -> tuple[float, NDArray[np.int64]]:
    """Add the cut that a solution of the relaxation gives."""
    g = orders.master
    m = g.model.matrix
    lost, wanted = not_joined(g, duals, joining)
    dual = np.bincount(m.column, m.value * duals[m.row], m.n_columns)
    slope = (m.cost - dual)[orders.columns]
    orders.slope.append(slope)
    orders.least.append(answer.objective + lost - float(slope @ point))
    return lost, wanted

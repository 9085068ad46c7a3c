"""Plans made step by step: first whole containers, then whole bags, then what is planted where.

The relaxation in which only containers are whole is settled in seconds, and its order is nearly
that of the best plans. With an order held, whole bags are soon decided without the field rule; with
the full bags held as well, the exact model plants the fields.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from planner.optimize.heuristics.priced_shares import NONE, price_shares, shares_to_price
from planner.optimize.incumbent.budgets import (
    Budget,
    idle_seconds,
    limits_near,
    patient,
    times_best,
)
from planner.optimize.mip.highs import INFINITE, Watch
from planner.optimize.mip.process import ProcessGoneError
from planner.optimize.model.extract import counts, supply
from planner.optimize.model.program import PURCHASE, moved, order_held, rounded

if TYPE_CHECKING:
    from collections.abc import Sequence

    from planner.optimize.heuristics.neighborhood import Neighborhood
    from planner.optimize.incumbent.incumbent import Incumbent
    from planner.optimize.mip.highs import Bools, Floats, Limits, Matrix, Solver
    from planner.optimize.mip.process import Worker
    from planner.optimize.model.program import Model
    from planner.optimize.params import StrategyParams


@dataclass(frozen=True, slots=True)
class Task:
    """What making a plan step by step works with."""

    incumbent: Incumbent
    near: Neighborhood
    order: OrderToHold
    rng: np.random.Generator
    solver: Solver
    worker: Worker | None = None
    """The process that does it; None where this one does."""

    @property
    def params(self) -> StrategyParams:
        """Figures that were tuned."""
        return self.incumbent.options.params.strategies

    def limits(self, gap: float = 1e-4) -> Limits:
        """Of one solve."""
        return limits_near(self.incumbent, self.rng, gap)


def fix_in_turn(task: Task) -> None:
    """Make a plan for the relaxation's order or the best plan's, then hold only its full bags.

    Once the best plan is good, plans are mostly looked for around it instead.
    """
    incumbent, rng, order, bags = task.incumbent, task.rng, task.order.x, task.order.bags
    if _is_near_order(task, task.params.good) and rng.random() < _often_around(task):
        _around_best(task)
        return
    own = order is None or (incumbent.x is not None and rng.random() < task.params.own_order)
    cheap = bags is not None and times_best(incumbent, bags) < 1.0
    free = cheap and rng.random() < task.params.whole_bags
    if bags is None or not free:
        room = 0.0 if own else task.order.claim_room(task.params.rooms)
        order = incumbent.x if own else order
        assert order is not None
        bags = _bags_for(task, order, room)
    x = None
    if bags is not None and not incumbent.is_set():
        x = _near(task, bags, 1, start=False, order=free)
    if x is not None and not incumbent.is_set():
        x = _near(task, x, 0)
    if not own and not free and not incumbent.is_set():
        good = x is not None and times_best(incumbent, x) <= task.params.poor
        good = good and _is_near_order(task, task.params.good_room)
        task.order.note_room(room, good=good)


def _near(
    task: Task, x: Floats, within: int, *, start: bool = True, order: bool = True
) -> Floats | None:
    """Offer the best plan found near a solution's bags; give it, or `x` if that is a plan."""
    shares = None
    if within and task.rng.random() < task.params.priced:
        shares = _promising_shares(task, x, start=start)
    limits, watch = task.limits(), patient(task.incumbent, started=start)
    y, _ = task.near.near_bags(
        x,
        limits,
        watch,
        start=start,
        within=within,
        order=order,
        shares=shares,
        solver=task.solver,
    )
    task.incumbent.offer(y)
    return x if y is None and start else y


def _around_best(task: Task) -> None:
    """Free some fields of the best plan at a time, for promising shares, and bags but for one."""
    incumbent, near, rng, params = task.incumbent, task.near, task.rng, task.params
    assert incumbent.x is not None
    before, shares = incumbent.cost, _promising_shares(task, incumbent.x, start=True)
    seconds = params.around_time * idle_seconds(incumbent)
    for _ in range(params.around):
        if shares is None or incumbent.is_set():
            return
        x = incumbent.x
        own, field = near.share_acres(x) > NONE, near.field_of_share
        freed = near.fields_nearby(rng, params.around_fields)[field]
        budget = Budget(min(seconds, incumbent.left()), incumbent.options.steps)
        y, _ = near.near_bags(
            x,
            budget.limits(1e-4, int(rng.integers(2**31))),
            Watch(incumbent),
            start=True,
            order=rng.random() < params.order_free,
            shares=own | (shares & freed),
            solver=task.solver,
        )
        incumbent.offer(y)
    if not incumbent.cost < before:
        task.order.note_tried_around(before)


def _often_around(task: Task) -> float:
    """How often plans are looked for around the best one: less where that brought nothing."""
    tried = task.order.is_tried_around(task.incumbent.cost)
    return task.params.around_tried if tried else task.params.around_best


def _is_near_order(task: Task, share: float) -> bool:
    """Whether the best plan costs no more than that over the order held, with cut bags."""
    x = task.order.x
    if task.incumbent.x is None or x is None:
        return False
    return times_best(task.incumbent, x) > 1.0 - share


def _promising_shares(task: Task, x: Floats, *, start: bool) -> Bools | None:
    """Shares for plans near a solution's bags, those of a plan among them; None: any."""
    near, params, incumbent = task.near, task.params, task.incumbent
    if incumbent.is_set():
        return None
    seconds = params.price_time * idle_seconds(incumbent)
    if incumbent.options.steps is not None:
        seconds = INFINITE
    it = shares_to_price(near, x, params.price_step)
    work = it, params.price_runs, params.price_turns, seconds, int(task.rng.integers(2**31))
    if task.worker is None:
        shares = price_shares(*work, incumbent)
    else:
        try:
            shares = task.worker.run(price_shares, work, incumbent)
        except ProcessGoneError:
            return None
    if not shares.any():
        return None
    return shares | (near.share_acres(x) > NONE) if start else shares


def _bags_for(task: Task, order: Floats, room: float) -> Floats | None:
    """Whole bags that suit an order, the field rule left out; None if none were found.

    With room, that share of what the order's solution needs of every product it buys stays over,
    for plans that keep the field rule; then up to a container more of each kind is ordered.
    """
    model, loose = task.near.model, task.near.loose
    x = moved(model, loose, order)
    used = supply(model, order) - order[model.at["left"]]
    held = _with_room(loose, x, room * used) if room else order_held(loose, x)
    answer = task.solver(
        held, task.limits(task.params.order_near_enough), watch=patient(task.incumbent)
    )
    return None if answer.x is None else moved(loose, model, rounded(loose, answer.x))


def _with_room(loose: Model, x: Floats, over: Floats) -> Matrix:
    """A solution's order held up to a container more of each of its kinds, with so much left over.

    `over` is in the largest container of each product; of what the order does not buy nothing need
    be left over.
    """
    it, most, least = loose.it, loose.matrix.upper, loose.matrix.lower
    held = replace(loose, matrix=order_held(loose, x))
    for group in PURCHASE:
        held = held.bounded(group, most[loose.at[group]], least[loose.at[group]])
    bought = counts(loose, x)
    kinds = [(c.product, c.name) for c in it.containers]
    one_more = [
        bought[kinds[i]] + 1.0 if kinds[i] in bought else 0.0 for i, _ in loose.keys["count"]
    ]
    held = held.bounded("count", np.minimum(most[loose.at["count"]], one_more))
    of_order = {product for product, _ in bought}
    is_bought = np.array([p.name in of_order for p in it.products])
    left = loose.at["left"]
    some = np.minimum(over, most[left])
    return held.bounded("left", most[left], np.where(is_bought, some, least[left])).matrix


class OrderToHold:
    """A solution whose order is held while plans are made step by step, and the room bags leave it.

    Until a good plan is found with some room, several threads try one room after the other.
    """

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._x: Floats | None = None
        self._tried: dict[float, int] = {}
        self._good: float | None = None
        self._bags: Floats | None = None
        self._tried_around = np.inf

    @property
    def x(self) -> Floats | None:
        """The solution; None before there is any."""
        with self._lock:
            return self._x

    @property
    def bags(self) -> Floats | None:
        """A solution of the relaxation with whole bags; None before there is any."""
        with self._lock:
            return self._bags

    def put_bags(self, x: Floats) -> None:
        """Take a better solution of that."""
        with self._lock:
            self._bags = x

    def put(self, x: Floats | None) -> None:
        """Hold this solution's order from now on."""
        with self._lock:
            self._x = x

    def note_tried_around(self, cost: float) -> None:
        """Note that nothing better was found around a plan of this cost."""
        with self._lock:
            self._tried_around = cost

    def is_tried_around(self, cost: float) -> bool:
        """Whether that was noted of a plan of this cost."""
        with self._lock:
            return cost >= self._tried_around

    def claim_room(self, rooms: Sequence[float]) -> float:
        """Return the room that was good last, or else the one that was tried least."""
        with self._lock:
            if self._good is None:
                room = min(rooms, key=lambda r: self._tried.get(r, 0))
                self._tried[room] = self._tried.get(room, 0) + 1
                return room
            return self._good

    def note_room(self, room: float, *, good: bool) -> None:
        """Note whether a good plan was found with so much room."""
        with self._lock:
            if good:
                self._good = room
            elif self._good == room:
                self._good = None

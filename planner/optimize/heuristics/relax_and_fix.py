"""Plans made step by step: first whole containers, then whole bags, then what is planted where.

The relaxation in which only containers are whole is settled in seconds, and its order is nearly
that of the best plans. With an order held, whole bags are soon decided without the field rule; with
the full bags held as well, the exact model plants the fields.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from planner.optimize.incumbent.budgets import limits_near, patient, times_best
from planner.optimize.model.program import moved, order_held, rounded, with_whole_order

if TYPE_CHECKING:
    from planner.optimize.heuristics.neighborhood import Neighborhood
    from planner.optimize.incumbent.incumbent import Incumbent
    from planner.optimize.mip.highs import Floats, Limits, Solver
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

    @property
    def params(self) -> StrategyParams:
        """Figures that were tuned."""
        return self.incumbent.options.params.strategies

    def limits(self, gap: float = 1e-4) -> Limits:
        """Of one solve."""
        return limits_near(self.incumbent, self.rng, gap)


def fix_in_turn(task: Task) -> None:
    """Make a plan for the relaxation's order or the best plan's, then hold only its full bags."""
    incumbent, rng, order, bags = task.incumbent, task.rng, task.order.x, task.order.bags
    if order is None or (incumbent.x is not None and rng.random() < task.params.own_order):
        order = incumbent.x
    assert order is not None
    cheap = bags is not None and times_best(incumbent, bags) < 1.0
    free = cheap and rng.random() < task.params.whole_bags
    if bags is None or not free:
        bags = _bags_for(task, order)
    if bags is None or incumbent.is_set():
        return
    x = None
    for within in (1, 0):
        if x is None and not incumbent.is_set():
            x = _near(task, bags, within, start=False, order=free)
    if x is not None and not incumbent.is_set():
        x = _near(task, x, 0)
    poor = x is None or times_best(incumbent, x) > task.params.poor
    if poor and not free and not incumbent.is_set():
        room = task.order.give_up(order, incumbent.options.params.room)
        if room is not None:
            task.order.put(_roomier(task, order, room))


def _near(
    task: Task, x: Floats, within: int, *, start: bool = True, order: bool = True
) -> Floats | None:
    """Offer the best plan found near a solution's bags; give it, or `x` if that is a plan."""
    limits, watch = task.limits(), patient(task.incumbent, started=start)
    y, _ = task.near.near_bags(
        x, limits, watch, start=start, within=within, order=order, solver=task.solver
    )
    task.incumbent.offer(y)
    return x if y is None and start else y


def _bags_for(task: Task, order: Floats) -> Floats | None:
    """Whole bags that suit an order, the field rule left out; None if none were found."""
    model, loose = task.near.model, task.near.loose
    held = order_held(loose, moved(model, loose, order))
    answer = task.solver(
        held, task.limits(task.params.order_near_enough), watch=patient(task.incumbent)
    )
    return None if answer.x is None else moved(loose, model, rounded(loose, answer.x))


def _roomier(task: Task, x: Floats, room: float) -> Floats | None:
    """An order of the relaxation with a share over of every product that a solution needs.

    The best plan's if there is none. Bags that are cut need less than whole ones.
    """
    near = task.near
    rough = with_whole_order(near.loose)
    most = rough.matrix.upper[rough.at["left"]]
    over = room * _used(near.model, x) / near.model.it.lump
    rough = rough.bounded("left", most, np.minimum(over, most))
    answer = task.solver(
        rough.matrix, task.limits(task.params.order_near_enough), watch=patient(task.incumbent)
    )
    return (
        task.incumbent.x if answer.x is None else moved(rough, near.model, rounded(rough, answer.x))
    )


def _used(model: Model, x: Floats) -> Floats:
    """Fl oz of each product that a solution needs."""
    it = model.it
    number = {p.name: i for i, p in enumerate(it.products)}
    used = it.supply - x[model.at["left"]] * it.lump
    for (i, _), count in model.values("count", x):
        c = it.containers[i]
        used[number[c.product]] += count * (c.size - c.heel)
    return used


class OrderToHold:
    """A solution whose order is held while plans are made step by step: at first the relaxation's.

    Where no good plan is found for it, an order with more room takes its place. Several threads may
    find that at once; only the first of them makes the next order, so that room grows once for it.
    """

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._x: Floats | None = None
        self._given_up: Floats | None = None
        self._room = 0.0
        self._bags: Floats | None = None

    @property
    def x(self) -> Floats | None:
        """The solution; None before there is any."""
        with self._lock:
            return self._x

    @property
    def room(self) -> float:
        """Share of what it needs of every product that the order has over, or the next one will."""
        with self._lock:
            return self._room

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

    def give_up(self, x: Floats, least: float) -> float | None:
        """Claim the making of the order after this one: the room it needs, or None if not ours.

        It is another's where a thread has claimed it before, or where the order is no longer held.
        """
        with self._lock:
            if x is not self._x or x is self._given_up:
                return None
            self._given_up, self._room = x, max(least, 2.0 * self._room)
            return self._room

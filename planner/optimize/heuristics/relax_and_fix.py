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
from planner.optimize.model.program import (
    PURCHASE,
    moved,
    order_held,
    rounded,
    with_whole_order,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from planner.optimize.heuristics.neighborhood import Neighborhood
    from planner.optimize.incumbent.incumbent import Incumbent
    from planner.optimize.mip.highs import Bools, Floats, Limits, Solver
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
    is_near = _is_near_order(task, task.params.good)
    if is_near and rng.random() < _often_around(task):
        _around_best(task)
        return
    own = order is None or (is_near and rng.random() < task.params.own_order)
    cheap = bags is not None and times_best(incumbent, bags) < 1.0
    free = cheap and rng.random() < task.params.whole_bags
    if bags is None or not free:
        room = 0.0 if own else task.order.claim_room(task.params.rooms)
        order = incumbent.x if own else order
        assert order is not None
        bags = _bags_for(task, order, room)
    x = None
    if bags is not None and not incumbent.is_set():
        x = _planted(task, bags, order=free, is_near=is_near)
    if x is not None and not incumbent.is_set():
        x = _with_full_bags(task, x)
    if not own and not free and not incumbent.is_set():
        good = x is not None and times_best(incumbent, x) <= task.params.poor
        good = good and _is_near_order(task, task.params.good_room)
        task.order.note_room(room, good=good)


def _planted(task: Task, bags: Floats, *, order: bool, is_near: bool) -> Floats | None:
    """Offer the best plan found near whole bags, the order held or free; None if none was found.

    While no plan is near the order, that takes longer, and has priced shares only.
    """
    incumbent, params = task.incumbent, task.params
    shares = None
    if not is_near or task.rng.random() < params.priced:
        shares = _promising_shares(task, bags, start=False)
    limits, watch = task.limits(), patient(incumbent)
    if not is_near:
        seconds = min(params.longer * limits.seconds, incumbent.left())
        nodes = None if limits.nodes is None else round(params.longer * limits.nodes)
        limits, watch = replace(limits, seconds=seconds, nodes=nodes), Watch(incumbent)
    x, _ = task.near.near_bags(
        bags, limits, watch, start=False, order=order, shares=shares, solver=task.solver
    )
    incumbent.offer(x)
    return x


def _with_full_bags(task: Task, x: Floats) -> Floats:
    """Offer the best plan found with just the full bags of a plan; give it, or that plan."""
    limits, watch = task.limits(), patient(task.incumbent, started=True)
    y, _ = task.near.near_bags(x, limits, watch, start=True, within=0, solver=task.solver)
    task.incumbent.offer(y)
    return x if y is None else y


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

    With room, the order is the cheapest by which that share of what is needed of every product it
    buys stays over, for plans that keep the field rule.
    """
    model, loose = task.near.model, task.near.loose
    x: Floats | None = moved(model, loose, order)
    over = room * (supply(model, order) - order[model.at["left"]])
    bought = {product for product, _ in counts(model, order)}
    over[[p.name not in bought for p in model.it.products]] = 0.0
    if room:
        x = task.order.with_room(room, lambda: _with_room(task, order, over))
    if x is None or task.incumbent.is_set():
        return None
    held = _leaving(replace(loose, matrix=order_held(loose, x)), over)
    return _solved(task, held, model)


def _with_room(task: Task, order: Floats, over: Floats) -> Floats | None:
    """The cheapest order by which so much is left over, bags cut; None if none was found.

    It has no more than one container more of each kind, of products that the given one buys.
    """
    loose = task.near.loose
    rough = with_whole_order(loose)
    x, sold = moved(task.near.model, rough, order), rough.it.containers
    most, least, count = rough.matrix.upper, rough.matrix.lower, rough.at["count"]
    free = replace(rough, matrix=order_held(rough, x))
    for group in PURCHASE:
        free = free.bounded(group, most[rough.at[group]], least[rough.at[group]])
    bought = counts(rough, x)
    products = {product for product, _ in bought}
    one_more = [
        bought.get((sold[i].product, sold[i].name), 0.0) + (sold[i].product in products)
        for i, _ in rough.keys["count"]
    ]
    free = _leaving(free.bounded("count", np.minimum(most[count], one_more)), over)
    return _solved(task, free, loose)


def _solved(task: Task, relaxation: Model, like: Model) -> Floats | None:
    """A good solution of a relaxation, in another model's columns; None if none was found."""
    limits = task.limits(task.params.order_near_enough)
    answer = task.solver(relaxation.matrix, limits, watch=patient(task.incumbent))
    return None if answer.x is None else moved(relaxation, like, rounded(relaxation, answer.x))


def _leaving(model: Model, over: Floats) -> Model:
    """The program with so much of every product left over, as far as there is so much.

    `over` is in the largest container of each product.
    """
    left = model.at["left"]
    most, least = model.matrix.upper[left], model.matrix.lower[left]
    return model.bounded("left", most, np.maximum(least, np.minimum(over, most)))


class OrderToHold:
    """A solution whose order is held while plans are made step by step, and the room bags leave it.

    Until a good plan is found with some room, several threads try one room after the other.
    """

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._x: Floats | None = None
        self._tried: dict[float, int] = {}
        self._good: float | None = None
        self._roomy: dict[float, Floats] = {}
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
            self._roomy.clear()

    def with_room(self, room: float, find: Callable[[], Floats | None]) -> Floats | None:
        """An order like it with so much room, found once; None where there is none."""
        with self._lock:
            if room in self._roomy:
                return self._roomy[room]
        found = find()
        if found is None:
            return None
        with self._lock:
            return self._roomy.setdefault(room, found)

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

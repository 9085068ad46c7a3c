"""Plans made of a relaxation step by step, and orders with room to spare."""

import threading

import numpy as np
import pytest

from planner.optimize.heuristics import relax_and_fix
from planner.optimize.heuristics.relax_and_fix import OrderToHold
from planner.optimize.mip.highs import INFINITE, Answer, Limits, Verdict
from planner.optimize.mip.highs import solve as solve_matrix
from planner.optimize.model.program import moved, rounded, with_whole_order
from planner.optimize.options import SearchParams
from planner.optimize.search import shortage
from planner.optimize.search.strategies import _task
from tests.support.searches import CLOSE, relaxed


@pytest.mark.slow
@pytest.mark.parametrize("size", [(16, 10, 3, 2, 2), (24, 14, 4, 2, 1)], ids=str)
@pytest.mark.parametrize("planting", [True, False])
def test_plans_made_of_the_relaxation_keep_the_rules(size, planting):
    """Whatever is held at first, the exact model takes the plan; its cost is over the floor."""
    shop, guide, floor = relaxed(size, step_nodes=30)
    assert shop.near.breaking(guide).any()
    x = shortage._mended(shop, guide, shop.rng, solve_matrix, planting=planting)
    assert x is not None
    assert shop.state._keeps_rules(x)
    assert not shop.near.breaking(x).any()
    assert shop.near.model.matrix.price(x) >= floor - CLOSE * abs(floor)


@pytest.mark.long
@pytest.mark.slow
@pytest.mark.parametrize("size", [(20, 12, 4, 2, 34), (24, 14, 4, 2, 1)], ids=str)
def test_plans_made_step_by_step_keep_the_rules(size):
    """Containers, then bags, then planting: the plan is far cheaper than the first one."""
    shop, _, floor = relaxed(size, step_nodes=60)
    state, before = shop.state, shop.state.cost
    shop.order.put(relaxed_order(shop))
    for _ in range(3):
        relax_and_fix.mend(_task(shop, shop.rng, solve_matrix))
    assert state._keeps_rules(state.x)
    assert floor - CLOSE * abs(floor) <= state.cost < 0.99 * before


def relaxed_order(shop):
    """The relaxation with whole containers: its best solution in 100 nodes."""
    rough = with_whole_order(shop.near.loose)
    answer = solve_matrix(rough.matrix, Limits(nodes=100, gap=1e-4))
    return moved(rough, shop.near.model, rounded(rough, answer.x))


class NoneNear:
    """A solver that finds bags for an order, and a roomier one, but no plan near the bags.

    What `meanwhile` does happens while the roomier order is being made.
    """

    def __init__(self, shop, meanwhile) -> None:
        self.loose, self.meanwhile, self.roomier = shop.near.loose.matrix, meanwhile, 0

    def __call__(self, matrix, limits, start=None, watch=None):
        if matrix.n_columns != self.loose.n_columns:  # not the relaxation
            return Answer(Verdict.NONE_FOUND, None, INFINITE, -INFINITE)
        if matrix.integer.sum() < self.loose.integer.sum():  # only containers are whole
            self.roomier += 1
            self.meanwhile()
        return solve_matrix(matrix, limits, watch=watch)


@pytest.mark.slow
def test_two_threads_make_one_roomier_order():
    """Both find the same order too tight, one while the other makes the next: room grows once."""
    shop, _, _ = relaxed((16, 10, 3, 2, 1), step_nodes=10)
    shop.order.put(relaxed_order(shop))
    first = shop.order.x
    mended = []

    class Dice:
        """A generator that never prefers the best plan's order to the one that is held."""

        def random(self):
            return 0.9

        def integers(self, most):
            return 1

    def other():
        thread = threading.Thread(target=mend, args=(NoneNear(shop, lambda: None),))
        thread.start()
        thread.join(60.0)
        assert not thread.is_alive()

    def mend(solver):
        relax_and_fix.mend(_task(shop, Dice(), solver))
        mended.append(solver.roomier)

    mend(NoneNear(shop, other))
    assert sorted(mended) == [0, 1]
    assert shop.order.room == SearchParams().room
    assert shop.order.x is not first
    mend(NoneNear(shop, lambda: None))  # the next order may be given up in its turn
    assert shop.order.room == 2 * SearchParams().room


def test_an_order_is_given_up_by_one_thread_only():
    """Of many threads that give up the same order at the same moment, one is told the next room."""
    for _ in range(50):
        held, found = OrderToHold(), []
        x = np.zeros(1)
        held.put(x)
        gate = threading.Barrier(8)

        def claim(held=held, x=x, gate=gate, found=found):
            gate.wait()
            found.append(held.give_up(x, 0.005))

        threads = [threading.Thread(target=claim) for _ in range(8)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert sorted(room for room in found if room is not None) == [0.005]
        held.put(np.ones(1))
        assert held.give_up(x, 0.005) is None
        assert held.give_up(held.x, 0.005) == 0.01


def test_a_roomier_order_has_more_over():
    """Of every product that the relaxation uses, the share that is asked for."""
    shop, _, _ = relaxed((16, 10, 3, 2, 1))
    model, x = shop.near.model, relaxed_order(shop)
    y = relax_and_fix._roomier(_task(shop, shop.rng, solve_matrix), x, 0.05)
    used, lump = relax_and_fix._used(model, x), model.it.lump
    assert used.max() > 0
    assert (used >= -1e-6).all()
    assert (y[model.at["left"]] * lump >= 0.05 * used - 1e-4).all()
    assert (x[model.at["left"]] * lump < 0.05 * used - 1e-4).any()
    assert model.matrix.price(y) > model.matrix.price(x)

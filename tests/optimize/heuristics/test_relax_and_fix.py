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
from planner.optimize.search import relaxed_acres
from planner.optimize.search.strategies import relax_and_fix_task
from tests.support.searches import CLOSE, relaxed


@pytest.mark.slow
@pytest.mark.parametrize("size", [(16, 10, 3, 2, 2), (24, 14, 4, 2, 1)], ids=str)
@pytest.mark.parametrize("planting", [True, False])
def test_plans_made_of_the_relaxation_keep_the_rules(size, planting):
    """Whatever is held at first, the exact model takes the plan; its cost is over the bound."""
    context, guide, bound = relaxed(size, step_nodes=30)
    assert context.near.breaking(guide).any()
    x = relaxed_acres.repaired(context, guide, context.rng, solve_matrix, planting=planting)
    assert x is not None
    assert context.incumbent._keeps_rules(x)
    assert not context.near.breaking(x).any()
    assert context.near.model.matrix.price(x) >= bound - CLOSE * abs(bound)


@pytest.mark.long
@pytest.mark.slow
@pytest.mark.parametrize("size", [(20, 12, 4, 2, 34), (24, 14, 4, 2, 1)], ids=str)
def test_plans_made_step_by_step_keep_the_rules(size):
    """Containers, then bags, then planting: the plan is far cheaper than the first one."""
    context, _, bound = relaxed(size, step_nodes=60)
    incumbent, before = context.incumbent, context.incumbent.cost
    context.order.put(relaxed_order(context))
    for _ in range(3):
        relax_and_fix.fix_in_turn(relax_and_fix_task(context, context.rng, solve_matrix))
    assert incumbent._keeps_rules(incumbent.x)
    assert bound - CLOSE * abs(bound) <= incumbent.cost < 0.99 * before


def relaxed_order(context):
    """The relaxation with whole containers: its best solution in 100 nodes."""
    rough = with_whole_order(context.near.loose)
    answer = solve_matrix(rough.matrix, Limits(nodes=100, gap=1e-4))
    return moved(rough, context.near.model, rounded(rough, answer.x))


class NoneNear:
    """A solver that finds bags for an order, and a roomier one, but no plan near the bags.

    What `meanwhile` does happens while the roomier order is being made.
    """

    def __init__(self, context, meanwhile) -> None:
        self.loose, self.meanwhile, self.roomier = context.near.loose.matrix, meanwhile, 0

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
    context, _, _ = relaxed((16, 10, 3, 2, 1), step_nodes=10)
    context.order.put(relaxed_order(context))
    first = context.order.x
    mended = []

    class Dice:
        """A generator that never prefers the best plan's order to the one that is held."""

        def random(self):
            return 0.9

        def integers(self, most):
            return 1

    def other():
        thread = threading.Thread(target=fix_in_turn, args=(NoneNear(context, lambda: None),))
        thread.start()
        thread.join(60.0)
        assert not thread.is_alive()

    def fix_in_turn(solver):
        relax_and_fix.fix_in_turn(relax_and_fix_task(context, Dice(), solver))
        mended.append(solver.roomier)

    fix_in_turn(NoneNear(context, other))
    assert sorted(mended) == [0, 1]
    assert context.order.room == SearchParams().room
    assert context.order.x is not first
    fix_in_turn(NoneNear(context, lambda: None))  # the next order may be given up in its turn
    assert context.order.room == 2 * SearchParams().room


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


@pytest.mark.slow
def test_a_roomier_order_has_more_over():
    """Of every product that the relaxation uses, the share that is asked for."""
    context, _, _ = relaxed((16, 10, 3, 2, 1))
    model, x = context.near.model, relaxed_order(context)
    y = relax_and_fix._roomier(relax_and_fix_task(context, context.rng, solve_matrix), x, 0.05)
    used, lump = relax_and_fix._used(model, x), model.it.lump
    assert used.max() > 0
    assert (used >= -1e-6).all()
    assert (y[model.at["left"]] * lump >= 0.05 * used - 1e-4).all()
    assert (x[model.at["left"]] * lump < 0.05 * used - 1e-4).any()
    assert model.matrix.price(y) > model.matrix.price(x)

"""Plans made of a relaxation step by step, and orders with room to spare."""

import threading

import numpy as np
import pytest

from planner.optimize.heuristics import relax_and_fix
from planner.optimize.heuristics.relax_and_fix import OrderToHold
from planner.optimize.mip.highs import INFINITE, Answer, Limits, Verdict
from planner.optimize.mip.highs import solve as solve_matrix
from planner.optimize.mip.process import Worker
from planner.optimize.model.extract import counts, supply
from planner.optimize.model.program import moved, rounded, with_whole_order
from planner.optimize.options import SearchParams
from planner.optimize.search import relaxed_acres
from planner.optimize.search.strategies import relax_and_fix_task
from tests.support.quick import long_after
from tests.support.searches import CLOSE, relaxed


@pytest.mark.slow
@pytest.mark.parametrize("size", long_after(1, [(16, 10, 3, 2, 2), (24, 14, 4, 2, 1)]), ids=str)
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
    """Containers, then bags with each room, then planting: far cheaper than the first plan."""
    context, _, bound = relaxed(size, step_nodes=60)
    incumbent, before = context.incumbent, context.incumbent.cost
    context.order.put(relaxed_order(context))
    for _ in SearchParams().strategies.rooms:
        relax_and_fix.fix_in_turn(relax_and_fix_task(context, context.rng, solve_matrix))
    assert incumbent._keeps_rules(incumbent.x)
    assert bound - CLOSE * abs(bound) <= incumbent.cost < 0.99 * before


def relaxed_order(context):
    """The relaxation with whole containers: its best solution in 100 nodes."""
    rough = with_whole_order(context.near.loose)
    answer = solve_matrix(rough.matrix, Limits(nodes=100, gap=1e-4))
    return moved(rough, context.near.model, rounded(rough, answer.x))


def test_threads_try_one_room_after_the_other():
    """Many at the same moment are told different ones; then they all are told the good one."""
    rooms = (0.0, 0.005, 0.01, 0.02)
    for _ in range(50):
        held, found, gate = OrderToHold(), [], threading.Barrier(8)

        def claim(held=held, gate=gate, found=found):
            gate.wait()
            found.append(held.claim_room(rooms))

        threads = [threading.Thread(target=claim) for _ in range(8)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert sorted(found) == [r for r in rooms for _ in range(2)]
        held.note_room(0.01, good=True)
        assert [held.claim_room(rooms) for _ in range(3)] == [0.01] * 3
        held.note_room(0.02, good=False)
        assert held.claim_room(rooms) == 0.01
        held.note_room(0.01, good=False)
        assert [held.claim_room(rooms) for _ in range(4)] == list(rooms)


@pytest.mark.slow
@pytest.mark.parametrize("room", long_after(1, [0.02, 0.005]))
def test_bags_with_room_leave_so_much_over(room):
    """Of every product that the order buys; at most one container more of each kind of these."""
    context, _, _ = relaxed((16, 10, 3, 2, 1))
    model, x = context.near.model, relaxed_order(context)
    task = relax_and_fix_task(context, context.rng, solve_matrix)
    tight, y = (relax_and_fix._bags_for(task, x, r) for r in (0.0, room))
    lump, left = model.it.lump, model.at["left"]
    used = (supply(model, x) - x[left]) * lump
    assert used.max() > 0
    assert (used >= -1e-6).all()
    before, after = counts(model, x), counts(model, y)
    assert counts(model, tight) == before
    assert all(n <= before.get(key, 0) + 1 for key, n in after.items())
    assert {p for p, _ in after} == {p for p, _ in before}
    bought = np.array([any(p == one.name for p, _ in before) for one in model.it.products])
    assert bought.any()
    assert (y[left] * lump >= room * used - 1e-4)[bought].all()
    assert (tight[left] * lump < room * used - 1e-4)[bought].any()


@pytest.mark.slow
def test_a_room_without_a_good_plan_is_not_the_good_one():
    """Bags are found, but no plan near them: the next attempt leaves another room."""
    context, _, _ = relaxed((16, 10, 3, 2, 1), step_nodes=10)
    context.order.put(relaxed_order(context))
    asked = []

    class Dice:
        """A generator that never prefers the best plan's order to the one that is held."""

        def random(self):
            return 0.9

        def integers(self, most):
            return 1

    def none_near(matrix, limits, start=None, watch=None):
        if matrix.n_columns != context.near.loose.matrix.n_columns:  # not the relaxation
            return Answer(Verdict.NONE_FOUND, None, INFINITE, -INFINITE)
        if matrix.integer[context.near.loose.at["bags"]].any():
            asked.append(float(matrix.lower[context.near.loose.at["left"]].max()))
        return solve_matrix(matrix, limits, watch=watch)

    for _ in SearchParams().strategies.rooms:
        relax_and_fix.fix_in_turn(relax_and_fix_task(context, Dice(), none_near))
    assert asked[0] == 0.0
    assert asked == sorted(asked)
    assert len(set(asked)) == len(asked)


@pytest.mark.slow
def test_around_a_plan_cheaper_ones_are_found_that_keep_the_rules():
    """From the first plan of all: fields of it for priced shares, some at a time."""
    context, _, bound = relaxed((16, 10, 3, 2, 1), step_nodes=30)
    incumbent, before = context.incumbent, context.incumbent.cost
    task = relax_and_fix_task(context, context.rng, solve_matrix)
    relax_and_fix._around_best(task)
    assert incumbent._keeps_rules(incumbent.x)
    assert bound - CLOSE * abs(bound) <= incumbent.cost < before


@pytest.mark.slow
def test_shares_for_plans_are_asked_of_a_process_where_that_solves():
    """The same shares as here, by the same seed; any share once the process is gone."""
    context, guide, _ = relaxed((16, 10, 3, 2, 1), step_nodes=10)
    asked = []
    for worker in (None, Worker()):
        rng = np.random.default_rng(3)
        task = relax_and_fix_task(context, rng, solve_matrix, worker)
        asked.append(relax_and_fix._promising_shares(task, guide, start=False))
    assert asked[0].any()
    assert np.array_equal(*asked)
    worker.close()
    assert relax_and_fix._promising_shares(task, guide, start=False) is None


def test_what_was_tried_around_a_plan_is_known_until_there_is_a_better_one():
    held = OrderToHold()
    assert not held.is_tried_around(100.0)
    held.note_tried_around(100.0)
    assert held.is_tried_around(100.0)
    assert not held.is_tried_around(99.0)

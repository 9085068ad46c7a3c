"""What proves the cost's bound in a thread beside the search: relaxations and the exact model.

Seasons that the exact model can settle are solved at once, and mostly need nothing else. Most have
seed for every acre. So the solve begins with no acre short, before that is known: the first plan
that it finds proves it, and a season short of seed is mostly refuted in no time.
"""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from planner.optimize.bounds.relaxations import exact, exact_if_covered, relax
from planner.optimize.heuristics.relax_and_fix import fix_in_turn
from planner.optimize.incumbent.budgets import to_the_end
from planner.optimize.incumbent.restrictions import open_shares
from planner.optimize.mip.highs import now, solve
from planner.optimize.search.beside import begin_search
from planner.optimize.search.by_patterns import prove_by_patterns, solve_listed
from planner.optimize.search.common import EXACT, RELAXATION, is_large, is_tiny, uses, with_patterns
from planner.optimize.search.strategies import relax_and_fix_task, relaxes_and_fixes

if TYPE_CHECKING:
    from collections.abc import Iterator
    from threading import Event

    from planner.optimize.bounds.dantzig_wolfe import OrdersKnown
    from planner.optimize.mip.highs import Solver
    from planner.optimize.mip.process import Worker
    from planner.optimize.model.program import Model
    from planner.optimize.search.beside import Beside
    from planner.optimize.search.common import Context


def head_start(context: Context) -> float:
    """Seconds that the exact model has alone; 0 where it is not solved at once."""
    options, shares = context.incumbent.options, len(context.incumbent.model.keys["share"])
    if is_large(context) or options.effort is not None or not uses(context, EXACT):
        return 0.0
    return next((s for most, s in options.params.head_start if shares <= most), 0.0)


def exact_solver(context: Context) -> Solver:
    """What solves the exact model: a process of its own, but for models that take no time."""
    return solve if is_tiny(context) else context.workers.for_bounds().solve


def begin_covered(context: Context) -> Beside | None:
    """Begin the exact model with no acre short; None where no such plan is found, or not soon."""
    incumbent, solver = context.incumbent, exact_solver(context)

    def prove(done: Event) -> None:
        with _proving(context):
            exact_if_covered(incumbent, incumbent.model, to_the_end(incumbent), solver, done)

    proof = begin_search(context, prove)
    left = incumbent.left()
    params = incumbent.options.params.proof
    until = now() + min(max(params.hope * left, params.hope_seconds), params.hope_most * left)
    proof.wait(until, lambda: incumbent.is_covered or incumbent.is_set())
    if incumbent.is_covered:
        incumbent.prove_shortage()
        return proof
    proof.end()
    return None


def begin_exact(context: Context, model: Model) -> Beside:
    """Begin the exact model, its acres short held at the fewest known."""
    solver = exact_solver(context)
    return begin_search(context, lambda done: _prove_exactly(context, model, solver, done))


def leave_alone(context: Context, proof: Beside, model: Model) -> None:
    """Wait while the exact model has its head start."""
    incumbent = context.incumbent
    params = incumbent.options.params.proof
    most = params.most_alone * incumbent.left()
    if with_patterns(context):
        seconds, share = params.before_patterns
        most = min(seconds, share * incumbent.left())
    start = most if is_narrowed(context, model) else head_start(context)
    proof.wait(now() + min(start, most), lambda: incumbent.is_done)


def is_relaxed(context: Context, model: Model) -> bool:
    """Whether relaxations are solved before the exact model, or in its place."""
    many = open_shares(model) > context.incumbent.options.params.proof.exact_shares
    return many or not uses(context, EXACT)


def is_narrowed(context: Context, model: Model) -> bool:
    """Whether so much was ruled out that the exact model can settle what is left at once."""
    few = context.incumbent.options.params.proof.exact_shares
    return open_shares(model) <= min(few, len(model.keys["share"]) - 1) and uses(context, EXACT)


def begin_bounds(context: Context, model: Model) -> Beside:
    """Begin with relaxations, or soon with the exact model where that is small.

    Once these are settled, and plans made of them, the exact model is solved too. A large season's
    bound is proven before.
    """
    if is_large(context):
        return begin_search(context)
    worker, params = context.workers.for_bounds(), context.incumbent.options.params.proof

    def prove(done: Event) -> None:
        settled = True
        orders = context.memory.orders
        if is_relaxed(context, model):
            if orders is not None and _proves_by_patterns(context, model, orders, done):
                return
            settled = _settle_relaxations(context, model, worker)
        else:
            if orders is not None and _proves_by_patterns(context, model, orders, done):
                return
            if orders is None:
                _prove_exactly(context, model, worker.solve, done, params.glance)
                most = params.ripe_share * context.incumbent.options.seconds
                context.incumbent.wait(min(params.ripe, most))
        if settled and uses(context, EXACT) and not context.incumbent.is_set():
            _prove_exactly(context, model, worker.solve, done)

    return begin_search(context, prove)


def _proves_by_patterns(context: Context, model: Model, orders: OrdersKnown, done: Event) -> bool:
    """Whether patterns are so few that the program over them was solved, to the end."""
    program = prove_by_patterns(context, model, orders, done)
    if program is None:
        return False
    context.workers.listed = True
    with _proving(context):
        solve_listed(context, model, program, done)
    return True


def _settle_relaxations(context: Context, model: Model, worker: Worker) -> bool:
    """Whether they are settled; plans are made of them meanwhile."""
    incumbent, solver = context.incumbent, worker.solve

    settled, params = False, incumbent.options.params.proof
    rng = np.random.default_rng([incumbent.options.seed, 1])
    rounds = 0
    if context.patterns is None and context.order.x is None and uses(context, RELAXATION):
        settled = relax(incumbent, model, context.order.put_bags, solver)
    while relaxes_and_fixes(context) and worker.is_alive() and not incumbent.is_set():
        if rounds == params.repaired and uses(context, RELAXATION):
            settled = relax(incumbent, model, context.order.put_bags, solver)
        if settled and rounds == 2 * params.repaired:
            break
        fix_in_turn(relax_and_fix_task(context, rng, solver, worker))
        rounds += 1
    return settled


def _prove_exactly(
    context: Context, model: Model, solver: Solver, done: Event, seconds: float = np.inf
) -> None:
    limits = to_the_end(context.incumbent)
    with _proving(context):
        limits = replace(limits, seconds=min(seconds, limits.seconds))
        exact(context.incumbent, model, limits, solver, stop=done)


@contextmanager
def _proving(context: Context) -> Iterator[None]:
    """Note that the exact model is being solved for a proof."""
    context.workers.proving = True
    try:
        yield
    finally:
        context.workers.proving = False

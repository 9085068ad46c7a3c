"""Proving where a field has one variety: by patterns; where they are few, all are listed."""

from __future__ import annotations

from contextlib import suppress
from typing import TYPE_CHECKING, Any

from planner.optimize.bounds.dantzig_wolfe import raise_bound, settle
from planner.optimize.bounds.pattern_program import (
    GAP,
    ONE,
    generated_program,
    list_patterns,
    under_orders,
)
from planner.optimize.bounds.relaxations import cheaper
from planner.optimize.incumbent.budgets import to_the_end
from planner.optimize.incumbent.restrictions import open_shares, proven_in
from planner.optimize.mip.highs import Limits, Verdict, Watch, now
from planner.optimize.mip.process import ProcessGoneError
from planner.optimize.mip.verified import AS_IT_IS, verified
from planner.optimize.options import Either, Until
from planner.optimize.search.beside import search_beside

if TYPE_CHECKING:
    from collections.abc import Callable
    from threading import Event

    from planner.optimize.bounds.dantzig_wolfe import OrdersKnown, Settled
    from planner.optimize.bounds.pattern_program import PatternProgram
    from planner.optimize.mip.highs import Floats
    from planner.optimize.model.program import Model
    from planner.optimize.search.common import Context


def prove_by_patterns(
    context: Context, model: Model, orders: OrdersKnown, done: Event
) -> PatternProgram | None:
    """Raise the bound by whole fields in whole bags, in the second process.

    Returns the program over patterns where they are few enough to be listed. That is looked at
    whenever the best plan has become better, while the process anneals.
    """
    incumbent, params = context.incumbent, context.incumbent.options.params.proof
    few = open_shares(model) <= params.listed_shares
    if not few and incumbent.left() < params.patterns_seconds:
        return None
    began = now()
    known: OrdersKnown | None = _run(context, raise_bound, model, orders, False, done)
    if known is None or not known.is_settled:
        return None
    took, by_lot = params.lots_take * (now() - began), False
    if took < params.patterns_time * incumbent.left():
        further: OrdersKnown | None = _run(context, raise_bound, model, known, True, done)
        by_lot = further is not None and further.is_settled
        known = further or known
    if not few:
        return None
    _plan_of_generated(context, model, known, done)
    wait = min(params.ripe, params.ripe_share * incumbent.options.seconds)
    for turn in range(params.listings):
        if turn:
            stop = Until(now() + 2.0**turn * wait, Either(incumbent, done))
            search_beside(context, context.workers.for_bounds(), context.workers.found.append, stop)
        settled: Settled | None = _run(context, settle, model, known, by_lot, done)
        if settled is None:
            return None
        most = min(params.most_patterns, int(params.patterns_a_second * incumbent.left()))
        if listed := list_patterns(settled, most):
            return listed
    return None


def _plan_of_generated(context: Context, model: Model, known: OrdersKnown, done: Event) -> None:
    """Make plans of the patterns generated for orders, under these (price and branch)."""
    incumbent, params = context.incumbent, context.incumbent.options.params.proof
    until = now() + min(params.branch, params.branch_time * incumbent.left())
    program, stop = generated_program(model, known), Either(incumbent, done)
    if program is None:
        return

    def take(x: Floats, _: float) -> None:
        incumbent.offer(program.in_model(x))

    for expected, held in under_orders(program, known):
        left = until - now()
        if left <= 0.0 or stop.is_set() or expected >= incumbent.cost:
            return
        limits = Limits(min(left, ONE), GAP, cutoff=incumbent.cost)
        with suppress(ProcessGoneError):
            answer = context.workers.for_bounds().solve(held, limits, watch=Watch(stop, take))
            if answer.x is not None:
                take(answer.x, answer.objective)


def _run(
    context: Context,
    job: Callable[..., Any],
    model: Model,
    known: OrdersKnown,
    by_lot: bool,
    done: Event,
) -> Any:
    """Do a job in the second process; None where it is not available."""
    incumbent, stop = context.incumbent, Either(context.incumbent, done)
    if stop.is_set():
        return None
    seconds = incumbent.options.params.proof.patterns_time * incumbent.left()
    work = model, known, incumbent.cost, seconds, by_lot
    with suppress(ProcessGoneError):
        worker = context.workers.for_bounds()
        return worker.run(job, work, stop, proven_in(incumbent, model))
    return None


def solve_listed(context: Context, model: Model, program: PatternProgram, done: Event) -> None:
    """Solve the program over patterns, exchanging plans and bounds with the incumbent.

    It has all plans that are cheaper than what was known when they were listed.
    """
    incumbent, worker = context.incumbent, context.workers.for_bounds()
    proven, most = proven_in(incumbent, model), program.cost

    def take(x: Floats, _: float) -> None:
        incumbent.offer(program.in_model(x))

    def better(known: float) -> Floats | None:
        x = cheaper(incumbent, known)
        return None if x is None else program.in_patterns(x)

    watch = Watch(Either(incumbent, done), take, lambda bound: proven(min(bound, most)), better)
    answer = verified(program.matrix, to_the_end(incumbent), watch, worker.solve, kinds=AS_IT_IS)
    if answer.x is not None:
        take(answer.x, answer.objective)
    proven(most if answer.verdict is Verdict.INFEASIBLE else min(answer.bound, most))

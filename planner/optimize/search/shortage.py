"""As few acres short as possible, priority by priority; what it costs comes after that.

The relaxation without the field rule says how few they can be at least, and where a field may have
several varieties the exact model makes plans of its solution that come near. So it does of the
relaxation without bags, which keeps that rule; and annealing looks for plans, whose patterns are
put together again.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from planner.optimize.annealing.decode import on_model, with_order
from planner.optimize.annealing.order_tables import order_tables
from planner.optimize.annealing.state import AnnealingState
from planner.optimize.bounds.disaggregation import aimed_at_acres, widen
from planner.optimize.bounds.relaxations import fewest_short
from planner.optimize.heuristics.neighborhood import Neighborhood
from planner.optimize.incumbent.budgets import Budget
from planner.optimize.incumbent.restrictions import narrowed_for_fewer
from planner.optimize.mip.highs import Limits, now
from planner.optimize.mip.highs import solve as solve_matrix
from planner.optimize.search.beside import beside, search_beside
from planner.optimize.search.common import (
    best_of_patterns,
    best_pieces,
    is_large,
    is_small,
    polish_near,
    search_neighborhoods,
    submit_annealing,
)
from planner.optimize.search.objective import Objective, pursue
from planner.optimize.search.proving import exact_solver, head_start
from planner.optimize.search.relaxed_acres import (
    aggregate,
    counted_nodes,
    from_relaxations,
    is_settled,
    narrow,
    plant_aggregated,
    settle_few,
    stretch,
)

if TYPE_CHECKING:
    from planner.optimize.annealing.state import Piece
    from planner.optimize.bounds.variety_aggregated import AggregatedSearch
    from planner.optimize.mip.highs import Solver
    from planner.optimize.mip.process import Worker
    from planner.optimize.options import Stop
    from planner.optimize.search.common import Context


def settle_shortage(context: Context) -> None:
    """Make acres short as few as possible, and prove it where the time allows."""
    incumbent, params = context.incumbent, context.incumbent.options.params.shortage
    if is_small(context) and incumbent.options.effort is None:
        _prove(context, params.time * incumbent.left(), exact_solver(context))
    elif is_small(context) and incumbent.is_short:
        _prove(context, params.time * incumbent.left(), solve_matrix)
    elif incumbent.is_short:
        settle_few(context, _solver(context))
        if not is_settled(incumbent):
            _glance(context)
        if not is_settled(incumbent):
            _by_annealing(context, now() + params.first)
        if not is_settled(incumbent):
            _search(context)
            narrow(context, _solver(context))
    if incumbent.is_covered:
        incumbent.prove_shortage()
    elif incumbent.x is not None and not is_large(context) and not head_start(context):
        polish_near(context, incumbent.x)


def _glance(context: Context) -> None:
    """Try the exact model for a moment, where it is not large: that settles many."""
    incumbent, proof = context.incumbent, context.incumbent.options.params.proof
    shares = len(incumbent.model.keys["share"])
    whole = not is_large(context)  # over the promising choices alone it would prove nothing
    if whole and shares <= proof.exact_shares and incumbent.options.effort is None:
        _prove(context, min(proof.glance, 0.1 * incumbent.left()), exact_solver(context))


def prove_fewest(context: Context) -> None:
    """Ask the exact model for fewer acres short, for all the time that is left."""
    _prove(context, context.incumbent.left(), exact_solver(context))


def _search(context: Context) -> None:
    """Come near what the relaxation says, and go on from there by all ways."""
    incumbent, params = context.incumbent, context.incumbent.options.params.shortage
    share = params.paid_time if incumbent.model.has_money_row else params.time
    until = now() + (share - params.stretch) * incumbent.options.seconds
    context.memory.near = Neighborhood(aimed_at_acres(incumbent.model))
    aggregate(context)
    if is_large(context):
        _search_large(context, until)
    elif incumbent.options.effort is None:
        with beside(context, lambda worker, done: _prove_or_look(context, worker, done, until)):
            _take_turns(context, until)
    elif not from_relaxations(context, context.rng, solve_matrix, incumbent, np.inf):
        _take_turns(context, np.inf)
        _prove(context, np.inf, solve_matrix)


def _solver(context: Context) -> Solver:
    """What solves beside nothing else: the second process; this one where work is counted."""
    return exact_solver(context) if context.incumbent.options.effort is None else solve_matrix


def _search_large(context: Context, until: float) -> None:
    """Do so without the exact model, and soon once: what is given joins the promising choices."""
    incumbent, aggregated, began = context.incumbent, context.memory.aggregated, now()
    for share in incumbent.options.params.shortage.large_rounds:
        if aggregated is not None and not is_settled(incumbent):
            _search_aggregated_large(context, aggregated, began + share * (until - began))
    if not is_settled(incumbent):
        _by_annealing(context, fine=True)


def _search_aggregated_large(context: Context, aggregated: AggregatedSearch, until: float) -> None:
    incumbent = context.incumbent
    if incumbent.options.effort is not None:
        _follow(context)
        aggregated.work(
            Budget(np.inf, counted_nodes(context)), incumbent, context.rng, solve_matrix
        )
    else:
        rng = np.random.default_rng([incumbent.options.seed, 2])
        budget = Budget(until - now())
        with beside(context, lambda worker, done: aggregated.work(budget, done, rng, worker.solve)):
            _follow(context)
            aggregated.work(Budget(until - now()), incumbent, context.rng, solve_matrix)
    if not incumbent.is_set():
        widen(incumbent, aggregated)
        context.memory.current = AnnealingState(
            incumbent.model.it, incumbent.model.choices, order_tables(incumbent.model.it)
        )
        context.memory.near = Neighborhood(incumbent.model)
        plant_aggregated(context, aggregated)


def _take_turns(context: Context, until: float) -> None:
    """Go on from the best plan, by annealing and exactly; now and then from a new planting."""
    effort = context.incumbent.options.effort
    _follow(context)
    while _search_aggregated(context, until):
        pass
    pursue(context, ACRES, np.inf if effort is None else 4 * effort, until)
    if context.workers.seen and not context.incumbent.is_set():
        _from_patterns(context)


def _run_next(context: Context, turn: int, until: float) -> None:
    """Patterns where there are plans enough; else neighborhoods and annealing in turn.

    Annealing knows nothing of money to spend.
    """
    paid = context.incumbent.model.has_money_row
    if len(context.workers.seen) >= context.incumbent.options.params.enough_seen_for_acres:
        _from_patterns(context)
    elif turn % 2 and (context.patterns is None or paid):
        search_neighborhoods(context, stretch(context, until), with_short=paid)
    else:
        fine = turn % 4 == (0 if context.patterns is None else 3)
        _by_annealing(context, until, fine=fine)


def _follow(context: Context) -> None:
    """Begin with the relaxation without bags where all may be cut."""
    incumbent, aggregated = context.incumbent, context.memory.aggregated
    if aggregated is not None and not np.isfinite(aggregated.bound) and not incumbent.is_set():
        follow = incumbent.options.params.shortage.follow
        seconds = np.inf if incumbent.options.effort is not None else min(follow, incumbent.left())
        limits = Limits(seconds, nodes=counted_nodes(context), seed=incumbent.options.seed)
        aggregated.follow(limits, incumbent, solve_matrix)


def _search_aggregated(context: Context, until: float) -> bool:
    """Go on with the relaxation without bags, and plant what it says; whether that was better."""
    incumbent, aggregated, was = (
        context.incumbent,
        context.memory.aggregated,
        context.incumbent.short,
    )
    if aggregated is None or now() >= until or is_settled(incumbent):
        return False
    aggregated.work(stretch(context, until), incumbent, context.rng, solve_matrix)
    plant_aggregated(context, aggregated)
    return incumbent.short != was


def _from_patterns(context: Context) -> None:
    """Put patterns of the plans so far together again, for as few acres short as they can have."""
    x = best_of_patterns(context, context.near.model.matrix)
    if x is not None:
        context.incumbent.offer(with_order(context.incumbent.model, x, stretch(context).seconds))


def _by_annealing(context: Context, until: float = np.inf, *, fine: bool = False) -> None:
    """Look for fewer acres short by annealing: from the best plan, or from a new planting."""
    start = best_pieces(context) if fine else None
    pieces = submit_annealing(context, stretch(context, until), start=start, fine=fine, acres=True)
    if pieces is not None:
        _take(context, pieces)


def _prove(context: Context, seconds: float, solver: Solver) -> None:
    """Ask the exact model for fewer acres short, or a proof that there are none."""
    incumbent = context.incumbent
    model = narrowed_for_fewer(incumbent)
    if fewest_short(incumbent, model, seconds, counted_nodes(context), solver):
        incumbent.prove_shortage()


def _prove_or_look(context: Context, worker: Worker, done: Stop, until: float) -> None:
    """Ask the relaxation, then the exact model or a second annealer, in another process.

    Annealing knows nothing of money to spend: where it is limited, the exact model is asked; so it
    is where that is small (a season of 112 shares was left with 6 acres more of the first priority
    short, which the exact model settles in 2 s).
    """
    rng = np.random.default_rng([context.incumbent.options.seed, 2])
    if from_relaxations(context, rng, worker.solve, done, until):
        return
    model, most = context.incumbent.model, context.incumbent.options.params.proof.exact_shares
    large = len(model.keys["share"]) > most
    if large and context.near.most == 1 and not model.has_money_row:
        search_beside(context, worker, context.workers.found.append, done, acres=True)
    else:
        _prove(context, until - now(), worker.solve)


def _take(context: Context, pieces: list[list[Piece]]) -> None:
    context.incumbent.offer(on_model(context.incumbent, context.current, pieces))


ACRES = Objective(lambda context: is_settled(context.incumbent), _take, _run_next)
"""Fewer acres short, whatever they cost."""

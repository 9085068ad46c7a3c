"""As few acres short as possible, priority by priority; what it costs comes after that.

The relaxation without the field rule says how few they can be at least, and where a field may have
several varieties the exact model makes plans of its solution that come near. So it does of the
relaxation without bags, which keeps that rule; and boards look for plans, whose patterns are put
together anew.
"""

from __future__ import annotations

import threading
from contextlib import contextmanager
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from planner.optimize.annealing.decode import on_model, with_order
from planner.optimize.annealing.order_tables import order_tables
from planner.optimize.annealing.state import Board
from planner.optimize.bounds.disaggregation import aimed_at_acres, plant, weights, widen
from planner.optimize.bounds.relaxations import cheapest_loosely, fewest_short, least_short
from planner.optimize.bounds.variety_aggregated import Refilling, filling, least_filled
from planner.optimize.heuristics.neighborhood import Neighborhood
from planner.optimize.incumbent.budgets import LONGEST, Budget, limits_near, patient
from planner.optimize.incumbent.incumbent import same_short
from planner.optimize.mip.highs import Limits, now
from planner.optimize.mip.highs import solve as solve_matrix
from planner.optimize.options import Either
from planner.optimize.search.workshop import (
    FEW_BREAKING,
    GRACE,
    around,
    best_pieces,
    is_large,
    is_small,
    polish_near,
    put_together,
    search_beside,
    sent_out,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from planner.optimize.incumbent.incumbent import State
    from planner.optimize.mip.highs import Floats, Solver
    from planner.optimize.mip.process import Worker
    from planner.optimize.options import Stop
    from planner.optimize.search.workshop import Workshop

FOLLOW = 3.0
"""Seconds of a solve that follows the relaxation where all may be cut."""
SHORT_TIME = 0.4
"""Share of the time for acres short."""
PAID_TIME = 0.7
"""The same where money to spend is limited. 20 x 12 x 4, one variety, 97 % of what a plan without
the limit pays out, 20 s: 84 acres short, with 0.4 (and boards only) 224; 81.5 is the best known."""
STRETCH = 0.1
"""Share of the time for one stretch of it."""
FIRST = 3.0
"""Seconds of the first look for fewer: what can be covered is to have a complete plan soon."""
FROM_PLANTING = (True, False, True)
"""How plans are made of a solution of the relaxation: from its planting, its bags, its planting."""
LARGE_ROUNDS = (0.2, 1.0)
"""Shares of that time after which large seasons are planted anew."""
FEW_PAIRS = 120
"""Pairs of fields and varieties up to which the relaxation without bags is proven best where a
field has one variety; where it may have several that takes a few seconds."""
FILLING_TIME = 0.7
"""Share of the time for that; the rest for planting what it says."""


def settle_shortage(shop: Workshop) -> None:
    """Make acres short as few as possible, and prove it where the time allows."""
    state = shop.state
    if is_small(shop) and state.options.effort is None:
        _prove(shop, SHORT_TIME * state.left(), shop.workers.for_bounds().solve)
    elif is_small(shop) and state.is_short:
        _prove(shop, SHORT_TIME * state.left(), solve_matrix)
    elif state.is_short:
        _on_board(shop, now() + FIRST)
        if state.is_short:
            _search(shop)
    if state.is_covered:
        state.prove_shortage()
    elif state.x is not None and not is_large(shop):
        polish_near(shop, state.x)


def _search(shop: Workshop) -> None:
    """Come near what the relaxation says, and go on from there by all ways."""
    state = shop.state
    share = PAID_TIME if state.model.has_money_row else SHORT_TIME
    until = now() + (share - STRETCH) * state.options.seconds
    shop.near = Neighborhood(aimed_at_acres(state.model))
    if shop.near.has_shares and state.x is not None:
        program = filling(state.model)
        start = program.of(state.model, state.x)
        shop.refilling = Refilling(program, weights(state.model), start)
    if is_large(shop):
        _search_large(shop, until)
    elif state.options.effort is None:
        with _beside(shop, lambda worker, done: _prove_or_look(shop, worker, done, until)):
            _take_turns(shop, until)
    elif not _from_relaxations(shop, shop.rng, solve_matrix, state, np.inf):
        _take_turns(shop, np.inf)
        _prove(shop, np.inf, solve_matrix)


def _search_large(shop: Workshop, until: float) -> None:
    """Do so without the exact model, and soon once: what is given joins the promising choices."""
    state, filled, began = shop.state, shop.refilling, now()
    for share in LARGE_ROUNDS:
        if filled is not None and not _is_settled(state):
            _fill_large(shop, filled, began + share * (until - began))
    if not _is_settled(state):
        _on_board(shop, fine=True)


def _fill_large(shop: Workshop, filled: Refilling, until: float) -> None:
    state = shop.state
    if state.options.effort is not None:
        _follow(shop)
        filled.work(Budget(np.inf, _nodes(shop)), state, shop.rng, solve_matrix)
    else:
        rng = np.random.default_rng([state.options.seed, 2])
        budget = Budget(until - now())
        with _beside(shop, lambda worker, done: filled.work(budget, done, rng, worker.solve)):
            _follow(shop)
            filled.work(Budget(until - now()), state, shop.rng, solve_matrix)
    if not state.is_set():
        widen(state, filled)
        shop.board = Board(state.model.it, state.model.choices, order_tables(state.model.it))
        shop.near = Neighborhood(state.model)
        _plant(shop, filled)


def _from_relaxations(
    shop: Workshop, rng: np.random.Generator, solver: Solver, stop: Stop, until: float
) -> bool:
    """Make plans of solutions of relaxations; whether one is proven to be as good as can be.

    Where money to spend is limited, first of the one that knows products and their prices.
    """
    paid = shop.state.model.has_money_row
    if paid and _from_relaxation(shop, rng, solver):
        return True
    if shop.refilling is not None and _from_filling(shop, shop.refilling, rng, solver, stop, until):
        return True
    return not paid and _from_relaxation(shop, rng, solver)


def _from_relaxation(shop: Workshop, rng: np.random.Generator, solver: Solver) -> bool:
    """Do so with what the relaxation without the field rule plants."""
    state, model, near = shop.state, shop.state.model, shop.near
    seconds, nodes = _stretch(shop).seconds, _nodes(shop)
    guide, least = least_short(state, model, seconds, nodes, solver)
    for cheap in (False, True):
        if cheap and guide is not None and near.most > 1:
            short = guide[model.at["short_in"]]
            guide = cheapest_loosely(state, model, short, seconds, nodes, solver)
        if guide is None or near.breaking(guide).mean() > FEW_BREAKING:
            continue
        for planting in FROM_PLANTING:
            if not state.is_set() and not same_short(np.array(state.short), least):
                state.offer(_mended(shop, guide, rng, solver, planting=planting))
        if same_short(np.array(state.short), least):
            break
    if same_short(np.array(state.short), least):
        state.prove_shortage()
    return state.short_proven


def _from_filling(
    shop: Workshop,
    filled: Refilling,
    rng: np.random.Generator,
    solver: Solver,
    stop: Stop,
    until: float,
) -> bool:
    """Do so with the one without bags."""
    state = shop.state
    seconds = FILLING_TIME * (until - now())
    if shop.near.most == 1 and len(filled.program.field) > FEW_PAIRS:
        filled.work(Budget(seconds, _nodes(shop)), stop, rng, solver)
        return False
    x, least = least_filled(state, filled.program, seconds, _nodes(shop), solver)
    if x is not None and not same_short(np.array(state.short), least):
        filled.offer(x)
        _plant(shop, filled, solver)
    if same_short(np.array(state.short), least):
        state.prove_shortage()
    return state.short_proven


def _mended(
    shop: Workshop, guide: Floats, rng: np.random.Generator, solver: Solver, *, planting: bool
) -> Floats | None:
    """A plan near a solution in which some fields break the field rule; None if none is found.

    It keeps to the planting of the other fields, or nearly to the bags.
    """
    near, limits, watch = shop.near, limits_near(shop.state, rng, gap=0.0), patient(shop.state)
    if not planting:
        return near.near_bags(guide, limits, watch, start=False, solver=solver)[0]
    limits = replace(limits, seconds=limits.seconds / LONGEST)
    bad = near.breaking(guide)
    return near.solve(guide, bad, limits, watch, start=False, solver=solver)[0]


def _take_turns(shop: Workshop, until: float) -> None:
    """Go on from the best plan, on the board and exactly; now and then from a new planting."""
    state, turn = shop.state, 0
    effort, enough = state.options.effort, state.options.params.enough_seen_for_acres
    turns = np.inf if effort is None else 4 * effort
    _follow(shop)
    while _refill(shop, until):
        pass
    while turn < turns and now() < until and not _is_settled(state):
        while shop.found:
            state.offer(on_model(state, shop.board, shop.found.pop()))
        if len(shop.seen) >= enough:
            _from_patterns(shop)
        elif shop.patterns is None and turn % 2:
            around(shop, _stretch(shop, until))
        else:
            fine = turn % 4 == (0 if shop.patterns is None else 3)
            _on_board(shop, until, fine=fine)
        turn += 1
    if shop.seen and not state.is_set():
        _from_patterns(shop)


def _is_settled(state: State) -> bool:
    """Whether no fewer acres short are to be looked for."""
    return state.is_set() or state.short_proven or not state.is_short


def _follow(shop: Workshop) -> None:
    """Begin with the relaxation without bags where all may be cut."""
    state, filled = shop.state, shop.refilling
    if filled is not None and not np.isfinite(filled.floor) and not state.is_set():
        seconds = np.inf if state.options.effort is not None else min(FOLLOW, state.left())
        limits = Limits(seconds, nodes=_nodes(shop), seed=state.options.seed)
        filled.follow(limits, state, solve_matrix)


def _refill(shop: Workshop, until: float) -> bool:
    """Go on with the relaxation without bags, and plant what it says; whether that was better."""
    state, filled, was = shop.state, shop.refilling, shop.state.short
    if filled is None or now() >= until or _is_settled(state):
        return False
    filled.work(_stretch(shop, until), state, shop.rng, solve_matrix)
    _plant(shop, filled)
    return state.short != was


def _plant(shop: Workshop, filled: Refilling, solver: Solver = solve_matrix) -> None:
    """Plant what the relaxation gives; where its floor is met, no plan has fewer acres short.

    That floor is of acres weighed by priority: it tells only where none but the last is short.
    """
    state = shop.state
    state.offer(plant(state, filled, _stretch(shop).limits(0.0, state.options.seed), solver))
    short = np.array(state.short)
    if same_short(short, np.append(np.zeros(len(short) - 1), filled.floor)):
        state.prove_shortage()


def _from_patterns(shop: Workshop) -> None:
    """Put patterns of the plans so far together anew, for as few acres short as they can have."""
    x = put_together(shop, shop.near.model.matrix)
    if x is not None:
        shop.state.offer(with_order(shop.state.model, x, _stretch(shop).seconds))


def _on_board(shop: Workshop, until: float = np.inf, *, fine: bool = False) -> None:
    """Look for fewer acres short on the board: from the best plan, or from a new planting."""
    start = best_pieces(shop) if fine else None
    pieces = sent_out(shop, _stretch(shop, until), start=start, fine=fine, acres=True)
    if pieces is not None:
        shop.state.offer(on_model(shop.state, shop.board, pieces))


def _stretch(shop: Workshop, until: float = np.inf) -> Budget:
    state = shop.state
    if state.options.effort is not None:
        return Budget(np.inf, state.options.params.step_nodes)
    return Budget(max(0.1, min(20.0, STRETCH * state.left(), until - now())))


def _nodes(shop: Workshop) -> int | None:
    options = shop.state.options
    return None if options.effort is None else options.params.step_nodes * options.effort


def _prove(shop: Workshop, seconds: float, solver: Solver) -> None:
    """Ask the exact model for fewer acres short, or a proof that there are none."""
    state = shop.state
    if fewest_short(state, state.model, seconds, _nodes(shop), solver):
        state.prove_shortage()


def _prove_or_look(shop: Workshop, worker: Worker, done: Stop, until: float) -> None:
    """Ask the relaxation, then the exact model or a second board, in another process.

    Boards know nothing of money to spend: where it is limited, the exact model is asked.
    """
    rng = np.random.default_rng([shop.state.options.seed, 2])
    if _from_relaxations(shop, rng, worker.solve, done, until):
        return
    if shop.near.most == 1 and not shop.state.model.has_money_row:
        search_beside(shop, worker, shop.found.append, done, acres=True)
    else:
        _prove(shop, until - now(), worker.solve)


@contextmanager
def _beside(shop: Workshop, job: Callable[[Worker, Stop], object]) -> Iterator[None]:
    """Have a job done with another process meanwhile; told to stop in the end, if not before."""
    done = threading.Event()
    worker = shop.workers.for_bounds()
    thread = shop.workers.beside(lambda: job(worker, Either(shop.state, done)))
    try:
        yield
    finally:
        done.set()
        thread.join(GRACE)
        if thread.is_alive():
            shop.workers.end_bounds()

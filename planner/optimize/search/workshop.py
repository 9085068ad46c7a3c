"""What the search for plans works with, and what all its ways have in common."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from planner.optimize.annealing.anneal import anneal_apart, errand
from planner.optimize.annealing.decode import on_model, pieces_of, planted
from planner.optimize.annealing.order_tables import order_tables
from planner.optimize.annealing.state import Board
from planner.optimize.bounds.column_generation import best_with_room, rough_price
from planner.optimize.heuristics.neighborhood import Neighborhood, polish, shrink_or_grow
from planner.optimize.heuristics.relax_and_fix import OrderToHold
from planner.optimize.heuristics.set_partitioning import Patterns
from planner.optimize.incumbent.budgets import Budget, limits_near, longest, patient, times_best
from planner.optimize.incumbent.restrictions import capped
from planner.optimize.mip.highs import Watch, now
from planner.optimize.model.instance import make_instance
from planner.optimize.model.program import make_model
from planner.optimize.options import Either
from planner.optimize.search.workers import Workers

if TYPE_CHECKING:
    from collections.abc import Callable

    from planner.optimize.annealing.anneal import Errand
    from planner.optimize.annealing.moves import Tally
    from planner.optimize.annealing.state import Piece
    from planner.optimize.bounds.variety_aggregated import Refilling
    from planner.optimize.incumbent.incumbent import State
    from planner.optimize.mip.highs import Floats, Matrix
    from planner.optimize.mip.process import Worker
    from planner.optimize.options import Stop
    from planner.season.domain import Season

FEW_BREAKING = 0.35
"""Share of fields that may break the field rule in a relaxation that is worth mending."""
GRACE = 2.0
"""Seconds that a process has to end by itself."""
DEAR = 1.02
"""Plans that cost so many times as much as the best one are not worth polishing."""
SAMPLES = 150
"""Plans kept of a stretch of search on the board, for their patterns."""


@dataclass(slots=True)
class Workshop:
    """What the search for plans works with."""

    state: State
    board: Board
    near: Neighborhood
    rng: np.random.Generator
    held: tuple[float, ...] = ()
    """Acres short, by priority, that `near` holds to."""
    guide: Floats | None = None
    """A solution of a large season's relaxation, to be followed."""
    order: OrderToHold = field(default_factory=OrderToHold)
    bags: Floats | None = None
    """A solution whose bags are to be held: the relaxation's with whole bags."""
    found: list[list[list[Piece]]] = field(default_factory=list)
    """Plans from the board in the other process."""
    patterns: Patterns | None = None
    """Those of plans so far; None where they are not put together anew."""
    polished: Floats | None = None
    """The plan that was last polished before that."""
    refilling: Refilling | None = None
    """What varieties every field has at best, bags left out; None where that is not asked for."""
    seen: list[Tally] = field(default_factory=list)
    """Plans that boards came by, their patterns not yet among these."""
    cycle: float = 3.0
    freed: int = 8
    turn: int = 0
    workers: Workers = field(default_factory=Workers)
    paid: dict[str, float] = field(default_factory=dict)
    """Money a second that each way has lately saved."""


def open_shop(state: State, season: Season) -> Workshop:
    """Write the season down as numbers, with the promising choices of it where there are many."""
    it = make_instance(season)
    choices, tables, params = it.choices, order_tables(it), state.options.params
    if len(choices) > params.many_choices:
        price = rough_price(it, choices, tables)
        choices = choices.only(best_with_room(it, price, params.first_choices))
    state.model = make_model(it, choices)
    board = Board(it, choices, tables)
    rng = np.random.default_rng(state.options.seed)
    cycle = 3.0 * max(1.0, len(it.fields) / 60.0)
    shop = Workshop(state, board, Neighborhood(state.model), rng, cycle=cycle)
    if shop.near.most == 1 and shop.near.has_shares and not is_large(shop):
        shop.patterns = Patterns(state.model)
    return shop


def is_large(shop: Workshop) -> bool:
    """Whether the search is over the promising choices only."""
    return len(shop.state.model.choices) < len(shop.state.model.it.choices)


def is_small(shop: Workshop) -> bool:
    """Whether the exact model settles the acres short, without a plan from elsewhere."""
    state = shop.state
    return len(state.model.keys["share"]) <= state.options.params.small_shares and not is_large(
        shop
    )


def sent_out(
    shop: Workshop,
    budget: Budget,
    *,
    start: list[list[Piece]] | None = None,
    fine: bool = False,
    less: bool = False,
    acres: bool = False,
) -> list[list[Piece]] | None:
    """Have an errand done on the board in the other process; None if that is not to be had."""
    job = errand(
        shop.state, shop.board, budget, shop.rng, start=start, fine=fine, less=less, acres=acres
    )
    return _sent(shop, shop.workers.for_annealing(), job, shop.state)


def _sent(shop: Workshop, worker: Worker, job: Errand, stop: Stop) -> list[list[Piece]] | None:
    """Have an errand done, keeping samples where there are patterns to be had of them."""
    job = replace(job, samples=0 if shop.patterns is None else SAMPLES)
    return anneal_apart(worker, shop.board, job, stop, shop.seen)


def bags_near(shop: Workshop, x: Floats, *, within: int = 1, order: bool = True) -> None:
    """Solve for plans whose bags are nearly those of a plan."""
    state = shop.state
    limits, watch = limits_near(shop.state, shop.rng), patient(state, started=True)
    y, _ = shop.near.near_bags(x, limits, watch, start=True, within=within, order=order)
    state.offer(y)


def put_together(shop: Workshop, matrix: Matrix) -> Floats | None:
    """The best plan that patterns of the plans so far make, gone on from the best one."""
    state, patterns = shop.state, shop.patterns
    assert patterns is not None
    assert state.x is not None
    while shop.seen:
        patterns.add(planted(state.model, shop.board, shop.seen.pop()))
    limits, watch = limits_near(shop.state, shop.rng), patient(state, started=True)
    return patterns.best(matrix, state.x, limits, watch)


def keep_to_fewest_short(shop: Workshop) -> None:
    """Hold what is solved near the best plan to its acres short, should they have become fewer."""
    if shop.held != shop.state.short:
        shop.near, shop.held = Neighborhood(capped(shop.state)), shop.state.short


def polish_near(shop: Workshop, x: Floats) -> None:
    """Offer a plan with its shares held and all else solved again, then with its full bags held.

    The latter by time only once there are plans that were made step by step: those are far better.
    """
    state = shop.state
    keep_to_fewest_short(shop)
    counted = state.options.params.step_nodes if state.options.effort is not None else None
    several = shop.near.most > 1 and not is_large(shop) and not state.is_short
    brief = Budget(min(1.0 if several else 4.0, state.left()), counted)
    y = polish(state, shop.near, x, brief, state.options.seed)
    state.offer(y)
    if several and (counted or "relax and fix" in shop.paid) and not state.is_set():
        bags_near(shop, x if y is None else y, within=0)


def take_over(shop: Workshop, pieces: list[list[Piece]]) -> None:
    """Offer a plan in pieces, then the same with its acres, bags and order solved again."""
    state = shop.state
    x = on_model(state, shop.board, pieces)
    state.offer(x)
    if shop.patterns is not None:  # it is polished with the best of its patterns
        return
    if x is not None and times_best(state, x) <= DEAR and not state.is_set():
        polish_near(shop, x)


def best_pieces(shop: Workshop) -> list[list[Piece]] | None:
    """The best plan as the board has it."""
    x = shop.state.x
    return None if x is None else pieces_of(shop.board, shop.state.model, x)


def around(shop: Workshop, budget: Budget) -> None:
    """Solve neighborhoods of the best plan exactly, for about the budget."""
    state, near = shop.state, shop.near
    began = now()
    while state.x is not None and not state.is_set():
        fields = near.around(shop.rng, shop.freed)
        limits = replace(budget.limits(2e-4, shop.turn), seconds=min(3.0, state.left()))
        if budget.steps is not None:
            limits = budget.limits(2e-4, shop.turn)
        started = now()
        y, answer = near.solve(state.x, fields, limits, Watch(state), local=shop.turn % 2 == 0)
        state.offer(y)
        if budget.steps is not None:
            return
        shop.freed = shrink_or_grow(shop.freed, answer, now() - started, len(near.acres))
        if now() - began > budget.seconds:
            return


def search_beside(
    shop: Workshop,
    worker: Worker,
    take: Callable[[list[list[Piece]]], None],
    done: Stop | None = None,
    turn: int = 0,
    seed: int = 1,
    *,
    acres: bool = False,
) -> None:
    """Search on a board in another process too: from the best plan, with less of it, anew.

    `turn` says which of the three comes first; `acres`, whether acres short count most. Where there
    are patterns, two of three are anew: many plans of all kinds serve best.
    """
    state = shop.state
    rng = np.random.default_rng([state.options.seed, seed])
    cycle = min(2.0 * shop.cycle, longest(state))
    stop = state if done is None else Either(state, done)
    while not stop.is_set() and state.x is not None:
        budget = Budget(min(cycle, state.left()))
        anew, less = turn % 3 == 2, turn % 3 == 1 and not acres
        if shop.patterns is not None:
            anew, less = turn % 3 > 0, False
        start = None if anew else pieces_of(shop.board, state.model, state.x)
        job = errand(
            state, shop.board, budget, rng, start=start, fine=not anew, less=less, acres=acres
        )
        turn += 1
        pieces = _sent(shop, worker, job, stop)
        if pieces is None:
            return
        take(pieces)

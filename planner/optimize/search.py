"""How a season is solved: first as few acres short as possible, then as cheap as possible.

One worker looks for plans on the board and in neighborhoods of the exact model; another proves
floors, and the two exchange what they find. DEVELOPERS.md says why, with numbers.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from planner.errors import Interrupted, NoPlanError
from planner.optimize.board import Board
from planner.optimize.extract import make_plan
from planner.optimize.floors import exact, fewest_short, prove
from planner.optimize.instance import make_instance
from planner.optimize.lift import lifted
from planner.optimize.model import make_model
from planner.optimize.options import SolveOptions
from planner.optimize.orders import order_tables
from planner.optimize.solver import Limits, Watch, now, reduced, stdout_kept_clean
from planner.optimize.solver import solve as solve_matrix
from planner.optimize.state import State
from planner.optimize.strategies import (
    COOLING,
    FINE,
    Budget,
    Neighborhood,
    capped,
    pieces_of,
    plant_all,
    polish,
    repair,
    search_board,
    shrink_or_grow,
)

if TYPE_CHECKING:
    from planner.optimize.board import Piece
    from planner.optimize.model import Model
    from planner.optimize.options import OnProgress, Stop
    from planner.optimize.solver import Floats
    from planner.plan.plan import Plan
    from planner.season.domain import Season

HEAD_START = 2.0
"""Seconds that the exact solve of a small model has before the search joins in."""
STEP_NODES = 300
"""Branch-and-bound nodes, or moves on the board, that count as one step of effort."""


@dataclass(slots=True)
class Workshop:
    """What the search for plans works with."""

    state: State
    board: Board
    near: Neighborhood
    rng: np.random.Generator
    guides: list[Floats] = field(default_factory=list)
    cycle: float = 3.0
    freed: int = 8
    turn: int = 0
    errors: list[BaseException] = field(default_factory=list)


def _open(state: State, season: Season) -> Workshop:
    it = make_instance(season)
    state.model = make_model(it)
    board = Board(it, state.model.choices, order_tables(it))
    return Workshop(
        state, board, Neighborhood(state.model), np.random.default_rng(state.options.seed)
    )


def _first_plan(shop: Workshop) -> None:
    """Plant every field in one go; or, if the model does not take that, none at all."""
    state, board = shop.state, shop.board
    board.use_tables(order_tables(board.it), 1.0)
    plant_all(board, shop.rng)
    if not state.offer(lifted(state.model, board)):
        board.clear()
        state.offer(lifted(state.model, board))


def _settle_shortage(shop: Workshop) -> None:
    """Make acres short as few as possible, and prove it where the time allows."""
    state = shop.state
    if sum(state.short) <= 1e-9:
        state.prove_shortage()
        return
    counted = state.options.effort is not None
    budget = Budget(min(5.0, 0.1 * state.left()), STEP_NODES if counted else None)
    if len(state.model.keys["share"]) > 100:
        state.offer(search_board(state, shop.board, None, COOLING, budget, shop.rng))
    if sum(state.short) <= 1e-9:
        state.prove_shortage()
        return
    nodes = STEP_NODES * (state.options.effort or 0) if counted else None
    if fewest_short(state, state.model, state.left() * 0.4, nodes):
        state.prove_shortage()


def _in_background(shop: Workshop, model: Model) -> threading.Thread:
    def work() -> None:
        try:
            prove(shop.state, model, shop.guides.append)
        except Exception as error:
            shop.errors.append(error)

    thread = threading.Thread(target=work, daemon=True)
    thread.start()
    return thread


def _search_by_time(shop: Workshop) -> None:
    state = shop.state
    model = capped(state)
    prover = _in_background(shop, model)
    prover.join(min(HEAD_START, state.left()))
    while prover.is_alive() and not state.is_set():
        _turn(shop, None)
    while prover.is_alive():
        prover.join(0.1)
    if shop.errors:
        raise shop.errors[0]


def _search_by_effort(shop: Workshop, effort: int) -> None:
    state = shop.state
    exact(state, capped(state), Limits(gap=state.options.gap / 2, nodes=STEP_NODES * effort))
    for _ in range(effort):
        if state.is_set():
            return
        _turn(shop, STEP_NODES)


def _turn(shop: Workshop, steps: int | None) -> None:
    """One strategy after the other, the time of each growing as the search goes on."""
    state = shop.state
    shop.turn += 1
    budget = Budget(min(shop.cycle, state.left()), steps)
    if shop.guides:
        guide = shop.guides.pop()
        shop.guides.clear()
        pieces = repair(state, shop.board, shop.near, guide, shop.rng)
        _on_board(shop, pieces, budget, fine=True)
    elif shop.turn % 3 == 1:
        _on_board(shop, None, budget, fine=False)
        shop.cycle = min(shop.cycle * 1.3, max(3.0, 0.25 * state.options.seconds))
    elif shop.turn % 3 == 2 and state.x is not None:
        _on_board(shop, pieces_of(shop.board, state.model, state.x), budget, fine=True)
    else:
        _around(shop, budget)


def _on_board(
    shop: Workshop, start: list[list[Piece]] | None, budget: Budget, *, fine: bool
) -> None:
    state = shop.state
    phases = FINE if fine else COOLING
    x = search_board(state, shop.board, start, phases, budget, shop.rng)
    state.offer(x)
    if x is not None and not state.is_set():
        brief = Budget(min(4.0, state.left()), budget.steps)
        state.offer(polish(state, shop.near, x, brief, state.options.seed))


def _around(shop: Workshop, budget: Budget) -> None:
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


def _settled(state: State) -> Floats:
    """The best plan with its whole numbers held and everything else solved again around them."""
    model, x = state.model, state.x
    assert x is not None
    held = model.matrix.integer
    for place in range(len(model.keys["short_in"])):
        column = int(model.at["short_in"][place])
        cost = np.zeros(model.matrix.n_columns)
        cost[column] = 1.0
        part, columns = reduced(model.aimed(cost).matrix, ~held, x)
        answer = solve_matrix(part, Limits())
        if answer.x is None:
            return x
        least = answer.objective * (1 + 1e-9) + 1e-9
        upper = model.matrix.upper[model.at["short_in"]].copy()
        upper[place] = min(upper[place], least)
        model = model.bounded("short_in", upper)
    part, columns = reduced(model.matrix, ~held, x)
    answer = solve_matrix(part, Limits())
    if answer.x is None:
        return x
    y = x.copy()
    y[columns] = answer.x
    return y


def solve(
    season: Season,
    options: SolveOptions | None = None,
    on_progress: OnProgress | None = None,
    stop: Stop | None = None,
) -> Plan:
    """Plan a season.

    Raises
    ------
    NoPlanError
        When the time ran out before there was any plan, or the solver failed.
    Interrupted
        When `stop` was set before there was any plan.
    """
    with stdout_kept_clean():
        return _solve(State(options or SolveOptions(), on_progress, stop), season)


def _solve(state: State, season: Season) -> Plan:
    shop = _open(state, season)
    _first_plan(shop)
    _settle_shortage(shop)
    if not state.is_set():
        if state.options.effort is None:
            _search_by_time(shop)
        else:
            _search_by_effort(shop, state.options.effort)
    if state.x is None:
        if state.user_stop is not None and state.user_stop.is_set():
            msg = "stopped before there was any plan"
            raise Interrupted(msg)
        msg = f"no plan was found in {state.options.seconds:g} s; give it more time"
        raise NoPlanError(msg)
    plan = make_plan(state.model, _settled(state), state.floor, shortage_proven=state.short_proven)
    return replace(plan, seconds=state.seconds())

"""How a season is solved: first as few acres short as possible, then as cheap as possible.

Plans are looked for on a board, in a process of its own, and here in neighborhoods of the exact
model; another process proves floors, and all exchange what they find. DEVELOPERS.md says why.
"""

from __future__ import annotations

import threading
from contextlib import contextmanager
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from planner.errors import Interrupted, NoPlanError
from planner.optimize.annealing.anneal import plant_all
from planner.optimize.annealing.decode import lifted, on_model
from planner.optimize.annealing.order_tables import order_tables
from planner.optimize.annealing.state import Board
from planner.optimize.bounds.relaxations import exact, relax
from planner.optimize.heuristics.crossover import cross, worth_crossing
from planner.optimize.heuristics.neighborhood import Neighborhood, repair
from planner.optimize.heuristics.relax_and_fix import Task, mend
from planner.optimize.incumbent.budgets import Budget, longest
from planner.optimize.incumbent.incumbent import State
from planner.optimize.incumbent.restrictions import capped
from planner.optimize.mip.highs import Limits, Watch, knowing, now, reduced
from planner.optimize.mip.highs import solve as solve_matrix
from planner.optimize.mip.process import TICK
from planner.optimize.model.extract import make_plan
from planner.optimize.model.program import PURCHASE, aimed_at, order_held, rounded
from planner.optimize.options import SolveOptions, cores
from planner.optimize.search.large import dive_for_plan, in_choices, narrow, prove_floor
from planner.optimize.search.shortage import settle_shortage
from planner.optimize.search.workshop import (
    GRACE,
    around,
    bags_near,
    best_pieces,
    dismiss,
    hired,
    in_thread,
    is_large,
    keep_to_fewest_short,
    open_shop,
    polish_near,
    put_together,
    search_aside,
    sent_out,
    take_over,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from planner.optimize.annealing.state import Piece
    from planner.optimize.mip.highs import Floats, Solver
    from planner.optimize.mip.process import Worker
    from planner.optimize.model.program import Model
    from planner.optimize.options import OnProgress, Stop
    from planner.optimize.search.workshop import Workshop
    from planner.plan.plan import Plan
    from planner.season.domain import Season

FIRST_GAP = 0.1
"""How near its best the order of the first plan must be: nothing is known yet to order for."""
MOST_MORE = 6
"""Most processes that search beside the two that there always are."""
CURIOUS = 0.3
"""How often a way is tried that is not the best-paid one."""
MENDED = 6
"""Plans made beside a settled relaxation before the exact model takes the floor over."""
ORDER_SECONDS = 2.0
"""Most time in the end for the cheapest order for what an unproven plan treats."""
LATE = 0.15
"""Share of the time in the end in which any plans seen on boards are worth putting together."""


def _plan_large(shop: Workshop) -> None:
    """Prove the floor of a large season, go on over its promising choices, and dive for a plan."""
    state = shop.state
    with _searching_aside(shop, turn=2):
        proven = prove_floor(state)
    if proven is None:
        return
    growing, orders = proven
    narrow(state, growing)
    model = state.model
    shop.board = Board(model.it, model.choices, order_tables(model.it))
    shop.near, shop.held = Neighborhood(capped(state)), state.short
    shop.guide = in_choices(model, growing)
    with _searching_aside(shop):
        if orders is not None and orders.best is not None:
            dive_for_plan(state, orders, shop.near)
        if state.options.effort is None:
            _get_ready(shop)


@contextmanager
def _searching_aside(shop: Workshop, turn: int = 0) -> Iterator[None]:
    """Search on a board in another process meanwhile; not where work is counted."""
    state, done = shop.state, threading.Event()
    if state.options.effort is not None:
        yield
        return

    def take(pieces: list[list[Piece]]) -> None:
        state.offer(on_model(state, shop.board, pieces))

    shop.aside = shop.aside or hired(shop)
    worker = shop.aside
    aside = in_thread(shop, lambda: search_aside(shop, worker, take, done, turn))
    try:
        yield
    finally:
        done.set()
        since = now()
        while aside.is_alive():
            aside.join(TICK)
            if state.is_set() and now() - since > GRACE:
                worker.close()


def _first_plan(shop: Workshop) -> None:
    """Plant every field in one go; or, if the model does not take that, none at all.

    Where fields stay short, shares of all planted acres are shares of less: then once more, with
    less room.
    """
    state, board = shop.state, shop.board
    for _ in range(5):
        board.use_tables(order_tables(board.it), 1.0)
        plant_all(board, shop.rng)
        if state.offer(lifted(state.model, board, gap=FIRST_GAP)):
            return
        planted = 1.0 - float(board.short.sum()) / float(board.acres.sum())
        board.rule_cap = board.rule_cap * min(0.98, 0.99 * planted)
    board.clear()
    state.offer(lifted(state.model, board, gap=FIRST_GAP))


def _head_start(shop: Workshop, model: Model) -> None:
    """Let the exact solve try alone: most seasons need no more."""
    state = shop.state
    shares = len(model.keys["share"])
    head_start = state.options.params.head_start
    seconds = next((s for most, s in head_start if shares <= most), 0.0)
    limits = Limits(min(seconds, 0.25 * state.left()), gap=state.options.gap / 2)
    if limits.seconds > 0:
        work = in_thread(shop, lambda: exact(state, model, limits))
        while work.is_alive():
            work.join(0.1)


def _in_background(shop: Workshop, model: Model) -> threading.Thread:
    def work() -> None:
        shop.aside = shop.aside or hired(shop)
        if not is_large(shop):
            _prove(shop, model, shop.aside)
        search_aside(shop, shop.aside, shop.found.append)

    return in_thread(shop, work)


def _prove(shop: Workshop, model: Model, worker: Worker) -> None:
    """Raise the floor; once the relaxation is settled, and plans made of it, by the exact model."""
    state = shop.state

    def take_bags(x: Floats) -> None:
        shop.bags = x

    settled = relax(state, model, shop.order.put, take_bags, worker.solve)
    rng = np.random.default_rng([state.options.seed, 1])
    rounds = 0
    while _can(shop, "steps") and worker.is_alive() and not state.is_set():
        if settled and rounds == MENDED:
            break
        if rounds % 3 == 2 and len(worth_crossing(state)) > 1:
            cross(state, shop.near, rng, worker.solve)
        else:
            mend(_task(shop, rng, worker.solve))
        rounds += 1
    if settled and not state.is_set():
        limits = Limits(seconds=state.left(), gap=state.options.gap / 2)
        exact(state, model, limits, worker.solve)


def _use_more_cores(shop: Workshop) -> None:
    """Search on one more board for every core beyond the two that are busy anyway."""
    for n in range(min(MOST_MORE, (shop.state.options.cores or cores()) - 2)):
        worker = hired(shop)

        def work(worker: Worker = worker, turn: int = n + 2) -> None:
            search_aside(shop, worker, shop.found.append, turn=turn, seed=turn)

        in_thread(shop, work)


def _get_ready(shop: Workshop) -> None:
    """Have the board set up elsewhere; its first errand can take long."""
    sent_out(shop, Budget(0.01))
    shop.quick.set()


def _search_by_time(shop: Workshop) -> None:
    state = shop.state
    if is_large(shop):
        _plan_large(shop)
    model = capped(state)
    shop.near, shop.held = Neighborhood(model), state.short
    if not is_large(shop):
        _head_start(shop, model)
    if state.is_set():
        return
    prover = _in_background(shop, model)
    if not shop.quick.is_set():
        in_thread(shop, lambda: _get_ready(shop))
    _use_more_cores(shop)
    while not state.is_set():
        _turn(shop, None)
    prover.join(GRACE)
    dismiss(shop)
    prover.join(GRACE)
    if shop.errors and state.x is None:
        raise shop.errors[0]


def _search_by_effort(shop: Workshop, effort: int) -> None:
    state, steps = shop.state, shop.state.options.params.step_nodes
    if is_large(shop):
        _plan_large(shop)
    model = capped(state)
    shop.near, shop.held = Neighborhood(model), state.short
    if not is_large(shop):
        exact(state, model, Limits(gap=state.options.gap / 2, nodes=steps * effort))
    shop.quick.set()
    for _ in range(effort):
        if state.is_set():
            return
        _turn(shop, steps)


def _turn(shop: Workshop, steps: int | None) -> None:
    """Take over what was found elsewhere; else go the way that has paid most for its time."""
    state = shop.state
    shop.turn += 1
    keep_to_fewest_short(shop)
    if shop.found:
        take_over(shop, shop.found.pop())
        return
    budget = Budget(min(shop.cycle, longest(state), state.left()), steps)
    if shop.guide is not None and shop.quick.is_set():
        guide, shop.guide = shop.guide, None
        pieces = repair(shop.board, shop.near, guide, shop.rng)
        _on_board(shop, budget, start=pieces, fine=True)
        return
    way = _choose(shop)
    if way is None:
        shop.quick.wait(TICK)
        return
    _paid(shop, way, budget)


def _paid(shop: Workshop, way: str, budget: Budget) -> None:
    """Go one way, and note what it paid."""
    state = shop.state
    before, began, means = state.cost, now(), _means(shop)
    WAYS[way](shop, budget)
    if means != _means(shop):
        shop.paid.clear()  # before there is a board, or an order to hold, other ways pay well
    elif np.isfinite(before):
        seconds = now() - began if budget.steps is None else 1.0
        rate = (before - state.cost) / max(0.1, seconds)
        shop.paid[way] = 0.25 * shop.paid.get(way, rate) + 0.75 * rate


def _means(shop: Workshop) -> tuple[bool, bool]:
    return shop.quick.is_set(), shop.order.x is not None


def _choose(shop: Workshop) -> str | None:
    """Most ways once, then mostly the one that pays best; any at times; None if none can be."""
    if shop.patterns is not None and shop.quick.is_set():
        options = shop.state.options
        late = shop.state.left() < LATE * options.seconds
        if len(shop.seen) >= (1 if late else options.params.enough_seen):
            return "patterns"
        if "patterns" not in shop.paid:
            return "anew"
    ways = [w for w in WAYS if _can(shop, w)]
    if not ways:
        return None
    if "steps" in ways and shop.turn % 2:
        return "steps"
    first = FIRST if "steps" in ways else WAYS
    untried = [w for w in ways if w in first and w not in shop.paid]
    if untried:
        return untried[0]
    if shop.rng.random() < CURIOUS:
        return ways[int(shop.rng.integers(len(ways)))]
    return max(ways, key=lambda w: shop.paid.get(w, 0.0))


def _can(shop: Workshop, way: str) -> bool:
    """Whether a way is there to be chosen; patterns have a turn of their own."""
    if not (shop.near.has_shares if way in EXACT_WAYS else shop.quick.is_set()):
        return False
    if way == "steps":
        return shop.patterns is None and shop.order.x is not None
    if way == "cross":
        several = shop.patterns is None and not is_large(shop)
        return several and len(worth_crossing(shop.state)) > 1
    if way == "parts":
        return shop.near.most > 1
    if way in ("bags", "around"):
        return shop.patterns is None or shop.state.is_short
    return way != "patterns"


def _anew(shop: Workshop, budget: Budget) -> None:
    """Cool a board down from a first planting."""
    _on_board(shop, budget)
    if shop.patterns is None:  # many plans are worth more there than good ones
        shop.cycle = min(shop.cycle * 1.3, longest(shop.state))


def _finer(shop: Workshop, budget: Budget) -> None:
    """Go on from the best plan on the board."""
    _on_board(shop, budget, start=best_pieces(shop), fine=True)


def _less(shop: Workshop, budget: Budget) -> None:
    """Go on from the best plan, doing without one of its containers."""
    _on_board(shop, budget, start=best_pieces(shop), fine=True, less=True)


def _bags(shop: Workshop, budget: Budget) -> None:
    """Solve for plans with nearly the bags of the best one."""
    del budget
    assert shop.state.x is not None
    bags_near(shop, shop.state.x)


def _parts(shop: Workshop, budget: Budget) -> None:
    """Solve for plans with just the full bags of the best one, and just its order."""
    del budget
    assert shop.state.x is not None
    bags_near(shop, shop.state.x, within=0, order=False)


def _patterns(shop: Workshop, budget: Budget) -> None:
    """Put patterns of all plans so far together anew, under the order of the best one.

    Where seed is short, few of them can be so: under any order.
    """
    del budget
    state = shop.state
    _polish_best(shop)
    model = shop.near.model
    assert state.x is not None
    matrix = model.matrix if state.is_short else order_held(model, state.x)
    state.offer(put_together(shop, matrix))
    _polish_best(shop)


def _polish_best(shop: Workshop) -> None:
    """Polish the best plan, if it is new."""
    state = shop.state
    if state.x is not None and state.x is not shop.polished and not state.is_set():
        polish_near(shop, state.x)
        shop.polished = state.x


def _steps(shop: Workshop, budget: Budget) -> None:
    """Make a plan step by step."""
    del budget
    mend(_task(shop, shop.rng, solve_matrix))


def _task(shop: Workshop, rng: np.random.Generator, solver: Solver) -> Task:
    return Task(shop.state, shop.near, shop.order, shop.bags, rng, solver)


def _cross(shop: Workshop, budget: Budget) -> None:
    """Cross the best plan with another good one."""
    del budget
    cross(shop.state, shop.near, shop.rng, solve_matrix)


def _on_board(
    shop: Workshop,
    budget: Budget,
    *,
    start: list[list[Piece]] | None = None,
    fine: bool = False,
    less: bool = False,
) -> None:
    pieces = sent_out(shop, budget, start=start, fine=fine, less=less)
    if pieces is not None:
        take_over(shop, pieces)
    else:
        shop.quick.clear()


WAYS: dict[str, Callable[[Workshop, Budget], None]] = {
    "steps": _steps,
    "anew": _anew,
    "parts": _parts,
    "cross": _cross,
    "finer": _finer,
    "patterns": _patterns,
    "less": _less,
    "bags": _bags,
    "around": around,
}
"""Ways to a better plan, in the order in which they are first tried."""
FIRST = ("cross", "finer")
"""Those that are always tried once where plans are made step by step every other time."""
EXACT_WAYS = ("steps", "parts", "cross", "around", "bags")
"""Those that need the field rule, and no board in machine code."""


def _order_for_the_same(state: State) -> None:
    """Offer the best plan with the cheapest order for what it plants and treats.

    A search that is stopped early may hold an order that a small exact solve betters.
    """
    model, x = state.model, state.x
    assert x is not None
    free = np.zeros(model.matrix.n_columns, dtype=bool)
    for group in PURCHASE:
        free[model.at[group]] = True
    part, columns = reduced(model.matrix, free, x)
    limits = Limits(seconds=ORDER_SECONDS, seed=state.options.seed)
    if state.options.effort is not None:
        limits = Limits(nodes=state.options.params.step_nodes, seed=state.options.seed)
    answer = solve_matrix(part, limits, watch=Watch(better=knowing(part, x[columns])))
    if answer.x is not None:
        y = x.copy()
        y[columns] = answer.x
        state.offer(rounded(model, y))


def _settled(state: State) -> Floats:
    """The best plan with its whole numbers held and everything else solved again around them."""
    model, x = state.model, state.x
    assert x is not None
    held = model.matrix.integer
    for place in range(len(model.keys["short_in"])):
        column = int(model.at["short_in"][place])
        part, columns = reduced(aimed_at(model, column), ~held, x)
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
    return _solve(State(options or SolveOptions(), on_progress, stop), season)


def _solve(state: State, season: Season) -> Plan:
    return search(open_shop(state, season))


def search(shop: Workshop) -> Plan:
    """Search from an open workshop to the end; errors as `solve`."""
    state = shop.state
    try:
        _first_plan(shop)
        settle_shortage(shop)
        if not state.is_set():
            if state.options.effort is None:
                _search_by_time(shop)
            else:
                _search_by_effort(shop, state.options.effort)
    finally:
        dismiss(shop)
    if state.x is None:
        if state.user_stop is not None and state.user_stop.is_set():
            msg = "stopped before there was any plan"
            raise Interrupted(msg)
        msg = f"no plan was found in {state.options.seconds:g} s; give it more time"
        raise NoPlanError(msg)
    if not state.ended.is_set():
        _order_for_the_same(state)
    plan = make_plan(state.model, _settled(state), state.floor, shortage_proven=state.short_proven)
    return replace(plan, seconds=state.seconds())

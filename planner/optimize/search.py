"""How a season is solved: first as few acres short as possible, then as cheap as possible.

Plans are looked for on a board, in a process of its own, and here in neighborhoods of the exact
model; another process proves floors, and all exchange what they find. DEVELOPERS.md says why.
"""

from __future__ import annotations

import threading
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from planner.errors import Interrupted, NoPlanError
from planner.optimize.board import Board
from planner.optimize.columns import best_with_room, rough_price
from planner.optimize.extract import make_plan
from planner.optimize.floors import exact, fewest_short, relax
from planner.optimize.instance import make_instance
from planner.optimize.large import dive_for_plan, in_choices, narrow, prove_floor
from planner.optimize.lift import lifted
from planner.optimize.model import make_model
from planner.optimize.options import SolveOptions, cores
from planner.optimize.orders import order_tables
from planner.optimize.solver import Limits, Watch, now, reduced, stdout_kept_clean
from planner.optimize.solver import solve as solve_matrix
from planner.optimize.state import State
from planner.optimize.strategies import (
    Budget,
    Neighborhood,
    capped,
    errand,
    on_model,
    pieces_of,
    plant_all,
    polish,
    repair,
    shrink_or_grow,
)
from planner.optimize.worker import TICK, Worker

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from planner.optimize.board import Piece
    from planner.optimize.model import Model
    from planner.optimize.options import OnProgress, Stop
    from planner.optimize.solver import Floats, Solver
    from planner.plan.plan import Plan
    from planner.season.domain import Season

HEAD_START = ((100, 15.0),)
"""Seconds that the exact solve has before the search joins in, for models up to so many shares."""
FIRST_GAP = 0.1
"""How near its best the order of the first plan must be: nothing is known yet to order for."""
MANY_CHOICES = 20_000
"""Seasons with more choices are searched over the promising ones of every field."""
FIRST_CHOICES = 25
"""Choices that a field is first offered in such a season."""
MOST_MORE = 6
"""Most processes that search beside the two that there always are."""
GRACE = 2.0
"""Seconds that the process beside the search has to end by itself."""
CURIOUS = 0.3
"""How often a way is tried that is not the best-paid one."""
FEW_BREAKING = 0.35
"""Share of fields that may break the field rule in a relaxation that is worth mending."""
PATIENCE = 0.07
"""Share of the time in which a solve near a solution must find a better one to go on."""
LONGEST = 2.0
"""How many times as long such a solve takes at the most."""
MENDED = 3
"""Plans made of a settled relaxation before the exact model takes the floor over."""
DEAR = 1.02
"""Plans that cost so many times as much as the best one are not worth polishing."""
STEP_NODES = 300
"""Branch-and-bound nodes, or moves on the board, that count as one step of effort."""


@dataclass(slots=True)
class Workshop:
    """What the search for plans works with."""

    state: State
    board: Board
    near: Neighborhood
    rng: np.random.Generator
    held: tuple[float, ...] = ()
    """Acres short, by priority, that `near` holds to."""
    guides: list[Floats] = field(default_factory=list)
    """Solutions of the relaxation in which many fields break the field rule, not yet followed."""
    guide: Floats | None = None
    """The newest in which few do."""
    followed: Floats | None = None
    """That from which plans were last made."""
    mended: int = 0
    """How often that was tried."""
    found: list[list[list[Piece]]] = field(default_factory=list)
    """Plans from the board in the other process."""
    cycle: float = 3.0
    freed: int = 8
    turn: int = 0
    guided: bool = False
    """Whether the last turn followed a guide: they come faster than they can be followed."""
    workers: list[Worker] = field(default_factory=list)
    aside: Worker | None = None
    """The process that proves floors, and searches when there is none to raise."""
    hand: Worker | None = None
    """The process whose board is worked on for this one; None before there is any need."""
    quick: threading.Event = field(default_factory=threading.Event)
    """Whether that board is ready."""
    paid: dict[str, float] = field(default_factory=dict)
    """Money a second that each way has lately saved."""
    errors: list[BaseException] = field(default_factory=list)


def _open(state: State, season: Season) -> Workshop:
    it = make_instance(season)
    choices, tables = it.choices, order_tables(it)
    if len(choices) > MANY_CHOICES:
        price = rough_price(it, tables)
        choices = choices.only(best_with_room(it, price, FIRST_CHOICES))
    state.model = make_model(it, choices)
    board = Board(it, choices, tables)
    rng = np.random.default_rng(state.options.seed)
    cycle = 3.0 * max(1.0, len(it.fields) / 60.0)
    return Workshop(state, board, Neighborhood(state.model), rng, cycle=cycle)


def _large(shop: Workshop) -> bool:
    return len(shop.state.model.choices) < len(shop.state.model.it.choices)


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
    shop.guides.append(in_choices(model, growing))
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

    shop.aside = shop.aside or _hired(shop)
    worker = shop.aside
    aside = _in_thread(shop, lambda: _search_aside(shop, worker, take, done, turn))
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


def _settle_shortage(shop: Workshop) -> None:
    """Make acres short as few as possible, and prove it where the time allows."""
    state = shop.state
    if not state.is_short:
        state.prove_shortage()
        return
    counted = state.options.effort is not None
    if len(state.model.keys["share"]) > 100:
        for _ in range(3):
            budget = Budget(min(20.0, 0.1 * state.left()), STEP_NODES if counted else None)
            pieces = _sent_out(shop, budget)
            if pieces is not None:
                state.offer(on_model(state, shop.board, pieces))
            if not state.is_short:
                state.prove_shortage()
                return
    if _large(shop):
        return
    nodes = STEP_NODES * (state.options.effort or 0) if counted else None
    if fewest_short(state, state.model, state.left() * 0.4, nodes):
        state.prove_shortage()
    if state.x is not None:
        _polish(shop, state.x)


def _head_start(shop: Workshop, model: Model) -> None:
    """Let the exact solve try alone: most seasons need no more."""
    state = shop.state
    shares = len(model.keys["share"])
    seconds = next((s for most, s in HEAD_START if shares <= most), 0.0)
    limits = Limits(min(seconds, 0.25 * state.left()), gap=state.options.gap / 2)
    if limits.seconds > 0:
        work = _in_thread(shop, lambda: exact(state, model, limits))
        while work.is_alive():
            work.join(0.1)


def _in_background(shop: Workshop, model: Model) -> threading.Thread:
    def work() -> None:
        shop.aside = shop.aside or _hired(shop)
        if not _large(shop):
            _prove(shop, model, shop.aside)
        _search_aside(shop, shop.aside, shop.found.append)

    return _in_thread(shop, work)


def _prove(shop: Workshop, model: Model, worker: Worker) -> None:
    """Raise the floor; once the relaxation is settled, and plans made of it, by the exact model."""
    state = shop.state

    def take(guide: Floats) -> None:
        few = shop.near.breaking(guide).mean() <= FEW_BREAKING
        if few and shop.near.most > 1 and not state.is_short:
            shop.guide = guide
        else:
            shop.guides.append(guide)

    settled = relax(state, model, take, worker.solve)
    rng = np.random.default_rng([state.options.seed, 1])
    rounds = 0
    while shop.guide is not None and worker.is_alive() and not state.is_set():
        if settled and rounds == MENDED:
            break
        _mend(shop, rng, worker.solve)
        rounds += 1
    if settled and not state.is_set():
        limits = Limits(seconds=state.left(), gap=state.options.gap / 2)
        exact(state, model, limits, worker.solve)


def _use_more_cores(shop: Workshop) -> None:
    """Search on one more board for every core beyond the two that are busy anyway."""
    for n in range(min(MOST_MORE, (shop.state.options.cores or cores()) - 2)):
        worker = _hired(shop)

        def work(worker: Worker = worker, turn: int = n + 2) -> None:
            _search_aside(shop, worker, shop.found.append, turn=turn, seed=turn)

        _in_thread(shop, work)


def _in_thread(shop: Workshop, job: Callable[[], object]) -> threading.Thread:
    """Do a job beside the main thread, which then still hears Ctrl-C."""

    def work() -> None:
        try:
            job()
        except Exception as error:
            shop.errors.append(error)

    thread = threading.Thread(target=work, daemon=True)
    thread.start()
    return thread


def _hired(shop: Workshop) -> Worker:
    worker = Worker()
    shop.workers.append(worker)
    return worker


def _dismiss(shop: Workshop) -> None:
    for worker in shop.workers:
        worker.close()


def _get_ready(shop: Workshop) -> None:
    """Have the board set up elsewhere; its first errand can take long."""
    _sent_out(shop, Budget(0.01))
    shop.quick.set()


def _sent_out(
    shop: Workshop,
    budget: Budget,
    *,
    start: list[list[Piece]] | None = None,
    fine: bool = False,
    less: bool = False,
) -> list[list[Piece]] | None:
    """Have an errand done on the board in the other process; None if that is not to be had."""
    state, board = shop.state, shop.board
    shop.hand = shop.hand or _hired(shop)
    job = errand(state, board, budget, shop.rng, start=start, fine=fine, less=less)
    return shop.hand.anneal(board.it, board.choices, job, state)


def _search_by_time(shop: Workshop) -> None:
    state = shop.state
    if _large(shop):
        _plan_large(shop)
    model = capped(state)
    shop.near, shop.held = Neighborhood(model), state.short
    if not _large(shop):
        _head_start(shop, model)
    if state.is_set():
        return
    prover = _in_background(shop, model)
    if not shop.quick.is_set():
        _in_thread(shop, lambda: _get_ready(shop))
    _use_more_cores(shop)
    while not state.is_set():
        _turn(shop, None)
    prover.join(GRACE)
    _dismiss(shop)
    prover.join(GRACE)
    if shop.errors and state.x is None:
        raise shop.errors[0]


def _search_by_effort(shop: Workshop, effort: int) -> None:
    state = shop.state
    if _large(shop):
        _plan_large(shop)
    model = capped(state)
    shop.near, shop.held = Neighborhood(model), state.short
    if not _large(shop):
        exact(state, model, Limits(gap=state.options.gap / 2, nodes=STEP_NODES * effort))
    shop.quick.set()
    for _ in range(effort):
        if state.is_set():
            return
        _turn(shop, STEP_NODES)


def _turn(shop: Workshop, steps: int | None) -> None:
    """Follow up what the proof has found; else the way that has paid most for its time."""
    state = shop.state
    shop.turn += 1
    _keep_to_fewest_short(shop)
    if state.is_short:  # a relaxation mended leaves more
        shop.guides.clear()
    if shop.found:
        _take_over(shop, shop.found.pop())
        return
    budget = Budget(min(shop.cycle, _longest(state), state.left()), steps)
    fresh = shop.guides or shop.guide is not shop.followed
    if fresh and not (shop.guided and shop.quick.is_set()):
        shop.guided = True
        _follow(shop, budget)
        return
    shop.guided = False
    way = _choose(shop)
    if way is None:
        shop.quick.wait(TICK)
        return
    _paid(shop, way, budget)


def _follow(shop: Workshop, budget: Budget) -> None:
    """Make a plan of the newest solution of the relaxation."""
    if shop.guide is not shop.followed:
        shop.followed = shop.guide
        _paid(shop, "guided", budget)
        return
    guide = shop.guides.pop()
    shop.guides.clear()
    pieces = repair(shop.board, shop.near, guide, shop.rng)
    if shop.quick.is_set():
        _on_board(shop, budget, start=pieces, fine=True)
    else:
        _take_over(shop, pieces)


def _paid(shop: Workshop, way: str, budget: Budget) -> None:
    """Go one way, and note what it paid."""
    state = shop.state
    before, began, ready = state.cost, now(), shop.quick.is_set()
    WAYS[way](shop, budget)
    if ready != shop.quick.is_set():
        shop.paid.clear()  # before there is a board, little pays well
    elif np.isfinite(before):
        seconds = now() - began if budget.steps is None else 1.0
        rate = (before - state.cost) / max(0.1, seconds)
        shop.paid[way] = 0.25 * shop.paid.get(way, rate) + 0.75 * rate


def _choose(shop: Workshop) -> str | None:
    """Each way once, then mostly the one that pays best; any now and then; None if none can be."""
    ways = [w for w in WAYS if w not in EXACT_WAYS or shop.near.has_shares]
    if not shop.quick.is_set():
        ways = [w for w in ways if w in EXACT_WAYS]
    if shop.guide is None:
        ways = [w for w in ways if w != "guided"]
    if shop.near.most == 1:
        ways = [w for w in ways if w != "parts"]
    if not ways:
        return None
    untried = [w for w in ways if w not in shop.paid]
    if untried:
        return untried[0]
    if shop.rng.random() < CURIOUS:
        return ways[int(shop.rng.integers(len(ways)))]
    return max(ways, key=lambda w: shop.paid[w])


def _longest(state: State) -> float:
    """Seconds that one stretch of search may take."""
    return max(3.0, 0.15 * state.options.seconds)


def _anew(shop: Workshop, budget: Budget) -> None:
    """Cool a board down from a first planting."""
    _on_board(shop, budget)
    shop.cycle = min(shop.cycle * 1.3, _longest(shop.state))


def _finer(shop: Workshop, budget: Budget) -> None:
    """Go on from the best plan on the board."""
    _on_board(shop, budget, start=_best_pieces(shop), fine=True)


def _less(shop: Workshop, budget: Budget) -> None:
    """Go on from the best plan, doing without one of its containers."""
    _on_board(shop, budget, start=_best_pieces(shop), fine=True, less=True)


def _bags(shop: Workshop, budget: Budget) -> None:
    """Solve for plans with nearly the bags of the best one."""
    del budget
    assert shop.state.x is not None
    _bags_near(shop, shop.state.x)


def _parts(shop: Workshop, budget: Budget) -> None:
    """Solve for plans with just the full bags of the best one, and just its order."""
    del budget
    assert shop.state.x is not None
    _bags_near(shop, shop.state.x, within=0, order=False)


def _guided(shop: Workshop, budget: Budget) -> None:
    """Make plans of the relaxation's solution."""
    del budget
    _mend(shop, shop.rng, solve_matrix)


def _mend(shop: Workshop, rng: np.random.Generator, solver: Solver) -> None:
    """Make a plan of the relaxation's solution, then settle its planting and its bags in turn.

    Once there is a newer solution, only a plan that is the best so far is gone on with.
    """
    state, guide = shop.state, shop.guide
    assert guide is not None
    x = _mended(shop, guide, rng, solver)
    state.offer(x)
    for step, (within, order) in enumerate(((0, True), (1, True), (0, False))):
        dear = x is not None and _times_best(state, x) > 1.0
        stale = step > 0 and dear and shop.guide is not guide
        if x is None or stale or state.is_set():
            return
        limits, watch = _limits(shop, rng), _patient(state)
        y, _ = shop.near.near_bags(
            x, limits, watch, start=True, within=within, order=order, solver=solver
        )
        x = x if y is None else y
        state.offer(x)


def _mended(
    shop: Workshop, guide: Floats, rng: np.random.Generator, solver: Solver
) -> Floats | None:
    """A plan near a solution in which some fields break the field rule.

    Held are, in turn, the fields that keep it, or the bags, or nearly the bags.
    """
    near, state = shop.near, shop.state
    x = None
    for _ in range(3):
        shop.mended += 1
        limits, watch = _limits(shop, rng), _patient(state)
        if shop.mended % 3 == 1:
            limits = replace(limits, seconds=limits.seconds / LONGEST)
            bad = near.breaking(guide)
            x, _ = near.solve(guide, bad, limits, watch, start=False, solver=solver)
        else:
            within = 0 if shop.mended % 3 == 2 else 1
            x, _ = near.near_bags(guide, limits, watch, start=False, within=within, solver=solver)
        if x is not None or state.is_set():
            break
    return x


def _times_best(state: State, x: Floats) -> float:
    """Cost of a solution as a multiple of the best plan's; costs may be negative."""
    return 1.0 + (state.model.matrix.price(x) - state.cost) / max(1.0, abs(state.cost))


def _best_pieces(shop: Workshop) -> list[list[Piece]] | None:
    x = shop.state.x
    return None if x is None else pieces_of(shop.board, shop.state.model, x)


def _on_board(
    shop: Workshop,
    budget: Budget,
    *,
    start: list[list[Piece]] | None = None,
    fine: bool = False,
    less: bool = False,
) -> None:
    pieces = _sent_out(shop, budget, start=start, fine=fine, less=less)
    if pieces is not None:
        _take_over(shop, pieces)
    else:
        shop.quick.clear()


def _take_over(shop: Workshop, pieces: list[list[Piece]]) -> None:
    """Offer a plan in pieces, then the same with its acres, bags and order solved again."""
    state = shop.state
    x = on_model(state, shop.board, pieces)
    state.offer(x)
    if x is not None and _times_best(state, x) <= DEAR and not state.is_set():
        _polish(shop, x)


def _polish(shop: Workshop, x: Floats) -> None:
    """Offer a plan with its shares held and all else solved again, then with its full bags held."""
    state = shop.state
    _keep_to_fewest_short(shop)
    counted = STEP_NODES if state.options.effort is not None else None
    several = shop.near.most > 1 and not _large(shop) and not state.is_short
    brief = Budget(min(1.0 if several else 4.0, state.left()), counted)
    y = polish(state, shop.near, x, brief, state.options.seed)
    state.offer(y)
    if several and not state.is_set():
        _bags_near(shop, x if y is None else y, within=0)


def _keep_to_fewest_short(shop: Workshop) -> None:
    """Hold what is solved near the best plan to its acres short, should they have become fewer."""
    if shop.held != shop.state.short:
        shop.near, shop.held = Neighborhood(capped(shop.state)), shop.state.short


@dataclass(frozen=True, slots=True)
class _Either:
    """Stop where one of two says so."""

    one: Stop
    other: Stop

    def is_set(self) -> bool:
        """Whether to stop."""
        return self.one.is_set() or self.other.is_set()


def _search_aside(
    shop: Workshop,
    worker: Worker,
    take: Callable[[list[list[Piece]]], None],
    done: Stop | None = None,
    turn: int = 0,
    seed: int = 1,
) -> None:
    """Search on a board in another process too: from the best plan, with less of it, anew.

    `turn` says which of the three comes first.
    """
    state = shop.state
    rng = np.random.default_rng([state.options.seed, seed])
    cycle = min(2.0 * shop.cycle, _longest(state))
    stop = state if done is None else _Either(state, done)
    while not stop.is_set() and state.x is not None:
        budget = Budget(min(cycle, state.left()))
        anew, less = turn % 3 == 2, turn % 3 == 1
        start = None if anew else pieces_of(shop.board, state.model, state.x)
        job = errand(state, shop.board, budget, rng, start=start, fine=not anew, less=less)
        turn += 1
        pieces = worker.anneal(state.model.it, state.model.choices, job, stop)
        if pieces is None:
            return
        take(pieces)


def _bags_near(shop: Workshop, x: Floats, *, within: int = 1, order: bool = True) -> None:
    """Solve for plans whose bags are nearly those of a plan."""
    state = shop.state
    limits, watch = _limits(shop, shop.rng), _patient(state)
    y, _ = shop.near.near_bags(x, limits, watch, start=True, within=within, order=order)
    state.offer(y)


@dataclass(slots=True)
class _Patience:
    """Stop a solve that has found nothing better for a while."""

    state: State
    since: float

    def hear(self, x: Floats, cost: float) -> None:
        """Note that something better was found."""
        del x, cost
        self.since = now()

    def is_set(self) -> bool:
        """Whether to stop."""
        idle = now() - self.since > PATIENCE * self.state.options.seconds
        return self.state.is_set() or (idle and self.state.options.effort is None)


def _patient(state: State) -> Watch:
    patience = _Patience(state, now())
    return Watch(patience, patience.hear)


def _limits(shop: Workshop, rng: np.random.Generator) -> Limits:
    """For a solve that need not come to its end."""
    seed, options = int(rng.integers(2**31)), shop.state.options
    if options.effort is not None:
        return Limits(nodes=STEP_NODES, gap=1e-4, seed=seed)
    longest = min(LONGEST * PATIENCE * options.seconds, shop.state.left())
    return Limits(seconds=longest, gap=1e-4, seed=seed)


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


WAYS: dict[str, Callable[[Workshop, Budget], None]] = {
    "guided": _guided,
    "anew": _anew,
    "parts": _parts,
    "finer": _finer,
    "less": _less,
    "bags": _bags,
    "around": _around,
}
"""Ways to a better plan, in the order in which they are first tried."""
EXACT_WAYS = ("guided", "parts", "around", "bags")
"""Those that need the field rule, and no board in machine code."""


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
    try:
        _first_plan(shop)
        _settle_shortage(shop)
        if not state.is_set():
            if state.options.effort is None:
                _search_by_time(shop)
            else:
                _search_by_effort(shop, state.options.effort)
    finally:
        _dismiss(shop)
    if state.x is None:
        if state.user_stop is not None and state.user_stop.is_set():
            msg = "stopped before there was any plan"
            raise Interrupted(msg)
        msg = f"no plan was found in {state.options.seconds:g} s; give it more time"
        raise NoPlanError(msg)
    plan = make_plan(state.model, _settled(state), state.floor, shortage_proven=state.short_proven)
    return replace(plan, seconds=state.seconds())

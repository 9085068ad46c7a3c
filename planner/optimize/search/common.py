"""What the search for plans works with, and what all its strategies have in common."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from planner.optimize.annealing.anneal import anneal_apart, annealing_job
from planner.optimize.annealing.decode import on_model, pieces_of, planted
from planner.optimize.annealing.order_tables import order_tables
from planner.optimize.annealing.state import AnnealingState
from planner.optimize.bounds.column_generation import best_with_room, rough_price
from planner.optimize.heuristics.neighborhood import DUST, Neighborhood, polish, shrink_or_grow
from planner.optimize.heuristics.relax_and_fix import OrderToHold
from planner.optimize.heuristics.set_partitioning import Patterns
from planner.optimize.incumbent.budgets import Budget, limits_near, patient, times_best
from planner.optimize.incumbent.restrictions import capped
from planner.optimize.mip.highs import Watch, now
from planner.optimize.mip.verified import SMALL
from planner.optimize.model.instance import make_instance, places_at
from planner.optimize.model.program import make_model
from planner.optimize.search.workers import Workers

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from planner.optimize.annealing.anneal import AnnealingJob
    from planner.optimize.annealing.state import Piece
    from planner.optimize.bounds.dantzig_wolfe import OrdersKnown
    from planner.optimize.bounds.variety_aggregated import AggregatedSearch
    from planner.optimize.incumbent.incumbent import Incumbent
    from planner.optimize.mip.highs import Floats, Matrix
    from planner.optimize.mip.process import Worker
    from planner.optimize.model.instance import Instance
    from planner.optimize.model.program import Model
    from planner.optimize.options import Stop
    from planner.plan.plan import Plan
    from planner.season.domain import Season


RELAXATION, EXACT, AGGREGATED = "relaxation", "exact model", "variety-aggregated relaxation"
ORDER_APART, DIVING = "Benders decomposition", "diving"
PATTERNS = "Dantzig-Wolfe decomposition"
BOUNDS = (RELAXATION, EXACT, AGGREGATED, ORDER_APART, DIVING, PATTERNS)
"""What proves that no plan is better, or makes one plan of what was proven; by name."""


@dataclass(slots=True)
class Memory:
    """What the search remembers from one turn to the next.

    One thread at a time changes it: the main one, or that of the first plan, for which it waits.
    """

    current: AnnealingState
    near: Neighborhood
    held: tuple[float, ...] = ()
    """Acres short, by priority, that `near` holds to."""
    guide: Floats | None = None
    """A solution of a large season's relaxation, to be followed."""
    orders: OrdersKnown | None = None
    """Where patterns are put together: for the bound by these."""
    aggregated: AggregatedSearch | None = None
    """What varieties every field has at best, bags left out; None where that is not asked for."""
    polished: Floats | None = None
    """The plan that was last polished before its patterns were put together."""
    cycle: float = 3.0
    """Seconds of a stretch of annealing."""
    freed: int = 8
    """Fields of a neighborhood."""
    turn: int = 0
    rewards: dict[str, float] = field(default_factory=dict)
    """Reward of each strategy: money a second that it has lately saved."""


@dataclass(frozen=True, slots=True)
class Context:
    """What the search works with; what changes is in parts that say which threads may change it."""

    incumbent: Incumbent
    """Options, model, best plan, bound and clock; locked."""
    memory: Memory
    rng: np.random.Generator
    """That thread's."""
    patterns: Patterns | None = None
    """Those of plans so far, that thread's; None where they are not put together again."""
    order: OrderToHold = field(default_factory=OrderToHold)
    """What relaxations gave, to make plans of; locked."""
    workers: Workers = field(default_factory=Workers)
    """Processes and threads beside, and what they have found."""

    @property
    def current(self) -> AnnealingState:
        """The annealing state of the main thread."""
        return self.memory.current

    @property
    def near(self) -> Neighborhood:
        """What solves parts of the exact model around the best plan."""
        return self.memory.near


def open_context(incumbent: Incumbent, season: Season, known: Plan | None = None) -> Context:
    """Write the season down as numbers, with the promising choices of it where there are many.

    What a known plan plants is among these.
    """
    it = make_instance(season, incumbent.options.params.line)
    choices, tables, params = it.choices, order_tables(it), incumbent.options.params
    if params.are_many(choices):
        best = best_with_room(it, rough_price(it, tables), params.first_choices)
        best = best if known is None else np.union1d(best, places_planted(it, known))
        choices = choices.only(best)
    incumbent.model = make_model(it, choices)
    current = AnnealingState(it, choices, tables)
    rng = np.random.default_rng(incumbent.options.seed)
    near = Neighborhood(incumbent.model)
    whole = len(choices) == len(it.choices) and near.has_shares
    patterns = Patterns(incumbent.model, params.strategies) if whole and near.most == 1 else None
    memory = Memory(current, near, cycle=3.0 * max(1.0, len(it.fields) / 60.0))
    return Context(incumbent, memory, rng, patterns)


def places_planted(it: Instance, plan: Plan) -> NDArray[np.int64]:
    """Places of the choices that a plan plants."""
    fields = {f.name: i for i, f in enumerate(it.fields)}
    lots, recipes = it.lot_at, it.recipe_at
    keys = [
        (fields[p.field], lots[p.lot], recipes[p.recipe])
        for p in plan.planting
        if p.field in fields and p.lot in lots and p.recipe in recipes
    ]
    return places_at(it, *np.array(keys, dtype=np.int64).reshape(-1, 3).T)


def uses(context: Context, name: str) -> bool:
    """Whether a strategy or bound is not switched off."""
    return name not in context.incumbent.options.params.without


def is_large(context: Context) -> bool:
    """Whether the search is over the promising choices only."""
    return len(context.incumbent.model.choices) < len(context.incumbent.model.it.choices)


def is_tiny(context: Context) -> bool:
    """Whether the exact model takes less time to solve than a process to start."""
    return context.incumbent.model.matrix.n_columns <= SMALL


def with_patterns(context: Context) -> bool:
    """Whether the bound is one by patterns: a field has one variety, and all are planted."""
    one = context.patterns is not None and context.incumbent.is_covered
    return one and uses(context, PATTERNS)


def is_small(context: Context) -> bool:
    """Whether the exact model settles the acres short, without a plan from elsewhere."""
    incumbent = context.incumbent
    return len(
        incumbent.model.keys["share"]
    ) <= incumbent.options.params.small_shares and not is_large(context)


def submit_annealing(
    context: Context,
    budget: Budget,
    *,
    start: list[list[Piece]] | None = None,
    fine: bool = False,
    less: bool = False,
    acres: bool = False,
) -> list[list[Piece]] | None:
    """Have an annealing job done in the other process; None if that is not available."""
    job = annealing_job(
        context.incumbent,
        budget,
        context.rng,
        start=start,
        fine=fine,
        less=less,
        acres=acres,
    )
    return submit(context, context.workers.for_annealing(), job, context.incumbent)


def submit(
    context: Context, worker: Worker, job: AnnealingJob, stop: Stop
) -> list[list[Piece]] | None:
    """Have an annealing job done, keeping samples where patterns can be made of them."""
    samples = context.incumbent.options.params.strategies.samples
    job = replace(job, samples=0 if context.patterns is None else samples)
    return anneal_apart(worker, context.current, job, stop, context.workers.seen)


def get_ready(context: Context) -> None:
    """Have the annealer set up elsewhere; its first job can take long."""
    submit_annealing(context, Budget(0.01))
    context.workers.ready.set()


def bags_near(context: Context, x: Floats, *, within: int = 1, order: bool = True) -> None:
    """Solve for plans whose bags are nearly those of a plan."""
    incumbent = context.incumbent
    limits, watch = limits_near(context.incumbent, context.rng), patient(incumbent, started=True)
    y, _ = context.near.near_bags(x, limits, watch, start=True, within=within, order=order)
    incumbent.offer(y)


def best_of_patterns(context: Context, matrix: Matrix) -> Floats | None:
    """The best plan that patterns of the plans so far make, continued from the best one."""
    incumbent, patterns = context.incumbent, context.patterns
    assert patterns is not None
    assert incumbent.x is not None
    while context.workers.seen:
        patterns.add(planted(incumbent.model, context.current, context.workers.seen.pop()))
    limits, watch = limits_near(context.incumbent, context.rng), patient(incumbent, started=True)
    return patterns.best(matrix, incumbent.x, limits, watch)


def keep_to_fewest_short(context: Context) -> None:
    """Hold what is solved near the best plan to its acres short, should they have become fewer."""
    if context.memory.held != context.incumbent.short:
        hold_short(context, capped(context.incumbent))


def hold_short(context: Context, model: Model) -> None:
    """Solve near the best plan in this model, which holds its acres short."""
    context.memory.near, context.memory.held = Neighborhood(model), context.incumbent.short


def polish_near(context: Context, x: Floats) -> None:
    """Offer a plan with its shares held and all else solved again, then with its full bags held.

    The latter by time only once there are plans that were made step by step: those are far better.
    """
    incumbent = context.incumbent
    keep_to_fewest_short(context)
    steps = incumbent.options.steps
    several = context.near.most > 1 and not is_large(context) and not incumbent.is_short
    brief = Budget(min(1.0 if several else 4.0, incumbent.left()), steps)
    y = polish(incumbent, context.near, x, brief, incumbent.options.seed)
    incumbent.offer(y)
    if several and (steps or "relax and fix" in context.memory.rewards) and not incumbent.is_set():
        bags_near(context, x if y is None else y, within=0)


def take_over(context: Context, pieces: list[list[Piece]]) -> None:
    """Offer a plan in pieces, then the same with its acres, bags and order solved again."""
    incumbent = context.incumbent
    x = on_model(incumbent, context.current, pieces)
    incumbent.offer(x)
    if context.patterns is not None:  # it is polished with the best of its patterns
        return
    most = incumbent.options.params.strategies.worth_polishing
    if x is not None and times_best(incumbent, x) <= most and not incumbent.is_set():
        polish_near(context, x)


def best_pieces(context: Context) -> list[list[Piece]] | None:
    """The best plan as the annealing state has it."""
    x = context.incumbent.x
    return None if x is None else pieces_of(context.current, context.incumbent.model, x)


def search_neighborhoods(context: Context, budget: Budget, *, with_short: bool = False) -> None:
    """Solve neighborhoods of the best plan exactly, for about the budget.

    With `with_short`, fields that are short are in each of them.
    """
    incumbent, near, memory = context.incumbent, context.near, context.memory
    began = now()
    while incumbent.x is not None and not incumbent.is_set():
        fields = near.fields_nearby(context.rng, memory.freed)
        if with_short:
            fields |= incumbent.x[near.model.at["short"]] > DUST
        solve_for = Budget(min(3.0, incumbent.left()), budget.steps)
        limits = solve_for.limits(2e-4, memory.turn)
        started = now()
        y, answer = near.solve(
            incumbent.x, fields, limits, Watch(incumbent), local=memory.turn % 2 == 0
        )
        incumbent.offer(y)
        if budget.steps is not None:
            return
        memory.freed = shrink_or_grow(memory.freed, answer, now() - started, len(near.acres))
        if now() - began > budget.seconds:
            return

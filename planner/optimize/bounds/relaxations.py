"""Proven bounds: the exact model, or a relaxation of it, worked on beside the search for plans.

Whatever is proven here is a bound of the full problem: a relaxation only drops rules. Every bound
of a program with whole numbers is one that two kinds of solve agree on (`verified`).
"""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from planner.optimize.annealing.decode import with_order
from planner.optimize.incumbent.incumbent import same_short, short_slack
from planner.optimize.incumbent.restrictions import held_short, proven_in, short_caps
from planner.optimize.mip.highs import Limits, Matrix, Verdict, Watch, is_lower, now, solve
from planner.optimize.mip.part import minimize_in_turn
from planner.optimize.mip.verified import verified
from planner.optimize.model.program import (
    all_ordered,
    moved,
    rounded,
    with_all_ordered,
    without_field_rule,
)
from planner.optimize.options import Either

if TYPE_CHECKING:
    import threading
    from collections.abc import Callable

    from planner.optimize.incumbent.incumbent import Incumbent
    from planner.optimize.mip.highs import Answer, Floats, Solver
    from planner.optimize.model.program import Model
    from planner.optimize.options import Stop

ORDER_SECONDS, ORDER_GAP = 1.0, 0.05
"""How long, and how near its best, an order is looked for for a plan with few acres short."""


def relax(
    incumbent: Incumbent, model: Model, take_bags: Callable[[Floats], None], solver: Solver
) -> bool:
    """Raise the bound by the relaxation without the field rule; whether that is settled.

    Bags and containers are whole in it. `model` has its shortage held.
    """
    params = incumbent.options.params.proof
    loose = without_field_rule(model)

    def better(cost: float) -> Floats | None:
        x = cheaper(incumbent, cost)
        return None if x is None else moved(model, loose, x)

    def take(x: Floats, cost: float) -> None:
        if cost < incumbent.cost:
            take_bags(moved(loose, model, rounded(loose, x)))

    options = incumbent.options
    seconds = params.relaxed_time * incumbent.left()
    limits = Limits(seconds, max(options.gap, 5e-4), seed=options.seed)
    proven = proven_in(incumbent, model)
    answer = verified(loose.matrix, limits, Watch(incumbent, take, proven, better), solver)
    proven(answer.bound)
    return answer.verdict is Verdict.OPTIMAL


def exact(
    incumbent: Incumbent,
    model: Model,
    limits: Limits,
    solver: Solver = solve,
    stop: Stop | None = None,
) -> Answer:
    """Solve the exact model from the best plan, exchanging plans and bounds with the incumbent."""
    watch = Watch(
        incumbent if stop is None else Either(incumbent, stop),
        _taker(incumbent, model),
        proven_in(incumbent, model),
        partial(cheaper, incumbent),
    )
    answer = verified(model.matrix, limits, watch, solver, at_once=incumbent.options.effort is None)
    if answer.x is not None:
        incumbent.offer(rounded(model, answer.x))
    _end_with(incumbent, model, answer)
    return answer


def exact_if_covered(
    incumbent: Incumbent, model: Model, limits: Limits, solver: Solver, hopeless: threading.Event
) -> None:
    """Solve the exact model with no acre short, whether or not there is such a plan.

    With the first one found it is proven that none need be short: two solves in one. `hopeless` is
    set where the first of the two solves ends without a plan, and stops the other one.
    """
    model = model.bounded("short_in", np.zeros(len(model.at["short_in"])))
    proven = proven_in(incumbent, model)

    def take(x: Floats, _: float) -> None:
        incumbent.offer(rounded(model, x))
        if incumbent.is_covered:
            incumbent.prove_shortage()

    def on_bound(bound: float) -> None:
        if incumbent.is_covered:
            proven(bound)

    def better(cost: float) -> Floats | None:
        return cheaper(incumbent, cost) if incumbent.is_covered else None

    def first(matrix: Matrix, limits: Limits, watch: Watch) -> Answer:
        answer = solver(matrix, limits, watch=watch)
        if answer.x is None:
            hopeless.set()
        return answer

    watch = Watch(Either(incumbent, hopeless), take, on_bound, better)
    answer = verified(model.matrix, limits, watch, first)
    if answer.x is not None:
        take(answer.x, answer.objective)
        _end_with(incumbent, model, answer)
    else:
        hopeless.set()


def _end_with(incumbent: Incumbent, model: Model, answer: Answer) -> None:
    proven_in(incumbent, model)(answer.bound)
    ended = answer.verdict is Verdict.OPTIMAL and not incumbent.contradicts(answer.objective)
    if ended and incumbent.short_proven and incumbent.x is not None:
        held = model.matrix.upper[model.at["short_in"]]
        if same_short(np.array(incumbent.short), held):
            incumbent.ended.set()


def cheaper(incumbent: Incumbent, cost: float) -> Floats | None:
    """The best plan, where it is cheaper than that."""
    return incumbent.x if is_lower(incumbent.cost, cost) else None


def _taker(incumbent: Incumbent, model: Model) -> Callable[[Floats, float], None]:
    def take(x: Floats, _: float) -> None:
        incumbent.offer(rounded(model, x))

    return take


def fewest_short(
    incumbent: Incumbent,
    model: Model,
    seconds: float,
    nodes: int | None = None,
    solver: Solver = solve,
) -> bool:
    """Make acres short as few as possible, priority by priority; says whether that is proven.

    With everything ordered that there may be, which leaves just planting and bags to decide; the
    plan found then gets an order of its own.
    """
    until, verdicts, places = now() + seconds, set[Verdict](), model.at["short_in"]
    ordered = all_ordered(model)
    least, slack = np.zeros(len(places)), short_slack(len(places))

    def solve_one(matrix: Matrix, place: int) -> Answer | None:
        if incumbent.short and incumbent.short[place] <= 1e-9:
            return None
        seed = incumbent.options.seed
        limits = Limits(until - now(), gap=0.0, nodes=nodes, seed=seed, restarts=False)
        better = _fewer(incumbent, replace(ordered, matrix=matrix), int(places[place]))
        watch = Watch(incumbent, _taker(incumbent, model), better=better)
        answer = verified(matrix, limits, watch, solver, at_once=nodes is None)
        if answer.x is not None:
            incumbent.offer(rounded(model, answer.x))
        verdicts.add(answer.verdict)
        least[place] = answer.objective
        return replace(answer, x=incumbent.x)

    def cap(place: int, answer: Answer | None) -> float:
        known = float(short_caps(incumbent)[place])  # of a plan that may have used the slack
        return known if answer is None else min(known, answer.objective + slack[place])

    answers, _ = minimize_in_turn(ordered.matrix, places.tolist(), solve_one, cap)
    if incumbent.x is not None and answers:
        brief = ORDER_SECONDS if nodes is None else np.inf
        incumbent.offer(with_order(model, incumbent.x, brief, ORDER_GAP, incumbent))
    proven = len(answers) == len(places) and verdicts <= {Verdict.OPTIMAL}
    return proven and incumbent.x is not None and same_short(least, np.array(incumbent.short))


def _fewer(incumbent: Incumbent, model: Model, column: int) -> Callable[[float], Floats | None]:
    """The best plan, where it leaves fewer acres short and keeps to what the program holds."""
    places = model.at["short_in"]

    def better(known: float) -> Floats | None:
        x = incumbent.x
        if x is None or not is_lower(x[column], known):
            return None
        fits = np.all(x[places] <= model.matrix.upper[places])
        return with_all_ordered(model, x) if fits else None

    return better


def least_short(
    incumbent: Incumbent,
    model: Model,
    seconds: float,
    nodes: int | None,
    solver: Solver,
    stop: Stop | None = None,
) -> tuple[Floats | None, Floats]:
    """A solution of the relaxation without the field rule, and acres short that none is below.

    Both by priority; every priority's figure is for plans that leave no more short in those
    before it. The solution is None where none was found in time.
    """
    loose = without_field_rule(model)
    places = loose.at["short_in"].tolist()
    x, least = fewest_in_turn(incumbent, loose.matrix, places, seconds, nodes, solver, stop)
    return None if x is None else moved(loose, model, rounded(loose, x)), least


def fewest_in_turn(
    incumbent: Incumbent,
    matrix: Matrix,
    columns: list[int],
    seconds: float,
    nodes: int | None,
    solver: Solver,
    stop: Stop | None = None,
) -> tuple[Floats | None, Floats]:
    """A relaxation's fewest acres short, by priority, and what is proven of each.

    Priorities of which the best plan leaves none short are not looked at. The solution is None
    where there was nothing to look at or nothing was found in time.
    """
    until, slack = now() + seconds, short_slack(len(columns))
    least: Floats = np.zeros(len(columns))

    def solve_one(program: Matrix, place: int) -> Answer | None:
        if incumbent.short and incumbent.short[place] <= 1e-9:
            return None
        limits = Limits(until - now(), gap=0.0, nodes=nodes, seed=incumbent.options.seed)
        watch = Watch(stop or incumbent)
        return verified(program, limits, watch, solver, at_once=nodes is None)

    def cap(place: int, answer: Answer | None) -> float:
        found = 0.0 if answer is None or answer.x is None else float(answer.x[columns[place]])
        return found + float(slack[place]) if found > 1e-9 else 0.0

    answers, _ = minimize_in_turn(matrix, columns, solve_one, cap)
    solved = [(place, answer) for place, answer in enumerate(answers) if answer is not None]
    for place, answer in solved:
        least[place] = max(0.0, answer.bound)
    return solved[-1][1].x if solved and len(answers) == len(columns) else None, least


def cheapest_loosely(
    incumbent: Incumbent,
    model: Model,
    short: Floats,
    seconds: float,
    nodes: int | None,
    solver: Solver,
    stop: Stop,
) -> Floats | None:
    """A cheap solution of the relaxation without the field rule with just that many acres short."""
    model = model.bounded("short_in", held_short(model, short, len(short)))
    loose = without_field_rule(model)
    limits = Limits(seconds, gap=5e-4, nodes=nodes, seed=incumbent.options.seed)
    x = solver(loose.matrix, limits, watch=Watch(stop)).x
    return None if x is None else moved(loose, model, rounded(loose, x))

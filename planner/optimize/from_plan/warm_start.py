"""A known plan as a solution of a season's model, and solving on from there."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from planner.optimize.heuristics.neighborhood import Neighborhood, plant_short_fields
from planner.optimize.incumbent.budgets import Budget
from planner.optimize.incumbent.incumbent import Incumbent
from planner.optimize.mip.highs import Limits, Verdict, Watch, knowing, now, solve
from planner.optimize.mip.part import solve_part
from planner.optimize.model.extract import make_plan
from planner.optimize.model.instance import make_instance
from planner.optimize.model.program import make_model
from planner.optimize.search.common import open_context
from planner.optimize.search.run import search
from planner.plan.moves import acres_by_share

if TYPE_CHECKING:
    from collections.abc import Collection

    from planner.optimize.mip.highs import Answer, Floats
    from planner.optimize.model.instance import Choices, Instance
    from planner.optimize.model.program import Model
    from planner.optimize.options import OnProgress, SolveOptions, Stop
    from planner.plan.plan import Plan
    from planner.season.domain import Season


RAISES = 3
"""How often the price of uncovered acres is raised."""
COVERED = 1e-6
"""Acres short that count as none."""
CRUMB, SLIVER = 1e-9, 1e-3
"""Acres of a share that are rounding, and that no plan means."""


def solve_from(
    season: Season, known: Plan, options: SolveOptions, stop: Stop | None
) -> Plan | None:
    """Solve a season's exact model from a plan of it, its acres short held; never dearer.

    Returns None where `known` is no plan of the season.
    """
    began = now()
    model = short_as(make_model(make_instance(season)), known)
    x = columns_of(model, known)
    if x is None:
        return None
    plan = _cheapest_from(model, x, known, _limits(options, began), stop)
    return replace(plan, seconds=now() - began)


def search_from(
    season: Season,
    known: Plan,
    options: SolveOptions,
    stop: Stop | None,
    on_progress: OnProgress | None = None,
    *,
    share: float = 0.0,
) -> Plan:
    """Solve a season by the whole search, which has a plan of it to begin with; never worse.

    Where `known` is no plan of the season, it is as good as unknown.

    Parameters
    ----------
    share
        Of the time, to plant first what the plan leaves short, as far as that goes with the shares
        of all other fields held.

    Raises
    ------
    NoPlanError, Interrupted
        As `planner.optimize.search.run.solve`, where `known` is no plan of the season.
    """
    context = open_context(Incumbent(options, on_progress, stop), season, known)
    incumbent = context.incumbent
    incumbent.offer(columns_of(incumbent.model, known))
    if incumbent.x is not None and share > 0.0:
        near = Neighborhood(incumbent.model)
        plant_short_fields(incumbent, near, Budget(share * options.seconds, options.steps))
    return search(context)


def cover_from(
    season: Season,
    known: Plan,
    fields: Collection[str],
    options: SolveOptions,
    stop: Stop | None,
) -> Plan | None:
    """Cover short fields, going on from a plan, no other field shorter; then be as cheap.

    Acres of the fields are priced until they are covered, the price raised where it was too low.
    Returns the best plan found, the fields still short if they could not be covered; None where
    `known` is no plan of the season.
    """
    began = now()
    model = make_model(make_instance(season))
    x = columns_of(model, known)
    if x is None:
        return None
    short = {s.field: s.acres for s in known.shortages}
    names = [f.name for f in model.it.fields]
    held = np.array([short.get(name, 0.0) * (1 + 1e-9) + 1e-9 for name in names])
    model = model.bounded("short", np.minimum(held, model.matrix.upper[model.at["short"]]))
    places = [i for i, name in enumerate(names) if name in fields]
    columns = model.at["short"][places]
    price = 2.0 * (abs(known.cost.total) + 1000.0)
    price /= max(1.0, min(short.get(names[i], 0.0) for i in places))
    for _ in range(RAISES):
        cost = model.matrix.cost.copy()
        cost[columns] += price
        half = replace(_limits(options, began), gap=1e-5)
        half = replace(half, seconds=half.seconds / 2.0)
        priced = replace(model.matrix, cost=cost)
        answer = solve(priced, half, watch=Watch(stop, better=knowing(priced, x)))
        if answer.x is not None and priced.price(answer.x) < priced.price(x):
            x = answer.x
        if x[columns].max() <= COVERED:
            break
        price *= 100.0
    held[places] = np.maximum(x[columns] + 1e-9, 1e-9)
    model = model.bounded("short", np.minimum(held, model.matrix.upper[model.at["short"]]))
    plan = _cheapest_from(model, x, known, _limits(options, began), stop)
    return replace(plan, seconds=now() - began)


def _limits(options: SolveOptions, began: float) -> Limits:
    """What is left of the time, or the steps in its place."""
    if options.effort is not None:
        return Limits(1e6, options.gap / 2, options.effort, seed=options.seed, restarts=False)
    left = max(0.1, options.seconds - (now() - began))
    return Limits(left, options.gap / 2, seed=options.seed, restarts=False)


def _cheapest_from(model: Model, x: Floats, known: Plan, limits: Limits, stop: Stop | None) -> Plan:
    answer = solve(model.matrix, limits, watch=Watch(stop, better=knowing(model.matrix, x)))
    best = x if answer.x is None else settled_around(model, answer.x)
    if model.matrix.price(best) > model.matrix.price(x):
        best = x
    return make_plan(model, best, proven_bound(answer), shortage_proven=known.shortage_proven)


def proven_bound(answer: Answer) -> float:
    """Bound of an answer; its objective where it was found optimal before there was any bound."""
    if answer.verdict is Verdict.OPTIMAL and not np.isfinite(answer.bound):
        return answer.objective
    return answer.bound


def short_as(model: Model, best: Plan) -> Model:
    """Hold the acres short of every priority at those of a plan."""
    priority = {f.name: f.priority for f in model.it.fields}
    short = dict.fromkeys(model.keys["short_in"], 0.0)
    for s in best.shortages:
        short[priority[s.field]] += s.acres
    upper = np.array([short[p] * (1 + 1e-9) + 1e-9 for p in model.keys["short_in"]])
    return model.bounded("short_in", upper)


def share_names(it: Instance, choices: Choices) -> list[tuple[str, str, str]]:
    """(Field, lot, recipe) of every choice."""
    recipes = it.recipe_names
    return [(it.fields[f].name, it.lots[j].name, recipes[k]) for f, j, k in choices.keys]


def settled_around(model: Model, x: Floats) -> Floats:
    """Round what is whole and solve all but the acres again around it, at the least cost.

    Acres too, where that fails or leaves a share of next to nothing, as a solver's tolerance lets
    pass what has no flag once that is rounded.
    """
    whole = model.matrix.integer
    rounded = np.where(whole, np.round(x), x)
    acres = model.of(("acres",))
    y, _ = solve_part(model.matrix, ~whole & ~acres, rounded)
    if y is None or np.any((y[acres] > CRUMB) & (y[acres] < SLIVER)):
        planted, _ = solve_part(model.matrix, ~whole, rounded)
        y = y if planted is None else planted
    return x if y is None else y


def columns_of(model: Model, plan: Plan) -> Floats | None:
    """Values of the model's columns that stand for a plan; None if it is none of the model's.

    What the plan plants where the model does not let it stays short.
    """
    it = model.it
    lot_at, recipe_at = it.lot_at, it.recipe_at
    container_at = {(c.product, c.name): i for i, c in enumerate(it.containers)}
    if not _has_all(plan, lot_at, recipe_at, container_at):
        return None
    x = np.zeros(model.matrix.n_columns)
    held = np.zeros(model.matrix.n_columns, dtype=bool)
    full = {(lot_at[t.lot], recipe_at[t.recipe]): t.full_bags for t in plan.treating}
    part = {(lot_at[t.lot], recipe_at[t.recipe]): t.part_bag for t in plan.treating}
    bought = {lot_at[s.lot]: s.bags for s in plan.seed_purchases}
    counts = {container_at[o.product, o.container]: o.count for o in plan.order}
    for group, values in (("bags", full), ("part", part), ("bought", bought)):
        if set(values) - set(model.keys[group]) - {k for k, n in values.items() if n == 0}:
            return None
        x[model.at[group]] = [values.get(key, 0) for key in model.keys[group]]
        held[model.at[group]] = True
    breaks = {i: [b.from_count for b in it.containers[i].breaks] for i in counts}
    if any(counts[i] < min(breaks[i]) for i in counts):
        return None
    for place, (i, j) in enumerate(model.keys["count"]):
        reached = i in counts and max(f for f in breaks[i] if f <= counts[i]) == breaks[i][j]
        x[model.at["count"][place]] = counts[i] if reached else 0
    held[model.at["count"]] = True
    acres = acres_by_share(plan)
    x[model.at["acres"]] = [acres.get(name, 0.0) for name in share_names(it, model.choices)]
    held[model.at["acres"]] = True
    return solve_part(model.matrix, ~held, x, Limits(seconds=20.0))[0]


def _has_all(
    plan: Plan,
    lots: Collection[str],
    recipes: Collection[str],
    containers: Collection[tuple[str, str]],
) -> bool:
    """Whether there is everything that a plan buys and treats."""
    return (
        all(t.lot in lots and t.recipe in recipes for t in plan.treating)
        and all(s.lot in lots for s in plan.seed_purchases)
        and all((o.product, o.container) in containers for o in plan.order)
    )

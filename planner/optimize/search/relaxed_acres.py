"""Few acres short by way of relaxations: what they prove, and plans made of their solutions.

The relaxation without the field rule, whose solutions the exact model repairs; and the one without
bags (`bounds.variety_aggregated`), which is planted variety by variety, and which tells what fields
can have at all.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from planner.optimize.bounds.disaggregation import disaggregate, weights
from planner.optimize.bounds.relaxations import cheapest_loosely, fewest_short, least_short
from planner.optimize.bounds.variety_aggregated import (
    AggregatedSearch,
    aggregated_program,
    columns_without,
    least_short_aggregated,
    possible_pairs,
)
from planner.optimize.incumbent.budgets import Budget, limits_near, patient
from planner.optimize.incumbent.incumbent import RuledOut, same_short, short_slack
from planner.optimize.incumbent.restrictions import is_within, shut
from planner.optimize.mip.highs import Limits, now
from planner.optimize.mip.highs import solve as solve_matrix
from planner.optimize.search.common import AGGREGATED, is_large, uses

if TYPE_CHECKING:
    from planner.optimize.bounds.variety_aggregated import AggregatedProgram
    from planner.optimize.incumbent.incumbent import Incumbent
    from planner.optimize.mip.highs import Floats, Solver
    from planner.optimize.options import Stop
    from planner.optimize.search.common import Context


def from_relaxations(
    context: Context, rng: np.random.Generator, solver: Solver, stop: Stop, until: float
) -> bool:
    """Make plans of solutions of relaxations; whether one is proven to be as good as can be.

    Where money to spend is limited, first of the one that knows products and their prices.
    """
    paid = context.incumbent.model.has_money_row
    if paid and _from_relaxation(context, rng, solver, stop):
        return True
    if context.memory.aggregated is not None and _from_aggregated(
        context, context.memory.aggregated, rng, solver, stop, until
    ):
        return True
    return not paid and not stop.is_set() and _from_relaxation(context, rng, solver, stop)


def _from_relaxation(
    context: Context, rng: np.random.Generator, solver: Solver, stop: Stop
) -> bool:
    """Do so with what the relaxation without the field rule plants."""
    incumbent, model, near = context.incumbent, context.incumbent.model, context.near
    params = incumbent.options.params.shortage
    seconds, nodes = stretch(context).seconds, counted_nodes(context)
    guide, least = least_short(incumbent, model, seconds, nodes, solver, stop)
    for cheap in (False, True):
        if cheap and guide is not None and near.most > 1:
            short = guide[model.at["short_in"]]
            guide = cheapest_loosely(incumbent, model, short, seconds, nodes, solver, stop)
        if guide is None or near.breaking(guide).mean() > params.few_breaking:
            continue
        for planting in params.from_planting:
            if not stop.is_set() and not same_short(np.array(incumbent.short), least):
                incumbent.offer(repaired(context, guide, rng, solver, planting=planting))
        if same_short(np.array(incumbent.short), least):
            break
    if same_short(np.array(incumbent.short), least):
        incumbent.prove_shortage()
    return incumbent.short_proven


def _from_aggregated(
    context: Context,
    aggregated: AggregatedSearch,
    rng: np.random.Generator,
    solver: Solver,
    stop: Stop,
    until: float,
) -> bool:
    """Do so with the one without bags."""
    incumbent, params = context.incumbent, context.incumbent.options.params.shortage
    if aggregated.least is not None:
        return incumbent.short_proven
    seconds = params.aggregated_time * (until - now())
    if context.near.most == 1 and not _has_few_pairs(context, aggregated):
        aggregated.work(Budget(seconds, counted_nodes(context)), stop, rng, solver)
        return False
    x, least = least_short_aggregated(
        incumbent, aggregated.program, seconds, counted_nodes(context), solver, stop
    )
    if x is not None and not same_short(np.array(incumbent.short), least):
        aggregated.offer(x)
        plant_aggregated(context, aggregated, solver)
    if x is not None and same_short(x[aggregated.program.short_in], least):
        aggregated.least = least
    if same_short(np.array(incumbent.short), least):
        incumbent.prove_shortage()
    return incumbent.short_proven


def aggregate(context: Context) -> AggregatedSearch | None:
    """The search over the relaxation without bags, opened once; None where there is none."""
    incumbent, memory = context.incumbent, context.memory
    has_one = context.near.has_shares and incumbent.x is not None and uses(context, AGGREGATED)
    if memory.aggregated is None and has_one:
        assert incumbent.x is not None
        program = aggregated_program(incumbent.model)
        start, params = program.of(incumbent.model, incumbent.x), incumbent.options.params
        memory.aggregated = AggregatedSearch(
            program, weights(incumbent.model), start, params.shortage
        )
    return memory.aggregated


def settle_few(context: Context, solver: Solver) -> None:
    """Settle acres short by the relaxation without bags alone, where that is small.

    Where a field has one variety, and money is not limited.
    """
    incumbent, params = context.incumbent, context.incumbent.options.params.shortage
    if context.near.most > 1 or incumbent.model.has_money_row or is_large(context):
        return
    aggregated = aggregate(context)
    if aggregated is None or not _has_few_pairs(context, aggregated):
        return
    until = now() + params.few_time * incumbent.left()
    _from_aggregated(context, aggregated, context.rng, solver, incumbent, until)
    if aggregated.least is not None and not incumbent.is_set():
        _rule_out(context, aggregated.program, aggregated.least, solver)
        _plant_what_is_left(context, solver)


def narrow(context: Context, solver: Solver) -> None:
    """Rule out what fields can't have with no more acres short than the best plan, if they are few.

    Where a field has one variety; and where nothing is known of fewer acres yet.
    """
    incumbent, aggregated = context.incumbent, context.memory.aggregated
    if aggregated is None or context.near.most > 1 or not _has_few_pairs(context, aggregated):
        return
    ruled_out = incumbent.ruled_out
    known = ruled_out is not None and is_within(incumbent, ruled_out)
    if incumbent.is_short and not incumbent.is_set() and not known:
        _rule_out(context, aggregated.program, np.array(incumbent.short), solver)


def _has_few_pairs(context: Context, aggregated: AggregatedSearch) -> bool:
    """Whether the relaxation without bags has so few pairs that it is soon solved."""
    most = context.incumbent.options.params.shortage.few_pairs
    return len(aggregated.program.field) <= most


def _rule_out(context: Context, program: AggregatedProgram, short: Floats, solver: Solver) -> None:
    """Note what fields can't have with no more acres short than that."""
    incumbent, params = context.incumbent, context.incumbent.options.params.shortage
    most = np.where(short > 1e-9, short + 2.0 * short_slack(len(short)), 0.0)
    seconds = params.possible_time * incumbent.left()
    limits = Limits(seconds, nodes=counted_nodes(context), seed=incumbent.options.seed)
    pairs = possible_pairs(program, most, limits, solver, incumbent)
    if pairs is not None:
        incumbent.ruled_out = RuledOut(most, columns_without(incumbent.model, program, pairs))


def _plant_what_is_left(context: Context, solver: Solver) -> None:
    """Ask the exact model for so few acres short, over what is not ruled out."""
    incumbent, ruled_out = context.incumbent, context.incumbent.ruled_out
    if ruled_out is None or is_settled(incumbent):
        return
    model = shut(incumbent.model, ruled_out.columns)
    seconds = incumbent.options.params.shortage.possible_time * incumbent.left()
    fewest_short(incumbent, model, seconds, counted_nodes(context), solver)
    if is_within(incumbent, ruled_out):
        incumbent.prove_shortage()


def repaired(
    context: Context, guide: Floats, rng: np.random.Generator, solver: Solver, *, planting: bool
) -> Floats | None:
    """A plan near a solution in which some fields break the field rule; None if none is found.

    It keeps to the planting of the other fields, or nearly to the bags.
    """
    near, watch = context.near, patient(context.incumbent)
    limits = limits_near(context.incumbent, rng, gap=0.0)
    longest = context.incumbent.options.params.strategies.longest
    if not planting:
        return near.near_bags(guide, limits, watch, start=False, solver=solver)[0]
    limits = replace(limits, seconds=limits.seconds / longest)
    bad = near.breaking(guide)
    return near.solve(guide, bad, limits, watch, start=False, solver=solver)[0]


def plant_aggregated(
    context: Context, aggregated: AggregatedSearch, solver: Solver = solve_matrix
) -> None:
    """Plant what the relaxation gives; where its bound is met, no plan has fewer acres short.

    That bound is of acres weighed by priority: it tells only where none but the last is short.
    """
    incumbent = context.incumbent
    incumbent.offer(
        disaggregate(
            incumbent, aggregated, stretch(context).limits(0.0, incumbent.options.seed), solver
        )
    )
    short = np.array(incumbent.short)
    if same_short(short, np.append(np.zeros(len(short) - 1), aggregated.bound)):
        incumbent.prove_shortage()


def is_settled(incumbent: Incumbent) -> bool:
    """Whether no fewer acres short are to be looked for."""
    return incumbent.is_set() or incumbent.short_proven or not incumbent.is_short


def stretch(context: Context, until: float = np.inf) -> Budget:
    """What one solve or one stretch of annealing may take of the time for acres."""
    incumbent = context.incumbent
    if incumbent.options.effort is not None:
        return Budget(np.inf, incumbent.options.steps)
    share = incumbent.options.params.shortage.stretch
    return Budget(max(0.1, min(20.0, share * incumbent.left(), until - now())))


def counted_nodes(context: Context) -> int | None:
    """Nodes of one solve where work is counted; None where the search goes by time."""
    options = context.incumbent.options
    return None if options.effort is None else options.params.step_nodes * options.effort

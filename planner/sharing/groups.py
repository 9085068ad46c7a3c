"""What every group of growers would pay by itself: a real plan of each, with its proven gap."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from planner.engine.jobs import Job
from planner.engine.run import run
from planner.errors import NoPlanError
from planner.plan.plan import says_something
from planner.sharing.games import members
from planner.sharing.growers import season_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from planner.engine.jobs import Done
    from planner.optimize.options import SolveOptions, Stop
    from planner.plan.plan import Plan
    from planner.season.domain import Season

CORES = 2
"""Cores that each plan of a group keeps busy."""


@dataclass(frozen=True, slots=True)
class GroupPlan:
    """The plan of a group of growers by themselves."""

    mask: int
    """Which growers: their bits, in the season's order."""
    cost: float
    bound: float
    """Proven: no plan of the group costs less, at its acres short; minus infinity where nothing
    that says anything was proven in the time."""
    short: float
    """Acres that stay unplanted."""
    order: tuple[tuple[str, str, int], ...]
    """Product, container and count."""


def group_plan(mask: int, plan: Plan) -> GroupPlan:
    """Take from a plan what sharing needs of it."""
    return GroupPlan(
        mask,
        plan.cost.total,
        plan.bound if says_something(plan) else -math.inf,
        sum(s.acres for s in plan.shortages),
        tuple((line.product, line.container, line.count) for line in plan.order),
    )


def plan_groups(
    season: Season,
    names: Sequence[str],
    masks: Iterable[int],
    options: SolveOptions,
    *,
    workers: int = 1,
    cluster: str | None = None,
    on_done: Callable[[Done], None] | None = None,
    stop: Stop | None = None,
) -> dict[int, GroupPlan]:
    """Plan groups of growers, each by itself.

    Parameters
    ----------
    names
        All growers; bit i of a mask is the grower ``names[i]``.
    options
        For each group's plan.

    Returns
    -------
    dict
        By mask; fewer than asked for where `stop` was set.

    Raises
    ------
    NoPlanError
        When no plan of a group was found in its time; says of which.
    """
    jobs = [
        Job(f"group-{mask}", (mask, season_of(season, [names[i] for i in members(mask)]), options))
        for mask in masks
    ]
    found = {}
    for done in run(jobs, plan_group, workers=workers, cluster=cluster, on_done=on_done, stop=stop):
        if done.error is not None:
            if not isinstance(done.error, NoPlanError):
                raise done.error
            group = " and ".join(names[i] for i in members(int(done.key.split("-")[1])))
            msg = f"no plan was found for {group} alone ({done.error}); give more seconds"
            raise NoPlanError(msg) from done.error
        found[done.value.mask] = done.value
    return found


def plan_group(payload: tuple[int, Season, SolveOptions]) -> GroupPlan:
    """Plan one group: a job's work."""
    from planner.optimize.search.run import solve
    from planner.plan.audit import audit

    mask, season, options = payload
    plan = solve(season, options)
    audit(plan, season)
    return group_plan(mask, plan)

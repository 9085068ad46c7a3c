"""Changed seasons, each solved again within a time that is set for all of them together."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass, field
from time import monotonic
from typing import TYPE_CHECKING, NamedTuple

from planner.errors import AuditError, Interrupted, NoPlanError
from planner.optimize.options import SolveOptions
from planner.plan.plan import known_gap

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from planner.optimize.options import Stop
    from planner.plan.plan import Plan
    from planner.season.domain import Season

LEAST_SECONDS = 4.0
"""Least time worth giving to one solve."""


class Trial(NamedTuple):
    """A changed season to be planned."""

    key: str
    season: Season
    known: Plan | None = None
    """A plan that the changed season allows too, to go on from; its acres short are kept."""
    cover: tuple[str, ...] = ()
    """Short fields of the known plan that are to be covered, others no shorter than before."""
    fewer: bool = False
    """Whether fewer acres short than those of the known plan are what it is about."""


@dataclass(frozen=True, slots=True)
class ExplainBudget:
    """How much work explaining may take."""

    seconds: float = 20.0
    """Wall time for all solves together; 0 solves nothing."""
    gap: float = 1e-4
    """Each solve stops when its plan is proven to be within this share of the best."""
    effort: int | None = None
    """Steps for each solve, in place of time: the same answers on every run."""
    seed: int = 0
    workers: int = 1
    """Solves side by side, each in a process of its own if more than one."""
    stop: Stop | None = field(default=None, compare=False)
    """Once set, what is known by then is reported."""

    @property
    def stopped(self) -> bool:
        """Whether the user wants to stop."""
        return self.stop is not None and self.stop.is_set()


def solve_all(trials: Iterable[Trial], budget: ExplainBudget) -> dict[str, Plan]:
    """Plan changed seasons, first ones first, as far as the time goes; plans by key.

    A trial that the time did not reach, or for which no plan was found, is missing. What is left
    of the time is shared evenly among the trials that are left, none under `LEAST_SECONDS`.
    """
    queue = list(trials)
    if not queue or budget.stopped or (budget.seconds <= 0.0 and budget.effort is None):
        return {}
    if budget.workers > 1 and len(queue) > 1:
        with suppress(OSError):  # no room for more processes
            return dict(_side_by_side(queue, budget))
    return dict(_one_by_one(queue, budget))


def _share(left: float, trials: int, budget: ExplainBudget) -> SolveOptions | None:
    """Options for the next trial; None when the time is up."""
    if budget.effort is not None:
        return SolveOptions(1e9, budget.gap, budget.effort, budget.seed)
    if left <= 0.0:
        return None
    workers = min(budget.workers, trials)
    seconds = min(left, max(LEAST_SECONDS, left * workers / trials))
    return SolveOptions(seconds, budget.gap, None, budget.seed, cores=2)


def _one_by_one(queue: list[Trial], budget: ExplainBudget) -> Iterator[tuple[str, Plan]]:
    end = monotonic() + budget.seconds
    for i, trial in enumerate(queue):
        options = _share(end - monotonic(), len(queue) - i, budget)
        if options is None or budget.stopped:
            return
        plan = attempt(trial, options, budget.stop)
        if plan is not None:
            yield trial.key, plan


def _side_by_side(queue: list[Trial], budget: ExplainBudget) -> Iterator[tuple[str, Plan]]:
    """Solve in processes of their own, so that a crash of one loses one trial only."""
    from planner.explain.crew import Crew

    end = monotonic() + budget.seconds
    waiting = list(reversed(queue))
    crew = Crew(attempt, min(budget.workers, len(queue)))
    try:
        while (waiting or crew.busy) and (crew.busy or crew.idle) and not budget.stopped:
            while waiting and crew.idle:
                options = _share(end - monotonic(), len(waiting), budget)
                if options is None:
                    waiting.clear()
                    break
                trial = waiting.pop()
                crew.give(trial.key, (trial, options), 2.0 * options.seconds)
            for key, plan in crew.answers():
                if plan is not None:
                    yield key, plan
    finally:
        crew.close()


def attempt(trial: Trial, options: SolveOptions, stop: Stop | None = None) -> Plan | None:
    """Plan a changed season and check the plan; None where none was found.

    A plan that breaks a rule is no answer either: the plan to be explained must not be lost by it.
    """
    from planner.optimize.search.run import solve
    from planner.plan.audit import audit

    try:
        plan = _from_known(trial, options, stop)
        if plan is None:
            plan = solve(trial.season, options, stop=stop)
        if known_gap(plan.gap) is None and not trial.fewer:  # next to no time
            return None
        audit(plan, trial.season)
    except (NoPlanError, Interrupted, AuditError, MemoryError):
        return None
    return plan


def _from_known(trial: Trial, options: SolveOptions, stop: Stop | None) -> Plan | None:
    from planner.optimize.from_plan.warm_start import cover_from, search_from, solve_from

    if trial.known is None:
        return None
    if trial.fewer:
        share = options.params.shortage.known
        return search_from(trial.season, trial.known, options, stop, share=share)
    if trial.cover:
        return cover_from(trial.season, trial.known, trial.cover, options, stop)
    return solve_from(trial.season, trial.known, options, stop)

"""What if: every scenario of the season's sheet planned and held against the base."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import ceil
from typing import TYPE_CHECKING

from planner.explain.compare import Comparison, compare
from planner.explain.trial import Budget, Trial, solve_all

if TYPE_CHECKING:
    from pathlib import Path

    from planner.plan.plan import Plan
    from planner.season.domain import Season

BASE = "as it is"
"""Name of the season without any scenario, in a comparison."""


@dataclass(frozen=True, slots=True)
class Scenarios:
    """Scenarios planned, and how they stand to the base."""

    plans: tuple[tuple[str, Plan], ...]
    """By scenario, in the sheet's order, without the base."""
    missing: tuple[str, ...]
    """Scenarios for which no plan was found in the time given."""
    compared: Comparison | None
    """None where no scenario has a plan."""


def scenario_names(season: Season) -> tuple[str, ...]:
    """Return the names of a season's scenarios, in the sheet's order."""
    return tuple(dict.fromkeys(change.scenario for change in season.what_if))


def load_scenarios(path: Path, season: Season) -> tuple[tuple[str, Season], ...]:
    """Read the season once for every scenario, its changes made.

    Raises
    ------
    InputError
        When a scenario makes a season that cannot be planned; the first such one is told.
    """
    from planner.season.read import read_season

    return tuple((name, read_season(path, name)) for name in scenario_names(season))


def plan_scenarios(
    scenarios: tuple[tuple[str, Season], ...], base: Plan, budget: Budget
) -> Scenarios:
    """Plan every scenario and compare them with the base.

    Parameters
    ----------
    scenarios
        What `load_scenarios` returns.
    base
        Plan of the season as it is.
    budget
        Its seconds are for each scenario.
    """
    rounds = ceil(len(scenarios) / max(1, budget.workers))
    whole = replace(budget, seconds=budget.seconds * rounds)
    found = solve_all([Trial(name, season) for name, season in scenarios], whole)
    plans = tuple((name, found[name]) for name, _ in scenarios if name in found)
    return Scenarios(
        plans=plans,
        missing=tuple(name for name, _ in scenarios if name not in found),
        compared=compare([(BASE, base), *plans]) if plans else None,
    )

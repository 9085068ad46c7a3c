"""A better plan of the season that turned up while changed seasons were planned."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.explain.changes import acres_short, gain
from planner.explain.held import allowed_plan
from planner.explain.words import Speech
from planner.plan.moves import ACRE
from planner.plan.plan import CENT, Outcome

if TYPE_CHECKING:
    from collections.abc import Iterable

    from planner.plan.plan import Plan
    from planner.season.domain import Season


def best_known(plan: Plan, season: Season, others: Iterable[Plan]) -> Plan:
    """Return the best of a plan and those of changed seasons that the season allows, too.

    A search that was cut short leaves such. Counted from the plan itself, what a change costs or
    saves would be partly what more searching found.
    """
    best = plan
    if plan.outcome is Outcome.OPTIMAL:
        return plan
    for other in others:
        held = allowed_plan(other, season, plan)
        if held is not None and _is_better(held, best, season):
            best = held
    return best


def _is_better(plan: Plan, other: Plan, season: Season) -> bool:
    """Whether a plan has fewer acres short, the first priority first, or costs less."""
    more = gain(other, plan, season)
    return more is not None and (more.acres > ACRE or other.cost.total - plan.cost.total >= CENT)


def overlooked(plan: Plan, better: Plan, season: Season) -> str:
    """Say that a better plan turned up; empty where it is the plan itself."""
    if better is plan:
        return ""
    speech = Speech(season.farm)
    saved = plan.cost.total - better.cost.total
    gained = acres_short(plan) - acres_short(better)
    text = f"costs {speech.money(abs(saved))} {'less' if saved >= 0.0 else 'more'}"
    text = f"plants {speech.acres(gained)} more and {text}" if gained > ACRE else text
    return (
        f"While this was looked into, a plan of this very season turned up that {text}: the time "
        "for deciding was too short to find it. Plan again with more time. What rules cost, and "
        "what would help, is counted from that plan."
    )

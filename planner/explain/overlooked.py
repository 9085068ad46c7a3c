"""A better plan of the season that turned up while changed seasons were planned."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.errors import AuditError
from planner.explain.changes import acres_short, gain
from planner.explain.held import held_plan
from planner.explain.words import Speech
from planner.plan.audit import audit
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
        try:
            held = held_plan(other, season, plan, trim=True)
        except (KeyError, ValueError):  # of seed or a recipe that the season does not have
            continue
        if _is_better(held, best, season) and _keeps_rules(held, season):
            best = held
    return best


def _is_better(plan: Plan, other: Plan, season: Season) -> bool:
    """Whether a plan has fewer acres short, the first priority first, or costs less."""
    more = gain(other, plan, season)
    return more is not None and (more.acres > ACRE or other.cost.total - plan.cost.total >= CENT)


def _keeps_rules(plan: Plan, season: Season) -> bool:
    try:
        audit(plan, season)
    except AuditError:
        return False
    return True


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

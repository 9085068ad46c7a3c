"""A better plan of the season that turned up while changed seasons were planned."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.errors import AuditError
from planner.explain.changes import acres_short
from planner.explain.held import held_plan
from planner.explain.words import Speech
from planner.plan.audit import audit
from planner.plan.moves import ACRE
from planner.plan.plan import CENT, Outcome

if TYPE_CHECKING:
    from collections.abc import Iterable

    from planner.plan.plan import Plan
    from planner.season.domain import Season


def overlooked(plan: Plan, season: Season, others: Iterable[Plan]) -> str:
    """Say that plans of changed seasons hold one that the season allows too and that is better.

    A search that was cut short leaves such; what a change is said to cost or to save is then partly
    what more searching found. Empty where there is none.
    """
    if plan.outcome is Outcome.OPTIMAL:
        return ""
    best = plan
    for other in others:
        try:
            held = held_plan(other, season, plan, trim=True)
        except (KeyError, ValueError):  # of seed or a recipe that the season does not have
            continue
        if _is_better(held, best, season) and _keeps_rules(held, season):
            best = held
    return "" if best is plan else _sentence(plan, best, Speech(season.farm))


def _is_better(plan: Plan, other: Plan, season: Season) -> bool:
    """Whether a plan has fewer acres short, the first priority first, or costs less."""
    for mine, theirs in zip(_short(plan, season), _short(other, season), strict=True):
        if abs(mine - theirs) > ACRE:
            return mine < theirs
    return other.cost.total - plan.cost.total >= CENT


def _short(plan: Plan, season: Season) -> list[float]:
    """Acres short by rising priority of the fields."""
    rank = {f.name: f.priority for f in season.fields}
    return [
        sum(s.acres for s in plan.shortages if rank[s.field] == p)
        for p in sorted(set(rank.values()))
    ]


def _keeps_rules(plan: Plan, season: Season) -> bool:
    try:
        audit(plan, season)
    except AuditError:
        return False
    return True


def _sentence(plan: Plan, better: Plan, speech: Speech) -> str:
    saved = plan.cost.total - better.cost.total
    gained = acres_short(plan) - acres_short(better)
    text = f"costs {speech.money(abs(saved))} {'less' if saved >= 0.0 else 'more'}"
    text = f"plants {speech.acres(gained)} more and {text}" if gained > ACRE else text
    return (
        f"While this was looked into, a plan of this very season turned up that {text}: the time "
        "for deciding was too short to find it, and some of what is said to help or to save is due "
        "to that. Plan again with more time."
    )

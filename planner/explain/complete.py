"""A decided plan checked and put into words: what every plan goes through on its way out."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from planner.explain.shortage import why
from planner.plan.audit import audit
from planner.plan.cautions import warnings

if TYPE_CHECKING:
    from planner.plan.plan import Plan
    from planner.season.domain import Season


def complete(plan: Plan, season: Season) -> Plan:
    """Audit a plan, and say in it what to beware of and why its short fields are short.

    Raises
    ------
    AuditError
        When it breaks a rule, which is a bug.
    """
    audit(plan, season)
    reasons = why(plan, season)
    short = tuple(replace(s, why=reasons[s.field]) for s in plan.shortages)
    return replace(plan, warnings=warnings(plan, season), shortages=short)

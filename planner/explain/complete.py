"""A decided plan checked and put into words: what every plan goes through on its way out."""

from __future__ import annotations

from dataclasses import replace
from math import fsum
from typing import TYPE_CHECKING

from planner.agronomy.seeding import units_per_acre
from planner.explain.shortage import why
from planner.plan.audit import audit
from planner.plan.cautions import warnings
from planner.sums import grouped

if TYPE_CHECKING:
    from planner.plan.plan import Plan, Planting
    from planner.season.domain import Season

ROUNDING = 1e-7
"""Share of a field's acres that a solution within the solver's tolerance may leave out."""


def complete(plan: Plan, season: Season) -> Plan:
    """Audit a plan, and say in it what to beware of and why its short fields are short.

    Raises
    ------
    AuditError
        When it breaks a rule, which is a bug.
    """
    plan = to_the_edge(plan, season)
    audit(plan, season)
    reasons = why(plan, season)
    short = tuple(replace(s, why=reasons[s.field]) for s in plan.shortages)
    return replace(plan, warnings=warnings(plan, season), shortages=short)


def to_the_edge(plan: Plan, season: Season) -> Plan:
    """Plan whose fields have all their acres where only the solver's rounding is missing.

    The widest row of such a field takes what the others leave. This is for what is told of a plan:
    the search goes on from solutions as they are, so that planning again finds them again.
    """
    told: dict[int, Planting] = {}
    for name, rows in grouped((p.field, (n, p)) for n, p in enumerate(plan.planting)).items():
        field = season.field_named[name]
        missing = abs(field.acres - fsum(p.acres for _, p in rows))
        if 0.0 < missing <= ROUNDING * field.acres:
            at, widest = max(rows, key=lambda row: row[1].acres)
            acres = field.acres - fsum(p.acres for n, p in rows if n != at)
            units = acres * units_per_acre(field, season.lot_named[widest.lot], season.farm)
            told[at] = replace(widest, acres=acres, units=units)
    if not told:
        return plan
    return replace(plan, planting=tuple(told.get(n, p) for n, p in enumerate(plan.planting)))

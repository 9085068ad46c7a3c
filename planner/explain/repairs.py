"""Single changes that cover a short field, each proved by planning the changed season."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from planner.explain.changes import Gain, acres_short, field_changes, gain, order_changes
from planner.explain.held import held_plan
from planner.explain.ideas import ALL
from planner.explain.trial import Trial
from planner.explain.words import Speech, count, listing
from planner.plan.moves import ACRE
from planner.plan.plan import CENT

if TYPE_CHECKING:
    from collections.abc import Mapping

    from planner.explain.ideas import Idea
    from planner.explain.shortage import ShortField
    from planner.plan.plan import Plan
    from planner.season.domain import Season

KEPT = 3
WITHOUT_CHANGE = "; the better plan that turned up covers that without any change."


@dataclass(frozen=True, slots=True)
class Repair:
    """A single change that covers a field, proved by a plan of the changed season."""

    field: str
    what: str
    cost: float
    """What the plan costs more; negative if it costs less."""
    gap: float
    """Of the plan that proves it."""
    acres_covered: float
    """On all fields together."""
    also_changes: str
    """What else would change."""
    sentence: str


class Repaired(NamedTuple):
    """The repairs that cover a field, cheapest first, and how many were tried."""

    field: str
    repairs: tuple[Repair, ...]
    tried: int
    not_reached: int
    held_by: tuple[str, ...]
    """Rules of the farm without any one of which the field would be covered."""
    sentence: str


def repair_trials(found: tuple[Idea, ...], plan: Plan) -> tuple[Trial, ...]:
    """Return the seasons to plan, going on from the plan."""
    return tuple(
        Trial(idea.key, idea.season, held_plan(plan, idea.season, plan), idea.covers)
        for idea in found
    )


def repaired(
    plan: Plan,
    season: Season,
    short: tuple[ShortField, ...],
    tried: tuple[Idea, ...],
    found: Mapping[str, Plan],
    without: Mapping[str, Plan],
    base: Plan | None = None,
) -> tuple[Repaired, ...]:
    """Keep, for every short field, the cheapest changes that a plan proves to cover it.

    `without` holds plans without one rule each, by the rule's name; `base` is the best plan of the
    season that is known (default the plan): what it covers needs no change.
    """
    speech = Speech(season.farm)
    base = base or plan
    alike = abs(acres_short(base) - acres_short(plan)) <= ACRE
    before = base.cost.total if alike else plan.cost.total
    result = []
    groups = [(ALL, short)] if any(idea.field == ALL for idea in tried) else []
    for label, mine in (*groups, *((s.field, (s,)) for s in short)):
        if all(_covers(s, base, plan) for s in mine):
            text = _words(label, sum(s.acres for s in mine), [], 0, 0, speech, WITHOUT_CHANGE)
            result.append(Repaired(label, (), 0, 0, (), text))
            continue
        own = [idea for idea in tried if idea.field == label]
        plans = [(idea, found[idea.key]) for idea in own if idea.key in found]
        good = [
            _repair(idea, other, plan, season, before)
            for idea, other in plans
            if all(_covers(s, other, plan) for s in mine)
        ]
        good.sort(key=lambda r: (r.cost, r.what))
        late = len(own) - len(plans)
        held = tuple(
            name for name, other in without.items() if all(_covers(s, other, plan) for s in mine)
        )
        text = _words(label, sum(s.acres for s in mine), good[:KEPT], len(own), late, speech)
        if held:
            text += f" Held back by: {listing(held)}."
        result.append(Repaired(label, tuple(good[:KEPT]), len(own), late, held, text))
    return tuple(result)


def _covers(short: ShortField, other: Plan, plan: Plan) -> bool:
    """Whether a plan covers the field and leaves no more acres short in all."""
    still = sum(s.acres for s in other.shortages if s.field == short.field)
    return still <= ACRE and acres_short(other) <= acres_short(plan) + ACRE


def _repair(idea: Idea, other: Plan, plan: Plan, season: Season, before: float) -> Repair:
    """Say what a change brings; its cost is counted from `before`."""
    speech = Speech(season.farm)
    what = idea.what
    if idea.lot:
        bags = other.bags_bought.get(idea.lot, 0) - plan.bags_bought.get(idea.lot, 0)
        lot = idea.season.lot_named[idea.lot]
        what = (
            f"buy {count(bags, 'bag')} more of {idea.lot} at {speech.money(lot.buy_price)} a unit"
        )
    cost = other.cost.total - before
    covered = acres_short(plan) - acres_short(other)
    also = _also(idea, plan, other)
    side = f"{speech.money(abs(cost))} {'more' if cost >= 0.0 else 'less'}"
    side = side if abs(cost) >= CENT / 2.0 else "the same"
    text = f"{what[0].upper()}{what[1:]}: the plan costs {side}"
    more = gain(plan, other, season) or Gain(covered)
    text += f" and covers {speech.acres(more.acres)}{more.in_place(speech)}; {also}."
    return Repair(idea.field, what, cost, other.gap, covered, also, text)


def _also(idea: Idea, plan: Plan, other: Plan) -> str:
    """Say what else a change would move."""
    fields = [name for name in field_changes(plan, other) if name not in idea.covers]
    orders = order_changes(plan, other)
    parts = []
    if fields:
        parts.append(f"{count(len(fields), 'other field')} would be planted differently")
    if orders:
        parts.append(f"{count(len(orders), 'order line')} would change")
    return " and ".join(parts) or "nothing else changes"


def _words(
    label: str,
    acres: float,
    good: list[Repair],
    tried: int,
    late: int,
    speech: Speech,
    instead: str = "; there is no single change to try.",
) -> str:
    be = "are together" if label == ALL else "is"
    text = f"{label} {be} short by {speech.acres(acres)}"
    if good:
        text += f"; {count(len(good), 'single change')} would cover it"
        text += ", cheapest first." if len(good) > 1 else "."
    elif tried == 0:
        text += instead
    elif late == tried:
        text += "; there was no time to try a repair."
    else:
        text += "; no single change was found to cover it in the time set."
    if 0 < late < tried:
        text += f" {count(late, 'change')} could not be tried in the time set."
    return text

"""What moves of fields save, step by step, and what is bought or left over otherwise."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from planner.explain.words import count
from planner.plan.moves import ACRE
from planner.plan.plan import CENT, PROVEN_GAP

if TYPE_CHECKING:
    from collections.abc import Sequence

    from planner.explain.words import Speech
    from planner.optimize.from_plan.each_move import Step
    from planner.plan.plan import Plan

SMALL = 0.05
"""Share of what a step saves under which a reason is not worth a word."""
REASONS = 3
"""Most reasons that are said."""
ZERO = (0, 0.0)
COSTS = ("freight", "expected yield loss")
BAG = ""
"""Stands for a bag of seed where products have a container."""


@dataclass(frozen=True, slots=True)
class MoveStep:
    """Fields that are worth moving only together, and what that saves."""

    fields: tuple[str, ...]
    further: tuple[str, ...]
    """Of these, the ones that an earlier step moves already, and this one further."""
    acres: float
    """Moved by this step."""
    so_far: float
    """Acres moved with this step and those before it, what must move included."""
    saves: float
    """Cost of the cheapest plan found without it and the later steps, less that with it."""
    apart: bool
    """Whether it was tried to take it apart further."""
    why: str
    """What is bought, given up or left over otherwise."""
    sentence: str


def move_steps(steps: Sequence[Step], must: float, speech: Speech) -> tuple[MoveStep, ...]:
    """Describe the steps of a plan, in the order in which they are taken.

    Parameters
    ----------
    must
        Acres that move before the first step.
    """
    found: list[MoveStep] = []
    seen: set[str] = set()
    so_far = must
    for step in steps:
        so_far += step.acres
        further = tuple(name for name in step.fields if name in seen)
        seen |= set(step.fields)
        why = _why(step, speech)
        said = _sentence(step, further, so_far, speech) + (f" ({why})." if why else ".")
        found.append(
            MoveStep(step.fields, further, step.acres, so_far, step.money, step.apart, why, said)
        )
    return tuple(found)


def _sentence(step: Step, further: Sequence[str], so_far: float, speech: Speech) -> str:
    names = [f"more of {name}" if name in further else name for name in step.fields]
    text = names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]} together"
    text += f", {speech.acres(step.acres)}"
    if so_far - step.acres > ACRE:
        text += f" ({speech.acres(so_far)} by then)"
    text += f": {speech.money(step.money)}"
    return text if step.apart else f"{text}, all in one, as there was no time to split it"


def _why(step: Step, speech: Speech) -> str:
    """Say what of the saving comes from what, the largest part first, so that it adds up."""
    parts = _parts(step.without, step.plan, speech)
    least = max(CENT, SMALL * step.money)
    large = sorted((p for p in parts if abs(p[0]) >= least), key=lambda p: -abs(p[0]))[:REASONS]
    rest = sum(saved for saved, _ in parts) - sum(saved for saved, _ in large)
    said = [text for _, text in large]
    if large and abs(rest) >= least:
        said.append(f"all else {speech.money(abs(rest))} {_less(rest)}")
    return "; ".join(said)


def _parts(without: Plan, plan: Plan, speech: Speech) -> list[tuple[float, str]]:
    """What a plan saves against another one, part by part, and each part in words."""
    was, now = without.cost, plan.cost
    parts = []
    before, after = _bought(without), _bought(plan)
    for what in dict.fromkeys([*before, *after]):
        (n_was, cost_was), (n_now, cost_now) = before.get(what, ZERO), after.get(what, ZERO)
        n, cost = n_was - n_now, cost_was - cost_now
        one, of = what
        thing = count(abs(n), "bag") if one == BAG else f"{abs(n)} x {one}"
        parts.append((cost, f"{thing} of {of} {_less(n)} to buy, {speech.money(abs(cost))}"))
    for saved, worth, what_it_is in (
        (was.freight - now.freight, "", "freight"),
        (was.yield_loss - now.yield_loss, "", "expected yield loss"),
        (now.discounts - was.discounts, "", "discount"),
        (was.seed_given_up - now.seed_given_up, "seed worth ", "can go back"),
        (now.carryover_credit - was.carryover_credit, "product worth ", "is left for next year"),
    ):
        more = _less(saved if what_it_is in COSTS else -saved)
        parts.append((saved, f"{worth}{speech.money(abs(saved))} {more} {what_it_is}"))
    return parts


def _bought(plan: Plan) -> dict[tuple[str, str], tuple[int, float]]:
    """Count and cost of what a plan buys, by kind of container or bag and product or lot."""
    found = {(o.container, o.product): (o.count, o.cost) for o in plan.order}
    return found | {(BAG, s.lot): (s.bags, s.cost) for s in plan.seed_purchases}


def _less(x: float) -> str:
    return "less" if x > 0 else "more"


def from_before(saved: float, old: Plan, speech: Speech) -> str:
    """Say whether what moves save comes from what changed, or was there to save before.

    No plan of the season as it was cost less than the old plan's bound, so no more than the
    distance to it was there to save then.
    """
    distance = max(0.0, old.cost.total - old.bound)
    if saved < CENT:
        return ""
    if not math.isfinite(distance):
        return (
            "How far the old plan was from the cheapest is not known, so these savings need not "
            "come from what changed since."
        )
    if distance <= PROVEN_GAP * max(1.0, abs(old.cost.total)):
        return "The old plan was proven the cheapest then: this comes from what changed since."
    share = f"{speech.money(distance)} or {100.0 * distance / abs(old.cost.total):.1f}%"
    if distance >= saved - CENT:
        return (
            f"The old plan was not proven the cheapest when it was made: it stopped {share} above "
            "its proven floor. So all of this may have been there to save then, and need not come "
            "from what changed since."
        )
    return (
        f"The old plan was not proven the cheapest when it was made: it stopped {share} above its "
        f"proven floor. So up to {speech.money(distance)} of this may have been there to save "
        f"then; {speech.money(saved - distance)} or more comes from what changed since."
    )

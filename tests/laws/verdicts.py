"""Whether what the optimizer says of a season holds against plans and proofs of other engines.

Acres short are compared first, by priority: the first difference beyond rounding decides. Only
where there is none are costs compared.
"""

from __future__ import annotations

from enum import Enum
from typing import TYPE_CHECKING, NamedTuple

from planner.plan.plan import Outcome

if TYPE_CHECKING:
    from collections.abc import Mapping

    from planner.plan.plan import Plan
    from planner.season.domain import Season
    from tests.laws.second_model import Best

ACRES = 5e-4
"""Difference of acres short that is rounding, some 20 square feet.

Settled acres are held with a slack: of up to 3.2e-4 by the program
(`planner.optimize.incumbent.incumbent.short_slack`), of 2e-4 by the second model."""
CRUMB = 1e-6
"""The same of costs, as a share, at the least of 1 cent."""
PROVEN = 1e-4
"""A plan called optimal is at most so much dearer, as a share, than the cheapest."""


class Verdict(Enum):
    """How a claim of the optimizer compares, from good to bad."""

    PROVEN = "optimal, and so says an engine"
    ALONE = "called optimal; no engine came to a proof, or to a better plan"
    OPEN = "not called optimal; nothing better is proven, and the floor is above no plan"
    BEHIND = "dearer than a proven optimum, and not called optimal"
    DISPUTED = "an engine's proof is above a plan that passes our audit"
    WRONG = "a proof that another plan refutes"


class Claim(NamedTuple):
    """What the optimizer says: acres short by rising priority, cost, floor, what is proven."""

    short: tuple[float, ...]
    cost: float
    bound: float
    short_proven: bool
    optimal: bool


def claim(plan: Plan, season: Season) -> Claim:
    """What a plan claims."""
    priority = {f.name: f.priority for f in season.fields}
    short = tuple(
        sum(s.acres for s in plan.shortages if priority[s.field] == p)
        for p in sorted(set(priority.values()))
    )
    optimal = plan.outcome is Outcome.OPTIMAL
    return Claim(short, plan.cost.total, plan.bound, plan.shortage_proven, optimal)


def shorter(one: tuple[float, ...], other: tuple[float, ...]) -> int:
    """-1 where one leaves fewer acres short than the other, 1 where more, 0 where as many."""
    for a, b in zip(one, other, strict=True):
        if abs(a - b) > ACRES:
            return -1 if a < b else 1
    return 0


def room(cost: float) -> float:
    """How far costs may be apart by rounding."""
    return max(0.01, CRUMB * abs(cost))


def judge(ours: Claim, others: Mapping[str, Best | None]) -> tuple[Verdict, list[str]]:
    """The verdict, and every difference in words."""
    found = [_against(ours, name, best) for name, best in others.items() if best is not None]
    differences = [(verdict, text) for verdict, text in found if text]
    if differences:
        order = list(Verdict)
        worst = max((verdict for verdict, _ in differences), key=order.index)
        return worst, [text for _, text in differences]
    if not ours.optimal:
        return Verdict.OPEN, []
    return Verdict.PROVEN if Verdict.PROVEN in [v for v, _ in found] else Verdict.ALONE, []


def _against(ours: Claim, name: str, other: Best) -> tuple[Verdict, str]:
    """The optimizer against one engine; no text where nothing is amiss."""
    c = other.cost
    side = shorter(ours.short, other.short)
    if side > 0:
        text = f"{name} leaves {_acres(other.short)} acres short, ours {_acres(ours.short)}"
        if ours.optimal or ours.short_proven:
            return Verdict.WRONG, text + ", called the fewest"
        return (Verdict.BEHIND, text) if other.short_proven else (Verdict.OPEN, "")
    if side < 0:
        text = (
            f"{name} calls {_acres(other.short)} acres short the fewest, ours {_acres(ours.short)}"
        )
        return (Verdict.DISPUTED, text) if other.short_proven else (Verdict.OPEN, "")
    if ours.bound > c + room(c):
        return Verdict.WRONG, f"floor {ours.bound:.2f}, {name} has a plan at {c:.2f}"
    if ours.cost < other.bound - room(c):
        return Verdict.DISPUTED, f"{name}'s floor {other.bound:.2f}, our plan costs {ours.cost:.2f}"
    if other.proven and ours.cost > c + PROVEN * max(1.0, abs(c)) + room(c):
        text = f"{name} proves {c:.2f}, our plan costs {ours.cost:.2f}"
        return (Verdict.WRONG if ours.optimal else Verdict.BEHIND), text
    return (Verdict.PROVEN if other.proven else Verdict.ALONE), ""


def refuted(
    others: Mapping[str, Best | None], plans: Mapping[str, Best | None]
) -> dict[str, list[str]]:
    """Engines whose proof a plan of the same model refutes, each with the reasons in words.

    Parameters
    ----------
    plans
        What was found: by these engines, or by the same with more room for acres short.
    """
    found: dict[str, list[str]] = {}
    for name, one in others.items():
        for by, other in plans.items():
            if one is None or other is None or by == name:
                continue
            side, text = shorter(one.short, other.short), ""
            if side > 0 and one.short_proven:
                text = f"{name} calls {_acres(one.short)} acres short the fewest"
                text += f", {by} has a plan with {_acres(other.short)}"
            elif side == 0 and one.bound > other.cost + room(other.cost):
                text = f"{name}'s floor is {one.bound:.2f}, {by} has a plan at {other.cost:.2f}"
            if text:
                found.setdefault(name, []).append(text)
    return found


def _acres(short: tuple[float, ...]) -> str:
    return " + ".join(f"{acres:.4f}" for acres in short)

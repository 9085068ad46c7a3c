"""What the most to spend leaves short, and what a little more of it would bring."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from planner.explain.changes import Gain, acres_short, gain
from planner.explain.held import held_plan
from planner.explain.trial import Trial
from planner.explain.words import Speech
from planner.plan.moves import ACRE
from planner.plan.plan import CENT, Outcome

if TYPE_CHECKING:
    from collections.abc import Mapping

    from planner.plan.plan import Plan
    from planner.season.domain import Season

STEP = 1000.0
"""Money more that is tried."""
MORE, NO_LIMIT = "one step more to spend", "no limit to spend"
"""Keys of the two changed seasons."""


@dataclass(frozen=True, slots=True)
class Money:
    """The plan against one with some more to spend, and against one with all it wants.

    Figures of a plan that the time set did not reach are None.
    """

    most: float
    spent: float
    short: float
    """Acres."""
    left_short: float | None
    """Acres that are short for want of money only."""
    left_instead: float
    """Acres of later priorities that are planted in their place."""
    wanted: float | None
    """Money that the plan without a limit pays out."""
    saved: float | None
    """What the total is lower without a limit, where no acres are gained by that."""
    step: float
    step_acres: float | None
    """Acres that one step more would plant."""
    step_instead: float
    """Acres of later priorities that it would leave short in their place."""
    step_saved: float | None
    """What the total is lower with one step more."""
    short_proven: bool
    """Whether neither the plan nor those with more can have fewer acres short than they do."""
    cost_proven: bool
    """Whether none of them can be cheaper at that."""
    under_way: bool
    """Whether some is bought or treated already: the limit holds for what is bought from now on."""
    sentence: str


def money_trials(plan: Plan, season: Season) -> tuple[Trial, ...]:
    """Return the season with no limit, and with a little more to spend; none where there is none.

    Both continue from the plan, which they allow.
    """
    most = season.farm.most_to_spend
    if most is None:
        return ()
    found = []
    for key, money in ((NO_LIMIT, None), (MORE, most + STEP)):
        other = replace(season, farm=replace(season.farm, most_to_spend=money))
        known = held_plan(plan, other, plan)
        found.append(Trial(key, other, known, fewer=bool(plan.shortages)))
    return tuple(found)


def money_answer(
    plan: Plan, season: Season, found: Mapping[str, Plan], base: Plan | None = None
) -> Money | None:
    """Hold the plan against those with more to spend; None where there is no limit.

    Parameters
    ----------
    base
        The best plan of the season that is known: gains that need no money are none of money's.
        Default the plan.
    """
    most = season.farm.most_to_spend
    if most is None:
        return None
    more, free = found.get(MORE), found.get(NO_LIMIT)
    plans = [p for p in (plan, more, free) if p is not None]
    base = base or plan
    gains = {key: gain(base, p, season) or Gain(0.0) for key, p in found.items()}
    result = Money(
        most=most,
        spent=plan.cost.spent,
        short=acres_short(plan),
        left_short=None if free is None else gains[NO_LIMIT].acres,
        left_instead=0.0 if free is None else gains[NO_LIMIT].instead,
        wanted=None if free is None else free.cost.spent,
        saved=None if free is None else _saved(base, free, gains[NO_LIMIT]),
        step=STEP,
        step_acres=None if more is None else gains[MORE].acres,
        step_instead=0.0 if more is None else gains[MORE].instead,
        step_saved=None if more is None else _saved(base, more, gains[MORE]),
        short_proven=all(p.shortage_proven for p in plans),
        cost_proven=all(p.outcome is Outcome.OPTIMAL for p in plans),
        under_way=bool(season.ordered),
        sentence="",
    )
    return replace(result, sentence=_sentence(result, Speech(season.farm)))


def _saved(plan: Plan, other: Plan, more: Gain) -> float:
    """What another plan costs less; with more acres planted it may well cost more."""
    saved = plan.cost.total - other.cost.total
    return saved if more.acres > ACRE else max(0.0, saved)


def _sentence(m: Money, speech: Speech) -> str:
    text = f"{speech.money(m.spent)} of at most {speech.money(m.most)} is spent"
    text += " on what is bought from now on" if m.under_way else ""
    left = m.most - m.spent
    if left >= m.step and m.short <= ACRE and not (m.saved or m.step_saved or 0.0) >= CENT:
        return f"{text}; {speech.money(left)} is left.{_beyond(m)}"
    if m.left_short is None:
        text += "; what that leaves short was not worked out in the time set."
    elif m.left_short > ACRE:
        instead = Gain(m.left_short, m.left_instead).in_place(speech)
        text += (
            f". It leaves {speech.acres(m.left_short)} short, which with no limit would be planted"
            f"{instead} for {speech.money(m.wanted or 0.0)} in all."
        )
    elif (m.saved or 0.0) >= CENT:
        text += (
            f". It leaves no land short; with no limit {speech.money(m.wanted or 0.0)} would be "
            f"spent and the total would be {speech.money(m.saved or 0.0)} lower."
        )
    elif m.short_proven and m.cost_proven:
        text += ". The limit costs neither land nor money."
    else:
        text += ". In the time set, more money was found to bring no more land and no lower cost."
    text += f" {_step(m, speech)}"
    if m.short > ACRE and not m.short_proven and m.left_short is not None:
        text += " That is as far as was found: less land short may be possible with either."
    return text


def _beyond(m: Money) -> str:
    """What more to spend would bring where more is left than one step."""
    if m.left_short is None:
        return ""
    if m.cost_proven:
        return " The limit costs neither acres nor money."
    return " No cheaper plan was found with more to spend."


def _step(m: Money, speech: Speech) -> str:
    step = speech.money(m.step)
    if m.step_acres is None:
        return f"What {step} more would bring was not worked out in the time set."
    if m.step_acres > ACRE:
        side = "lower" if (m.step_saved or 0.0) > 0.0 else "higher"
        instead = Gain(m.step_acres, m.step_instead).in_place(speech)
        return (
            f"{step} more would plant {speech.acres(m.step_acres)} more{instead}; the total would "
            f"be {speech.money(abs(m.step_saved or 0.0))} {side}."
        )
    if (m.step_saved or 0.0) >= CENT:
        return (
            f"{step} more would plant no more land, but lower the total by "
            f"{speech.money(m.step_saved or 0.0)}."
        )
    if m.short_proven and m.cost_proven:
        return f"{step} more would bring nothing."
    return f"No gain from {step} more was found."

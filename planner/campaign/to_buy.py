"""What to buy where the line takes more of a product than the plan leaves over for it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.campaign.domain import ToBuy
from planner.explain.words import Speech, added_words
from planner.plan.additions import cheapest

if TYPE_CHECKING:
    from planner.campaign.domain import Campaign
    from planner.plan.plan import Plan
    from planner.season.domain import Season

WORTH_TELLING = 0.05
"""Fl oz that are missing, at least."""


def to_buy(season: Season, plan: Plan, campaign: Campaign) -> tuple[ToBuy, ...]:
    """Find the cheapest containers for all that is missing in the end, product by product."""
    left = {level.product: level.left for level in campaign.drawdown.levels}
    return tuple(
        ToBuy(product, _words(season, plan, product, -volume))
        for product, volume in left.items()
        if volume < -WORTH_TELLING
    )


def _words(season: Season, plan: Plan, product: str, lack: float) -> str:
    found = cheapest(season, plan, product, lack)
    if found is None:
        return ""
    more = "more" if found.paid >= 0.0 else "less"
    money = Speech(season.farm).money(abs(found.paid))
    over = "" if found.within_money else ", which is over the most to spend"
    return f"buy {added_words(found.added)} for {money} {more}{over}"

"""What a campaign reports as done, for the next plan."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

from planner.campaign.drawdown import draw_down
from planner.season.domain import TreatedSeed

if TYPE_CHECKING:
    from planner.campaign.domain import Campaign


def reported(campaign: Campaign) -> tuple[tuple[TreatedSeed, ...], dict[str, float]]:
    """Return the seed that is done, day by day, and the fl oz that it took, by product.

    What it took is what the draw-down says: margin and line losses are in it.
    """
    runs = [run for run in campaign.calendar.runs if run.done]
    seed = tuple(TreatedSeed(run.lot, run.recipe, run.units, on=run.day) for run in runs)
    took: dict[str, float] = defaultdict(float)
    for use in draw_down(runs, campaign.batches, campaign.supplies, campaign.shop).containers:
        took[use.product] += use.drawn
    return seed, {name: floz for name, floz in took.items() if floz > 0.0}

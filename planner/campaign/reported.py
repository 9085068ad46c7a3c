"""What a campaign reports as done, for the next plan."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.campaign.drawdown import draw_down
from planner.campaign.standing import nights_of
from planner.plan.earlier import OnSeed
from planner.season.domain import TreatedSeed
from planner.sums import summed

if TYPE_CHECKING:
    from planner.campaign.domain import Campaign


def reported(campaign: Campaign) -> tuple[tuple[TreatedSeed, ...], dict[str, float]]:
    """Return the seed that is done, day by day, and the fl oz that it took, by product.

    What it took is what the draw-down says: margin and line losses are in it.
    """
    runs = [run for run in campaign.calendar.runs if run.done]
    seed = tuple(TreatedSeed(run.lot, run.recipe, run.units, on=run.day) for run in runs)
    nights = [night for night in nights_of(campaign) if night.over]
    drawn = draw_down(runs, campaign.batches, campaign.supplies, campaign.shop, nights)
    took = summed((use.product, use.drawn) for use in drawn.containers)
    return seed, {name: floz for name, floz in took.items() if floz > 0.0}


def on_seed(campaign: Campaign) -> dict[tuple[str, str], OnSeed]:
    """What every lot and recipe got of which bags are done."""
    done = {(d.lot, d.recipe) for d in campaign.done}
    return {
        (b.lot, b.recipe): OnSeed(b.unit_weight, {d.product: d.floz_per_unit for d in b.draws})
        for b in campaign.batches
        if (b.lot, b.recipe) in done
    }

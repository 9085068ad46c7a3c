"""A plan held while figures change: what it costs then, and which limits it would not keep."""

from dataclasses import replace

import pytest

from planner.explain.tried import try_out
from planner.optimize.options import SolveOptions
from planner.optimize.search.run import solve
from planner.report.sheets import Text
from planner.report.tried_frames import tried_book
from planner.season.domain import MaturityShare
from tests.support.seasons import farm, field, lot, recipe, season


def test_unchanged_nothing_is_past_a_limit() -> None:
    whole = season(farm=farm(liquid_limit=4.0, most_to_spend=300.0))
    assert try_out(solve(whole, SolveOptions()), whole).past_limits == ()


@pytest.mark.parametrize(("rate", "past"), [(2.0, ()), (2.01, ("L1",))])
def test_a_rate_past_the_liquid_limit_is_told(rate: float, past: tuple[str, ...]) -> None:
    """A unit of 140,000 / 2,800 = 50 lb: 2 fl oz on it are 4 fl oz/cwt, just the limit."""
    whole = season(farm=farm(liquid_limit=4.0))
    changed = replace(whole, recipes=(recipe(Alpha=rate),))
    tried = try_out(solve(whole, SolveOptions()), changed)
    assert tried.past_limits == tuple(f"R1 on {x}: more liquid than the limit." for x in past)


def test_an_order_beyond_the_most_to_spend_is_told_where_the_trial_is() -> None:
    """Two jugs at $300 where one would do."""
    whole = season(farm=farm(most_to_spend=450.0))
    plan = solve(whole, SolveOptions())
    tried = try_out(plan, whole, {("Alpha", "jug"): 2})
    words = "$600 would be paid out: $150 over Most to spend, $450."
    assert tried.past_limits == (words,)
    shown = [b for b in tried_book(tried, plan).sheets[0].blocks if isinstance(b, Text)]
    assert (shown[0].title, shown[0].paragraphs) == (
        "Limits that the plan would not keep",
        (words,),
    )


def test_a_share_that_becomes_too_small_is_told() -> None:
    """100 acres from two lots of 50; of 60 acres each has 30."""
    lots = (lot(on_hand=50.0, units_per_bag=50.0), lot("L2", "V22", 2.2, 50.0, units_per_bag=50.0))
    whole = season(
        farm=farm(smallest_split=40.0, smallest_lot_share=35.0),
        fields=(field(acres=100.0),),
        lots=lots,
    )
    plan = solve(whole, SolveOptions())
    assert [p.acres for p in plan.planting] == pytest.approx([50.0, 50.0])
    assert try_out(plan, whole).past_limits == ()
    limits = ("Smallest split, 40 acres", "Smallest lot share, 35 acres")
    parts = (("V20", "V22"), ("lot L1", "lot L2"))
    assert try_out(plan, replace(whole, fields=(field(acres=60.0),))).past_limits == tuple(
        f"North would have only 30 acres of {what} under R1: less than {limit}."
        for limit, whats in zip(limits, parts, strict=True)
        for what in whats
    )


def test_land_that_tips_the_spread_is_told() -> None:
    """40 and 40 acres are half each; 60 and 40 are 60 %."""
    fields = (field("A", 40.0, only_varieties=("V20",)), field("B", 40.0, only_varieties=("V22",)))
    whole = season(
        farm=farm(most_of_one_variety=0.5),
        fields=fields,
        lots=(lot(), lot("L2", "V22", 2.2)),
        maturity_spread=(MaturityShare(1.9, 2.1, 0.55),),
    )
    plan = solve(whole, SolveOptions())
    assert try_out(plan, whole).past_limits == ()
    larger = replace(whole, fields=(replace(fields[0], acres=60.0), fields[1]))
    assert try_out(plan, larger).past_limits == (
        "V20: 60.0% of the planted land, 50.0% at most.",
        "Maturities 1.9 to 2.1: 60.0% of the planted land, 55.0% at most.",
    )
    without = try_out(plan, replace(whole, fields=fields[:1]))
    assert [p.field for p in without.plan.planting] == ["A"]

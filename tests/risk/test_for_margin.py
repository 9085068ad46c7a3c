"""Containers bought for no more than the margin on product, worked by hand."""

import pytest

from planner.optimize.options import SolveOptions
from planner.optimize.search.run import solve
from planner.report.facts import Facts
from planner.report.front_frames import front_sheet
from planner.report.sheets import Text
from planner.risk.for_margin import ForMargin, for_margin
from planner.season.domain import Season
from planner.terminal.summary import plan_lines
from tests.support.seasons import container, farm, product, recipe, season


def barely(on_hand: float = 0.0, *, margin: float = 0.025, **price) -> Season:
    """80 units take 320 fl oz, a jug, and the margin of 2.5 % 8 fl oz more."""
    return season(
        farm=farm(product_margin=margin),
        products=(product(on_hand=on_hand),),
        recipes=(recipe(Alpha=4.0),),
        containers=(container(**price),),
    )


@pytest.mark.parametrize(("on_hand", "floz"), [(0.0, 8.0), (1.5, 6.5)])
def test_a_jug_for_a_part_of_the_margin(on_hand: float, floz: float) -> None:
    whole = barely(on_hand)
    plan = solve(whole, SolveOptions())
    found = ForMargin("Alpha", "jug", pytest.approx(floz), pytest.approx(8.0), 300.0)
    assert for_margin(whole, plan) == (found,)
    blocks = front_sheet(Facts(plan, whole)).blocks
    (check,) = (b for b in blocks if isinstance(b, Text) and b.title == "Check before you order")
    said = (
        f"Of the last jug of Alpha only {floz:g} fl oz are needed, part of the 2.5% product "
        f"margin (8 fl oz): without it $300.00 less is paid, and {8.0 - floz:g} fl oz of the "
        "margin are left."
    )
    assert check.paragraphs == (said,)
    assert said in " ".join(" ".join(plan_lines(plan, whole)).split())


@pytest.mark.parametrize(
    "whole",
    [
        barely(8.0),  # one jug, all of it needed
        barely(margin=0.0),
        barely(size=159.0),  # three jugs, the last for 10 fl oz
        barely(breaks=((1, 700.0), (2, 300.0))),  # one costs more than two
        barely(breaks=((2, 300.0),)),  # one can't be ordered
    ],
    ids=["needed", "no margin", "more than the margin", "no money saved", "no fewer for sale"],
)
def test_else_nothing_is_said(whole: Season) -> None:
    assert for_margin(whole, solve(whole, SolveOptions())) == ()

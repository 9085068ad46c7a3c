"""What is said of where the savings of moves come from."""

import pytest

from planner.explain.move_steps import from_before
from planner.explain.words import Speech
from planner.plan.plan import Cost, Plan
from tests.support.seasons import season


def earlier(bound: float) -> Plan:
    return Plan(outcome=None, gap=0.0, bound=bound, cost=Cost(containers=10_000.0))


@pytest.mark.parametrize(
    ("saved", "bound", "said"),
    [
        (300.0, 10_000.0, "proven the cheapest then: this comes from what changed since"),
        (300.0, 9_600.0, "$400 or 4.0% above its proven floor. So all of this may have been"),
        (500.0, 9_600.0, "So up to $400 of this may have been there to save then; $100 or more"),
        (300.0, float("-inf"), "How far the old plan was from the cheapest is not known"),
    ],
)
def test_savings_that_were_there_before_are_not_put_down_to_what_changed(
    saved, bound, said
) -> None:
    """The old plan cost $10,000 and no plan then cost less than its floor."""
    assert said in from_before(saved, earlier(bound), Speech(season().farm))


def test_nothing_saved_needs_no_word_on_where_it_comes_from() -> None:
    assert from_before(0.0, earlier(9_000.0), Speech(season().farm)) == ""

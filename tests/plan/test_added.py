"""Containers added to be safe: what they cost, and the plan without them."""

import pytest

from planner import api
from planner.explain.explain import explain
from planner.explain.trial import ExplainBudget
from planner.plan.added import as_decided, more_paid, with_added
from planner.plan.audit import audit
from planner.plan.plan import Added, Outcome, Plan
from planner.report import answer
from planner.report.facts import Facts
from planner.report.front_frames import front_sheet, nearness
from planner.report.json import from_json, to_json
from planner.report.sheets import Text
from planner.risk.safer import drawn
from planner.season.domain import Quantity, Season, Unknown
from planner.terminal.summary import plan_lines
from tests.support.seasons import product, recipe, season

ONE_MORE = (Added("Alpha", "jug", 1),)


@pytest.fixture(scope="module")
def whole() -> Season:
    """80 units take 320 fl oz, one jug of $300; of what is left half counts; use may differ."""
    return season(
        products=(product(carryover=0.5),),
        recipes=(recipe(Alpha=4.0),),
        unknowns=(Unknown(Quantity.PRODUCT_USED, -0.1, 0.2),),
    )


@pytest.fixture(scope="module")
def plan(whole: Season) -> Plan:
    return api.make_plan(whole, seconds=5)


@pytest.fixture(scope="module")
def safer(whole: Season, plan: Plan) -> Plan:
    return api.make_safer(whole, plan, 0.95)


def test_the_plan_without_what_was_added_is_the_plan(
    whole: Season, plan: Plan, safer: Plan
) -> None:
    assert safer.added == ONE_MORE
    audit(safer, whole)
    assert safer.outcome is Outcome.FEASIBLE
    assert as_decided(whole, safer) == plan
    assert as_decided(whole, plan) is plan
    twice = with_added(whole, safer, ONE_MORE)
    assert twice.added == (Added("Alpha", "jug", 2),)
    assert as_decided(whole, twice) == plan


def test_of_a_jug_more_half_stays(whole: Season, plan: Plan, safer: Plan) -> None:
    assert more_paid(plan, safer) == pytest.approx((300.0, 150.0))


def test_what_was_added_is_read_back(whole: Season, safer: Plan) -> None:
    data = to_json(safer, whole)
    assert data["added_to_be_safe"] == [{"product": "Alpha", "container": "jug", "count": 1}]
    assert from_json(data) == safer


def test_page_one_and_the_terminal_say_what_was_added(whole: Season, safer: Plan) -> None:
    facts = Facts(safer, whole, drawn(whole, safer))
    said = "Added to be safe: 1 more jug of Alpha; $300 more to pay, $150 of it stays in "
    texts = [
        text for b in front_sheet(facts).blocks if isinstance(b, Text) for text in b.paragraphs
    ]
    assert any(said in text for text in texts)
    assert any("that there is none is not proven" in text for text in texts)
    aside, proven = nearness(facts)
    assert aside == (
        "Said of the plan without what was added to be safe, which adds $150.00 to the total:"
    )
    assert proven.startswith("Proven: no plan")
    shown = plan_lines(safer, whole)
    assert said in " ".join(" ".join(shown).split())
    at = shown.index(aside)
    assert shown[at + 1].startswith("Proven: no plan")


def test_what_is_to_be_decided_is_money_paid(whole: Season, plan: Plan) -> None:
    facts = Facts(plan, whole, drawn(whole, plan))
    assert "for $300 more (1 more jug of Alpha; $150 of it stays in product left" in (
        facts.held.said if facts.held else ""
    )
    what = "decide whether to spend $300 more to be safe"
    assert f"{what} ($150 of it stays in product left over)" in [
        t.what for t in answer.to_do(facts)
    ]


def test_other_orders_and_rules_are_weighed_without_what_was_added(
    whole: Season, plan: Plan, safer: Plan
) -> None:
    why, own = explain(whole, safer, ExplainBudget(0.0)), explain(whole, plan, ExplainBudget(0.0))
    assert why.order == own.order
    assert (own.aside, why.aside[:40]) == ("", "Worked out without the containers that w")

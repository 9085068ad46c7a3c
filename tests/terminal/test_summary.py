"""What commands say: what was understood, and the plan."""

import re
from dataclasses import replace
from datetime import date

import pytest

from planner.campaign.campaign import make_campaign
from planner.explain.explain import Explanation
from planner.explain.rules import RuleCost
from planner.plan.plan import Cost, SeedPurchase
from planner.plan.seed_cautions import too_old_tests
from planner.terminal.planning import _plan_lines
from planner.terminal.summary import plan_lines, season_lines, why_lines
from tests.support.campaigns import hand_plan, hand_season
from tests.support.plans import HAND_PLAN, HAND_SEASON
from tests.support.seasons import product, season

RULE = RuleCost("No share under 10 acres", "convenience", "", "")
DUST = replace(RULE, cost=1e-9, at_most=1e-9, sentence="It costs nothing.")


def test_all_products_that_were_typed_are_counted():
    lines = season_lines(season(carriers=(product("Water", kind="carrier"),)))
    assert "1 product, 1 carrier" in lines
    assert "1 product" in season_lines(season())


def test_parts_of_the_cost_add_up_to_the_total_by_a_hand_held_calculator():
    """Derived: 19,582.56 - 610.7652 + 41,449 - 1,193.5195 are 59,227.2753; each part rounded by
    itself adds up to a cent less, which the credit takes that nobody pays."""
    cost = Cost(19582.56, 0.0, 610.7652, 0.0, 41449.0, 1193.5195)
    lines = plan_lines(replace(HAND_PLAN, cost=cost), HAND_SEASON)
    start = next(i for i, line in enumerate(lines) if "Containers  " in line)
    amounts = [
        float(re.sub(r"[^-.0-9]", "", line.split("  ")[-1])) for line in lines[start : start + 5]
    ]
    assert amounts == [19582.56, -610.77, 41449.0, -1193.51, 59227.28]
    assert round(sum(amounts[:-1]), 2) == amounts[-1]


def test_seed_to_buy_says_that_it_comes_treated():
    *others, treated = HAND_SEASON.lots
    sold = replace(HAND_SEASON, lots=(*others, replace(treated, can_buy=20.0, buy_price=70.0)))
    bought = SeedPurchase("L1", 1, 20.0, 240.0), SeedPurchase("L3", 1, 10.0, 700.0)
    lines = plan_lines(replace(HAND_PLAN, seed_purchases=bought), sold)
    at = lines.index("Seed to buy")
    header, first, second = (line.split("  ") for line in lines[at + 1 : at + 4])
    assert "Comes treated with" in map(str.strip, header)
    assert "untreated" in map(str.strip, first)
    assert "R1" in map(str.strip, second)
    plain = plan_lines(replace(HAND_PLAN, seed_purchases=bought[:1]), sold)
    assert not any("treated with" in line for line in plain)


def test_an_old_germination_test_is_said_once_with_the_day_of_the_sample():
    """Tested in June 2026, so good until March 2027, and planted in May."""
    one, plan = hand_season(), hand_plan()
    lots = (replace(one.lots[0], test_date=date(2026, 6, 1)), *one.lots[1:])
    one = replace(one, lots=lots)
    plan = replace(plan, warnings=tuple(too_old_tests(plan, one).values()))
    assert len(plan.warnings) == 1
    campaign = make_campaign(one, plan)
    assert [r.lot for r in campaign.retests] == ["L1"]
    shown = " ".join(" ".join(_plan_lines(plan, one, campaign, None, quiet=False)).split())
    assert "L1: its germination test is too old" in shown
    assert "The germination test of lot L1" not in shown
    assert "The germination test of lot L1" in " ".join(" ".join(plan_lines(plan, one)).split())


@pytest.mark.parametrize(
    ("rules", "said"),
    [
        ((replace(RULE, cost=0.0, at_most=900.0, sentence="?"), RULE), ""),
        ((RULE, RULE), ""),
        (
            (replace(RULE, cost=12.0, at_most=12.0, sentence="It costs $12."), RULE),
            "It costs $12. What 1 more rule costs is not known: --why 60 gives that a minute.",
        ),
        ((replace(RULE, cost=0.0, at_most=0.0),), "1 rule costs nothing."),
        (
            (replace(RULE, cost=12.0, at_most=12.0, sentence="It costs $12."), DUST, DUST),
            "It costs $12. 2 other rules cost nothing.",
        ),
    ],
)
def test_rules_of_which_nothing_is_known_are_not_spoken_of_alone(rules, said):
    shown = " ".join(" ".join(why_lines(Explanation(rules=rules), HAND_SEASON)).split())
    assert shown == (f"What a rule costs {said}" if said else "")

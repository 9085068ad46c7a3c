"""What commands say: what was understood, and the plan."""

import re
from dataclasses import replace

from planner.plan.plan import Cost
from planner.terminal.summary import plan_lines, season_lines
from tests.support.plans import HAND_PLAN, HAND_SEASON
from tests.support.seasons import product, season


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

"""The shop where the line stays primed: the plan's order, what is flushed, and days that forbid it.

Three recipes of a bag each, 40 units at 2 fl oz: R1 holds Alpha and Beta, R2 Alpha, R3 Beta. In the
plan's order, R1 between the others, each product is flushed once.
"""

from dataclasses import replace
from datetime import timedelta

import pytest

from planner.campaign import store
from planner.campaign.campaign import make_campaign, update
from planner.campaign.notes import notes
from planner.optimize.options import SolveOptions
from planner.optimize.search.run import solve
from planner.report.clean_frames import cleaning_sheet
from planner.report.json import from_json, to_json
from planner.report.sheets import Text
from planner.season.domain import Done
from tests.optimize.model.test_rules_more import line
from tests.support.seasons import FIRST_DAY, season

RECIPES = {"R1": ("Alpha", "Beta"), "R2": ("Alpha",), "R3": ("Beta",)}


def planned(loss, first="R2"):
    """One bag a day, no cure; only the field of one recipe is planted on the first day."""
    one = season(**line(loss, **RECIPES))
    return replace(
        one,
        farm=replace(one.farm, bags_per_day=1.0, cure_days=0.0),
        fields=tuple(
            replace(f, planting_date=FIRST_DAY + timedelta(0 if f.name == first else 30))
            for f in one.fields
        ),
    )


def worked(one):
    plan = solve(one, SolveOptions(seconds=20, gap=0.0))
    return plan, make_campaign(one, plan)


def runs(campaign):
    return tuple(dict.fromkeys(r.recipe for r in campaign.calendar.runs))


def drawn(campaign):
    return {
        name: sum(u.drawn for u in campaign.drawdown.containers if u.product == name)
        for name in ("Alpha", "Beta")
    }


@pytest.mark.parametrize("first", ["R2", "R3"])
def test_the_calendar_keeps_the_order(first):
    """2 x 40 x 2 fl oz of each product and one loss of 160: a whole jug of 320."""
    plan, campaign = worked(planned(160.0, first))
    assert runs(campaign) == plan.run_order
    assert plan.run_order[0] == first
    assert drawn(campaign) == {"Alpha": pytest.approx(320.0), "Beta": pytest.approx(320.0)}
    assert campaign.calendar.late == 0
    assert campaign.drawdown.flushes == ()
    assert not any("flushed" in note for note in campaign.notes)


def test_days_forbid_it_and_what_is_there_covers_it():
    """R1 must come first, so Beta is flushed twice: 160 and twice 80 are just a jug."""
    plan, campaign = worked(planned(80.0, "R1"))
    assert plan.run_order[1] == "R1"
    assert runs(campaign)[0] == "R1"
    assert campaign.calendar.late == 0
    (flush,) = campaign.drawdown.flushes
    again = drawn(campaign)
    assert (flush.times, flush.more, flush.there) == (1, pytest.approx(80.0), pytest.approx(80.0))
    assert flush.missing == pytest.approx(0.0)
    assert again[flush.product] == pytest.approx(320.0)
    assert sum(again.values()) == pytest.approx(320.0 + 240.0)
    (note,) = [n for n in campaign.notes if "flushed" in n]
    said = "is flushed once more than the plan counts on, in the order that days allow: 80.0 fl oz"
    assert f"{flush.product} {said}" in note
    francs = replace(campaign, shop=replace(campaign.shop, currency="CHF"))
    assert any(f"80.0 fl oz, CHF {flush.money:,.0f}; the" in n for n in notes(francs))


def test_days_forbid_it_and_what_is_there_does_not():
    """160 and twice 80.5 are one fl oz more than a jug."""
    _, campaign = worked(planned(80.5, "R1"))
    (flush,) = campaign.drawdown.flushes
    assert flush.missing == pytest.approx(1.0)
    (note,) = [n for n in campaign.notes if "flushed" in n]
    assert note.endswith("1.0 fl oz are missing: buy 1 more jug of Beta for $300 more.")


def test_bags_done_in_another_order_are_flushed_as_they_ran():
    """R1 done first by choice: R2 stays on its line, R3 does not."""
    _, campaign = worked(planned(60.0, "R2"))
    assert drawn(campaign) == {"Alpha": pytest.approx(220.0), "Beta": pytest.approx(220.0)}
    batch = next(b for b in campaign.batches if b.recipe == "R1")
    after = update(campaign, [Done(batch.lot, "R1", 1, FIRST_DAY)])
    assert runs(after) == ("R1", "R2", "R3")
    assert drawn(after) == {"Alpha": pytest.approx(220.0), "Beta": pytest.approx(280.0)}
    assert [f.product for f in after.drawdown.flushes] == ["Beta"]


def test_plan_and_campaign_are_read_back():
    one = planned(80.0, "R1")
    plan, campaign = worked(one)
    data = to_json(plan, one)
    assert data["run_order"] == list(plan.run_order)
    assert from_json(data) == plan
    assert store.from_dict(store.to_dict(campaign)) == campaign
    flat = replace(one, farm=replace(one.farm, line_stays_primed=False))
    assert "run_order" not in to_json(solve(flat, SolveOptions(seconds=20)), flat)


def test_cleaning_leaves_the_line_full_where_the_plan_counts_on_it():
    """Hoses that are flushed every evening would take the line loss again every morning."""
    _, campaign = worked(planned(80.0, "R2"))
    for stays in (True, False):
        shop = replace(campaign.shop, stays_primed=stays)
        blocks = cleaning_sheet(replace(campaign, shop=shop)).blocks
        said = " ".join(line for b in blocks if isinstance(b, Text) for line in b.paragraphs)
        assert ("stay full" in said) == stays
        assert "Clean after every treating day" in said

"""The day on which seed was treated: read from two sheets, and its life runs from it."""

from dataclasses import replace
from datetime import date

import pytest

from planner.campaign.campaign import make_campaign
from planner.optimize.options import SolveOptions
from planner.optimize.search.run import solve
from planner.plan.cautions import warnings
from planner.season.domain import TreatedSeed
from tests.support.inputs import faults, good, put, read
from tests.support.seasons import farm, field, lot, product, season

DAY = date(2027, 4, 14)


def test_the_day_is_read_from_both_sheets(tmp_path) -> None:
    sheets = put(good(), "Treated so far", 2, "Treated on", "2026-12-04")
    sheets = put(sheets, "Seed lots", 3, "Treated with", "Base")
    sheets = put(sheets, "Seed lots", 3, "Treated on", "2026-11-30")
    made = read(tmp_path, sheets)
    assert [(t.lot, t.on) for t in made.treated] == [("L-1", date(2026, 12, 4))]
    assert [x.treated_on for x in made.lots][:2] == [None, date(2026, 11, 30)]


def test_rows_of_different_days_stay_apart_and_blank_ones_mean_not_known(tmp_path) -> None:
    sheets = put(good(), "Treated so far", 2, "Treated on", "2026-12-04")
    sheets["Treated so far"] += [["L-1", "Full", "35", ""], ["L-1", "Full", "5", "2026-12-04"]]
    made = read(tmp_path, sheets)
    assert [(t.units, t.on) for t in made.treated] == [(45.0, date(2026, 12, 4)), (35.0, None)]


@pytest.mark.parametrize(
    ("sheet", "column", "text", "told"),
    [
        ("Treated so far", "Treated on", "2026-12-11", "at the latest the Plan date, 2026-12-10"),
        ("Treated so far", "Treated on", "some day", "a date"),
        ("Seed lots", "Treated on", "2026-12-01", "a recipe in Treated with"),
    ],
)
def test_days_that_cannot_be_are_faults(tmp_path, sheet, column, text, told) -> None:
    sheets = put(good(), sheet, 2, column, text)
    if sheet == "Seed lots":
        put(sheets, sheet, 2, "Treated with", "")
    (fault,) = faults(tmp_path, sheets)
    assert fault.row == 2
    assert told in str(fault)


def living(**changes):
    """80 acres planted on May 10 with seed that lives 21 days after treating."""
    return season(
        farm=farm(plan_date=date(2027, 2, 1), cure_days=2.0),
        fields=(field(acres=80.0, planting_date=date(2027, 5, 10)),),
        products=(product(on_seed_life=21.0),),
        **changes,
    )


@pytest.mark.parametrize(("day", "late"), [(date(2027, 4, 19), False), (date(2027, 4, 18), True)])
def test_life_of_a_lot_already_treated_runs_from_its_day(day, late) -> None:
    """April 19 and 21 days is May 10, the planting date; without a day it is the plan date."""
    whole = living(lots=(lot(on_hand=80.0, treated_with="R1", treated_on=day),))
    plan = solve(whole, SolveOptions(5.0))
    assert any("on-seed life" in text for text in warnings(plan, whole)) is late
    undated = replace(whole, lots=(replace(whole.lots[0], treated_on=None),))
    assert any("on-seed life" in text for text in warnings(plan, undated))


@pytest.mark.parametrize(("day", "late"), [(date(2027, 4, 19), False), (date(2027, 4, 18), True)])
def test_life_of_bags_treated_so_far_runs_from_their_day(day, late) -> None:
    whole = living(lots=(lot(on_hand=80.0),), treated=(TreatedSeed("L1", "R1", 80.0, on=day),))
    plan = solve(whole, SolveOptions(5.0))
    assert plan.treating == ()
    assert any("on-seed life" in text for text in warnings(plan, whole)) is late


def test_the_clock_of_a_field_starts_when_its_oldest_bag_was_treated() -> None:
    """40 units were treated on April 14: they live to May 5; the other 40 are still to treat."""
    whole = living(lots=(lot(on_hand=80.0),), treated=(TreatedSeed("L1", "R1", 40.0, on=DAY),))
    plan = solve(whole, SolveOptions(5.0))
    made = make_campaign(whole, plan)
    assert [p.inoculant_until for p in made.clock] == [date(2027, 5, 5)]
    assert made.clock[0].note == "no day is left: it is cured only after what lives on it is gone"
    unknown = replace(whole, treated=(TreatedSeed("L1", "R1", 40.0),))
    assert "treated before this plan" in make_campaign(unknown, plan).clock[0].note


def test_seed_treated_before_belongs_to_the_field_planted_first() -> None:
    """40 units treated on April 14 go to the field of May 1, not to that of May 20."""
    whole = living(lots=(lot(on_hand=80.0),), treated=(TreatedSeed("L1", "R1", 40.0, on=DAY),))
    fields = (
        field("First", acres=40.0, planting_date=date(2027, 5, 1)),
        field("Last", acres=40.0, planting_date=date(2027, 5, 20)),
    )
    whole = replace(whole, fields=fields)
    made = make_campaign(whole, solve(whole, SolveOptions(5.0)))
    assert [(s.field, s.treated_on) for s in made.shares] == [("First", (DAY,)), ("Last", ())]

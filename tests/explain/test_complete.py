"""A plan on its way out: what the solver's tolerance leaves out is not told."""

from dataclasses import replace

import pytest

from planner import api
from planner.explain.complete import to_the_edge
from planner.plan.plan import Planting
from planner.report.json import read_plan
from planner.season.domain import Pressure, Season, Threat
from tests.support.sample_plan import greedy_plan
from tests.support.seasons import farm, field, lot, season

LOST = {
    "farm": farm(weigh_yield_loss=True, soybean_price=10.0),
    "threats": (Threat("White mold", loss={Pressure.HIGH: 2.0}),),
    "lots": (lot(on_hand=200.0),),
}
UNTREATED = {"farm": farm(allow_untreated=True), "lots": (lot(on_hand=200.0, return_value=40.0),)}


def dear_land(changed: dict) -> Season:
    """One field whose every acre costs something, so that solutions leave out a billionth of it."""
    return season(fields=(field(acres=80.0, pressure={"White mold": Pressure.HIGH}),), **changed)


@pytest.mark.parametrize("changed", [LOST, UNTREATED])
def test_whole_fields_are_told_and_planning_again_from_the_file_changes_nothing(tmp_path, changed):
    whole = dear_land(changed)
    plan = api.make_plan(whole, seconds=20, gap=0.0)
    (row,) = plan.planting
    assert (row.acres, row.units, plan.shortages) == (80.0, 80.0, ())
    api.write(plan, whole, tmp_path, packs=("winter",))
    old = read_plan(tmp_path / "plan.json")
    assert replace(old, seconds=plan.seconds) == plan
    now, earlier, notes = api.bring_in(whole, tmp_path / "plan.json")
    cheapest = api.make_plan(now, seconds=20, gap=0.0)
    again, told = api.keep_near(now, earlier, cheapest, seconds=20, notes=notes)
    assert (again.planting, again.treating, again.order) == (old.planting, old.treating, old.order)
    assert told.moved == 0.0
    assert told.sentences[0].startswith("Nothing changes")


def test_the_widest_row_takes_what_rounding_left_and_a_short_field_stays_short():
    two = season(fields=(field("Whole", 80.0), field("Short", 80.0)), lots=(lot(), lot("L2")))
    rows = [
        Planting("Whole", "L1", "Base", 20.0, 20.0),
        Planting("Whole", "L2", "Base", 60.0 - 1e-9, 60.0 - 1e-9),
        Planting("Short", "L1", "Base", 79.9, 79.9),
    ]
    plan = replace(greedy_plan(two), planting=tuple(rows))
    told = to_the_edge(plan, two)
    assert [(p.acres, p.units) for p in told.planting] == [(20, 20), (60, 60), (79.9, 79.9)]
    assert to_the_edge(told, two) is told

"""What is asked of a plan: what if, what rules cost, land that may change; and work in a line."""

from __future__ import annotations

import re
import time
from io import BytesIO
from typing import TYPE_CHECKING

import pytest

pytest.importorskip("starlette")

from openpyxl import load_workbook

from tests.support import inputs
from tests.support.page import Reader, rows_of, texts

if TYPE_CHECKING:
    from pathlib import Path

    from planner.page.desk import Desk

SCENARIOS = (
    "Scenario,Sheet,Row,Column,Value\n"
    "Dear jugs,Containers,Green Cap / jug,Price,130\n"
    "Small field,Fields,Home 80,Acres,20\n"
)


def opened(tiny: Path) -> tuple[Reader, str, Desk]:
    """Someone with a plan of the tiny season with scenarios, its address and its desk."""
    (tiny / "what if.csv").write_text(SCENARIOS, "utf-8")
    reader = Reader(tiny.parent).enter()
    season = f"/s/{reader.site.shelf.listed()[0].key}"
    reader.planned(season)
    return reader, season, desk_of(reader, season)


def desk_of(reader: Reader, season: str) -> Desk:
    entry = reader.site.shelf.get(season[3:])
    assert entry is not None
    return reader.site.desks.of(entry, lambda d: None)


def test_scenarios_are_planned_on_asking_as_by_hand(tiny: Path) -> None:
    """By hand: 240 fl oz are needed, of jugs of 128 for $100 or kegs of 320 for $240.

    The plan is two jugs for $200. At $130 a jug two cost $260, so one keg for $240 is cheapest.
    20 acres take 20.6 units, one bag of 40, so 80 fl oz: one jug for $100.
    """
    reader, season, desk = opened(tiny)
    plan = desk.made.plan
    answer = reader.get(f"{season}/answer")
    assert "asks what if: Dear jugs; Small field" in texts(answer)
    before = reader.get(f"{season}/look/what-if")
    assert "None of them is planned yet" in texts(before)
    assert rows_of(before, "changes")[1][:2] == ["Dear jugs", "Containers"]
    reader.finished(season, "what-if", seconds="2")
    said = reader.get(f"{season}/look/what-if")
    totals = {row[0]: row[1:3] for row in rows_of(said, "plans")[1:]}
    assert totals["as it is"][0] == f"${plan.cost.total:,.2f}"
    assert totals["Dear jugs"][1] == "$40.00"
    assert totals["Small field"][1] == "-$100.00"
    order = next(t for t in (rows_of(said, f"part_{n}") for n in range(7)) if "keg" in str(t))
    assert sorted(order[1:]) == [
        ["Green Cap", "jug", "2", "0", "1"],
        ["Green Cap", "keg", "0", "1", "0"],
    ]
    assert desk.made.plan is plan
    assert "asks what if" not in texts(reader.get(f"{season}/answer"))
    study = next(f for f in desk.made.files if f.path.name == "study.xlsx")
    sheet = load_workbook(BytesIO(study.content))["What if"]
    cells = [c.value for r in sheet.iter_rows() for c in r]
    assert "Dear jugs" in cells
    assert any(isinstance(c, float | int) and abs(c - 40.0) < 0.005 for c in cells)


def test_scenarios_of_another_workbook_are_not_planned_for_this_plan(tiny: Path) -> None:
    reader, season, desk = opened(tiny)
    (tiny / "fields.csv").write_text("Field,Acres,Seeding rate\nHome 80,79,140000\n", "utf-8")
    assert "has changed since this plan" in texts(reader.post(f"{season}/what-if", 409))
    assert desk.made.why.compared is None
    assert "Plan the scenarios" not in reader.get(f"{season}/look/what-if")
    assert "has changed since this plan" in texts(reader.get(f"{season}/files"))


@pytest.mark.slow
def test_scenarios_of_a_changed_season_hold_the_changes_too(tiny: Path) -> None:
    """By hand: a keg at $250 still costs less than two jugs at $130, and more than two at $100."""
    reader, season, desk = opened(tiny)
    price = {f"price-{n}-0": p for n, p in enumerate(("100", "250"))}
    reader.finished(season, "again", seconds="2", **price)
    said = reader.get(f"{season}/look/what-if")
    assert [row[0] for row in rows_of(said, "changes")[1:]] == ["Dear jugs", "Small field"]
    assert "asks what if: Dear jugs; Small field" in texts(reader.get(f"{season}/answer"))
    reader.finished(season, "what-if", seconds="2")
    rows = rows_of(reader.get(f"{season}/look/what-if"), "plans")
    assert [row[0] for row in rows[1:]] == ["with your changes", "Dear jugs", "Small field"]
    assert rows[2][2] == "$50.00"  # one keg at $250 against two jugs at $100
    assert desk.made.files[0].path.parent.name.endswith("-tried")


def test_a_season_without_scenarios_says_where_they_are_typed(tmp_path: Path, tiny: Path) -> None:
    reader = Reader(tmp_path).enter()
    season = f"/s/{reader.site.shelf.listed()[0].key}"
    reader.planned(season)
    assert tiny.name
    reader.get(f"{season}/look/what-if", 404)
    assert "sheet What if" in texts(reader.post(f"{season}/what-if", 404))


@pytest.mark.slow
def test_stopping_keeps_the_scenarios_that_were_planned(tmp_path: Path) -> None:
    """The first one has a plan at once; the demo's proof takes longer than the test waits."""
    reader = Reader(tmp_path).enter()
    reader.post("/demo")
    season = f"/s/{reader.site.shelf.listed()[0].key}"
    reader.planned(season, seconds="1")
    desk = desk_of(reader, season)
    reader.post(f"{season}/what-if", seconds="600")
    until = time.monotonic() + 60
    while not desk.job.points or desk.job.points[-1].cost is None:
        assert time.monotonic() < until
        time.sleep(0.05)
    part = texts(reader.get(f"{season}/live/part"))
    assert "Planning what if: Cheaper soybeans" in part
    assert "0 of 2" in part
    reader.finished(season, "stop")
    said = texts(reader.get(f"{season}/look/what-if"))
    assert "No plan in the time: Two boxes get wet" in said
    assert desk.made.why.compared.names == ("as it is", "Cheaper soybeans")


@pytest.mark.slow
def test_rules_get_more_time_by_a_button_and_what_is_known_stays(tiny: Path) -> None:
    reader, season, desk = opened(tiny)
    reader.finished(season, "what-if", seconds="1")
    compared, files = desk.made.why.compared, desk.made.files
    said = reader.get(f"{season}/look/cost-of-rules")
    assert "Work out what rules cost" in said
    reader.finished(season, "why", seconds="60")
    assert desk.job.then == "look/cost-of-rules"
    assert desk.job.elapsed < 60  # done early: nothing is left to narrow down
    assert all(rule.cost is not None for rule in desk.made.why.rules)
    assert desk.made.why.compared is compared
    assert [f.path for f in desk.made.files] == [f.path for f in files]


def test_no_page_of_a_plan_speaks_of_the_command_or_of_other_files(tiny: Path) -> None:
    reader, season, _desk = opened(tiny)
    pages = [f"{season}/answer", f"{season}/try", f"{season}/files", season]
    pages += re.findall(rf'href="({season}/look/[^"#?]+)', reader.get(f"{season}/answer"))
    assert len(set(pages)) > 20
    for where in set(pages):
        said = texts(reader.get(where))
        found = re.findall(r"(?<!\S)\(?--?[a-z][a-z-]+|(?:plan|shop|study) workbook", said)
        assert found == [], where


@pytest.mark.slow
def test_land_that_may_change_is_held_and_a_slip_is_said(tmp_path: Path) -> None:
    path = inputs.workbook(tmp_path / "season.xlsx", inputs.good())
    reader = Reader(tmp_path).enter()
    season = f"/s/{reader.site.shelf.listed()[0].key}"
    assert path.exists()
    reader.planned(season)
    slip = texts(reader.post(f"{season}/again", 400, seconds="2", most="a lot"))
    assert "you typed &#39;a lot&#39;" in slip
    reader.finished(season, "again", seconds="2", most="0")
    again = desk_of(reader, season).made.why.again
    assert again.most_moved == 0.0
    assert again.moved == 0.0


@pytest.mark.slow
def test_seasons_are_planned_one_after_the_other(tmp_path: Path) -> None:
    """One at a time, in the order of asking; the one that waits may be stopped, too."""
    for name in ("one", "two", "three"):
        inputs.workbook(tmp_path / f"{name}.xlsx", inputs.good())
    reader = Reader(tmp_path).enter()
    first, second, third = (f"/s/{entry.key}" for entry in reader.site.shelf.listed())
    reader.post("/demo")
    demo = next(f"/s/{e.key}" for e in reader.site.shelf.listed() if e.kept)
    reader.post(f"{demo}/plan", seconds="600")
    for season in (first, second, third):
        reader.post(f"{season}/plan", seconds="2")
    assert "2 before this one" in texts(reader.get(f"{second}/live/part"))
    assert "being planned" in reader.get("/")
    reader.post(f"{third}/stop")
    reader.post(f"{demo}/stop")
    reader.finished(second, "plan", seconds="2")
    assert desk_of(reader, first).made is not None
    assert desk_of(reader, second).made is not None
    until = time.monotonic() + 30
    while 'data-over="1"' not in (last := reader.get(f"{third}/live/part")):
        assert time.monotonic() < until
        time.sleep(0.1)
    assert "Stopped before it began" in texts(last)
    assert desk_of(reader, third).made is None


@pytest.mark.slow
def test_what_was_treated_and_ordered_before_the_plan_is_not_counted_since(tiny: Path) -> None:
    """A bag treated and a jug on its way when the plan was made: nothing is paid since."""
    (tiny / "treated so far.csv").write_text("Lot,Recipe,Units\nL-1,Base,40\n", "utf-8")
    lots = (tiny / "seed lots.csv").read_text("utf-8").splitlines()
    lots = [f"{line},{end}\n" for line, end in zip(lots, ("Return value", "5"), strict=True)]
    (tiny / "seed lots.csv").write_text("".join(lots), "utf-8")
    (tiny / "ordered so far.csv").write_text("Product,Container,Count\nGreen Cap,jug,1\n", "utf-8")
    reader, season, desk = opened(tiny)
    reader.finished(season, "again", seconds="2")
    again = desk.made.why.again
    assert (again.paid, again.given_up) == (0.0, 0.0)
    assert [line.on_way for line in again.order] == [0]
    assert "already paid" not in again.sentences[0]

"""The sheet If things differ, its line on page one, and what plan.json says of it."""

import io
import json
from dataclasses import replace

import pytest
from openpyxl import load_workbook

from planner.campaign.campaign import make_campaign
from planner.report.facts import DIFFER, FRONT, Facts
from planner.report.plan_files import write_plan
from planner.report.risk_frames import bag_order, differ_sheet, drawn_tables
from planner.report.sheets import Cell, ChartRow, Pack, Sheet, Table, Text
from planner.report.workbook import render
from planner.risk.as_planned import as_planned
from planner.risk.margins import last_bags, margins
from planner.risk.usual import TOLD
from planner.season.domain import Quantity, Season, Unknown
from tests.support.books import described, winter
from tests.support.inputs import folder, good
from tests.support.plans import HAND_PLAN, HAND_SEASON
from tests.support.sample_plan import awkward_season, greedy_plan, sample_season

UNKNOWNS = (
    Unknown(Quantity.SEEDS_PER_LB, -0.2, 0.1),
    Unknown(Quantity.PRODUCT_USED, -0.05, 0.3),
    Unknown(Quantity.ACRES, 0.0, 0.1),
)


def sheet_of(season: Season, draws: int = 1024) -> tuple[Sheet, Facts]:
    plan = greedy_plan(season)
    held = as_planned(season, plan, draws=draws) if season.unknowns else None
    facts = Facts(plan, season, held)
    return differ_sheet(facts, bag_order(make_campaign(season, plan))), facts


def tables(sheet: Sheet) -> dict[str, Table]:
    return {b.name: b for b in sheet.blocks if isinstance(b, Table)}


def plain(cell) -> object:
    return cell.value if isinstance(cell, Cell) else cell


def test_margins_are_there_without_any_unknowns():
    sheet, facts = sheet_of(sample_season())
    found = tables(sheet)
    assert set(found) == {"margins", "bags", "limits"}
    assert not [b for b in sheet.blocks if isinstance(b, ChartRow)]
    rows = {row[0]: [plain(c) for c in row] for row in found["margins"].rows}
    for m in margins(facts.season, facts.plan):
        assert rows[m.product][1:4] == [m.supply, m.need, m.slack]
        assert rows[m.product][4] == m.used
        assert rows[m.product][5] == ("never" if m.seed_size is None else m.seed_size)


def test_bags_are_in_the_order_of_the_shop():
    season = sample_season()
    plan = greedy_plan(season)
    bags = bag_order(make_campaign(season, plan))
    assert len(bags) == sum(t.full_bags + t.part_bag for t in plan.treating)
    assert sum(b.units for b in bags) == pytest.approx(sum(t.units for t in plan.treating))
    sheet, _ = sheet_of(season)
    shown = {row[0]: [plain(c) for c in row[1:]] for row in tables(sheet)["bags"].rows}
    for last in last_bags(season, plan, bags):
        said = ["lasts" if n is None else f"bag {n} of {len(bags)}" for n in last.runs_out]
        assert shown[last.product] == [last.bags, *said]


def test_draws_add_chances_and_pictures():
    sheet, facts = sheet_of(replace(sample_season(), unknowns=UNKNOWNS))
    found = tables(sheet)
    assert set(found) == {"margins", "bags", "limits", "chances", "lots"}
    named = {row[0] for row in found["lots"].rows}
    assert named == {x.lot for x in facts.held.lots if x.enough < 0.9995}
    found |= {t.name: t for t in drawn_tables(facts)}
    chances = {row[0]: [plain(c) for c in row] for row in found["chances"].rows}
    for p in facts.held.products:
        assert chances[p.product][1:4] == [p.enough, p.first, p.supply]
    for _, low, half, high, line in found["shares"].rows:
        assert min(low, half, high) >= 0.0
        assert line == 1.0
    drawn = [c for b in sheet.blocks if isinstance(b, ChartRow) for c in b.charts]
    assert [c.table.table for c in drawn] == ["shares", "spread"]
    spread = found["spread"].rows
    assert sum(row[1] + row[2] for row in spread) == pytest.approx(1.0)
    assert [row[3] > 0.0 for row in spread].count(True) == 1


def test_late_prices_are_shown_where_there_are_any():
    season = sample_season()
    sold = tuple(
        replace(c, late_price=1_400.0) if c.name == "2.5 gal jug" else c for c in season.containers
    )
    late = tables(sheet_of(replace(season, containers=sold))[0])["margins"]
    assert late.columns[-1].key == "late"
    shown = {row[0]: row[-1] for row in late.rows}
    assert shown["Duskfield"] == "2.5 gal jug at $1,400.00"
    assert shown["Rosemark"] == ""
    assert tables(sheet_of(season)[0])["margins"].columns[-1].key == "of"


def test_page_one_says_so_in_a_line():
    def said(season: Season, held, title: str) -> str:
        front = winter(greedy_plan(season), season, held=held).sheets[0]
        assert front.title == FRONT
        return next(
            b.paragraphs[-1] for b in front.blocks if isinstance(b, Text) and b.title == title
        )

    season = replace(sample_season(), unknowns=UNKNOWNS)
    plan = greedy_plan(season)
    first = margins(season, plan)[0].product
    short_first = said(season, None, "What runs short first")
    assert short_first.startswith(f"{first} runs short first: as soon as ")
    held = as_planned(season, plan, draws=1024)
    share = f"In {held.enough * 100:.0f} of 100 seasons drawn from what is not known every product"
    assert share in said(season, held, "How safe is this order")


@pytest.mark.parametrize("season", [sample_season(metric=True), awkward_season()])
def test_the_workbook_reads_back(season):
    season = replace(season, unknowns=UNKNOWNS)
    plan = greedy_plan(season)
    held = as_planned(season, plan, draws=256)
    books = described(plan, season, campaign=make_campaign(season, plan), held=held)
    book = load_workbook(io.BytesIO(render(books[Pack.STUDY])))
    page = book[DIFFER]
    assert len(page._charts) == 2
    texts = [c.value for row in page.iter_rows() for c in row if isinstance(c.value, str)]
    assert "How often each product suffices" in texts
    assert not [c for row in page.iter_rows() for c in row if c.data_type == "f"]


def test_plan_json_says_the_same(tmp_path):
    season = replace(HAND_SEASON, unknowns=UNKNOWNS)
    write_plan(HAND_PLAN, season, tmp_path, packs=())
    told = json.loads((tmp_path / "plan.json").read_text("utf-8"))
    held = as_planned(season, HAND_PLAN)
    assert told["unknowns"]["draws"] == held.draws == 131_072
    assert told["unknowns"]["as_planned"]["enough"] == held.enough
    names = [p["product"] for p in told["unknowns"]["as_planned"]["products"]]
    assert names == [p.product for p in held.products]
    assert [m["product"] for m in told["margins"]] == ["Alpha", "Beta"]


def test_without_unknowns_plan_json_holds_margins_only(tmp_path):
    write_plan(HAND_PLAN, HAND_SEASON, tmp_path, packs=())
    told = json.loads((tmp_path / "plan.json").read_text("utf-8"))
    assert "unknowns" not in told
    assert told["margins"][0]["used"] == pytest.approx(67.6 / 122.4, abs=1e-6)


@pytest.mark.slow
def test_usual_unknowns_are_off_unless_asked_for(tmp_path):
    """The command line: without the option no draws, with it draws that the notes tell of."""
    from typer.testing import CliRunner

    from planner.cli import app

    sheets = good()
    del sheets["Unknowns"]
    source = str(folder(tmp_path / "season", sheets))
    told = {}
    for name, more in (("off", []), ("on", ["--usual-unknowns"])):
        out = tmp_path / name
        command = ["plan", source, "--out", str(out), "--seconds", "3", "--why", "0", *more]
        result = CliRunner().invoke(app, command)
        assert result.exit_code == 0, result.output
        told[name] = json.loads((out / "plan.json").read_text("utf-8"))
    assert "unknowns" not in told["off"]
    assert TOLD not in told["off"]["told"]
    assert told["on"]["unknowns"]["draws"] == 131_072
    assert TOLD in told["on"]["told"]

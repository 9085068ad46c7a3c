"""What the campaign's sheets say, read back from the workbook that they make."""

import io
import json
from dataclasses import replace
from datetime import date

import openpyxl
import pytest

from planner.campaign.campaign import make_campaign, update
from planner.campaign.store import from_dict, to_dict
from planner.errors import InputError, OutputError
from planner.report import calibration_frames
from planner.report.calendar_frames import calendar_sheet
from planner.report.campaign_files import update_campaign
from planner.report.campaign_frames import campaign_book, campaign_sheets
from planner.report.files import put_aside
from planner.report.sheets import Pack, Room, Text
from planner.report.workbook import render
from planner.season.domain import Done, Season
from tests.support.books import described
from tests.support.campaigns import hand_plan, hand_season, random_case

TITLES = [
    "The shop",
    "Shop calendar",
    "What each day needs",
    "Recipe cards",
    "Calibration",
    "Which jug is hooked up",
    "Levels",
    "Seed log",
    "Treatment log",
    "Cleaning",
    "Seed tags",
    "Plant-by clock",
    "Left over",
    "Tag labels",
]
NOT_HELD = {"Plant-by clock", "The shop"}
CAUTION = (
    "Label first. Wear its protective equipment; move air. Never food, feed or oil. Children and"
    " livestock away. Licensed practice only."
)
"""Label, protective equipment, air, no food or feed or oil, children, livestock, license."""
CAUTIONS = {
    "The product's label is the law and comes before anything on this sheet.",
    "Wear what the label asks for: gloves, eye protection, respirator, clean clothes. Wash before"
    " you eat, drink or smoke.",
    "Move air through the shop; don't breathe dust or mist.",
    "Treated seed is never food, feed or oil. Keep it apart from grain; clean trucks and bins: a"
    " single treated bean can spoil a load.",
    "Keep children and livestock away from products, treated seed, dust and spills. Cover or pick"
    " up spilled seed.",
    "Follow your state's rules for a license; a licensed person approves each recipe.",
}
"""The same at length."""


def book(season: Season, plan):
    data = render(campaign_book(make_campaign(season, plan)))
    return openpyxl.load_workbook(io.BytesIO(data))


@pytest.fixture(scope="module")
def hand():
    return book(hand_season(), hand_plan())


def rows(sheet):
    return [[c for c in row if c is not None] for row in sheet.iter_rows(values_only=True)]


def texts(sheet):
    return "\n".join(str(c) for row in rows(sheet) for c in row)


@pytest.mark.parametrize(("spare", "words"), [(2, "all may slip 2 treating days"), (0, "none may")])
def test_how_far_treating_may_slip_is_said_in_words(spare, words):
    made = make_campaign(hand_season(), hand_plan())
    days = tuple(replace(d, spare=spare) for d in made.calendar.days)
    made = replace(made, calendar=replace(made.calendar, days=days))
    figures = calendar_sheet(made).blocks[0].figures
    (said,) = [f.note for f in figures if f.label == "Treating days"]
    assert said.startswith(words)


def row_with(sheet, *words):
    return next(r for r in rows(sheet) if all(w in r for w in words))


def test_sheets_in_the_order_of_use(hand):
    assert hand.sheetnames == TITLES


def paragraphs(sheet):
    """What a sheet says outside of its tables: each paragraph, and no bullet before it."""
    return [
        paragraph
        for block in sheet.blocks
        if isinstance(block, Text)
        for paragraph in block.paragraphs
    ]


def test_cautions_are_on_every_sheet_that_is_held_in_the_shop(hand):
    """Every treating sheet, of the plan as of the campaign, and what is left: whole sentences.

    Recipe cards are handed out one by one: each has its own, in short. The shop's first page has
    the cautions in full.
    """
    season, plan = hand_season(), hand_plan()
    made = make_campaign(season, plan)
    sheets = described(plan, season, campaign=made)[Pack.SHOP].sheets
    held = [s for s in sheets if s.room is Room.TREATING or s.title == "Left over"]
    assert {s.title for s in held} == {*TITLES, "Treating and doses"} - NOT_HELD
    for sheet in held:
        said = paragraphs(sheet)
        assert CAUTION in said or set(said) >= CAUTIONS, sheet.title
        if sheet.title in TITLES:
            printed = [str(c).removeprefix("• ") for row in rows(hand[sheet.title]) for c in row]
            assert CAUTION in printed or set(printed) >= CAUTIONS, sheet.title
    for title, count in (("Recipe cards", len(made.cards)), ("Calibration", len(made.batches))):
        said = paragraphs(next(s for s in held if s.title == title))
        assert count > 1
        assert said.count(CAUTION) == (count if title == "Recipe cards" else 1)
    front = described(plan, season, campaign=made)[Pack.SHOP].sheets[0]
    assert set(paragraphs(front)) >= CAUTIONS


def test_calendar_tells_days_and_what_is_not_approved(hand):
    sheet = hand["Shop calendar"]
    row = row_with(sheet, "L2", "1 to 3", "South")
    assert [f"{row[0]:%Y-%m-%d}", *row[2:]] == [
        "2027-05-06",
        "R2",
        "South",
        "to do",
        "1 to 3",
        3,
        90,
    ]
    assert "R1 (before Sat 5/1/2027, when it is first treated)" in texts(hand["The shop"])
    assert row_with(hand["What each day needs"], "R1", "none yet")


def test_calibration_says_what_a_catch_holds(hand):
    """R1: 4 fl oz/cwt at 300 lb/min is 12 fl oz/min = 354.88 mL; 30 s hold 6 fl oz.

    Within 5 %: 177.44 mL x 0.95 = 168.6 and x 1.05 = 186.3.
    """
    row = row_with(hand["Calibration"], "Alpha", "169 to 186")
    assert row[1:4] == pytest.approx([2, 4, 2365.88], abs=0.01)
    assert row[4:6] == pytest.approx([12.0, 354.88], abs=0.01)


def test_calibration_says_what_a_real_size_changes(hand):
    """L1 has 2,800 seeds a pound: a unit weighs 50 lb, a bag of 40 units 2,000.

    A tenth more: 3,080 and 50 / 1.1 = 45.45 lb. R1 gives 2 fl oz to the unit, so a bag takes the
    same and is not listed; with seed flowing as before a tenth more units pass a minute, and Alpha
    flows 354.88 x 1.1 = 390.4 mL.
    """
    sheet = hand["Calibration"]
    row = row_with(sheet, "seeds/lb", 2800)
    assert row == ["seeds/lb", 2520, 2660, 2800, 2940, 3080]
    assert row_with(sheet, "a unit (lb)", 50)[-1] == pytest.approx(45.5)
    batch = texts(sheet).partition("L1 with R1")[2].partition(" with R")[0]
    assert "Alpha, a bag (mL)" not in batch
    assert row_with(sheet, "Alpha, a minute (mL)", 354.9)[-1] == pytest.approx(390.4)


def test_calibration_without_a_seed_flow_has_lines_for_it():
    season = hand_season()
    sheet = book(replace(season, farm=replace(season.farm, seed_flow=None)), hand_plan())[
        "Calibration"
    ]
    assert "Seed flow is not known" in texts(sheet)
    row = next(r for r in rows(sheet) if r[:3] == ["Alpha", 2, 4])
    assert row[3:] == [pytest.approx(2365.88, abs=0.01)]


def test_card_has_all_three_forms_and_lines_to_sign(hand):
    said = texts(hand["Recipe cards"])
    assert "4 fl oz/cwt" in said
    assert "fludioxonil 0.2025" in said
    assert "A. Keeper" in said
    assert "Signature" in said
    assert "At or over the farm's liquid warning of 5 fl oz/cwt: L2" in said


def test_card_asks_for_the_dye_where_no_colorant_is_in_the_recipe(hand):
    """40 CFR 153.155: a pesticide for seed holds a dye, or its label tells the user to add one."""
    words = "No colorant is in this recipe"
    assert texts(hand["Recipe cards"]).count(words) == 2
    whole = hand_season()
    alpha, beta = whole.products
    colored = replace(whole, products=(alpha, replace(beta, kind="colorant")))
    assert texts(book(colored, hand_plan())["Recipe cards"]).count(words) == 1  # R1 has none
    harmless = replace(whole, products=(replace(alpha, kind="polymer", actives=()), beta))
    assert words not in texts(book(harmless, hand_plan())["Recipe cards"])


def test_draw_down_and_levels(hand):
    row = row_with(hand["Which jug is hooked up"], "stock on hand")
    assert row[-3:] == [1, 100, 0]
    assert "L1, R1, bag 2" in row
    row = row_with(hand["Levels"], "L1, R1, bag 3", "Alpha")
    assert row[-4:-1] == pytest.approx([230.0, 242.0, 5.85])


def test_log_has_blanks_for_what_must_be_measured(hand):
    sheet = hand["Treatment log"]
    head = next(r for r in rows(sheet) if "EPA no." in r)
    for blank in ("Product batch", "Drawn", "Rate got"):
        assert blank in head
    row = row_with(sheet, "L2", "Beta")
    assert len(row) == len(head) - 4
    sheet = hand["Seed log"]
    head = next(r for r in rows(sheet) if "Water added" in r)
    assert "Operator, license" in head
    assert "Alive until" in head  # Plant by, on the clock, is bounded by more than that
    assert "Plant by" not in head
    seed = [r for r in rows(sheet) if "South" in r]
    assert seed
    assert all(r.count("L2") == 1 for r in seed)


def test_tag_rules_and_retention_name_their_sources(hand):
    said = texts(hand["Seed tags"])
    for source in ("7 CFR 201.31a", "7 CFR 201.24a", "8 point"):
        assert source in said
    said = texts(hand["Treatment log"])
    for source in ("7 U.S.C. 1572", "7 CFR 110.3"):
        assert source in said


def test_nothing_to_treat_makes_no_sheets():
    plan = replace(hand_plan(), treating=(), planting=(), products=(), order=())
    assert campaign_sheets(make_campaign(hand_season(), plan)) == ()


def test_done_and_late_stand_on_the_calendar():
    made = make_campaign(hand_season(), hand_plan())
    later = update(made, [Done("L1", "R1", 2)], today=date(2027, 5, 9))
    data = render(campaign_book(later))
    sheet = openpyxl.load_workbook(io.BytesIO(data))["Shop calendar"]
    assert "done" in row_with(sheet, "L1", "1 to 2")
    assert "LATE" in row_with(sheet, "L1", "3")


@pytest.mark.slow
@pytest.mark.parametrize("seed", [s for s in range(13) if s != 3])  # 3 has nothing to treat
def test_any_campaign_becomes_a_workbook(seed):
    season, plan = random_case(seed)
    season = replace(season, farm=replace(season.farm, metric=seed % 2 == 1, seed_flow=200.0))
    made = make_campaign(season, plan)
    assert made.batches
    sheets = openpyxl.load_workbook(io.BytesIO(render(campaign_book(made))))
    assert [t for t in sheets.sheetnames if t != "Shared packages"] == TITLES
    assert ("Shared packages" in sheets.sheetnames) == bool(made.shared)
    log = sheets["Seed log"]
    head = next(r for r in range(1, 40) if log.cell(r, 1).value == "Day")
    mine = [row for row in log.iter_rows(head + 1, values_only=True) if row[1]]
    treated = sum(t.units for t in plan.treating)
    assert sum(row[5] for row in mine) == pytest.approx(treated)


def test_names_stay_texts():
    """Names that a spreadsheet would take for formulas."""
    season, plan = hand_season(), hand_plan()
    nasty = "=1+1"
    lots = (replace(season.lots[0], name=nasty), season.lots[1])
    plan = replace(
        plan,
        treating=(replace(plan.treating[0], lot=nasty), plan.treating[1]),
        planting=(replace(plan.planting[0], lot=nasty), plan.planting[1]),
    )
    made = book(replace(season, lots=lots), plan)
    cells = [c for s in made for row in s.iter_rows() for c in row if c.value == nasty]
    assert cells
    assert all(c.data_type == "s" for c in cells)


# --- files -------------------------------------------------------------------------------------


def written(tmp_path):
    path = tmp_path / "plan.json"
    data = {
        "contract": 1,
        "other": "kept",
        "campaign": to_dict(make_campaign(hand_season(), hand_plan())),
    }
    path.write_text(json.dumps(data), "utf-8")
    return path


def test_files_of_a_campaign_brought_up_to_date(tmp_path):
    path = written(tmp_path)
    campaign, files, _ = update_campaign(path, ["L1:R1:2:2027-04-21"])
    assert [f.name for f in files] == ["plan.json", "plan.ics", "campaign.xlsx"]
    data = json.loads(path.read_text("utf-8"))
    assert data["other"] == "kept"
    assert data["campaign"]["calendar"]["runs"][0]["done"] is True
    assert from_dict(data["campaign"]) == campaign
    log = tmp_path / "log.csv"
    log.write_text("Lot,Recipe,Bags,Day\nL1,R1,1,2027-04-22\n", "utf-8")
    campaign, *_ = update_campaign(path, log=log)
    assert [(d.bags, d.on) for d in campaign.done] == [
        (2, date(2027, 4, 21)),
        (1, date(2027, 4, 22)),
    ]
    sheet = openpyxl.load_workbook(tmp_path / "campaign.xlsx")["Shop calendar"]
    assert "done" in row_with(sheet, "L1", "1 to 2")


def typed_into(book, sheet, cell, value):
    typed = openpyxl.load_workbook(book)
    typed[sheet][cell] = value
    typed.properties.lastModifiedBy = "A. Keeper"
    typed.save(book)


def test_weights_typed_into_the_campaigns_workbook_go_over_into_the_next(tmp_path):
    """They were lost with the next day's report; a word where none belongs stays in a copy."""
    path, book = written(tmp_path), tmp_path / "campaign.xlsx"
    update_campaign(path, ["L1:R1:2:2027-04-21"])
    typed_into(book, "Levels", "J10", 18.4)
    for done in ("L1:R1:1:2027-04-22", "L2:R2:1:2027-05-04"):
        _, files, _ = update_campaign(path, [done])
        assert [f.name for f in files][2:] == ["campaign.xlsx"]
        assert openpyxl.load_workbook(book)["Levels"]["J10"].value == 18.4
    typed_into(book, "Levels", "L2", "the scale is 0.2 lb off")
    _, files, _ = update_campaign(path)
    assert [f.name for f in files][2:] == ["campaign.xlsx", "campaign (kept).xlsx"]
    assert openpyxl.load_workbook(files[-1])["Levels"]["L2"].value == "the scale is 0.2 lb off"
    assert openpyxl.load_workbook(book)["Levels"]["J10"].value == 18.4


def test_weights_go_over_from_a_workbook_that_a_newer_plan_put_aside(tmp_path):
    path, book = written(tmp_path), tmp_path / "campaign.xlsx"
    update_campaign(path, ["L1:R1:2:2027-04-21"])
    typed_into(book, "Levels", "J10", 18.4)
    (aside,) = put_aside(book)
    assert aside.name == "campaign (kept).xlsx"
    before = aside.read_bytes()
    _, files, _ = update_campaign(path, ["L1:R1:1:2027-04-22"])
    assert [f.name for f in files][2:] == ["campaign.xlsx"]
    assert openpyxl.load_workbook(book)["Levels"]["J10"].value == 18.4
    assert aside.read_bytes() == before


def test_records_of_bags_that_were_not_done_after_all_stay_in_a_copy(tmp_path):
    path, book = written(tmp_path), tmp_path / "campaign.xlsx"
    update_campaign(path, ["L1:R1:2:2027-04-21"])
    sheet = openpyxl.load_workbook(book)["Treatment log"]
    (row,) = [c.row for c in sheet["E"] if c.value == "1 to 2"][:1]
    typed_into(book, "Treatment log", f"I{row}", "77-A")
    update_campaign(path)
    assert openpyxl.load_workbook(book)["Treatment log"][f"I{row}"].value == "77-A"
    _, files, _ = update_campaign(path, ["L1:R1:1:2027-04-21"], recount=True)
    assert [f.name for f in files][2:] == ["campaign.xlsx", "campaign (kept).xlsx"]
    assert openpyxl.load_workbook(files[-1])["Treatment log"][f"I{row}"].value == "77-A"


def test_a_plan_of_another_version_stays_as_it_is(tmp_path):
    path = written(tmp_path)
    path.write_text(path.read_text("utf-8").replace('"contract": 1', '"contract": 2'), "utf-8")
    before = path.read_bytes()
    with pytest.raises(InputError, match="expected 1, the version"):
        update_campaign(path, ["L1:R1:2:2027-04-21"])
    assert path.read_bytes() == before


def test_today_is_written_as_the_calendar_shows_it(tmp_path):
    path = written(tmp_path)
    for text in ("5/3/2027", "2027-05-03"):
        campaign, *_ = update_campaign(path, today=text)
        assert min(r.day for r in campaign.calendar.runs) == date(2027, 5, 3)
    with pytest.raises(InputError, match="'5/3/2026' is over half a year from"):
        update_campaign(path, today="5/3/2026")


def test_a_log_can_be_counted_from_the_start(tmp_path):
    """Two bags reported, one was done."""
    path, log = written(tmp_path), tmp_path / "log.csv"
    update_campaign(path, ["L1:R1:2:2027-04-21"])
    log.write_text("Lot,Recipe,Bags,Day\nL1,R1,1,4/21/2027\n", "utf-8")
    campaign, _, said = update_campaign(path, log=log, recount=True)
    assert [d.bags for d in campaign.done] == [1]
    assert said == ("Counted again: 1 bag; before there were 2.",)


@pytest.mark.parametrize("name", ["plan.ics", "campaign.xlsx"])
def test_a_file_that_is_not_ours_stays(tmp_path, name):
    path = written(tmp_path)
    (tmp_path / name).write_bytes(b"mine")
    said = f"{name} is not a file that wholedrum wrote.*copy plan.json into another folder"
    with pytest.raises(OutputError, match=said):
        update_campaign(path, ["L1:R1:2:2027-04-21"])
    assert (tmp_path / name).read_bytes() == b"mine"


@pytest.mark.parametrize(
    "text", ["", "[]", "{}", '{"campaign": 3}', '{"campaign": {}}', "[" * 99999]
)
def test_a_file_without_campaign_is_refused_and_nothing_written(tmp_path, text):
    path = tmp_path / "plan.json"
    path.write_text(text, "utf-8")
    with pytest.raises(InputError):
        update_campaign(path, ["L1:R1:2"])
    assert [p.name for p in tmp_path.iterdir()] == ["plan.json"]
    assert path.read_text("utf-8") == text


def test_a_wrong_entry_writes_nothing(tmp_path):
    path = written(tmp_path)
    before = path.read_bytes()
    with pytest.raises(InputError, match="at most 3 bags"):
        update_campaign(path, ["L1:R1:4"])
    assert [p.name for p in tmp_path.iterdir()] == ["plan.json"]
    assert path.read_bytes() == before


def test_a_great_many_batches_share_one_calibration_table(monkeypatch):
    """L1 with R1: 2 fl oz/unit x 40 units = 80 fl oz a bag = 2,366 mL; 354.88 mL in 60 s."""
    monkeypatch.setattr(calibration_frames, "MOST_SHEETS", 1)
    sheet = book(hand_season(), hand_plan())["Calibration"]
    row = row_with(sheet, "L1", "Alpha")
    assert [row[i] for i in (0, 1, 5)] == ["L1", "R1", "Alpha"]
    numbers = [row[i] for i in (2, 3, 4, 6, 7, 8, 9, 10, 11)]
    caught = [88.72, 177.44, 354.88]
    assert numbers == pytest.approx([2800, 50, 2000, 2, 4, 2365.88, *caught], abs=0.01)


def test_calibration_of_a_metric_farm_speaks_of_kilograms():
    season = hand_season()
    made = make_campaign(replace(season, farm=replace(season.farm, metric=True)), hand_plan())
    sheet = openpyxl.load_workbook(io.BytesIO(render(campaign_book(made))))["Calibration"]
    said = texts(sheet)
    assert "seeds per kg = seeds x 1,000 / grams" in said
    assert "fl oz" not in said.replace("4 fl oz/cwt", "")
    assert "per lb" not in said


def test_initials_beside_bags_to_do_stay_when_they_are_done(tmp_path):
    """The row says done by then, and is the same row."""
    path, book = written(tmp_path), tmp_path / "campaign.xlsx"
    update_campaign(path)
    sheet = openpyxl.load_workbook(book)["Shop calendar"]
    row = next(c.row for c in sheet["F"] if c.value == "1 to 3")
    day, lot, recipe = (sheet.cell(row, n).value for n in (1, 2, 3))
    typed_into(book, "Shop calendar", f"I{row}", "JD")
    _, files, _ = update_campaign(path, [f"{lot}:{recipe}:3:{day.date().isoformat()}"])
    assert [f.name for f in files][2:] == ["campaign.xlsx"]
    assert {"done", "JD"} <= set(
        row_with(openpyxl.load_workbook(book)["Shop calendar"], lot, "1 to 3")
    )

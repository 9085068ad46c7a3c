"""The season workbook: what a person meets, fills in, and gets told by it."""

import csv
import re
from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from pathlib import Path

import openpyxl
import pytest
from openpyxl.utils import get_column_letter
from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from planner.errors import InputError, OutputError
from planner.form.content import Table, demo_content, full, setting_note
from planner.form.safe import csv_text, write_whole
from planner.form.sheet import FIRST, HEADER
from planner.form.template import (
    GUIDE,
    build,
    write_blank,
    write_csv,
    write_folder,
    write_workbook,
)
from planner.season import schema
from planner.season.domain import Pressure, Rating, TargetStand
from planner.season.read import read_season
from planner.season.schema import HELP_SHEETS, SHEETS, Kind
from planner.units import read_quantity
from tests.support.office import errors, needs_office, recalculated, worked_on
from tests.support.sample_plan import AWKWARD


@pytest.fixture(scope="module")
def book(blank: Path) -> Workbook:
    return openpyxl.load_workbook(blank)


def headers(page: Worksheet) -> dict[str, int]:
    return {str(c.value): c.column for c in page[HEADER] if c.value}


def fill(book: Workbook, sheet: str, rows: list[Mapping[str, object]]) -> None:
    """Type values below headers, as a person does."""
    page = book[sheet]
    known = headers(page)
    for number, row in enumerate(rows, start=FIRST):
        for header, value in row.items():
            page.cell(number, known[header]).value = value  # type: ignore[assignment]


def settings(book: Workbook, values: Mapping[str, object]) -> None:
    page = book["Farm"]
    rows = {str(page.cell(r, 1).value): r for r in range(FIRST, page.max_row + 1)}
    for name, value in values.items():
        page.cell(rows[name], 2).value = value  # type: ignore[assignment]


class TestBlank:
    def test_sheets_stand_in_working_order_with_the_musts_first(self, book: Workbook) -> None:
        names = book.sheetnames
        assert names[0] == "Start here"
        musts = [s.name for s in SHEETS if s.must]
        assert names[1 : 1 + len(musts)] == musts
        assert set(names) == {s.name for s in SHEETS} | set(HELP_SHEETS) - {"Faults"}

    def test_every_column_has_its_header_its_unit_and_a_line_of_guidance(
        self, book: Workbook
    ) -> None:
        for sheet in SHEETS:
            page = book[sheet.name]
            known = headers(page)
            for column in sheet.columns:
                assert column.header in known, (sheet.name, column.header)
                if column.shown:
                    assert f"({column.shown})" in column.header
                guidance = page.cell(2, known[column.header]).value
                assert len(guidance) > 5
                assert sheet.name == "Farm" or column.meaning.rstrip(".;") in guidance

    def test_musts_are_marked_in_words(self, book: Workbook) -> None:
        for sheet in SHEETS:
            if sheet.name == "Farm":
                continue
            page = book[sheet.name]
            assert str(page["B1"].value).startswith("MUST" if sheet.must else "OPTIONAL")
            for column in sheet.columns:
                flag = str(page.cell(3, headers(page)[column.header]).value)
                assert ("MUST FILL" in flag) == (column.must and sheet.must)
                assert ("in every row you use" in flag) == (column.must and not sheet.must)

    def test_farm_says_that_any_value_may_stay_blank(self, book: Workbook) -> None:
        assert str(book["Farm"]["B1"].value).startswith("ANY VALUE MAY STAY BLANK")
        rows = {row[1].value: row[2].value for row in book["Start here"].iter_rows(max_col=3)}
        assert "Any value may stay blank." in str(rows["Farm"])
        assert "Must be filled" not in rows

    def test_days_are_shown_as_the_farm_writes_them(self, book: Workbook) -> None:
        letter = get_column_letter(headers(book["Fields"])["Planting date"])
        assert book["Fields"].column_dimensions[letter].number_format == "m/d/yyyy"
        content = full(demo_content())
        farm = content["Farm"]
        rows = tuple(
            (row[0], "metric", *row[2:]) if row[0] == "Units" else row for row in farm.rows
        )
        metric = build({**content, "Farm": replace(farm, rows=rows)}, "Metric")
        assert metric["Fields"].column_dimensions[letter].number_format == "yyyy-mm-dd"

    def test_opening_page_says_all_in_ten_lines_and_links_every_sheet(self, book: Workbook) -> None:
        page = book["Start here"]
        lines = [page[f"B{r}"].value for r in range(4, 14)]
        assert all(lines)
        assert page["B14"].value is None
        links = {c.hyperlink.location for row in page.iter_rows() for c in row if c.hyperlink}
        for sheet in SHEETS:
            quoted = sheet.name if sheet.name.isalnum() else f"'{sheet.name}'"
            assert f"{quoted}!A1" in links

    def test_what_is_filled_in_is_printed_however_much(self, book: Workbook) -> None:
        """No print area cuts off; a blank form has a framed last row, so that it has lines."""
        for sheet in SHEETS:
            page = book[sheet.name]
            assert not page.print_area
            assert page.print_title_rows == "$4:$4"
            if sheet.name != "Farm":
                assert page.cell(page.max_row, 1).border.bottom.style == "thin"
                assert page.max_row > FIRST + 10
        assert book["Start here"].page_setup.fitToHeight == 1

    def test_closed_lists_and_names_are_dropdowns(self, book: Workbook) -> None:
        for sheet in SHEETS:
            page = book[sheet.name]
            checks = {
                area.coord: check
                for check in page.data_validations.dataValidation
                for area in check.sqref.ranges
            }
            for header, number in headers(page).items():
                column = next((c for c in sheet.columns if c.header == header), None)
                if column is None or sheet.name == "Farm":
                    continue
                letter = openpyxl.utils.get_column_letter(number)
                check = next(c for a, c in checks.items() if a.startswith(f"{letter}{FIRST}:"))
                if column.kind is Kind.CHOICE:
                    assert check.type == "list"
                    assert check.formula1 == f'"{",".join(column.choices)}"'
                if column.refers:
                    assert check.type == "list"
                    assert check.formula1 in book.defined_names
                assert len(check.prompt or "") <= 255
                assert len(check.promptTitle or "") <= 32
                assert len(check.formula1 or "") <= 255

    def test_there_is_room_for_200_rows(self, book: Workbook) -> None:
        for check in book["Fields"].data_validations.dataValidation:
            for area in check.sqref.ranges:
                assert area.max_row == HEADER or area.max_row - FIRST + 1 >= 200

    def test_input_sheets_hold_no_formula(self, book: Workbook) -> None:
        for sheet in SHEETS:
            for row in book[sheet.name].iter_rows():
                assert all(cell.data_type != "f" for cell in row)

    def test_blank_is_read_and_asks_for_rows_only(self, blank: Path) -> None:
        with pytest.raises(InputError) as error:
            read_season(blank)
        assert all("at least one row" in fault.expected for fault in error.value.faults)

    def test_csv_twin_has_the_same_headers_and_a_guide(
        self, tmp_path: Path, book: Workbook
    ) -> None:
        written = write_csv(tmp_path)
        assert {p.name for p in written} == {s.file for s in SHEETS} | {GUIDE}
        for sheet in SHEETS:
            with (tmp_path / sheet.file).open(encoding="utf-8-sig", newline="") as file:
                assert next(csv.reader(file)) == list(headers(book[sheet.name]))
        guide = (tmp_path / GUIDE).read_text("utf-8")
        for sheet in SHEETS:
            assert all(c.meaning in guide for c in (*sheet.columns, *sheet.settings))


class TestRoundTrip:
    @pytest.fixture
    def filled(self, blank: Path, tmp_path: Path) -> Path:
        """A tiny season with a field given by seeds and one given by stand, typed in."""
        book = openpyxl.load_workbook(blank)
        settings(book, {"Farm name": "Marten Hill", "Plan date": date(2027, 1, 15),
                        "Spare seed (%)": "3%", "Smallest split (acres)": 10})  # fmt: skip
        fill(book, "Fields", [
            {"Field": "Home 80", "Acres": 80, "Seeding rate (seeds/acre)": 140000,
             "Planting date": date(2027, 5, 10), "White mold pressure": "high"},
            {"Field": "Creek", "Acres": 40, "Target stand (plants/acre)": 110000,
             "Emergence (%)": 0.9, "Only varieties": "Heron"},
        ])  # fmt: skip
        fill(book, "Seed lots", [{"Lot": "L-1", "Variety": "Heron", "Maturity": 1.8,
                                  "Units on hand": 160, "Units per bag": 40, "Seeds per lb": 2800,
                                  "Germination (%)": 90, "Buy price ($/unit)": 60,
                                  "Can buy (units)": 80}])  # fmt: skip
        fill(book, "Products", [{"Product": "Green Cap", "Kind": "fungicide",
                                 "On hand (gal)": 0.5, "Carryover value (%)": "40%"}])  # fmt: skip
        fill(book, "Containers", [{"Product": "Green Cap", "Container": "jug", "Size (gal)": 1,
                                   "Price ($)": 100, "Heel (fl oz)": "1 fl oz"}])  # fmt: skip
        fill(book, "Recipes", [{"Recipe": "Base", "Product": "Green Cap",
                                "Rate": "4 fl oz/cwt"}])  # fmt: skip
        fill(book, "Threats", [{"Threat": "White mold", "Need at high": "F"}])
        fill(book, "Protection", [{"Product": "Green Cap", "Threat": "White mold", "Rating": "G"}])
        emergence = book["Fields"].cell(FIRST + 1, headers(book["Fields"])["Emergence (%)"])
        emergence.number_format = "0%"  # what a spreadsheet makes of a typed 90%
        path = tmp_path / "filled.xlsx"
        book.save(path)
        return path

    def test_what_a_person_fills_in_is_understood(self, filled: Path) -> None:
        season = read_season(filled)
        assert season.notes == ()
        assert season.farm.spare_seed == pytest.approx(0.03)
        assert season.farm.smallest_split == 10
        home, creek = season.fields
        assert home.pressure["White mold"] is Pressure.HIGH
        assert home.planting_date == date(2027, 5, 10)
        assert creek.sowing == TargetStand(110000, 0.9)
        (lot,) = season.lots
        assert (lot.germination, lot.units_per_bag, lot.can_buy) == (0.9, 40, 80)
        (product,) = season.products
        assert product.on_hand == pytest.approx(64)  # half a gallon, 128 fl oz a gallon
        assert product.carryover == pytest.approx(0.4)
        assert product.protection == {"White mold": Rating.G}
        assert season.containers[0].heel == pytest.approx(1)

    @pytest.mark.long
    @pytest.mark.slow
    @needs_office
    def test_live_help_counts_units_as_worked_by_hand(self, filled: Path) -> None:
        book = recalculated(filled)
        assert errors(book) == []
        live = book["Live check"]
        # By hand: 80 acres at 140,000 seeds/acre, 140,000 a unit, 3 % spare: 82.4 units. 110,000
        # plants at 90 % emergence and 90 % germination: 135,802.469 seeds/acre.
        assert [live[f"A{r}"].value for r in (6, 7)] == ["Home 80", "Creek"]
        assert live["C6"].value == pytest.approx(82.4)
        assert live["C7"].value == pytest.approx(40 * 135802.469 * 1.03 / 140000)
        assert (live["J6"].value, live["K6"].value, live["L6"].value) == (1.8, 160, 80)
        assert live["N3"].value == "enough in all"


@pytest.mark.long
@pytest.mark.slow
@needs_office
def test_live_help_reads_numbers_as_the_reader_does(blank: Path, tmp_path: Path) -> None:
    """Every spelling here is taken by `check` too; what is left out is said to be, in no red."""
    book = openpyxl.load_workbook(blank)
    rate, acres = "Seeding rate (seeds/acre)", "Acres"
    fill(book, "Fields", [
        {"Field": "Unit", acres: "148 ac", rate: "150,000", "Latest maturity": "1.4"},
        {"Field": "Thousands", acres: "38.5", rate: "150k", "Earliest maturity": "0.9"},
        {"Field": "Metric", acres: "10 ha", rate: "350,000 seeds/ha"},
        {"Field": "Bare", acres: 40, rate: 140000},
        {"Field": "Odd", acres: "one quarter", rate: 140000},
    ])  # fmt: skip
    fill(book, "Seed lots", [
        {"Lot": "a", "Variety": "Heron", "Maturity": "1.3", "Units on hand": "280 units",
         "Germination (%)": "92%"},
        {"Lot": "b", "Variety": "Heron", "Maturity": 1.3, "Units on hand": "1,480",
         "Can buy (units)": 40},
    ])  # fmt: skip
    path = tmp_path / "typed.xlsx"
    book.save(path)
    done = recalculated(path)
    assert errors(done) == []
    live = done["Live check"]
    # acres x seeds an acre / 140,000; a hectare: 2.4710538 acres (NIST Handbook 44), 35 seeds a m2
    wanted = [148 * 150 / 140, 38.5 * 150 / 140, 10 * 350 / 140, 40.0]
    assert [live[f"C{r}"].value for r in range(6, 10)] == pytest.approx(wanted, rel=1e-6)
    assert live["H10"].value == "acres not counted here, see check"
    assert [live[f"H{r}"].value for r in range(6, 10)] == [None] * 4
    assert (live["K6"].value, live["L6"].value, live["G3"].value) == (1760, 40, 0.92)
    assert live["N3"].value == "1 rows not counted yet"
    (shown,) = live.conditional_formatting
    assert "not counted here" in shown.rules[0].formula[0]


@pytest.mark.long
@pytest.mark.slow
@needs_office
def test_live_help_tells_what_is_wrong(blank: Path, tmp_path: Path) -> None:
    book = openpyxl.load_workbook(blank)
    fill(book, "Fields", [
        {"Field": "Late", "Acres": 100, "Seeding rate (seeds/acre)": 140000,
         "Earliest maturity": 2.5},
        {"Field": "Empty"},
        {},
        {"Field": "Both", "Acres": 10, "Seeding rate (seeds/acre)": 1,
         "Target stand (plants/acre)": 1, "Emergence (%)": 0.9},
    ])  # fmt: skip
    fill(book, "Seed lots", [
        {"Lot": "a", "Variety": "Heron", "Maturity": 1.8, "Units on hand": 50},
        {},
        {"Lot": "b", "Variety": "Heron", "Maturity": 2.5, "Units on hand": 40},
        {"Lot": "c", "Variety": " Crane ", "Maturity": 2.1, "Units on hand": 1},
    ])  # fmt: skip
    fill(book, "Products", [{"Product": "=1+1*"}, {"Product": "Green Cap"}])
    fill(book, "Recipes", [{"Recipe": "Base", "Product": "green cap"},
                           {"Recipe": "Base", "Product": "Gren Cap"}])  # fmt: skip
    fill(book, "Threats", [{"Threat": t} for t in ("White mold", "Brown rot")])
    book["Products"][f"A{FIRST}"].data_type = "s"
    path = tmp_path / "wrong.xlsx"
    book.save(path)
    done = recalculated(path)
    assert errors(done) == []
    live = done["Live check"]
    assert live["H6"].value == "too little seed in this window"
    assert live["H7"].value == "Acres?"
    assert live["H9"].value == "rate or stand, not both"
    assert [live[f"J{r}"].value for r in range(6, 10)] == [1.8, 2.1, 2.5, None]
    unmatched = {
        (live[f"P{r}"].value, live[f"Q{r}"].value): (live[f"R{r}"].value, live[f"S{r}"].value)
        for r in range(6, 30)
    }
    assert unmatched["Recipes", "Product"] == (1, "Gren Cap (row 6)")
    assert unmatched["Containers", "Product"][0] == 0
    assert {live[f"U{r}"].value for r in range(6, 30)} - {None} == {"Brown rot pressure"}


@pytest.mark.long
@pytest.mark.slow
@needs_office
def test_lists_follow_what_is_typed_whatever_the_gaps(blank: Path, tmp_path: Path) -> None:
    book = openpyxl.load_workbook(blank)
    rows: list[Mapping[str, object]] = [{}, {"Lot": "1", "Variety": "Heron"}, {}, {}]
    rows += [{"Lot": str(n), "Variety": f"V{n % 7}"} for n in range(150)]
    fill(book, "Seed lots", rows)
    path = tmp_path / "gaps.xlsx"
    book.save(path)
    page = recalculated(path)["Lists"]
    column = next(c.column for c in page[1] if c.value == "Seed lots: Variety")
    names = [page.cell(r, column).value for r in range(4, 4 + 20)]
    assert names[:8] == ["Heron", *(f"V{n}" for n in range(7))]
    assert names[8:] == [None] * 12
    assert page.cell(3, column).value == 8


SHAKE = """
  lots = book.Sheets.getByName("Seed lots")
  lots.Rows.insertByIndex(6, 2)
  lots.Rows.removeByIndex(4, 1)
  Dim first(0) As New com.sun.star.table.TableSortField
  first(0).Field = 2
  first(0).IsAscending = False
  Dim how(0) As New com.sun.star.beans.PropertyValue
  how(0).Name = "SortFields"
  how(0).Value = first()
  lots.getCellRangeByName("A5:O30").sort(how())
  products = book.Sheets.getByName("Products")
  block = products.getCellRangeByName("A5:H7").RangeAddress
  products.moveRange(products.getCellRangeByName("A20").CellAddress, block)
  fields = book.Sheets.getByName("Fields")
  fields.Columns.insertByIndex(1, 1)
  fields.Rows.insertByIndex(0, 1)
  book.Sheets.getByName("Recipes").Rows.removeByIndex(4, 4)
"""
"""Rows inserted, deleted, sorted, cut and pasted; a column and a row put before the fields."""


@pytest.mark.long
@pytest.mark.slow
@needs_office
def test_help_survives_sorting_inserting_and_pasting(tmp_path: Path) -> None:
    book = worked_on(write_blank(tmp_path / "demo.xlsx", demo=True), SHAKE)
    assert errors(book) == []
    lots, live, lists = book["Seed lots"], book["Live check"], book["Lists"]
    assert [lots[f"A{r}"].value for r in (5, 17)] == ["S26-701", "B16-102"]  # sorted, one gone
    by_title = {c.value: c.column for c in lists[1]}

    def listed(title: str) -> list[object]:
        cells = (lists.cell(r, by_title[title]).value for r in range(4, 40))
        return [value for value in cells if value]

    assert listed("Seed lots: Variety")[:2] == ["Saddle 26", "Pewter 24"]
    assert len(listed("Seed lots: Variety")) == 7
    assert listed("Products: Product")[-3:] == ["Duskfield", "Wetfoot", "Copperhook"]
    assert listed("Recipes: Recipe") == ["Insect", "Wet ground", "Nematode", "White mold"]
    assert live["A6"].value == "Marsh Bottom"
    assert live["C6"].value == pytest.approx(146 * 110_000 * 1.03 / 140_000)
    assert live["K6"].value == 135  # of maturity 1.6 only B16-102 is left
    assert {live[f"R{r}"].value for r in range(6, 23)} == {0, 1}  # Base went, Recipe approvals asks
    assert [c.value for c in book["Fields"][5]][:3] == ["Field", None, "Acres"]


class TestSafety:
    HOSTILE = ("=1+1", "+1", "-2", "@SUM(A1)", '=HYPERLINK("http://x","y")', "\tx", "a\x07b")

    def content(self) -> dict[str, Table]:
        rows = tuple((name, 80.0, 140000.0) for name in self.HOSTILE)
        return full({"Fields": Table(("Field", "Acres", "Seeding rate"), rows)})

    def test_text_never_becomes_a_formula(self, tmp_path: Path) -> None:
        path = write_workbook(tmp_path / "hostile.xlsx", self.content(), "=2+2")
        page = openpyxl.load_workbook(path)["Fields"]
        cells = [page[f"A{r}"] for r in range(FIRST, FIRST + len(self.HOSTILE))]
        assert [c.data_type for c in cells] == ["s"] * len(cells)
        assert [c.value for c in cells][:5] == list(self.HOSTILE[:5])
        assert cells[6].value == "ab"

    @pytest.mark.long
    @pytest.mark.slow
    @needs_office
    def test_text_stays_text_when_an_office_program_saves_it(self, tmp_path: Path) -> None:
        path = write_workbook(tmp_path / "hostile.xlsx", self.content(), "=2+2")
        page = recalculated(path)["Fields"]
        assert [page[f"A{r}"].value for r in range(FIRST, FIRST + 5)] == list(self.HOSTILE[:5])

    @pytest.mark.parametrize("text", ["=1+1", "+x", "@x", "\tx", "-x"])
    def test_csv_text_is_no_formula(self, text: str) -> None:
        assert csv_text(text).startswith("'")

    def test_a_failed_write_leaves_what_stood_there(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        path = tmp_path / "season.xlsx"
        path.write_bytes(b"old")

        def full_disk(_: int) -> None:
            raise OSError(28, "No space left on device")

        monkeypatch.setattr("os.fsync", full_disk)
        with pytest.raises(OutputError, match="No space left"):
            write_blank(path)
        assert path.read_bytes() == b"old"
        assert [p.name for p in tmp_path.iterdir()] == ["season.xlsx"]

    def test_a_folder_in_the_way_is_told(self, tmp_path: Path) -> None:
        with pytest.raises(OutputError):
            write_whole(tmp_path, b"x")

    def test_no_prompt_or_message_is_too_long_for_excel(self) -> None:
        """Excel's limits: message 255 characters, its title 32, a formula 8,192."""
        for page in build(self.content(), "x").worksheets:
            for row in page.iter_rows():
                for cell in row:
                    if cell.data_type == "f":
                        assert len(str(cell.value)) < 8192
            for check in page.data_validations.dataValidation:
                assert len(check.error or "") <= 255
                assert len(check.errorTitle or "") <= 32


@pytest.mark.long
@pytest.mark.slow
@needs_office
@pytest.mark.parametrize("kind", ["demo", "awkward", "blank"])
def test_no_cell_holds_an_error_once_calculated(kind: str, tmp_path: Path) -> None:
    path = write_blank(tmp_path / "season.xlsx", demo=kind == "demo")
    if kind == "awkward":
        path = write_workbook(tmp_path / "awkward.xlsx", awkward_content(), "x")
    book = recalculated(path)
    assert "Live check" in book.sheetnames
    assert errors(book) == []


def awkward_content() -> dict[str, Table]:
    """The demo with names that a careless workbook would cut or calculate."""
    content = full(demo_content())
    first = content["Fields"].rows
    rows = tuple((AWKWARD[i % len(AWKWARD)] + f" {i}", *row[1:]) for i, row in enumerate(first))
    return content | {"Fields": Table(content["Fields"].headers, rows)}


def test_awkward_names_survive(tmp_path: Path) -> None:
    """Names of 60 characters, non-Latin letters and 200 fields go in and come out unchanged."""
    names = [f"{'Поле' if n % 2 else '北の畑'} {n} {'x' * 60}"[:60].strip() for n in range(200)]
    rows = tuple((name, 10.0, 140000.0) for name in names)
    lots = (("=L", "'Ärla", 1.8, 9000.0, 2800.0),)
    content = full({
        "Farm": Table(("Setting", "Value"), (("Plan date", date(2027, 1, 1)),)),
        "Fields": Table(("Field", "Acres", "Seeding rate"), rows),
        "Seed lots": Table(("Lot", "Variety", "Maturity", "Units on hand", "Seeds per lb"), lots),
        "Products": Table(("Product",), (("+P",),)),
        "Containers": Table(("Product", "Container", "Size", "Price"), (("+P", "@k", 1.0, 9.0),)),
        "Recipes": Table(("Recipe", "Product", "Rate"), (("-R", "+P", "1 fl oz/unit"),)),
    })  # fmt: skip
    write_folder(tmp_path / "awkward", content)
    for source in (write_workbook(tmp_path / "awkward.xlsx", content, "x"), tmp_path / "awkward"):
        season = read_season(source)
        assert [f.name for f in season.fields] == names
        assert (season.lots[0].name, season.products[0].name) == ("=L", "+P")
        assert season.lots[0].variety == "'Ärla"


def test_no_foreign_colors_only_one_palette(book: Workbook) -> None:
    """Every fill of the workbook is one of ours, and dark and pale differ in lightness."""
    from planner.form import look

    ours = {look.DEEP, look.PALE, look.PAPER, look.AMBER}
    seen = {
        cell.fill.fgColor.rgb[2:]
        for page in book.worksheets
        for row in page.iter_rows(max_row=FIRST)
        for cell in row
        if cell.fill.fill_type == "solid"
    }
    assert seen <= ours

    def lightness(color: str) -> float:
        red, green, blue = (int(color[i : i + 2], 16) for i in (0, 2, 4))
        return 0.2126 * red + 0.7152 * green + 0.0722 * blue

    assert lightness(look.PALE) - lightness(look.DEEP) > 100
    assert all(re.fullmatch("[0-9A-F]{6}", color) for color in ours)


def test_metric_examples_are_of_the_size_of_the_us_ones() -> None:
    """An example ten times off teaches a slip."""
    for one in schema.SETTINGS:
        _, _, metric = setting_note(one).partition("Metric with its unit: ")
        if metric and one.measure is not None:
            in_us = read_quantity(metric.rstrip("."), one.measure)
            example = read_quantity(one.example, one.measure, one.unit or one.shown)
            assert example / 1.5 < in_us < example * 1.5, one.name


def test_schema_names_are_what_the_forms_rely_on() -> None:
    for name in ("Acres", "Seeding rate", "Target stand", "Emergence"):
        assert schema.sheet("Fields").column(name)


@pytest.mark.long
@pytest.mark.slow
@needs_office
def test_what_if_offers_sheets_rows_and_columns_of_the_season(tmp_path):
    """Calculated by LibreOffice, as whoever fills it in would see them."""
    path = write_blank(tmp_path / "demo.xlsx", demo=True)
    book = recalculated(path)
    page = book["Lists"]
    offered = {}
    for column in page.iter_cols(min_row=1, values_only=True):
        if column[0] in ("Farm", "Fields", "Containers", "Discounts") and column[1] is None:
            offered.setdefault(column[0], []).append([c for c in column[3:] if c])
    assert offered["Farm"][0][:2] == ["Farm name", "Crop year"]
    assert offered["Farm"][1] == ["Value"]
    rows, columns = offered["Fields"]
    demo = read_season(path)
    assert rows == ["all", *(f.name for f in demo.fields)]
    assert columns[:2] == ["Field", "Acres"]
    assert "White mold pressure" in columns
    assert "Duskfield / 15 gal keg" in " ".join(offered["Containers"][0])


@pytest.mark.long
@pytest.mark.slow
@needs_office
def test_whatever_what_if_offers_means_a_row(tmp_path):
    path = write_blank(tmp_path / "demo.xlsx", demo=True)
    book = recalculated(path)
    filled = openpyxl.load_workbook(path)
    page, row = filled["What if"], FIRST + 5
    names = {sheet.name for sheet in SHEETS} - {"What if", "Farm"}
    done = set()
    for column in book["Lists"].iter_cols(min_row=1, values_only=True):
        if column[0] not in names or column[1] is not None or column[0] in done:
            continue
        done.add(column[0])
        for text in [c for c in column[3:] if c][:8]:
            for letter, value in zip("ABCDE", ("S", column[0], text, None, "drop"), strict=True):
                page[f"{letter}{row}"] = value
            row += 1
    filled.save(path)
    assert done == names
    assert any(w.scenario == "S" for w in read_season(path).what_if)

"""The workbook as other programs and people find it: read back, safe, printable, linked."""

import io
import re
import zipfile
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import openpyxl
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.report import looks
from planner.report.charts import draw
from planner.report.fit import DAY_WIDTH, MARGIN
from planner.report.frames import make_books
from planner.report.json import to_json
from planner.report.layout import Placed, lay_out
from planner.report.measures import Manner, Measure
from planner.report.sheets import (
    Book,
    Cell,
    Chart,
    ChartKind,
    ChartRow,
    Column,
    Formula,
    Link,
    Look,
    Pack,
    Page,
    Series,
    Sheet,
    Table,
    Text,
)
from planner.report.texts import clean as clean_text
from planner.report.texts import lines
from planner.report.workbook import render
from planner.season.domain import Season
from planner.season.read import read_season
from tests.support.books import Written
from tests.support.office import (
    all_recalculated,
    drawn_words,
    errors,
    needs_drawing,
    needs_office,
)
from tests.support.quick import examples, long_after
from tests.support.random_season import tiny_season
from tests.support.sample_plan import (
    AWKWARD,
    awkward_season,
    big_season,
    greedy_plan,
    sample_season,
)

if TYPE_CHECKING:
    from planner.plan.plan import Plan

L_PER_FLOZ = 0.0295735295625
"""NIST Handbook 44, Appendix C."""
HA_PER_ACRE = 0.40468564224
"""International acre: 43,560 square feet of 0.3048 m (NIST Handbook 44, Appendix C)."""
DEMO = Path(__file__).parents[2] / "data" / "demo"
CASES = {
    "sample": sample_season,
    "metric": lambda: sample_season(metric=True, currency="€"),
    "awkward": awkward_season,
    "large": lambda: big_season(60),
    "demo": lambda: read_season(DEMO),
}


class Made:
    """A season, its plan, and the workbook's bytes."""

    def __init__(self, season: Season) -> None:
        self.season = season
        self.plan: Plan = greedy_plan(season)
        self.book = Written(make_books(self.plan, season))
        self.content = self.book.content
        self.json = to_json(self.plan, season)
        self.volume = L_PER_FLOZ if season.farm.metric else 1 / 128
        self.area = HA_PER_ACRE if season.farm.metric else 1.0

    def table(self, sheet: str, *headers: str) -> pd.DataFrame:
        """Rows of the table whose first headers begin like these, without sums."""
        frame = pd.read_excel(
            io.BytesIO(self.content[self.book.pack_of(sheet)]),
            sheet,
            header=None,
            engine="openpyxl",
            keep_default_na=False,
        )
        for at in range(len(frame)):
            found = [str(v) for v in frame.iloc[at]]
            if all(f.startswith(h) for f, h in zip(found, headers, strict=False)):
                break
        else:
            pytest.fail(f"no table {headers} on {sheet}")
        body = frame.iloc[at + 1 :].copy()
        blank = [i for i, row in enumerate(body.itertuples(index=False)) if set(row) == {""}]
        body = body.iloc[: blank[0] if blank else len(body)]
        body.columns = [re.sub(r" \(.*", "", f) or f"blank {i}" for i, f in enumerate(found)]
        totals = body.iloc[:, 0].astype(str).str.match(r"Total\b")
        notes = (body.iloc[:, 1:] == "").all(axis=1)
        return body[~totals & ~notes]


@cache
def case(name: str) -> Made:
    return Made(CASES[name]())


@pytest.fixture(scope="module", params=CASES, ids=str)
def made(request: pytest.FixtureRequest) -> Made:
    return case(request.param)


def near(found: Any, wanted: float, factor: float = 1.0) -> bool:
    return float(found or 0) == pytest.approx(wanted * factor, rel=1e-9, abs=1e-9)


def clean(text: str) -> str:
    """What a cell makes of line ends."""
    return text.replace("\r", "\n")


# --- read back equals plan.json ------------------------------------------------------------------


@pytest.mark.slow
def test_order_reads_back(made: Made) -> None:
    found = made.table("Order", "Supplier", "Product", "Container", "Size")
    rows = {(r["Product"], r["Container"]): r for _, r in found.iterrows()}
    assert len(found) == len(made.json["order"]) > 0
    for line in made.json["order"]:
        row = rows[line["product"], line["container"]]
        assert row["Count"] == line["count"]
        assert near(row["Price each"], line["unit_price"])
        assert near(row["List cost"], line["cost"])
        assert row["Supplier"] == (line["supplier"] or "no supplier named")


def test_costs_read_back(made: Made) -> None:
    amounts = made.table("The plan", "Containers").iloc[0].to_dict()
    names = {
        "containers": "Containers",
        "freight": "Freight",
        "seed_bought": "Seed bought",
        "seed_given_up": "Return value of seed you use",
        "yield_loss": "Expected yield loss",
        "discounts": "Discounts",
        "carryover_credit": "Carryover credit",
    }
    for key, name in names.items():
        sign = -1 if key in ("discounts", "carryover_credit") else 1
        off = abs(amounts.get(name, 0) - sign * made.json["cost"][key])
        assert off < 0.01 + 1e-9, f"{key}: a part is a whole cent, the one above or below"
    total = made.json["cost"]["total"]
    assert near(sum(amounts.get(name, 0) for name in names.values()), round(total, 2))
    assert near(amounts["Total compared"], round(total, 2))


def test_planting_reads_back(made: Made) -> None:
    found = made.table("Fields", "Planting date", "Field", "Lot")
    planted = found[found["Lot"] != "not planted"]
    rows = {(r["Field"], r["Lot"], r["Recipe"]): r for _, r in planted.iterrows()}
    assert len(planted) == len(made.json["planting"]) > 0
    for p in made.json["planting"]:
        row = rows[clean(p["field"]), clean(p["lot"]), p["recipe"]]
        assert near(row["Planted"], p["acres"], made.area)
        assert near(row["Seed"], p["units"])


def test_treating_reads_back(made: Made) -> None:
    found = made.table("Treating", "Recipe", "Lot", "Variety")
    rows = {(r["Lot"], r["Recipe"]): r for _, r in found.iterrows()}
    assert len(found) == len(made.json["treating"]) > 0
    for t in made.json["treating"]:
        row = rows[clean(t["lot"]), t["recipe"]]
        assert (row["Full bags"], row["Part bags"]) == (t["full_bags"], t["part_bag"])
        assert near(row["In all"], t["units"])


def test_products_read_back(made: Made) -> None:
    found = made.table("Products", "Product", "Kind", "Used")
    rows = {r["Product"]: r for _, r in found.iterrows()}
    assert len(rows) == len(made.json["products"]) > 0
    headers = {
        "need": "Used",
        "on_hand": "On hand",
        "on_its_way": "Ordered, not delivered",
        "bought": "To order, usable",
        "left": "Left",
    }
    for p in made.json["products"]:
        for key, header in headers.items():
            assert near(rows[p["product"]][header], p[key], made.volume), (p["product"], key)


def test_shortages_and_seed_to_buy_read_back(made: Made) -> None:
    assert ("Short fields" in made.book.sheetnames) is bool(made.json["shortages"])
    if made.json["shortages"]:
        found = made.table("Short fields", "Field", "Priority")
        short = dict(zip(found["Field"], found["Short"], strict=True))
        assert len(short) == len(made.json["shortages"])
        for s in made.json["shortages"]:
            assert near(short[clean(s["field"])], s["acres"], made.area)
    bought_lots = {s["lot"] for s in made.json["seed_purchases"]}
    named = any(x.seller for x in made.season.lots if x.name in bought_lots)
    bought = made.table("Order", *(["Seller"] if named else []), "Lot", "Variety")
    rows = {r["Lot"]: r for _, r in bought.iterrows()}
    assert len(rows) == len(made.json["seed_purchases"]) > 0
    for s in made.json["seed_purchases"]:
        row = rows[clean(s["lot"])]
        assert (row["Bags"], row["Seed"]) == (s["bags"], s["units"])
        assert near(row["Cost"], s["cost"])


def test_field_costs_read_back_and_add_up(made: Made) -> None:
    found = made.table("Cost by field", "Field", "Planted")
    assert near(sum(found["In all"].iloc[:, 0]), made.json["cost"]["total"])


# --- texts stay texts ----------------------------------------------------------------------------


def cells(book: openpyxl.Workbook) -> Iterator[Any]:
    for sheet in book:
        yield from cells_of(sheet)


def cells_of(sheet: Any) -> Iterator[Any]:
    for row in sheet.iter_rows():
        yield from (c for c in row if c.value is not None)


def test_formulas_stand_on_one_page_only(made: Made) -> None:
    where = {c.parent.title for c in cells(made.book) if c.data_type == "f"}
    assert where == {"Try an order"}


def test_every_text_is_marked_as_text(made: Made) -> None:
    risky = [
        c
        for c in cells(made.book)
        if c.data_type != "f" and isinstance(c.value, str) and c.value[:1] in "=+-@"
    ]
    assert all(c.data_type == "s" and c.quotePrefix for c in risky)
    if made.season.fields[0].name == AWKWARD[0]:
        assert len(risky) > 40


def test_nothing_leads_out_of_the_workbook(made: Made) -> None:
    for content in made.content.values():
        with zipfile.ZipFile(io.BytesIO(content)) as file:
            for name in file.namelist():
                text = file.read(name).decode("utf-8", "replace")
                assert "TargetMode" not in text, name
                assert "externalLink" not in text, name
                assert "<script" not in text, name


def test_links_lead_to_cells_that_hold_something(made: Made) -> None:
    seen = 0
    for book in made.book.books.values():
        linked = [c for c in cells(book) if c.hyperlink]
        assert len(linked) >= 2
        seen += len(linked)
        for c in linked:
            title, address = re.fullmatch(r"'(.+)'!(A\d+)", c.hyperlink.location).groups()
            assert book[title][address].value is not None, (c, c.hyperlink.location)
            assert c.hyperlink.target is None
    assert seen > 20


def test_a_link_from_a_number_reaches_its_rows() -> None:
    made = case("sample")
    study = made.book.books[Pack.STUDY]
    sheet = study["Order"]
    header = next(r for r in range(1, 20) if sheet.cell(r, 2).value == "Product")
    for row in range(header + 1, header + 3):
        (link,) = [c.hyperlink for c in sheet[row] if c.hyperlink]
        target = int(link.location.split("!A")[1])
        assert study["Products in detail"].cell(target, 1).value == sheet.cell(row, 2).value


def test_control_characters_go_and_cuts_are_told() -> None:
    table = Table("t", (Column("a", "A"), Column("b", "B")), (("bell\x07", "x" * 40_000),))
    sheet = openpyxl.load_workbook(io.BytesIO(one_sheet(table)))["S"]
    assert sheet["A6"].value == "bell"
    assert len(sheet["B6"].value) == 32_767
    assert sheet["B6"].value.endswith("(cut: too long for a cell)")
    assert sheet["B6"].number_format == "General"  # as text, long ones would show as ###


@pytest.mark.sampled
@given(st.lists(st.text(max_size=60), min_size=10, max_size=30))
@settings(max_examples=examples(20), deadline=None)
def test_any_text_comes_back_as_text(texts: list[str]) -> None:
    rows = tuple((text, "end") for text in texts)
    table = Table("t", (Column("a", "A"), Column("b", "B")), rows)
    sheet = openpyxl.load_workbook(io.BytesIO(one_sheet(table)))["S"]
    for row, text in enumerate(texts, 6):
        cell = sheet.cell(row, 1)
        assert (cell.value or "") == clean_text(text)
        assert cell.data_type == ("s" if clean_text(text) else "n")


@pytest.mark.slow
@pytest.mark.parametrize("seed", long_after(10, range(25)))
def test_random_seasons_can_be_written(seed: int) -> None:
    made = Made(tiny_season(seed))
    (total,) = made.table("The plan", "Containers")["Total compared"]
    assert float(total or 0) == pytest.approx(made.plan.cost.total, abs=0.0051)
    if made.plan.order:
        counts = made.table("Order", "Supplier", "Product", "Container")["Count"]
        assert sum(n for n in counts if n) == sum(line.count for line in made.plan.order)
    else:
        said = [str(c.value) for c in cells_of(made.book["Order"])]
        why = "what is there or on its way" if made.plan.treating else "no seed is treated"
        assert any(f"Nothing to order: {why}" in text for text in said)


def one_sheet(*blocks: Any, **more: Any) -> bytes:
    return render(Book((Sheet("S", "For a test.", blocks), *more.pop("sheets", ())), **more))


# --- what contradicts itself ---------------------------------------------------------------------


@pytest.mark.parametrize(
    "blocks",
    [
        (Table("t", (Column("a", "A"),), ((Cell("x", link=Link("Nowhere")),),)),),
        (Table("t", (Column("a", "A"),), ((Cell("x", link=Link("S", "no")),),)),),
        (Table("t", (Column("a", "A"),), ((Formula("={no.such}", 1.0),),)),),
        (Table("t", (Column("a", "A"),), ((Formula("={no}", 1.0),),)),),
        (
            ChartRow(
                (
                    Chart(
                        "c", ChartKind.STACKED_BARS, Link("No", "t"), "a", (Series("a"),), "x", "y"
                    ),
                )
            ),
        ),
    ],
)
def test_a_book_that_contradicts_itself_is_refused(blocks: tuple) -> None:
    with pytest.raises(ValueError, match=r"not there|no table|is not in"):
        one_sheet(*blocks)


def test_two_sheets_of_one_title_are_refused() -> None:
    with pytest.raises(ValueError, match="twice"):
        render(Book((Sheet("A", "One."), Sheet("a", "Two."))))


@pytest.mark.slow
@needs_office
def test_no_cell_holds_an_error_once_calculated(made: Made, tmp_path: Path) -> None:
    paths = [tmp_path / f"{pack.value}.xlsx" for pack in made.content]
    for path, content in zip(paths, made.content.values(), strict=True):
        path.write_bytes(content)
    for pack, book in zip(made.content, all_recalculated(paths), strict=True):
        assert book.sheetnames == made.book.books[pack].sheetnames
        assert errors(book) == []


# --- on paper ------------------------------------------------------------------------------------


@needs_drawing
def test_sums_stand_under_their_numbers(tmp_path: Path) -> None:
    """As LibreOffice draws them; it forgets indents where only the number format differs."""
    counts = tuple((f"row {i}", i + 1, 1111.25 * i, 2222.5 * i) for i in range(1, 4))
    columns = (
        Column("name", "Name"),
        Column("count", "Count", Measure.COUNT, total=True),
        Column("price", "Price", Measure.MONEY),
        Column("cost", "Cost", Measure.MONEY, total=True),
    )
    path = tmp_path / "sums.xlsx"
    path.write_bytes(one_sheet(Table("t", columns, counts)))
    ends = dict(drawn_words(path))
    assert ends["$13,335.00"] == pytest.approx(ends["$6,667.50"], abs=0.3)
    assert ends["9"] == pytest.approx(ends["4"], abs=0.3)
    assert ends["$13,335.00"] == pytest.approx(ends["Cost"], abs=0.3)


@pytest.mark.parametrize("currency", ["$", "€", "£", "kr", "CHF", "R$"])
def test_every_number_format_has_an_ink_of_its_own(currency: str) -> None:
    for manner in (Manner(currency=currency), Manner(metric=True, currency=currency)):
        places = (None, 0, 1, 2, 3, 4)
        formats = {looks.number_format(m, manner, p) for m in Measure for p in places}
        inks = {looks.shade(looks.INK, f) for f in formats}
        assert len(inks) == len(formats) > 10
        assert all(abs(lightness(i) - lightness(looks.INK)) < 16 for i in inks)


def test_labels_of_key_figures_have_the_room_that_they_need(made: Made) -> None:
    """They are not shrunk, and stand in rows as high as their lines."""
    seen = 0
    for sheet in made.book:
        spans = {(a.min_row, a.min_col): a.max_col for a in sheet.merged_cells.ranges}
        for cell in cells_of(sheet):
            if cell.border.top is None or cell.border.top.style != "medium":
                continue
            last = spans.get((cell.row, cell.column), cell.column)
            letters = map(openpyxl.utils.get_column_letter, range(cell.column, last + 1))
            wide = sum(sheet.column_dimensions[letter].width for letter in letters)
            taken = lines(str(cell.value), wide / 0.9)
            assert not cell.alignment.shrink_to_fit
            assert (sheet.row_dimensions[cell.row].height or 15) >= 12 * taken, cell.value
            seen += 1
    assert seen >= 4


def test_every_sheet_is_set_up_for_print(made: Made) -> None:
    farm = made.season.farm.name.replace("&", "&&")
    for sheet in made.book:
        own = sheet.title.startswith(("Order sheet", "Seed order"))
        paper = "9" if made.season.farm.metric else "1"
        assert str(sheet.page_setup.paperSize) == paper, sheet.title
        assert farm in sheet.oddFooter.left.text.replace("&&&&", "&&")
        dated = "2026-12-01" if made.season.farm.metric else "12/1/2026"
        assert dated in sheet.oddFooter.right.text
        assert own or "&P" in sheet.oddFooter.right.text
        assert (made.season.fingerprint in sheet.oddFooter.left.text) is not own
        fitted = sheet.sheet_properties.pageSetUpPr.fitToPage
        assert fitted or 40 <= sheet.page_setup.scale <= 100, sheet.title


def test_the_answer_fits_one_page(made: Made) -> None:
    sheet = made.book.first.worksheets[0]
    assert sheet.title == "The plan"
    assert (sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight) == (1, 1)
    assert sheet.max_row < 90


def test_days_to_order_by_are_shown_where_there_are_any() -> None:
    season = sample_season()
    undated = tuple(replace(s, order_by=None) for s in season.suppliers)
    for made, there in ((case("sample"), True), (Made(replace(season, suppliers=undated)), False)):
        assert ("Order by" in {c.value for c in cells_of(made.book["The plan"])}) is there


def test_long_tables_keep_their_header() -> None:
    made = case("large")
    for title in ("Fields", "Cost by field", "Treating and doses", "Protection by field"):
        sheet = made.book[title]
        frozen = int(re.sub(r"\D", "", sheet.freeze_panes)) - 1
        assert sheet.print_title_rows == f"${frozen}:${frozen}"
        if title != "Protection by field":  # in groups, a sum under each: not to be filtered
            assert sheet.auto_filter.ref.startswith(f"A{frozen}:")


def test_an_order_sheet_holds_the_suppliers_business_only() -> None:
    made = case("sample")
    for number, mine in ((1, "North Depot"), (2, "River Depot")):
        sheet = made.book[f"Order sheet {number}"]
        texts = {str(c.value) for row in sheet.iter_rows() for c in row if c.value is not None}
        assert mine in texts
        others = {line.product for line in made.plan.order if line.supplier != mine}
        others |= {s.name for s in made.season.suppliers} - {mine}
        others |= {f.name for f in made.season.fields} | {"Total compared"}
        assert not {t for t in texts for o in others if o in t}
        assert any(c.value is None and c.border.bottom.style for c in sheet["B"])  # lines to sign


def test_order_sheets_name_the_size_of_a_container(made: Made) -> None:
    sheet = made.book["Order sheet 1"]
    head = next(r for r in sheet.iter_rows() if r[0].value == "Product")
    at = next(c.column for c in head if str(c.value).startswith("Size"))
    line = [c.value for c in sheet[head[0].row + 1]]
    sizes = {(c.product, c.name): c.size for c in made.season.containers}
    assert near(line[at - 1], sizes[line[0], line[1]] * made.volume)


def test_seed_to_buy_has_an_order_sheet(made: Made) -> None:
    orders = [s for s in made.book.first if s.title.startswith("Seed order")]
    assert bool(orders) is bool(made.plan.seed_purchases)
    texts: set[object] = set()
    paid = 0.0
    for sheet in orders:  # one for each seller
        rows = list(sheet.iter_rows(values_only=True))
        texts |= {v for row in rows for v in row}
        (row,) = [r for r in rows if r[0] == "To pay"]
        paid += next(v for v in reversed(row) if v is not None)
    assert {clean(s.lot) for s in made.plan.seed_purchases} <= texts
    assert near(paid, made.plan.cost.seed_bought)


def test_order_sheets_add_up_to_the_cost(made: Made) -> None:
    paid = 0.0
    for sheet in made.book:
        if sheet.title.startswith("Order sheet"):
            (row,) = [r for r in sheet.iter_rows(values_only=True) if r[0] == "To pay"]
            paid += next(v for v in reversed(row) if v is not None)
    cost = made.plan.cost
    assert near(paid, cost.containers + cost.freight - cost.discounts)


# --- charts --------------------------------------------------------------------------------------


def test_charts_name_their_axes_and_show_them(made: Made) -> None:
    charts = [c for sheet in made.book for c in sheet._charts]
    assert len(charts) >= 4
    with zipfile.ZipFile(io.BytesIO(made.content[Pack.STUDY])) as file:
        names = [n for n in file.namelist() if re.fullmatch(r"xl/charts/chart\d+\.xml", n)]
        assert len(names) == len(charts)
        for name in names:
            text = file.read(name).decode()
            assert text.count('<delete val="0"') == 2, name
            # what lying bars stand for is written beside each of them
            named = 1 if '<barDir val="bar"' in text else 2
            axes = re.findall(r"<(?:catAx|valAx)>.*?</(?:catAx|valAx)>", text, re.DOTALL)
            assert sum("<title>" in axis for axis in axes) == named, name


@pytest.mark.parametrize(("least", "begins"), [(550.0, 0.0), (0.0, 0.0), (-5.0, None)])
def test_bars_begin_at_zero_however_long_all_are(least: float, begins: float | None) -> None:
    """Of 550 to 800 units a program drew what is above 550: twice as long for a tenth more."""
    table = Table("t", (Column("a", "A"), Column("b", "B")), (("x", 800.0), ("y", least)))
    chart = Chart("c", ChartKind.COLUMNS, Link("s", "t"), "a", (Series("b"),), "A", "B")
    placed = Placed(table, 1, rows=[2, 3])
    drawn = draw(chart, openpyxl.Workbook().active, placed, Manner())
    assert drawn.y_axis.scaling.min == begins


def lightness(color: str) -> float:
    """L* of an sRGB color (CIE 1976, D65), as in IEC 61966-2-1 (figures from memory)."""
    linear = []
    for i in (0, 2, 4):
        v = int(color[i : i + 2], 16) / 255
        linear.append(v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4)
    y = 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
    return 116 * y ** (1 / 3) - 16 if y > 0.008856 else 903.3 * y


def test_neighbors_in_a_chart_differ_in_gray_or_pattern() -> None:
    for one, other in zip(looks.SERIES, looks.SERIES[1:], strict=False):
        apart = abs(lightness(one[0]) - lightness(other[0]))
        assert apart > 20 or one[1] != other[1], (one, other)


@pytest.mark.parametrize("look", [Look.SHORT, Look.WATCH, Look.OK, Look.FAINT])
def test_letters_stand_out_from_their_ground(look: Look) -> None:
    """Contrast of 4.5 to 1 at least, WCAG 2.1, 1.4.3 (from memory)."""
    ink = looks.INKS[look]
    fill = looks.FILLS.get(look)
    ground = fill.start_color.rgb[-6:] if fill else "FFFFFF"

    def luminance(color: str) -> float:
        high = lightness(color)
        return ((high + 16) / 116) ** 3 if high > 8 else high / 903.3

    lights = sorted((luminance(ink), luminance(ground)))
    assert (lights[1] + 0.05) / (lights[0] + 0.05) >= 4.5


# --- units and edges -----------------------------------------------------------------------------


def test_units_follow_the_farm() -> None:
    for name, wanted, other in (("sample", "(gal)", "(L)"), ("metric", "(L)", "(gal)")):
        made, metric = case(name), name == "metric"
        texts = {c.value for c in cells(made.book) if isinstance(c.value, str)}
        heads = " ".join(t for t in texts if len(t) < 40)
        assert wanted in heads
        assert other not in heads
        assert ("(ha)" in heads) is metric
        assert ("(acres)" in heads) is not metric


def test_an_empty_plan_can_be_written() -> None:
    season = sample_season()
    plan = greedy_plan(replace(season, fields=()))
    written = Written(make_books(plan, replace(season, fields=())))
    assert "Nothing to order" in str([c.value for c in cells(written.first)])


def test_currencies_of_all_kinds_are_literal() -> None:
    assert looks.currency_format('R$"') == '"R$"'
    assert looks.currency_format("kr") == '"kr "'
    assert looks.currency_format("") == ""


def test_text_blocks_are_as_high_as_their_lines() -> None:
    data = one_sheet(Text(("word " * 200,)), Text(("short",)))
    sheet = openpyxl.load_workbook(io.BytesIO(data))["S"]
    assert sheet.row_dimensions[5].height > 7 * 12
    assert sheet.row_dimensions[7].height < 20


# --- the file itself -----------------------------------------------------------------------------

WORKSHEET_PARTS = [
    "sheetPr",
    "dimension",
    "sheetViews",
    "sheetFormatPr",
    "cols",
    "sheetData",
    "sheetCalcPr",
    "sheetProtection",
    "protectedRanges",
    "scenarios",
    "autoFilter",
    "sortState",
    "dataConsolidate",
    "customSheetViews",
    "mergeCells",
    "phoneticPr",
    "conditionalFormatting",
    "dataValidations",
    "hyperlinks",
    "printOptions",
    "pageMargins",
    "pageSetup",
    "headerFooter",
    "rowBreaks",
    "colBreaks",
    "customProperties",
    "cellWatches",
    "ignoredErrors",
    "smartTags",
    "drawing",
    "legacyDrawing",
    "tableParts",
    "extLst",
]
"""Order of a worksheet's parts, ECMA-376 part 1, 18.3.1.99 (from memory)."""


def test_the_written_xml_is_in_order(made: Made) -> None:
    """What office programs offer to repair: parts out of order, double merges, long feet."""
    for pack, content in made.content.items():
        in_order(content, len(made.book.books[pack].sheetnames))


def in_order(content: bytes, count: int) -> None:
    """Check the parts of every sheet of a workbook."""
    from xml.etree import ElementTree

    with zipfile.ZipFile(io.BytesIO(content)) as file:
        assert file.testzip() is None
        sheets = [n for n in file.namelist() if n.startswith("xl/worksheets/sheet")]
        assert len(sheets) == count
        for name in sheets:
            root = ElementTree.fromstring(file.read(name))
            tags = [child.tag.split("}")[1] for child in root]
            places = [WORKSHEET_PARTS.index(tag) for tag in tags]
            assert places == sorted(places), (name, tags)
            space = root.tag.split("}")[0] + "}"
            merged = [m.get("ref") for m in root.iter(f"{space}mergeCell")]
            assert len(set(merged)) == len(merged)
            feet = [f.text for f in root.iter(f"{space}oddFooter")]
            assert all(len(foot) <= 255 for foot in feet)  # limit of the file format
            for formula in root.iter(f"{space}f"):
                assert len(formula.text) <= 8192  # likewise


def test_cells_of_one_look_share_their_style(made: Made) -> None:
    """Styles do not grow with the rows: the file format has room for some 64,000."""
    assert all(len(book._cell_styles) < 250 for book in made.book.books.values())


def test_days_of_a_metric_farm_have_their_width() -> None:
    """ISO days with a weekday, the widest of them, in columns that are narrowed."""
    many = tuple(Column(f"text_{'abcdefghij'[n]}", "Text", width=22) for n in range(8))
    table = Table("t", (Column("day", "Day", Measure.DATE), *many), ((date(2027, 2, 3), *"x" * 8),))
    sheet = Sheet("Days", "", (table,), Page(one_page=True))
    assert lay_out(sheet, Manner(metric=True), home=False).widths[0] >= DAY_WIDTH + MARGIN[1]

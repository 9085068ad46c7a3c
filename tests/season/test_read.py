"""Inputs become the season that they describe, whatever their form; what is odd is told."""

import dataclasses
import re
import shutil
import time
from datetime import date
from pathlib import Path
from random import Random

import openpyxl
import pytest

from planner.errors import InputError
from planner.plan.questions import questions
from planner.season.domain import (
    Basis,
    Pressure,
    PriceBreak,
    Quantity,
    Rating,
    Season,
    SeedingRate,
    TargetStand,
)
from planner.season.read import read_scenarios, read_season
from tests.support.inputs import Sheets, faults, folder, good, put, read, setting, workbook


@pytest.fixture(scope="module")
def season(tmp_path_factory) -> Season:
    return read_season(folder(tmp_path_factory.mktemp("good") / "good", good()))


def meaning(season: Season) -> Season:
    """The season without where it came from."""
    return dataclasses.replace(season, source="", notes=())


def placeless(season: Season) -> Season:
    """The season without the rows that its records came from, and in one order."""

    def strip(value):
        if isinstance(value, tuple):
            return tuple(sorted((strip(v) for v in value), key=repr))
        if dataclasses.is_dataclass(value) and hasattr(value, "row"):
            fields = {f.name: strip(getattr(value, f.name)) for f in dataclasses.fields(value)}
            return type(value)(**{**fields, "row": None})
        return value

    values = {f.name: strip(getattr(season, f.name)) for f in dataclasses.fields(season)}
    return meaning(Season(**values))


def test_settings_of_the_farm_are_read(season):
    farm = season.farm
    assert (farm.name, farm.crop_year, farm.currency) == ("Marten Hill", 2027, "$")
    assert (farm.plan_date, farm.first_treating_day) == (date(2026, 12, 10),) * 2
    assert (farm.spare_seed, farm.product_margin, farm.seeds_per_unit) == (0.03, 0.0, 140_000.0)
    assert (farm.liquid_limit, farm.liquid_warning) == (8.0, None)
    assert (farm.allow_untreated, farm.weigh_yield_loss, farm.soybean_price) == (False, True, 10.5)
    assert farm.treating_done_by == date(2027, 5, 8)
    assert farm.max_varieties is None


def test_a_rate_by_so_many_seeds_is_one_by_the_farms_unit(tmp_path):
    """Derived: 1.8 fl oz on 140,000 seeds are 160 / 140 of that on a unit of 160,000."""
    for seeds, floz in (("140,000", 1.8), ("160,000", 1.8 * 160 / 140)):
        sheets = put(good(), "Recipes", 2, "Rate", "1.8 fl oz/140,000 seeds")
        (base, *_) = read(tmp_path, setting(sheets, "Seeds per unit", seeds)).recipes
        (rate,) = base.rates
        assert (rate.amount, rate.basis) == (pytest.approx(floz), Basis.FLOZ_PER_UNIT)
        assert rate.written == "1.8 fl oz/140,000 seeds"


def test_words_of_tags_and_labels_are_understood(tmp_path):
    sheets = put(good(), "Products", 3, "Kind", "Dye")
    put(sheets, "Fields", 2, "Latest maturity", "MG 2.2")
    put(sheets, "Seed lots", 4, "Maturity", "RM 2.1")
    put(sheets, "Fields", 2, "White mold pressure", "medium")
    found = read(tmp_path, sheets)
    assert found.products[1].kind == "colorant"
    assert (found.fields[0].latest, found.lots[2].maturity) == (2.2, 2.1)
    assert found.fields[0].pressure == {"White mold": Pressure.MODERATE}


def test_fields_are_read(season):
    home, creek = season.fields
    assert home.sowing == SeedingRate(140_000.0)
    assert (home.earliest, home.latest, home.traits, home.priority) == (1.6, 2.2, (), 1)
    assert home.pressure == {"White mold": Pressure.HIGH}
    assert home.planting_date == date(2027, 5, 10)
    assert creek.sowing == TargetStand(110_000.0, 0.92)
    assert (creek.traits, creek.only_varieties) == (("system A",), ("Heron",))
    assert (creek.only_recipes, creek.pressure) == (("Full",), {})
    assert (creek.row.sheet, creek.row.number) == ("Fields", 3)


def test_seed_lots_are_read(season):
    first, second, third = season.lots
    assert (first.name, first.variety, first.maturity) == ("L-1", "Heron", 1.8)
    assert (first.on_hand, first.units_per_bag, first.seeds_per_lb) == (160.0, 40.0, 2800.0)
    assert (first.germination, first.return_value) == (0.92, 40.0)
    assert (first.can_buy, first.buy_price, first.treated_with) == (80.0, 55.0, None)
    assert (second.treated_with, second.can_buy, second.seeds_per_lb) == ("Full", 0.0, 2650.0)
    assert (third.trait, third.units_per_bag) == ((), 45.0)


def test_products_are_read(season):
    cap, sheen = season.products
    assert (cap.on_hand, cap.line_loss, cap.carryover) == (192.0, 16.0, 0.4)
    assert (cap.expires, cap.density) == (date(2027, 9, 30), 9.1)
    assert cap.protection == {"White mold": Rating.VG}
    assert [a.ingredient for a in cap.actives] == ["fludioxonil", "metalaxyl"]
    assert cap.actives[0].concentration == 3.2
    assert cap.actives[1].concentration == pytest.approx(120 / 119.826427316897)  # g/L a lb/gal
    assert (sheen.on_hand, sheen.expires, sheen.actives, sheen.kind) == (0.0, None, (), "polymer")


def test_containers_are_read(season):
    jug, keg, other = season.containers
    assert (jug.product, jug.name, jug.size, jug.heel) == ("Green Cap", "jug", 320.0, 4.0)
    assert (jug.supplier, jug.most) == ("North yard", None)
    assert [(b.from_count, b.price) for b in jug.breaks] == [(1, 900.0), (4, 870.0)]
    assert (keg.size, keg.most, keg.breaks[0].price) == (1920.0, 3, 5100.0)
    assert (other.product, other.supplier) == ("Sheen", "River yard")


def test_recipes_are_read(season):
    base, full = season.recipes
    assert (base.rates[0].amount, base.rates[0].basis) == (4.0, Basis.FLOZ_PER_CWT)
    assert (base.approved_by, base.approved_on) == ("A. Adviser", None)
    assert (full.rates[0].basis, full.rates[0].active) == (Basis.MG_PER_SEED, "fludioxonil")
    assert full.rates[1].amount == pytest.approx(30 / 29.5735295625)  # mL a fl oz
    assert full.rates[1].written == "30 mL/unit"
    assert full.approved_by is None


def test_threats_limits_suppliers_and_discounts_are_read(season):
    (threat,) = season.threats
    assert threat.need == {Pressure.MODERATE: Rating.F, Pressure.HIGH: Rating.G}
    assert threat.loss == {Pressure.HIGH: 6.0}
    assert season.control == {Rating.G: 0.6, Rating.VG: 0.8}
    (limit,) = season.active_limits
    assert (limit.ingredient, limit.per_acre, limit.per_seed) == ("fludioxonil", 0.25, 0.2)
    north, river = season.suppliers
    assert (north.freight, north.free_from, north.order_by) == (150.0, 5000.0, date(2027, 1, 15))
    assert (river.freight, river.free_from) == (90.0, None)
    assert [(d.name, d.spend, d.percent) for d in season.discounts] == [
        ("Early pay", 4000.0, 0.03),
        ("Early pay", 12000.0, 0.05),
        ("Pair", 6000.0, 0.01),
    ]
    assert (season.discounts[2].supplier, season.discounts[2].products) == (
        None,
        ("Green Cap", "Sheen"),
    )
    (span,) = season.maturity_spread
    assert (span.earliest, span.latest, span.share) == (2.0, 2.6, 0.6)
    assert [(t.lot, t.recipe, t.units) for t in season.treated] == [("L-1", "Full", 40.0)]
    assert [(o.product, o.container, o.count) for o in season.ordered] == [("Green Cap", "jug", 1)]
    assert season.days_off == (date(2027, 4, 25),)
    assert [w.scenario for w in season.what_if] == ["More spare", "More spare", "Cheap kegs"]
    assert (season.notes, season.source) == ((), "good")


def test_a_workbook_and_its_csv_twin_are_the_same_season(season, tmp_path):
    twin = read_season(workbook(tmp_path / "good.xlsx", good()))
    assert meaning(twin) == meaning(season)
    assert twin.source == "good.xlsx"


def test_numbers_dates_and_percents_of_a_spreadsheet_are_the_same_season(season, tmp_path):
    """Typed cells instead of texts: what a person would enter."""
    book = openpyxl.load_workbook(workbook(tmp_path / "typed.xlsx", good()))
    fields, lots, farm = book["Fields"], book["Seed lots"], book["Farm"]
    fields["B2"], fields["C2"], fields["F2"] = 80, 140000, 1.6
    fields["I2"] = date(2027, 5, 10)
    fields["E3"] = 0.92
    fields["E3"].number_format = "0%"
    lots["H2"], lots["E2"] = 92, 160.0
    farm["B3"], farm["B4"], farm["B7"] = 2027, date(2026, 12, 10), False
    farm["B5"] = 0.03
    farm["B5"].number_format = "0.0%"
    book.save(tmp_path / "typed.xlsx")
    assert meaning(read_season(tmp_path / "typed.xlsx")) == meaning(season)


def shuffled(sheets: Sheets, seed: int) -> Sheets:
    """Rows and columns in another order."""
    random = Random(seed)
    for name, rows in sheets.items():
        columns = list(range(len(rows[0])))
        if name != "Farm":
            random.shuffle(columns)
        body = rows[1:]
        random.shuffle(body)
        sheets[name] = [[row[i] for i in columns] for row in [rows[0], *body]]
    return sheets


@pytest.mark.parametrize("seed", range(5))
def test_the_order_of_rows_and_columns_does_not_matter(season, tmp_path, seed):
    again = read_season(folder(tmp_path / "good", shuffled(good(), seed)))
    assert placeless(again) == placeless(season)
    assert again.fingerprint == season.fingerprint


def metric(sheets: Sheets) -> Sheets:
    """The good season's quantities in metric units, by factors of NIST Handbook 44, App. C."""
    hectare, liter, kilo = 0.40468564224, 0.0295735295625, 0.45359237
    for row, acres in ((2, 80), (3, 12.5)):
        put(sheets, "Fields", row, "Acres", f"{acres * hectare!r} ha")
    put(sheets, "Fields", 2, "Seeding rate", f"{140_000 / hectare!r} seeds/ha")
    put(sheets, "Fields", 3, "Target stand", f"{110_000 / hectare!r} plants/ha")
    put(sheets, "Seed lots", 2, "Seeds per lb", f"{2800 / kilo!r} seeds/kg")
    put(sheets, "Seed lots", 3, "Seeds per lb", f"{kilo * 1e6 / 2650!r} g/1000 seeds")
    put(sheets, "Products", 2, "On hand", f"{192 * liter!r} L")
    put(sheets, "Products", 2, "Line loss", f"{16 * liter * 1000!r} mL")
    put(sheets, "Products", 2, "Density", f"{9.1 * kilo / (128 * liter)!r} kg/L")
    put(sheets, "Containers", 4, "Size", f"{1920 * liter!r} liters")
    put(sheets, "Recipes", 2, "Rate", f"{4 * liter * 1000 / (100 * kilo) * 100!r} mL/100 kg")
    put(sheets, "Active limits", 2, "Most per acre", f"{0.25 * kilo / hectare!r} kg/ha")
    setting(sheets, "Soybean price", f"{10.5 / 60 / kilo * 1000!r} $/t")
    return sheets


def alike(one, other, place: str) -> None:
    """The same records to twelve figures, whatever stands in the cells they were read from."""
    if dataclasses.is_dataclass(one):
        assert type(one) is type(other), place
        for f in dataclasses.fields(one):
            if f.name not in ("row", "written", "was", "source", "fingerprint", "told"):
                alike(getattr(one, f.name), getattr(other, f.name), f"{place}.{f.name}")
    elif isinstance(one, tuple):
        assert len(one) == len(other), place
        for number, (a, b) in enumerate(zip(one, other, strict=True)):
            alike(a, b, f"{place}[{number}]")
    elif isinstance(one, float):
        assert other == pytest.approx(one, rel=1e-12), place
    else:
        assert other == one, place


def test_metric_units_throughout_are_the_same_season(season, tmp_path):
    again = read_season(folder(tmp_path / "good", metric(good())))
    alike(season, again, "season")
    assert again.fields[0].sowing.seeds == pytest.approx(140_000, rel=1e-12)
    assert again.fields[1].sowing.plants == pytest.approx(110_000, rel=1e-12)
    assert again.recipes[0].rates[0].amount == pytest.approx(4.0, rel=1e-12)


@pytest.mark.parametrize(
    ("sheet", "old", "new"),
    [
        ("Fields", "Acres", "  ACRES * "),
        ("Fields", "Acres", "Acres (ac)"),
        ("Fields", "Acres", "Area [acres]"),
        ("Fields", "Seeding rate", "seeding  rate (seeds/acre)"),
        ("Fields", "White mold pressure", "WHITE MOLD  PRESSURE"),
        ("Seed lots", "Seeds per lb", "Seed size (seeds/lb)"),
        ("Seed lots", "Buy price", "Buy price ($/unit):"),
        ("Products", "On hand", "On hand (gal)"),
        ("Containers", "Price", "Price ($ each)"),
        ("Recipes", "Rate", "Rate (fl oz/cwt)"),
    ],
)
def test_headers_match_without_case_spaces_and_with_units(season, tmp_path, sheet, old, new):
    sheets = good()
    sheets[sheet][0] = [new if header == old else header for header in sheets[sheet][0]]
    again = read_season(folder(tmp_path / "good", sheets))
    assert meaning(again) == meaning(season)


def test_a_header_gives_bare_numbers_their_unit(tmp_path):
    sheets = good()
    sheets["Containers"][0][2] = "Size (L)"
    put(sheets, "Containers", 5, "Size (L)", "3.785411784")
    sheets["Fields"][0][1] = "Hectares"
    put(sheets, "Fields", 2, "Hectares", "40.468564224")
    season = read_season(folder(tmp_path / "good", sheets))
    assert season.containers[2].size == pytest.approx(128.0)
    assert season.containers[0].size == 320.0, "a unit in the cell goes before the header's"
    assert season.fields[0].acres == pytest.approx(100.0)


@pytest.mark.parametrize(
    ("sign", "header"), [("€", "€"), ("CHF", "CHF"), ("C$", "C$"), ("kr", "$")]
)
def test_money_may_have_another_sign(tmp_path, sign, header):
    sheets = setting(good(), "Currency", sign)
    put(sheets, "Containers", 2, "Price", f"{sign} 900")
    put(sheets, "Containers", 3, "Price", f"870 {sign}")
    sheets["Containers"][0][3] = f"Price ({header})"
    sheets["Seed lots"][0][10] = f"Buy price ({header}/unit)"
    season = read_season(folder(tmp_path / "good", sheets))
    assert [b.price for b in season.containers[0].breaks] == [900.0, 870.0]
    assert (season.lots[0].buy_price, season.farm.currency) == (55.0, sign)


def test_a_hidden_sheet_is_read_and_told(season, tmp_path):
    book = openpyxl.load_workbook(workbook(tmp_path / "hidden.xlsx", good()))
    book["Fields"].sheet_state = "hidden"
    book["Discounts"].sheet_state = "veryHidden"
    book.save(tmp_path / "hidden.xlsx")
    again = read_season(tmp_path / "hidden.xlsx")
    assert (again.fields, again.discounts) == (season.fields, season.discounts)
    told = [note for note in again.notes if "hidden" in note]
    assert told == [
        f"{name}: the sheet is hidden and was read all the same."
        for name in ("Fields", "Discounts")
    ]


def test_what_people_do_to_workbooks_is_read(season, tmp_path):
    """Titles above, blank rows between, notes beside, totals below, spaces everywhere."""
    book = openpyxl.load_workbook(workbook(tmp_path / "used.xlsx", good()))
    fields = book["Fields"]
    fields.insert_rows(1, 2)
    fields["A1"] = "Fields of 2027, as of December"
    fields.merge_cells("A1:F1")
    fields.insert_rows(5)
    fields["A4"] = "  Home 80\u00a0"
    fields["N3"], fields["N4"] = "My notes", "ask about the tile"
    fields["A9"], fields["B9"] = "TOTAL", 92.5
    fields["N7"] = "checked twice"
    book["Farm"].append(["My phone", "555"])
    book.save(tmp_path / "used.xlsx")
    again = read_season(tmp_path / "used.xlsx")
    assert [dataclasses.replace(f, row=None) for f in again.fields] == [
        dataclasses.replace(f, row=None) for f in season.fields
    ]
    assert [f.row.number for f in again.fields] == [4, 6]
    assert again.notes == (
        "Fields: nothing but notes in row 7, ignored.",
        "Fields: row 9 holds totals and was not planned.",
        "Farm: setting 'My phone' is not known and was ignored.",
        "Fields: column 'My notes' is not known and was ignored.",
    )


def test_names_are_spelled_as_where_they_are_defined(tmp_path):
    sheets = good()
    put(sheets, "Fields", 3, "Only recipes", " FULL;untreated ; full")
    put(sheets, "Fields", 3, "Trait", "System  A")
    put(sheets, "Seed lots", 2, "Variety", "HERON")
    put(sheets, "Recipes", 4, "Recipe", "full")
    put(sheets, "Containers", 4, "Product", "GREEN CAP")
    put(sheets, "Containers", 3, "Container", "JUG")
    put(sheets, "Protection", 2, "Threat", "white MOLD")
    season = read_season(folder(tmp_path / "good", sheets))
    assert season.fields[1].only_recipes == ("Full", "Untreated")
    assert len({t for x in (*season.fields, *season.lots) for t in getattr(x, "traits", ())}) == 1
    assert season.fields[1].traits == season.lots[0].trait
    assert {lot.variety for lot in season.lots} == {"HERON", "Egret"}
    assert season.fields[1].only_varieties == ("HERON",)
    assert len(season.recipes) == 2
    assert {c.product for c in season.containers} == {"Green Cap", "Sheen"}
    assert len(season.containers) == 3
    assert season.products[0].protection == {"White mold": Rating.VG}


def test_optional_sheets_may_be_missing_or_empty(tmp_path):
    sheets = good()
    for name in list(sheets):
        if name not in ("Farm", "Fields", "Seed lots", "Products", "Containers", "Recipes"):
            del sheets[name]
    sheets["Threats"], sheets["Suppliers"] = [], [["Supplier", "Freight"]]
    put(sheets, "Fields", 2, "White mold pressure", "none")
    put(sheets, "Recipes", 3, "Rate", "3 fl oz/unit")
    put(sheets, "Recipes", 3, "Of", "")
    season = read_season(folder(tmp_path / "good", sheets))
    assert (season.threats, season.discounts, season.control) == ((), (), {})
    assert [s.name for s in season.suppliers] == ["North yard", "River yard"]
    assert {s.freight for s in season.suppliers} == {0.0}


def test_a_blank_plan_date_is_today_and_told(tmp_path):
    season = read_season(folder(tmp_path / "good", setting(good(), "Plan date", "")))
    assert season.farm.plan_date == date.today()
    today = date.today()
    us = f"{today.month}/{today.day}/{today.year}"
    assert f"Farm: Plan date is blank; today, {us}, was taken." in season.notes


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda s: put(s, "Products", 2, "Kind", "plant defence"), "kind 'plant defence'"),
        (
            lambda s: put(s, "Products", 2, "Kind", "funglcide"),
            "kind 'funglcide' is taken as it is; nearest: 'fungicide'.",
        ),
        (lambda s: put(s, "Fields", 2, "Rust pressure", "none"), "column 'Rust pressure'"),
        (lambda s: put(s, "Containers", 3, "Price", "990"), "the price rises from 4"),
        (lambda s: put(s, "Discounts", 3, "Percent off", "2%"), "a lower percent off"),
        (lambda s: put(s, "Recipes", 2, "Of", "metalaxyl"), "Of was ignored"),
        (lambda s: put(s, "Protection", 2, "Threat", "Rust"), "threat 'Rust' is not on Threats"),
        (lambda s: put(s, "Active limits", 2, "Active ingredient", "ipconazole"), "'ipconazole'"),
        (
            lambda s: {
                **s,
                "Containers": [[*s["Containers"][0][:6], "", "Supplier"], *s["Containers"][1:]],
            },
            "Containers: column G has no header in row 1 and was ignored.",
        ),
        (lambda s: setting(s, "Liquid warning", "9"), "Liquid warning is above Liquid limit"),
        (lambda s: {**s, "Ratings": []}, "no rating prevents any loss"),
        (lambda s: put(s, "Seed lots", 4, "Lot", "L\u20111"), "only looks like"),
        (lambda s: put(s, "Fields", 2, "Field", "Сreek"), "only looks like"),
        (
            lambda s: {**s, "Treated so far": [*s["Treated so far"], ["L-1", "full", "10"]]},
            "added to row 2",
        ),
        (
            lambda s: {**s, "Maturity spread": [*s["Maturity spread"], ["2.0", "2.6", "50%"]]},
            "row 3: row 2 has the same span; the smaller share holds",
        ),
    ],
)
def test_what_is_odd_is_told(tmp_path, change, words):
    season = read_season(folder(tmp_path / "good", change(good())))
    assert any(words in sentence for sentence in season.notes), season.notes


def _asked(tmp_path, sheets, first_day: str = "2027-04-20") -> tuple[str, ...]:
    """What the reader asks of a season; `check` and page one ask the same."""
    setting(sheets, "First treating day", first_day)
    one = read_season(folder(tmp_path / "asked", sheets))
    assert set(one.asked) <= set(questions(one))
    return one.asked


def test_a_good_season_is_asked_nothing_by_the_reader(tmp_path):
    assert _asked(tmp_path, good()) == ()


def test_a_blank_first_treating_day_is_pointed_out(tmp_path):
    (asked,) = _asked(tmp_path, good(), first_day="")
    assert asked.startswith("No First treating day is given on Farm: the calendar starts on the")


def test_a_supplier_of_containers_who_is_not_on_suppliers_is_asked_about(tmp_path):
    sheets = put(good(), "Containers", 5, "Supplier", "South lot yard")
    asked, unsold = _asked(tmp_path, sheets)
    assert asked.startswith("Containers, Supplier (row 5): is 'South lot yard' right?")
    assert "nearest there: 'North yard'" in asked
    assert unsold.startswith("Suppliers, Supplier (row 3): does 'River yard' sell anything?")


@pytest.mark.parametrize(
    ("sheet", "column", "row", "typed", "words"),
    [
        ("Recipes", "Recipe", 4, "Ful", "Recipes, Recipe (row 4): is 'Ful' another than 'Full'"),
        ("Recipes", "Recipe", 4, "Flul", "Each is a recipe of its own, with the products of its"),
        ("Containers", "Container", 3, "jugs", "Containers, Container (row 3): is 'jugs' another"),
        (
            "Discounts",
            "Discount",
            3,
            "Early-pay",
            "Both are taken off, each with levels of",
        ),
    ],
)
def test_a_name_a_slip_apart_from_another_is_asked_about(
    tmp_path, sheet, column, row, typed, words
):
    (asked,) = _asked(tmp_path, put(good(), sheet, row, column, typed))
    assert words in asked
    assert asked.endswith("If it is the same, spell it the same.")


@pytest.mark.parametrize(
    "names", [("Level 1", "Level 2"), ("Drum 15 gal", "Drum 30 gal"), ("Mix A", "Mix B")]
)
def test_names_that_are_meant_to_be_near_are_asked_nothing(tmp_path, names):
    sheets = put(good(), "Discounts", 2, "Discount", names[0])
    assert _asked(tmp_path, put(sheets, "Discounts", 3, "Discount", names[1])) == ()


def test_a_slip_in_a_supplier_of_containers_is_a_fault_with_the_nearest_name(tmp_path):
    sheets = put(good(), "Containers", 5, "Supplier", "Rivr yard")
    (fault,) = faults(tmp_path, sheets)
    assert (fault.sheet, fault.row, fault.remedy) == ("Containers", 5, "nearest: 'River yard'")


@pytest.mark.parametrize("listed", [True, False])
def test_a_discount_at_a_supplier_nobody_else_names_is_a_fault(tmp_path, listed):
    """It could never take anything off, whether Suppliers is filled or not."""
    sheets = put(good(), "Discounts", 2, "Supplier", "Hill shop")
    if not listed:
        del sheets["Suppliers"]
    (fault,) = faults(tmp_path, sheets)
    assert (fault.sheet, fault.row, fault.column) == ("Discounts", 2, "Supplier")
    assert "leave it blank for any supplier" in fault.remedy


def test_a_discount_at_a_supplier_of_containers_only_is_read(tmp_path):
    sheets = put(good(), "Discounts", 2, "Supplier", "River yard")
    del sheets["Suppliers"]
    assert read_season(folder(tmp_path / "there", sheets)).discounts[0].supplier == "River yard"


@pytest.mark.parametrize(
    ("sheet", "row", "column", "text", "words"),
    [
        ("Fields", 2, "Acres", "480.000", "Fields, Acres: is '480.000' meant as 480?"),
        ("Fields", 2, "Seeding rate", "140.500", "write 140,500 or 140500 (row 2)"),
        ("Containers", 2, "Price", "$1.250", "is '$1.250' meant as 1.25?"),
        ("Recipes", 2, "Rate", "4.600 fl oz/cwt", "is '4.600 fl oz/cwt' meant as 4.6?"),
        ("Farm", 9, "Value", "10.500", "Farm, Soybean price: is '10.500' meant as 10.5?"),
    ],
)
def test_a_point_where_thousands_may_be_meant_is_asked_about(
    tmp_path, sheet, row, column, text, words
):
    (asked,) = _asked(tmp_path, put(good(), sheet, row, column, text))
    assert words in asked


@pytest.mark.parametrize("text", ["480", "480.5", "80.25", "0.250", "82.125", "1,480.000"])
def test_other_numbers_are_not_asked_about(tmp_path, text):
    assert _asked(tmp_path, put(good(), "Fields", 2, "Acres", text)) == ()


def test_ounces_of_liquid_are_read_as_fluid_and_told(tmp_path):
    sheets = put(good(), "Recipes", 2, "Rate", "4 oz/cwt")
    sheets = put(sheets, "Products", 2, "Line loss", "16 oz")
    sheets = setting(sheets, "Liquid limit", "8 oz/cwt")
    sheets["Containers"][0][6] = "Heel (oz)"
    sheets = put(sheets, "Containers", 4, "Heel (oz)", "8")
    season = read_season(folder(tmp_path / "ounces", sheets))
    plain = read_season(folder(tmp_path / "plain", setting(good(), "Liquid limit", "8")))
    assert season.fingerprint == plain.fingerprint
    assert season.recipes[0].rates[0].written == "4 fl oz/cwt"
    told = [sentence for sentence in season.notes if "oz was read as fl oz" in sentence]
    places = [sentence.split(":")[0] for sentence in told]
    assert places == [
        "Farm, Liquid limit",
        "Products, Line loss",
        "Containers, Heel",
        "Recipes, Rate",
    ]
    assert "(row 2)" in told[1]
    assert "(row 4)" in told[2]


def test_rows_on_the_same_seed_and_containers_are_added_up(tmp_path):
    sheets = good()
    sheets["Treated so far"].append(["l-1", "FULL", "35"])
    sheets["Ordered so far"].append(["Green Cap", "jug", "2"])
    season = read_season(folder(tmp_path / "good", sheets))
    assert [t.units for t in season.treated] == [75.0]
    assert [o.count for o in season.ordered] == [3]


def test_a_supplier_who_is_not_on_suppliers_has_no_freight(tmp_path):
    sheets = put(good(), "Containers", 5, "Supplier", "Hill shop")
    season = read_season(folder(tmp_path / "good", sheets))
    assert [(s.name, s.freight) for s in season.suppliers] == [
        ("North yard", 150.0),
        ("River yard", 90.0),
        ("Hill shop", 0.0),
    ]
    assert season.containers[2].supplier == "Hill shop"


def test_rows_that_say_the_same_twice_do_no_harm(tmp_path):
    sheets = good()
    sheets["Maturity spread"].append(["2.0", "2.6", "50%"])
    sheets["Days off"].append(["2027-04-25", "again"])
    season = read_season(folder(tmp_path / "good", sheets))
    assert [s.share for s in season.maturity_spread] == [0.6, 0.5]
    assert season.days_off == (date(2027, 4, 25),)


def test_scenarios_change_cells_before_they_are_read(season, tmp_path):
    path = folder(tmp_path / "good", good())
    more = read_season(path, "more SPARE")
    assert more.farm.spare_seed == 0.05
    assert [f.acres for f in more.fields] == [80.0, 14.0]
    cheap = read_season(path, "Cheap kegs")
    prices = [PriceBreak(b.from_count, b.price) for c in cheap.containers for b in c.breaks]
    assert prices[2] == PriceBreak(1, 4500.0)
    assert cheap.farm == season.farm
    assert more.fingerprint != season.fingerprint != cheap.fingerprint


@pytest.mark.parametrize(("first", "second"), [("", "1,000"), ("1", "1000"), (" 1 ", "1000")])
def test_a_price_is_named_by_the_count_that_its_cell_means(tmp_path, first, second):
    sheets = put(good(), "Containers", 2, "From count", first)
    put(sheets, "Containers", 3, "From count", second)
    sheets["What if"] = [
        sheets["What if"][0],
        ["S", "Containers", "Green Cap / jug / 1", "Price", "901"],
        ["S", "Containers", "green cap / jug / 1000", "Price", "871"],
    ]
    jug = read_season(folder(tmp_path / "good", sheets), "S").containers[0]
    assert [(b.from_count, b.price) for b in jug.breaks] == [(1, 901.0), (1000, 871.0)]


def test_a_scenario_may_fill_what_was_not_there(tmp_path):
    sheets = good()
    sheets["What if"] = [
        sheets["What if"][0],
        ["S", "Farm", "Product margin", "Value", "2%"],
        ["S", "Fields", "Creek", "Grower", "South home"],
        ["S", "Seed lots", "L-1", "Can buy", ""],
        ["S", "Fields", "Home 80", "White mold pressure", "low"],
    ]
    season = read_season(folder(tmp_path / "good", sheets), "S")
    assert season.farm.product_margin == 0.02
    assert [f.grower for f in season.fields] == [None, "South home"]
    assert season.lots[0].can_buy == 0.0
    assert season.fields[0].pressure == {"White mold": Pressure.LOW}


def test_an_unknown_scenario_is_refused(tmp_path):
    with pytest.raises(InputError, match="nearest: 'Cheap kegs'"):
        read_season(folder(tmp_path / "good", good()), "cheap keg")


def test_the_fingerprint_is_of_the_meaning(season, tmp_path):
    same = put(good(), "Containers", 2, "Size", "320 fl oz")
    put(same, "Fields", 2, "Seeding rate", "140k")
    assert read_season(folder(tmp_path / "same", same)).fingerprint == season.fingerprint
    other = put(good(), "Fields", 2, "Acres", "80.1")
    assert read_season(folder(tmp_path / "other", other)).fingerprint != season.fingerprint


def large(path: Path, fields: int, lots: int) -> Path:
    sheets = good()
    head = sheets["Fields"][0]
    rows = [
        [
            f"F{i}",
            f"{20 + i % 90}.5",
            "140,000",
            "",
            "",
            "1.6",
            "2.4",
            "",
            "2027-05-10",
            "1",
            "",
            "",
            "",
        ]
        for i in range(fields)
    ]
    sheets["Fields"] = [head, *rows]
    lot = sheets["Seed lots"][1]
    sheets["Seed lots"] += [[f"X{i}", *lot[1:]] for i in range(lots)]
    sheets["What if"] = []
    return folder(path, sheets)


def test_three_thousand_fields_are_read_in_seconds(tmp_path):
    path = large(tmp_path / "large", 3_000, 600)
    started = time.process_time()
    season = read_season(path)
    assert time.process_time() - started < 10.0
    assert len(season.fields) == 3_000


def test_a_sheet_of_nothing_but_faults_is_not_read_to_its_end(tmp_path):
    """Four times 3,000 bad cells: reading stops at 5,000 faults, so fewer than those are left."""
    sheets = good()
    bad = ["ten", "many", "", "", "late", "later"]
    sheets["Fields"] += [[f"F {i}", *bad, *[""] * 6] for i in range(3_000)]
    with pytest.raises(InputError) as caught:
        read_season(folder(tmp_path / "bad", sheets))
    more = re.search(r"no further faults; at least ([0-9,]+) more", str(caught.value))
    assert more is not None
    assert 3_900 < int(more[1].replace(",", "")) < 5_000


@pytest.mark.parametrize(("names", "faults"), [(400, 0), (403, 3)])
def test_names_too_many_to_compare_are_not_passed_over(tmp_path, names, faults):
    """Names of no threat are passed over, as no slip of the pen; more than 400 are not compared."""
    sheets = good()
    sheets["Protection"] += [["Green Cap", f"{i} - {i * i} - {i**3}", "G"] for i in range(names)]
    path = folder(tmp_path / "many", sheets)
    if not faults:
        assert "400 in all." in read_season(path).notes
        return
    with pytest.raises(InputError) as caught:
        read_season(path)
    assert [fault.sheet for fault in caught.value.faults] == ["Protection"] * faults


def test_a_folder_named_by_a_dot_is_read(season, tmp_path, monkeypatch):
    path = folder(tmp_path / "Marten", good())
    monkeypatch.chdir(path)
    assert read_season(".").source == "Marten"


def test_reading_leaves_the_input_as_it_was(tmp_path):
    path = workbook(tmp_path / "good.xlsx", good())
    shutil.copy(path, tmp_path / "copy.xlsx")
    read_season(path)
    assert path.read_bytes() == (tmp_path / "copy.xlsx").read_bytes()
    assert sorted(p.name for p in tmp_path.iterdir()) == ["copy.xlsx", "good.xlsx"]


# --- scenarios that drop, add, change by percent and for all rows --------------------------------


def scenario(tmp_path, *rows, sheets=None):
    """Season of a scenario S made of these rows: sheet, row, column, value."""
    sheets = sheets or good()
    sheets["What if"] = [sheets["What if"][0], *(["S", *row] for row in rows)]
    return read_season(folder(tmp_path / "season", sheets), "S")


@pytest.mark.parametrize(
    "row", [("Fields", "Creek", "", "drop"), ("Fields", "Creek", "Acres", "0")]
)
def test_a_scenario_drops_a_field(tmp_path, row):
    assert [f.name for f in scenario(tmp_path, row).fields] == ["Home 80"]
    plain = read_season(tmp_path / "season")
    assert [f.name for f in plain.fields] == ["Home 80", "Creek"]


def test_what_unknowns_and_growers_say_of_a_dropped_field_is_of_no_use(tmp_path):
    sheets = put(good(), "Unknowns", 4, "Of", "Creek")
    sheets["Unknowns"].append(["acres", " creek ;Home 80", "-2", "", "2", ""])
    put(put(sheets, "Fields", 3, "Grower", "Neighbor"), "Growers", 2, "Grower", "Neighbor")
    everything = read_season(folder(tmp_path / "plain", sheets)).unknowns
    season = scenario(tmp_path, ("Fields", "Creek", "Acres", "0"), sheets=sheets)
    assert [u.of for u in everything if u.what is Quantity.ACRES] == [
        ("Creek",),
        ("Creek", "Home 80"),
    ]
    assert [u.of for u in season.unknowns if u.what is Quantity.ACRES] == [("Home 80",)]
    assert "Neighbor" not in [g.name for g in season.growers]


def test_no_acres_stay_a_fault_outside_a_scenario(tmp_path):
    with pytest.raises(InputError, match="above 0 acres"):
        read_season(folder(tmp_path / "season", put(good(), "Fields", 3, "Acres", "0")))


def test_a_scenario_changes_all_rows_by_percent(tmp_path):
    """8 % off $900, $870, $5,100 and $120, by hand."""
    season = scenario(tmp_path, ("Containers", "all", "Price", "-8%"))
    prices = [b.price for c in season.containers for b in c.breaks]
    assert prices == pytest.approx([828.0, 800.4, 4_692.0, 110.4])


def test_a_change_by_percent_is_shown_with_what_comes_of_it(tmp_path):
    """10 % off 140,000 seeds an acre and off every price, by hand."""
    season = scenario(
        tmp_path,
        ("Fields", "Home 80", "Seeding rate", "-10%"),
        ("Containers", "all", "Price", "-10%"),
        ("Fields", "Home 80", "Acres", "70"),
    )
    rate, prices, acres = read_season(tmp_path / "season").what_if[-3:]
    assert rate.shown.replace("k", "000").replace(",", "") == "126000 (-10%)"
    assert re.findall(r"[\d.]+", prices.shown)[:4] == ["810", "783", "4590", "108"]
    assert prices.shown.endswith("(-10%)")
    assert acres.shown == "70"
    assert season.fields[0].acres == 70.0


@pytest.mark.parametrize(
    ("row", "read", "expected"),
    [
        (("Seed lots", "L-1", "Units on hand", "+25 %"), lambda s: s.lots[0].on_hand, 200.0),
        (
            ("Seed lots", "L-1", "Seeds per lb", "\u22125%"),
            lambda s: s.lots[0].seeds_per_lb,
            2660.0,
        ),
        (("Seed lots", "L-1", "Germination", "-2%"), lambda s: s.lots[0].germination, 0.9),
        (("Farm", "Spare seed", "Value", "+2%"), lambda s: s.farm.spare_seed, 0.05),
        (("Farm", "Product margin", "Value", "+2%"), lambda s: s.farm.product_margin, 0.02),
        (("Farm", "Seeds per unit", "Value", "+10%"), lambda s: s.farm.seeds_per_unit, 154_000.0),
        (("Fields", "Home 80", "Seeding rate", "-10%"), lambda s: s.fields[0].sowing.seeds, 126e3),
        (("Products", "Green Cap", "On hand", "-50%"), lambda s: s.products[0].on_hand, 96.0),
        (
            ("Recipes", "Base / Green Cap", "Rate", "+10%"),
            lambda s: s.recipes[0].rates[0].amount,
            4.4,
        ),
        (
            ("Containers", "Green Cap / all", "Heel", "+50%"),
            lambda s: [c.heel for c in s.containers if c.product == "Green Cap"],
            [6.0, 12.0],
        ),
    ],
)
def test_a_scenario_changes_a_number_by_percent_and_a_percent_by_points(
    tmp_path, row, read, expected
):
    assert read(scenario(tmp_path, row)) == pytest.approx(expected)


def test_smaller_seed_is_more_seeds_per_lb_whatever_the_unit(tmp_path):
    """162 g/1000 seeds are 2,800 seeds/lb (453,592.37 / 162 = 2,799.95); 5 % more is 2,939.95."""
    sheets = put(good(), "Seed lots", 2, "Seeds per lb", "162 g/1000 seeds")
    season = scenario(tmp_path, ("Seed lots", "L-1", "Seeds per lb", "+5%"), sheets=sheets)
    assert season.lots[0].seeds_per_lb == pytest.approx(453_592.37 / 162 * 1.05)


def test_a_scenario_adds_a_row_and_fills_it(tmp_path):
    season = scenario(
        tmp_path,
        ("Fields", "Rented 40", "", "add"),
        ("Fields", "Rented 40", "Acres", "40"),
        ("Fields", "Rented 40", "Seeding rate", "140k"),
        ("Containers", "Sheen / drum", "", "add"),
        ("Containers", "Sheen / drum", "Size", "30 gal"),
        ("Containers", "Sheen / drum", "Price", "900"),
        ("Days off", "2027-05-02", "", "add"),
    )
    assert [(f.name, f.acres) for f in season.fields][2] == ("Rented 40", 40.0)
    (drum,) = [c for c in season.containers if c.name == "drum"]
    assert (drum.product, drum.size, drum.breaks[0].price) == ("Sheen", 3_840.0, 900.0)
    assert date(2027, 5, 2) in season.days_off
    assert len(read_season(tmp_path / "season").fields) == 2


def test_a_scenario_adds_a_row_like_another(tmp_path):
    season = scenario(
        tmp_path,
        ("Fields", "Rented 40", "", "add like creek"),
        ("Fields", "Rented 40", "Acres", "-20%"),
    )
    creek, rented = season.fields[1:]
    assert rented == dataclasses.replace(creek, name="Rented 40", acres=10.0, row=rented.row)


def test_all_rows_of_a_sheet_may_be_dropped(tmp_path):
    assert scenario(tmp_path, ("Discounts", "all", "", "drop")).discounts == ()


@pytest.mark.parametrize(
    ("row", "column", "words"),
    [
        (("Fields", "Creek", "", "5"), "Column", "the header of a column, or drop or add"),
        (
            ("Fields", "Creek", "Acres", ""),
            "Value",
            "as Acres must be filled; to leave the row out",
        ),
        (("Fields", "Creek", "Trait", "-8%"), None, ""),  # a text, as any other
        (("Fields", "Creek", "Planting date", "-8%"), "Value", "a date as 2027-05-10"),
        (("Fields", "Creek", "Seeding rate", "-8%"), "Value", "but the cell is blank"),
        (("Containers", "all", "Most available", "-8%"), "Value", "a whole number"),
        (("Containers", "all", "Price", "8%"), "Value", "write +8% for as much more"),
        (("Farm", "Spare seed", "", "drop"), "Value", "name Value as the column"),
        (("Fields", "New", "", "add like Crek"), "Value", "nearest: 'Creek'"),
        (("Fields", "all / 7", "Acres", "5"), "Row", "text of the first column of sheet Fields"),
    ],
)
def test_a_slip_in_a_scenario_is_told_where_it_stands(tmp_path, row, column, words):
    sheets = good()
    sheets["What if"] = [sheets["What if"][0], ["S", *row]]
    path = folder(tmp_path / "season", sheets)
    if column is None:
        read_season(path)
        return
    with pytest.raises(InputError) as caught:
        read_season(path)
    (fault,) = caught.value.faults
    assert (fault.sheet, fault.row, fault.column) == ("What if", 2, column)
    assert words in f"{fault.expected}; {fault.remedy}"


def test_faults_that_a_scenario_brings_about_name_it(tmp_path):
    sheets = good()
    sheets["What if"] = [
        sheets["What if"][0],
        ["No caps", "Products", "Green Cap", "", "drop"],
        ["Fine", "Farm", "Spare seed", "Value", "+1%"],
        ["Half told", "Fields", "Rented 40", "", "add"],
    ]
    path = folder(tmp_path / "season", sheets)
    read_season(path)
    with pytest.raises(InputError) as caught:
        read_scenarios(path)
    names = {fault.scenario for fault in caught.value.faults}
    assert names == {"No caps", "Half told"}
    assert "scenario 'Half told': Fields, Acres: expected a value" in str(caught.value)
    with pytest.raises(InputError, match="scenario 'No caps': Containers, row 2, Product"):
        read_season(path, "No caps")


def test_scenarios_are_read_all_at_once(tmp_path):
    path = folder(tmp_path / "season", good())
    found = read_scenarios(path)
    assert list(found) == ["More spare", "Cheap kegs"]
    assert found["Cheap kegs"] == read_season(path, "Cheap kegs")


def test_too_many_scenarios_are_refused(tmp_path):
    sheets = good()
    row = sheets["What if"][1][1:]
    sheets["What if"] = [sheets["What if"][0], *([f"S{i}", *row] for i in range(51))]
    with pytest.raises(InputError, match="at most 50"):
        read_season(folder(tmp_path / "season", sheets))

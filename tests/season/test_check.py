"""Each kind of fault alone: one broken cell or row, its place, and the words of the remedy."""

import pickle
import time

import pytest

from planner.errors import Fault, InputError
from planner.report.packs import file_name
from planner.report.workbook import render
from planner.season.names import key
from planner.season.read import read_season
from tests.support.books import described
from tests.support.inputs import Sheets, faults, folder, good, put, read, setting, workbook
from tests.support.plans import HAND_PLAN, HAND_SEASON


def without(sheets: Sheets, sheet: str) -> Sheets:
    del sheets[sheet]
    return sheets


def renamed(sheets: Sheets, sheet: str, old: str, new: str) -> Sheets:
    head = sheets[sheet][0]
    head[head.index(old)] = new
    return sheets


CELLS = [
    # must be filled
    ("Fields", 2, "Field", "", "the cell is blank"),
    ("Fields", 2, "Acres", "", "the cell is blank"),
    ("Recipes", 2, "Rate", "", "the cell is blank"),
    ("Discounts", 2, "Percent off", " ", "the cell is blank"),
    # numbers and their bounds
    ("Fields", 2, "Acres", "eighty", "a number in acres or ha"),
    ("Fields", 2, "Acres", "0", "a number above 0 acres"),
    ("Fields", 2, "Acres", "-80", "a number above 0 acres"),
    ("Fields", 2, "Acres", "NaN", "a number in acres"),
    ("Fields", 2, "Acres", "Infinity", "a number in acres"),
    ("Fields", 2, "Acres", "1e308", "a number up to 1e+12"),
    ("Fields", 2, "Acres", "80,5", "decimals follow a point: 80.5"),
    ("Fields", 2, "Seeding rate", "0", "above 0 seeds/acre"),
    ("Fields", 2, "Acres", "0", "to leave a field out, delete its row"),
    ("Fields", 2, "Priority", "0", "a whole number from 1 to 1,000"),
    ("Fields", 2, "Priority", "1.5", "write 1 or 2"),
    ("Fields", 2, "Priority", "0.5", "write 1"),
    ("Fields", 2, "Priority", "n/a", "leave the cell blank, which means 1"),
    ("Fields", 2, "Planting date", "TBD", "leave the cell blank, which means not known"),
    ("Seed lots", 3, "Treated with", "none", "leave the cell blank, which means not treated"),
    ("Fields", 2, "Earliest maturity", "16", "a number from 0 to 12"),
    ("Fields", 2, "Earliest maturity", "00.8", "a decimal number such as 1.8"),
    ("Seed lots", 2, "Units on hand", "-1", "0 units or more"),
    ("Seed lots", 2, "Units per bag", "0", "above 0 units"),
    ("Seed lots", 2, "Seeds per lb", "0", "above 0 seeds/lb"),
    ("Seed lots", 2, "Return value", "-5", "0 $/unit or more"),
    ("Products", 2, "On hand", "-1 gal", "0 fl oz or more"),
    ("Containers", 2, "Size", "0 gal", "above 0 fl oz"),
    ("Containers", 2, "Price", "-1", "0 $ or more"),
    ("Containers", 2, "From count", "0", "a whole number of 1 or more"),
    ("Recipes", 2, "Rate", "0 fl oz/cwt", "above 0"),
    ("Recipes", 2, "Rate", "-4 fl oz/cwt", "above 0"),
    ("Recipes", 2, "Rate", "four", "a rate in fl oz/unit, fl oz/140,000 seeds, fl oz/cwt"),
    ("Fields", 2, "Priority", "first", "a whole number from 1 to 1,000"),
    ("Seed lots", 4, "Maturity", "early", "a number from 0 to 12"),
    # units
    ("Fields", 2, "Acres", "80 hectars", "nearest unit: 'hectares'"),
    ("Products", 2, "On hand", "5", "write the unit after the number"),
    ("Recipes", 3, "Rate", "4 oz/cwt", "mg/seed or g/100 kg, as Of names"),
    ("Products", 2, "Line loss", "5 lb", "fl oz, gal, qt, pt, L or mL"),
    ("Recipes", 2, "Rate", "4", "write the unit after the number"),
    ("Recipes", 2, "Rate", "4 oz ai/cwt", "write 'fl oz/cwt' if it is of product"),
    ("Recipes", 2, "Rate", "4 fl oz/acre", "mg/seed or g/100 kg"),
    ("Actives", 2, "Concentration", "3.2", "write the unit after the number"),
    ("Active limits", 2, "Most per seed", "0.2 mg", "a number in mg/seed"),
    ("Containers", 2, "Price", "€900", "money in $, as Currency on Farm says"),
    # percents
    ("Fields", 3, "Emergence", "0.92", "write 0.92% or 92%"),
    ("Seed lots", 2, "Germination", "-0.5", "a percent above 0% and up to 100%"),
    ("Fields", 3, "Emergence", "0", "a percent above 0% and up to 100%"),
    ("Seed lots", 2, "Germination", "920", "up to 100%"),
    ("Discounts", 2, "Percent off", "0.03", "write 0.03% or 3%"),
    ("Ratings", 2, "Control", "-5%", "a percent from 0% to 100%"),
    ("Maturity spread", 2, "Most share", "3/4", "write 75% or 0.75%, whichever is meant"),
    ("Fields", 2, "Expected yield", "0", "a number above 0 bu/acre"),
    ("Fields", 2, "Expected yield", "60 bu", "bu/acre"),
    ("Threats", 2, "Variety counts", "maybe", "yes or no"),
    ("Threats", 2, "Variety counts", "Y", "write yes"),
    # dates
    ("Discounts", 4, "Order by", "1/20/2027", "write 2027-01-20"),
    (
        "Fields",
        2,
        "Planting date",
        "5/10/2027",
        "write 2027-05-10 if that is May 10 or 2027-10-05 if that is October 5",
    ),
    ("Fields", 2, "Planting date", "7 May 2027", "write 2027-05-07"),
    ("Fields", 2, "Planting date", "Sept. 1st, 2027", "write 2027-09-01"),
    ("Fields", 2, "Planting date", "25.4.2027", "write 2027-04-25"),
    ("Fields", 2, "Planting date", "5/25/27", "write 2027-05-25"),
    ("Fields", 2, "Planting date", "20270507", "write 2027-05-07"),
    ("Fields", 2, "Planting date", "20271307", "there is no such day"),
    ("Fields", 2, "Planting date", "05252027", "write 2027-05-25"),
    ("Fields", 2, "Planting date", "2027.5.7", "write 2027-05-07"),
    ("Fields", 2, "Planting date", "25. 4. 2027", "write 2027-04-25"),
    ("Fields", 2, "Planting date", "7-May-27", "write 2027-05-07"),
    ("Fields", 2, "Planting date", "Friday, May 7, 2027", "write 2027-05-07"),
    ("Fields", 2, "Planting date", "46149.5", "give the cell a date format"),
    ("Fields", 2, "Planting date", "May 7", "write the year, too, as 2027-05-07"),
    (
        "Fields",
        2,
        "Planting date",
        "5/8/27",
        "write 2027-05-08 if that is May 8 or 2027-08-05 if that is August 5",
    ),
    ("Fields", 2, "Planting date", "10/2026", "write the day, too, as 2026-10-01"),
    ("Fields", 2, "Planting date", "Oct. 2026", "write the day, too, as 2026-10-01"),
    ("Fields", 2, "Planting date", "2026-13", "a date as 2027-05-10"),
    ("Fields", 2, "Planting date", "2027-02-30", "a date as 2027-05-10"),
    ("Fields", 2, "Planting date", "46517", "give the cell a date format"),
    ("Fields", 2, "Planting date", "1827-05-10", "between 1900 and 2200"),
    ("Days off", 2, "Date", "Easter", "a date as 2027-05-10"),
    # closed lists
    ("Fields", 2, "White mold pressure", "hihg", "nearest: 'high'"),
    ("Fields", 2, "White mold pressure", "2", "one of none, low, moderate, high"),
    ("Protection", 2, "Rating", "excelent", "nearest: 'E'"),
    ("Threats", 2, "Need at high", "A", "one of P, F, G, VG, E"),
    ("Tolerance", 2, "Rating", "goood", "nearest: 'G'"),
    ("Tolerance", 2, "Rating", "", "the cell is blank"),
    ("Tolerance", 2, "Variety", "Herron", "nearest: 'Heron'"),
    ("Tolerance", 2, "Threat", "White mould", "nearest: 'White mold'"),
    # names
    ("Fields", 2, "Field", "x" * 300, "shorten it by 100"),
    ("Fields", 2, "Field", "Home\u202e", "U+202E"),
    ("Fields", 2, "Field", "\u200b", "a name with visible characters"),
    ("Fields", 3, "Field", "Home 80", "row 2 has it already"),
    ("Fields", 3, "Field", " HOME  80", "case and spaces don't tell names apart"),
    ("Seed lots", 3, "Lot", "l-1", "row 2 has it already"),
    ("Products", 3, "Product", "GREEN CAP", "row 2 has it already"),
    ("Containers", 3, "From count", "1", "row 2 has it already"),
    ("Containers", 3, "From count", "", "row 2 has it already"),
    ("Recipes", 4, "Product", "Green Cap", "row 3 has it already"),
    ("Ratings", 3, "Rating", "good", "row 2 has it already"),
    ("Actives", 3, "Active ingredient", "Fludioxonil", "row 2 has it already"),
    ("Suppliers", 3, "Supplier", "North Yard", "row 2 has it already"),
    ("Discounts", 3, "Spend at least", "$4,000.00", "row 2 has it already"),
    ("Recipes", 2, "Recipe", "Untreated", "set Allow untreated to yes on Farm"),
    # names that stand nowhere else
    ("Fields", 3, "Only varieties", "Heron; Egrett", "nearest: 'Egret'"),
    ("Fields", 3, "Only varieties", "all", "leave the cell blank, which means all"),
    ("Fields", 3, "Trait", "Any", "leave the cell blank, which means any"),
    ("Products", 2, "Product", "#N/A", "fix the formula or type the value"),
    ("Seed lots", 2, "Seeds per lb", "#ref!", "fix the formula or type the value"),
    ("Fields", 3, "Only recipes", "Fulll", "nearest: 'Full'"),
    ("Fields", 3, "Only recipes", "full, BASE", "write 'Full; Base', with ; between"),
    ("Seed lots", 3, "Treated with", "Untreated", "a Recipe of sheet Recipes"),
    ("Containers", 5, "Product", "Shen", "nearest: 'Sheen'"),
    ("Containers", 5, "Supplier", "River yrad", "nearest: 'River yard'"),
    ("Recipes", 2, "Product", "Grün", "a Product of sheet Products; add it to Products"),
    ("Recipes", 2, "Product", "Green Сap", "which only looks the same: retype it"),
    ("Protection", 2, "Product", "Green cup", "nearest: 'Green Cap'"),
    ("Protection", 2, "Threat", "White mould", "nearest: 'White mold'"),
    ("Actives", 2, "Product", "Sheeen", "nearest: 'Sheen'"),
    ("Active limits", 2, "Active ingredient", "fludioxinil", "nearest: 'fludioxonil'"),
    ("Discounts", 2, "Supplier", "North yards", "nearest: 'North yard'"),
    ("Discounts", 4, "Products", "Green Cap; Shine", "nearest: 'Sheen'"),
    ("Treated so far", 2, "Lot", "L1", "nearest: 'L-1'"),
    ("Treated so far", 2, "Recipe", "Ful", "nearest: 'Full'"),
    ("Ordered so far", 2, "Product", "Grene Cap", "nearest: 'Green Cap'"),
    ("Ordered so far", 2, "Container", "jugg", "nearest: 'jug'"),
    ("Ordered so far", 2, "Container", "tote", "it has jug, keg"),
    ("Recipe approvals", 2, "Recipe", "Bases", "nearest: 'Base'"),
    ("Fields", 2, "Wite mold pressure", "low", "nearest: 'White mold pressure'"),
    ("Fields", 2, "Rust pressure", "low", "add the threat to Threats"),
    # cells that contradict others
    ("Fields", 2, "Target stand", "110000", "not both"),
    ("Fields", 3, "Emergence", "", "as Target stand is given"),
    ("Fields", 2, "Latest maturity", "1.5", "no less than Earliest maturity, 1.6"),
    ("Maturity spread", 2, "To maturity", "1.9", "no less than From maturity, 2"),
    ("Seed lots", 3, "Maturity", "1.9", "lots of one variety share it"),
    ("Seed lots", 3, "Trait", "", "lots of one variety share it"),
    ("Seed lots", 2, "Germination", "", "as field Creek has a Target stand"),
    ("Seed lots", 2, "Buy price", "", "as Can buy is filled"),
    ("Treated so far", 2, "Units", "161", "at most the 160 Units on hand"),
    ("Containers", 3, "Size", "2 gal", "'2.5 gal' as in row 2"),
    ("Containers", 3, "Heel", "8 fl oz", "'4 fl oz' as in row 2"),
    ("Containers", 3, "Supplier", "River yard", "'North yard' as in row 2"),
    ("Containers", 3, "Supplier", "River yard", "another supplier sells needs a name of its own"),
    ("Containers", 5, "Heel", "100 L", "less than Size, '2.5 gal'"),
    ("Recipes", 3, "Of", "", "one of fludioxonil, metalaxyl"),
    ("Recipes", 3, "Of", "fludioxonl", "nearest: 'fludioxonil'"),
    ("Recipes", 4, "Of", "fludioxonil", "it has none on Actives"),
    # scenarios
    ("What if", 2, "Sheet", "Frm", "nearest: 'Farm'"),
    ("What if", 2, "Row", "Spare sed", "nearest: 'Spare seed'"),
    ("What if", 2, "Column", "Note", "Value, as the sheet is Farm"),
    ("What if", 2, "Value", "five", "for Spare seed a percent such as 3%"),
    ("What if", 3, "Column", "Acre", "nearest: 'Acres'"),
    ("What if", 3, "Column", "Rust pressure", "a column of sheet Fields"),
    ("What if", 4, "Row", "Green Cap", "write Product / Container / From count"),
    ("What if", 4, "Row", "Green Cap / kegs", "text of the first column of sheet Containers"),
    ("What if", 4, "Scenario", "", "the cell is blank"),
]


@pytest.mark.parametrize(("sheet", "row", "column", "text", "words"), CELLS)
def test_a_broken_cell_is_told_with_its_place_and_remedy(tmp_path, sheet, row, column, text, words):
    found = faults(tmp_path, put(good(), sheet, row, column, text))
    here = [f for f in found if (f.sheet, f.row, f.column) == (sheet, row, column)]
    if "has it already" in words or "case and spaces" in words:  # placed at the first column
        here = [f for f in found if (f.sheet, f.row) == (sheet, row)]
    assert any(words in str(fault) for fault in here), [str(f) for f in found]
    for fault in here:
        if fault.seen and text.isascii():
            assert text or fault.column != column, "something is seen in a blank cell"
            assert key(fault.seen) in key(text) or key(text)[:59] in key(fault.seen)


def test_the_base_of_all_these_has_no_fault(tmp_path):
    assert read_season(folder(tmp_path / "season", good())).notes == ()


ROWS = [
    (lambda s: put(s, "Fields", 2, "Seeding rate", ""), "Fields", 2, "or a Target stand"),
    (lambda s: without(s, "Farm"), "Farm", 0, "a file 'farm.csv'"),
    (lambda s: without(s, "Recipes"), "Recipes", 0, "a file 'recipes.csv'"),
    (
        lambda s: {("Feilds" if k == "Fields" else k): v for k, v in s.items()},
        "Fields",
        0,
        "rename 'feilds.csv' if that is it",
    ),
    (
        lambda s: {("Discount" if k == "Discounts" else k): v for k, v in s.items()},
        "discount.csv",
        0,
        "a file 'discounts.csv'",
    ),
    (lambda s: {**s, "Fields": s["Fields"][:1]}, "Fields", 0, "at least one row"),
    (lambda s: {**s, "Recipes": s["Recipes"][:1]}, "Recipes", 0, "other sheets name: Full, Base"),
    (
        lambda s: {**setting(s, "Allow untreated", "yes"), "Recipes": s["Recipes"][:1]},
        "Recipes",
        0,
        "a row for each Recipe that other sheets name: Full, Base",
    ),
    (
        lambda s: {**s, "Products": s["Products"][:1]},
        "Products",
        0,
        "a row for each Product that other sheets name: Green Cap, Sheen",
    ),
    (lambda s: {**s, "Seed lots": []}, "Seed lots", 0, "it is blank"),
    (
        lambda s: {**s, "Seed lots": s["Seed lots"][:1]},
        "Seed lots",
        0,
        "a row for each Lot, with each Variety that other sheets name: Heron",
    ),
    (lambda s: renamed(s, "Fields", "Acres", "Acre"), "Fields", 1, "write 'Acres'"),
    (lambda s: renamed(s, "Fields", "Acres", "Size"), "Fields", 1, "a column 'Acres'"),
    (lambda s: renamed(s, "Seed lots", "Can buy", "Can by"), "Seed lots", 1, "'Can buy'"),
    (
        lambda s: renamed(s, "Fields", "White mold pressure", "White mold"),
        "Fields",
        1,
        "write 'White mold pressure'",
    ),
    (
        lambda s: renamed(s, "Fields", "White mold pressure", "White mold presure"),
        "Fields",
        1,
        "write 'White mold pressure'",
    ),
    (lambda s: renamed(s, "Recipes", "Rate", ""), "Recipes", 1, "a column 'Rate'"),
    (lambda s: renamed(s, "Farm", "Value", "Amount"), "Farm", 1, "a column 'Value'"),
    (lambda s: renamed(s, "Fields", "Trait", "Acres"), "Fields", 1, "each column once"),
    (lambda s: renamed(s, "Fields", "Acres", "Acres (rods)"), "Fields", 1, "acres or ha"),
    (lambda s: renamed(s, "Containers", "Size", "Size (lb)"), "Containers", 1, "fl oz, gal"),
    (
        lambda s: renamed(s, "Containers", "Price", "Price (€)"),
        "Containers",
        2,
        "fix the unit in the header, €",
    ),
    (lambda s: renamed(s, "Containers", "Price", "Price (lb)"), "Containers", 1, "farm's money"),
    (lambda s: renamed(s, "Recipes", "Rate", "Rate (gal)"), "Recipes", 1, "a rate's unit"),
    (lambda s: {**s, "Fields": [["a", "b"], ["c"]]}, "Fields", 1, "a row of headers"),
    (lambda s: setting(s, "Spare sed", "3%"), "Farm", 11, "nearest: 'Spare seed'"),
    (lambda s: setting(s, "Spare", "3%"), "Farm", 11, "nearest: 'Spare seed'"),
    (lambda s: setting(s, "SPARE  seed", "3%"), "Farm", 11, "row 5 has it already"),
    (lambda s: setting(s, "Spare seed", "0.03"), "Farm", 5, "for Spare seed a percent"),
    (lambda s: setting(s, "Spare seed", "101%"), "Farm", 5, "from 0% to 100%"),
    (lambda s: setting(s, "Seeds per unit", "none"), "Farm", 11, "leave the cell blank"),
    (lambda s: setting(s, "Seeds per unit", "0"), "Farm", 11, "1 seeds or more"),
    (lambda s: setting(s, "Max varieties per field", "0"), "Farm", 11, "of 1 or more"),
    (lambda s: setting(s, "Most to spend", "-1"), "Farm", 11, "0 $ or more"),
    (lambda s: setting(s, "Most to spend", "all"), "Farm", 11, "for Most to spend a number"),
    (lambda s: setting(s, "Line stays primed", "often"), "Farm", 11, "yes or no"),
    (lambda s: setting(s, "Most of one variety", "0%"), "Farm", 11, "above 0%"),
    (lambda s: setting(s, "Liquid limit", "8 oz/acre"), "Farm", 6, "fl oz/cwt or"),
    (lambda s: setting(s, "Liquid limit (gal)", "8"), "Farm", 11, "row 6 has it already"),
    (lambda s: setting(s, "Smallest split (rods)", "8"), "Farm", 11, "acres or ha"),
    (lambda s: setting(s, "Allow untreated", "maybe"), "Farm", 7, "yes or no"),
    (lambda s: setting(s, "Soybean price", ""), "Farm", 8, "as yield losses are weighed"),
    (lambda s: setting(s, "Soybean price", "10 $/lot"), "Farm", 9, "money per bu or t"),
    (lambda s: setting(s, "Treating done by", "2026-12-09"), "Farm", 10, "from 2026-12-10 on"),
    (lambda s: setting(s, "Pounds per day", "0"), "Farm", 11, "above 0 lb"),
    (lambda s: setting(s, "Pounds per day", "20 bags"), "Farm", 11, "lb, kg, g or t"),
    (lambda s: setting(s, "Hours per day", "8"), "Farm", 11, "a Seed flow on Farm"),
    (lambda s: setting(s, "Hours per day", "25"), "Farm", 11, "24 h"),
    (lambda s: setting(s, "Treat within", "1"), "Farm", 11, "no less than Cure days, 2"),
    (lambda s: setting(s, "Spare days", "-1"), "Farm", 11, "for Spare days"),
    (lambda s: setting(s, "Days for a test", "a while"), "Farm", 11, "for Days for a test"),
    (lambda s: setting(s, "Last planting day", "June"), "Farm", 11, "for Last planting day"),
    (
        lambda s: setting(s, "Last planting day", "2027-05-09"),
        "Fields",
        2,
        "no later than Last planting day on Farm, 2027-05-09",
    ),
    (lambda s: setting(s, "Units", "imperial"), "Farm", 11, "one of US, metric"),
    (lambda s: setting(s, "Currency", "10"), "Farm", 11, "a sign or code such as $"),
    (lambda s: setting(s, "Crop year", "27"), "Farm", 3, "a year from 1900 to 2200"),
    (lambda s: setting(s, "", "7"), "Farm", 11, "the name of a setting"),
    (
        lambda s: put(
            put(s, "Treated so far", 2, "Lot", "L-2"), "Treated so far", 2, "Recipe", "Base"
        ),
        "Treated so far",
        2,
        "as the lot is Treated with it",
    ),
    (
        lambda s: {**s, "Actives": [s["Actives"][0], *s["Actives"][2:]]},
        "Recipes",
        3,
        "it has metalaxyl",
    ),
    (
        lambda s: put({**s, "Actives": []}, "Recipes", 3, "Of", ""),
        "Recipes",
        3,
        "add its Concentration to Actives",
    ),
    (
        lambda s: {**s, "Treated so far": [*s["Treated so far"], ["L-1", "Base", "130"]]},
        "Treated so far",
        3,
        "in all its rows",
    ),
]


@pytest.mark.parametrize(("change", "sheet", "row", "words"), ROWS)
def test_a_broken_row_header_or_sheet_is_told(tmp_path, change, sheet, row, words):
    found = faults(tmp_path, change(good()))
    here = [fault for fault in found if (fault.sheet, fault.row) == (sheet, row)]
    assert any(words in str(fault) for fault in here), [str(f) for f in found]


@pytest.mark.parametrize(
    "change",
    [
        lambda s: put(s, "Fields", 2, "Latest maturity", "1.6"),
        lambda s: put(s, "Treated so far", 2, "Units", "160"),
        lambda s: put(s, "Containers", 5, "Heel", "319.9 fl oz"),
        lambda s: setting(s, "Treating done by", "2026-12-10"),
        lambda s: setting(s, "Last planting day", "2027-05-10"),
        lambda s: setting(s, "Treat within", "2"),
        lambda s: setting(setting(s, "Hours per day", "24"), "Seed flow", "300"),
        lambda s: put(s, "Seed lots", 4, "Germination", ""),  # cannot go on the field by stand
        lambda s: put(s, "Seed lots", 2, "Buy price", "0"),
        lambda s: put(s, "Fields", 3, "Emergence", "100%"),
        lambda s: put(s, "Containers", 3, "Size", "9.46352946 L"),
        lambda s: put(s, "Seed lots", 3, "Trait", "SYSTEM  A"),
        lambda s: {**setting(s, "Allow untreated", "yes"), "Ratings": []},
    ],
)
def test_where_a_rule_just_holds_there_is_no_fault(tmp_path, change):
    assert len(read_season(folder(tmp_path / "season", change(good()))).fields) == 2


def test_all_faults_are_told_at_once_in_the_order_of_the_sheet(tmp_path):
    sheets = good()
    put(sheets, "Fields", 2, "Acres", "x")
    put(sheets, "Fields", 2, "Planting date", "y")
    put(sheets, "Fields", 3, "Acres", "-1")
    put(sheets, "Recipes", 2, "Rate", "4")
    setting(sheets, "Spare seed", "0.5")
    found = faults(tmp_path, sheets)
    assert [(f.sheet, f.row, f.column) for f in found] == [
        ("Farm", 5, "Value"),
        ("Fields", 2, "Acres"),
        ("Fields", 2, "Planting date"),
        ("Fields", 3, "Acres"),
        ("Recipes", 2, "Rate"),
    ]


def test_faults_of_a_workbook_come_in_the_order_of_its_sheets(tmp_path):
    sheets = good()
    put(sheets, "Fields", 2, "Acres", "x")
    put(sheets, "Containers", 3, "Size", "y")
    put(sheets, "Recipes", 2, "Rate", "4")
    order = [
        "Recipes",
        "Containers",
        *(name for name in sheets if name not in ("Recipes", "Containers")),
    ]
    path = workbook(tmp_path / "season.xlsx", {name: sheets[name] for name in order})
    with pytest.raises(InputError) as caught:
        read_season(path)
    assert [f.sheet for f in caught.value.faults] == ["Recipes", "Containers", "Fields"]


def test_faults_alike_are_told_once():
    alike = [Fault("Fields", row, "Acres", f"x{row}", "a number") for row in range(2, 15)]
    other = Fault("Fields", 3, "Trait", "z", "one of X, Y")
    error = InputError("season.xlsx", [*alike, other])
    assert len(error.faults) == 14
    assert str(error).split("\n") == [
        "season.xlsx has 14 faults; no plan was made:",
        "  Fields, row 2, Acres: you typed 'x2'; expected a number; and 12 more like it, rows "
        "3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14",
        "  Fields, row 3, Trait: you typed 'z'; expected one of X, Y",
    ]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("2027-02-31", "there is no such day: February 2027 has 28 days"),
        ("2/31/2027", "there is no such day: February 2027 has 28 days"),
        ("4/31/2027", "there is no such day: April 2027 has 30 days"),
        ("2027-13-01", "there is no such day"),
        ("5/8/2027", "write 2027-05-08 if that is May 8 or 2027-08-05 if that is August 5"),
    ],
)
def test_a_day_that_does_not_exist_is_told(tmp_path, text, said):
    (fault,) = faults(tmp_path, put(good(), "Fields", 2, "Planting date", text))
    assert fault.remedy == said


def test_a_name_that_holds_the_divider_of_lists_is_to_be_renamed(tmp_path):
    """Names in a list are divided by ;, so that one with a ; in it can't be in a list."""
    sheets = put(good(), "Fields", 2, "Only varieties", "heron; Late")
    variety = sheets["Seed lots"][0].index("Variety")
    for row in sheets["Seed lots"][1:]:
        row[variety] = row[variety].replace("Heron", "Heron; late")
    found = [f for f in faults(tmp_path, sheets) if (f.row, f.column) == (2, "Only varieties")]
    said = "the ; in 'Heron; late' divides it: give that a name without one"
    assert {f.seen: f.remedy for f in found} == {"heron": said, "Late": said}


def test_a_plan_is_not_taken_for_a_season(tmp_path):
    for pack, book in described(HAND_PLAN, HAND_SEASON).items():
        path = tmp_path / file_name(pack)
        path.write_bytes(render(book))
        with pytest.raises(InputError, match="this is a plan, made from a season"):
            read_season(path)


def test_a_fault_in_a_workbook_names_the_sheet_and_the_cell(tmp_path):
    path = workbook(tmp_path / "season.xlsx", put(good(), "Seed lots", 3, "Maturity", "1.9"))
    with pytest.raises(InputError) as caught:
        read_season(path)
    (fault,) = caught.value.faults
    assert (fault.sheet, fault.row, fault.column, fault.cell) == ("Seed lots", 3, "Maturity", "C3")
    assert str(caught.value) == (
        "season.xlsx has 1 fault; no plan was made:\n"
        "  Seed lots, row 3, Maturity: you typed '1.9'; expected '1.8' as in row 2, also of "
        "variety Heron; lots of one variety share it"
    )


def test_a_header_is_told_as_it_was_written(tmp_path):
    sheets = put(
        renamed(good(), "Fields", "Acres", "  ACRES (ac)"), "Fields", 2, "  ACRES (ac)", "x"
    )
    assert [f.column for f in faults(tmp_path, sheets)] == ["ACRES (ac)"]


def test_what_a_heel_must_be_less_than_is_told_with_its_unit(tmp_path):
    """A pint in gal and a heel of 20 in fl oz: less than 0.125 of what?"""
    sheets = renamed(good(), "Containers", "Size", "Size (gal)")
    sheets = renamed(sheets, "Containers", "Heel", "Heel (fl oz)")
    sheets = put(
        put(sheets, "Containers", 5, "Size (gal)", "0.125"), "Containers", 5, "Heel (fl oz)", "20"
    )
    (fault,) = faults(tmp_path, sheets)
    assert "Heel (fl oz): you typed '20'; expected less than Size (gal), '0.125'" in str(fault)


def test_one_fault_does_not_bring_others(tmp_path):
    """A sheet that cannot be read is told once, not with every name that stands on it."""
    sheets = good()
    path = folder(tmp_path / "season", sheets)
    (path / "recipes.csv").write_bytes(b'Recipe,Product,Rate\n"Base,Green Cap,4\n')
    with pytest.raises(InputError) as caught:
        read_season(path)
    assert len(caught.value.faults) == 1


ALONE = [
    (lambda s: renamed(s, "Farm", "Setting", "Settign"), "Farm", 1),
    (lambda s: setting(s, "Soybean price", "#REF!"), "Farm", 9),
    (lambda s: setting(s, "Currency", "#REF!"), "Farm", 11),
    (lambda s: renamed(s, "Fields", "Seeding rate", "Seding rate"), "Fields", 1),
    (lambda s: renamed(s, "Seed lots", "Germination", "Germinaton"), "Seed lots", 1),
    (lambda s: renamed(s, "Containers", "From count", "From cuont"), "Containers", 1),
    (lambda s: renamed(s, "Recipes", "Recipe", "Recepie"), "Recipes", 1),
    (lambda s: renamed(s, "Recipes", "Product", "Produkt"), "Recipes", 1),
    (lambda s: renamed(s, "Threats", "Threat", "Thraet"), "Threats", 1),
    (lambda s: renamed(s, "Actives", "Active ingredient", "Active ingredeint"), "Actives", 1),
    (lambda s: renamed(s, "Seed lots", "Lot", "Number"), "Seed lots", 1),
    (lambda s: renamed(s, "Fields", "Priority", "Planting date"), "Fields", 1),
    (lambda s: {**s, "Threats": s["Threats"][1:]}, "Threats", 1),
    (lambda s: {**s, "Recipes": [s["Recipes"][0], ["Base"], *s["Recipes"][2:]]}, "Recipes", 2),
    (lambda s: {**s, "Products": [s["Products"][0], ["Green Cap"]]}, "Products", 2),
    (lambda s: {**without(s, "Actives"), "Activs": good()["Actives"]}, "activs.csv", 0),
    (lambda s: put(s, "Products", 2, "Product", ""), "Products", 2),
    (lambda s: put(s, "Threats", 2, "Threat", ""), "Threats", 2),
    (lambda s: put(s, "Actives", 2, "Active ingredient", ""), "Actives", 2),
    (lambda s: put(s, "Containers", 5, "Container", ""), "Containers", 5),
    (lambda s: renamed(s, "Containers", "Container", "Package"), "Containers", 1),
    (lambda s: put(s, "Ordered so far", 2, "Product", "Nothing"), "Ordered so far", 2),
    (lambda s: put(s, "What if", 2, "Row", "#REF!"), "What if", 2),
]


@pytest.mark.parametrize(("change", "sheet", "row"), ALONE)
def test_one_mistake_is_one_fault(tmp_path, change, sheet, row):
    """A header, name or sheet that is not understood is told, not what hangs on it."""
    found = faults(tmp_path, change(good()))
    assert [(f.sheet, f.row) for f in found] == [(sheet, row)]


def test_headers_that_come_once_more_are_no_row(tmp_path):
    """As where files were joined."""
    sheets = good()
    head, *rows = sheets["Fields"]
    season = read(tmp_path, {**sheets, "Fields": [head, rows[0], head, *rows[1:]]})
    assert [f.name for f in season.fields] == ["Home 80", "Creek"]
    assert "Fields: headers once more in row 3, ignored." in season.notes


def test_a_slip_is_told_beside_a_name_left_blank(tmp_path):
    """A name near one that is there is a slip of its own, whatever else is wrong on that sheet."""
    sheets = put(put(good(), "Products", 2, "Product", ""), "Recipes", 4, "Product", "Shen")
    assert [(f.sheet, f.row) for f in faults(tmp_path, sheets)] == [
        ("Products", 2),
        ("Recipes", 4),
    ]


def test_thousands_of_faults_are_cut_to_a_number(tmp_path):
    sheets = good()
    sheets["Fields"] = [sheets["Fields"][0], *[[f"F{i}", "x"] for i in range(6_000)]]
    found = faults(tmp_path, sheets)
    assert len(found) == 1_001
    assert any("more" in f.expected for f in found)


@pytest.mark.slow
def test_thousands_of_misspelled_names_are_told_in_bounded_time(tmp_path):
    """Looking for the nearest name is the dearest thing that the reader does."""
    sheets = good()
    lot = sheets["Seed lots"][1]
    sheets["Seed lots"] += [[f"Lot of seed {i}", *lot[1:]] for i in range(3_000)]
    sheets["Treated so far"] += [[f"Lot of sede {i}", "Full", "0"] for i in range(3_000)]
    sheets["Ordered so far"] += [["Green Cap", f"keg no {i}", "0"] for i in range(3_000)]
    change = sheets["What if"][1]
    sheets["What if"] += [[*change[:2], f"Spare sede {i}", *change[3:]] for i in range(900)]
    started = time.process_time()
    found = faults(tmp_path, sheets)
    assert time.process_time() - started < 20.0
    assert len(found) == 1_001


def test_the_error_survives_pickling(tmp_path):
    with pytest.raises(InputError) as caught:
        read_season(folder(tmp_path / "season", put(good(), "Fields", 2, "Acres", "x")))
    again = pickle.loads(pickle.dumps(caught.value))
    assert (str(again), again.faults) == (str(caught.value), caught.value.faults)

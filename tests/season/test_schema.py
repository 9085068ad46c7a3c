"""The table of sheets, columns and settings says everything that its users need."""

import dataclasses

import pytest

from planner.season import domain
from planner.season.cells import Setting, read_cell
from planner.season.headers import unit_problem
from planner.season.names import key
from planner.season.schema import SETTINGS, SHEETS, Column, Kind, Sheet, sheet
from planner.units import Measure

COLUMNS = [
    pytest.param(s, c, id=f"{s.name}.{c.name}") for s in SHEETS for c in (*s.columns, *s.settings)
]

PROMISED = {
    "Farm": "Setting|Value|Note",
    "Fields": "Field|Acres|Seeding rate|Target stand|Emergence|Earliest maturity|Latest maturity|"
    "Trait|Planting date|Priority|Grower|Only varieties|Only recipes|Expected yield",
    "Seed lots": "Lot|Variety|Maturity|Trait|Units on hand|Units per bag|Seeds per lb|Germination|"
    "Return value|Can buy|Buy price|Treated with|Grower|Moisture|Test date|Late price",
    "Products": "Product|Kind|On hand|Expires|Line loss|Carryover value|On-seed life|Density",
    "Containers": "Product|Container|Size|Price|From count|Most available|Heel|Supplier|"
    "Late price|Returned for",
    "Recipes": "Recipe|Product|Rate|Of",
    "Protection": "Product|Threat|Rating",
    "Threats": "Threat|Need at low|Need at moderate|Need at high|Loss at low|Loss at moderate|"
    "Loss at high|Variety counts",
    "Tolerance": "Variety|Threat|Rating",
    "Ratings": "Rating|Control",
    "Actives": "Product|Active ingredient|Concentration",
    "Active limits": "Active ingredient|Most per acre|Most per seed",
    "Suppliers": "Supplier|Freight|Free freight from|Order by",
    "Discounts": "Discount|Supplier|Products|Spend at least|Percent off|Order by",
    "Maturity spread": "From maturity|To maturity|Most share",
    "Treated so far": "Lot|Recipe|Units",
    "Ordered so far": "Product|Container|Count",
    "Days off": "Date|Note",
    "Recipe approvals": "Recipe|Approved by|Approved on",
    "Growers": "Grower|Address|Deposit",
    "Unknowns": "What|Of|Low|Likely|High|Together",
    "What if": "Scenario|Sheet|Row|Column|Value",
}
"""Names that other programs read and write; they never change."""

MUST_SHEETS = ["Farm", "Fields", "Seed lots", "Products", "Containers", "Recipes"]

MUST = {
    "Fields": "Field|Acres",
    "Seed lots": "Lot|Variety|Maturity|Units on hand|Seeds per lb",
    "Products": "Product",
    "Containers": "Product|Container|Size|Price",
    "Recipes": "Recipe|Product|Rate",
    "Protection": "Product|Threat|Rating",
    "Threats": "Threat",
    "Tolerance": "Variety|Threat|Rating",
    "Ratings": "Rating|Control",
    "Actives": "Product|Active ingredient|Concentration",
    "Active limits": "Active ingredient",
    "Unknowns": "What|Low|High",
    "Suppliers": "Supplier",
    "Growers": "Grower",
    "Discounts": "Discount|Spend at least|Percent off",
    "Maturity spread": "From maturity|To maturity|Most share",
    "Treated so far": "Lot|Recipe|Units",
    "Ordered so far": "Product|Container|Count",
}

PROMISED_SETTINGS = (
    "Farm name|Crop year|Plan date|Currency|Seeds per unit|Spare seed|Product margin|"
    "Max varieties per field|Smallest split|Most of one variety|Liquid limit|Liquid warning|"
    "Allow untreated|Weigh yield loss|Soybean price|First treating day|Treating done by|"
    "Bags per day|Floor space|Cure days|Cost of a short acre|"
    "Share costs by"
)


def names(text: str) -> list[str]:
    return text.split("|")


def test_sheets_are_the_promised_ones():
    assert [s.name for s in SHEETS] == list(PROMISED)
    assert [s.name for s in SHEETS if s.must] == MUST_SHEETS


@pytest.mark.parametrize("name", PROMISED)
def test_columns_hold_the_promised_ones(name):
    here = [c.name for c in sheet(name).columns]
    assert [c for c in here if c in names(PROMISED[name])] == names(PROMISED[name])


@pytest.mark.parametrize("name", MUST)
def test_columns_that_must_be_filled_are_the_promised_ones(name):
    assert [c.name for c in sheet(name).columns if c.must] == names(MUST[name])


def test_settings_hold_the_promised_ones():
    promised = names(PROMISED_SETTINGS)
    assert [s.name for s in SETTINGS if s.name in promised] == promised


@pytest.mark.parametrize(
    ("place", "expected"),
    [
        ("Farm.Seeds per unit", 140_000.0),
        ("Farm.Spare seed", 0.0),
        ("Farm.Product margin", 0.0),
        ("Farm.Max varieties per field", None),
        ("Farm.Smallest split", 0.0),
        ("Farm.Smallest lot share", 0.0),
        ("Farm.Allow untreated", False),
        ("Farm.Cure days", 2.0),
        ("Farm.Currency", "$"),
        ("Fields.Priority", 1),
        ("Seed lots.Units per bag", 1.0),
        ("Seed lots.Return value", 0.0),
        ("Seed lots.Can buy", 0.0),
        ("Products.On hand", 0.0),
        ("Products.Line loss", 0.0),
        ("Products.Carryover value", 0.0),
        ("Containers.From count", 1),
        ("Containers.Heel", 0.0),
        ("Containers.Most available", None),
        ("Threats.Loss at high", 0.0),
        ("Suppliers.Freight", 0.0),
        ("Suppliers.Free freight from", None),
    ],
)
def test_blank_cells_mean_what_was_promised(place, expected):
    name, column = place.split(".")
    assert sheet(name).column(column).default == expected


@pytest.mark.parametrize(("of", "column"), COLUMNS)
def test_a_column_explains_itself(of: Sheet, column: Column):
    assert column.meaning.endswith("."), "one sentence of guidance"
    assert (column.kind is Kind.QUANTITY) == (column.measure is not None)
    assert (column.kind in (Kind.REF, Kind.REFS)) == (column.refers is not None)
    assert column.choices or column.kind is not Kind.CHOICE
    assert column.must == (not column.blank_means)
    if column.refers:
        there = sheet(column.refers[0]).column(column.refers[1])
        assert there.kind in (Kind.NAME, Kind.TEXT, Kind.REF)


@pytest.mark.parametrize(("of", "column"), COLUMNS)
def test_a_columns_example_and_units_can_be_read(of: Sheet, column: Column):
    for unit in {column.unit, column.shown} - {""}:
        assert unit_problem(column, unit) is None
    if column.example:
        read_cell(column.example, column, Setting(column.unit or column.shown))


@pytest.mark.parametrize("of", SHEETS, ids=lambda s: s.name)
def test_no_two_headers_of_a_sheet_are_one(of: Sheet):
    every = [key(n) for c in of.columns for n in (c.name, *c.aliases)]
    assert len(every) == len(set(every))
    assert len({c.key for c in of.columns}) == len(of.columns)
    assert set(of.unique) <= {c.name for c in of.columns}


@pytest.mark.parametrize(
    ("name", "record"),
    [
        ("Seed lots", domain.SeedLot),
        ("Products", domain.Product),
        ("Active limits", domain.ActiveLimit),
        ("Suppliers", domain.Supplier),
        ("Discounts", domain.DiscountLevel),
        ("Maturity spread", domain.MaturityShare),
        ("What if", domain.WhatIf),
    ],
)
def test_keys_are_the_records_own_names(name, record):
    assert {c.key for c in sheet(name).columns} <= {f.name for f in dataclasses.fields(record)}


@pytest.mark.parametrize("setting", SETTINGS, ids=lambda s: s.name)
def test_settings_default_to_what_the_farm_record_does(setting: Column):
    if setting.key == "units":
        return
    fields = {f.name: f for f in dataclasses.fields(domain.Farm)}
    default = fields[setting.key].default
    expected = None if default in (dataclasses.MISSING, "") else default
    assert setting.default == expected


def test_a_sheet_that_is_not_there_is_a_key_error():
    with pytest.raises(KeyError):
        sheet("Weather")
    with pytest.raises(KeyError):
        sheet("Fields").column("Weather")


def test_quantities_with_a_fixed_unit_have_the_working_one():
    """Bare numbers count in working units, so that no default is converted twice."""
    for s in SHEETS:
        for column in (*s.columns, *s.settings):
            if column.kind is Kind.QUANTITY and column.unit:
                assert isinstance(column.measure, Measure)
                assert column.unit == column.measure.value

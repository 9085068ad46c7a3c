"""A season with every sheet in use, as rows of texts, to be written as CSV or xlsx and broken.

All names and figures are invented.
"""

from __future__ import annotations

import copy
import csv
from typing import TYPE_CHECKING

import pytest

from planner.errors import InputError
from planner.season.read import read_season

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from planner.errors import Fault
    from planner.season.domain import Season

Sheets = dict[str, list[list[str]]]

GOOD: Sheets = {
    "Farm": [
        ["Setting", "Value", "Note"],
        ["Farm name", "Marten Hill", ""],
        ["Crop year", "2027", ""],
        ["Plan date", "2026-12-10", ""],
        ["Spare seed", "3%", "habit"],
        ["Liquid limit", "8", ""],
        ["Allow untreated", "no", ""],
        ["Weigh yield loss", "yes", ""],
        ["Soybean price", "10.50", ""],
        ["Treating done by", "2027-05-08", ""],
    ],
    "Fields": [
        [
            "Field",
            "Acres",
            "Seeding rate",
            "Target stand",
            "Emergence",
            "Earliest maturity",
            "Latest maturity",
            "Trait",
            "Planting date",
            "Priority",
            "Only varieties",
            "Only recipes",
            "White mold pressure",
        ],
        ["Home 80", "80", "140,000", "", "", "1.6", "2.2", "", "2027-05-10", "1", "", "", "high"],
        [
            "Creek",
            "12.5",
            "",
            "110000",
            "92%",
            "1.6",
            "2.2",
            "system A",
            "",
            "",
            "Heron",
            "Full",
            "",
        ],
    ],
    "Seed lots": [
        [
            "Lot",
            "Variety",
            "Maturity",
            "Trait",
            "Units on hand",
            "Units per bag",
            "Seeds per lb",
            "Germination",
            "Return value",
            "Can buy",
            "Buy price",
            "Treated with",
        ],
        ["L-1", "Heron", "1.8", "system A", "160", "40", "2800", "92%", "40", "80", "55", ""],
        ["L-2", "Heron", "1.8", "system A", "40", "40", "2,650", "90%", "", "", "", "Full"],
        ["L-3", "Egret", "2.1", "", "80", "45", "3100", "88%", "", "", "", ""],
    ],
    "Products": [
        ["Product", "Kind", "On hand", "Expires", "Line loss", "Carryover value", "Density"],
        ["Green Cap", "fungicide", "1.5 gal", "2027-09-30", "16 fl oz", "40%", "9.1"],
        ["Sheen", "polymer", "0", "", "", "", ""],
    ],
    "Containers": [
        [
            "Product",
            "Container",
            "Size",
            "Price",
            "From count",
            "Most available",
            "Heel",
            "Supplier",
        ],
        ["Green Cap", "jug", "2.5 gal", "$900", "1", "", "4 fl oz", "North yard"],
        ["Green Cap", "jug", "320 fl oz", "$870", "4", "", "", ""],
        ["Green Cap", "keg", "15 gal", "5,100", "", "3", "8 fl oz", "North yard"],
        ["Sheen", "jug", "2.5 gal", "120", "", "", "", "River yard"],
    ],
    "Recipes": [
        ["Recipe", "Product", "Rate", "Of"],
        ["Base", "Green Cap", "4 fl oz/cwt", ""],
        ["Full", "Green Cap", "0.08 mg/seed", "fludioxonil"],
        ["Full", "Sheen", "30 mL/unit", ""],
    ],
    "Protection": [
        ["Product", "Threat", "Rating"],
        ["Green Cap", "White mold", "VG"],
    ],
    "Threats": [
        [
            "Threat",
            "Need at low",
            "Need at moderate",
            "Need at high",
            "Loss at high",
            "Variety counts",
        ],
        ["White mold", "", "F", "G", "6", "yes"],
    ],
    "Tolerance": [["Variety", "Threat", "Rating"], ["Heron", "White mold", "F"]],
    "Ratings": [["Rating", "Control"], ["G", "60%"], ["VG", "80%"]],
    "Actives": [
        ["Product", "Active ingredient", "Concentration"],
        ["Green Cap", "fludioxonil", "3.2 lb/gal"],
        ["Green Cap", "metalaxyl", "120 g/L"],
    ],
    "Active limits": [
        ["Active ingredient", "Most per acre", "Most per seed"],
        ["fludioxonil", "0.25", "0.2"],
    ],
    "Suppliers": [
        ["Supplier", "Freight", "Free freight from", "Order by"],
        ["North yard", "150", "5000", "2027-01-15"],
        ["River yard", "90", "", ""],
    ],
    "Discounts": [
        ["Discount", "Supplier", "Products", "Spend at least", "Percent off", "Order by"],
        ["Early pay", "North yard", "", "4000", "3%", ""],
        ["Early pay", "North yard", "", "12000", "5%", ""],
        ["Pair", "", "Green Cap; Sheen", "6000", "1%", "2027-01-20"],
    ],
    "Maturity spread": [["From maturity", "To maturity", "Most share"], ["2.0", "2.6", "60%"]],
    "Treated so far": [["Lot", "Recipe", "Units"], ["L-1", "Full", "40"]],
    "Ordered so far": [["Product", "Container", "Count"], ["Green Cap", "jug", "1"]],
    "Days off": [["Date", "Note"], ["2027-04-25", "fair"]],
    "Recipe approvals": [["Recipe", "Approved by", "Approved on"], ["Base", "A. Adviser", ""]],
    "Growers": [["Grower", "Address", "Deposit"], ["Marten Hill", "County Road 9", "500"]],
    "Unknowns": [
        ["What", "Of", "Low", "Likely", "High", "Together"],
        ["Seeds per lb", "", "-4%", "", "4%", ""],
        ["Germination", "L-1; L-2", "-6%", "-1%", "2%", "yes"],
        ["Acres", "", "-10%", "0%", "10%", ""],
        ["Product used", "Green Cap", "-2%", "1%", "8%", ""],
    ],
    "What if": [
        ["Scenario", "Sheet", "Row", "Column", "Value"],
        ["More spare", "Farm", "Spare seed", "Value", "5%"],
        ["More spare", "Fields", "Creek", "Acres", "14"],
        ["Cheap kegs", "Containers", "Green Cap / keg", "Price", "4,500"],
    ],
}


def good() -> Sheets:
    """A copy to break."""
    return copy.deepcopy(GOOD)


def put(sheets: Sheets, sheet: str, row: int, column: str, text: str) -> Sheets:
    """Put a text into a cell; rows count as in a spreadsheet. Adds a column that is not there."""
    rows = sheets[sheet]
    if column not in rows[0]:
        for line in rows:
            line.append("")
        rows[0][-1] = column
    rows[row - 1][rows[0].index(column)] = text
    return sheets


def setting(sheets: Sheets, name: str, text: str) -> Sheets:
    """Set a setting of Farm, in a row of its own if it is not there."""
    for row in sheets["Farm"]:
        if row[0] == name:
            row[1] = text
            return sheets
    sheets["Farm"].append([name, text, ""])
    return sheets


def folder(path: Path, sheets: Sheets, delimiter: str = ",") -> Path:
    """Write the sheets as CSV files."""
    path.mkdir(exist_ok=True)
    for name, rows in sheets.items():
        with (path / f"{name.lower()}.csv").open("w", encoding="utf-8", newline="") as stream:
            csv.writer(stream, delimiter=delimiter).writerows(rows)
    return path


def csv_files(path: Path, texts: Mapping[str, str]) -> Path:
    """Write CSV files, each by its name, into a folder that is made if needed."""
    path.mkdir(exist_ok=True)
    for name, text in texts.items():
        (path / name).write_text(text, "utf-8")
    return path


def read(tmp_path: Path, sheets: Sheets, scenario: str = "") -> Season:
    """Read the sheets as CSV files in a folder `season`."""
    return read_season(folder(tmp_path / "season", sheets), scenario)


def faults(tmp_path: Path, sheets: Sheets) -> tuple[Fault, ...]:
    """Every fault of sheets that can't be planned."""
    with pytest.raises(InputError) as caught:
        read(tmp_path, sheets)
    return caught.value.faults


def workbook(path: Path, sheets: Sheets) -> Path:
    """Write the sheets as a workbook, all cells as text."""
    import openpyxl

    book = openpyxl.Workbook()
    del book["Sheet"]
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(row)
    book.save(path)
    return path

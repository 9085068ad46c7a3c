"""Merged cells: what a merged range covers has no value of its own, and is not taken for blank."""

from __future__ import annotations

from typing import TYPE_CHECKING

import openpyxl
import pytest

from planner.errors import InputError
from planner.season import merged
from planner.season.read import read_season
from tests.support.inputs import good, workbook

if TYPE_CHECKING:
    from pathlib import Path

    from planner.errors import Fault


def season_merged(tmp_path: Path, sheet: str, *areas: str, **cells: str) -> Path:
    """Good season with cells of a sheet filled, then ranges of it merged."""
    path = workbook(tmp_path / "merged.xlsx", good())
    book = openpyxl.load_workbook(path)
    for address, text in cells.items():
        book[sheet][address] = text
    for area in areas:
        book[sheet].merge_cells(area)
    book.save(path)
    return path


def faults_of(path: Path) -> tuple[Fault, ...]:
    with pytest.raises(InputError) as caught:
        read_season(path)
    return caught.value.faults


def test_a_value_merged_over_rows_below_is_a_fault_and_not_blank_there(tmp_path: Path) -> None:
    """Blank would mean any trait for the second field, though the sheet shows one for both."""
    path = season_merged(tmp_path, "Fields", "H2:H3", H2="System A")
    (fault,) = faults_of(path)
    assert str(fault) == (
        "Fields, row 3, Trait: expected a value of its own, but the cell is part of merged range"
        " H2:H3; unmerge it and fill in each of its cells that should hold something"
    )
    assert fault.cell == "H3"


def test_a_cell_that_must_be_filled_says_that_it_is_merged_rather_than_blank(
    tmp_path: Path,
) -> None:
    (fault,) = faults_of(season_merged(tmp_path, "Fields", "A2:B2"))
    assert (fault.cell, "merged range A2:B2" in fault.expected) == ("B2", True)


def test_a_setting_merged_with_its_name_is_a_fault(tmp_path: Path) -> None:
    (fault,) = faults_of(season_merged(tmp_path, "Farm", "A5:B5"))
    assert fault.expected.startswith("for Spare seed a value of its own, but the cell is part of")


def test_a_value_under_a_merge_that_nobody_sees_is_not_read(tmp_path: Path) -> None:
    """Programs can merge cells and keep what they hide; here 3 rows down the XML still has it."""
    path = workbook(tmp_path / "hidden.xlsx", good())
    book = openpyxl.load_workbook(path)
    book["Fields"].merged_cells.add("B2:B3")
    book.save(path)
    (fault,) = faults_of(path)
    assert (fault.cell, fault.seen) == ("B3", "12.5")


@pytest.mark.parametrize(
    ("sheet", "area"),
    [
        ("Fields", "K2:L2"),  # nothing shown: blank
        ("Farm", "B5:C5"),  # runs over the note, which nobody reads
        ("Fields", "P2:R3"),  # beside the table
        ("Fields", "A900:Z950"),  # below it
    ],
)
def test_merges_that_hide_nothing_are_read(tmp_path: Path, sheet: str, area: str) -> None:
    again = read_season(season_merged(tmp_path, sheet, area))
    assert again.fields == read_season(workbook(tmp_path / "plain.xlsx", good())).fields


@pytest.mark.parametrize(
    ("limit", "seen"),
    [("MAX_ROWS", "over 1 merged ranges"), ("MAX_CELLS", "over 1 merged cells in sheet 'Fields'")],
)
def test_more_merges_than_any_season_has_are_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, limit: str, seen: str
) -> None:
    monkeypatch.setattr(merged, limit, 1)
    (fault,) = faults_of(season_merged(tmp_path, "Fields", "P2:R2", "P3:R3"))
    assert fault.seen.startswith(seen)

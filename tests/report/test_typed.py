"""What was typed into a workbook of ours is told from a plain save, and goes over into the next."""

from datetime import date, datetime
from pathlib import Path

import openpyxl
import pytest
from openpyxl.comments import Comment
from openpyxl.styles import PatternFill

from planner.report.measures import Manner, Measure
from planner.report.sheets import Book, Cell, Column, Formula, Look, Sheet, Table
from planner.report.typed import is_as_written, take_over
from planner.report.workbook import render
from tests.support.office import needs_office, recalculated

COLUMNS = (
    Column("lot", "Lot"),
    Column("took", "Should take", Measure.DOSE, total=True),
    Column("day", "Day", Measure.DATE),
    Column("twice", "Twice", Measure.NUMBER),
    Column("batch", "Batch", look=Look.FILL_IN),
    Column("drawn", "Drawn", look=Look.FILL_IN),
)
DAY = date(2027, 5, 1)


def row(lot: str, took: float) -> tuple:
    return (lot, took, DAY, Formula("={took}*2", 2.0 * took), None, None)


def book(*rows: tuple) -> Book:
    table = Table("log", COLUMNS, rows, "What went on")
    return Book((Sheet("Log", "What was done.", (table,)),), Manner(), "Farm", "Season")


SMALL = 0.33682973764999988
"""Of which LibreOffice keeps 15 digits: 0.33682973765."""
TWO = book(row("L1", 64.0 / 3.0), row("L2", SMALL))


@pytest.fixture
def path(tmp_path: Path) -> Path:
    path = tmp_path / "campaign.xlsx"
    path.write_bytes(render(TWO))
    return path


def address(path: Path, lot: str, header: str) -> str:
    sheet = openpyxl.load_workbook(path)["Log"]
    cells = [cell for line in sheet.iter_rows() for cell in line]
    down = next(c for c in cells if c.value == lot)
    across = next(c for c in cells if str(c.value).startswith(header))
    return f"{across.column_letter}{down.row}"


def put(path: Path, lot: str, header: str, value: object) -> None:
    file = openpyxl.load_workbook(path)
    file["Log"][address(path, lot, header)] = value
    file.save(path)


def filled_in(made: Book) -> dict[str, tuple]:
    (table,) = made.sheets[0].blocks
    assert isinstance(table, Table)
    return {line[0]: line[4:] for line in table.rows}


@needs_office
def test_a_plain_save_is_told_from_what_is_typed(path: Path) -> None:
    """Dates, results of formulas and numbers of 17 digits are no reason to think it was."""
    recalculated(path)
    saved = path.parent / "recalculated" / path.name
    assert is_as_written(saved)
    put(saved, "L1", "Batch", "77-A")
    assert not is_as_written(saved)


def test_notes_and_colors_count_as_typed(path: Path) -> None:
    plain = path.read_bytes()
    assert is_as_written(path)
    place = address(path, "L1", "Lot")
    for change in (
        lambda cell: setattr(cell, "comment", Comment("done", "A. Keeper")),
        lambda cell: setattr(cell, "fill", PatternFill("solid", fgColor="00FFFF00")),
    ):
        path.write_bytes(plain)
        file = openpyxl.load_workbook(path)
        change(file["Log"][place])
        file.save(path)
        assert not is_as_written(path)


def test_what_is_filled_in_goes_over_to_the_same_row(path: Path) -> None:
    put(path, "L1", "Batch", "77-A")
    put(path, "L1", "Drawn", 21.5)
    put(path, "L2", "Batch", datetime(2027, 5, 1))
    made, complete = take_over(book(row("L2", SMALL), row("L3", 1.0), row("L1", 64.0 / 3.0)), path)
    assert complete
    assert filled_in(made) == {"L1": ("77-A", 21.5), "L2": (DAY, None), "L3": (None, None)}
    path.write_bytes(render(made))
    made, complete = take_over(TWO, path)  # and from there to the next, saved or not
    assert complete
    assert filled_in(made) == {"L1": ("77-A", 21.5), "L2": (DAY, None)}


def test_what_is_filled_in_goes_over_where_only_the_day_is_another(path: Path) -> None:
    """L1 was done two days before it was planned; a row with its own day goes before."""
    put(path, "L1", "Batch", "77-A")
    put(path, "L2", "Batch", "78-B")
    earlier = list(row("L1", 64.0 / 3.0))
    earlier[2] = date(2027, 4, 29)
    made, complete = take_over(book(tuple(earlier), row("L2", SMALL)), path)
    assert complete
    assert filled_in(made) == {"L1": ("77-A", None), "L2": ("78-B", None)}
    twice = book(tuple(earlier), (*earlier[:2], date(2027, 4, 30), *earlier[3:]))
    made, complete = take_over(twice, path)  # whose day it was is not known
    assert not complete
    assert filled_in(made) == {"L1": (None, None)}


@pytest.mark.parametrize(
    "rows",
    [
        (row("L2", SMALL),),  # the row is gone
        (row("L1", 22.0), row("L2", SMALL)),  # is another one
        (row("L1", 64.0 / 3.0), row("L1", 64.0 / 3.0)),  # is there twice
    ],
)
def test_what_finds_no_row_of_its_own_is_not_all_taken_over(path: Path, rows: tuple) -> None:
    put(path, "L1", "Batch", "77-A")
    made, complete = take_over(book(*rows), path)
    assert not complete
    assert made == book(*rows)


@pytest.mark.parametrize(
    ("header", "value"), [("Batch", "=1+1"), ("Batch", True), ("Should take", 20.0)]
)
def test_what_is_no_record_is_not_taken_over(path: Path, header: str, value: object) -> None:
    """Formulas are never taken over, and our own figures stay ours."""
    put(path, "L1", header, value)
    made, complete = take_over(TWO, path)
    assert (made, complete) == (TWO, False)


def test_a_figure_of_ours_in_a_column_to_fill_in_is_no_record(path: Path) -> None:
    numbered = book((*row("L1", 64.0 / 3.0)[:4], Cell("0-1", Look.STRONG), None))
    path.write_bytes(render(numbered))
    assert take_over(book(row("L1", 64.0 / 3.0)), path).complete


def test_a_file_that_cannot_be_read_is_not_taken_over(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:500])
    assert not is_as_written(path)
    assert take_over(TWO, path) == (TWO, False)

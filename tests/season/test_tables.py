"""Workbooks and CSV folders become the same texts; broken and hostile ones end in a sentence."""

import datetime
import subprocess
import sys
import time
from contextlib import suppress
from pathlib import Path

import openpyxl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from planner.errors import InputError
from planner.season.grids import Trouble
from planner.season.read import read_season
from planner.season.tables import read_tables
from tests.support import hostile
from tests.support.inputs import folder, good, workbook
from tests.support.quick import examples, few

SECONDS = 30.0
"""Processor time; far above what any case takes (the slowest about 9 s)."""


def lying_about(path):
    """Files in a folder and in the corpus."""
    return sorted([*path.rglob("*"), *hostile.CORPUS.rglob("*")])


def test_the_corpus_is_whole():
    """Every case has its file or its builder, every file its case; none is too large to keep."""
    told = [case.name for end in ("refused", "taken") for case in hostile.cases(end)]
    assert sorted(told) == sorted([*hostile.KEPT, *hostile.BUILT])
    assert all((hostile.CORPUS / name).exists() for name in hostile.KEPT)
    files = [path for path in hostile.CORPUS.rglob("*") if path.is_file()]
    own = {hostile.CORPUS / name for name in (".gitattributes", "cases.csv", *hostile.KEPT)}
    assert [path for path in files if not own & {path, path.parent}] == []
    sizes = [path.stat().st_size for path in files]
    assert max(sizes) < 100_000
    assert sum(sizes) < 3_000_000


@pytest.mark.parametrize("name", [n for n in hostile.KEPT if n.startswith("csv/")])
def test_the_corpus_is_what_the_builders_make(name, tmp_path):
    """A checkout must not change line ends. Bytes of a workbook are openpyxl's, so not compared."""
    made, kept = hostile.build(name, tmp_path), hostile.CORPUS / name
    pairs = [(made, kept)] if kept.is_file() else [(f, kept / f.name) for f in made.iterdir()]
    assert all(one.read_bytes() == other.read_bytes() for one, other in pairs)


LONGEST = "names of nothing"
"""Takes as long as all the others; thousands of misspelled names are in test_check.py as well."""
REFUSED = [
    *few(case for case in hostile.cases("refused") if case.name != LONGEST),
    *(
        pytest.param(case, marks=[pytest.mark.slow, pytest.mark.long])
        for case in hostile.cases("refused")
        if case.name == LONGEST
    ),
]


@pytest.mark.parametrize("case", REFUSED, ids=lambda case: case.name)
def test_broken_and_hostile_inputs_are_refused_in_words(case, tmp_path, capsys):
    path = hostile.handed_over(case.name, tmp_path)
    before = lying_about(tmp_path)
    started = time.process_time()
    with pytest.raises(InputError) as caught:
        read_season(path)
    assert time.process_time() - started < SECONDS
    message = str(caught.value)
    assert case.words in message
    assert all(c.isprintable() or c == "\n" for c in message)
    assert max(map(len, message.splitlines())) < 500
    assert lying_about(tmp_path) == before, "nothing is written"
    assert capsys.readouterr() == ("", ""), "no library prints"


@pytest.mark.long
@pytest.mark.slow
@pytest.mark.parametrize("case", hostile.cases("taken"), ids=lambda case: case.name)
def test_odd_inputs_are_read(case, tmp_path):
    path = hostile.handed_over(case.name, tmp_path)
    started = time.process_time()
    season = read_season(path)
    assert time.process_time() - started < SECONDS
    assert season.fields[0].acres == 80.0
    assert len(season.lots) == 3


@pytest.mark.long
@pytest.mark.slow
def test_memory_stays_bounded(tmp_path):
    """The million rows and the bombs are read within 1.5 GB of address space."""
    script = (
        "import resource, sys; sys.path.insert(0, sys.argv[1]); "
        "resource.setrlimit(resource.RLIMIT_AS, (1_500_000_000,) * 2)\n"
        "from pathlib import Path\n"
        "from planner.errors import InputError\n"
        "from planner.season.read import read_season\n"
        "for path in map(Path, sys.argv[2:]):\n"
        "    try:\n"
        "        read_season(path)\n"
        "        print('read', path.name)\n"
        "    except InputError:\n"
        "        print('refused', path.name)\n"
    )
    names = ("zip bomb", "workbook/deep-xml.xlsx", "workbook/too-many-rows.xlsx")
    paths = [hostile.handed_over(n, tmp_path) for n in (*names, "a million blank rows")]
    command = [sys.executable, "-c", script, str(Path(__file__).parents[2]), *map(str, paths)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=120, check=False)
    assert done.stderr == ""
    assert done.stdout.splitlines() == [
        "refused bomb.xlsx",
        "read deep-xml.xlsx",
        "refused too-many-rows.xlsx",
        "read million.xlsx",
    ]


def test_formulas_are_told_from_their_blank_results():
    kept = hostile.CORPUS / "workbook"
    book = read_tables(kept / "formula-never-calculated.xlsx")
    fields = next(grid for grid in book.grids if grid.sheet.name == "Fields")
    assert fields.troubles == {(2, 1): Trouble.FORMULA}
    book = read_tables(kept / "formula-with-a-blank-result.xlsx")
    fields = next(grid for grid in book.grids if grid.sheet.name == "Fields")
    assert fields.troubles == {}


def test_cells_of_every_type_become_text(tmp_path):
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = " seed  LOTS"
    sheet.append(["Lot", None, "x"])
    sheet.append([17, 1.8, True, datetime.date(2027, 5, 10), datetime.time(8, 30), 140000.0])
    sheet.append([0.03, 0.925, 1e-7, 1234567890123, "  kept  ", -2.5])
    sheet["A3"].number_format = "0%"
    sheet["B3"].number_format = "0.00%"
    book.save(tmp_path / "types.xlsx")
    (grid,) = read_tables(tmp_path / "types.xlsx").grids
    assert grid.name == "seed LOTS"
    assert grid.sheet.name == "Seed lots"
    assert grid.rows[0][1][:3] == ("Lot", "", "x")
    assert grid.rows[1][1] == ("17", "1.8", "true", "2027-05-10", "08:30:00", "140000")
    assert grid.rows[2][1] == ("3%", "92.5%", "1e-07", "1234567890123", "  kept  ", "-2.5")


@pytest.mark.parametrize(
    ("form", "shown"),
    [
        ("0.0%", "50%"),
        ("0%;[Red]-0%", "50%"),
        ('0.0"%"', "0.5%"),
        (r"0.0\%", "0.5%"),
        ('0.0" % of all"', "0.5%"),
        ('0.0%" of 100\\%"', "50%"),
        ("0.0_%", "0.5"),
        ("General", "0.5"),
    ],
)
def test_a_percent_sign_that_is_only_text_makes_nothing_a_hundred_times(tmp_path, form, shown):
    book = openpyxl.Workbook()
    book.active.title = "Seed lots"
    book.active.append([0.5])
    book.active["A1"].number_format = form
    book.save(tmp_path / "percent.xlsx")
    (grid,) = read_tables(tmp_path / "percent.xlsx").grids
    assert grid.rows[0][1] == (shown,)


def test_hidden_and_filtered_rows_and_sheets_are_read(tmp_path):
    path = workbook(tmp_path / "hidden.xlsx", good())
    book = openpyxl.load_workbook(path)
    book["Fields"].row_dimensions[3].hidden = True
    book["Fields"].column_dimensions["B"].hidden = True
    book["Fields"].auto_filter.ref = "A1:M3"
    book["Seed lots"].sheet_state = "hidden"
    book.save(path)
    season = read_season(path)
    assert (len(season.fields), len(season.lots)) == (2, 3)


def test_other_sheets_and_files_are_told(tmp_path):
    path = folder(tmp_path / "more", {**good(), "Weather": [["a"]]})
    (path / "readme.txt").write_text("hello", "utf-8")
    (path / ".fields.csv").write_text("hidden", "utf-8")
    assert read_season(path).notes == ("'weather.csv' is not a sheet of a season and was ignored.",)
    path = workbook(tmp_path / "more.xlsx", {**good(), "Weather": [["a"]]})
    assert read_season(path).notes == ("'Weather' is not a sheet of a season and was ignored.",)


@pytest.mark.sampled
@settings(
    max_examples=examples(150),
    suppress_health_check=[HealthCheck.function_scoped_fixture],
    deadline=None,
)
@given(noise=st.binary(max_size=400), head=st.sampled_from([b"", b"PK\x03\x04", b"Field,Acres\n"]))
def test_any_bytes_are_read_or_refused(noise, head, tmp_path):
    (tmp_path / "noise.xlsx").write_bytes(head + noise)
    with pytest.raises(InputError):
        read_season(tmp_path / "noise.xlsx")
    path = tmp_path / "noise"
    if not path.exists():
        folder(path, good())
    (path / "fields.csv").write_bytes(head + noise)
    with pytest.raises(InputError):
        read_season(path)


@pytest.mark.sampled
@settings(
    max_examples=examples(150),
    suppress_health_check=[HealthCheck.function_scoped_fixture],
    deadline=None,
)
@given(at=st.integers(0, 100_000), byte=st.integers(0, 255))
def test_any_changed_byte_of_a_workbook_is_read_or_refused(at, byte, tmp_path):
    whole = tmp_path / "whole.xlsx"
    if not whole.exists():
        workbook(whole, good())
    data = bytearray(whole.read_bytes())
    data[at % len(data)] = byte
    (tmp_path / "changed.xlsx").write_bytes(bytes(data))
    with suppress(InputError):
        assert len(read_season(tmp_path / "changed.xlsx").lots) > 0

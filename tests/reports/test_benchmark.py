"""The benchmark's pages say what its rows hold, and its whole path runs."""

import json
import re
import subprocess
import sys
from pathlib import Path

import pytest

from planner.optimize.options import Progress
from reports import benchmark, machine, measure, seasons
from reports.benchmark_claims import between_versions, gap, spread, wrong_claims
from reports.benchmark_pages import (
    TITLES,
    Run,
    benchmark_page,
    beside,
    book_page,
    cores_page,
    growth_page,
)

ROOT = Path(__file__).parents[2]
RUN = Run(
    command="python -m reports.benchmark",
    code="abc1234",
    cores=2,
    system="Linux x86_64",
    began="2027-01-02 03:04 UTC",
    load="0.1",
    versions={"HiGHS 1": {"python": "3.11.9"}, "HiGHS 2": {"python": "3.13.0"}},
)


def row(by="ours", cost=100.0, floor=98.0, short=(0.0, 0.0), **others):
    """A row as a process measures it, figures made up."""
    made = {"season": "a", "with": "HiGHS 1", "by": by, "run": 0, "seconds": 60.0, "fewest": True}
    made |= {"size": "2 x 3 x 4, 1", "first": 1.0, "complete": 2.0, "took": 60.0, "together": 70.0}
    return made | {"cost": cost, "floor": floor, "short": list(short), "others": 0.25} | others


def cells(page: str, begin: str) -> list[list[str]]:
    """Cells of a page's table rows that begin so."""
    lines = [line for line in page.splitlines() if line.startswith(f"| {begin} |")]
    return [[cell.strip() for cell in line[1:-1].split("|")] for line in lines]


# --- figures ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cost", "floor", "expected"),
    [
        (100.0, 98.0, 2.0),
        (100.0, 100.5, 0.0),
        (200.0, -50.0, 125.0),
        (0.0, -1_836_547.0, None),
        (-3_497.0, -1_061_529.0, None),
        (None, 98.0, None),
        (100.0, None, None),
    ],
)
def test_gap_is_a_share_of_a_cost_above_zero(cost, floor, expected) -> None:
    assert gap(row(cost=cost, floor=floor)) == expected


@pytest.mark.parametrize(
    ("ours", "plain", "expected"),
    [
        (row(cost=90.0), row(cost=120.0), "0.750"),
        (row(cost=90.0), row(cost=0.0), "-"),
        (row(cost=-90.0), row(cost=120.0), "-"),
        (row(cost=90.0), {"failed": "no memory"}, "-"),
        (row(cost=None), row(), "-"),
        (row(short=(1.0, 2.0)), row(short=(4.0, 2.5)), "3.5 acres fewer short"),
        (row(short=(1.0, 2.0)), row(short=(0.0, 2.0)), "1.0 acres more short"),
    ],
)
def test_ours_beside_the_plain_model(ours, plain, expected) -> None:
    assert beside(ours, plain) == expected


# --- pages --------------------------------------------------------------------------------------


def test_page_of_hard_seasons_has_every_row_in_its_columns() -> None:
    rows = [
        row("plain", cost=0.0, floor=-50.0, short=[5.0, 0.0], fewest=False, complete=None),
        row("plain", cost=125.0, **{"with": "HiGHS 2"}),
        row(cost=90.0, floor=45.0),
        row(cost=100.0, floor=45.0, others=None, **{"with": "HiGHS 2"}),
        row(cost=None, failed="no memory", **{"with": "HiGHS 2", "run": 1}),
    ]
    page = benchmark_page(rows, RUN.done("2027-01-02 05:06 UTC"), 1_000)
    assert cells(page, "season") == [list(TITLES)]
    found = [dict(zip(TITLES, line, strict=True)) for line in cells(page, "a")]
    assert [one["cost"] for one in found] == ["0", "125", "90", "100", "no memory"]
    assert [one["gap, %"] for one in found] == ["-", "21.60", "50.00", "55.00", ""]
    assert [one["ours / plain"] for one in found] == ["", "", "5.0 acres fewer short", "0.800", "-"]
    assert [one["by"] for one in found] == ["plain", "plain", "ours", "ours", "ours, run 2"]
    assert [one["others"] for one in found] == ["0.2", "0.2", "0.2", "-", "0.2"]
    assert found[0]["short"] == "5.0 (not proven fewest)"
    assert found[0]["complete"] == "-"


def test_pages_say_how_they_were_made_and_whether_the_run_has_ended() -> None:
    growing = [row(fields=20), row(fields=60)]
    for write in (
        lambda run: benchmark_page([row()], run, 1),
        lambda run: growth_page(growing, run),
    ):
        page = write(RUN)
        assert "**This run has not ended: rows are missing.**" in page
        ended = write(RUN.done("2027-01-02 05:06 UTC"))
        assert "not ended" not in ended
        for said in (
            "python -m reports.benchmark\n",
            "from 2027-01-02 03:04 UTC to 2027-01-02 05:06",
        ):
            assert said in ended
        for said in ("2 cores", "load 0.1", "Code: abc1234", "| HiGHS 2 | 3.13.0 |"):
            assert said in ended


def test_growth_has_an_exponent_for_every_python() -> None:
    rows = [
        {
            "fields": n,
            "with": label,
            "seconds": 30.0,
            "choices": n**power,
            "cost": 9.0,
            "floor": 0.0,
        }
        for n in (10, 20, 40)
        for label, power in (("HiGHS 1", 2), ("HiGHS 2", 1))
    ]
    rows.append({"fields": 80, "with": "HiGHS 2", "seconds": 30.0, "failed": "no memory"})
    page = growth_page(rows, RUN)
    assert [line[1:4] for line in cells(page, "exponent")] == [
        ["HiGHS 1", "2.00", "-"],
        ["HiGHS 2", "1.00", "-"],
    ]
    (largest,) = cells(page, "80")
    assert largest[2] == "-"
    assert "no memory" in largest


def test_growth_says_when_a_plan_was_near_the_best() -> None:
    figures = {"first": 1.0, "complete": 2.0, "floor at": 3.0, "to 5": 4.0, "to 1": None}
    page = growth_page([row(fields=20, **figures)], RUN)
    titles, (line,) = cells(page, "fields")[0], cells(page, "20")
    found = dict(zip(titles, line, strict=True))
    assert [found[t] for t in ("first plan, s", "complete plan, s", "floor, s")] == [
        "1.0",
        "2.0",
        "3.0",
    ]
    assert [found[t] for t in ("to 5 %, s", "to 1 %, s", "search, MB")] == ["4.0", "-", "70"]


def test_the_first_plan_that_is_so_near_the_best() -> None:
    """Of costs 100, 100 and 99.5 at bounds none, 96 and 99: within 5 % the second, 1 % the last."""
    heard = [Progress(1.0, 100.0, None), Progress(2.0, 100.0, 96.0), Progress(3.0, 99.5, 99.0)]
    assert measure.first_within(heard, 5.0) == 2.0
    assert measure.first_within(heard, 1.0) == 3.0
    assert measure.first_within(heard, 0.1) is None


def test_more_cores_are_held_beside_one() -> None:
    rows = [row(cores=1, cost=100.0), row(cores=2, cost=90.0), row(cores=4, cost=None)]
    page = cores_page([*rows, row(season="b", cores=1)], RUN)
    assert [line[2:5] for line in cells(page, "a")] == [
        ["1", "100", ""],
        ["2", "90", "0.900"],
        ["4", "no plan", ""],
    ]
    assert [line[4] for line in cells(page, "b")] == [""]


def test_growth_of_the_workbook() -> None:
    rows = [{"fields": n, "cells": n * 100, "render": n**2 / 10, "memory": 5.0} for n in (10, 100)]
    page = book_page(rows, RUN)
    assert cells(page, "100") == [["100", "10,000", "-", "1,000.00", "-", "5", "-", "-"]]
    assert cells(page, "exponent") == [["exponent", "1.00", "-", "2.00", "-", "0.00", "-", ""]]


# --- what rows show -----------------------------------------------------------------------------


def test_proofs_that_another_plan_contradicts_are_named() -> None:
    wrong = row("plain", cost=120.0, floor=119.99)
    assert wrong_claims([wrong, row(cost=100.0)]) == [
        "a: plain with HiGHS 1 says that no plan costs less than 120, which is wrong: "
        "ours with HiGHS 1 has one for 100."
    ]
    assert wrong_claims([wrong, row(cost=100.0, season="b")]) == []
    assert wrong_claims([wrong, row(cost=100.0, short=(0.0, 0.1), fewest=False)]) == []
    assert wrong_claims([row(cost=119.99999), wrong]) == []
    assert len(wrong_claims([row(floor=101.0)])) == 1, "its own plan will do"


def test_acres_short_compare_by_priority() -> None:
    """Fewer at the first priority where they differ, whatever the later ones are."""
    proven, better = row(short=(3.0, 1.0)), row("plain", short=(2.0, 9.0), fewest=False)
    assert wrong_claims([proven, better]) == [
        "a: ours with HiGHS 1 says that no fewer than 4.0 acres can be short, which is wrong: "
        "plain with HiGHS 1 leaves 11.0."
    ]
    assert wrong_claims([proven, better | {"short": [3.0, 2.0]}]) == []
    assert wrong_claims([proven | {"fewest": False}, better]) == []


def test_median_and_worst_where_a_season_was_solved_more_than_once() -> None:
    runs = [row(cost=c, floor=90.0, run=i) for i, c in enumerate((100.0, 120.0, 90.0))]
    assert spread(runs) == [
        "a, 3 runs of ours with HiGHS 1, median and worst: cost 100 and 120, gap 10.00 and 25.00 %."
    ]
    assert spread(runs[:1]) == []


def test_versions_compare_season_by_season() -> None:
    rows = []
    for season, cost, short in (
        ("a", 90.0, 0.0),
        ("b", 110.0, 0.0),
        ("c", 100.05, 0.0),
        ("d", 50.0, 1.0),
    ):
        rows += [
            row(season=season, short=[0.0]),
            row(season=season, cost=cost, short=[short], **{"with": "HiGHS 2"}),
        ]
    assert between_versions(rows) == [
        "Ours with HiGHS 2 beside HiGHS 1, seasons with the same acres short: cheaper on 1, "
        "dearer on 1, within 0.1 % on 1."
    ]
    assert between_versions(rows[::2]) == []


# --- seasons and the run ------------------------------------------------------------------------


def test_seasons_of_the_benchmark_are_made_here() -> None:
    """Every one is the demo or generated from its name; the same name gives the same season."""
    assert len(set(seasons.HARD)) == len(seasons.HARD)
    for name in seasons.HARD[1:]:
        case = seasons.case(name)
        assert str(case) == name
        assert seasons.count_fields(name) == case.fields
    assert seasons.count_fields("demo") == len(seasons.load("demo").fields)
    for name in ("20,12,4,1,12", "20,12,4,1,8,short"):
        one = seasons.load(name)
        assert (len(one.fields), len(one.lots), len(one.recipes)) == (20, 12, 4)
        assert one == seasons.load(name)
    assert not any(lot.can_buy for lot in seasons.load("20,12,4,1,8,short").lots)


@pytest.mark.parametrize(
    "name", ["20,12,4,1", "20,12,4,1,8,9", "20,12,4,1,8,shorter", "20,a,4,1,8"]
)
def test_a_name_that_says_no_season(name: str) -> None:
    with pytest.raises(ValueError, match=r"is no season|invalid literal"):
        seasons.case(name)


def test_the_command_on_the_page_names_no_place_of_this_machine() -> None:
    argv = ["--python", "/a/place/bin/python", "/a/season", "--out", "here", "--seconds", "5"]
    assert benchmark.told(argv) == (
        "python -m reports.benchmark --python OTHER_PYTHON FOLDER --out FOLDER --seconds 5"
    )


@pytest.mark.slow
def test_a_python_that_can_not_be_measured_ends_the_run_before_it_begins(tmp_path: Path) -> None:
    with pytest.raises(SystemExit, match="nowhere can't be measured"):
        benchmark.main(["--quick", "--python", str(tmp_path / "nowhere"), "--out", str(tmp_path)])
    with pytest.raises(SystemExit, match="has the same versions as another"):
        benchmark.labels([sys.executable] * 3)
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("season", ["no-such-folder", "20,12,4,1"])
def test_a_season_that_is_none_is_refused_before_anything_runs(
    season: str, tmp_path: Path, capsys: pytest.CaptureFixture
) -> None:
    with pytest.raises(SystemExit, match="2"):
        benchmark.main(["demo", season, "--out", str(tmp_path)])
    assert f"{season!r} is neither a season's name nor a folder" in capsys.readouterr().err
    assert not list(tmp_path.iterdir())


def test_cores_that_others_kept_busy(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Of 4 s all processors were busy 7 s, 3 s of them with our own work: one core for others."""
    stat = tmp_path / "stat"
    tick = machine.os.sysconf("SC_CLK_TCK")
    monkeypatch.setattr(machine, "STAT", stat)
    clock, own = iter((10.0, 14.0)), iter((1.0, 4.0))
    monkeypatch.setattr(machine, "monotonic", lambda: next(clock))
    monkeypatch.setattr(machine, "_ours", lambda: next(own))
    stat.write_text(f"cpu  {5 * tick} 0 {tick} 900 8 0 0 0 0 0\ncpu0 1 2 3\n", "ascii")
    others = machine.Others()
    spent = f"cpu  {9 * tick} {tick} {2 * tick} 990 9 0 0 {tick} {tick} 0\ncpu0 1 2 3\n"
    stat.write_text(spent, "ascii")
    assert others.cores() == pytest.approx((7.0 - 3.0) / 4.0)
    monkeypatch.setattr(machine, "STAT", tmp_path / "no-such-file")
    monkeypatch.setattr(machine, "monotonic", lambda: 0.0)
    monkeypatch.setattr(machine, "_ours", lambda: 0.0)
    assert machine.Others().cores() is None


def test_work_of_processes_that_we_waited_for_is_ours() -> None:
    """The system counts in hundredths of a second, rounded down."""
    before = machine._ours()
    busy = "import time\nwhile time.process_time() < 0.5: pass"
    subprocess.run([sys.executable, "-c", busy], check=True)
    assert machine._ours() - before >= 0.47


def test_memory_of_all_processes_begun_below_this_one() -> None:
    """One process with 60 MB begins another with 60 MB: together over 120, each alone below."""
    if not (machine.PROCESSES / "self" / "smaps_rollup").exists():
        pytest.skip("this system does not count what processes share")
    script = (
        "import subprocess, sys, time\n"
        "held = bytearray(b'1') * 60_000_000\n"
        "if sys.argv[1:]: subprocess.run([sys.executable, '-c', sys.argv[1]])\n"
        "else: time.sleep(1.5)\n"
    )
    looks = (  # in a process of its own: other tests leave processes below this one
        "import subprocess, sys\n"
        "from reports import machine\n"
        "with machine.Memory() as memory:\n"
        "    subprocess.run([sys.executable, '-c', *sys.argv[1:]], check=True)\n"
        "print(memory.megabytes)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", looks, script, script],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    assert 120.0 <= float(done.stdout) <= 180.0


@pytest.mark.skipif(not hasattr(machine.os, "sched_setaffinity"), reason="cores can't be held here")
def test_cores_are_held_for_a_process_and_what_it_starts() -> None:
    asked = "from reports import machine; machine.hold(1); print(machine.cores())"
    done = subprocess.run(
        [sys.executable, "-c", asked], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert done.stdout.split() == ["1"]


@pytest.mark.long
@pytest.mark.slow
def test_the_whole_path(tmp_path: Path) -> None:
    """One command writes all four pages, every row measured."""
    command = [sys.executable, "-m", "reports.benchmark", "--quick", "--out", str(tmp_path)]
    subprocess.run([*command, "--seconds", "0.5"], cwd=ROOT, check=True, capture_output=True)
    pages = {path.name: path.read_text("utf-8") for path in tmp_path.iterdir()}
    assert set(pages) == {f"{page}.md" for page in benchmark.PAGES}
    for page in pages.values():
        assert "not ended" not in page
        assert f"| HiGHS {machine.versions()['highspy']} |" in page
    for name in seasons.QUICK:
        plain, ours = (
            dict(zip(TITLES, c, strict=True)) for c in cells(pages["benchmark.md"], name)
        )
        assert (plain["by"], ours["by"]) == ("plain", "ours")
        assert re.fullmatch(r"-?[\d,]+", ours["cost"])
        assert ours["s"] == "0.5"
    for case in seasons.QUICK_GROWTH:
        (line,) = cells(pages["growth.md"], str(case.fields))
        assert line[2] != "-"
    for name in seasons.QUICK:
        lines = cells(pages["cores.md"], name)
        most = min(machine.cores(), benchmark.MOST_CORES[-1])
        assert [line[2] for line in lines] == [str(n) for n in benchmark.MOST_CORES if n <= most]
    for fields in benchmark.QUICK_BOOKS:
        (line,) = cells(pages["workbook-growth.md"], str(fields))
        assert line[1] != "-"


@pytest.mark.slow
def test_a_failure_is_reported_in_its_row() -> None:
    found = benchmark.apart(sys.executable, "ours", "no-such-folder", 1, 0)
    assert set(found) == {"failed"}
    assert "no-such-folder" in found["failed"]
    json.dumps(found)

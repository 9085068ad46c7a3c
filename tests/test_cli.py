"""Commands, exit codes, and what goes to which stream."""

import importlib
import json
import os
import re
import signal
import subprocess
import sys
import threading
import time
from dataclasses import replace
from pathlib import Path

import openpyxl
import pytest

from planner import api, cli, errors
from planner.terminal import planning as cli_planning
from planner.terminal.interrupt import interruptible

ROOT = Path(__file__).parent.parent
Capture = pytest.CaptureFixture[str]


def plan(source: Path, out: Path, *more: str) -> int:
    return cli.run(["plan", str(source), "--out", str(out), "--seconds", "20", *more])


def winter(source: Path, out: Path, *more: str) -> int:
    """Plan, and write but one of the three workbooks: enough where it is not they that matter."""
    return plan(source, out, "--pack", "winter", *more)


def edit(folder: Path, name: str, old: str, new: str) -> None:
    path = folder / name
    text = path.read_text("utf-8")
    assert old in text
    path.write_text(text.replace(old, new), "utf-8")


def test_plan_writes_and_prints_the_order(tiny: Path, tmp_path: Path, capsys: Capture) -> None:
    """Worked by hand in conftest.py: two jugs for $200."""
    assert plan(tiny, tmp_path / "out") == 0
    shown = capsys.readouterr()
    written = json.loads((tmp_path / "out" / "plan.json").read_text("utf-8"))
    assert [(o["container"], o["count"], o["cost"]) for o in written["order"]] == [("jug", 2, 200)]
    assert written["outcome"] == "optimal"
    assert written["shortages"] == []
    assert (tmp_path / "out" / "plan.xlsx").stat().st_size > 5_000
    assert shown.out.startswith("All 80 acres are covered.")
    assert "Green Cap" in shown.out
    assert "$200.00" in shown.out
    assert "Proven: no plan" in shown.out
    assert "plan.json" in shown.out


@pytest.mark.slow
def test_the_work_in_the_shop_is_planned_once(
    tiny: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """For the screen, and for the files as they are written before reasons are known and after."""
    from planner.campaign.campaign import make_campaign

    made = []

    def counted(season, decided):
        made.append(make_campaign(season, decided))
        return made[-1]

    monkeypatch.setattr("planner.campaign.campaign.make_campaign", counted)
    assert plan(tiny, tmp_path / "out", "--why", "1") == 0
    assert len(made) == 1
    assert made[0].batches


@pytest.mark.parametrize("pack", ["winter", "shop", "study"])
def test_a_pack_is_written_alone_and_older_ones_are_named(
    tiny: Path, tmp_path: Path, capsys: Capture, pack: str
) -> None:
    """Each is whole: it opens with a first page of its own, and no jump leads out of it."""
    out = tmp_path / "out"
    name, first = {
        "winter": ("plan.xlsx", "The plan"),
        "shop": ("shop.xlsx", "The shop"),
        "study": ("study.xlsx", "The study"),
    }[pack]
    assert plan(tiny, out, "--pack", pack) == 0
    assert sorted(p.name for p in out.iterdir()) == sorted(["plan.ics", "plan.json", name])
    assert openpyxl.load_workbook(out / name).sheetnames[0] == first
    capsys.readouterr()
    other = "study" if pack == "shop" else "shop"
    assert plan(tiny, out, "--pack", other) == 0
    assert f"Left from an earlier plan: {name}." in capsys.readouterr().out


def test_a_pack_that_is_not_there_is_a_wrong_use(tiny: Path, tmp_path: Path) -> None:
    assert plan(tiny, tmp_path / "out", "--pack", "spring") == 2


def test_default_folder_is_beside_the_input(tiny: Path) -> None:
    assert cli.run(["plan", str(tiny), "--seconds", "20"]) == 0
    assert (tiny.parent / "tiny-plan" / "plan.json").is_file()


def test_quiet_prints_only_shortages_and_files(tiny: Path, tmp_path: Path, capsys: Capture) -> None:
    assert plan(tiny, tmp_path / "out", "--quiet") == 0
    shown = capsys.readouterr()
    assert shown.err == ""
    assert "Order" not in shown.out
    assert shown.out.count("\n") == 1 + shown.out.count("Written: ")


def test_shortages_come_first_and_strict_makes_them_an_error(
    tiny: Path, tmp_path: Path, capsys: Capture
) -> None:
    """A second field of 200 acres needs 206 units more than the 160 that there are."""
    edit(tiny, "fields.csv", "Home 80,80,140000\n", "Home 80,80,140000\nFar 200,200,140000\n")
    assert winter(tiny, tmp_path / "out") == 0
    assert capsys.readouterr().out.startswith("SHORT: ")
    written = json.loads((tmp_path / "out" / "plan.json").read_text("utf-8"))
    short = sum(s["acres"] for s in written["shortages"])
    assert short == pytest.approx(280 - 160 / 1.03, abs=1e-6)
    assert winter(tiny, tmp_path / "strict", "--strict") == 4
    assert (tmp_path / "strict" / "plan.json").is_file()


def test_strict_without_shortage_is_no_error(tiny: Path, tmp_path: Path) -> None:
    assert winter(tiny, tmp_path / "out", "--strict") == 0


def test_faults_are_told_together_and_nothing_is_written(
    tiny: Path, tmp_path: Path, capsys: Capture
) -> None:
    edit(tiny, "fields.csv", "80,80,140000", "80,eighty,140000")
    edit(tiny, "recipes.csv", "4 fl oz/cwt", "4 spoons")
    assert plan(tiny, tmp_path / "out") == 3
    shown = capsys.readouterr()
    assert shown.out == ""
    assert "eighty" in shown.err
    assert "4 spoons" in shown.err
    assert not (tmp_path / "out").exists()


def test_check_says_what_was_understood(tiny: Path, capsys: Capture) -> None:
    before = sorted(tiny.parent.rglob("*"))
    assert cli.run(["check", str(tiny)]) == 0
    shown = capsys.readouterr().out
    assert "1 field, 80 acres" in shown
    assert "82.4" in shown
    assert "1.8" in shown
    assert sorted(tiny.parent.rglob("*")) == before


def test_check_reads_every_scenario_and_names_it(tiny: Path, capsys: Capture) -> None:
    head = "Scenario,Sheet,Row,Column,Value\n"
    (tiny / "what if.csv").write_text(head + "No jugs,Products,Green Cap,,drop\n", "utf-8")
    assert cli.run(["check", str(tiny)]) == 3
    assert (
        "scenario 'No jugs': Products: expected a row for each Product" in capsys.readouterr().err
    )
    (tiny / "what if.csv").write_text(head + "Dear,Containers,all,Price,+10%\n", "utf-8")
    assert cli.run(["check", str(tiny)]) == 0
    said = capsys.readouterr().out
    assert "1 scenario\n" in said
    assert "Containers, all, Price" in said


@pytest.mark.skipif(os.name == "nt", reason="pipes of POSIX")
def test_output_that_nobody_reads_to_its_end_is_no_failure(tiny: Path) -> None:
    """As `wholedrum check season | head -1`: the pipe is closed before all is printed."""
    read, write = os.pipe()
    os.close(read)
    done = subprocess.run(
        [sys.executable, "-u", "-m", "planner", "check", str(tiny)],
        stdout=write,
        stderr=subprocess.PIPE,
        cwd=ROOT,
        check=False,
        timeout=120,
    )
    os.close(write)
    assert (done.returncode, done.stderr) == (0, b"")


def test_check_marks_the_faults_in_a_copy(tiny: Path, capsys: Capture) -> None:
    edit(tiny, "fields.csv", "80,80,140000", "80,eighty,140000")
    before = {path: path.read_bytes() for path in tiny.iterdir()}
    assert cli.run(["check", str(tiny), "--mark"]) == 3
    assert "eighty" in (tiny.parent / "tiny-faults.csv").read_text("utf-8-sig")
    assert {path: path.read_bytes() for path in tiny.iterdir()} == before
    assert "Written: " in capsys.readouterr().err


def test_check_of_a_missing_input_is_a_sentence(tmp_path: Path, capsys: Capture) -> None:
    assert cli.run(["check", str(tmp_path / "none.xlsx")]) == 3
    shown = capsys.readouterr()
    assert "none.xlsx" in shown.err
    assert shown.out == ""


def test_percent_may_have_its_sign(tmp_path: Path, capsys: Capture) -> None:
    """What is wrong is then the input alone, which is not there."""
    assert cli.run(["plan", str(tmp_path / "none.xlsx"), "--safe", "95%"]) == 3
    assert "none.xlsx" in capsys.readouterr().err


@pytest.mark.parametrize(
    "arguments",
    [
        ["plan"],
        ["plan", "x.xlsx", "--seconds", "0"],
        ["plan", "x.xlsx", "--seconds", "nan"],
        ["plan", "x.xlsx", "--gap", "inf"],
        ["plan", "x.xlsx", "--gap", "-1"],
        ["plan", "x.xlsx", "--effort", "0"],
        ["plan", "x.xlsx", "--no-such-option"],
        ["no-such-command"],
        ["start"],
        ["start", "x.xlsx", "--demo", "--from", "y.xlsx"],
        ["start", "x.xlsx", "--plan", "y.json"],
    ],
    ids=" ".join,
)
def test_wrong_use_is_code_2(arguments: list[str], capsys: Capture) -> None:
    assert cli.run(arguments) == 2
    shown = capsys.readouterr()
    assert shown.out == ""
    assert "Error" in shown.err


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["plan", "x.xlsx", "--seconds", "abc"], "'abc' is not a number of 0.1 or more"),
        (["plan", "x.xlsx", "--seed", "1.5"], "'1.5' is not a whole number from 0 to 2147483647"),
        (["plan", "x.xlsx", "--safe", "0.95"], "'0.95' is not a number from 1 to 100"),
        (["plan", "x.xlsx", "--safe", "0.95%"], "'0.95' is not a number from 1 to 100"),
        (["share", "x.xlsx", "--cluster", ""], "the address is empty"),
        (["risk", "x.xlsx", "--cluster", " "], "the address is empty"),
        (["many", "seasons", "--out", "o", "--cluster", ""], "the address is empty"),
        (["page", "--port", "99999"], "'99999' is not a whole number from 0 to 65535"),
    ],
)
def test_a_number_that_will_not_do_is_told_in_plain_words(
    arguments: list[str], words: str, capsys: Capture
) -> None:
    assert cli.run(arguments) == 2
    assert words in capsys.readouterr().err


FAILURES = [
    (errors.NoPlanError("no plan in the time given"), 5, "no plan in the time given"),
    (errors.AuditError("cost is off by 1"), 70, "cost is off by 1"),
    (errors.Interrupted("stopped before any plan"), 130, "stopped before any plan"),
    (MemoryError(), 5, "memory"),
    (ZeroDivisionError("division"), 1, "ZeroDivisionError"),
]


@pytest.mark.parametrize(("error", "code", "words"), FAILURES, ids=lambda x: str(x)[:20])
def test_failures_end_in_a_sentence_and_a_code(
    error: Exception,
    code: int,
    words: str,
    tiny: Path,
    tmp_path: Path,
    capsys: Capture,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def fail(*_args: object, **_named: object) -> None:
        raise error

    monkeypatch.setattr("planner.optimize.search.run.solve", fail)
    assert plan(tiny, tmp_path / "out") == code
    shown = capsys.readouterr()
    assert words in shown.err
    assert "Traceback" not in shown.err
    assert shown.out == ""
    assert not (tmp_path / "out").exists()


def test_debug_shows_where_a_bug_is(
    tiny: Path, tmp_path: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("planner.optimize.search.run.solve", lambda *_a, **_n: 1 // 0)
    monkeypatch.setenv("WHOLEDRUM_DEBUG", "1")
    assert plan(tiny, tmp_path / "out") == 1
    assert "Traceback" in capsys.readouterr().err


def test_output_that_is_a_file_is_refused_before_the_work(
    tiny: Path, tmp_path: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(
        "planner.optimize.search.run.solve", lambda *_a, **_n: pytest.fail("worked")
    )
    (tmp_path / "out").write_text("mine")
    assert plan(tiny, tmp_path / "out") == 6
    assert "--out" in capsys.readouterr().err
    assert (tmp_path / "out").read_text() == "mine"


def test_a_season_named_as_the_plan_is_not_replaced_by_it(tmp_path: Path, capsys: Capture) -> None:
    season = tmp_path / "plan.xlsx"
    season.write_bytes((ROOT / "data" / "demo.xlsx").read_bytes())
    before = season.read_bytes()
    assert plan(season, tmp_path) == 6
    assert "plan.xlsx is not a file that wholedrum wrote" in capsys.readouterr().err
    assert season.read_bytes() == before
    assert list(tmp_path.iterdir()) == [season]


def test_a_plan_named_as_the_comparison_is_not_replaced_by_it(
    tiny: Path, tmp_path: Path, capsys: Capture
) -> None:
    winter(tiny, tmp_path / "out")
    kept = (tmp_path / "out" / "plan.json").rename(tmp_path / "out" / "compare.json")
    before = kept.read_bytes()
    assert cli.run(["compare", str(kept), str(kept), "--out", str(kept.parent)]) == 6
    assert "compare.json is the input itself" in capsys.readouterr().err
    assert kept.read_bytes() == before


@pytest.mark.slow
def test_a_plan_opened_while_it_was_solved_again_is_written_beside(
    tiny: Path, tmp_path: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = tmp_path / "out"
    assert plan(tiny, out) == 0
    old = (out / "plan.json").read_bytes()
    real = cli_planning.decide

    def opened(*args, **kwargs):
        found = real(*args, **kwargs)
        (out / "~$plan.xlsx").write_bytes(b"")
        return found

    monkeypatch.setattr(cli_planning, "decide", opened)
    edit(tiny, "fields.csv", "80", "60")
    capsys.readouterr()
    assert plan(tiny, out) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "written beside it as plan (2)." in said
    assert f"Written: {out / 'plan (2).xlsx'}" in said
    assert (out / "plan.json").read_bytes() == old
    written = json.loads((out / "plan (2).json").read_text("utf-8"))
    assert sum(p["acres"] for p in written["planting"]) == 60.0


def test_a_plan_that_can_be_written_nowhere_is_at_least_printed(
    tiny: Path, tmp_path: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_args, **_more):
        raise errors.OutputError("the disk is full")

    monkeypatch.setattr(cli_planning.api, "write", full)
    assert plan(tiny, tmp_path / "out") == 6
    shown = capsys.readouterr()
    assert "Green Cap" in shown.out
    assert "the disk is full" in shown.err


def test_nothing_from_the_input_steers_the_terminal(
    tiny: Path, tmp_path: Path, capsys: Capture
) -> None:
    for name in ("products.csv", "containers.csv", "recipes.csv"):
        edit(tiny, name, "Green Cap", "[bold]Green[/bold] Cap")
    winter(tiny, tmp_path / "out")
    shown = capsys.readouterr()
    edit(tiny, "fields.csv", "Home 80,", "Home\x1b]0;owned\x07\x9b31m 80\u202e,")
    edit(tiny, "recipes.csv", "4 fl oz/cwt", "[bold]4[/bold] fl\x1b[1m oz/cwt")
    cli.run(["check", str(tiny)])
    told = capsys.readouterr()
    for character in "\x1b\x07\x9b\u202e":
        assert character not in shown.out + shown.err + told.out + told.err
    assert "[bold]Green[/bold] Cap" in shown.out
    assert "[bold]4[/bold] fl" in told.err


# --- Plans compared, scenarios, planning again, the shop ------------------------------------------


def test_compare_shows_differences_only(tiny: Path, tmp_path: Path, capsys: Capture) -> None:
    """With the jug at $130 two jugs cost $260, so one keg for $240 is the order."""
    winter(tiny, tmp_path / "first")
    edit(tiny, "containers.csv", "jug,1 gal,100", "jug,1 gal,130")
    capsys.readouterr()
    first = str(tmp_path / "first" / "plan.json")
    assert cli.run(["compare", first, str(tiny), "--out", str(tmp_path / "both")]) == 0
    shown = capsys.readouterr().out
    assert "$200.00" in shown
    assert "$240.00" in shown
    assert "Shortages: no difference" in shown
    assert sorted(p.name for p in (tmp_path / "both").iterdir()) == ["compare.json", "compare.xlsx"]
    assert cli.run(["compare", first, first, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["same"] is True
    assert cli.run(["compare", first]) == 2


@pytest.mark.slow
@pytest.mark.parametrize("settings", ['"metric"', "[1]", "7"])
def test_compare_takes_plans_whose_settings_are_odd(
    tiny: Path, tmp_path: Path, capsys: Capture, settings: str
) -> None:
    winter(tiny, tmp_path / "out")
    written = tmp_path / "out" / "plan.json"
    data = json.loads(written.read_text("utf-8")) | {"settings": json.loads(settings)}
    written.write_text(json.dumps(data), "utf-8")
    capsys.readouterr()
    assert cli.run(["compare", str(written), str(written)]) == 0


def test_what_if_plans_each_scenario(tiny: Path, tmp_path: Path, capsys: Capture) -> None:
    """As above, as a scenario."""
    (tiny / "what if.csv").write_text(
        "Scenario,Sheet,Row,Column,Value\nDear jugs,Containers,Green Cap / jug,Price,130\n", "utf-8"
    )
    assert plan(tiny, tmp_path / "out", "--what-if", "--pack", "study") == 0
    shown = capsys.readouterr().out
    assert "Dear jugs" in shown
    assert "$240.00" in shown
    written = json.loads((tmp_path / "out" / "plan.json").read_text("utf-8"))
    assert written["cost"]["total"] == pytest.approx(200)
    assert written["what_if"]["names"][1] == "Dear jugs"
    (changed,) = written["what_if"]["changes"]
    assert changed == {
        "scenario": "Dear jugs",
        "sheet": "Containers",
        "item": "Green Cap / jug",
        "column": "Price",
        "was": "100",
        "value": "130",
    }
    book = openpyxl.load_workbook(tmp_path / "out" / "study.xlsx")
    cells = [tuple(row) for row in book["What if"].iter_rows(values_only=True)]
    assert tuple(changed.values()) in [row[:6] for row in cells]


def test_scenarios_are_planned_unless_told_not_to(tiny: Path, tmp_path: Path) -> None:
    rows = "Scenario,Sheet,Row,Column,Value\nDear jugs,Containers,Green Cap / jug,Price,130\n"
    (tiny / "what if.csv").write_text(rows, "utf-8")
    for flags, there in (((), True), (("--no-what-if",), False)):
        assert plan(tiny, tmp_path / "out", "--pack", "study", *flags) == 0
        written = json.loads((tmp_path / "out" / "plan.json").read_text("utf-8"))
        assert ("what_if" in written) is there
        titles = openpyxl.load_workbook(tmp_path / "out" / "study.xlsx").sheetnames
        assert ("What if" in titles) is there


def test_faults_of_a_scenario_are_told_before_anything_is_planned(
    tiny: Path, tmp_path: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A fault that only the change brings about: a jug that nothing can be drawn from."""
    monkeypatch.setattr("planner.api.make_plan", lambda *_, **__: pytest.fail("planned"))
    rows = "Scenario,Sheet,Row,Column,Value\nWaxed,Containers,Green Cap / jug,Heel,5 gal\n"
    (tiny / "what if.csv").write_text(rows, "utf-8")
    assert plan(tiny, tmp_path / "out", "--what-if") == 3
    assert "less than Size" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


def test_planning_again_with_nothing_changed_changes_nothing(
    tiny: Path, tmp_path: Path, capsys: Capture
) -> None:
    winter(tiny, tmp_path / "old")
    capsys.readouterr()
    assert winter(tiny, tmp_path / "new", "--since", str(tmp_path / "old" / "plan.json")) == 0
    assert "Nothing changes" in capsys.readouterr().out
    assert winter(tiny, tmp_path / "none", "--since", str(tmp_path / "none.json")) == 3


@pytest.mark.slow
def test_acres_moved_are_capped_only_against_an_earlier_plan(
    tiny: Path, tmp_path: Path, capsys: Capture
) -> None:
    assert plan(tiny, tmp_path / "old", "--most-moved", "10") == 2
    assert "--most-moved goes with --since" in capsys.readouterr().err
    winter(tiny, tmp_path / "old")
    old = str(tmp_path / "old" / "plan.json")
    assert winter(tiny, tmp_path / "new", "--since", old, "--most-moved", "0") == 0
    written = json.loads((tmp_path / "new" / "plan.json").read_text("utf-8"))
    assert written["planning_again"]["most_moved"] == 0.0
    for wrong in ("-1", "some", "5 gal", "nan"):
        assert plan(tiny, tmp_path / "new", "--since", old, "--most-moved", wrong) == 2


def test_bags_reported_done_reach_the_next_plan(
    tiny: Path, tmp_path: Path, capsys: Capture
) -> None:
    """Three bags are to be treated (see conftest.py); two are done, one is left to treat."""
    winter(tiny, tmp_path / "old")
    old = str(tmp_path / "old" / "plan.json")
    assert cli.run(["campaign", old, "--done", "L-1:Base:2:2027-01-15"]) == 0
    capsys.readouterr()
    assert winter(tiny, tmp_path / "new", "--since", old) == 0
    assert (
        "not on Treated so far, so counted as treated here: 80 units of L-1 under Base"
        in " ".join(capsys.readouterr().out.split())
    )
    before = json.loads(Path(old).read_text("utf-8"))["treating"]
    now = json.loads((tmp_path / "new" / "plan.json").read_text("utf-8"))["treating"]
    assert [t["full_bags"] + t["part_bag"] for t in before] == [3]
    assert [t["full_bags"] + t["part_bag"] for t in now] == [1]


def test_a_plan_with_bags_reported_done_is_not_replaced_unless_continued(
    tiny: Path, tmp_path: Path, capsys: Capture
) -> None:
    folder = tmp_path / "out"
    winter(tiny, folder)
    file = folder / "plan.json"
    assert cli.run(["campaign", str(file), "--done", "L-1:Base:2:2027-01-15"]) == 0
    before = file.read_bytes()
    assert winter(tiny, folder) == 6
    assert f"continue from it with plan --since {file}" in capsys.readouterr().err
    assert file.read_bytes() == before
    assert cli.run(["risk", str(tiny), "--out", str(folder), "--seconds", "1"]) == 6
    assert "bags were reported done" in capsys.readouterr().err
    assert file.read_bytes() == before
    season = api.load(tiny)
    for made in (api.make_plan(season, effort=20), api.read_plan(file, season)):
        with pytest.raises(errors.OutputError, match="bags were reported done"):
            api.write(made, season, folder)  # whoever asked, and whatever came meanwhile
    assert file.read_bytes() == before
    book = (folder / "campaign.xlsx").read_bytes()
    assert winter(tiny, folder, "--since", str(file)) == 0
    assert "campaign.xlsx is still of an earlier plan" in capsys.readouterr().out
    assert plan(tiny, folder, "--since", str(file), "--pack", "shop") == 0
    kept = folder / "campaign (kept).xlsx"
    shown = capsys.readouterr().out
    assert f"typed into it: {kept}" in shown
    assert "still of an earlier plan" not in shown
    assert kept.read_bytes() == book
    assert not (folder / "campaign.xlsx").exists()


def test_bags_done_are_taken_off_the_work(tiny: Path, tmp_path: Path, capsys: Capture) -> None:
    """Three bags are to be treated (see conftest.py); two are done, one is left."""
    winter(tiny, tmp_path / "out")
    before = (tmp_path / "out" / "plan.xlsx").read_bytes()
    capsys.readouterr()
    file = str(tmp_path / "out" / "plan.json")
    folder = str(tmp_path / "out")
    assert cli.run(["campaign", folder, "--done", "L-1:Base:2:2027-01-15"]) == 0
    shown = capsys.readouterr().out
    assert shown.startswith("2 of 3 bags are done.")
    assert re.search(r"L-1 +Base +3$", shown, re.MULTILINE)
    assert (tmp_path / "out" / "campaign.xlsx").is_file()
    assert (tmp_path / "out" / "plan.xlsx").read_bytes() == before
    assert cli.run(["campaign", str(tmp_path / "out"), "--done", "L-1:Base:-1"]) == 0
    assert capsys.readouterr().out.startswith("1 of 3 bags are done."), "its folder will do"
    assert cli.run(["campaign", file, "--recount"]) == 2, "that would forget all of it"
    assert cli.run(["campaign", file, "--done", "L-1:Base:9"]) == 3
    assert cli.run(["campaign", str(tmp_path / "none.json")]) == 3


@pytest.mark.long
@pytest.mark.slow
def test_start_never_replaces_unless_forced(tmp_path: Path, capsys: Capture) -> None:
    file, folder = tmp_path / "s.xlsx", tmp_path / "csv"
    assert cli.run(["start", str(file), "--csv", str(folder)]) == 0
    first = file.read_bytes()
    assert cli.run(["start", str(file), "--demo"]) == 6
    assert cli.run(["start", "--csv", str(folder)]) == 6
    assert "--force" in capsys.readouterr().err
    assert file.read_bytes() == first
    assert cli.run(["start", str(file), "--demo", "--force"]) == 0
    assert cli.run(["check", str(file)]) == 0
    assert cli.run(["start", str(tmp_path / "next.xlsx"), "--from", str(file)]) == 0
    assert "leared" in capsys.readouterr().out
    told = ["start", str(tmp_path / "n.xlsx"), "--from", str(file), "--plan", str(tmp_path)]
    assert cli.run(told) == 3
    assert "plan.json cannot be read as a plan" in capsys.readouterr().err


def test_a_plan_is_named_by_its_folder_too_but_a_folder_of_tables_is_a_season(
    tiny: Path, tmp_path: Path, capsys: Capture
) -> None:
    winter(tiny, tmp_path / "out")
    winter(tiny, tiny)
    edit(tiny, "containers.csv", "jug,1 gal,100", "jug,1 gal,90")  # two jugs: $180
    capsys.readouterr()
    told = ["--seconds", "5", "--json"]
    assert cli.run(["compare", str(tmp_path / "out"), str(tiny), *told]) == 0
    costs = json.loads(capsys.readouterr().out)["parts"][0]["lines"]
    assert costs[-1]["amounts"] == [200.0, 180.0]
    assert winter(tiny, tmp_path / "again", "--since", str(tmp_path / "out")) == 0


# --- Ctrl-C ---------------------------------------------------------------------------------------


def press_ctrl_c() -> None:
    os.kill(os.getpid(), signal.SIGINT)


@pytest.mark.slow
def test_first_ctrl_c_asks_the_work_to_stop() -> None:
    asked = []

    def work(stop: threading.Event) -> str:
        press_ctrl_c()
        assert stop.wait(10)
        return "best so far"

    before = signal.getsignal(signal.SIGINT)
    assert interruptible(work, lambda: None, lambda: asked.append(True)) == ("best so far", True)
    assert asked == [True]
    assert signal.getsignal(signal.SIGINT) is before


@pytest.mark.slow
def test_second_ctrl_c_leaves() -> None:
    release = threading.Event()

    def deaf(stop: threading.Event) -> bool:
        press_ctrl_c()
        assert stop.wait(10)
        press_ctrl_c()
        return release.wait(20)

    with pytest.raises(KeyboardInterrupt):
        interruptible(deaf, lambda: None, lambda: None)
    release.set()


@pytest.mark.slow
def test_ctrl_c_writes_the_best_plan_as_feasible(
    tiny: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Capture
) -> None:
    """The solver is made to dawdle after its plan, as it does on a hard season."""
    from planner.optimize.search import run
    from planner.plan.plan import Outcome

    honest = run.solve

    def dawdle(season, options, on_progress=None, stop=None):
        made = honest(season, options, on_progress=on_progress, stop=stop)
        assert stop is not None
        press_ctrl_c()
        assert stop.wait(10)
        bound = made.cost.total * 0.9
        gap = (made.cost.total - bound) / made.cost.total
        return replace(made, outcome=Outcome.FEASIBLE, bound=bound, gap=gap)

    monkeypatch.setattr("planner.optimize.search.run.solve", dawdle)
    assert plan(tiny, tmp_path / "out") == 0
    written = json.loads((tmp_path / "out" / "plan.json").read_text("utf-8"))
    assert written["outcome"] == "feasible"
    shown = capsys.readouterr()
    assert "best plan so far is kept" in shown.err
    said = " ".join(shown.out.split())
    assert "No plan can be cheaper by more than $20.00 (10% of the total compared)." in said


@pytest.mark.slow
@pytest.mark.parametrize("when", ["planner.api.make_campaign", "planner.api.write"])
def test_ctrl_c_after_the_plan_is_decided_does_not_lose_it(
    tiny: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, when: str
) -> None:
    """Whoever means to cut the search short may press a moment after it ended by itself."""
    room, _, name = when.rpartition(".")
    honest = getattr(importlib.import_module(room), name)
    once = iter([press_ctrl_c])

    def pressed(*args: object, **kwargs: object) -> object:
        next(once, lambda: None)()
        return honest(*args, **kwargs)

    monkeypatch.setattr(when, pressed)
    before = signal.getsignal(signal.SIGINT)
    assert plan(tiny, tmp_path / "out") == 0
    assert {"plan.json", "plan.xlsx"} <= {p.name for p in (tmp_path / "out").iterdir()}
    assert signal.getsignal(signal.SIGINT) is before


@pytest.mark.slow
def test_the_second_ctrl_c_leaves_while_files_are_written(
    tiny: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def pressed(*_args: object, **_kwargs: object) -> None:
        press_ctrl_c()
        press_ctrl_c()

    monkeypatch.setattr("planner.api.make_campaign", pressed)
    assert plan(tiny, tmp_path / "out") == 130
    assert not (tmp_path / "out").exists()


def test_ctrl_c_where_python_would_go_on_is_130() -> None:
    """Raised while an object is dropped, where nothing can catch it."""
    code = """
from planner.__main__ import _hear_everywhere

class Dropped:
    def __del__(self):
        raise KeyboardInterrupt

_hear_everywhere()
Dropped()
print("went on")
"""
    ended = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert (ended.returncode, ended.stdout, ended.stderr) == (130, "", "")


@pytest.mark.slow
@pytest.mark.skipif(os.name == "nt", reason="signals are sent otherwise there")
def test_ctrl_c_before_any_plan_is_130(tiny: Path) -> None:
    """A real process, stopped while it still imports or reads."""
    process = subprocess.Popen(
        [sys.executable, "-m", "planner", "plan", str(tiny)],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    time.sleep(0.25)
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=60)
    assert process.returncode in (0, 130)
    assert "Traceback" not in err
    assert (out == "") is (process.returncode == 130)


PRESSED_WHILE_READING = """
import os, signal, sys
from planner import cli
from planner.season import read
honest = read.read_season
def pressed(*given, **named):
    os.kill(os.getpid(), signal.SIGINT)
    return honest(*given, **named)
read.read_season = pressed
sys.exit(cli.run(sys.argv[1:]))
"""


@pytest.mark.slow
@pytest.mark.skipif(os.name == "nt", reason="signals are sent otherwise there")
def test_ctrl_c_while_reading_is_130(tiny: Path, tmp_path: Path) -> None:
    """A real process again, stopped at a moment that is known."""
    command = [sys.executable, "-c", PRESSED_WHILE_READING, "plan", str(tiny)]
    done = subprocess.run(
        [*command, "--out", str(tmp_path / "out")], cwd=ROOT, capture_output=True, text=True
    )
    assert (done.returncode, done.stdout) == (130, "")
    assert "Traceback" not in done.stderr
    assert not (tmp_path / "out").exists()


def test_the_order_is_said_and_written_before_reasons_are_looked_for(
    tiny: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture
) -> None:
    from planner import api

    out, seen = tmp_path / "out", []
    honest = api.explain

    def explain(*args, **named):
        seen.append((capsys.readouterr().out, sorted(p.name for p in out.iterdir())))
        return honest(*args, **named)

    monkeypatch.setattr(api, "explain", explain)
    assert cli.run(["plan", str(tiny), "--out", str(out), "--why", "1"]) == 0
    said, written = seen[0]
    assert "All 80 acres are covered" in said
    assert "200.00" in said
    assert {"plan.json", "plan.xlsx"} <= set(written)

"""The documents say what the program does: commands, exit codes, columns and settings."""

import os
import re
import shlex
import shutil
import subprocess
import sys
from fnmatch import fnmatch
from pathlib import Path

import pytest

from planner import cli, errors
from planner.season.dictionary import input_page
from planner.season.schema import SHEETS
from reports import plan_pages

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text("utf-8")
NAMES = sorted(
    command.name or (command.callback.__name__ if command.callback else "")
    for command in cli.app.registered_commands
)


@pytest.mark.parametrize("name", NAMES)
def test_help_of_every_command_has_an_example(name: str, capsys: pytest.CaptureFixture) -> None:
    assert cli.run([name, "--help"]) == 0
    assert f"Example: wholedrum {name} " in capsys.readouterr().out


def test_help_says_every_command_in_full_at_80_columns(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    assert cli.run(["--help"]) == 0
    listed = capsys.readouterr().out.partition("Commands:")[2].split("\n")
    assert [line.split()[0] for line in listed if line] == [
        c.callback.__name__ for c in cli.app.registered_commands if c.callback
    ]
    assert not any("..." in line for line in listed)


@pytest.mark.parametrize("name", NAMES)
def test_help_says_each_default_once(name: str, capsys: pytest.CaptureFixture) -> None:
    cli.run([name, "--help"])
    shown = re.split(r"\n  (?=\S)", capsys.readouterr().out)
    assert [option for option in shown if option.count("[default") > 1] == []


@pytest.mark.parametrize("name", NAMES)
def test_readme_shows_every_command(name: str) -> None:
    assert f"wholedrum {name} " in README


def commands_shown(text: str) -> list[list[str]]:
    """Arguments of every `wholedrum ...` in the text, comments cut off."""
    shown = re.findall(rf"wholedrum ((?:{'|'.join(NAMES)}) [^`#&\n]*)", text)
    return [shlex.split(line.replace("...", "")) for line in shown]


@pytest.mark.parametrize("arguments", commands_shown(README), ids=" ".join)
def test_options_in_the_readme_exist(arguments: list[str], capsys: pytest.CaptureFixture) -> None:
    """Every option that the README uses is one that the command's help lists."""
    cli.run([arguments[0], "--help"])
    text = capsys.readouterr().out
    for option in (a for a in arguments if a.startswith("--")):
        assert f"  {option} " in text, option


def test_readme_finds_its_commands() -> None:
    assert {name for name, *_ in commands_shown(README)} == set(NAMES)


def test_extras_are_installed_from_the_folder_as_no_registry_has_the_project() -> None:
    pages = [*ROOT.glob("*.md"), *(ROOT / "planner").rglob("*.py")]
    assert [p.name for p in pages if "install 'wholedrum[" in p.read_text("utf-8")] == []


def test_readme_lists_every_exit_code() -> None:
    codes = {int(code) for code in re.findall(r"^\| (\d+) \|", README, re.MULTILINE)}
    ours = {error.exit_code for error in errors.PlannerError.__subclasses__()}
    assert codes == ours | {0, 1, 2, cli.SHORT, cli.TERMINATED}
    listed = (cli.__doc__ or "").partition("Exit codes: ")[2]
    assert {int(code) for code in re.findall(r"(?:^|;)\s*(\d+)\s", listed)} == codes


def test_the_page_of_the_input_is_up_to_date() -> None:
    """`python -m planner.season.dictionary > data/INPUT.md` was run after the last change."""
    assert (ROOT / "data" / "INPUT.md").read_text("utf-8") == input_page()


@pytest.mark.parametrize("sheet", SHEETS, ids=lambda sheet: sheet.name)
def test_every_column_and_setting_is_documented(sheet) -> None:
    page = input_page()
    own = page[page.index(f"\n## {sheet.name}") :].split("\n## ")[1]
    for column in (*sheet.columns, *sheet.settings):
        assert re.search(rf"^\| {re.escape(column.name)}( \*)? \| ", own, re.MULTILINE)
        assert column.meaning.endswith((".", ";"))


def test_the_drawing_of_the_house_names_every_file() -> None:
    """By its name, or as one of `check_*.py`; the optimizer is drawn in a page of its own."""
    text = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    drawn = text.partition("\n    planner/\n")[2].partition("\n    data/")[0]
    rooms = dict(re.findall(r"^      (\w+)/ (.*(?:\n        .*)*)", drawn, re.MULTILINE))
    assert {"season", "report", "page"} < set(rooms)
    for room, said in rooms.items():
        named = [name.removesuffix(".py") for name in re.findall(r"[\w*]+(?:\.py)?", said)]
        files = (ROOT / "planner" / room).glob("*.py") if room != "optimize" else ()
        for stem in (file.stem for file in files if file.name != "__init__.py"):
            assert any(fnmatch(stem, name) for name in named), f"{room}/{stem}.py"


def test_links_lead_somewhere() -> None:
    for name in ("README.md", "DEVELOPERS.md"):
        text = (ROOT / name).read_text("utf-8")
        targets = re.findall(r"\]\(([^)#:]+)\)", text)
        assert len(targets) > 5 or name != "README.md"
        for target in targets:
            assert (ROOT / target).exists(), f"{name} links {target}"


@pytest.mark.slow
def test_readme_python_example_runs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    block = re.search(r"## From Python\n\n((?:    .*\n|\n)+)", README)
    assert block is not None
    code = "\n".join(line[4:] for line in block[1].split("\n"))
    code = code.replace('"plan"', repr(str(tmp_path / "out")))
    code = code.replace("seconds=30", "seconds=5")
    monkeypatch.chdir(ROOT)
    exec(code, {})  # noqa: S102, RUF100 - our own README
    assert (tmp_path / "out" / "plan.json").is_file()


def test_set_up_commands_are_two() -> None:
    """Continuous integration runs exactly these lines in a fresh clone (see .ci/run)."""
    lines = re.findall(r"^    (?:python3 -m venv|\.venv/bin/pip).*$", README, re.MULTILINE)
    assert len(lines) == 2
    assert lines[0].endswith("wholedrum plan data/demo.xlsx --out plan")
    assert "pytest" in lines[1]


@pytest.mark.slow
def test_what_is_not_tested_is_said_at_the_end(tmp_path: Path) -> None:
    """Without LibreOffice: one line that says so, how to get it, and that .ci/run fails at."""
    command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider"]
    command += ["tests/report/test_workbook.py::test_sums_stand_under_their_numbers"]
    bare = {**os.environ, "PATH": str(tmp_path)}
    done = subprocess.run(command, cwd=ROOT, env=bare, capture_output=True, text=True, timeout=300)
    assert done.returncode == 0
    (said,) = [line for line in done.stdout.splitlines() if line.startswith("Not tested:")]
    assert "(skipped tests: 1, in tests/report/test_workbook.py)" in said
    for package in ("libreoffice-calc", "poppler-utils"):
        assert package in said
        assert f"`{package}`" in README
    script = (ROOT / ".ci" / "run").read_text("utf-8")
    check = re.search(r"^tested\(\) \{.*?^\}$", script, re.MULTILINE | re.DOTALL)
    assert check is not None
    runs = [x.strip() for x in script.splitlines() if "-m pytest" in x or '"${commands[1]}"' in x]
    assert len(runs) == 3
    assert all(run.startswith("tested ") for run in runs)
    for line, code in ((said, 1), ("2 passed", 0)):
        check_it = f"work={tmp_path}; {check[0]}; tested echo '{line}'"
        asked = ["bash", "-euo", "pipefail", "-c", check_it]
        assert subprocess.run(asked, check=False, capture_output=True).returncode == code


@pytest.mark.skipif(shutil.which("git") is None, reason="git is not installed")
def test_git_does_not_look_where_the_first_command_writes(tmp_path: Path) -> None:
    """A clone stays clean; but the package of the same name is looked at."""
    ignored = "plan/plan.xlsx", ".venv/bin/python", "wholedrum.egg-info/PKG-INFO"
    seen = "planner/plan/plan.py", "planner/plan/new.py", "reports/demo/charts.png"
    shutil.copy(ROOT / ".gitignore", tmp_path)
    subprocess.run(["git", "init", "-q"], cwd=tmp_path, check=True)
    asked = ["git", "check-ignore", *ignored, *seen]
    done = subprocess.run(asked, cwd=tmp_path, capture_output=True, text=True, check=True)
    assert done.stdout.split() == [*ignored]


def test_pictures_of_the_readme_are_all_that_is_kept_of_the_demos_plan() -> None:
    """`python -m reports.plan_pages` draws those that README shows, and no others stand there."""
    shown = re.findall(r"!\[[^]]+\]\(reports/demo/([^)]+)\)", README)
    assert shown == [name for each in plan_pages.README.values() for name in each.values()]
    assert sorted(path.name for path in (ROOT / "reports" / "demo").iterdir()) == sorted(shown)


def test_first_pages_of_sheets_are_found_by_their_feet() -> None:
    feet = [["A farm", "The plan", "2026"], ["A farm", "Order", "2026"]]
    feet += [["A farm", "Order", "2026"], [], ["Order"]]
    assert plan_pages.first_pages(feet, ("Order", "The plan")) == {"Order": 2, "The plan": 1}
    with pytest.raises(SystemExit, match="'Pictures'; there are Order, The plan"):
        plan_pages.first_pages(feet, ("The plan", "Pictures"))


def test_files_that_documents_name_are_there() -> None:
    """Every path in backticks, in documents and in our modules, is that of a file or folder."""
    files = [
        p for part in ("planner", "tests", "reports", "data") for p in (ROOT / part).rglob("*")
    ]
    there = {str(p.relative_to(ROOT)) for p in files}
    documents = [p for p in (*ROOT.glob("*.md"), *files) if p.suffix in (".md", ".py")]
    named = {
        (p.name, name.rstrip("/"))
        for p in documents
        for name in re.findall(r"`((?:planner|tests|reports|data)/[\w./-]*)`", p.read_text("utf-8"))
    }
    assert len(named) > 20
    missing = [(page, name) for page, name in sorted(named) if name not in there]
    assert missing == []

"""The documents say what the program does: commands, exit codes, columns and settings."""

import re
import shlex
from pathlib import Path

import pytest

from planner import cli, errors
from planner.season.dictionary import input_page
from planner.season.schema import SHEETS

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


@pytest.mark.parametrize("name", NAMES)
def test_readme_shows_every_command(name: str) -> None:
    assert f"wholedrum {name} " in README


def commands_shown(text: str) -> list[list[str]]:
    """Arguments of every `wholedrum ...` in the text, comments cut off."""
    shown = re.findall(r"wholedrum ((?:start|check|plan|compare|campaign) [^`#&\n]*)", text)
    return [shlex.split(line.replace("...", "")) for line in shown]


@pytest.mark.parametrize("arguments", commands_shown(README), ids=" ".join)
def test_options_in_the_readme_exist(arguments: list[str], capsys: pytest.CaptureFixture) -> None:
    """Every option that the README uses is one that the command's help lists."""
    cli.run([arguments[0], "--help"])
    text = capsys.readouterr().out
    for option in (a for a in arguments if a.startswith("--")):
        assert f"  {option} " in text, option


def test_readme_finds_its_commands() -> None:
    assert len(commands_shown(README)) >= 5


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


def test_links_lead_somewhere() -> None:
    for name in ("README.md", "DEVELOPERS.md"):
        text = (ROOT / name).read_text("utf-8")
        for target in re.findall(r"\]\(([^)#:]+)\)", text):
            assert (ROOT / target).exists(), f"{name} links {target}"


def test_readme_python_example_runs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    block = re.search(r"## From Python\n\n((?:    .*\n|\n)+)", README)
    assert block is not None
    code = "\n".join(line[4:] for line in block[1].split("\n"))
    code = code.replace('"reports/demo"', repr(str(tmp_path / "out")))
    code = code.replace("seconds=30", "seconds=5")
    monkeypatch.chdir(ROOT)
    exec(code, {})  # noqa: S102, RUF100 - our own README
    assert (tmp_path / "out" / "plan.json").is_file()


def test_set_up_commands_are_two() -> None:
    """Continuous integration runs exactly these lines in a fresh clone (see .ci/run)."""
    lines = re.findall(r"^    (?:python3 -m venv|\.venv/bin/pip).*$", README, re.MULTILINE)
    assert len(lines) == 2
    assert "wholedrum plan data/demo.xlsx --out reports/demo" in lines[0]
    assert "pytest" in lines[1]

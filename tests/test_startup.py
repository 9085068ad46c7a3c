"""What is heavy is imported where it is used, so that help and checks answer at once."""

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
HEAVY = ("pandas", "pulp", "highspy", "pint", "openpyxl", "icalendar", "numpy")


def loaded_by(statement: str) -> set[str]:
    """Heavy libraries that a fresh interpreter holds after a statement."""
    code = (
        "import sys, contextlib, io\n"
        "with contextlib.redirect_stdout(io.StringIO()):\n"
        "    with contextlib.suppress(SystemExit):\n"
        f"        {statement}\n"
        f"print([m for m in {HEAVY!r} if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True
    )
    return set(ast_list(done.stdout))


def ast_list(text: str) -> list[str]:
    import ast

    return [str(item) for item in ast.literal_eval(text.strip())]


@pytest.mark.parametrize(
    "statement",
    [
        "from planner.cli import main; main(['--help'])",
        "from planner.cli import main; main(['plan', '--help'])",
        "from planner.cli import main; main(['--version'])",
        "import planner; planner.load; planner.make_plan; planner.write; planner.Season",
    ],
)
def test_help_and_import_load_nothing_heavy(statement: str) -> None:
    assert loaded_by(statement) == set()


def test_the_probe_sees_what_is_loaded() -> None:
    assert "pint" in loaded_by("import pint")

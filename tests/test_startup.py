"""What is heavy is imported where it is used, so that help and checks answer at once."""

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
HEAVY = ("pandas", "pulp", "highspy", "pint", "openpyxl", "icalendar", "numpy", "scipy", "numba")
HEAVY = (*HEAVY, "starlette", "uvicorn", "jinja2", "dask")  # of extras


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


@pytest.mark.parametrize("file", ["__init__.py", "__main__.py"])
def test_nothing_is_imported_before_ctrl_c_is_heard(file: str) -> None:
    """What is imported before `main` is entered leaves a moment in which Ctrl-C is a traceback."""
    import ast

    body = ast.parse((ROOT / "planner" / file).read_text("utf-8")).body
    assert body
    assert not [ast.unparse(line) for line in body if isinstance(line, ast.Import | ast.ImportFrom)]


def test_the_probe_sees_what_is_loaded() -> None:
    assert "pint" in loaded_by("import pint")


def printed(code: str) -> str:
    """What a fresh process puts on its real file descriptor 1, whoever writes there."""
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True
    )
    return done.stdout


def license_lines() -> list[str]:
    return printed("import highspy; highspy.Highs()").splitlines()


def test_the_solver_prints_its_license_where_nothing_turns_it_aside() -> None:
    """Else the tests below could not fail."""
    assert "HiGHS" in license_lines()[0]


@pytest.mark.slow
def test_import_and_quiet_plan_print_nothing_of_the_solver(tmp_path: Path) -> None:
    season = ROOT / "tests" / "instances" / "needless-bag"
    plan = f"['plan', {str(season)!r}, '--out', {str(tmp_path)!r}, '--quiet', '--seconds', '5']"
    said = printed(
        "import planner, planner.optimize.search.run\n"
        "print('imported', flush=True)\n"
        "from planner.cli import main\n"
        f"main({plan})"
    )
    lines = said.splitlines()
    assert lines[0] == "imported"
    assert lines[-1].startswith("Written: ")
    assert not set(lines) & set(license_lines())


def test_many_threads_that_start_solving_at_once_print_nothing_and_lose_nothing() -> None:
    said = printed(
        "import threading\n"
        "from planner.optimize.mip.highs import new_highs\n"
        "ready = threading.Barrier(8)\n"
        "def work():\n"
        "    ready.wait(); new_highs(); new_highs()\n"
        "threads = [threading.Thread(target=work) for _ in range(8)]\n"
        "print('before')\n"
        "for t in threads: t.start()\n"
        "for t in threads: t.join()\n"
        "print('after')"
    )
    assert said == "before\nafter\n"


def test_a_process_without_standard_output_can_solve() -> None:
    done = subprocess.run(
        [
            sys.executable,
            "-c",
            "import os; os.close(1)\n"
            "from planner.optimize.mip.highs import new_highs\n"
            "new_highs(); os.write(2, b'made')",
        ],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stderr == "made"

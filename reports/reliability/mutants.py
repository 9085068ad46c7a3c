"""Change the code in one small way at a time, and see whether the tests notice.

    python -m reports.reliability.mutants --sample 400 --seed 1
    python -m reports.reliability.mutants --sample 0 --only planner/plan/audit.py
    python -m reports.reliability.mutants --sample 0 --only planner/plan/audit.py:42
    python -m reports.reliability.mutants --again printed.txt --seasons 400
    python -m reports.reliability.mutants --sample 0 --seed 1 --skip 716

A mutant is one file with one comparison, sum, factor, number, condition or statement changed. It is
put into a copy of the project in a temporary folder, never into the project itself. Libraries are
imported once and every mutant gets a forked process, which runs the tests that matter for its room
and then plans random seasons and holds them against the second model
(`tests/laws/second_model.py`). A mutant that makes any of that fail, or takes far too long, is
killed; the others survive and are printed. Needs Linux. --sample 0 takes every mutant; a sample is
drawn file by file, in proportion.
"""

from __future__ import annotations

import argparse
import ast
import compileall
import importlib
import os
import random
import resource
import shutil
import signal
import sys
import tempfile
import threading
import time
import traceback
from collections import Counter
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Iterator

ROOT = Path(__file__).parents[2]
PARTS = ("planner", "tests", "data", "pyproject.toml", "README.md")
"""What the tests below need of the project."""
LIBRARIES = ("pytest", "hypothesis", "numpy", "pulp", "highspy", "scipy.optimize", "scipy.sparse")
"""Imported once, before the first fork. Nothing of the project is: it has to be imported anew."""
PATIENCE = 900.0
"""Seconds of the clock after which a mutant that only waits is ended."""
MEMORY = 6 << 30
"""Bytes of address space that a mutant may take."""
LONGER = 5.0
"""How many times as long every time limit is in the copy: a busy machine must kill no mutant."""


@dataclass(frozen=True)
class Room:
    """Files that are changed together, and what has to notice."""

    files: tuple[str, ...]
    tests: tuple[str, ...]
    seasons: int
    """Random seasons planned after the tests."""


def _optimize(*names: str) -> tuple[str, ...]:
    return tuple(f"planner/optimize/model/{name}.py" for name in names)


RULES, NUMBERS = "optimize/model/test_rules.py", "optimize/test_numbers.py"
ROOMS = {
    "agronomy": Room(
        tuple(
            f"planner/agronomy/{name}.py"
            for name in ("seeding", "rates", "protection", "suitability")
        ),
        ("agronomy", RULES),
        15,
    ),
    "optimize": Room(
        _optimize("constraints", "objective", "variables", "instance", "extract"),
        (RULES, NUMBERS),
        60,
    ),
    "plan": Room(
        ("planner/plan/audit.py", "planner/plan/recount.py", "planner/plan/price.py"),
        ("plan/test_audit.py", RULES, NUMBERS),
        25,
    ),
}

# --- what is changed ------------------------------------------------------------------------------

SWAPS: dict[type[ast.AST], type[ast.AST]] = {
    ast.Lt: ast.LtE,
    ast.LtE: ast.Lt,
    ast.Gt: ast.GtE,
    ast.GtE: ast.Gt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.FloorDiv: ast.Mult,
    ast.Mod: ast.Mult,
    ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd,
    ast.And: ast.Or,
    ast.Or: ast.And,
}
CALLS = {"min": "max", "max": "min", "any": "all", "all": "any", "ceil": "floor", "floor": "ceil"}
NOT_CODE = (ast.JoinedStr, ast.arg, ast.Import, ast.ImportFrom)
"""Messages, parameters with their types, imports."""


class Change(NamedTuple):
    """Another node in the place of one: `holder.key`, or its item `at` where that is a list."""

    holder: ast.AST
    key: str
    at: int | None
    new: ast.AST
    line: int
    told: str


class Mutant(NamedTuple):
    """A file and which of its changes is made."""

    room: str
    file: str
    line: int
    told: str
    number: int

    def __str__(self) -> str:
        """Return where it is and what was done."""
        return f"{self.file}:{self.line} {self.notes}"


def _places(node: ast.AST) -> Iterator[tuple[str, int | None, ast.AST]]:
    """Child nodes that are code, with where they hang."""
    if isinstance(node, ast.keyword) and node.arg == "strict":
        return  # of zip: a check of ours that never fires
    for key, value in ast.iter_fields(node):
        if key in ("annotation", "returns", "decorator_list", "bases", "type_params"):
            continue
        for at, child in enumerate(value) if isinstance(value, list) else [(None, value)]:
            if isinstance(child, ast.AST) and not isinstance(child, NOT_CODE):
                yield key, at, child


def _for_types_only(node: ast.AST) -> bool:
    return (
        isinstance(node, ast.If)
        and isinstance(node.test, ast.Name)
        and node.test.id == "TYPE_CHECKING"
    )


def changes(tree: ast.AST) -> Iterator[Change]:
    """Every change that is made to a file."""
    for key, at, child in _places(tree):
        if _for_types_only(child):
            continue
        for new, told in _others(child, tree, key):
            yield Change(
                tree, key, at, new, getattr(child, "lineno", tree.__dict__.get("lineno", 0)), told
            )
        yield from changes(child)
    yield from _left_out(tree)


def _others(node: ast.AST, parent: ast.AST, key: str) -> Iterator[tuple[ast.AST, str]]:
    """Nodes that could stand in the place of one, and what that means in words."""
    if type(node) in SWAPS:
        new = SWAPS[type(node)]()
        yield new, f"{type(node).__name__} -> {type(new).__name__}"
    elif isinstance(node, ast.Name) and node.id in CALLS and key == "func":
        yield ast.Name(CALLS[node.id], ast.Load()), f"{node.id} -> {CALLS[node.id]}"
    elif isinstance(node, ast.Constant):
        yield from ((ast.Constant(n), f"{node.value} -> {n}") for n in _numbers(node.value))
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub | ast.Not):
        yield node.operand, f"{ast.unparse(node)} without its {type(node.op).__name__}"
    if key == "test" or (key == "ifs" and isinstance(parent, ast.comprehension)):
        yield ast.UnaryOp(ast.Not(), node), f"not ({ast.unparse(node)})"
    elif isinstance(node, _DROPPED) and not _is_text(node):
        yield ast.Pass(), f"without: {ast.unparse(node).splitlines()[0][:90]}"


_DROPPED = (ast.Expr, ast.AugAssign, ast.Continue, ast.Raise, ast.Delete)


def _is_text(node: ast.AST) -> bool:
    """Whether a statement is a docstring."""
    return (
        isinstance(node, ast.Expr)
        and isinstance(node.value, ast.Constant)
        and isinstance(node.value.value, str)
    )


def _numbers(value: object) -> tuple[object, ...]:
    """Other values of a constant: tolerances none or wide, other numbers one more."""
    if isinstance(value, bool):
        return (not value,)
    if isinstance(value, float) and 0.0 < value < 1e-3:
        return 0.0, value * 1e4
    return (value + 1,) if isinstance(value, int | float) else ()


def _left_out(node: ast.AST) -> Iterator[Change]:
    """A table of rules without one of them."""
    if isinstance(node, ast.Assign | ast.AnnAssign) and isinstance(node.value, ast.Tuple):
        rows = node.value.elts
        for i, row in enumerate(rows if all(isinstance(r, ast.Name) for r in rows) else ()):
            new = ast.Tuple(rows[:i] + rows[i + 1 :], ast.Load())
            yield Change(node, "value", None, new, row.lineno, f"without {ast.unparse(row)}")


def mutants_of(room: str, file: str) -> list[Mutant]:
    """Every mutant of a file."""
    tree = ast.parse((ROOT / file).read_text("utf-8"))
    return [Mutant(room, file, c.line, c.notes, n) for n, c in enumerate(changes(tree))]


def changed(mutant: Mutant) -> str:
    """Return the text of the changed file."""
    tree = ast.parse((ROOT / mutant.file).read_text("utf-8"))
    change = list(changes(tree))[mutant.number]
    value: Any = getattr(change.holder, change.key)
    if change.at is None:
        setattr(change.holder, change.key, change.new)
    else:
        value[change.at] = change.new
    return ast.unparse(ast.fix_missing_locations(tree))


# --- whether anything notices ---------------------------------------------------------------------


def copied(to: Path) -> Path:
    """Copy the project, byte-compiled."""
    for name in PARTS:
        if (ROOT / name).is_dir():
            shutil.copytree(ROOT / name, to / name, ignore=shutil.ignore_patterns("__pycache__"))
        else:
            shutil.copy(ROOT / name, to / name)
    compileall.compile_dir(to / "planner", quiet=1)
    return to


def forget(tree: Path, file: str) -> None:
    """Delete a file's compiled code, which could be taken for that of its mutant."""
    path = tree / file
    for old in (path.parent / "__pycache__").glob(f"{path.stem}.*.pyc"):
        old.unlink()


def answers_agree(seasons: int) -> bool:
    """Whether random seasons are planned, proven, pass the audit and equal the second model."""
    import pytest

    from planner.optimize.options import SolveOptions
    from planner.optimize.search.run import solve
    from planner.plan.audit import audit
    from planner.plan.plan import Outcome
    from tests.laws import second_model
    from tests.support.random_season import tiny_season

    for seed in range(seasons):
        one = tiny_season(seed)
        plan = solve(one, SolveOptions(seconds=30, gap=0.0))
        audit(plan, one)
        right = second_model.solve(one)
        if plan.outcome is not Outcome.OPTIMAL or plan.cost.total != pytest.approx(
            right.cost, rel=1e-6, abs=5e-4
        ):
            return False
        if sum(s.acres for s in plan.shortages) != pytest.approx(sum(right.short), abs=1e-5):
            return False
    return True


def all_is_well(room: Room, file: str) -> bool:
    """Whether a room's tests, the file's own examples and random seasons pass, here and now."""
    import pytest

    arguments = [file, *(f"tests/{name}" for name in room.tests)]
    quiet = ["-q", "--no-header", "-p", "no:cacheprovider"]
    known = ["-W", "ignore::pytest.PytestAssertRewriteWarning"]  # its plugins are imported by now
    code = pytest.main(["-x", *quiet, *known, *arguments])
    return code in (0, 5) and answers_agree(room.seasons)


def forked(tree: Path, room: Room, file: str, seconds: int) -> tuple[str, float]:
    """What becomes of the code in the copy, and the seconds of processor that it took.

    "survived", "killed" or, past so many seconds of processor, "too slow".
    """
    child = os.fork()
    if child == 0:
        code = 1
        try:
            _settle_in(tree, seconds)
            code = 0 if all_is_well(room, file) else 1
        except BaseException:
            traceback.print_exc()
        finally:
            sys.stdout.flush()
            sys.stderr.flush()
            os._exit(code)
    late = threading.Timer(PATIENCE, os.kill, (child, signal.SIGKILL))
    late.start()
    _, status, used = os.wait4(child, 0)
    late.cancel()
    if os.WIFSIGNALED(status) and os.WTERMSIG(status) in (signal.SIGXCPU, signal.SIGKILL):
        return "too slow", used.ru_utime
    return "survived" if status == 0 else "killed", used.ru_utime


def _settle_in(tree: Path, seconds: int) -> None:
    """Make the copy the project of this process, and keep quiet."""
    resource.setrlimit(resource.RLIMIT_CPU, (seconds, seconds + 5))
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    log = os.open(tree / "log.txt", os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
    os.dup2(log, 1)
    os.dup2(log, 2)
    os.chdir(tree)
    os.environ["PYTHONPATH"] = str(tree)
    sys.path[:] = [str(tree), *(p for p in sys.path if p not in ("", str(ROOT)))]
    for name in [n for n in sys.modules if n.split(".")[0] in ("planner", "tests")]:
        del sys.modules[name]
    _take_time()


def _take_time() -> None:
    """Let the clock of this process go slower, and time limits of HiGHS be as much longer."""
    import highspy

    clock, told = time.monotonic, highspy.Highs.setOptionValue

    def set_option(highs: highspy.Highs, name: str, value: Any) -> Any:
        longer = isinstance(value, float) and name == "time_limit"
        return told(highs, name, value * LONGER if longer else value)

    time.monotonic = lambda: clock() / LONGER
    highspy.Highs.setOptionValue = set_option


def tried(tree: Path, mutant: Mutant, seconds: int) -> str:
    """What becomes of a mutant."""
    path = tree / mutant.file
    path.write_text(changed(mutant), "utf-8")
    forget(tree, mutant.file)
    try:
        return forked(tree, ROOMS[mutant.room], mutant.file, seconds)[0]
    finally:
        shutil.copy(ROOT / mutant.file, path)


def chosen(sample: int, seed: int, only: str, again: str) -> list[Mutant]:
    """Mutants to try."""
    every = [
        m for name, room in ROOMS.items() for file in room.files for m in mutants_of(name, file)
    ]
    every = [m for m in every if f"{m.file}:{m.line}:".startswith(f"{only}:") or not only]
    if again:
        told = Path(again).read_text("utf-8").splitlines()
        before = {line.partition("survived: ")[2] for line in told}
        return [m for m in every if str(m) in before]
    rng, found = random.Random(seed), []
    share = sample / len(every) if 0 < sample < len(every) else 1.0
    for file in dict.fromkeys(m.file for m in every):
        mine = [m for m in every if m.file == file]
        found += rng.sample(mine, max(1, round(share * len(mine))))
    rng.shuffle(found)  # so that a run cut short has tried something of everything
    return found


def allowed(tree: Path) -> dict[str, int]:
    """Seconds of processor for a mutant of each room: three times what the sound code takes."""
    limits = {}
    for name, room in ROOMS.items():
        result, took = forked(tree, room, room.files[0], 600)
        if result != "survived":
            print((tree / "log.txt").read_text("utf-8")[-3000:])
            sys.exit(f"{name}: the tests fail without any change")
        limits[name] = 20 + round(3.0 * took)
        print(f"{name}: {took:.1f} s for a mutant that survives", flush=True)
    return limits


def table(results: list[tuple[Mutant, str]]) -> str:
    """Counts by file."""
    rows = ["| file | mutants | killed | of them too slow | survived |", "|---|---|---|---|---|"]
    files = sorted({m.file for m, _ in results})
    for name in [*files, "all"]:
        n = Counter(result for m, result in results if name in (m.file, "all"))
        killed = n["killed"] + n["too slow"]
        rows.append(f"| {name} | {n.total()} | {killed} | {n['too slow']} | {n['survived']} |")
    return "\n".join(rows)


def main() -> None:
    """Try the mutants and print the survivors and a table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--sample", type=int, default=400)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", default="", help="a file, or file:line")
    parser.add_argument("--again", default="", help="a printed list; only its survivors")
    parser.add_argument("--seasons", type=int, default=0, help="more random seasons than usual")
    parser.add_argument("--minutes", type=float, default=600.0, help="begin no mutant after them")
    parser.add_argument("--skip", type=int, default=0, help="go on after so many of those drawn")
    asked = parser.parse_args()
    for name in LIBRARIES:
        importlib.import_module(name)
    for name, room in ROOMS.items():
        ROOMS[name] = replace(room, seasons=max(room.seasons, asked.seasons))
    mutants = chosen(asked.sample, asked.seed, asked.only, asked.again)[asked.skip :]
    print(f"{len(mutants)} mutants", flush=True)
    begin, results = time.monotonic(), []
    with tempfile.TemporaryDirectory() as folder:
        tree = copied(Path(folder))
        limits = allowed(tree)
        sys.dont_write_bytecode = True
        os.environ["PYTHONDONTWRITEBYTECODE"] = "1"
        for mutant in mutants:
            if time.monotonic() - begin > 60.0 * asked.minutes:
                break
            result = tried(tree, mutant, limits[mutant.room])
            results.append((mutant, result))
            if result != "killed":
                print(f"{len(results)}. {result}: {mutant}", flush=True)
    print(f"\n{table(results)}\n\n{time.monotonic() - begin:.0f} s")


if __name__ == "__main__":
    main()

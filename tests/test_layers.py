"""The house is as drawn in DEVELOPERS.md: who may import whom, and which library lives where."""

import ast
import re
import tomllib
from collections.abc import Iterator
from functools import cache
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
PACKAGE = ROOT / "planner"

LAYERS = (
    "errors",
    "sums",
    "engine",
    "units",
    "season",
    "form",
    "agronomy",
    "plan",
    "optimize",
    "explain",
    "campaign",
    "risk",
    "sharing",
    "report",
    "many",
    "api",
    "__init__",
    "terminal",
    "page",
    "cli",
    "__main__",
)
"""Lowest first: a room imports from itself and from rooms before it."""

OPTIMIZER = (
    "params",
    "options",
    "mip",
    "model",
    "incumbent",
    "annealing",
    "bounds",
    "heuristics",
    "search",
    "from_plan",
    "__init__",
)
"""The same inside `optimize`, whose rooms have rooms."""

HOMES = {
    "pint": ("units/",),
    "numpy": ("optimize/", "explain/", "campaign/", "risk/", "sharing/"),
    "scipy": ("risk/draws", "risk/statistics", "risk/tolls", "sharing/games", "sharing/groups"),
    "pulp": ("optimize/",),
    "highspy": ("optimize/",),
    "numba": ("optimize/annealing/compiled",),
    "openpyxl": ("season/workbook", "form/", "report/"),
    "defusedxml": ("season/",),
    "dask": ("engine/",),
    "distributed": ("engine/",),
    "icalendar": ("campaign/", "report/"),
    "typer": ("cli.py", "terminal/arguments"),
    "starlette": ("page/",),
    "uvicorn": ("page/server",),
    "jinja2": ("page/site",),
    "markupsafe": ("page/picture", "page/svg", "page/closing"),
}
"""Third-party libraries and the files (by the start of their path) that may import them."""

PURE = (
    "report/frames",
    "report/sheets.py",
    "report/measures.py",
    "report/json.py",
    "report/files.py",
    "explain/",
    "campaign/",
    "risk/",
    "sharing/",
    "plan/",
    "agronomy/",
)
"""What must know nothing of workbooks, whatever room it is in."""

FILES = sorted(PACKAGE.rglob("*.py"))


@cache
def imports(path: Path) -> list[tuple[str, int]]:
    """Modules that a file imports (of `planner` the names that it takes), and the lines."""
    return list(_imports(path))


def _imports(path: Path) -> Iterator[tuple[str, int]]:
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            yield from ((alias.name, node.lineno) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path.name}:{node.lineno}: relative import"
            if (node.module or "").split(".")[0] == "planner":
                yield from ((f"{node.module}.{alias.name}", node.lineno) for alias in node.names)
            else:
                yield node.module or "", node.lineno


def layer(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def name_of(path: Path) -> str:
    """Module of a file, as it is imported."""
    return ".".join(path.relative_to(ROOT).with_suffix("").parts)


def target(module: str) -> str:
    second = module.split(".")[1] if "." in module else "__init__"
    here = PACKAGE / second
    return second if here.is_dir() or here.with_suffix(".py").is_file() else "__init__"


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_imports_point_downward(path: Path) -> None:
    room = layer(path)
    if room == "__init__":
        return  # only names it lends out; test_startup holds that it fetches them late
    for module, line in imports(path):
        if module.split(".")[0] != "planner":
            continue
        other = target(module)
        ok = other == room or LAYERS.index(other) < LAYERS.index(room)
        assert ok, f"{path.name}:{line}: {room} imports {other}"


@pytest.mark.parametrize(
    "path", sorted((PACKAGE / "optimize").rglob("*.py")), ids=lambda p: f"{p.parent.name}/{p.stem}"
)
def test_imports_point_downward_in_the_optimizer(path: Path) -> None:
    inner = path.relative_to(PACKAGE / "optimize").parts[0].removesuffix(".py")
    for module, line in imports(path):
        if module.startswith("planner.optimize."):
            other = module.split(".")[2]
            ok = other == inner or OPTIMIZER.index(other) < OPTIMIZER.index(inner)
            assert ok, f"{path.name}:{line}: {inner} imports {other}"


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_libraries_live_in_their_rooms(path: Path) -> None:
    place = path.relative_to(PACKAGE).as_posix()
    for module, line in imports(path):
        homes = HOMES.get(module.split(".")[0])
        if homes is not None:
            assert place.startswith(homes), f"{place}:{line} imports {module}"
        if module.startswith("openpyxl"):
            assert not place.startswith(PURE), f"{place}:{line} imports {module}"


def test_every_library_that_is_imported_is_known() -> None:
    """A library that is not in the table is in the standard library or our own."""
    import sys

    for path in FILES:
        for module, line in imports(path):
            top = module.split(".")[0]
            known = top in sys.stdlib_module_names or top == "planner" or top in HOMES
            assert known, f"{path.relative_to(PACKAGE)}:{line} imports {module}"


def test_files_import_in_no_circle() -> None:
    """Not even for types: who reads a file need not know one that knows it in turn."""
    known = {name_of(path) for path in FILES}
    graph = {
        name_of(path): {
            other
            for module, _ in imports(path)
            for other in known & {module, module.rpartition(".")[0]} - {name_of(path)}
        }
        for path in FILES
        if path.name != "__init__.py"
    }
    TopologicalSorter(graph).prepare()  # a CycleError names the files


def test_every_room_is_in_the_list() -> None:
    assert {layer(path) for path in FILES} == set(LAYERS)


def test_every_room_is_packed() -> None:
    """A room that pyproject.toml forgets is missing from an installed wholedrum."""
    packed = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
    listed = packed["tool"]["setuptools"]["packages"]
    rooms = {
        ".".join(path.parent.relative_to(ROOT).parts) for path in PACKAGE.rglob("*/__init__.py")
    }
    assert set(listed) == rooms | {"planner", "planner.data"}


def test_developers_page_names_every_room() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    for room in LAYERS:
        if not room.startswith("__"):
            assert re.search(rf"^ +{room}(/|\.py) ", text, re.MULTILINE), room


def test_files_that_the_developers_page_names_are_in_their_room() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    drawing = text.partition("    planner/\n")[2].partition("\n    data/")[0]
    rooms = re.findall(r"^ {6}(\w+)/ +((?:.+\n?)(?: {20}.*\n?)*)", drawing, re.MULTILINE)
    assert {room for room, _ in rooms} == {r for r in LAYERS if (PACKAGE / r).is_dir()}
    for room, said in rooms:
        for name in re.findall(r"(?<![\w*/])([a-z]\w*\.py)", said):
            places = [PACKAGE / room / name, PACKAGE / name]
            assert any(place.is_file() for place in places), f"{room}/{name}"


def test_top_level_holds_nothing_else() -> None:
    import subprocess

    listed = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False
    ).stdout.split("\n")
    tops = {line.split("/")[0] for line in listed if line and not line.startswith((".", '"'))}
    if not (ROOT / ".git").exists():
        pytest.skip("not a clone, so there is no list of files")
    assert "planner" in tops
    allowed = {"README.md", "DEVELOPERS.md", "pyproject.toml", "LICENSE"}
    assert tops <= allowed | {"planner", "data", "tests", "reports"}

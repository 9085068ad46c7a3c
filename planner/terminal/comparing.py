"""Seasons and plans side by side on the terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.plan.plan import NEARNESS, how_near
from planner.report.comparison import AS_IT_IS, MEASURES, NOT_ALLOWED, remarks
from planner.report.measures import Measure
from planner.terminal.deciding import decide
from planner.terminal.text import paragraph, table, written_lines

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from planner.explain.compare import Comparison, Seed
    from planner.plan.plan import Plan
    from planner.report.measures import Manner
    from planner.terminal.deciding import Options

MOST = 20
"""Lines of one side that are shown; the files hold all."""


def compare_all(
    paths: list[Path], folder: Path | None, options: Options, *, as_json: bool
) -> list[str]:
    """Compare seasons and plans; write the files where a folder is named.

    Returns
    -------
    list of str
        What to print.
    """
    from planner.explain.compare import compare
    from planner.report.comparison import comparison_book, comparison_bytes
    from planner.report.files import check_folder
    from planner.report.plan_files import write_or_beside
    from planner.report.workbook import render

    if folder is not None:
        check_folder(folder, ("compare.xlsx", "compare.json"), paths)
    read = [read_any(path, options) for path in paths]
    named = list(zip(names_of(paths), (plan for plan, _, _ in read), strict=True))
    signs = [manner.currency for _, manner, _ in read]
    comparison = compare(named, [treated for *_, treated in read], currencies=signs)
    data = comparison_bytes(comparison)
    manner = read[0][1]
    lines = data.decode().split("\n")[:-1] if as_json else comparison_lines(comparison, manner)
    if folder is not None:
        book = render(comparison_book(comparison, manner))
        written = write_or_beside(folder, {"compare.json": data, "compare.xlsx": book})
        lines += [] if as_json else written_lines(written)
    return lines


def read_any(path: Path, options: Options) -> tuple[Plan, Manner, Mapping[Seed, float]]:
    """Plan of a ``plan.json``, or of a season that is planned now, and how its numbers are read.

    Also the units that were treated before it, by lot and recipe.

    Raises
    ------
    InputError
        When it is neither.
    """
    from planner import api
    from planner.plan.earlier import by_seed
    from planner.report.again_json import read_earlier
    from planner.report.json import stored_manner
    from planner.report.measures import manner_of

    if path.suffix.casefold() == ".json":
        earlier = read_earlier(path)
        return earlier.plan, stored_manner(path), earlier.before
    season = api.load(path)
    return decide(season, options)[0], manner_of(season.farm), by_seed(season.treated)


def names_of(paths: list[Path]) -> list[str]:
    """Short names of inputs that tell them apart.

    >>> from pathlib import Path
    >>> names_of([Path("a/plan.json"), Path("b/plan.json"), Path("c/season.xlsx")])
    ['a', 'b', 'season']
    """
    names = []
    for path in paths:
        whole = path.resolve()
        named = whole.parent.name if whole.name.casefold() == "plan.json" else whole.stem
        names.append(named or str(path))
    if len({name.casefold() for name in names}) < len(names):
        names = [f"{number}. {name}" for number, name in enumerate(names, 1)]
    return names


def comparison_lines(comparison: Comparison, manner: Manner) -> list[str]:
    """Differences, side by side; what is the same in all plans is left out."""
    said = map(how_near, comparison.outcomes, comparison.gaps)
    near = [each if isinstance(each, str) else f"{each * 100.0:.2f}%" for each in said]
    rows = [[NEARNESS, *near], *_as_it_is(comparison, manner)]
    lines = table(["Plan", *comparison.names], rows)
    for n in comparison.not_found:
        lines.append(f"{comparison.names[n]}: no plan was found in its time; give it more seconds.")
    lines += [line for text in remarks(comparison) for line in paragraph(text, 0)]
    comparison = comparison.only(
        [n for n in range(len(comparison.names)) if n not in comparison.not_found]
    )
    for part in comparison.parts:
        shown = part.different
        if not shown:
            lines.append(f"{part.name}: no difference")
            continue
        rows = [
            [*line.what, *(manner.say(amount, MEASURES[part.unit]) for amount in line.amounts)]
            for line in shown[:MOST]
        ]
        headers = [*part.columns, *comparison.names]
        lines += [part.name, *table(headers, rows, left=len(part.columns))]
        if len(shown) > MOST:
            lines.append(f"  ... and {len(shown) - MOST} more")
    return lines


def _as_it_is(comparison: Comparison, manner: Manner) -> list[list[str]]:
    """What every plan's decisions come to in the season of the first, where that was counted."""
    if not comparison.totals_as_it_is:
        return []
    said = [
        "" if n in comparison.not_found else _money(total, manner)
        for n, total in enumerate(comparison.totals_as_it_is)
    ]
    return [[AS_IT_IS, *said]]


def _money(total: float | None, manner: Manner) -> str:
    return NOT_ALLOWED if total is None else manner.say(total, Measure.MONEY)

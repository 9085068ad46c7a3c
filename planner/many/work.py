"""One season as a job: read, plan and write it, wherever the job runs."""

from __future__ import annotations

import tempfile
from dataclasses import replace
from pathlib import Path
from time import monotonic
from typing import TYPE_CHECKING, NamedTuple

from planner.errors import AuditError, InputError, PlannerError
from planner.sharing.dealer import FAILED, FAULTS, Planned, record_of

if TYPE_CHECKING:
    from planner.optimize.options import SolveOptions
    from planner.season.domain import Season

WINTER = ("winter",)
"""Workbooks that are written of each season."""


class Task(NamedTuple):
    """What a job gets: everything, so that it may run on another machine."""

    name: str
    mark: str
    content: dict[str, bytes]
    folder: bool
    """Whether the content is that of a folder of CSV files."""
    options: SolveOptions


class Result(NamedTuple):
    """What a job gives back."""

    record: Planned
    files: dict[str, bytes]
    """Of the plan, by name; none where there is no plan."""


def plan_one(task: Task) -> Result:
    """Plan one season. What is wrong with it is in the record; it stops no other."""
    began = monotonic()
    bare = Planned(task.name, task.mark, FAULTS, seconds=task.options.seconds)
    try:
        season = _read(task)
        record, files = _plan(season, task)
    except InputError as error:
        faults = tuple(str(f) for f in error.faults)
        return Result(replace(bare, faults=faults, took=monotonic() - began), {})
    except AuditError:
        raise  # a bug of ours, reported as such
    except (PlannerError, MemoryError) as error:
        said = str(error) or "the season needs more memory than there is"
        record, files = replace(bare, outcome=FAILED, faults=(said,)), {}
    took = monotonic() - began
    return Result(replace(record, seconds=task.options.seconds, took=took), files)


def _read(task: Task) -> Season:
    """Read a season from its bytes; its own name is no path here."""
    from planner.season.read import read_season

    with tempfile.TemporaryDirectory(prefix="wholedrum-") as made:
        folder = Path(made)
        for number, (name, data) in enumerate(task.content.items()):
            plain = name if task.folder and _is_plain(name) else f"season{number}.xlsx"
            (folder / plain).write_bytes(data)
        source = folder if task.folder else folder / "season0.xlsx"
        try:
            season = read_season(source)
        except InputError as error:  # the user knows the file by its own name
            named = [
                replace(f, sheet=task.name) if f.sheet == source.name else f for f in error.faults
            ]
            raise InputError(task.name, named) from None
    return replace(season, source=task.name)


def _is_plain(name: str) -> bool:
    return name == Path(name).name and name.casefold().endswith(".csv")


def _plan(season: Season, task: Task) -> tuple[Planned, dict[str, bytes]]:
    from planner.campaign.campaign import make_campaign
    from planner.explain.complete import complete
    from planner.optimize.search.run import solve
    from planner.report.plan_files import plan_content

    plan = complete(solve(season, task.options), season)
    campaign = make_campaign(season, plan)
    record = record_of(season, plan, campaign, task.name, task.mark)
    return record, plan_content(plan, season, campaign, packs=WINTER)

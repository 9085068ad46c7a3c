"""The plan made: its first page, its sheets, its files."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from starlette.exceptions import HTTPException

from planner.page import cells, menu
from planner.page.answers import download
from planner.report.facts import RULES, WHAT_IF
from planner.report.files import JSON
from planner.season.domain import TRIED

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from starlette.requests import Request
    from starlette.responses import Response

    from planner.page.desk import Desk, Made, Taken
    from planner.page.site import Site
    from planner.report.sheets import Sheet

WORKBOOKS = {
    "plan": "The plan to print and order from",
    "shop": "For the shop: what to treat and plant, day by day",
    "study": "Why the plan is as it is, and every further table",
    "settlement": "Who owes whom, every bill side by side, and whether it is fair",
    "bill": "For one grower: own fields, own seed, own bill, nothing of the others",
}
WHAT = {
    ".xlsx": "A workbook",
    ".ics": "Treating days for your calendar",
    ".json": "The plan for programs, and for planning again",
}


RULE_SECONDS = (60, 180, 600)
SCENARIO_SECONDS = (5, 20, 60, 180)
ASKS = {
    cells.slug(RULES): ("rules", RULE_SECONDS, RULE_SECONDS[0]),
    cells.slug(WHAT_IF): ("what if", SCENARIO_SECONDS, SCENARIO_SECONDS[1]),
}
"""Pages of a plan that offer to plan more: what, the times offered, the usual one."""


def unplanned(made: Made) -> Sheet | None:
    """Page of the scenarios as long as they are not planned; None where there are none."""
    from planner.report.again_frames import what_if_sheet

    changes = tuple(c for c in made.season.what_if if c.scenario != TRIED)
    if not changes or cells.sheet_of(made.book, cells.slug(WHAT_IF)) is not None:
        return None
    return what_if_sheet(None, changes)


def _busy(desk: Desk) -> bool:
    return desk.job is not None and not desk.job.over


class PlanViews:
    """Handlers of a plan."""

    def __init__(self, site: Site) -> None:
        self.site = site

    def answer(self, request: Request) -> Response:
        """First page of the plan."""
        desk = self.site.desk(request)
        made = self.site.made(desk)
        return self._show_sheet(desk, made, made.book.sheets[0], request, step="answer")

    def look(self, request: Request) -> Response:
        """One sheet of the plan."""
        desk = self.site.desk(request)
        made = self.site.made(desk)
        sheet = cells.sheet_of(made.book, request.path_params["sheet"])
        if sheet is None and request.path_params["sheet"] == cells.slug(WHAT_IF):
            sheet = unplanned(made)
        if sheet is None:
            raise HTTPException(404, "The plan has no such page.")
        return self._show_sheet(desk, made, sheet, request, step="look")

    def _show_sheet(
        self, desk: Desk, made: Made, sheet: Sheet, request: Request, *, step: str
    ) -> Response:
        stale = self.site.stale(desk, made)
        here = cells.slug(sheet.title)
        more = unplanned(made)
        names = [c.scenario for c in made.season.what_if if c.scenario != TRIED] if more else []
        return self.site.page(
            "sheet.html",
            desk=desk,
            made=made,
            step=step,
            stale=stale,
            groups=menu.groups(made.book, [more] if more else []),
            here=here,
            unplanned=list(dict.fromkeys(names)),
            asks=None if stale or _busy(desk) else ASKS.get(here),
            beside=desk.before is not None,
            **self.site.sheet_values(made.book, sheet, f"/s/{desk.entry.key}/look", request),
        )

    def files(self, request: Request) -> Response:
        """List what can be taken along."""
        desk = self.site.desk(request)
        made = self.site.made(desk)
        return self.site.plan_page(
            "files.html",
            desk,
            made,
            "files",
            listed=listed(made.files),
            kept_in=kept_in(made.files),
        )

    def file(self, request: Request) -> Response:
        """Send one of them, by its number."""
        desk = self.site.desk(request)
        return send(self.site.made(desk).files, request, desk)


def listed(files: Sequence[Taken]) -> list[tuple[int, str, str, str]]:
    """Number, name, size and purpose of files to take along, those for programs last."""
    numbered = sorted(enumerate(files), key=lambda each: [*WHAT, ""].index(_kind(each[1].path)))
    return [
        (n, f.path.name, f"{len(f.content) / 1000:,.0f} kB", _what(f.path)) for n, f in numbered
    ]


def _kind(path: Path) -> str:
    return path.suffix if path.suffix in WHAT else ""


def kept_in(files: Sequence[Taken]) -> Path | None:
    """Folder that still holds these files; None where files of another plan replaced them.

    Workbooks may have been saved there since: plan.json says which plan it is.
    """
    there = all(f.path.is_file() for f in files)
    same = all(f.still_there for f in files if f.path.name == JSON)
    return files[0].path.parent if files and there and same else None


def send(files: Sequence[Taken], request: Request, desk: Desk) -> Response:
    """Send the file whose number an address says.

    Raises
    ------
    HTTPException
        404 where there is none.
    """
    said = request.path_params["number"]
    number = int(said) if re.fullmatch(r"[0-9]{1,6}", said) else len(files)
    if number >= len(files):
        raise HTTPException(404, "There is no such file.")
    file = files[number]
    return download(file.content, f"{desk.entry.name} {file.path.name}")


def _what(path: Path) -> str:
    """Say what a file of a plan is for."""
    said = WHAT.get(path.suffix, "")
    return WORKBOOKS.get(path.stem.split(" ")[0], said) if path.suffix == ".xlsx" else said

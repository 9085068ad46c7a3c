"""A season checked, and being planned."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException

from planner import api
from planner.errors import OutputError
from planner.form.mark import mark_faults
from planner.page import cells, tasks
from planner.page.answers import download, go, seconds_of
from planner.page.closing import closing_in
from planner.page.desk import Phase, SeasonJob
from planner.page.plans import last_plan
from planner.plan.plan import NEARNESS, known_gap
from planner.report.again_json import campaign_in
from planner.report.measures import Measure, manner_of
from planner.report.season_frames import understood_book

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

    from planner.page.desk import Desk
    from planner.page.site import Site
    from planner.season.domain import Season

SECONDS = (5, 20, 60, 180, 600)
"""Times for deciding that are offered."""
USUAL = 60
NO_COPY = "This file can't be copied with its faults marked: it is no workbook that can be opened."


class Near(NamedTuple):
    """Staying near the plan that is there, as the page Check offers it."""

    must: bool
    """Whether bags were reported done of it, which another plan would forget."""
    usual: bool
    """Whether it is meant unless the reader says otherwise: work has begun."""


class SeasonViews:
    """Handlers from the workbook to its plan."""

    def __init__(self, site: Site) -> None:
        self.site = site

    def check(self, request: Request) -> Response:
        """What was understood of a season, or every fault."""
        desk = self.site.desk(request)
        reading = desk.read()
        if reading.season is None:
            return self.site.page("faults.html", desk=desk, reading=reading, step="check")
        book = understood_book(reading.season)
        return self.site.page(
            "check.html",
            desk=desk,
            step="check",
            seconds=SECONDS,
            usual=USUAL,
            near=self._near(desk, reading.season),
            **self.site.sheet_values(book, book.sheets[0], f"/s/{desk.entry.key}", request),
        )

    def _near(self, desk: Desk, season: Season) -> Near | None:
        """What is offered where the plan that is there is of the season as it was before."""
        file = last_plan(desk.entry)
        if file is None:
            return None
        done = bool(campaign_in(file).get("done"))
        if not done and desk.made is not None and not self.site.stale(desk, desk.made):
            return None
        return Near(done, done or bool(season.treated or season.ordered))

    def marked(self, request: Request) -> Response:
        """Send a copy of the workbook with its faults marked."""
        desk = self.site.desk(request)
        reading = desk.read()
        if not reading.faults:
            raise HTTPException(404, "This season has no faults.")
        suffix = ".csv" if desk.entry.path.is_dir() else desk.entry.path.suffix.casefold()
        with tempfile.TemporaryDirectory() as place:
            try:
                path = mark_faults(desk.entry.path, reading.faults, Path(place) / f"marked{suffix}")
            except OutputError:
                raise HTTPException(409, NO_COPY) from None
            return download(path.read_bytes(), f"{desk.entry.name}-faults{suffix}")

    async def plan(self, request: Request) -> Response:
        """Begin to plan a season, unless it is being planned already."""
        form = await self.site.form(request)

        def give() -> Response:
            desk = self.site.desk(request)
            typed = desk.read().season
            if typed is None:
                return go(f"/s/{desk.entry.key}")
            seconds = seconds_of(form.get("seconds"), USUAL)
            job = SeasonJob(desk, typed, seconds, tasks.plan, base=typed.fingerprint)
            near, file = self._near(desk, typed), last_plan(desk.entry)
            if file is not None and near is not None and (near.must or form.get("near")):
                job.season, job.earlier, job.notes = api.bring_in(typed, file)
            return self.site.begin(job)

        return await run_in_threadpool(give)

    def live(self, request: Request) -> Response:
        """How a plan comes along."""
        desk = self.site.desk(request)
        if desk.job is None:
            return go(f"/s/{desk.entry.key}" + ("/answer" if desk.made else ""))
        return self.site.page("live.html", desk=desk, step="plan", **self._live(desk.job))

    def live_part(self, request: Request) -> Response:
        """Send the part of that page which changes."""
        desk = self.site.desk(request)
        if desk.job is None:
            raise HTTPException(404, "Nothing is being planned.")
        return self.site.page("live_part.html", desk=desk, **self._live(desk.job))

    def _live(self, job: SeasonJob) -> dict[str, Any]:
        manner = manner_of(job.season.farm)
        last = job.points[-1] if job.points else None
        return {
            "job": job,
            "last": last,
            "gap": known_gap(last.gap) if last else None,
            "nearness": NEARNESS,
            "money": lambda v: cells.say(v, Measure.MONEY, manner),
            "area": lambda v: manner.say(v, Measure.AREA),
            "before": self.site.works.before(job),
            "picture": closing_in(job.points, _now(job), max(job.seconds, job.searched), manner),
        }

    async def stop(self, request: Request) -> Response:
        """Keep the best plan so far."""
        await self.site.form(request)
        desk = await run_in_threadpool(self.site.desk, request)
        if desk.job is not None:
            desk.job.stop.set()
        return go(f"/s/{desk.entry.key}/live")


def _now(job: SeasonJob) -> float:
    """Seconds up to which its search is drawn."""
    if job.phase in (Phase.DECIDING, Phase.SCENARIOS):
        return job.searched
    return job.points[-1].seconds if job.points else 0.0

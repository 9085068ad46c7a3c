"""What a reader asks of a plan that takes planning: why it is as it is, and what if."""

from __future__ import annotations

from typing import TYPE_CHECKING

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException

from planner import api
from planner.page import tasks
from planner.page.answers import seconds_of
from planner.page.cells import slug
from planner.page.desk import SeasonJob
from planner.report.facts import RULES, WHAT_IF
from planner.season.read import scenarios_of

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

    from planner.page.site import Site

USUAL_EACH = 20
NO_SCENARIOS = "This season has no scenarios. They are typed on the workbook's sheet What if."


class AskViews:
    """Handlers of the buttons that plan changed seasons beside the plan."""

    def __init__(self, site: Site) -> None:
        self.site = site

    async def why(self, request: Request) -> Response:
        """Begin to find out why a plan is as it is, or with more time what its rules cost."""
        form = await self.site.form(request)

        def give() -> Response:
            desk = self.site.desk(request)
            made = self.site.made(desk)
            return self.site.begin(
                SeasonJob(
                    desk,
                    made.season,
                    seconds_of(form.get("seconds"), api.WHY_MOST),
                    tasks.find_why,
                    title="Finding out why",
                    searches=False,
                    done="Found out",
                    then="answer" if made.why is None else f"look/{slug(RULES)}",
                    see="See the answer" if made.why is None else "See what rules cost",
                    made=made,
                    changes=made.changes,
                )
            )

        return await run_in_threadpool(give)

    async def what_if(self, request: Request) -> Response:
        """Begin to plan the scenarios, unless the season is being worked on already."""
        form = await self.site.form(request)

        def give() -> Response:
            desk, made, _season, cells = self.site.ground(request)
            scenarios = scenarios_of(cells, made.changes)
            if not scenarios:
                raise HTTPException(404, NO_SCENARIOS)
            return self.site.begin(
                SeasonJob(
                    desk,
                    made.season,
                    seconds_of(form.get("seconds"), USUAL_EACH),
                    tasks.plan_scenarios,
                    title="Planning what if",
                    done="The scenarios are planned",
                    then=f"look/{slug(WHAT_IF)}",
                    see="See what comes of them",
                    made=made,
                    scenarios=scenarios,
                    parts=len(scenarios),
                    changes=made.changes,
                )
            )

        return await run_in_threadpool(give)

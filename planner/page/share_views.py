"""One order for several growers: what each bears, who owes whom, and whether that is fair."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException

from planner.errors import InputError
from planner.page import cells, tasks
from planner.page.answers import seconds_of
from planner.page.desk import SeasonJob
from planner.page.plan_views import kept_in, listed, send
from planner.report.grower_frames import file_names
from planner.report.share_frames import settlement_book
from planner.sharing.growers import growers_of, shared
from planner.sharing.shares import groups_to_plan

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

    from planner.page.desk import Desk, Made
    from planner.page.site import Site
    from planner.report.sheets import Book

EACH = (2, 5, 10, 30)
"""Seconds for each group that are offered."""
USUAL_EACH = 5
ONE_GROWER = (
    "This season has one grower. To share an order, name the Grower of every field on the sheet "
    "Fields."
)


class ShareViews:
    """Handlers of the page Share."""

    def __init__(self, site: Site) -> None:
        self.site = site

    def _ground(self, request: Request) -> tuple[Desk, Made]:
        """Desk and plan of a season with several growers.

        Raises
        ------
        HTTPException
            404 without a plan, or with one grower only.
        """
        desk = self.site.desk(request)
        made = self.site.made(desk)
        if not shared(made.season):
            raise HTTPException(404, ONE_GROWER)
        return desk, made

    def show(self, request: Request) -> Response:
        """Bills, and once groups were planned by themselves, who owes whom and fairness."""
        desk, made = self._ground(request)
        return self.site.plan_page(
            "share.html",
            desk,
            made,
            "share",
            growers=growers_of(made.season),
            rule=made.season.farm.share_by,
            groups=_groups(made),
            each=EACH,
            usual=USUAL_EACH,
            listed=listed(made.shared_files),
            kept_in=kept_in(made.shared_files),
            parts=self._parts(desk, made, request),
        )

    def _parts(self, desk: Desk, made: Made, request: Request) -> list[dict[str, Any]]:
        """What is shown: the settlement's sheets, or bills by use as long as there is none."""
        book: Book = made.book
        if made.sharing is not None:
            names = file_names([b.grower for b in made.sharing.bills])
            book = settlement_book(made.sharing, made.plan, made.season, names)
            sheets = list(book.sheets)
        else:
            sheets = [s for s in book.sheets if cells.slug(s.title) == "bills"]
        base = f"/s/{desk.entry.key}/share"
        return [self.site.sheet_values(book, sheet, base, request) for sheet in sheets]

    async def begin(self, request: Request) -> Response:
        """Begin to plan the groups, unless the season is being worked on already."""
        form = await self.site.form(request)

        def give() -> Response:
            desk, made = self._ground(request)
            groups_to_plan(made.season)
            return self.site.begin(
                SeasonJob(
                    desk,
                    made.season,
                    seconds_of(form.get("each"), USUAL_EACH),
                    tasks.share,
                    title="Sharing the order",
                    searches=False,
                    done="The order is shared",
                    then="share",
                    see="See the shares",
                    made=made,
                    changes=made.changes,
                )
            )

        return await run_in_threadpool(give)

    def file(self, request: Request) -> Response:
        """Send a file of the shared order, by its number."""
        desk, made = self._ground(request)
        return send(made.shared_files, request, desk)


def _groups(made: Made) -> int | None:
    """How many groups the farm's rule has to plan; None where it can't be used."""
    try:
        return groups_to_plan(made.season)
    except InputError:
        return None

"""Answers of the page Try it: recounting, planning again from a plan, keeping changes."""

from __future__ import annotations

from time import perf_counter
from typing import TYPE_CHECKING, Any

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException

from planner.errors import Fault, InputError, OutputError
from planner.explain.compare import compare
from planner.explain.tried import try_out
from planner.form.keep import with_scenario
from planner.page import tasks, trying
from planner.page.answers import download, go, seconds_of, sentence
from planner.page.desk import SeasonJob
from planner.report.comparison import comparison_book
from planner.report.measures import Measure, manner_of
from planner.report.tried_frames import tried_book
from planner.season.read import changed_season
from planner.units import Unreadable

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

    from planner.page.desk import Made
    from planner.page.site import Ground, Site
    from planner.season.domain import Season

USUAL_AGAIN = 20
WITH_CHANGES = "with your changes"


class TryViews:
    """Handlers that share everything with the other ones."""

    def __init__(self, site: Site) -> None:
        self.site = site

    def show(self, request: Request) -> Response:
        """Fields to change, and what comes of them."""
        return self._page("try.html", request, self.site.ground(request))

    async def recount(self, request: Request) -> Response:
        """Take what was typed and count again: the page, or the part that changes."""
        form = await self.site.form(request)
        part = request.query_params.get("part") == "1"

        def count() -> Response:
            ground = self.site.ground(request)
            desk = ground.desk
            desk.typed = {} if form.get("reset") else _typed(form, ground.season, ground.made)
            if not part:
                return go(f"/s/{desk.entry.key}/try")
            return self._page("try_part.html", request, ground)

        return await run_in_threadpool(count)

    def _page(self, template: str, request: Request, ground: Ground) -> Response:
        """Show what was typed and what comes of it; a bug in that forgets what was typed.

        Otherwise the page would not open again.
        """
        try:
            return self._counted(template, request, ground)
        except Exception:
            ground.desk.typed = {}
            raise

    def _counted(self, template: str, request: Request, ground: Ground) -> Response:
        began = perf_counter()
        desk, made, season, cells = ground
        shown = trying.groups(season, made.plan)
        changed = trying.changes(desk.typed, shown)
        counts, wrong = trying.counts(desk.typed, season, made.plan)
        faults: tuple[Fault, ...] = ()
        values: dict[str, Any] = {}
        try:
            now = changed_season(cells, changed) if changed else season
        except InputError as error:
            faults = error.faults
        else:
            tried = try_out(made.plan, now, counts)
            book = tried_book(tried, made.plan)
            base = f"/s/{desk.entry.key}/look"
            values = self.site.sheet_values(book, book.sheets[0], base, request)
        return self.site.page(
            template,
            desk=desk,
            made=made,
            step="try",
            groups=shown,
            land=manner_of(season.farm).label(Measure.AREA),
            changed=changed,
            wrong=wrong,
            faults=faults,
            usual=USUAL_AGAIN,
            took=(perf_counter() - began) * 1000,
            **values,
        )

    async def again(self, request: Request) -> Response:
        """Plan again with what was typed, from the plan as it is."""
        form = await self.site.form(request)

        def begin() -> Response:
            desk, made, season, cells = self.site.ground(request)
            desk.typed = _typed(form, season, made)
            changed = trying.changes(desk.typed, trying.groups(season, made.plan))
            try:
                most = trying.most_moved(str(form.get("most") or ""), season)
            except Unreadable as error:
                msg = f"Land that may change: you typed '{form.get('most')}'; expected "
                raise HTTPException(400, f"{msg}{error.expected}. Go back and fix it.") from None
            try:
                now = changed_season(cells, changed)
            except InputError:
                return go(f"/s/{desk.entry.key}/try")
            return self.site.begin(
                SeasonJob(
                    desk,
                    now,
                    seconds_of(form.get("seconds"), USUAL_AGAIN),
                    tasks.plan,
                    name=WITH_CHANGES if changed else "planned again",
                    made=made,
                    most_moved=most,
                    changes=changed,
                    base=season.fingerprint,
                    notes=tuple(
                        f"Tried: {c.column} of {c.item} is {c.value}." for c in changed[:20]
                    ),
                )
            )

        return await run_in_threadpool(begin)

    async def keep(self, request: Request) -> Response:
        """Send a copy of the workbook with the changes as a scenario."""
        form = await self.site.form(request)

        def copy() -> Response:
            desk, made, season, _cells = self.site.ground(request)
            desk.typed = _typed(form, season, made)
            changed = trying.changes(desk.typed, trying.groups(season, made.plan))
            name = str(form.get("scenario") or "")[: trying.MOST_TEXT]
            try:
                content = with_scenario(desk.entry.path, name, changed)
            except OutputError as error:
                raise HTTPException(409, sentence(str(error))) from None
            return download(content, f"{desk.entry.name} with scenario{desk.entry.path.suffix}")

        return await run_in_threadpool(copy)

    def beside(self, request: Request) -> Response:
        """The plan beside the one before it, differences first.

        A plan with changes comes after one without; what it decides is counted without them, too.
        """
        desk = self.site.desk(request)
        made, before = self.site.made(desk), desk.before
        if before is None:
            raise HTTPException(404, "There is no other plan to hold this one against yet.")
        first, second = sorted((before, made), key=lambda plan: bool(plan.changes))
        tried = second.changes and not first.changes and second.base == first.base
        compared = compare(
            [(first.name, first.plan), (second.name, second.plan)],
            season=first.season if tried else None,
        )
        book = comparison_book(compared, manner_of(made.season.farm))
        base = f"/s/{desk.entry.key}/look"
        parts = [self.site.sheet_values(book, sheet, base, request) for sheet in book.sheets]
        return self.site.page("beside.html", desk=desk, made=made, step="answer", parts=parts)

    async def back(self, request: Request) -> Response:
        """Go back to the plan before; the other one stays beside it."""
        await self.site.form(request)
        desk = await run_in_threadpool(self.site.desk, request)
        with desk.lock:
            if desk.before is not None and desk.made is not None:
                desk.made, desk.before = desk.before, desk.made
        return go(f"/s/{desk.entry.key}/answer")


def _typed(form: Any, season: Season, made: Made) -> dict[str, str]:
    return trying.typed(form, trying.groups(season, made.plan))

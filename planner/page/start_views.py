"""Coming in, and choosing or opening a season."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.responses import Response

from planner.errors import OutputError
from planner.form.template import write_blank
from planner.page.answers import download, go
from planner.page.guard import UPLOAD_BYTES, same
from planner.page.plans import last_plan
from planner.page.shelf import MOST_LISTED
from planner.page.site import HERE

if TYPE_CHECKING:
    from collections.abc import Callable

    from starlette.requests import Request

    from planner.page.site import Site

STATIC = {
    "page.css": "text/css; charset=utf-8",
    "page.js": "text/javascript; charset=utf-8",
    "icon.svg": "image/svg+xml",
}
DEMO = "Demo farm"
NO_WORKBOOK = "No workbook came with that. Choose one, or drop it on the field."
NOT_TAKEN = (
    "Only Excel workbooks are taken here: files that end in .xlsx or .xlsm. Open yours in a "
    "spreadsheet program and save it as .xlsx."
)
CSV_FILES = (
    "CSV files are read as one folder: put it, unpacked, into {}, and it is under Seasons here."
)


class StartViews:
    """Handlers of the first page, and of what leads to a season or away from it."""

    def __init__(self, site: Site, cookie_name: str, end: Callable[[], None]) -> None:
        self.site, self.cookie_name, self.end = site, cookie_name, end

    async def static(self, request: Request) -> Response:
        """One of our two files, by name from a table."""
        kind = STATIC.get(request.path_params["name"])
        if kind is None:
            raise HTTPException(404, "There is no such file.")
        content = (HERE / "static" / request.path_params["name"]).read_bytes()
        return Response(content, media_type=kind, headers={"cache-control": "no-cache"})

    async def enter(self, request: Request) -> Response:
        """Let a browser in that knows the code."""
        if request.method != "POST":
            return self.site.page("enter.html")
        form = await request.form(max_files=0, max_fields=5, max_part_size=1000)
        given = form.get("code")
        if not same(given.strip() if isinstance(given, str) else "", self.site.keys.code):
            return self.site.page("enter.html", 403, wrong=True)
        answer = self.site.page("entered.html")
        answer.set_cookie(
            self.cookie_name, self.site.keys.cookie, httponly=True, samesite="strict", path="/"
        )
        return answer

    def home(self, _request: Request) -> Response:
        """Seasons to choose from."""
        found = self.site.shelf.listed()
        rows = [(entry, self._state(entry.key)) for entry in found[:MOST_LISTED]]
        return self.site.page(
            "home.html", rows=rows, more=len(found) - len(rows), shelf=self.site.shelf
        )

    def _state(self, key: str) -> str:
        entry = self.site.shelf.get(key)
        if entry is None:
            return ""
        desk = self.site.desks.get(key)
        if desk is not None and desk.job is not None and not desk.job.over:
            return "being planned"
        if desk is not None and desk.read().faults:
            return "has faults"
        planned = last_plan(entry) or (desk is not None and desk.made)
        return "planned" if planned else "no plan yet"

    def blank(self, _request: Request) -> Response:
        """Send a blank workbook to fill in."""
        with tempfile.TemporaryDirectory() as place:
            path = write_blank(Path(place) / "season.xlsx")
            return download(path.read_bytes(), "season.xlsx")

    async def demo(self, request: Request) -> Response:
        """Make the demo season and go to it."""
        await self.site.form(request)

        def make() -> str:
            key, path, name = self.site.shelf.place(DEMO)
            if not path.exists():
                try:
                    write_blank(path, demo=True)
                except OutputError:
                    self.site.shelf.take_back(key)
                    raise
            return self.site.shelf.enter(key, name).key

        return go(f"/s/{await run_in_threadpool(make)}")

    async def open(self, request: Request) -> Response:
        """Take a workbook that was dropped."""
        form = await self.site.form(request, files=1)
        try:
            file = form.get("workbook")
            if file is None or isinstance(file, str) or not file.filename:
                return self.site.page("trouble.html", 400, title="No workbook", said=[NO_WORKBOOK])
            content = await file.read(UPLOAD_BYTES + 1)
        finally:
            await form.close()
        if len(content) > UPLOAD_BYTES:
            raise HTTPException(413, f"At most {UPLOAD_BYTES:,} bytes are taken.")
        suffix = Path(file.filename.replace("\\", "/")).suffix.casefold()
        if suffix not in (".xlsx", ".xlsm"):
            folder = CSV_FILES.format(self.site.shelf.folder)
            said = [NOT_TAKEN, folder] if suffix in (".csv", ".zip") else [NOT_TAKEN]
            return self.site.page("trouble.html", 400, title="Not a workbook", said=said)
        entry = await run_in_threadpool(self.site.shelf.keep, file.filename, content)
        return go(f"/s/{entry.key}")

    async def forget(self, request: Request) -> Response:
        """Delete the page's own copy of a season."""
        await self.site.form(request)
        desk = self.site.desk(request)
        if desk.job is not None and not desk.job.over:
            raise HTTPException(409, "This season is being planned. Stop that first.")
        self.site.shelf.forget(desk.entry)
        self.site.desks.clear(desk.entry)
        return go("/")

    async def close(self, request: Request) -> Response:
        """End the page."""
        await self.site.form(request)
        self.end()
        return self.site.page("closed.html")

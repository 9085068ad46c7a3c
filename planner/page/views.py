"""What every address answers: pages from the records of `desk`, `work` and the plan's book."""

from __future__ import annotations

import tempfile
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from jinja2 import Environment, FileSystemLoader, select_autoescape
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.responses import HTMLResponse, Response

from planner import api
from planner.errors import OutputError
from planner.page import cells, menu, svg
from planner.page.answers import download, go, seconds_of
from planner.page.closing import closing_in
from planner.page.desk import Desks, stored_plan
from planner.page.guard import UPLOAD_BYTES, Keys, TooLargeError, same
from planner.page.shelf import Shelf, clean_name
from planner.page.work import Job, Works
from planner.report.fit import plain
from planner.report.measures import Measure, manner_of
from planner.report.sheets import Charts, KeyFigures, Labels, PageBreak, Table, Text

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from starlette.datastructures import FormData
    from starlette.requests import Request

    from planner.page.desk import Desk, Made
    from planner.report.sheets import Book, Sheet

HERE = Path(__file__).parent
SECONDS = (5, 20, 60, 180, 600)
"""Times for deciding that are offered."""
USUAL = 60
STATIC = {
    "page.css": "text/css; charset=utf-8",
    "page.js": "text/javascript; charset=utf-8",
    "icon.svg": "image/svg+xml",
}
DEMO = "Demo farm"
MOST_FIELDS = 5000
"""Fields of a form: Try it has one for every figure of a dealer's season."""


class Views:
    """Handlers and what they share."""

    def __init__(self, shelf: Shelf, keys: Keys, cookie_name: str, end: Callable[[], None]) -> None:
        self.shelf, self.keys, self.cookie_name, self.end = shelf, keys, cookie_name, end
        self.desks, self.works = Desks(), Works()
        self.env = Environment(
            loader=FileSystemLoader(HERE / "templates"),
            autoescape=select_autoescape(default=True, default_for_string=True),
            trim_blocks=True,
            lstrip_blocks=True,
        )
        self.env.tests["text_block"] = lambda b: isinstance(b, Text)
        self.env.tests["table_block"] = lambda b: isinstance(b, Table)
        self.env.tests["figures_block"] = lambda b: isinstance(b, KeyFigures)
        self.env.tests["charts_block"] = lambda b: isinstance(b, Charts)
        self.env.globals |= {"css_of": cells.css_of, "most_bytes": UPLOAD_BYTES, "day": _day}

    # --- pieces ---------------------------------------------------------------------------------

    def page(self, name: str, status: int = 200, **values: Any) -> HTMLResponse:
        """Fill a template."""
        text = self.env.get_template(name).render(form_key=self.keys.form, **values)
        return HTMLResponse(text, status)

    async def refuse(self, _request: Request, status: int, why: str) -> Response:
        """Answer what the guard turned away."""
        if status == 401:
            return self.page("enter.html", status)
        return self.page("trouble.html", status, title="Not done", said=[why])

    async def form(self, request: Request, files: int = 0) -> FormData:
        """Read a form and check that it is one of ours. With files, it is to be closed.

        Raises
        ------
        HTTPException
            403 where it lacks the secret, 413 where it is too large, 400 where it can't be read.
        """
        try:
            form = await request.form(
                max_files=files, max_fields=MOST_FIELDS, max_part_size=100_000
            )
        except TooLargeError:
            raise HTTPException(413, f"At most {UPLOAD_BYTES:,} bytes are taken.") from None
        if not same(form.get("key"), self.keys.form):
            await form.close()
            raise HTTPException(403, "This form is not of this start of the page. Go back to it.")
        return form

    def desk(self, request: Request) -> Desk:
        """Find the desk that an address means.

        Raises
        ------
        HTTPException
            404 where there is none.
        """
        entry = self.shelf.get(request.path_params["season"])
        if entry is None:
            raise HTTPException(404, "There is no such season here any more.")

        def fill(desk: Desk) -> None:
            desk.made = stored_plan(desk)

        return self.desks.of(entry, fill)

    def made(self, desk: Desk) -> Made:
        """Return the plan of a season.

        Raises
        ------
        HTTPException
            404 where there is none.
        """
        if desk.made is None:
            raise HTTPException(404, "This season has no plan yet. Press Plan on the page Check.")
        return desk.made

    # --- start ----------------------------------------------------------------------------------

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
            return self.page("enter.html")
        form = await request.form(max_files=0, max_fields=5, max_part_size=1000)
        given = form.get("code")
        if not same(given.strip() if isinstance(given, str) else "", self.keys.code):
            return self.page("enter.html", 403, wrong=True)
        answer = self.page("entered.html")
        answer.set_cookie(
            self.cookie_name, self.keys.cookie, httponly=True, samesite="strict", path="/"
        )
        return answer

    def home(self, _request: Request) -> Response:
        """Seasons to choose from."""
        rows = [(entry, self._state(entry.key)) for entry in self.shelf.listed()]
        return self.page("home.html", rows=rows, folder=self.shelf.folder, shelf=self.shelf)

    def _state(self, key: str) -> str:
        entry = self.shelf.get(key)
        if entry is None:
            return ""
        desk = self.desks.of(entry, lambda d: None) if key in self.desks else None
        if desk is not None and desk.job is not None and not desk.job.over:
            return "being planned"
        planned = (entry.plans / "plan.json").is_file() or (desk is not None and desk.made)
        return "planned" if planned else "no plan yet"

    def blank(self, _request: Request) -> Response:
        """Send a blank workbook to fill in."""
        with tempfile.TemporaryDirectory() as place:
            path = api.start(Path(place) / "season.xlsx")
            return download(path.read_bytes(), "season.xlsx")

    async def demo(self, request: Request) -> Response:
        """Make the demo season and go to it."""
        await self.form(request)

        def make() -> str:
            key, path = self.shelf.place(DEMO)
            if not path.exists():
                api.start(path, demo=True)
            return self.shelf.enter(key, DEMO).key

        return go(f"/s/{await run_in_threadpool(make)}")

    async def open(self, request: Request) -> Response:
        """Take a workbook that was dropped."""
        form = await self.form(request, files=1)
        try:
            file = form.get("workbook")
            if file is None or isinstance(file, str) or not file.filename:
                return self.page("trouble.html", 400, title="No workbook", said=[NO_WORKBOOK])
            content = await file.read(UPLOAD_BYTES + 1)
        finally:
            await form.close()
        if len(content) > UPLOAD_BYTES:
            raise HTTPException(413, f"At most {UPLOAD_BYTES:,} bytes are taken.")
        suffix = Path(file.filename.replace("\\", "/")).suffix.casefold()
        if suffix not in (".xlsx", ".xlsm"):
            return self.page("trouble.html", 400, title="Not a workbook", said=[NOT_TAKEN])
        name = clean_name(file.filename)
        entry = await run_in_threadpool(self.shelf.keep, name, content)
        return go(f"/s/{entry.key}")

    async def forget(self, request: Request) -> Response:
        """Delete the page's own copy of a season."""
        await self.form(request)
        desk = self.desk(request)
        if desk.job is not None and not desk.job.over:
            raise HTTPException(409, "This season is being planned. Stop that first.")
        self.shelf.forget(desk.entry)
        self.desks.clear(desk.entry)
        return go("/")

    async def close(self, request: Request) -> Response:
        """End the page."""
        await self.form(request)
        self.end()
        return self.page("closed.html")

    # --- check ----------------------------------------------------------------------------------

    def check(self, request: Request) -> Response:
        """What was understood of a season, or every fault."""
        desk = self.desk(request)
        reading = desk.read()
        if reading.season is None:
            return self.page("faults.html", desk=desk, reading=reading, step="check")
        book = api.understood(reading.season)
        return self.page(
            "check.html",
            desk=desk,
            step="check",
            seconds=SECONDS,
            usual=USUAL,
            **self.sheet_values(book, book.sheets[0], f"/s/{desk.entry.key}", request),
        )

    def marked(self, request: Request) -> Response:
        """Send a copy of the workbook with its faults marked."""
        desk = self.desk(request)
        reading = desk.read()
        if not reading.faults:
            raise HTTPException(404, "This season has no faults.")
        suffix = ".csv" if desk.entry.path.is_dir() else desk.entry.path.suffix.casefold()
        with tempfile.TemporaryDirectory() as place:
            try:
                path = api.mark_faults(
                    desk.entry.path, reading.faults, Path(place) / f"marked{suffix}"
                )
            except OutputError:
                raise HTTPException(409, NO_COPY) from None
            return download(path.read_bytes(), f"{desk.entry.name}-faults{suffix}")

    # --- plan -----------------------------------------------------------------------------------

    async def plan(self, request: Request) -> Response:
        """Begin to plan a season, unless it is being planned already."""
        form = await self.form(request)
        desk = await run_in_threadpool(self.desk, request)
        reading = await run_in_threadpool(desk.read)
        if reading.season is None:
            return go(f"/s/{desk.entry.key}")
        seconds = seconds_of(form.get("seconds"), USUAL)
        self.works.give(Job(desk, reading.season, seconds, base=reading.season.fingerprint))
        return go(f"/s/{desk.entry.key}/live")

    def live(self, request: Request) -> Response:
        """How a plan comes along."""
        desk = self.desk(request)
        if desk.job is None:
            return go(f"/s/{desk.entry.key}" + ("/answer" if desk.made else ""))
        return self.page("live.html", desk=desk, step="plan", **self._live(desk.job))

    def live_part(self, request: Request) -> Response:
        """Send the part of that page which changes."""
        desk = self.desk(request)
        if desk.job is None:
            raise HTTPException(404, "Nothing is being planned.")
        return self.page("live_part.html", desk=desk, **self._live(desk.job))

    def _live(self, job: Job) -> dict[str, Any]:
        manner = manner_of(job.season.farm)
        last = job.points[-1] if job.points else None
        gap = None
        if last and last.cost is not None and last.floor is not None:
            gap = max(0.0, last.cost - last.floor) / max(1.0, abs(last.cost))
        return {
            "job": job,
            "last": last,
            "gap": gap,
            "money": lambda v: cells.say(v, Measure.MONEY, manner),
            "area": lambda v: manner.say(v, Measure.AREA),
            "before": self.works.before(job),
            "picture": closing_in(job.points, max(job.seconds, job.elapsed), manner),
        }

    async def stop(self, request: Request) -> Response:
        """Keep the best plan so far."""
        await self.form(request)
        desk = await run_in_threadpool(self.desk, request)
        if desk.job is not None:
            desk.job.stop.set()
        return go(f"/s/{desk.entry.key}/live")

    # --- the plan made --------------------------------------------------------------------------

    def answer(self, request: Request) -> Response:
        """First page of the plan."""
        desk = self.desk(request)
        made = self.made(desk)
        return self._show_sheet(desk, made, made.book.sheets[0], request, step="answer")

    def look(self, request: Request) -> Response:
        """One sheet of the plan."""
        desk = self.desk(request)
        made = self.made(desk)
        sheet = cells.sheet_of(made.book, request.path_params["sheet"])
        if sheet is None:
            raise HTTPException(404, "The plan has no such page.")
        return self._show_sheet(desk, made, sheet, request, step="look")

    def _show_sheet(
        self, desk: Desk, made: Made, sheet: Sheet, request: Request, *, step: str
    ) -> Response:
        now = desk.read().season
        return self.page(
            "sheet.html",
            desk=desk,
            made=made,
            step=step,
            stale=now is None or now.fingerprint != made.base,
            groups=menu.groups(made.book),
            here=cells.slug(sheet.title),
            beside=desk.before is not None,
            **self.sheet_values(made.book, sheet, f"/s/{desk.entry.key}/look", request),
        )

    def sheet_values(self, book: Book, sheet: Sheet, base: str, request: Request) -> dict[str, Any]:
        """What the templates of a sheet's blocks are filled with."""
        wish = _wish(request.query_params)
        extra = menu.charts_for(book, sheet)

        def table(block: Table) -> cells.Grid:
            return cells.grid(block, book, base, wish)

        def figure(figure: Any) -> cells.Shown:
            href = cells.address(figure.link, book, base) if figure.link else ""
            value = cells.say(plain(figure.value), figure.measure, book.manner)
            return cells.Shown(value, cells.css_of(figure.look), href)

        return {
            "book": book,
            "sheet": sheet,
            "blocks": [b for b in sheet.blocks if not isinstance(b, PageBreak | Labels)],
            "labels": any(isinstance(b, Labels) for b in sheet.blocks),
            "extra": [(chart.title, svg.draw(chart, book)) for chart in extra],
            "table": table,
            "figure": figure,
            "draw": lambda chart: svg.draw(chart, book),
            "wish": wish,
            "rows_shown": cells.ROWS,
        }

    # --- download -------------------------------------------------------------------------------

    def files(self, request: Request) -> Response:
        """List what can be taken along."""
        desk = self.desk(request)
        made = self.made(desk)
        listed = [(n, p.name, _size(p), _what(p)) for n, p in enumerate(made.files)]
        return self.page("files.html", desk=desk, made=made, step="files", listed=listed)

    def file(self, request: Request) -> Response:
        """Send one of them, by its number."""
        desk = self.desk(request)
        made = self.made(desk)
        number = int(request.path_params["number"])
        if number >= len(made.files):
            raise HTTPException(404, "There is no such file.")
        path = made.files[number]
        try:
            content = path.read_bytes()
        except OSError:
            raise HTTPException(404, "That file is gone. Plan again to write it.") from None
        return download(content, f"{desk.entry.name} {path.name}")


NO_WORKBOOK = "No workbook came with that. Choose one, or drop it on the field."
NOT_TAKEN = "Only Excel workbooks are taken here: files that end in .xlsx or .xlsm."
NO_COPY = "This file can't be copied with its faults marked: it is no workbook that can be opened."
WORKBOOKS = {
    "plan": "The plan to print and order from",
    "shop": "For the shop: what to treat and plant, day by day",
    "study": "Why the plan is as it is, and every further table",
}
WHAT = {
    ".xlsx": "A workbook",
    ".ics": "Treating days for your calendar",
    ".json": "The plan for programs, and for planning again",
}


def _what(path: Path) -> str:
    """Say what a file of a plan is for."""
    said = WHAT.get(path.suffix, "")
    return WORKBOOKS.get(path.stem.split(" ")[0], said) if path.suffix == ".xlsx" else said


def _wish(query: Mapping[str, str]) -> cells.Wish:
    part = query.get("part", "0")
    return cells.Wish(
        query.get("table", ""),
        query.get("find", "")[:200],
        query.get("by", ""),
        query.get("down", "") == "1",
        int(part) if part.isascii() and part.isdigit() and len(part) < 6 else 0,
    )


def _day(seconds: float) -> str:
    """Day and time of a file's last change."""
    return f"{datetime.fromtimestamp(seconds):%a %b %d, %H:%M}" if seconds else ""


def _size(path: Path) -> str:
    try:
        size = path.stat().st_size
    except OSError:
        return "gone"
    return f"{size / 1000:,.0f} kB"

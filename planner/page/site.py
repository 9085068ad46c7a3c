"""What all handlers share: templates, forms with their secret, a season's desk and its plan."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from jinja2 import Environment, FileSystemLoader, select_autoescape
from starlette.exceptions import HTTPException
from starlette.responses import HTMLResponse, Response

from planner.page import cells, menu, svg
from planner.page.answers import go
from planner.page.desk import Desks
from planner.page.guard import UPLOAD_BYTES, Keys, TooLargeError, same
from planner.page.plans import stored_plan
from planner.page.work import Works
from planner.report.fit import plain
from planner.report.sheets import ChartRow, KeyFigures, Labels, PageBreak, Table, Text
from planner.sharing.growers import shared

if TYPE_CHECKING:
    from collections.abc import Mapping

    from starlette.datastructures import FormData
    from starlette.requests import Request

    from planner.page.desk import Desk, Made, SeasonJob
    from planner.page.shelf import Shelf
    from planner.report.sheets import Book, Sheet
    from planner.season.domain import Season
    from planner.season.grids import Book as Cells

HERE = Path(__file__).parent
CHANGED = "The workbook has changed since this plan, or has faults. Check it and plan again first."
MOST_FIELDS = 5000
"""Fields of a form: Try it has one for every figure of a dealer's season."""


class Ground(NamedTuple):
    """A plan and the workbook that it was made for, which has not changed since."""

    desk: Desk
    made: Made
    season: Season
    """Of the workbook, without the changes that the plan may have been made with."""
    cells: Cells


class Site:
    """Seasons, plans and templates, as every handler finds them."""

    def __init__(self, shelf: Shelf, keys: Keys) -> None:
        self.shelf, self.keys = shelf, keys
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
        self.env.tests["charts_block"] = lambda b: isinstance(b, ChartRow)
        self.env.filters["here"] = cells.here
        self.env.globals |= {
            "css_of": cells.css_of,
            "most_bytes": UPLOAD_BYTES,
            "day": _day,
            "shared": shared,
        }

    def page(self, name: str, status: int = 200, **values: Any) -> HTMLResponse:
        """Fill a template."""
        text = self.env.get_template(name).render(form_key=self.keys.form, **values)
        return HTMLResponse(text, status)

    def plan_page(
        self, name: str, desk: Desk, made: Made, step: str, **values: Any
    ) -> HTMLResponse:
        """Fill a template about a plan, which says where the workbook has changed since."""
        stale = self.stale(desk, made)
        return self.page(name, desk=desk, made=made, step=step, stale=stale, **values)

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

    def stale(self, desk: Desk, made: Made) -> bool:
        """Whether the workbook has changed since a plan, or has faults."""
        now = desk.read().season
        return now is None or now.fingerprint != made.base

    def ground(self, request: Request) -> Ground:
        """What changes of a plan and its workbook start from.

        Raises
        ------
        HTTPException
            404 without a plan, 409 where it is not of the workbook as it is now.
        """
        desk = self.desk(request)
        made = self.made(desk)
        reading = desk.read()
        if reading.season is None or reading.cells is None:
            raise HTTPException(409, CHANGED)
        if reading.season.fingerprint != made.base:
            raise HTTPException(409, CHANGED)
        return Ground(desk, made, reading.season, reading.cells)

    def begin(self, job: SeasonJob) -> Response:
        """Put work into the line, and show how it comes along."""
        self.works.give(job)
        return go(f"/s/{job.desk.entry.key}/live")

    def sheet_values(self, book: Book, sheet: Sheet, base: str, request: Request) -> dict[str, Any]:
        """What the templates of a sheet's blocks are filled with."""
        wish = _wish(request.query_params)
        extra = menu.charts_for(book, sheet)

        seen: Counter[str] = Counter()

        def table(block: Table) -> cells.Grid:
            title = block.title or sheet.heading or sheet.title
            seen[title] += 1
            label = title if seen[title] == 1 else f"{title}, {seen[title]}"
            return replace(cells.grid(block, book, base, wish), label=label)

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

"""The page's server: on this machine only, until its command ends."""

from __future__ import annotations

import os
import socket
import tempfile
import threading
import webbrowser
from contextlib import suppress
from pathlib import Path
from time import monotonic, sleep
from typing import TYPE_CHECKING

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.routing import Route

from planner.errors import InputError, OutputError, bug
from planner.page.answers import sentence
from planner.page.ask_views import AskViews
from planner.page.guard import Guard, Keys, TooLargeError, cookie_name
from planner.page.plan_views import PlanViews
from planner.page.season_views import SeasonViews
from planner.page.share_views import ShareViews
from planner.page.shelf import Shelf
from planner.page.site import Site
from planner.page.start_views import StartViews
from planner.page.try_views import TryViews
from planner.terminal.streams import put

if TYPE_CHECKING:
    from collections.abc import Callable

    from starlette.requests import Request
    from starlette.responses import Response

    from planner.page.desk import Desk

ADDRESS = "127.0.0.1"
WAIT = 10.0
"""Seconds that the browser is held back until the server listens."""


def make_app(folder: Path, port: int, keys: Keys, end: Callable[[], None]) -> tuple[Guard, Site]:
    """Make the application behind its guard.

    Parameters
    ----------
    folder
        Where seasons are looked for and copies are kept.
    port
        On which it is served; part of every Host that is answered.
    end
        Called when a reader ends the page.
    """
    site = Site(Shelf(folder), keys)

    def trouble(request: Request, error: Exception) -> Response:
        key = request.path_params.get("season", "")
        return _trouble(site, site.desks.get(key) if site.shelf.get(key) else None, error)

    app = Starlette(
        routes=_routes(site, cookie_name(port), end),
        exception_handlers={
            HTTPException: trouble,
            TooLargeError: trouble,
            InputError: trouble,
            OutputError: trouble,
            OSError: trouble,
            Exception: trouble,
        },
    )
    return Guard(app, port=port, keys=keys, refuse=site.refuse), site


def _routes(site: Site, cookie: str, end: Callable[[], None]) -> list[Route]:
    """Which handler answers which address."""
    start = StartViews(site, cookie, end)
    seasons, plans = SeasonViews(site), PlanViews(site)
    asks, shares, tries = AskViews(site), ShareViews(site), TryViews(site)
    season = "/s/{season:str}"
    return [
        Route("/", start.home),
        Route("/static/{name:str}", start.static),
        Route("/enter", start.enter, methods=["GET", "POST"]),
        Route("/season.xlsx", start.blank),
        Route("/demo", start.demo, methods=["POST"]),
        Route("/open", start.open, methods=["POST"]),
        Route("/close", start.close, methods=["POST"]),
        Route(season, seasons.check),
        Route(f"{season}/marked", seasons.marked),
        Route(f"{season}/forget", start.forget, methods=["POST"]),
        Route(f"{season}/plan", seasons.plan, methods=["POST"]),
        Route(f"{season}/live", seasons.live),
        Route(f"{season}/live/part", seasons.live_part),
        Route(f"{season}/stop", seasons.stop, methods=["POST"]),
        Route(f"{season}/answer", plans.answer),
        Route(f"{season}/why", asks.why, methods=["POST"]),
        Route(f"{season}/what-if", asks.what_if, methods=["POST"]),
        Route(f"{season}/look/{{sheet:str}}", plans.look),
        Route(f"{season}/try", tries.show),
        Route(f"{season}/recount", tries.recount, methods=["POST"]),
        Route(f"{season}/again", tries.again, methods=["POST"]),
        Route(f"{season}/keep", tries.keep, methods=["POST"]),
        Route(f"{season}/beside", tries.beside),
        Route(f"{season}/back", tries.back, methods=["POST"]),
        Route(f"{season}/share", shares.show),
        Route(f"{season}/share", shares.begin, methods=["POST"]),
        Route(f"{season}/share/files/{{number:str}}", shares.file),
        Route(f"{season}/files", plans.files),
        Route(f"{season}/files/{{number:str}}", plans.file),
    ]


TITLES = {400: "Not taken", 404: "Not found", 409: "Not now", 413: "Too large"}


def _trouble(site: Site, desk: Desk | None, error: Exception) -> Response:
    """Answer what went wrong in a sentence, with the steps of the season that it is of."""

    def page(status: int, title: str, said: list[str]) -> Response:
        return site.page("trouble.html", status, desk=desk, title=title, said=said)

    if isinstance(error, HTTPException):
        said = error.detail
        if error.status_code == 404 and said == "Not Found":
            said = "There is no such page."
        title = TITLES.get(error.status_code, "Not done")
        return page(error.status_code, title, [said])
    if isinstance(error, TooLargeError):
        return page(413, "Too large", ["That is too large."])
    if isinstance(error, InputError):
        return page(400, "Faults", [str(f) for f in error.faults])
    if isinstance(error, OutputError):
        return page(500, "Not written", [sentence(str(error))])
    if isinstance(error, OSError):
        where = f"{error.filename}: " if error.filename else ""
        return page(500, "Not written", [f"{where}{sentence(error.strerror or str(error))}"])
    return page(500, "A bug", [bug(error)])


def serve(folder: Path, *, port: int = 0, browser: bool = True) -> None:
    """Serve the page until Ctrl-C, or until a reader ends it.

    Raises
    ------
    OutputError
        When the folder is none, or the port is taken.
    """
    import uvicorn

    if not folder.is_dir():
        msg = f"{folder} is no folder; make it, or name the one that holds your seasons"
        raise OutputError(msg)
    listener = _listen(port)
    port = listener.getsockname()[1]
    keys = Keys()
    servers: list[uvicorn.Server] = []

    def end() -> None:
        servers[0].should_exit = True

    app, site = make_app(folder, port, keys, end)
    config = uvicorn.Config(
        app,
        log_level="critical",
        access_log=False,
        server_header=False,
        ws="none",
        lifespan="off",
        proxy_headers=False,
        limit_concurrency=100,
        timeout_keep_alive=5,
        timeout_graceful_shutdown=2,
    )
    server = uvicorn.Server(config)
    servers.append(server)
    with _Handover(port, keys) as door:
        put(f"The page: http://{ADDRESS}:{port}/   (on this machine only)")
        put(f"Code to get in: {keys.code}")
        put("Ctrl-C ends it. A plan that is being made then is lost; those made are kept.")
        if browser:
            threading.Thread(target=_open, args=(server, door), daemon=True).start()
        with suppress(KeyboardInterrupt):
            server.run(sockets=[listener])
    site.works.close()


def _listen(port: int) -> socket.socket:
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    if os.name != "nt":  # there it would let others listen on the same port
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((ADDRESS, port))
        listener.listen()  # who comes before the server runs waits for it
    except (OSError, OverflowError) as error:
        listener.close()
        reason = getattr(error, "strerror", None) or "no such port"
        msg = f"port {port} can't be used ({reason}); choose another one with --port"
        raise OutputError(msg) from None
    return listener


def _open(server: object, door: Path) -> None:
    """Open the browser once the server listens."""
    until = monotonic() + WAIT
    while not getattr(server, "started", False) and monotonic() < until:
        sleep(0.02)
    with suppress(webbrowser.Error, OSError):
        webbrowser.open(door.as_uri())


DOOR = """<!doctype html>
<html lang="en"><meta charset="utf-8"><title>wholedrum</title>
<form method="post" action="http://{address}:{port}/enter">
<input type="hidden" name="code" value="{code}">
<p><button>Go to the page</button></p></form>
<script>document.forms[0].submit()</script></html>
"""


class _Handover:
    """A file that only this user can read, and that lets his browser in.

    So the code is in no address, where other users of the machine could see it in the list of
    programs that run.
    """

    def __init__(self, port: int, keys: Keys) -> None:
        self._text = DOOR.format(address=ADDRESS, port=port, code=keys.code)

    def __enter__(self) -> Path:
        self._place = tempfile.TemporaryDirectory(prefix="wholedrum-")  # 0700
        path = Path(self._place.name) / "open.html"
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "w", encoding="utf-8") as out:
            out.write(self._text)
        return path

    def __exit__(self, *_: object) -> None:
        self._place.cleanup()

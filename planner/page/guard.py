"""The door: who may ask for what, before any handler sees a request.

The page listens on this machine only, but every other page in the browser and every other user of
the machine can reach that address too. So a request passes only with the right Host (name and
port, against names that are made to point here), with the secret of this start in a cookie, and,
where it changes anything, from a form of our own pages (Fetch Metadata or Origin, and a second
secret in the form).

Notes
-----
OWASP, Cross-Site Request Forgery Prevention Cheat Sheet (tokens, Fetch Metadata); Content Security
Policy Cheat Sheet. NCC Group, Singularity of Origin wiki (DNS rebinding: check the Host).
"""

from __future__ import annotations

import hmac
import secrets
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable

    from starlette.requests import Request
    from starlette.responses import Response
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

    Refuse = Callable[[Request, int, str], Awaitable[Response]]

UPLOAD_BYTES = 20_000_000
"""Largest workbook that is taken, as the reader takes."""
FORM_BYTES = 1_000_000
"""Largest body of any other form."""
ROOM = 100_000
"""Bytes of an upload beside the workbook: names of parts, the form's secret."""
DRAINED = 200_000_000
"""Bytes of a body too large that are read and thrown away, so that the browser hears the answer."""
OPEN_PATHS = ("/static/page.css", "/static/page.js", "/static/icon.svg", "/enter")
"""What is answered without the cookie; the files are the same for everyone."""
SAFE_METHODS = ("GET", "HEAD")

HEADERS = {
    "content-security-policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; "
        "connect-src 'self'; form-action 'self'; base-uri 'none'; object-src 'none'; "
        "frame-ancestors 'none'"
    ),
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
    "cache-control": "no-store",
}


@dataclass(frozen=True, slots=True)
class Keys:
    """Secrets of one start."""

    code: str = field(default_factory=lambda: secrets.token_hex(16))
    """What lets a browser in."""
    cookie: str = field(default_factory=lambda: secrets.token_urlsafe(32))
    """What a browser that was let in shows."""
    form: str = field(default_factory=lambda: secrets.token_urlsafe(32))
    """What every form of ours carries."""


def cookie_name(port: int) -> str:
    """Name of our cookie: two pages on one machine have each their own."""
    return f"wholedrum-{port}"


def same(given: object, secret: str) -> bool:
    """Compare with a secret in a time that says nothing about it."""
    return isinstance(given, str) and hmac.compare_digest(given.encode(), secret.encode())


class Guard:
    """Answers what may not pass, and puts the safety headers on every answer."""

    def __init__(self, app: ASGIApp, *, port: int, keys: Keys, refuse: Refuse) -> None:
        self.app = app
        self.hosts = {f"127.0.0.1:{port}", f"localhost:{port}"}
        self.cookie_name = cookie_name(port)
        self.keys = keys
        self.refuse = refuse

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, or answer it here."""
        if scope["type"] != "http":  # no sockets are served; nothing is done at start and end
            return

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers.setdefault(name, value)
            await send(message)

        code, why = self._trouble(scope)
        if code == 413:
            await _drain(receive)
        if code:
            from starlette.requests import Request

            known = code not in (400, 421)
            answer: Response = (
                await self.refuse(Request(scope), code, why)
                if known
                else PlainTextResponse(why, code)
            )
            await answer(scope, receive, with_headers)
            return
        limit = _limit(scope["path"])
        await self.app(scope, _counted(receive, limit), with_headers)

    def _trouble(self, scope: Scope) -> tuple[int, str]:
        """Status and sentence of what may not pass; 0 where all is well."""
        headers = Headers(scope=scope)
        hosts = headers.getlist("host")
        if len(hosts) != 1 or hosts[0].casefold() not in self.hosts:
            return 421, "This page answers only under its own address on this machine."
        if scope["method"] not in (*SAFE_METHODS, "POST"):
            return 405, "The page does not know this kind of request."
        changes = scope["method"] == "POST"
        if changes and scope["path"] != "/enter" and not _of_ours(headers, hosts[0]):
            return 403, "This came from another page than ours, so nothing was done."
        if scope["path"] not in OPEN_PATHS and not self._let_in(headers):
            return 401, "This browser has not been let in yet."
        length = headers.get("content-length", "0")
        if changes and (not length.isdigit() or int(length) > _limit(scope["path"])):
            most = UPLOAD_BYTES if scope["path"] == "/open" else FORM_BYTES
            return 413, f"That is too large: at most {most:,} bytes are taken."
        return 0, ""

    def _let_in(self, headers: Headers) -> bool:
        """Whether our cookie is among those sent; other programs' may be of any form."""
        sent = (part.strip().partition("=") for part in headers.get("cookie", "").split(";"))
        return any(
            name == self.cookie_name and same(value, self.keys.cookie) for name, _, value in sent
        )


def _of_ours(headers: Headers, host: str) -> bool:
    """Whether a form was sent by a page of ours: what says neither is refused."""
    site, origin = headers.get("sec-fetch-site"), headers.get("origin")
    if origin is not None and origin.casefold() != f"http://{host.casefold()}":
        return False
    return site == "same-origin" if site is not None else origin is not None


def _limit(path: str) -> int:
    return UPLOAD_BYTES + ROOM if path == "/open" else FORM_BYTES


class TooLargeError(Exception):
    """A body grew beyond its limit while it was read."""


def _counted(receive: Receive, limit: int) -> Receive:
    """Count what is read of a body, whatever its header says of its length."""
    seen = 0

    async def counting() -> Message:
        nonlocal seen
        message = await receive()
        seen += len(message.get("body", b""))
        if seen > limit:
            raise TooLargeError
        return message

    return counting


async def _drain(receive: Receive) -> None:
    left = DRAINED
    more = True
    while more and left > 0:
        message = await receive()
        left -= len(message.get("body", b""))
        more = message["type"] == "http.request" and message.get("more_body", False)

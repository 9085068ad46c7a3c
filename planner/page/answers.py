"""Small answers that several handlers give, and what they read from forms."""

from __future__ import annotations

import math
from pathlib import Path
from urllib.parse import quote

from starlette.responses import RedirectResponse, Response

TYPES = {
    ".xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    ".json": "application/json",
    ".ics": "text/calendar; charset=utf-8",
    ".csv": "text/csv; charset=utf-8",
}
LONGEST = 3600.0


def sentence(text: str) -> str:
    """Make what an error says a sentence.

    >>> sentence("the disk is full; free some space"), sentence("Stopped.")
    ('The disk is full; free some space.', 'Stopped.')
    """
    return f"{text[:1].upper()}{text[1:].removesuffix('.')}."


def go(where: str) -> RedirectResponse:
    """Send the browser on to a page, after a form."""
    return RedirectResponse(where, 303)


def download(content: bytes, name: str) -> Response:
    """Send a file to be saved, never shown."""
    kind = TYPES.get(Path(name).suffix.casefold(), "application/octet-stream")
    plain = name.encode("ascii", "ignore").decode().replace('"', "").replace("\\", "") or "file"
    said = f"attachment; filename=\"{plain}\"; filename*=UTF-8''{quote(name)}"
    return Response(content, media_type=kind, headers={"content-disposition": said})


def seconds_of(given: object, usual: float) -> float:
    """Seconds that a form asks for, within reason.

    >>> seconds_of("5", 60), seconds_of("nan", 60), seconds_of("1e9", 60), seconds_of(None, 60)
    (5.0, 60.0, 3600.0, 60.0)
    """
    try:
        seconds = float(str(given))
    except ValueError:
        return float(usual)
    return min(LONGEST, max(1.0, seconds)) if math.isfinite(seconds) else float(usual)

"""The page as a test asks it: through its guard, with the headers that a browser sends."""

from __future__ import annotations

import re
import time
from typing import TYPE_CHECKING

import pytest

pytest.importorskip("starlette")

from starlette.testclient import TestClient

from planner.page.guard import Keys
from planner.page.server import make_app

if TYPE_CHECKING:
    from pathlib import Path

    from planner.page.site import Site

PORT = 8123
HERE = f"http://127.0.0.1:{PORT}"
OURS = {"sec-fetch-site": "same-origin", "origin": HERE}
"""Headers of a form that a page of ours sent, by a browser of 2023 or later."""


class Reader:
    """Someone with a browser."""

    def __init__(self, folder: Path) -> None:
        self.keys = Keys()
        self.ended: list[bool] = []
        app, self.site = make_app(folder, PORT, self.keys, lambda: self.ended.append(True))
        self.app = app
        self.client = TestClient(app, base_url=HERE, follow_redirects=True)
        self.site: Site

    def enter(self) -> Reader:
        answer = self.client.post("/enter", data={"code": self.keys.code})
        assert answer.status_code == 200
        return self

    def get(self, where: str, status: int = 200) -> str:
        answer = self.client.get(where)
        assert answer.status_code == status, answer.text
        return str(answer.text)

    def post(self, where: str, status: int = 200, **fields: str) -> str:
        answer = self.client.post(where, data={"key": self.keys.form, **fields}, headers=OURS)
        assert answer.status_code == status, answer.text
        return str(answer.text)

    def drop(self, name: str, content: bytes, status: int = 200) -> str:
        """Drop a workbook. Returns the address of its season, or what was said instead."""
        answer = self.client.post(
            "/open",
            data={"key": self.keys.form},
            files={"workbook": (name, content)},
            headers=OURS,
        )
        assert answer.status_code == status, answer.text
        return str(answer.url.path) if answer.url.path != "/open" else str(answer.text)

    def planned(self, season: str, seconds: str = "2") -> None:
        """Plan a season and wait for it."""
        self.finished(season, "plan", seconds=seconds)

    def finished(self, season: str, what: str, **fields: str) -> None:
        """Begin a piece of work on a season and wait for it."""
        self.post(f"{season}/{what}", **fields)
        until = time.monotonic() + 90
        while 'data-over="1"' not in self.get(f"{season}/live/part"):
            assert time.monotonic() < until, f"{what} did not come to an end"
            time.sleep(0.02)


def texts(html: str) -> str:
    """What a page says, without its markup."""
    return " ".join(re.sub(r"<[^>]+>", " ", html).split())


def rows_of(html: str, table: str) -> list[list[str]]:
    """Cells of a table by its name."""
    found = re.search(rf'<section class="block" id="{table}">.*?</section>', html, re.DOTALL)
    assert found is not None, table
    rows = re.findall(r"<tr.*?</tr>", found[0], re.DOTALL)
    return [[texts(c) for c in re.findall(r"<t[dh][ >].*?</t[dh]>", r, re.DOTALL)] for r in rows]

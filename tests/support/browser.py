"""A real browser on the page as its command serves it: Debian's Chromium, driven by Playwright."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from collections.abc import Iterator

    from playwright.sync_api import Browser, BrowserContext, Page

ROOT = Path(__file__).parents[2]
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
DRIVER = find_spec("playwright")
NO_BROWSER = "Chromium or Playwright is not installed"
"""Why a test is skipped; `tests/conftest.py` says so at the end."""
needs_browser = pytest.mark.skipif(CHROMIUM is None or DRIVER is None, reason=NO_BROWSER)


PATIENCE = 120_000
"""Milliseconds that anything on a page may take on a busy machine."""


@dataclass
class Served:
    """A page that its command serves."""

    process: subprocess.Popen[str]
    address: str
    """With a slash at the end."""
    code: str
    door: Path | None
    """File that lets a browser in, where the command was to open one."""


def serve(folder: Path, *, browser: Path | None = None, options: tuple[str, ...] = ()) -> Served:
    """Start the command.

    Parameters
    ----------
    browser
        File into which the address is written that a browser would be opened with.
    """
    command = [sys.executable, "-m", "planner", "page", str(folder), *options]
    environment = dict(os.environ)
    if browser is None:
        command.append("--no-browser")
    else:
        script = browser.with_suffix(".sh")
        script.write_text(f'#!/bin/sh\nprintf "%s" "$1" > "{browser}"\n')
        script.chmod(0o700)
        environment["BROWSER"] = f"{script} %s"
    process = subprocess.Popen(
        command, cwd=ROOT, env=environment, stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    address = re.search(r"http://\S+/", process.stdout.readline())
    code = process.stdout.readline().split()[-1]
    assert address is not None
    return Served(process, address[0], code, browser)


def end(served: Served) -> int:
    """End the command as Ctrl-C does; its exit code."""
    import signal

    served.process.send_signal(signal.SIGINT)
    try:
        return served.process.wait(20)
    finally:
        served.process.kill()
        if served.process.stdout is not None:
            served.process.stdout.close()


def launched(*arguments: str) -> Iterator[Browser]:
    """Start Chromium; root must do without its sandbox."""
    root = ["--no-sandbox"] if os.geteuid() == 0 else []
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        browser = driver.chromium.launch(
            executable_path=CHROMIUM, args=[*root, "--disable-gpu", *arguments]
        )
        yield browser
        browser.close()


def let_in(served: Served, context: BrowserContext) -> Page:
    """Open the page in a new tab and type the code where it is asked for."""
    context.set_default_timeout(PATIENCE)
    page = context.new_page()
    page.goto(served.address)
    if page.locator("#code").count():
        page.fill("#code", served.code)
        page.click("button.main")
        page.wait_for_selector(".doors")
    return page

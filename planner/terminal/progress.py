"""How the search stands, on stderr while it runs: a line that is rewritten, or one at times."""

from __future__ import annotations

import sys
import threading
from time import monotonic
from typing import TYPE_CHECKING

from planner.plan.plan import known_gap
from planner.report.measures import Manner, Measure
from planner.terminal.streams import put
from planner.terminal.text import clean, columns

if TYPE_CHECKING:
    from planner.optimize.options import Progress

SPARSE = 10.0
"""Seconds between lines where stderr is not a terminal."""
REWRITE = 0.25
"""Seconds between rewritings where it is."""
LINE = 79
"""Columns of the rewritten line, at the most."""


class ProgressLine:
    """Shows the progress of a run. `update` may be called from any thread, `beat` from the main."""

    def __init__(self, manner: Manner, what: str, *, quiet: bool) -> None:
        self._manner = manner
        self._what = what
        self._quiet = quiet
        self._live = sys.stderr.isatty()
        self._start = monotonic()
        self._shown = self._start if not self._live else 0.0
        self._latest: Progress | None = None
        self._lock = threading.Lock()
        self._had_plan = False

    def update(self, progress: Progress) -> None:
        """Take the state of the search."""
        with self._lock:
            self._latest = progress

    def doing(self, what: str) -> None:
        """Take what is being done now; shown in front of the progress."""
        self._what = what

    def beat(self) -> None:
        """Show the latest state if it is time to."""
        if self._quiet:
            return
        now = monotonic()
        with self._lock:
            latest = self._latest
        first = latest is not None and latest.cost is not None and not self._had_plan
        if now - self._shown < (REWRITE if self._live else SPARSE) and not first:
            return
        self._shown = now
        self._had_plan = self._had_plan or first
        text = clean(self._said(latest, now - self._start))
        if self._live:
            line = columns(sys.stderr, LINE)
            put("\r" + text[:line].ljust(line), sys.stderr, end="")
        else:
            put(text, sys.stderr)

    def _said(self, latest: Progress | None, seconds: float) -> str:
        return describe(latest, seconds, self._manner, self._what)

    def say(self, text: str) -> None:
        """Say a sentence in between."""
        self._clear()
        put(clean(text), sys.stderr)

    def close(self) -> None:
        """Leave a clean line behind."""
        self._clear()

    def _clear(self) -> None:
        if self._live and not self._quiet:
            blank = " " * columns(sys.stderr, LINE)
            put(f"\r{blank}\r", sys.stderr, end="")


class CountLine(ProgressLine):
    """Shows how many of several jobs are done, and about how long the rest takes."""

    def __init__(self, what: str, total: int, *, quiet: bool) -> None:
        super().__init__(Manner(), what, quiet=quiet)
        self._total = total
        self._done = 0
        self._skipped = 0

    def count(self, _done: object) -> None:
        """Count one job more as done."""
        self._done += 1

    def skip(self, _done: object) -> None:
        """Count one job more that was done before and takes no time."""
        self._skipped += 1

    def _said(self, latest: Progress | None, seconds: float) -> str:
        return counted(self._what, self._done, self._total, seconds, self._skipped)


def counted(what: str, done: int, total: int, seconds: float, skipped: int = 0) -> str:
    """One line: elapsed, jobs done of how many, time left at the pace of those done now.

    >>> counted("groups planned", 0, 6, 1.0)
    '  1 s  groups planned: 0 of 6'
    >>> counted("groups planned", 2, 6, 60.0)
    ' 60 s  groups planned: 2 of 6, about 2 min left'
    >>> counted("groups planned", 2, 6, 60.0, skipped=2)
    ' 60 s  groups planned: 4 of 6, about 60 s left'
    """
    text = f"{int(seconds):3d} s  {what}: {done + skipped} of {total}"
    if not done or done + skipped >= total:
        return text
    left = seconds / done * (total - done - skipped)
    said = f"{left:.0f} s" if left < 100 else f"{left / 60:.0f} min"
    return f"{text}, about {said} left"


def describe(progress: Progress | None, seconds: float, manner: Manner, what: str = "") -> str:
    """One line: elapsed, best cost, proven bound, how near, acres short.

    >>> from planner.optimize.options import Progress
    >>> from planner.report.measures import Manner
    >>> describe(Progress(2.0, 1010.0, 1000.0, 0.0), 2.5, Manner())
    '  2 s  best $1,010.00  floor $1,000.00  within 0.99%'
    >>> describe(None, 0.4, Manner())
    '  0 s  no plan yet'
    """
    parts = [f"{int(seconds):3d} s", *([what] if what else [])]
    if progress is None or progress.cost is None:
        parts += [] if what else ["no plan yet"]
    else:
        parts.append(f"best {manner.say(progress.cost, Measure.MONEY)}")
    if progress is not None and progress.bound is not None:
        parts.append(f"floor {manner.say(progress.bound, Measure.MONEY)}")
    gap = known_gap(progress.gap) if progress is not None else None
    if gap is not None:
        parts.append(f"within {gap * 100.0:.2f}%")
    if progress is not None and progress.acres_short:
        parts.append(f"{manner.say(progress.acres_short, Measure.AREA)} short")
    return "  ".join(parts)

"""What is known of each season while the page runs: how it was read, its plan, its work."""

from __future__ import annotations

import threading
from dataclasses import dataclass, field, replace
from datetime import date
from enum import Enum
from time import monotonic
from typing import TYPE_CHECKING

from planner.errors import Fault, InputError
from planner.many.found import tables_of
from planner.season.read import changed_season, scenarios_of
from planner.season.tables import read_tables
from planner.sums import grouped

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from pathlib import Path

    from planner.campaign.domain import Campaign
    from planner.explain.explain import Explanation
    from planner.optimize.options import Progress
    from planner.page.shelf import Entry
    from planner.plan.earlier import Earlier
    from planner.plan.plan import Plan
    from planner.report.sheets import Book
    from planner.season.domain import Season, WhatIf
    from planner.season.grids import Book as Cells
    from planner.sharing.shares import Sharing

Mark = tuple[tuple[str, int, int], ...]
"""The day, and names, times and sizes of files: another one means that something has changed."""

READING = threading.Lock()
"""One workbook is read at a time: reading keeps libraries quiet for the whole process."""
MOST_POINTS = 400
"""States of a search that are kept for its picture; more are thinned out."""


@dataclass(frozen=True, slots=True)
class Reading:
    """A season as it was read: the season, or what is wrong with it."""

    mark: Mark
    source: str
    """Name of the file or folder, as its owner knows it."""
    season: Season | None = None
    cells: Cells | None = None
    """What the season is made of; changes are tried on them."""
    faults: tuple[Fault, ...] = ()

    @property
    def by_sheet(self) -> dict[str, list[Fault]]:
        """Faults by the sheet that they are on, in the order in which they come."""
        return grouped((fault.sheet or "The whole input", fault) for fault in self.faults)


@dataclass(frozen=True, slots=True)
class Taken:
    """A file to take along as it was written; another plan may have replaced it since."""

    path: Path
    content: bytes

    @property
    def still_there(self) -> bool:
        """Whether it is still what its folder holds."""
        try:
            return self.path.read_bytes() == self.content
        except OSError:
            return False


@dataclass(frozen=True, slots=True)
class Made:
    """A plan with all that is shown of it."""

    name: str
    season: Season
    plan: Plan
    book: Book
    campaign: Campaign | None = None
    why: Explanation | None = None
    late: tuple[str, ...] = ()
    """Scenarios that were to be planned and got no plan in their time."""
    files: tuple[Taken, ...] = ()
    """Written; none while it is still being worked on."""
    sharing: Sharing | None = None
    """How growers share its cost, where that was worked out."""
    shared_files: tuple[Taken, ...] = ()
    """Settlement and bills with the plan that they are of."""
    notes: tuple[str, ...] = ()
    """What to say above it."""
    changes: tuple[WhatIf, ...] = ()
    """What differs from the workbook in the season that it was made for."""
    base: str = ""
    """Fingerprint of the workbook's season."""


class Phase(Enum):
    """What a piece of work is doing."""

    WAITING = "waiting for the plan before it"
    DECIDING = "deciding"
    STAYING = "staying near the plan before"
    GROUPS = "planning each group of growers by itself"
    SCENARIOS = "planning what if"
    WHY = "finding out why"
    WRITING = "writing the files"
    DONE = "done"
    FAILED = "failed"


@dataclass
class SeasonJob:
    """One piece of work on a season, and how far it is."""

    desk: Desk
    season: Season
    seconds: float
    task: Callable[[SeasonJob], None]
    """What is done; from `tasks`."""
    title: str = "Planning"
    searches: bool = True
    """Whether it decides a plan, so that best cost and bound are shown."""
    done: str = "The plan is made"
    """Title once it is done."""
    then: str = "answer"
    """Page of the season that shows what came of it."""
    see: str = "See the answer"
    """What leads there."""
    name: str = "as it is"
    made: Made | None = None
    """The plan that is worked on, or stayed near to."""
    earlier: Earlier | None = None
    """A plan of an earlier state of the workbook to stay near to."""
    most_moved: float | None = None
    """Acres that may change their seed or recipe at the most against that plan."""
    scenarios: Mapping[str, Season] = field(default_factory=dict)
    """Seasons of the scenarios to plan, by name."""
    changes: tuple[WhatIf, ...] = ()
    """What differs from the workbook."""
    base: str = ""
    """Fingerprint of the workbook's season."""
    notes: tuple[str, ...] = ()
    """What is to be said of the plan wherever it is shown."""
    phase: Phase = Phase.WAITING
    parts: int = 0
    """Seasons to plan, each with `seconds`: groups of growers, or scenarios; 0 for one."""
    parts_done: int = 0
    part: str = ""
    """Name of the scenario that is being planned."""
    part_began: float | None = None
    """When its search began, on the monotonic clock."""
    trouble: str = ""
    points: list[Progress] = field(default_factory=list)
    """States of the search; their seconds are those since it began."""
    began: float | None = None
    ended: float | None = None
    stop: threading.Event = field(default_factory=threading.Event)

    @property
    def over(self) -> bool:
        """Whether nothing more will come of it."""
        return self.phase in (Phase.DONE, Phase.FAILED)

    @property
    def elapsed(self) -> float:
        """Seconds since it began; 0 while it waits."""
        if self.began is None:
            return 0.0
        return (self.ended if self.ended is not None else monotonic()) - self.began

    @property
    def searched(self) -> float:
        """Seconds of the search that `points` are of."""
        began = self.part_began if self.part_began is not None else self.began
        return self.elapsed - (began - self.began if began and self.began else 0.0)

    def next_part(self, name: str) -> None:
        """Begin the search of the next scenario."""
        self.part, self.points, self.part_began = name, [], monotonic()

    def update(self, progress: Progress) -> None:
        """Take the state of the search; called from the thread that solves."""
        points = [*self.points, replace(progress, seconds=self.searched)]
        if len(points) > MOST_POINTS:
            points = [*points[:-2:2], *points[-2:]]
        self.points = points


@dataclass
class Desk:
    """One season in use. Values in it are replaced as a whole, never changed."""

    entry: Entry
    reading: Reading | None = None
    made: Made | None = None
    before: Made | None = None
    """The plan that `made` is held against."""
    job: SeasonJob | None = None
    typed: dict[str, str] = field(default_factory=dict)
    """What was typed on the page Try it, by the name of its field."""
    lock: threading.Lock = field(default_factory=threading.Lock)
    filling: threading.Lock = field(default_factory=threading.Lock)
    filled: bool = False
    """Whether a plan from before was looked for."""

    def read(self) -> Reading:
        """Read the season, or what was read if it has not changed since."""
        mark = mark_of(self.entry.path)
        reading = self.reading
        if reading is None or reading.mark != mark:
            with READING:
                reading = _read(self.entry, mark)
            self.reading = reading
        return reading


class Desks:
    """All seasons in use, by id."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._desks: dict[str, Desk] = {}

    def of(self, entry: Entry, fill: Callable[[Desk], None]) -> Desk:
        """Desk of a season; `fill` is called with a new one. Other seasons don't wait for that."""
        with self._lock:
            desk = self._desks.setdefault(entry.key, Desk(entry))
        with desk.filling:
            if not desk.filled:
                fill(desk)
                desk.filled = True
        return desk

    def get(self, key: str) -> Desk | None:
        """Desk of a season that is in use; None of another one."""
        return self._desks.get(key)

    def clear(self, entry: Entry) -> None:
        """Clear the desk of a season."""
        with self._lock:
            self._desks.pop(entry.key, None)


def mark_of(path: Path) -> Mark:
    """Tell by what a season's files look like from outside whether they have changed.

    The day belongs to it: a blank Plan date means today.
    """
    files = tables_of(path) if path.is_dir() else [path]
    found = [("", date.today().toordinal(), 0)]
    for file in files:
        try:
            about = file.stat()
        except OSError:
            continue
        found.append((file.name, about.st_mtime_ns, about.st_size))
    return tuple(found)


def _read(entry: Entry, mark: Mark) -> Reading:
    name = entry.path.name
    source = f"{entry.name}{entry.path.suffix}" if entry.kept else name  # not that of the copy
    try:
        cells = replace(read_tables(entry.path), source=source)
        season = changed_season(cells)
        if season.what_if:
            scenarios_of(cells)  # their faults are shown now
    except InputError as error:
        of_it = (replace(f, sheet=source) if f.sheet == name else f for f in error.faults)
        return Reading(mark, source, faults=tuple(of_it))
    return Reading(mark, source, season, cells)

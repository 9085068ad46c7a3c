"""What is known of each season while the page runs: how it was read, its plan, its work."""

from __future__ import annotations

import threading
from dataclasses import dataclass, field, replace
from datetime import date
from typing import TYPE_CHECKING

from planner import api
from planner.errors import Fault, InputError
from planner.many.found import tables_of
from planner.report.packs import ALL, file_name
from planner.report.plan_files import plan_book
from planner.season.read import changed_season, scenarios_of
from planner.season.tables import read_tables
from planner.sums import grouped

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from pathlib import Path

    from planner.campaign.domain import Campaign
    from planner.explain.explain import Explanation
    from planner.page.shelf import Entry
    from planner.page.work import Job
    from planner.plan.plan import Plan
    from planner.report.sheets import Book
    from planner.season.domain import Season, WhatIf
    from planner.season.grids import Book as Cells
    from planner.sharing.shares import Sharing

Mark = tuple[tuple[str, int, int], ...]
"""The day, and names, times and sizes of files: another one means that something has changed."""

PLAN_FILE = "plan.json"
BEFORE = "as planned before"
STORED = (
    "This plan was made before the page was started. Its files say why it is as it is; "
    "this page finds it out again when you ask."
)
READING = threading.Lock()
"""One workbook is read at a time: reading keeps libraries quiet for the whole process."""


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


@dataclass
class Desk:
    """One season in use. Values in it are replaced as a whole, never changed."""

    entry: Entry
    reading: Reading | None = None
    made: Made | None = None
    before: Made | None = None
    """The plan that `made` is held against."""
    job: Job | None = None
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


def plan_file(desk: Desk) -> Path | None:
    """Where the plan of a season stands that was made last, of it as it is or as it was."""
    file = desk.entry.plans / PLAN_FILE
    return file if file.is_file() else None


def shared_folder(plans: Path) -> Path:
    """Folder of a shared order: beside that of its plan, whose files stay as they are."""
    return plans.with_name(f"{plans.name}-shared")


def stored_plan(desk: Desk) -> Made | None:
    """Take up a plan that was written before the page was started, if it is of this season."""
    season = desk.read().season
    file = desk.entry.plans / PLAN_FILE
    plan = _read_plan(file, season)
    if plan is None or season is None:
        return None
    names = [*(file_name(pack, file.stem) for pack in ALL), file.name, f"{file.stem}.ics"]
    try:
        book = plan_book(plan, season)
        files = take(p for p in (file.with_name(name) for name in names) if p.is_file())
        shared = _stored_shares(desk.entry.plans, plan, season)
    except Exception:  # whatever an old or foreign plan makes go wrong: there is none to show
        return None
    return Made(
        BEFORE,
        season,
        plan,
        book,
        files=files,
        shared_files=shared,
        notes=(STORED,),
        base=season.fingerprint,
    )


def _read_plan(file: Path, season: Season | None) -> Plan | None:
    """Read a plan of a season; None if there is none that can be read."""
    if season is None or not file.is_file():
        return None
    try:
        return api.read_plan(file, season)
    except Exception:  # as above
        return None


def _stored_shares(plans: Path, plan: Plan, season: Season) -> tuple[Taken, ...]:
    """Files of a shared order, if they are of this plan."""
    folder = shared_folder(plans)
    shared = _read_plan(folder / PLAN_FILE, season)
    if shared is None or (shared.order, shared.planting) != (plan.order, plan.planting):
        return ()
    return take(bills_first(p for p in folder.iterdir() if _ours(p)))


def _ours(path: Path) -> bool:
    """Whether a file of a folder is none that a program put beside one that it has open."""
    return path.is_file() and path.name[0] not in "~."


def take(files: Iterable[Path]) -> tuple[Taken, ...]:
    """Keep what files hold."""
    return tuple(Taken(p, p.read_bytes()) for p in files)


def bills_first(files: Iterable[Path]) -> tuple[Path, ...]:
    """Settlement and bills before the files of the plan."""
    first = {"settlement": 0, "bill": 1}
    return tuple(sorted(files, key=lambda p: (first.get(p.stem.split(" ")[0], 2), p.name)))

"""Plans as files: those of before the page was started, and what may be taken along."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeVar

from planner import api
from planner.page.desk import Made, Taken
from planner.report.files import JSON
from planner.report.packs import ALL, file_name
from planner.report.plan_files import plan_book

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from pathlib import Path

    from planner.page.desk import Desk
    from planner.page.shelf import Entry
    from planner.plan.plan import Plan
    from planner.season.domain import Season

T = TypeVar("T")

BEFORE = "as planned before"
STORED = (
    "This plan was made before the page was started. Its files say why it is as it is; "
    "this page finds it out again when you ask."
)


def last_plan(entry: Entry) -> Path | None:
    """File of the plan of a season that was made last, of it as it is or as it was."""
    file = entry.plans / JSON
    return file if file.is_file() else None


def shared_folder(plans: Path) -> Path:
    """Folder of a shared order: beside that of its plan, whose files stay as they are."""
    return plans.with_name(f"{plans.name}-shared")


def stored_plan(desk: Desk) -> Made | None:
    """Take up a plan that was written before the page was started, if it is of this season."""
    file, now = last_plan(desk.entry), desk.read().season
    if file is None or now is None:
        return None
    season = _if_readable(lambda: api.season_planned(now, file))
    if season is None:
        return None
    plan = _if_readable(lambda: api.read_plan(file, season))
    if plan is None:
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


def _if_readable(read: Callable[[], T]) -> T | None:
    """What is read of a file; None where whatever an old or foreign one holds goes wrong."""
    try:
        return read()
    except Exception:  # as above
        return None


def _stored_shares(plans: Path, plan: Plan, season: Season) -> tuple[Taken, ...]:
    """Files of a shared order, if they are of this plan."""
    folder = shared_folder(plans)
    shared = _if_readable(lambda: api.read_plan(folder / JSON, season))
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

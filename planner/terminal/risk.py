"""The command `risk` from input to files: plan, compare orders over draws, write."""

from __future__ import annotations

from dataclasses import dataclass, replace
from importlib.util import find_spec
from time import monotonic
from typing import TYPE_CHECKING

from planner import api
from planner.errors import NoPlanError
from planner.report.measures import manner_of
from planner.terminal import places
from planner.terminal.deciding import decide, watched
from planner.terminal.interrupt import kept
from planner.terminal.progress import ProgressLine
from planner.terminal.summary import shortage_lines
from planner.terminal.text import paragraph, written_lines

if TYPE_CHECKING:
    from pathlib import Path

    from planner.plan.plan import Plan
    from planner.risk.compared import TwoStages
    from planner.season.domain import Season
    from planner.terminal.deciding import Options
    from planner.terminal.text import Say

FIRST = 0.1
"""Share of the time in which the plan itself is decided, where none is given."""


@dataclass(frozen=True, slots=True)
class Spread:
    """How many draws, and where they are worked on."""

    draws: int
    workers: int = 1
    cluster: str | None = None


def side_by_side() -> int:
    """Processes that solve side by side by default: one for each core, where Dask is installed."""
    from planner.engine.jobs import cores

    return cores() if find_spec("distributed") is not None else 1


def weigh_orders(
    source: Path,
    out: Path | None,
    options: Options,
    spread: Spread,
    known: Path | None,
    say: Say,
) -> None:
    """Compare orders over draws of what is not known and write the plan with them.

    Where sheet Unknowns is empty, what is usually not known is drawn. Whatever keeps orders from
    being compared, the plan is written.

    Parameters
    ----------
    options
        Its seconds are for all of it.
    known
        plan.json of this season; without, the plan is made first.
    say
        Prints lines.

    Raises
    ------
    PlannerError
        See `planner.api`.
    """
    from planner.engine.run import check
    from planner.risk.usual import with_usual_unknowns

    began = monotonic()
    season = with_usual_unknowns(api.load(source))
    season = season if known is None else api.season_planned(season, known)
    folder = out or places.plan_folder(source)
    _check_place(folder)
    check(workers=spread.workers, cluster=spread.cluster)
    with kept() as asked:
        stopped = False
        if known is None:
            plan, stopped = decide(season, replace(options, seconds=FIRST * options.seconds))
        else:
            plan = api.read_plan(known, season)
        say(shortage_lines(plan, season))
        left = max(1.0, options.seconds - (monotonic() - began))
        stages: TwoStages | None = None
        try:
            if stopped or asked.is_set():
                say(_not_compared("you stopped it"))
            else:
                stages = _weighed(season, plan, replace(options, seconds=left), spread)
                say(_compared(stages, season))
        except NoPlanError as error:  # no draw was settled in time
            say(_not_compared(str(error)))
        except Exception:  # the plan is not lost by that
            say(written_lines(api.write(plan, season, folder)))
            raise
        say(written_lines(api.write(plan, season, folder, stages=stages)))


def _check_place(folder: Path) -> None:
    """Refuse a folder that the plan's files can't be written into, before any work."""
    from planner.report.again_json import refuse_to_forget
    from planner.report.files import CALENDAR, JSON, PACKS, check_folder
    from planner.report.packs import file_name
    from planner.report.sheets import Pack

    names = [file_name(Pack(pack)) for pack in PACKS]
    check_folder(folder, [*names, JSON, CALENDAR])
    refuse_to_forget(folder / JSON)


def _compared(stages: TwoStages, season: Season) -> list[str]:
    from planner.risk.words import chosen

    lines = paragraph(chosen(stages, season), 0)
    for notes in stages.left_out:
        lines += paragraph(f"Time ran out: {notes}.", 0)
    return lines


def _not_compared(why: str) -> list[str]:
    return paragraph(f"Orders were not compared: {why}. The plan itself is not affected.", 0)


def _weighed(season: Season, plan: Plan, options: Options, spread: Spread) -> TwoStages:
    line = ProgressLine(manner_of(season.farm), "comparing orders", quiet=options.quiet)
    found, _ = watched(
        lambda stop: api.compare_orders(
            season,
            plan,
            draws=spread.draws,
            seed=options.seed,
            seconds=options.seconds,
            workers=spread.workers,
            cluster=spread.cluster,
            on_progress=line.doing,
            stop=stop,
        ),
        line,
        "Stopping: what is known by now is kept. Press Ctrl-C again to quit now.",
    )
    return found

"""Making a plan while its progress is shown and Ctrl-C is heard."""

from __future__ import annotations

import threading
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar

from planner import api
from planner.report.measures import manner_of
from planner.terminal.interrupt import interruptible
from planner.terminal.progress import ProgressLine

if TYPE_CHECKING:
    from collections.abc import Callable

    from planner.optimize.options import Progress
    from planner.plan.plan import Plan
    from planner.season.domain import Season

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Options:
    """What the command line says about deciding."""

    seconds: float = api.DEFAULT_SECONDS
    gap: float = api.DEFAULT_GAP
    effort: int | None = None
    seed: int = 0
    quiet: bool = False


def decide(
    season: Season,
    options: Options,
    what: str = "",
    meanwhile: Callable[[], None] | None = None,
    known: Plan | None = None,
) -> tuple[Plan, bool]:
    """Plan a season; the first Ctrl-C keeps the best plan so far.

    Parameters
    ----------
    what
        What is planned, in front of the progress; empty for the season as it is.
    meanwhile
        Done once there is a first plan, in a thread beside; it is over when this returns. What it
        imports is half there until then, and imported in two threads at once it may fail.
    known
        A plan to begin with, see `planner.api.make_plan`.

    Returns
    -------
    tuple of Plan and bool
        The plan, and whether it was cut short.

    Raises
    ------
    PlannerError
        When there is no plan, see `planner.api.make_plan`.
    KeyboardInterrupt
        At the second Ctrl-C.
    """
    line = ProgressLine(manner_of(season.farm), what, quiet=options.quiet)
    waiting = [threading.Thread(target=meanwhile, daemon=True)] if meanwhile else []
    beside: list[threading.Thread] = []

    def on_progress(progress: Progress) -> None:
        line.update(progress)
        while waiting:
            beside.append(waiting.pop())
            beside[-1].start()

    found = watched(
        lambda stop: api.make_plan(
            season,
            seconds=options.seconds,
            gap=options.gap,
            effort=options.effort,
            seed=options.seed,
            known=known,
            on_progress=on_progress,
            stop=stop,
        ),
        line,
        "Stopping: the best plan so far is kept. Press Ctrl-C again to quit now.",
    )
    for thread in beside:
        thread.join()
    return found


def interrupted_by(
    work: Callable[[threading.Event], T], options: Options, season: Season, what: str
) -> T:
    """Do further work on a plan; the first Ctrl-C cuts it short."""
    line = ProgressLine(manner_of(season.farm), what, quiet=options.quiet)
    return watched(work, line, f"Stopping {what}. Press Ctrl-C again to quit now.")[0]


def watched(
    work: Callable[[threading.Event], T], line: ProgressLine, stopping: str
) -> tuple[T, bool]:
    """Do work while its progress is shown; the first Ctrl-C sets its event and says `stopping`."""
    try:
        return interruptible(work, beat=line.beat, asked=lambda: line.say(stopping))
    finally:
        line.close()

"""Making a plan while its progress is shown and Ctrl-C is heard."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from planner import api
from planner.report.measures import manner_of
from planner.terminal.interrupt import interruptible
from planner.terminal.progress import ProgressLine

if TYPE_CHECKING:
    from planner.plan.plan import Plan
    from planner.season.domain import Season


@dataclass(frozen=True, slots=True)
class Options:
    """What the command line says about deciding."""

    seconds: float = api.DEFAULT_SECONDS
    gap: float = api.DEFAULT_GAP
    effort: int | None = None
    seed: int = 0
    quiet: bool = False


def decide(season: Season, options: Options) -> Plan:
    """Plan a season; the first Ctrl-C keeps the best plan so far.

    Raises
    ------
    PlannerError
        When there is no plan, see `planner.api.make_plan`.
    KeyboardInterrupt
        At the second Ctrl-C.
    """
    line = ProgressLine(manner_of(season.farm), quiet=options.quiet)
    try:
        return interruptible(
            lambda stop: api.make_plan(
                season,
                seconds=options.seconds,
                gap=options.gap,
                effort=options.effort,
                seed=options.seed,
                on_progress=line.update,
                stop=stop,
            ),
            beat=line.beat,
            asked=lambda: line.say("Stopping: the best plan so far is kept. Ctrl-C again leaves."),
        )
    finally:
        line.close()

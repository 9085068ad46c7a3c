"""The command `share`: one order for several growers, from input to bills."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner import api
from planner.report.measures import Measure, manner_of
from planner.terminal import places, summary
from planner.terminal.deciding import decide, watched
from planner.terminal.interrupt import kept
from planner.terminal.progress import CountLine
from planner.terminal.text import paragraph, table, written_lines

if TYPE_CHECKING:
    from pathlib import Path

    from planner.season.domain import Season
    from planner.sharing.bills import Bill
    from planner.sharing.shares import Sharing
    from planner.terminal.deciding import Options
    from planner.terminal.text import Say


def share_season(
    source: Path,
    out: Path | None,
    options: Options,
    each: float,
    workers: int,
    cluster: str | None,
    say: Say,
) -> None:
    """Plan a season with several growers, share its cost and write the files.

    Parameters
    ----------
    each
        Seconds for the plan of each group by itself.
    say
        Prints lines.

    Raises
    ------
    PlannerError
        See `planner.api`; the plan is written even where its cost could not be shared.
    """
    from planner.engine.run import check
    from planner.report.again_json import refuse_to_forget
    from planner.report.files import JSON, check_folder
    from planner.report.share_files import write_shares
    from planner.sharing.shares import groups_to_plan

    season = api.load(source)
    groups = groups_to_plan(season)
    folder = out or places.plan_folder(source)
    check_folder(folder)
    refuse_to_forget(folder / JSON)
    check(workers=workers, cluster=cluster)
    with kept() as hurry:  # whoever stopped the plan gets what needs no further planning
        plan, stopped = decide(season, options)
        if stopped:
            hurry.set()
        line = CountLine("groups planned", groups, quiet=options.quiet)
        try:
            sharing, _ = watched(
                lambda stop: api.share(
                    season,
                    plan,
                    seconds=each,
                    effort=options.effort,
                    workers=workers,
                    cluster=cluster,
                    on_done=line.count,
                    stop=hurry if hurry.is_set() else stop,
                ),
                line,
                "Stopping: costs are shared by use instead. Press Ctrl-C again to quit now.",
            )
        except Exception:  # the plan is not lost by that
            say(written_lines(api.write(plan, season, folder)))
            raise
        paths = write_shares(sharing, plan, season, folder)
        shown = [] if options.quiet else share_lines(sharing, season)
        say([*summary.shortage_lines(plan, season), *shown, *written_lines(paths)])


def share_lines(sharing: Sharing, season: Season) -> list[str]:
    """Shares side by side, and whether anyone would do better alone."""
    from planner.report.share_frames import RULES, verdict

    manner = manner_of(season.farm)

    def say(amount: float | None) -> str:
        return "not known" if amount is None else manner.say(amount, Measure.MONEY)

    def saved(bill: Bill) -> str:
        if bill.short_alone:
            return f"plants {'less' if bill.short_alone > 0.0 else 'more'} alone"
        return say(bill.saved)

    rows = [[b.grower, say(b.share), say(b.alone), saved(b)] for b in sharing.bills]
    return [
        *paragraph(f"Shared {RULES[sharing.by]}.", 0),
        *table(["Grower", "Share", "Alone", "Saved together"], rows),
        *(line for text in verdict(sharing, season) for line in paragraph(text, 0)),
    ]

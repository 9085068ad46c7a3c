"""The command `many`: every season of a folder, from inputs to one summary."""

from __future__ import annotations

from contextlib import suppress
from functools import partial
from typing import TYPE_CHECKING

from planner import __version__
from planner.explain.words import count
from planner.many.found import SUMMARY
from planner.optimize.options import SolveOptions
from planner.plan.plan import CENT, NEARNESS, TOTAL, known_gap
from planner.report.many_frames import FAULTS, copies_said
from planner.report.measures import Manner, Measure, manner_of
from planner.terminal.deciding import watched
from planner.terminal.progress import CountLine, ProgressLine
from planner.terminal.text import paragraph, shortened, table, written_lines

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from planner.many.run import All
    from planner.sharing.dealer import Planned, Pooled
    from planner.terminal.deciding import Options

CORES = 2
"""Cores that each season's plan keeps busy."""
PLANS = "plans"
"""Folder of the seasons' plans."""
MOST = 20
"""Seasons that are shown; the workbook holds all."""
NAME = 34
"""Columns of a season's name."""
POOL_SECONDS = 30.0
STOPPING_POOL = (
    "Stopping: one order for all is the best found so far. Press Ctrl-C again to quit now."
)


def plan_many(
    folder: Path, out: Path, options: Options, workers: int, cluster: str | None
) -> list[str]:
    """Plan every season of a folder and write the summary.

    Parameters
    ----------
    options
        For each season; the gap and the random choices are always the same.
    workers, cluster
        Seasons planned side by side here, or the address of a Dask cluster that plans them.

    Returns
    -------
    list of str
        What to print.

    Raises
    ------
    PlannerError
        See `planner.many.run.plan_all`; what was planned by then is kept.
    """
    from planner.many.found import left_out, seasons_in
    from planner.many.run import plan_all
    from planner.report.files import check_folder
    from planner.report.many_frames import many_book
    from planner.report.plan_files import write_or_beside
    from planner.report.workbook import render

    sources = seasons_in(folder)
    others = left_out(folder, sources)
    check_folder(out, (SUMMARY,))
    cores = None if options.effort is not None else CORES
    each = SolveOptions(seconds=options.seconds, effort=options.effort, cores=cores)
    line = CountLine("seasons", len(sources), quiet=options.quiet)
    made, stopped = watched(
        lambda stop: plan_all(
            sources,
            out / PLANS,
            each,
            version=__version__,
            workers=workers,
            cluster=cluster,
            on_done=line.count,
            on_kept=line.skip,
            stop=stop,
        ),
        line,
        "Stopping: what is planned is kept. Press Ctrl-C again to quit now.",
    )
    pooled = () if stopped else _pooled(made.records, options)
    book = render(many_book(made.records, pooled, made.left, others))
    written = write_or_beside(out, {SUMMARY: book})
    shown = not_planned(made) if options.quiet else many_lines(made, pooled, others)
    return [*shown, *written_lines(written)]


def _pooled(records: tuple[Planned, ...], options: Options) -> tuple[Pooled, ...]:
    """One order for all of a currency; none where fewer than two buy or none is found."""
    from planner.errors import Interrupted, NoPlanError
    from planner.sharing.dealer import by_currency, pool

    pooling = SolveOptions(seconds=POOL_SECONDS, effort=options.effort)
    found = []
    for currency, group in by_currency(records).items():
        line = ProgressLine(Manner(currency=currency), "one order for all", quiet=options.quiet)
        work = partial(pool, group, pooling, line.update)
        with suppress(NoPlanError, Interrupted):
            one, stopped = watched(work, line, STOPPING_POOL)
            found.append(one)
            if stopped:
                break
    return tuple(one for one in found if one is not None)


def _near(record: Planned) -> str:
    gap = known_gap(record.gap) if record.has_plan else None
    return "-" if gap is None else f"{gap * 100.0:.2f}%"


def not_planned(made: All) -> list[str]:
    """That seasons were not planned, and where it says why; nothing where all were."""
    planned, asked = sum(r.has_plan for r in made.records), len(made.records) + made.left
    if planned == asked:
        return []
    return [f"{planned} of {asked} seasons planned.", *_why(made)]


def _why(made: All) -> list[str]:
    lines: list[str] = []
    if made.left:
        verb = "was" if made.left == 1 else "were"
        lines += paragraph(f"{made.left} {verb} not reached: run the same command again.", 0)
    if any(r.faults for r in made.records):
        lines.append(f"Why seasons could not be planned: sheet {FAULTS} of {SUMMARY}.")
    return lines


def many_lines(made: All, pooled: Sequence[Pooled] = (), left_out: Sequence[str] = ()) -> list[str]:
    """What came of all seasons, those with something wrong first, and what was left out."""
    shown = sorted(made.records, key=lambda r: (r.has_plan, r.short <= 0))[:MOST]
    rows = [
        [
            shortened(r.name, NAME),
            r.words,
            manner_of(r).say(r.cost, Measure.MONEY) if r.has_plan else "-",
            _near(r),
            manner_of(r).say(r.short, Measure.AREA) if r.short else "",
        ]
        for r in shown
    ]
    planned = sum(r.has_plan for r in made.records)
    now = planned - made.before
    said = f"{planned} of {len(made.records) + made.left} seasons planned"
    said += f", {made.before} of them before." if made.before else "."
    if now and made.seconds > 0:
        said += f" {now} now, in {made.seconds:.0f} s"
        busy = made.busy
        there = count(made.workers, "worker")
        said += "." if busy is None else f"; {there} planned {busy * 100.0:.1f}% of that time."
    lines = [*table(["Season", "Plan", TOTAL, NEARNESS, "Short"], rows), *paragraph(said, 0)]
    if len(made.records) > MOST:
        lines.append(f"  ... and {len(made.records) - MOST} more in the workbook")
    lines += _why(made)
    for said in (*copies_said(made.records), *left_out):
        lines += paragraph(said, 0)
    for one in pooled:
        manner = Manner(currency=one.currency)
        cost, apart, saved = (
            manner.say(x, Measure.MONEY) for x in (one.cost, one.apart, one.saved)
        )
        less = f": {saved} less" if abs(one.saved) >= CENT / 2 else ", no less"
        lines += paragraph(f"One order for all would cost {cost} in place of {apart}{less}.", 0)
    return lines

"""The command `wholedrum`: reads the command line, calls the steps, turns errors into sentences.

Exit codes: 0 plan written; 1 a bug; 2 wrong use; 3 faults in the input; 4 acres short with
``--strict``; 5 no plan in the time given, or the solver failed; 6 output could not be written; 7
processes or cluster not there; 70 our own audit found the plan wrong; 130 interrupted before any
plan; 143 ended by the system.
"""

from __future__ import annotations

import os
import signal
import sys
import threading
import traceback
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NoReturn

import typer

from planner import __version__
from planner.errors import (
    InputError,
    Interrupted,
    NoPlanError,
    OutputError,
    PlannerError,
    bug,
)
from planner.terminal import memory, streams
from planner.terminal.arguments import (
    Cluster,
    Effort,
    EffortEach,
    Gap,
    Input,
    MostMoved,
    Out,
    Pack,
    Packs,
    PlanScenarios,
    Quiet,
    QuietButShort,
    RandomSeed,
    Safe,
    Seconds,
    SecondsEach,
    SecondsForAll,
    Since,
    Strict,
    UsualUnknowns,
    WhySeconds,
    number,
    whole,
)
from planner.terminal.text import clean, clean_lines

if TYPE_CHECKING:
    from collections.abc import Sequence

WRONG_USE = 2
SHORT = 4
OUTPUT = OutputError.exit_code
INTERRUPTED = Interrupted.exit_code
TERMINATED = 143
"""128 and the number of the signal SIGTERM, as shells tell it."""
EACH_SHARE = 1 / 6
"""Of the seconds for deciding, as many for the plan of each group of growers."""
ALL_THE_SAME = " Any files were written all the same."
DEBUG = "WHOLEDRUM_DEBUG"
"""Environment variable: set to 1, a bug shows its traceback."""

app = typer.Typer(
    name="wholedrum",
    help="Plan a soybean season: which seed goes where, how it is treated, what to order.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)


def _version(asked: bool) -> None:
    if asked:
        _print(f"wholedrum {__version__}")
        raise typer.Exit


@app.callback()
def _top(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Show the version.")
    ] = False,
) -> None:
    """Plan a soybean season: which seed goes where, how it is treated, what to order."""


@app.command(epilog="Example: wholedrum start season.xlsx --demo")
def start(
    file: Annotated[
        Path | None, typer.Argument(metavar="FILE.xlsx", help="Workbook to make.")
    ] = None,
    demo: Annotated[bool, typer.Option("--demo", help="Fill it with an invented farm.")] = False,
    csv: Annotated[
        Path | None,
        typer.Option(
            "--csv", metavar="FOLDER", help="Make a folder of CSV files instead, or as well."
        ),
    ] = None,
    old: Annotated[
        Path | None,
        typer.Option("--from", metavar="OLD", help="Last season, to start the next one from."),
    ] = None,
    plan: Annotated[
        Path | None,
        typer.Option(
            "--plan",
            metavar="OLD/plan.json",
            help="With --from: the plan of that season, or its folder, where it is not beside it.",
        ),
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Replace what is there already.")] = False,
) -> None:
    """Make a season workbook to fill in."""
    from planner.terminal.starting import start_season

    if file is None and csv is None:
        msg = "name a workbook to make, or a folder with --csv"
        raise typer.BadParameter(msg)
    if file is not None and file.suffix.casefold() != ".xlsx":
        msg = f"{file.name} must end in .xlsx"
        raise typer.BadParameter(msg)
    if demo and old is not None:
        msg = "use --demo or --from, not both"
        raise typer.BadParameter(msg)
    if plan is not None and old is None:
        msg = "--plan goes with --from"
        raise typer.BadParameter(msg)
    written, notes = start_season(file, csv, demo=demo, old=old, plan=plan, force=force)
    for line in notes:
        _print(line)
    for path in written:
        _print(f"Written: {path}")


@app.command(
    short_help="Read and check a season; show every fault at once.",
    epilog="Example: wholedrum check season.xlsx",
)
def check(
    source: Input,
    mark: Annotated[
        bool,
        typer.Option("--mark", help="Write a copy of the workbook with the faulty cells marked."),
    ] = False,
) -> None:
    """Read and check a season; print what was understood, or every fault."""
    from planner import api
    from planner.season.read import read_scenarios
    from planner.terminal.places import marked_copy
    from planner.terminal.summary import season_lines

    try:
        season = api.load(source)
        if season.what_if:
            read_scenarios(source)
    except InputError as error:
        if mark and source.exists():
            from planner.form.mark import mark_faults

            try:
                _tell(f"Written: {mark_faults(source, error.faults, marked_copy(source))}")
            except OutputError as trouble:  # the faults are what was asked for; they follow
                _tell(str(trouble))
        raise
    for line in season_lines(season):
        _print(line)


@app.command(
    short_help="Plan a season: what goes where, what to treat and order.",
    epilog="Example: wholedrum plan season.xlsx --out plan --seconds 30",
)
def plan(
    source: Input,
    out: Out = None,
    seconds: Seconds = 60.0,
    gap: Gap = 1e-4,
    effort: Effort = None,
    seed: RandomSeed = 0,
    strict: Strict = False,
    quiet: QuietButShort = False,
    why: WhySeconds = None,
    what_if: PlanScenarios = None,
    since: Since = None,
    usual_unknowns: UsualUnknowns = False,
    pack: Packs = Pack.ALL,
    safe: Safe = None,
    most_moved: MostMoved = None,
) -> None:
    """Make the plan, write plan.json and its workbooks, print order, cost and what is short."""
    from planner import api
    from planner.report.files import PACKS
    from planner.terminal import places
    from planner.terminal.deciding import Options
    from planner.terminal.planning import Extras, plan_season

    if most_moved is not None and since is None:
        msg = "--most-moved goes with --since"
        raise typer.BadParameter(msg)
    options = Options(seconds, gap, effort, seed, quiet=quiet)
    usual = api.why_seconds(seconds)
    extras = Extras(
        why=usual if why is None else why,
        what_if=usual if what_if is None else seconds * what_if,
        since=since and places.plan_file(since),
        most_moved=most_moved,
        usual_unknowns=usual_unknowns,
        packs=PACKS if pack is Pack.ALL else (pack.value,),
        safe=None if safe is None else safe / 100.0,
    )
    made = plan_season(source, out, options, extras, _print_all)
    if strict and made.shortages:
        raise typer.Exit(SHORT)


@app.command(
    short_help="Plan one order for several growers, with a bill for each.",
    epilog="Example: wholedrum share season.xlsx --out shared --each 10",
)
def share(
    source: Input,
    out: Out = None,
    seconds: Seconds = 60.0,
    each: Annotated[
        float | None,
        typer.Option(
            parser=number(0.1),
            metavar="N",
            help="Seconds for the plan of each group of growers by itself."
            "  [default: a sixth of --seconds]",
        ),
    ] = None,
    effort: EffortEach = None,
    workers: Annotated[
        int, typer.Option(parser=whole(1), metavar="N", help="Groups planned side by side.")
    ] = 1,
    cluster: Cluster = None,
    quiet: Quiet = False,
) -> None:
    """Plan one order for several growers; write a bill for each and who owes whom."""
    from planner.terminal.deciding import Options
    from planner.terminal.sharing import share_season

    options = Options(seconds, effort=effort, quiet=quiet)
    each = seconds * EACH_SHARE if each is None else each
    share_season(source, out, options, each, workers, cluster, _print_all)


@app.command(
    short_help="Find the order that is cheapest on average.",
    epilog="Example: wholedrum risk season.xlsx --out risk --seconds 600",
)
def risk(
    source: Input,
    out: Out = None,
    draws: Annotated[
        int,
        typer.Option(
            parser=whole(2, 4096),
            metavar="N",
            help="Seasons to draw for comparing the best orders; rounded up to 2, 4, 8, ...",
        ),
    ] = 32,
    seconds: SecondsForAll = 600.0,
    seed: Annotated[
        int,
        typer.Option(
            parser=whole(0, 2**31 - 4),
            metavar="N",
            help="Random seed: the same number draws the same seasons.",
        ),
    ] = 0,
    workers: Annotated[
        int | None,
        typer.Option(
            parser=whole(1, 256),
            metavar="N",
            help="Processes on this machine that solve side by side.  [default: one for each core "
            "where Dask is installed, else 1]",
        ),
    ] = None,
    cluster: Cluster = None,
    plan_file: Annotated[
        Path | None,
        typer.Option("--plan", metavar="PLAN.json", help="Plan of this season, to start from it."),
    ] = None,
    quiet: Quiet = False,
) -> None:
    """Find the order that is cheapest on average when figures turn out otherwise."""
    from planner.terminal import places
    from planner.terminal.deciding import Options
    from planner.terminal.risk import Spread, side_by_side, weigh_orders

    options = Options(seconds, seed=seed, quiet=quiet)
    spread = Spread(draws, workers or side_by_side(), cluster)
    known = plan_file and places.plan_file(plan_file)
    weigh_orders(source, out, options, spread, known, _print_all)


@app.command(
    short_help="Plan every season of a folder.",
    epilog="Example: wholedrum many seasons --out planned --seconds 30 --workers 2",
)
def many(
    folder: Annotated[
        Path, typer.Argument(metavar="FOLDER", help="Folder of seasons: workbooks, CSV folders.")
    ],
    out: Annotated[
        Path, typer.Option("--out", metavar="DIR", help="Folder for the plans and the summary.")
    ],
    seconds: SecondsEach = 60.0,
    workers: Annotated[
        int, typer.Option(parser=whole(1), metavar="N", help="Seasons planned side by side.")
    ] = 1,
    cluster: Cluster = None,
    effort: EffortEach = None,
    quiet: Quiet = False,
) -> None:
    """Plan every season of a folder; sum up orders, what pooling saves, and needs by week."""
    from planner.terminal.deciding import Options
    from planner.terminal.many import plan_many

    options = Options(seconds, effort=effort, quiet=quiet)
    for line in plan_many(folder, out, options, workers, cluster):
        _print(line)


@app.command(
    short_help="Show plans side by side, differences first.",
    epilog="Example: wholedrum compare old/plan.json season.xlsx --out compared",
)
def compare(
    sources: Annotated[
        list[Path],
        typer.Argument(metavar="PLAN", help="Two or more: plan.json of plans, or seasons."),
    ],
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="DIR", help="Write compare.json and compare.xlsx there."),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON instead of tables.")] = False,
    seconds: SecondsEach = 60.0,
) -> None:
    """Show plans side by side, differences first; seasons are planned for it."""
    from planner.terminal import comparing, deciding, places

    if len(sources) < 2:
        msg = "name two or more seasons or plans"
        raise typer.BadParameter(msg)
    options = deciding.Options(seconds, quiet=as_json)
    files = [places.plan_file(path) for path in sources]
    for line in comparing.compare_all(files, out, options, as_json=as_json):
        _print(line)


@app.command(
    short_help="Bring the work in the shop up to date.",
    epilog="Example: wholedrum campaign plan/plan.json --done 'L-104:Full:12:2027-04-14'",
)
def campaign(
    plan_file: Annotated[
        Path,
        typer.Argument(
            metavar="PLAN.json",
            help="plan.json of a plan with treating in it, or its folder.",
        ),
    ],
    done: Annotated[
        list[str] | None,
        typer.Option(
            "--done",
            metavar="LOT:RECIPE:BAGS[:DAY]",
            help="Bags done; may be repeated. -2 takes two back.",
        ),
    ] = None,
    log: Annotated[
        Path | None,
        typer.Option(
            "--log",
            metavar="FILE",
            help="The same as a table that grows, a workbook or CSV file: Lot, Recipe, Bags, Day. "
            "Rows counted before are skipped.",
        ),
    ] = None,
    recount: Annotated[
        bool,
        typer.Option(
            "--recount", help="Forget what was reported before; --log or --done has all of it."
        ),
    ] = False,
    today: Annotated[
        str,
        typer.Option(
            "--today",
            metavar="DAY",
            show_default=False,
            help="First day left for treating.  [default: the day after the last day done]",
        ),
    ] = "",
) -> None:
    """Bring the work in the shop up to date; writes plan.json, plan.ics and campaign.xlsx."""
    from planner.report.campaign_files import update_campaign
    from planner.terminal import places
    from planner.terminal.shop import campaign_lines
    from planner.terminal.text import written_lines

    if recount and not (done or log):
        msg = "--recount goes with --log or --done, which have all that is done"
        raise typer.BadParameter(msg)
    file = places.plan_file(plan_file)
    updated, paths, said = update_campaign(file, done or [], log, today, recount=recount)
    for line in [*campaign_lines(updated, said), *written_lines(paths)]:
        _print(line)


@app.command(
    short_help="Do all of it in the browser, on this machine only.",
    epilog="Example: wholedrum page my-farm",
)
def page(
    folder: Annotated[
        Path | None,
        typer.Argument(metavar="FOLDER", help="Where your seasons are.  [default: this folder]"),
    ] = None,
    port: Annotated[
        int,
        typer.Option(
            parser=whole(0, 65535),
            metavar="N",
            show_default=False,
            help="Port to use.  [default: a free one]",
        ),
    ] = 0,
    browser: Annotated[
        bool,
        typer.Option(
            "--browser/--no-browser",
            show_default=False,
            help="Whether to open the browser.  [default: yes]",
        ),
    ] = True,
) -> None:
    """Check, plan, look around and try things in the browser, on this machine only."""
    try:
        from planner.page.server import serve
    except ModuleNotFoundError as error:
        _tell(f"The page needs a library that is not installed ({error.name}):")
        _tell("pip install -e '.[page]' in the project's folder installs what it needs.")
        raise typer.Exit(WRONG_USE) from None
    serve(folder or Path(), port=port, browser=browser)


def _print(text: str) -> None:
    streams.put(clean(text))


def _print_all(lines: Sequence[str]) -> None:
    for line in lines:
        _print(line)


def run(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code; errors go to stderr."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    code = _run(arguments)
    streams.flush()
    why = streams.failure()
    if not why:
        return code
    _tell(f"The results could not be printed: {why}.{'' if code else ALL_THE_SAME}")
    return code or OUTPUT


def _run(arguments: Sequence[str] | None) -> int:
    """Run one command; its exit code, as far as that does not hang on what could be printed."""
    try:
        app(args=arguments, prog_name="wholedrum")
    except SystemExit as leaving:
        return leaving.code if isinstance(leaving.code, int) else int(leaving.code is not None)
    except PlannerError as error:
        _tell(str(error))
        return error.exit_code
    except KeyboardInterrupt:
        return INTERRUPTED
    except Exception as error:
        return _reported(error)
    return 0


def _reported(error: Exception) -> int:
    """Tell of what nobody foresaw; the exit code."""
    if memory.ran_out(error):
        _tell(memory.RAN_OUT)
        return NoPlanError.exit_code
    if isinstance(error, OSError):
        _tell(f"Could not read or write {error.filename or 'the output'}: {error.strerror}.")
        return OUTPUT
    if os.environ.get(DEBUG) == "1":
        traceback.print_exception(error)
    _tell(f"{bug(error)} {DEBUG}=1 shows where it happened.")
    return 1


def _tell(text: str) -> None:
    streams.put(clean_lines(text), sys.stderr)


def _open_closed_streams() -> None:
    """Send to nowhere what goes to streams that were closed at the start.

    Else the first file that is opened would take the place of one, and get what is printed.
    """
    for stream in range(3):
        try:
            os.fstat(stream)
        except OSError:
            os.open(os.devnull, os.O_RDWR)  # takes the lowest number that is free: this one
    if sys.stdout is None:
        sys.stdout = os.fdopen(1, "w")
    if sys.stderr is None:
        sys.stderr = os.fdopen(2, "w")


def _terminated(number: int, _frame: object) -> NoReturn:
    """Let go of what is half done, as after Ctrl-C, where the system would just end the process."""
    raise SystemExit(TERMINATED)


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line and leave with its exit code."""
    _open_closed_streams()
    signal.signal(signal.SIGTERM, _terminated)
    code = run(arguments)
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # what was to be done is done
    if code in (INTERRUPTED, TERMINATED) or threading.active_count() > 1:
        # A solver that was left computing must not hold the door; and Python itself would turn
        # the code of an interrupt into a death by signal.
        os._exit(code)
    raise SystemExit(code)

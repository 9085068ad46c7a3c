"""The main job from Python: read a season, make its plan, write the plan.

Each step is a plain function from one immutable value to the next. Heavy libraries are imported by
the steps that need them.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from time import monotonic
from typing import TYPE_CHECKING

from planner.errors import Fault, InputError, NoPlanError

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from planner.campaign.domain import Campaign
    from planner.explain.again import Again
    from planner.explain.compare import Comparison
    from planner.explain.explain import Explanation
    from planner.explain.tried import Tried
    from planner.optimize.options import Progress, Stop
    from planner.plan.earlier import Earlier
    from planner.plan.plan import Plan
    from planner.report.sheets import Book
    from planner.risk.compared import TwoStages
    from planner.season.domain import Season, WhatIf
    from planner.season.tables import Book as Cells
    from planner.sharing.shares import Sharing

DEFAULT_SECONDS = 60.0
DEFAULT_GAP = 1e-4


def load(path: Path | str, scenario: str = "") -> Season:
    """Read a season from a workbook or a folder of CSV files.

    Parameters
    ----------
    path
        An ``.xlsx`` or ``.xlsm`` workbook, or a folder of ``.csv`` files named after the sheets.
    scenario
        Name of a scenario of the sheet What if, whose changes are made first; empty for none.

    Raises
    ------
    InputError
        When anything in the input cannot be planned with; holds every fault.

    Examples
    --------
    >>> season = load("data/demo.xlsx")
    >>> len(season.recipes)
    5
    """
    from planner.season.read import read_season

    return read_season(Path(path), scenario)


def load_scenarios(path: Path | str) -> dict[str, Season]:
    """Read the season of every scenario of the sheet What if, by the scenario's name.

    Raises
    ------
    InputError
        When one of them cannot be planned with; holds every fault, with its scenario.
    """
    from planner.season.read import read_scenarios

    return read_scenarios(Path(path))


def read_cells(path: Path | str) -> Cells:
    """Read the cells of an input once, for `season_of` to make seasons of without its file.

    Raises
    ------
    InputError
        When it cannot be read as a whole.
    """
    from planner.season.tables import read_tables

    return read_tables(Path(path))


def season_of(cells: Cells, changes: Sequence[WhatIf] = ()) -> Season:
    """Make the season of an input that was read, with changes made first.

    Parameters
    ----------
    changes
        As rows of the sheet What if would make them; their scenario does not matter.

    Raises
    ------
    InputError
        When anything cannot be planned with; holds every fault.
    """
    from planner.season.read import changed_season

    return changed_season(cells, changes)


def scenarios_of(cells: Cells, changes: Sequence[WhatIf] = ()) -> dict[str, Season]:
    """Make the season of every scenario of the sheet What if, by the scenario's name.

    Parameters
    ----------
    changes
        Made in every scenario, beside its own, as `season_of` makes them.

    Raises
    ------
    InputError
        When one of them cannot be planned with; holds every fault, with its scenario.
    """
    from planner.season.read import scenarios_of as seasons_of_scenarios

    return seasons_of_scenarios(cells, changes)


def try_out(plan: Plan, season: Season, counts: Mapping[tuple[str, str], int] | None) -> Tried:
    """Count a plan again for a changed season or another order; nothing is decided again.

    Parameters
    ----------
    counts
        Containers to order by (product, container); those of the plan where None.
    """
    from planner.explain.tried import try_out as count_again

    return count_again(plan, season, counts)


def describe_tried(tried: Tried, plan: Plan) -> Book:
    """Describe what comes of a change against the plan that is held, differences first."""
    from planner.report.tried_frames import tried_book

    return tried_book(tried, plan)


def keep_scenario(path: Path | str, name: str, changes: Sequence[WhatIf]) -> bytes:
    """Copy a workbook, with changes added as a scenario; the original is only read.

    Raises
    ------
    OutputError
        When the name is blank or taken, nothing is changed, or it cannot be copied.
    """
    from planner.season.keep import with_scenario

    return with_scenario(Path(path), name, changes)


def beside(plans: Sequence[tuple[str, Plan]], season: Season) -> Book:
    """Describe named plans side by side, differences first, in the manner of a season."""
    from planner.report.comparison import comparison_book
    from planner.report.measures import manner_of

    return comparison_book(compare(plans), manner_of(season.farm))


def compare(plans: Sequence[tuple[str, Plan]]) -> Comparison:
    """Hold named plans against the first of them: what differs in cost, order, seed and fields."""
    from planner.explain.compare import compare as hold_side_by_side

    return hold_side_by_side(plans)


def understood(season: Season) -> Book:
    """Describe a season as it was read, as plain tables with the rows they come from."""
    from planner.report.season_frames import understood_book

    return understood_book(season)


def mark_faults(path: Path | str, faults: Sequence[Fault], target: Path | str) -> Path:
    """Write a copy of an input with its faulty cells marked; the original is only read.

    Raises
    ------
    OutputError
        When the input cannot be copied, or the copy cannot be written.
    """
    from planner.season.mark import mark_faults as mark

    return mark(Path(path), faults, Path(target))


def start(path: Path | str, *, demo: bool = False) -> Path:
    """Write a season workbook to fill in, or the filled demo.

    Raises
    ------
    OutputError
        When it cannot be written.
    """
    from planner.season.template import write_blank

    return write_blank(Path(path), demo=demo)


def make_plan(
    season: Season,
    *,
    seconds: float = DEFAULT_SECONDS,
    gap: float = DEFAULT_GAP,
    effort: int | None = None,
    seed: int = 0,
    on_progress: Callable[[Progress], None] | None = None,
    stop: Stop | None = None,
) -> Plan:
    """Decide varieties, recipes, bags and containers together, and check the decision.

    Parameters
    ----------
    season
        What `load` returns.
    seconds
        Time for deciding; the best plan found by then is returned.
    gap
        Proven distance from the best possible, as a share of the cost, at which to stop early.
    effort
        Work limit in steps instead of seconds: the same plan on every run.
    seed
        Of the random choices of the search.
    on_progress
        Called with the state of the search now and then, from the thread that solves.
    stop
        An event (as `threading.Event`): once set, the best plan so far is returned.

    Returns
    -------
    Plan
        Audited, with its warnings.

    Raises
    ------
    NoPlanError
        When the time ran out before any plan, or the solver failed.
    Interrupted
        When `stop` was set before there was any plan.
    AuditError
        When the plan breaks a rule, which is a bug.

    Examples
    --------
    >>> season = load("data/demo.xlsx")
    >>> plan = make_plan(season, seconds=3)
    >>> plan.bound <= plan.cost.total
    True
    """
    from planner.explain.complete import complete
    from planner.optimize.options import SolveOptions
    from planner.optimize.search.run import solve

    options = SolveOptions(seconds=seconds, gap=gap, effort=effort, seed=seed)
    try:
        plan = solve(season, options, on_progress=on_progress, stop=stop)
    except MemoryError:
        msg = "the season needs more memory than there is; close other programs, or plan fewer"
        msg += " fields at a time"
        raise NoPlanError(msg) from None
    return complete(plan, season)


def explain(
    season: Season,
    plan: Plan,
    *,
    seconds: float = 20.0,
    workers: int = 1,
    stop: Stop | None = None,
) -> Explanation:
    """Find out why a plan is as it is: what binds, the rivals of its order, what each rule costs.

    Parameters
    ----------
    seconds
        Time for planning changed seasons (repairs, a rule less); 0 for what needs no planning.
    workers
        Changed seasons planned side by side. More than one start new processes, so a script that
        asks for them must keep its own work under ``if __name__ == "__main__":``.
    stop
        Once set, what is known by then is returned.
    """
    from planner.explain.explain import explain as find_out
    from planner.explain.trial import Budget

    return find_out(season, plan, Budget(seconds=seconds, workers=workers, stop=stop))


def make_campaign(season: Season, plan: Plan) -> Campaign:
    """Turn a plan into days in the shop: made once, for the screen and for the files.

    Raises
    ------
    AuditError
        When the campaign does not add up to the plan, which is a bug.
    """
    from planner.campaign.campaign import make_campaign as make

    return make(season, plan)


def describe(
    plan: Plan,
    season: Season,
    why: Explanation | None = None,
    *,
    campaign: Campaign | None = None,
) -> Book:
    """Describe everything that `write` puts into the workbook, as plain tables and texts.

    Parameters
    ----------
    campaign
        What `make_campaign` returns; made here where not given.

    Raises
    ------
    AuditError
        When the campaign does not add up to the plan, which is a bug.
    """
    from planner.report.plan_files import plan_book

    return plan_book(plan, season, why, campaign)


def with_usual_unknowns(season: Season) -> Season:
    """Give a season whose sheet Unknowns is empty what is usually not known; its notes say so.

    Only what has a published source: seeds per lb and germination.
    """
    from planner.risk.usual import with_usual_unknowns as usual

    return usual(season)


def make_safer(season: Season, plan: Plan, safe: float, *, seed: int = 0) -> Plan:
    """Add the cheapest containers to a plan's order until it suffices that often.

    Parameters
    ----------
    season
        Its `unknowns` say what may turn out otherwise.
    safe
        Share of draws in which every product must suffice, bags and planting as planned.

    Returns
    -------
    Plan
        Audited, with its warnings; the plan itself where its order will do.

    Raises
    ------
    NoPlanError
        When no order that is sold and can be paid for suffices that often.
    """
    from planner.explain.complete import complete
    from planner.risk.safer import safer_order, with_added

    found = safer_order(season, plan, safe, seed=seed)
    if found is None or not found.within_money:
        why = "what is sold" if found is None else "the most to spend"
        msg = f"no order within {why} suffices in {safe:.0%} of seasons; ask for less than that"
        raise NoPlanError(msg)
    if not found.added:
        return plan
    return complete(with_added(season, plan, found.added), season)


def compare_orders(
    season: Season,
    plan: Plan,
    *,
    draws: int = 32,
    seed: int = 0,
    seconds: float = 600.0,
    workers: int = 1,
    cluster: str | None = None,
    on_progress: Callable[[str], None] | None = None,
    stop: Stop | None = None,
) -> TwoStages:
    """Find the order with the lowest mean cost over draws of what is not known.

    Order now; later, all known, planting and treating are decided again, with late prices and
    returns.

    Parameters
    ----------
    draws
        Draws that the best orders are compared on; rounded up to a power of two.
    workers, cluster
        Processes of this machine, or the address of a running Dask cluster. More than one start
        new processes, so a script must keep its own work under ``if __name__ == "__main__":``.
    on_progress
        Called with where it stands, in words.
    stop
        Once set, what is known by then is returned.

    Raises
    ------
    NoPlanError
        When there was no time for any draw.
    EngineError
        When Dask is missing or its cluster can't be reached.
    """
    from planner.engine.jobs import opened
    from planner.risk import two_stages
    from planner.risk.as_planned import as_planned

    held = as_planned(season, plan, seed=seed)
    with opened(workers=workers, cluster=cluster) as engine:
        return two_stages.compare_orders(
            season,
            plan,
            held,
            engine,
            draws=draws,
            seed=seed,
            seconds=seconds,
            stop=stop,
            said=on_progress or (lambda _: None),
        )


def bring_in(season: Season, path: Path | str) -> tuple[Season, Earlier, tuple[str, ...]]:
    """Read a plan made before, and bring what its campaign reports done into the season.

    Parameters
    ----------
    path
        The ``plan.json``.

    Returns
    -------
    tuple of Season, Earlier and tuple of str
        The season to plan now, the plan made before, and what was brought in or is to be looked
        after, in sentences.

    Raises
    ------
    InputError
        When the file cannot be read or holds no plan.
    """
    from planner.plan.earlier import bring
    from planner.report.again_json import read_earlier

    earlier = read_earlier(Path(path))
    now, notes = bring(season, earlier)
    return now, earlier, notes


def keep_near(
    season: Season,
    old: Plan | Earlier,
    cheapest: Plan,
    *,
    seconds: float = 20.0,
    effort: int | None = None,
    most_moved: float | None = None,
    notes: tuple[str, ...] = (),
    stop: Stop | None = None,
) -> tuple[Plan, Again]:
    """Keep what need not change of an old plan, and move only what is worth it.

    Parameters
    ----------
    season
        As it is now, with what was reported done, as `bring_in` returns it. Its setting Worth
        moving is what an acre moved must save.
    old
        The plan made before, as `bring_in` returns it.
    cheapest
        What `make_plan` returns for that season.
    effort
        Work limit in steps instead of seconds.
    most_moved
        Acres that may change their seed or recipe at the most; those that must do all the same.
    notes
        What `bring_in` has to say.

    Returns
    -------
    tuple of Plan and Again
        The plan, audited, with its warnings; and what changed, what to buy, what is left.
    """
    from planner.explain.again import plan_again
    from planner.explain.complete import complete
    from planner.optimize.options import SolveOptions

    options = SolveOptions(seconds=seconds, effort=effort)
    began = monotonic()
    plan, again = plan_again(season, old, cheapest, options, most_moved, notes, stop)
    plan = complete(plan, season)
    return replace(plan, seconds=cheapest.seconds + monotonic() - began), again


def read_plan(path: Path | str, season: Season) -> Plan:
    """Read a ``plan.json`` that was made for a season, and check that it is a plan of it.

    Raises
    ------
    InputError
        When the file holds no plan, or one that was made for another season or another state of
        this one.
    AuditError
        When it breaks a rule of the season.
    """
    from planner.plan.audit import audit
    from planner.report.json import read_plan as read
    from planner.report.json import stored_fingerprint

    file = Path(path)
    plan = read(file)
    if stored_fingerprint(file) != season.fingerprint:
        fault = Fault("", expected="a plan of this season as it is now", remedy="plan again")
        raise InputError(file.name, [fault])
    audit(plan, season)
    return plan


def share(
    season: Season,
    plan: Plan,
    *,
    seconds: float = 10.0,
    effort: int | None = None,
    workers: int = 1,
    on_done: Callable[[object], None] | None = None,
    stop: Stop | None = None,
) -> Sharing:
    """Share a plan's total among the growers of its fields, by the farm's Share costs by.

    Parameters
    ----------
    plan
        Of the whole season, as `make_plan` returns it.
    seconds
        For the plan of each group of growers by itself: that is what shares are held against.
    effort
        Work limit in steps instead of seconds.
    workers
        Groups planned side by side. More than one start new processes, so a script that asks for
        them must keep its own work under ``if __name__ == "__main__":``.
    on_done
        Called with each group that was planned.
    stop
        Once set, bills are by use, compared with what is known by then.

    Raises
    ------
    InputError
        When the season has one grower only, or more than the rule can be worked out for.
    NoPlanError
        When a group could not be planned in its time.
    """
    from planner.sharing.shares import Budget
    from planner.sharing.shares import share as share_out

    budget = Budget(seconds=seconds, effort=effort, workers=workers)
    return share_out(season, plan, budget, on_done=on_done, stop=stop)


def groups_to_plan(season: Season) -> int:
    """Count the groups of growers that `share` plans by themselves.

    Raises
    ------
    InputError
        When the season has one grower only, or more than the rule can be worked out for.
    """
    from planner.sharing.shares import check_rule, masks_for

    check_rule(season)
    return len(masks_for(season))


def describe_shares(sharing: Sharing, plan: Plan, season: Season) -> Book:
    """Describe who owes whom, what each bears and whether that is fair, as plain tables."""
    from planner.report.grower_frames import file_names
    from planner.report.share_frames import settlement_book

    names = file_names([b.grower for b in sharing.bills])
    return settlement_book(sharing, plan, season, names)


def write_shares(
    sharing: Sharing,
    plan: Plan,
    season: Season,
    folder: Path | str,
    why: Explanation | None = None,
    *,
    campaign: Campaign | None = None,
) -> tuple[Path, ...]:
    """Write the plan with its bills, ``settlement.xlsx`` and a workbook for each grower.

    Parameters
    ----------
    why
        What `explain` returns, to be written too.
    campaign
        What `make_campaign` returns; made here where not given.

    Raises
    ------
    OutputError
        When the folder or a file cannot be written; the message says what to do.
    """
    from planner.report.share_files import write_shares as write_them

    return write_them(sharing, plan, season, Path(folder), why, campaign)


def write(
    plan: Plan,
    season: Season,
    folder: Path | str,
    why: Explanation | None = None,
    *,
    campaign: Campaign | None = None,
    stem: str = "plan",
    packs: Sequence[str] = ("winter", "shop", "study"),
    stages: TwoStages | None = None,
) -> tuple[Path, ...]:
    """Write the plan into a folder, which is made if needed: ``plan.json`` and its workbooks.

    ``plan.xlsx`` is what to order and decide from, ``shop.xlsx`` what to treat and plant from,
    ``study.xlsx`` why the plan is as it is. Where anything is treated, the campaign in the shop
    is planned too, with its days in ``plan.ics``.

    Files are written whole or not at all; an older plan stays until the new one is complete. Where
    a file of it is open in another program, the new plan is written beside it, as
    ``plan (2).xlsx`` and so on.

    Parameters
    ----------
    why
        What `explain` returns, to be written too.
    campaign
        What `make_campaign` returns; made here where not given.
    stem
        Name of the files without what follows the point.
    packs
        Workbooks wanted: winter, shop, study.
    stages
        What `compare_orders` returns, to be written too.

    Returns
    -------
    tuple of Path
        The files written, ``plan.json`` first.

    Raises
    ------
    OutputError
        When the folder or a file cannot be written; the message says what to do.
    AuditError
        When the campaign does not add up to the plan, which is a bug.
    """
    from planner.report.plan_files import write_plan

    return write_plan(plan, season, Path(folder), why, stem, packs, stages, campaign)

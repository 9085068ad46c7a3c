"""The main job from Python: read a season, make its plan, write the plan.

Each step is a plain function from one immutable value to the next. Heavy libraries are imported by
the steps that need them.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from time import monotonic
from typing import TYPE_CHECKING

from planner.errors import Fault, InputError, Interrupted, NoPlanError

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from planner.campaign.domain import Campaign
    from planner.explain.again_changes import Again
    from planner.explain.explain import Explanation
    from planner.optimize.options import Progress, Stop
    from planner.plan.earlier import Earlier
    from planner.plan.plan import Plan
    from planner.risk.compared import TwoStages
    from planner.season.domain import Season
    from planner.sharing.shares import Sharing

DEFAULT_SECONDS = 60.0
DEFAULT_GAP = 1e-4
WHY_SHARE, WHY_LEAST, WHY_MOST = 1 / 3, 6.0, 20.0
NEAR_SHARE, NEAR_LEAST = 1 / 2, 10.0
"""For finding out why, and for staying near an old plan: share of the seconds for deciding, and
seconds, the least as far as deciding gets as many. A few repairs take as long."""
MOST_WORKERS = 4
PARALLEL_FROM = 10.0
"""Seconds from which changed seasons are planned side by side: starting a process takes one."""


def why_seconds(deciding: float) -> float:
    """Seconds for finding out why a plan is as it is, by those for deciding.

    >>> why_seconds(2.0), why_seconds(12.0), why_seconds(30.0), why_seconds(600.0)
    (2.0, 6.0, 10.0, 20.0)
    """
    return min(WHY_MOST, max(deciding * WHY_SHARE, min(deciding, WHY_LEAST)))


def near_seconds(deciding: float) -> float:
    """Seconds for staying near an old plan, by those for deciding.

    >>> near_seconds(5.0), near_seconds(15.0), near_seconds(60.0)
    (5.0, 10.0, 30.0)
    """
    return max(deciding * NEAR_SHARE, min(deciding, NEAR_LEAST))


def why_workers(seconds: float) -> int:
    """Changed seasons to plan side by side on this machine, by the seconds for finding out why."""
    from planner.engine.jobs import cores

    return min(MOST_WORKERS, cores()) if seconds >= PARALLEL_FROM else 1


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


def make_plan(
    season: Season,
    *,
    seconds: float = DEFAULT_SECONDS,
    gap: float = DEFAULT_GAP,
    effort: int | None = None,
    seed: int = 0,
    known: Plan | None = None,
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
    known
        A plan to begin with, such as that of a season that differs a little: where this season
        allows it, what is returned is no worse.
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
        When the time ran out before any plan that plants a field, or the solver failed.
    Interrupted
        When `stop` was set before there was any such plan.
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
    from planner.optimize.from_plan.warm_start import search_from
    from planner.optimize.options import SolveOptions
    from planner.optimize.search.run import solve

    options = SolveOptions(seconds=seconds, gap=gap, effort=effort, seed=seed)
    try:
        if known is None:
            plan = solve(season, options, on_progress=on_progress, stop=stop)
        else:
            plan = search_from(season, known, options, stop, on_progress)
    except MemoryError:
        msg = "the season needs more memory than there is; close other programs, or plan fewer"
        msg += " fields at a time"
        raise NoPlanError(msg) from None
    _refuse_nothing(plan, season, stop)
    return complete(plan, season)


def _refuse_nothing(plan: Plan, season: Season, stop: Stop | None) -> None:
    """Refuse a plan that plants nothing, unless nothing can be planted.

    Raises
    ------
    NoPlanError, Interrupted
        When more may be planted: the time was too short, or the user too early.
    """
    from planner.plan.moves import ACRE

    planted = sum(f.acres for f in season.fields) - sum(s.acres for s in plan.shortages)
    if planted > ACRE or plan.shortage_proven or not season.fields:
        return
    if stop is not None and stop.is_set():
        msg = "stopped before there was any plan that plants a field"
        raise Interrupted(msg)
    msg = (
        f"no plan that plants any field was found in {plan.seconds:.0f} s, and it is not proven "
        "that there is none; give it more time"
    )
    raise NoPlanError(msg)


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
    from planner.explain.trial import ExplainBudget

    return find_out(season, plan, ExplainBudget(seconds=seconds, workers=workers, stop=stop))


def make_campaign(season: Season, plan: Plan) -> Campaign:
    """Turn a plan into days in the shop: made once, for the screen and for the files.

    Raises
    ------
    AuditError
        When the campaign does not add up to the plan, which is a bug.
    """
    from planner.campaign.campaign import make_campaign as make

    return make(season, plan)


def make_safer(season: Season, plan: Plan, safe: float, *, seed: int = 0) -> Plan:
    """Add the cheapest containers found to a plan's order until it suffices that often.

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
    from planner.plan.added import with_added
    from planner.risk.safer import safer_order

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
    from planner.engine.run import opened
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


def season_planned(season: Season, path: Path | str) -> Season:
    """Return the season that a ``plan.json`` was made for, from what its sheets say.

    That is with the bags that had been reported done of the plan before it.

    Raises
    ------
    InputError
        When the file cannot be read or holds no plan.
    """
    from planner.plan.earlier import bring
    from planner.report.again_json import read_made_with

    made = read_made_with(Path(path))
    if not (made.reported or made.taken or made.went_before.done):
        return season
    return bring(season, made)[0]


def keep_near(
    season: Season,
    old: Plan | Earlier,
    cheapest: Plan,
    *,
    seconds: float,
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
    stop
        Once set, the best plan so far is returned.

    Returns
    -------
    tuple of Plan and Again
        The plan, audited, with its warnings; and what changed, what to buy, what is left.

    Raises
    ------
    AuditError
        When the plan breaks a rule, which is a bug.
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
    cluster: str | None = None,
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
    cluster
        Address of a running Dask cluster that plans the groups instead.
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
    EngineError
        When Dask is missing or its cluster can't be reached.
    """
    from planner.sharing.shares import SharingBudget
    from planner.sharing.shares import share as share_out

    budget = SharingBudget(seconds=seconds, effort=effort, workers=workers, cluster=cluster)
    return share_out(season, plan, budget, on_done=on_done, stop=stop)


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

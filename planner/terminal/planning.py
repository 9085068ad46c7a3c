"""The command `plan` from input to files: decide, keep near an old plan, find out why, write."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import partial
from importlib import import_module
from typing import TYPE_CHECKING, NamedTuple

from planner import api
from planner.errors import Interrupted, NoPlanError
from planner.plan.added import as_decided
from planner.plan.seed_cautions import too_old_tests
from planner.report.files import CALENDAR, CAMPAIGN, JSON, PACKS, STEM, check_folder
from planner.report.packs import file_name
from planner.report.sheets import Pack
from planner.terminal import places, summary
from planner.terminal.deciding import decide, interrupted_by
from planner.terminal.interrupt import kept
from planner.terminal.text import paragraph, written_lines
from planner.units import read_land

if TYPE_CHECKING:
    import threading
    from collections.abc import Sequence
    from pathlib import Path

    from planner.campaign.domain import Campaign
    from planner.explain.again_changes import Again
    from planner.explain.compare import Comparison
    from planner.explain.explain import Explanation
    from planner.plan.earlier import Earlier
    from planner.plan.plan import Plan
    from planner.season.domain import Season
    from planner.terminal.deciding import Options
    from planner.terminal.text import Say


@dataclass(frozen=True, slots=True)
class Extras:
    """What is wanted beyond the plan."""

    why: float
    """Seconds for planning changed seasons."""
    what_if: float
    """Seconds for each scenario of the sheet What if; 0 for none."""
    since: Path | None
    """A plan.json to stay near to."""
    most_moved: str | None
    """Land that may change at the most against that plan; in the farm's unit where it has none."""
    usual_unknowns: bool
    """Whether to draw what is usually not known where the season says nothing of it."""
    packs: tuple[str, ...]
    """Workbooks to write."""
    safe: float | None
    """Share of draws in which every product must suffice."""


def plan_season(source: Path, out: Path | None, options: Options, extras: Extras, say: Say) -> Plan:
    """Make the plan of a season and write its files.

    The order is said and the files are written as soon as the plan is decided; then reasons are
    looked for, said, and written too.

    Parameters
    ----------
    say
        Prints lines.

    Raises
    ------
    PlannerError
        See `planner.api`.
    """
    from planner.report.again_json import refuse_to_forget

    known = _known(source, options, extras, say)
    folder = out or places.plan_folder(source)
    check_folder(folder, [*(file_name(Pack(p)) for p in extras.packs), JSON, CALENDAR])
    refuse_to_forget(folder / JSON, extras.since)
    with kept() as asked:
        return _planned(known, folder, options, extras, asked, say)


def _planned(
    known: _Known,
    folder: Path,
    options: Options,
    extras: Extras,
    asked: threading.Event,
    say: Say,
) -> Plan:
    """Plan, say and write; once `asked` is set, what the plan can do without is left out."""
    from planner.explain.explain import Explanation

    season, changed = known.season, known.changed
    plan, stopped = decide(season, options, meanwhile=lambda: _import_ahead(season))
    again = None
    if known.earlier is not None:
        plan, again = _near(known, known.earlier, plan, options, extras.most_moved)
    if extras.safe is not None:
        plan = api.make_safer(season, plan, extras.safe, seed=options.seed)
    campaign = api.make_campaign(season, plan)
    say(_plan_lines(plan, season, campaign, again, quiet=options.quiet))
    written = partial(api.write, plan, season, folder, campaign=campaign, packs=extras.packs)
    decided = as_decided(season, plan)
    with ThreadPoolExecutor(1) as beside:  # who waits for reasons has the files meanwhile
        at_once = not stopped and bool(extras.why or changed)
        first = beside.submit(written, Explanation(again=again)) if at_once else None
        plans: dict[str, Plan] = {}
        stopped = stopped or asked.is_set()
        if not stopped:  # whoever is in a hurry gets what needs no further planning
            plans, stopped = _scenarios(changed, decided, options, extras.what_if)
        early = first.result() if first else ()
    stem = early[0].stem if early else STEM
    stopped = stopped or asked.is_set()
    why = _why(season, plan, options, 0.0 if stopped else extras.why)
    why = replace(why, again=again, compared=_compared(decided, season, plans))
    if not options.quiet:
        say(summary.why_lines(why, season))
    say(_left_out([name for name, _ in changed if name not in plans], stopped=stopped))
    paths = written(why, stem=stem)
    paths = (*paths, *(p for p in early if p not in paths))  # what was kept of older ones
    say([*_beside(paths), *written_lines(paths), *_older(folder, extras.packs)])
    return plan


class _Known(NamedTuple):
    """What is known before anything is decided."""

    season: Season
    changed: list[tuple[str, Season]]
    """Scenarios to plan by name."""
    earlier: Earlier | None
    """The plan to stay near to."""
    notes: tuple[str, ...]
    """What that plan's campaign brings into the season, in sentences."""


def _known(source: Path, options: Options, extras: Extras, say: Say) -> _Known:
    """Read the season and all that is to be planned with it.

    Raises
    ------
    InputError
        When one of them cannot be planned.
    NoPlanError
        When an order is to be safer and nothing is said to be unknown.
    """
    from planner.risk.usual import NOT_TAKEN, with_usual_unknowns

    season = api.load(source)
    changed = _changed(source, season, extras.since) if extras.what_if else []
    earlier: Earlier | None = None
    notes: tuple[str, ...] = ()
    if extras.since:
        season, earlier, notes = api.bring_in(season, extras.since)
    if extras.usual_unknowns:
        if season.unknowns and not options.quiet:
            say(paragraph(NOT_TAKEN, 0))
        season = with_usual_unknowns(season)
    if extras.safe is not None:
        _check_safe(season)
    return _Known(season, changed, earlier, notes)


def _import_ahead(season: Season) -> None:
    """Import what writing the plan takes while it is being decided: over a second."""
    names = ["planner.report.plan_files", "planner.report.workbook", "planner.report.frames"]
    names += ["planner.campaign.campaign", "planner.explain.explain"]
    names += ["scipy.stats.qmc"] if season.unknowns else []
    for name in names:
        with suppress(ImportError):
            import_module(name)


def _older(folder: Path, packs: Sequence[str]) -> list[str]:
    """Name the workbooks of an earlier plan that stay in the folder, as they were not asked for."""
    left = [file_name(Pack(p)) for p in PACKS if p not in packs]
    left = [name for name in left if (folder / name).exists()]
    text = f"Left from an earlier plan: {', '.join(left)}. --pack all writes them all new."
    lines = paragraph(text, 0) if left else []
    if (folder / CAMPAIGN).exists():
        text = f"{CAMPAIGN} is still of an earlier plan: rename it to keep what is written in it."
        lines += paragraph(text, 0)
    return lines


def _check_safe(season: Season) -> None:
    """Refuse to make an order safer where nothing is said to be unknown.

    Raises
    ------
    NoPlanError
        Then.
    """
    if not season.unknowns:
        msg = (
            "--safe needs to know what is uncertain: fill in sheet Unknowns, or add "
            "--usual-unknowns"
        )
        raise NoPlanError(msg)


def _beside(paths: Sequence[Path]) -> list[str]:
    """Say so where the plan was written under another name, as an older one could not go."""
    if paths[0].stem == STEM:
        return []
    text = (
        f"The older plan in {paths[0].parent} could not be replaced (is it open in another "
        f"program?), so this one was written beside it as {paths[0].stem}."
    )
    return ["", *paragraph(text, 0)]


def _near(
    known: _Known, old: Earlier, cheapest: Plan, options: Options, most_moved: str | None
) -> tuple[Plan, Again]:
    metric = known.season.farm.metric
    acres = None if most_moved is None else read_land(most_moved, metric=metric)
    return interrupted_by(
        lambda stop: api.keep_near(
            known.season,
            old,
            cheapest,
            seconds=api.near_seconds(options.seconds),
            effort=options.effort,
            most_moved=acres,
            notes=known.notes,
            stop=stop,
        ),
        options,
        known.season,
        "staying near the old plan",
    )


def _why(season: Season, plan: Plan, options: Options, seconds: float) -> Explanation:
    workers = api.why_workers(seconds)
    return interrupted_by(
        lambda stop: api.explain(season, plan, seconds=seconds, workers=workers, stop=stop),
        options,
        season,
        "finding out why",
    )


def _changed(source: Path, season: Season, since: Path | None) -> list[tuple[str, Season]]:
    """Read every scenario, so that its faults are reported before anything is planned.

    Raises
    ------
    InputError
        When one of them cannot be planned.
    """
    from planner.season.read import read_scenarios

    seasons = read_scenarios(source) if season.what_if else {}
    return [(name, api.bring_in(s, since)[0] if since else s) for name, s in seasons.items()]


def _scenarios(
    changed: list[tuple[str, Season]], plan: Plan, options: Options, seconds: float
) -> tuple[dict[str, Plan], bool]:
    """Plan every scenario, each beginning with the plan as it is.

    Returns
    -------
    tuple of dict and bool
        Plans by scenario, and whether Ctrl-C came: then no other scenario is begun.
    """
    plans: dict[str, Plan] = {}
    less = replace(options, seconds=seconds)
    for name, season in changed:
        try:
            plans[name], stopped = decide(season, less, what=name, known=plan)
        except Interrupted:
            stopped = True
        except NoPlanError:
            continue
        if stopped:
            return plans, True
    return plans, False


def _compared(plan: Plan, season: Season, plans: dict[str, Plan]) -> Comparison | None:
    """Hold plans of scenarios against the plan; None where there are none."""
    from planner.explain.compare import compare

    return compare([("as it is", plan), *plans.items()], season=season) if plans else None


def _left_out(scenarios: Sequence[str], *, stopped: bool) -> list[str]:
    """Name scenarios that are not planned, and say why."""
    if not scenarios:
        return []
    why = "you stopped it" if stopped else "give it more --seconds"
    return ["", *paragraph(f"Not planned: {', '.join(scenarios)}; {why}.", 0)]


def _said_with_a_day(plan: Plan, season: Season, campaign: Campaign) -> set[str]:
    """Warnings of old germination tests of which the shop says until when to send a sample."""
    asked = {r.lot for r in campaign.retests}
    return {text for lot, text in too_old_tests(plan, season).items() if lot in asked}


def _plan_lines(
    plan: Plan, season: Season, campaign: Campaign, again: Again | None, *, quiet: bool
) -> list[str]:
    from planner.terminal.shop import note_lines

    if quiet:
        return summary.shortage_lines(plan, season)
    return [
        *(summary.again_lines(again) if again else []),
        *summary.plan_lines(plan, season, _said_with_a_day(plan, season, campaign)),
        *note_lines(campaign),
    ]

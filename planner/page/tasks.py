"""What is done in the background: plan a season, find out why, plan what if, share its cost."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from planner import api
from planner.errors import Interrupted, NoPlanError
from planner.explain.compare import compare
from planner.page.desk import Made, Phase
from planner.page.plans import STORED, bills_first, shared_folder, take
from planner.plan.earlier import just_made
from planner.report.plan_files import plan_book
from planner.report.share_files import write_shares
from planner.sharing.shares import groups_to_plan

if TYPE_CHECKING:
    from pathlib import Path

    from planner.explain.explain import Explanation
    from planner.page.desk import SeasonJob
    from planner.plan.plan import Plan


def plan(job: SeasonJob) -> None:
    """Plan a season, near another plan where there is one; say why; write the files."""
    from planner.explain.explain import Explanation

    job.phase = Phase.DECIDING
    found = api.make_plan(job.season, seconds=job.seconds, on_progress=job.update, stop=job.stop)
    again = None
    earlier = job.earlier
    if earlier is None and job.made is not None:
        earlier = just_made(job.made.plan, job.made.season)
    if earlier is not None:
        job.phase = Phase.STAYING
        found, again = api.keep_near(
            job.season,
            earlier,
            found,
            seconds=api.near_seconds(job.seconds),
            most_moved=job.most_moved,
            notes=job.notes if job.earlier else (),
            stop=job.stop,
        )
    campaign = api.make_campaign(job.season, found)
    first = Explanation(again=again)
    made = Made(
        job.name,
        job.season,
        found,
        plan_book(found, job.season, first, campaign=campaign),
        campaign=campaign,
        notes=job.notes,
        changes=job.changes,
        base=job.base,
    )
    _show(job, made)
    if not job.stop.is_set():
        why = _why(job, found, api.why_seconds(job.seconds))
        why = replace(why, again=again)
        made = replace(made, why=why, book=plan_book(found, job.season, why, campaign=campaign))
        _show(job, made)
    job.phase = Phase.WRITING
    files = api.write(found, job.season, _folder(job), made.why or first, campaign=campaign)
    _show(job, replace(made, files=take(files)))


def find_why(job: SeasonJob) -> None:
    """Find out why a plan is as it is; where that is known, with more time for it."""
    made = _made(job)
    found = _why(job, made.plan, job.seconds)
    before = made.why
    if before is not None:
        found = replace(found, again=before.again, compared=before.compared)
    _explained(job, replace(made, why=found))


def plan_scenarios(job: SeasonJob) -> None:
    """Plan every scenario of the sheet What if, and hold the plans against the plan itself."""
    made = _made(job)
    why = made.why or _why(job, made.plan, api.WHY_MOST)
    plans = [(made.name, made.plan)]
    late = []
    for name, season in job.scenarios.items():
        if job.stop.is_set():
            late.append(name)
            continue
        job.phase = Phase.SCENARIOS
        job.next_part(name)
        try:
            found = api.make_plan(
                season,
                seconds=job.seconds,
                known=made.plan,
                on_progress=job.update,
                stop=job.stop,
            )
        except (Interrupted, NoPlanError):
            late.append(name)
        else:
            plans.append((name, found))
        job.parts_done += 1
    if len(plans) == 1:
        msg = "No scenario was planned: there was no time for it. Give them more."
        raise NoPlanError(msg)
    compared = compare(plans, season=job.season)
    _explained(job, replace(made, why=replace(why, compared=compared), late=tuple(late)))


def _explained(job: SeasonJob, made: Made) -> None:
    """Show a plan with what was found out of it, and write it where it is of this start.

    The files of a plan that was taken up stay as they are: they may say more than is known here.
    """
    book = plan_book(made.plan, job.season, made.why, campaign=made.campaign)
    made = replace(made, book=book, notes=tuple(n for n in made.notes if n != STORED))
    _show(job, made)
    if made.campaign is not None:
        job.phase = Phase.WRITING
        files = api.write(made.plan, job.season, _folder(job), made.why, campaign=made.campaign)
        _show(job, replace(made, files=take(files)))


def share(job: SeasonJob) -> None:
    """Plan groups of growers by themselves, share the plan's cost and write the bills."""
    made = _made(job)
    job.phase = Phase.GROUPS
    job.parts = groups_to_plan(job.season)

    def count(_done: object) -> None:
        job.parts_done += 1

    sharing = api.share(job.season, made.plan, seconds=job.seconds, on_done=count, stop=job.stop)
    job.phase = Phase.WRITING
    folder = shared_folder(_folder(job))
    files = write_shares(sharing, made.plan, job.season, folder, made.why, campaign=made.campaign)
    _show(job, replace(made, sharing=sharing, shared_files=take(bills_first(files))))


def _made(job: SeasonJob) -> Made:
    """The plan that is worked on, where the job is on one."""
    assert job.made is not None
    return job.made


def _folder(job: SeasonJob) -> Path:
    """Folder of the plan: that of the season, or beside it where changes are tried."""
    plans = job.desk.entry.plans
    return plans.with_name(f"{plans.name}-tried") if job.changes else plans


def _why(job: SeasonJob, found: Plan, seconds: float) -> Explanation:
    job.phase = Phase.WHY
    workers = api.why_workers(seconds)
    return api.explain(job.season, found, seconds=seconds, workers=workers, stop=job.stop)


def _show(job: SeasonJob, made: Made) -> None:
    """Put a plan on the desk; the one that was there before stays beside it, by another name."""
    desk = job.desk
    with desk.lock:
        old = desk.made
        if old is not None and old.plan is not made.plan:
            same = old.name == made.name
            desk.before = replace(old, name=f"{old.name}, before") if same else old
        desk.made = made

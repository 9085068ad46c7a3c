"""The files of a plan: its JSON, workbook and calendar; beside an older one that is held."""

from __future__ import annotations

import itertools
import os
import re
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from planner.report.files import (
    CAMPAIGN,
    PACKS,
    STEM,
    HeldError,
    kept,
    put_aside,
    refuse_held,
    write_together,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from planner.campaign.domain import Campaign
    from planner.explain.explain import Explanation
    from planner.plan.plan import Plan
    from planner.report.sheets import Book
    from planner.risk.chances import AsPlanned
    from planner.risk.compared import TwoStages
    from planner.season.domain import Season
    from planner.sharing.shares import Sharing


def write_plan(
    plan: Plan,
    season: Season,
    folder: Path,
    why: Explanation | None = None,
    stem: str = STEM,
    packs: Sequence[str] = PACKS,
    stages: TwoStages | None = None,
    campaign: Campaign | None = None,
) -> tuple[Path, ...]:
    """Write ``plan.json``, ``plan.ics`` and the plan's workbooks into a folder, all or none.

    Older ones stay until the new ones are complete. Where one of them is held, all are written
    beside them under another name, as ``plan (2).xlsx``, so that no plan is lost. The campaign's
    workbook of an older plan is kept as ``campaign (kept).xlsx``.

    Parameters
    ----------
    why
        Why the plan is as it is, to be written too.
    stem
        Name of the files without what follows the point.
    packs
        Workbooks wanted: winter, shop, study.
    stages
        Orders compared over draws of what is not known, to be written too.
    campaign
        The plan's; made here where not given.

    Returns
    -------
    tuple of Path
        The files, ``plan.json`` first; those kept of older ones last.

    Raises
    ------
    OutputError
        When the folder or a file cannot be written, or bags that were reported done would be
        forgotten; the message says what to do.
    AuditError
        When the campaign does not add up to the plan.
    """
    from planner.campaign.campaign import make_campaign
    from planner.report.again_json import refuse_to_lose, told_apart_by
    from planner.report.packs import file_name
    from planner.report.sheets import Pack

    campaign = campaign or make_campaign(season, plan)
    if campaign.shop.apart:  # its days stay those of the plan that is replaced
        apart = told_apart_by(Path(folder) / f"{stem}.json") or campaign.shop.apart
        campaign = replace(campaign, shop=replace(campaign.shop, apart=apart))
    content = plan_content(plan, season, campaign, why, stem, packs, stages=stages)
    refuse_to_lose(Path(folder) / f"{stem}.json", content[f"{stem}.json"])
    paths = write_or_beside(Path(folder), content)
    if file_name(Pack.SHOP, stem) in (path.name for path in paths):  # it takes the place of that
        paths += put_aside(Path(folder) / CAMPAIGN)
    return paths


def plan_content(
    plan: Plan,
    season: Season,
    campaign: Campaign,
    why: Explanation | None = None,
    stem: str = STEM,
    packs: Sequence[str] = PACKS,
    sharing: Sharing | None = None,
    stages: TwoStages | None = None,
) -> dict[str, bytes]:
    """Files of a plan by their names, as `write_plan` writes them.

    Parameters
    ----------
    campaign
        The plan's.
    sharing
        Bills of growers by the farm's rule; by use where not given.
    stages
        Orders compared over draws of what is not known, to be written too.
    """
    from planner.campaign.ical import to_ical
    from planner.report.frames import make_books
    from planner.report.json import json_bytes
    from planner.report.packs import file_name
    from planner.report.sheets import Pack
    from planner.report.workbook import render
    from planner.risk.safer import drawn

    held = drawn(season, plan)
    if held is not None and stages is not None:
        held = replace(held, stages=stages)
    keys = _keys(plan, season, campaign, why, held, sharing)
    books = make_books(
        plan,
        season,
        campaign=campaign,
        why=why,
        held=held,
        sharing=sharing,
        packs=[Pack(name) for name in packs],
    )
    return {
        f"{stem}.json": json_bytes(plan, season, keys),
        f"{stem}.ics": to_ical(campaign),
        **{file_name(pack, stem): render(book) for pack, book in books.items()},
    }


def _keys(
    plan: Plan,
    season: Season,
    campaign: Campaign,
    why: Explanation | None,
    held: AsPlanned | None,
    sharing: Sharing | None,
) -> dict[str, Any]:
    """What ``plan.json`` holds beyond the plan itself, in the order of its keys."""
    from planner.campaign.store import to_dict
    from planner.explain.as_json import plain
    from planner.explain.as_json import to_dict as why_dict
    from planner.report.again_json import again_keys
    from planner.report.json import changed_cell
    from planner.risk.chances import to_dict as drawn_dict
    from planner.risk.compared import to_dict as stages_dict
    from planner.risk.margins import margins
    from planner.sharing.bills import bills_json
    from planner.sharing.shares import bills_of

    keys: dict[str, Any] = {} if why is None else why_dict(why)
    keys |= again_keys(season)
    if "what_if" in keys:
        keys["what_if"]["changes"] = [changed_cell(c) for c in season.what_if]
    keys["margins"] = plain(margins(season, plan))
    if held is not None:
        keys["unknowns"] = drawn_dict(held)
        if held.stages is not None:
            keys["unknowns"] |= stages_dict(held.stages, season)
    if plan.treating:
        keys["campaign"] = to_dict(campaign)
    return keys | bills_json(*bills_of(plan, season, sharing))


def plan_book(
    plan: Plan,
    season: Season,
    why: Explanation | None = None,
    campaign: Campaign | None = None,
) -> Book:
    """Describe every sheet that `write_plan` writes, as one book to look through.

    Parameters
    ----------
    campaign
        The plan's; made here where not given.

    Raises
    ------
    AuditError
        When the campaign does not add up to the plan.
    """
    from planner.campaign.campaign import make_campaign
    from planner.report.frames import make_book
    from planner.risk.safer import drawn

    held = drawn(season, plan)
    campaign = campaign or make_campaign(season, plan)
    return make_book(plan, season, campaign=campaign, why=why, held=held)


def write_or_beside(folder: Path, content: Mapping[str, bytes]) -> tuple[Path, ...]:
    """Write files into a folder; all of them under another name where one of them is held.

    Workbooks there that were changed since they were written are kept beside them.

    Raises
    ------
    OutputError
        When they cannot be written there under any name.
    """
    try:
        refuse_held(folder, content)
        return write_together(folder, {**content, **kept(folder, content)})
    except HeldError:
        beside = _free_names(folder, content)
        return write_together(folder, {beside[name]: data for name, data in content.items()})


def _free_names(folder: Path, names: Iterable[str]) -> dict[str, str]:
    """For each of several files, a name with the first number that none of them has yet."""
    for number in itertools.count(2):
        found = {}
        for name in names:
            plain = re.sub(r" \(\d+\)$", "", Path(name).stem)
            found[name] = f"{plain} ({number}){Path(name).suffix}"
        if not any(os.path.lexists(folder / other) for other in found.values()):
            return found
    raise AssertionError  # numbers do not end

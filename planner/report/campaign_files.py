"""Bring the campaign of a written plan up to date, and write what changes by it."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from planner.campaign.campaign import update
from planner.campaign.done import UNCHANGED, read_done, read_today, take_back
from planner.campaign.ical import to_ical
from planner.campaign.logged import read_log
from planner.campaign.store import from_dict, to_dict
from planner.errors import Fault, InputError
from planner.explain.words import count
from planner.report.campaign_frames import campaign_book
from planner.report.files import (
    CAMPAIGN,
    in_place,
    is_changed,
    is_ours,
    kept_copy,
    refuse_held,
    settle,
    was_kept,
    write_together,
)
from planner.report.json import VERSION, as_bytes, read_data
from planner.report.packs import file_name
from planner.report.sheets import Pack

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date
    from pathlib import Path

    from planner.campaign.domain import Campaign


def update_campaign(
    path: Path,
    done: Sequence[str] = (),
    log: Path | None = None,
    today: str = "",
    *,
    recount: bool = False,
) -> tuple[Campaign, tuple[Path, ...], tuple[str, ...]]:
    """Bring the campaign in a ``plan.json`` up to date, and write it beside that file.

    The plan itself stays as it is: its workbook keeps showing the campaign as first planned.

    Parameters
    ----------
    path
        The ``plan.json``.
    done
        Bags done, as ``LOT:RECIPE:BAGS`` or ``LOT:RECIPE:BAGS:DAY``, those taken back first; see
        `planner.campaign.done`.
    log
        The same as a table, see `planner.campaign.logged`; what was counted before is skipped.
    today
        First day left for treating, written as days done are; the day after the last day done
        where empty.
    recount
        Whether what was reported before is forgotten first.

    Returns
    -------
    tuple
        The campaign; the files written: ``plan.json`` (under its own name), the calendar named
        after it and ``campaign.xlsx``, with what was filled in in an older one or in the shop's
        workbook (the older one is kept beside it where it holds more than that); and what is to be
        said about the log, in sentences.

    Raises
    ------
    InputError
        When the file holds no campaign, or an entry can't be understood.
    OutputError
        When a file cannot be written or one that stands there is not ours; the older ones then
        stand as they stood.
    """
    calendar = f"{path.stem}.ics"
    with in_place():
        settle(path.parent)
        refuse_held(path.parent, [calendar, CAMPAIGN])
    data = _read(path)
    campaign = from_dict(data["campaign"], UNCHANGED)
    reported = sum(d.bags for d in campaign.done)
    if recount:
        campaign = replace(campaign, done=())
    campaign, said = _reported(campaign, done, log, read_today(campaign, today))
    if recount:
        counted = count(sum(d.bags for d in campaign.done), "bag")
        said = (*said, f"Counted again: {counted}; before there were {reported}.")
    data["campaign"] = to_dict(campaign)
    content = {path.name: as_bytes(data), calendar: to_ical(campaign)}
    with in_place():
        content |= _workbook(campaign, path)
        return campaign, write_together(path.parent, content), said


def _reported(
    campaign: Campaign, done: Sequence[str], log: Path | None, first: date | None
) -> tuple[Campaign, tuple[str, ...]]:
    """Campaign with the entries, then the rows of a log; and what is to be said about the log."""
    if done or not log:
        entries = read_done(campaign, done)
        campaign = take_back(campaign, [d for d in entries if d.bags < 0])
        campaign = update(campaign, [d for d in entries if d.bags > 0], first)
    if not log:
        return campaign, ()
    before, new, said = read_log(campaign, log)
    return update(replace(campaign, done=before), new, first), said


def _workbook(campaign: Campaign, path: Path) -> dict[str, bytes]:
    """The campaign's workbook with what was filled in before, and the older one where it is kept.

    The shop's workbook stays where it is; the campaign's, once there is one, goes before it.
    """
    from planner.report.typed import TakenOver, take_over
    from planner.report.workbook import render

    shop, older = path.parent / file_name(Pack.SHOP, path.stem), _older(path.parent)
    taken = TakenOver(campaign_book(campaign), complete=True)
    if shop.is_file() and is_changed(shop):
        taken = take_over(taken.book, shop)
    if older.is_file():
        taken = take_over(taken.book, older)
    lost = older.is_file() and older.name == CAMPAIGN and not taken.complete
    return {CAMPAIGN: render(taken.book), **(kept_copy(older) if lost else {})}


def _older(folder: Path) -> Path:
    """The campaign's workbook; where a newer plan put it aside, the last that is kept."""
    own = folder / CAMPAIGN
    aside = [p for p in folder.glob("campaign (*).xlsx") if was_kept(p.name) and is_ours(p)]
    return own if own.is_file() or not aside else max(aside, key=lambda p: p.stat().st_mtime)


def _read(path: Path) -> dict[str, Any]:
    remedy = "give the plan.json of a plan with something to treat"
    data = read_data(path, remedy, UNCHANGED)
    if not isinstance(data, dict) or not isinstance(data.get("campaign"), dict):
        fault = Fault("", expected="a plan with seed left to treat", remedy=remedy)
        raise InputError(path.name, [fault], UNCHANGED)
    if data.get("contract") != VERSION:
        expected = f"{VERSION}, the version of the keys"
        fault = Fault("", 0, "contract", str(data.get("contract"))[:40], expected, remedy)
        raise InputError(path.name, [fault], UNCHANGED)
    return data

"""The work in the shop in short: which bags on which day, and what wants to be said about it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.campaign.days import said
from planner.campaign.notes import notes
from planner.terminal.text import paragraph, table

if TYPE_CHECKING:
    from collections.abc import Iterable

    from planner.campaign.domain import Campaign


def campaign_lines(campaign: Campaign, log: Iterable[str]) -> list[str]:
    """Day by day what is left to do, then everything that is wrong or missing.

    Parameters
    ----------
    log
        What is to be said about the log that was read.
    """
    calendar = campaign.calendar
    bags = sum(run.bags for run in calendar.runs)
    done = sum(run.bags for run in calendar.runs if run.done)
    rows = [
        [
            said(run.day, metric=campaign.shop.metric),
            run.lot,
            run.recipe,
            f"{run.first_bag}" if run.bags == 1 else f"{run.first_bag} to {run.last_bag}",
            "LATE" if run.late else "",
        ]
        for run in calendar.runs
        if not run.done
    ]
    lines = [line for text in log for line in paragraph(text, 0)]
    lines.append(f"{done} of {bags} bags are done.")
    if rows:
        lines += [
            "Still to treat",
            *table(["Day", "Lot", "Recipe", "Bag numbers", ""], rows, left=3),
        ]
    return lines + note_lines(campaign)


def note_lines(campaign: Campaign) -> list[str]:
    """What is wrong, missing or only assumed about the work in the shop; urgent things first."""
    reported = [line for text in notes(campaign) for line in paragraph(text)]
    return ["", "In the shop", *reported] if reported else []

"""The files of a shared order: the plan, the settlement, and a bill for each grower."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from planner.report.files import JSON, remove_older
from planner.report.plan_files import plan_content, write_or_beside

if TYPE_CHECKING:
    from pathlib import Path

    from planner.campaign.domain import Campaign
    from planner.explain.explain import Explanation
    from planner.plan.plan import Plan
    from planner.season.domain import Season
    from planner.sharing.shares import Sharing

SETTLEMENT_FILE = "settlement.xlsx"
BILL_FILE = re.compile(r"bill \d+( [a-z0-9-]+)?( \(\d+\))?\.xlsx")
"""Names of bills, as `planner.report.grower_frames.file_names` gives them, or written beside."""


def write_shares(
    sharing: Sharing,
    plan: Plan,
    season: Season,
    folder: Path,
    why: Explanation | None = None,
    campaign: Campaign | None = None,
) -> tuple[Path, ...]:
    """Write the plan with its bills, ``settlement.xlsx`` and a workbook for each grower.

    Bills of growers who are no longer there, or who had another number, are taken away: nobody
    shall pay by an old one.

    Parameters
    ----------
    why
        Why the plan is as it is, to be written too.
    campaign
        The plan's; made here where not given.

    Returns
    -------
    tuple of Path
        The files, those of the plan first.

    Raises
    ------
    OutputError
        When a file cannot be written; older files stand as they stood.
    """
    from planner.campaign.campaign import make_campaign
    from planner.report.again_json import refuse_to_lose
    from planner.report.grower_frames import file_names, grower_book
    from planner.report.share_frames import settlement_book
    from planner.report.workbook import render

    campaign = campaign or make_campaign(season, plan)
    names = file_names([b.grower for b in sharing.bills])
    content = plan_content(plan, season, campaign, why, sharing=sharing)
    content[SETTLEMENT_FILE] = render(settlement_book(sharing, plan, season, names))
    for bill in sharing.bills:
        book = grower_book(bill, sharing, plan, season, campaign)
        content[names[bill.grower]] = render(book)
    refuse_to_lose(folder / JSON, content[JSON])
    paths = write_or_beside(folder, content)
    if {path.name for path in paths} == set(content):
        remove_older(folder, BILL_FILE, content)
    return paths

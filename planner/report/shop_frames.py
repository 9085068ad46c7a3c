"""First page of the shop's workbook: what must be seen to first, and which sheet is for what."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.campaign.days import said
from planner.campaign.records import CAUTIONS
from planner.explain.words import count
from planner.report.contents import contents
from planner.report.facts import SHOP
from planner.report.sheets import Look, Page, Room, Sheet, Text

if TYPE_CHECKING:
    from collections.abc import Sequence

    from planner.campaign.domain import Campaign
    from planner.report.sheets import Block


def shop_front(campaign: Campaign | None, sheets: Sequence[Sheet]) -> Sheet:
    """Make the first page; `sheets` are the others of the workbook, in their order."""
    blocks: list[Block] = []
    if campaign is None or not campaign.batches:
        blocks.append(Text(("No seed is to be treated.",), look=Look.OK))
    else:
        blocks.append(Text((_work(campaign),), look=Look.STRONG))
        if campaign.notes:
            look = Look.SHORT if campaign.calendar.late else Look.WATCH
            blocks.append(Text(campaign.notes, "Mind before you start", look, bullets=True))
    blocks += [Text(CAUTIONS, "Cautions", bullets=True), contents(sheets)]
    purpose = "The work with treater and planter: what to see to first, and where it is written."
    return Sheet(SHOP, purpose, tuple(blocks), Page(one_page=True), Room.PLAN)


def _work(campaign: Campaign) -> str:
    """Say how much is left to treat, and from which day to which."""
    to_do = [r for r in campaign.calendar.runs if not r.done]
    if not to_do:
        return "Every bag is treated."
    days = sorted({r.day for r in to_do})
    first, last = (said(day, metric=campaign.shop.metric) for day in (days[0], days[-1]))
    bags = count(sum(r.bags for r in to_do), "bag")
    units = sum(r.units for r in to_do)
    span = f"on {first}" if len(days) == 1 else f"on {len(days)} days, {first} to {last}"
    late = campaign.calendar.late
    behind = f" {count(late, 'bag')} too late." if late else ""
    return f"To treat: {bags}, {units:,.1f} units, {span}.{behind}"

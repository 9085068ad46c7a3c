"""The plan as three workbooks: which sheets there are, and in which order."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from planner.report.again_frames import CHANGED
from planner.report.calendar_frames import CALENDAR, DAYS
from planner.report.campaign_frames import campaign_sheets
from planner.report.explain_frames import explain_sheets, shortage_blocks
from planner.report.facts import RULES, Facts
from planner.report.field_frames import cost_sheet, fields_sheet, short_sheet
from planner.report.front_frames import front_sheet
from planner.report.gathered import gathered
from planner.report.notes_frames import notes_sheet, warnings_sheet
from planner.report.order_frames import order_sheet
from planner.report.packs import ALL, packs_of, within
from planner.report.picture_frames import picture_sheets
from planner.report.protection_frames import protection_sheet
from planner.report.risk_frames import bag_order, differ_sheet
from planner.report.share_frames import bills_sheets
from planner.report.sheets import Book, Look, Pack, Room, Table, Text
from planner.report.shop_frames import shop_front
from planner.report.spread import spread
from planner.report.stock_frames import (
    maturity_sheet,
    product_detail_sheet,
    products_sheet,
    seed_sheet,
)
from planner.report.study_frames import study_front
from planner.report.supplier_frames import seed_order_sheets, supplier_sheets
from planner.report.threat_frames import threat_sheets
from planner.report.treating_frames import doses_sheet, treating_sheet
from planner.report.try_frames import try_sheet
from planner.report.two_stages_frames import compared_sheet

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from planner.campaign.domain import Campaign
    from planner.explain.explain import Explanation
    from planner.plan.plan import Plan
    from planner.report.sheets import Sheet
    from planner.risk.chances import AsPlanned
    from planner.season.domain import Season
    from planner.sharing.shares import Sharing


FIRST_IN_SHOP = (CALENDAR, DAYS)
"""Sheets with which the work of a day begins."""


def make_books(
    plan: Plan,
    season: Season,
    *,
    campaign: Campaign | None = None,
    why: Explanation | None = None,
    held: AsPlanned | None = None,
    sharing: Sharing | None = None,
    packs: Sequence[Pack] = ALL,
) -> Mapping[Pack, Book]:
    """Describe the workbooks of a plan.

    Parameters
    ----------
    plan, season
        A plan and the season that it was made for.
    campaign
        Its work in the shop, if that was planned.
    why
        Why the plan is as it is, if that was found out.
    held
        What comes of the plan where figures turn out otherwise, if that was drawn.
    sharing
        Bills of growers who share it by another rule than by use.
    packs
        Workbooks wanted.

    Returns
    -------
    Mapping of Pack to Book
        Each whole: with a first page, and with no jump to a sheet of another one.
    """
    facts = Facts(plan, season, held, campaign, why, sharing)
    sheets = [s for s in _in_order(facts) if _fills_a_page(s)]
    return {pack: _book(facts, pack, [s for s in sheets if pack in packs_of(s)]) for pack in packs}


def make_book(
    plan: Plan,
    season: Season,
    *,
    campaign: Campaign | None = None,
    why: Explanation | None = None,
    held: AsPlanned | None = None,
) -> Book:
    """Describe every sheet of a plan as one book that begins with the answer.

    For a screen, where no page is too many. Parameters as of `make_books`.
    """
    facts = Facts(plan, season, held, campaign, why)
    return _bound(facts, _answer_first(facts, spread(_in_order(facts), facts.manner)))


def _in_order(facts: Facts) -> list[Sheet]:
    rooms = list(Room)
    return sorted(_sheets(facts), key=lambda s: rooms.index(s.room))


def _sheets(facts: Facts) -> Iterator[Sheet]:
    """All sheets but the first pages."""
    yield from picture_sheets(facts)
    yield order_sheet(facts)
    yield from supplier_sheets(facts)
    yield from seed_order_sheets(facts)
    yield try_sheet(facts)
    if facts.plan.treating:
        yield differ_sheet(facts, bag_order(facts.campaign) if facts.campaign else ())
    if facts.held is not None and facts.held.stages is not None:
        yield compared_sheet(facts, facts.held.stages)
    shop = campaign_sheets(facts.campaign) if facts.campaign is not None else ()
    yield from (s for s in shop if s.title in FIRST_IN_SHOP)
    yield treating_sheet(facts)
    yield doses_sheet(facts)
    if facts.plan.shortages:
        yield short_sheet(facts, shortage_blocks(facts.why) if facts.why else ())
    yield fields_sheet(facts)
    yield cost_sheet(facts)
    yield from bills_sheets(facts)
    if facts.threats:
        yield protection_sheet(facts)
    yield products_sheet(facts)
    yield product_detail_sheet(facts)
    yield seed_sheet(facts)
    yield maturity_sheet(facts)
    yield warnings_sheet(facts)
    yield notes_sheet(facts)
    yield from threat_sheets(facts)
    if facts.why is not None:
        yield from explain_sheets(facts.why, facts.manner, facts.season.what_if)
    yield from (s for s in shop if s.title not in FIRST_IN_SHOP)


def _book(facts: Facts, pack: Pack, sheets: Sequence[Sheet]) -> Book:
    laid = list(spread(gathered(sheets), facts.manner))
    laid.sort(key=lambda s: s.page.label is not None)  # printed on stock of their own
    if pack is Pack.WINTER:
        return _bound(facts, _answer_first(facts, laid))
    first = shop_front(facts.campaign, laid) if pack is Pack.SHOP else study_front(facts, laid)
    return _bound(facts, (first, *laid))


def _fills_a_page(sheet: Sheet) -> bool:
    """Whether a sheet is printed: rules that were not narrowed down are a line of the study."""
    return sheet.title != RULES or any(isinstance(b, Table) for b in sheet.blocks)


def _answer_first(facts: Facts, sheets: Sequence[Sheet]) -> tuple[Sheet, ...]:
    """Put the answer first, and behind it what changed since an old plan."""
    first = front_sheet(facts)
    changed = [s for s in sheets if s.title == CHANGED]
    if changed:
        first = _opens_with(changed[0], first)
    return (first, *changed, *(s for s in sheets if s.title != CHANGED))


def _bound(facts: Facts, sheets: Sequence[Sheet]) -> Book:
    season = facts.season
    return Book(
        sheets=within(sheets),
        manner=facts.manner,
        farm=season.farm.name,
        season=f"Season {season.farm.crop_year}",
        dated=season.farm.plan_date,
        fingerprint=season.fingerprint,
    )


def _opens_with(changed: Sheet, first: Sheet) -> Sheet:
    """First page that begins with what changed since the old plan, in a sentence."""
    said = next(b for b in changed.blocks if isinstance(b, Text)).paragraphs[0]
    opening = Text((f"{said} See {CHANGED}.",), "Since the old plan", Look.STRONG)
    return replace(first, blocks=(opening, *first.blocks))

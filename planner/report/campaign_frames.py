"""All sheets of a campaign, in the order in which they are used."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.campaign.premix import left_to_mix
from planner.report.calendar_frames import calendar_sheet, days_sheet
from planner.report.calibration_frames import calibration_sheet
from planner.report.card_frames import card_sheet
from planner.report.clean_frames import cleaning_sheet, shared_sheet
from planner.report.clock_frames import clock_sheet
from planner.report.container_frames import draw_down_sheet, left_sheet, level_sheet
from planner.report.measures import manner_of
from planner.report.premix_frames import premix_sheet
from planner.report.record_frames import log_sheet, seed_log_sheet
from planner.report.sheets import Book
from planner.report.shop_frames import shop_front
from planner.report.spread import spread
from planner.report.tag_frames import tag_sheets

if TYPE_CHECKING:
    from planner.campaign.domain import Campaign
    from planner.report.sheets import Sheet


def campaign_sheets(campaign: Campaign) -> tuple[Sheet, ...]:
    """Make all sheets of a campaign; none where there is nothing to treat."""
    if not campaign.batches:
        return ()
    return (
        calendar_sheet(campaign),
        days_sheet(campaign),
        card_sheet(campaign),
        *([premix_sheet(campaign)] if left_to_mix(campaign) else []),
        calibration_sheet(campaign),
        draw_down_sheet(campaign),
        level_sheet(campaign),
        seed_log_sheet(campaign),
        log_sheet(campaign),
        cleaning_sheet(campaign),
        *tag_sheets(campaign),
        *([shared_sheet(campaign)] if campaign.shared else []),
        clock_sheet(campaign),
        left_sheet(campaign),
    )


def campaign_book(campaign: Campaign) -> Book:
    """Make a workbook of the campaign alone."""
    shop = campaign.shop
    manner = manner_of(shop)
    sheets = sorted(
        spread(campaign_sheets(campaign), manner), key=lambda s: s.page.label is not None
    )
    return Book(
        (shop_front(campaign, sheets), *sheets),
        manner,
        shop.farm,
        f"Season {shop.crop_year}",
        shop.plan_date,
    )

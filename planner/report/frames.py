"""The plan as a book: which sheets there are, and in which order."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.report.facts import Facts
from planner.report.field_frames import cost_sheet, fields_sheet, short_sheet
from planner.report.front_frames import contents_sheet, front_sheet, pictures_sheet
from planner.report.notes_frames import notes_sheet
from planner.report.order_frames import order_sheet, supplier_sheets
from planner.report.protection_frames import protection_sheet
from planner.report.sheets import Book, Room
from planner.report.stock_frames import maturity_sheet, products_sheet, seed_sheet
from planner.report.treating_frames import doses_sheet, treating_sheet
from planner.report.try_frames import try_sheet

if TYPE_CHECKING:
    from collections.abc import Iterable

    from planner.plan.plan import Plan
    from planner.report.sheets import Sheet
    from planner.season.domain import Season


def make_book(plan: Plan, season: Season, more: Iterable[Sheet] = ()) -> Book:
    """Describe the workbook of a plan.

    Parameters
    ----------
    plan, season
        A plan and the season that it was made for.
    more
        Further sheets; they stand at the end of their room.
    """
    facts = Facts(plan, season)
    sheets = [
        front_sheet(facts),
        pictures_sheet(facts),
        order_sheet(facts),
        *supplier_sheets(facts),
        try_sheet(facts),
        treating_sheet(facts),
        doses_sheet(facts),
        *([short_sheet(facts)] if plan.shortages else []),
        fields_sheet(facts),
        cost_sheet(facts),
        protection_sheet(facts),
        products_sheet(facts),
        seed_sheet(facts),
        maturity_sheet(facts),
        notes_sheet(facts),
        *more,
    ]
    rooms = list(Room)
    first, *others = sorted(sheets, key=lambda s: rooms.index(s.room))
    return Book(
        sheets=(first, contents_sheet(others), *others),
        manner=facts.manner,
        farm=season.farm.name,
        season=f"Season {season.farm.crop_year}",
        dated=season.farm.plan_date,
        fingerprint=season.fingerprint,
    )

"""The plan as a book: which sheets there are, and in which order."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from planner.report.again_frames import CHANGED
from planner.report.facts import Facts
from planner.report.field_frames import cost_sheet, fields_sheet, short_sheet
from planner.report.front_frames import contents_sheet, front_sheet, pictures_sheet
from planner.report.notes_frames import notes_sheet
from planner.report.order_frames import order_sheet
from planner.report.protection_frames import protection_sheet
from planner.report.risk_frames import differ_sheet
from planner.report.sheets import Book, Look, Room, Text
from planner.report.spread import spread
from planner.report.stock_frames import maturity_sheet, products_sheet, seed_sheet
from planner.report.supplier_frames import seed_order_sheets, supplier_sheets
from planner.report.treating_frames import doses_sheet, treating_sheet
from planner.report.try_frames import try_sheet

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from planner.plan.plan import Plan
    from planner.report.sheets import Sheet
    from planner.risk.as_planned import AsPlanned
    from planner.risk.margins import Bag
    from planner.season.domain import Season


def _opens_with(changed: Sheet, first: Sheet) -> Sheet:
    """First page that begins with what changed since the old plan, in a sentence."""
    said = next(b for b in changed.blocks if isinstance(b, Text)).paragraphs[0]
    opening = Text((f"{said} See {CHANGED}.",), "Since the old plan", Look.STRONG)
    return replace(first, blocks=(opening, *first.blocks))


def make_book(
    plan: Plan,
    season: Season,
    more: Iterable[Sheet] = (),
    held: AsPlanned | None = None,
    bags: Sequence[Bag] = (),
) -> Book:
    """Describe the workbook of a plan.

    Parameters
    ----------
    plan, season
        A plan and the season that it was made for.
    more
        Further sheets; they stand at the end of their room.
    held
        What comes of the plan where figures turn out otherwise, if that was drawn.
    bags
        All bags in the order in which they are treated, for the bag at which a product runs out.
    """
    facts = Facts(plan, season, held)
    sheets = [
        front_sheet(facts),
        pictures_sheet(facts),
        order_sheet(facts),
        *supplier_sheets(facts),
        *seed_order_sheets(facts),
        try_sheet(facts),
        *([differ_sheet(facts, bags)] if plan.treating else []),
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
    changed = spread((s for s in others if s.title == CHANGED), facts.manner)
    if changed:
        first = _opens_with(changed[0], first)
    others = [*spread((s for s in others if s.title != CHANGED), facts.manner)]
    return Book(
        sheets=(first, *changed, contents_sheet([*changed, *others]), *others),
        manner=facts.manner,
        farm=season.farm.name,
        season=f"Season {season.farm.crop_year}",
        dated=season.farm.plan_date,
        fingerprint=season.fingerprint,
    )

"""From when until when fields may be planted."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

from planner.campaign.clock import plant_by
from planner.campaign.days import said
from planner.report.measures import Measure
from planner.report.sheets import Cell, Column, Look, Pack, Page, Room, Sheet, Table

if TYPE_CHECKING:
    from planner.campaign.domain import Campaign, PlantBy
    from planner.report.sheets import Content

CLOCK = "Plant-by clock"


def clock_sheet(campaign: Campaign) -> Sheet:
    """Make the sheet of first and last planting days."""
    retested = {r.lot for r in campaign.retests}
    table = Table(
        name="clock",
        columns=(
            Column("field", "Field"),
            Column("lot", "Lot"),
            Column("recipe", "Recipe"),
            Column("planned", "Planting date", Measure.DATE),
            Column("first", "Not before (cured)", Measure.DATE),
            Column("last", "Plant by", Measure.DATE),
            Column("life", "Alive until", Measure.DATE),
            Column("test", "Test good until", Measure.DATE),
            Column("note", "Note", width=34),
            Column("planted", "Planted on", look=Look.FILL_IN, width=14),
        ),
        rows=tuple(
            _clock_row(p, plant_by(p, retested, campaign.shop))
            for p in sorted(campaign.clock, key=_urgent)
        ),
        repeat_header=True,
        empty="No treated seed is to be planted.",
        note=f"{_last_planting(campaign)}Test good until: nine months after the month of the test,"
        " as Iowa has it (Iowa Code 199.8(1)(a)). Federal rules for interstate trade allow five"
        " (7 CFR 201.22: look it up); states differ.",
    )
    return Sheet(
        CLOCK,
        "From when until when each field's seed may be planted.",
        (table,),
        Page(landscape=True),
        Room.FIELDS,
        packs=(Pack.SHOP,),
    )


def _last_planting(campaign: Campaign) -> str:
    """Say which day bounds all planting, where there is one."""
    last = campaign.shop.last_planting
    if last is None:
        return ""
    return (
        f"Plant by: {said(last, metric=campaign.shop.metric)} at the latest, the farm's Last"
        " planting day, or earlier where what lives on the seed or its test does not last so long. "
    )


def _urgent(row: PlantBy) -> tuple[date, date]:
    return (row.last or date.max, row.planting or date.max)


def _clock_row(row: PlantBy, last: date | None) -> tuple[Content, ...]:
    return (
        row.field,
        row.lot,
        row.recipe,
        row.planting,
        row.first,
        Cell(last, Look.STRONG),
        row.inoculant_until,
        row.test_until,
        Cell(row.note, Look.WATCH) if row.note else None,
        None,
    )

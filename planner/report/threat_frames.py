"""The sheet that says whether there is enough for the disease, threat by threat."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.report.facts import ENOUGH
from planner.report.measures import Measure
from planner.report.protection_frames import CAUTION, protection_table
from planner.report.sheets import (
    Block,
    Cell,
    Column,
    Look,
    Page,
    PageBreak,
    Room,
    Sheet,
    Table,
    Text,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

    from planner.explain.threats import LotLine, ThreatPage
    from planner.report.facts import Facts
    from planner.report.sheets import Content

SEED_THERE = "Seed for disease"
BY_FIELD = "Protection by field"
WIDE = Page(landscape=True)
MOST_LOTS = 15
"""Lots of a threat that stand on its page."""


def threat_sheets(facts: Facts) -> Iterator[Sheet]:
    """Whether there is enough for the disease, threat by threat, white mold first.

    Where more lots suit than a page should hold, all of them stand on a sheet of their own.
    """
    pages = facts.threats
    if not pages:
        return
    blocks: list[Block] = [Text((CAUTION,), look=Look.WATCH)]
    for number, page in enumerate(pages):
        blocks.append(PageBreak(if_torn=True))
        blocks += _threat_blocks(page, number)
    purpose = "Fields by pressure against seed that suits, threat by threat; then field by field."
    yield Sheet(ENOUGH, purpose, tuple(blocks), Page(), Room.WHY)
    purpose = "What every field under pressure needs, what it gets, and whether that is enough."
    yield Sheet(BY_FIELD, purpose, (protection_table(facts),), WIDE, Room.WHY)
    if any(len(page.lots) > MOST_LOTS for page in pages):
        purpose = "All seed that suits fields which ask for protection, scarcest first."
        yield Sheet(SEED_THERE, purpose, (_all_lots(pages),), WIDE, Room.WHY)


def _threat_blocks(page: ThreatPage, number: int) -> list[Block]:
    enough = all(f.enough for f in page.fields if f.need)
    said = Text((page.sentence,), page.threat, Look.PLAIN if enough else Look.WATCH)
    pressures = Table(
        name=f"pressure_{number}",
        title="Fields by pressure",
        columns=(
            Column("pressure", "Pressure"),
            Column("need", "Rating needed"),
            Column("fields", "Fields", Measure.COUNT, total=True),
            Column("acres", "Land", Measure.AREA, total=True),
            Column("units", "Seed needed", Measure.UNITS, total=True),
            Column("short", "Short", Measure.AREA, total=True),
        ),
        rows=tuple(
            (p.pressure, p.need or "none", p.fields, p.acres, p.units, _short(p.acres_short))
            for p in page.pressures
        ),
    )
    return [said, pressures, _threat_lots(page, number)]


def _threat_lots(page: ThreatPage, number: int) -> Table:
    shown = page.lots[:MOST_LOTS]
    more = len(page.lots) - len(shown)
    return Table(
        name=f"lots_{number}",
        title="Seed that suits, scarcest first",
        columns=_lot_columns(total=not more),
        rows=tuple(_lot_row(lot) for lot in shown),
        empty="No lot suits a field that asks for protection.",
        note=f"and {more} lots more, see {SEED_THERE}" if more else "",
    )


def _all_lots(pages: tuple[ThreatPage, ...]) -> Table:
    return Table(
        name="lots",
        columns=(Column("threat", "Threat"), *_lot_columns(total=False)),
        rows=tuple((page.threat, *_lot_row(lot)) for page in pages for lot in page.lots),
        parts="threat",
        repeat_header=True,
        filter=True,
    )


def _lot_columns(*, total: bool) -> tuple[Column, ...]:
    return (
        Column("lot", "Lot"),
        Column("variety", "Variety"),
        Column("suits", "Suits", Measure.UNITS, total=total),
        Column("strong", "Treated strongly enough", Measure.UNITS, total=total),
        Column("here", "Planted on these fields", Measure.UNITS, total=total),
        Column("left_strong", "Left, strong", Measure.UNITS, total=total),
        Column("left_open", "Left or for sale", Measure.UNITS, total=total),
        Column("tight", "Remark"),
    )


def _lot_row(lot: LotLine) -> tuple[Content, ...]:
    return (
        lot.lot,
        lot.variety,
        lot.suits,
        lot.strong,
        lot.here,
        lot.left_strong,
        lot.left_open,
        Cell("the scarcest", Look.WATCH) if lot.tight else None,
    )


def _short(acres: float) -> Cell:
    return Cell(acres, Look.SHORT if acres > 0.0 else Look.FAINT)

"""The sheet that says whether there is enough for the disease, threat by threat."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.report.measures import Measure
from planner.report.sheets import (
    Block,
    Cell,
    Column,
    KeyFigure,
    KeyFigures,
    Look,
    Page,
    PageBreak,
    Room,
    Sheet,
    Table,
    Text,
)

if TYPE_CHECKING:
    from planner.explain.threats import FieldLine, ThreatPage
    from planner.report.measures import Manner


def threat_sheet(pages: tuple[ThreatPage, ...], manner: Manner) -> Sheet:
    """Whether there is enough for the disease, a printed page per threat, white mold first."""
    blocks: list[Block] = []
    for number, page in enumerate(pages):
        if number:
            blocks.append(PageBreak())
        blocks += _threat_blocks(page, number, manner)
    purpose = "Fields by pressure against seed that suits and is treated strongly enough."
    return Sheet("Enough for disease", purpose, tuple(blocks), Page(), Room.WHY)


def _threat_blocks(page: ThreatPage, number: int, manner: Manner) -> list[Block]:
    figures: list[Block] = [
        Text((page.sentence, page.caution), title=page.threat),
        KeyFigures(_threat_figures(page, manner)),
    ]
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
    return [*figures, pressures, _threat_fields(page, number), _threat_lots(page, number)]


def _threat_figures(page: ThreatPage, manner: Manner) -> tuple[KeyFigure, ...]:
    enough = all(f.enough for f in page.fields if f.need)
    tight = f"tight lot: {page.tight_lot}" if page.tight_lot else ""
    figures = [
        KeyFigure(
            "Units needed",
            page.units_needed,
            Measure.UNITS,
            look=Look.OK if enough else Look.SHORT,
            note="enough" if enough else "not enough",
        ),
        KeyFigure(
            "Units that suit",
            page.units_suit,
            Measure.UNITS,
            note=tight,
        ),
        KeyFigure("Treated strongly enough", page.units_strong, Measure.UNITS),
        KeyFigure(
            f"Room for more, {manner.label(Measure.AREA)}",
            page.more_acres,
            Measure.AREA,
            f"like {page.like_field}" if page.like_field else "",
        ),
    ]
    cost = page.cost
    if cost is not None:
        known = cost.total > 0.0 or cost.at_most <= 0.0
        most = cost.at_most / cost.acres if cost.acres else 0.0
        amount, note = (cost.per_acre, "on those fields") if known else (most, "at the most")
        label = f"Protection costs, {manner.label(Measure.MONEY_PER_AREA)}"
        figures.append(KeyFigure(label, amount, Measure.MONEY_PER_AREA, note))
    return tuple(figures)


def _threat_fields(page: ThreatPage, number: int) -> Table:
    return Table(
        name=f"fields_{number}",
        title="Field by field",
        columns=(
            Column("field", "Field"),
            Column("pressure", "Pressure"),
            Column("need", "Needs"),
            Column("gets", "Gets"),
            Column("enough", "Enough"),
            Column("acres", "Land", Measure.AREA, total=True),
            Column("units", "Seed planted", Measure.UNITS, total=True),
            Column("short", "Short", Measure.AREA, total=True),
            Column("lots", "Lots", width=36),
        ),
        rows=tuple(
            (
                f.field,
                f.pressure,
                f.need or "none",
                f.gets,
                _verdict(f),
                f.acres,
                f.units,
                _short(f.acres_short),
                ", ".join(f.lots),
            )
            for f in page.fields
        ),
    )


def _threat_lots(page: ThreatPage, number: int) -> Table:
    return Table(
        name=f"lots_{number}",
        title="Seed that suits, scarcest first",
        columns=(
            Column("lot", "Lot"),
            Column("variety", "Variety"),
            Column("suits", "Suits", Measure.UNITS, total=True),
            Column("strong", "Treated strongly enough", Measure.UNITS, total=True),
            Column("here", "Planted on these fields", Measure.UNITS, total=True),
            Column("left_strong", "Left, strong", Measure.UNITS, total=True),
            Column("left_open", "Left or to be had", Measure.UNITS, total=True),
            Column("tight", "Remark"),
        ),
        rows=tuple(
            (
                lot.lot,
                lot.variety,
                lot.suits,
                lot.strong,
                lot.here,
                lot.left_strong,
                lot.left_open,
                Cell("the tight one", Look.WATCH) if lot.tight else None,
            )
            for lot in page.lots
        ),
        empty="No lot suits a field that asks for protection.",
    )


def _verdict(line: FieldLine) -> Cell:
    if not line.need:
        return Cell("nothing needed", Look.FAINT)
    return Cell("enough", Look.OK) if line.enough else Cell("not enough", Look.SHORT)


def _short(acres: float) -> Cell:
    return Cell(acres, Look.SHORT if acres > 0.0 else Look.FAINT)

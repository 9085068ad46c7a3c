"""Calibration sheets: what pump and gate should give, a page a batch."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from planner.campaign.calibration import CATCH_SECONDS, TOLERANCE
from planner.campaign.records import CAUTIONS
from planner.report.measures import Measure
from planner.report.sheets import Cell, Column, Look, Page, PageBreak, Room, Sheet, Table, Text

if TYPE_CHECKING:
    from collections.abc import Callable

    from planner.campaign.domain import Calibration, Campaign, Dose, SizeRow
    from planner.report.sheets import Block, Content

CALIBRATION = "Calibration"
LINE = Cell(None, Look.FILL_IN)


def calibration_sheet(campaign: Campaign) -> Sheet:
    """Make the calibration sheets, a page a batch."""
    sheets = {(c.lot, c.recipe): c for c in campaign.calibration}
    blocks: list[Block] = []
    for number, batch in enumerate(campaign.batches, 1):
        blocks += [PageBreak()] if blocks else []
        blocks += _calibration(sheets[batch.lot, batch.recipe], number)
    return Sheet(
        CALIBRATION,
        "For every batch: what pump and gate should give, and lines for what they gave.",
        tuple(blocks),
        Page(),
        Room.TREATING,
    )


def _calibration(sheet: Calibration, number: int) -> list[Block]:
    blocks: list[Block] = [
        Text((f"{number}. {sheet.lot} with {sheet.recipe}",), look=Look.STRONG),
        _seed(sheet, number),
        _flows(sheet, number),
        _catches(sheet, number),
        _sizes(sheet, f"bag_{number}", "what a bag takes (fl oz)", lambda d: d.floz_per_bag),
    ]
    if sheet.seed_flow is not None:
        title = "what flows a minute (fl oz), the seed flow kept"
        blocks.append(_sizes(sheet, f"minute_{number}", title, lambda d: d.floz_per_min))
    return [*blocks, Text(CAUTIONS, "Cautions", bullets=True)]


def _seed(sheet: Calibration, number: int) -> Table:
    flow = sheet.seed_flow if sheet.seed_flow is not None else LINE
    row = (sheet.lot, sheet.seeds_per_lb, sheet.grams_per_1000, sheet.unit_weight)
    return Table(
        name=f"seed_{number}",
        title="Seed",
        columns=(
            Column("lot", "Lot"),
            Column("size", "By the tag", Measure.SEEDS_PER_WEIGHT),
            Column("grams", "1,000 seeds (g)", Measure.NUMBER, decimals=1),
            Column("unit", "A unit", Measure.WEIGHT, decimals=2),
            Column("bag", "A bag", Measure.WEIGHT, decimals=1),
            Column("flow", "Seed flow", Measure.FLOW),
            Column("measured", "Flow got", look=Look.FILL_IN, width=10),
            Column("weighed", "Counted, g", look=Look.FILL_IN, width=10),
            Column("real", "Real size", look=Look.FILL_IN, width=10),
        ),
        rows=((*row, sheet.bag_weight, flow, None, None, None),),
        note="Count at least 1,000 seeds and weigh them: seeds per lb = seeds x 453.592 / grams;"
        " grams of 1,000 seeds = 453,592 / seeds per lb.",
    )


def _flows(sheet: Calibration, number: int) -> Table:
    return Table(
        name=f"flow_{number}",
        title="Product",
        columns=(
            Column("product", "Product"),
            Column("unit", "A unit", Measure.DOSE_PER_UNIT),
            Column("cwt", "By weight", Measure.DOSE_PER_WEIGHT),
            Column("bag", "A bag (fl oz)", Measure.NUMBER, decimals=1),
            Column("bag_ml", "A bag (mL)", Measure.NUMBER, decimals=0),
            Column("minute", "A minute (fl oz)", Measure.NUMBER, decimals=2),
            Column("minute_ml", "A minute (mL)", Measure.NUMBER, decimals=0),
            Column("setting", "Pump set at", look=Look.FILL_IN, width=10),
            Column("measured", "Measured", look=Look.FILL_IN, width=10),
        ),
        rows=tuple(
            (
                d.product,
                d.floz_per_unit,
                d.floz_per_cwt,
                d.floz_per_bag,
                d.ml_per_bag,
                _or_line(d.floz_per_min),
                _or_line(d.ml_per_min),
                None,
                None,
            )
            for d in sheet.doses
        ),
    )


def _or_line(number: float | None) -> Content:
    return LINE if number is None else number


def _catches(sheet: Calibration, number: int) -> Table:
    columns = [Column("product", "Product")]
    for seconds in CATCH_SECONDS:
        columns += [
            Column(f"floz_{seconds}", f"{seconds} s (fl oz)", Measure.NUMBER, decimals=2),
            Column(f"ml_{seconds}", f"{seconds} s (mL)"),
        ]
    columns += [
        Column("first", "1st catch", look=Look.FILL_IN, width=10),
        Column("second", "2nd catch", look=Look.FILL_IN, width=10),
    ]
    rows: list[tuple[Content, ...]] = []
    for d in sheet.doses if sheet.seed_flow is not None else ():
        caught: list[Content] = []
        for c in d.catches:
            caught += [c.floz, f"{c.low_ml:.0f} to {c.high_ml:.0f}"]
        rows.append((d.product, *caught, None, None))
    return Table(
        name=f"catch_{number}",
        title="Catch the product for so many seconds",
        columns=tuple(columns),
        rows=tuple(rows),
        empty="Seed flow is not known: give it on the Farm sheet. Or multiply the rate by weight"
        " with the measured flow in hundreds of pounds a minute.",
        note=f"mL: {TOLERANCE:.0%} either way is common practice; the label may ask for less.",
    )


def _sizes(
    sheet: Calibration, name: str, what: str, amount: Callable[[Dose], float | None]
) -> Table:
    products = [Column(f"p{i}", d.product) for i, d in enumerate(sheet.doses)]
    columns = (
        Column("change", "Seeds per lb differ by", Measure.PERCENT, decimals=0),
        Column("size", "Real size", Measure.SEEDS_PER_WEIGHT),
        Column("unit", "A unit weighs", Measure.WEIGHT, decimals=2),
        Column("bag", "A bag weighs", Measure.WEIGHT, decimals=1),
        *(replace(c, measure=Measure.NUMBER, decimals=2) for c in products),
    )
    return Table(
        name=name,
        title=f"If the real seed differs from its tag: {what}",
        columns=columns,
        rows=tuple(_size_row(size, amount) for size in sheet.sizes),
    )


def _size_row(size: SizeRow, amount: Callable[[Dose], float | None]) -> tuple[Content, ...]:
    look = Look.PLAIN if size.change else Look.STRONG
    values = (size.change, size.seeds_per_lb, size.unit_weight, size.bag_weight)
    return tuple(Cell(v, look) for v in (*values, *(amount(d) for d in size.doses)))

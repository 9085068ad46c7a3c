"""Calibration sheets: what pump and gate should give, a page a batch."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from planner.campaign.calibration import CATCH_SECONDS, TOLERANCE
from planner.campaign.records import CAUTIONS_SHORT
from planner.report.measures import Manner, Measure
from planner.report.sheets import Cell, Column, Look, Page, PageBreak, Room, Sheet, Table, Text

if TYPE_CHECKING:
    from collections.abc import Iterable

    from planner.campaign.domain import Calibration, Campaign
    from planner.report.sheets import Block, Content

CALIBRATION = "Calibration"
MOST_PAGES = 60
"""Batches up to which each has a page of its own."""
LINE = Cell(None, Look.FILL_IN)


def calibration_sheet(campaign: Campaign) -> Sheet:
    """Make the calibration sheets: a page a batch, or one table for a great many of them."""
    if len(campaign.batches) > MOST_PAGES:
        return _table_sheet(campaign)
    sheets = {(c.lot, c.recipe): c for c in campaign.calibration}
    manner = Manner(metric=campaign.shop.metric)
    blocks: list[Block] = []
    for number, batch in enumerate(campaign.batches, 1):
        blocks += [PageBreak()] if blocks else []
        blocks += _calibration(sheets[batch.lot, batch.recipe], number, manner)
    return Sheet(
        CALIBRATION,
        "For every batch: what pump and gate should give, and lines for what they gave.",
        tuple(blocks),
        Page(),
        Room.TREATING,
    )


def _table_sheet(campaign: Campaign) -> Sheet:
    sheets = {(c.lot, c.recipe): c for c in campaign.calibration}
    rows: list[tuple[Content, ...]] = []
    for batch in campaign.batches:
        sheet = sheets[batch.lot, batch.recipe]
        size = (sheet.lot, sheet.recipe, sheet.seeds_per_lb, sheet.unit_weight, sheet.bag_weight)
        for d in sheet.doses:
            caught = d.catches[-1].ml if d.catches else None
            rows.append((*size, d.product, d.floz_per_unit, d.floz_per_cwt, d.ml_per_bag, caught))
    table = Table(
        name="calibration",
        columns=(
            Column("lot", "Lot"),
            Column("recipe", "Recipe"),
            Column("size", "By the tag", Measure.SEEDS_PER_WEIGHT),
            Column("unit", "A unit", Measure.WEIGHT, decimals=2),
            Column("bag", "A bag", Measure.WEIGHT, decimals=1),
            Column("product", "Product"),
            Column("dose", "A unit", Measure.DOSE_PER_UNIT),
            Column("cwt", "By weight", Measure.DOSE_PER_WEIGHT),
            Column("bag_ml", "A bag (mL)", Measure.NUMBER, decimals=0),
            Column("minute", "Caught in 60 s (mL)", Measure.NUMBER, decimals=0),
        ),
        rows=tuple(rows),
        repeat_header=True,
        filter=True,
        note=f"{TOLERANCE:.0%} either way is common practice; the label may ask for less.",
    )
    return Sheet(
        CALIBRATION,
        "For every batch: what pump and gate should give.",
        (Text(CAUTIONS_SHORT, look=Look.STRONG), table),
        Page(landscape=True),
        Room.TREATING,
    )


def _calibration(sheet: Calibration, number: int, manner: Manner) -> list[Block]:
    return [
        Text((f"{number}. {sheet.lot} with {sheet.recipe}", *CAUTIONS_SHORT), look=Look.STRONG),
        _seed(sheet, number, manner),
        _flows(sheet, number, manner),
        _catches(sheet, number, manner),
        _sizes(sheet, number, manner),
    ]


def _seed(sheet: Calibration, number: int, manner: Manner) -> Table:
    size, grams = manner.label(Measure.SEEDS_PER_WEIGHT), "1,000" if manner.metric else "453.592"
    of_1000 = "1,000,000" if manner.metric else "453,592"
    size = size.replace("/", " per ")
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
            Column("weighed", "Sample", look=Look.FILL_IN, width=10),
            Column("real", "Real size", look=Look.FILL_IN, width=10),
        ),
        rows=((*row, sheet.bag_weight, flow, None, None, None),),
        note=f"Count at least 1,000 seeds and weigh them: {size} = seeds x {grams} / grams; "
        f"grams of 1,000 seeds = {of_1000} / {size}.",
    )


def _flows(sheet: Calibration, number: int, manner: Manner) -> Table:
    """How much of each product on a unit, by weight, on a bag and a minute; fl oz and mL."""
    us = not manner.metric
    return Table(
        name=f"flow_{number}",
        title="Product",
        columns=(
            Column("product", "Product"),
            Column("unit", "A unit", Measure.DOSE_PER_UNIT),
            Column("cwt", "By weight", Measure.DOSE_PER_WEIGHT),
            *([Column("bag", "A bag (fl oz)", Measure.NUMBER, decimals=2)] if us else []),
            Column("bag_ml", "A bag (mL)", Measure.NUMBER, decimals=0),
            *([Column("minute", "A minute (fl oz)", Measure.NUMBER, decimals=2)] if us else []),
            Column("minute_ml", "A minute (mL)", Measure.NUMBER, decimals=0),
            Column("setting", "Pump at", look=Look.FILL_IN, width=10),
            Column("measured", "Got", look=Look.FILL_IN, width=10),
        ),
        rows=tuple(
            (
                d.product,
                d.floz_per_unit,
                d.floz_per_cwt,
                *([d.floz_per_bag] if us else []),
                d.ml_per_bag,
                *([_or_line(d.floz_per_min)] if us else []),
                _or_line(d.ml_per_min),
                None,
                None,
            )
            for d in sheet.doses
        ),
    )


def _or_line(number: float | None) -> Content:
    return LINE if number is None else number


def _catches(sheet: Calibration, number: int, manner: Manner) -> Table:
    columns = [Column("product", "Product")]
    for seconds in CATCH_SECONDS:
        if not manner.metric:
            ounces = Column(f"floz_{seconds}", f"{seconds} s (fl oz)", Measure.NUMBER, decimals=2)
            columns.append(ounces)
        columns.append(Column(f"ml_{seconds}", f"{seconds} s (mL)"))
    columns += [
        Column("first", "1st", look=Look.FILL_IN, width=10),
        Column("second", "2nd", look=Look.FILL_IN, width=10),
    ]
    rows: list[tuple[Content, ...]] = []
    for d in sheet.doses if sheet.seed_flow is not None else ():
        caught: list[Content] = []
        for c in d.catches:
            caught += [] if manner.metric else [c.floz]
            caught.append(f"{c.low_ml:.0f} to {c.high_ml:.0f}")
        rows.append((d.product, *caught, None, None))
    return Table(
        name=f"catch_{number}",
        title="Catch the product for so many seconds",
        columns=tuple(columns),
        rows=tuple(rows),
        empty="Seed flow is not known: give it on the Farm sheet. Or multiply the rate by weight"
        f" with the measured flow in hundreds of {manner.label(Measure.WEIGHT)} a minute.",
        note=f"mL: {TOLERANCE:.0%} either way is common practice; the label may ask for less.",
    )


def _tenth(number: float | None) -> float | None:
    return None if number is None else round(number, 1)


def _sizes(sheet: Calibration, number: int, manner: Manner) -> Table:
    """A column for every size, a row for all that changes with it."""
    looks = [Look.PLAIN if size.change else Look.STRONG for size in sheet.sizes]

    def row(what: str, numbers: Iterable[float | None], measure: Measure) -> tuple[Content, ...]:
        cells = [
            Cell(_tenth(n), look, measure=measure) for n, look in zip(numbers, looks, strict=True)
        ]
        return (what, *cells)

    weight = manner.label(Measure.WEIGHT)
    units = [manner.value(x.unit_weight, Measure.WEIGHT) for x in sheet.sizes]
    bags = [manner.value(x.bag_weight, Measure.WEIGHT) for x in sheet.sizes]
    sizes = [x.seeds_per_lb for x in sheet.sizes]
    rows = [
        row(manner.label(Measure.SEEDS_PER_WEIGHT), sizes, Measure.SEEDS_PER_WEIGHT),
        row(f"a unit ({weight})", units, Measure.NUMBER),
        row(f"a bag ({weight})", bags, Measure.NUMBER),
    ]
    for i, dose in enumerate(sheet.doses):
        each = [x.doses[i] for x in sheet.sizes]
        rows.append(row(f"{dose.product}, a bag (mL)", [d.ml_per_bag for d in each], Measure.COUNT))
        if sheet.seed_flow is not None:
            flows = [d.ml_per_min for d in each]
            rows.append(row(f"{dose.product}, a minute (mL)", flows, Measure.NUMBER))
    each_size = manner.label(Measure.SEEDS_PER_WEIGHT).replace("/", " per ")
    columns = [Column(f"c{i}", f"{x.change:+.0%} {each_size}") for i, x in enumerate(sheet.sizes)]
    columns[len(columns) // 2] = replace(columns[len(columns) // 2], header="By the tag")
    numbers = [replace(c, measure=Measure.NUMBER) for c in columns]
    return Table(
        name=f"sizes_{number}",
        title="If the real seed differs from its tag",
        columns=(Column("what", "What"), *numbers),
        rows=tuple(rows),
        note="The seed flow by weight is kept. A rate by weight then keeps its flow, a rate by the"
        " unit its amount a bag.",
    )

"""Calibration sheets: what pump and gate should give, batch by batch."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from planner.campaign.calibration import CATCH_SECONDS, TOLERANCE
from planner.campaign.records import CAUTIONS_SHORT
from planner.report.measures import Manner, Measure
from planner.report.sheets import Cell, Column, Look, Page, PageBreak, Room, Sheet, Table, Text

if TYPE_CHECKING:
    from collections.abc import Iterable

    from planner.campaign.domain import Calibration, Campaign, Dose
    from planner.report.sheets import Block, Content

CALIBRATION = "Calibration"
MOST_SHEETS = 120
"""Batches up to which each has a calibration sheet; two of them stand on a page."""
SAME = 1e-9
"""Share by which amounts may differ and count as the same."""
NO_FLOW = (
    "Seed flow is not known: give it on the Farm sheet. Or multiply the rate by weight with the"
    " measured flow in hundreds of {} a minute."
)
LINE = Cell(None, Look.FILL_IN)


def calibration_sheet(campaign: Campaign) -> Sheet:
    """Make the calibration sheets: one a batch, or one table for a great many of them."""
    if len(campaign.batches) > MOST_SHEETS:
        return _table_sheet(campaign)
    sheets = {(c.lot, c.recipe): c for c in campaign.calibration}
    manner = Manner(metric=campaign.shop.metric)
    blocks: list[Block] = [Text(_how(campaign, manner))]
    for number, batch in enumerate(campaign.batches, 1):
        blocks += [PageBreak(if_torn=True)] if number > 1 else []
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
            caught: list[Content] = [c.ml for c in d.catches] or [None] * len(CATCH_SECONDS)
            rate = (d.product, d.floz_per_unit, d.floz_per_cwt, d.ml_per_bag)
            rows.append((*size, *rate, *caught, None))
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
            *(
                Column(f"ml_{seconds}", f"{seconds} s (mL)", Measure.NUMBER, decimals=0)
                for seconds in CATCH_SECONDS
            ),
            Column("got", "Got", look=Look.FILL_IN, width=10),
        ),
        rows=tuple(rows),
        repeat_header=True,
        filter=True,
    )
    manner = Manner(metric=campaign.shop.metric)
    return Sheet(
        CALIBRATION,
        "For every batch: what pump and gate should give, and in so many seconds.",
        (Text(CAUTIONS_SHORT, look=Look.STRONG), Text(_how(campaign, manner)), table),
        Page(landscape=True),
        Room.TREATING,
    )


def _calibration(sheet: Calibration, number: int, manner: Manner) -> list[Block]:
    caught = [] if sheet.seed_flow is None else [_catches(sheet, number, manner)]
    return [
        Text((f"{number}. {sheet.lot} with {sheet.recipe}", *CAUTIONS_SHORT), look=Look.STRONG),
        _flows(sheet, number, manner),
        *caught,
        _sizes(sheet, number, manner),
    ]


def _flows(sheet: Calibration, number: int, manner: Manner) -> Table:
    """How much of each product on a unit, by weight, on a bag and a minute; fl oz and mL."""
    us = not manner.metric
    return Table(
        name=f"flow_{number}",
        columns=(
            Column("product", "Product"),
            Column("unit", "A unit", Measure.DOSE_PER_UNIT),
            Column("cwt", "By weight", Measure.DOSE_PER_WEIGHT),
            *_volumes("bag", "A bag", us),
            *_volumes("minute", "A minute", us),
            Column("setting", "Pump at", look=Look.FILL_IN),
        ),
        rows=tuple((*_flow_row(d, us), None) for d in sheet.doses),
    )


def _volumes(key: str, title: str, us: bool) -> list[Column]:
    ounces = Column(key, f"{title} (fl oz)", Measure.NUMBER, decimals=2)
    return [
        *([ounces] if us else []),
        Column(f"{key}_ml", f"{title} (mL)", Measure.NUMBER, decimals=0),
    ]


def _flow_row(dose: Dose, us: bool) -> tuple[Content, ...]:
    row: list[Content] = [dose.product, dose.floz_per_unit, dose.floz_per_cwt]
    row += [dose.floz_per_bag, dose.ml_per_bag] if us else [dose.ml_per_bag]
    minute = [_or_line(dose.floz_per_min), _or_line(dose.ml_per_min)]
    row += minute if us else minute[1:]
    return tuple(row)


def _catches(sheet: Calibration, number: int, manner: Manner) -> Table:
    """What a catch of so many seconds should hold, and lines for what two of them held."""
    columns = [Column("product", "Caught in")]
    for seconds in CATCH_SECONDS:
        if not manner.metric:
            title = f"{seconds} s (fl oz)"
            columns.append(Column(f"floz_{seconds}", title, Measure.NUMBER, decimals=2))
        columns.append(Column(f"ml_{seconds}", f"{seconds} s (mL)"))
    columns += [
        Column("first", "1st", look=Look.FILL_IN),
        Column("second", "2nd", look=Look.FILL_IN),
    ]
    rows: list[tuple[Content, ...]] = []
    for d in sheet.doses:
        caught: list[Content] = []
        for c in d.catches:
            caught += [] if manner.metric else [c.floz]
            caught.append(f"{c.low_ml:.0f} to {c.high_ml:.0f}")
        rows.append((d.product, *caught, None, None))
    return Table(name=f"catch_{number}", columns=tuple(columns), rows=tuple(rows))


def _or_line(number: float | None) -> Content:
    return LINE if number is None else number


def _tenth(number: float | None) -> float | None:
    return None if number is None else round(number, 1)


def _sizes(sheet: Calibration, number: int, manner: Manner) -> Table:
    """A column for every size of the seed, a row for all that changes with it."""
    looks = [Look.PLAIN if size.change else Look.STRONG for size in sheet.sizes]

    def row(what: str, numbers: Iterable[float | None], measure: Measure) -> tuple[Content, ...]:
        cells = [
            Cell(_tenth(n), look, measure=measure) for n, look in zip(numbers, looks, strict=True)
        ]
        return (what, *cells, None)

    weight = manner.label(Measure.WEIGHT)
    size = manner.label(Measure.SEEDS_PER_WEIGHT)
    units = [manner.value(x.unit_weight, Measure.WEIGHT) for x in sheet.sizes]
    bags = [manner.value(x.bag_weight, Measure.WEIGHT) for x in sheet.sizes]
    grams = [sheet.grams_per_1000 / (1.0 + x.change) for x in sheet.sizes]
    flow = sheet.seed_flow
    flows = [None if flow is None else manner.value(flow, Measure.FLOW)] * len(sheet.sizes)
    rows = [
        row(size, [x.seeds_per_lb for x in sheet.sizes], Measure.SEEDS_PER_WEIGHT),
        row("1,000 seeds (g)", grams, Measure.NUMBER),
        row(f"a unit ({weight})", units, Measure.NUMBER),
        row(f"a bag ({weight})", bags, Measure.NUMBER),
        row(f"seed flow ({manner.label(Measure.FLOW)})", flows, Measure.NUMBER),
    ]
    for i, dose in enumerate(sheet.doses):
        each = [x.doses[i] for x in sheet.sizes]
        for what, amounts in (
            ("a bag (mL)", [d.ml_per_bag for d in each]),
            ("a minute (mL)", [d.ml_per_min for d in each]),
        ):
            if _varies(amounts):
                rows.append(row(f"{dose.product}, {what}", amounts, Measure.NUMBER))
    columns = [
        Column(f"c{i}", f"{x.change:+.0%}", Measure.NUMBER) for i, x in enumerate(sheet.sizes)
    ]
    columns[len(columns) // 2] = replace(columns[len(columns) // 2], header="Tag")
    return Table(
        name=f"sizes_{number}",
        columns=(
            Column("what", "Seed size against tag"),
            *columns,
            Column("got", "Measured", look=Look.FILL_IN),
        ),
        rows=tuple(rows),
    )


def _varies(amounts: list[float] | list[float | None]) -> bool:
    known = [a for a in amounts if a is not None]
    return bool(known) and max(known) - min(known) > SAME * max(known)


def _how(campaign: Campaign, manner: Manner) -> tuple[str, ...]:
    """How to measure, and what stays when the size of the seed differs."""
    grams, of_1000 = ("1,000", "1,000,000") if manner.metric else ("453.592", "453,592")
    size = manner.label(Measure.SEEDS_PER_WEIGHT).replace("/", " per ")
    caught = (
        f"mL caught: {TOLERANCE:.0%} either way is common practice; the label may ask for less."
    )
    return (
        caught if campaign.shop.seed_flow else NO_FLOW.format(manner.label(Measure.WEIGHT)),
        f"Count at least 1,000 seeds and weigh them: {size} = seeds x {grams} / grams; grams of"
        f" 1,000 seeds = {of_1000} / {size}. Where the real size differs from the tag, the seed"
        " flow by weight is kept: a rate by weight then keeps its amount a minute, a rate by the"
        " unit its amount a bag.",
    )

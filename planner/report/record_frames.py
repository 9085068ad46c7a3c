"""Records: the logs of seed and of what went on it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.campaign.records import CAUTIONS_SHORT, RETENTION
from planner.report.measures import Measure
from planner.report.sheets import Cell, Column, Look, Page, Room, Sheet, Table, Text

if TYPE_CHECKING:
    from collections.abc import Mapping

    from planner.campaign.domain import Campaign, LogLine
    from planner.report.sheets import Content

LOG = "Treatment log"
SEED_LOG = "Seed log"


def seed_log_sheet(campaign: Campaign) -> Sheet:
    """Make the log of the seed: a line for every lot, recipe and day."""
    table = Table(
        name="seed",
        columns=(
            Column("day", "Day", Measure.DATE),
            Column("lot", "Lot"),
            Column("recipe", "Recipe"),
            Column("variety", "Variety"),
            Column("bags", "Bags"),
            Column("units", "Seed", Measure.UNITS),
            Column("weight", "Weight", Measure.WEIGHT),
            Column("size", "Size", Measure.SEEDS_PER_WEIGHT),
            Column("fields", "Fields", width=24),
            Column("alive", "Alive until", Measure.DATE),
            Column("water", "Water added", look=Look.FILL_IN, width=11),
            Column("who", "Operator, license", look=Look.FILL_IN, width=18),
        ),
        rows=tuple(dict.fromkeys(_seed_row(x) for x in campaign.log)),
        parts="day",
        repeat_header=True,
        roomy=True,
    )
    return Sheet(
        SEED_LOG,
        f"What seed was treated, a line for every lot, recipe and day; what went on it: {LOG}.",
        (Text(CAUTIONS_SHORT, look=Look.STRONG), table),
        Page(landscape=True),
        Room.TREATING,
    )


def log_sheet(campaign: Campaign) -> Sheet:
    """Make the treatment log: what is known is filled in, what is measured has a blank."""
    numbers = {f.product: f.registration or None for f in campaign.facts}
    table = Table(
        name="log",
        columns=(
            Column("day", "Day", Measure.DATE),
            Column("lot", "Lot"),
            Column("recipe", "Recipe"),
            Column("product", "Product"),
            Column("bags", "Bags"),
            Column("rate", "Rate asked", Measure.DOSE_PER_UNIT),
            Column("amount", "Should take", Measure.DOSE),
            Column("real", "Rate got", look=Look.FILL_IN, width=11),
            Column("batch", "Product batch", look=Look.FILL_IN, width=21),
            Column("epa", "EPA no.", look=Look.FILL_IN, width=14),
            Column("drawn", "Drawn", look=Look.FILL_IN, width=11),
        ),
        rows=tuple(_log_row(x, numbers) for x in campaign.log),
        parts="day",
        repeat_header=True,
        roomy=True,
    )
    return Sheet(
        LOG,
        "What soybean seed was treated with what. Write down what is measured in the blanks.",
        (
            Text(CAUTIONS_SHORT, look=Look.STRONG),
            Text(RETENTION, "How long to keep it"),
            table,
        ),
        Page(landscape=True, smaller=0.85),
        Room.TREATING,
    )


def _seed_row(line: LogLine) -> tuple[Content, ...]:
    return (
        line.day,
        line.lot,
        line.recipe,
        line.variety,
        line.bags,
        line.units,
        line.weight,
        line.seeds_per_lb,
        "; ".join(line.fields) or "spare",
        line.plant_by,
        None,
        None,
    )


def _log_row(line: LogLine, numbers: Mapping[str, str | None]) -> tuple[Content, ...]:
    head = (line.day, line.lot, line.recipe, line.product, line.bags)
    number = numbers.get(line.product)
    epa = Cell(number, Look.STRONG) if number else None
    return (*head, line.rate, line.amount, None, None, epa, None)

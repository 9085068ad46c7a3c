"""The campaign's sheets: which day, which container, until when, and what is left.

The papers that lie beside the treater (calibration, cards, log, tags) are in `shop_frames`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.campaign.records import CAUTIONS_SHORT
from planner.report.measures import Manner, Measure
from planner.report.sheets import (
    Book,
    Cell,
    Column,
    KeyFigure,
    KeyFigures,
    Look,
    Page,
    Room,
    Sheet,
    Table,
    Text,
)
from planner.report.shop_frames import (
    calibration_sheet,
    card_sheet,
    log_sheet,
    tag_sheet,
)

if TYPE_CHECKING:
    from datetime import date

    from planner.campaign.domain import Batch, Campaign, ContainerUse, Level, PlantBy, Portion, Run
    from planner.report.sheets import Block, Content

CALENDAR = "Shop calendar"
DRAW_DOWN = "Draw-down"
CLOCK = "Plant-by clock"
LEFT = "Left over"


def campaign_sheets(campaign: Campaign) -> tuple[Sheet, ...]:
    """Make all sheets of a campaign, in the order in which they are used; none without batches."""
    if not campaign.batches:
        return ()
    return (
        calendar_sheet(campaign),
        card_sheet(campaign),
        calibration_sheet(campaign),
        draw_down_sheet(campaign),
        log_sheet(campaign),
        tag_sheet(campaign),
        clock_sheet(campaign),
        left_sheet(campaign),
    )


def campaign_book(campaign: Campaign) -> Book:
    """Make a workbook of the campaign alone."""
    shop = campaign.shop
    return Book(
        campaign_sheets(campaign),
        Manner(metric=shop.metric),
        shop.farm,
        f"Season {shop.crop_year}",
        shop.plan_date,
    )


# --- calendar --------------------------------------------------------------------------------


def calendar_sheet(campaign: Campaign) -> Sheet:
    """Make the sheet that says what is treated on which day, and what to mind before."""
    blocks: list[Block] = [_figures(campaign)]
    if campaign.notes:
        late = campaign.calendar.late > 0
        look = Look.SHORT if late else Look.WATCH
        blocks.append(Text(campaign.notes, "Mind before you start", look, bullets=True))
    blocks += [_runs(campaign), _days(campaign), _treat_late(campaign), _approvals(campaign)]
    blocks.append(Text(CAUTIONS_SHORT, look=Look.STRONG))
    return Sheet(
        CALENDAR,
        "Which bags are treated on which day, in the order that changes the line least.",
        tuple(blocks),
        Page(landscape=True),
        Room.TREATING,
    )


def _figures(campaign: Campaign) -> KeyFigures:
    calendar, order = campaign.calendar, campaign.order
    to_do = [r for r in calendar.runs if not r.done]
    bags = sum(r.bags for r in to_do)
    last = max((r.day for r in to_do), default=None)
    proven = "proven least" if order.exact else f"proven floor {order.floor_minutes:.0f} min"
    return KeyFigures(
        (
            KeyFigure("Bags to treat", bags, Measure.COUNT),
            KeyFigure("Treating days", len({r.day for r in to_do}), Measure.COUNT),
            KeyFigure("Last treating day", last, Measure.DATE),
            KeyFigure("Changes and calibrations", order.minutes, Measure.MINUTES, proven),
            KeyFigure(
                "Bags too many for the days",
                calendar.late,
                Measure.COUNT,
                look=Look.SHORT if calendar.late else Look.OK,
            ),
        )
    )


def _runs(campaign: Campaign) -> Table:
    by_name = {(b.lot, b.recipe): b for b in campaign.batches}
    rows = [_run_row(r, by_name[r.lot, r.recipe]) for r in campaign.calendar.runs]
    return Table(
        name="runs",
        title="Day by day",
        columns=(
            Column("day", "Day", Measure.DATE),
            Column("weekday", "Weekday"),
            Column("lot", "Lot"),
            Column("recipe", "Recipe"),
            Column("bags", "Bag numbers"),
            Column("count", "Bags", Measure.COUNT, total=True),
            Column("units", "Seed", Measure.UNITS, total=True),
            Column("fields", "For fields", width=34),
            Column("state", "State"),
            Column("done", "Done (initials)", look=Look.FILL_IN, width=14),
        ),
        rows=tuple(rows),
        repeat_header=True,
    )


def _run_row(run: Run, batch: Batch) -> tuple[Content, ...]:
    met = [p for p in batch.portions if _meet(run, p)]
    fields = "; ".join(dict.fromkeys(f for p in met for f in p.fields)) or "spare"
    state = Cell("done", Look.OK) if run.done else Cell("to do")
    if run.late:
        state = Cell("LATE", Look.SHORT)
    return (
        run.day,
        f"{run.day:%A}",
        run.lot,
        run.recipe,
        span(run.first_bag, run.last_bag),
        run.bags,
        run.units,
        fields,
        state,
        None,
    )


def _meet(run: Run, portion: Portion) -> bool:
    last = portion.first_bag + portion.bags - 1
    return run.first_bag <= last and portion.first_bag <= run.last_bag


def span(first: int, last: int) -> str:
    """Say which bags.

    >>> span(3, 3), span(1, 12)
    ('3', '1 to 12')
    """
    return f"{first}" if first == last else f"{first} to {last}"


def _bags(portion: Portion) -> str:
    return span(portion.first_bag, portion.first_bag + portion.bags - 1)


def _days(campaign: Campaign) -> Table:
    return Table(
        name="days",
        title="Each day's work beside the treating itself",
        columns=(
            Column("day", "Day", Measure.DATE),
            Column("weekday", "Weekday"),
            Column("starts", "Recipes that start"),
            Column("blank", ""),
            Column("minutes", "Changes", Measure.MINUTES, total=True),
            Column("bags", "Bags", Measure.COUNT, total=True),
            Column("floor", "Treated bags in the shop that evening", Measure.COUNT),
        ),
        rows=tuple(
            (d.day, f"{d.day:%A}", "; ".join(d.changes), None, d.minutes, d.bags, d.on_floor)
            for d in campaign.calendar.days
        ),
        note=f"{campaign.shop.changeover_minutes:g} minutes for every product that enters or leaves"
        f" the line, {campaign.shop.calibration_minutes:g} for every new lot.",
    )


def _treat_late(campaign: Campaign) -> Table:
    late = [
        (p.earliest, b, p)
        for b in campaign.batches
        for p in b.portions
        if p.earliest and p.earliest > campaign.shop.first_day
    ]
    late.sort(key=lambda x: (x[0], x[1].lot, x[1].recipe, x[2].first_bag))
    return Table(
        name="treat_late",
        title="Treat late: not before this day, or what lives on the seed is gone at planting",
        columns=(
            Column("day", "Not before", Measure.DATE),
            Column("life", "Life", Measure.DAYS),
            Column("lot", "Lot"),
            Column("recipe", "Recipe"),
            Column("bags", "Bag numbers"),
            Column("count", "Bags", Measure.COUNT),
            Column("blank", ""),
            Column("fields", "For fields"),
        ),
        rows=tuple(
            (day, b.life, b.lot, b.recipe, _bags(p), p.bags, None, "; ".join(p.fields))
            for day, b, p in late
        ),
        empty="Any bag may be treated from the first day.",
    )


def _approvals(campaign: Campaign) -> Table:
    rows = [
        (c.needed_by, None, c.recipe, Cell("no approval yet", Look.SHORT))
        for c in campaign.cards
        if not c.approved_by
    ]
    return Table(
        name="approvals",
        title="Recipes that still need the approval of a licensed person",
        columns=(
            Column("needed", "Before", Measure.DATE),
            Column("blank", ""),
            Column("recipe", "Recipe"),
            Column("state", "State"),
        ),
        rows=tuple(rows),
        empty="Every recipe is approved.",
    )


# --- containers ------------------------------------------------------------------------------


def draw_down_sheet(campaign: Campaign) -> Sheet:
    """Make the sheet that follows every container and says what should be left."""
    margin = f"{campaign.shop.margin:.1%}".replace(".0%", "%")
    return Sheet(
        DRAW_DOWN,
        "Which container is on the line when, and what should be left after every batch and day.",
        (
            Text(CAUTIONS_SHORT, look=Look.STRONG),
            _containers(campaign),
            _levels(campaign),
            Text(
                (
                    f"The low level counts the margin of {margin} as used up, the high one as not"
                    " used. A level under the low one means too much goes on (or a leak); one over"
                    " the high one, too little. The weight is that of the container on the line,"
                    " heel included, margin used up; without a tare it is the liquid alone.",
                ),
                look=Look.FAINT,
            ),
        ),
        Page(landscape=True),
        Room.TREATING,
    )


def _containers(campaign: Campaign) -> Table:
    return Table(
        name="containers",
        title="Containers, in the order in which they go on the line",
        columns=(
            Column("product", "Product"),
            Column("number", "No.", Measure.COUNT),
            Column("container", "Container"),
            Column("usable", "Usable", Measure.VOLUME),
            Column("on_day", "On the line", Measure.DATE),
            Column("on", "from", width=30),
            Column("dry_day", "Dry at the earliest", Measure.DATE),
            Column("dry", "at", width=30),
            Column("left", "Left", Measure.VOLUME),
            Column("note", "Note", width=24),
        ),
        rows=tuple(_container_row(u) for u in campaign.drawdown.containers),
        note="When one runs dry, the next one stands ready and primed.",
    )


def _container_row(use: ContainerUse) -> tuple[Content, ...]:
    unopened = Cell("stays closed", Look.FAINT)
    return (
        use.product,
        use.number,
        use.source,
        use.usable,
        use.on_day,
        use.on_line or unopened,
        use.dry_day,
        use.dry,
        use.left,
        Cell(use.note, Look.WATCH) if use.note else None,
    )


def _levels(campaign: Campaign) -> Table:
    return Table(
        name="levels",
        title="What should be left",
        columns=(
            Column("product", "Product"),
            Column("blank", ""),
            Column("source", "On the line"),
            Column("low", "Left, low", Measure.VOLUME),
            Column("day", "Day", Measure.DATE),
            Column("after", "After", width=30),
            Column("high", "Left, high", Measure.VOLUME),
            Column("weight", "Weight of the container on the line", Measure.WEIGHT, decimals=1),
            Column("of", "Weight is"),
            Column("read", "Read", look=Look.FILL_IN, width=14),
        ),
        rows=tuple(_level_row(x) for x in campaign.drawdown.levels),
        repeat_header=True,
    )


def _level_row(level: Level) -> tuple[Content, ...]:
    weight, of = level.gross_weight, "with tare"
    if weight is None:
        weight, of = level.net_weight, "liquid alone" if level.net_weight is not None else ""
    evening = level.after == "day"
    after = Cell("end of the day", Look.STRONG) if evening else level.after
    return (
        level.product,
        None,
        level.source,
        level.left,
        level.day,
        after,
        level.left_at_most,
        weight,
        of,
        None,
    )


# --- planting and what is left ----------------------------------------------------------------


def clock_sheet(campaign: Campaign) -> Sheet:
    """Make the sheet of first and last planting days."""
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
        rows=tuple(_clock_row(p) for p in sorted(campaign.clock, key=_urgent)),
        repeat_header=True,
        empty="No treated seed is to be planted.",
        note="Test good until: nine months after the month of the test, common practice. Federal"
        " rules for interstate trade allow five (7 CFR 201.22, from memory); states differ.",
    )
    return Sheet(
        CLOCK,
        "From when until when each field's seed may be planted.",
        (table,),
        Page(landscape=True),
        Room.FIELDS,
    )


def _urgent(row: PlantBy) -> tuple[bool, date | None, str, str]:
    return (row.last is None, row.last or row.planting, row.field, row.lot)


def _clock_row(row: PlantBy) -> tuple[Content, ...]:
    return (
        row.field,
        row.lot,
        row.recipe,
        row.planting,
        row.first,
        Cell(row.last, Look.STRONG),
        row.inoculant_until,
        row.test_until,
        Cell(row.note, Look.WATCH) if row.note else None,
        None,
    )


def left_sheet(campaign: Campaign) -> Sheet:
    """Make the sheet of what is left at the end, and what may be done with it."""
    rows = [
        (
            x.what,
            x.detail,
            Cell(x.amount, measure=Measure.UNITS if x.unit == "units" else Measure.VOLUME),
            "units of seed" if x.unit == "units" else "volume",
            x.advice,
            None,
        )
        for x in campaign.leftovers
    ]
    table = Table(
        name="left",
        columns=(
            Column("what", "What"),
            Column("detail", "Recipe or container"),
            Column("amount", "Should be left", Measure.NUMBER),
            Column("unit", "Counted in"),
            Column("advice", "What may be done, in general", width=60),
            Column("real", "Really left", look=Look.FILL_IN, width=14),
        ),
        rows=tuple(rows),
        repeat_header=True,
        empty="Nothing is left.",
    )
    told = (
        "The labels of the products, the tag and your state decide what may be done; this only says"
        " what is usual. Treated seed is never food, feed or oil.",
    )
    return Sheet(
        LEFT,
        "Treated seed and product that should be left, and what may be done with it.",
        (Text(told, look=Look.STRONG), table),
        Page(landscape=True),
        Room.STOCK,
    )

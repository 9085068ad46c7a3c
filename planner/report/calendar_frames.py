"""When: treating days in the shop, and from when until when fields may be planted."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

from planner.campaign.records import CAUTIONS
from planner.report.measures import Measure
from planner.report.sheets import (
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

if TYPE_CHECKING:
    from planner.campaign.domain import Batch, Campaign, PlantBy, Portion, Run
    from planner.report.sheets import Block, Content

CALENDAR = "Shop calendar"
CLOCK = "Plant-by clock"


def calendar_sheet(campaign: Campaign) -> Sheet:
    """Make the sheet that says what is treated on which day, and what to mind before."""
    blocks: list[Block] = [_figures(campaign)]
    if campaign.notes:
        late = campaign.calendar.late > 0
        look = Look.SHORT if late else Look.WATCH
        blocks.append(Text(campaign.notes, "Mind before you start", look, bullets=True))
    blocks.append(Text(CAUTIONS, "Cautions", bullets=True))
    blocks += [_approvals(campaign), _treat_late(campaign)]
    blocks += [_runs(campaign), _changes(campaign), _days(campaign)]
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
            KeyFigure("Time for changes, min", order.minutes, Measure.MINUTES, proven),
            KeyFigure(
                "Bags too many",
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
            Column("fields", "For fields", width=40),
            Column("state", "State"),
            Column("bags", "Bag numbers"),
            Column("count", "Bags", Measure.COUNT, total=True),
            Column("units", "Seed", Measure.UNITS, total=True),
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
        fields,
        state,
        span(run.first_bag, run.last_bag),
        run.bags,
        run.units,
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


def _changes(campaign: Campaign) -> Table:
    by_name = {(b.lot, b.recipe): b for b in campaign.batches}
    rows: list[tuple[Content, ...]] = []
    held: tuple[str, ...] = ()
    recipe, last = "", None
    for run in campaign.calendar.runs:
        wanted = tuple(d.product for d in by_name[run.lot, run.recipe].draws)
        if run.recipe != recipe:
            rows.append(_change(run.day, recipe, run.recipe, held, wanted, campaign))
        held, recipe, last = wanted, run.recipe, run.day
    if last:
        rows.append(_change(last, recipe, "", held, (), campaign))
    return Table(
        name="changes",
        title="Changes of the line",
        columns=(
            Column("day", "Day", Measure.DATE),
            Column("weekday", "Weekday"),
            Column("before", "From"),
            Column("after", "To recipe"),
            Column("work", "Work"),
            Column("blank", ""),
            Column("blank_too", ""),
            Column("count", "Products", Measure.COUNT, total=True),
            Column("minutes", "Time", Measure.MINUTES, total=True),
        ),
        rows=tuple(rows),
        note=f"{campaign.shop.changeover_minutes:g} minutes for every product that enters or leaves"
        f" the line. Each new lot takes {campaign.shop.calibration_minutes:g} more to calibrate.",
    )


def _change(
    day: date,
    before: str,
    after: str,
    held: tuple[str, ...],
    wanted: tuple[str, ...],
    campaign: Campaign,
) -> tuple[Content, ...]:
    out = [p for p in held if p not in wanted]
    into = [p for p in wanted if p not in held]
    count = len(out) + len(into)
    work = [f"flush out {'; '.join(out)}"] if out else []
    work += [f"prime {'; '.join(into)}"] if into else []
    return (
        day,
        f"{day:%A}",
        before or "empty line",
        after or "empty line",
        ", then ".join(work) or "nothing",
        None,
        None,
        count,
        count * campaign.shop.changeover_minutes,
    )


def _days(campaign: Campaign) -> Table:
    return Table(
        name="days",
        title="Each day's load",
        columns=(
            Column("day", "Day", Measure.DATE),
            Column("weekday", "Weekday"),
            Column("bags", "Bags", Measure.COUNT, total=True),
            Column("minutes", "Changes and calibrations", Measure.MINUTES, total=True),
            Column("floor", "Treated bags in the shop that evening", Measure.COUNT),
        ),
        rows=tuple(
            (d.day, f"{d.day:%A}", d.bags, d.minutes, d.on_floor) for d in campaign.calendar.days
        ),
        note="A bag stands in the shop until its field is planted; without a planting date until"
        " it is cured.",
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
            Column("fields", "For fields"),
            Column("blank", ""),
            Column("bags", "Bag numbers"),
            Column("count", "Bags", Measure.COUNT),
        ),
        rows=tuple(
            (day, b.life, b.lot, b.recipe, "; ".join(p.fields), None, _bags(p), p.bags)
            for day, b, p in late
        ),
        empty="Any bag may be treated from the first day.",
    )


def _approvals(campaign: Campaign) -> Table:
    rows = [
        (c.needed_by, None, c.recipe, Cell("none yet", Look.SHORT))
        for c in sorted(campaign.cards, key=lambda c: (str(c.needed_by), c.recipe))
        if not c.approved_by
    ]
    return Table(
        name="approvals",
        title="Recipes that still need the approval of a licensed person",
        columns=(
            Column("needed", "Before", Measure.DATE),
            Column("blank", ""),
            Column("recipe", "Recipe"),
            Column("state", "Approval"),
        ),
        rows=tuple(rows),
        empty="Every recipe is approved.",
    )


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
        note="Test good until: nine months after the month of the test, as Iowa has it (Iowa Code"
        " 199.8(1)(a)). Federal rules for interstate trade allow five (7 CFR 201.22: look it up);"
        " states differ.",
    )
    return Sheet(
        CLOCK,
        "From when until when each field's seed may be planted.",
        (table,),
        Page(landscape=True),
        Room.FIELDS,
    )


def _urgent(row: PlantBy) -> tuple[date, date]:
    return (row.last or date.max, row.planting or date.max)


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

"""When: treating days in the shop, and what must be there before."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING

from planner.campaign.days import said
from planner.campaign.nearer import MOST_SOONER
from planner.campaign.records import CAUTIONS_SHORT
from planner.campaign.standing import minutes_again, nights_of, too_heavy, too_long
from planner.explain.words import count
from planner.report.measures import Measure, manner_of
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
from planner.sums import grouped

if TYPE_CHECKING:
    from planner.campaign.domain import Batch, Campaign, Card, Portion, Run
    from planner.report.sheets import Content

CALENDAR = "Shop calendar"
DAYS = "What each day needs"


def calendar_sheet(campaign: Campaign) -> Sheet:
    """Make the sheet that says what is treated on which day."""
    return Sheet(
        CALENDAR,
        "Which bags are treated on which day: as late as leaves days to spare, and first what is"
        " planted first.",
        (_figures(campaign), Text(CAUTIONS_SHORT, look=Look.STRONG), _runs(campaign)),
        Page(landscape=True),
        Room.TREATING,
    )


def days_sheet(campaign: Campaign) -> Sheet:
    """Make the sheet of what must be there before a day, and what a day holds."""
    return Sheet(
        DAYS,
        "What must be there before a day, and what each day holds.",
        (
            Text(CAUTIONS_SHORT, look=Look.STRONG),
            _approvals(campaign),
            _tests(campaign),
            _treat_late(campaign),
            _days(campaign),
        ),
        Page(landscape=True),
        Room.TREATING,
    )


def _figures(campaign: Campaign) -> KeyFigures:
    calendar, order = campaign.calendar, campaign.order
    to_do = [r for r in calendar.runs if not r.done]
    bags = sum(r.bags for r in to_do)
    units = sum(r.units for r in to_do)
    last = max((r.day for r in to_do), default=None)
    slips = [d.spare for d in calendar.days if d.spare is not None]
    slip = "" if not slips else f"all may slip {count(min(slips), 'treating day')}"
    if slips and min(slips) <= 0:
        slip = "none may slip"
    return KeyFigures(
        (
            KeyFigure("Seed to treat", units, Measure.UNITS, count(bags, "bag")),
            KeyFigure("Treating days", len({r.day for r in to_do}), Measure.COUNT, slip),
            KeyFigure("Last treating day", last, Measure.DATE),
            KeyFigure("Time for changes, min", order.minutes, Measure.MINUTES, _least(campaign)),
            KeyFigure(
                "Bags too late",
                calendar.late,
                Measure.COUNT,
                look=Look.SHORT if calendar.late else Look.OK,
            ),
        )
    )


def _least(campaign: Campaign) -> str:
    order = campaign.order
    if not order.exact:
        return f"proven floor {order.floor_minutes:.0f} min"
    if order.minutes - order.least_minutes > 0.5:
        return f"{order.least_minutes:.0f} without regard to dates"
    return "proven least"


def _runs(campaign: Campaign) -> Table:
    by_name = {(b.lot, b.recipe): b for b in campaign.batches}
    nights = [n for n in nights_of(campaign) if not n.over]
    flushed = grouped((n.since, n.product) for n in nights)
    primed = grouped((n.until, n.product) for n in nights if n.again)
    rows: list[tuple[Content, ...]] = []
    for day, of_day in groupby(campaign.calendar.runs, key=lambda r: r.day):
        runs = list(of_day)
        if day in primed:
            rows.append(_line_row(runs[0], f"first of all: prime {'; '.join(primed[day])} again"))
        rows += [_run_row(r, by_name[r.lot, r.recipe]) for r in runs]
        if day in flushed:
            rows.append(_line_row(runs[-1], f"in the evening: flush out {'; '.join(flushed[day])}"))
    return Table(
        name="runs",
        title="Day by day",
        columns=(
            Column("day", "Day", Measure.DATE),
            Column("lot", "Lot"),
            Column("recipe", "Recipe"),
            Column("fields", "For fields", width=40),
            Column("state", "State", passing=True),
            Column("bags", "Bag numbers"),
            Column("count", "Bags", Measure.COUNT, total=True),
            Column("units", "Seed", Measure.UNITS, total=True),
            Column("done", "Done (initials)", look=Look.FILL_IN, width=14),
        ),
        rows=tuple(rows),
        parts="day",
        repeat_header=True,
    )


def _run_row(run: Run, batch: Batch) -> tuple[Content, ...]:
    met = [p for p in batch.portions if run.treats(p)]
    fields = "; ".join(dict.fromkeys(f for p in met for f in p.fields)) or "spare"
    state = Cell("done", Look.OK) if run.done else Cell("to do")
    if run.early and not run.done:
        state = Cell("early", Look.WATCH)
    if run.late:
        state = Cell("LATE", Look.SHORT)
    return (
        run.day,
        run.lot,
        run.recipe,
        fields,
        state,
        span(run.first_bag, run.last_bag),
        run.bags,
        run.units,
        None,
    )


def _line_row(run: Run, work: str) -> tuple[Content, ...]:
    """What is done with the line before or after a run; amounts are on Cleaning."""
    return (run.day, "the line", run.recipe, work, "to do", None, None, None, None)


def span(first: int, last: int) -> str:
    """Say which bags.

    >>> span(3, 3), span(1, 12)
    ('3', '1 to 12')
    """
    return f"{first}" if first == last else f"{first} to {last}"


def _bags(portion: Portion) -> str:
    return span(portion.first_bag, portion.first_bag + portion.bags - 1)


def _days(campaign: Campaign) -> Table:
    again = minutes_again(campaign)
    long, heavy = too_long(campaign), too_heavy(campaign)
    return Table(
        name="days",
        title="Each day's load",
        columns=(
            Column("day", "Day", Measure.DATE),
            Column("units", "Seed", Measure.UNITS, total=True),
            Column("weight", "Weight", Measure.WEIGHT, total=True),
            Column("free", "Still untreated that evening", Measure.UNITS),
            Column("spare", "May slip, treating days", Measure.COUNT),
            Column("floor", "Bags in the shop that evening", Measure.COUNT),
            Column("bags", "Bags", Measure.COUNT, total=True),
            Column("running", "Running", Measure.MINUTES),
            Column("minutes", "Changes", Measure.MINUTES, total=True),
            *([Column("again", "Flush, prime again", Measure.MINUTES, total=True)] * bool(again)),
        ),
        rows=tuple(
            (
                d.day,
                d.units,
                _marked(d.weight, d.day in heavy),
                Cell(d.free, Look.STRONG),
                d.spare,
                d.on_floor,
                d.bags,
                d.running,
                _marked(d.minutes, d.day in long),
                *([_marked(again.get(d.day), d.day in long)] * bool(again)),
            )
            for d in campaign.calendar.days
        ),
        note=_days_note(campaign),
    )


def _days_note(campaign: Campaign) -> str:
    """Say how to read a day's load, and what is marked."""
    text = (
        "Seed that is still untreated is free to change: it can get another recipe, go to another "
        f"field or back. Before the first day that is all of it. {_limits(campaign)} A bag is in "
        "the shop until its field is planted; without a planting date until it is cured."
    )
    if minutes_again(campaign):
        text += (
            " What may not sit in the line overnight is flushed and primed again, see Cleaning: "
            f"that time comes on top. Days come up to {MOST_SOONER} days sooner where less of it "
            "is needed then."
        )
    if too_long(campaign):
        text += " Marked minutes: with all that is done on it the day is longer than Hours per day."
    if too_heavy(campaign):
        text += " Marked weight: a single bag is more than Pounds per day."
    return text


def _marked(amount: float | None, mark: bool) -> Content:
    return Cell(amount, Look.WATCH) if mark else amount


def _limits(campaign: Campaign) -> str:
    """Say what a day holds and how the days were chosen."""
    shop = campaign.shop
    manner = manner_of(shop)
    limits = []
    if shop.pounds_per_day is not None:
        limits.append(manner.say(shop.pounds_per_day, Measure.WEIGHT))
    if shop.minutes_per_day is not None and shop.seed_flow:
        flow = manner.say(shop.seed_flow, Measure.FLOW)
        limits.append(f"{shop.minutes_per_day / 60.0:g} hours at {flow}, changes included")
    if shop.bags_per_day is not None:
        limits.append(f"{shop.bags_per_day} bags (those of one unit by the batch)")
    holds = f"A day holds at most {' and '.join(limits)}. " if limits else ""
    free = count(shop.spare_days, "treating day")
    return (
        f"{holds}Where that can be, seed is treated no more than {shop.treat_within} days before"
        f" planting, and {free} are kept free before a bag's last day."
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
            Column("lot", "Lot"),
            Column("recipe", "Recipe"),
            Column("fields", "For fields"),
            Column("life", "Life", Measure.DAYS),
            Column("bags", "Bag numbers"),
            Column("count", "Bags", Measure.COUNT),
        ),
        rows=tuple(
            (day, b.lot, b.recipe, "; ".join(p.fields), b.life, _bags(p), p.bags)
            for day, b, p in late
        ),
        empty="Any bag may be treated from the first day.",
    )


def _approvals(campaign: Campaign) -> Table:
    metric = campaign.shop.metric
    rows = [
        (c.needed_by, c.recipe, Cell("none yet", Look.SHORT), _why(c, metric=metric))
        for c in sorted(campaign.cards, key=lambda c: (str(c.needed_by or ""), c.recipe))
        if not c.approved_by
    ]
    return Table(
        name="approvals",
        title="Recipes that still need the approval of a licensed person",
        columns=(
            Column("needed", "Before", Measure.DATE),
            Column("recipe", "Recipe"),
            Column("state", "Approval"),
            Column("why", "What comes then"),
        ),
        rows=tuple(rows),
        empty="Every recipe is approved.",
    )


def _why(card: Card, *, metric: bool) -> str:
    if card.order_by is not None and card.order_by == card.needed_by:
        return f"last day to order {card.bought} for it"
    if card.treated_from is None:
        return "it is first treated"
    so_far = f"treated since {said(card.treated_from, metric=metric)} without"
    return f"its next bags are treated; {so_far}" if card.needed_by else f"{so_far}: sign it now"


def _tests(campaign: Campaign) -> Table:
    """Samples to send, so that no seed is treated on a test that is too old when it is planted."""
    metric = campaign.shop.metric
    return Table(
        name="retests",
        title="Germination to be tested again before the seed is treated",
        columns=(
            Column("send", "Send sample by", Measure.DATE),
            Column("lot", "Lot"),
            Column("variety", "Variety"),
            Column("why", "Why"),
        ),
        rows=tuple(
            (
                r.send_by,
                r.lot,
                r.variety,
                f"test good until {said(r.good_until, metric=metric)}, "
                f"planting on {said(r.planting, metric=metric)}; result"
                f" wanted by {said(r.needed_by, metric=metric)}",
            )
            for r in campaign.retests
        ),
        empty="No lot with a test date is planted after its test is too old.",
        note=f"A result takes {count(campaign.shop.test_days, 'day')}. What is treated and what is"
        " not are sampled apart once both are there.",
    )

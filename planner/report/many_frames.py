"""Many seasons in one workbook: what each came to, all orders, what pooling saves, by week."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.explain.words import count, listing
from planner.plan.plan import CENT, NEARNESS, TOTAL, said_gap
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
from planner.report.spread import spread
from planner.sharing.dealer import added_up, all_metric, by_currency, by_week, copies
from planner.units.days import say_day

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    from planner.report.sheets import Block, Content
    from planner.sharing.dealer import Planned, Pooled, Week

ALL, FAULTS, WARNINGS, ORDERS = "All seasons", "Faults", "Warnings", "All orders"
POOLED, WEEKS = "One order for all", "By week"
MOST_WEEKS = 12
"""Weeks that stand side by side; more are in a list."""
WARNINGS_SHOWN = 2_000


def many_book(
    records: Sequence[Planned],
    pooled: Sequence[Pooled] = (),
    left: int = 0,
    left_out: Sequence[str] = (),
) -> Book:
    """Describe the workbook of many seasons.

    Parameters
    ----------
    pooled
        One order for all of a currency; none where fewer than two buy or it was not planned.
    left
        Seasons that were not reached.
    left_out
        Files that were not taken for seasons, in sentences.
    """
    manner = manner_of_all(records)
    sheets = [
        _first(records, pooled, _notes(records, left, left_out), manner),
        *([_faults(records)] if any(r.faults for r in records) else []),
        *([_warnings(records)] if any(r.warnings for r in records) else []),
        _orders(records, manner),
        *(_pooled(one, number, manner) for number, one in enumerate(pooled, 1)),
        _weeks(records, metric=manner.metric),
    ]
    years = sorted({r.crop_year for r in records if r.has_plan})
    season = f"Seasons of {years[0]}" if len(years) == 1 else "Many seasons"
    return Book(spread(sheets, manner), manner, farm="", season=season)


def manner_of_all(records: Sequence[Planned]) -> Manner:
    """How sums over all seasons read: in their currency, in none where there are several."""
    currencies = list(by_currency(records))
    currency = "" if len(currencies) > 1 else next(iter(currencies), "$")
    return Manner(all_metric(records), currency)


def _within(currency: str, manner: Manner) -> str:
    """What a title adds where sums are of one currency among several."""
    return "" if manner.currency else f", {currency}"


def copies_said(records: Sequence[Planned]) -> tuple[str, ...]:
    """Say which seasons are copies of one, as every sum holds each of them."""
    return tuple(
        f"{listing(names)} say the same season: all sums count it {len(names)} times. Leave "
        "copies out of the folder."
        for names in copies(records)
    )


def _notes(records: Sequence[Planned], left: int, left_out: Sequence[str]) -> tuple[str, ...]:
    """What to know before any sum is read: seasons not reached, copies, files left out."""
    more = (
        f"{count(left, 'more season')} {'was' if left == 1 else 'were'} not reached. Run the same "
        "command again to go on."
    )
    return (*((more,) if left else ()), *copies_said(records), *left_out)


def _first(
    records: Sequence[Planned], pooled: Sequence[Pooled], notes: tuple[str, ...], manner: Manner
) -> Sheet:
    said = (Text(notes, look=Look.WATCH),) if notes else ()
    blocks = (_figures(records, pooled, manner), *said, _seasons(records, manner))
    purpose = "What every season comes to. Each one's plan is in a folder of its own."
    return Sheet(ALL, purpose, blocks, Page(landscape=True), Room.PLAN)


def _figures(records: Sequence[Planned], pooled: Sequence[Pooled], manner: Manner) -> KeyFigures:
    """How many seasons have a plan, what these cost, acres short, and what one order saves."""
    planned = [r for r in records if r.has_plan]
    bad = len(records) - len(planned)
    seasons = KeyFigure(
        "Seasons planned",
        len(planned),
        Measure.COUNT,
        f"{bad} not planned: see {FAULTS}" if bad else "all of them",
        Look.SHORT if bad else Look.OK,
    )
    costs = [
        KeyFigure(
            f"{TOTAL}{_within(currency, manner)}",
            sum(r.cost for r in group),
            Measure.WHOLE_MONEY,
        )
        for currency, group in by_currency(records).items()
    ]
    land = f"Short, {manner.label(Measure.AREA)}"
    short = KeyFigure(land, sum(r.short for r in planned), Measure.AREA)
    saved = [
        KeyFigure(
            f"Saved by one order{_within(one.currency, manner)}",
            one.saved,
            Measure.WHOLE_MONEY,
            f"see {_pooled_title(number)}",
        )
        for number, one in enumerate(pooled, 1)
    ]
    return KeyFigures((seasons, *costs, short, *saved))


def _seasons(records: Sequence[Planned], manner: Manner) -> Table:
    """A row a season: its plan, land, cost, order, warnings and faults."""
    columns = (
        Column("name", "Season", width=26),
        Column("farm", "Farm", width=26),
        Column("outcome", "Plan", width=18),
        Column("acres", "Land", Measure.AREA, total=True),
        Column("short", "Short", Measure.AREA, total=True),
        Column("cost", TOTAL, Measure.MONEY, total=bool(manner.currency)),
        *_currency(manner),
        Column("gap", NEARNESS, Measure.PERCENT, decimals=2),
        Column("containers", "Containers", Measure.COUNT, total=True),
        Column("order", "Order, net", Measure.MONEY, total=bool(manner.currency)),
        Column("warnings", "Warnings", Measure.COUNT, total=True),
        Column("faults", "Faults", Measure.COUNT, total=True),
    )
    return Table(
        "seasons",
        columns,
        tuple(
            (*_outcome(r, manner), len(r.warnings) or None, len(r.faults) or None) for r in records
        ),
        filter=True,
        repeat_header=True,
        note="Order, net: containers and freight, less discounts and the worth of what is "
        "bought and left over.",
    )


def _outcome(record: Planned, manner: Manner) -> tuple[Content, ...]:
    """The cells of a season up to what it orders; those of its plan are blank without one."""
    currency = () if manner.currency else (record.currency,)
    if not record.has_plan:
        blank = (None,) * (6 + len(currency))
        return (record.name, record.farm, Cell(record.words, Look.SHORT), *blank)
    return (
        record.name,
        record.farm,
        record.words,
        record.acres,
        Cell(record.short, Look.SHORT) if record.short else None,
        record.cost,
        *currency,
        said_gap(record.gap),
        sum(x.count for x in record.order),
        record.order_cost,
    )


def _currency(manner: Manner) -> list[Column]:
    """Column that says of what currency a row's money is, where there are several."""
    return [] if manner.currency else [Column("currency", "Currency", width=12)]


def _faults(records: Sequence[Planned]) -> Sheet:
    rows = tuple((r.name, text) for r in records for text in r.faults)
    return _said(FAULTS, "Why seasons could not be planned.", "Fault", rows)


def _warnings(records: Sequence[Planned]) -> Sheet:
    rows = tuple((r.name, text) for r in records for text in r.warnings)
    return _said(WARNINGS, "What each season's plan warns of.", "Warning", rows[:WARNINGS_SHOWN])


def _said(title: str, purpose: str, header: str, rows: tuple[tuple[Content, ...], ...]) -> Sheet:
    columns = (Column("name", "Season", width=30), Column("text", header, width=100))
    table = Table("lines", columns, rows, filter=True, repeat_header=True)
    return Sheet(title, purpose, (table,), Page(landscape=True), Room.NOTES)


def _orders(records: Sequence[Planned], manner: Manner) -> Sheet:
    rows: tuple[tuple[Content, ...], ...] = tuple(
        (x.product, x.container, x.supplier, x.seasons, x.count, x.cost)
        + (() if manner.currency else (x.currency,))
        for x in added_up(records)
    )
    table = Table(
        "orders",
        (
            Column("product", "Product", width=28),
            Column("container", "Container", width=22),
            Column("supplier", "Supplier", width=24),
            Column("seasons", "Seasons", Measure.COUNT),
            Column("count", "Count", Measure.COUNT, total=True),
            Column("cost", "List cost", Measure.MONEY, total=bool(manner.currency)),
            *_currency(manner),
        ),
        rows,
        filter=True,
        repeat_header=True,
        empty="No season orders anything.",
    )
    purpose = "The orders of all seasons added up, each season ordering for itself."
    blocks = (table, _seed(records, manner)) if any(r.seed for r in records) else (table,)
    return Sheet(ORDERS, purpose, blocks, Page(landscape=True), Room.ORDER)


def _seed(records: Sequence[Planned], manner: Manner) -> Table:
    """A row for every lot that a season buys; lots of one variety stand together."""
    bought = [(x, r) for r in records for x in r.seed]
    rows: list[tuple[Content, ...]] = [
        (x.variety, x.lot, x.seller or None, r.name, x.bags, x.units, x.cost)
        + (() if manner.currency else (r.currency,))
        for x, r in sorted(bought, key=lambda pair: (*pair[0][:3], pair[1].name))
    ]
    return Table(
        "seed",
        (
            Column("variety", "Variety", width=28),
            Column("lot", "Lot", width=22),
            Column("seller", "Seller", width=24),
            Column("name", "Season"),
            Column("bags", "Bags", Measure.COUNT, total=True),
            Column("units", "Seed", Measure.UNITS, total=True),
            Column("cost", "Cost", Measure.MONEY, total=bool(manner.currency)),
            *_currency(manner),
        ),
        tuple(rows),
        "Seed to buy",
        repeat_header=True,
    )


def _pooled(pooled: Pooled, number: int, manner: Manner) -> Sheet:
    """What one order for all seasons of a currency saves, that order, and each season's share."""
    within = _within(pooled.currency, manner)
    gain = KeyFigures(
        (
            KeyFigure(f"One order for each{within}", pooled.apart, Measure.MONEY, "added up"),
            KeyFigure(f"One order for all{within}", pooled.cost, Measure.MONEY, "net, as below"),
            KeyFigure(
                "Saved",
                pooled.saved,
                Measure.MONEY,
                look=Look.OK if pooled.saved >= 0 else Look.SHORT,
            ),
        )
    )
    over = [name for name, share, own in pooled.shares if share - own >= CENT / 2]
    said = (
        *_dearer_said(pooled, over, manner),
        "Seed and treating stay as each season plans them; only the order is put together: whole "
        "containers over the sum of the needs, with price breaks, free freight and discounts "
        "reached together.",
        "Containers stay whole: that works where one treater treats for all. Filling product into "
        "other containers for a customer is regulated as repackaging.",
        *pooled.notes,
    )
    purpose = "What one order for all seasons would save, and each season's share of it."
    if within:
        purpose = f"Seasons in {pooled.currency}: w{purpose[1:]}"
    blocks = (gain, Text(said, bullets=True), _pooled_order(pooled), _shares(pooled, over))
    return Sheet(_pooled_title(number), purpose, blocks, Page(landscape=True), Room.ORDER)


def _pooled_order(pooled: Pooled) -> Table:
    return Table(
        "order",
        (
            Column("product", "Product", width=28),
            Column("container", "Container", width=22),
            Column("supplier", "Supplier", width=24),
            Column("count", "Count", Measure.COUNT, total=True),
            Column("price", "Price each", Measure.MONEY),
            Column("cost", "List cost", Measure.MONEY, total=True),
        ),
        tuple(
            (x.product, x.container, x.supplier, x.count, x.unit_price, x.cost)
            for x in pooled.order
        ),
        "The order",
    )


def _shares(pooled: Pooled, over: Sequence[str]) -> Table:
    """Each season's share beside its own order; `over` are those whose share is more."""
    return Table(
        "shares",
        (
            Column("name", "Season", width=28),
            Column("own", "Own order", Measure.MONEY, total=True),
            Column("share", "Share of one order", Measure.MONEY, total=True),
            Column("saved", "Saved", Measure.MONEY, total=True),
        ),
        tuple(
            (name, own, share, Cell(own - share, Look.SHORT if name in over else Look.PLAIN))
            for name, share, own in pooled.shares
        ),
        "Each season's share, by what it uses",
        repeat_header=True,
        note="Net: containers and freight, less discounts and the worth of what is left over.",
    )


def _dearer_said(pooled: Pooled, over: Sequence[str], manner: Manner) -> tuple[str, ...]:
    """Say where one order does not pay for all, and what to do then."""
    if pooled.saved < 0:
        return ("One order for all costs more than one for each: order apart.",)
    if not over:
        return ()
    part = manner.say(pooled.cost / pooled.apart, Measure.PERCENT)
    return (
        f"{listing(over)} would pay more by use than for {'its' if len(over) == 1 else 'their'} "
        "own order: by use, freight and what is left over of the whole order fall on those who "
        f"use most. If each pays the same part of its own order, {part}, nobody pays more.",
    )


def _pooled_title(number: int) -> str:
    return POOLED if number == 1 else f"{POOLED} {number}"


def _weeks(records: Sequence[Planned], *, metric: bool) -> Sheet:
    weeks = by_week(records)
    mondays = sorted({w.monday for w in weeks})
    blocks: list[Block] = []
    if mondays and len(mondays) <= MOST_WEEKS:
        blocks.append(_grid(weeks, metric=metric))
    blocks.append(
        Table(
            "list",
            (
                Column("week", "Week of", Measure.DATE, width=16),
                Column("product", "Product", width=28),
                Column("container", "Container", width=24),
                Column("count", "Containers", Measure.COUNT, total=True),
                Column("who", "Seasons", width=50),
            ),
            tuple((w.monday, w.product, w.container, w.count, _names(w.seasons)) for w in weeks),
            "Which container goes on the line in which week",
            filter=True,
            repeat_header=True,
            empty="Nothing is treated in any season.",
        )
    )
    purpose = "When which container is needed, over all seasons, by their treating calendars."
    return Sheet(WEEKS, purpose, tuple(blocks), Page(landscape=True), Room.TREATING)


def _names(names: Sequence[str], most: int = 5) -> str:
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return ", ".join(names[:most]) + more


def _grid(weeks: Sequence[Week], *, metric: bool) -> Table:
    """Containers of each kind, a column a week."""
    mondays = sorted({w.monday for w in weeks})
    kinds = list(dict.fromkeys((w.product, w.container) for w in sorted(weeks, key=_kind)))
    counts = {(w.product, w.container, w.monday): w.count for w in weeks}
    rows = tuple(
        (
            f"{product}, {container}",
            *(counts.get((product, container, day)) for day in mondays),
            sum(counts.get((product, container, day), 0) for day in mondays),
        )
        for product, container in kinds
    )
    years = [day.year for day in mondays]
    columns = (
        Column("kind", "Product and container", width=36),
        *(
            Column(f"week_{i}", _day(day, years, metric=metric), Measure.COUNT, width=9)
            for i, day in enumerate(mondays)
        ),
        Column("all", "All", Measure.COUNT),
    )
    return Table("grid", columns, rows, f"Containers by week, Mondays of {_span(years)}")


def _day(day: date, years: Sequence[int], *, metric: bool) -> str:
    """A day, with its year where there are several."""
    whole = say_day(day, metric=metric)
    if years[0] != years[-1]:
        return whole
    return whole.removeprefix(f"{day.year}-").removesuffix(f"/{day.year}")


def _span(years: Sequence[int]) -> str:
    return str(years[0]) if years[0] == years[-1] else f"{years[0]} to {years[-1]}"


def _kind(week: Week) -> tuple[str, str]:
    return week.product, week.container

"""The audit of a campaign's days: what a day holds, what is late, early, free, and who was asked.

It counts from batches and runs in plain arithmetic, without the code that put them on days.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from datetime import date, timedelta
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

    from planner.campaign.domain import Batch, Campaign, Portion, Run, Shop

SLACK = 1e-6
"""Relative slack for sums of floats; the plan's own audit allows the same."""


def check_days(campaign: Campaign) -> list[str]:
    """Everything about days that does not add up."""
    return [
        *_open_days(campaign),
        *_capacity(campaign),
        *_floor(campaign),
        *_late_and_early(campaign),
        *_reported_by_day(campaign),
        *_order_of_the_plan(campaign),
        *_asked_in_time(campaign),
    ]


def _batches(campaign: Campaign) -> dict[tuple[str, str], Batch]:
    return {(b.lot, b.recipe): b for b in campaign.batches}


def _planned(campaign: Campaign) -> Iterator[tuple[Run, Batch]]:
    """Runs still to do that belong to a batch; others are reported elsewhere."""
    batches = _batches(campaign)
    for run in campaign.calendar.runs:
        if not run.done and (run.lot, run.recipe) in batches:
            yield run, batches[run.lot, run.recipe]


def _met(run: Run, batch: Batch) -> list[Portion]:
    return [
        p
        for p in batch.portions
        if run.first_bag < p.first_bag + p.bags and p.first_bag <= run.last_bag
    ]


def _where(run: Run) -> str:
    return f"{run.lot}, {run.recipe}"


def _open_days(campaign: Campaign) -> Iterator[str]:
    """Nothing is treated on a day off or before the first day."""
    for run in campaign.calendar.runs:
        shut = run.day in campaign.shop.days_off or run.day < campaign.shop.first_day
        if shut and not run.done:
            yield f"{_where(run)}: treated on {run.day}, which is not open"


def _capacity(campaign: Campaign) -> Iterator[str]:
    """No day holds more bags, pounds or minutes than the shop gets through.

    One bag is treated on a day even where it is more than a day's pounds or minutes. Bags of one
    unit beside larger ones count as one bag for each lot and recipe on a day.
    """
    shop = campaign.shop
    bags: Counter[date] = Counter()
    pounds: dict[date, float] = defaultdict(float)
    count: Counter[date] = Counter()
    small: set[tuple[date, str, str]] = set()
    largest = max((b.units_per_bag for b in campaign.batches), default=1.0)
    for run, batch in _planned(campaign):
        if run.day == date.max:  # the last day that there is takes whatever is left
            continue
        count[run.day] += run.bags
        pounds[run.day] += run.units * batch.unit_weight
        if batch.units_per_bag <= 1.0 < largest:
            small.add((run.day, run.lot, run.recipe))
        else:
            bags[run.day] += run.bags
    for day, *_ in small:
        bags[day] += 1
    if shop.bags_per_day is not None:
        yield from (f"{n} bags on {d}" for d, n in bags.items() if n > shop.bags_per_day)
    if shop.pounds_per_day is not None:
        for day, weight in pounds.items():
            if count[day] > 1 and weight > shop.pounds_per_day * (1.0 + SLACK):
                yield f"{weight:.0f} lb on {day}"
    if shop.minutes_per_day is not None and shop.seed_flow:
        minutes = _change_minutes(campaign)
        for day, weight in pounds.items():
            taken = weight / shop.seed_flow + minutes[day]
            if count[day] > 1 and taken > shop.minutes_per_day * (1.0 + SLACK):
                yield f"{taken:.0f} minutes on {day}"


def _change_minutes(campaign: Campaign) -> dict[date, float]:
    """Minutes for changes and calibrations before the runs of each day; the last flush aside."""
    shop, batches = campaign.shop, _batches(campaign)
    on_line: set[str] = set()
    lot = ""
    found: dict[date, float] = defaultdict(float)
    for run in campaign.calendar.runs:
        wanted = {d.product for d in batches[run.lot, run.recipe].draws}
        found[run.day] += shop.changeover_minutes * len(on_line ^ wanted)
        found[run.day] += shop.calibration_minutes if run.lot != lot else 0.0
        on_line, lot = wanted, run.lot
    return found


def _floor(campaign: Campaign) -> Iterator[str]:
    """Never more treated bags in the shop than find room."""
    space = campaign.shop.floor_space
    if space is None:
        return
    planned = {r.day for r, _ in _planned(campaign)} - {date.max}
    for day in campaign.calendar.days:
        if day.on_floor > space and day.day in planned:
            yield f"{day.on_floor} bags on the floor on {day.day}"


def _late_and_early(campaign: Campaign) -> Iterator[str]:
    """All that comes too late or too soon is reported; nothing is treated too soon to live."""
    shop = campaign.shop
    late = early = 0
    for run, batch in _planned(campaign):
        late += run.bags if run.late else 0
        early += run.bags if run.early else 0
        for p in _met(run, batch):
            if p.earliest and run.day < p.earliest:
                yield f"{_where(run)}: treated on {run.day}, before {p.earliest}"
            past = (p.latest and run.day > p.latest) or (shop.done_by and run.day > shop.done_by)
            if bool(past) != run.late:
                yield f"{_where(run)}: late is reported wrong on {run.day}"
            waits = (p.planting - run.day).days if p.planting else 0
            if (waits > shop.treat_within) != run.early:
                yield f"{_where(run)}: the days to planting are reported wrong on {run.day}"
    if late != campaign.calendar.late:
        yield f"{late} bags late, {campaign.calendar.late} reported"
    if early != campaign.calendar.early:
        yield f"{early} bags early, {campaign.calendar.early} reported"


def _reported_by_day(campaign: Campaign) -> Iterator[str]:
    """Units treated and still free, and the days by which all may slip, are reported right."""
    batches = _batches(campaign)
    units: dict[date, float] = defaultdict(float)
    for run in campaign.calendar.runs:
        units[run.day] += run.units
    free = sum(b.units for b in batches.values())
    for day in campaign.calendar.days:
        free -= units[day.day]
        scale = max(1.0, abs(free), units[day.day])
        if abs(day.free - max(0.0, free)) > SLACK * scale:
            yield f"{day.free} units free after {day.day}, {free} untreated"
        if day.spare is not None and not _may_slip(campaign, day.day, day.spare):
            yield f"{day.day}: it cannot slip {day.spare} days"


def _may_slip(campaign: Campaign, since: date, days: int) -> bool:
    """Whether everything from a day on is in time when each day comes that many open days later."""
    shop = campaign.shop
    off = set(shop.days_off)
    for run, batch in _planned(campaign):
        if run.day < since:
            continue
        limits = [p.latest for p in _met(run, batch) if p.latest]
        limits += [shop.done_by] if shop.done_by else []
        if not limits:
            continue
        room = (min(limits) - run.day).days
        room -= sum(run.day < d <= min(limits) for d in off)
        if room < days:
            return False
    return True


def _order_of_the_plan(campaign: Campaign) -> Iterator[str]:
    """Where it is reported that the plan's order is kept, it is."""
    if not campaign.order.kept:
        return
    wanted = {r.recipe for r, _ in _planned(campaign)}
    ran = list(dict.fromkeys(r.recipe for r, _ in _planned(campaign)))
    again = [r.recipe for r, _ in _planned(campaign)]
    stretches = sum(1 for a, b in zip(["", *again], again, strict=False) if a != b)
    order = [r for r in campaign.planned_order if r in wanted]
    if ran != order or stretches > len(wanted):
        yield f"recipes run as {ran}, planned {order}"


def _asked_in_time(campaign: Campaign) -> Iterator[str]:
    """Approvals come before orders and treating, samples go out in time, for every lot in need."""
    shop: Shop = campaign.shop
    to_come: dict[str, date] = {}
    done_last: date | None = None
    first_of_lot: dict[str, date] = {}
    for run in campaign.calendar.runs:
        if run.done:
            done_last = max(run.day, done_last or run.day)
        else:
            to_come[run.recipe] = min(run.day, to_come.get(run.recipe, run.day))
            first_of_lot[run.lot] = min(run.day, first_of_lot.get(run.lot, run.day))
    now = campaign.begins or done_last or shop.plan_date
    for card in campaign.cards:
        wanted = to_come.get(card.recipe)
        if wanted and card.order_by and (now is None or card.order_by >= now):
            wanted = min(wanted, card.order_by)
        if card.needed_by != wanted:
            yield f"{card.recipe}: approval is asked for by {card.needed_by}"
    asked = {r.lot: r for r in campaign.retests}
    good = {t.lot: t.good_until for t in campaign.tests}
    for share in campaign.shares:
        until = good.get(share.lot)
        if until and share.planting and share.planting > until and share.lot not in asked:
            yield f"{share.lot}: its test is too old for {share.field}, and no new one is asked for"
    for lot, retest in asked.items():
        latest = first_of_lot.get(lot, retest.planting)
        wait = timedelta(days=shop.test_days)
        if retest.needed_by > latest or retest.needed_by - retest.send_by < min(
            wait, retest.needed_by - date.min
        ):
            yield f"{lot}: the sample goes out on {retest.send_by}, too late"

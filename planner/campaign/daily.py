"""Day by day: what is treated, how long it takes, what it leaves on the floor and untreated."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from planner.campaign.changes import change_minutes, products_of
from planner.campaign.days import LAST
from planner.campaign.domain import Day
from planner.campaign.placer import Placer, due, leaves
from planner.sums import summed

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import date

    from planner.campaign.domain import Batch, Run, Shop


def leaving(run: Run, batch: Batch, shop: Shop) -> list[tuple[int, int]]:
    """Days on which the bags of a run leave the floor, and how many."""
    found = []
    for p in batch.portions:
        first = max(run.first_bag, p.first_bag)
        last = min(run.last_bag, p.first_bag + p.bags - 1)
        if first <= last:
            found.append((leaves(run.day.toordinal(), p, shop), last - first + 1))
    return found


def days(all_runs: Sequence[Run], batches: Iterable[Batch], shop: Shop) -> tuple[Day, ...]:
    """Day by day: bags, what starts, minutes for changes, bags on the floor in the evening."""
    by_name = {(b.lot, b.recipe): b for b in batches}
    going: Counter[int] = Counter()
    for run in all_runs:
        for leave, count in leaving(run, by_name[run.lot, run.recipe], shop):
            going[leave] += count
    by_leave = sorted(going.items())
    minutes, starts = _changes(all_runs, by_name, shop)
    bags: Counter[date] = Counter()
    for run in all_runs:
        bags[run.day] += run.bags
    units = summed((run.day, run.units) for run in all_runs)
    weight = summed(
        (run.day, run.units * by_name[run.lot, run.recipe].unit_weight) for run in all_runs
    )
    free = sum(b.units for b in by_name.values())
    slips = _spare(all_runs, by_name, shop)
    found, treated, gone, index = [], 0, 0, 0
    for day in sorted(bags):
        treated += bags[day]
        while index < len(by_leave) and by_leave[index][0] <= day.toordinal():
            gone += by_leave[index][1]
            index += 1
        free -= units[day]
        found.append(
            Day(
                day=day,
                bags=bags[day],
                changes=tuple(starts[day]),
                minutes=minutes[day],
                on_floor=treated - gone,
                units=units[day],
                weight=weight[day],
                running=weight[day] / shop.seed_flow if shop.seed_flow else None,
                free=max(0.0, round(free, 6)),
                spare=slips.get(day),
            )
        )
    return tuple(found)


def _changes(
    all_runs: Sequence[Run], by_name: dict[tuple[str, str], Batch], shop: Shop
) -> tuple[dict[date, float], dict[date, list[str]]]:
    """Minutes and recipes that start, by day; the line is flushed after the last run."""
    minutes = {r.day: 0.0 for r in all_runs}
    starts: dict[date, list[str]] = {r.day: [] for r in all_runs}
    products: frozenset[str] = frozenset()
    before: Run | None = None
    for run in all_runs:
        wanted = products_of(by_name[run.lot, run.recipe])
        minutes[run.day] += change_minutes(products, wanted, shop)
        if before is None or before.lot != run.lot:
            minutes[run.day] += shop.calibration_minutes
        if before is None or before.recipe != run.recipe:
            starts[run.day].append(run.recipe)
        products, before = wanted, run
    if before:
        minutes[before.day] += change_minutes(products, frozenset(), shop)
    return minutes, starts


def _spare(
    all_runs: Sequence[Run], by_name: dict[tuple[str, str], Batch], shop: Shop
) -> dict[date, int]:
    """Treating days by which each day and all after it may slip; none where nothing is due."""
    placer = Placer(shop)
    found: dict[date, int] = {}
    least: int | None = None
    for run in sorted((r for r in all_runs if not r.done), key=lambda r: r.day, reverse=True):
        limits = [due(p, shop) for p in by_name[run.lot, run.recipe].portions if run.treats(p)]
        limit = min(limits, default=LAST)
        if limit < LAST:
            day = run.day.toordinal()
            open_days = limit - day - sum(day < d <= limit for d in placer.off)
            least = open_days if least is None else min(least, open_days)
        if least is not None:
            found[run.day] = least
    return found

"""Rules about days and what the shop gets through; each returns the faults that it finds."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

from planner.season.farm import setting_line, settings

if TYPE_CHECKING:
    from collections.abc import Iterator

    from planner.errors import Fault
    from planner.season.match import Tables

CURE_DAYS = 2.0
"""Cure days where the setting is blank."""


def treating_days_are_in_order(tables: Tables) -> Iterator[Fault]:
    """Treating is not to be done before it begins."""
    table = tables["Farm"]
    values = settings(table)
    begin: date | None = values.get("first_treating_day") or values.get("plan_date")  # type: ignore[assignment]
    end: date | None = values.get("treating_done_by")  # type: ignore[assignment]
    if begin and end and end < begin:
        line = setting_line(table, "treating_done_by")
        yield table.fault(line, "value", f"for Treating done by a day from {begin} on")


def capacity_in_hours_has_a_flow(tables: Tables) -> Iterator[Fault]:
    """Hours per day limit a day only together with Seed flow."""
    table = tables["Farm"]
    values = settings(table)
    bad = any("value" in line.bad for line in table.lines)
    if values.get("hours_per_day") is not None and values.get("seed_flow") is None and not bad:
        line = setting_line(table, "hours_per_day")
        remedy = "add it, or give Pounds per day instead of hours"
        yield table.fault(line, "value", "a Seed flow on Farm, as Hours per day is given", remedy)


def seed_can_cure_within(tables: Tables) -> Iterator[Fault]:
    """Seed has time to cure between treating and planting."""
    table = tables["Farm"]
    values = settings(table)
    within, cure = values.get("treat_within"), values.get("cure_days", CURE_DAYS)
    if isinstance(within, float) and isinstance(cure, float) and within < cure:
        line = setting_line(table, "treat_within")
        yield table.fault(line, "value", f"for Treat within no less than Cure days, {cure:g}")


def planting_is_not_too_late(tables: Tables) -> Iterator[Fault]:
    """No field is planned to be planted after the last planting day."""
    last = settings(tables["Farm"]).get("last_planting_day")
    table = tables["Fields"]
    for line in table.lines:
        planting = line.get("planting_date")
        if isinstance(last, date) and isinstance(planting, date) and planting > last:
            expected = f"no later than Last planting day on Farm, {last}"
            yield table.fault(line, "planting_date", expected, "change one of the two")


def paid_after_ordering(tables: Tables) -> Iterator[Fault]:
    """No supplier is to be paid before the last day to order."""
    table = tables["Suppliers"]
    for line in table.lines:
        order, pay = line.get("order_by"), line.get("pay_by")
        if isinstance(order, date) and isinstance(pay, date) and pay < order:
            yield table.fault(line, "pay_by", f"no day before Order by, {order}")


DAY_RULES = (
    treating_days_are_in_order,
    capacity_in_hours_has_a_flow,
    seed_can_cure_within,
    planting_is_not_too_late,
    paid_after_ordering,
)

"""What warnings and questions name, as the farm writes it: places, money, volumes, days."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.units import Measure, in_unit, say_day, say_money

if TYPE_CHECKING:
    from datetime import date

    from planner.season.domain import Row, Season


def where(row: Row) -> str:
    """Place of a record in the input, in brackets; empty if it was not read from a sheet."""
    return f" ({row.sheet}, row {row.number})" if row.number else ""


def money(amount: float, season: Season) -> str:
    """Money in the farm's currency, set off by a space where that is a word."""
    return say_money(f"{amount:z,.2f}", season.farm.currency)


def volume(floz: float, season: Season, decimals: int = 0) -> str:
    """Volume in fl oz, or in mL on a metric farm, in L from one on."""
    if season.farm.metric:
        liters = in_unit(floz, Measure.VOLUME, "L")
        if liters >= 0.9995:  # or mL would say 1,000 of them
            return f"{liters:,.2f}".rstrip("0").rstrip(".") + " L"
        return f"{in_unit(floz, Measure.VOLUME, 'mL'):,.0f} mL"
    return f"{floz:,.{decimals}f} fl oz"


def day_of(day: date, season: Season) -> str:
    """Write a day as the farm does."""
    return say_day(day, metric=season.farm.metric)

"""Cells changed by percent: ``-8%`` of what stands there, in the unit that it is in."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from planner.season.cells import Setting, read_cell
from planner.season.schema import Kind
from planner.units import Measure, find_unit
from planner.units.numbers import number_and_rest

if TYPE_CHECKING:
    from planner.season.schema import Column

PERCENT = re.compile(r"([+-]\s*\d+(?:\.\d*)?|[+-]\s*\.\d+)\s*%", re.ASCII)
"""A change by percent: the sign tells it from a value in percent."""


NUMBERS = frozenset({Kind.NUMBER, Kind.COUNT, Kind.PERCENT, Kind.QUANTITY, Kind.RATE})
"""Kinds of columns of which the numbers can be changed by percent."""


def change_of(text: str) -> float | None:
    """Share by which a text changes a number; None if it is no change by percent.

    >>> change_of("-8 %"), change_of("8%"), change_of("+12.5%")
    (-0.08, None, 0.125)
    """
    found = PERCENT.fullmatch(text.replace("\N{MINUS SIGN}", "-"))
    return float("".join(found[1].split())) / 100.0 if found else None


def default_text(column: Column) -> str:
    """What a blank cell means, as text; empty where that is no number."""
    if isinstance(column.default, bool) or not isinstance(column.default, (int, float)):
        return ""
    if column.kind is Kind.PERCENT:
        return f"{column.default * 100.0:.10g}%"
    return f"{column.default:.10g} {column.measure.value if column.measure else ''}".strip()


def shifted(text: str, column: Column, share: float, setting: Setting) -> str:
    """Change the number in a cell by a share of itself; a percent by percentage points.

    Raises
    ------
    Unreadable
        When the text, or what it becomes, can't be read.

    >>> from planner.season.schema import sheet
    >>> shifted("$1,450.00", sheet("Containers").column("Price"), -0.08, Setting("$"))
    '$1334'
    >>> shifted("92%", sheet("Seed lots").column("Germination"), -0.02, Setting(""))
    '90%'
    """
    value = read_cell(text, column, setting)
    if column.kind is Kind.PERCENT and isinstance(value, float):
        new = f"{(value + share) * 100.0:.10g}%"
    else:
        before = text[: len(text) - len(text.lstrip(setting.money + " "))]
        number, rest = number_and_rest(text[len(before) :], setting.comma)
        unit = rest or setting.unit
        is_size = column.measure is Measure.SEED_SIZE
        heavier = is_size and find_unit(unit, Measure.SEED_SIZE).upside_down  # g/1000 seeds
        changed = number / (1.0 + share) if heavier else number * (1.0 + share)
        new = f"{before}{changed:.10g}{' ' if rest else ''}{rest}"
    read_cell(new, column, setting)
    return new

"""Units of measure: a closed list of spellings, and text to numbers in working units.

Factors come from one pint registry with our own few definitions, made on first use. Text from a
user never reaches pint: it is looked up in the closed list, and what is not there is refused
together with what would do.
"""

from planner.units.days import say_day
from planner.units.factors import Unit, find_unit, in_unit, is_bare_ounces, is_rate_unit
from planner.units.measures import ACCEPTED, RATES, Measure
from planner.units.money import say_money
from planner.units.numbers import MOST, Unreadable, read_number, refuse
from planner.units.quantities import (
    check_unit,
    read_land,
    read_percent,
    read_quantity,
    read_rate,
)

__all__ = [
    "ACCEPTED",
    "MOST",
    "RATES",
    "Measure",
    "Unit",
    "Unreadable",
    "check_unit",
    "find_unit",
    "in_unit",
    "is_bare_ounces",
    "is_rate_unit",
    "read_land",
    "read_number",
    "read_percent",
    "read_quantity",
    "read_rate",
    "refuse",
    "say_day",
    "say_money",
]

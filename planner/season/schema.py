"""Every sheet, column and setting of a season's input: one table that drives all else.

The reader, the blank workbook and the documentation are made from it. A column says what kind of
thing is in it, in which unit a bare number counts, what a blank cell means, which values are
allowed and, in one line, what to fill in. Values of `default`, `low` and `high` are in working
units (see `planner.season.domain`); percents are fractions of one.
"""

from __future__ import annotations

from functools import lru_cache

from planner.season.columns import PRESSURES, RATING_WORDS, RATINGS, Column, Kind, Sheet
from planner.season.sheets_farm import DAYS_OFF, FARM, SETTINGS, WHAT_IF
from planner.season.sheets_growers import GROWERS
from planner.season.sheets_products import (
    CONTAINERS,
    DISCOUNTS,
    KINDS,
    ORDERED_SO_FAR,
    PRODUCTS,
    RECIPE_APPROVALS,
    RECIPES,
    SUPPLIERS,
)
from planner.season.sheets_protection import (
    ACTIVE_LIMITS,
    ACTIVES,
    PROTECTION,
    RATING_CONTROL,
    THREATS,
    TOLERANCE,
)
from planner.season.sheets_seed import FIELDS, MATURITY_SPREAD, SEED_LOTS, TREATED_SO_FAR
from planner.season.sheets_unknowns import UNKNOWNS

__all__ = [
    "HELP_SHEETS",
    "KINDS",
    "PRESSURES",
    "RATINGS",
    "RATING_WORDS",
    "SETTINGS",
    "SHEETS",
    "Column",
    "Kind",
    "Sheet",
    "sheet",
]

SHEETS = (
    FARM,
    FIELDS,
    SEED_LOTS,
    PRODUCTS,
    CONTAINERS,
    RECIPES,
    PROTECTION,
    THREATS,
    TOLERANCE,
    RATING_CONTROL,
    ACTIVES,
    ACTIVE_LIMITS,
    SUPPLIERS,
    DISCOUNTS,
    MATURITY_SPREAD,
    TREATED_SO_FAR,
    ORDERED_SO_FAR,
    DAYS_OFF,
    RECIPE_APPROVALS,
    GROWERS,
    UNKNOWNS,
    WHAT_IF,
)
"""All sheets, in the order in which a season is filled in."""

HELP_SHEETS = ("Start here", "Live check", "Lists", "Faults")
"""Sheets of the workbook that we write beside them and that hold no input; ignored."""


@lru_cache
def sheet(name: str) -> Sheet:
    """Return the sheet of this name.

    Raises
    ------
    KeyError
        When there is none.
    """
    for each in SHEETS:
        if each.name == name:
            return each
    raise KeyError(name)

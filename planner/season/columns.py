"""What the input's sheets are described with: kinds of cells, columns, sheets."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from planner.units import Measure

PRESSURES = ("none", "low", "moderate", "high")
RATINGS = ("P", "F", "G", "VG", "E")
RATING_WORDS = (
    ("poor", "P"),
    ("fair", "F"),
    ("good", "G"),
    ("very good", "VG"),
    ("excellent", "E"),
)


class Kind(Enum):
    """What is in a cell."""

    TEXT = "text"
    """Any words."""
    NAME = "name"
    """The name of the thing that the row describes."""
    REF = "name from another sheet"
    """A name that is in the column that `refers` tells."""
    TEXTS = "list"
    """Words, separated by ``;``."""
    REFS = "list of names from another sheet"
    """Names from the column that `refers` tells, separated by ``;``."""
    CHOICE = "choice"
    """One of `choices`."""
    YES_NO = "yes or no"
    NUMBER = "number"
    """A number without a unit."""
    COUNT = "whole number"
    YEAR = "year"
    PERCENT = "percent"
    QUANTITY = "quantity"
    """A number in a unit of `measure`."""
    RATE = "rate of product on seed"
    """A number with one of the units of a recipe's rate."""
    DATE = "date"


@dataclass(frozen=True, slots=True, eq=False)
class Column:
    """One thing to fill in: a column of a sheet, or a setting of the sheet Farm."""

    name: str
    kind: Kind
    key: str
    """Name of the reader's value, where there is one also of the record's attribute."""
    meaning: str
    """One line of guidance for whoever fills it in."""
    example: str = ""
    must: bool = False
    """Whether every row must fill it."""
    measure: Measure | None = None
    """What a quantity measures."""
    unit: str = ""
    """Unit of a bare number; empty where the cell or the header must say it."""
    shown: str = ""
    """Unit that the header of a blank workbook shows (in brackets) and that bare numbers then
    have; empty for none."""
    default: object = None
    """What a blank cell means."""
    blank: str = ""
    """The same in words, where `default` does not say it."""
    low: float | None = None
    high: float | None = None
    above_low: bool = False
    """Whether `low` itself is not allowed."""
    outside: str = ""
    """What to do in place of a number that is out of bounds, where that is not clear."""
    choices: tuple[str, ...] = ()
    """Allowed values, as they are shown."""
    words: tuple[tuple[str, str], ...] = ()
    """Further words for choices: (word, choice)."""
    other_words: tuple[tuple[str, str], ...] = ()
    """Words that are no choice, and what to do instead: (word, remedy)."""
    closed: bool = True
    """Whether other values than `choices` are faults."""
    refers: tuple[str, str] | None = None
    """(sheet, column) where the name must stand."""
    aliases: tuple[str, ...] = ()
    """Other headers that mean this column; a unit in brackets is the unit of bare numbers."""

    @property
    def header(self) -> str:
        """Header as a blank workbook shows it.

        >>> percent("Emergence", "emergence", "Share that comes up.").header
        'Emergence (%)'
        """
        return f"{self.name} ({self.shown})" if self.shown else self.name

    @property
    def blank_means(self) -> str:
        """What a blank cell means, in words; empty for a column that must be filled.

        >>> count("Priority", "priority", "1 is served first.", default=1).blank_means
        '1'
        """
        if self.must:
            return ""
        if self.blank:
            return self.blank
        if isinstance(self.default, bool):
            return "yes" if self.default else "no"
        if isinstance(self.default, float):
            percent = self.kind is Kind.PERCENT
            return f"{self.default * 100:g}%" if percent else f"{self.default:,.10g}"
        return "none" if self.default is None else str(self.default)


@dataclass(frozen=True, slots=True, eq=False)
class Sheet:
    """One sheet of the workbook, one file of the folder."""

    name: str
    meaning: str
    columns: tuple[Column, ...]
    must: bool = False
    """Whether it must be there."""
    unique: tuple[str, ...] = ()
    """Names of the columns that together tell rows apart."""
    repeats: bool = False
    """Whether rows may be alike in these: what they say is then added up, or all of it holds."""
    settings: tuple[Column, ...] = ()
    """For Farm: what is in its first column, one setting a row."""
    per_threat: Column | None = None
    """For Fields: a column that is repeated for every threat, with the threat's name before it."""
    aliases: tuple[str, ...] = ()

    def column(self, name: str) -> Column:
        """Return the column (or setting) of this name.

        Raises
        ------
        KeyError
            When there is none.
        """
        for column in (*self.columns, *self.settings):
            if column.name == name:
                return column
        raise KeyError(name)

    def by_key(self, key: str) -> Column | None:
        """Column or setting that has this key (any pressure for ``pressure:...``), if any."""
        if key.startswith("pressure:"):
            return self.per_threat
        return next((c for c in (*self.columns, *self.settings) if c.key == key), None)

    @property
    def file(self) -> str:
        """Name of the file that holds the sheet in a folder.

        >>> Sheet("Seed lots", "Every lot of seed.", ()).file
        'seed lots.csv'
        """
        return f"{self.name.lower()}.csv"


def text(header: str, key: str, meaning: str, example: str = "", **more: Any) -> Column:
    """Column of any words."""
    return Column(header, Kind.TEXT, key, meaning, example, **more)


def name(header: str, key: str, meaning: str, example: str = "", **more: Any) -> Column:
    """Column of the names of what the rows describe; it must be filled."""
    return Column(header, Kind.NAME, key, meaning, example, must=True, **more)


def ref(header: str, key: str, refers: str, meaning: str, example: str = "", **more: Any) -> Column:
    """Column of names that stand elsewhere; `refers` is ``sheet.column``."""
    there = tuple(refers.split("."))
    return Column(header, Kind.REF, key, meaning, example, refers=(there[0], there[1]), **more)


def refs(header: str, key: str, refers: str, meaning: str, **more: Any) -> Column:
    """Column of lists of names that stand elsewhere; `refers` is ``sheet.column``."""
    there = tuple(refers.split("."))
    options = {"default": (), "refers": (there[0], there[1]), **more}
    return Column(header, Kind.REFS, key, meaning, "", **options)


def texts(header: str, key: str, meaning: str, example: str = "", **more: Any) -> Column:
    """Column of lists of words."""
    return Column(header, Kind.TEXTS, key, meaning, example, **{"default": (), **more})


def choice(
    header: str, key: str, choices: tuple[str, ...], meaning: str, example: str = "", **more: Any
) -> Column:
    """Column of a closed list; ratings may be written out."""
    words = RATING_WORDS if choices == RATINGS else ()
    options = {"choices": choices, "words": words, **more}
    return Column(header, Kind.CHOICE, key, meaning, example, **options)


def yes_no(header: str, key: str, meaning: str) -> Column:
    """Column of yes or no; blank is no."""
    return Column(header, Kind.YES_NO, key, meaning, "no", default=False)


def maturity(header: str, key: str, meaning: str, example: str = "", **more: Any) -> Column:
    """Column of relative maturities."""
    return Column(header, Kind.NUMBER, key, meaning, example, low=0.0, high=12.0, **more)


def count(header: str, key: str, meaning: str, example: str = "", **more: Any) -> Column:
    """Column of whole numbers."""
    return Column(header, Kind.COUNT, key, meaning, example, **more)


def percent(header: str, key: str, meaning: str, example: str = "", **more: Any) -> Column:
    """Column of percents from 0 to 100."""
    options = {"shown": "%", "low": 0.0, "high": 1.0, **more}
    return Column(header, Kind.PERCENT, key, meaning, example, **options)


def amount(
    header: str, key: str, measure: Measure, meaning: str, example: str = "", **more: Any
) -> Column:
    """Column of quantities of 0 or more; bare numbers are in the working unit of the measure."""
    unit = measure.value
    options = {"measure": measure, "unit": unit, "shown": unit, "low": 0.0, **more}
    return Column(header, Kind.QUANTITY, key, meaning, example, **options)


def written(
    header: str, key: str, measure: Measure, meaning: str, example: str = "", **more: Any
) -> Column:
    """Column of quantities of 0 or more that need a unit, in the cell or in the header."""
    return amount(header, key, measure, meaning, example, **{"unit": "", "shown": "", **more})


def day(header: str, key: str, meaning: str, example: str = "", **more: Any) -> Column:
    """Column of dates."""
    return Column(header, Kind.DATE, key, meaning, example, **more)

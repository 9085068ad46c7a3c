"""What the numbers of a plan mean, and how they are shown in US or metric units.

Sheets carry numbers in working units (fl oz, units, acres, lb, money); only here, when a sheet is
rendered or a sentence is written, do they become what the farm reads.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import TYPE_CHECKING, NamedTuple, Protocol

from planner.units import say_money
from planner.units.exact import (
    FLOZ_PER_GAL,
    HA_PER_ACRE,
    KG_PER_LB,
    LB_PER_BUSHEL,
    ML_PER_FLOZ,
)

if TYPE_CHECKING:
    from collections.abc import Iterable

ROUNDED = 0.0025
"""Share of a number that rounding may take before one more decimal is shown."""


class Measure(Enum):
    """What a number means; the working unit in which it is handed over stands beside each."""

    NUMBER = "number"
    """Plain number, shown as it is (1.8)."""
    COUNT = "count"
    """Whole things: bags, containers, fields."""
    MONEY = "money"
    """Farm's currency, with cents."""
    WHOLE_MONEY = "whole money"
    """Farm's currency, rounded to whole ones: for charts and key figures."""
    PERCENT = "percent"
    """Fraction of one."""
    AREA = "area"
    """Acres."""
    VOLUME = "volume"
    """Fl oz, shown in gallons or liters: stocks, containers, needs."""
    DOSE = "dose"
    """Fl oz, shown in fl oz or mL: what goes on a bag or a batch."""
    UNITS = "units"
    """Units of seed."""
    SEEDS = "seeds"
    """Single seeds."""
    WEIGHT = "weight"
    """Lb of seed."""
    YIELD = "yield"
    """Bushels per acre; stays in bushels where the soybean price does."""
    MONEY_PER_CROP = "money per crop"
    """Currency per bushel, metric per metric ton."""
    MONEY_PER_AREA = "money per area"
    """Currency per acre."""
    MONEY_PER_UNIT = "money per unit"
    """Currency per unit of seed."""
    MONEY_PER_VOLUME = "money per volume"
    """Currency per fl oz, shown per gallon or liter."""
    SEEDS_PER_AREA = "seeds per area"
    """Seeds per acre."""
    UNITS_PER_AREA = "units per area"
    """Units per acre."""
    SEEDS_PER_WEIGHT = "seeds per weight"
    """Seeds per lb."""
    DOSE_PER_UNIT = "dose per unit"
    """Fl oz per unit of seed."""
    DOSE_PER_WEIGHT = "dose per weight"
    """Fl oz per cwt, metric mL per 100 kg."""
    WEIGHT_PER_AREA = "weight per area"
    """Lb per acre."""
    FLOW = "flow"
    """Lb per minute."""
    MG_PER_SEED = "mg per seed"
    DAYS = "days"
    MINUTES = "minutes"
    DATE = "date"
    """A `datetime.date`."""
    TEXT = "text"


class _Shown(NamedTuple):
    """Factor from the working unit, label of the unit, decimals."""

    factor: float
    label: str
    decimals: int


_SAME = {
    Measure.NUMBER: _Shown(1, "", 1),
    Measure.COUNT: _Shown(1, "", 0),
    Measure.MONEY: _Shown(1, "¤", 2),
    Measure.WHOLE_MONEY: _Shown(1, "¤", 0),
    Measure.PERCENT: _Shown(1, "%", 1),
    Measure.UNITS: _Shown(1, "units", 1),
    Measure.SEEDS: _Shown(1, "seeds", 0),
    Measure.MONEY_PER_UNIT: _Shown(1, "¤/unit", 2),
    Measure.MG_PER_SEED: _Shown(1, "mg/seed", 4),
    Measure.DAYS: _Shown(1, "days", 0),
    Measure.MINUTES: _Shown(1, "min", 0),
    Measure.DATE: _Shown(1, "", 0),
    Measure.TEXT: _Shown(1, "", 0),
    Measure.YIELD: _Shown(1, "bu/acre", 1),
}
_US = _SAME | {
    Measure.AREA: _Shown(1, "acres", 1),
    Measure.VOLUME: _Shown(1 / FLOZ_PER_GAL, "gal", 2),
    Measure.DOSE: _Shown(1, "fl oz", 1),
    Measure.WEIGHT: _Shown(1, "lb", 0),
    Measure.MONEY_PER_CROP: _Shown(1, "¤/bu", 2),
    Measure.MONEY_PER_AREA: _Shown(1, "¤/acre", 2),
    Measure.MONEY_PER_VOLUME: _Shown(FLOZ_PER_GAL, "¤/gal", 2),
    Measure.SEEDS_PER_AREA: _Shown(1, "seeds/acre", 0),
    Measure.UNITS_PER_AREA: _Shown(1, "units/acre", 3),
    Measure.SEEDS_PER_WEIGHT: _Shown(1, "seeds/lb", 0),
    Measure.DOSE_PER_UNIT: _Shown(1, "fl oz/unit", 3),
    Measure.DOSE_PER_WEIGHT: _Shown(1, "fl oz/cwt", 3),
    Measure.WEIGHT_PER_AREA: _Shown(1, "lb/acre", 4),
    Measure.FLOW: _Shown(1, "lb/min", 0),
}
_METRIC = _SAME | {
    Measure.AREA: _Shown(HA_PER_ACRE, "ha", 2),
    Measure.VOLUME: _Shown(ML_PER_FLOZ / 1000, "L", 2),
    Measure.DOSE: _Shown(ML_PER_FLOZ, "mL", 0),
    Measure.WEIGHT: _Shown(KG_PER_LB, "kg", 0),
    Measure.MONEY_PER_CROP: _Shown(1000 / (LB_PER_BUSHEL * KG_PER_LB), "¤/t", 2),
    Measure.MONEY_PER_AREA: _Shown(1 / HA_PER_ACRE, "¤/ha", 2),
    Measure.MONEY_PER_VOLUME: _Shown(1000 / ML_PER_FLOZ, "¤/L", 2),
    Measure.SEEDS_PER_AREA: _Shown(1 / HA_PER_ACRE, "seeds/ha", 0),
    Measure.UNITS_PER_AREA: _Shown(1 / HA_PER_ACRE, "units/ha", 3),
    Measure.SEEDS_PER_WEIGHT: _Shown(1 / KG_PER_LB, "seeds/kg", 0),
    Measure.DOSE_PER_UNIT: _Shown(ML_PER_FLOZ, "mL/unit", 1),
    Measure.DOSE_PER_WEIGHT: _Shown(ML_PER_FLOZ / KG_PER_LB, "mL/100 kg", 1),
    Measure.WEIGHT_PER_AREA: _Shown(KG_PER_LB / HA_PER_ACRE, "kg/ha", 4),
    Measure.YIELD: _Shown(LB_PER_BUSHEL * KG_PER_LB / HA_PER_ACRE, "kg/ha", 0),
    Measure.FLOW: _Shown(KG_PER_LB, "kg/min", 0),
}


@dataclass(frozen=True, slots=True)
class Manner:
    """How a farm reads its numbers.

    >>> Manner().say(82.4, Measure.AREA), Manner(metric=True).say(82.4, Measure.AREA)
    ('82.4 acres', '33.35 ha')
    >>> Manner().say(1280, Measure.VOLUME), Manner().say(-1234.5, Measure.MONEY)
    ('10 gal', '-$1,234.50')
    """

    metric: bool = False
    currency: str = "$"

    def shown(self, measure: Measure) -> _Shown:
        """Give factor, unit label and decimals; ``¤`` in a label stands for the currency."""
        return (_METRIC if self.metric else _US)[measure]

    @property
    def seeds_per(self) -> str:
        """What seed size is called in a sentence."""
        return "seeds per kg" if self.metric else "seeds per lb"

    def value(self, number: float, measure: Measure) -> float:
        """Turn a number in working units into what is shown."""
        return number * self.shown(measure).factor

    def decimals(self, numbers: Iterable[float], measure: Measure) -> int:
        """Decimals that show each number to a quarter of a percent: the usual ones, or one more.

        >>> Manner().decimals([320, 16], Measure.VOLUME), Manner().decimals([320], Measure.VOLUME)
        (3, 2)
        """
        factor, _, usual = self.shown(measure)
        shown = [n * factor for n in numbers]
        return usual + any(abs(round(n, usual) - n) > ROUNDED * abs(n) for n in shown)

    def label(self, measure: Measure) -> str:
        """Name the unit as a header or an axis does, empty where there is none."""
        return self.shown(measure).label.replace("¤", self.currency)

    def say(self, number: float, measure: Measure) -> str:
        """Write a number with its unit, without trailing zeros except in money."""
        factor, label, decimals = self.shown(measure)
        shown = number * factor
        if measure is Measure.PERCENT:
            return f"{_plain(shown * 100, 2)}%"
        if label.startswith("¤"):
            return say_money(f"{shown:z,.{decimals}f}", self.currency) + label[1:]
        return f"{_plain(shown, decimals)} {label}".rstrip()


def _plain(number: float, decimals: int) -> str:
    text = f"{number:,.{decimals}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


class Reads(Protocol):
    """What says how its numbers are read: a farm, its shop, the record of a season."""

    @property
    def metric(self) -> bool:
        """Whether in metric units."""
        ...

    @property
    def currency(self) -> str:
        """Sign of its money."""
        ...


def manner_of(one: Reads) -> Manner:
    """How a farm, its shop or the record of its season reads its numbers."""
    return Manner(one.metric, one.currency)

"""Numbers and lists as a grower would say them, in the farm's currency and units of measure."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil
from typing import TYPE_CHECKING

from planner.units import say_money
from planner.units.exact import (
    FLOZ_PER_GAL,
    G_PER_LB,
    HA_PER_ACRE,
    KG_PER_LB,
    LB_PER_BUSHEL,
    ML_PER_FLOZ,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from planner.plan.plan import Added
    from planner.season.domain import Farm

NAMED = 4
"""Most names that a sentence lists before it says how many more there are."""


def number(x: float, digits: int = 1) -> str:
    """Return a number with thousands marks and no trailing zeros.

    >>> number(1234.50), number(3.0), number(0.04), number(-0.001)
    ('1,234.5', '3', '0.04', '0')
    """
    if x and abs(x) < 0.5 * 10**-digits and abs(x) >= 0.005:
        digits = 2
    text = f"{x:,.{digits}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text == "-0" else text


def percent_at_most(share: float) -> str:
    """A share in percent, rounded up so that it promises no more than was proven.

    >>> percent_at_most(0.01234), percent_at_most(0.0061), percent_at_most(0.0)
    ('1.24%', '0.61%', '0.01%')
    """
    return f"{max(1, ceil(share * 10_000 - 1e-6)) / 100:.2f}%"


def capital(text: str) -> str:
    """Return a text with its first letter in upper case.

    >>> capital("the plan's order"), capital("")
    ("The plan's order", '')
    """
    return text[:1].upper() + text[1:]


def count(n: int, one: str, many: str = "") -> str:
    """Return a count with its noun.

    >>> count(1, "bag"), count(2, "bag"), count(2, "variety", "varieties")
    ('1 bag', '2 bags', '2 varieties')
    """
    return f"{n:,} {one if n == 1 else many or one + 's'}"


def listing(names: Sequence[str], last: str = "and") -> str:
    """Return names as a list, cut after `NAMED`.

    >>> listing(["a"]), listing(["a", "b", "c"]), listing(list("abcdef"))
    ('a', 'a, b and c', 'a, b, c, d and 2 more')
    """
    names = list(dict.fromkeys(names))
    if len(names) > NAMED + 1:
        return f"{', '.join(names[:NAMED])} and {len(names) - NAMED} more"
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} {last} {names[-1]}"


def maturity(value: float) -> str:
    """A maturity with one decimal, or two where it has them.

    >>> maturity(2.0), maturity(1.85)
    ('2.0', '1.85')
    """
    return f"{value:.2f}".removesuffix("0")


def maturities(earliest: float | None, latest: float | None) -> str:
    """Which maturities a field may have.

    >>> maturities(1.8, 2.4), maturities(None, 2.0), maturities(2.0, None), maturities(None, None)
    ('1.8 to 2.4', 'up to 2.0', '2.0 or later', 'any')
    """
    if latest is None:
        return "any" if earliest is None else f"{maturity(earliest)} or later"
    return f"{'up' if earliest is None else maturity(earliest)} to {maturity(latest)}"


def added_words(added: Sequence[Added]) -> str:
    """Say containers that are added to an order.

    >>> from planner.plan.plan import Added
    >>> added_words([Added("Alpha", "jug", 1), Added("Beta", "keg", 2)])
    '1 more jug of Alpha and 2 more kegs of Beta'
    """
    return listing([f"{count(a.count, f'more {a.container}')} of {a.product}" for a in added])


MOST_DECIMALS = 5
"""More decimals than usual that are tried to tell two amounts apart, none among them."""


@dataclass(frozen=True, slots=True)
class Speech:
    """How a farm counts money, land and volume."""

    farm: Farm

    def money(self, x: float) -> str:
        """Return an amount to the cent under 100, else to the whole."""
        text = f"{x:z,.2f}" if abs(x) < 99.995 else f"{x:,.0f}"
        return say_money(text, self.farm.currency)

    def acres(self, x: float) -> str:
        """Return land given in acres."""
        return f"{number(x * HA_PER_ACRE, 2)} ha" if self.farm.metric else f"{number(x)} acres"

    def an_acre(self) -> str:
        """Return the unit of land, one of it."""
        return "ha" if self.farm.metric else "acre"

    def per_acre(self, x: float) -> float:
        """Return an amount per acre in the farm's unit of land."""
        return x / HA_PER_ACRE if self.farm.metric else x

    def seeds_per_acre(self, x: float) -> str:
        """Return a count of seeds or plants per acre, without its unit of land."""
        return number(self.per_acre(x), 0)

    def liquid(self, x: float, more: int = 0) -> str:
        """Return liquid on seed given in fl oz per cwt, with so many more decimals."""
        if self.farm.metric:
            return f"{number(x * ML_PER_FLOZ / KG_PER_LB, more)} mL/100 kg"
        return f"{number(x, 2 + more)} fl oz/cwt"

    def liquids(self, one: float, other: float) -> tuple[str, str]:
        """Return two amounts of liquid on seed, with as many decimals as tell them apart."""
        for more in range(MOST_DECIMALS):
            said = self.liquid(one, more), self.liquid(other, more)
            if said[0] != said[1]:
                break
        return said

    def active(self, x: float) -> str:
        """Return an active ingredient given in lb per acre."""
        if self.farm.metric:
            return f"{number(x * G_PER_LB / HA_PER_ACRE, 1)} g/ha"
        return f"{number(x, 4)} lb/acre"

    def bushels(self, x: float) -> str:
        """Return a yield given in bushels an acre, without its unit of land."""
        if self.farm.metric:
            return f"{number(x * LB_PER_BUSHEL * KG_PER_LB / HA_PER_ACRE, 0)} kg"
        return f"{number(x, 2)} bu"

    def volume(self, x: float) -> str:
        """Return a volume given in fl oz."""
        if self.farm.metric:
            return f"{number(x * ML_PER_FLOZ / 1000, 2)} L"
        if abs(x) >= FLOZ_PER_GAL:
            return f"{number(x)} fl oz ({number(x / FLOZ_PER_GAL, 2)} gal)"
        return f"{number(x)} fl oz"

    def units(self, x: float) -> str:
        """Return seed in units."""
        return f"{number(x)} unit{'' if number(x) == '1' else 's'}"

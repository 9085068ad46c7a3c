"""By how much figures may differ before the order runs short: exact, by arithmetic.

Bags, recipes and planting are held as planned. With what goes on seed split into A by weight and B
by the unit, the need at a change s of all seeds per lb is A / (1 + s) + B + line losses; it reaches
what is there at 1 + s = A / (A + slack). With a share x more on every unit, or x more units of
everything, it is (A + B)(1 + x) + line losses, which suffices up to x = slack / (A + B).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from planner.risk.uses import accounts
from planner.sums import summed

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from planner.plan.plan import Plan
    from planner.risk.uses import Account, Use
    from planner.season.domain import Season

OVER = (0.05, 0.10, 0.20)
"""Shares more on every bag for which the bag is told at which a product would run out; 20% is
common practice for a treater that is not calibrated."""
CRUMB = 1e-9


@dataclass(frozen=True, slots=True)
class ProductMargin:
    """By how much things may differ before a product runs short."""

    product: str
    need: float
    """Fl oz, as the plan has it."""
    supply: float
    slack: float
    used: float
    """Share more on every unit, or share more units of all that is treated with it."""
    seed_size: float | None
    """Change of all seeds per lb, below zero; None where nothing goes by weight."""
    worst_lot: str
    """Lot whose seed size alone makes it run short first; empty where nothing goes by weight."""
    worst_lot_size: float | None
    """Change of its seeds per lb."""
    units: float
    """Units more that there is enough for, of the lot and recipe that take most of it a unit."""
    units_of: tuple[str, str]
    """That lot and recipe."""


@dataclass(frozen=True, slots=True)
class Bag:
    """A bag in the order in which bags are treated."""

    lot: str
    recipe: str
    units: float


@dataclass(frozen=True, slots=True)
class LastBag:
    """Bag at which a product runs out when every bag takes a share more of it than planned."""

    product: str
    bags: int
    """Bags that take it."""
    runs_out: tuple[int | None, ...]
    """For each share, the bag of all (from 1) that it is no longer enough for; None for never."""


def margins(season: Season, plan: Plan) -> tuple[ProductMargin, ...]:
    """Margin of every product that the plan puts on seed, the scarcest first."""
    found = [_margin(account) for account in accounts(season, plan)]
    return tuple(sorted(found, key=lambda m: m.used))


def _margin(account: Account) -> ProductMargin:
    slack, by_lot = account.slack, _weights(account.uses)
    worst = max(by_lot, key=lambda lot: by_lot[lot], default="")
    dearest = max(account.uses, key=lambda use: use.per_unit)
    return ProductMargin(
        product=account.product,
        need=account.on_seed + account.fixed,
        supply=account.supply,
        slack=slack,
        used=slack / account.on_seed if account.on_seed > 0.0 else math.inf,
        seed_size=_size(sum(by_lot.values()), slack),
        worst_lot=worst,
        worst_lot_size=_size(by_lot.get(worst, 0.0), slack),
        units=slack / dearest.per_unit if dearest.per_unit > 0.0 else math.inf,
        units_of=(dearest.lot, dearest.recipe),
    )


def _weights(uses: Iterable[Use]) -> dict[str, float]:
    """Fl oz that go by weight, by lot; lots that take none so are left out."""
    return summed((use.lot, use.units * use.by_weight) for use in uses if use.by_weight > 0.0)


def _size(by_weight: float, slack: float) -> float | None:
    """Change of seeds per lb at which what goes by weight takes the slack too.

    >>> _size(90.0, 10.0)
    -0.1
    """
    return 0.0 - slack / (by_weight + slack) if by_weight > 0.0 else None


def last_bags(
    season: Season, plan: Plan, bags: Sequence[Bag], over: Sequence[float] = OVER
) -> tuple[LastBag, ...]:
    """Bag at which each product runs out, bags in the order in which they are treated.

    What the line loses is set aside from the start.

    Parameters
    ----------
    bags
        All bags that the plan treats.
    over
        Shares that every bag takes more than planned, the farm's margin included.
    """
    found = []
    for account in accounts(season, plan):
        each = {(use.lot, use.recipe): use.per_unit for use in account.uses}
        takes = [bag.units * each.get((bag.lot, bag.recipe), 0.0) for bag in bags]
        there = account.supply - account.fixed
        out = tuple(_runs_out(takes, there, share) for share in over)
        found.append(LastBag(account.product, sum(take > 0.0 for take in takes), out))
    return tuple(found)


def _runs_out(takes: Sequence[float], there: float, share: float) -> int | None:
    """Number of the bag that is no longer covered, None where all are.

    >>> _runs_out([10.0, 0.0, 10.0], 21.0, 0.05), _runs_out([10.0, 0.0, 10.0], 21.0, 0.06)
    (None, 3)
    """
    left = there
    for number, take in enumerate(takes, 1):
        left -= take * (1.0 + share)
        if take > 0.0 and left < -CRUMB * max(1.0, there):
            return number
    return None

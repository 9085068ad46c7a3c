"""What each bag takes of each product, split into what goes by weight and what goes by the unit."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from planner.agronomy.rates import floz_per_unit
from planner.season.domain import Basis

if TYPE_CHECKING:
    from planner.plan.plan import Plan
    from planner.season.domain import Season

BY_WEIGHT = (Basis.FLOZ_PER_CWT, Basis.G_PER_100KG)
"""Rates that put more on a unit the heavier its seed is."""


@dataclass(frozen=True, slots=True)
class Use:
    """What the bags of a lot under a recipe take of a product, the farm's margin included."""

    lot: str
    recipe: str
    units: float
    by_weight: float
    """Fl oz a unit at the planned seeds per lb; in proportion to one over seeds per lb."""
    by_unit: float
    """Fl oz a unit, whatever the seeds per lb."""

    @property
    def per_unit(self) -> float:
        """Fl oz a unit."""
        return self.by_weight + self.by_unit

    @property
    def floz(self) -> float:
        """Fl oz in all."""
        return self.units * self.per_unit


@dataclass(frozen=True, slots=True)
class Account:
    """A product's need and what is there for it, fl oz."""

    product: str
    uses: tuple[Use, ...]
    fixed: float
    """Line losses."""
    supply: float
    """On hand, on its way and bought, without heels."""

    @property
    def on_seed(self) -> float:
        """What goes on seed, the farm's margin included."""
        return sum(use.floz for use in self.uses)

    @property
    def slack(self) -> float:
        """What is there beyond the need."""
        return max(0.0, self.supply - self.fixed - self.on_seed)


def accounts(season: Season, plan: Plan) -> tuple[Account, ...]:
    """Account of every product that the plan puts on seed, in the season's order."""
    more = 1.0 + season.farm.product_margin
    uses: dict[str, list[Use]] = {}
    for t in plan.treating:
        parts: dict[str, list[float]] = {}
        for rate in season.recipe_named[t.recipe].rates:
            floz = more * floz_per_unit(rate, season.lot_named[t.lot], season)
            parts.setdefault(rate.product, [0.0, 0.0])[rate.basis not in BY_WEIGHT] += floz
        for name, (by_weight, by_unit) in parts.items():
            uses.setdefault(name, []).append(Use(t.lot, t.recipe, t.units, by_weight, by_unit))
    found = []
    for line in plan.products:
        mine = tuple(uses.get(line.product, ()))
        if mine:
            fixed = max(0.0, line.need - sum(use.floz for use in mine))
            supply = line.on_hand + line.on_its_way + line.bought
            found.append(Account(line.product, mine, fixed, supply))
    return tuple(found)

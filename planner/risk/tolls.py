"""Tolls for an order: how much dearer ordering early counts in a draw that runs short.

What a product will need in a draw is forecast from the plan's acres; how far such forecasts were
off in known draws says how sure they are. Where the order would have a container too many, one
fewer would save its price less what it brings back, and that is what the toll takes away; where it
runs short, one more would save the late price. Between the two the toll is what makes its mean
nought over many draws, so no order is charged on average.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from planner.optimize.model.instance import supply_of
from planner.plan import price
from planner.risk.draws import Changes, draw
from planner.risk.floors import Tolls
from planner.risk.second_stage import price_paid
from planner.risk.statistics import normal_below
from planner.risk.turned_out import units_taken
from planner.risk.uses import accounts
from planner.season.domain import UNTREATED, Quantity

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from planner.plan.plan import Plan
    from planner.risk.second_stage import Order, Outcome
    from planner.risk.turned_out import Turn
    from planner.season.domain import Container, Season

    Floats = npt.NDArray[np.float64]

MANY = 1 << 14
"""Draws over which tolls come to nought: their mean is off by well under a dollar."""
LEAST_ERROR = 0.005
"""Share of a need by which forecasts of it are off at the least."""


class Forecast:
    """Needs of products in draws, forecast from the plan's acres."""

    def __init__(self, season: Season, plan: Plan) -> None:
        self.accounts = accounts(season, plan)
        self.rows = [p for p in plan.planting if p.recipe != UNTREATED]
        self.fields, self.lots = season.field_named, season.lot_named

    def of(self, changes: Changes, n: int) -> dict[str, Floats]:
        """Fl oz by product, arrays of shape (draws,)."""
        units: dict[tuple[str, str], Floats] = {}
        for row in self.rows:
            takes = units_taken(row.units, self.fields[row.field], self.lots[row.lot], changes)
            key = row.lot, row.recipe
            units[key] = units.get(key, np.zeros(n)) + takes
        found = {}
        for account in self.accounts:
            need = np.zeros(n)
            per_unit = {(u.lot, u.recipe): (u.by_weight, u.by_unit) for u in account.uses}
            for (lot, recipe), takes in units.items():
                by_weight, by_unit = per_unit.get((lot, recipe), (0.0, 0.0))
                need += takes * (by_weight / changes.factor(Quantity.SEEDS_PER_LB, lot) + by_unit)
            used = changes.factor(Quantity.PRODUCT_USED, account.product)
            found[account.product] = need * used + account.fixed
        return found


@dataclass(frozen=True, slots=True)
class _Toll:
    """Toll on a fl oz of a product, by where its need falls."""

    scale: float
    """Needs in known draws over their forecast."""
    error: float
    """Standard deviation of that ratio."""
    plenty: float
    """Need below which a container of the order is too many."""
    supply: float
    """Need above which the order is short."""
    low: float = 0.0
    between: float = 0.0
    high: float = 0.0

    def chances(self, forecast: Floats) -> tuple[Floats, Floats]:
        """Chance of plenty and of being short."""
        need, sd = self.scale * forecast, np.maximum(self.error * forecast, 1e-9)
        return normal_below((self.plenty - need) / sd), normal_below((need - self.supply) / sd)

    def of(self, forecast: Floats) -> Floats:
        plenty, short = self.chances(forecast)
        rest = 1.0 - plenty - short
        return np.asarray(self.low * plenty + self.between * rest + self.high * short)


class TollTable:
    """Tolls of an order, draw by draw."""

    def __init__(
        self, season: Season, plan: Plan, order: Order, known: Sequence[tuple[Turn, Outcome]]
    ) -> None:
        """`known` is what became of the order in some draws."""
        self.forecast = Forecast(season, plan)
        parts = [(n, self.forecast.of(c, n)) for n, c in draw(season, MANY, 0)]
        many = {p: np.concatenate([f[p] for _, f in parts]) for p in parts[0][1]}
        self.tolls: dict[str, _Toll] = {}
        for product, forecasts in many.items():
            ratios = [
                dict(o.needs).get(product, 0.0) / max(1e-9, self._at(t)[product]) for t, o in known
            ]
            toll = _toll(season, order, product, np.array(ratios))
            if toll is not None:
                self.tolls[product] = _balanced(toll, forecasts)

    def _at(self, turn: Turn) -> dict[str, float]:
        one = Changes({key: np.array([x]) for key, x in turn.changes.items()})
        return {p: float(x[0]) for p, x in self.forecast.of(one, 1).items()}

    def of(self, turn: Turn) -> Tolls:
        """Tolls in a draw."""
        needs = self._at(turn)
        return Tolls({p: float(t.of(np.array([needs[p]]))[0]) for p, t in self.tolls.items()})


def _toll(season: Season, order: Order, product: str, ratios: Floats) -> _Toll | None:
    """Toll before it is balanced; None where nothing can be bought late or needs are unknown."""
    kinds = [c for c in season.containers if c.product == product and c.usable > 0.0]
    late = min((c.late_price / c.usable for c in kinds if c.late_price is not None), default=None)
    if late is None or len(ratios) < 2 or ratios.min() <= 0.0:
        return None
    mine = [c for c in kinds if order.counts.get((product, c.name), 0)]
    there = supply_of(season, season.product_named[product])
    supply = there + sum(order.counts[product, c.name] * c.usable for c in mine)
    paid = price_paid(season, order)
    small = min(mine or kinds, key=lambda c: c.usable)
    early = paid.get((product, small.name), small.breaks[0].price) / small.usable
    low = max(-_lost(season, c) / c.usable for c in kinds)
    error = max(LEAST_ERROR, float(ratios.std(ddof=1)))
    plenty = supply - small.usable if mine else 0.0
    return _Toll(float(ratios.mean()), error, plenty, supply, low, 0.0, max(0.0, late - early))


def _lost(season: Season, c: Container) -> float:
    """Money that a container too many costs at the least: what it brings back or is worth off.

    A toll takes no more off than this, so that ordering too many never pays by it.
    """
    least = price.lowest_net_price(season, c)
    kept = season.product_named[c.product].carryover
    credit = kept * price.lowest_price_per_floz(season, c.product) * c.usable
    return max(0.0, least - max(c.returned_for * least, credit))


def _balanced(toll: _Toll, forecasts: Floats) -> _Toll:
    """The same with a mean of nought over draws."""
    plenty, short = (float(x.mean()) for x in toll.chances(forecasts))
    rest, low, high = 1.0 - plenty - short, toll.low, toll.high
    if rest > 0.0 and low * rest <= -(low * plenty + high * short) <= high * rest:
        return _made(toll, low, -(low * plenty + high * short) / rest, high)
    if low * plenty + high * (rest + short) < 0.0:
        return _made(toll, -high * (rest + short) / plenty, high, high)
    if short <= 0.0:
        return _made(toll, 0.0, 0.0, 0.0)
    return _made(toll, low, low, -low * (plenty + rest) / short)


def _made(toll: _Toll, low: float, between: float, high: float) -> _Toll:
    return _Toll(toll.scale, toll.error, toll.plenty, toll.supply, low, between, high)

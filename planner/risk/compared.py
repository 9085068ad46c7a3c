"""Orders compared over draws, as records and as plan.json holds them."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from planner.risk.order import Order
    from planner.season.domain import Season


@dataclass(frozen=True, slots=True)
class OrderChance:
    """An order in draws."""

    label: str
    order: Order
    mean: float
    low: float
    high: float
    dearest: float
    """Mean of the dearest tenth."""
    late: float
    """Share of draws in which something is bought late."""
    short: float
    """Mean acres short."""
    enough: float
    """Share of draws in which nothing is bought late and no more acres stay short than planned."""
    draws: int


@dataclass(frozen=True, slots=True)
class Waiting:
    """A product, bought now or late."""

    product: str
    wait_costs: float
    """Mean money more if it is bought only when all is known; negative where waiting is cheaper."""
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class TwoStages:
    """Orders compared, the one with the lowest mean cost first."""

    draws: int
    orders: tuple[OrderChance, ...]
    """On the same fresh draws."""
    planned: int
    """Place of the plan's own order among them."""
    floor: float
    """Mean of what each draw would cost at best, with tolls on ordering: no order's mean cost is
    below it, but for chance. -inf if that was not found out."""
    floor_low: float
    floor_draws: int
    gap: float
    """The best order's optimality gap as a share of its cost, at 95% confidence."""
    left_open: float
    """Part of it, on average, that is not proven of what single draws cost at best: the season's
    own gap, not the order's."""
    value_of_planning: float
    """Mean money that the best order saves against the plan's."""
    price_of_not_knowing: float
    """Mean money that the best order costs beyond what each draw would cost at best."""
    more_short: float = 0.0
    """Acres that the best order leaves short on average beyond draws at best, where acres come
    before money: then no share of the cost says how near it is, and `gap` is infinite."""
    left_out: tuple[str, ...] = ()
    """What time did not allow, in sentences."""
    seed: int = 0
    steps: tuple[OrderChance, ...] = ()
    """The best order of the common draws and its neighbors, on those."""
    waiting: tuple[Waiting, ...] = ()
    seconds: float = 0.0
    solves: int = 0

    @property
    def best(self) -> OrderChance:
        """Order with the lowest mean cost."""
        return self.orders[0]


def to_dict(found: TwoStages, season: Season) -> dict[str, object]:
    """Return what the key ``unknowns`` of plan.json holds of orders; `best` is a place in them."""
    return {
        "order_draws": found.draws,
        "order_seed": found.seed,
        "orders": [_order_dict(o, season) for o in found.orders],
        "best": 0,
        "planned": found.planned,
        "floor": _finite(found.floor),
        "floor_low": _finite(found.floor_low),
        "floor_draws": found.floor_draws,
        "optimality_gap": _finite(found.gap),
        "left_open": _finite(found.left_open),
        "value_of_planning": found.value_of_planning,
        "price_of_not_knowing": _finite(found.price_of_not_knowing),
        "steps": [_order_dict(o, season) for o in found.steps],
        "waiting": [asdict(w) for w in found.waiting],
        "left_out": list(found.left_out),
    }


def _finite(x: float) -> float | None:
    return x if np.isfinite(x) else None


def _order_dict(o: OrderChance, season: Season) -> dict[str, object]:
    from planner.plan import price

    lines = price.order_cost(season, o.order.counts).lines
    seed = price.seed_purchases(season, dict(o.order.seed))
    return {
        "label": o.label,
        "order": [asdict(line) for line in lines],
        "seed_purchases": [asdict(line) for line in seed],
        "mean_cost": o.mean,
        "low": _finite(o.low),
        "high": _finite(o.high),
        "worst_tenth": o.dearest,
        "bought_late": o.late,
        "short_acres": o.short,
        "enough": o.enough,
    }

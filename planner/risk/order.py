"""An order placed before anything is known, and what is paid for it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from planner.plan import price

if TYPE_CHECKING:
    from planner.plan.plan import Plan
    from planner.season.domain import Season


@dataclass(frozen=True, slots=True)
class Order:
    """Whole containers and bags of seed, ordered before anything is known."""

    containers: tuple[tuple[str, str, int], ...] = ()
    """Product, container and count, in the order of names."""
    seed: tuple[tuple[str, int], ...] = ()
    """Lot and bags."""

    @property
    def counts(self) -> dict[tuple[str, str], int]:
        """Count by (product, container)."""
        return {(product, name): n for product, name, n in self.containers}


def order_of(counted: dict[tuple[str, str], int], bags: dict[str, int]) -> Order:
    """Make an order from counts; nothing of none."""
    containers = sorted((p, c, n) for (p, c), n in counted.items() if n > 0)
    return Order(tuple(containers), tuple(sorted((x, n) for x, n in bags.items() if n > 0)))


def ordered_by(plan: Plan) -> Order:
    """Return the order of a plan."""
    return order_of(plan.counts, plan.bags_bought)


def spent(season: Season, order: Order) -> float:
    """Money paid out for an order: containers, freight and seed, less discounts.

    Raises
    ------
    ValueError
        When a count is under the lowest From count of its container.
    """
    product = price.order_cost(season, order.counts).paid
    seed = sum(p.cost for p in price.seed_purchases(season, dict(order.seed)))
    return product + seed


def price_paid(season: Season, order: Order) -> dict[tuple[str, str], float]:
    """Price paid for one container of each kind ordered, discounts taken off."""
    lines = price.order_cost(season, order.counts).lines
    taken = [level for level, _ in price.best_levels(season, lines).values()]
    found = {}
    for line in lines:
        off = sum(
            level.percent
            for level in taken
            if price.counts_toward(level, line.product, line.supplier or None, season)
        )
        found[line.product, line.container] = line.unit_price * (1.0 - off)
    return found

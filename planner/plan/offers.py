"""What a product is sold for, by its containers and their price breaks."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from planner.season.domain import Season


def lowest_price_per_floz(season: Season, product: str) -> float:
    """Lowest price per fl oz of nominal size among a product's containers and breaks; 0 if none."""
    prices = [b.price / c.size for c in season.containers if c.product == product for b in c.breaks]
    return min(prices, default=0.0)

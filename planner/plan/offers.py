"""What containers are offered for."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

    from planner.season.domain import Container


def lowest_per_floz(offers: Iterable[Container], product: str) -> float:
    """Lowest price of a fl oz of a product, by nominal size; 0 where nobody sells it."""
    prices = [b.price / c.size for c in offers if c.product == product for b in c.breaks]
    return min(prices, default=0.0)

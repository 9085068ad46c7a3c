"""What it takes to change the line from one batch to the next."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from planner.campaign.domain import Batch, Shop


@dataclass(frozen=True, slots=True)
class Line:
    """What is on the line before the first batch."""

    products: frozenset[str] = frozenset()
    lot: str = ""


EMPTY = Line()


def products_of(batch: Batch) -> frozenset[str]:
    """Products that a batch takes."""
    return frozenset(d.product for d in batch.draws)


def change_minutes(before: frozenset[str], after: frozenset[str], shop: Shop) -> float:
    """Minutes to change the line from one set of products to another."""
    return len(before ^ after) * shop.changeover_minutes


def setups(order: Sequence[Batch], shop: Shop, line: Line) -> Iterator[float]:
    """Minutes before each batch of an order: change of products, calibration for a new lot."""
    products, lot = line.products, line.lot
    for batch in order:
        wanted = products_of(batch)
        minutes = change_minutes(products, wanted, shop)
        yield minutes + (shop.calibration_minutes if batch.lot != lot else 0.0)
        products, lot = wanted, batch.lot

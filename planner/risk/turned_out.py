"""One draw made of many: the season as its figures turn out."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from planner.risk.draws import axes, draw
from planner.season.domain import Quantity, TargetStand

if TYPE_CHECKING:
    from planner.risk.draws import Changes, Floats
    from planner.season.domain import Field, Season, SeedLot

LEAST_GERMINATION = 0.01
"""To which a germination may fall in a draw; one that is planned lower stays."""


@dataclass(frozen=True, slots=True)
class Turn:
    """How figures turn out: factors of the planned values, of a germination added points."""

    changes: dict[tuple[Quantity, str], float] = field(default_factory=dict)

    def of(self, what: Quantity, name: str) -> float:
        """Change of a figure; none where it is not named."""
        return self.changes.get((what, name), 0.0 if what is Quantity.GERMINATION else 1.0)


AS_PLANNED = Turn()


def turns(season: Season, draws: int, seed: int) -> list[Turn]:
    """Draw what is not known; `draws` is a power of two."""
    found: list[Turn] = []
    if not axes(season):
        return [AS_PLANNED] * draws
    for n, changes in draw(season, draws, seed):
        columns = {key: np.broadcast_to(v, (n,)) for key, v in changes.by_name.items()}
        found += [Turn({key: float(v[i]) for key, v in columns.items()}) for i in range(n)]
    return found


def germination(known: float, points: Floats | float) -> Floats:
    """Germination with points added, neither too low to plant nor above 100%.

    >>> germination(0.9, np.array([0.05, 0.2, -1.0])).round(2).tolist()
    [0.95, 1.0, 0.01]
    """
    return np.asarray(np.clip(known + points, min(known, LEAST_GERMINATION), 1.0))


def units_taken(units: float, field: Field, lot: SeedLot, changes: Changes) -> Floats | float:
    """Units that a field takes of a lot in draws, where it takes `units` as planned."""
    takes = units * changes.factor(Quantity.ACRES, field.name)
    if isinstance(field.sowing, TargetStand) and lot.germination:
        points = changes.factor(Quantity.GERMINATION, lot.name)
        takes = takes * lot.germination / germination(lot.germination, points)
    return takes


def turned_out(season: Season, turn: Turn) -> Season:
    """Return the season with acres, seeds per lb, germination and units on hand as they turn out.

    Product used is not the season's to change: see `factors`.
    """
    lots = tuple(
        replace(
            lot,
            seeds_per_lb=lot.seeds_per_lb * turn.of(Quantity.SEEDS_PER_LB, lot.name),
            on_hand=lot.on_hand * turn.of(Quantity.UNITS_ON_HAND, lot.name),
            germination=None
            if lot.germination is None
            else float(germination(lot.germination, turn.of(Quantity.GERMINATION, lot.name))),
        )
        for lot in season.lots
    )
    fields = tuple(
        replace(f, acres=f.acres * turn.of(Quantity.ACRES, f.name)) for f in season.fields
    )
    return replace(season, lots=lots, fields=tuple(f for f in fields if f.acres > 0.0))

"""What is known about a threat under a plan, as records."""

from __future__ import annotations

from dataclasses import dataclass

from planner.plan.plan import CENT
from planner.season.domain import Rating


@dataclass(frozen=True, slots=True)
class PressureLine:
    """Fields on which a threat presses equally hard."""

    pressure: str
    need: str
    """Lowest rating that will do; empty where nothing is asked."""
    fields: int
    acres: float
    units: float
    """Seed that they take, as planted; short acres at what a suitable lot takes."""
    acres_short: float


@dataclass(frozen=True, slots=True)
class FieldLine:
    """One field under pressure, and what it gets."""

    field: str
    pressure: str
    need: str
    acres: float
    units: float
    lots: tuple[str, ...]
    acres_short: float
    enough: bool
    """Whether all of it is planted with seed that reaches the need."""


@dataclass(frozen=True, slots=True)
class LotLine:
    """Seed of a lot that suits at least one field which asks for protection."""

    lot: str
    variety: str
    suits: float
    """Units on hand or available."""
    strong: float
    """Units that are, or by the plan will be, treated strongly enough for one of the fields; of
    seed that is sold treated, what the plan buys."""
    here: float
    """Units planted on the fields under pressure."""
    left_strong: float
    """Units treated strongly enough that stay unplanted."""
    left_open: float
    """Units neither treated nor planted, that could still be treated so, or bought treated so."""
    tight: bool
    """No other lot that suits has less left, and this one is used here."""


@dataclass(frozen=True, slots=True)
class Cost:
    """What protection from a threat costs, by planning again without its needs."""

    total: float
    at_least: float
    """Total if the season's own plan could be as cheap as its proven bound."""
    at_most: float
    """Total if the second plan were as cheap as its proven bound."""
    acres: float
    """Planted acres that ask for protection, on which the cost is counted."""
    per_acre: float
    per_unit: float
    acres_gained: float
    """Acres that could be planted besides if the threat asked for nothing."""
    gap: float
    """Of the second plan."""

    @property
    def most_per_acre(self) -> float:
        """What it costs an acre at the most."""
        return self.at_most / self.acres if self.acres else 0.0

    @property
    def is_between(self) -> bool:
        """Whether it costs something, and is known to lie between two amounts that differ."""
        return self.total >= CENT and self.at_most - self.at_least > max(CENT, 1e-3 * self.at_most)

    @property
    def narrowed(self) -> bool:
        """Whether what it costs is known, to a cent an acre where it is nothing."""
        return not self.is_between and (self.total >= CENT or self.most_per_acre < CENT)


@dataclass(frozen=True, slots=True)
class ThreatPage:
    """Everything about one threat."""

    threat: str
    white_mold: bool
    pressures: tuple[PressureLine, ...]
    """Hardest first."""
    fields: tuple[FieldLine, ...]
    lots: tuple[LotLine, ...]
    units_needed: float
    units_suit: float
    units_strong: float
    units_left: float
    """Strong or still to be treated so, that suit and stay unplanted."""
    tight_lot: str
    more_acres: float
    """Acres more, like the field of the need that is hardest to meet, that what is left would plant
    and protect while nothing else moves."""
    like_field: str
    cost: Cost | None
    """None until it was calculated."""
    sentence: str

    @property
    def asks_poor(self) -> bool:
        """Whether no field asks for more than the lowest rating, which holds little."""
        return {f.need for f in self.fields if f.need} == {Rating.P.name}

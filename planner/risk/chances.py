"""A plan held in draws of what is not known, as records and as plan.json holds them."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from planner.plan.plan import Added
    from planner.risk.compared import TwoStages


@dataclass(frozen=True, slots=True)
class ProductChance:
    """How often a product suffices, and what is needed of it, fl oz."""

    product: str
    enough: float
    """Share of draws in which it suffices."""
    one_in_ten: float
    """Need that one draw in ten stays under."""
    median: float
    nine_in_ten: float
    """Need that nine draws in ten stay under."""
    most: float
    short_from_seed_size: float | None
    """Change of all seeds per lb at which it runs short; None if never within 30% either way."""
    supply: float
    """What is there."""
    first: float
    """Share of draws in which it runs out first: covers the least share of its need."""


@dataclass(frozen=True, slots=True)
class LotChance:
    """How often a lot's seed suffices for what is planned of it."""

    lot: str
    enough: float
    planted: float
    """Units, as planned."""
    there: float
    """Units there are under the recipes that it is planted with, as planned."""
    short: float
    """Mean units short."""


@dataclass(frozen=True, slots=True)
class Spread:
    """How often a product's need falls between two amounts; what is there is one of them."""

    product: str
    supply: float
    edges: tuple[float, ...]
    """Fl oz, rising, one more than shares."""
    shares: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class SparePlanted:
    """How often the seed suffices where spare seed is planted before a field is left short."""

    share: float
    """Of spare seed, on top of every field's need."""
    enough: float
    """Share of draws in which the seed of every lot suffices."""
    short_acres: float
    """Mean acres for which seed is short."""


@dataclass(frozen=True, slots=True)
class Safer:
    """An order with containers added."""

    added: tuple[Added, ...]
    """Empty where the plan's own order will do."""
    enough: float
    """Share of draws in which every product suffices."""
    paid: float
    """Money paid more than for the plan's order."""
    kept: float
    """What of it stays in product left over, valued as in the plan."""
    within_money: bool
    """Whether it stays within the most to spend."""


@dataclass(frozen=True, slots=True)
class AsPlanned:
    """What comes of a plan that is held while figures turn out otherwise."""

    draws: int
    seed: int
    enough: float
    """Share of draws in which every product suffices."""
    products: tuple[ProductChance, ...]
    """Those that run short most often first."""
    lots: tuple[LotChance, ...]
    """Those that are planted, those that run short most often first."""
    seed_enough: float
    """Share of draws in which the seed of every lot suffices, spare seed kept back."""
    white_mold: float | None
    """The same of lots planted on fields under white mold pressure; None without such fields."""
    short_acres: float
    """Mean acres for which seed is short, spare seed kept back."""
    spare: SparePlanted | None
    """The same with it planted; None where there is none."""
    spread: Spread | None
    """Of the product that runs short most often; None where nothing is treated."""
    said: str = ""
    """How safe the order is and what a safer one costs, in a sentence, where that was found out."""
    safer: Safer | None = None
    """A safer order; None where none is wanted, sold or within the most to spend."""
    stages: TwoStages | None = None
    """Orders compared over draws, where that was done."""


def to_dict(found: AsPlanned) -> dict[str, object]:
    """Return the key ``unknowns`` of plan.json: volumes in fl oz, seed in units, land in acres."""
    return {
        "draws": found.draws,
        "seed": found.seed,
        "as_planned": {
            "enough": found.enough,
            "products": [
                {
                    "product": p.product,
                    "enough": p.enough,
                    "median": p.median,
                    "nine_in_ten": p.nine_in_ten,
                    "most": p.most,
                    "short_from_seed_size": p.short_from_seed_size,
                    "one_in_ten": p.one_in_ten,
                    "there": p.supply,
                    "first": p.first,
                }
                for p in found.products
            ],
            "lots": [
                {"lot": x.lot, "enough": x.enough, "short_units": x.short} for x in found.lots
            ],
            "seed_enough": found.seed_enough,
            "white_mold_seed": found.white_mold,
            "short_acres": found.short_acres,
            **({"spare_planted": asdict(found.spare)} if found.spare else {}),
        },
    }

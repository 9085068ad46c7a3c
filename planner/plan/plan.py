"""The plan as immutable records, in the working units of `planner.season.domain`.

The fields bear the names of the keys in ``plan.json``.
"""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import dataclass, replace
from enum import Enum
from typing import NamedTuple

from planner.units.money import CENTS, cents

CENT = 0.01
"""Money under which a difference is none."""
CRUMB_ACRES = 1e-3
"""Acres under which a part of a field is what arithmetic leaves over: some 40 square feet."""


class Outcome(Enum):
    """How sure the plan is."""

    OPTIMAL = "optimal"
    """Proven: no plan leaves fewer acres short, and none that leaves as few is cheaper by more than
    0.01%."""
    FEASIBLE = "feasible"
    """Keeps every rule; `Plan.bound` says how much cheaper one with no more acres short could be at
    the most. With a gap that would be optimal, the acres short are not proven, as
    `Plan.shortage_proven` says."""

    @property
    def words(self) -> str:
        """What is proven of the plan, as people are told it."""
        return "proven cheapest" if self is Outcome.OPTIMAL else "not proven"


def known_gap(gap: float | None) -> float | None:
    """A proven gap that says something; None for one of the whole cost or more.

    >>> known_gap(0.02), known_gap(1.0), known_gap(float("inf"))
    (0.02, None, None)
    """
    return gap if gap is not None and gap < 1.0 else None


def says_something(plan: Plan) -> bool:
    """Whether the proven floor of a plan's cost is near enough to say anything."""
    return math.isfinite(plan.bound) and known_gap(plan.gap) is not None


def said_gap(gap: float | None) -> float | str:
    """A proven gap, or that it is not known."""
    known = known_gap(gap)
    return "not known" if known is None else known


def how_near(outcome: Outcome, gap: float | None) -> float | str:
    """Proven cheapest, or the share of its total that a plan may be above the cheapest.

    >>> how_near(Outcome.OPTIMAL, 5e-5), how_near(Outcome.FEASIBLE, 0.02)
    ('proven cheapest', 0.02)
    """
    return outcome.words if outcome is Outcome.OPTIMAL else said_gap(gap)


NEARNESS = "How near the cheapest"
"""What people read above `Outcome` and gap, wherever they stand."""
TOTAL = "Total compared"
"""What people read above `Cost.total`: no bill, as part of it is not paid."""
PROVEN_GAP = 1e-4
"""The largest gap that is called optimal."""


def gap_of(total: float, bound: float) -> float:
    """Proven distance of a cost from the best possible, as a share of the cost; never below 0.

    >>> gap_of(200.0, 190.0), gap_of(200.0, 201.0)
    (0.05, 0.0)
    """
    return max(0.0, total - bound) / max(1.0, abs(total))


class Proof(NamedTuple):
    """What is proven of a plan."""

    outcome: Outcome
    gap: float
    bound: float


def proof(total: float, bound: float, *, shortage_proven: bool) -> Proof:
    """What a proven bound says of a plan that costs `total`; it is no higher than that.

    >>> proof(200.0, 190.0, shortage_proven=True)
    Proof(outcome=<Outcome.FEASIBLE: 'feasible'>, gap=0.05, bound=190.0)
    """
    bound, gap = min(bound, total), gap_of(total, bound)
    proven = gap <= PROVEN_GAP and shortage_proven
    return Proof(Outcome.OPTIMAL if proven else Outcome.FEASIBLE, gap, bound)


COST_TERMS = (
    ("containers", "Containers", 1),
    ("freight", "Freight", 1),
    ("discounts", "Discounts", -1),
    ("seed_bought", "Seed bought", 1),
    ("seed_given_up", "Return value of seed you use", 1),
    ("carryover_credit", "Carryover credit", -1),
    ("yield_loss", "Expected yield loss", 1),
)
"""Terms of `Cost`: attribute, what people read, and sign in the total."""


@dataclass(frozen=True, slots=True)
class Cost:
    """What the plan costs, term by term; discounts and carryover credit are subtracted."""

    containers: float = 0.0
    freight: float = 0.0
    discounts: float = 0.0
    seed_bought: float = 0.0
    seed_given_up: float = 0.0
    carryover_credit: float = 0.0
    yield_loss: float = 0.0

    @property
    def for_product(self) -> float:
        """Money paid out for product: containers and freight less discounts."""
        return self.containers + self.freight - self.discounts

    @property
    def spent(self) -> float:
        """Money paid out: for product, and for seed bought.

        >>> Cost(containers=100, discounts=5, seed_bought=50, yield_loss=8).spent
        145.0
        """
        return self.for_product + self.seed_bought

    @property
    def total(self) -> float:
        """Sum of the terms.

        >>> Cost(containers=100, discounts=5, freight=10).total
        105.0
        """
        return self.spent + self.seed_given_up - self.carryover_credit + self.yield_loss


def in_cents(amount: float) -> float:
    """Money in whole cents, as it is read.

    >>> in_cents(78555.9482)
    78555.95
    """
    return cents(amount) / CENTS


def cost_in_cents(cost: Cost) -> dict[str, float]:
    """Terms of a cost with their signs, in whole cents that add up to the total's.

    The cents that rounding leaves fall on a term that nobody bills, where there is one.

    >>> cost_in_cents(Cost(containers=100.0, discounts=2.004, carryover_credit=5.004))
    {'containers': 100.0, 'discounts': -2.0, 'carryover_credit': -5.01}
    """
    signed = {key: cents(sign * getattr(cost, key)) for key, _, sign in COST_TERMS}
    whole = {key: amount for key, amount in signed.items() if amount}
    if whole:
        whole[next(reversed(whole))] += cents(cost.total) - sum(whole.values())
    return {key: amount / CENTS for key, amount in whole.items()}


@dataclass(frozen=True, slots=True)
class OrderLine:
    """Containers of one kind to order."""

    product: str
    container: str
    count: int
    unit_price: float
    cost: float
    supplier: str = ""


@dataclass(frozen=True, slots=True)
class Added:
    """Containers of one kind that were added to an order, once it was decided, to be safe."""

    product: str
    container: str
    count: int


@dataclass(frozen=True, slots=True)
class SeedPurchase:
    """Full bags of a lot to buy."""

    lot: str
    bags: int
    units: float
    cost: float


@dataclass(frozen=True, slots=True)
class Treating:
    """Bags of a lot to treat with a recipe. `part_bag` is 1 if the lot's part bag is among them."""

    lot: str
    recipe: str
    full_bags: int
    part_bag: int
    units: float


@dataclass(frozen=True, slots=True)
class Planting:
    """Acres of a field to plant with a lot under a recipe (or `UNTREATED`); units with spare."""

    field: str
    lot: str
    recipe: str
    acres: float
    units: float


@dataclass(frozen=True, slots=True)
class ProductUse:
    """Where a product's volume comes from and goes: on_hand + on_its_way + bought = need + left.

    `on_hand` is what counts (nothing if it expires before the first treating day); `on_its_way`
    and `bought` are what can be drawn out, without heels; `need` holds margin and line losses.
    """

    product: str
    need: float
    on_hand: float
    on_its_way: float
    bought: float
    left: float


@dataclass(frozen=True, slots=True)
class Shortage:
    """Acres of a field that stay unplanted, and why."""

    field: str
    acres: float
    why: str = ""


@dataclass(frozen=True, slots=True)
class Plan:
    """All that was decided for a season."""

    outcome: Outcome
    gap: float
    bound: float
    cost: Cost
    order: tuple[OrderLine, ...] = ()
    seed_purchases: tuple[SeedPurchase, ...] = ()
    treating: tuple[Treating, ...] = ()
    planting: tuple[Planting, ...] = ()
    products: tuple[ProductUse, ...] = ()
    """One per product of the season, in the season's order."""
    shortages: tuple[Shortage, ...] = ()
    run_order: tuple[str, ...] = ()
    """Recipes as they run one after the other, where the line stays primed; else empty."""
    added: tuple[Added, ...] = ()
    """Containers of `order` that were added to be safe: cost, gap and bound are of the plan with
    them."""
    shortage_proven: bool = True
    """Whether fewer acres short is proven impossible."""
    warnings: tuple[str, ...] = ()
    seconds: float = 0.0
    """Time that deciding took."""

    @property
    def counts(self) -> dict[tuple[str, str], int]:
        """Containers to order, by (product, container)."""
        return {(o.product, o.container): o.count for o in self.order}

    @property
    def bags_bought(self) -> dict[str, int]:
        """Bags of seed to buy, by lot."""
        return {s.lot: s.bags for s in self.seed_purchases}


def without_crumbs(plan: Plan) -> Plan:
    """Plan to be read and worked from: without parts of fields too small to be planted.

    The largest part of every field stays, however small it is.

    >>> parts = (Planting("North", "A1", "Base", 40, 38), Planting("North", "A2", "Base", 1e-5, 0))
    >>> plan = Plan(Outcome.OPTIMAL, 0.0, 0.0, Cost(), planting=parts)
    >>> [p.lot for p in without_crumbs(plan).planting]
    ['A1']
    """
    largest: dict[str, float] = defaultdict(float)
    for p in plan.planting:
        largest[p.field] = max(largest[p.field], p.acres)
    kept = tuple(p for p in plan.planting if p.acres >= min(CRUMB_ACRES, largest[p.field]))
    return plan if len(kept) == len(plan.planting) else replace(plan, planting=kept)

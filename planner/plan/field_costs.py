"""What each field's seed and treating cost: the plan's total, shared out by `planner.plan.traced`.

Shares of all fields and of what is on no field add up to the plan's total.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

from planner.plan.traced import NO_FIELD, Term, trace
from planner.sums import summed

if TYPE_CHECKING:
    from planner.plan.plan import Plan
    from planner.season.domain import Season

SEED = (Term.SEED_BOUGHT, Term.SEED_GIVEN_UP)


@dataclass(frozen=True, slots=True)
class FieldCost:
    """Share of a field in the plan's cost, in the farm's currency."""

    field: str
    acres: float
    """Planted."""
    products: float
    """Containers, freight, less discounts and carryover credit."""
    seed: float
    """Seed bought and given up."""
    yield_loss: float
    total: float


def field_costs(plan: Plan, season: Season) -> tuple[FieldCost, ...]:
    """Share the plan's total out to its planted fields, in the season's order.

    Where something falls on no field, a last record has `NO_FIELD` for a name. All shares add up
    to ``plan.cost.total``.
    """
    acres = summed((p.field, p.acres) for p in plan.planting)
    product: dict[str, float] = defaultdict(float)
    seed: dict[str, float] = defaultdict(float)
    loss: dict[str, float] = defaultdict(float)
    for one in trace(plan, season):
        kind = seed if one.term in SEED else loss if one.term is Term.YIELD_LOSS else product
        kind[one.field] += one.amount
    names = [f.name for f in season.fields if f.name in acres]
    if abs(product[NO_FIELD]) + abs(seed[NO_FIELD]) > 0.005:
        names.append(NO_FIELD)
    return tuple(
        FieldCost(
            name,
            acres[name],
            product[name],
            seed[name],
            loss[name],
            product[name] + seed[name] + loss[name],
        )
        for name in names
    )

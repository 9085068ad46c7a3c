"""Which ceiling on liquid or active ingredient breaks first as figures differ, and where.

Per seed and per acre a rate by weight puts on more the heavier a seed is, so such a ceiling breaks
as seeds per lb fall. Liquid is limited per 100 lb, of which a rate by the unit puts on more the
lighter a unit is, so that ceiling breaks as seeds per lb rise.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from planner.agronomy.rates import (
    floz_per_unit,
    lb_per_acre,
    liquid_per_cwt,
    mg_per_seed,
)
from planner.agronomy.seeding import drop_rate, unit_weight
from planner.risk.uses import BY_WEIGHT
from planner.season.domain import POWDER
from planner.units.exact import LB_PER_CWT

if TYPE_CHECKING:
    from collections.abc import Iterator

    from planner.plan.plan import Plan
    from planner.season.domain import Recipe, Season, SeedLot

LIQUID = "Liquid"


@dataclass(frozen=True, slots=True)
class Ceiling:
    """A ceiling at one place of the plan, and what breaks it."""

    about: str
    """`LIQUID` or the active ingredient."""
    per: str
    """cwt, seed or acre."""
    limit: float
    """fl oz/cwt, mg/seed or lb/acre."""
    planned: float
    """In the same unit."""
    lot: str
    recipe: str
    field: str
    """Empty but per acre."""
    used: float
    """Share more on every unit that it allows."""
    seed_size: float | None
    """Change of the lot's seeds per lb from which it is broken; None where none breaks it."""


def ceilings(season: Season, plan: Plan) -> tuple[Ceiling, ...]:
    """Find the worst place of every ceiling by product used, the ceiling that breaks first first.

    Only seed that the plan treats counts.
    """
    return _worst(season, plan, "used")


def ceilings_by_size(season: Season, plan: Plan) -> tuple[Ceiling, ...]:
    """Find the worst place of every ceiling by seed size, likewise, of those that it can break."""
    return _worst(season, plan, "seed_size")


def _worst(season: Season, plan: Plan, by: str) -> tuple[Ceiling, ...]:
    worst: dict[tuple[str, str], Ceiling] = {}
    for each in all_ceilings(season, plan):
        far = getattr(each, by)
        if far is None:
            continue
        key = (each.about, each.per)
        if key not in worst or abs(far) < abs(getattr(worst[key], by)):
            worst[key] = each
    return tuple(sorted(worst.values(), key=lambda c: abs(getattr(c, by))))


def all_ceilings(season: Season, plan: Plan) -> Iterator[Ceiling]:
    """Every ceiling at every place of the plan."""
    treated = {(t.lot, t.recipe) for t in plan.treating}
    for lot, recipe in sorted(treated):
        yield from _on_seed(season.lot_named[lot], season.recipe_named[recipe], season)
    for p in plan.planting:
        if (p.lot, p.recipe) not in treated:
            continue
        seeds = drop_rate(season.field_named[p.field], season.lot_named[p.lot])
        parts = _actives(season.lot_named[p.lot], season.recipe_named[p.recipe], season)
        for limit in season.active_limits:
            mg, heavy = parts.get(limit.ingredient, (0.0, 0.0))
            if limit.per_acre is not None and mg > 0.0:
                cap, acre = limit.per_acre, lb_per_acre(mg, seeds)
                size = _falling(lb_per_acre(heavy, seeds), acre, cap)
                place = (p.lot, p.recipe, p.field)
                yield Ceiling(limit.ingredient, "acre", cap, acre, *place, _room(acre, cap), size)


def _on_seed(lot: SeedLot, recipe: Recipe, season: Season) -> Iterator[Ceiling]:
    limit = season.farm.liquid_limit
    if limit is not None:
        liquid = liquid_per_cwt(recipe, lot, season)
        by_unit = _liquid_by_unit(lot, recipe, season)
        size = max(0.0, limit - liquid) / by_unit if by_unit > 0.0 else None
        place = (lot.name, recipe.name, "")
        if liquid > 0.0:
            yield Ceiling(LIQUID, "cwt", limit, liquid, *place, _room(liquid, limit), size)
    parts = _actives(lot, recipe, season)
    for active in season.active_limits:
        mg, heavy = parts.get(active.ingredient, (0.0, 0.0))
        cap = active.per_seed
        if cap is not None and mg > 0.0:
            size = _falling(heavy, mg, cap)
            place = (lot.name, recipe.name, "")
            yield Ceiling(active.ingredient, "seed", cap, mg, *place, _room(mg, cap), size)


def _room(planned: float, limit: float) -> float:
    return max(0.0, limit / planned - 1.0)


def _falling(by_weight: float, planned: float, limit: float) -> float | None:
    """Change of seeds per lb at which the part by weight takes what the limit leaves."""
    if by_weight <= 0.0:
        return None
    room = max(0.0, limit - planned)
    return 0.0 - room / (by_weight + room)


def _actives(lot: SeedLot, recipe: Recipe, season: Season) -> dict[str, tuple[float, float]]:
    """Mg a seed by ingredient: all, and what of it goes by weight."""
    from dataclasses import replace

    heavy = replace(recipe, rates=tuple(r for r in recipe.rates if r.basis in BY_WEIGHT))
    every = mg_per_seed(recipe, lot, season)
    weighed = mg_per_seed(heavy, lot, season)
    return {name: (mg, weighed.get(name, 0.0)) for name, mg in every.items()}


def _liquid_by_unit(lot: SeedLot, recipe: Recipe, season: Season) -> float:
    """Fl oz per cwt of what goes by the unit, at the planned seeds per lb; powders are dry."""
    wet = [r for r in recipe.rates if season.product_named[r.product].kind != POWDER]
    light = [
        floz_per_unit(rate, lot, season)
        for rate in (*wet, *recipe.carriers)
        if rate.basis not in BY_WEIGHT
    ]
    return sum(light) * LB_PER_CWT / unit_weight(lot, season.farm)

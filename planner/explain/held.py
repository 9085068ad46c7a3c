"""A plan's own decisions counted again for a season that allows them too."""

from __future__ import annotations

from dataclasses import replace
from math import ceil, floor
from typing import TYPE_CHECKING

from planner.agronomy.seeding import units_per_acre
from planner.errors import AuditError
from planner.plan.audit import audit
from planner.plan.price import order_of_runs, price_plan
from planner.sums import summed

if TYPE_CHECKING:
    from planner.plan.plan import Plan, Planting, Treating
    from planner.season.domain import Season


def held_cost(plan: Plan, season: Season) -> float:
    """Cost of a plan's own decisions in a season in which they are still allowed."""
    return held_plan(plan, season, plan, trim=True).cost.total


def held_plan(plan: Plan, season: Season, known: Plan, *, trim: bool = False) -> Plan:
    """Return a plan's own decisions with every figure counted again for a season.

    `known` is a plan of that season, whose bound holds for this one too. With `trim`, bags that
    no acre needs there are left untreated.
    """
    planting = tuple(
        replace(
            p,
            units=p.acres
            * units_per_acre(season.field_named[p.field], season.lot_named[p.lot], season.farm),
        )
        for p in plan.planting
    )
    bags = {
        s.lot: round(s.units / season.lot_named[s.lot].units_per_bag) for s in plan.seed_purchases
    }
    treating = tuple(_bagged(t, season.lot_named[t.lot].units_per_bag) for t in plan.treating)
    if trim:
        treating = _trimmed(treating, planting, season)
    runs = order_of_runs(season, treating, planting, plan.run_order)
    held = price_plan(
        season,
        plan.counts,
        bags,
        treating,
        planting,
        runs,
        bound=known.bound,
        shortage_proven=known.shortage_proven,
    )
    return replace(held, shortages=plan.shortages, seconds=known.seconds)


def allowed_plan(plan: Plan, season: Season, known: Plan) -> Plan | None:
    """Return `held_plan` with bags trimmed; None where the season does not allow its decisions."""
    try:
        held = held_plan(plan, season, known, trim=True)
        audit(held, season)
    except (KeyError, ValueError, AuditError):  # KeyError: of seed that the season does not have
        return None
    return held


def _bagged(row: Treating, per_bag: float) -> Treating:
    """Return the same units counted in bags of another size."""
    full = floor(row.units / per_bag * (1.0 + 1e-12) + 1e-9)
    return replace(row, full_bags=full, part_bag=int(row.units - full * per_bag > 1e-9 * row.units))


def _trimmed(
    treating: tuple[Treating, ...], planting: tuple[Planting, ...], season: Season
) -> tuple[Treating, ...]:
    """Return the treating without bags that no planted acre needs."""
    per_bag = {lot.name: lot.units_per_bag for lot in season.lots}
    missing = summed(((p.lot, p.recipe), p.units) for p in planting)
    for done in season.treated:
        missing[done.lot, done.recipe] -= done.units
    rows = []
    for row in treating:
        size = per_bag[row.lot]
        part = row.units - row.full_bags * size if row.part_bag else 0.0
        need = missing[row.lot, row.recipe]
        full = min(row.full_bags, max(0, ceil(need / size - 1e-9)))
        keep = int(row.part_bag and full * size < need - 1e-9 * size)
        if full or keep:
            units = full * size + keep * part
            rows.append(replace(row, full_bags=full, part_bag=keep, units=units))
    return tuple(rows)

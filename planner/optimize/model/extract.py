"""From the solver's values to whole things, and from those to a plan."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from planner.errors import NoPlanError
from planner.optimize.model.line import START, line_kinds, run_sequences
from planner.plan.plan import Plan, Planting, Shortage, Treating
from planner.plan.price import order_of_runs, price_plan

if TYPE_CHECKING:
    from planner.optimize.mip.highs import Floats
    from planner.optimize.model.program import Model

DUST = 1e-7
"""Share of a field's acres under which an area is the dust of the solver's arithmetic."""


def _whole(value: float) -> int:
    """Round what must be whole.

    Raises
    ------
    NoPlanError
        When it is not within 1e-4 of a whole number.
    """
    if abs(value - round(value)) > 1e-4:
        msg = f"the solver returned {value} where a whole number must be"
        raise NoPlanError(msg)
    return round(value)


def counts(model: Model, x: Floats) -> dict[tuple[str, str], int]:
    """Containers ordered by (product, container)."""
    found: dict[tuple[str, str], int] = defaultdict(int)
    for (i, _), value in model.values("count", x):
        c = model.it.containers[i]
        found[c.product, c.name] += _whole(value)
    return {key: n for key, n in found.items() if n > 0}


def supply(model: Model, x: Floats) -> Floats:
    """What is on hand and bought of every product, in its largest container."""
    it = model.it
    number = it.product_at
    total = np.array(it.supply, dtype=np.float64)
    for (i, _), count in model.values("count", x):
        total[number[it.containers[i].product]] += count * it.containers[i].usable
    return total / it.lump


def bags_bought(model: Model, x: Floats) -> dict[str, int]:
    """Bags bought by lot."""
    found = {model.it.lots[j].name: _whole(value) for j, value in model.values("bought", x)}
    return {lot: n for lot, n in found.items() if n > 0}


def treating(model: Model, x: Floats) -> tuple[Treating, ...]:
    """Bags treated, in the order of lots and recipes."""
    it = model.it
    full = {key: _whole(value) for key, value in model.values("bags", x)}
    part = {key: _whole(value) for key, value in model.values("part", x)}
    rows = []
    for j, k in sorted(full.keys() | part.keys()):
        n, q = full.get((j, k), 0), part.get((j, k), 0)
        if n or q:
            units = n * it.lots[j].units_per_bag + q * float(it.part_bag[j])
            rows.append(Treating(it.lots[j].name, it.recipes[k].name, n, q, units))
    return tuple(rows)


def planting(model: Model, x: Floats) -> tuple[Planting, ...]:
    """Acres planted, in the order of fields, lots and recipes, without the solver's dust."""
    it, c = model.it, model.choices
    recipes, rows = it.recipe_names, []
    for t, acres in enumerate(x[model.at["acres"]].tolist()):
        field = it.fields[int(c.field[t])]
        if acres > DUST * field.acres:
            lot, k = it.lots[int(c.lot[t])], int(c.recipe[t])
            rows.append(
                Planting(field.name, lot.name, recipes[k], acres, acres * float(c.units[t]))
            )
    return tuple(rows)


def run_order(model: Model, x: Floats, treated: tuple[Treating, ...]) -> tuple[str, ...]:
    """Recipes treated with, in the order in which they run; those that leave no loss last."""
    it = model.it
    follows = {i: j for (i, j), value in model.values("follows", x) if value > 0.5}
    kinds = line_kinds(it)
    run = {t.recipe for t in treated}
    path = []
    sequences = run_sequences(it, model.keys["run"]) or ()
    for n in (n for n, value in model.values("sequence", x) if value > 0.5):
        path += sequences[n].kinds
    at = follows.pop(START, None)
    while at is not None:
        path.append(at)
        at = follows.pop(at, None)
    names = [it.recipes[k].name for kind in path for k in kinds[kind].recipes]
    found = [name for name in names if name in run]
    return (*found, *sorted(run.difference(found)))


def make_plan(model: Model, x: Floats, bound: float, *, shortage_proven: bool = True) -> Plan:
    """Build the plan that a solution stands for; `bound` is proven: no plan costs less."""
    it = model.it
    treated, planted = treating(model, x), planting(model, x)
    runs = order_of_runs(it.season, treated, planted, run_order(model, x, treated))
    whole = {f.name: f.acres for f in it.season.fields}
    short = dict(whole)
    for p in planted:
        short[p.field] -= p.acres
    plan = price_plan(
        it.season,
        counts(model, x),
        bags_bought(model, x),
        treated,
        planted,
        runs,
        bound=max(bound, model.matrix.least),
        shortage_proven=shortage_proven,
    )
    return replace(
        plan,
        shortages=tuple(
            Shortage(name, acres) for name, acres in short.items() if acres > 1e-6 * whole[name]
        ),
    )

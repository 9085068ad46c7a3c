"""The model's variables, by index. No text of the user's ever becomes a solver name."""

from __future__ import annotations

from dataclasses import dataclass, field
from math import ceil
from typing import TYPE_CHECKING, Any

from planner.optimize.model.instance import WHOLE
from planner.optimize.model.line import START, line_kinds, run_sequences
from planner.plan.price import counts_toward, most_affordable, pays_unused

if TYPE_CHECKING:
    from pulp import LpProblem

    from planner.optimize.model.instance import Choices, Instance
    from planner.optimize.model.line import RunSequence

Var = Any
"""A PuLP variable."""


@dataclass(slots=True, eq=False)
class Variables:
    """PuLP variables by index; what may not be positive has no variable.

    Symbols are in brackets.
    """

    choices: Choices
    acres: list[Var] = field(default_factory=list)
    """Acres of each choice. [a]"""
    short: list[Var] = field(default_factory=list)
    """Acres of each field that stay unplanted. [h]"""
    short_in: dict[int, Var] = field(default_factory=dict)
    """Acres short of all fields of a priority. [H]"""
    share: dict[tuple[int, int, int], Var] = field(default_factory=dict)
    """Whether a field has a share of (variety, recipe); only where the field rule bites. [y]"""
    bare: dict[tuple[int, int, int], Var] = field(default_factory=dict)
    """Acres of a field that its only share leaves short; where one share is allowed. [o]"""
    lot_share: dict[tuple[int, int, int], Var] = field(default_factory=dict)
    """Whether a field has seed of (lot, recipe); only where it may have several lots of a share,
    none in a sliver. [t]"""
    bags: dict[tuple[int, int], Var] = field(default_factory=dict)
    """Full bags of (lot, recipe) treated. [x]"""
    part: dict[tuple[int, int], Var] = field(default_factory=dict)
    """Whether the lot's part bag gets the recipe. [q]"""
    bought: dict[int, Var] = field(default_factory=dict)
    """Bags of a lot bought. [b]"""
    run: dict[int, Var] = field(default_factory=dict)
    """Whether anything is treated with a recipe. [z]"""
    sequence: dict[int, Var] = field(default_factory=dict)
    """Whether recipes run in a sequence worked out; only where the line stays primed. [W]"""
    follows: dict[tuple[int, int], Var] = field(default_factory=dict)
    """Whether one kind of recipes runs right after another; only where there are too many kinds.
    [y]"""
    flow: dict[tuple[int, int], Var] = field(default_factory=dict)
    """Kinds of recipes still to come, from one kind to the next. [f]"""
    count: dict[tuple[int, int], Var] = field(default_factory=dict)
    """Containers at a price break. [n]"""
    reached: dict[tuple[int, int], Var] = field(default_factory=dict)
    """Whether a price break is the one that prices the container. [w]"""
    left: list[Var] = field(default_factory=list)
    """What is left of each product, counted in its largest container. [e]"""
    ordered: dict[int, Var] = field(default_factory=dict)
    """Whether a supplier with freight is ordered from. [s]"""
    freight_free: dict[int, Var] = field(default_factory=dict)
    """Whether a supplier's freight is free. [g]"""
    level: dict[int, Var] = field(default_factory=dict)
    """Whether a discount level counts. [d]"""
    discount: dict[int, Var] = field(default_factory=dict)
    """Money that a discount level takes off. [D]"""
    sequences: tuple[RunSequence, ...] | None = None
    """What the numbers of `sequence` stand for."""
    most_bags: dict[tuple[int, int], int] = field(default_factory=dict)
    most_count: list[int] = field(default_factory=list)
    most_spend: dict[int, float] = field(default_factory=dict)
    """Upper bound on the list spend that a discount level looks at."""


def spend_thresholds(it: Instance, container: int) -> list[float]:
    """List spends at which buying one more of a container could pay."""
    c = it.containers[container]
    found = [d.spend for d in it.discounts if counts_toward(d, c.product, c.supplier, it.season)]
    found += [s.free_from for s in it.suppliers if s.name == c.supplier and s.free_from is not None]
    return found


def most_containers(it: Instance) -> list[int]:
    """Count of each container that no sensible plan exceeds.

    Enough of it alone for all that could be needed, or to reach every price break and every spend
    that brings a discount or free freight: one more would add cost only. Where one more could be
    worth more than it costs, as many as are sold and paid for; without such a limit there is no
    least cost.
    """
    need = dict(zip((p.name for p in it.products), it.most_need, strict=True))
    supply = dict(zip((p.name for p in it.products), it.supply, strict=True))
    result = []
    for i, c in enumerate(it.containers):
        missing = max(0.0, need[c.product] - supply[c.product])
        count = ceil(missing / c.usable - WHOLE) if c.usable > 0 else 0
        spends = spend_thresholds(it, i)
        if missing > 0 or spends:
            price = min(b.price for b in c.breaks)
            count = max([count, *(b.from_count for b in c.breaks)])
            if price > 0:
                count = max([count, *(ceil(t / price) for t in spends)])
        if pays_unused(it.season, c):
            most = most_affordable(it.season, c)
            result.append(count if most is None else most)
        else:
            result.append(count if c.most is None else min(count, c.most))
    return result


def _add(problem: LpProblem, stem: str, n: int, top: float | None, cat: str) -> Var:
    return problem.add_variable(f"{stem}_{n}", 0, top, cat)


def _field_rule_bites(it: Instance, shares: int) -> bool:
    farm = it.season.farm
    limited = farm.max_varieties is not None and shares > farm.max_varieties
    return limited or max(farm.smallest_split, farm.smallest_lot_share) > 0


def make_variables(problem: LpProblem, it: Instance, choices: Choices) -> Variables:
    """Add the variables of a season to a problem, with bounds from the data.

    `choices` are all of the instance's, or those that the search restricts itself to.
    """
    v = Variables(choices)
    _planting(problem, it, v)
    _treating(problem, it, v)
    if it.season.farm.line_stays_primed:
        _running(problem, it, v)
    _ordering(problem, it, v)
    return v


def _planting(problem: LpProblem, it: Instance, v: Variables) -> None:
    c = v.choices
    acres = [f.acres for f in it.fields]
    v.acres = [
        _add(problem, "a", t, acres[f], "Continuous") for t, f in enumerate(c.field.tolist())
    ]
    v.short = [_add(problem, "h", f, top, "Continuous") for f, top in enumerate(acres)]
    for priority in sorted({f.priority for f in it.fields}):
        top = sum(f.acres for f in it.fields if f.priority == priority)
        v.short_in[priority] = _add(problem, "H", priority, top, "Continuous")
    by_field: dict[int, set[tuple[int, int]]] = {}
    lots_of: dict[tuple[int, int, int], list[int]] = {}
    for f, lot, k in c.keys:
        by_field.setdefault(f, set()).add((int(it.variety_of[lot]), k))
        lots_of.setdefault((f, int(it.variety_of[lot]), k), []).append(lot)
    for f, shares in sorted(by_field.items()):
        if _field_rule_bites(it, len(shares)):
            for variety, k in sorted(shares):
                name = len(v.share)
                v.share[f, variety, k] = _add(problem, "y", name, 1, "Integer")
                if it.season.farm.max_varieties == 1:
                    v.bare[f, variety, k] = _add(problem, "o", name, acres[f], "Continuous")
    if it.season.farm.smallest_lot_share > 0:
        for (f, _, k), lots in lots_of.items():
            for lot in lots if len(lots) > 1 else ():
                name = len(v.lot_share)
                v.lot_share[f, lot, k] = _add(problem, "t", name, 1, "Integer")


def _treating(problem: LpProblem, it: Instance, v: Variables) -> None:
    pools = set(zip(v.choices.lot.tolist(), v.choices.recipe.tolist(), strict=True))
    v.most_bags = {key: top for key, top in it.most_bags.items() if key in pools}
    for n, (key, top) in enumerate(v.most_bags.items()):
        lot, k = key
        if top > 0:
            v.bags[key] = _add(problem, "x", n, top, "Integer")
        if it.part_bag[lot] > 0:
            v.part[key] = _add(problem, "q", n, 1, "Integer")
        if (key in v.bags or key in v.part) and k not in v.run:
            v.run[k] = _add(problem, "z", k, 1, "Integer")
    useful = {lot for lot, _ in pools}
    for lot, seed in enumerate(it.lots):
        pays = it.treatable(lot) and seed.return_value > seed.buy_price
        if it.can_buy[lot] > 0 and (lot in useful or pays):
            v.bought[lot] = _add(problem, "b", lot, int(it.can_buy[lot]), "Integer")


def _running(problem: LpProblem, it: Instance, v: Variables) -> None:
    v.sequences = run_sequences(it, v.run)
    if v.sequences is not None:
        for n in range(len(v.sequences)):
            v.sequence[n] = _add(problem, "W", n, 1, "Integer")
        return
    kinds = [n for n, kind in enumerate(line_kinds(it)) if any(k in v.run for k in kind.recipes)]
    for i in (START, *kinds):
        for j in kinds:
            if i != j:
                name = len(v.follows)
                v.follows[i, j] = _add(problem, "v", name, 1, "Integer")
                v.flow[i, j] = _add(problem, "f", name, len(kinds), "Continuous")


def _ordering(problem: LpProblem, it: Instance, v: Variables) -> None:
    v.most_count = most_containers(it)
    for i, c in enumerate(it.containers):
        top = v.most_count[i]
        for j, b in enumerate(c.breaks):
            if b.from_count > top:
                continue
            v.count[i, j] = _add(problem, f"n_{i}", j, top, "Integer")
            if len(c.breaks) > 1 or b.from_count > 1:
                v.reached[i, j] = _add(problem, f"w_{i}", j, 1, "Integer")
    most_left = dict(zip((p.name for p in it.products), it.supply.tolist(), strict=True))
    for c, top in zip(it.containers, v.most_count, strict=True):
        most_left[c.product] += top * max(0.0, c.usable)
    tops = enumerate(top / lump for top, lump in zip(most_left.values(), it.lump, strict=True))
    v.left = [_add(problem, "e", p, top, "Continuous") for p, top in tops]
    sold = {it.containers[i].supplier for i, _ in v.count}
    for s, supplier in enumerate(it.suppliers):
        if supplier.freight > 0 and supplier.name in sold:
            v.ordered[s] = _add(problem, "s", s, 1, "Integer")
            if supplier.free_from is not None:
                v.freight_free[s] = _add(problem, "g", s, 1, "Integer")
    for d, discount in enumerate(it.discounts):
        dearest = [max(b.price for b in c.breaks) for c in it.containers]
        most = float(sum(v.most_count[i] * dearest[i] for i in qualifying(it, d)))
        if discount.percent > 0 and most >= discount.spend:
            v.most_spend[d] = most
            v.level[d] = _add(problem, "d", d, 1, "Integer")
            v.discount[d] = _add(problem, "D", d, discount.percent * most, "Continuous")


def qualifying(it: Instance, level: int) -> list[int]:
    """Containers whose list spend a discount level looks at."""
    d = it.discounts[level]
    return [
        i for i, c in enumerate(it.containers) if counts_toward(d, c.product, c.supplier, it.season)
    ]

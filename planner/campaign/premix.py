"""Which products share a pump, and how such a premix is made: amounts by tank, order, jar test.

A slurry is the sum of its rates: each part is its rate x the seed, and a tank treats its volume /
the slurry's rate. The order is that of spray tanks (Manitoba's guide in Canola Watch,
canolacouncil.org, 15 May 2013), carried over to slurries by common practice: part of the water,
suspensions of actives, polymer, color, the rest of the water; what lives last, near its use.
Guides disagree, so a product's own place goes before that, and its label before all.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

from planner.agronomy.rates import floz_per_unit
from planner.agronomy.seeding import unit_weight
from planner.campaign.domain import Mix, MixStep, Premix
from planner.season.domain import CARRIER, LIVING, POWDER
from planner.sums import summed
from planner.units.exact import LB_PER_CWT

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from planner.campaign.domain import Batch, Campaign
    from planner.season.domain import Product, Recipe, Season, SeedLot

RANKS = {CARRIER: 0, "polymer": 2, "colorant": 3, "biological": 5, "inoculant": 6}
"""Place in a premix by kind; all other kinds come at 1, the rest of the water at 4."""
JAR_ML = 100.0
"""Slurry of a jar test, mL."""
MOST_TRIED = 7
"""Products of a recipe up to which every way to share pumps is tried."""
CRUMB = 1e-6
Group = tuple["Product", ...]


def pumped(season: Season, recipe: Recipe) -> Group:
    """Everything of a recipe that goes through a pump, its water included, each once."""
    known = {p.name: p for p in (*season.products, *season.carriers)}
    names = dict.fromkeys(r.product for r in (*recipe.rates, *recipe.carriers))
    return tuple(known[name] for name in names if known[name].kind != POWDER)


def streams(season: Season, recipe: Recipe) -> tuple[Group, ...]:
    """Products by pump; a group of several is premixed, in the order of mixing.

    Of all ways to share the pumps the one is taken in which the fewest products meet that must not,
    then in which water is not alone, what lives is alone, the fewest products and the fewest
    premixes are mixed.
    """
    products = pumped(season, recipe)
    pumps = season.farm.pumps or len(products)
    if pumps >= len(products):
        return tuple((p,) for p in products)
    ways = _ways(products, pumps) if len(products) <= MOST_TRIED else [_one_premix(products, pumps)]
    best = min(ways, key=_mixed)
    return tuple(sorted((in_order(g) for g in best), key=lambda g: products.index(g[0])))


def _ways(products: Group, pumps: int) -> Iterator[list[Group]]:
    """Every way to share exactly that many pumps."""
    if not products:
        if pumps == 0:
            yield []
        return
    first, rest = products[0], products[1:]
    for way in _ways(rest, pumps - 1) if pumps else ():
        yield [(first,), *way]
    for way in _ways(rest, pumps) if len(rest) >= pumps else ():
        for i, group in enumerate(way):
            yield [*way[:i], (first, *group), *way[i + 1 :]]


def _one_premix(products: Group, pumps: int) -> list[Group]:
    """What lives on pumps of its own as far as they go, all the rest in one premix."""
    first = sorted(products, key=lambda p: (p.kind == CARRIER, p.kind not in LIVING))
    names = {p.name for p in first[: pumps - 1]}
    rest = tuple(p for p in products if p.name not in names)
    return [*((p,) for p in products if p.name in names), rest]


def _mixed(way: Sequence[Group]) -> tuple[int, int, int, int, int]:
    """How bad a way to share pumps is, the worst first."""
    many = [g for g in way if len(g) > 1]
    return (
        sum(len(kept_apart(g)) for g in way),
        sum(1 for g in way if len(g) == 1 and g[0].kind == CARRIER),
        sum(1 for g in many if any(p.kind not in (*LIVING, CARRIER) for p in g) and _lives(g)),
        sum(len(g) for g in many),
        len(many),
    )


def _lives(group: Group) -> bool:
    return any(p.kind in LIVING for p in group)


def kept_apart(products: Sequence[Product]) -> list[tuple[str, str]]:
    """Pairs of products that must not meet, each once."""
    return [
        (a.name, b.name)
        for i, a in enumerate(products)
        for b in products[i + 1 :]
        if b.name in a.not_with or a.name in b.not_with
    ]


def in_order(group: Group) -> Group:
    """Products in the order of mixing: by kind, those with a place of their own there."""
    usual = [p for p in group if p.mixing_order is None]
    found = sorted(usual, key=lambda p: RANKS.get(p.kind, 1))
    placed = [p for p in group if p.mixing_order is not None]
    for p in sorted(placed, key=lambda p: p.mixing_order or 0):
        found.insert((p.mixing_order or 1) - 1, p)
    return tuple(found)


def premix(season: Season, batch: Batch) -> Premix | None:
    """How a batch is premixed; None where every product has a pump."""
    recipe, lot = season.recipe_named[batch.recipe], season.lot_named[batch.lot]
    groups = streams(season, recipe)
    many = [(g, name) for g, name in zip(groups, pump_names(groups), strict=True) if len(g) > 1]
    if not many:
        return None
    return Premix(
        lot=batch.lot,
        recipe=batch.recipe,
        units=batch.units,
        mixes=tuple(_mix(season, recipe, lot, batch, g, name) for g, name in many),
        alone=tuple(g[0].name for g in groups if len(g) == 1),
    )


def left_to_mix(campaign: Campaign) -> list[Premix]:
    """Premixes of what is not treated yet, in the order of the batches."""
    left = summed(((r.lot, r.recipe), r.units) for r in campaign.calendar.runs if not r.done)
    in_order = {(b.lot, b.recipe): i for i, b in enumerate(campaign.batches)}
    found = (_for_units(p, left.get((p.lot, p.recipe), 0.0)) for p in campaign.premixes)
    return sorted((p for p in found if p.units), key=lambda p: in_order[p.lot, p.recipe])


def _for_units(whole: Premix, units: float) -> Premix:
    """Return a premix for as many units of its batch, in tanks of the same size or a smaller."""
    if units >= whole.units - CRUMB:
        return whole
    return replace(whole, units=units, mixes=tuple(_for_less(m, units) for m in whole.mixes))


def _for_less(mix: Mix, units: float) -> Mix:
    total = mix.per_unit * units
    fill = min(mix.fill, total)
    full, last = _tanks(total, fill)
    return replace(
        mix,
        total=total,
        fill=fill,
        full_tanks=full,
        last=last,
        units_a_tank=fill / mix.per_unit,
        minutes=mix.minutes * fill / mix.fill if mix.minutes is not None and mix.fill else None,
        kept_small=mix.kept_small and full > 0 and total > mix.fill,
    )


def _tanks(total: float, fill: float) -> tuple[int, float]:
    """Full tanks of a mix, and what is in the last one; all in fl oz."""
    full = int(total / fill + CRUMB) if fill else 0
    last = total - full * fill
    return full, last if last > CRUMB * total else 0.0


def pump_names(groups: Sequence[Group]) -> tuple[str, ...]:
    """What goes through each pump: a product, or a premix, numbered where there are several."""
    many = sum(len(g) > 1 for g in groups)
    found, number = [], 0
    for group in groups:
        number += len(group) > 1
        premixed = f"Premix {number}" if many > 1 else "Premix"
        found.append(premixed if len(group) > 1 else group[0].name)
    return tuple(found)


def amounts(season: Season, recipe: Recipe, lot: SeedLot) -> dict[str, float]:
    """Fl oz a unit of everything in a recipe, its water included."""
    rates = (*recipe.rates, *recipe.carriers)
    return summed((r.product, floz_per_unit(r, lot, season)) for r in rates)


def _mix(
    season: Season, recipe: Recipe, lot: SeedLot, batch: Batch, group: Group, name: str
) -> Mix:
    each = amounts(season, recipe, lot)
    unit = sum(each[p.name] for p in group)
    total = unit * batch.units
    lives = [p.slurry_life for p in group if p.slurry_life is not None]
    life = min(lives, default=None)
    flow = season.farm.seed_flow
    minute = flow * unit / unit_weight(lot, season.farm) if flow else None
    most = season.farm.tank or math.inf
    in_life = life * 60.0 * minute if life is not None and minute else math.inf
    fill = min(most, in_life, total)
    full, last = _tanks(total, fill)
    return Mix(
        name=name,
        total=total,
        per_unit=unit,
        per_cwt=unit * LB_PER_CWT / unit_weight(lot, season.farm),
        fill=fill,
        full_tanks=full,
        last=last,
        units_a_tank=fill / unit,
        life=life,
        minutes=fill / minute if minute else None,
        kept_small=in_life < min(most, total),
        steps=tuple(
            MixStep(p.name, p.kind, part, each[p.name] * share / unit)
            for p, part, share in _pours(group)
        ),
        not_with=tuple(f"{a} and {b}" for a, b in kept_apart(group)),
    )


def _pours(group: Group) -> list[tuple[Product, str, float]]:
    """Pours of a premix in order: product, which part of it, and the share of it."""
    pours: list[tuple[Product, str, float]] = []
    rest: list[tuple[Product, str, float]] = []
    for p in group:
        if p.kind == CARRIER and p.mixing_order is None and len(group) > 2:
            pours.append((p, "half", 0.5))
            rest.append((p, "rest", 0.5))
        else:
            pours.append((p, "", 1.0))
    end = next((i for i, (p, _, _) in enumerate(pours) if p.kind in LIVING), len(pours))
    return [*pours[:end], *rest, *pours[end:]]

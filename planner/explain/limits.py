"""Which rule keeps seed that suits a field from covering its acres."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from enum import Enum
from math import ceil
from typing import TYPE_CHECKING

from planner.agronomy.rates import floz_per_unit
from planner.agronomy.suitability import lot_obstacles, suitable
from planner.explain.supply import (
    CRUMB,
    Pool,
    acres_from,
    all_seed,
    not_bought,
    units_for,
    unused,
    usable_on,
)
from planner.explain.words import Speech, count, listing, number
from planner.plan.offers import lowest_price_per_floz
from planner.season.domain import UNTREATED
from planner.sums import summed

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from planner.plan.plan import Plan
    from planner.season.domain import Field, Recipe, Season, SeedLot


NEAR = 0.3
"""Maturity outside a field's window beyond which a lot is not worth naming."""
WORTH_NAMING = 10
"""Acres short for each unit left over from which on it is not worth naming."""


class Cause(Enum):
    """What binds where acres stay unplanted."""

    MATURITY = "maturity window"
    TRAIT = "trait"
    GROWER = "grower"
    VARIETY = "varieties listed"
    PROTECTION = "rating too low"
    RECIPE = "recipes listed"
    UNTREATED = "no recipe allowed"
    TREATED = "lot already treated otherwise"
    LIQUID = "liquid limit"
    ACTIVE = "active ingredient ceiling"
    SEED = "seed used up"
    BAGS = "seed left only under other recipes"
    SHARES = "variety limit"
    SPLIT = "smallest split"
    LOT_SHARE = "smallest lot share"
    VARIETY_SHARE = "most of one variety"
    MATURITY_SHARE = "maturity spread"
    PRODUCT = "product not for sale"
    MONEY = "most to spend"
    TOGETHER = "rules taken together"


@dataclass(frozen=True, slots=True)
class Scene:
    """A plan and its season with what the diagnosis looks up again and again."""

    plan: Plan
    season: Season
    pairs: dict[tuple[str, str], list[str]]
    pools: tuple[Pool, ...]
    lots: Mapping[str, SeedLot]

    @classmethod
    def of(cls, plan: Plan, season: Season) -> Scene:
        """Look up what every diagnosis needs."""
        return cls(plan, season, suitable(season), unused(plan, season), season.lot_named)

    def recipes(self, field: Field, pool: Pool) -> list[str]:
        """Recipes under which a pool may go on a field that it suits."""
        return self.pairs[field.name, pool.lot] if pool.recipe is None else [pool.recipe]


def not_enough(
    field: Field, acres: float, allowed: Sequence[SeedLot], scene: Scene
) -> tuple[Cause, str]:
    """Lots and recipes suit; find what keeps their seed from covering the acres."""
    free = usable_on(field, scene.pools, scene.pairs)
    slack = CRUMB + 1e-6 * acres
    if acres_from(field, free, scene.season) >= acres - slack:
        return _ruled_out(field, acres, free, scene)
    names = {lot.name for lot in allowed}
    wrong = [p for p in scene.pools if p.lot in names and p not in free]
    if acres_from(field, [*free, *wrong], scene.season) >= acres - slack:
        return Cause.BAGS, _bag_words(field, acres, wrong, scene)
    later = _planted_later(field, names, scene)
    if later and acres_from(field, [*free, *later.values()], scene.season) >= acres - slack:
        return _not_first(field, acres, free, later, scene)
    return Cause.SEED, _seed_words(field, acres, allowed, free, scene)


def _bag_words(field: Field, acres: float, wrong: Sequence[Pool], scene: Scene) -> str:
    speech = Speech(scene.season.farm)
    held = [f"{speech.units(p.units)} of {p.lot} under {p.recipe}" for p in wrong if p.recipe]
    strong = sorted({r for (f, _), rs in scene.pairs.items() if f == field.name for r in rs})
    return (
        f"Enough seed that fits is left over ({listing(held)}), but in bags treated otherwise; "
        f"this field needs {listing(strong, 'or')} for its last {speech.acres(acres)}."
    )


def _planted_later(field: Field, names: set[str], scene: Scene) -> dict[tuple[str, str], Pool]:
    """Seed of some lots on fields of a later priority, by field and lot, that this one could have.

    What the plan treats itself may get another recipe here.
    """
    rank = {f.name: f.priority for f in scene.season.fields}
    before = {(t.lot, t.recipe) for t in scene.season.treated}
    found = {}
    for p in scene.plan.planting:
        held = scene.lots[p.lot].treated_with is not None or (p.lot, p.recipe) in before
        fits = not held or p.recipe in scene.pairs.get((field.name, p.lot), ())
        if p.lot in names and rank[p.field] > field.priority and fits:
            found[p.field, p.lot] = Pool(p.lot, p.recipe if held else None, p.units)
    return found


def _not_first(
    field: Field,
    acres: float,
    free: Sequence[Pool],
    later: Mapping[tuple[str, str], Pool],
    scene: Scene,
) -> tuple[Cause, str]:
    """Seed would do that goes to fields of a later priority: find what keeps it off this one."""
    speech = Speech(scene.season.farm)
    units = summed((name, pool.units) for (name, _), pool in later.items())
    rank = {f.name: f.priority for f in scene.season.fields}
    takes = [f"{name} (priority {rank[name]}, {speech.units(u)})" for name, u in units.items()]
    start = f"Seed that suits goes to {listing(takes)} in its place: "
    pools = [*free, *later.values()]
    for test in (_shares, _product, _money_at_all):
        found = test(field, acres, pools, scene)
        if found:
            return found[0], start + found[1]
    if not scene.plan.shortage_proven:
        return Cause.TOGETHER, f"{start}no plan that uses it here was found in the time given."
    return Cause.TOGETHER, f"{start}money and the rules together leave no way to use it here."


def _money_at_all(
    field: Field, acres: float, pools: Sequence[Pool], scene: Scene
) -> tuple[Cause, str] | None:
    """Test whether all that may be spent pays for no way to plant the acres."""
    most = scene.season.farm.most_to_spend
    least = _least_of_all(field, acres, pools, scene)
    if most is None or least <= most:
        return None
    speech = Speech(scene.season.farm)
    return (
        Cause.MONEY,
        f"planting it here would take {speech.money(least)} or more for seed and product, and at "
        f"most {speech.money(most)} may be spent.",
    )


def _seed_words(
    field: Field, acres: float, allowed: Sequence[SeedLot], free: Sequence[Pool], scene: Scene
) -> str:
    season, speech = scene.season, Speech(scene.season.farm)
    names = {lot.name for lot in allowed}
    seed = sum(u for (lot, _), u in all_seed(season).items() if lot in names)
    taken = summed(
        (p.field, p.units) for p in scene.plan.planting if p.lot in names and p.field != field.name
    )
    left = sum(p.units for p in free)
    short = max(0.0, units_for(field, acres, allowed, season) - left)
    rank = {f.name: f.priority for f in season.fields}
    others = [
        f"{name} (priority {rank[name]}, {speech.units(u)})"
        for name, u in sorted(taken.items(), key=lambda kv: (rank[kv[0]], -kv[1], kv[0]))
    ]
    text = (
        f"The seed that suits ({listing([lot.name for lot in allowed])}: {speech.units(seed)} "
        f"on hand or for sale) is {speech.units(short)} too little"
    )
    text += f"; it also goes to {listing(others)}." if others else "."
    if left * WORTH_NAMING > acres:
        text += f" {_ruled_out(field, acres_from(field, free, season), free, scene)[1]}"
    return text + _nearly(field, acres, scene)


def miss(field: Field, lot: SeedLot) -> float:
    """By how much a lot's maturity lies outside a field's window; 0 inside."""
    early = (field.earliest - lot.maturity) if field.earliest is not None else 0.0
    late = (lot.maturity - field.latest) if field.latest is not None else 0.0
    return max(0.0, early, late)


def _nearly(field: Field, acres: float, scene: Scene) -> str:
    """Say which seed left over would do but for one bar; empty if there is none."""
    speech = Speech(scene.season.farm)
    left = summed((pool.lot, pool.units) for pool in scene.pools)
    close = []
    for name, units in left.items():
        lot = scene.lots[name]
        bars = lot_obstacles(field, lot)
        if len(bars) == 1 and units * WORTH_NAMING > acres and miss(field, lot) <= NEAR:
            text = f"{name} ({speech.units(units)}: {bars[0].bar.value})"
            close.append((miss(field, lot), name, text))
    found = [text for _, _, text in sorted(close)[:3]]
    return f" Left over, but kept off: {listing(found)}." if found else ""


def _ruled_out(field: Field, acres: float, free: Sequence[Pool], scene: Scene) -> tuple[Cause, str]:
    """Seed that suits is left over and could cover the acres; find the rule that forbids it."""
    speech = Speech(scene.season.farm)
    left = speech.units(sum(p.units for p in free))
    start = f"Seed that suits is left over ({left} of {listing([p.lot for p in free])}), but "
    for test in (_shares, _variety_share, _maturity_share, _product, _money):
        found = test(field, acres, free, scene)
        if found:
            return found[0], start + found[1]
    if not scene.plan.shortage_proven:
        return Cause.TOGETHER, start + "no plan that uses it was found in the time given."
    return Cause.TOGETHER, start + "whole bags and the rules together leave no way to use it."


def _shares(
    field: Field, acres: float, free: Sequence[Pool], scene: Scene
) -> tuple[Cause, str] | None:
    """Test the rules on shares of a field: too few, or too small ones, to hold the acres."""
    farm, speech = scene.season.farm, Speech(scene.season.farm)
    have = {
        (scene.lots[p.lot].variety, p.recipe) for p in scene.plan.planting if p.field == field.name
    }
    more: dict[tuple[str, str], float] = defaultdict(float)
    for pool in free:
        lot = scene.lots[pool.lot]
        for recipe in scene.recipes(field, pool):
            more[lot.variety, recipe] += acres_from(field, [pool], scene.season)
    on_old = sum(a for key, a in more.items() if key in have)
    fresh = sorted((a for key, a in more.items() if key not in have), reverse=True)
    limit = farm.max_varieties
    room = len(fresh) if limit is None else max(0, limit - len(have))
    if on_old + sum(fresh[:room]) < acres - CRUMB:
        shares = count(len(have), "share")
        return Cause.SHARES, f"the field already has {shares} of variety and recipe, its limit."
    smallest = min(farm.smallest_split, field.acres)
    big = [a for a in fresh[:room] if a >= smallest - CRUMB and acres >= smallest - CRUMB]
    if on_old + sum(big) < acres - CRUMB:
        text = f"only in a share smaller than the smallest split of {speech.acres(smallest)}."
        return Cause.SPLIT, text
    return _lot_shares(field, acres, free, scene)


def _lot_shares(
    field: Field, acres: float, free: Sequence[Pool], scene: Scene
) -> tuple[Cause, str] | None:
    """Test the smallest lot share: only lots that have too little, or for too few acres."""
    farm = scene.season.farm
    least = min(farm.smallest_lot_share, field.acres)
    have = {(p.lot, p.recipe) for p in scene.plan.planting if p.field == field.name}
    room = 0.0
    for pool in free:
        most = acres_from(field, [pool], scene.season)
        more = any((pool.lot, recipe) in have for recipe in scene.recipes(field, pool))
        if more or min(most, acres) >= least - CRUMB:
            room += most
    if room >= acres - CRUMB:
        return None
    text = f"only from a lot on less than the smallest lot share of {Speech(farm).acres(least)}."
    return Cause.LOT_SHARE, text


def _variety_share(
    field: Field, acres: float, free: Sequence[Pool], scene: Scene
) -> tuple[Cause, str] | None:
    cap = scene.season.farm.most_of_one_variety
    if cap is None:
        return None
    planted = summed((scene.lots[p.lot].variety, p.acres) for p in scene.plan.planting)
    total = sum(planted.values())
    names = sorted({scene.lots[p.lot].variety for p in free})
    room = sum(max(0.0, cap * (total + acres) - planted[v]) for v in names)
    if room >= acres - CRUMB:
        return None
    if all(planted[v] > CRUMB and planted[v] >= cap * total - CRUMB for v in names):
        has = "has" if len(names) == 1 else "have"
        text = f"{listing(names)} already {has} the most that one variety may take, "
        return Cause.VARIETY_SHARE, f"{text}{cap:.0%} of all planted land."
    text = f"one variety may take at most {cap:.0%} of all planted land, and only {listing(names)}"
    return Cause.VARIETY_SHARE, f"{text} suits." if len(names) == 1 else f"{text} suit."


def _maturity_share(
    field: Field, acres: float, free: Sequence[Pool], scene: Scene
) -> tuple[Cause, str] | None:
    total = sum(p.acres for p in scene.plan.planting)
    for span in scene.season.maturity_spread:
        inside = [
            p.acres
            for p in scene.plan.planting
            if span.earliest <= scene.lots[p.lot].maturity <= span.latest
        ]
        all_in = all(span.earliest <= scene.lots[p.lot].maturity <= span.latest for p in free)
        if all_in and sum(inside) + acres > span.share * (total + acres) + CRUMB:
            low, high = number(span.earliest, 2), number(span.latest, 2)
            full = sum(inside) > CRUMB and sum(inside) >= span.share * total - CRUMB
            most = "already have their most" if full else "may take no more than their share"
            text = f"maturities {low} to {high} {most}, {span.share:.0%} of all planted land."
            return Cause.MATURITY_SHARE, text
    return None


def _product(
    field: Field, acres: float, free: Sequence[Pool], scene: Scene
) -> tuple[Cause, str] | None:
    """Test for a product that every treatment of the free seed needs and that is not for sale."""
    season = scene.season
    if any(p.recipe is not None for p in free):
        return None
    missing = []
    for pool in free:
        lot = scene.lots[pool.lot]
        for name in scene.pairs[field.name, pool.lot]:
            recipe = season.recipe_named.get(name)
            lacking = _lacking(recipe, lot, units_for(field, acres, [lot], season), scene)
            if not lacking:
                return None
            missing += lacking
    return Cause.PRODUCT, f"not enough {listing(sorted(set(missing)))} can be bought to treat it."


def _money(
    field: Field, acres: float, free: Sequence[Pool], scene: Scene
) -> tuple[Cause, str] | None:
    """Test whether what is left to spend pays for no way to plant the acres."""
    farm = scene.season.farm
    if farm.most_to_spend is None:
        return None
    left = farm.most_to_spend - scene.plan.cost.spent
    least = _least_of_all(field, acres, free, scene)
    if least <= left:
        return None
    speech = Speech(farm)
    return (
        Cause.MONEY,
        f"planting it would take {speech.money(least)} or more for seed and product, and of the "
        f"{speech.money(farm.most_to_spend)} that may be spent {speech.money(max(0.0, left))} is "
        "left.",
    )


def _least_of_all(field: Field, acres: float, pools: Sequence[Pool], scene: Scene) -> float:
    """Money that the acres take at the least from any one of some pools."""
    costs = [
        _least_paid(field, acres, pool, name, scene)
        for pool in pools
        for name in (scene.pairs[field.name, pool.lot] if pool.recipe is None else [UNTREATED])
    ]
    return min(costs, default=0.0)


def _least_paid(field: Field, acres: float, pool: Pool, recipe: str, scene: Scene) -> float:
    """Money that the acres take at the least from one pool.

    Seed in whole bags, product at list prices, and freight where no seller is ordered from yet.
    """
    season, lot = scene.season, scene.lots[pool.lot]
    units = units_for(field, acres, [lot], season)
    unbought = not_bought(lot, scene.plan) if pool.recipe == lot.treated_with else 0.0
    here = max(0.0, pool.units - unbought)
    bags = ceil((units - here - CRUMB) / lot.units_per_bag)
    paid, freight = max(0, bags) * lot.units_per_bag * lot.buy_price, 0.0
    uses = {u.product: u for u in scene.plan.products}
    made = season.recipe_named.get(recipe)
    for rate in made.rates if made else ():
        want = floz_per_unit(rate, lot, season) * units * (1.0 + season.farm.product_margin)
        lack = want - max(0.0, uses[rate.product].left if rate.product in uses else 0.0)
        sold = [c for c in season.containers if c.product == rate.product]
        if lack > CRUMB and sold:
            paid += max(
                lack * lowest_price_per_floz(season, rate.product),
                min(b.from_count * b.price for c in sold for b in c.breaks),
            )
            freight = max(freight, min(_more_freight(c.supplier, scene) for c in sold))
    return paid + freight


def _more_freight(supplier: str | None, scene: Scene) -> float:
    """Freight that a first order from a supplier adds, unless the money could make it free."""
    most = scene.season.farm.most_to_spend or 0.0
    if any(o.supplier == supplier for o in scene.plan.order):
        return 0.0
    return sum(
        s.freight
        for s in scene.season.suppliers
        if s.name == supplier and (s.free_from is None or s.free_from > most)
    )


def _lacking(recipe: Recipe | None, lot: SeedLot, units: float, scene: Scene) -> list[str]:
    """Products of which stock left and containers still available can't treat units of a lot."""
    season = scene.season
    uses = {u.product: u for u in scene.plan.products}
    names = []
    for rate in recipe.rates if recipe else ():
        want = floz_per_unit(rate, lot, season) * units
        sold = [c for c in season.containers if c.product == rate.product]
        if any(c.most is None for c in sold):
            continue
        use = uses.get(rate.product)
        supply = sum((c.most or 0) * c.usable for c in sold)
        room = supply - use.bought + use.left if use else supply
        if room < want * (1.0 + season.farm.product_margin) - CRUMB:
            names.append(rate.product)
    return names

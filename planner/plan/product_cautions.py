"""Warnings about products, containers and the order."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from itertools import combinations
from typing import TYPE_CHECKING

from planner.agronomy.rates import liquid_per_cwt, warned
from planner.plan.line import EXACT
from planner.plan.price import (
    best_levels,
    counts_toward,
    lowest_net_price,
    most_affordable,
    pays_unused,
    qualifying_spend,
    seed_days,
)
from planner.plan.words import day_of, money, volume, where
from planner.season.domain import LIVING
from planner.units import Measure, in_unit
from planner.units.exact import FLOZ_PER_GAL

if TYPE_CHECKING:
    from collections.abc import Iterator

    from planner.plan.plan import Plan
    from planner.season.domain import Season

LARGE_CONTAINER = 119 * FLOZ_PER_GAL
"""Size up to which an empty container may hold `SMALL_CEILING`, fl oz (40 CFR 261.7(b)(1))."""
SMALL_CEILING, LARGE_CEILING = 0.03, 0.003
"""Most of an empty container's capacity, by weight (40 CFR 261.7(b)(1))."""
NEARLY = 0.05
"""Share of a level that a spend may miss and still be called near."""
SLACK = 1e-9


def expired_stock(plan: Plan, season: Season) -> Iterator[str]:
    """Stock on hand that expires before it is used."""
    needed = {u.product for u in plan.products if u.need > 0.0}
    first, last = season.farm.first_treating_day, season.farm.treating_done_by
    planted = [f.planting_date for f in season.fields if f.planting_date is not None]
    for p in season.products:
        if p.on_hand <= 0.0 or p.expires is None:
            continue
        stock = f"{volume(p.on_hand, season)} of {p.name} on hand{where(p.row)}"
        if p.expires < first:
            when = "expired" if p.expires < season.farm.plan_date else "expires"
            yield (
                f"{stock} {when} on {day_of(p.expires, season)}, before the first "
                f"treating day ({day_of(first, season)}): it is not counted and must not be used."
            )
        elif p.name in needed and last is not None and p.expires < last:
            yield (
                f"{stock} expires on {day_of(p.expires, season)}, before treating is done "
                f"({day_of(last, season)}): use it first, or it is lost."
            )
        elif p.name in needed and last is None and planted and p.expires < min(planted):
            yield (
                f"{stock} expires on {day_of(p.expires, season)}, before the first field is "
                f"planted ({day_of(min(planted), season)}), and is counted all the same: treat "
                "before it expires, or give a later First treating day on Farm and plan again."
            )


def too_much_liquid(plan: Plan, season: Season) -> Iterator[str]:
    """Recipes that put as much liquid on a lot as the farm's warning says, or more: one warning."""
    limit = season.farm.liquid_warning
    if limit is None:
        return
    treated = {(t.recipe, t.lot) for t in plan.treating}
    metric = season.farm.metric
    found = []
    for recipe in season.recipes:
        wet = {
            name: amount
            for name in season.lot_named
            if (recipe.name, name) in treated
            and warned(amount := liquid_per_cwt(recipe, season.lot_named[name], season), limit)
        }
        if wet:
            most = f"{max(wet.values()):.2f} fl oz on 100 lb"
            if metric:
                most = f"{_metric(max(wet.values())):,.0f} mL on 100 kg"
            lots_ = "lot" if len(wet) == 1 else "lots"
            found.append(
                f"Recipe {recipe.name}{where(recipe.row)} puts up to {most} of seed ({lots_} "
                f"{', '.join(wet)})"
            )
    if found:
        least = f"{_metric(limit):,.0f}" if metric else f"{limit:g}"
        yield (
            f"{'; '.join(found)}. Liquid warning is from {least}: seed may bridge, stick or lose "
            "vigor; dry it, or ask for a more concentrated recipe."
        )


def together_on_seed(plan: Plan, season: Season) -> Iterator[str]:
    """Recipes with two products that must not meet in a tank or line."""
    treated = {t.recipe for t in plan.treating}
    for recipe in season.recipes:
        if recipe.name not in treated:
            continue
        names = dict.fromkeys(r.product for r in recipe.rates)
        apart = [
            f"{a} and {b}"
            for a, b in combinations(names, 2)
            if b in season.product_named[a].not_with or a in season.product_named[b].not_with
        ]
        if apart:
            yield (
                f"Recipe {recipe.name}{where(recipe.row)} puts on one seed what Products keeps "
                f"apart (Do not mix with): {', '.join(apart)}. Ask the suppliers whether they may "
                "go on together from pumps of their own; if not, treat in two passes."
            )


def _metric(floz_per_cwt: float) -> float:
    """Liquid on seed in mL per 100 kg."""
    return in_unit(floz_per_cwt, Measure.LIQUID_ON_SEED, "mL/100 kg")


def heel_over_ceiling(plan: Plan, season: Season) -> Iterator[str]:
    """Containers whose heel is more than may stay in one that is called empty."""
    for c in season.containers:
        ceiling = (SMALL_CEILING if c.size <= LARGE_CONTAINER else LARGE_CEILING) * c.size
        if c.heel > ceiling * (1.0 + SLACK):
            digits = 1 if f"{c.heel:.1f}" != f"{ceiling:.1f}" else 2
            yield (
                f"The {volume(c.heel, season, digits)} that can't be pumped out (heel) of "
                f"{c.product} {c.name}{where(c.row)} are more than the "
                f"{volume(ceiling, season, digits)} that may "
                "stay in an empty container of its size (40 CFR 261.7, a share of weight, taken by "
                "volume here): rinse it as the label says before it is discarded or returned."
            )


def worth_more_than_it_costs(plan: Plan, season: Season) -> Iterator[str]:
    """Containers that would be worth more at season's end than they cost."""
    for c in season.containers:
        if pays_unused(season, c):
            kept = season.product_named[c.product].carryover
            least = lowest_net_price(season, c)
            ends = (
                "As many are ordered as are sold and money is for, where that is cheaper"
                if most_affordable(season, c) is not None
                else "As nothing limits how many, no more are ordered than could be used"
            )
            yield (
                f"A {c.name} of {c.product}{where(c.row)} can cost as little as "
                f"{money(least, season)}, less than its Carryover value, {kept:.0%} of the lowest "
                f"price: buying it pays even unused. Are the two right? {ends}."
            )


def more_off_than_it_costs(plan: Plan, season: Season) -> Iterator[str]:
    """Discounts that together can take more off a container than all of its price."""
    off: dict[tuple[str, ...], tuple[float, str]] = {}
    for c in season.containers:
        most: dict[tuple[str, str | None], float] = defaultdict(float)
        for d in season.discounts:
            if counts_toward(d, c.product, c.supplier, season):
                most[d.name, d.supplier] = max(most[d.name, d.supplier], d.percent)
        if sum(most.values()) > 1.0 + SLACK:
            names = tuple(name for name, _ in most)
            off.setdefault(names, (sum(most.values()), f"{c.product} {c.name}{where(c.row)}"))
    for names, (share, container) in off.items():
        yield (
            f"Discounts {' and '.join(names)} can together take {share:.0%} off {container}, more "
            "than it costs. Are their percents right? No more is ordered than could be used or "
            "reaches a level."
        )


def unused_product(plan: Plan, season: Season) -> Iterator[str]:
    """Products that no recipe uses."""
    used = {rate.product for recipe in season.recipes for rate in recipe.rates}
    for p in season.products:
        if p.name not in used:
            yield f"No recipe uses {p.name}{where(p.row)}."


def living_product_carried_over(plan: Plan, season: Season) -> Iterator[str]:
    """Living products that are given a value for the next season."""
    for p in season.products:
        if p.kind.casefold() in LIVING and p.carryover > 0.0:
            yield (
                f"{p.name}{where(p.row)} is {p.kind} and carries {p.carryover:.0%} of its price "
                "into the next season; living products seldom keep that long: see its expiry date."
            )


def order_by_passed(plan: Plan, season: Season) -> Iterator[str]:
    """Suppliers ordered from, discounts taken and seed bought after the last day for orders."""
    used = {o.supplier for o in plan.order}
    for s in season.suppliers:
        if s.name in used and s.order_by is not None and s.order_by < season.farm.plan_date:
            yield (
                f"{s.name}{where(s.row)} wanted orders by {day_of(s.order_by, season)}, which is "
                "past: ask whether it still sells, at what price and with what discounts. The plan "
                f"counts the listed price{_late_prices(s.name, plan, season)}."
            )
    for level, _ in best_levels(season, plan.order).values():
        if level.order_by is not None and level.order_by < season.farm.plan_date:
            yield (
                f"Discount {level.name}{where(level.row)} was for orders by "
                f"{day_of(level.order_by, season)}; that is past: ask whether it still counts."
            )
    yield from _discounts_over(plan, season)
    for bought in plan.seed_purchases:
        lot = season.lot_named[bought.lot]
        day, _ = seed_days(lot, season)
        if day is not None and day < season.farm.plan_date:
            late = lot.late_price
            instead = f", not the Late price of {money(late, season)}" if late is not None else ""
            yield (
                f"Seed of {lot.name}{where(lot.row)} was to be ordered by {day_of(day, season)}, "
                "which is past: ask whether it is still sold and at what price. The plan counts "
                f"{money(lot.buy_price, season)} a unit{instead}."
            )


def _discounts_over(plan: Plan, season: Season) -> Iterator[str]:
    """Discounts that the order would reach, had their day not been before the plan's."""
    over = [d for d in season.discounts if d.order_by and d.order_by < season.farm.plan_date]
    taken = best_levels(season, plan.order)
    open_ = replace(season, discounts=tuple(replace(d, order_by=None) for d in over))
    for name, (level, saving) in best_levels(open_, plan.order).items():
        day = next(d.order_by for d in over if replace(d, order_by=None) == level)
        if name not in taken and day is not None:
            yield (
                f"Discount {level.name}{where(level.row)} was for orders by "
                f"{day_of(day, season)}, before the plan date, so it is not taken off: "
                f"{money(saving, season)}. Is its Order by right?"
            )


def _late_prices(supplier: str, plan: Plan, season: Season) -> str:
    """Name the Late price of what is ordered from a supplier; empty where none has one."""
    ordered = [
        season.container_named[o.product, o.container] for o in plan.order if o.supplier == supplier
    ]
    late = [
        f"{c.name} of {c.product} {money(c.late_price, season)}"
        for c in ordered
        if c.late_price is not None
    ]
    return f", not the Late price ({', '.join(late)})" if late else ""


def many_recipes_in_order(plan: Plan, season: Season) -> Iterator[str]:
    """More recipes on a line that stays primed than all orders are tried for."""
    if len(plan.run_order) > EXACT:
        yield (
            f"{len(plan.run_order)} recipes run on a line that stays primed. Their order was "
            f"looked for together with the plan, but with more than {EXACT} not every order is "
            "tried: what the plan says of how sure it is holds for the order, too."
        )


def discount_nearly_reached(plan: Plan, season: Season) -> Iterator[str]:
    """Discount levels that the order misses by less than 5%."""
    spends = [(d, qualifying_spend(d, plan.order, season)) for d in season.discounts]
    reached: dict[tuple[str, str | None], float] = defaultdict(float)
    for level, spend in spends:
        if spend >= level.spend * (1.0 - SLACK):
            key = (level.name, level.supplier)
            reached[key] = max(reached[key], level.percent)
    for level, spend in spends:
        missing = level.spend - spend
        better = level.percent > reached[level.name, level.supplier]
        if better and level.spend * SLACK < missing < NEARLY * level.spend:
            yield (
                f"Discount {level.name}{where(level.row)}: at list price the order is "
                f"{money(missing, season)} short of the level of {money(level.spend, season)}, "
                f"which takes {level.percent:.1%} off; ask the supplier before you order."
            )


def free_freight_nearly_reached(plan: Plan, season: Season) -> Iterator[str]:
    """Suppliers whose free freight the order misses by less than 5%."""
    for s in season.suppliers:
        spend = sum(o.cost for o in plan.order if o.supplier == s.name)
        if s.free_from is None or s.freight <= 0.0 or spend <= 0.0:
            continue
        missing = s.free_from - spend
        if s.free_from * SLACK < missing < NEARLY * s.free_from:
            yield (
                f"{s.name}{where(s.row)}: at list price the order is {money(missing, season)} "
                f"short of free freight; it costs {money(s.freight, season)}."
            )

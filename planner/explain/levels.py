"""Whether rounding the order up to a discount level or to free freight would pay."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from planner.explain.mix_search import Spend, cheapest
from planner.explain.mixes import (
    Around,
    Mix,
    describe,
    mix_words,
    more_words,
)
from planner.explain.words import Speech, number
from planner.plan.plan import CENT
from planner.plan.price import counts_toward, list_price, qualifying_spend

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from planner.plan.plan import Plan
    from planner.season.domain import Container, DiscountLevel, Season, Supplier


@dataclass(frozen=True, slots=True)
class LevelReach:
    """What reaching a discount level or free freight that the plan misses would cost."""

    level: str
    missing: float
    """List spend that the plan lacks."""
    product: str
    """Product of which to buy more; empty if none can reach it."""
    containers: tuple[tuple[str, int], ...]
    """That product's mix then."""
    more: float | None
    """Cost over the plan's; negative if it pays. None if it can't be reached."""
    sentence: str


def level_reaches(plan: Plan, season: Season) -> tuple[LevelReach, ...]:
    """Weigh every discount level and free freight that the order misses."""
    counts = plan.counts
    reaches = []
    for level in season.discounts:
        have = qualifying_spend(level, plan.order, season)
        name = f"{level.name} {number(level.percent * 100)}%"
        if level.supplier:
            name += f" of {level.supplier}"
        if have < level.spend - 1e-9 * max(1.0, level.spend):
            missing = level.spend - have
            reaches.append(_reach(name, missing, _counted(level, season), plan, season, counts))
    for s in season.suppliers:
        have = sum(o.cost for o in plan.order if o.supplier == s.name)
        if s.free_from is not None and 0.0 < have < s.free_from and s.freight > 0.0:
            name = f"free freight of {s.name}"
            reaches.append(_reach(name, s.free_from - have, _sold_by(s), plan, season, counts))
    return tuple(reaches)


def _counted(level: DiscountLevel, season: Season) -> Callable[[Container], bool]:
    return lambda c: counts_toward(level, c.product, c.supplier, season)


def _sold_by(supplier: Supplier) -> Callable[[Container], bool]:
    return lambda c: c.supplier == supplier.name


def _reach(
    name: str,
    missing: float,
    on: Callable[[Container], bool],
    plan: Plan,
    season: Season,
    counts: Mapping[tuple[str, str], int],
) -> LevelReach:
    """Find the product whose larger order reaches a level at the least cost."""
    best: tuple[float, str, Mix] | None = None
    for use in plan.products:
        if not any(c.product == use.product and on(c) for c in season.containers):
            continue
        mine = {c: n for (p, c), n in counts.items() if p == use.product}
        around = Around.of(season, use.product, counts)
        held = describe(around, mine)
        want = use.need - use.on_hand - use.on_its_way
        spend = missing + sum(
            mine[c.name] * list_price(c, mine[c.name])
            for c in season.containers
            if c.product == use.product and c.name in mine and on(c)
        )
        found = cheapest(around, want, Spend(spend, on)).mixes
        if found and (best is None or found[0].cost - held.cost < best[0]):
            best = (found[0].cost - held.cost, use.product, found[0])
    speech = Speech(season.farm)
    start = f"{speech.money(missing)} of list price short of {name}; "
    if best is None:
        return LevelReach(name, missing, "", (), None, start + "no larger order reaches it.")
    more, product, mix = best
    text = f"with {mix_words(mix.counts)} of {product} it is reached and the plan costs "
    text += more_words(more, speech) + (": it pays." if more < -CENT / 2.0 else ".")
    return LevelReach(name, missing, product, mix.counts, more, start + text)

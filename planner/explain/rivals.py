"""The order and its rivals: the best mixes of each product, and what would make another best."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from planner.agronomy.rates import floz_per_unit
from planner.explain.levels import level_reaches
from planner.explain.mixes import (
    CENT,
    Around,
    Mix,
    cheapest,
    describe,
    mix_words,
    more_words,
    order_counts,
)
from planner.explain.price_flips import FLIP_NODES, PriceFlip, price_flips
from planner.explain.words import Speech, listing

if TYPE_CHECKING:
    from collections.abc import Mapping

    from planner.explain.levels import LevelReach
    from planner.plan.plan import Plan, ProductUse
    from planner.season.domain import Season


@dataclass(frozen=True, slots=True)
class Rival:
    """A mix of containers that covers the plan's need of a product."""

    containers: tuple[tuple[str, int], ...]
    """Container and count."""
    cost: float
    """What it adds to the plan's cost, the other products' order held; credit for leftover off."""
    more: float
    """Cost over the plan's mix."""
    left: float
    """Fl oz left over."""


@dataclass(frozen=True, slots=True)
class ProductRivals:
    """How a product's mix stands against the others."""

    product: str
    to_buy: float
    """Fl oz that stock and what is on its way leave to be bought; 0 if they will do."""
    mixes: tuple[Rival, ...]
    """The plan's first, then the others by cost; at most three."""
    complete: bool
    """Whether every mix was weighed."""
    need_up: float | None
    """Fl oz more that the mix still covers; beyond, another is best. None where nothing covers."""
    mix_up: tuple[tuple[str, int], ...]
    step_up: float
    """What that next mix costs more."""
    need_down: float | None
    """Fl oz less from which a cheaper mix will do; None if none would at any need."""
    mix_down: tuple[tuple[str, int], ...]
    saved_down: float
    price_flips: tuple[PriceFlip, ...]
    per_unit: float
    """Fl oz on a unit of seed, average of what the plan treats with it; 0 if nothing is."""
    one_more_unit: float | None
    """What one more unit of seed treated adds to the cost through this product."""
    units_covered: float
    """Units more that what is left would treat."""
    sentence: str


@dataclass(frozen=True, slots=True)
class OrderRivals:
    """The order's standing: product by product, level by level, and as a whole."""

    products: tuple[ProductRivals, ...]
    levels: tuple[LevelReach, ...]
    second_best: str
    """The whole order's runner-up, the needs held, in words."""
    second_best_more: float | None


def order_rivals(plan: Plan, season: Season) -> OrderRivals:
    """Weigh a plan's order against its rivals, its needs held."""
    counts = order_counts(plan)
    sold = {c.product for c in season.containers}
    products = tuple(
        product_rivals(use, plan, season, counts) for use in plan.products if use.product in sold
    )
    more, text = _second_best(plan, season)
    return OrderRivals(products, level_reaches(plan, season), text, more)


def product_rivals(
    use: ProductUse, plan: Plan, season: Season, counts: Mapping[tuple[str, str], int]
) -> ProductRivals:
    """Weigh one product's mix against the others, the other products' order held."""
    around = Around.of(season, use.product, counts)
    own = {c: n for (p, c), n in counts.items() if p == use.product}
    mine = describe(around, own)
    if use.need <= 0.0 and not own:
        return _idle(use, mine)
    want = use.need - use.on_hand - use.on_its_way
    best = cheapest(around, want)
    mixes = [mine, *(m for m in best.mixes if m.counts != mine.counts)][:3]
    spare = mine.volume - max(want, 0.0) if want > 0.0 else use.left
    up = _next_up(around, want, mine, use.left)
    down = _next_down(around, want, mine)
    per_unit = _per_unit(use.product, plan, season)
    one_more = _one_more(around, want, mine, per_unit)
    result = ProductRivals(
        product=use.product,
        to_buy=max(0.0, want),
        mixes=tuple(
            Rival(m.counts, m.cost, m.cost - mine.cost, use.left + m.volume - mine.volume)
            for m in mixes
        ),
        complete=best.complete,
        need_up=None if up is None else max(0.0, spare),
        mix_up=up.counts if up else (),
        step_up=up.cost - mine.cost if up else 0.0,
        need_down=want - down.volume if down else None,
        mix_down=down.counts if down else (),
        saved_down=mine.cost - down.cost if down else 0.0,
        price_flips=price_flips(around, want, mine, counts),
        per_unit=per_unit,
        one_more_unit=one_more,
        units_covered=max(0.0, use.left) / per_unit if per_unit else 0.0,
        sentence="",
    )
    return replace(result, sentence=_product_words(result, Speech(season.farm)))


def _idle(use: ProductUse, none: Mix) -> ProductRivals:
    """Describe a product that the plan neither needs nor buys."""
    stock = Rival(none.counts, 0.0, 0.0, use.left)
    text = f"{use.product}: nothing is needed, nothing is bought."
    return ProductRivals(
        use.product, 0.0, (stock,), True, use.left, (), 0.0, None, (), 0.0, (), 0.0, None, 0.0, text
    )


def _next_up(around: Around, want: float, mine: Mix, left: float) -> Mix | None:
    """Return the mix that is best once a mix no longer covers."""
    beyond = want + left + 1e-6 * max(1.0, abs(want)) + 1e-6
    return next(iter(cheapest(around, beyond, keep=1).mixes), None)


def _next_down(around: Around, want: float, mine: Mix) -> Mix | None:
    """Return the largest mix that is cheaper than a mix but does not cover the need.

    The least cost never falls as the need grows (credit is counted by volume bought), so halving
    finds the need at which it falls under the mix's; the mix found there has that very volume.
    """
    if want <= 0.0 or not mine.counts:
        return None
    low, high, found = 0.0, want, None
    while high - low > 1e-3 * max(1.0, want * 1e-3):
        trial = found.volume if found and found.volume > low else low
        middle = (trial + high) / 2.0
        best = next(iter(cheapest(around, middle, keep=1, nodes=FLIP_NODES).mixes), None)
        if best is not None and best.cost < mine.cost - CENT / 2.0 and best.volume < want:
            found, low = best, max(middle, min(best.volume, high))
        else:
            high = middle
    if found is None:
        empty = describe(around, {})
        return empty if empty.cost < mine.cost - CENT / 2.0 else None
    return found


def _per_unit(product: str, plan: Plan, season: Season) -> float:
    """Fl oz of a product on a unit of seed with margin, average over what the plan treats."""
    products = {p.name: p for p in season.products}
    lots = {lot.name: lot for lot in season.lots}
    recipes = {r.name: r for r in season.recipes}
    volume = units = 0.0
    for t in plan.treating:
        rates = [r for r in recipes[t.recipe].rates if r.product == product]
        if rates:
            units += t.units
            for rate in rates:
                each = floz_per_unit(rate, lots[t.lot], products[product], season.farm)
                volume += each * t.units * (1.0 + season.farm.product_margin)
    return volume / units if units else 0.0


def _one_more(around: Around, want: float, mine: Mix, per_unit: float) -> float | None:
    """What a unit of seed more adds: a larger mix where needed, less credit for what it takes."""
    if per_unit <= 0.0:
        return None
    best = next(iter(cheapest(around, want + per_unit, keep=1).mixes), None)
    return best.cost - mine.cost + around.credit * per_unit if best else None


def _product_words(r: ProductRivals, speech: Speech) -> str:
    """Say how a product's mix stands."""
    if r.to_buy <= 0.0:
        text = f"{r.product}: stock will do, with {speech.volume(r.mixes[0].left)} left."
    else:
        text = f"{r.product}: {mix_words(r.mixes[0].containers)}"
        if len(r.mixes) > 1:
            other = r.mixes[1]
            text += (
                f"; next best is {mix_words(other.containers)}, {more_words(other.more, speech)}."
            )
        else:
            text += "; no other mix covers the need."
    if r.need_up is None:
        text += " No mix covers more than this one."
    else:
        text += (
            f" It still covers {speech.volume(r.need_up)} more; beyond that, "
            f"{mix_words(r.mix_up)} is best, {more_words(r.step_up, speech)}."
        )
    if r.one_more_unit is not None and r.units_covered >= 1.0:
        text += f" What is left would treat {speech.units(r.units_covered)} more."
    elif r.one_more_unit is not None:
        text += f" One more unit treated would cost {speech.money(r.one_more_unit)} in {r.product}."
    return text if r.complete else text + " Not every mix could be weighed."


def _second_best(plan: Plan, season: Season) -> tuple[float | None, str]:
    """Return what the second-best whole order costs more, and how it differs."""
    from planner.optimize.runner_up import second_best_order

    if not plan.order:
        return None, "Nothing has to be ordered."
    other = second_best_order(season, plan)
    if other is None:
        return None, "No other order covers what the plan needs."
    mine = order_counts(plan)
    parts = []
    for product in dict.fromkeys(p for p, _ in [*mine, *other.counts]):
        before = tuple(sorted((c, n) for (p, c), n in mine.items() if p == product))
        after = tuple(sorted((c, n) for (p, c), n in other.counts.items() if p == product))
        if before != after:
            parts.append(f"{mix_words(after)} of {product} in place of {mix_words(before)}")
    more = more_words(other.more, Speech(season.farm))
    name = "The second-best order" if other.proven else "The best other order that was found"
    return other.more, f"{name} has {listing(parts)}: {more}."

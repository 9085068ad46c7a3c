"""The order and its rivals: other ways to buy each product, and what would make another best."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from planner.agronomy.rates import floz_per_unit
from planner.explain.levels import level_reaches
from planner.explain.mix_search import Best, cheapest, cheapest_beyond, ways_to_buy
from planner.explain.mixes import (
    Around,
    Mix,
    describe,
    mix_words,
    more_words,
)
from planner.explain.price_flips import PriceFlip, price_flips
from planner.explain.words import Speech, listing
from planner.plan.plan import CENT

if TYPE_CHECKING:
    from collections.abc import Mapping

    from planner.explain.levels import LevelReach
    from planner.plan.plan import Plan, ProductUse
    from planner.season.domain import Season


OTHER_WAYS = 3
"""Ways to buy a product that are named beside the plan's."""


@dataclass(frozen=True, slots=True)
class Rival:
    """A mix of containers that covers the plan's need of a product."""

    containers: tuple[tuple[str, int], ...]
    """Container and count."""
    cost: float
    """What it adds to the plan's cost, the other products' order held, less credit for what is left
    of it: what the seed takes brings none."""
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
    """The plan's first, then at most `OTHER_WAYS` others by cost, none of which only adds
    containers to a better one."""
    complete: bool
    """Whether every mix was weighed."""
    need_up: float | None
    """Fl oz more that the mix still covers; beyond, another is best. None where nothing covers."""
    mix_up: tuple[tuple[str, int], ...] = ()
    """The cheapest mix of all that cover more than the plan's."""
    step_up: float = 0.0
    """What that next mix costs more."""
    need_down: float | None = None
    """Fl oz less from which a cheaper mix will do; None if none would at any need."""
    mix_down: tuple[tuple[str, int], ...] = ()
    """The cheapest mix of all for that smaller need."""
    saved_down: float = 0.0
    """What that mix costs less than the plan's."""
    price_flips: tuple[PriceFlip, ...] = ()
    per_unit: float = 0.0
    """Fl oz on a unit of seed, average of what the plan treats with it; 0 if nothing is."""
    one_more_unit: float | None = None
    """What one more unit of seed treated adds to the cost through this product."""
    units_covered: float = 0.0
    """Units more that what is left would treat."""
    sentence: str = ""


@dataclass(frozen=True, slots=True)
class OrderRivals:
    """The order's standing: product by product, level by level, and as a whole."""

    products: tuple[ProductRivals, ...]
    levels: tuple[LevelReach, ...]
    second_best: str
    """The whole order's runner-up, the needs held, in words."""


def order_rivals(plan: Plan, season: Season) -> OrderRivals:
    """Weigh a plan's order against its rivals, its needs held."""
    counts = plan.counts
    sold = {c.product for c in season.containers}
    products = tuple(
        product_rivals(use, plan, season, counts) for use in plan.products if use.product in sold
    )
    return OrderRivals(products, level_reaches(plan, season), _second_best(plan, season))


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
    ways = ways_to_buy(around, want, OTHER_WAYS + 1)
    mixes = [mine, *(m for m in ways.mixes if m.counts != mine.counts)][: OTHER_WAYS + 1]
    above = cheapest_beyond(around, mine.volume)
    up = next(iter(above.mixes), None)
    down, down_complete = _next_down(around, want, min(m.cost for m in mixes))
    per_unit = _per_unit(use.product, plan, season)
    one_more = _one_more(around, want, mine, per_unit)
    taken = around.credit * max(0.0, want)
    result = ProductRivals(
        product=use.product,
        to_buy=max(0.0, want),
        mixes=tuple(
            Rival(
                m.counts,
                m.cost + taken,
                m.cost - mine.cost,
                use.left + m.volume - mine.volume,
            )
            for m in mixes
        ),
        complete=ways.complete and above.complete and down_complete,
        need_up=None if up is None else max(0.0, mine.volume - want),
        mix_up=up.counts if up else (),
        step_up=up.cost - mine.cost if up else 0.0,
        need_down=want - down.volume if down else None,
        mix_down=down.counts if down else (),
        saved_down=mine.cost - down.cost if down else 0.0,
        price_flips=price_flips(around, want, mine, counts),
        per_unit=per_unit,
        one_more_unit=one_more,
        units_covered=max(0.0, use.left) / per_unit if per_unit else 0.0,
    )
    return replace(result, sentence=_product_words(result, Speech(season.farm)))


def _idle(use: ProductUse, none: Mix) -> ProductRivals:
    """Describe a product that the plan neither needs nor buys."""
    return ProductRivals(
        product=use.product,
        to_buy=0.0,
        mixes=(Rival(none.counts, cost=0.0, more=0.0, left=use.left),),
        complete=True,
        need_up=use.left,
        sentence=f"{use.product}: nothing is needed, nothing is bought.",
    )


def _next_down(around: Around, want: float, least: float) -> tuple[Mix | None, bool]:
    """Find the cheapest mix for the largest need under `want` that costs less than `least`.

    The least cost never falls as the need grows (credit is counted by volume bought). Halving
    comes near the need at which it falls under `least`, steps from mix to mix reach it.

    Parameters
    ----------
    least
        What the cheapest mix for `want` costs.

    Returns
    -------
    tuple[Mix | None, bool]
        The mix, None if no need makes one cheaper, and whether every mix was weighed.
    """
    complete = True

    def cheaper(best: Best) -> Mix | None:
        nonlocal complete
        complete = complete and best.complete
        mix = next(iter(best.mixes), None)
        return mix if mix is not None and mix.cost < least - CENT / 2.0 else None

    found = cheaper(cheapest(around, 0.0)) if want > 0.0 else None
    high = want
    while found is not None and high - found.volume > 1e-3 * want:
        middle = (found.volume + high) / 2.0
        better = cheaper(cheapest(around, middle))
        found, high = (better, high) if better is not None else (found, middle)
    while found is not None:
        better = cheaper(cheapest_beyond(around, found.volume))
        if better is None:
            break
        found = better
    return found, complete


def _per_unit(product: str, plan: Plan, season: Season) -> float:
    """Fl oz of a product on a unit of seed with margin, average over what the plan treats."""
    volume = units = 0.0
    for t in plan.treating:
        rates = [r for r in season.recipe_named[t.recipe].rates if r.product == product]
        if rates:
            units += t.units
            for rate in rates:
                each = floz_per_unit(rate, season.lot_named[t.lot], season)
                volume += each * t.units * (1.0 + season.farm.product_margin)
    return volume / units if units else 0.0


def _one_more(around: Around, want: float, mine: Mix, per_unit: float) -> float | None:
    """What a unit of seed more adds: a larger mix where needed, less credit for what it takes."""
    if per_unit <= 0.0:
        return None
    if mine.volume >= want + per_unit:
        return around.credit * per_unit
    best = next(iter(cheapest(around, want + per_unit).mixes), None)
    return best.cost - mine.cost + around.credit * per_unit if best else None


def _product_words(r: ProductRivals, speech: Speech) -> str:
    """Say how a product's mix stands."""
    if r.to_buy <= 0.0:
        text = f"{r.product}: stock will do, with {speech.volume(r.mixes[0].left)} left."
    else:
        text = f"{r.product}: {mix_words(r.mixes[0].containers)}"
        if len(r.mixes) > 1:
            other = r.mixes[1]
            best = "next best is" if other.more > -CENT / 2.0 else "not the cheapest:"
            text += f"; {best} {mix_words(other.containers)}, {more_words(other.more, speech)}."
        else:
            text += "; there is no other way to buy it."
    if r.need_up is None:
        text += " No order covers more than this one."
    else:
        text += (
            f" It still covers {speech.volume(r.need_up)} more; beyond that, "
            f"{mix_words(r.mix_up)} is best, {more_words(r.step_up, speech)}."
        )
    if r.one_more_unit is not None and r.units_covered >= 1.0:
        text += f" What is left would treat {speech.units(r.units_covered)} more."
    elif r.one_more_unit is not None:
        text += f" One more unit treated would cost {speech.money(r.one_more_unit)} in {r.product}."
    return text if r.complete else text + " Not every way to buy it could be checked."


def _second_best(plan: Plan, season: Season) -> str:
    """How the second-best whole order differs, and what it costs more."""
    from planner.optimize.from_plan.runner_up import second_best_order

    if not plan.order:
        return "Nothing has to be ordered."
    other = second_best_order(season, plan)
    if other is None:
        return "No other order covers what the plan needs."
    mine = plan.counts
    parts = []
    for product in dict.fromkeys(p for p, _ in [*mine, *other.counts]):
        before = tuple(sorted((c, n) for (p, c), n in mine.items() if p == product))
        after = tuple(sorted((c, n) for (p, c), n in other.counts.items() if p == product))
        if before != after:
            parts.append(f"{mix_words(after)} of {product} in place of {mix_words(before)}")
    more = more_words(other.more, Speech(season.farm))
    name = "The second-best order" if other.proven else "The best other order that was found"
    return f"{name} has {listing(parts)}: {more}."

"""What a plan leaves over: what can be sent back, and what stays."""

from __future__ import annotations

from dataclasses import dataclass
from math import floor
from typing import TYPE_CHECKING

from planner.explain.supply import not_bought, unused
from planner.explain.words import Speech

if TYPE_CHECKING:
    from collections.abc import Sequence

    from planner.plan.plan import Plan
    from planner.season.domain import Season

CRUMB = 0.05
"""Units of seed that are not worth a word."""


@dataclass(frozen=True, slots=True)
class Spare:
    """What is left and may be returned or kept."""

    name: str
    kind: str
    """container, product or seed."""
    amount: float
    """Containers, fl oz or units."""
    worth: float
    """At what was or is paid for containers, at carryover value, at return value."""
    sentence: str


def spare_things(season: Season, plan: Plan) -> tuple[Spare, ...]:
    """Containers on their way that are not needed, product left, seed that may be returned."""
    speech = Speech(season.farm)
    found = []
    left = {u.product: u.left for u in plan.products}
    for o in season.ordered:
        c = season.container_named[o.product, o.container]
        fits = left.get(o.product, 0.0) / c.usable + 1e-9 if c.usable > 0 else 0.0
        n = min(o.count, floor(fits))
        if n > 0:
            left[o.product] -= n * c.usable
            price = c.breaks[0].price
            text = f"{n} x {o.container} of {o.product} on the way can be cancelled or returned"
            found.append(Spare(f"{o.product}, {o.container}", "container", n, n * price, text))
    for use in plan.products:
        if use.left > 0.5:
            text = f"{speech.volume(use.left)} of {use.product} will be left"
            found.append(Spare(use.product, "product", use.left, 0.0, text))
    bought = {s.lot for s in plan.seed_purchases}
    for pool in unused(plan, season):
        lot = season.lot_named[pool.lot]
        sold = not_bought(lot, plan) if pool.recipe == lot.treated_with else 0.0
        loose = pool.units - sold  # what was never bought is neither left nor goes back
        if pool.recipe is not None:
            text = f"{speech.units(loose)} of {lot.name} under {pool.recipe} will be left"
            if loose > CRUMB:
                found.append(Spare(lot.name, "seed", loose, 0.0, text))
            continue
        if loose > CRUMB and lot.return_value > 0.0 and lot.name not in bought:
            worth = loose * lot.return_value
            text = f"{speech.units(loose)} of {lot.name} can be returned for {speech.money(worth)}"
            found.append(Spare(lot.name, "seed", loose, worth, text))
    return tuple(found)


def left_words(spare: Sequence[Spare]) -> str:
    """Say what can be returned or is left."""
    order = {"container": 0, "seed": 1, "product": 2}
    lines = [s.sentence for s in sorted(spare, key=lambda s: order[s.kind])]
    return f"Left: {'; '.join(lines)}." if lines else "Nothing is left over."

"""What a plan leaves over: what can be sent back, and what stays."""

from __future__ import annotations

from dataclasses import dataclass
from math import floor
from typing import TYPE_CHECKING

from planner.explain.supply import not_bought, unused
from planner.explain.words import Speech, listing
from planner.sums import grouped

if TYPE_CHECKING:
    from collections.abc import Sequence

    from planner.plan.plan import Plan
    from planner.season.domain import Season

SENT_BACK, RETURNED, LEFT = "can be cancelled or returned", "can be returned", "will be left"
HEADS = {
    ("container", SENT_BACK): "Can be cancelled or returned",
    ("seed", RETURNED): "Can be returned",
    ("seed", LEFT): "Treated seed left",
    ("product", LEFT): "Product left",
}
"""What is said of a kind and what can be done about it, in the order in which it is said."""
CRUMB = 0.05
"""Units of seed that are not worth a word."""


@dataclass(frozen=True, slots=True)
class Spare:
    """What is left and may be returned or kept."""

    kind: str
    """container, product or seed."""
    amount: float
    """Containers, fl oz or units."""
    worth: float
    """At what was or is paid for containers, at carryover value, at return value."""
    what: str
    """The amount of it in words."""
    fate: str
    """What can be done about it."""


def spare_things(season: Season, plan: Plan) -> tuple[Spare, ...]:
    """Find what is not needed: what goes back before what stays, the most of each kind first."""
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
            what = f"{n} x {o.container} of {o.product} on the way"
            found.append(Spare("container", n, n * price, what, SENT_BACK))
    for name, over in left.items():  # what goes back is no longer in it
        if over > 0.5:
            what = f"{speech.volume(over)} of {name}"
            found.append(Spare("product", over, 0.0, what, LEFT))
    bought = {s.lot for s in plan.seed_purchases}
    for pool in unused(plan, season):
        lot = season.lot_named[pool.lot]
        sold = not_bought(lot, plan) if pool.recipe == lot.treated_with else 0.0
        loose = pool.units - sold  # what was never bought is neither left nor goes back
        if pool.recipe is not None:
            what = f"{speech.units(loose)} of {lot.name} under {pool.recipe}"
            if loose > CRUMB:
                found.append(Spare("seed", loose, 0.0, what, LEFT))
            continue
        if loose > CRUMB and lot.return_value > 0.0 and lot.name not in bought:
            worth = loose * lot.return_value
            what = f"{speech.units(loose)} of {lot.name}"
            found.append(Spare("seed", loose, worth, what, RETURNED))
    kinds = [*HEADS]
    found.sort(key=lambda s: (kinds.index((s.kind, s.fate)), -s.worth, -s.amount))
    return tuple(found)


def left_words(spare: Sequence[Spare], speech: Speech) -> tuple[str, ...]:
    """Say what can be returned and what is left, a sentence for each kind."""
    named = grouped(
        ((s.kind, s.fate), s.what + (f" for {speech.money(s.worth)}" if s.worth else ""))
        for s in spare
    )
    lines = tuple(f"{HEADS[kind]}: {listing(names)}." for kind, names in named.items())
    return lines or ("Nothing is left over.",)

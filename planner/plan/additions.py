"""Containers that could be added to a decided order: what is worth while, and the cheapest."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil
from typing import TYPE_CHECKING, NamedTuple

from planner.plan import price
from planner.plan.added import more_paid, with_added
from planner.plan.plan import Added

if TYPE_CHECKING:
    from planner.plan.plan import Plan
    from planner.season.domain import Container, Season

MOST_STEPS = 100
"""Counts of one container that are tried, at the most, beside those of its price breaks."""
ROUNDING = 1e-9
"""Share of a volume that is rounding, not liquid."""


@dataclass(frozen=True, slots=True)
class Addition:
    """Containers of one product that could be added to an order."""

    cost: float
    """List price, against that of the order without them."""
    floz: float
    """Usable fl oz in them."""
    counts: tuple[tuple[str, int], ...]
    """How many of which container."""


class Cheapest(NamedTuple):
    """What is added to cover a volume, and what is paid more for it."""

    added: tuple[Added, ...]
    paid: float
    """Money that leaves the farm: breaks, freight and discounts counted."""
    within_money: bool
    """Whether it stays within the most to spend."""


def additions(season: Season, plan: Plan, product: str, lack: float) -> list[Addition]:
    """Additions for a product, by list price, the first being none; each covers more than before.

    None is larger than it takes to cover `lack`, fl oz.
    """
    ordered = plan.counts
    kept = [Addition(0.0, 0.0, ())]
    for c in season.containers:
        had = ordered.get((product, c.name), 0)
        if c.product == product:
            more = [(n, _more(c, had, n)) for n in _counts(c, had, lack)]
            kept = _worth_while(
                [
                    Addition(a.cost + cost, a.floz + n * c.usable, (*a.counts, (c.name, n)))
                    for a in kept
                    for n, cost in more
                ],
                kept,
                lack,
            )
    return kept


def cheapest(season: Season, plan: Plan, product: str, lack: float) -> Cheapest | None:
    """Find what covers that many fl oz more of a product for the least money.

    Returns
    -------
    Cheapest or None
        Of every container alone and of the mix with the lowest list price, each priced as it would
        be paid; None where what is sold does not cover it.
    """
    enough = lack * (1.0 - ROUNDING)
    tried = {a.counts for a in additions(season, plan, product, lack) if a.floz >= enough}
    ordered = plan.counts
    for c in season.containers:
        if c.product == product:
            more = _counts(c, ordered.get((product, c.name), 0), lack)
            tried |= {((c.name, n),) for n in more if n * c.usable >= enough}
    best: Cheapest | None = None
    for counts in sorted(tried):
        found = _priced(season, plan, tuple(Added(product, name, n) for name, n in counts))
        if best is None or found.paid < best.paid:
            best = found
    return best


def _priced(season: Season, plan: Plan, added: tuple[Added, ...]) -> Cheapest:
    more = with_added(season, plan, added)
    most = season.farm.most_to_spend
    within = most is None or more.cost.spent <= most
    return Cheapest(added, more_paid(plan, more).paid, within)


def _worth_while(more: list[Addition], before: list[Addition], lack: float) -> list[Addition]:
    """Of all additions those that none covers as much as for less; none at all comes first."""
    kept = before[:1]
    for a in sorted([*before, *more], key=lambda a: (a.cost, -a.floz, a.counts)):
        if a.floz > kept[-1].floz and kept[-1].floz < lack:
            kept.append(a)
    return kept


def _counts(c: Container, had: int, lack: float) -> list[int]:
    """Counts to add, over none: up to what covers `lack`, and those that reach a price break."""
    if lack <= 0.0 or c.usable <= 0.0:
        return []
    most = ceil(lack / c.usable)
    found = {*range(most, 0, -ceil(most / MOST_STEPS)), *(b.from_count - had for b in c.breaks)}
    if c.most is not None:
        found.add(c.most - had)
    least = max(1, c.breaks[0].from_count - had)
    return sorted(n for n in found if n >= least and (c.most is None or had + n <= c.most))


def _more(c: Container, had: int, n: int) -> float:
    """Money for more of a container that some are ordered of."""
    before = had * price.list_price(c, had) if had else 0.0
    return (had + n) * price.list_price(c, had + n) - before

"""Containers of one product bought together, and what they add to the cost of a plan.

The other products' order is held. A mix's cost is what the whole order costs more than without
any of the product (containers, freight, discounts), less the carryover credit of what it adds.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from planner.explain.words import listing
from planner.plan.offers import lowest_price_per_floz
from planner.plan.plan import CENT
from planner.plan.price import counts_toward, list_price, order_cost, qualifying_spend, reaches
from planner.sums import grouped, summed

if TYPE_CHECKING:
    from collections.abc import Mapping

    from planner.explain.words import Speech
    from planner.season.domain import DiscountLevel, Season


class Mix(NamedTuple):
    """Containers of one product, bought together."""

    counts: tuple[tuple[str, int], ...]
    """By container name, in the season's order, none of zero."""
    volume: float
    """Fl oz that can be drawn out."""
    spend: float
    """At list price."""
    cost: float
    """What it adds to the cost of the plan, credit for volume taken off."""


@dataclass(frozen=True, slots=True)
class Around:
    """The rest of the order, as far as it bears on one product's cost."""

    season: Season
    product: str
    others: Mapping[tuple[str, str], int]
    """Containers of the other products, by product and container."""
    spend: dict[str, float]
    """List spend of the other products, by supplier."""
    groups: tuple[tuple[tuple[DiscountLevel, float], ...], ...]
    """Levels of each discount that counts the product, with the other products' spend."""
    credit: float
    """Worth of a fl oz left, per fl oz."""

    @classmethod
    def of(cls, season: Season, product: str, counts: Mapping[tuple[str, str], int]) -> Around:
        """Gather what the order of the other products, by (product, container), does."""
        others = {key: n for key, n in counts.items() if key[0] != product}
        lines = order_cost(season, others).lines
        spend = summed((line.supplier, line.cost) for line in lines)
        groups = grouped(
            ((level.name, level.supplier), (level, qualifying_spend(level, lines, season)))
            for level in season.discounts
        )
        own = [c for c in season.containers if c.product == product]
        bearing = [
            tuple(levels)
            for levels in groups.values()
            if any(
                counts_toward(level, product, c.supplier, season)
                for level, _ in levels
                for c in own
            )
        ]
        share = season.product_named[product].carryover
        credit = share * lowest_price_per_floz(season, product)
        return cls(season, product, others, dict(spend), tuple(bearing), credit)

    def cost(self, chosen: Mapping[str, int]) -> float:
        """Containers and freight less discounts of the order with a mix, by container name."""
        mix = {(self.product, name): n for name, n in chosen.items()}
        return order_cost(self.season, {**self.others, **mix}).paid

    def most_elsewhere(self) -> float:
        """Most that the product's spend can save on the rest of the order, money."""
        elsewhere = 0.0
        for levels in self.groups:
            reached = [x.percent * other for x, other in levels if reaches(other, x.spend)]
            had = max(reached, default=0.0) if self.spend else 0.0
            elsewhere += max(level.percent * other for level, other in levels) - had
        for s in self.season.suppliers:
            paid = self.spend.get(s.name)
            if paid is not None and s.free_from is not None and not reaches(paid, s.free_from):
                elsewhere += s.freight
        return elsewhere


def describe(around: Around, chosen: Mapping[str, int], base: float | None = None) -> Mix:
    """Describe a mix from counts by container name, with its volume, spend and cost."""
    sold = {c.name: c for c in around.season.containers if c.product == around.product}
    picked = {name: (sold[name], chosen[name]) for name in sold if chosen.get(name, 0) > 0}
    volume = sum(n * c.usable for c, n in picked.values())
    spend = sum(n * list_price(c, n) for c, n in picked.values())
    without = around.cost({}) if base is None else base
    cost = around.cost(chosen) - without - around.credit * volume
    return Mix(tuple((name, n) for name, (_, n) in picked.items()), volume, spend, cost)


def mix_words(mix: tuple[tuple[str, int], ...]) -> str:
    """Say a mix.

    >>> mix_words((("keg", 2), ("jug", 1))), mix_words(())
    ('2 x keg and 1 x jug', 'nothing')
    """
    return listing([f"{n} x {name}" for name, n in mix]) or "nothing"


def more_words(amount: float, speech: Speech) -> str:
    """Say a difference in cost.

    >>> from datetime import date
    >>> from planner.season.domain import Farm
    >>> from planner.explain.words import Speech
    >>> farm = Farm(date(2027, 1, 4), 2027, date(2027, 3, 1))
    >>> more_words(12.5, Speech(farm)), more_words(0.0, Speech(farm))
    ('$12.50 more', 'at the same cost')
    """
    if abs(amount) < CENT / 2.0:
        return "at the same cost"
    return f"{speech.money(abs(amount))} {'more' if amount > 0 else 'less'}"

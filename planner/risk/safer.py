"""A cheap order that suffices as often as is wanted, with the plan held as it is.

Bags, recipes and planting stay; containers are added, never taken away. Every product has a list
of additions worth while (none other covers as much for less); the cheapest combination whose joint
chance over the same draws is high enough is found best first, at prices less the discounts that
the order takes; where that would be too long a search, one good step after the other is taken.
Freight goes by who is ordered from, so that is done once for every set of suppliers that may be
added. What is found is paid for exactly, and single containers are added, left out or exchanged as
long as that is as safe and costs less money: so breaks, levels and free freight count, too. Where
those meet, another order can still be cheaper, and the screens say so.
"""

from __future__ import annotations

import heapq
from collections import Counter
from dataclasses import replace
from itertools import chain, combinations, islice
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from planner.explain.words import Speech, added_words, listing
from planner.plan import price
from planner.plan.added import more_paid, with_added
from planner.plan.additions import additions
from planner.plan.plan import CENT, Added
from planner.risk.as_planned import ROUNDING, as_planned, needs_drawn
from planner.risk.chances import Safer
from planner.risk.usual import TOLD
from planner.risk.words import SAFE, added_said, chance, kept_words
from planner.season.domain import Quantity

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator

    import numpy.typing as npt

    from planner.plan.additions import Addition
    from planner.plan.plan import Plan
    from planner.risk.chances import AsPlanned
    from planner.risk.draws import Floats
    from planner.risk.uses import Account
    from planner.season.domain import Container, Season

    Bools = npt.NDArray[np.bool_]

Counts: TypeAlias = "Counter[tuple[str, str]]"
"""Containers by product and name."""

DRAWS = 16_384
"""Draws that orders are compared on."""
DIFFERS = {
    Quantity.SEEDS_PER_LB: "seed size",
    Quantity.PRODUCT_USED: "metering",
    Quantity.UNITS_ON_HAND: "what is on hand",
}
"""Unknown figures that the need of product depends on, in words."""
MOST_TRIED = 20_000
"""Combinations looked at; beyond that the cheapest is not looked for any more."""
MOST_SETS = 16
"""Sets of suppliers with freight that are tried, the smallest first."""
BETTERED = 3
"""The cheapest of what these bring, that single containers are then added to or taken from."""
FURTHER = 12
"""Containers of one kind that are added at a time to reach a break, a level or free freight."""


def safer_order(
    season: Season, plan: Plan, safe: float = SAFE, *, draws: int = DRAWS, seed: int = 0
) -> Safer | None:
    """Find the cheapest containers to add until every product suffices that often, not proven.

    Parameters
    ----------
    safe
        Share of draws in which every product must suffice, over 0 and at most 1.

    Returns
    -------
    Safer or None
        None where not even all that is sold reaches it.
    """
    accounts, need = needs_drawn(season, plan, draws, seed)
    if not accounts:
        return Safer((), 1.0, 0.0, 0.0, within_money=True)
    order = _Order(season, plan, accounts, need)
    found = sorted(_by_suppliers(order, safe), key=order.paid)
    if not found:
        return None
    best = min((order.bettered(added, safe) for added in found[:BETTERED]), key=order.paid)
    added = tuple(Added(*key, best[key]) for key in order.sold if best[key])
    safer = with_added(season, plan, added)
    most = season.farm.most_to_spend
    within = most is None or safer.cost.spent <= most or safer.cost.spent <= plan.cost.spent
    return Safer(added, order.enough(best), *more_paid(plan, safer), within)


class _Order:
    """The plan's order in draws: how safe containers added to it make it, and what is paid."""

    def __init__(
        self, season: Season, plan: Plan, accounts: tuple[Account, ...], need: Floats
    ) -> None:
        """`need` is that of every product, shape (draws, products)."""
        self.season, self.plan, self.accounts, self.need = season, plan, accounts, need
        used = {account.product for account in accounts}
        self.sold = {(c.product, c.name): c for c in season.containers if c.product in used}
        self.of = {name: {key for key in self.sold if key[0] == name} for name in used}

    def enough(self, added: Counts) -> float:
        """Share of draws in which every product suffices."""
        there = {account.product: account.supply for account in self.accounts}
        for key, n in added.items():
            there[key[0]] += n * self.sold[key].usable
        return float((self.need <= np.array([*there.values()]) * (1.0 + ROUNDING)).all(1).mean())

    def paid(self, added: Counts) -> float:
        """Money for the order with containers added."""
        return price.order_cost(self.season, Counter(self.plan.counts) + added).paid

    def bettered(self, added: Counts, safe: float) -> Counts:
        """Take the step that saves most, as long as one saves money and leaves it as safe."""
        while True:
            paid = self.paid(added)
            steps = [(self.paid(step), n, step) for n, step in enumerate(self._steps(added))]
            less = (step for cost, _, step in sorted(steps) if cost < paid - CENT / 2)
            better = next((step for step in less if self.enough(step) >= safe), None)
            if better is None:
                return added
            added = better

    def _steps(self, added: Counts) -> Iterator[Counts]:
        """Some more containers of one kind; one or all less of one, or that and others instead."""
        less = [(key[0], added - Counter({key: n})) for key, had in added.items() for n in {1, had}]
        more = [Counter({key: n}) for key in self.sold for n in range(1, FURTHER + 1)]
        instead = (
            fewer + some for product, fewer in less for some in more if {*some} <= self.of[product]
        )
        steps = chain((fewer for _, fewer in less), (added + some for some in more), instead)
        yield from filter(self._can_be_had, steps)

    def _can_be_had(self, added: Counts) -> bool:
        """Whether so many are sold of each kind, together with what is ordered of it."""
        counts = Counter(self.plan.counts) + added
        kinds = [(self.sold[key], counts[key]) for key in added]
        return all(
            n >= min(b.from_count for b in c.breaks) and (c.most is None or n <= c.most)
            for c, n in kinds
        )


def _by_suppliers(order: _Order, safe: float) -> Iterator[Counts]:
    """Containers to add, the cheapest for each set of suppliers that freight is paid to."""
    season, plan, accounts = order.season, order.plan, order.accounts
    paid = {line.supplier for line in plan.order}
    new = [s.name for s in season.suppliers if s.freight > 0.0 and s.name not in paid]
    sets = chain.from_iterable(combinations(new, n) for n in range(len(new) + 1))
    for some in (*islice(sets, MOST_SETS), *([tuple(new)] if 1 << len(new) > MOST_SETS else [])):
        open_to = _less_discounts(season, plan, {*new} - {*some})
        choices, holds = [], []
        for column, account in enumerate(accounts):
            own = order.need[:, column]
            lack = float(own.max()) - account.supply
            found = additions(open_to, plan, account.product, lack)
            choices.append(found)
            holds.append([own <= (account.supply + a.floz) * (1.0 + ROUNDING) for a in found])
        picked = _cheapest(choices, holds, safe)
        if picked is not None:
            yield Counter(
                {
                    (account.product, name): n
                    for account, found, at in zip(accounts, choices, picked, strict=True)
                    for name, n in found[at].counts
                }
            )


def _less_discounts(season: Season, plan: Plan, shut: Collection[str]) -> Season:
    """Season whose prices are less the discounts that the order takes, some suppliers left out."""
    taken = [level for level, _ in price.best_levels(season, plan.order).values()]

    def net(c: Container) -> Container:
        counted = (d for d in taken if price.counts_toward(d, c.product, c.supplier, season))
        share = max(0.0, 1.0 - sum(level.percent for level in counted))
        return replace(c, breaks=tuple(replace(b, price=share * b.price) for b in c.breaks))

    return replace(
        season, containers=tuple(net(c) for c in season.containers if c.supplier not in shut)
    )


def _cheapest(
    choices: list[list[Addition]], holds: list[list[Bools]], safe: float
) -> tuple[int, ...] | None:
    """Cheapest pick of one addition a product whose joint chance is high enough.

    A good one where there are too many to look at; None where not even all together are enough.
    """
    if _joint(holds, tuple(len(found) - 1 for found in choices)) < safe:
        return None
    first = tuple(next(n for n, x in enumerate(hold) if x.mean() >= safe) for hold in holds)
    heap, seen = [(0.0, first)], {first}
    for _ in range(MOST_TRIED):
        cost, picked = heapq.heappop(heap)
        if _joint(holds, picked) >= safe:
            return picked
        for step, more in _steps(choices, picked):
            if step not in seen:
                seen.add(step)
                heapq.heappush(heap, (cost + more, step))
    picked, enough = first, _joint(holds, first)
    while enough < safe:
        gains = [(_joint(holds, step), more, step) for step, more in _steps(choices, picked)]
        enough, _, picked = max(gains, key=lambda g: (g[0] - enough) / max(g[1], ROUNDING))
    return picked


def _joint(holds: list[list[Bools]], picked: tuple[int, ...]) -> float:
    """Share of draws in which every product suffices."""
    joint = np.ones(len(holds[0][0]), dtype=bool)
    for hold, at in zip(holds, picked, strict=True):
        joint &= hold[at]
    return float(joint.mean())


def _steps(
    choices: list[list[Addition]], picked: tuple[int, ...]
) -> Iterator[tuple[tuple[int, ...], float]]:
    """Picks with the next addition of one product, and what more they cost."""
    for place, at in enumerate(picked):
        if at + 1 < len(choices[place]):
            more = choices[place][at + 1].cost - choices[place][at].cost
            yield (*picked[:place], at + 1, *picked[place + 1 :]), more


def drawn(season: Season, plan: Plan) -> AsPlanned | None:
    """Plan in draws with what a safer order costs; None where nothing is said to be unknown."""
    if not season.unknowns:
        return None
    held = as_planned(season, plan)
    safer = None if held.enough >= SAFE else safer_order(season, plan)
    can = safer is not None and safer.added and safer.within_money
    return replace(
        held,
        said=" ".join(filter(None, (safety(season, held, safer), added_said(season, plan)))),
        safer=safer if can else None,
    )


def safety(season: Season, held: AsPlanned, safer: Safer | None) -> str:
    """Say how safe the order is and what a safer one costs.

    Parameters
    ----------
    held
        The plan in draws.
    safer
        What `safer_order` returns for `SAFE`.
    """
    often = chance(held.enough)
    about = "about " if often[0].isdigit() and 0.0 < held.enough < 1.0 else ""
    text = f"In {about}{often} seasons this order is enough"
    if held.enough >= SAFE or (safer is not None and not safer.added):
        return f"{text}.{_why(season)}"
    if safer is None:
        return f"{text}; nothing that is sold brings it to {chance(SAFE)}.{_why(season)}"
    money = Speech(season.farm).money(abs(safer.paid))
    costs = f"{money} more" if safer.paid >= 0.0 else f"{money} less"
    what = "; ".join(filter(None, (added_words(safer.added), kept_words(season.farm, safer.kept))))
    text += f"; for {costs} ({what}) it is enough in {chance(safer.enough).removesuffix(' of 100')}"
    within = "" if safer.within_money else ", but that is over the most to spend"
    return f"{text}{within}.{_why(season)}"


def _why(season: Season) -> str:
    """Say what of the unknown figures makes an order too small in some seasons."""
    given = {unknown.what for unknown in season.unknowns}
    found = [words for what, words in DIFFERS.items() if what in given]
    verb = "differs" if len(found) == 1 else "differ"
    said = listing(found)
    says = "by the usual figures" if TOLD in season.notes else "as sheet Unknowns says"
    said = f" {said[:1].upper()}{said[1:]} {verb} from year to year {says}."
    return said if found else ""

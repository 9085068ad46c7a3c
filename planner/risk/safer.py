"""The cheapest order that suffices as often as is wanted, with the plan held as it is.

Bags, recipes and planting stay; containers are added, never taken away. Every product has a list
of additions worth while (none other covers as much for less); the cheapest combination whose joint
chance over the same draws is high enough is found best first, so the first one found is the
cheapest by its list price; where that would be too long a search, one good step after the other is
taken. What breaks, freight and discounts make of it is then priced exactly.
"""

from __future__ import annotations

import heapq
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from planner.explain.words import Speech, added_words, listing
from planner.plan.added import more_paid, with_added
from planner.plan.additions import additions
from planner.plan.plan import Added
from planner.risk.as_planned import ROUNDING, as_planned, needs_drawn
from planner.risk.chances import Safer
from planner.risk.usual import TOLD
from planner.risk.words import SAFE, added_said, chance, kept_words
from planner.season.domain import Quantity

if TYPE_CHECKING:
    from collections.abc import Iterator

    import numpy.typing as npt

    from planner.plan.additions import Addition
    from planner.plan.plan import Plan
    from planner.risk.chances import AsPlanned
    from planner.season.domain import Season

    Bools = npt.NDArray[np.bool_]

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


def safer_order(
    season: Season, plan: Plan, safe: float = SAFE, *, draws: int = DRAWS, seed: int = 0
) -> Safer | None:
    """Find the cheapest containers to add until every product suffices that often.

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
    choices, holds = [], []
    for column, account in enumerate(accounts):
        own = need[:, column]
        lack = float(own.max()) - account.supply
        found = additions(season, plan, account.product, lack)
        choices.append(found)
        holds.append([own <= (account.supply + a.floz) * (1.0 + ROUNDING) for a in found])
    best = _cheapest(choices, holds, safe)
    if best is None:
        return None
    picked, enough = best
    added = tuple(
        Added(account.product, name, n)
        for account, found, at in zip(accounts, choices, picked, strict=True)
        for name, n in found[at].counts
    )
    safer = with_added(season, plan, added)
    most = season.farm.most_to_spend
    within = most is None or safer.cost.spent <= most or safer.cost.spent <= plan.cost.spent
    return Safer(added, enough, *more_paid(plan, safer), within)


def _cheapest(
    choices: list[list[Addition]], holds: list[list[Bools]], safe: float
) -> tuple[tuple[int, ...], float] | None:
    """Cheapest pick of one addition a product whose joint chance is high enough.

    A good one where there are too many to look at; None where not even all together are enough.
    """
    if _joint(holds, tuple(len(found) - 1 for found in choices)) < safe:
        return None
    first = tuple(next(n for n, x in enumerate(hold) if x.mean() >= safe) for hold in holds)
    heap, seen = [(0.0, first)], {first}
    for _ in range(MOST_TRIED):
        cost, picked = heapq.heappop(heap)
        enough = _joint(holds, picked)
        if enough >= safe:
            return picked, enough
        for step, more in _steps(choices, picked):
            if step not in seen:
                seen.add(step)
                heapq.heappush(heap, (cost + more, step))
    picked, enough = first, _joint(holds, first)
    while enough < safe:
        gains = [(_joint(holds, step), more, step) for step, more in _steps(choices, picked)]
        enough, _, picked = max(gains, key=lambda g: (g[0] - enough) / max(g[1], ROUNDING))
    return picked, enough


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


def drawn(season: Season, plan: Plan, *, seed: int = 0) -> AsPlanned | None:
    """Plan in draws with what a safer order costs; None where nothing is said to be unknown."""
    if not season.unknowns:
        return None
    held = as_planned(season, plan, seed=seed)
    safer = None if held.enough >= SAFE else safer_order(season, plan, seed=seed)
    can = safer is not None and safer.added and safer.within_money
    return replace(
        held,
        said=" ".join(filter(None, (safety(season, held, safer), added_said(season, plan)))),
        safer=safer if can else None,
    )


def safety(season: Season, held: AsPlanned, safer: Safer | None, safe: float = SAFE) -> str:
    """Say how safe the order is and what a safer one costs.

    Parameters
    ----------
    held
        The plan in draws.
    safer
        What `safer_order` returns for `safe`.
    """
    often = chance(held.enough)
    about = "about " if often[0].isdigit() and 0.0 < held.enough < 1.0 else ""
    text = f"In {about}{often} seasons this order is enough"
    if held.enough >= safe or (safer is not None and not safer.added):
        return f"{text}.{_why(season)}"
    if safer is None:
        return f"{text}; nothing that is sold brings it to {chance(safe)}.{_why(season)}"
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

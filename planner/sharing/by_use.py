"""Bills by use: every cost by what each grower's fields take of it."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from typing import TYPE_CHECKING

from planner.plan.traced import NO_FIELD, Term, Traced, trace
from planner.season.names import key
from planner.sharing.bills import Bill, BillLine, split_table
from planner.sharing.growers import farm_name, growers_of, in_a_sentence, owner
from planner.sums import summed
from planner.units.money import CENTS

if TYPE_CHECKING:
    from planner.plan.plan import Plan
    from planner.season.domain import Season

OWN = (Term.SEED_GIVEN_UP, Term.YIELD_LOSS)
"""What a grower bears himself where it is of his own seed or field."""


def by_use(plan: Plan, season: Season) -> tuple[Bill, ...]:
    """Share the plan's total out to the growers, each amount to the fields that take it.

    What no field takes goes to the grower of its seed lot; where there is none, to the farm; where
    the farm has no field, to all by the acres planted.

    Returns
    -------
    tuple of Bill
        One for each grower, in the season's order. Shares add up to the total rounded to the cent,
        lines to their share, and a line's amounts over all growers to what it is of.
    """
    who = growers_of(season)
    at = {key(name): i for i, name in enumerate(who)}
    rows: dict[BillLine, list[float]] = defaultdict(lambda: [0.0] * len(who))
    parts = _Parts(plan, season, at)
    for one in trace(plan, season):
        keeper = _keeper(one, season)
        what = _what(one, keeper)
        for i, share in parts.of(one):
            line = BillLine(what, 0.0, parts.own(one, i, keeper), one.term, keeper)
            rows[line][i] += one.amount * share
    whole = split_table(list(rows.values()))
    found = []
    for i, name in enumerate(who):
        lines = tuple(
            replace(line, amount=row[i] / CENTS)
            for line, row in zip(rows, whole, strict=True)
            if row[i]
        )
        found.append(Bill(name, sum(row[i] for row in whole) / CENTS, lines))
    return tuple(found)


class _Parts:
    """Which growers take an amount."""

    def __init__(self, plan: Plan, season: Season, at: dict[str, int]) -> None:
        self.at = at
        self.owner = {f.name: key(owner(f, season)) for f in season.fields}
        self.lot = {x.name: key(x.grower) if x.grower else "" for x in season.lots}
        self.farm = key(farm_name(season))
        acres = {f.name: f.acres for f in season.fields}
        planted = summed((p.field, p.acres) for p in plan.planting)
        land = planted if any(planted.values()) else acres
        sums = summed((at[self.owner[field]], each) for field, each in land.items())
        total = sum(sums.values())
        self.by_acres = [(i, own / total) for i, own in sums.items()] if total else [(0, 1.0)]

    def of(self, one: Traced) -> list[tuple[int, float]]:
        """Growers of an amount and the share of each."""
        if one.field != NO_FIELD:
            return [(self.at[self.owner[one.field]], 1.0)]
        for name in (self.lot.get(one.lot, ""), self.farm):
            if name in self.at:
                return [(self.at[name], 1.0)]
        return self.by_acres

    def own(self, one: Traced, i: int, keeper: str) -> bool:
        """Whether a grower bears an amount himself already: losses, and seed that he keeps."""
        mine = one.term is Term.YIELD_LOSS or self.at.get(key(keeper)) == i
        return one.term in OWN and mine


def _keeper(one: Traced, season: Season) -> str:
    """Who keeps an amount that no supplier or seller gets; blank where one does."""
    if one.term is Term.SEED_GIVEN_UP:
        return season.lot_named[one.lot].grower or farm_name(season)
    return farm_name(season) if one.term is Term.CREDIT else ""


def _what(one: Traced, keeper: str) -> str:
    """Say what an amount is for, as a bill does."""
    of = f"{one.of}, {one.container}" if one.container else one.of
    return {
        Term.ON_SEED: f"{of}: on seed",
        Term.LINE_LOSS: f"{of}: lost in the line",
        Term.LEFT_OVER: f"{of}: left over",
        Term.FREIGHT: f"Freight, {of}" if of else "Freight",
        Term.DISCOUNT: f"Discount, {of}",
        Term.CREDIT: f"{of}: worth of what is left",
        Term.SEED_BOUGHT: f"Seed of lot {of}: bought",
        Term.SEED_GIVEN_UP: f"Seed of lot {of}: from {in_a_sentence(keeper)}'s stock, "
        "at its return value",
        Term.YIELD_LOSS: "Expected yield loss",
    }[one.term]

"""Bills as immutable records, and money split so that it adds up to the cent."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from planner.units.money import CENTS, cents

if TYPE_CHECKING:
    from collections.abc import Sequence

    from planner.plan.traced import Term


@dataclass(frozen=True, slots=True)
class BillLine:
    """One amount of a bill."""

    what: str
    amount: float
    """Whole cents; negative where it is taken off."""
    own: bool = False
    """Whether the grower bears it himself already, so that it is not paid to anyone."""
    term: Term | None = None
    """What it is for; None where it only brings a bill to another share."""
    keeper: str = ""
    """Who keeps it, where no supplier or seller gets it: whose seed was taken, or, of product left
    over, the farm."""


@dataclass(frozen=True, slots=True)
class Bill:
    """What a grower bears of the plan's total."""

    grower: str
    share: float
    """Whole cents; all shares add up to the plan's total."""
    lines: tuple[BillLine, ...]
    """They add up to the share."""
    alone: float | None = None
    """Least cost found for the grower by himself; None where that was not planned."""
    short_alone: float = 0.0
    """Acres more than here that he would leave unplanted by himself, below zero fewer: then `alone`
    is the cost of other planting, and not to be compared."""

    @property
    def saved(self) -> float | None:
        """What ordering together saves the grower; None where the cost alone says nothing of it."""
        if self.alone is None or self.short_alone:
            return None
        return cents(self.alone) / CENTS - self.share

    @property
    def own(self) -> float:
        """What of the share the grower bears himself already."""
        return sum(line.amount for line in self.lines if line.own)

    @property
    def in_money(self) -> float:
        """What of the share is paid in money."""
        return (cents(self.share) - cents(self.own)) / CENTS


def split(amounts: Sequence[float], total: int, owed: Sequence[float] = ()) -> list[int]:
    """Round amounts (in cents) to whole cents that add up to a total.

    The cents that are left after rounding down go to those with the largest remainders; nobody
    whose amount is zero gets any. `owed` are cents that earlier roundings took from each.

    Parameters
    ----------
    total
        Within as many cents of the sum of the amounts as there are amounts.

    >>> split([33.4, 33.3, 33.3], 100), split([0.0, 50.5, 49.5], 100, [0.0, -0.4, 0.4])
    ([34, 33, 33], [0, 50, 50])
    """
    whole = [math.floor(a + 1e-7) for a in amounts]
    before = [*owed, *[0.0] * (len(amounts) - len(owed))]
    rest = [a - w + b for a, w, b in zip(amounts, whole, before, strict=True)]
    some = [i for i, a in enumerate(amounts) if a] or list(range(len(amounts)))
    by_rest = sorted(some, key=lambda i: (-rest[i], i))
    for n in range(total - sum(whole)):
        whole[by_rest[n % len(by_rest)]] += 1
    for n in range(sum(whole) - total):
        whole[by_rest[-1 - n % len(by_rest)]] -= 1
    return whole


def split_table(table: Sequence[Sequence[float]]) -> list[list[int]]:
    """Round a table of money to cents: lines add up to theirs, all of it to the rounded total.

    Every line's sum is rounded first, so that the lines add up to the total; then each line is
    split over its columns. What rounding took from a column is given back to it in later lines, so
    that a column's sum stays near its true one however many lines there are.

    >>> split_table([[0.005, 0.005], [0.335, 0.335]])
    [[1, 0], [33, 34]]
    """
    exact = [[CENTS * a for a in row] for row in table]
    sums = [sum(row) for row in exact]
    lines = split(sums, cents(sum(sums) / CENTS))
    owed = [0.0] * (len(table[0]) if table else 0)
    found = []
    for row, total in zip(exact, lines, strict=True):
        whole = split(row, total, owed)
        owed = [o + a - w for o, a, w in zip(owed, row, whole, strict=True)]
        found.append(whole)
    return found


def with_shares(
    bills: Sequence[Bill],
    shares: Sequence[float],
    alone: Sequence[float],
    what: str,
    total: float,
) -> tuple[Bill, ...]:
    """Bills by use brought to other shares, by one line each.

    Parameters
    ----------
    what
        Says what the line is for.
    """
    whole = split([CENTS * s for s in shares], cents(total))
    found = []
    for bill, to, by_self in zip(bills, whole, alone, strict=True):
        more = to - cents(bill.share)
        lines = (*bill.lines, BillLine(what, more / CENTS)) if more else bill.lines
        found.append(replace(bill, share=to / CENTS, lines=lines, alone=by_self))
    return tuple(found)


def bills_json(bills: Sequence[Bill], by: str) -> dict[str, Any]:
    """Bills as keys of ``plan.json``, none where there are no bills.

    `alone` and `saved` are null where they are not known, `saved` also where less is planted alone.
    """
    if not bills:
        return {}
    return {
        "bills": [
            {
                "grower": b.grower,
                "alone": None if b.alone is None else cents(b.alone) / CENTS,
                "share": b.share,
                "saved": None if b.saved is None else cents(b.saved) / CENTS,
                "lines": [{"what": x.what, "amount": x.amount} for x in b.lines],
            }
            for b in bills
        ],
        "bills_by": by,
    }

"""Treating days nearer to the day before, where less is flushed in the evening and primed again.

The calendar puts every bag as late as it may. Where that leaves days between two treating days,
what may not sit in the line so long is flushed and primed again (`planner.campaign.standing`). So
the bags of a day are tried on the open day that follows the treating day before, and on that day
itself as far as it holds them; the order of bags stays. A day moves where fewer products are primed
again, for no more money, and where no bag comes later, longer before planting than the farm wants,
or more than `MOST_SOONER` days sooner.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from planner.campaign.calendar import Aim, place, runs
from planner.campaign.changes import setups
from planner.campaign.placer import Placer
from planner.campaign.standing import may_sit, nights

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from planner.campaign.begun import Begun, Work
    from planner.campaign.domain import Batch
    from planner.campaign.placer import Piece

MOST_SOONER = 7
"""Days by which a bag comes sooner for it at the most: seed keeps best untreated."""
HAIR = 1e-9


class Primed(NamedTuple):
    """What is primed again; compared from left to right."""

    products: int
    """One for each product and night."""
    money: float


def nearer(
    placed: Sequence[Piece], order: Sequence[Batch], work: Work, begun: Begun
) -> list[Piece]:
    """Move treating days nearer to the day before where less is primed again.

    Parameters
    ----------
    placed, order
        Bags on their days, and the batches in their order, as `planner.campaign.calendar` put them.
    """
    batches, supplies, shop, premixes = work
    sits = may_sit(batches, supplies, premixes)
    worth = {s.product: s.line_loss * s.value for s in supplies}
    latest, early = _by_bag(placed), _early(placed)
    placer = Placer(shop)

    def primed(trial: Sequence[Piece]) -> Primed:
        found = nights((*begun.done, *runs(trial)), batches, shop, sits)
        again = [n.product for n in found if n.again]
        return Primed(len(again), round(sum(worth[p] for p in again), 6))

    def tried(day: int, release: int) -> tuple[Primed, list[Piece]] | None:
        aims = _aims(best, dict(zip(order, setups(order, shop, begun.line), strict=True)))
        trial = place(
            [a._replace(day=release) if a.day == day else a for a in aims], shop, begun.cursor
        )
        days = zip(_by_bag(trial), latest, strict=True)
        if _early(trial) > early or any(not 0 <= old - new <= MOST_SOONER for new, old in days):
            return None
        return primed(trial), trial

    best, least = list(placed), primed(placed)
    before = begun.done[-1].day.toordinal() if begun.done else None
    while least.products:
        day = min((p.day for p in best if before is None or p.day > before), default=None)
        if day is None:
            break
        if before is not None:
            found = [tried(day, release) for release in (placer.working(before + 1), before)]
            cost, trial = min((f for f in found if f), default=(least, best), key=lambda f: f[0])
            if cost < least and cost.money <= least.money + HAIR:
                best, least = trial, cost
                continue
        before = day
    return best


def _by_bag(placed: Sequence[Piece]) -> list[int]:
    """Day of every bag, in their order."""
    return [p.day for p in placed for _ in range(p.bags)]


def _early(placed: Sequence[Piece]) -> int:
    return sum(p.bags for p in placed if p.early)


def _aims(placed: Sequence[Piece], minutes: dict[Batch, float]) -> Iterator[Aim]:
    """Bags on their days as aims to be placed again, with the minutes before each batch."""
    for p in placed:
        (portion,) = (q for q in p.batch.portions if 0 <= p.first_bag - q.first_bag < q.bags)
        yield Aim(p.batch, portion, p.first_bag, p.bags, p.day, minutes.pop(p.batch, 0.0))

"""The order to run in and the days: recipes whole where the days allow it, else in stretches."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

from planner.campaign.begun import NOTHING_DONE
from planner.campaign.calendar import pieces, runs
from planner.campaign.drawdown import flushes
from planner.campaign.nearer import nearer
from planner.campaign.run_order import find_order, least_changes
from planner.campaign.stretches import cut

if TYPE_CHECKING:
    from collections.abc import Sequence

    from planner.campaign.begun import Begun, Work
    from planner.campaign.domain import Batch, RunOrder
    from planner.campaign.placer import Piece


class Scheduled(NamedTuple):
    """Batches in their order, perhaps in parts, and every bag on its day."""

    order: tuple[Batch, ...]
    facts: RunOrder
    placed: list[Piece]


class Score(NamedTuple):
    """How good a schedule is; compared from left to right."""

    late: int
    """Bags past their day."""
    missing: float
    """Fl oz that the line takes and that are not there."""
    early: int
    """Bags treated longer before planting than the farm wants."""
    money: float
    """What the line takes beyond the plan costs."""
    minutes: float

    @property
    def wants(self) -> bool:
        """Whether bags are late or early, or product is missing, so that another may be better."""
        return bool(self.late or self.missing or self.early)


def schedule(
    rest: Sequence[Batch], work: Work, begun: Begun = NOTHING_DONE, planned: Sequence[str] = ()
) -> Scheduled:
    """Put what is left to treat on days.

    The order of recipes that the plan decided on is kept where nothing is late or longer treated
    than the farm wants by it. Recipes are cut into stretches only where that makes fewer bags late,
    or fewer too early and what is there covers what the line takes then. At last days move nearer
    to each other where that saves flushing.

    Parameters
    ----------
    rest
        What is left of the batches.
    planned
        Recipes in the order that the plan decided on; empty where it decided on none.
    """
    best = _best(rest, work, begun, planned)
    minutes, money = least_changes(rest, work.supplies, work.shop, begun.line)
    facts = replace(
        best.facts,
        least_minutes=min(minutes, best.facts.minutes),
        least_money=min(money, best.facts.money),
        kept=best.facts.kept or (False if planned else None),
    )
    placed = nearer(best.placed, best.order, work, begun)
    return best._replace(facts=facts, placed=placed)


def _best(rest: Sequence[Batch], work: Work, begun: Begun, planned: Sequence[str]) -> Scheduled:
    """Try the planned order, then any, then stretches, as long as the best so far wants more."""
    found: list[tuple[Score, Scheduled]] = []
    if planned:
        score, kept = _tried(rest, work, begun, order=planned)
        found.append((score, kept._replace(facts=replace(kept.facts, kept=True))))
    if not found or found[0][0].wants:
        found.append(_tried(rest, work, begun))
    for fine in (False, True):
        if min(score for score, _ in found).wants:
            parts, stretches = cut(rest, work.shop, fine=fine)
            if any(stretches):
                found.append(_tried(parts, work, begun, stretches))
    return min(found, key=lambda f: f[0])[1]


def _tried(
    parts: Sequence[Batch],
    work: Work,
    begun: Begun,
    stretches: Sequence[int] = (),
    order: Sequence[str] = (),
) -> tuple[Score, Scheduled]:
    """Put batches, or parts of them, in order and on days, and see how good that is."""
    supplies, shop = work.supplies, work.shop
    ordered, facts = find_order(parts, supplies, shop, begun, planned=order, stretches=stretches)
    placed = pieces(ordered, shop, begun)
    more = flushes((*begun.done, *runs(placed)), work.batches, supplies, shop)
    score = Score(
        sum(p.bags for p in placed if p.late),
        round(sum(f.missing for f in more), 6),
        sum(p.bags for p in placed if p.early),
        round(sum(f.money for f in more), 6),
        facts.minutes,
    )
    return score, Scheduled(ordered, facts, placed)

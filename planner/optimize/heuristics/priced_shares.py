"""Which shares a plan near given bags may have: those that break the field rule made dearer.

The linear relaxation without the field rule is solved again and again, the order held and bags
within one of the given ones. Each time shares of a field beyond the most varieties it may have, and
those smaller than a share may be, become dearer, until few fields break the rule or none does:
that takes some tens of linear programs, each from the last basis, and costs next to nothing
(slope scaling, D. Kim and P. M. Pardalos, 1999). With other prices to begin with, other shares come
out. Every other run holds the given bags: what cut bags plant, whole ones at times can't. What
several such runs use together is a tenth of all shares, and the exact model on these is a
neighborhood in which good plans are soon found.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from planner.optimize.heuristics.neighborhood import bounds_near_bags
from planner.optimize.mip.highs import Kept, Verdict, now
from planner.optimize.model.program import moved, order_held

if TYPE_CHECKING:
    from planner.optimize.heuristics.neighborhood import Neighborhood
    from planner.optimize.mip.highs import Bools, Floats, Ints, Matrix
    from planner.optimize.options import Stop

NONE = 1e-6
"""Acres that count as none."""


@dataclass(frozen=True, slots=True, eq=False)
class SharesToPrice:
    """Relaxations near given bags, and what the field rule asks of their shares."""

    programs: tuple[Matrix, ...]
    """Linear programs with the same columns and costs."""
    acres: Ints
    """Columns of acres that belong to shares."""
    share: Ints
    """Share of each of these."""
    field: Ints
    """Field of each share."""
    least: Floats
    """Acres that each share has at the least, if any."""
    most: int
    """Shares that a field may have."""
    step: float
    """Money an acre by which a share becomes dearer in a turn."""

    def used(self, x: Floats) -> Floats:
        """Acres by share in a solution."""
        return np.bincount(self.share, x[self.acres], len(self.field)).astype(np.float64)

    def breaking(self, acres: Floats) -> Bools:
        """Shares that break the field rule, by share."""
        by_field = np.lexsort((-acres, self.field))
        field = self.field[by_field]
        places = np.arange(len(field))
        first = np.maximum.accumulate(np.where(np.diff(field, prepend=-1) != 0, places, 0))
        rank = np.empty(len(field), dtype=np.int64)
        rank[by_field] = places - first
        is_broken = (rank >= self.most) | (acres < self.least - NONE)
        return np.asarray((acres > NONE) & is_broken)


def shares_to_price(near: Neighborhood, x: Floats, step: float) -> SharesToPrice:
    """Relax the model near the bags of a solution, its order held: just these, and within one.

    `step` is a share of what an acre of it costs.
    """
    loose, model = near.loose, near.model
    y = moved(model, loose, x)
    matrix = order_held(loose, y)
    low, high = bounds_near_bags(matrix, loose.at["bags"], y, 1)
    within_one = replace(matrix, lower=low, upper=high)
    seed = np.concatenate([loose.at["bags"], loose.at["part"]])
    low, high = low.copy(), high.copy()
    low[seed] = high[seed] = np.round(y[seed])
    is_share = near.share_of >= 0
    an_acre = abs(model.matrix.price(x)) / max(1.0, float(near.acres.sum()))
    return SharesToPrice(
        (replace(matrix, lower=low, upper=high), within_one),
        loose.at["acres"][is_share],
        near.share_of[is_share],
        near.field_of_share,
        near.split[near.field_of_share],
        near.most,
        step * an_acre,
    )


def price_shares(
    it: SharesToPrice, runs: int, turns: int, seconds: float, seed: int, stop: Stop
) -> Bools:
    """Shares that the best turn of any run uses, by share; none where there is no solution.

    Parameters
    ----------
    runs
        Each begins with random prices on all shares; they take the programs in turn.
    turns
        Linear programs of a run at the most.
    seconds
        For all of them.
    """
    rng, until = np.random.default_rng(seed), now() + seconds
    wanted = np.zeros(len(it.field), dtype=bool)
    programs = [Kept(program, stop) for program in it.programs]
    for run in range(runs):
        if stop.is_set() or now() >= until:
            break
        used = _priced(it, programs[run % len(programs)], turns, rng, until)
        if used is not None:
            wanted |= used
    return wanted


def _priced(
    it: SharesToPrice, kept: Kept, turns: int, rng: np.random.Generator, until: float
) -> Bools | None:
    """Shares that the best turn of a run uses; None where there is no solution, or not in time."""
    cost = it.programs[0].cost[it.acres]
    dearer = 2.0 * it.step * rng.random(len(it.field))
    fewest, best = np.inf, None
    for _ in range(turns):
        kept.price(it.acres, cost + dearer[it.share])
        answer = kept.solve(max(0.05, until - now()))
        if answer.verdict is not Verdict.OPTIMAL or answer.x is None:
            return None
        acres = it.used(answer.x)
        broken = it.breaking(acres)
        fields = len(np.unique(it.field[broken]))
        if fields < fewest:
            fewest, best = fields, acres > NONE
        if not fields:
            break
        dearer[broken] += it.step * (0.5 + rng.random(int(broken.sum())))
    return best

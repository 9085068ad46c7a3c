"""From a relaxation's solution to a whole plan: hold what is nearly whole, solve again, and so on.

Each step is a linear program that starts from the last one's basis: hundreds of them take seconds
even for a dealer's season. What could not be held is let go again.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from planner.optimize.mip.highs import Kept, Verdict
from planner.optimize.params import TUNED

if TYPE_CHECKING:
    from collections.abc import Callable

    from planner.optimize.heuristics.neighborhood import Neighborhood
    from planner.optimize.mip.highs import Floats, Ints
    from planner.optimize.model.program import Model
    from planner.optimize.options import Stop
    from planner.optimize.params import LargeParams

NONE = 1e-6
"""Values up to which something is not used at all."""


class Dive:
    """A relaxation that is narrowed step by step."""

    def __init__(self, loose: Model, stop: Stop, params: LargeParams) -> None:
        self.loose, self.stop, self.params = loose, stop, params
        self.low, self.high = loose.matrix.lower.copy(), loose.matrix.upper.copy()
        self.kept = Kept(loose.matrix, stop)
        self.x: Floats | None = None
        """The last solution, by column; None before there is one."""
        m = loose.matrix
        least = np.zeros(len(m.row_lower))
        np.minimum.at(least, m.row, m.value)
        self.caps = (least >= 0) & np.isfinite(m.row_upper)
        """Rows that only add up, to no more than a bound."""

    def fits(self, columns: Ints, target: Floats) -> Floats:
        """Targets that keep the caps beside what is held; what would not is rounded down."""
        m = self.loose.matrix
        used = m.times(self.low)
        result = target.copy()
        for n, (j, aim) in enumerate(zip(columns.tolist(), target.tolist(), strict=True)):
            here = slice(int(m.start[j]), int(m.start[j + 1]))
            rows, values = m.row[here], m.value[here]
            more = aim - self.low[j]
            if np.any(self.caps[rows] & (used[rows] + values * more > m.row_upper[rows] + 1e-9)):
                result[n] = max(self.low[j], aim - 1.0)
                more = result[n] - self.low[j]
            used[rows] += values * more
        return result

    def hold(self, columns: Ints, low: Floats, high: Floats) -> bool:
        """Hold columns between bounds and solve again; if that can't be, let them go again."""
        before = self.low[columns], self.high[columns]
        self._bound(columns, low, high)
        answer = self.kept.solve(np.inf)
        if answer.verdict is Verdict.OPTIMAL:
            self.x = answer.x
            return True
        self._bound(columns, *before)
        return False

    def _bound(self, columns: Ints, low: Floats, high: Floats) -> None:
        self.low[columns], self.high[columns] = low, high
        self.kept.bound(columns, low, high)

    def either(self, group: str) -> None:
        """Try 0 and 1 for each column of a group that is in use, and hold the cheaper one."""
        at = self.loose.at[group]
        assert self.x is not None
        for j in at[np.argsort(-self.x[at], kind="stable")].tolist():
            if self.x[j] <= NONE or self.stop.is_set():
                continue
            column, before = np.array([j]), self.x
            cost = [np.inf, np.inf]
            for value in (0, 1):
                here = np.full(1, float(value))
                if self.hold(column, here, here):
                    cost[value] = self.loose.matrix.price(self.x)
                    self._bound(column, np.zeros(1), np.ones(1))
            best = np.full(1, float(np.argmin(cost)))
            if not self.hold(column, best, best):
                self.x = before

    def whole(self, group: str, aim: Callable[[Floats], tuple[Floats, Floats]]) -> None:
        """Make the columns of a group whole, the nearest first.

        `aim` says from their values which whole number each should get, and how far off that is.
        """
        at = self.loose.at[group]
        done, refused = np.zeros(len(at), dtype=bool), np.zeros(len(at), dtype=bool)
        share, failures = self.params.batch, 0
        while self.x is not None and not self.stop.is_set() and failures < self.params.failures:
            value = self.x[at]
            left = np.flatnonzero((value > NONE) & ~done)
            if not len(left):
                return
            target, off = aim(value[left])
            target = np.where(refused[left] & (target > value[left]), np.floor(value[left]), target)
            target = np.minimum(target, self.high[at[left]])
            pick = np.argsort(off, kind="stable")[: max(1, int(len(left) * share))]
            chosen, target = left[pick], self.fits(at[left[pick]], target[pick])
            if self.hold(at[chosen], target, target):
                done[chosen] = True
                share = min(self.params.batch, share * 1.5)
                continue
            failures += 1
            share *= 0.4
            if len(chosen) == 1:
                done[chosen] = refused[chosen]
                refused[chosen] = True

    def field_rule(self, near: Neighborhood) -> None:
        """Drop shares of fields that have too many or a sliver, the smallest first."""
        columns = self.loose.at["acres"]
        held = near.share_of >= 0
        stuck = np.zeros(len(near.field_of_share), dtype=bool)
        share, failures = 1 / 3, 0
        while self.x is not None and not self.stop.is_set() and failures < self.params.failures:
            x = self.x[columns]
            acres = np.bincount(near.share_of[held], x[held], len(stuck))
            on = acres > NONE
            count = np.bincount(near.field_of_share[on], minlength=len(near.acres))
            sliver = acres < near.split[near.field_of_share] - NONE
            bad = on & ~stuck & (sliver | (count > near.most)[near.field_of_share])
            order = np.flatnonzero(bad)[np.argsort(acres[bad], kind="stable")]
            _, first = np.unique(near.field_of_share[order], return_index=True)
            pick = order[np.sort(first)]
            if not len(pick):
                return
            pick = pick[: max(1, int(len(pick) * share))]
            mine = columns[np.isin(near.share_of, pick)]
            if self.hold(mine, np.zeros(len(mine)), np.zeros(len(mine))):
                share = min(1 / 3, share * 1.5)
                continue
            failures += 1
            share *= 0.3
            stuck[pick] = len(pick) == 1


def up_or_closed(value: Floats, small: float) -> tuple[Floats, Floats]:
    """Round up, or close what is smaller than that."""
    target = np.ceil(value - NONE)
    closed = (value < small) & (0.5 * value <= target - value)
    return np.where(closed, 0.0, target), np.where(closed, 0.5 * value, target - value)


def nearest(value: Floats) -> tuple[Floats, Floats]:
    """Round to the nearest."""
    target = np.round(value)
    return target, np.abs(target - value)


def dive(
    loose: Model,
    near: Neighborhood,
    order: Floats,
    spare: Floats,
    stop: Stop,
    params: LargeParams = TUNED.large,
    *,
    elastic: bool = False,
) -> Floats | None:
    """Go from an order to a guide: a solution of the relaxation that is nearly a plan.

    Parameters
    ----------
    loose
        The model without the field rule.
    near
        What solves parts of the exact model: the field rule that is kept in the end.
    order
        A solution of `loose` whose order is whole, by column.
    spare
        What at least is to be left of each product, in its largest container.
    elastic
        Whether one more of every container ordered may come in, and the field rule is left out.

    Returns
    -------
    array or None
        By column of `loose`; None where the order can't be planted at all.
    """
    it = Dive(loose, stop, params)
    for group in ("reached", "freight_free", "level"):
        at = loose.at[group]
        it._bound(at, np.round(order[at]), np.round(order[at]))
    at = loose.at["left"]
    it._bound(at, np.maximum(it.low[at], spare), it.high[at])
    at = loose.at["count"]
    count = np.round(order[at])
    more = np.where(count > 0, count + elastic, 0.0)
    if not it.hold(at, count, np.minimum(more, it.high[at])):
        return None
    it.either("run")
    it.whole("bags", lambda value: up_or_closed(value, params.small))
    it.whole("part", nearest)
    if not elastic:
        it.field_rule(near)
    assert it.x is not None
    return it.x

"""Means, intervals and differences of costs over draws."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from planner.risk.draws import Floats

SURE = 0.95
"""Confidence of intervals."""
DEAREST = 0.10
"""Share of draws whose mean is the mean of the dearest."""


@dataclass(frozen=True, slots=True)
class Mean:
    """A mean over draws and its interval."""

    mean: float
    low: float
    high: float


def interval(values: Floats) -> Mean:
    """Mean of independent draws with its two-sided interval by Student's t.

    Parameters
    ----------
    values
        Shape (draws,). One draw alone has no interval: its ends are infinite.
    """
    mean = float(values.mean())
    if len(values) < 2:
        return Mean(mean, -np.inf, np.inf)
    half = _quantile((1.0 + SURE) / 2.0, len(values)) * _error(values)
    return Mean(mean, mean - half, mean + half)


def gap_upper(gaps: Floats) -> float:
    """Upper end of the one-sided interval of an optimality gap.

    Each value is the cost of an order in a draw (or the mean over a batch of draws) less the least
    cost for the same draws: W.-K. Mak, D. P. Morton and R. K. Wood, "Monte Carlo bounding
    techniques for determining solution quality in stochastic programs", Operations Research
    Letters 24, 1999. Infinite from one value alone.
    """
    if len(gaps) < 2:
        return float(np.inf)
    return max(0.0, float(gaps.mean()) + _quantile(SURE, len(gaps)) * _error(gaps))


def _error(values: Floats) -> float:
    return float(values.std(ddof=1) / np.sqrt(len(values)))


def _quantile(share: float, n: int) -> float:
    from scipy.stats import t

    return float(t.ppf(share, n - 1))


def dearest_mean(costs: Floats, share: float = DEAREST, weights: Floats | None = None) -> float:
    """Mean of the dearest share of draws (conditional value at risk at 1 - share).

    A draw that lies on the edge counts in part: R. T. Rockafellar and S. Uryasev, "Conditional
    value-at-risk for general loss distributions", Journal of Banking and Finance 26, 2002.

    Parameters
    ----------
    weights
        Probabilities, shape (draws,), adding up to 1; by default all alike.
    """
    p = np.full(len(costs), 1.0 / len(costs)) if weights is None else weights
    order = np.argsort(-costs, kind="stable")
    before = np.cumsum(p[order]) - p[order]
    counted = np.clip(share - before, 0.0, p[order])
    return float(counted @ costs[order] / counted.sum())


@dataclass(frozen=True, slots=True)
class Values:
    """What planning for the unknown is worth, and what knowing would be."""

    best: int
    """Row of the order chosen."""
    recourse: float
    """Its mean cost (RP)."""
    planned: float
    """Mean cost of the order that is best for the planned figures (EEV)."""
    knowing: float
    """Mean of what each draw would cost at best (WS); -inf if not known."""

    @property
    def of_planning(self) -> float:
        """Value of the stochastic solution, EEV - RP."""
        return self.planned - self.recourse

    @property
    def of_knowing(self) -> float:
        """Price of not knowing (expected value of perfect information), RP - WS."""
        return self.recourse - self.knowing


def values(
    costs: Floats,
    least: Floats | None,
    planned: int,
    weights: Floats | None = None,
    *,
    best: int | None = None,
) -> Values:
    """Compare orders over the same draws.

    Parameters
    ----------
    costs
        Shape (orders, draws).
    least
        Least cost of each draw, shape (draws,); None where that is not known.
    planned
        Row of the order that is best for the planned figures.
    weights
        Probabilities of the draws; by default all alike.
    best
        Row of the order chosen; by default the one with the lowest mean cost.
    """
    n = costs.shape[1]
    p = np.full(n, 1.0 / n) if weights is None else weights
    means = costs @ p
    best = int(means.argmin()) if best is None else best
    knowing = -np.inf if least is None else float(least @ p)
    return Values(best, float(means[best]), float(means[planned]), knowing)

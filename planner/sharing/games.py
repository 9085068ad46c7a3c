"""Ways to share what players cost together: Shapley value, core and nucleolus of a cost game.

A game is an array of the costs of all groups: ``costs[mask]`` is what the players whose bits are
set in `mask` cost together, ``costs[0]`` is 0. A game of values (what groups earn) is the game of
the costs ``-values``, and so are its shares.

Sources: L. S. Shapley, A value for n-person games, 1953; D. Schmeidler, The nucleolus of a
characteristic function game, SIAM J. Appl. Math. 17 (1969); for computing it by linear programs
M. Guajardo and K. Jornsten, Common mistakes in computing the nucleolus, European J. Oper. Res. 241
(2015) 931-935; sampling by J. Castro, D. Gomez and J. Tejada, Polynomial calculation of the
Shapley value based on sampling, Computers and Oper. Res. 36 (2009) 1726-1730.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from collections.abc import Callable

Floats: TypeAlias = NDArray[np.float64]

MOST_EXACT = 8
"""Most players whose Shapley value is worked out from all groups."""
MOST_NUCLEOLUS = 12
"""Most players whose nucleolus is worked out."""
SLACK = 1e-7
"""Share of the largest cost up to which a difference is rounding."""
CONFIDENCE = 1.96
"""Standard errors on either side of a mean that hold 95%, by the normal distribution."""


class Sampled(NamedTuple):
    """A Shapley value from some orders of the players, in the unit of the costs."""

    shares: Floats
    error: Floats
    """Half of the 95% interval of each share."""
    orders: int


class Core(NamedTuple):
    """Whether there are shares under which no group pays more than alone."""

    excess: float
    """By how much the worst group pays more than alone under the best shares; below zero: less."""
    shares: Floats
    """Shares under which that is so."""
    empty: bool


def players(costs: Floats) -> int:
    """Count the players of a game.

    Raises
    ------
    ValueError
        When the length is no power of two, or the empty group costs anything.
    """
    count = len(costs).bit_length() - 1
    if len(costs) != 1 << count or count < 1 or costs[0] != 0.0:
        msg = "a game has a cost for each of 2^n groups, zero for nobody"
        raise ValueError(msg)
    return count


def members(mask: int) -> tuple[int, ...]:
    """Players of a group.

    >>> members(0b101)
    (0, 2)
    """
    return tuple(i for i in range(mask.bit_length()) if mask >> i & 1)


def _incidence(count: int) -> Floats:
    """Which players are in which group, shape (2^n, n)."""
    return (np.arange(1 << count)[:, None] >> np.arange(count) & 1).astype(float)


def weights(count: int) -> Floats:
    """Chance that a random order has exactly a given group of that size before a player.

    Size s of n players: s! (n - s - 1)! / n!, shape (n,).

    >>> weights(3).round(4).tolist()
    [0.3333, 0.1667, 0.3333]
    """
    return np.array([1.0 / (count * math.comb(count - 1, size)) for size in range(count)])


def shapley(costs: Floats) -> Floats:
    """Shapley value: what a player adds to those before him, on average over all orders.

    Parameters
    ----------
    costs
        Shape (2^n,).

    Returns
    -------
    Floats
        Shares, shape (n,); they add up to the cost of all.
    """
    return shapley_range(costs, costs)[0]


def shapley_range(low: Floats, high: Floats) -> tuple[Floats, Floats]:
    """Least and largest Shapley value of each player where costs are only known to lie in ranges.

    Both ends are reached: the value is linear in the costs, those of groups with the player count
    for it, those of groups without him against it.
    """
    count = players(high)
    sizes = _incidence(count).sum(axis=1).astype(int)
    chance = weights(count)
    least, most = np.zeros(count), np.zeros(count)
    masks = np.arange(1 << count)
    for i in range(count):
        without = masks[masks >> i & 1 == 0]
        share = chance[sizes[without]]
        least[i] = share @ (low[without | 1 << i] - high[without])
        most[i] = share @ (high[without | 1 << i] - low[without])
    return least, most


def sampled_shapley(
    cost: Callable[[int], float], count: int, orders: int, seed: int = 0
) -> Sampled:
    """Shapley value from random orders, each taken forward and backward.

    Parameters
    ----------
    cost
        Cost of a group by its mask; asked only for groups that the orders need.
    orders
        Pairs of orders, two or more.

    Notes
    -----
    In every order the shares add up to the cost of all, so their means do as well. An order and
    its reverse are one observation of the error.
    """
    rng = np.random.default_rng(seed)
    seen = np.empty((max(2, orders), count))
    for row in seen:
        order = rng.permutation(count)
        row[:] = (_added(cost, order) + _added(cost, order[::-1])) / 2.0
    error = CONFIDENCE * seen.std(axis=0, ddof=1) / math.sqrt(len(seen))
    return Sampled(seen.mean(axis=0), error, len(seen))


def _added(cost: Callable[[int], float], order: NDArray[np.int64]) -> Floats:
    """What each player adds to the cost of those before him."""
    added = np.empty(len(order))
    mask, before = 0, 0.0
    for i in order:
        mask |= 1 << int(i)
        now = cost(mask)
        added[i] = now - before
        before = now
    return added


def _slack(costs: Floats) -> float:
    return SLACK * max(1.0, float(np.abs(costs).max()))


def core(costs: Floats) -> Core:
    """Look for shares under which no group pays more than alone, by one linear program.

    Where there are none, the core is empty: `Core.excess` is then what the worst group overpays at
    the very least, whatever the shares.
    """
    count = players(costs)
    if count == 1:
        return Core(0.0, costs[1:].copy(), empty=False)
    each = _incidence(count)[1:-1]
    found = _solve(each, costs[1:-1], _sum_row(count), costs[-1:], None)
    return Core(float(found.x[-1]), found.x[:-1], empty=bool(found.x[-1] > _slack(costs)))


def nucleolus(costs: Floats) -> Floats:
    """Nucleolus: shares whose largest excess is least, then the next largest, and so on.

    Each linear program finds the least excess that the groups not settled yet can all keep to. A
    group whose row has a dual price is at that excess in every optimum (complementary slackness):
    it is settled there, one that merely happens to be tight in the solution found is not. Groups
    whose shares follow from settled ones drop out; where every share follows, it is done.

    Returns
    -------
    Floats
        Shares, shape (n,). Nobody pays more than alone wherever that can be had.
    """
    count = players(costs)
    if count == 1:
        return costs[1:].copy()
    scale = max(1e-12, float(np.abs(costs).max()))
    game = costs / scale
    each, bound = _incidence(count)[1:-1], game[1:-1]
    alone = game[1 << np.arange(count)]
    caps = alone if alone.sum() >= game[-1] - SLACK else None
    fixed, sums = _sum_row(count), game[-1:]
    while np.linalg.matrix_rank(fixed) < count:
        free = ~_follows(fixed, each)
        found = _solve(each[free], bound[free], fixed, sums, caps)
        price = -found.ineqlin.marginals[: int(free.sum())]
        tight = np.flatnonzero(free)[price > 0.5 / len(price)]
        for row in tight:
            if not _follows(fixed, each[[row]])[0]:
                fixed = np.vstack([fixed, each[row]])
                sums = np.append(sums, bound[row] + found.x[-1])
    return np.asarray(np.linalg.lstsq(fixed, sums, rcond=None)[0] * scale)


def _sum_row(count: int) -> Floats:
    return np.ones((1, count))


def _follows(fixed: Floats, rows: Floats) -> NDArray[np.bool_]:
    """Which rows are combinations of the fixed ones, so that their shares are settled too."""
    basis, _ = np.linalg.qr(fixed.T)
    rest = rows - rows @ basis @ basis.T
    return np.asarray(np.abs(rest).max(axis=1) < 1e-9)


def _solve(
    each: Floats,
    bound: Floats,
    fixed: Floats,
    sums: Floats,
    caps: Floats | None,
) -> Any:
    """Minimize t where groups pay at most ``bound + t``, sums are held, caps are kept."""
    from scipy.optimize import linprog

    count = each.shape[1]
    most = [None] * count if caps is None else caps.tolist()
    found = linprog(
        np.append(np.zeros(count), 1.0),
        A_ub=np.column_stack([each, -np.ones(len(each))]),
        b_ub=bound,
        A_eq=np.column_stack([fixed, np.zeros(len(fixed))]),
        b_eq=sums,
        bounds=[*((None, cap) for cap in most), (None, None)],
        method="highs",
    )
    if found.status != 0:
        msg = f"the linear program of the shares was not solved: {found.message}"
        raise ArithmeticError(msg)
    return found

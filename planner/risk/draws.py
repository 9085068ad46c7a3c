"""Draws of what is not known: Sobol points through the inverse of the triangular distribution."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from planner.season.domain import Quantity

if TYPE_CHECKING:
    from collections.abc import Iterator

    import numpy.typing as npt

    from planner.season.domain import Season, Unknown

    Floats = npt.NDArray[np.float64]

MOST_AXES = 21_201
"""Dimensions that Sobol points are tabulated for; further axes are drawn at random."""
CHUNK = 1 << 22
"""Numbers that are drawn at a time at the most."""


@dataclass(frozen=True, slots=True)
class Axis:
    """One draw: an unknown, and what turns out by it."""

    unknown: Unknown
    names: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Changes:
    """Changes in some draws, by what they are about; what is not named is as planned.

    Factors of the planned value, arrays of shape (draws,); of a germination added points.
    """

    by_name: dict[tuple[Quantity, str], Floats]

    def factor(self, what: Quantity, name: str) -> Floats | float:
        """Change of a figure; 1 (0 for a germination) where it is as planned."""
        return self.by_name.get((what, name), 0.0 if what is Quantity.GERMINATION else 1.0)


def triangular(u: Floats, low: float, likely: float, high: float) -> Floats:
    """Triangular numbers by the inverse of their distribution.

    Parameters
    ----------
    u
        Numbers from 0 to 1, any shape.
    low, likely, high
        Ends and mode, low <= likely <= high.
    """
    span = high - low
    if span <= 0.0:
        return np.full_like(u, likely)
    left = u * span < likely - low
    up = low + np.sqrt(u * span * (likely - low))
    down = high - np.sqrt((1.0 - u) * span * (high - likely))
    return np.asarray(np.where(left, up, down), dtype=np.float64)


def axes(season: Season) -> tuple[Axis, ...]:
    """Independent draws that the season's unknowns ask for, in the order of their rows."""
    found = []
    for unknown in season.unknowns:
        names = unknown.of or _all(season, unknown.what)
        groups = [names] if unknown.together else [(name,) for name in names]
        found += [Axis(unknown, group) for group in groups if group]
    return tuple(found)


def _all(season: Season, what: Quantity) -> tuple[str, ...]:
    if what is Quantity.ACRES:
        return tuple(f.name for f in season.fields)
    if what is Quantity.PRODUCT_USED:
        return tuple(p.name for p in season.products)
    known = what is Quantity.GERMINATION
    return tuple(x.name for x in season.lots if not known or x.germination is not None)


def whole_draws(draws: int) -> int:
    """Least power of two that is no less: Sobol points are balanced in such numbers only.

    >>> whole_draws(100_000)
    131072
    """
    return 1 << max(0, draws - 1).bit_length()


def points(dimensions: int, draws: int, seed: int) -> Iterator[Floats]:
    """Scrambled Sobol points in the unit cube, in parts of shape (some draws, dimensions).

    Parameters
    ----------
    draws
        A power of two.
    seed
        Of the scrambling: the same seed gives the same points.
    """
    sobol = _sobol(min(dimensions, MOST_AXES), seed)
    rest = np.random.default_rng(seed)
    part = max(1, 1 << (CHUNK // max(1, dimensions)).bit_length() - 1)
    for begin in range(0, draws, part):
        count = min(part, draws - begin)
        u = sobol.random(count)
        if dimensions > MOST_AXES:
            u = np.hstack([u, rest.random((count, dimensions - MOST_AXES))])
        yield u


def _sobol(dimensions: int, seed: int) -> Any:
    """Sobol points of SciPy; their seed was called so before SciPy 1.15."""
    from scipy.stats import qmc

    try:
        return qmc.Sobol(dimensions, rng=seed)
    except TypeError:
        return qmc.Sobol(dimensions, seed=seed)


def draw(season: Season, draws: int, seed: int) -> Iterator[tuple[int, Changes]]:
    """Draw what is not known, in parts.

    Yields
    ------
    tuple of int and Changes
        How many draws, and what changes in them.
    """
    drawn = axes(season)
    if not drawn:
        yield draws, Changes({})
        return
    for u in points(len(drawn), draws, seed):
        yield len(u), _changes(drawn, u)


def _changes(drawn: tuple[Axis, ...], u: Floats) -> Changes:
    found: dict[tuple[Quantity, str], Floats] = {}
    for number, axis in enumerate(drawn):
        row = axis.unknown
        change = triangular(u[:, number], row.low, row.likely, row.high)
        for name in axis.names:
            key = (row.what, name)
            if row.what is Quantity.GERMINATION:
                found[key] = found.get(key, 0.0) + change
            else:
                found[key] = found.get(key, 1.0) * (1.0 + change)
    return Changes(found)

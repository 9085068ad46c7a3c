"""The exact program over patterns: what every variety under every recipe may have, listed.

A plan that costs less than the best one known has only patterns that are cheap enough by every cut
(`dantzig_wolfe.py`): what a pattern costs over the cheapest of its block comes on top of what the
cut says of any order. Where few are left, they are all listed, and the exact model with shares in
patterns is solved in place of its own. In it a pattern says how many bags of a size it takes at the
least, and the model of which lots.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import astuple, dataclass
from math import ceil
from typing import TYPE_CHECKING

import numpy as np

from planner.optimize.bounds.patterns import priced
from planner.optimize.mip.highs import INFINITE

if TYPE_CHECKING:
    from planner.optimize.bounds.dantzig_wolfe import Cut, Settled
    from planner.optimize.bounds.patterns import Bags, Block
    from planner.optimize.mip.highs import Floats, Ints, Matrix


DUST = 1e-7
"""Relative slack of units: rounding."""
OVER = 1e-6
"""Share of a cost by which what is left out must be dearer: rounding."""


@dataclass(frozen=True, slots=True)
class Listed:
    """A pattern: its block, its shares, and bags by their place among the block's sizes."""

    block: int
    shares: tuple[int, ...]
    bags: tuple[int, ...]


@dataclass(frozen=True, slots=True, eq=False)
class PatternProgram:
    """The exact model over listed patterns."""

    matrix: Matrix
    settled: Settled
    rest: Ints
    """Columns of the exact model that come first in the matrix."""
    patterns: list[Listed]
    places: dict[tuple[int, tuple[int, ...]], list[int]]
    """Places of patterns by block and shares."""

    @property
    def cost(self) -> float:
        """All plans that cost less are solutions."""
        return self.settled.cost

    def in_model(self, x: Floats) -> Floats:
        """A solution in the columns of the exact model."""
        m, first = self.settled.model.matrix, len(self.rest)
        y = np.zeros(m.n_columns)
        y[self.rest] = x[:first]
        for n in np.flatnonzero(x[first:] > 0.5).tolist():
            y[list(self.patterns[n].shares)] = 1.0
        return np.where(m.integer, np.round(y), y)

    def in_patterns(self, y: Floats) -> Floats | None:
        """A solution of the exact model in these columns; None where it has one not listed."""
        x = np.append(y[self.rest], np.zeros(len(self.patterns)))
        for n, block in enumerate(self.settled.blocks):
            shares = tuple(np.sort(block.share[y[block.share] > 0.5]).tolist())
            bags = [sum(y[column] for column, _ in b.lots) + OVER for b in block.bags]
            listed = self.places.get((n, shares), [])
            fitting = [k for k in listed if np.all(np.array(self.patterns[k].bags) <= bags)]
            if shares and not fitting:
                return None
            x[len(self.rest) + np.array(fitting[:1], dtype=np.int64)] = 1.0
        return x


def list_patterns(settled: Settled, most: int) -> PatternProgram | None:
    """The program over all patterns that a plan better than the best known may have.

    None where they are more than `most`.
    """
    found: set[Listed] = set()
    for cut in settled.cuts:
        for n, block in enumerate(settled.blocks):
            limit = cut.blocks[n] + settled.room + OVER * abs(settled.cost)
            shares = priced(block, cut.cost).within(limit, most)
            if shares is None:
                return None
            found |= _with_bags(n, block, [columns for columns, _ in shares], cut, limit)
            if len(found) > most:
                return None
    return _program(settled, sorted(found, key=astuple)) if found else None


def _with_bags(n: int, block: Block, listed: list[Ints], cut: Cut, limit: float) -> set[Listed]:
    """Patterns with shares among these columns, with all bags that do for them, cheap enough."""
    table = [_cheapest(b, cut.cost) for b in block.bags]
    sizes = [(b.size, b.most) for b in block.bags]
    found = set()
    for columns in listed:
        has = np.isin(block.share, columns)
        shares = block.share[has]
        paid = float(cut.cost[shares].sum())
        for numbers in _enough(sizes, float(block.need[has].sum())) if len(shares) else ():
            if paid + sum(t[k] for t, k in zip(table, numbers, strict=True)) <= limit:
                found.add(Listed(n, tuple(np.sort(shares).tolist()), numbers))
    return found


def _cheapest(bags: Bags, cost: Floats) -> Floats:
    """What so many bags and any more of them cost at the least, by their number."""
    each = np.sort(np.concatenate([np.full(most, cost[column]) for column, most in bags.lots]))
    more = np.append(np.cumsum(np.minimum(0.0, each)[::-1])[::-1], 0.0)
    total: Floats = np.append(0.0, np.cumsum(each)) + more
    return total


def _enough(sizes: list[tuple[float, int]], need: float) -> list[tuple[int, ...]]:
    """Numbers of bags by size that hold so many units, none of them one too many.

    >>> _enough([(12.0, 1), (40.0, 3)], 85.0)
    [(0, 3), (1, 2)]
    """
    found: list[tuple[tuple[int, ...], float]] = [((), 0.0)]
    for size, most in sizes:
        found = [
            ((*numbers, number), held + number * size)
            for numbers, held in found
            for number in range(min(most, ceil(max(0.0, need - held) / size - DUST)) + 1)
        ]
    return [
        numbers
        for numbers, held in found
        if held >= need - DUST * max(1.0, need)
        and all(
            held - size < need - DUST * max(1.0, need)
            for number, (size, _) in zip(numbers, sizes, strict=True)
            if number
        )
    ]


def _program(settled: Settled, patterns: list[Listed]) -> PatternProgram:
    """The exact model with shares in patterns, their bags at the least; at most one a block."""
    m, blocks = settled.model.matrix, settled.blocks
    inside = np.zeros(m.n_columns, dtype=bool)
    inside[np.concatenate([block.share for block in blocks])] = True
    rest, where = np.flatnonzero(~inside), np.cumsum(~inside) - 1
    bundles = [(np.array(p.shares), np.ones(len(p.shares))) for p in patterns]
    sizes = [(n, k) for n, block in enumerate(blocks) for k in range(len(block.bags))]
    place = {key: len(blocks) + number for number, key in enumerate(sizes)}
    entries = [(n, int(where[block.run]), -1.0) for n, block in enumerate(blocks)]
    for n, k in sizes:
        entries += [(place[n, k], int(where[c]), 1.0) for c, _ in blocks[n].bags[k].lots]
    for column, pattern in enumerate(patterns, len(rest)):
        entries.append((pattern.block, column, 1.0))
        for k, bags in enumerate(pattern.bags):
            if bags:
                entries.append((place[pattern.block, k], column, -float(bags)))
    row, column_, value = (np.array(e) for e in zip(*entries, strict=True))
    low = np.append(np.full(len(blocks), -INFINITE), np.zeros(len(sizes)))
    high = np.append(np.zeros(len(blocks)), np.full(len(sizes), INFINITE))
    matrix = m.bundled(rest, bundles).with_rows((row, column_, value), low, high)
    places = defaultdict(list)
    for number, pattern in enumerate(patterns):
        places[pattern.block, pattern.shares].append(number)
    return PatternProgram(matrix, settled, rest, patterns, dict(places))

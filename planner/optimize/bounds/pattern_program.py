"""The exact program over patterns: what every variety under every recipe may have, listed.

A plan that costs less than the best one known has only patterns that are cheap enough by every cut
(`dantzig_wolfe.py`): what a pattern costs over the cheapest of its block comes on top of what the
cut says of any order. Where few are left, they are all listed, and the exact model with shares in
patterns is solved in place of its own. In it a pattern says how many bags of a size it takes at the
least, and the model of which lots.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import astuple, dataclass, replace
from math import ceil
from typing import TYPE_CHECKING

import numpy as np

from planner.optimize.bounds.dantzig_wolfe import Settled
from planner.optimize.bounds.patterns import blocks_of, priced
from planner.optimize.mip.highs import INFINITE

if TYPE_CHECKING:
    from collections.abc import Iterator

    from planner.optimize.bounds.dantzig_wolfe import Cut, OrdersKnown
    from planner.optimize.bounds.patterns import Bags, Block
    from planner.optimize.mip.highs import Floats, Ints, Matrix
    from planner.optimize.model.program import Model


DUST = 1e-7
"""Relative slack of units: rounding."""
OVER = 1e-6
"""Share of a cost by which what is left out must be dearer: rounding."""
AT_MOST = 100_000
"""Patterns of a block by one cut, before others are asked."""
ONE = 6.0
"""Most seconds for a plan of generated patterns with one order."""
GAP = 2e-4
"""How near its best such a plan must be."""


@dataclass(frozen=True, slots=True)
class Listed:
    """A pattern: its block, its shares, and bags by their place among the block's sizes."""

    block: int
    shares: tuple[int, ...]
    bags: tuple[int, ...]


@dataclass(frozen=True, slots=True, eq=False)
class PatternProgram:
    """The exact model with listed patterns after its own columns."""

    matrix: Matrix
    settled: Settled
    patterns: list[Listed]
    places: dict[tuple[int, tuple[int, ...]], list[int]]
    """Places of patterns by block and shares."""

    @property
    def cost(self) -> float:
        """All plans that cost less are solutions."""
        return self.settled.cost

    def in_model(self, x: Floats) -> Floats:
        """A solution in the columns of the exact model."""
        m = self.settled.model.matrix
        y = x[: m.n_columns]
        return np.where(m.integer, np.round(y), y)

    def in_patterns(self, y: Floats) -> Floats | None:
        """A solution of the exact model in these columns; None where it has one not listed."""
        taken = np.zeros(len(self.patterns))
        for n, block in enumerate(self.settled.blocks):
            shares = tuple(np.sort(block.share[y[block.share] > 0.5]).tolist())
            bags = [sum(y[column] for column, _ in b.lots) + OVER for b in block.bags]
            listed = self.places.get((n, shares), [])
            fitting = [k for k in listed if np.all(np.array(self.patterns[k].bags) <= bags)]
            if shares and not fitting:
                return None
            taken[fitting[:1]] = 1.0
        return np.append(y, taken)


@dataclass(frozen=True, slots=True, eq=False)
class Ceiling:
    """The most that a pattern of a block may cost by a cut."""

    prices: Floats
    """Of the exact model's columns."""
    bags: list[Floats]
    """What so many bags and any more of them cost, by the block's sizes."""
    most: float

    def is_kept(self, shares: Ints, numbers: tuple[int, ...]) -> bool:
        """Whether it is kept by shares with bags by size."""
        paid = float(self.prices[shares].sum())
        paid += sum(float(t[k]) for t, k in zip(self.bags, numbers, strict=True))
        return paid <= self.most


def list_patterns(settled: Settled, most_patterns: int) -> PatternProgram | None:
    """The program over all patterns that a plan better than the best known may have.

    None where they are more than `most_patterns`.
    """
    found: set[Listed] = set()
    first = min(settled.rooms, key=lambda room: len(room.cuts))
    for n, block in enumerate(settled.blocks):
        rooms = [[_ceiling(settled, n, cut, r.over) for cut in r.cuts] for r in settled.rooms]
        for cut in first.cuts:
            most = _ceiling(settled, n, cut, first.over).most
            listed = priced(block, cut.cost).within(most, AT_MOST)
            if listed is None:
                return None
            found |= _with_bags(n, block, [columns for columns, _ in listed], rooms)
            if len(found) > most_patterns:
                return None
    return _program(settled, sorted(found, key=astuple)) if found else None


def generated_program(model: Model, known: OrdersKnown) -> PatternProgram | None:
    """The program over the patterns generated for some orders, which has not all plans.

    With the fields of these patterns, and all bags that do for those. None where there are none.
    """
    found, blocks = set(), blocks_of(model, known.short)
    for n, (columns, _) in known.generated:
        has = np.isin(blocks[n].share, columns)
        shares = tuple(np.sort(blocks[n].share[has]).tolist())
        sizes = [(b.size, b.most) for b in blocks[n].bags]
        if shares:
            found |= {
                Listed(n, shares, bags) for bags in _enough(sizes, blocks[n].least_units(has))
            }
    if not found:
        return None
    return _program(Settled(model, blocks, [], INFINITE), sorted(found, key=astuple))


def under_orders(program: PatternProgram, known: OrdersKnown) -> Iterator[tuple[float, Matrix]]:
    """The program under each of the orders planted, the cheapest first (price and branch).

    Each with what the order cost by the patterns of the time. What is bought whole is held.
    """
    m, tried = program.matrix, set[bytes]()
    whole = m.integer[known.columns]
    held = known.columns[whole]
    for cost, point in sorted(known.planted, key=lambda order: order[0]):
        if (key := point[whole].tobytes()) not in tried:
            tried.add(key)
            low, high = m.lower.copy(), m.upper.copy()
            low[held] = high[held] = point[whole]
            yield cost, replace(m, lower=low, upper=high)


def _ceiling(settled: Settled, n: int, cut: Cut, over: float) -> Ceiling:
    """What patterns of a block may cost by a cut, so much over the cheapest."""
    most = float(cut.blocks[n]) + over + OVER * abs(settled.cost)
    return Ceiling(cut.cost, [_cheapest(b, cut.cost) for b in settled.blocks[n].bags], most)


def _with_bags(n: int, block: Block, listed: list[Ints], rooms: list[list[Ceiling]]) -> set[Listed]:
    """Patterns with shares among these columns, with all bags that do for them, cheap enough."""
    sizes = [(b.size, b.most) for b in block.bags]
    found = set()
    for columns in listed:
        has = np.isin(block.share, columns)
        shares = block.share[has]
        for numbers in _enough(sizes, block.least_units(has)) if len(shares) else ():
            if all(any(c.is_kept(shares, numbers) for c in cuts) for cuts in rooms):
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
    """The exact model, its shares and bags those of patterns, of which a block has one at most.

    Shares stay columns of their own: to branch on them decides far more than to branch on patterns.
    """
    m, blocks = settled.model.matrix, settled.blocks
    first, whole = m.n_columns, np.ones(len(patterns))
    wide = replace(
        m.with_columns(np.zeros(len(patterns)), np.zeros(len(patterns)), whole),
        integer=np.append(m.integer, whole > 0.0),
    )
    shares = np.concatenate([block.share for block in blocks]).tolist()
    sizes = [(n, k) for n, block in enumerate(blocks) for k in range(len(block.bags))]
    bag_row = {key: len(blocks) + number for number, key in enumerate(sizes)}
    share_row = {column: len(blocks) + len(sizes) + number for number, column in enumerate(shares)}
    entries = [(n, block.run, -1.0) for n, block in enumerate(blocks)]
    for n, k in sizes:
        entries += [(bag_row[n, k], column, 1.0) for column, _ in blocks[n].bags[k].lots]
    entries += [(row, column, 1.0) for column, row in share_row.items()]
    for place, pattern in enumerate(patterns, first):
        entries.append((pattern.block, place, 1.0))
        entries += [(share_row[column], place, -1.0) for column in pattern.shares]
        for k, bags in enumerate(pattern.bags):
            if bags:
                entries.append((bag_row[pattern.block, k], place, -float(bags)))
    row, column_, value = (np.array(e) for e in zip(*entries, strict=True))
    none, some = np.zeros(len(blocks)), np.zeros(len(sizes))
    low = np.concatenate([none - INFINITE, some, np.zeros(len(shares))])
    high = np.concatenate([none, some + INFINITE, np.zeros(len(shares))])
    places = defaultdict(list)
    for number, pattern in enumerate(patterns):
        places[pattern.block, pattern.shares].append(number)
    matrix = wide.with_rows((row, column_, value), low, high)
    return PatternProgram(matrix, settled, patterns, dict(places))

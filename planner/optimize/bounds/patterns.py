"""What one variety under one recipe may have, where a field has one variety: a block, priced.

A pattern of a block is a set of whole fields, with whole bags that hold their seed. Under given
prices of fields and bags the cheapest one is found by dynamic programming over units of seed: what
bags cost at the least that hold so much, and what fields bring at the most that need so much. Units
are counted in steps, fields' rounded down and bags' up, so that no pattern is ever left out.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from planner.optimize.mip.highs import Bools, Floats, Ints
    from planner.optimize.model.program import Model


CELLS = 20_000
"""Steps in which the seed of a block is counted."""
SAME = 1e-12


@dataclass(frozen=True, slots=True)
class Bags:
    """Bags of one size that a block may have: full bags of its lots, or a part bag."""

    size: float
    """Units of each."""
    lots: tuple[tuple[int, int], ...]
    """Column and most of them, by lot."""

    @property
    def most(self) -> int:
        """Most of all lots together."""
        return sum(most for _, most in self.lots)


@dataclass(frozen=True, slots=True, eq=False)
class Block:
    """One variety under one recipe, in columns of the exact model."""

    run: int
    """Column that says whether the recipe runs."""
    share: Ints
    """Columns of the shares that fields may have of it."""
    need: Floats
    """Units that each of these fields takes, of the lot that it takes least of."""
    bags: list[Bags]
    """Each part bag, and full bags by their size."""
    spare: float = 0.0
    """Units that the fields of a pattern may go without, all together."""

    @property
    def step(self) -> float:
        """Units of a step."""
        most = sum(b.size * b.most for b in self.bags) + self.spare
        return min(float(self.need.sum()), most) / CELLS

    def least_units(self, fields: Bools) -> float:
        """Units that bags must hold for some of its fields, by their place."""
        return float(self.need[fields].sum()) - self.spare

    @property
    def columns(self) -> Ints:
        """All its columns: shares and bags."""
        bags = [column for b in self.bags for column, _ in b.lots]
        return np.append(self.share, np.array(bags, dtype=np.int64))


def blocks_of(model: Model, short: float = 0.0) -> list[Block]:
    """Every variety under every recipe whose seed is all to be treated yet.

    All fields together may leave so many acres short.

    Fields that can have nothing else, so that they have no shares, are in none of them.
    """
    it, upper = model.it, model.matrix.upper
    units: dict[tuple[int, int], dict[int, float]] = defaultdict(dict)
    lots: dict[tuple[int, int], set[int]] = defaultdict(set)
    dense: dict[tuple[int, int], float] = defaultdict(float)
    for (f, lot, k), each in zip(model.choices.keys, model.choices.units.tolist(), strict=True):
        variety = int(it.variety_of[lot])
        least = units[variety, k]
        least[f] = min(each * it.fields[f].acres, least.get(f, np.inf))
        lots[variety, k].add(lot)
        dense[variety, k] = max(dense[variety, k], each)
    blocks = []
    for (variety, k), least in sorted(units.items()):
        mine = sorted(lots[variety, k])
        fresh = all(it.treatable(lot) and (lot, k) not in it.before for lot in mine)
        if k == it.untreated or not fresh:
            continue
        shares = [model.places.get(("share", (f, variety, k)), -1) for f in least]
        open_ = [n for n, column in enumerate(shares) if column >= 0 and upper[column] > 0.0]
        bags = _bags(model, mine, k)
        if open_ and bags:
            need = np.array(list(least.values()))[open_]
            share = np.array(shares, dtype=np.int64)[open_]
            spare = short * dense[variety, k]
            blocks.append(Block(model.column("run", k), share, need, bags, spare))
    return blocks


def _bags(model: Model, lots: list[int], recipe: int) -> list[Bags]:
    """Bags of some lots that may get a recipe."""
    parts, full = [], defaultdict(list)
    for lot in lots:
        for group in ("part", "bags"):
            column = model.places.get((group, (lot, recipe)))
            if column is None:
                continue
            here = column, round(float(model.matrix.upper[column]))
            if group == "part":
                parts.append(Bags(float(model.it.part_bag[lot]), (here,)))
            else:
                full[model.it.lots[lot].units_per_bag].append(here)
    return [*parts, *(Bags(size, tuple(here)) for size, here in sorted(full.items()))]


@dataclass(frozen=True, slots=True, eq=False)
class Priced:
    """A block under given prices: its cheapest pattern, and tables that lead to all others."""

    block: Block
    brings: Floats
    """Money that each field brings."""
    steps: Ints
    """Steps of seed that each field needs."""
    rest: Floats
    """What the fields from each one on cost less what they bring, by steps needed before."""
    bought: list[tuple[int, int, int, Bools]]
    """Column, number and steps of bags, and where they make more seed cheaper; in turn."""

    @property
    def least(self) -> float:
        """Cost of the cheapest pattern less what its fields bring; that of nothing is 0."""
        return min(0.0, float(self.rest[0, 0]))

    def cheapest(self) -> tuple[Ints, Floats]:
        """Columns and values of the cheapest pattern."""
        fields, at = [], 0
        for n, (step, money) in enumerate(zip(self.steps.tolist(), self.brings, strict=True)):
            more = at + step
            if more < self.rest.shape[1]:
                taken = self.rest[n + 1, more] - money
                if taken < self.rest[n + 1, at] - SAME:
                    fields.append(n)
                    at = more
        return self._pattern(np.array(fields, dtype=np.int64))

    def within(self, most: float, number: int) -> list[tuple[Ints, Floats]] | None:
        """All patterns that cost less what their fields bring no more; None if so many or more.

        Each with the cheapest bags that hold its seed.
        """
        n, cells = len(self.steps), self.rest.shape[1]
        at, money, has = np.zeros(1, dtype=np.int64), np.zeros(1), np.zeros((1, n), dtype=bool)
        if self.rest[0, 0] > most:
            return []
        for f in range(n):
            without = money + self.rest[f + 1][at] <= most
            more = at + self.steps[f]
            fits = more < cells
            left = self.rest[f + 1][np.where(fits, more, 0)]
            taken = fits & (money - self.brings[f] + left <= most)
            new = has[taken]
            new[:, f] = True
            at = np.concatenate([at[without], more[taken]])
            money = np.concatenate([money[without], money[taken] - self.brings[f]])
            has = np.concatenate([has[without], new])
            if len(at) >= number:
                return None
        return [self._pattern(np.flatnonzero(row)) for row in has]

    def _pattern(self, fields: Ints) -> tuple[Ints, Floats]:
        left, bags = int(self.steps[fields].sum()), dict[int, float]()
        for column, number, size, cheaper in reversed(self.bought):
            if cheaper[left]:
                bags[column] = bags.get(column, 0.0) + number
                left = max(0, left - size)
        columns = np.array([*self.block.share[fields].tolist(), *bags], dtype=np.int64)
        values = np.array([1.0] * len(fields) + list(bags.values()))
        order = np.argsort(columns)
        return columns[order], values[order]


def priced(block: Block, cost: Floats) -> Priced:
    """A block's patterns under reduced costs of the exact model's columns."""
    step, cells = block.step, CELLS + 1
    holds, bought = np.full(cells, np.inf), []
    holds[: int(np.ceil(block.spare / step)) + 1] = 0.0
    every = [(column, bags.size, most) for bags in block.bags for column, most in bags.lots]
    for column, units, most in every:
        for number in _doubled(most):
            size = int(np.ceil(number * units / step))
            with_it = np.full(cells, holds[0])
            with_it[size:] = holds[: max(0, cells - size)]
            with_it += number * cost[column]
            cheaper = with_it < holds - SAME
            if cheaper.any():
                holds = np.where(cheaper, with_it, holds)
                bought.append((column, number, size, cheaper))
    steps, brings = np.floor(block.need / step).astype(np.int64), -cost[block.share]
    rest = np.empty((len(steps) + 1, cells))
    rest[-1] = holds
    for f in range(len(steps) - 1, -1, -1):
        rest[f] = rest[f + 1]
        size = int(steps[f])
        if brings[f] > 0.0 and size < cells:
            head = rest[f, : cells - size]
            np.minimum(head, rest[f + 1, size:] - brings[f], out=head)
    return Priced(block, brings, steps, rest, bought)


def _doubled(most: int) -> list[int]:
    """Numbers of which sums make every number up to that.

    >>> _doubled(10)
    [1, 2, 4, 3]
    """
    left = most
    found: list[int] = []
    while left > 0:
        found.append(min(2 ** len(found), left))
        left -= found[-1]
    return found

"""A plan under construction: which field takes how many acres of which choice, and what that costs.

It knows whole bags, the limits of lots, and the cost of an order by its tables. What it does is in
`planner.optimize.annealing.moves`; here its numbers are laid out.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from planner.optimize.annealing import moves
from planner.optimize.annealing.moves import (
    EPS,
    GRID,
    MOST_OFF,
    PIECES,
    Facts,
    Prices,
    Scratch,
    Tally,
)
from planner.optimize.mip.highs import now
from planner.optimize.model.instance import spread_rules

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from planner.optimize.annealing.order_tables import OrderTable
    from planner.optimize.mip.highs import Floats, Ints
    from planner.optimize.model.instance import Choices, Instance

SHORT_PRICE = 1e5
"""Money that an acre short counts as, of the last priority."""
MORE_URGENT = 1e3
"""How many times as much an acre counts in every priority before."""
BATCH = 0.05
"""Seconds between two looks at the clock."""


class Piece(NamedTuple):
    """Some acres of a field under a choice."""

    choice: int
    acres: float


def _grouped(key: Ints, value: Ints, groups: int) -> tuple[Ints, Ints]:
    """Values by their key, and where each key's start."""
    order = np.argsort(key, kind="stable")
    return value[order], np.searchsorted(key[order], np.arange(groups + 1))


def _twins(c: Choices, share: Ints) -> NDArray[np.bool_]:
    """Whether another lot of the same field offers the same share."""
    key = c.field * (int(share.max(initial=0)) + 1) + share
    _, back, times = np.unique(key, return_inverse=True, return_counts=True)
    twin: NDArray[np.bool_] = times[back] > 1
    return twin


def _facts(it: Instance, c: Choices, rule_has: NDArray[np.bool_]) -> Facts:
    farm, lots, width = it.season.farm, it.lots, len(it.recipes) + 1
    acres = np.array([f.acres for f in it.fields])
    ranks = {p: i for i, p in enumerate(sorted({f.priority for f in it.fields}, reverse=True))}
    first = np.searchsorted(c.field, np.arange(len(it.fields) + 1))
    keys, pool = np.unique(c.lot * width + c.recipe, return_inverse=True)
    lot, recipe = keys // width, keys % width
    share = it.variety_of[c.lot] * width + c.recipe
    twin = _twins(c, share)
    pairs = np.unique(c.field * len(lots) + c.lot)
    of_field, on_lot = pairs // len(lots), pairs % len(lots)
    lots_of, lots_at = _grouped(of_field, on_lot, len(it.fields))
    fields_of, fields_at = _grouped(on_lot, of_field, len(lots))
    sizes = np.array([x.units_per_bag for x in lots])
    worth = np.array([x.worth_untreated for x in lots])
    buy = np.array([x.buy_price for x in lots])
    treats = np.array([it.treatable(int(j)) for j in lot], dtype=bool) & (recipe != it.untreated)
    line = np.zeros((width, len(it.products)))
    for k, r in enumerate(it.recipes):
        names = {rate.product for rate in r.rates}
        line[k] = [p.line_loss if p.name in names else 0.0 for p in it.products]
    loose = recipe == it.untreated
    return Facts(
        acres=acres,
        split=np.minimum(max(farm.smallest_split, farm.smallest_lot_share), acres),
        lot_split=np.minimum(farm.smallest_lot_share, acres),
        short_price=np.array([SHORT_PRICE * MORE_URGENT ** ranks[f.priority] for f in it.fields]),
        first=first,
        any_twin=np.array([twin[a:b].any() for a, b in pairwise(first.tolist())]),
        lots=lots_of,
        lots_at=lots_at,
        fields=fields_of,
        fields_at=fields_at,
        pool=pool,
        share=share,
        twin=twin,
        units=c.units,
        loss=c.loss,
        lot=lot,
        recipe=recipe,
        size=sizes[lot],
        treats=treats,
        loose=loose,
        use=it.use[lot, recipe] * sizes[lot][:, None] * treats[:, None],
        bag_worth=np.where(loose, 0.0, worth[lot] * sizes[lot]),
        unit_worth=np.where(loose, worth[lot], 0.0),
        done=np.array(
            [it.before.get((int(j), int(k)), 0.0) for j, k in zip(lot, recipe, strict=True)]
        ),
        pools_at=np.searchsorted(lot, np.arange(len(lots) + 1)),
        full=it.full_bags,
        ceiling=it.full_bags + it.can_buy,
        part_size=it.part_bag,
        bought_extra=sizes * (buy - worth),
        line=line,
        primed=farm.line_stays_primed,
        rule_has=rule_has,
        most_shares=farm.max_varieties or 10**6,
    )


def _prices(tables: list[OrderTable], smooth: float) -> Prices:
    begins = np.cumsum([0, *(len(t.reach) for t in tables)])[:-1]
    width = np.array([max(1e-6, float(t.reach[-2])) / GRID for t in tables])
    from_here = np.arange(GRID) - 1e-9
    begin = [
        b + np.searchsorted(t.reach, w * from_here)
        for t, b, w in zip(tables, begins.tolist(), width.tolist(), strict=True)
    ]
    credit = np.array([t.credit for t in tables])
    linear = np.array([t.linear for t in tables])
    return Prices(
        reach=np.concatenate([np.zeros(0), *(t.reach for t in tables)]),
        cost=np.concatenate([np.zeros(0), *(t.cost for t in tables)]) * (1.0 - smooth),
        begin=np.array(begin, dtype=np.int64).reshape(len(tables), GRID),
        width=width,
        slope=(1.0 - smooth) * credit + smooth * linear,
    )


def _empty(x: Facts, cap: Floats) -> Tally:
    fields, pools, lots = len(x.acres), len(x.lot), len(x.full)
    return Tally(
        choice=np.zeros((fields, PIECES), dtype=np.int64),
        piece=np.zeros((fields, PIECES)),
        pieces=np.zeros(fields, dtype=np.int64),
        short=x.acres.copy(),
        have=x.done.copy(),
        demand=np.zeros(pools),
        bags=np.zeros(pools, dtype=np.int64),
        lot_bags=np.zeros(lots, dtype=np.int64),
        lot_part=np.full(lots, -1, dtype=np.int64),
        part_free=x.part_size.copy(),
        running=np.zeros(len(x.line), dtype=np.int64),
        need=np.zeros(x.use.shape[1]),
        spent=np.zeros(x.use.shape[1]),
        other=np.zeros(1),
        rule_cap=cap,
        rule_acres=np.zeros(len(cap)),
    )


def _scratch(x: Facts) -> Scratch:
    fields, menu = len(x.acres), int(np.diff(x.first).max(initial=0)) + 1
    off = min(fields, MOST_OFF) + 1
    return Scratch(
        offers=np.zeros(menu),
        fills=np.zeros(menu),
        near=np.zeros(fields),
        seen=np.zeros(fields, dtype=bool),
        touched=np.zeros(len(x.full), dtype=bool),
        chosen=np.zeros(off, dtype=np.int64),
        rank=np.zeros(fields),
        choice=np.zeros((off, PIECES), dtype=np.int64),
        piece=np.zeros((off, PIECES)),
        pieces=np.zeros(off, dtype=np.int64),
        held=np.zeros(PIECES, dtype=np.int64),
        held_acres=np.zeros(PIECES),
    )


class AnnealingState:
    """A plan under construction, laid out for the compiled moves; see the module."""

    def __init__(self, it: Instance, choices: Choices, tables: list[OrderTable]) -> None:
        self.it, self.choices = it, choices
        self.rule_share, rule_has = spread_rules(it)
        self.facts = _facts(it, choices, rule_has)
        self.rule_cap = self.rule_share * float(self.facts.acres.sum())
        """Acres that each share of all planted acres allows."""
        self.scratch = _scratch(self.facts)
        self.use_tables(tables)

    def use_tables(self, tables: list[OrderTable], smooth: float = 0.0) -> None:
        """Price products by these tables, and take everything out of the plan.

        The steps of an order are mixed with a straight line by the share `smooth`.
        """
        self.prices = _prices(tables, smooth)
        self.clear()

    def clear(self) -> None:
        """Take everything out of the plan."""
        self.tally = _empty(self.facts, self.rule_cap)
        for p, need in enumerate(self.tally.need.tolist()):
            self.tally.spent[p] = moves.cost_of(self.prices, p, need)

    # --- what is on it ---

    @property
    def acres(self) -> Floats:
        """Of every field."""
        return self.facts.acres

    @property
    def short(self) -> Floats:
        """Acres of every field that are not planted."""
        return self.tally.short

    @property
    def cost(self) -> float:
        """What the current plan costs, acres short apart."""
        return float(self.tally.spent.sum()) + float(self.tally.other[0])

    def pieces(self) -> list[list[Piece]]:
        """What every field has."""
        return pieces_on(self.tally)

    def snapshot(self) -> Tally:
        """What is on it, to keep."""
        return moves.make_tally(*(part.copy() for part in self.tally))

    def keeps_limits(self) -> bool:
        """Whether no lot is out of bags, and no share of all planted acres is passed."""
        planted = float(self.acres.sum() - self.short.sum())
        bags = bool(np.all(self.tally.lot_bags <= self.facts.ceiling))
        return bags and bool(np.all(self.tally.rule_acres <= self.rule_share * planted + EPS))

    # --- moves ---

    def place(self, field: int, rng: np.random.Generator, noise: float = 0.0) -> None:
        """Plant a field, or the rest of it, at the least cost; what can't be stays short."""
        moves.place(self.facts, self.tally, self.prices, self.scratch, rng, field, noise)

    def take(self, field: int) -> None:
        """Take a field off."""
        moves.take(self.facts, self.tally, self.prices, field)

    def fit_parts(self) -> None:
        """Give every lot's part bag to the pool where it saves most, or to none."""
        for lot in np.flatnonzero(self.facts.part_size > 0).tolist():
            moves.fit_part(self.facts, self.tally, self.prices, lot)

    def lay(self, pieces: list[list[Piece]]) -> None:
        """Put a whole plan into the empty state."""
        self.clear()
        for f, mine in enumerate(pieces):
            for choice, acres in mine:
                moves.put(self.facts, self.tally, self.prices, f, choice, acres)
        self.fit_parts()

    def improve(
        self,
        rng: np.random.Generator,
        temperatures: tuple[float, float],
        more: Callable[[int], float | None],
        batch: int | None = None,
    ) -> list[list[Piece]]:
        """Take fields off and place them again until `more` says None; the cheapest plan seen.

        `more` gets the number of steps taken and returns how far the search is, from 0 to 1. The
        temperature falls meanwhile from first to last. Steps come in batches of about `BATCH`
        seconds, or of as many as said.
        """
        from planner.optimize.annealing.compiled import compiled, pointer

        x, s = pointer(self.facts), pointer(self.tally)
        c, w = pointer(self.prices), pointer(self.scratch)
        before, best = _empty(self.facts, self.rule_cap), _empty(self.facts, self.rule_cap)
        moves.copy_plan(self.tally, best)
        old, kept = pointer(before), pointer(best)
        lowest = float(moves.price(self.facts, self.tally))
        steps, size = 0, batch or 1
        done = more(0)
        while done is not None:
            began = now()
            temperature = temperatures[0] * (temperatures[1] / temperatures[0]) ** done
            lowest = compiled().improve(x, s, c, w, rng, old, kept, lowest, size, temperature)
            steps += size
            if batch is None:
                size = max(1, min(2 * size, int(size * BATCH / max(1e-4, now() - began))))
            done = more(steps)
        return pieces_on(best)


def pieces_on(s: Tally) -> list[list[Piece]]:
    """What every field has."""
    rows = zip(s.choice.tolist(), s.piece.tolist(), s.pieces.tolist(), strict=True)
    return [
        [Piece(c, a) for c, a in zip(choice[:n], acres[:n], strict=True)]
        for choice, acres, n in rows
    ]

"""A plan under construction: which field takes how many acres of which choice, and what that costs.

The board knows whole bags, the limits of lots, and the cost of an order by its tables. It can say
in one sweep what any number of acres of a field would cost under every choice that the field has.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from math import ceil, inf
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from planner.agronomy.suitability import TOLERANCE
from planner.optimize.orders import OrderPrices

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from planner.optimize.instance import Choices, Instance
    from planner.optimize.orders import OrderTable
    from planner.optimize.solver import Bools, Floats

    Ints = NDArray[np.int64]

EPS = 1e-9
BARRED = 1e15
"""Cost of a lot that is out of bags."""


class Piece(NamedTuple):
    """Some acres of a field under a choice."""

    choice: int
    acres: float


@dataclass(frozen=True, slots=True, eq=False)
class Pools:
    """Seed of a lot under a recipe, as parallel arrays; what never changes."""

    lot: Ints
    recipe: Ints
    size: Floats
    """Units a bag."""
    treats: Bools
    """Whether bags are treated for it (not: planted untreated, or treated before)."""
    use: Floats
    """Fl oz a bag takes: pool x product."""
    loss: Floats
    """Line losses of the recipe: pool x product."""
    bag_worth: Floats
    """Money a bag from stock is worth untreated."""
    unit_worth: Floats
    """Money a unit planted untreated is worth."""
    done: Floats
    """Units treated before."""


@dataclass(frozen=True, slots=True, eq=False)
class Menu:
    """The choices of one field, gathered from their pools once."""

    first: int
    pool: Ints
    lot: Ints
    recipe: Ints
    units: Floats
    size: Floats
    use: Floats
    line: Floats
    bag_worth: Floats
    unit_worth: Floats
    loss: Floats
    treats: Bools
    share: Ints
    """Number of the (variety, recipe) share."""
    twin: Bools
    """Whether another lot of the field offers the same share."""
    bought_extra: Floats
    ceiling: Ints
    """Bags of the lot on hand and to be had."""


def _pools(it: Instance, lot: Ints, recipe: Ints) -> Pools:
    sizes = np.array([x.units_per_bag for x in it.lots])
    worth = np.array([x.return_value if x.treated_with is None else 0.0 for x in it.lots])
    untreated = recipe == it.untreated
    treatable = np.array([it.treatable(int(j)) for j in lot], dtype=bool)
    treats = treatable & ~untreated
    line = np.zeros((len(it.recipes) + 1, len(it.products)))
    for k, r in enumerate(it.recipes):
        names = {rate.product for rate in r.rates}
        line[k] = [p.line_loss if p.name in names else 0.0 for p in it.products]
    before = [it.before.get((int(j), int(k)), 0.0) for j, k in zip(lot, recipe, strict=True)]
    return Pools(
        lot=lot,
        recipe=recipe,
        size=sizes[lot],
        treats=treats,
        use=it.use[lot, recipe] * sizes[lot][:, None] * treats[:, None],
        loss=line[recipe] * treats[:, None],
        bag_worth=np.where(untreated, 0.0, worth[lot] * sizes[lot]),
        unit_worth=np.where(untreated, worth[lot], 0.0),
        done=np.array(before),
    )


class Board:
    """The state of the construction; see the module."""

    def __init__(self, it: Instance, choices: Choices, tables: list[OrderTable]) -> None:
        self.it, self.choices = it, choices
        farm = it.season.farm
        self.acres = np.array([f.acres for f in it.fields])
        self.most_shares = farm.max_varieties or 10**6
        self.split = np.minimum(farm.smallest_split, self.acres)
        ranks = {p: i for i, p in enumerate(sorted({f.priority for f in it.fields}, reverse=True))}
        self.short_price = np.array([1e5 * 1e3 ** ranks[f.priority] for f in it.fields])
        width = len(it.recipes) + 1
        keys, pool = np.unique(choices.lot * width + choices.recipe, return_inverse=True)
        self.pools = _pools(it, keys // width, keys % width)
        by_lot = np.argsort(self.pools.lot, kind="stable")
        ends = np.searchsorted(self.pools.lot[by_lot], np.arange(len(it.lots) + 1))
        self.pools_of = [by_lot[a:b].tolist() for a, b in pairwise(ends)]
        self.pool_of = pool.tolist()
        self.share_of = (it.variety_of[choices.lot] * width + choices.recipe).tolist()
        self.units_of = choices.units.tolist()
        self.full_bags = it.full_bags
        self.full, self.ceiling = it.full_bags.tolist(), (it.full_bags + it.can_buy).tolist()
        self.part_size = it.part_bag.tolist()
        self.bought_extra = [
            x.units_per_bag * (x.buy_price - (x.return_value if x.treated_with is None else 0.0))
            for x in it.lots
        ]
        self.menus = self._menus(pool)
        self.suits = np.zeros((len(it.fields), len(it.lots)), dtype=np.float32)
        self.suits[choices.field, choices.lot] = 1.0
        self._lay_out_rules()
        self.use_tables(tables)

    def _menus(self, pool: Ints) -> list[Menu]:
        c, p = self.choices, self.pools
        share = np.array(self.share_of, dtype=np.int64)
        extra, ceiling = np.array(self.bought_extra), np.array(self.ceiling)
        first = np.searchsorted(c.field, np.arange(len(self.it.fields) + 1))
        menus = []
        for a, b in zip(first[:-1].tolist(), first[1:].tolist(), strict=True):
            mine, keys = pool[a:b], share[a:b]
            _, back, times = np.unique(keys, return_inverse=True, return_counts=True)
            menus.append(
                Menu(
                    first=a,
                    pool=mine,
                    lot=c.lot[a:b],
                    recipe=c.recipe[a:b],
                    units=c.units[a:b],
                    size=p.size[mine],
                    use=p.use[mine],
                    line=p.loss[mine],
                    bag_worth=p.bag_worth[mine],
                    unit_worth=p.unit_worth[mine],
                    loss=c.loss[a:b],
                    treats=p.treats[mine],
                    share=keys,
                    twin=times[back] > 1,
                    bought_extra=extra[c.lot[a:b]],
                    ceiling=ceiling[c.lot[a:b]],
                )
            )
        return menus

    def _lay_out_rules(self) -> None:
        it = self.it
        rules: list[tuple[float, list[bool]]] = []
        most = it.season.farm.most_of_one_variety
        if most is not None and most < 1:
            rules += [
                (most, [bool(v == i) for v in it.variety_of]) for i in range(len(it.varieties))
            ]
        for s in it.season.maturity_spread:
            low, high = s.earliest - TOLERANCE, s.latest + TOLERANCE
            rules.append((s.share, [low <= lot.maturity <= high for lot in it.lots]))
        total = float(self.acres.sum())
        self.rule_share = np.array([share for share, _ in rules])
        self.rule_cap = self.rule_share * total
        self.rule_has = np.array([member for _, member in rules], dtype=bool).reshape(
            len(rules), len(it.lots)
        )

    def use_tables(self, tables: list[OrderTable], smooth: float = 0.0) -> None:
        """Price products by these tables, and take everything off the board.

        The steps of an order are mixed with a straight line by the share `smooth`.
        """
        self.prices = OrderPrices(tables, smooth)
        self.clear()

    def clear(self) -> None:
        """Take everything off the board."""
        n = len(self.pools.lot)
        self.pieces: list[list[Piece]] = [[] for _ in self.it.fields]
        self.users: list[set[int]] = [set() for _ in self.it.lots]
        """Fields on each lot."""
        self.short: list[float] = self.acres.tolist()
        self.have = self.pools.done.copy()
        """Units of a pool that need no full bag: treated before, or in the part bag."""
        self.demand = np.zeros(n)
        self.bags = np.zeros(n, dtype=np.int64)
        self.lot_bags = np.zeros(len(self.it.lots), dtype=np.int64)
        self.lot_part = [-1] * len(self.it.lots)
        self.part_free = np.array(self.part_size)
        """Units of each lot's part bag while no recipe has it."""
        self.running = np.zeros(len(self.it.recipes) + 1, dtype=np.int64)
        self.need = np.zeros(len(self.it.products))
        self._cost_now: float | None = None
        self.rule_acres = np.zeros(len(self.rule_cap))
        self.other = 0.0
        """Seed given up and bought, and yield lost."""

    # --- what the board costs ---

    def product_cost(self) -> float:
        """Order cost of what is needed now."""
        if self._cost_now is None:
            self._cost_now = self.prices.one(self.need)
        return self._cost_now

    def price(self) -> float:
        """Cost of the board, acres short at their penalty."""
        short = sum(p * s for p, s in zip(self.short_price, self.short, strict=True) if s > 1e-7)
        return self.product_cost() + self.other + float(short)

    # --- putting on and taking off ---

    def _set_pool(self, pool: int, demand: float) -> None:
        p = self.pools
        self.other += float(p.unit_worth[pool]) * (demand - float(self.demand[pool]))
        self.demand[pool] = demand
        missing = (demand - float(self.have[pool])) / float(p.size[pool])
        bags = max(0, ceil(missing - EPS * max(1.0, abs(missing))))
        old = int(self.bags[pool])
        if bags == old:
            return
        lot = int(p.lot[pool])
        self._count_run(pool, int(bags > 0) - int(old > 0))
        self.bags[pool] = bags
        full, was = self.full[lot], int(self.lot_bags[lot])
        bought = max(0, was + bags - old - full) - max(0, was - full)
        self.lot_bags[lot] = was + bags - old
        self.other += (bags - old) * float(p.bag_worth[pool]) + bought * self.bought_extra[lot]
        self.need += (bags - old) * p.use[pool]
        self._cost_now = None

    def _count_run(self, pool: int, change: int) -> None:
        if change == 0 or not self.pools.treats[pool]:
            return
        recipe = int(self.pools.recipe[pool])
        was = self.running[recipe] > 0
        self.running[recipe] += change
        self.need += (int(self.running[recipe] > 0) - int(was)) * self.pools.loss[pool]
        self._cost_now = None

    def put(self, field: int, piece: Piece) -> None:
        """Put acres on the board."""
        choice, acres = piece
        self.pieces[field].append(piece)
        self.users[int(self.choices.lot[choice])].add(field)
        self.short[field] -= acres
        self.other += float(self.choices.loss[choice]) * acres
        pool = self.pool_of[choice]
        demand = float(self.demand[pool]) + self.units_of[choice] * acres
        lot = int(self.pools.lot[pool])
        if self.part_free[lot] > 0 and self.pools.treats[pool]:
            size = float(self.pools.size[pool])
            missing = demand - float(self.have[pool]) - size * float(self.bags[pool])
            rest = missing - (ceil(missing / size - EPS) - 1) * size
            if missing > EPS and rest <= self.part_size[lot] + EPS:
                self.give_part(lot, pool)
        self._set_pool(pool, demand)
        if len(self.rule_cap):
            self.rule_acres += self.rule_has[:, self.choices.lot[choice]] * acres

    def take(self, field: int) -> list[Piece]:
        """Take a field off the board."""
        held = self.pieces[field]
        self.pieces[field] = []
        self.short[field] = float(self.acres[field])
        for choice, acres in held:
            self.users[int(self.choices.lot[choice])].discard(field)
            self.other -= float(self.choices.loss[choice]) * acres
            pool = self.pool_of[choice]
            rest = float(self.demand[pool]) - self.units_of[choice] * acres
            self._set_pool(pool, rest if rest > EPS else 0.0)
            lot = int(self.pools.lot[pool])
            if self.lot_part[lot] == pool and rest <= float(self.pools.done[pool]) + EPS:
                self.give_part(lot, -1)
            if len(self.rule_cap):
                self.rule_acres -= self.rule_has[:, self.choices.lot[choice]] * acres
        return held

    def give_part(self, lot: int, pool: int) -> None:
        """Give a lot's part bag to a pool, or to none (-1)."""
        old, size = self.lot_part[lot], self.part_size[lot]
        if old == pool:
            return
        for place, sign in ((old, -1), (pool, 1)):
            if place >= 0:
                share = sign * size / float(self.pools.size[place])
                self.need += share * self.pools.use[place]
                self._cost_now = None
                self.other += share * float(self.pools.bag_worth[place])
                self._count_run(place, sign)
                self.have[place] = float(self.pools.done[place]) + (size if sign > 0 else 0.0)
                self._set_pool(place, float(self.demand[place]))
        self.lot_part[lot] = pool
        self.part_free[lot] = size if pool < 0 else 0.0

    def fit_part(self, lot: int) -> None:
        """Give a lot's part bag to the pool where it saves most, or to none."""
        if self.part_size[lot] <= 0:
            return
        wanted = [q for q in self.pools_of[lot] if self._part_saves(q, self.part_size[lot])]
        if not wanted:
            self.give_part(lot, -1)
            return
        best, best_cost = -1, inf
        for pool in (-1, *wanted):
            self.give_part(lot, pool)
            over = self.lot_bags[lot] > self.ceiling[lot]
            cost = self.product_cost() + self.other + BARRED * over
            if cost < best_cost - 1e-9:
                best, best_cost = pool, cost
        self.give_part(lot, best)

    def _part_saves(self, pool: int, part: float) -> bool:
        """Whether a part bag would stand for a full one."""
        size = float(self.pools.size[pool])
        rest = float(self.demand[pool]) - float(self.pools.done[pool])
        if rest <= EPS or not self.pools.treats[pool]:
            return False
        return rest - (ceil(rest / size - EPS) - 1) * size <= part + EPS

    # --- what could be put on ---

    def offers(self, field: int, acres: float) -> Floats:
        """Cost of `acres` more of a field under each of its choices; inf where it can't be."""
        m = self.menus[field]
        units = m.units * acres
        missing = (self.demand[m.pool] + units - self.have[m.pool]) / m.size - self.bags[m.pool]
        more = np.ceil(missing - EPS * np.maximum(1.0, np.abs(missing)))
        cost = units * m.unit_worth + m.loss * acres
        opened = np.flatnonzero(more > 0)
        if len(opened):
            more = more[opened]
            part = self.part_free[m.lot[opened]] / m.size[opened]
            last = (part > 0) & (missing[opened] - more + 1 <= part + EPS) & m.treats[opened]
            cost[opened] += self._opening(m, opened, more - last, np.where(last, part, 0.0))
        if len(self.rule_cap):
            cost[acres > self.rule_room(field) + EPS] = inf
        return cost

    def keeps_limits(self) -> bool:
        """Whether no lot is out of bags, and no share of all planted acres is passed."""
        bags = all(n <= most for n, most in zip(self.lot_bags, self.ceiling, strict=True))
        planted = float(self.acres.sum()) - sum(self.short)
        return bags and bool(np.all(self.rule_acres <= self.rule_share * planted + EPS))

    def rule_room(self, field: int) -> Floats:
        """Acres that the shares of all planted acres still leave, by choice of a field."""
        lots = self.menus[field].lot
        if not len(self.rule_cap):
            return np.full(len(lots), inf)
        left = np.maximum(0.0, self.rule_cap - self.rule_acres)
        room: Floats = np.where(self.rule_has[:, lots], left[:, None], inf).min(axis=0)
        return room

    def _opening(self, m: Menu, at: Ints, more: Floats, part: Floats) -> Floats:
        """Cost of more full bags, and of a share of a bag, under some of a field's choices."""
        lot = m.lot[at]
        now = self.lot_bags[lot]
        after = now + more
        full = self.full_bags[lot]
        bought = np.maximum(0.0, after - full) - np.maximum(0, now - full)
        taken = more + part
        need = self.need + taken[:, None] * m.use[at]
        fresh = self.running[m.recipe[at]] == 0
        if fresh.any():
            need += fresh[:, None] * m.line[at]
        cost: Floats = taken * m.bag_worth[at] + bought * m.bought_extra[at]
        cost += self.prices(need) - self.product_cost()
        cost[after > m.ceiling[at]] = inf
        return cost

    def slack(self, field: int) -> Floats:
        """Acres of a field that the seed already treated and not planted would cover, by choice."""
        m = self.menus[field]
        free = self.have[m.pool] + self.bags[m.pool] * m.size - self.demand[m.pool]
        free[m.recipe == self.it.untreated] = 0.0
        acres: Floats = np.maximum(0.0, free) / m.units
        return acres

    def room(self, field: int) -> Floats:
        """Acres of a field that a lot could still cover, bags not yet opened included."""
        m = self.menus[field]
        bags = np.maximum(0, m.ceiling - self.lot_bags[m.lot])
        acres: Floats = self.slack(field) + np.maximum(0.0, bags * m.size / m.units - EPS)
        return acres

    def mates(self, field: int) -> set[int]:
        """Fields that share a lot with a field on the board, itself among them."""
        lots = {int(self.choices.lot[p.choice]) for p in self.pieces[field]}
        return {field}.union(*(self.users[lot] for lot in lots))

    def shares(self, field: int) -> set[int]:
        """Shares that a field has on the board."""
        return {self.share_of[p.choice] for p in self.pieces[field]}

    def allowed(self, field: int, acres: float) -> Bools:
        """Choices under which a field may get so many more acres by the field rule."""
        m, mine = self.menus[field], self.shares(field)
        if len(mine) < self.most_shares and acres >= self.split[field] - EPS:
            return np.ones(len(m.share), dtype=bool)
        same = np.zeros(len(m.share), dtype=bool)
        for key in mine:
            same |= m.share == key
        return same

    def near(self, field: int) -> Floats:
        """How many of a field's lots each field shares."""
        shared: Floats = (self.suits @ self.suits[field]).astype(np.float64)
        return shared

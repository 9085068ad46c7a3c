"""Brute force: every way to treat whole bags and to order whole containers of a tiny season.

For every treatment the cheapest order is looked up in a table of all orders, and the acres are
shared out by linear programs, branching where a field's shares are too many or too small. Rules of
what may go where, and rates, come from `tests.laws.second_model`, which has them from the rules in
words.
"""

from __future__ import annotations

import itertools
import math
from collections import defaultdict
from dataclasses import dataclass

import numpy as np
from scipy.optimize import linprog

from tests.laws.second_model import (
    CRUMB,
    PLAIN,
    Answer,
    bushels_lost,
    drop,
    floz_a_unit,
    in_time,
    lot_suits,
    most_worth_ordering,
    recipe_suits,
)

CLOSE = 1e-6


@dataclass(frozen=True)
class Treatment:
    """One way to deal with a lot: bags bought, and units treated by recipe."""

    bought: int
    treated: tuple[float, ...]
    """Units by recipe, in the season's order."""


# --- bags ---------------------------------------------------------------------------------------


def loose_units(lot, season) -> float:
    return lot.on_hand - sum(t.units for t in season.treated if t.lot == lot.name)


def treatments(lot, season) -> list[Treatment]:
    """Every whole-bag choice for a lot."""
    buy = math.floor(lot.can_buy / lot.units_per_bag + CRUMB)
    n = len(season.recipes)
    if lot.treated_with is not None:
        return [Treatment(b, (0.0,) * n) for b in range(buy + 1)]
    loose = loose_units(lot, season)
    full = math.floor(loose / lot.units_per_bag + CRUMB)
    part = loose - full * lot.units_per_bag
    found = []
    for bought in range(buy + 1):
        for bags in itertools.product(range(full + bought + 1), repeat=n):
            if sum(bags) > full + bought:
                continue
            units = [lot.units_per_bag * k for k in bags]
            found.append(Treatment(bought, tuple(units)))
            if part > CRUMB * max(lot.units_per_bag, loose):
                for r in range(n):
                    extra = [u + (part if i == r else 0.0) for i, u in enumerate(units)]
                    found.append(Treatment(bought, tuple(extra)))
    return found


def size(season) -> float:
    """What brute force goes through, roughly: acre columns of all ways to treat, and orders."""
    ways = math.prod(len(treatments(lot, season)) for lot in season.lots)
    orders = math.prod(len(counts) for counts in count_ranges(season))
    return max(ways * len(Acres(season).keys), orders / 10)


# --- containers ---------------------------------------------------------------------------------


def most_need(product, season) -> float:
    """More fl oz of a product than any treatment can take."""
    need = 0.0
    for lot in season.lots:
        rates = [
            sum(floz_a_unit(r, lot, season) for r in recipe.rates if r.product == product)
            for recipe in season.recipes
        ]
        need += (lot.on_hand + lot.can_buy) * max(rates) * (1.0 + season.farm.product_margin)
    loss = sum(p.line_loss for p in season.products if p.name == product)
    return need + len(season.recipes) * loss


def count_ranges(season) -> list[list[int]]:
    """Counts of each container that can be ordered and could be worth it."""
    ranges = []
    for c in season.containers:
        top = most_worth_ordering(season, c, most_need(c.product, season))
        lowest = min(b.from_count for b in c.breaks)
        ranges.append([0, *range(lowest, top + 1)])
    return ranges


class Orders:
    """Every order there could be: its cost after carryover credit for all it brings, and supply."""

    def __init__(self, season) -> None:
        grid = np.meshgrid(*(np.array(r) for r in count_ranges(season)), indexing="ij")
        counts = [g.ravel() for g in grid]
        rows = counts[0].size if counts else 1
        cost, spends = np.zeros(rows), []
        self.supply = {p.name: np.full(rows, _stock(p, season)) for p in season.products}
        for c, n in zip(season.containers, counts, strict=True):
            price = np.zeros(rows)
            for b in sorted(c.breaks, key=lambda b: b.from_count):
                price = np.where(n >= b.from_count, b.price, price)
            spends.append(price * n)
            cost += price * n
            self.supply[c.product] += n * (c.size - c.heel)
        self.cash = cost + _freight(season, spends, rows) - _discounts(season, spends, rows)
        self.cost = self.cash.copy()
        self.credit = {p.name: _credit(p, season) for p in season.products}
        self.cost -= sum(self.credit[name] * have for name, have in self.supply.items())

    def cheapest(self, need: dict[str, float], money: float = math.inf) -> float:
        """Cost of the cheapest order that covers a need for that money; infinite if none does."""
        covers = self.cash <= money + CLOSE
        for name, have in self.supply.items():
            covers &= have >= need[name] - CLOSE * max(1.0, need[name])
        if not covers.any():
            return math.inf
        return float(self.cost[covers].min()) + sum(self.credit[p] * need[p] for p in need)


def _stock(product, season) -> float:
    good = product.expires is None or product.expires >= season.farm.first_treating_day
    volume = {(c.product, c.name): c.size - c.heel for c in season.containers}
    coming = sum(
        o.count * volume[o.product, o.container]
        for o in season.ordered
        if o.product == product.name
    )
    return (product.on_hand if good else 0.0) + coming


def _credit(product, season) -> float:
    prices = [
        b.price / c.size for c in season.containers if c.product == product.name for b in c.breaks
    ]
    return product.carryover * min(prices, default=0.0)


def _freight(season, spends, rows):
    total = np.zeros(rows)
    for s in season.suppliers:
        mine = [x for c, x in zip(season.containers, spends, strict=True) if c.supplier == s.name]
        spend = sum(mine, np.zeros(rows))
        owed = spend > 0.0
        if s.free_from is not None:
            owed &= spend < s.free_from - 1e-9 * s.free_from
        total += np.where(owed, s.freight, 0.0)
    return total


def _discounts(season, spends, rows):
    best: dict[tuple, np.ndarray] = defaultdict(lambda: np.zeros(rows))
    for level in season.discounts:
        spend = np.zeros(rows)
        for c, x in zip(season.containers, spends, strict=True):
            if (
                level.supplier in (None, c.supplier)
                and (not level.products or c.product in level.products)
                and in_time(level, c.supplier, season)
            ):
                spend = spend + x
        saved = np.where(spend >= level.spend - 1e-9 * level.spend, level.percent * spend, 0.0)
        key = level.name, level.supplier
        best[key] = np.maximum(best[key], saved)
    return sum(best.values(), np.zeros(rows))


# --- acres --------------------------------------------------------------------------------------


class Acres:
    """Sharing out acres to lots and recipes for given units in every pool."""

    def __init__(self, season) -> None:
        self.season = season
        self.keys, self.units, money = [], [], []
        recipes = {r.name: r for r in season.recipes}
        self.lots = {lot.name: lot for lot in season.lots}
        for f in season.fields:
            for lot in season.lots:
                for name, recipe in [*recipes.items(), (PLAIN, None)]:
                    if lot_suits(f, lot) and recipe_suits(f, lot, recipe, season):
                        self.keys.append((f.name, lot.name, name))
                        seeds = drop(f, lot) * (1.0 + season.farm.spare_seed)
                        self.units.append(seeds / season.farm.seeds_per_unit)
                        given = lot.return_value * self.units[-1] if name == PLAIN else 0.0
                        money.append(given + _loss(f, lot, recipe, season))
        self.money = np.array(money)
        self.pools = sorted({(lot, recipe) for _, lot, recipe in self.keys})
        self.priorities = sorted({f.priority for f in season.fields})
        self.matrix, self.fixed = self._rows()
        self.sets = self._sets()
        self.floor = self._least_money()

    def _sets(self):
        """Every set of fields with the least units an acre of each and the pools that serve it."""
        least: dict[str, float] = {}
        for (name, _, _), units in zip(self.keys, self.units, strict=True):
            least[name] = min(least.get(name, math.inf), units)
        fields = [f for f in self.season.fields if f.name in least]
        found = []
        for n in range(1, len(fields) + 1):
            for some in itertools.combinations(fields, n):
                names = {f.name for f in some}
                pools = {(lot, recipe) for name, lot, recipe in self.keys if name in names}
                found.append((some, least, pools))
        return found

    def _least_money(self):
        """Money an acre that planting a field costs at the least, by field."""
        least: dict[str, float] = {}
        for (name, _, _), money in zip(self.keys, self.money, strict=True):
            least[name] = min(least.get(name, math.inf), money)
        return least

    def least_money(self, short) -> float:
        """Money that planting all but the short acres costs at the least."""
        each = [(f.acres, self.floor.get(f.name, 0.0)) for f in self.season.fields]
        total = sum(acres * money for acres, money in each)
        return max(0.0, total - sum(short) * max(money for _, money in each))

    def _rows(self):
        """Pool rows, field rows and spread rows over all acre columns."""
        n = len(self.keys)
        pools = [
            [u * (k[1:] == p) for k, u in zip(self.keys, self.units, strict=True)]
            for p in self.pools
        ]
        fields = [[float(k[0] == f.name) for k in self.keys] for f in self.season.fields]
        spread = []
        for s in self.season.maturity_spread:
            inside = [
                s.earliest - CRUMB <= self.lots[k[1]].maturity <= s.latest + CRUMB
                for k in self.keys
            ]
            spread.append([i - s.share for i in inside])
        most = self.season.farm.most_of_one_variety
        if most is not None:
            for v in sorted({lot.variety for lot in self.season.lots}):
                spread.append([(self.lots[k[1]].variety == v) - most for k in self.keys])
        rows = [*pools, *fields, *spread]
        high = [*(f.acres for f in self.season.fields), *(0.0 for _ in spread)]
        return np.array(rows).reshape(len(rows), n), high

    def best(self, have: dict[tuple[str, str], float], known=None, under=math.inf):
        """Lowest (acres short by priority..., money) for units in every pool.

        With `known`, None where more acres are short than that or the money isn't `under`.
        """
        if not self.keys:
            short = tuple(
                sum(f.acres for f in self.season.fields if f.priority == p) for p in self.priorities
            )
            return (*short, 0.0)
        high = [max(0.0, have.get(p, 0.0)) for p in self.pools] + self.fixed
        best, stack = None, [(np.zeros(len(self.keys)), frozenset(), ())]
        while stack:
            banned, forbidden, floors = stack.pop()
            value, x = self._program(high, banned, floors)
            if value is None or not _better(value, best):
                continue
            if known is not None and not _better(value, (*known, under)):
                continue
            branches = self._branches(x, forbidden, floors)
            if not branches:
                best = value
            for more_forbidden, more_floors in branches:
                mask = np.array(
                    [
                        any((k[0], part) in more_forbidden for part in self._parts(k))
                        for k in self.keys
                    ],
                    float,
                )
                stack.append((mask, more_forbidden, more_floors))
        return best

    def _share(self, key):
        return self.lots[key[1]].variety, key[2]

    def _parts(self, key):
        """What of a field a key belongs to: the share of its variety, and that of its lot."""
        return self._share(key), ("lot", *key[1:])

    def _least(self, f, part):
        farm = self.season.farm
        return min(farm.smallest_lot_share if part[0] == "lot" else farm.smallest_split, f.acres)

    def _branches(self, x, forbidden, floors):
        """Ways out of a broken share rule; empty where all are kept."""
        farm = self.season.farm
        for f in self.season.fields:
            used = defaultdict(float)
            for k, acres in zip(self.keys, x, strict=True):
                if k[0] == f.name:
                    used[self._share(k)] += acres
            used = {s: a for s, a in used.items() if a > CLOSE}
            if farm.max_varieties is not None and len(used) > farm.max_varieties:
                few = sorted(used)[: farm.max_varieties + 1]
                return [(forbidden | {(f.name, s)}, floors) for s in few]
            for k, acres in zip(self.keys, x, strict=True):
                if k[0] == f.name and acres > CLOSE:
                    used["lot", *k[1:]] = acres
            for share, acres in used.items():
                if acres < self._least(f, share) - CLOSE and (f.name, share) not in floors:
                    return [
                        (forbidden | {(f.name, share)}, floors),
                        (forbidden, (*floors, (f.name, share))),
                    ]
        return []

    def _program(self, high, banned, floors):
        """Lexicographic linear program: acres short by priority, then money."""
        upper = np.where(banned > 0.0, 0.0, np.inf)
        rows, limits = [self.matrix], list(high)
        for name, share in floors:
            own = [k[0] == name and share in self._parts(k) for k in self.keys]
            rows.append(-np.array([own], dtype=float))
            limits.append(-self._least(self._field(name), share))
        value, x = [], None
        for priority in self.priorities:
            here = np.array([float(self._field(k[0]).priority == priority) for k in self.keys])
            all_acres = sum(f.acres for f in self.season.fields if f.priority == priority)
            answer = _linear(-here, rows, limits, upper)
            if answer is None:
                return None, None
            value.append(all_acres + answer.fun)
            rows = [*rows, -here[None, :]]
            limits = [*limits, value[-1] - all_acres + CRUMB]
        answer = _linear(self.money, rows, limits, upper)
        if answer is None:
            return None, None
        x = answer.x
        return (*value, float(answer.fun)), x

    def _field(self, name):
        return next(f for f in self.season.fields if f.name == name)


def _linear(objective, rows, limits, upper):
    answer = linprog(
        objective,
        A_ub=np.vstack(rows),
        b_ub=limits,
        bounds=np.column_stack([np.zeros(upper.size), upper]),
        method="highs",
    )
    assert answer.status in (0, 2), answer.message
    return answer if answer.status == 0 else None


def _loss(field, lot, recipe, season) -> float:
    """Money an acre of a field is expected to lose under a recipe, where losses are weighed."""
    if not season.farm.weigh_yield_loss:
        return 0.0
    return bushels_lost(field, lot, recipe, season) * season.farm.soybean_price


def _better(a, b) -> bool:
    """Whether acres short by priority, then money, are less than others (None: than any)."""
    if b is None or _less(a[:-1], b[:-1]):
        return True
    return not _less(b[:-1], a[:-1]) and a[-1] < b[-1]


def _less(a, b) -> bool:
    """Lexicographic order of acres short that looks over rounding."""
    for x, y in zip(a, b, strict=True):
        if abs(x - y) > CLOSE * max(1.0, abs(x), abs(y)):
            return x < y
    return False


# --- all together -------------------------------------------------------------------------------


def solve(season) -> Answer:
    """Fewest acres short by priority, then the lowest cost, by going through everything."""
    acres = Acres(season)
    choices = _choices(season, Orders(season))
    pools = np.array([[have.get(p, 0.0) for p in acres.pools] for _, have in choices])
    short = None
    for i in _largest(pools):
        if short is not None and not _could(acres, choices[i][1], _any_after_first(short, acres)):
            continue
        if short is not None and sum(short) <= CLOSE:
            break
        found = acres.best(choices[i][1])
        if found is not None and (short is None or _less(found[:-1], short)):
            short = found[:-1]
    best = math.inf
    floor = acres.least_money(short)
    for i in np.argsort([base for base, _ in choices], kind="stable"):
        base, have = choices[i]
        if base + floor >= best - CRUMB:
            break
        if not _could(acres, have, short):
            continue
        found = acres.best(have, short, best - base)
        if found is not None:
            best = min(best, base + found[-1])
    return Answer(tuple(short), best)


def _choices(season, orders) -> list[tuple[float, dict[tuple[str, str], float]]]:
    """Cost without acres and units in every pool, for every coverable way to treat the seed."""
    table: dict[tuple, tuple[float, dict]] = {}
    most = math.inf if season.farm.most_to_spend is None else season.farm.most_to_spend
    already = defaultdict(float)
    for t in season.treated:
        already[t.lot, t.recipe] += t.units
    for ways in itertools.product(*(treatments(lot, season) for lot in season.lots)):
        need = _need(season, ways)
        seed = sum(
            way.bought * lot.units_per_bag * lot.buy_price
            for lot, way in zip(season.lots, ways, strict=True)
        )
        run = [r for i, r in enumerate(season.recipes) if sum(w.treated[i] for w in ways) > 0.0]
        base = min(
            orders.cheapest({p: need[p] + lost[p] for p in need}, most - seed)
            for lost in _losses(season, run)
        )
        if math.isinf(base):
            continue
        have = dict(already)
        for lot, way in zip(season.lots, ways, strict=True):
            units = way.bought * lot.units_per_bag
            base += units * lot.buy_price
            if lot.treated_with is not None:
                key = lot.name, lot.treated_with
                have[key] = have.get(key, 0.0) + loose_units(lot, season) + units
                continue
            used = sum(way.treated)
            base += lot.return_value * (used - units)
            for recipe, treated in zip(season.recipes, way.treated, strict=True):
                key = lot.name, recipe.name
                have[key] = have.get(key, 0.0) + treated
            have[lot.name, PLAIN] = loose_units(lot, season) + units - used
        key = tuple(sorted((k, round(v, 6)) for k, v in have.items()))
        if key not in table or base < table[key][0]:
            table[key] = base, have
    return list(table.values())


def _need(season, ways) -> dict[str, float]:
    need = {p.name: 0.0 for p in season.products}
    for i, recipe in enumerate(season.recipes):
        units = [way.treated[i] for way in ways]
        if sum(units) <= 0.0:
            continue
        for lot, treated in zip(season.lots, units, strict=True):
            for rate in recipe.rates:
                floz = treated * floz_a_unit(rate, lot, season)
                need[rate.product] += floz * (1.0 + season.farm.product_margin)
    return need


def _losses(season, run) -> list[dict[str, float]]:
    """Line losses of some recipes: one each; of every order where the line stays primed."""
    loss = {p.name: p.line_loss for p in season.products}
    holds = [{rate.product for rate in r.rates} for r in run]
    if not season.farm.line_stays_primed:
        return [{p: loss[p] * sum(p in has for has in holds) for p in loss}]
    found = []
    for order in itertools.permutations(holds):
        fresh = [now - before for before, now in zip([set(), *order], order, strict=False)]
        found.append({p: loss[p] * sum(p in new for new in fresh) for p in loss})
    return found


def _largest(pools) -> list[int]:
    """Choices that no other choice beats in every pool; only they can leave the fewest short."""
    keep: list[int] = []
    for i in np.argsort(-pools.sum(axis=1), kind="stable"):
        if not any((pools[j] >= pools[i] - CRUMB).all() for j in keep):
            keep.append(int(i))
    return keep


def _any_after_first(short, acres) -> tuple[float, ...]:
    """As many acres short of the first priority, and of the others whatever they have."""
    have = [sum(f.acres for f in acres.season.fields if f.priority == p) for p in acres.priorities]
    return (short[0], *have[1:])


def _could(acres, have, short) -> bool:
    """Quick look whether pools hold what any set of fields takes beyond the acres short."""
    allowed = dict(zip(acres.priorities, short, strict=True))
    for fields, least, pools in acres.sets:
        needed = 0.0
        for priority in acres.priorities:
            mine = [f for f in fields if f.priority == priority]
            needed += sum(f.acres * least[f.name] for f in mine)
            needed -= allowed[priority] * max((least[f.name] for f in mine), default=0.0)
        if sum(have.get(p, 0.0) for p in pools) < needed - CLOSE * max(1.0, needed):
            return False
    return True

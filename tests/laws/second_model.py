"""The whole model once more, written from its rules in words for `scipy.optimize.milp`.

Separate on purpose: it shares no arithmetic with the package, only the records of a season, so
that a wrong factor or a forgotten rule in either shows as a difference.
"""

from __future__ import annotations

import math
import time
from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array, csr_array

from planner.season.domain import Basis, Pressure, SeedingRate

PLAIN = "Untreated"
LB_IN_MG = 453_592.37
CRUMB = 1e-9
SLACK = 2e-6
"""Acres by which the first settled shortage may be passed, more than the solver's own tolerance.

Every later one may be passed by ten times more, more than what the earlier slack could buy."""

Engine = Callable[["Program", float], "Found"]
"""Solves a program within some seconds of the processor."""


class Answer(NamedTuple):
    """Acres short by rising priority, and the lowest cost at that."""

    short: tuple[float, ...]
    cost: float


class Program(NamedTuple):
    """Minimise cost x, with x within its bounds and matrix x within low and high."""

    cost: np.ndarray
    whole: np.ndarray
    """1 where x must be whole."""
    least: np.ndarray
    most: np.ndarray
    matrix: csr_array
    low: np.ndarray
    high: np.ndarray


class Found(NamedTuple):
    """What an engine found: the lowest value and where (None if nothing), and what it proved."""

    value: float
    x: np.ndarray | None
    bound: float
    proven: bool


class Best(NamedTuple):
    """The best plan that an engine found, and what it says of all others.

    `short` and `cost` are the plan's own, with whole numbers held and all else solved again. No
    plan costs less than `bound` if it leaves as few acres short; that is so only where
    `short_proven`, or for plans that leave just as many short as this one.
    """

    short: tuple[float, ...]
    cost: float
    bound: float
    short_proven: bool
    proven: bool


@dataclass
class Model:
    """Columns and rows of a mixed-integer program, in the order in which they are added."""

    upper: list[float] = field(default_factory=list)
    whole: list[int] = field(default_factory=list)
    rows: list[tuple[dict[int, float], float, float]] = field(default_factory=list)

    def column(self, upper=math.inf, *, whole=False) -> int:
        self.upper.append(upper)
        self.whole.append(int(whole))
        return len(self.upper) - 1

    def row(self, terms: dict[int, float], low=-math.inf, high=math.inf) -> None:
        self.rows.append((dict(terms), low, high))

    def program(self, objective: dict[int, float], fixed: np.ndarray | None = None) -> Program:
        """The whole as arrays; with `fixed`, whole columns are held at their values."""
        c = np.zeros(len(self.upper))
        for j, value in objective.items():
            c[j] = value
        at, to, values = [], [], []
        for i, (terms, _, _) in enumerate(self.rows):
            for j, value in terms.items():
                at.append(i)
                to.append(j)
                values.append(value)
        matrix = coo_array((values, (at, to)), shape=(len(self.rows), len(c))).tocsr()
        low, high = (np.array([row[i] for row in self.rows]) for i in (1, 2))
        whole, least, most = np.array(self.whole), np.zeros(len(c)), np.array(self.upper)
        if fixed is not None:
            held = whole > 0
            least[held] = most[held] = np.round(fixed[held])
            whole = np.zeros(len(c), dtype=int)
        return Program(c, whole, least, most, matrix, low, high)


def with_scipy(program: Program, seconds: float = math.inf) -> Found:
    """Solve by HiGHS as scipy brings it."""
    limit = {} if seconds == math.inf else {"time_limit": max(0.1, seconds)}
    for presolve in (True, False):  # HiGHS now and then fails with it
        answer = milp(
            program.cost,
            integrality=program.whole,
            bounds=Bounds(program.least, program.most),
            constraints=LinearConstraint(program.matrix, program.low, program.high),
            options={"mip_rel_gap": 0.0, "presolve": presolve, **limit},
        )
        if answer.status == 0:
            return Found(float(answer.fun), answer.x, float(answer.fun), True)
    return Found(math.inf, None, -math.inf, False)


# --- section 2, rule 1: what may go where ---------------------------------------------------------


def floz_a_unit(rate, lot, season) -> float:
    """Fl oz of product on a unit of a lot, for each of the four ways to write a rate."""
    pounds = season.farm.seeds_per_unit / lot.seeds_per_lb
    if rate.basis is Basis.FLOZ_PER_UNIT:
        return rate.amount
    if rate.basis is Basis.FLOZ_PER_CWT:
        return rate.amount * pounds / 100.0
    (product,) = (p for p in season.products if p.name == rate.product)
    strengths = [a.concentration for a in product.actives if rate.active in (None, a.ingredient)]
    mg_in_floz = strengths[0] * LB_IN_MG / 128.0
    if rate.basis is Basis.MG_PER_SEED:
        return rate.amount * season.farm.seeds_per_unit / mg_in_floz
    return rate.amount * 1000.0 * (pounds * 0.45359237 / 100.0) / mg_in_floz


def drop(fld, lot) -> float:
    if isinstance(fld.sowing, SeedingRate):
        return fld.sowing.seeds
    return fld.sowing.plants / fld.sowing.emergence / lot.germination


def best_rating(recipe, threat, season) -> int:
    products = {p.name: p for p in season.products}
    rates = recipe.rates if recipe else ()
    return max([0, *(int(products[r.product].protection.get(threat, 0)) for r in rates)])


def own_rating(lot, threat, season) -> int:
    return int(season.tolerance.get(lot.variety, {}).get(threat, 0))


def bushels_lost(fld, lot, recipe, season) -> float:
    """Loss an acre: what recipe and variety leave of every threat, added up or off the crop."""
    keeps, total = 1.0, 0.0
    for threat in season.threats:
        lost = threat.loss.get(fld.pressure.get(threat.name, Pressure.NONE), 0.0)
        for held in (
            best_rating(recipe, threat.name, season),
            own_rating(lot, threat.name, season),
        ):
            lost *= 1.0 - (season.control.get(held, 0.0) if held else 0.0)
        total += lost
        if fld.expected_yield is not None:
            keeps *= max(0.0, 1.0 - lost / fld.expected_yield)
    return total if fld.expected_yield is None else fld.expected_yield * (1.0 - keeps)


def lot_suits(fld, lot) -> bool:
    return (
        (fld.earliest is None or lot.maturity >= fld.earliest - CRUMB)
        and (fld.latest is None or lot.maturity <= fld.latest + CRUMB)
        and (not fld.traits or any(t in lot.trait for t in fld.traits))
        and (fld.grower is None or lot.grower is None or fld.grower == lot.grower)
        and (not fld.only_varieties or lot.variety in fld.only_varieties)
    )


def recipe_suits(fld, lot, recipe, season) -> bool:
    name = recipe.name if recipe else PLAIN
    if fld.only_recipes and name not in fld.only_recipes:
        return False
    for threat in season.threats:
        needed = threat.need.get(fld.pressure.get(threat.name, Pressure.NONE), 0)
        held = best_rating(recipe, threat.name, season)
        if threat.variety_counts:
            held = max(held, own_rating(lot, threat.name, season))
        if held < needed:
            return False
    if lot.treated_with is not None:
        if name != lot.treated_with:
            return False
    elif recipe is None:
        return season.farm.allow_untreated
    pounds = season.farm.seeds_per_unit / lot.seeds_per_lb
    dry = {p.name for p in season.products if p.kind == "fluency powder"}
    wet = [r for r in (*recipe.rates, *recipe.carriers) if r.product not in dry]
    liquid = sum(floz_a_unit(r, lot, season) for r in wet) * 100.0 / pounds
    limit = season.farm.liquid_limit
    if limit is not None and liquid > limit * (1.0 + CRUMB):
        return False
    mg = defaultdict(float)
    products = {p.name: p for p in season.products}
    for rate in recipe.rates:
        for active in products[rate.product].actives:
            floz = floz_a_unit(rate, lot, season) / season.farm.seeds_per_unit
            mg[active.ingredient] += floz / 128.0 * active.concentration * LB_IN_MG
    for cap in season.active_limits:
        have = mg[cap.ingredient]
        if cap.per_seed is not None and have > cap.per_seed * (1.0 + CRUMB):
            return False
        if cap.per_acre is not None and have * drop(fld, lot) / LB_IN_MG > cap.per_acre * (
            1.0 + CRUMB
        ):
            return False
    return True


# --- the model ------------------------------------------------------------------------------------


def solve(season, old=None, charge: float | None = None) -> Answer:
    """Fewest acres short by priority, then the lowest cost.

    With `old`, acres of an earlier assignment by (field, lot, recipe), the cost holds `charge` for
    every acre of it that is not kept; where `charge` is None, those acres alone are the cost.
    """
    best = search(season, with_scipy, old=old, charge=charge)
    assert best is not None, "no plan found"
    assert best.proven
    return Answer(best.short, best.cost)


def search(
    season,
    engine: Engine,
    seconds: float = math.inf,
    old=None,
    charge: float | None = None,
    wider: float = 1.0,
) -> Best | None:
    """The best plan that an engine finds in some seconds of the processor; None if none.

    `wider` is times the usual slack that settled acres short are held with. Engines have called a
    plan the cheapest that was not, where seed runs out to the last kernel; with more slack they
    found the cheaper one. In the end its acres are as few as ever.
    """
    m, shortages, cost, constant = build(season, old, charge)
    slacks = [wider * SLACK * 10**i for i in range(len(shortages))]
    until = time.process_time() + seconds
    found = _in_order(m, shortages, cost, slacks, None, engine, until)
    if found is None:
        return None
    settled = _in_order(m, shortages, cost, [CRUMB] * len(slacks), found[-1].x, engine, math.inf)
    if settled is None:
        return None
    *short, last = (one.value for one in settled)
    short_proven = all(one.proven for one in found[:-1])
    return Best(
        tuple(short),
        last + constant,
        found[-1].bound + constant,
        short_proven,
        short_proven and found[-1].proven,
    )


def build(
    season, old=None, charge: float | None = None
) -> tuple[Model, list[dict[int, float]], dict[int, float], float]:
    """The model, acres short by rising priority, the cost, and what it holds whatever is done."""
    m = Model()
    cost: dict[int, float] = defaultdict(float)
    acres, units = _planting(m, season)
    cash: dict[int, float] = defaultdict(float)
    treated = _seed(m, season, acres, units, cost, cash)
    used = _product_use(m, season, treated)
    constant = _orders(m, season, used, cost, cash)
    if season.farm.most_to_spend is not None:
        m.row(cash, high=season.farm.most_to_spend)
    _shares(m, season, acres)
    _spread(m, season, acres)
    if season.farm.weigh_yield_loss:
        _yield_loss(season, acres, cost)

    if old is not None:
        moved, gone = _moved(m, season, acres, old)
        if charge is None:
            cost, constant = dict.fromkeys(moved, 1.0), gone
        else:
            cost.update(dict.fromkeys(moved, charge))
            constant += charge * gone

    short = {}
    for f in season.fields:
        short[f.name] = m.column(f.acres)
        here = {j: 1.0 for (name, _, _), j in acres.items() if name == f.name}
        m.row({**here, short[f.name]: 1.0}, f.acres, f.acres)
    priorities = sorted({f.priority for f in season.fields})
    terms = [{short[f.name]: 1.0 for f in season.fields if f.priority == p} for p in priorities]
    return m, terms, cost, constant


def _moved(m, season, acres, old):
    """Columns of acres not kept, and acres that can't be.

    Lots of one variety and grower that are dropped at one rate are alike.
    """
    lots = {lot.name: lot for lot in season.lots}
    fields = {f.name: f for f in season.fields}

    def alike(name, lot, recipe):
        if lot not in lots or name not in fields:
            return name, lot, recipe
        rate = drop(fields[name], lots[lot]) if (name, lot, recipe) in acres else lot
        return name, lots[lot].variety, lots[lot].grower, rate, recipe

    groups, want = defaultdict(dict), defaultdict(float)
    for key, j in acres.items():
        groups[alike(*key)][j] = 1.0
    for key, amount in old.items():
        want[alike(*key)] += amount
    columns, gone = [], 0.0
    for kind, amount in want.items():
        if kind in groups:
            columns.append(m.column(amount))
            m.row({**groups[kind], columns[-1]: 1.0}, low=amount)
        else:
            gone += amount
    return columns, gone


def _in_order(m, shortages, cost, slacks, fixed, engine, until) -> list[Found] | None:
    """Minimise shortages one after another, then the cost; the rows that hold them are undone.

    Each shortage may take half of the time that is left. Where a step finds nothing in its time,
    the solution of the step before stands for it, and nothing is proven.
    """
    n = len(m.rows)
    found: list[Found] = []
    for terms, slack in zip([*shortages, cost], [*slacks, 0.0], strict=True):
        left = until - time.process_time()
        program = m.program(terms, fixed)
        one = engine(program, left if terms is cost else left / 2)
        if one.x is None:
            if not found:
                break
            x = found[-1].x
            one = Found(float(program.cost @ x), x, -math.inf, False)
        found.append(one)
        m.row(terms, high=one.value + slack)
    del m.rows[n:]
    return found or None


def _planting(m, season):
    acres, units = {}, {}
    for f in season.fields:
        for lot in season.lots:
            if not lot_suits(f, lot):
                continue
            for recipe in (*season.recipes, None):
                if recipe_suits(f, lot, recipe, season):
                    key = f.name, lot.name, recipe.name if recipe else PLAIN
                    acres[key] = m.column(f.acres)
                    seeds = drop(f, lot) * (1.0 + season.farm.spare_seed)
                    units[key] = seeds / season.farm.seeds_per_unit
    return acres, units


def _seed(m, season, acres, units, cost, cash):
    """Rule 3 and the two seed terms of the cost; returns columns in units treated, and bags."""
    treated: dict[tuple[str, str], dict[int, float]] = {}
    bought = {}
    for lot in season.lots:
        size = lot.units_per_bag
        done = {}
        for t in season.treated:
            if t.lot == lot.name:
                done[t.recipe] = done.get(t.recipe, 0.0) + t.units
        loose = lot.on_hand - sum(done.values())
        can_buy = math.floor(lot.can_buy / size + CRUMB)
        b = bought[lot.name] = m.column(can_buy, whole=True)
        cost[b] += size * lot.buy_price
        cash[b] += size * lot.buy_price
        planted = defaultdict(dict)
        for (fld, name, recipe), j in acres.items():
            if name == lot.name:
                planted[recipe][j] = units[fld, name, recipe]
        if lot.treated_with is not None:
            done[lot.treated_with] = done.get(lot.treated_with, 0.0) + loose
            for recipe, terms in planted.items():
                extra = {b: -size} if recipe == lot.treated_with else {}
                m.row({**terms, **extra}, high=done.get(recipe, 0.0))
            continue
        cost[b] -= size * lot.return_value
        full = math.floor(loose / size + CRUMB)
        part = max(0.0, loose - full * size)
        bags, parts, everything = {}, {}, {}
        for r in season.recipes:
            t = m.column(full + can_buy, whole=True)
            bags[t] = 1.0
            units_of = {t: size}
            if part > CRUMB * max(size, loose):
                p = m.column(1.0, whole=True)
                parts[p] = 1.0
                units_of[p] = part
            treated[lot.name, r.name] = units_of
            everything.update(units_of)
            m.row(
                {**planted[r.name], **{j: -v for j, v in units_of.items()}},
                high=done.get(r.name, 0.0),
            )
        m.row({**bags, b: -1.0}, high=full)
        m.row(parts, high=1.0)
        everything.update(planted[PLAIN])
        m.row({**everything, b: -size}, high=loose)
        for j, value in everything.items():
            cost[j] += lot.return_value * value
    return treated


def _product_use(m, season, treated):
    """Rule 4, the left side: fl oz of every product as columns."""
    used = {p.name: defaultdict(float) for p in season.products}
    lots = {lot.name: lot for lot in season.lots}
    runs = {}
    for recipe in season.recipes:
        run = runs[recipe.name] = m.column(1.0, whole=True)
        for (name, recipe_name), terms in treated.items():
            if recipe_name != recipe.name:
                continue
            for j, units_each in terms.items():
                m.row({j: 1.0, run: -m.upper[j]}, high=0.0)
                for rate in recipe.rates:
                    floz = floz_a_unit(rate, lots[name], season) * units_each
                    used[rate.product][j] += floz * (1.0 + season.farm.product_margin)
        for product in {rate.product for rate in recipe.rates}:
            (loss,) = (p.line_loss for p in season.products if p.name == product)
            if not season.farm.line_stays_primed:
                used[product][run] += loss
    if season.farm.line_stays_primed:
        _primed(m, season, runs, used)
    return used


def _primed(m, season, runs, used) -> None:
    """Every recipe that is run has a place in a row; a product is lost where it was not before."""
    n = len(season.recipes)
    at = {(name, t): m.column(1.0, whole=True) for name in runs for t in range(n)}
    for name, run in runs.items():
        m.row({**{at[name, t]: 1.0 for t in range(n)}, run: -1.0}, 0.0, 0.0)
    for t in range(n):
        m.row({at[name, t]: 1.0 for name in runs}, high=1.0)
        if t:
            here = {at[name, t]: 1.0 for name in runs}
            m.row({**here, **{at[name, t - 1]: -1.0 for name in runs}}, high=0.0)
    for p in season.products:
        mine = [r.name for r in season.recipes if any(x.product == p.name for x in r.rates)]
        for t in range(n):
            comes = m.column(1.0)
            row = {comes: 1.0, **{at[name, t]: -1.0 for name in mine}}
            m.row(row | ({at[name, t - 1]: 1.0 for name in mine} if t else {}), low=0.0)
            used[p.name][comes] += p.line_loss


def in_time(level, supplier, season) -> bool:
    """Whether what a supplier sells is ordered by the day that a discount asks for."""
    days = [s.order_by for s in season.suppliers if s.name == supplier]
    return level.order_by is None or not any(day and day > level.order_by for day in days)


def most_worth_ordering(season, container, need: float) -> int:
    """Count beyond which one more can't help: it covers, and reaches every break and level.

    Where carryover may pay for one more, as many as money is for, at the least that one can cost.
    """
    if container.most is not None:
        return container.most
    usable = container.size - container.heel
    cheapest = min(b.price for b in container.breaks)
    money, kept = season.farm.most_to_spend, season.product_named[container.product].carryover
    off = sum(d.percent for d in season.discounts)
    if money is not None and kept > 0.0 and off > 0.0 and cheapest * (1.0 - off) > 0.0:
        return math.floor(money / (cheapest * (1.0 - off)) + 1e-6)
    levels = [d.spend for d in season.discounts] + [s.free_from or 0.0 for s in season.suppliers]
    return max(
        math.ceil(need / usable) + 1 if usable > 0 else 0,
        max(b.from_count for b in container.breaks),
        math.ceil(max([0.0, *levels]) / cheapest) + 1 if cheapest > 0 else 0,
    )


def _orders(m, season, used, cost, cash) -> float:
    """Rule 4, the right side; containers, freight, discounts and carryover of the cost."""
    spend: dict[tuple[str, str], dict[int, float]] = {}
    counts: dict[tuple[str, str], int] = {}
    constant = 0.0
    for p in season.products:
        supply = 0.0 if p.expires and p.expires < season.farm.first_treating_day else p.on_hand
        mine = [c for c in season.containers if c.product == p.name]
        for o in season.ordered:
            supply += sum(
                o.count * (c.size - c.heel)
                for c in mine
                if (o.product, o.container) == (c.product, c.name)
            )
        need = sum(value * m.upper[j] for j, value in used[p.name].items())
        balance = dict(used[p.name])
        for c in mine:
            n = counts[c.product, c.name] = m.column(
                most_worth_ordering(season, c, need), whole=True
            )
            balance[n] = -(c.size - c.heel)
            spend[c.product, c.name] = _breaks(m, c, n)
        m.row(balance, high=supply)
        prices = [b.price / c.size for c in mine for b in c.breaks]
        if prices:
            credit = p.carryover * min(prices)
            constant -= credit * supply
            for j, value in balance.items():
                cost[j] += credit * value
    paid: dict[int, float] = defaultdict(float)
    for terms in spend.values():
        for j, value in terms.items():
            paid[j] += value
    _freight(m, season, counts, spend, paid)
    _discounts(m, season, spend, paid)
    for j, value in paid.items():
        cost[j] += value
        cash[j] += value
    return constant


def _breaks(m, container, n) -> dict[int, float]:
    """Split a count into price ranges, one of which may be in use; list spend as columns."""
    top = m.upper[n]
    breaks = sorted(container.breaks, key=lambda b: b.from_count)
    spend, flags, parts = {}, {}, {n: -1.0}
    for i, b in enumerate(breaks):
        last = breaks[i + 1].from_count - 1 if i + 1 < len(breaks) else top
        here = m.column(max(0.0, top), whole=True)
        flag = m.column(1.0, whole=True)
        m.row({here: 1.0, flag: -float(max(1, b.from_count))}, low=0.0)
        m.row({here: 1.0, flag: -float(max(0.0, min(last, top)))}, high=0.0)
        spend[here], flags[flag], parts[here] = b.price, 1.0, 1.0
    m.row(parts, 0.0, 0.0)
    m.row(flags, high=1.0)
    return spend


def _freight(m, season, counts, spend, cost) -> None:
    home = {(c.product, c.name): c.supplier for c in season.containers}
    for s in season.suppliers:
        mine = [key for key in counts if home[key] == s.name]
        ordered = m.column(1.0, whole=True)
        for key in mine:
            m.row({counts[key]: 1.0, ordered: -m.upper[counts[key]]}, high=0.0)
        cost[ordered] += s.freight
        if s.free_from is not None:
            free = m.column(1.0, whole=True)
            total = {j: v for key in mine for j, v in spend[key].items()}
            m.row({**total, free: -s.free_from}, low=-1e-9 * s.free_from)
            m.row({free: 1.0, ordered: -1.0}, high=0.0)
            cost[free] -= s.freight


def _discounts(m, season, spend, cost) -> None:
    home = {(c.product, c.name): c.supplier for c in season.containers}
    groups = defaultdict(dict)
    for level in season.discounts:
        total = {
            j: value
            for key, terms in spend.items()
            if level.supplier in (None, home[key])
            and (not level.products or key[0] in level.products)
            and in_time(level, home[key], season)
            for j, value in terms.items()
        }
        most = sum(value * m.upper[j] for j, value in total.items())
        taken = m.column(1.0, whole=True)
        saved = m.column(level.percent * most)
        groups[level.name, level.supplier][taken] = 1.0
        m.row({**total, taken: -level.spend}, low=-1e-9 * level.spend)
        m.row({saved: 1.0, taken: -level.percent * most}, high=0.0)
        m.row({saved: 1.0, **{j: -level.percent * v for j, v in total.items()}}, high=0.0)
        cost[saved] -= 1.0
    for flags in groups.values():
        m.row(flags, high=1.0)


def _shares(m, season, acres) -> None:
    """Rule 2, second half."""
    farm = season.farm
    most, split, of_a_lot = farm.max_varieties, farm.smallest_split, farm.smallest_lot_share
    if most is None and max(split, of_a_lot) <= 0.0:
        return
    variety = {lot.name: lot.variety for lot in season.lots}
    for f in season.fields:
        shares = defaultdict(dict)
        for (name, lot, recipe), j in acres.items():
            if name == f.name:
                shares[variety[lot], recipe][j] = 1.0
        flags = {}
        for terms in shares.values():
            flag = m.column(1.0, whole=True)
            flags[flag] = 1.0
            m.row({**terms, flag: -f.acres}, high=0.0)
            alone = len(terms) == 1
            least = max(split, of_a_lot) if alone else split
            m.row({**terms, flag: -min(least, f.acres)}, low=0.0)
            for j in terms if of_a_lot > 0.0 and not alone else ():
                of_lot = m.column(1.0, whole=True)
                m.row({j: 1.0, of_lot: -f.acres}, high=0.0)
                m.row({j: 1.0, of_lot: -min(of_a_lot, f.acres)}, low=0.0)
        if most is not None:
            m.row(flags, high=most)


def _spread(m, season, acres) -> None:
    """Rule 5."""
    lots = {lot.name: lot for lot in season.lots}
    spans = [
        (
            {
                name
                for name in lots
                if s.earliest - CRUMB <= lots[name].maturity <= s.latest + CRUMB
            },
            s.share,
        )
        for s in season.maturity_spread
    ]
    if season.farm.most_of_one_variety is not None:
        for variety in {lot.variety for lot in season.lots}:
            names = {name for name in lots if lots[name].variety == variety}
            spans.append((names, season.farm.most_of_one_variety))
    for names, share in spans:
        m.row({j: (lot in names) - share for (_, lot, _), j in acres.items()}, high=0.0)


def _yield_loss(season, acres, cost) -> None:
    fields = {f.name: f for f in season.fields}
    recipes = {r.name: r for r in season.recipes}
    lots = {lot.name: lot for lot in season.lots}
    for (name, lot, recipe), j in acres.items():
        lost = bushels_lost(fields[name], lots[lot], recipes.get(recipe), season)
        cost[j] += lost * season.farm.soybean_price

"""The plan held as it is while figures turn out otherwise, and how often it suffices.

Bags, recipes and planting stay as planned. In a draw the need of a product is the sum over what is
treated of units x (what goes by weight / change of seeds per lb + what goes by the unit) x change
of product used, and line losses. Bags on hand hold more or less seed as Units on hand turns out;
bags that are bought hold what they should. A field takes its seed in proportion to its acres and,
where it is sown to a stand, to one over germination.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from planner.agronomy.protection import is_white_mold
from planner.plan import recount
from planner.risk.chances import AsPlanned, LotChance, ProductChance, SparePlanted, Spread
from planner.risk.draws import draw, whole_draws
from planner.risk.margins import margins
from planner.risk.turned_out import units_taken
from planner.risk.uses import accounts
from planner.season.domain import UNTREATED, Pressure, Quantity
from planner.sums import grouped, summed

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    import numpy.typing as npt

    from planner.plan.plan import Plan
    from planner.risk.draws import Changes, Floats
    from planner.risk.uses import Account
    from planner.season.domain import Season, SeedLot

DRAWS = 100_000
"""Draws that are asked for; rounded up to a power of two."""
ROUNDING = 1e-6
"""Share by which a need may pass what is there: the plan's own slack."""
TOLD = 0.30
"""Change of all seeds per lb beyond which a product is told never to run short by it."""
BARS = 24
"""Bars of the picture of a product's need."""


def as_planned(season: Season, plan: Plan, *, draws: int = DRAWS, seed: int = 0) -> AsPlanned:
    """Draw what is not known and count how often the plan suffices as it is.

    Parameters
    ----------
    season
        Its `unknowns` say what may turn out otherwise.
    draws
        At least so many; the next power of two is drawn.
    seed
        Of the draws: the same seed gives the same answer.
    """
    spare = season.farm.spare_seed
    seeds = _Seeds(season, plan)
    bare = _Seeds(season, plan, spare) if spare else None
    beside = [s.count for s in (seeds, bare) if s]
    accounts, need = needs_drawn(season, plan, draws, seed, beside)
    count = len(need)
    there = np.array([a.supply for a in accounts])
    enough = need <= there * (1.0 + ROUNDING)
    products = _products(season, plan, accounts, need, enough)
    tight = products[0].product if products else ""
    names = [a.product for a in accounts]
    return AsPlanned(
        draws=count,
        seed=seed,
        enough=float(enough.all(axis=1).mean()) if names else 1.0,
        products=products,
        lots=seeds.lots(count),
        seed_enough=seeds.enough(count),
        white_mold=None if not seeds.mold.any() else 1.0 - seeds.mold_short / count,
        short_acres=seeds.acres_short / count,
        spare=SparePlanted(spare, bare.enough(count), bare.acres_short / count) if bare else None,
        spread=_spread(tight, need[:, names.index(tight)], there[names.index(tight)])
        if tight
        else None,
    )


def needs_drawn(
    season: Season,
    plan: Plan,
    draws: int,
    seed: int,
    beside: Sequence[Callable[[Changes, int], None]] = (),
) -> tuple[tuple[Account, ...], Floats]:
    """Products that the plan puts on seed, and their needs in draws, shape (draws, products).

    At least `draws` of them: the next power of two.

    Parameters
    ----------
    beside
        Each called with what changes in some draws and how many they are, until all are drawn.
    """
    count, needs, at = whole_draws(draws), _Needs(season, plan), 0
    need = np.empty((count, len(needs.accounts)))
    for n, changes in draw(season, count, seed):
        need[at : at + n] = needs.of(changes, n)
        for count_too in beside:
            count_too(changes, n)
        at += n
    return needs.accounts, need


class _Needs:
    """What products are needed in draws: matrices over what is treated (rows) and products."""

    def __init__(self, season: Season, plan: Plan) -> None:
        self.accounts = accounts(season, plan)
        self.keys = [(t.lot, t.recipe) for t in plan.treating]
        self.units = np.array([t.units for t in plan.treating])
        self.hand = _share_on_hand(season, plan)
        shape = (len(self.keys), len(self.accounts))
        self.by_weight, self.by_unit = np.zeros(shape), np.zeros(shape)
        for column, account in enumerate(self.accounts):
            for use in account.uses:
                row = self.keys.index((use.lot, use.recipe))
                self.by_weight[row, column] += use.by_weight
                self.by_unit[row, column] += use.by_unit

    def of(self, changes: Changes, n: int) -> Floats:
        """Need of every product, array of shape (draws, products)."""
        units, weighed = np.empty((n, len(self.keys))), np.empty((n, len(self.keys)))
        for row, (lot, _) in enumerate(self.keys):
            on_hand = changes.factor(Quantity.UNITS_ON_HAND, lot)
            units[:, row] = self.units[row] * (1.0 + self.hand[lot] * (on_hand - 1.0))
            weighed[:, row] = units[:, row] / changes.factor(Quantity.SEEDS_PER_LB, lot)
        need = weighed @ self.by_weight + units @ self.by_unit
        for column, account in enumerate(self.accounts):
            need[:, column] *= changes.factor(Quantity.PRODUCT_USED, account.product)
            need[:, column] += account.fixed
        return np.asarray(need, dtype=np.float64)


def _share_on_hand(season: Season, plan: Plan) -> dict[str, float]:
    """Share of what is treated of a lot that is on hand, which is treated before bought seed."""
    treated = summed((t.lot, t.units) for t in plan.treating)
    return {
        name: min(1.0, recount.loose_units(season.lot_named[name], season) / units)
        if units > 0.0
        else 0.0
        for name, units in treated.items()
    }


class _Seeds:
    """Whether the seed suffices in draws, by pool: a lot under a recipe, or untreated.

    Fields take what is planned for them, without the share `spare` on top of their need.
    """

    def __init__(self, season: Season, plan: Plan, spare: float = 0.0) -> None:
        self.fields, self.lot_named = season.field_named, season.lot_named
        self.pools = grouped(
            ((p.lot, p.recipe), (p.field, p.units / (1.0 + spare), p.acres)) for p in plan.planting
        )
        self.there = {
            key: _pool(season.lot_named[key[0]], key[1], season, plan) for key in self.pools
        }
        self.names = list(dict.fromkeys(lot for lot, _ in self.pools))
        self.mold = np.array([self._under_mold(name) for name in self.names], dtype=bool)
        self.short = np.zeros(len(self.names))
        self.units_short = np.zeros(len(self.names))
        self.any_short = self.mold_short = 0
        self.acres_short = 0.0

    def _under_mold(self, lot: str) -> bool:
        goes = [row for (name, _), rows in self.pools.items() if name == lot for row in rows]
        return any(
            pressure is not Pressure.NONE
            for field, _, _ in goes
            for threat, pressure in self.fields[field].pressure.items()
            if is_white_mold(threat)
        )

    def count(self, changes: Changes, n: int) -> None:
        """Count in which draws which lot is short."""
        missing = np.zeros((n, len(self.names)))
        for (lot, recipe), rows in self.pools.items():
            fixed, on_hand = self.there[lot, recipe]
            have = fixed + on_hand * changes.factor(Quantity.UNITS_ON_HAND, lot)
            taken = [
                units_taken(units, self.fields[field], self.lot_named[lot], changes)
                for field, units, _ in rows
            ]
            need = sum(taken, np.zeros(n))
            lack = np.maximum(0.0, need - have)
            lack[need <= have * (1.0 + ROUNDING)] = 0.0
            missing[:, self.names.index(lot)] += lack
            acres = sum((row[2] * changes.factor(Quantity.ACRES, row[0]) for row in rows), 0.0)
            self.acres_short += float(np.sum(lack / np.maximum(need, ROUNDING) * acres))
        lacks = missing > 0.0
        self.short += lacks.sum(axis=0)
        self.units_short += missing.sum(axis=0)
        self.any_short += int(lacks.any(axis=1).sum())
        self.mold_short += int(lacks[:, self.mold].any(axis=1).sum())

    def enough(self, draws: int) -> float:
        """Share of draws in which no lot is short."""
        return 1.0 - self.any_short / draws

    def lots(self, draws: int) -> tuple[LotChance, ...]:
        """Chance of every lot that is planted."""
        found = []
        for number, name in enumerate(self.names):
            mine = [key for key in self.pools if key[0] == name]
            planted = sum(units for key in mine for _, units, _ in self.pools[key])
            there = sum(sum(self.there[key]) for key in mine)
            enough, short = 1.0 - self.short[number] / draws, self.units_short[number] / draws
            found.append(LotChance(name, float(enough), planted, there, float(short)))
        return tuple(sorted(found, key=lambda c: (c.enough, c.there - c.planted)))


def _pool(lot: SeedLot, recipe: str, season: Season, plan: Plan) -> tuple[float, float]:
    """Units to plant of a lot under a recipe: what is there for sure, and what is on hand."""
    new = recount.newly_treated(plan, season)
    hand = _share_on_hand(season, plan).get(lot.name, 0.0)
    bought = recount.bought_units(plan, season, lot.name)
    loose = recount.loose_units(lot, season)
    if recipe == UNTREATED:
        treated = sum(units for (name, _), units in new.items() if name == lot.name)
        return bought - treated * (1.0 - hand), loose - treated * hand
    units = new.get((lot.name, recipe), 0.0)
    before = sum(t.units for t in season.treated if (t.lot, t.recipe) == (lot.name, recipe))
    fixed, on_hand = before + units * (1.0 - hand), units * hand
    if lot.treated_with == recipe:
        fixed, on_hand = fixed + bought, on_hand + loose
    return fixed, on_hand


def _products(
    season: Season,
    plan: Plan,
    accounts: Sequence[Account],
    need: Floats,
    enough: npt.NDArray[np.bool_],
) -> tuple[ProductChance, ...]:
    if not accounts:
        return ()
    short_from = {m.product: m.seed_size for m in margins(season, plan)}
    there = np.array([a.supply for a in accounts])
    first = _first(need, there, enough)
    found = []
    for column, account in enumerate(accounts):
        own = need[:, column]
        low, median, high = np.quantile(own, (0.1, 0.5, 0.9))
        size = short_from[account.product]
        found.append(
            ProductChance(
                product=account.product,
                enough=float(enough[:, column].mean()),
                one_in_ten=float(low),
                median=float(median),
                nine_in_ten=float(high),
                most=float(own.max()),
                short_from_seed_size=size if size is not None and size >= -TOLD else None,
                supply=account.supply,
                first=float(first[column]),
            )
        )
    return tuple(sorted(found, key=lambda c: (c.enough, -c.most / max(c.supply, ROUNDING))))


def _first(need: Floats, there: Floats, enough: npt.NDArray[np.bool_]) -> Floats:
    """Share of draws in which each product covers the least share of its need, of short draws."""
    short = ~enough.all(axis=1)
    covered = there / np.maximum(need[short], ROUNDING)
    counts = np.bincount(covered.argmin(axis=1), minlength=len(there))
    return np.asarray(counts / len(need), dtype=np.float64)


def _spread(product: str, need: Floats, supply: float) -> Spread:
    """How often the need falls into bars of one width, what is there being an edge between two."""
    low, high = float(need.min()), float(need.max())
    width = max((high - low) / BARS, ROUNDING * max(1.0, supply))
    if not low < supply < high:  # the line stands beside the bars
        low, high = min(low, supply), max(high, supply)
        width = max((high - low) / BARS, width)
    below = int(np.ceil(round((supply - low) / width, 9)))
    above = int(np.ceil(round((high - supply) / width, 9)))
    edges = supply + width * np.arange(-below, max(above, 1 - below) + 1)
    cut = np.where(edges == supply, supply * (1.0 + ROUNDING), edges)
    counts, _ = np.histogram(np.clip(need, cut[0], cut[-1]), cut)
    shares = tuple(float(c) / len(need) for c in counts)
    return Spread(product, float(supply), tuple(float(e) for e in edges), shares)

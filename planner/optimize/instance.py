"""The season as the optimizer sees it: names in a fixed order, numbers by index.

Everything is sorted by name, so that the order of the input's rows can't change the plan.
Recipes have one more index than the season: the last one stands for untreated seed.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, floor
from typing import TYPE_CHECKING

import numpy as np

from planner.agronomy.protection import loss_per_acre
from planner.agronomy.rates import floz_per_unit
from planner.agronomy.seeding import units_per_acre
from planner.agronomy.suitability import suitable
from planner.season.domain import UNTREATED

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from planner.season.domain import (
        Container,
        DiscountLevel,
        Field,
        Product,
        Recipe,
        Season,
        SeedLot,
        Supplier,
    )

WHOLE = 1e-9
"""Relative slack when a number of units is cut into whole bags."""


def whole(number: float) -> int:
    """Largest whole number that is not above `number`, allowing for the dust of decimals.

    >>> whole(2.9999999999), whole(2.9)
    (3, 2)
    """
    return floor(number + WHOLE * max(1.0, abs(number)))


@dataclass(frozen=True, slots=True, eq=False)
class Choices:
    """Every (field, lot, recipe) that may be planted, as parallel arrays."""

    field: NDArray[np.int64]
    lot: NDArray[np.int64]
    recipe: NDArray[np.int64]
    units: NDArray[np.float64]
    """Units an acre."""
    loss: NDArray[np.float64]
    """Expected yield loss counted in the cost, money an acre."""

    def __len__(self) -> int:
        return len(self.field)

    def only(self, keep: NDArray[np.int64] | NDArray[np.bool_]) -> Choices:
        """Return the choices at some places."""
        return Choices(
            self.field[keep], self.lot[keep], self.recipe[keep], self.units[keep], self.loss[keep]
        )


@dataclass(frozen=True, slots=True, eq=False)
class Instance:
    """Numbers of a season, by index of fields, lots, recipes, products, containers, suppliers."""

    season: Season
    fields: tuple[Field, ...]
    lots: tuple[SeedLot, ...]
    recipes: tuple[Recipe, ...]
    products: tuple[Product, ...]
    containers: tuple[Container, ...]
    suppliers: tuple[Supplier, ...]
    discounts: tuple[DiscountLevel, ...]
    varieties: tuple[str, ...]
    choices: Choices
    variety_of: NDArray[np.int64]
    """By lot."""
    full_bags: NDArray[np.int64]
    part_bag: NDArray[np.float64]
    """Units in the lot's part bag; 0 for none."""
    can_buy: NDArray[np.int64]
    """Bags."""
    before: dict[tuple[int, int], float]
    """Units already treated, by (lot, recipe)."""
    use: NDArray[np.float64]
    """Fl oz of product a unit treated, margin included: lot x recipe x product."""
    supply: NDArray[np.float64]
    """Fl oz on hand and on its way that count, by product."""
    credit: NDArray[np.float64]
    """Money a fl oz left is worth, by product."""
    on_seed: frozenset[tuple[int, int]]
    """(lot, recipe) pairs that some field may be planted with."""

    @property
    def untreated(self) -> int:
        """Index that stands for no recipe."""
        return len(self.recipes)

    def treatable(self, lot: int) -> bool:
        """Whether bags of the lot can still be treated."""
        return self.lots[lot].treated_with is None


def _loose_units(season: Season, lot: SeedLot) -> float:
    """Units of a lot on hand that are not treated yet."""
    if lot.treated_with is not None:
        return 0.0
    done = sum(t.units for t in season.treated if t.lot == lot.name)
    return max(0.0, lot.on_hand - done)


def _treated_before(
    season: Season, lots: tuple[SeedLot, ...], recipes: tuple[Recipe, ...]
) -> dict[tuple[int, int], float]:
    lot_at = {lot.name: i for i, lot in enumerate(lots)}
    recipe_at = {r.name: i for i, r in enumerate(recipes)}
    before: dict[tuple[int, int], float] = {}
    for lot in lots:
        if lot.treated_with is not None:
            before[lot_at[lot.name], recipe_at[lot.treated_with]] = lot.on_hand
    for t in season.treated:
        key = lot_at[t.lot], recipe_at[t.recipe]
        if lots[key[0]].treated_with is None:
            before[key] = before.get(key, 0.0) + t.units
    return before


def _choices(
    season: Season,
    fields: tuple[Field, ...],
    lots: tuple[SeedLot, ...],
    recipes: tuple[Recipe, ...],
) -> Choices:
    allowed = suitable(season)
    recipe_at = {r.name: i for i, r in enumerate(recipes)} | {UNTREATED: len(recipes)}
    products = {p.name: p for p in season.products}
    price = (season.farm.soybean_price or 0.0) if season.farm.weigh_yield_loss else 0.0
    f_at, l_at, r_at, units, loss = [], [], [], [], []
    for i, field in enumerate(fields):
        money = [
            price * loss_per_acre(field, r, season.threats, season.control, products)
            if price
            else 0.0
            for r in (*recipes, None)
        ]
        for j, lot in enumerate(lots):
            names = allowed.get((field.name, lot.name))
            if not names:
                continue
            per_acre = units_per_acre(field, lot, season.farm)
            for k in sorted(recipe_at[n] for n in names):
                f_at.append(i)
                l_at.append(j)
                r_at.append(k)
                units.append(per_acre)
                loss.append(money[k])
    return Choices(
        np.array(f_at, dtype=np.int64),
        np.array(l_at, dtype=np.int64),
        np.array(r_at, dtype=np.int64),
        np.array(units, dtype=np.float64),
        np.array(loss, dtype=np.float64),
    )


def _supply(season: Season, product: Product) -> float:
    first = season.farm.first_treating_day
    fresh = product.expires is None or product.expires >= first
    at = {(c.product, c.name): c for c in season.containers}
    coming = sum(
        o.count * (at[o.product, o.container].size - at[o.product, o.container].heel)
        for o in season.ordered
        if o.product == product.name
    )
    return (product.on_hand if fresh else 0.0) + coming


def _credit(season: Season, product: Product) -> float:
    prices = [
        b.price / c.size for c in season.containers if c.product == product.name for b in c.breaks
    ]
    return product.carryover * min(prices, default=0.0)


def _use(
    season: Season,
    lots: tuple[SeedLot, ...],
    recipes: tuple[Recipe, ...],
    products: tuple[Product, ...],
) -> NDArray[np.float64]:
    at = {p.name: i for i, p in enumerate(products)}
    use = np.zeros((len(lots), len(recipes) + 1, len(products)))
    factor = 1.0 + season.farm.product_margin
    for k, recipe in enumerate(recipes):
        for rate in recipe.rates:
            p = at[rate.product]
            for j, lot in enumerate(lots):
                use[j, k, p] += floz_per_unit(rate, lot, products[p], season.farm) * factor
    return use


def make_instance(season: Season) -> Instance:
    """Lay a season out by index."""
    fields = tuple(sorted(season.fields, key=lambda f: f.name))
    lots = tuple(sorted(season.lots, key=lambda x: x.name))
    recipes = tuple(sorted(season.recipes, key=lambda r: r.name))
    products = tuple(sorted(season.products, key=lambda p: p.name))
    varieties = tuple(sorted({lot.variety for lot in lots}))
    variety_at = {v: i for i, v in enumerate(varieties)}
    choices = _choices(season, fields, lots, recipes)
    loose = [_loose_units(season, lot) for lot in lots]
    full = [whole(u / lot.units_per_bag) for u, lot in zip(loose, lots, strict=True)]
    rest = [u - n * lot.units_per_bag for u, n, lot in zip(loose, full, lots, strict=True)]
    return Instance(
        season=season,
        fields=fields,
        lots=lots,
        recipes=recipes,
        products=products,
        containers=tuple(sorted(season.containers, key=lambda c: (c.product, c.name))),
        suppliers=tuple(sorted(season.suppliers, key=lambda s: s.name)),
        discounts=tuple(
            sorted(season.discounts, key=lambda d: (d.name, d.supplier or "", d.spend, d.percent))
        ),
        varieties=varieties,
        choices=choices,
        variety_of=np.array([variety_at[lot.variety] for lot in lots], dtype=np.int64),
        full_bags=np.array(full, dtype=np.int64),
        part_bag=np.array(
            [r if r > WHOLE * max(1.0, u) else 0.0 for r, u in zip(rest, loose, strict=True)]
        ),
        can_buy=np.array([whole(lot.can_buy / lot.units_per_bag) for lot in lots], dtype=np.int64),
        before=_treated_before(season, lots, recipes),
        use=_use(season, lots, recipes, products),
        supply=np.array([_supply(season, p) for p in products]),
        credit=np.array([_credit(season, p) for p in products]),
        on_seed=frozenset(zip(choices.lot.tolist(), choices.recipe.tolist(), strict=True)),
    )


def most_need(it: Instance) -> NDArray[np.float64]:
    """Fl oz of each product that a sensible plan could ever need, line losses included.

    No plan treats more of a lot than it has, nor more under a recipe than all fields that could
    take it would use, rounded up to bags.
    """
    acres = np.array([f.acres for f in it.fields])
    c = it.choices
    total = np.zeros(len(it.products))
    have = it.full_bags * np.array([lot.units_per_bag for lot in it.lots]) + it.part_bag
    have = have + it.can_buy * np.array([lot.units_per_bag for lot in it.lots])
    for lot in range(len(it.lots)):
        rows = sorted(k for j, k in it.on_seed if j == lot and k != it.untreated)
        if rows and it.treatable(lot):
            total += have[lot] * it.use[lot, rows].max(axis=0)
    by_field = np.zeros((len(it.fields), len(it.products)))
    if len(c):
        np.maximum.at(by_field, c.field, it.use[c.lot, c.recipe] * c.units[:, None])
    planted = (by_field * acres[:, None]).sum(axis=0)
    for lot, k in it.on_seed:
        if k != it.untreated and it.treatable(lot):
            planted += it.use[lot, k] * it.lots[lot].units_per_bag
    loss = np.array([p.line_loss for p in it.products])
    runs = np.zeros(len(it.products))
    for recipe in it.recipes:
        for name in {r.product for r in recipe.rates}:
            runs[[p.name for p in it.products].index(name)] += 1.0
    return np.asarray(np.minimum(total, planted) + loss * runs, dtype=np.float64)


def most_bags(it: Instance) -> dict[tuple[int, int], int]:
    """Full bags of each lot that could ever be treated with each recipe."""
    c = it.choices
    acres = np.array([f.acres for f in it.fields])
    wanted: dict[tuple[int, int], float] = {}
    for f, lot, k, u in zip(
        c.field.tolist(), c.lot.tolist(), c.recipe.tolist(), c.units.tolist(), strict=True
    ):
        if k != it.untreated and it.treatable(lot):
            wanted[lot, k] = wanted.get((lot, k), 0.0) + acres[f] * u
    return {
        (lot, k): min(
            int(it.full_bags[lot] + it.can_buy[lot]),
            ceil(units / it.lots[lot].units_per_bag - WHOLE),
        )
        for (lot, k), units in wanted.items()
    }

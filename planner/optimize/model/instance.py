"""The season as the optimizer sees it: names in a fixed order, numbers by index.

Everything is sorted by name, so that the order of the input's rows can't change the plan.
Recipes have one more index than the season: the last one stands for untreated seed.
"""

from __future__ import annotations

from array import array
from dataclasses import dataclass
from functools import cached_property
from math import ceil, floor
from typing import TYPE_CHECKING

import numpy as np

from planner.agronomy.protection import loss_per_acre
from planner.agronomy.rates import floz_per_unit
from planner.agronomy.suitability import (
    TOLERANCE,
    acre_obstacles,
    lot_obstacles,
    protection_obstacles,
    recipe_obstacles,
    seed_obstacles,
)
from planner.optimize.params import TUNED
from planner.plan.offers import lowest_price_per_floz
from planner.plan.price import usable_stock
from planner.season.domain import UNTREATED, SeedingRate

if TYPE_CHECKING:
    from collections.abc import Hashable, Iterator

    from numpy.typing import NDArray

    from planner.optimize.params import LineParams
    from planner.season.domain import (
        Container,
        DiscountLevel,
        Farm,
        Field,
        Product,
        Recipe,
        Season,
        SeedLot,
        Supplier,
    )

WHOLE = 1e-9
"""Relative slack when a number of units is cut into whole bags."""
BLOCK = 100_000
"""About how many choices are looked at together where there may be millions."""


def whole(number: float) -> int:
    """Largest whole number that is not above `number`, allowing for the dust of decimals.

    >>> whole(2.9999999999), whole(2.9)
    (3, 2)
    """
    return floor(number + WHOLE * max(1.0, abs(number)))


@dataclass(frozen=True, slots=True, eq=False)
class Choices:
    """Every (field, lot, recipe) that may be planted, as parallel arrays sorted by all three."""

    field: NDArray[np.int64]
    lot: NDArray[np.int64]
    recipe: NDArray[np.int64]
    units: NDArray[np.float64]
    """Units an acre."""
    loss: NDArray[np.float64]
    """Expected yield loss counted in the cost, money an acre."""

    def __len__(self) -> int:
        return len(self.field)

    @property
    def keys(self) -> list[tuple[int, int, int]]:
        """(Field, lot, recipe) of every choice, by index."""
        return list(zip(self.field.tolist(), self.lot.tolist(), self.recipe.tolist(), strict=True))

    def only(self, keep: NDArray[np.int64] | NDArray[np.bool_] | slice) -> Choices:
        """Return the choices at some places."""
        return Choices(
            self.field[keep], self.lot[keep], self.recipe[keep], self.units[keep], self.loss[keep]
        )

    def blocks(self) -> Iterator[tuple[int, Choices]]:
        """All of them, a few fields at a time, with the place of the first of those.

        What is worked out for millions of choices takes little memory so.
        """
        n, a = len(self), 0
        while a < n:
            last = self.field[min(a + BLOCK, n) - 1]
            b = int(np.searchsorted(self.field, last, "right"))
            yield a, self.only(slice(a, b))
            a = b


@dataclass(frozen=True, eq=False)
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
    line: LineParams
    choices: Choices
    variety_of: NDArray[np.int64]
    """By lot."""
    full_bags: NDArray[np.int64]
    """On hand and not yet treated, by lot."""
    part_bag: NDArray[np.float64]
    """Units in the lot's part bag, by lot; 0 for none."""
    can_buy: NDArray[np.int64]
    """Full bags for sale, by lot."""
    before: dict[tuple[int, int], float]
    """Units already treated, by (lot, recipe)."""
    use: NDArray[np.float64]
    """Fl oz of product a unit treated, margin included: lot x recipe x product."""
    supply: NDArray[np.float64]
    """Fl oz on hand and on its way that count, by product."""
    credit: NDArray[np.float64]
    """Money a fl oz left is worth, by product."""
    lump: NDArray[np.float64]
    """Fl oz of the largest container available, at least 1, by product: what the solver counts in.

    Its tolerance is absolute: counted in fl oz, a need a hair over a jug was an error to it.
    """
    on_seed: frozenset[tuple[int, int]]
    """(lot, recipe) pairs that some field may be planted with."""

    @property
    def untreated(self) -> int:
        """Index that stands for no recipe."""
        return len(self.recipes)

    @property
    def recipe_names(self) -> list[str]:
        """Names of recipes by index, with `UNTREATED` at `untreated`."""
        return [*(r.name for r in self.recipes), UNTREATED]

    @property
    def lot_at(self) -> dict[str, int]:
        """Index of every lot, by name."""
        return {lot.name: j for j, lot in enumerate(self.lots)}

    @property
    def recipe_at(self) -> dict[str, int]:
        """Index of every recipe and of `UNTREATED`, by name."""
        return {name: k for k, name in enumerate(self.recipe_names)}

    @property
    def product_at(self) -> dict[str, int]:
        """Index of every product, by name."""
        return {p.name: i for i, p in enumerate(self.products)}

    @cached_property
    def most_need(self) -> NDArray[np.float64]:
        """Fl oz of each product that a sensible plan could ever need, line losses included."""
        return _most_need(self)

    @cached_property
    def most_bags(self) -> dict[tuple[int, int], int]:
        """Full bags of each lot that could ever be treated with each recipe."""
        return _most_bags(self)

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
    """All that may be planted, field by field; what fields have in common is worked out once."""
    every: list[Recipe | None] = [*recipes, None]
    on_seed = np.array([[not seed_obstacles(j, r, season) for r in every] for j in lots], bool)
    on_seed = on_seed.reshape(len(lots), len(every))
    germination = np.array([lot.germination or np.nan for lot in lots])
    lots_for, recipes_for = _SharedLots(lots), _SharedRecipes(season, every)
    like = recipes_for.like(lots)
    parts = [array(kind) for kind in "qqqdd"]  # grow where they are: millions are not held twice
    for i, field in enumerate(fields):
        j, (k, strong, money) = lots_for.of(field), recipes_for.of(field)
        if not len(j) or not len(k):
            continue
        pair = on_seed[np.ix_(j, k)] & strong[like[j]]
        if season.acre_limits:
            pair = pair & [
                [not acre_obstacles(field, lots[a], every[b], season) for b in k] for a in j
            ]
        at_lot, at_recipe = np.nonzero(pair)
        per_acre = _units(field, germination[j], season.farm)
        for part, values in zip(
            parts,
            (
                np.full(len(at_lot), i, dtype=np.int64),
                j[at_lot],
                k[at_recipe],
                per_acre[at_lot],
                money[like[j[at_lot]], at_recipe],
            ),
            strict=True,
        ):
            part.frombytes(values.tobytes())
    return Choices(*(np.asarray(part) for part in parts))


def _units(field: Field, germination: NDArray[np.float64], farm: Farm) -> NDArray[np.float64]:
    """Units an acre by lot; as `planner.agronomy.seeding.units_per_acre`, for many lots."""
    sowing = field.sowing
    if isinstance(sowing, SeedingRate):
        seeds = np.full(len(germination), sowing.seeds)
    else:
        seeds = sowing.plants / sowing.emergence / germination
    units: NDArray[np.float64] = seeds * (1.0 + farm.spare_seed) / farm.seeds_per_unit
    return units


class _SharedLots:
    """Lots that suit a field, looked up by what decides it."""

    def __init__(self, lots: tuple[SeedLot, ...]) -> None:
        self.lots = lots
        self.known: dict[Hashable, NDArray[np.int64]] = {}

    def of(self, field: Field) -> NDArray[np.int64]:
        """Lots by index."""
        key = field.earliest, field.latest, field.traits, field.grower, field.only_varieties
        if key not in self.known:
            suits = [j for j, lot in enumerate(self.lots) if not lot_obstacles(field, lot)]
            self.known[key] = np.array(suits, dtype=np.int64)
        return self.known[key]


class _SharedRecipes:
    """Recipes that suit a field and the money each is expected to lose an acre there.

    Both by the variety: those without tolerance of their own are all alike.
    """

    def __init__(self, season: Season, every: list[Recipe | None]) -> None:
        self.season, self.every = season, every
        self.varieties = ("", *season.tolerance)
        farm = season.farm
        self.price = (farm.soybean_price or 0.0) if farm.weigh_yield_loss else 0.0
        self.known: dict[
            Hashable, tuple[NDArray[np.int64], NDArray[np.bool_], NDArray[np.float64]]
        ] = {}

    def like(self, lots: tuple[SeedLot, ...]) -> NDArray[np.int64]:
        """Row of each lot in what `of` gives."""
        row = {variety: i for i, variety in enumerate(self.varieties)}
        return np.array([row.get(lot.variety, 0) for lot in lots], dtype=np.int64)

    def of(self, field: Field) -> tuple[NDArray[np.int64], NDArray[np.bool_], NDArray[np.float64]]:
        """Recipes by index; whether each is strong enough, and money, by variety and recipe."""
        key = frozenset(field.pressure.items()), field.only_recipes, field.expected_yield
        if key not in self.known:
            every, season = self.every, self.season
            found = [k for k, r in enumerate(every) if not recipe_obstacles(field, r, season)]
            shape = len(self.varieties), len(found)
            strong, money = np.zeros(shape, dtype=bool), np.zeros(shape)
            for i, variety in enumerate(self.varieties):
                for at, k in enumerate(found):
                    strong[i, at] = not protection_obstacles(field, variety, every[k], season)
                    money[i, at] = self._lost(field, every[k], variety)
            keep = strong.any(axis=0)
            recipes = np.array(found, dtype=np.int64)[keep]
            self.known[key] = recipes, strong[:, keep], money[:, keep]
        return self.known[key]

    def _lost(self, field: Field, recipe: Recipe | None, variety: str) -> float:
        if not self.price:
            return 0.0
        return self.price * loss_per_acre(field, recipe, variety, self.season)


def supply_of(season: Season, product: Product) -> float:
    """Fl oz of a product on hand that count, and on its way."""
    coming = sum(
        o.count * season.container_named[o.product, o.container].usable
        for o in season.ordered
        if o.product == product.name
    )
    return usable_stock(product, season) + coming


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
                use[j, k, p] += floz_per_unit(rate, lot, season) * factor
    return use


def make_instance(season: Season, line: LineParams = TUNED.line) -> Instance:
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
            sorted(
                season.discounts,
                key=lambda d: (d.name, d.supplier or "", d.spend, d.percent, str(d.order_by)),
            )
        ),
        varieties=varieties,
        line=line,
        choices=choices,
        variety_of=np.array([variety_at[lot.variety] for lot in lots], dtype=np.int64),
        full_bags=np.array(full, dtype=np.int64),
        part_bag=np.array(
            [r if r > WHOLE * max(1.0, u) else 0.0 for r, u in zip(rest, loose, strict=True)]
        ),
        can_buy=np.array([whole(lot.can_buy / lot.units_per_bag) for lot in lots], dtype=np.int64),
        before=_treated_before(season, lots, recipes),
        use=_use(season, lots, recipes, products),
        supply=np.array([supply_of(season, p) for p in products]),
        credit=np.array([p.carryover * lowest_price_per_floz(season, p.name) for p in products]),
        lump=np.array([_lump(season, p) for p in products]),
        on_seed=_pairs(choices, (len(lots), len(recipes) + 1)),
    )


def _lump(season: Season, product: Product) -> float:
    return max([1.0, *(c.usable for c in season.containers if c.product == product.name)])


def _pairs(choices: Choices, shape: tuple[int, int]) -> frozenset[tuple[int, int]]:
    has = np.zeros(shape, dtype=bool)
    has[choices.lot, choices.recipe] = True
    return frozenset(zip(*(at.tolist() for at in np.nonzero(has)), strict=True))


def spread_rules(it: Instance) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Largest share of all planted acres of some lots, and which lots (rule x lot)."""
    rules: list[tuple[float, list[bool]]] = []
    most = it.season.farm.most_of_one_variety
    if most is not None and most < 1:
        rules += [(most, [bool(v == i) for v in it.variety_of]) for i in range(len(it.varieties))]
    for s in it.season.maturity_spread:
        low, high = s.earliest - TOLERANCE, s.latest + TOLERANCE
        rules.append((s.share, [low <= lot.maturity <= high for lot in it.lots]))
    members = np.array([member for _, member in rules], dtype=bool)
    return np.array([share for share, _ in rules]), members.reshape(len(rules), len(it.lots))


def units_to_treat(it: Instance) -> NDArray[np.float64]:
    """Units of every lot that are not treated yet, with all that can be bought."""
    sizes = np.array([lot.units_per_bag for lot in it.lots])
    units: NDArray[np.float64] = (it.full_bags + it.can_buy) * sizes + it.part_bag
    return units


def _most_need(it: Instance) -> NDArray[np.float64]:
    """See `Instance.most_need`.

    No plan treats more of a lot than it has, nor more under a recipe than all fields that could
    take it would use, rounded up to bags.
    """
    total = np.zeros(len(it.products))
    have = units_to_treat(it)
    by_lot: dict[int, set[int]] = {}
    for lot, k in it.on_seed:
        if k != it.untreated:
            by_lot.setdefault(lot, set()).add(k)
    for lot in range(len(it.lots)):
        rows = sorted(by_lot.get(lot, ()))
        if rows and it.treatable(lot):
            total += have[lot] * it.use[lot, rows].max(axis=0)
    planted = np.zeros(len(it.products))
    acres = np.array([f.acres for f in it.fields])
    for _, c in it.choices.blocks():
        first = starts(c.field)
        most = np.maximum.reduceat(it.use[c.lot, c.recipe] * c.units[:, None], first)
        planted += (most * acres[c.field[first], None]).sum(axis=0)
    for lot, k in it.on_seed:
        if k != it.untreated and it.treatable(lot):
            planted += it.use[lot, k] * it.lots[lot].units_per_bag
    loss = np.array([p.line_loss for p in it.products])
    runs = np.zeros(len(it.products))
    for recipe in it.recipes:
        for name in {r.product for r in recipe.rates}:
            runs[[p.name for p in it.products].index(name)] += 1.0
    return np.asarray(np.minimum(total, planted) + loss * runs, dtype=np.float64)


def _most_bags(it: Instance) -> dict[tuple[int, int], int]:
    acres, width = np.array([f.acres for f in it.fields]), len(it.recipes) + 1
    units = np.zeros(len(it.lots) * width)
    for _, c in it.choices.blocks():
        units += np.bincount(c.lot * width + c.recipe, acres[c.field] * c.units, len(units))
    return {
        (lot, k): min(
            int(it.full_bags[lot] + it.can_buy[lot]),
            ceil(float(units[lot * width + k]) / it.lots[lot].units_per_bag - WHOLE),
        )
        for lot, k in sorted(it.on_seed)
        if k != it.untreated and it.treatable(lot)
    }


def starts(key: NDArray[np.int64]) -> NDArray[np.int64]:
    """Where each run of the same key starts.

    >>> starts(np.array([4, 4, 7, 7, 7, 9])).tolist()
    [0, 2, 5]
    """
    return np.flatnonzero(np.concatenate([np.ones(min(1, len(key)), bool), key[1:] != key[:-1]]))


def places_of(it: Instance, some: Choices) -> NDArray[np.int64]:
    """Places of some choices among all."""
    return places_at(it, some.field, some.lot, some.recipe)


def places_at(
    it: Instance, field: NDArray[np.int64], lot: NDArray[np.int64], recipe: NDArray[np.int64]
) -> NDArray[np.int64]:
    """Places among all choices of those of some fields, each with a lot and a recipe."""

    def code(*index: NDArray[np.int64]) -> NDArray[np.int64]:
        return np.ravel_multi_index(index, (len(it.fields), len(it.lots), len(it.recipes) + 1))

    wanted, found = np.unique(code(field, lot, recipe)), [np.zeros(0, dtype=np.int64)]
    for a, c in it.choices.blocks():
        known = code(c.field, c.lot, c.recipe)
        begin, end = np.searchsorted(wanted, [known[0], known[-1] + 1])
        at = np.searchsorted(known, wanted[begin:end])
        found.append(a + at[known[at] == wanted[begin:end]])
    return np.concatenate(found)

"""The season as immutable records, in working units.

Working units: volume in US fl oz, seed in units, single seeds as seeds, land in acres, mass of seed
in lb, mass of active ingredient in lb (mg where said), money in the farm's currency, shares as
fractions of one, dates as `datetime.date`. Names are spelled as where they are defined, so they
can be compared with ``==``. Every record knows the `row` of the input that it came from.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date  # noqa: TC003 - types of fields are read when bags done are read back
from enum import Enum, IntEnum
from functools import cached_property
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping


CARRIER = "carrier"
"""Kind of what only thins the slurry, such as water: it is not bought and never runs short."""
LIVING = frozenset({"inoculant", "biological"})
"""Kinds of what is alive on the seed."""
POWDER = "fluency powder"
"""Kind of what makes treated seed flow: dry, by the unit, added when the planter is filled."""
PESTICIDES = ("fungicide", "insecticide", "nematicide")
"""Kinds that have a pesticide's label, whatever Actives says of them."""
UNTREATED = "Untreated"
"""Recipe name of seed that is planted without any recipe."""


class Pressure(Enum):
    """How hard a threat presses on a field."""

    NONE = "none"
    LOW = "low"
    MODERATE = "moderate"
    HIGH = "high"


class Rating(IntEnum):
    """How well a product holds a threat; none is below poor."""

    NONE = 0
    P = 1
    F = 2
    G = 3
    VG = 4
    E = 5


class Basis(Enum):
    """What a recipe's rate is counted on."""

    FLOZ_PER_UNIT = "fl oz/unit"
    FLOZ_PER_CWT = "fl oz/cwt"
    MG_PER_SEED = "mg/seed"
    G_PER_100KG = "g/100 kg"


class Quantity(Enum):
    """A figure of the season that may turn out otherwise."""

    SEEDS_PER_LB = "Seeds per lb"
    GERMINATION = "Germination"
    ACRES = "Acres"
    UNITS_ON_HAND = "Units on hand"
    PRODUCT_USED = "Product used"


@dataclass(frozen=True, slots=True)
class Row:
    """Where a record is in the input."""

    sheet: str = ""
    number: int = 0
    """Row as the spreadsheet counts it, from 1; 0 if it was not read from a sheet."""


NOWHERE = Row()


@dataclass(frozen=True, slots=True)
class Farm:
    """The settings of the season."""

    plan_date: date
    crop_year: int
    first_treating_day: date
    name: str = ""
    currency: str = "$"
    seeds_per_unit: float = 140_000.0
    spare_seed: float = 0.0
    """Share on top of every field's need."""
    product_margin: float = 0.0
    """Share on top of what the seed takes."""
    max_varieties: int | None = None
    """Most (variety, recipe) shares of a field; None for no limit."""
    smallest_split: float = 0.0
    """Acres of a field that a variety has under a recipe, of one lot or several, if any."""
    smallest_lot_share: float = 0.0
    """Acres of a field that a lot has under a recipe, if any."""
    most_of_one_variety: float | None = None
    """Share of all planted acres; None for no limit."""
    liquid_limit: float | None = None
    """Fl oz per cwt of seed, all products of a recipe together."""
    liquid_warning: float | None = None
    allow_untreated: bool = False
    weigh_yield_loss: bool = False
    soybean_price: float | None = None
    """Per bushel."""
    treating_done_by: date | None = None
    bags_per_day: float | None = None
    floor_space: float | None = None
    """Bags."""
    cure_days: float = 2.0
    pounds_per_day: float | None = None
    """Seed that can be treated in a day, lb."""
    hours_per_day: float | None = None
    """Hours that the treater runs on a day; a limit together with `seed_flow`."""
    treat_within: float = 21.0
    """Days before planting; treated earlier only where the shop cannot help it."""
    spare_days: float = 2.0
    """Treating days kept free before the last day of every bag."""
    test_days: float = 21.0
    """Days from sending a sample of seed until its germination is known."""
    last_planting_day: date | None = None
    changeover_minutes: float = 20.0
    calibration_minutes: float = 10.0
    seed_flow: float | None = None
    """Seed through the treater, lb/min."""
    worth_moving: float = 1.0
    """Money an acre that a change of a field's seed or recipe must save, when planning again."""
    most_to_spend: float | None = None
    """Money for containers, freight and seed, less discounts; None for no limit."""
    line_stays_primed: bool = False
    """Whether a product that the next recipe holds too stays in the line."""
    pumps: int | None = None
    """Products that the treater puts on at a time; None for one for every product."""
    tank: float | None = None
    """Slurry that the mix tank holds, fl oz."""
    tags: str = "per lot"
    tag_stock: str = "4 x 6 in"
    credit_white_mold: bool = False
    """Whether a seed treatment is credited with losses to white mold."""
    metric: bool = False
    """Show the plan in metric units."""
    short_acre_cost: float | None = None
    """Money that an acre short costs; None where acres are compared before money."""
    share_by: str = "use"
    """How several growers share the cost: by use, by savings or by least regret."""


@dataclass(frozen=True, slots=True)
class SeedingRate:
    """A field's sowing given by seeds dropped per acre."""

    seeds: float


@dataclass(frozen=True, slots=True)
class TargetStand:
    """A field's sowing given by plants wanted per acre and the share of good seed that emerges."""

    plants: float
    emergence: float


@dataclass(frozen=True, slots=True)
class Field:
    """A field to plant."""

    name: str
    acres: float
    sowing: SeedingRate | TargetStand
    earliest: float | None = None
    latest: float | None = None
    traits: tuple[str, ...] = ()
    """Any of these will do; empty means any trait."""
    planting_date: date | None = None
    priority: int = 1
    grower: str | None = None
    only_varieties: tuple[str, ...] = ()
    only_recipes: tuple[str, ...] = ()
    expected_yield: float | None = None
    """bu/acre; where it is known, every threat takes from what the others leave."""
    row_width: float | None = None
    """Inches between rows."""
    white_mold_history: str | None = None
    """None, some or severe, in small letters; nothing where it is not known."""
    pressure: Mapping[str, Pressure] = field(default_factory=dict)
    """By threat; a threat that is not named presses not at all."""
    row: Row = NOWHERE

    def pressure_of(self, threat: str) -> Pressure:
        """How much a threat presses on it."""
        return self.pressure.get(threat, Pressure.NONE)


@dataclass(frozen=True, slots=True)
class SeedLot:
    """A lot of seed: on hand, still available, or both."""

    name: str
    variety: str
    maturity: float
    on_hand: float
    """Units, what was treated so far included."""
    seeds_per_lb: float
    trait: tuple[str, ...] = ()
    units_per_bag: float = 1.0
    germination: float | None = None
    return_value: float = 0.0
    can_buy: float = 0.0
    """Units."""
    buy_price: float = 0.0
    treated_with: str | None = None
    """Recipe name where the whole lot is already treated."""
    treated_on: date | None = None
    """Day on which it was; None if not known."""
    grower: str | None = None
    moisture: float | None = None
    test_date: date | None = None
    leaves_loose: bool = False
    """Whether its treated seed leaves loose in a wagon, not in packages."""
    late_price: float | None = None
    """Per unit, shortly before planting; None if none can be bought then."""
    seller: str | None = None
    """Who sells what can be bought."""
    order_by: date | None = None
    """Last day to order it; None where the seller's own holds."""
    row: Row = NOWHERE

    @property
    def worth_untreated(self) -> float:
        """Money that a unit brings back at season's end; nothing where it is treated already."""
        return self.return_value if self.treated_with is None else 0.0


@dataclass(frozen=True, slots=True)
class Active:
    """An active ingredient of a product."""

    ingredient: str
    concentration: float
    """lb per gallon."""
    row: Row = NOWHERE


@dataclass(frozen=True, slots=True)
class Product:
    """A product that goes on seed."""

    name: str
    kind: str = "other"
    on_hand: float = 0.0
    expires: date | None = None
    """Of the stock on hand."""
    line_loss: float = 0.0
    carryover: float = 0.0
    on_seed_life: float | None = None
    """Days from treating to planting."""
    density: float | None = None
    """lb/gal."""
    slurry_life: float | None = None
    """Hours that a slurry with it may stand."""
    mixing_order: int | None = None
    """Place in a premix; None for what is usual for its kind."""
    not_with: tuple[str, ...] = ()
    """Products that it must not meet in a tank or line."""
    registration: str = ""
    signal_word: str = ""
    equipment: str = ""
    re_entry: str = ""
    first_aid: str = ""
    tag_statement: str = ""
    protection: Mapping[str, Rating] = field(default_factory=dict)
    """By threat."""
    actives: tuple[Active, ...] = ()
    row: Row = NOWHERE


@dataclass(frozen=True, slots=True)
class PriceBreak:
    """Price of every container of an order that reaches a count."""

    from_count: int
    price: float
    row: Row = NOWHERE


@dataclass(frozen=True, slots=True)
class Container:
    """A container that a product is sold in. (product, name) is unique."""

    product: str
    name: str
    size: float
    breaks: tuple[PriceBreak, ...]
    """By rising count, at least one."""
    heel: float = 0.0
    most: int | None = None
    supplier: str | None = None
    tare: float | None = None
    """Weight of the empty container, lb."""
    late_price: float | None = None
    """Of one, after the supplier's last day to order; None if none can be bought then."""
    returned_for: float = 0.0
    """Share of the price paid that an unopened one brings back."""
    row: Row = NOWHERE

    @property
    def usable(self) -> float:
        """Fl oz that can be drawn out of it."""
        return self.size - self.heel


@dataclass(frozen=True, slots=True)
class Rate:
    """How much of a product a recipe puts on seed."""

    product: str
    amount: float
    """In the unit of `basis`."""
    basis: Basis
    active: str | None = None
    """Active ingredient that a rate by active is counted in."""
    written: str = ""
    """As the input says it."""
    row: Row = NOWHERE


@dataclass(frozen=True, slots=True)
class Recipe:
    """What goes on a bag together."""

    name: str
    rates: tuple[Rate, ...]
    """Of what is bought."""
    approved_by: str | None = None
    approved_on: date | None = None
    carriers: tuple[Rate, ...] = ()
    """Of what only thins the slurry, such as water: liquid on seed, but nothing to buy."""
    row: Row = NOWHERE


@dataclass(frozen=True, slots=True)
class Threat:
    """A disease or pest, what it needs and what it costs where it is not held."""

    name: str
    need: Mapping[Pressure, Rating] = field(default_factory=dict)
    """Lowest rating that will do, by pressure; nothing needed where missing."""
    loss: Mapping[Pressure, float] = field(default_factory=dict)
    """bu/acre without protection, by pressure; 0 where missing."""
    variety_counts: bool = False
    """Whether a need is reached by the variety's own tolerance too."""
    row: Row = NOWHERE


@dataclass(frozen=True, slots=True)
class ActiveLimit:
    """The most of an active ingredient that may go on land or on a seed."""

    ingredient: str
    per_acre: float | None = None
    """lb/acre."""
    per_seed: float | None = None
    """mg/seed."""
    row: Row = NOWHERE


@dataclass(frozen=True, slots=True)
class Supplier:
    """Someone who sells containers or seed."""

    name: str
    freight: float = 0.0
    free_from: float | None = None
    """List spend from which freight is free; None for never."""
    order_by: date | None = None
    pay_by: date | None = None
    """Last day to pay; None means the day to order by."""
    row: Row = NOWHERE


@dataclass(frozen=True, slots=True)
class DiscountLevel:
    """One level of a discount. Levels with the same name and supplier exclude each other."""

    name: str
    spend: float
    """List spend from which the level counts."""
    percent: float
    """Fraction of one."""
    supplier: str | None = None
    products: tuple[str, ...] = ()
    """Empty means all."""
    order_by: date | None = None
    """Last day for orders that count."""
    row: Row = NOWHERE


@dataclass(frozen=True, slots=True)
class MaturityShare:
    """The most of all planted acres that a span of maturities may take, both bounds included."""

    earliest: float
    latest: float
    share: float
    row: Row = NOWHERE


@dataclass(frozen=True, slots=True)
class TreatedSeed:
    """Units of a lot that were treated before this plan."""

    lot: str
    recipe: str
    units: float
    row: Row = NOWHERE
    on: date | None = None
    """Day on which they were; None if not known."""


@dataclass(frozen=True, slots=True)
class Done:
    """Bags reported as treated."""

    lot: str
    recipe: str
    bags: int
    on: date | None = None
    assumed: bool = False
    """Whether nobody said the day, so that it is the one planned."""


@dataclass(frozen=True, slots=True)
class OnItsWay:
    """Containers ordered and paid before this plan, not yet in the stock on hand."""

    product: str
    container: str
    count: int
    row: Row = NOWHERE


@dataclass(frozen=True, slots=True)
class Unknown:
    """By how much a figure may turn out otherwise: a triangular distribution of changes.

    Changes are shares of the figure planned with; of a germination they are points, as fractions
    of one.
    """

    what: Quantity
    low: float
    high: float
    likely: float = 0.0
    of: tuple[str, ...] = ()
    """Lots, fields or products; empty for all of them."""
    together: bool = False
    """Whether all of them turn out alike."""
    row: Row = NOWHERE


@dataclass(frozen=True, slots=True)
class Grower:
    """One of several growers who order together."""

    name: str
    address: str = ""
    deposit: float = 0.0
    """Paid in advance to the farm, which orders for all."""
    row: Row = NOWHERE


@dataclass(frozen=True, slots=True)
class WentBefore:
    """What the work in the shop goes on from: log and calendar of the plan before."""

    done: tuple[Done, ...] = ()
    """Everything that was reported, to the plans before that one too."""
    apart: str = ""
    """What tells the events of a farm without a name from those of others."""
    revision: int = 0
    """How often its calendar was brought up to date."""


@dataclass(frozen=True, slots=True)
class Brought:
    """What was reported done of an earlier plan and brought into a season."""

    typed: Season
    """The season as its sheets say it."""
    treated: tuple[TreatedSeed, ...]
    """Seed added to what was treated."""
    taken: Mapping[str, float]
    """Fl oz taken off the stock and the containers on their way, by product."""
    went_before: WentBefore = WentBefore()
    uncounted: tuple[TreatedSeed, ...] = ()
    """Reported too, but the season has no such lot or recipe, or too few units of it on hand."""


TRIED = "your changes"
"""Name of a scenario that is tried and is on no sheet."""


@dataclass(frozen=True, slots=True)
class WhatIf:
    """One change that a named scenario makes: of one cell, of a column's, or of whole rows."""

    scenario: str
    sheet: str
    item: str
    """The row, by the text of its first column, or all."""
    column: str
    """Empty where whole rows are dropped or added."""
    value: str
    was: str = ""
    """What stands there in the season itself, as it is written; empty for a blank cell."""
    becomes: str = ""
    """What stands there in the scenario, where the value is a change by percent."""
    row: Row = NOWHERE

    @property
    def shown(self) -> str:
        """What stands there in the scenario, and by how much it was changed.

        >>> WhatIf("", "", "", "", "-10%", "$1,450", "$1305").shown
        '$1305 (-10%)'
        """
        return f"{self.becomes} ({self.value})" if self.becomes else self.value or "blank"


@dataclass(frozen=True)
class Season:
    """Everything known before the decision. Names in records refer to records that exist."""

    farm: Farm
    fields: tuple[Field, ...]
    lots: tuple[SeedLot, ...]
    products: tuple[Product, ...]
    containers: tuple[Container, ...]
    recipes: tuple[Recipe, ...]
    carriers: tuple[Product, ...] = ()
    """Products that are not bought; the others are `products`."""
    threats: tuple[Threat, ...] = ()
    control: Mapping[Rating, float] = field(default_factory=dict)
    """Share of a loss that a rating prevents; 0 where missing."""
    tolerance: Mapping[str, Mapping[str, Rating]] = field(default_factory=dict)
    """A variety's own rating, by variety and threat."""
    active_limits: tuple[ActiveLimit, ...] = ()
    suppliers: tuple[Supplier, ...] = ()
    discounts: tuple[DiscountLevel, ...] = ()
    maturity_spread: tuple[MaturityShare, ...] = ()
    treated: tuple[TreatedSeed, ...] = ()
    ordered: tuple[OnItsWay, ...] = ()
    days_off: tuple[date, ...] = ()
    what_if: tuple[WhatIf, ...] = ()
    unknowns: tuple[Unknown, ...] = ()
    growers: tuple[Grower, ...] = ()
    notes: tuple[str, ...] = ()
    """What the reader ignored or took in a way worth saying."""
    asked: tuple[str, ...] = ()
    """What the reader asks about: read, but perhaps not as it was meant."""
    source: str = ""
    """File or folder name, no path."""
    fingerprint: str = ""
    """Short digest of the input's cells."""
    brought: Brought | None = None
    """What an earlier plan's campaign added, when planning again."""

    @cached_property
    def field_named(self) -> Mapping[str, Field]:
        """Fields by name."""
        return {f.name: f for f in self.fields}

    @cached_property
    def lot_named(self) -> Mapping[str, SeedLot]:
        """Seed lots by name."""
        return {lot.name: lot for lot in self.lots}

    @cached_property
    def product_named(self) -> Mapping[str, Product]:
        """Products by name, without carriers."""
        return {p.name: p for p in self.products}

    @cached_property
    def acre_limits(self) -> tuple[ActiveLimit, ...]:
        """Limits of active ingredients that hold on an acre."""
        return tuple(a for a in self.active_limits if a.per_acre is not None)

    @cached_property
    def container_named(self) -> Mapping[tuple[str, str], Container]:
        """Containers by (product, name)."""
        return {(c.product, c.name): c for c in self.containers}

    @cached_property
    def recipe_named(self) -> Mapping[str, Recipe]:
        """Recipes by name."""
        return {r.name: r for r in self.recipes}

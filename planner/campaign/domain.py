"""The campaign as immutable records: what is done in the shop, on which day, from which container.

Units as in `planner.season.domain`: fl oz, units of seed, lb, acres, days, minutes. Everything that
is needed to bring a campaign up to date is in it, so it can be read back from ``plan.json`` alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date  # noqa: TC003 - types of fields are read when a campaign is read back

from planner.season.domain import Done  # noqa: TC001


@dataclass(frozen=True, slots=True)
class Shop:
    """The settings that the campaign keeps to."""

    first_day: date
    cure_days: int
    """Whole days before a treated bag may leave."""
    done_by: date | None = None
    bags_per_day: int | None = None
    floor_space: int | None = None
    """Treated bags that can stand in the shop at a time, curing or waiting."""
    changeover_minutes: float = 20.0
    """For every product that enters or leaves the line."""
    calibration_minutes: float = 10.0
    """For every new lot."""
    seed_flow: float | None = None
    """lb/min."""
    margin: float = 0.0
    """Share on top of what the seed takes."""
    days_off: tuple[date, ...] = ()
    farm: str = ""
    crop_year: int = 0
    plan_date: date | None = None
    per_package: bool = False
    """Whether a tag is made for every package, not for every lot and recipe."""
    tag_stock: str = "4 x 6 in"
    metric: bool = False
    pounds_per_day: float | None = None
    """Seed that can be treated in a day, lb."""
    minutes_per_day: float | None = None
    """Minutes that the treater runs on a day, changes included; needs `seed_flow`."""
    treat_within: int = 21
    """Whole days before planting; treated earlier only where the shop cannot help it."""
    spare_days: int = 0
    """Treating days kept free before the last day of every bag."""
    test_days: int = 21
    """Days from sending a sample of seed until its germination is known."""
    last_planting: date | None = None
    stays_primed: bool = False
    """Whether a product that the next recipe holds too stays in the line."""
    currency: str = "$"
    apart: str = ""
    """What tells the events of a farm without a name from those of others."""


@dataclass(frozen=True, slots=True)
class Portion:
    """Bags of a batch, one after the other, that go to the same fields."""

    first_bag: int
    """Numbered from 1 within the batch."""
    bags: int
    fields: tuple[str, ...] = ()
    planting: date | None = None
    """The earliest planting date among the fields."""
    earliest: date | None = None
    """No treating before: planting comes too late for what lives on the seed otherwise."""
    latest: date | None = None
    """Treated by then, the bags are cured on the planting date."""
    opens: date | None = None
    """Treated from then on, the bags wait no longer for planting than the farm wants."""
    emptied: date | None = None
    """The latest planting date among the fields; the bags stand in the shop until then."""

    @property
    def has_no_day(self) -> bool:
        """Whether no day suits all of its fields: cured for the first, alive for the last."""
        return bool(self.earliest and self.latest and self.earliest > self.latest)


@dataclass(frozen=True, slots=True)
class Draw:
    """What a recipe takes of a product on a unit of a batch, without margin."""

    product: str
    floz_per_unit: float


@dataclass(frozen=True, slots=True)
class Batch:
    """All bags of one lot under one recipe."""

    lot: str
    recipe: str
    variety: str
    units_per_bag: float
    full_bags: int
    part_units: float
    """Units of the part bag; 0 for none. It is the last bag."""
    unit_weight: float
    """lb."""
    seeds_per_lb: float
    draws: tuple[Draw, ...]
    portions: tuple[Portion, ...]
    living: bool = False
    """Whether something in the recipe lives on the seed for that many days only."""
    life: int | None = None
    """Shortest on-seed life of the recipe's products, whole days."""
    together: bool = False
    """Bags of one unit beside larger ones: they run as one batch and count as one on a day."""

    @property
    def bag_weight(self) -> float:
        """Lb of seed in a full bag."""
        return self.units_per_bag * self.unit_weight

    @property
    def bags(self) -> int:
        """Bags, the part bag included."""
        return self.full_bags + (1 if self.part_units else 0)

    @property
    def units(self) -> float:
        """Units in all bags."""
        return self.units_of(1, self.bags)

    def units_of(self, first: int, last: int) -> float:
        """Units in the bags from first to last, numbered from 1."""
        full = min(last, self.full_bags) - first + 1
        part = self.part_units if last > self.full_bags else 0.0
        return max(full, 0) * self.units_per_bag + part


@dataclass(frozen=True, slots=True)
class Source:
    """A container, or the opened stock on hand, that a product is drawn from."""

    name: str
    usable: float
    heel: float = 0.0
    tare: float | None = None
    """lb of the empty container."""
    expires: date | None = None


@dataclass(frozen=True, slots=True)
class Supply:
    """A product and its containers in the order in which they go on the line."""

    product: str
    kind: str
    line_loss: float
    value: float
    """Money per fl oz, by the cheapest container."""
    density: float | None
    sources: tuple[Source, ...]
    planned_loss: float = 0.0
    """fl oz that the plan holds for the line."""
    slurry_life: float | None = None
    """Hours that it may sit in a tank or in the line."""
    in_line: float = 0.0
    """fl oz that the line may still hold from before the plan, which counts them once more."""


@dataclass(frozen=True, slots=True)
class Share:
    """Seed of a batch, treated before, or untreated, that goes to a field."""

    field: str
    lot: str
    recipe: str
    acres: float
    units: float
    planting: date | None = None
    test_until: date | None = None
    """Last day on which the germination test is fresh enough."""
    treated_before: bool = False
    """Some of it was treated before this plan, on a day that is not known here."""
    treated_on: tuple[date, ...] = ()
    """Days before this plan on which some of it was treated."""
    life: int | None = None
    """Days that what is on the seed treated before lives; None where nothing limits it."""


@dataclass(frozen=True, slots=True)
class RunOrder:
    """How the order of the batches was found and what its changes cost."""

    minutes: float
    """Changes of product and calibrations of all batches still to treat."""
    floor_minutes: float
    """Proven: no order with as few bags late, and living recipes as late, takes less."""
    exact: bool
    """Whether no other order is better by the rules of `planner.campaign.run_order`."""
    loss: float
    """fl oz left in the line at the changes, products that stay on the line not counted."""
    planned_loss: float
    """The same with one line loss for each product of each recipe."""
    money: float = 0.0
    """What is lost in the line at the changes, at the cheapest container's price."""
    least_minutes: float = 0.0
    """Minutes of the order with the fewest changes, whatever is planted first."""
    least_money: float = 0.0
    """What that order loses in the line."""
    kept: bool | None = None
    """Whether it is the order that the plan decided on; None where it decided on none."""


@dataclass(frozen=True, slots=True)
class Run:
    """Bags of one batch treated one after the other on one day."""

    day: date
    lot: str
    recipe: str
    first_bag: int
    last_bag: int
    units: float
    late: bool = False
    """Past the treating-done-by day, or not cured on the planting date."""
    done: bool = False
    early: bool = False
    """Longer before planting than the farm wants."""

    @property
    def bags(self) -> int:
        """Bags of the run."""
        return self.last_bag - self.first_bag + 1

    def treats(self, portion: Portion) -> bool:
        """Whether any bag of a portion of its batch is among its bags."""
        last = portion.first_bag + portion.bags - 1
        return self.first_bag <= last and portion.first_bag <= self.last_bag


@dataclass(frozen=True, slots=True)
class Day:
    """A treating day."""

    day: date
    bags: int
    changes: tuple[str, ...]
    """Recipes that start on this day."""
    minutes: float
    """Changes of product and calibrations."""
    on_floor: int
    """Treated bags in the shop at the end of the day."""
    units: float = 0.0
    """Seed treated on the day."""
    weight: float = 0.0
    """The same, lb."""
    running: float | None = None
    """Minutes that the seed takes, without changes; None where the seed flow is not known."""
    free: float = 0.0
    """Units still untreated that evening, free to go elsewhere or back."""
    spare: int | None = None
    """Treating days by which this day and all after it may slip with nothing late."""


@dataclass(frozen=True, slots=True)
class Calendar:
    """Which bags on which day, and what would do where the days don't suffice."""

    runs: tuple[Run, ...]
    days: tuple[Day, ...]
    late: int
    """Bags too many for the days there are."""
    late_floor: int
    """Proven: whatever the order, at least that many bags are too many."""
    remedies: tuple[str, ...] = ()
    """Any one of these would bring all bags in time."""
    early: int = 0
    """Bags treated longer before planting than the farm wants."""


@dataclass(frozen=True, slots=True)
class ContainerUse:
    """When a container is on the line."""

    product: str
    source: str
    number: int
    """Place among the product's sources, from 1."""
    usable: float
    drawn: float
    on_line: str = ""
    """Batch and bag at which it goes on the line; empty if it stays closed."""
    on_day: date | None = None
    dry: str = ""
    """Batch and bag at which it runs dry, at the earliest; empty if something is left."""
    dry_day: date | None = None
    note: str = ""

    @property
    def left(self) -> float:
        """Usable fl oz left in it at the end."""
        return self.usable - self.drawn


@dataclass(frozen=True, slots=True)
class Level:
    """What should be left of a product at a point of the campaign."""

    product: str
    day: date
    after: str
    """The batch that was just finished (or interrupted), or 'day' for the end of a day."""
    left: float
    """Usable fl oz in all containers, the margin used up."""
    left_at_most: float
    """The same with nothing of the margin used."""
    source: str
    """The container on the line."""
    in_source: float
    """Usable fl oz in that container, the margin used up."""
    net_weight: float | None
    """lb of liquid in that container, heel included; None where the density is not known."""
    gross_weight: float | None
    """The same with the container's tare; None where that is not known."""


@dataclass(frozen=True, slots=True)
class Flush:
    """Product that the line takes beyond what the plan holds for it."""

    product: str
    times: int
    """Changes that take it beyond those planned."""
    more: float
    """fl oz beyond the plan."""
    there: float
    """fl oz that the plan leaves over."""
    money: float
    """What it costs, at the cheapest container's price."""

    @property
    def missing(self) -> float:
        """Fl oz that what is there does not cover."""
        return max(0.0, self.more - self.there)


@dataclass(frozen=True, slots=True)
class ToBuy:
    """What would cover all of a product that is missing for the line, beyond the plan."""

    product: str
    words: str
    """Containers and money; empty where what is sold does not cover it."""


@dataclass(frozen=True, slots=True)
class DrawDown:
    """How the containers are emptied."""

    containers: tuple[ContainerUse, ...]
    levels: tuple[Level, ...]
    flushes: tuple[Flush, ...] = ()
    """Products that the line takes more of than the plan holds for it."""


@dataclass(frozen=True, slots=True)
class Catch:
    """What a timed catch of product should hold."""

    seconds: int
    floz: float
    ml: float
    low_ml: float
    high_ml: float


@dataclass(frozen=True, slots=True)
class Dose:
    """One product of a calibration sheet."""

    product: str
    floz_per_unit: float
    floz_per_cwt: float
    ml_per_bag: float
    floz_per_min: float | None = None
    ml_per_min: float | None = None
    catches: tuple[Catch, ...] = ()


@dataclass(frozen=True, slots=True)
class SizeRow:
    """What changes if the seed is smaller or larger than its tag says."""

    change: float
    """Share by which seeds per lb differs from the tag."""
    seeds_per_lb: float
    unit_weight: float
    bag_weight: float
    doses: tuple[Dose, ...]


@dataclass(frozen=True, slots=True)
class Calibration:
    """The calibration sheet of a batch."""

    lot: str
    recipe: str
    seeds_per_lb: float
    grams_per_1000: float
    unit_weight: float
    bag_weight: float
    seed_flow: float | None
    doses: tuple[Dose, ...]
    """By pump."""
    sizes: tuple[SizeRow, ...]
    premixed: tuple[tuple[str, ...], ...] = ()
    """Premixes among them: what each is called, then what is in it."""


@dataclass(frozen=True, slots=True)
class MixStep:
    """One pour of a premix."""

    product: str
    kind: str
    part: str
    """Half or rest, where it is poured in two; empty for all of it."""
    share: float
    """Of the whole slurry."""


@dataclass(frozen=True, slots=True)
class Mix:
    """Products that share a pump, mixed before."""

    name: str
    total: float
    """For the whole batch, fl oz, without margin."""
    per_unit: float
    per_cwt: float
    fill: float
    """Of a full tank, fl oz."""
    full_tanks: int
    last: float
    """In the last tank, fl oz; 0 where full ones suffice."""
    units_a_tank: float
    life: float | None
    """Hours that it may stand; None where no product says."""
    minutes: float | None
    """That a full tank runs at the farm's seed flow; None where that is not known."""
    kept_small: bool
    """Whether the tank is not filled because it would stand too long."""
    steps: tuple[MixStep, ...]
    """In the order of mixing."""
    not_with: tuple[str, ...] = ()
    """Pairs in it that must not meet."""


@dataclass(frozen=True, slots=True)
class Premix:
    """What is mixed before a batch, as the treater has fewer pumps than its recipe products."""

    lot: str
    recipe: str
    units: float
    mixes: tuple[Mix, ...]
    alone: tuple[str, ...]
    """Products that have a pump of their own."""


@dataclass(frozen=True, slots=True)
class CardLine:
    """One product of a recipe on one lot, in all three forms of its rate."""

    product: str
    kind: str
    written: str
    """The rate as the input says it."""
    lot: str
    floz_per_unit: float
    floz_per_cwt: float
    actives: tuple[str, ...]
    mg_per_seed: tuple[float, ...]
    """By active ingredient, as `actives`."""


@dataclass(frozen=True, slots=True)
class CardLot:
    """Liquid that a recipe puts on one lot."""

    lot: str
    variety: str
    bags: int
    units: float
    liquid_per_unit: float
    liquid_per_cwt: float
    polymer_share: float


@dataclass(frozen=True, slots=True)
class CardActive:
    """An active ingredient on an acre of one field against its ceiling."""

    field: str
    lot: str
    ingredient: str
    lb_per_acre: float
    most: float | None
    mg_per_seed: float
    most_mg: float | None


@dataclass(frozen=True, slots=True)
class Card:
    """A recipe on one page, for a licensed person to sign."""

    recipe: str
    needed_by: date | None
    """Day before which it is to be signed: an order for it or its next bag; None if all is done."""
    approved_by: str
    approved_on: date | None
    lines: tuple[CardLine, ...]
    lots: tuple[CardLot, ...]
    fields: tuple[str, ...]
    actives: tuple[CardActive, ...]
    liquid_warning: float | None
    liquid_limit: float | None
    order_by: date | None = None
    """First last day to order among the suppliers of what is bought for it."""
    bought: str = ""
    """What is ordered then."""
    treated_from: date | None = None
    """First day on which bags of it were treated already."""


@dataclass(frozen=True, slots=True)
class LotTest:
    """How long the germination test of a lot is fresh enough."""

    lot: str
    variety: str
    good_until: date


@dataclass(frozen=True, slots=True)
class Retest:
    """A lot whose germination must be tested again before its seed is treated or planted."""

    lot: str
    variety: str
    good_until: date
    """Last day on which its test is fresh enough."""
    planting: date
    """First day after that on which it is to be planted."""
    needed_by: date
    """First day on which it is treated, or planted where it is not."""
    send_by: date
    """Last day for the sample to go out."""


@dataclass(frozen=True, slots=True)
class PlantBy:
    """When the seed of a field may be planted."""

    field: str
    lot: str
    recipe: str
    planting: date | None
    first: date | None
    """All of it is cured."""
    last: date | None
    """The last day that everything below allows."""
    inoculant_until: date | None
    test_until: date | None
    note: str = ""


@dataclass(frozen=True, slots=True)
class LogLine:
    """A line of the treatment log: one product of one run, blanks for what must be measured."""

    day: date
    lot: str
    variety: str
    recipe: str
    bags: str
    units: float
    weight: float
    seeds_per_lb: float
    product: str
    rate: float
    """Asked, fl oz/unit."""
    amount: float
    """That the seed should take, fl oz."""
    fields: tuple[str, ...]
    plant_by: date | None
    """Until then what lives on the seed is alive; `PlantBy.last` knows the other limits."""


@dataclass(frozen=True, slots=True)
class Tag:
    """Text for the tag of treated seed."""

    lot: str
    recipe: str
    variety: str
    substances: tuple[str, ...]
    """Common names of the active ingredients."""
    others: tuple[str, ...]
    """Products that are no pesticides."""
    inoculant: bool
    effective_until: str = ""
    """Month, or day, up to which the inoculant is claimed to work, in words."""
    text: tuple[str, ...] = ()
    """What the law and the labels want on it, a line each."""
    signal_word: str = ""
    """The strongest of its products; empty where one of them has none given."""
    statements: tuple[str, ...] = ()
    """Of the products' labels, for the tag of treated seed."""
    wanted: tuple[str, ...] = ()
    """Pesticides of which no statement is given."""
    unnamed: tuple[str, ...] = ()
    """Pesticides of which no active ingredient is given: its common name is a line to write on."""
    germination: float | None = None
    tested: date | None = None
    loose: bool = False
    """Whether the seed leaves loose: an invoice then goes with it in place of a tag."""


@dataclass(frozen=True, slots=True)
class Invoice:
    """Treated seed that leaves loose to one grower: what the paper with it says of it."""

    lot: str
    recipe: str
    grower: str
    """Empty where the field names none."""
    fields: tuple[str, ...]
    units: float
    weight: float
    """lb."""


@dataclass(frozen=True, slots=True)
class SharedBag:
    """Units of one package that go to one of the fields that share it."""

    lot: str
    recipe: str
    bag: int
    """Numbered from 1 within the batch."""
    field: str
    """Empty for what no field takes."""
    units: float


@dataclass(frozen=True, slots=True)
class CleanOut:
    """A change of recipe at which the treater is cleaned out."""

    day: date
    """Of the first run of what follows."""
    before: str
    after: str
    """Recipes."""
    lot: str
    """First one under the recipe that follows."""
    pairs: tuple[str, ...]
    """Products that must not meet."""


@dataclass(frozen=True, slots=True)
class ProductFacts:
    """What the label of a product says, as the season gives it; empty where it does not."""

    product: str
    registration: str = ""
    signal_word: str = ""
    equipment: str = ""
    re_entry: str = ""
    first_aid: str = ""
    not_with: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Leftover:
    """Treated seed or product that should be left at the end."""

    what: str
    detail: str
    amount: float
    unit: str
    advice: str


@dataclass(frozen=True, slots=True)
class Event:
    """A day to remember."""

    day: date
    title: str
    text: str = ""
    key: str = ""
    """What it is about, the same when its day or title changes."""
    remind: tuple[int, ...] = (1,)
    """Days before it on which to be reminded."""


@dataclass(frozen=True, slots=True)
class Campaign:
    """All of the work that turns the plan into treated seed."""

    shop: Shop
    supplies: tuple[Supply, ...]
    batches: tuple[Batch, ...]
    """In run order; what is already done keeps its place in front."""
    shares: tuple[Share, ...]
    order: RunOrder
    calendar: Calendar
    drawdown: DrawDown
    calibration: tuple[Calibration, ...]
    cards: tuple[Card, ...]
    clock: tuple[PlantBy, ...]
    log: tuple[LogLine, ...]
    tags: tuple[Tag, ...]
    leftovers: tuple[Leftover, ...]
    events: tuple[Event, ...]
    deadlines: tuple[Event, ...] = ()
    """Order-by days of the suppliers ordered from."""
    done: tuple[Done, ...] = ()
    told: tuple[Done, ...] = ()
    """Reported to the plans before this one: none of these batches holds them."""
    begins: date | None = None
    """First day left for treating; None as long as nothing is reported."""
    revision: int = 0
    """How often it was brought up to date, as a calendar program counts."""
    premixes: tuple[Premix, ...] = ()
    """Of the batches that need one."""
    facts: tuple[ProductFacts, ...] = ()
    """Of the products of the supplies, in their order."""
    clean_outs: tuple[CleanOut, ...] = ()
    in_planter: tuple[str, ...] = ()
    """Powders of the plan: they never go through the treater."""
    invoices: tuple[Invoice, ...] = ()
    shared: tuple[SharedBag, ...] = ()
    """Packages that several fields share, bag by bag."""
    notes: tuple[str, ...] = ()
    retests: tuple[Retest, ...] = ()
    planned_order: tuple[str, ...] = ()
    """Recipes in the order that the plan decided on; empty where it decided on none."""
    tests: tuple[LotTest, ...] = ()
    to_buy: tuple[ToBuy, ...] = ()
    """By product that is missing; as long as nothing is treated, and all may still be ordered."""

    @property
    def today(self) -> date | None:
        """Day from which on things are still to come, as far as that is known."""
        return self.begins or self.shop.plan_date

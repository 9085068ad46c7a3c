"""Every sheet, column and setting of a season's input: one table that drives all else.

The reader, the blank workbook and the documentation are made from it. A column says what kind of
thing stands in it, in which unit a bare number counts, what a blank cell means, which values are
allowed and, in one line, what to fill in. Values of `default`, `low` and `high` are in working
units (see `planner.season.domain`); percents are fractions of one.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from functools import lru_cache

from planner.units import Measure


class Kind(Enum):
    """What stands in a cell."""

    TEXT = "text"
    """Any words."""
    NAME = "name"
    """The name of the thing that the row describes."""
    REF = "name from another sheet"
    """A name that stands in the column that `refers` tells."""
    TEXTS = "list"
    """Words, separated by ``;``."""
    REFS = "list of names from another sheet"
    """Names from the column that `refers` tells, separated by ``;``."""
    CHOICE = "choice"
    """One of `choices`."""
    YES_NO = "yes or no"
    NUMBER = "number"
    """A number without a unit."""
    COUNT = "whole number"
    YEAR = "year"
    PERCENT = "percent"
    QUANTITY = "quantity"
    """A number in a unit of `measure`."""
    RATE = "rate of product on seed"
    """A number with one of the units of a recipe's rate."""
    DATE = "date"


@dataclass(frozen=True, slots=True, eq=False)
class Column:
    """One thing to fill in: a column of a sheet, or a setting of the sheet Farm."""

    name: str
    kind: Kind
    key: str
    """Name of the reader's value, where there is one also of the record's attribute."""
    meaning: str
    """One line of guidance for whoever fills it in."""
    example: str = ""
    must: bool = False
    """Whether every row must fill it."""
    measure: Measure | None = None
    """What a quantity measures."""
    unit: str = ""
    """Unit of a bare number; empty where the cell or the header must say it."""
    shown: str = ""
    """Unit that the header of a blank workbook shows (in brackets) and that bare numbers then
    have; empty for none."""
    default: object = None
    """What a blank cell means."""
    blank: str = ""
    """The same in words, where `default` does not say it."""
    low: float | None = None
    high: float | None = None
    above_low: bool = False
    """Whether `low` itself is not allowed."""
    choices: tuple[str, ...] = ()
    """Allowed values, as they are shown."""
    words: tuple[tuple[str, str], ...] = ()
    """Further words for choices: (word, choice)."""
    closed: bool = True
    """Whether other values than `choices` are faults."""
    refers: tuple[str, str] | None = None
    """(sheet, column) where the name must stand."""
    aliases: tuple[str, ...] = ()
    """Other headers that mean this column; a unit in brackets is the unit of bare numbers."""

    @property
    def header(self) -> str:
        """Header as a blank workbook shows it.

        >>> sheet("Containers").column("Size").header
        'Size (gal)'
        """
        return f"{self.name} ({self.shown})" if self.shown else self.name

    @property
    def blank_means(self) -> str:
        """What a blank cell means, in words; empty for a column that must be filled.

        >>> sheet("Seed lots").column("Units per bag").blank_means
        '1'
        """
        if self.must:
            return ""
        if self.blank:
            return self.blank
        if isinstance(self.default, bool):
            return "yes" if self.default else "no"
        if isinstance(self.default, float):
            percent = self.kind is Kind.PERCENT
            return f"{self.default * 100:g} %" if percent else f"{self.default:,.10g}"
        return "none" if self.default is None else str(self.default)


@dataclass(frozen=True, slots=True, eq=False)
class Sheet:
    """One sheet of the workbook, one file of the folder."""

    name: str
    meaning: str
    columns: tuple[Column, ...]
    must: bool = False
    """Whether it must be there."""
    unique: tuple[str, ...] = ()
    """Names of the columns that together tell rows apart."""
    repeats: bool = False
    """Whether rows may be alike in these: what they say is then added up."""
    settings: tuple[Column, ...] = ()
    """For Farm: what stands in its first column, one setting a row."""
    per_threat: Column | None = None
    """For Fields: a column that is repeated for every threat, with the threat's name before it."""
    aliases: tuple[str, ...] = ()

    def column(self, name: str) -> Column:
        """Return the column (or setting) of this name.

        Raises
        ------
        KeyError
            When there is none.
        """
        for column in (*self.columns, *self.settings):
            if column.name == name:
                return column
        raise KeyError(name)

    def by_key(self, key: str) -> Column | None:
        """Column or setting that has this key (any pressure for ``pressure:...``), if any."""
        if key.startswith("pressure:"):
            return self.per_threat
        return next((c for c in (*self.columns, *self.settings) if c.key == key), None)

    @property
    def file(self) -> str:
        """Name of the file that holds the sheet in a folder.

        >>> sheet("Seed lots").file
        'seed lots.csv'
        """
        return f"{self.name.lower()}.csv"


PRESSURES = ("none", "low", "moderate", "high")
RATINGS = ("P", "F", "G", "VG", "E")
RATING_WORDS = (
    ("poor", "P"),
    ("fair", "F"),
    ("good", "G"),
    ("very good", "VG"),
    ("excellent", "E"),
)
KINDS = (
    "fungicide",
    "insecticide",
    "nematicide",
    "inoculant",
    "biological",
    "polymer",
    "colorant",
    "other",
)

SETTINGS = (
    Column("Farm name", Kind.TEXT, "name", "Printed on every page.", "Three Oaks Farm"),
    Column(
        "Crop year",
        Kind.YEAR,
        "crop_year",
        "Year of harvest.",
        "2027",
        blank="year of the plan date",
        low=1900,
        high=2200,
    ),
    Column(
        "Plan date",
        Kind.DATE,
        "plan_date",
        "Day that the plan is made for.",
        "2026-12-10",
        blank="today",
    ),
    Column(
        "Currency",
        Kind.TEXT,
        "currency",
        "Sign of all money: prices carry it or nothing.",
        "$",
        default="$",
    ),
    Column(
        "Seeds per unit",
        Kind.QUANTITY,
        "seeds_per_unit",
        "Seeds in the unit that seed is sold by.",
        "140,000",
        measure=Measure.SEEDS,
        unit="seeds",
        shown="seeds",
        default=140_000.0,
        low=1.0,
    ),
    Column(
        "Spare seed",
        Kind.PERCENT,
        "spare_seed",
        "Seed on top of every field's need.",
        "3%",
        shown="%",
        default=0.0,
        low=0.0,
        high=1.0,
    ),
    Column(
        "Product margin",
        Kind.PERCENT,
        "product_margin",
        "Product on top of what the seed takes: calibration, spills, drift.",
        "2%",
        shown="%",
        default=0.0,
        low=0.0,
        high=1.0,
    ),
    Column(
        "Max varieties per field",
        Kind.COUNT,
        "max_varieties",
        "Most shares of one field; a share is one variety under one recipe.",
        "2",
        blank="no limit",
        low=1,
    ),
    Column(
        "Smallest split",
        Kind.QUANTITY,
        "smallest_split",
        "No share of a field is smaller than this.",
        "15",
        measure=Measure.AREA,
        unit="acres",
        shown="acres",
        default=0.0,
        low=0.0,
    ),
    Column(
        "Most of one variety",
        Kind.PERCENT,
        "most_of_one_variety",
        "Largest share of all planted acres that one variety may have.",
        "35%",
        shown="%",
        blank="no limit",
        low=0.0,
        high=1.0,
        above_low=True,
    ),
    Column(
        "Liquid limit",
        Kind.QUANTITY,
        "liquid_limit",
        "Most liquid on seed, all products of a recipe together.",
        "8",
        measure=Measure.LIQUID_ON_SEED,
        unit="fl oz/cwt",
        shown="fl oz/cwt",
        blank="no limit",
        low=0.0,
        above_low=True,
    ),
    Column(
        "Liquid warning",
        Kind.QUANTITY,
        "liquid_warning",
        "Liquid on seed that a recipe is warned about from.",
        "6.5",
        measure=Measure.LIQUID_ON_SEED,
        unit="fl oz/cwt",
        shown="fl oz/cwt",
        blank="no warning",
        low=0.0,
        above_low=True,
    ),
    Column(
        "Allow untreated",
        Kind.YES_NO,
        "allow_untreated",
        "Whether seed may be planted without any recipe.",
        "no",
        default=False,
    ),
    Column(
        "Weigh yield loss",
        Kind.YES_NO,
        "weigh_yield_loss",
        "Whether expected yield losses count in the cost.",
        "no",
        default=False,
    ),
    Column(
        "Soybean price",
        Kind.QUANTITY,
        "soybean_price",
        "Price of a bushel; needed where yield losses are weighed.",
        "10.50",
        measure=Measure.CROP_PRICE,
        unit="$/bu",
        shown="$/bu",
        blank="none; needed where losses are weighed",
        low=0.0,
    ),
    Column(
        "First treating day",
        Kind.DATE,
        "first_treating_day",
        "First day that the treater can run; stock that expires before it does not count.",
        "2027-04-05",
        blank="plan date",
    ),
    Column(
        "Treating done by",
        Kind.DATE,
        "treating_done_by",
        "Last day of treating.",
        "2027-05-08",
        blank="no such day",
    ),
    Column(
        "Bags per day",
        Kind.QUANTITY,
        "bags_per_day",
        "Bags that the treater gets through in a day.",
        "25",
        measure=Measure.BAGS,
        unit="bags",
        shown="bags",
        blank="no limit",
        low=0.0,
        above_low=True,
    ),
    Column(
        "Floor space",
        Kind.QUANTITY,
        "floor_space",
        "Bags that find room in the shop while they cure or wait.",
        "60",
        measure=Measure.BAGS,
        unit="bags",
        shown="bags",
        blank="no limit",
        low=0.0,
        above_low=True,
    ),
    Column(
        "Cure days",
        Kind.QUANTITY,
        "cure_days",
        "Days that a treated bag stays in the shop.",
        "2",
        measure=Measure.DAYS,
        unit="days",
        shown="days",
        default=2.0,
        low=0.0,
        high=365.0,
    ),
    Column(
        "Changeover minutes",
        Kind.QUANTITY,
        "changeover_minutes",
        "Minutes to flush and prime when the treater changes product.",
        "20",
        measure=Measure.MINUTES,
        unit="min",
        shown="min",
        default=20.0,
        low=0.0,
        high=1440.0,
    ),
    Column(
        "Calibration minutes",
        Kind.QUANTITY,
        "calibration_minutes",
        "Minutes to calibrate for a new seed lot.",
        "10",
        measure=Measure.MINUTES,
        unit="min",
        shown="min",
        default=10.0,
        low=0.0,
        high=1440.0,
    ),
    Column(
        "Seed flow",
        Kind.QUANTITY,
        "seed_flow",
        "Seed through the treater; calibration figures are made from it.",
        "800",
        measure=Measure.SEED_FLOW,
        unit="lb/min",
        shown="lb/min",
        blank="not known",
        low=0.0,
        above_low=True,
    ),
    Column(
        "Units",
        Kind.CHOICE,
        "units",
        "Units that the plan is shown in; what is filled in may be either.",
        "US",
        default="US",
        choices=("US", "metric"),
    ),
)

FARM = Sheet(
    "Farm",
    "The settings of the season, one a row.",
    (
        Column("Setting", Kind.TEXT, "setting", "Name of the setting.", "Spare seed", must=True),
        Column("Value", Kind.TEXT, "value", "Its value; blank takes the default.", "3%"),
        Column("Note", Kind.TEXT, "note", "Anything; not read."),
    ),
    must=True,
    unique=("Setting",),
    settings=SETTINGS,
    aliases=("Settings",),
)

FIELDS = Sheet(
    "Fields",
    "Every field to plant with soybeans. Fill either Seeding rate or Target stand.",
    (
        Column("Field", Kind.NAME, "name", "Name of the field.", "North 80", must=True),
        Column(
            "Acres",
            Kind.QUANTITY,
            "acres",
            "Land to plant.",
            "80",
            must=True,
            measure=Measure.AREA,
            unit="acres",
            low=0.0,
            above_low=True,
            aliases=("Area", "Area (acres)", "Hectares (ha)"),
        ),
        Column(
            "Seeding rate",
            Kind.QUANTITY,
            "seeding_rate",
            "Seeds dropped per acre; leave blank where Target stand is filled.",
            "140,000",
            measure=Measure.SEEDS_PER_AREA,
            unit="seeds/acre",
            shown="seeds/acre",
            blank="given by Target stand",
            low=0.0,
            above_low=True,
            aliases=("Drop rate",),
        ),
        Column(
            "Target stand",
            Kind.QUANTITY,
            "target_stand",
            "Plants wanted per acre; needs Emergence here and Germination of the lots.",
            "110,000",
            measure=Measure.PLANTS_PER_AREA,
            unit="plants/acre",
            shown="plants/acre",
            blank="given by Seeding rate",
            low=0.0,
            above_low=True,
            aliases=("Stand",),
        ),
        Column(
            "Emergence",
            Kind.PERCENT,
            "emergence",
            "Share of good seed that comes up; fill with Target stand.",
            "92%",
            shown="%",
            blank="not used",
            low=0.0,
            high=1.0,
            above_low=True,
        ),
        Column(
            "Earliest maturity",
            Kind.NUMBER,
            "earliest",
            "Earliest maturity that may be planted here.",
            "1.6",
            blank="no bound",
            low=0.0,
            high=12.0,
            aliases=("Min maturity",),
        ),
        Column(
            "Latest maturity",
            Kind.NUMBER,
            "latest",
            "Latest maturity that may be planted here.",
            "2.1",
            blank="no bound",
            low=0.0,
            high=12.0,
            aliases=("Max maturity",),
        ),
        Column(
            "Trait",
            Kind.TEXTS,
            "traits",
            "Trait that the seed must have; several with ; between: any of them.",
            "system A",
            default=(),
            blank="any",
            aliases=("Traits",),
        ),
        Column(
            "Planting date",
            Kind.DATE,
            "planting_date",
            "Day that planting is meant for.",
            "2027-05-10",
            blank="not known",
            aliases=("Plant date",),
        ),
        Column(
            "Priority",
            Kind.COUNT,
            "priority",
            "1 is served first where seed is short.",
            "1",
            default=1,
            low=1,
            high=1000,
        ),
        Column(
            "Grower",
            Kind.TEXT,
            "grower",
            "Whose field it is; seed of another grower stays off it.",
            "North home",
            blank="any",
        ),
        Column(
            "Only varieties",
            Kind.REFS,
            "only_varieties",
            "Varieties that may be planted here, with ; between.",
            default=(),
            blank="all",
            refers=("Seed lots", "Variety"),
        ),
        Column(
            "Only recipes",
            Kind.REFS,
            "only_recipes",
            "Recipes that may be used here, with ; between.",
            default=(),
            blank="all",
            refers=("Recipes", "Recipe"),
        ),
    ),
    must=True,
    unique=("Field",),
    per_threat=Column(
        "pressure",
        Kind.CHOICE,
        "pressure",
        "How hard the threat presses on the field.",
        "moderate",
        default="none",
        choices=PRESSURES,
    ),
    aliases=("Field list",),
)

SEED_LOTS = Sheet(
    "Seed lots",
    "Every lot of seed, on hand or to be had. Lots of one variety share Maturity and Trait.",
    (
        Column("Lot", Kind.NAME, "name", "Name or number of the lot.", "L-104", must=True),
        Column("Variety", Kind.TEXT, "variety", "Variety of the seed.", "Variety 1.8 A", must=True),
        Column(
            "Maturity",
            Kind.NUMBER,
            "maturity",
            "Relative maturity as a decimal number.",
            "1.8",
            must=True,
            low=0.0,
            high=12.0,
            aliases=("Relative maturity", "Maturity group"),
        ),
        Column(
            "Trait",
            Kind.TEXTS,
            "trait",
            "Trait of the variety.",
            "system A",
            default=(),
            blank="none",
            aliases=("Traits",),
        ),
        Column(
            "Units on hand",
            Kind.QUANTITY,
            "on_hand",
            "Units in the shed, what was treated so far included.",
            "160",
            must=True,
            measure=Measure.SEED_UNITS,
            unit="units",
            low=0.0,
            aliases=("On hand",),
        ),
        Column(
            "Units per bag",
            Kind.QUANTITY,
            "units_per_bag",
            "Units in the package that is treated as a whole: bag, mini-bulk, box.",
            "40",
            measure=Measure.SEED_UNITS,
            unit="units",
            default=1.0,
            low=0.0,
            above_low=True,
        ),
        Column(
            "Seeds per lb",
            Kind.QUANTITY,
            "seeds_per_lb",
            "Seed size, from the tag.",
            "2,800",
            must=True,
            measure=Measure.SEED_SIZE,
            unit="seeds/lb",
            low=0.0,
            above_low=True,
            aliases=("Seeds per pound", "Seed size", "Seeds per kg (seeds/kg)"),
        ),
        Column(
            "Germination",
            Kind.PERCENT,
            "germination",
            "From the tag; needed where a field is given by Target stand.",
            "92%",
            shown="%",
            blank="not known",
            low=0.0,
            high=1.0,
            above_low=True,
        ),
        Column(
            "Return value",
            Kind.QUANTITY,
            "return_value",
            "What an untreated unit is still worth at season's end.",
            "40",
            measure=Measure.MONEY_PER_SEED_UNIT,
            unit="$/unit",
            shown="$/unit",
            default=0.0,
            low=0.0,
        ),
        Column(
            "Can buy",
            Kind.QUANTITY,
            "can_buy",
            "Units still to be had.",
            "80",
            measure=Measure.SEED_UNITS,
            unit="units",
            shown="units",
            default=0.0,
            low=0.0,
        ),
        Column(
            "Buy price",
            Kind.QUANTITY,
            "buy_price",
            "Price of a unit; needed where Can buy is filled.",
            "55",
            measure=Measure.MONEY_PER_SEED_UNIT,
            unit="$/unit",
            shown="$/unit",
            blank="none; needed where Can buy is filled",
            low=0.0,
        ),
        Column(
            "Treated with",
            Kind.REF,
            "treated_with",
            "Recipe of a lot that is already treated.",
            blank="not treated",
            refers=("Recipes", "Recipe"),
        ),
        Column("Grower", Kind.TEXT, "grower", "Whose seed it is.", "North home", blank="any"),
        Column(
            "Moisture",
            Kind.PERCENT,
            "moisture",
            "Moisture of the seed.",
            "12%",
            shown="%",
            blank="not known",
            low=0.0,
            high=1.0,
        ),
        Column(
            "Test date",
            Kind.DATE,
            "test_date",
            "Day of the germination test.",
            "2026-11-02",
            blank="not known",
        ),
    ),
    must=True,
    unique=("Lot",),
    aliases=("Lots", "Seed"),
)

PRODUCTS = Sheet(
    "Products",
    "Everything that goes on seed.",
    (
        Column("Product", Kind.NAME, "name", "Name of the product.", "Shield F", must=True),
        Column(
            "Kind",
            Kind.CHOICE,
            "kind",
            "What it is.",
            "fungicide",
            default="other",
            choices=KINDS,
            closed=False,
            aliases=("Type",),
        ),
        Column(
            "On hand",
            Kind.QUANTITY,
            "on_hand",
            "Volume in the shop that can be used.",
            "5 gal",
            measure=Measure.VOLUME,
            shown="gal",
            default=0.0,
            low=0.0,
        ),
        Column(
            "Expires",
            Kind.DATE,
            "expires",
            "Last day of the stock on hand.",
            "2027-09-30",
            blank="does not expire",
            aliases=("Expiry", "Expiry date"),
        ),
        Column(
            "Line loss",
            Kind.QUANTITY,
            "line_loss",
            "Volume lost once for every recipe that is run and holds the product.",
            "16 fl oz",
            measure=Measure.VOLUME,
            shown="fl oz",
            default=0.0,
            low=0.0,
        ),
        Column(
            "Carryover value",
            Kind.PERCENT,
            "carryover",
            "Share of its lowest price that product left over is worth next season.",
            "40%",
            shown="%",
            default=0.0,
            low=0.0,
            high=1.0,
        ),
        Column(
            "On-seed life",
            Kind.QUANTITY,
            "on_seed_life",
            "Most days from treating to planting.",
            "30",
            measure=Measure.DAYS,
            unit="days",
            shown="days",
            blank="no limit",
            low=0.0,
        ),
        Column(
            "Density",
            Kind.QUANTITY,
            "density",
            "Weight of the liquid.",
            "9.1",
            measure=Measure.DENSITY,
            unit="lb/gal",
            shown="lb/gal",
            blank="not known",
            low=0.0,
            above_low=True,
        ),
    ),
    must=True,
    unique=("Product",),
)

CONTAINERS = Sheet(
    "Containers",
    "What products are sold in. Several rows of one product and container are price breaks.",
    (
        Column(
            "Product",
            Kind.REF,
            "product",
            "Product in the container.",
            "Shield F",
            must=True,
            refers=("Products", "Product"),
        ),
        Column("Container", Kind.NAME, "name", "What it is called.", "keg", must=True),
        Column(
            "Size",
            Kind.QUANTITY,
            "size",
            "Volume of the full container.",
            "15 gal",
            must=True,
            measure=Measure.VOLUME,
            shown="gal",
            low=0.0,
            above_low=True,
        ),
        Column(
            "Price",
            Kind.QUANTITY,
            "price",
            "List price of one.",
            "6,180",
            must=True,
            measure=Measure.MONEY,
            unit="$",
            shown="$",
            low=0.0,
        ),
        Column(
            "From count",
            Kind.COUNT,
            "from_count",
            "Count from which this price holds for every one of them.",
            "1",
            default=1,
            low=1,
        ),
        Column(
            "Most available",
            Kind.COUNT,
            "most",
            "Most that can be had.",
            "4",
            blank="no limit",
            low=0,
        ),
        Column(
            "Heel",
            Kind.QUANTITY,
            "heel",
            "Volume that can't be drawn out.",
            "8 fl oz",
            measure=Measure.VOLUME,
            shown="fl oz",
            default=0.0,
            low=0.0,
        ),
        Column(
            "Tare",
            Kind.QUANTITY,
            "tare",
            "Weight of the empty container, so that a scale can tell what is left.",
            "19 lb",
            measure=Measure.WEIGHT,
            shown="lb",
            blank="not known",
            low=0.0,
        ),
        Column(
            "Supplier",
            Kind.REF,
            "supplier",
            "Who sells it.",
            "North yard",
            blank="none",
            refers=("Suppliers", "Supplier"),
        ),
    ),
    must=True,
    unique=("Product", "Container", "From count"),
)

RECIPES = Sheet(
    "Recipes",
    "What goes on a bag together: one row per product of a recipe. Rates are the label's business.",
    (
        Column("Recipe", Kind.NAME, "name", "Name of the recipe.", "Full", must=True),
        Column(
            "Product",
            Kind.REF,
            "product",
            "A product of it.",
            "Shield F",
            must=True,
            refers=("Products", "Product"),
        ),
        Column(
            "Rate",
            Kind.RATE,
            "rate",
            "With its unit: fl oz/unit, mL/unit, fl oz/cwt or mL/100 kg of product on seed; "
            "mg/seed or g/100 kg of active ingredient.",
            "4.6 fl oz/cwt",
            must=True,
            low=0.0,
            above_low=True,
        ),
        Column(
            "Of",
            Kind.REF,
            "of",
            "Active ingredient that a rate in mg/seed or g/100 kg counts.",
            blank="the product's only one",
            refers=("Actives", "Active ingredient"),
        ),
    ),
    must=True,
    unique=("Recipe", "Product"),
)

PROTECTION = Sheet(
    "Protection",
    "How well products hold threats.",
    (
        Column(
            "Product",
            Kind.REF,
            "product",
            "A product.",
            "Shield F",
            must=True,
            refers=("Products", "Product"),
        ),
        Column(
            "Threat",
            Kind.REF,
            "threat",
            "A threat.",
            "White mold",
            must=True,
            refers=("Threats", "Threat"),
        ),
        Column(
            "Rating",
            Kind.CHOICE,
            "rating",
            "Poor, fair, good, very good, excellent.",
            "G",
            must=True,
            choices=RATINGS,
            words=RATING_WORDS,
        ),
    ),
    unique=("Product", "Threat"),
)


def _need(pressure: str) -> Column:
    return Column(
        f"Need at {pressure}",
        Kind.CHOICE,
        f"need_{pressure}",
        f"Lowest rating that will do at {pressure} pressure.",
        "G",
        blank="nothing needed",
        choices=RATINGS,
        words=RATING_WORDS,
    )


def _loss(pressure: str) -> Column:
    return Column(
        f"Loss at {pressure}",
        Kind.QUANTITY,
        f"loss_{pressure}",
        f"Yield lost at {pressure} pressure without protection.",
        "2",
        measure=Measure.YIELD,
        unit="bu/acre",
        shown="bu/acre",
        default=0.0,
        low=0.0,
    )


THREATS = Sheet(
    "Threats",
    "Diseases and pests: what they need, what they cost.",
    (
        Column("Threat", Kind.NAME, "name", "Name of the threat.", "White mold", must=True),
        *(_need(p) for p in PRESSURES[1:]),
        *(_loss(p) for p in PRESSURES[1:]),
    ),
    unique=("Threat",),
)

RATING_CONTROL = Sheet(
    "Ratings",
    "What share of a loss a rating prevents; used where yield losses are weighed.",
    (
        Column(
            "Rating",
            Kind.CHOICE,
            "rating",
            "A rating.",
            "G",
            must=True,
            choices=RATINGS,
            words=RATING_WORDS,
        ),
        Column(
            "Control",
            Kind.PERCENT,
            "control",
            "Share of the loss that it prevents.",
            "60%",
            must=True,
            shown="%",
            low=0.0,
            high=1.0,
        ),
    ),
    unique=("Rating",),
)

ACTIVES = Sheet(
    "Actives",
    "Active ingredients of products, by common name.",
    (
        Column(
            "Product",
            Kind.REF,
            "product",
            "A product.",
            "Shield F",
            must=True,
            refers=("Products", "Product"),
        ),
        Column(
            "Active ingredient",
            Kind.NAME,
            "ingredient",
            "Common name.",
            "fludioxonil",
            must=True,
        ),
        Column(
            "Concentration",
            Kind.QUANTITY,
            "concentration",
            "Strength, with its unit: lb/gal or g/L.",
            "3.2 lb/gal",
            must=True,
            measure=Measure.DENSITY,
            shown="lb/gal",
            low=0.0,
            above_low=True,
            aliases=("Strength",),
        ),
    ),
    unique=("Product", "Active ingredient"),
)

ACTIVE_LIMITS = Sheet(
    "Active limits",
    "The most of an active ingredient that labels or rules allow.",
    (
        Column(
            "Active ingredient",
            Kind.REF,
            "ingredient",
            "Common name.",
            "fludioxonil",
            must=True,
            refers=("Actives", "Active ingredient"),
        ),
        Column(
            "Most per acre",
            Kind.QUANTITY,
            "per_acre",
            "Most on an acre.",
            "0.25",
            measure=Measure.ACTIVE_PER_AREA,
            unit="lb/acre",
            shown="lb/acre",
            blank="no limit",
            low=0.0,
        ),
        Column(
            "Most per seed",
            Kind.QUANTITY,
            "per_seed",
            "Most on a seed.",
            "0.15",
            measure=Measure.ACTIVE_PER_SEED,
            unit="mg/seed",
            shown="mg/seed",
            blank="no limit",
            low=0.0,
        ),
    ),
    unique=("Active ingredient",),
)

SUPPLIERS = Sheet(
    "Suppliers",
    "Who sells containers.",
    (
        Column("Supplier", Kind.NAME, "name", "Name of the supplier.", "North yard", must=True),
        Column(
            "Freight",
            Kind.QUANTITY,
            "freight",
            "Freight of an order.",
            "150",
            measure=Measure.MONEY,
            unit="$",
            shown="$",
            default=0.0,
            low=0.0,
        ),
        Column(
            "Free freight from",
            Kind.QUANTITY,
            "free_from",
            "List spend from which freight is free.",
            "5,000",
            measure=Measure.MONEY,
            unit="$",
            shown="$",
            blank="never",
            low=0.0,
        ),
        Column(
            "Order by",
            Kind.DATE,
            "order_by",
            "Last day to order.",
            "2027-01-15",
            blank="no such day",
        ),
    ),
    unique=("Supplier",),
)

DISCOUNTS = Sheet(
    "Discounts",
    "Percents off the list spend. Rows of one discount and supplier are its levels.",
    (
        Column("Discount", Kind.NAME, "name", "Name of the discount.", "Early pay", must=True),
        Column(
            "Supplier",
            Kind.REF,
            "supplier",
            "Whose sales count.",
            "North yard",
            blank="any",
            refers=("Suppliers", "Supplier"),
        ),
        Column(
            "Products",
            Kind.REFS,
            "products",
            "Products that count, with ; between.",
            default=(),
            blank="all",
            refers=("Products", "Product"),
        ),
        Column(
            "Spend at least",
            Kind.QUANTITY,
            "spend",
            "List spend from which this level counts.",
            "4,000",
            must=True,
            measure=Measure.MONEY,
            unit="$",
            shown="$",
            low=0.0,
        ),
        Column(
            "Percent off",
            Kind.PERCENT,
            "percent",
            "Percent of the list spend that comes off.",
            "3%",
            must=True,
            shown="%",
            low=0.0,
            high=1.0,
        ),
    ),
    unique=("Discount", "Supplier", "Products", "Spend at least"),
)

MATURITY_SPREAD = Sheet(
    "Maturity spread",
    "How much of all planted acres a span of maturities may take.",
    (
        Column(
            "From maturity",
            Kind.NUMBER,
            "earliest",
            "Earliest maturity of the span, itself included.",
            "2.2",
            must=True,
            low=0.0,
            high=12.0,
        ),
        Column(
            "To maturity",
            Kind.NUMBER,
            "latest",
            "Latest maturity of the span, itself included.",
            "2.6",
            must=True,
            low=0.0,
            high=12.0,
        ),
        Column(
            "Most share",
            Kind.PERCENT,
            "share",
            "Most of all planted acres.",
            "40%",
            must=True,
            shown="%",
            low=0.0,
            high=1.0,
        ),
    ),
    unique=("From maturity", "To maturity"),
)

TREATED_SO_FAR = Sheet(
    "Treated so far",
    "Seed treated before this plan, for planning again in mid-season.",
    (
        Column(
            "Lot",
            Kind.REF,
            "lot",
            "A lot of Seed lots.",
            "L-104",
            must=True,
            refers=("Seed lots", "Lot"),
        ),
        Column(
            "Recipe",
            Kind.REF,
            "recipe",
            "Recipe that it was treated with.",
            "Full",
            must=True,
            refers=("Recipes", "Recipe"),
        ),
        Column(
            "Units",
            Kind.QUANTITY,
            "units",
            "Units treated.",
            "80",
            must=True,
            measure=Measure.SEED_UNITS,
            unit="units",
            low=0.0,
        ),
    ),
    unique=("Lot", "Recipe"),
    repeats=True,
)

ORDERED_SO_FAR = Sheet(
    "Ordered so far",
    "Containers on their way and paid; On hand of the product does not hold them.",
    (
        Column(
            "Product",
            Kind.REF,
            "product",
            "A product.",
            "Shield F",
            must=True,
            refers=("Products", "Product"),
        ),
        Column(
            "Container",
            Kind.REF,
            "container",
            "A container of that product.",
            "keg",
            must=True,
            refers=("Containers", "Container"),
        ),
        Column("Count", Kind.COUNT, "count", "How many.", "2", must=True, low=0),
    ),
    unique=("Product", "Container"),
    repeats=True,
)

DAYS_OFF = Sheet(
    "Days off",
    "Days on which the treater stands still.",
    (
        Column("Date", Kind.DATE, "date", "A day.", "2027-04-25", must=True),
        Column("Note", Kind.TEXT, "note", "Why; not read."),
    ),
    unique=("Date",),
    repeats=True,
)

RECIPE_APPROVALS = Sheet(
    "Recipe approvals",
    "Who has approved a recipe.",
    (
        Column(
            "Recipe",
            Kind.REF,
            "recipe",
            "A recipe.",
            "Full",
            must=True,
            refers=("Recipes", "Recipe"),
        ),
        Column("Approved by", Kind.TEXT, "approved_by", "Who approved it.", blank="not approved"),
        Column(
            "Approved on", Kind.DATE, "approved_on", "When.", "2027-03-01", blank="not approved"
        ),
    ),
    unique=("Recipe",),
)

WHAT_IF = Sheet(
    "What if",
    "Scenarios: each row changes one cell of the season; rows of one scenario go together.",
    (
        Column("Scenario", Kind.TEXT, "scenario", "Name of the scenario.", must=True),
        Column("Sheet", Kind.TEXT, "sheet", "Sheet of the cell.", "Farm", must=True),
        Column(
            "Row",
            Kind.TEXT,
            "item",
            "Text of the first column in the row of the cell.",
            "Spare seed",
            must=True,
        ),
        Column("Column", Kind.TEXT, "column", "Header of the cell's column.", "Value", must=True),
        Column("Value", Kind.TEXT, "value", "What stands there instead; blank clears it.", "5%"),
    ),
)

SHEETS = (
    FARM,
    FIELDS,
    SEED_LOTS,
    PRODUCTS,
    CONTAINERS,
    RECIPES,
    PROTECTION,
    THREATS,
    RATING_CONTROL,
    ACTIVES,
    ACTIVE_LIMITS,
    SUPPLIERS,
    DISCOUNTS,
    MATURITY_SPREAD,
    TREATED_SO_FAR,
    ORDERED_SO_FAR,
    DAYS_OFF,
    RECIPE_APPROVALS,
    WHAT_IF,
)
"""All sheets, in the order in which a season is filled in."""
HELP_SHEETS = ("Start here", "Live check", "Lists", "Faults")
"""Sheets of the workbook that we write beside them and that hold no input; passed over."""


@lru_cache
def sheet(name: str) -> Sheet:
    """Return the sheet of this name.

    Raises
    ------
    KeyError
        When there is none.
    """
    for each in SHEETS:
        if each.name == name:
            return each
    raise KeyError(name)

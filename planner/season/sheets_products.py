"""Products, what they are sold in and by whom, and the recipes made of them."""

from __future__ import annotations

from planner.season.columns import (
    Column,
    Kind,
    Sheet,
    amount,
    choice,
    count,
    day,
    name,
    percent,
    ref,
    refs,
    text,
    written,
)
from planner.season.domain import CARRIER, POWDER
from planner.season.sheets_shop import PRODUCT_FACTS
from planner.units import Measure

KINDS = (
    "fungicide",
    "insecticide",
    "nematicide",
    "inoculant",
    "biological",
    "polymer",
    "colorant",
    CARRIER,
    POWDER,
    "other",
)
"""Usual kinds of products; others are taken as they stand."""

PRODUCTS = Sheet(
    "Products",
    "Everything that goes on seed.",
    (
        name("Product", "name", "Name of the product.", "Product A"),
        choice(
            "Kind",
            "kind",
            KINDS,
            f"What it is. A {CARRIER} (water) is not bought; a {POWDER} is dosed by the unit in "
            "the planter, and is no liquid.",
            "fungicide",
            default="other",
            closed=False,
            words=(
                *((word, "colorant") for word in ("dye", "color", "colour", "colourant")),
                *((word, POWDER) for word in ("talc", "graphite", "talc and graphite")),
                ("water", CARRIER),
            ),
            aliases=("Type",),
        ),
        written(
            "On hand",
            "on_hand",
            Measure.VOLUME,
            "Volume in the shop that can be used.",
            "5 gal",
            shown="gal",
            default=0.0,
        ),
        day(
            "Expires",
            "expires",
            "Last day of the stock on hand.",
            "2027-09-30",
            blank="does not expire",
            aliases=("Expiry", "Expiry date"),
        ),
        written(
            "Line loss",
            "line_loss",
            Measure.VOLUME,
            "Volume lost once for every recipe that is run and holds the product; where the line "
            "stays primed, once for every unbroken stretch of such recipes.",
            "16 fl oz",
            shown="fl oz",
            default=0.0,
        ),
        percent(
            "Carryover value",
            "carryover",
            "Share of its lowest price that product left over is worth next season.",
            "40%",
            default=0.0,
        ),
        amount(
            "On-seed life",
            "on_seed_life",
            Measure.DAYS,
            "Most days from treating to planting.",
            "30",
            blank="no limit",
        ),
        amount(
            "Density",
            "density",
            Measure.DENSITY,
            "Weight of the liquid.",
            "9.1",
            blank="not known",
            above_low=True,
        ),
        *PRODUCT_FACTS,
    ),
    must=True,
    unique=("Product",),
)

CONTAINERS = Sheet(
    "Containers",
    "What products are sold in. Several rows of one product and container are price breaks.",
    (
        ref(
            "Product",
            "product",
            "Products.Product",
            "Product in the container.",
            "Product A",
            must=True,
        ),
        name("Container", "name", "What it is called.", "keg"),
        written(
            "Size",
            "size",
            Measure.VOLUME,
            "Volume of the full container.",
            "15 gal",
            must=True,
            shown="gal",
            above_low=True,
        ),
        amount("Price", "price", Measure.MONEY, "List price of one.", "6,180", must=True),
        count(
            "From count",
            "from_count",
            "Count from which this price holds for every one of them.",
            "1",
            default=1,
            low=1,
        ),
        count("Most available", "most", "Most that you can get.", "4", blank="no limit", low=0),
        written(
            "Heel",
            "heel",
            Measure.VOLUME,
            "Volume that can't be pumped out.",
            "8 fl oz",
            shown="fl oz",
            default=0.0,
        ),
        written(
            "Tare",
            "tare",
            Measure.WEIGHT,
            "Weight of the empty container, so that a scale can tell what is left.",
            "19 lb",
            shown="lb",
            blank="not known",
        ),
        ref(
            "Supplier",
            "supplier",
            "Suppliers.Supplier",
            "Who sells it.",
            "North yard",
            blank="none",
        ),
        amount(
            "Late price",
            "late_price",
            Measure.MONEY,
            "Price of one in spring, after the last day to order.",
            "6,900",
            blank="not sold late",
        ),
        percent(
            "Returned for",
            "returned_for",
            "Share of the price paid that an unopened one brings back.",
            "90%",
            default=0.0,
        ),
    ),
    must=True,
    unique=("Product", "Container", "From count"),
)

RECIPES = Sheet(
    "Recipes",
    "What goes on a bag together: one row per product of a recipe. Rates are the label's business.",
    (
        name("Recipe", "name", "Name of the recipe.", "Full"),
        ref("Product", "product", "Products.Product", "A product of it.", "Product A", must=True),
        Column(
            "Rate",
            Kind.RATE,
            "rate",
            "With its unit, as the label counts: fl oz/cwt, fl oz/140,000 seeds or mL/100 kg of "
            "product (fl oz/unit: a unit is Seeds per unit on Farm); mg/seed or g/100 kg of active "
            "ingredient.",
            "4.6 fl oz/cwt",
            must=True,
            low=0.0,
            above_low=True,
        ),
        ref(
            "Of",
            "of",
            "Actives.Active ingredient",
            "Active ingredient that a rate in mg/seed or g/100 kg counts.",
            blank="the product's only one",
        ),
    ),
    must=True,
    unique=("Recipe", "Product"),
)

RECIPE_APPROVALS = Sheet(
    "Recipe approvals",
    "Who has approved a recipe.",
    (
        ref("Recipe", "recipe", "Recipes.Recipe", "A recipe.", "Full", must=True),
        text("Approved by", "approved_by", "Who approved it.", blank="not approved"),
        day("Approved on", "approved_on", "When.", "2027-03-01", blank="not approved"),
    ),
    unique=("Recipe",),
)

SUPPLIERS = Sheet(
    "Suppliers",
    "Who sells containers or seed.",
    (
        name("Supplier", "name", "Name of the supplier.", "North yard"),
        amount("Freight", "freight", Measure.MONEY, "Freight of an order.", "150", default=0.0),
        amount(
            "Free freight from",
            "free_from",
            Measure.MONEY,
            "List spend from which freight is free.",
            "5,000",
            blank="never",
        ),
        day("Order by", "order_by", "Last day to order.", "2027-01-15", blank="no such day"),
        day("Pay by", "pay_by", "Last day to pay.", "2027-02-15", blank="Order by"),
    ),
    unique=("Supplier",),
)

DISCOUNTS = Sheet(
    "Discounts",
    "Percents off the list spend. Rows of one discount and supplier are its levels.",
    (
        name("Discount", "name", "Name of the discount.", "Early pay"),
        ref(
            "Supplier",
            "supplier",
            "Suppliers.Supplier",
            "Whose sales count.",
            "North yard",
            blank="any",
        ),
        refs(
            "Products",
            "products",
            "Products.Product",
            "Products that count, with ; between.",
            blank="all",
        ),
        amount(
            "Spend at least",
            "spend",
            Measure.MONEY,
            "List spend from which this level counts.",
            "4,000",
            must=True,
        ),
        percent(
            "Percent off", "percent", "Percent of the list spend that comes off.", "3%", must=True
        ),
        day(
            "Order by",
            "order_by",
            "Last day for orders that count. What a supplier with a later Order by sells neither "
            "reaches the level nor gets the percent.",
            "2027-01-15",
            blank="no such day",
        ),
    ),
    unique=("Discount", "Supplier", "Products", "Spend at least", "Order by"),
)

ORDERED_SO_FAR = Sheet(
    "Ordered so far",
    "Containers ordered and paid, not delivered yet; On hand of the product does not hold them.",
    (
        ref("Product", "product", "Products.Product", "A product.", "Product A", must=True),
        ref(
            "Container",
            "container",
            "Containers.Container",
            "A container of that product.",
            "keg",
            must=True,
        ),
        count("Count", "count", "How many.", "2", must=True, low=0),
    ),
    unique=("Product", "Container"),
    repeats=True,
)

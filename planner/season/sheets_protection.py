"""What presses on fields, what holds it, and how much of it is allowed."""

from __future__ import annotations

from planner.season.columns import (
    PRESSURES,
    RATINGS,
    Column,
    Sheet,
    amount,
    choice,
    name,
    percent,
    ref,
    written,
    yes_no,
)
from planner.units import Measure


def _need(pressure: str) -> Column:
    meaning = f"Lowest rating that is enough at {pressure} pressure."
    key = f"need_{pressure}"
    return choice(f"Need at {pressure}", key, RATINGS, meaning, "G", blank="nothing needed")


def _loss(pressure: str) -> Column:
    meaning = f"Yield lost at {pressure} pressure without protection."
    key = f"loss_{pressure}"
    return amount(f"Loss at {pressure}", key, Measure.YIELD, meaning, "2", default=0.0)


PROTECTION = Sheet(
    "Protection",
    "How well products hold threats.",
    (
        ref("Product", "product", "Products.Product", "A product.", "Product A", must=True),
        ref("Threat", "threat", "Threats.Threat", "A threat.", "White mold", must=True),
        choice(
            "Rating", "rating", RATINGS, "Poor, fair, good, very good, excellent.", "G", must=True
        ),
    ),
    unique=("Product", "Threat"),
)

THREATS = Sheet(
    "Threats",
    "Diseases and pests: what they need, what they cost.",
    (
        name("Threat", "name", "Name of the threat.", "White mold"),
        *(_need(pressure) for pressure in PRESSURES[1:]),
        *(_loss(pressure) for pressure in PRESSURES[1:]),
        yes_no(
            "Variety counts",
            "variety_counts",
            "Whether a variety's own rating on Tolerance reaches the need, too.",
        ),
    ),
    unique=("Threat",),
)

# Not one scale: M. Staton and M. Chilvers, Michigan State Univ. Extension, in No-Till Farmer.
TOLERANCE = Sheet(
    "Tolerance",
    "How well varieties hold threats by themselves. Ratings of different suppliers are not one "
    "scale: put them on one by trials in which the varieties grew side by side.",
    (
        ref("Variety", "variety", "Seed lots.Variety", "A variety.", "Heron", must=True),
        ref("Threat", "threat", "Threats.Threat", "A threat.", "White mold", must=True),
        choice(
            "Rating",
            "rating",
            RATINGS,
            "Poor, fair, good, very good, excellent: on the scale of Protection, not a supplier's.",
            "F",
            must=True,
        ),
    ),
    unique=("Variety", "Threat"),
)

RATING_CONTROL = Sheet(
    "Ratings",
    "What share of a loss a rating prevents; used where yield losses are weighed.",
    (
        choice("Rating", "rating", RATINGS, "A rating.", "G", must=True),
        percent("Control", "control", "Share of the loss that it prevents.", "60%", must=True),
    ),
    unique=("Rating",),
)

ACTIVES = Sheet(
    "Actives",
    "Active ingredients of products, by common name.",
    (
        ref("Product", "product", "Products.Product", "A product.", "Product A", must=True),
        name("Active ingredient", "ingredient", "Common name.", "fludioxonil"),
        written(
            "Concentration",
            "concentration",
            Measure.DENSITY,
            "Strength, with its unit: lb/gal or g/L.",
            "3.2 lb/gal",
            must=True,
            shown="lb/gal",
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
        ref(
            "Active ingredient",
            "ingredient",
            "Actives.Active ingredient",
            "Common name.",
            "fludioxonil",
            must=True,
        ),
        amount(
            "Most per acre",
            "per_acre",
            Measure.ACTIVE_PER_AREA,
            "Most on an acre.",
            "0.25",
            blank="no limit",
        ),
        amount(
            "Most per seed",
            "per_seed",
            Measure.ACTIVE_PER_SEED,
            "Most on a seed.",
            "0.15",
            blank="no limit",
        ),
    ),
    unique=("Active ingredient",),
)

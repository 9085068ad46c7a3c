"""Settings of the treating shop, and what its cards, tags and logs print of a product."""

from __future__ import annotations

from planner.season.columns import Column, amount, choice, count, refs, text, written, yes_no
from planner.units import Measure

SIGNAL_WORDS = ("DANGER - POISON", "DANGER", "WARNING", "CAUTION", "none")
"""By toxicity category, 40 CFR 156.64: I (with Poison where it is so by mouth, lung or skin), I,
II, III, and IV, which needs none."""
PER_LOT, PER_PACKAGE = "per lot", "per package"
TAG_STOCK = ("2 x 4 in", "4 x 6 in")

PRODUCT_FACTS: tuple[Column, ...] = (
    amount(
        "Slurry life",
        "slurry_life",
        Measure.HOURS,
        "Most hours that it may sit mixed in a tank, or in the line, by its label.",
        "24",
        blank="not known",
        above_low=True,
    ),
    count(
        "Mixing order",
        "mixing_order",
        "Place in a premix, 1 first, where its label asks for another than usual for its kind.",
        "1",
        blank="by its kind",
        low=1,
    ),
    refs(
        "Do not mix with",
        "not_with",
        "Products.Product",
        "Products that must not meet it in a tank or line, with ; between.",
        blank="none known",
    ),
    text(
        "Registration number",
        "registration",
        "Its EPA registration number, from the label.",
        blank="a line to write on",
    ),
    choice(
        "Signal word",
        "signal_word",
        SIGNAL_WORDS,
        "The word on its label (40 CFR 156.64); none only where the label has none.",
        "CAUTION",
        blank="a line to write on",
    ),
    text(
        "Protective equipment",
        "equipment",
        "What its label says to wear.",
        "gloves, long sleeves",
        blank="a line to write on",
    ),
    text(
        "Re-entry",
        "re_entry",
        "Time before anyone may go back in without that, by its label.",
        "12 h",
        blank="a line to write on",
    ),
    text(
        "First aid",
        "first_aid",
        "First-aid line of its label.",
        blank="a line to write on",
    ),
    text(
        "Tag statement",
        "tag_statement",
        "What its label says must be on the tag of treated seed: spills, grazing, treating again.",
        blank="a line to write on",
    ),
)

SHOP_SETTINGS: tuple[Column, ...] = (
    count(
        "Pumps",
        "pumps",
        "Products that the treater can put on at a time; a recipe with more is premixed.",
        "2",
        blank="one for every product",
        low=1,
    ),
    written(
        "Tank",
        "tank",
        Measure.VOLUME,
        "Slurry that the mix tank holds.",
        "15 gal",
        shown="gal",
        blank="not known",
        above_low=True,
    ),
    choice(
        "Tags",
        "tags",
        (PER_LOT, PER_PACKAGE),
        "Whether a tag is made for every lot and recipe, or for every package of it.",
        PER_PACKAGE,
        default=PER_LOT,
    ),
    choice(
        "Tag stock",
        "tag_stock",
        TAG_STOCK,
        "Size of the labels that tags are printed on.",
        TAG_STOCK[0],
        default=TAG_STOCK[1],
    ),
    yes_no(
        "Credit white mold",
        "credit_white_mold",
        "Whether Worth treating credits a seed treatment with losses to white mold. Infection "
        "comes through the flowers, long after what is on the seed has gone.",
    ),
)

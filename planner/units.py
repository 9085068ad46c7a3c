"""Units of measure: a closed list of spellings, and text to numbers in working units."""

from __future__ import annotations

from enum import Enum


class Measure(Enum):
    """What a quantity measures; the value is its working unit."""

    VOLUME = "fl oz"
    AREA = "acres"
    SEEDS = "seeds"
    SEEDS_PER_AREA = "seeds/acre"
    PLANTS_PER_AREA = "plants/acre"
    SEED_SIZE = "seeds/lb"
    SEED_UNITS = "units"
    BAGS = "bags"
    LIQUID_ON_SEED = "fl oz/cwt"
    DENSITY = "lb/gal"
    ACTIVE_PER_AREA = "lb/acre"
    ACTIVE_PER_SEED = "mg/seed"
    MONEY = "$"
    MONEY_PER_SEED_UNIT = "$/unit"
    CROP_PRICE = "$/bu"
    YIELD = "bu/acre"
    DAYS = "days"
    MINUTES = "min"
    SEED_FLOW = "lb/min"

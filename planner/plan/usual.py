"""What is usual: ranges of figures in which nobody would ask, each with its source.

Each is wider than its source, so that what is merely rare passes; a figure ten times off falls
outside. Where nothing is published, the range is common practice and says so.
"""

from __future__ import annotations

from typing import NamedTuple


class Usual(NamedTuple):
    """Range in which nobody would ask, in working units."""

    low: float
    high: float

    def holds(self, value: float) -> bool:
        """Whether a value lies in it."""
        return self.low <= value <= self.high


SEED = Usual(1_700.0, 5_000.0)
"""Seeds per lb of soybeans (L. R. Gibson, Iowa State Univ., Agronomy 212)."""
USUAL_SEEDS_PER_LB = 2_800.0
"""About the average (W. J. Wiebold, Univ. of Missouri, 15 Nov 2008)."""
DROP = Usual(40_000.0, 400_000.0)
"""Seeds or plants per acre: half of the least to twice the most of Iowa State's trial, 73,000 to
240,000 (Integrated Crop Management, 18 Mar 2002), roughly."""
FIELD = Usual(0.1, 5_000.0)
"""Acres of a field; a section of the public land survey has 640 (common practice)."""
UNITS_PER_BAG = Usual(0.25, 1_500.0)
"""Units in a package, from a half-size bag to a truck of bulk seed (common practice)."""
SEEDS_PER_UNIT = Usual(100_000.0, 200_000.0)
"""140,000 (W. J. Wiebold, Univ. of Missouri, 15 Nov 2008); 160,000 about 2002 (Iowa State Univ.,
Integrated Crop Management, 18 Mar 2002)."""
PRODUCT_ON_SEED = Usual(0.1, 9.2)
"""Fl oz/cwt of one product. Below the least that Ohio State names for a seed fungicide, 0.16 (Dec
2013); up to the lowest volume of all liquids together in Brzezinski et al. 2017, 600 mL/100 kg (doi
10.1590/2317-1545v39n2175179)."""
WET = 9.2
"""Fl oz/cwt of all liquids: 600 mL/100 kg, the lowest volume above none of Brzezinski et al. 2017,
in which more liquid lowered the quality of seed of low vigor."""
ACTIVE_ON_SEED = Usual(0.002, 0.5)
"""mg/seed: published trials have 0.0094 for two fungicides together (Gaspar, Mitchell & Conley,
UW-Madison, 2014) to 0.15 (Kandel et al., multi-location trials 2015-16); a fifth and thrice."""
ACTIVE_ON_WEIGHT = Usual(1.2, 310.0)
"""g/100 kg: `ACTIVE_ON_SEED` at 2,800 seeds/lb (derived)."""
ALL_ON_SEED = Usual(3.0, 36.8)
"""Fl oz/cwt of all liquids: up to the highest volume of Brzezinski et al. 2017, 2,400 mL/100 kg;
the lower end is common practice."""
CONTAINERS = {
    "bottle": Usual(8.0, 256.0),
    "jug": Usual(32.0, 832.0),
    "pail": Usual(128.0, 832.0),
    "keg": Usual(640.0, 4_480.0),
    "drum": Usual(1_280.0, 7_680.0),
    "tote": Usual(7_680.0, 44_800.0),
    "bulk": Usual(7_680.0, 44_800.0),
}
"""Fl oz, by a word in the container's name: taken whole from half a pint to 5 gal, drums of 30 and
55 gal (Washington Pest Consultants, AENews June 1998), mini-bulks to 300 gal (Missouri Dept. of
Natural Resources); kegs, drums and totes of other sizes are common practice."""
ANY_CONTAINER = Usual(8.0, 44_800.0)
"""Fl oz: half a pint to 350 gal, the ends of `CONTAINERS`."""
SEED_PRICE = Usual(15.0, 200.0)
"""$ a unit: $50.95 in 2017 (Maryland checkoff project 53199), $26 to $34 in 2005 (Ohio Ag Manager,
1 Jan 2005); from about half of the least to four times the later one (derived)."""
TREATMENT_COST = Usual(0.02, 40.0)
"""$ of one product on a unit of seed: two fungicides $4 to $5 a unit (UW-Madison, 2008-13), all
that is put on together up to $30 an acre (Illinois checkoff, 2016); the lower end is common
practice."""
CROP_PRICE = Usual(4.0, 30.0)
"""$/bu: USDA WASDE of November 2025 has 10.50; about a third and thrice (derived)."""
DENSITY = Usual(6.0, 16.0)
"""lb/gal of a liquid; water has 8.3 (common practice)."""
LIKE_DOLLARS = frozenset(
    {"$", "US$", "USD", "C$", "CA$", "CAD", "A$", "AUD", "\N{EURO SIGN}", "EUR", "CHF", "GBP"}
) | {"\N{POUND SIGN}"}
"""Currencies in which the ranges of prices are of the right size."""
TIMES = 5.0
"""How many times a figure may be off from its fellows before it is asked about."""

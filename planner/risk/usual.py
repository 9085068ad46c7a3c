"""What is usually not known, for a season whose sheet Unknowns is empty: only what has a source.

Seeds per lb: seed-testing rules allow 4% for a soybean seed count (A. Hall, AOSA/SCST, "Seed Count
Standardization"). Germination: the difference of two tests of 400 seeds that 7 CFR 201.63 allows.
No published figure was found for acres switched or replanted on one farm, for a treater's error or
for units on hand, so none is supposed.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from planner.season.domain import Quantity, Unknown

if TYPE_CHECKING:
    from planner.season.domain import Season

SEED_COUNT = 0.04
"""Seed-testing rules on soybean's seed count: A. Hall, "Seed Count Standardization"."""
GERMINATION = ((0.96, 0.05), (0.90, 0.06), (0.80, 0.07), (0.70, 0.08), (0.60, 0.09), (0.0, 0.10))
"""From which germination on which difference is allowed, points as fractions: 7 CFR 201.63."""
TOLD = (
    "Sheet Unknowns is empty; these were taken: seed count 4% either way, which seed-testing "
    'rules allow for a soybean seed count (A. Hall, AOSA/SCST, "Seed Count Standardization"), and '
    "germination 5 to 10 points either way, which 7 CFR 201.63 allows between two tests, each lot "
    "on its own. Acres, units on hand and product used were taken as planned: no published figure "
    "was found for one farm."
)

NOT_TAKEN = (
    "You asked for usual unknowns: sheet Unknowns is filled in, so its own rows were taken and "
    "nothing was added to them."
)


def allowed_points(germination: float) -> float:
    """Difference between two tests that 7 CFR 201.63 allows around a germination, as a fraction.

    >>> allowed_points(0.96), allowed_points(0.87), allowed_points(0.5)
    (0.05, 0.07, 0.1)
    """
    return next(points for begin, points in GERMINATION if germination >= begin)


def with_usual_unknowns(season: Season) -> Season:
    """Season with what is usually not known, and told so; the season itself if it names its own."""
    if season.unknowns:
        return season
    found = [Unknown(Quantity.SEEDS_PER_LB, -SEED_COUNT, SEED_COUNT)]
    for lot in season.lots:
        if lot.germination is not None:
            points = allowed_points(lot.germination)
            high = min(points, 1.0 - lot.germination)
            found.append(Unknown(Quantity.GERMINATION, -points, high, of=(lot.name,)))
    return replace(season, unknowns=tuple(found), notes=(*season.notes, TOLD))

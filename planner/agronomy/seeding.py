"""From acres and stand to seeds, units and pounds."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.season.domain import SeedingRate
from planner.units import Measure, in_unit
from planner.units.exact import FEET_PER_METER, SQUARE_FEET_PER_ACRE

if TYPE_CHECKING:
    from planner.season.domain import Farm, Field, SeedLot

PLANTER_STEP = 500.0
"""Seeds an acre between two settings of a planter: common practice."""


def drop_rate(field: Field, lot: SeedLot) -> float:
    """Seeds dropped per acre of a field when a lot is planted there.

    A target stand is divided by emergence and by the lot's germination.

    Raises
    ------
    ValueError
        When the field is given by stand and the lot has no germination.

    Notes
    -----
    Stand / (germination x survival): Univ. of Nebraska CropWatch, "Soybean Seeding Rate Tips",
    2016.
    """
    sowing = field.sowing
    if isinstance(sowing, SeedingRate):
        return sowing.seeds
    if lot.germination is None:
        msg = f"lot {lot.name} has no germination, which field {field.name} needs"
        raise ValueError(msg)
    return sowing.plants / sowing.emergence / lot.germination


def planter_step(*, metric: bool) -> float:
    """Seeds an acre between two settings of a planter: 500 an acre, or 1,000 a hectare."""
    per_acre = in_unit(1.0, Measure.SEEDS_PER_AREA, "seeds/ha")
    return 2 * PLANTER_STEP / per_acre if metric else PLANTER_STEP


def planter_rate(seeds: float, *, metric: bool) -> float:
    """Seeds an acre that a planter can be set to: whole 500s an acre, or 1,000s a hectare.

    >>> planter_rate(123_529.4, metric=False)
    123500.0
    """
    step = planter_step(metric=metric)
    return round(seeds / step) * step


def seeds_in_a_row(seeds: float, row_width: float | None, *, metric: bool) -> float | None:
    """Seeds in 10 feet of row (metric in 10 m), of so many an acre in rows so many inches apart.

    L. R. Gibson, Iowa State Univ., Agronomy 212: 200,000 in 15-inch rows are 5.74 in a foot.

    >>> round(seeds_in_a_row(200_000.0, 15.0, metric=False), 1)
    57.4
    """
    if row_width is None:
        return None
    length = 10.0 * (FEET_PER_METER if metric else 1.0)
    return seeds * length * row_width / 12.0 / SQUARE_FEET_PER_ACRE


def units_per_acre(field: Field, lot: SeedLot, farm: Farm) -> float:
    """Units of a lot that an acre of a field takes, spare seed included."""
    return drop_rate(field, lot) * (1.0 + farm.spare_seed) / farm.seeds_per_unit


def unit_weight(lot: SeedLot, farm: Farm) -> float:
    """Weight of a unit of a lot, lb.

    140,000 seeds at 2,800 per lb weigh 50 lb: W. J. Wiebold, Univ. of Missouri, Integrated Pest &
    Crop Management, 15 Nov 2008.
    """
    return farm.seeds_per_unit / lot.seeds_per_lb

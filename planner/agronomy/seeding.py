"""From acres and stand to seeds, units and pounds."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.season.domain import SeedingRate

if TYPE_CHECKING:
    from planner.season.domain import Farm, Field, SeedLot


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


def units_per_acre(field: Field, lot: SeedLot, farm: Farm) -> float:
    """Units of a lot that an acre of a field takes, spare seed included."""
    return drop_rate(field, lot) * (1.0 + farm.spare_seed) / farm.seeds_per_unit


def unit_weight(lot: SeedLot, farm: Farm) -> float:
    """Weight of a unit of a lot, lb.

    140,000 seeds at 2,800 per lb weigh 50 lb: W. J. Wiebold, Univ. of Missouri, Integrated Pest &
    Crop Management, 15 Nov 2008.
    """
    return farm.seeds_per_unit / lot.seeds_per_lb

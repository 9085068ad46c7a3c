"""Seed arithmetic against published values; sources beside each check.

Derived means that no outside source claims the figure: it follows from the ones named, by hand.
Reprint means that the trade press carried an extension article, and that copy was read. All sources
stand in full in data/SOURCES.md.
"""

import pytest

from planner.agronomy.rates import LB_PER_100KG, MG_PER_LB
from planner.agronomy.seeding import drop_rate, seeds_in_a_row, unit_weight, units_per_acre
from planner.season.domain import SeedingRate, TargetStand
from tests.support.seasons import farm, field, lot


def weight(seeds_per_lb, seeds_per_unit=140_000.0):
    return unit_weight(lot(seeds_per_lb=seeds_per_lb), farm(seeds_per_unit=seeds_per_unit))


def pounds_per_acre(seeds, seeds_per_lb):
    one, home = lot(seeds_per_lb=seeds_per_lb), farm(spare_seed=0.0)
    return units_per_acre(field(seeds=seeds), one, home) * unit_weight(one, home)


@pytest.mark.parametrize(("seeds_per_lb", "seeds"), [(2200, 132_000), (3000, 180_000)])
def test_sowing_by_weight(seeds_per_lb, seeds):
    """60 lb/ac is 132,000 or 180,000 seeds (L. R. Gibson, Iowa State Univ., Agronomy 212)."""
    assert pounds_per_acre(seeds, seeds_per_lb) == pytest.approx(60.0)


def test_pounds_per_acre():
    """150,000 / 2,750 = 54.5 lb/ac (L. R. Gibson, Iowa State Univ., Agronomy 212)."""
    assert pounds_per_acre(150_000.0, 2750.0) == pytest.approx(54.5, abs=0.05)
    # derived: 50 ac take 2,727.3 lb, 54.55 bags of 50 lb
    bag = weight(2750.0, 137_500.0)
    assert 50 * pounds_per_acre(150_000.0, 2750.0) / bag == pytest.approx(54.545, abs=5e-4)


def test_unit_of_140_000_seeds():
    """50 lb at 2,800 seeds/lb, 43.75 (printed 43.8) at 3,200.

    W. J. Wiebold, Univ. of Missouri, Integrated Pest & Crop Management, 15 Nov 2008: the unit of
    140,000 seeds was upcoming then.
    """
    assert weight(2800.0) == 50.0
    assert weight(3200.0) == 43.75


def test_unit_of_160_000_seeds():
    """160,000-seed units were in use around 2002 (Iowa State ICM newsletter, 18 Mar 2002).

    At 3,200 seeds/lb a bag of 50 lb holds that many (Wiebold 2008).
    """
    assert weight(3200.0, 160_000.0) == 50.0


@pytest.mark.parametrize(("seeds_per_lb", "pounds"), [(2500, 56.0), (2800, 50.0), (3100, 45.2)])
def test_catalogue_band(seeds_per_lb, pounds):
    """A band of 300 seeds/lb (Specht, Rees & Conley, soybeanresearchinfo.com).

    That band only: the sizes and the weights of a unit are derived.
    """
    assert weight(seeds_per_lb) == pytest.approx(pounds, abs=0.05)


@pytest.mark.parametrize(
    ("seeds_per_lb", "grams"),
    [
        (2000, 226.796),
        (2400, 188.997),
        (2600, 174.459),
        (2800, 161.997),
        (3000, 151.197),
        (3200, 141.748),
        (3500, 129.598),
    ],
)
def test_thousand_seed_weight(seeds_per_lb, grams):
    """Grams of 1,000 seeds = 453,592.37 / (seeds/lb): exact pound (NIST Handbook 44, App. C)."""
    assert weight(seeds_per_lb, 1000.0) * MG_PER_LB / 1000 == pytest.approx(grams, abs=5e-4)


@pytest.mark.parametrize(
    ("seeds_per_lb", "pounds"),
    [(2000, 70.0), (2400, 58.333), (2500, 56.0), (2700, 51.852), (3000, 46.667), (3500, 40.0)],
)
def test_unit_weight_by_size(seeds_per_lb, pounds):
    """140,000 seeds over seeds per lb (derived)."""
    assert weight(seeds_per_lb) == pytest.approx(pounds, abs=5e-4)


@pytest.mark.parametrize(
    ("seeds_per_lb", "units"),
    [(2400, 42.857), (2600, 46.429), (2800, 50.0), (3000, 53.571), (3200, 57.143)],
)
def test_units_in_a_bulk_lot(seeds_per_lb, units):
    """2,500 lb of seed: 2,500 x seeds per lb / 140,000 (derived)."""
    assert 2500.0 / weight(seeds_per_lb) == pytest.approx(units, abs=5e-4)


@pytest.mark.parametrize(
    ("stand", "emergence", "germination", "seeds"),
    [
        # Univ. of Nebraska CropWatch, "Soybean Seeding Rate Tips", 2016: 100,000 / (0.95 x 0.85)
        (100_000.0, 0.85, 0.95, 123_839),
        # E. P. Christmas, Purdue Univ., 22 Feb 2001: 200,000 seeds in 7.5-in rows, for 90 %
        # germination and 90 % emergence; the stand of 162,000 is derived
        (162_000.0, 0.90, 0.90, 200_000),
        # Christmas, Purdue Univ., 6 Apr 2001: under 90 % divide the rate by the germination; the
        # figure for 200,000 at 85 % is derived
        (200_000.0, 1.0, 0.85, 235_294),
        # S. P. Conley, Univ. of Wisconsin, reprint in Corn and Soybean Digest: late drilled,
        # 180,000 plants may need 225,000 seeds; 80 % is derived
        (180_000.0, 0.80, 1.0, 225_000),
        # Pure live seed = seed x purity x germination (the trade's definition, from memory):
        # 170,000 at 98 % and 90 %, derived
        (170_000.0, 0.98, 0.90, 192_744),
        # Endres & Kandel, North Dakota State Univ. A1961, 2021: 8 % of 170,000 pure live seeds
        # fail, which leaves "about 155,000" plants; 156,400 is derived
        (156_400.0, 0.92, 1.0, 170_000),
        # derived: 110,000 / 0.9 / 0.9
        (110_000.0, 0.90, 0.90, 135_802.469),
    ],
)
def test_drop_rate(stand, emergence, germination, seeds):
    one = field(sowing=TargetStand(stand, emergence))
    assert drop_rate(one, lot(germination=germination)) == pytest.approx(seeds, abs=0.5)


def test_drop_rate_without_germination_is_refused():
    with pytest.raises(ValueError, match="no germination"):
        drop_rate(field(sowing=TargetStand(100_000.0, 0.9)), lot())


def test_seeding_rate_needs_no_germination():
    assert drop_rate(field(sowing=SeedingRate(130_000.0)), lot()) == 130_000.0


@pytest.mark.parametrize(
    ("seeds_per_lb", "price", "cost"),
    [
        (2000, 26, 32.50),
        (2000, 28, 35.00),
        (2000, 34, 42.50),
        (2200, 26, 29.55),
        (2200, 34, 38.64),
        (2400, 26, 27.08),
    ],
)
def test_seed_cost_per_acre(seeds_per_lb, price, cost):
    """125,000 seeds/ac at a price per 50 lb (Ohio State Univ., Ohio Ag Manager, 1 Jan 2005).

    Six cells of that table, those that were read and are right by arithmetic; two more are
    misprints (see the next test).
    """
    assert pounds_per_acre(125_000.0, seeds_per_lb) * price / 50 == pytest.approx(cost, abs=5e-3)


@pytest.mark.parametrize(("price", "printed", "cost"), [(30, 35.50, 37.50), (32, 40.44, 40.00)])
def test_seed_cost_per_acre_where_the_table_is_misprinted(price, printed, cost):
    """2,000 seeds/lb in the same table, whose row rises by 2.50 $ for every 2 $ of price.

    So the cells at $30 and $32 should be 37.50 and 40.00, as 125,000 / 2,000 x price / 50 gives;
    the 35.50 and 40.44 that are printed fit neither.
    """
    found = pounds_per_acre(125_000.0, 2000) * price / 50
    assert found == pytest.approx(cost, abs=5e-3)
    assert found != pytest.approx(printed, abs=0.1)


def test_seed_cost_per_acre_by_unit():
    """150,000 seeds/ac of a $50.95 bag of 140,000 cost $54.59/ac.

    Rate and price: Kness & Kleczewski, Maryland soybean checkoff, project 53199 (2017). The cost
    is derived.
    """
    assert units_per_acre(field(seeds=150_000.0), lot(), farm()) * 50.95 == pytest.approx(
        54.59, abs=5e-3
    )


def test_white_mold_cap_in_units():
    """110,000 seeds/ac are 0.7857 units of 140,000 (derived).

    The rate is the most that Crop Protection Network CPN-5009 (2022) advises where white mold was
    severe before, or where it has been and rows are 15 inches apart or less.
    """
    units = units_per_acre(field(seeds=110_000.0), lot(), farm())
    assert units == pytest.approx(0.7857, abs=5e-5)


def test_spare_seed_is_on_top():
    """80 acres at one unit with 3 % spare: 82.4 units (by hand)."""
    assert 80 * units_per_acre(field(), lot(), farm(spare_seed=0.03)) == pytest.approx(82.4)


def test_end_to_end_chain():
    """160 ac, 110,000 plants at 90 % and 90 %, 2,800 seeds/lb: seeds, units, pounds (derived)."""
    one, seed = field(sowing=TargetStand(110_000.0, 0.9)), lot(germination=0.9)
    units = 160 * units_per_acre(one, seed, farm())
    assert 160 * drop_rate(one, seed) == pytest.approx(21_728_395.06, abs=0.01)
    assert units == pytest.approx(155.2028, abs=5e-5)
    assert units * unit_weight(seed, farm()) == pytest.approx(7760.141, abs=1e-3)


def test_hundred_kilograms_in_pounds():
    """1 lb = 0.45359237 kg exactly (NIST Handbook 44, Appendix C)."""
    pounds = LB_PER_100KG
    assert pounds * 0.45359237 == pytest.approx(100.0, rel=1e-12)


def test_seeds_in_a_row():
    """Gibson: 200,000 in 15-inch rows are 5.74 in a foot, 5 in a foot are 174,240 an acre."""
    assert seeds_in_a_row(200_000.0, 15.0, metric=False) == pytest.approx(57.4, abs=0.05)
    assert seeds_in_a_row(174_240.0, 15.0, metric=False) == pytest.approx(50.0)
    assert seeds_in_a_row(200_000.0, None, metric=False) is None
    # derived: 400,000/ha in rows of 0.5 m are 20 in a meter
    per_acre = 400_000.0 * 0.40468564224
    assert seeds_in_a_row(per_acre, 50.0 / 2.54, metric=True) == pytest.approx(200.0)

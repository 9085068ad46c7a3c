"""Rates against published and exactly derived values; sources beside each check.

Derived: by hand from the exact pound and gallon (NIST Handbook 44, Appendix C), 140,000 seeds a
unit and the figures named.
"""

import pytest

from planner.agronomy.rates import (
    LB_PER_100KG,
    concentration,
    floz_per_cwt,
    floz_per_unit,
    lb_per_acre,
    liquid_per_cwt,
    mg_per_seed,
)
from planner.season.domain import Active, Basis
from tests.support.seasons import lot, product, recipe, season

STRONG = product(actives=(Active("alpha-ine", 5.0),))


def rated(amount, basis=Basis.FLOZ_PER_UNIT, seeds_per_lb=2800.0):
    """(fl oz a unit, fl oz per cwt) of one rate on a lot."""
    (rate,) = recipe(Alpha=(amount, basis, None)).rates
    seed = lot(seeds_per_lb=seeds_per_lb)
    one = season(products=(STRONG,))
    return floz_per_unit(rate, seed, one), floz_per_cwt(rate, seed, one)


@pytest.mark.parametrize(
    ("seeds_per_lb", "per_cwt"),
    [(2000, 1.4286), (2400, 1.7143), (2800, 2.0), (3200, 2.2857), (3500, 2.5)],
)
def test_unit_and_cwt(seeds_per_lb, per_cwt):
    """1 fl oz/unit x (seeds/lb) / 1,400 (derived)."""
    assert rated(1.0, seeds_per_lb=seeds_per_lb)[1] == pytest.approx(per_cwt, abs=5e-5)


@pytest.mark.parametrize(
    ("seeds_per_lb", "per_unit"),
    [(2200, 2.55), (2600, 2.15), (2800, 2.00), (3200, 1.75), (3600, 1.56)],
)
def test_cwt_on_a_unit(seeds_per_lb, per_unit):
    """4 fl oz/cwt on a unit: 4 x 1,400 / (seeds/lb) (derived)."""
    found = rated(4.0, Basis.FLOZ_PER_CWT, seeds_per_lb=seeds_per_lb)[0]
    assert found == pytest.approx(per_unit, abs=0.005)


@pytest.mark.parametrize(("seeds_per_lb", "floz"), [(2600, 1615), (2300, 1826)])
def test_small_seed_takes_less(seeds_per_lb, floz):
    """500 units at 6 fl oz/cwt: 500 x 6 x 1,400 / (seeds/lb) (derived)."""
    found = 500 * rated(6.0, Basis.FLOZ_PER_CWT, seeds_per_lb=seeds_per_lb)[0]
    assert found == pytest.approx(floz, abs=0.5)


def test_rate_per_bushel():
    """5 fl oz/cwt are 3 fl oz on a bushel of 60 lb (Indiana Code 24-6-1-1; derived)."""
    found = rated(5.0, Basis.FLOZ_PER_CWT, seeds_per_lb=140_000 / 60.0)[0]
    assert found == pytest.approx(3.0)


def test_active_on_a_unit():
    """0.15 mg/seed is 21 g a unit; a fl oz at 5.0 lb/gal holds 5 x 453.59237 / 128 g (derived)."""
    assert rated(0.15, Basis.MG_PER_SEED)[0] == pytest.approx(21 / 17.71845, rel=1e-6)


def test_active_on_100_kg():
    """0.15 mg on each of 2,800 seeds/lb is 420 mg/lb, 92.594 g/100 kg: as much product."""
    grams = 0.15 * 2800 / 1000 * LB_PER_100KG
    assert grams == pytest.approx(92.594, abs=5e-4)
    found = rated(grams, Basis.G_PER_100KG)[0]
    assert found == pytest.approx(21 / 17.71845, rel=1e-6)
    # twice the seeds in a pound: half the pounds in a unit, half the product
    half = rated(grams, Basis.G_PER_100KG, seeds_per_lb=5600.0)[0]
    assert half == pytest.approx(21 / 17.71845 / 2, rel=1e-6)


@pytest.mark.parametrize(
    ("mg", "seeds", "pounds"),
    [
        # derived: mg x seeds / 453,592.37
        (0.15, 140_000, 0.046297),
        (0.075, 110_000, 0.018188),
    ],
)
def test_pounds_on_an_acre(mg, seeds, pounds):
    assert lb_per_acre(mg, seeds) == pytest.approx(pounds, abs=5e-7)


@pytest.mark.parametrize(("mg", "pounds"), [(0.0094, 0.0029), (0.0858, 0.0265)])
def test_pounds_on_an_acre_of_trial_rates(mg, pounds):
    """Active ingredients together, mg/seed, at 140,000 seeds/acre; pounds are derived.

    Gaspar, Mitchell & Conley, Univ. of Wisconsin-Madison, summary of 2014: fludioxonil and
    mefenoxam together 0.0094; 0.0858 is the rate given where thiamethoxam is added.
    """
    assert lb_per_acre(mg, 140_000) == pytest.approx(pounds, abs=5e-5)


def test_mg_per_seed_is_the_way_back():
    """What a rate by active ingredient puts on a seed is the rate; all others on the side."""
    both = product(actives=(Active("alpha-ine", 5.0), Active("beta-ine", 1.0)))
    one = recipe(Alpha=(0.15, Basis.MG_PER_SEED, "alpha-ine"))
    found = mg_per_seed(one, lot(), season(products=(both,)))
    assert found == pytest.approx({"alpha-ine": 0.15, "beta-ine": 0.03})


def test_liquid_of_a_recipe_adds_up():
    """2 fl oz/unit at 50 lb are 4 fl oz/cwt; with 1.5 fl oz/cwt more, 5.5."""
    one = recipe(Alpha=2.0, Beta=(1.5, Basis.FLOZ_PER_CWT))
    found = liquid_per_cwt(one, lot(), season(products=(STRONG, product("Beta"))))
    assert found == pytest.approx(5.5)


def test_end_to_end_volume():
    """155.2028 units of 50 lb at 3 fl oz/cwt take 232.804 fl oz (derived)."""
    assert 155.202822 * rated(3.0, Basis.FLOZ_PER_CWT)[0] == pytest.approx(232.804, abs=5e-4)


def test_which_active_is_meant():
    """The only one where none is named; an unclear or unknown one is refused."""
    both = product(actives=(Active("alpha-ine", 5.0), Active("beta-ine", 1.0)))
    assert concentration(STRONG, None) == 5.0
    assert concentration(both, "beta-ine") == 1.0
    with pytest.raises(ValueError, match="2 active ingredients"):
        concentration(both, None)
    with pytest.raises(ValueError, match="0 active ingredients"):
        concentration(both, "gamma-ine")

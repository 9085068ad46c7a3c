"""Calibration of the treater: doses, seed size and catches, by hand."""

import io
from dataclasses import replace

import pytest
from openpyxl import load_workbook

from planner.agronomy.rates import floz_per_cwt, floz_per_unit
from planner.agronomy.seeding import unit_weight
from planner.campaign.calibration import (
    calibration,
    catch,
    dose,
    doses,
    grams_per_1000,
)
from planner.campaign.campaign import make_campaign
from planner.report.campaign_frames import campaign_book
from planner.report.workbook import render
from planner.season.domain import (
    Active,
    Basis,
    Farm,
    Product,
    Rate,
    Recipe,
    Season,
    SeedLot,
)
from tests.support.campaigns import FIRST, hand_plan, hand_season, random_case


def lot(per_lb, units=1.0):
    return SeedLot("L", "V", 2.0, 500.0, per_lb, units_per_bag=units)


def one_rate(amount, basis, **farm):
    """Season of one product and one recipe, for `doses`."""
    farm = Farm(plan_date=FIRST, crop_year=2027, first_treating_day=FIRST, **farm)
    product = Product("P", actives=(Active("A", 5.0),))
    recipe = Recipe("R", (Rate("P", amount, basis),))
    return Season(farm, (), (), (product,), (), (recipe,)), recipe


@pytest.mark.parametrize(
    ("per_lb", "grams"),
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
def test_weight_of_a_thousand_seeds(per_lb, grams):
    """g per 1,000 seeds = 453,592.37 / (seeds/lb): arithmetic on the international pound."""
    assert grams_per_1000(per_lb) == pytest.approx(grams, abs=5e-4)


def test_row_of_a_continuous_treater():
    """300 lb/min at 6 fl oz/cwt: 18 fl oz/min = 532 mL/min, 9.0 fl oz in 30 s (by hand)."""
    made = dose("P", 3.0, 50.0, 1.0, 300.0)
    assert made.floz_per_min == pytest.approx(18.0)
    assert made.ml_per_min == pytest.approx(532, abs=0.5)
    assert [c.floz for c in made.catches] == pytest.approx([4.5, 9.0, 18.0])
    assert [c.seconds for c in made.catches] == [15, 30, 60]


def test_row_of_a_batch_treater():
    """A 40-lb dump at 6 fl oz/cwt takes 2.4 fl oz = 71 mL (by hand)."""
    made = dose("P", 6.0 * 0.4, 40.0, 1.0, None)
    assert made.floz_per_cwt == pytest.approx(6.0)
    assert made.ml_per_bag == pytest.approx(71, abs=0.03)
    assert (made.floz_per_min, made.catches) == (None, ())


def test_band_of_a_catch():
    """60 s at 10 fl oz/min: 295.735 mL, five percent either way (common practice)."""
    made = catch(10.0, 60)
    assert made.ml == pytest.approx(295.735295625)
    assert (made.low_ml, made.high_ml) == pytest.approx((280.9485, 310.5221), abs=1e-3)


@pytest.mark.parametrize(
    ("per_lb", "weight", "floz"),
    [
        (2200, 63.6, 2.55),
        (2600, 53.8, 2.15),
        (2800, 50.0, 2.0),
        (3200, 43.8, 1.75),
        (3600, 38.9, 1.56),
    ],
)
def test_size_of_the_seed_changes_a_rate_by_weight(per_lb, weight, floz):
    """4 fl oz/cwt a unit by seeds/lb, derived; sizes within those of Gibson's Agronomy 212."""
    season, recipe = one_rate(4.0, Basis.FLOZ_PER_CWT)
    (made,) = doses(season, recipe, lot(per_lb))
    assert made.floz_per_unit == pytest.approx(floz, abs=0.005)
    assert unit_weight(lot(per_lb), season.farm) == pytest.approx(weight, abs=0.05)


@pytest.mark.parametrize(
    ("per_lb", "per_cwt"),
    [(2000, 1.4286), (2400, 1.7143), (2800, 2.0), (3200, 2.2857), (3500, 2.5)],
)
def test_floz_a_unit_as_floz_a_cwt(per_lb, per_cwt):
    """fl oz per 140,000-seed unit x (seeds/lb)/1,400 = fl oz/cwt (arithmetic)."""
    season, recipe = one_rate(1.0, Basis.FLOZ_PER_UNIT)
    (made,) = doses(season, recipe, lot(per_lb))
    assert made.floz_per_cwt == pytest.approx(per_cwt, abs=5e-5)


def test_mg_a_seed_as_floz_a_unit():
    """0.15 mg/seed is 21 g a unit; at 5 lb/gal 1.18520 fl oz (arithmetic, invented strength)."""
    season, recipe = one_rate(0.15, Basis.MG_PER_SEED)
    (made,) = doses(season, recipe, lot(2800))
    assert made.floz_per_unit == pytest.approx(1.18520, abs=1e-5)


def test_floz_a_cwt_in_metric():
    """4 fl oz/cwt = 260.794 mL/100 kg (NIST Handbook 44, App. C: pound and fluid ounce).

    As the calibration sheet of a metric farm gives it, under "By weight": R2 on L2.
    """
    season = hand_season()
    season = replace(season, farm=replace(season.farm, metric=True))
    book = load_workbook(io.BytesIO(render(campaign_book(make_campaign(season, hand_plan())))))
    rows = [[c for c in row if c is not None] for row in book["Calibration"].values]
    start = next(i for i, row in enumerate(rows) if row and str(row[0]).endswith("L2 with R2"))
    head = next(row for row in rows[start:] if row[:1] == ["Pump with"])
    alpha = next(row for row in rows[start:] if row[:1] == ["Alpha"])
    place = next(i for i, text in enumerate(head) if text.startswith("By weight"))
    assert "(mL/100\N{NO-BREAK SPACE}kg)" in head[place]
    assert alpha[place] == pytest.approx(260.794, abs=5e-4)


def test_size_table_of_a_batch():
    """Ten percent more seeds a pound: 50 / 1.1 = 45.4545 lb; 4 fl oz/cwt of that is 1.81818.

    The flow by weight stays: 4 fl oz/cwt at 300 lb/min is 12 fl oz/min. A rate a unit instead
    stays 2 a unit, and its flow rises by a tenth: 300 / 45.4545 x 2 = 13.2 fl oz/min.
    """
    made = make_campaign(hand_season(), hand_plan())
    by_recipe = {c.recipe: c for c in made.calibration}
    row = by_recipe["R2"].sizes[-1]
    assert row.change == pytest.approx(0.1)
    assert row.unit_weight == pytest.approx(45.4545, abs=1e-4)
    assert row.bag_weight == pytest.approx(1818.18, abs=0.01)
    assert row.doses[0].floz_per_unit == pytest.approx(1.81818, abs=1e-5)
    assert row.doses[0].floz_per_min == pytest.approx(12.0)
    plain = by_recipe["R1"]
    assert plain.doses[0].floz_per_min == pytest.approx(12.0)
    assert plain.sizes[-1].doses[0].floz_per_unit == pytest.approx(2.0)
    assert plain.sizes[-1].doses[0].floz_per_min == pytest.approx(13.2)


def test_calibration_agrees_with_the_rates_that_the_plan_counts():
    season, plan = random_case(11)
    made = make_campaign(season, plan)
    for batch in made.batches:
        sheet = calibration(season, batch)
        recipe = next(r for r in season.recipes if r.name == batch.recipe)
        one = next(x for x in season.lots if x.name == batch.lot)
        for rate, d in zip(recipe.rates, sheet.doses, strict=True):
            assert d.floz_per_unit == pytest.approx(floz_per_unit(rate, one, season))
            assert d.floz_per_cwt == pytest.approx(floz_per_cwt(rate, one, season))

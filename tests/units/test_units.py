"""Factors against published ones; what is understood, what is refused and with which words.

Published factors: NIST Handbook 44, Appendix C (gallon, fluid ounce, quart, pint, bushel, pound,
foot, acre of 43,560 square feet). With the international foot of 0.3048 m that acre is
4,046.8564224 m2; the survey acre of older tables, 4,046.87261 m2 (from memory), is not ours.
Figures called derived follow from those by hand.
"""

import math
from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.units import (
    Measure,
    Unreadable,
    find_unit,
    in_unit,
    read_land,
    read_number,
    read_percent,
    read_quantity,
    read_rate,
)
from planner.units.factors import known_units, registry


def close(expected: float, digits: float = 1e-12):
    return pytest.approx(expected, rel=digits)


@pytest.mark.parametrize(
    ("text", "measure", "expected"),
    [
        # NIST Handbook 44, Appendix C: 1 gal = 231 in3 = 128 fl oz = 4 qt = 8 pt
        ("1 gal", Measure.VOLUME, 128.0),
        ("1 qt", Measure.VOLUME, 32.0),
        ("1 pt", Measure.VOLUME, 16.0),
        # Handbook 44: 1 fl oz = 29.573 529 562 5 mL; 1 qt = 946.352 946 mL; 1 gal = 3.785 411 784 L
        ("29.5735295625 mL", Measure.VOLUME, 1.0),
        ("946.352946 mL", Measure.VOLUME, 32.0),
        ("473.176473 mL", Measure.VOLUME, 16.0),
        ("3.785411784 L", Measure.VOLUME, 128.0),
        ("9.46352946 L", Measure.VOLUME, 320.0),  # 2.5 gal
        ("1,040.9882406 L", Measure.VOLUME, 275 * 128.0),
        # Handbook 44: 1 acre = 43,560 ft2, 1 ft = 0.3048 m, so 4,046.8564224 m2
        ("0.40468564224 ha", Measure.AREA, 1.0),
        # Handbook 44: 1 lb = 0.453 592 37 kg
        ("6172.94335 seeds/kg", Measure.SEED_SIZE, 2800.0),
        # derived, exact pound: 2,800 seeds/lb are 161.997 g/1000 seeds, 2,400 are 188.997
        ("161.99727500 g/1000 seeds", Measure.SEED_SIZE, 2800.0),
        ("188.996820833 g/1,000 seeds", Measure.SEED_SIZE, 2400.0),
        ("161.997275 mg/seed", Measure.SEED_SIZE, 2800.0),
        # derived: 140,000 an acre on a hectare of 2.471 053 814 671 653 acres
        ("345947.534054 seeds/ha", Measure.SEEDS_PER_AREA, 140_000.0),
        ("345.947534054 thousand seeds/ha", Measure.SEEDS_PER_AREA, 140_000.0),
        ("140 thousand seeds", Measure.SEEDS, 140_000.0),
        ("762 mm", Measure.LENGTH, 30.0),  # Handbook 44: 1 in = 25.4 mm
        ("271815.919614 plants/ha", Measure.PLANTS_PER_AREA, 110_000.0),
        # derived: an acre is 4,046.8564224 m2, a tonne 1000/0.45359237 lb
        ("40 plants/m2", Measure.PLANTS_PER_AREA, 40 * 4046.8564224),
        ("50 seeds per m²", Measure.SEEDS_PER_AREA, 50 * 4046.8564224),
        ("12 t", Measure.WEIGHT, 12 * 2204.6226218),
        # derived: 1 lb/gal = 119.826 427 316 897 g/L
        ("119.826427316897 g/L", Measure.DENSITY, 1.0),
        ("1.19826427316897 kg/L", Measure.DENSITY, 10.0),
        # derived: 0.046297 lb/acre = 51.892 g/ha (0.15 mg on 140,000 seeds)
        ("51.89218 g/ha", Measure.ACTIVE_PER_AREA, 0.0462971),
        ("1.12085116 kg/ha", Measure.ACTIVE_PER_AREA, 1.0),
        # bushel of 60 lb (Indiana Code 24-6-1-1); derived: 1 t = 36.74371 bu
        ("36.74371 $/t", Measure.CROP_PRICE, 1.0),
        ("1 t/ha", Measure.YIELD, 36.74371 / 2.47105381),
        ("150 µg/seed", Measure.ACTIVE_PER_SEED, 0.15),
        ("2 h", Measure.MINUTES, 120.0),
        ("24 h", Measure.DAYS, 1.0),
        ("2 weeks", Measure.DAYS, 14.0),
        ('15"', Measure.LENGTH, 15.0),
        ("453.59237 kg/min", Measure.SEED_FLOW, 1000.0),
        ("40 bags", Measure.BAGS, 40.0),
        ("82.4 units", Measure.SEED_UNITS, 82.4),
    ],
)
def test_factors_are_the_published_ones(text, measure, expected):
    assert read_quantity(text, measure) == close(expected, 1e-6)


def test_exact_factors_carry_no_noise():
    """What is exact by definition comes out exact, so that a full container stays full."""
    assert read_quantity("2.5 gal", Measure.VOLUME) == 320.0
    assert read_quantity("15 gal", Measure.VOLUME) == 1920.0
    assert read_quantity("7 qt", Measure.VOLUME) == 224.0
    assert read_rate("3 fl oz/bu") == (5.0, "fl oz/cwt")


def test_the_acre_is_the_international_one():
    """43,560 ft2 of 0.3048 m (NIST Handbook 44, App. C); the survey acre is 4 ppm larger.

    The survey acre's 4,046.87261 m2 is from memory.
    """
    acre = registry().Quantity(1.0, "acre").to("meter ** 2").magnitude
    assert acre == close(4046.8564224)
    assert 4046.87261 / acre - 1 == pytest.approx(4.0e-6, rel=1e-2)


def test_a_bushel_of_soybeans_is_60_lb():
    """Handbook 44: the US bushel holds 2150.42 in3 = 35.23907016688 L; soybean's weighs 60 lb.

    The 60 lb: Indiana Code 24-6-1-1. Bushels in a tonne are derived.
    """
    inch = registry().Quantity(1.0, "inch ** 3").to("liter").magnitude
    assert 2150.42 * inch == close(35.23907016688)
    assert inch == close(0.016387064)
    assert registry().Quantity(1.0, "bushel").to("kilogram").magnitude == close(27.2155422)
    assert registry().Quantity(1.0, "tonne").to("bushel").magnitude == close(36.74371, 1e-7)
    assert registry().Quantity(16.0, "ounce").to("gram").magnitude == close(453.59237)
    assert registry().Quantity(1.0, "ounce").to("gram").magnitude == close(28.349523125)


@pytest.mark.parametrize(
    ("text", "amount", "basis"),
    [
        # derived from the exact pound and fluid ounce: 1 fl oz/cwt = 65.1984723 mL/100 kg
        ("65.1984723 mL/100 kg", 1.0, "fl oz/cwt"),
        ("195.595417 mL/100 kg", 3.0, "fl oz/cwt"),
        ("50 mL/100 kg", 0.76689, "fl oz/cwt"),
        # derived: a rate a bushel of 60 lb is 0.60 of that a hundredweight
        ("3 fl oz/bu", 5.0, "fl oz/cwt"),
        ("0.500 mL/kg", 0.76689, "fl oz/cwt"),
        ("500 mL/t", 0.76689, "fl oz/cwt"),
        ("29.5735295625 mL/unit", 1.0, "fl oz/unit"),
        ("0.15 mg/seed", 0.15, "mg/seed"),
        ("0.15 mg a.i./seed", 0.15, "mg/seed"),
        ("150 ug/seed", 0.15, "mg/seed"),
        ("7.5 g/100 kg", 7.5, "g/100 kg"),
        ("75 g ai/t", 7.5, "g/100 kg"),
        ("75 mg per kg", 7.5, "g/100 kg"),
        ("4.6 Fl. Oz. per cwt", 4.6, "fl oz/cwt"),
        ("4.6 fl oz / 100 lb", 4.6, "fl oz/cwt"),
        ("4.6 fluid ounces/cwt", 4.6, "fl oz/cwt"),
        # what labels write: on so many seeds, on other weights, of seed
        ("1.8 fl oz/140,000 seeds", 1.8 / 140_000, "fl oz/seed"),
        ("1.8 fl. oz. per 140K seeds", 1.8 / 140_000, "fl oz/seed"),
        ("1.8 oz/unit of 140,000 seeds", 1.8 / 140_000, "fl oz/seed"),
        ("29.5735295625 mL/1,000 seeds", 0.001, "fl oz/seed"),
        ("150 mg ai/1000 seeds", 0.15, "mg/seed"),
        ("2 fl oz/50 lb", 4.0, "fl oz/cwt"),
        ("4.6 fl oz/100 lb of seed", 4.6, "fl oz/cwt"),
        ("4.6 fl oz per 100 pounds soybean seed", 4.6, "fl oz/cwt"),
        ("15 g a.i./100 kg seed", 15.0, "g/100 kg"),
    ],
)
def test_rates_are_read_as_labels_write_them(text, amount, basis):
    assert read_rate(text) == (close(amount, 1e-5), basis)


def test_product_that_holds_an_active():
    """Derived: 0.15 mg on 140,000 seeds are 21 g, at 5 lb/gal 1.18520 fl oz."""
    made = registry().Quantity
    active = made(0.15, "milligram / seed") * made(140_000.0, "seed")
    assert active.to("gram").magnitude == close(21.0)
    volume = active / made(5.0, "pound / gallon")
    assert volume.to("fluid_ounce").magnitude == close(1.18520, 5e-6)


def test_one_end_to_end_by_units_alone():
    """Derived: 160 acres, 110,000 plants, 90 % and 90 %, 2,800/lb, 3 fl oz/cwt: 232.804 fl oz."""
    seeds = 160 * read_quantity("110,000", Measure.PLANTS_PER_AREA, "plants/acre") / 0.9 / 0.9
    pounds = seeds / read_quantity("2,800", Measure.SEED_SIZE, "seeds/lb")
    floz = pounds / 100 * read_rate("3 fl oz/cwt")[0]
    assert seeds == close(21_728_395.06, 1e-9)
    assert pounds == close(7_760.141, 1e-7)
    assert floz == pytest.approx(232.804, abs=5e-4)
    assert floz / read_quantity("1 gal", Measure.VOLUME) == close(1.81878, 1e-5)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("140000", 140_000),
        ("140,000", 140_000),
        ("140k", 140_000),
        ("140 K", 140_000),
        ("1 000", 1_000),
        ("1\u00a0234\u00a0567.5", 1_234_567.5),
        ("1,234,567.5", 1_234_567.5),
        ("+4.6", 4.6),
        ("\u22123", -3),
        (".5", 0.5),
        ("1.4E+05", 140_000),
        ("007", 7),
    ],
)
def test_numbers_are_read_as_people_write_them(text, expected):
    assert read_number(text) == expected


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("1,5", "decimals follow a point: 1.5"),
        ("12,34", "12.34"),
        ("1 00", "'00' after the number"),
        ("1,0000", "1.0000"),
        ("NaN", "a number such as"),
        ("inf", "a number such as"),
        ("-Infinity", "a number such as"),
        ("1e308", "a number up to 1e+12"),
        ("1e400", "a number up to 1e+12"),
        ("1e-300", "0, or a number from 1e-09"),
        ("9**9**9", "after the number"),
        ("0x10", "after the number"),
        ("1_000", "after the number"),
        ("1/2", "0.5"),
        ("½", "0.5"),
        ("٣", "a number such as"),
        ("5'000", "a number such as"),
        ("140M", "'M' after the number"),
        ("", "a number such as"),
        ("__import__('os')", "a number such as"),
    ],
)
def test_what_is_no_number_is_refused(text, words):
    with pytest.raises(Unreadable) as caught:
        read_number(text)
    assert words in f"{caught.value.expected}; {caught.value.remedy}"


@pytest.mark.parametrize(
    ("text", "measure", "words"),
    [
        ("5 oz", Measure.WEIGHT, "lb, kg, g or t"),
        ("5", Measure.VOLUME, "write the unit after the number"),
        ("5 galons", Measure.VOLUME, "nearest unit: 'gallons'"),
        ("5 kg", Measure.VOLUME, "fl oz, gal, qt, pt, L or mL"),
        ("6 gal 3 qt", Measure.VOLUME, "write 6.75 gal"),
        ("1.5 L, 200 mL", Measure.VOLUME, "write 1.7 L"),
        ("2 1/2 gal", Measure.VOLUME, "write the fraction as a decimal number: 2.5 gal"),
        ("½ gal", Measure.VOLUME, "0.5 gal"),
        ("1/2 jug", Measure.VOLUME, "half of a 2.5 gal jug is 1.25 gal"),
        ("3 kegs", Measure.VOLUME, "write what is in it"),
        ("4 bags", Measure.SEED_UNITS, "write bags x Units per bag"),
        ("2 totes", Measure.SEED_UNITS, "write bags x Units per bag"),
        ("$395/gal", Measure.MONEY, "write the price of one container: that of a gallon x"),
        ("395 $ per L", Measure.MONEY, "write the price of one container: that of a gallon x"),
        ("140000 seeds", Measure.SEEDS_PER_AREA, "say per what: 'seeds/acre' or 'seeds/ha'"),
        ("2800/lb", Measure.SEED_SIZE, "nearest unit: 'seeds/lb'"),
        ("2900 sds/lb", Measure.SEED_SIZE, "nearest unit: 'seeds/lb'"),
        ("80 hectars", Measure.AREA, "nearest unit: 'hectares'"),
        ("80 acres/unit", Measure.AREA, "acres or ha"),
        ("4 units", Measure.BAGS, "a number in bags"),
        ("0 g/1000 seeds", Measure.SEED_SIZE, "above 0"),
        ("1e-8 g/1000 seeds", Measure.SEED_SIZE, "a number up to 1e+12 seeds/lb"),
        ("1e-9 mL", Measure.VOLUME, "a number from 1e-09 fl oz"),
        ("1e12 gal", Measure.VOLUME, "a number up to 1e+12 fl oz"),
    ],
)
def test_what_has_another_unit_is_refused(text, measure, words):
    with pytest.raises(Unreadable) as caught:
        read_quantity(text, measure)
    assert words in f"{caught.value.expected}; {caught.value.remedy}"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("4", "write the unit after the number"),
        ("4 oz ai/cwt", "write 'fl oz/cwt' if it is of product"),
        ("4 oz a.i. per cwt", "active ingredient is in mg/seed or g/100 kg"),
        ("4 oz/seed", "a rate in"),
        ("4 fl oz", "say per what: 'fl oz/unit' or 'fl oz/cwt'"),
        ("4 fl oz/100", "nearest unit: 'fl oz/100 lb' or 'fl oz/100 kg'"),
        ("1 oz/bag", "say how much goes on a unit of seed"),
        (
            "4 mg/100 lb",
            "fl oz/unit, fl oz/140,000 seeds, fl oz/cwt, mL/100 kg, mg/seed or g/100 kg",
        ),
        ("4 g/seed/acre", "a rate in"),
        ("4 fl oz/0 seeds", "a rate in"),
        ("0.5-1.0 fl oz/cwt", "write the one rate that you will use, such as 0.5 fl oz/cwt"),
        ("4 to 8 oz/100 lb", "write the one rate that you will use, such as 4 oz/100 lb"),
    ],
)
def test_what_is_no_rate_is_refused(text, words):
    with pytest.raises(Unreadable) as caught:
        read_rate(text)
    assert words in f"{caught.value.expected}; {caught.value.remedy}"


@pytest.mark.parametrize(
    "text",
    [
        "1 oz/bag",
        "5 lb/cwt",
        "4 fl oz/acre",
        "4 mg/100 lb",
        "2 gal/ha",
        "1.1 mL/140K",
        "2 oz/10 lb x",
    ],
)
def test_no_unit_of_something_else_is_called_the_nearest(text):
    """`oz/bag` is like `floz/lb` by its letters alone, and fifty times as much."""
    with pytest.raises(Unreadable) as caught:
        read_rate(text)
    assert "nearest" not in caught.value.remedy


@pytest.mark.parametrize("text", ["5 lb", "5 kg", "5 t", "5 ac"])
def test_no_weight_or_land_is_near_a_volume(text):
    with pytest.raises(Unreadable) as caught:
        read_quantity(text, Measure.VOLUME)
    assert caught.value.remedy == ""


def test_a_unit_may_be_written_without_a_space_behind_its_number():
    assert read_rate("3 fl oz/100lb") == read_rate("3 fl oz/100 lb") == (3.0, "fl oz/cwt")


@pytest.mark.parametrize(
    ("text", "measure"),
    [
        ("16 oz", Measure.VOLUME),
        ("16 Oz.", Measure.VOLUME),
        ("16 ounces", Measure.VOLUME),
        ("16oz/cwt", Measure.LIQUID_ON_SEED),
    ],
)
def test_ounces_of_what_can_only_be_a_volume_are_fluid(text, measure):
    assert read_quantity(text, measure) == 16.0


@pytest.mark.parametrize(
    ("text", "amount", "basis"),
    [
        ("4.6 oz/cwt", 4.6, "fl oz/cwt"),
        ("2 oz per unit", 2.0, "fl oz/unit"),
        ("3 ounces/100 lb", 3.0, "fl oz/cwt"),
    ],
)
def test_ounces_of_product_on_seed_are_fluid(text, amount, basis):
    assert read_rate(text) == (amount, basis)


def test_weighed_ounces_stay_weighed():
    ounces = read_quantity("16 oz/acre", Measure.ACTIVE_PER_AREA)
    assert ounces == pytest.approx(1.0)  # a pound is 16 oz (NIST Handbook 44, Appendix C)


def test_zero_needs_no_unit():
    assert read_quantity("0", Measure.VOLUME) == 0.0


@pytest.mark.parametrize(
    ("text", "money", "expected"),
    [
        ("$1,234.50", "$", 1234.5),
        ("1,234.50", "$", 1234.5),
        ("1234.5 $", "$", 1234.5),
        ("€ 5", "€", 5.0),
        ("5", "€", 5.0),
        ("C$5", "C$", 5.0),
        ("EUR 5", "EUR", 5.0),
        ("$4,600 each", "$", 4600.0),
        ("C$ 5 each", "C$", 5.0),
    ],
)
def test_money_is_read_with_its_sign_before_or_behind(text, money, expected):
    assert read_quantity(text, Measure.MONEY, "$", money) == expected


@pytest.mark.parametrize(
    "text", ["55", "$55", "$55/unit", "55 $/unit", "55 per unit", "$ 55 / unit"]
)
def test_money_per_unit(text):
    assert read_quantity(text, Measure.MONEY_PER_SEED_UNIT, "$/unit") == 55.0


def test_money_of_another_currency_is_refused():
    with pytest.raises(Unreadable, match="money in €"):
        read_quantity("$5", Measure.MONEY, "$", "€")


def test_thousands_are_unsure_where_semicolons_divide_cells():
    with pytest.raises(Unreadable) as caught:
        read_number("1,500", comma=False)
    assert caught.value.remedy == "write 1500 or 1.500"
    assert read_number("1500.5", comma=False) == 1500.5


@pytest.mark.parametrize(
    ("text", "expected"), [("3%", 0.03), ("3", 0.03), ("0.5 %", 0.005), ("0", 0)]
)
def test_percents_are_read_as_fractions(text, expected):
    assert read_percent(text) == expected


@pytest.mark.parametrize("text", ["0.9", "0.03", "3 acres", "%", "half"])
def test_what_is_no_percent_is_refused(text):
    with pytest.raises(Unreadable):
        read_percent(text)


def test_an_unsure_percent_names_both_meanings():
    with pytest.raises(Unreadable) as caught:
        read_percent("0.9")
    assert caught.value.remedy == "write 0.9% or 90%, whichever is meant"


@pytest.mark.parametrize("measure", list(Measure))
def test_working_units_are_ones_own_spelling(measure):
    assert find_unit(measure.value, measure).factor == 1.0


@pytest.mark.parametrize("measure", list(Measure))
def test_every_spelling_has_a_sound_factor(measure):
    for spelled in known_units(measure):
        unit = find_unit(spelled, measure)
        assert math.isfinite(unit.factor)
        assert unit.factor > 0
        assert in_unit(unit.to_working(3.0), measure, spelled) == close(3.0)


def test_a_long_text_is_not_added_up():
    """Taking it apart takes the time of the third power of its length: minutes for some cells."""
    with pytest.raises(Unreadable) as refused:
        read_quantity("1 gal " * 50, Measure.VOLUME)
    assert "write" not in refused.value.remedy


@given(st.text(max_size=40))
def test_any_text_is_read_or_refused(text):
    """Nothing but `Unreadable` comes out of text, and what is read is finite."""
    for measure in (Measure.VOLUME, Measure.MONEY, Measure.SEED_SIZE):
        with suppress(Unreadable):
            assert math.isfinite(read_quantity(text, measure, measure.value))
    with suppress(Unreadable):
        assert math.isfinite(read_rate(text)[0])


@given(st.floats(1e-6, 1e6), st.sampled_from(["gal", "qt", "pt", "L", "mL", "fl oz"]))
def test_there_and_back(value, unit):
    working = read_quantity(f"{value!r} {unit}", Measure.VOLUME)
    assert in_unit(working, Measure.VOLUME, unit) == close(value)


@pytest.mark.parametrize(
    ("text", "metric", "acres"),
    [
        ("40", False, 40.0),
        ("40", True, 98.8421527),  # 1 ha is 2.4710538147 acres (NIST Handbook 44, Appendix C)
        ("16 ha", False, 39.5368610),
        ("40 acres", True, 40.0),
    ],
)
def test_bare_land_is_in_the_farms_unit(text: str, metric: bool, acres: float) -> None:
    assert read_land(text, metric=metric) == pytest.approx(acres)

"""Which lot and recipe may go where, and the reason where they may not."""

from dataclasses import replace

import pytest

from planner.agronomy.suitability import Bar, obstacles, suitable
from planner.season.domain import UNTREATED, Active, ActiveLimit, Pressure, Rating, Threat
from tests.laws.second_model import PLAIN, lot_suits, recipe_suits
from tests.support.quick import few
from tests.support.random_season import tiny_season
from tests.support.seasons import farm, field, lot, product, season

ROT = {
    "products": (product(protection={"rot": Rating.F}),),
    "threats": (Threat("rot", need={Pressure.LOW: Rating.F, Pressure.HIGH: Rating.G}),),
}
STRONG = (product(actives=(Active("alpha-ine", 1.0),)),)
LOW, HIGH = {"rot": Pressure.LOW}, {"rot": Pressure.HIGH}

# bar, season that just suits, season that does not
PAIRS = [
    (Bar.MATURITY, {"fields": (field(latest=2.0),)}, {"fields": (field(latest=1.99),)}),
    (Bar.MATURITY, {"fields": (field(earliest=2.0),)}, {"fields": (field(earliest=2.01),)}),
    # 1.8 in binary is not three times 0.6; rounding may not shut a lot out
    (
        Bar.MATURITY,
        {"fields": (field(latest=3 * 0.6),), "lots": (lot(maturity=1.8),)},
        {"fields": (field(latest=1.7),), "lots": (lot(maturity=1.8),)},
    ),
    (
        Bar.TRAIT,
        {"fields": (field(traits=("x", "y")),), "lots": (lot(trait=("y",)),)},
        {"fields": (field(traits=("x", "y")),), "lots": (lot(trait=()),)},
    ),
    (
        Bar.GROWER,
        {"fields": (field(grower="Ann"),), "lots": (lot(grower="Ann"),)},
        {"fields": (field(grower="Ann"),), "lots": (lot(grower="Bob"),)},
    ),
    (
        Bar.VARIETY,
        {"fields": (field(only_varieties=("V20",)),)},
        {"fields": (field(only_varieties=("V16",)),)},
    ),
    (
        Bar.PROTECTION,
        {**ROT, "fields": (field(pressure=LOW),)},
        {**ROT, "fields": (field(pressure=HIGH),)},
    ),
    (
        Bar.RECIPE,
        {"fields": (field(only_recipes=("R1",)),)},
        {"fields": (field(only_recipes=("R2",)),)},
    ),
    (
        Bar.TREATED,
        {"lots": (lot(treated_with="R1"),)},
        {"lots": (lot(treated_with="R2"),)},
    ),
    # 2 fl oz on a unit of 50 lb are 4 fl oz/cwt
    (Bar.LIQUID, {"farm": farm(liquid_limit=4.0)}, {"farm": farm(liquid_limit=3.999)}),
    # 2 fl oz of 1 lb/gal: 7,087.38 mg on 140,000 seeds; 2/128 lb on an acre
    (
        Bar.ACTIVE,
        {"products": STRONG, "active_limits": (ActiveLimit("alpha-ine", per_seed=0.05063),)},
        {"products": STRONG, "active_limits": (ActiveLimit("alpha-ine", per_seed=0.05062),)},
    ),
    (
        Bar.ACTIVE,
        {"products": STRONG, "active_limits": (ActiveLimit("alpha-ine", per_acre=0.015625),)},
        {"products": STRONG, "active_limits": (ActiveLimit("alpha-ine", per_acre=0.0156),)},
    ),
]


@pytest.mark.parametrize(("bar", "good", "bad"), PAIRS, ids=[p[0].name for p in PAIRS])
def test_each_bar_keeps_off_just_what_is_over_its_limit(bar, good, bad):
    for changes, found in ((good, []), (bad, [bar])):
        one = season(**changes)
        bars = [o.bar for o in obstacles(one.fields[0], one.lots[0], one.recipes[0], one)]
        assert bars == found
        assert bool(suitable(one)) is not bool(found)


# 2 fl oz on a unit of 50 lb are 4 fl oz/cwt; 2/128 lb of active on 140,000 seeds, which are an acre
MG = 2 / 128 * 453_592.37 / 140_000
LIMITS = {
    "earliest": lambda hair: {"fields": (field(earliest=2.0 * (1.0 + hair)),)},
    "latest": lambda hair: {"fields": (field(latest=2.0 * (1.0 - hair)),)},
    "liquid": lambda hair: {"farm": farm(liquid_limit=4.0 * (1.0 - hair))},
    "active a seed": lambda hair: {
        "products": STRONG,
        "active_limits": (ActiveLimit("alpha-ine", per_seed=MG * (1.0 - hair)),),
    },
    "active an acre": lambda hair: {
        "products": STRONG,
        "active_limits": (ActiveLimit("alpha-ine", per_acre=2 / 128 * (1.0 - hair)),),
    },
}


@pytest.mark.parametrize("name", LIMITS)
def test_a_limit_is_a_limit_but_for_the_dust_of_decimals(name):
    """Past a limit by a millionth is past it, past it by rounding is not."""
    for hair, suits in ((1e-12, True), (1e-6, False)):
        one = season(**LIMITS[name](hair))
        assert bool(suitable(one)) is suits
        assert (not obstacles(one.fields[0], one.lots[0], one.recipes[0], one)) is suits


@pytest.mark.parametrize("limit", [{"per_acre": 0.0}, {"per_seed": 0.0}], ids=str)
def test_a_limit_of_nothing_lets_nothing_on(limit):
    one = season(products=STRONG, active_limits=(ActiveLimit("alpha-ine", **limit),))
    assert suitable(one) == {}


def test_seed_of_any_grower_and_field_of_any_grower():
    for fields, lots in ((field(grower="Ann"), lot()), (field(), lot(grower="Bob"))):
        one = season(fields=(fields,), lots=(lots,))
        assert suitable(one) == {("North", "L1"): ["R1"]}


def test_untreated_only_where_allowed_and_enough():
    """Untreated seed needs the setting, no need at the field, and a place in Only recipes."""
    one = season()
    assert obstacles(one.fields[0], one.lots[0], None, one)[0].bar is Bar.UNTREATED
    allowed = season(farm=farm(allow_untreated=True))
    assert suitable(allowed) == {("North", "L1"): ["R1", UNTREATED]}
    named = replace(allowed, fields=(field(only_recipes=(UNTREATED,)),))
    assert suitable(named) == {("North", "L1"): [UNTREATED]}
    pressed = replace(allowed, **ROT, fields=(field(pressure=LOW),))
    assert suitable(pressed) == {("North", "L1"): ["R1"]}
    treated = replace(allowed, lots=(lot(treated_with="R1"),))
    assert suitable(treated) == {("North", "L1"): ["R1"]}


def test_all_reasons_are_told_at_once():
    one = season(
        fields=(field(latest=1.0, traits=("x",), only_recipes=("R2",)),),
        farm=farm(liquid_limit=1.0),
    )
    bars = {o.bar for o in obstacles(one.fields[0], one.lots[0], one.recipes[0], one)}
    assert bars == {Bar.MATURITY, Bar.TRAIT, Bar.RECIPE, Bar.LIQUID}


def test_the_obstacle_names_what_it_is_about():
    one = season(**ROT, fields=(field(pressure=HIGH),))
    (found,) = obstacles(one.fields[0], one.lots[0], one.recipes[0], one)
    assert found.about == "rot"


@pytest.mark.parametrize("seed", few(range(300)))
def test_suitable_equals_a_second_reading_of_the_rules(seed):
    """`suitable` and `obstacles` against the rules written again in `tests.laws.second_model`."""
    one = tiny_season(seed)
    found = {(*pair, recipe_) for pair, names in suitable(one).items() for recipe_ in names}
    again = {
        (f.name, s.name, r.name if r else PLAIN)
        for f in one.fields
        for s in one.lots
        for r in (*one.recipes, None)
        if lot_suits(f, s) and recipe_suits(f, s, r, one)
    }
    told = {
        (f.name, s.name, r.name if r else UNTREATED)
        for f in one.fields
        for s in one.lots
        for r in (*one.recipes, None)
        if not obstacles(f, s, r, one)
    }
    assert found == again == told

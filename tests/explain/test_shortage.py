"""Short fields: which bar binds, said in words."""

from dataclasses import replace

import pytest

from planner.explain.ideas import ideas
from planner.explain.shortage import short_fields, why
from planner.optimize.options import SolveOptions
from planner.optimize.search.run import solve
from planner.season.domain import (
    Active,
    ActiveLimit,
    MaturityShare,
    Pressure,
    Rating,
    Season,
    Threat,
)
from tests.support.quick import examples
from tests.support.random_season import tiny_season
from tests.support.seasons import container, farm, field, lot, product, recipe, season

MOLD = Threat("White mold", need={Pressure.HIGH: Rating.VG, Pressure.LOW: Rating.F})


def diagnosed(whole: Season):
    return short_fields(solve(whole, SolveOptions()), whole)


CASES = {
    "MATURITY": (
        season(fields=(field(earliest=1.6, latest=1.9),)),
        "1 lot is outside its maturity window 1.6 to 1.9 (nearest L1 at 2.0)",
    ),
    "TRAIT": (season(fields=(field(traits=("x",)),)), "1 lot has a trait other than x"),
    "GROWER": (
        season(fields=(field(grower="Ann"),), lots=(lot(grower="Bob"),)),
        "1 lot is not Ann's",
    ),
    "VARIETY": (season(fields=(field(only_varieties=("V1",)),)), "1 lot is not of V1"),
    "PROTECTION": (
        season(
            fields=(field(pressure={"White mold": Pressure.HIGH}),),
            products=(product(protection={"White mold": Rating.G}),),
            threats=(MOLD,),
        ),
        "White mold at high pressure needs a rating of VG; the strongest, R1, has G",
    ),
    "LIQUID": (
        season(farm=farm(liquid_limit=3.0)),
        "puts more liquid on than 3 fl oz/cwt: 4 fl oz/cwt at the least (R1 on L1).",
    ),
    "ACTIVE": (
        season(
            products=(product(actives=(Active("alphaine", 1.0),)),),
            active_limits=(ActiveLimit("alphaine", per_seed=0.01),),
        ),
        "puts more alphaine on than its ceiling allows",
    ),
    "RECIPE": (season(fields=(field(only_recipes=("None such",)),)), "None such"),
    "SEED": (season(lots=(lot(on_hand=60.0),)), "60 units on hand or for sale) is 20 units too"),
    "PRODUCT": (
        # one jug of 120 fl oz treats 60 units at 2 fl oz, so one bag of 40
        season(containers=(container(size=120.0, most=1),)),
        "not enough Alpha can be bought",
    ),
    "SHARES": (
        season(
            farm=farm(max_varieties=1),
            lots=(lot(on_hand=40.0), lot("L2", "V22", 2.2, on_hand=40.0)),
        ),
        "already has 1 share of variety and recipe, its limit",
    ),
    "SPLIT": (
        season(
            farm=farm(smallest_split=30.0),
            lots=(lot(on_hand=60.0), lot("L2", "V22", 2.2, on_hand=20.0)),
        ),
        "share smaller than the smallest split of 30 acres",
    ),
    "LOT_SHARE": (
        season(
            farm=farm(smallest_lot_share=30.0),
            lots=(lot(on_hand=60.0), lot("L2", on_hand=20.0)),
        ),
        "from a lot on less than the smallest lot share of 30 acres",
    ),
    "VARIETY_SHARE": (
        season(farm=farm(most_of_one_variety=0.5), lots=(lot(), lot("L2", "V22", 2.2, on_hand=20))),
        "V20 already has the most that one variety may take, 50% of all planted land",
    ),
    "MATURITY_SHARE": (
        season(
            lots=(lot(), lot("L2", "V22", 2.6, on_hand=20.0)),
            maturity_spread=(MaturityShare(1.9, 2.2, 0.5),),
        ),
        "maturities 1.9 to 2.2 already have their most, 50% of all planted land",
    ),
    "TOGETHER": (  # 50% and 49.9% are no whole
        season(
            farm=farm(most_of_one_variety=0.5),
            lots=(lot(), lot("L2", "V22", 2.6)),
            maturity_spread=(MaturityShare(1.9, 2.2, 0.499),),
        ),
        "whole bags and the rules together leave no way to use it",
    ),
}


@pytest.mark.parametrize(
    ("limit", "metric", "words"),
    [
        (260.79 / 65.1984723, False, "than 3.9999 fl oz/cwt: 4 fl oz/cwt at the least"),
        (3.999, True, "than 260.7 mL/100 kg: 260.8 mL/100 kg at the least"),
    ],
)
def test_a_limit_is_never_said_to_be_what_passes_it(limit, metric, words) -> None:
    """4 fl oz/cwt are 260.794 mL/100 kg (exact factors): over a limit copied as 260.79."""
    one = season(farm=farm(liquid_limit=limit, metric=metric))
    plan = solve(one, SolveOptions())
    (short,) = short_fields(plan, one)
    assert words in short.why
    (idea,) = (i for i in ideas(plan, one, (short,)) if "Liquid limit" in i.what)
    low, high = idea.what.removeprefix("raise Liquid limit from ").split(",")[0].split(" to ")
    assert low != high


@pytest.mark.parametrize("cause", CASES)
def test_cause_and_words(cause: str) -> None:
    whole, words = CASES[cause]
    (short,) = diagnosed(whole)
    assert short.cause.name == cause
    assert words in short.why


@pytest.mark.parametrize(
    ("rule", "words"),
    [
        (
            {"farm": farm(most_of_one_variety=0.5)},
            "one variety may take at most 50% of all planted land, and only V20 suits",
        ),
        (
            {"maturity_spread": (MaturityShare(1.9, 2.2, 0.5),)},
            "maturities 1.9 to 2.2 may take no more than their share, 50% of all planted land",
        ),
    ],
    ids=["variety", "maturity"],
)
def test_nothing_planted_has_not_its_most_already(rule: dict, words: str) -> None:
    """One lot alone is all that is planted, so half of it is all that may be: nothing is."""
    (short,) = diagnosed(season(**rule))
    assert short.acres == pytest.approx(80.0)
    assert words in short.why
    assert "already" not in short.why


def test_bags_under_another_recipe() -> None:
    """One bag of 40, two fields of 20 acres of which each wants its own recipe.

    The bag gets one recipe, so 20 of its units are left, but not for the other field.
    """
    whole = season(
        fields=(
            field("A", 20.0, only_recipes=("R1",)),
            field("B", 20.0, only_recipes=("R2",), priority=2),
        ),
        lots=(lot(on_hand=40.0),),
        recipes=(recipe(Alpha=2.0), recipe("R2", Alpha=1.0)),
    )
    (short,) = diagnosed(whole)
    assert (short.field, short.cause.name) == ("B", "BAGS")
    assert "20 units of L1 under R1" in short.why
    assert "needs R2" in short.why


def test_seed_that_goes_elsewhere_is_named_with_its_priority() -> None:
    whole = season(
        fields=(field("A", 80.0), field("B", 60.0, priority=2)), lots=(lot(on_hand=120.0),)
    )
    (short,) = diagnosed(whole)
    assert (short.field, short.acres, short.units) == pytest.approx(("B", 20.0, 20.0))
    assert "it also goes to A (priority 1, 80 units)" in short.why


def test_too_little_seed_of_which_some_is_kept_off_says_by_what() -> None:
    """80 acres; 20 units are left, but no share is under 30 acres: 60 are lacking, not 80."""
    (short,) = diagnosed(season(farm=farm(smallest_split=30.0), lots=(lot(on_hand=20.0),)))
    assert (short.acres, short.cause.name) == (pytest.approx(80.0), "SEED")
    assert "20 units on hand or for sale) is 60 units too little. Seed that suits is" in short.why
    assert short.why.endswith(
        "left over (20 units of L1), but only in a share smaller than the smallest split of 30 "
        "acres."
    )


def test_a_crumb_of_a_lot_is_no_seed_that_could_be_planted_for_nothing() -> None:
    """L2 is planted but for two millionths of a unit; a bag of L1 takes $2,800 of $100."""
    whole = season(
        farm=farm(most_to_spend=100.0),
        fields=(field("A", 120.0),),
        lots=(
            lot(on_hand=40.0, can_buy=80.0, buy_price=70.0),
            lot("L2", "V22", 2.2, on_hand=40.0),
        ),
        products=(product(on_hand=1000.0),),
    )
    plan = solve(whole, SolveOptions())
    planting = tuple(
        replace(p, units=p.units - 2e-6) if p.lot == "L2" else p for p in plan.planting
    )
    (short,) = short_fields(replace(plan, planting=planting), whole)
    assert (short.acres, short.cause.name) == (pytest.approx(40.0), "MONEY")
    assert "(80 units of L1), but planting it would take $2,800 or more" in short.why


@pytest.mark.sampled
def test_every_short_field_of_random_seasons_has_a_reason() -> None:
    for seed in range(examples(60)):
        whole = tiny_season(seed)
        plan = solve(whole, SolveOptions(10.0))
        reasons = why(plan, whole)
        assert set(reasons) == {s.field for s in plan.shortages}
        assert all(text.endswith(".") and len(text) > 20 for text in reasons.values())

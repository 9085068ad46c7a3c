"""What a season is asked about, and what its own rules keep off: told by check and on page one."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from planner import cli
from planner.agronomy.suitability import Bar
from planner.explain.barred import barred
from planner.explain.unused import lot_fits
from planner.plan.questions import questions
from planner.plan.unusual import unusual
from planner.report.facts import WARNINGS, Facts
from planner.report.front_frames import front_sheet
from planner.report.notes_frames import warnings_sheet
from planner.report.sheets import Text
from planner.season.domain import (
    POWDER,
    Active,
    ActiveLimit,
    Basis,
    Pressure,
    Rating,
    Row,
    TargetStand,
    Threat,
)
from tests.support.inputs import folder, good, put
from tests.support.quick import few
from tests.support.sample_plan import greedy_plan
from tests.support.seasons import container, farm, field, lot, product, recipe, season

CWT = Basis.FLOZ_PER_CWT

# --- what the rules keep off ---------------------------------------------------------------------


def sentences(one) -> list[str]:
    return [b.sentence for b in barred(one)]


def two_recipes(first: float, **changes):
    """32 typed for 3.2 fl oz/cwt, beside 0.5 of a colorant; limit 10 fl oz/cwt."""
    return season(
        **{
            "farm": farm(liquid_limit=10.0),
            "fields": (field("North"), field("South")),
            "lots": tuple(lot(f"L{i}") for i in range(9)),
            "products": (product("Alpha"), product("Beta")),
            "recipes": (
                recipe("Base", Alpha=(first, CWT), Beta=(0.5, CWT)),
                recipe("Full", Alpha=(3.2, CWT), Beta=(0.5, CWT)),
                recipe("Other", Alpha=(3.2, CWT)),
            ),
            **changes,
        }
    )


def test_planting_in_another_year_than_the_crop_year_is_asked_about():
    days = (date(2028, 5, 10), date(2028, 5, 11), None, date(2027, 5, 12))
    fields = tuple(field(f"F{i}", planting_date=day) for i, day in enumerate(days))
    (asked,) = [q for q in questions(season(fields=fields)) if "Crop year" in q]
    assert asked.startswith(
        "Is Crop year 2027 right? F0 (Fields, row 2) is to be planted in 2028 (1 other field is "
        "not in 2027 either). Where Crop year"
    )
    assert not [q for q in questions(season(fields=fields[2:])) if "Crop year" in q]


def test_pressure_of_a_threat_of_which_nothing_is_said_is_asked_about():
    """As in the blank workbook, which has rows for the usual threats with nothing needed."""
    mold = Threat("White mold", row=Row("Threats", 5))
    fields = tuple(
        field(name, pressure={"White mold": at})
        for name, at in (("A", Pressure.NONE), ("B", Pressure.HIGH), ("C", Pressure.LOW))
    )
    (asked,) = questions(season(fields=fields, threats=(mold,)))
    assert asked.startswith(
        "Is nothing needed against White mold (Threats, row 5)? B (Fields, row 2) is under high "
        "pressure (1 other field is under pressure, too), and"
    )
    assert asked.endswith("Fill Need at high, or Loss at high.")
    lost = replace(mold, loss={Pressure.MODERATE: 1.0})
    assert questions(season(fields=fields, threats=(lost,))) == ()
    assert questions(season(fields=fields[:1], threats=(mold,))) == ()


def test_a_recipe_over_the_liquid_limit_on_every_lot_is_told_with_what_makes_it_so():
    """The rate is on 100 lb of seed whatever its size: 32 + 0.5 = 32.5 fl oz/cwt on all 9 lots."""
    (found,) = barred(two_recipes(32.0))
    assert (found.names, found.bar, found.wholly, len(found.lots)) == (
        ("Base",),
        Bar.LIQUID,
        True,
        9,
    )
    assert found.sentence == (
        "Recipe Base is over your Liquid limit of 10 fl oz/cwt (it puts up to 32.5 fl oz/cwt on, "
        "32 fl oz/cwt of it Alpha) on all 9 lots, so it isn't used."
    )


def test_what_most_of_the_liquid_is_comes_from_the_lot_it_is_told_of_and_is_no_powder():
    """On 7,000 seeds/lb a unit is 20 lb: 3 fl oz a unit of Alpha are 15 fl oz/cwt; 1 of Beta 5."""
    one = two_recipes(
        3.2,
        lots=(lot("L1"), lot("L2", seeds_per_lb=7_000.0)),
        products=(product("Alpha"), product("Beta"), product("Dust", kind=POWDER)),
        recipes=(recipe("Base", Alpha=3.0, Beta=1.0, Dust=9.0),),
    )
    (found,) = [b for b in barred(one) if b.bar is Bar.LIQUID]
    assert (
        "(it puts up to 20 fl oz/cwt on, 15 fl oz/cwt of it Alpha) on 1 of 2 lots" in found.sentence
    )


def test_a_recipe_at_the_limit_is_not_told_of():
    assert barred(two_recipes(9.5)) == ()


def test_a_recipe_over_the_limit_on_some_lots_names_them():
    """2 fl oz a unit on 2,800 seeds/lb is 4 fl oz/cwt, on 3,500 seeds/lb (a unit of 40 lb) 5."""
    one = season(
        farm=farm(liquid_limit=4.5),
        lots=(lot("Large"), lot("Small", seeds_per_lb=3_500.0)),
    )
    (found,) = barred(one)
    assert (found.lots, found.wholly, found.share) == (("Small",), False, 0.5)
    assert "on 1 of 2 lots: Small." in found.sentence
    assert "up to 5 fl oz/cwt" in found.sentence


def test_a_metric_farm_reads_its_own_units():
    """10 fl oz/cwt is 652 mL/100 kg: 65.1984723 mL/100 kg each (NIST Handbook 44, Appendix C)."""
    one = two_recipes(32.0, farm=farm(liquid_limit=10.0, metric=True))
    assert "your Liquid limit of 652 mL/100 kg" in sentences(one)[0]


def test_a_metric_farm_is_asked_about_its_crop_price_by_the_ton():
    """A bushel is 60 lb, so $4 to $30 are 146.97 to 1,102.31 a ton (36.7437 bushels in it)."""
    one = season(farm=farm(soybean_price=40.0, metric=True))
    (asked,) = [q for q in questions(one) if "Soybean price" in q]
    assert "Is $1,469.75 right for Soybean price (Farm)?" in asked
    assert "A metric ton is usually $146.97 to $1,102.31" in asked


def test_active_ceilings_name_lots_and_fields():
    """0.15 mg/seed at 140,000 seeds/acre is 0.046297 lb/acre (mg x seeds / 453,592.37)."""
    alpha = product(actives=(Active("fluopyram", 5.0),))
    rate = recipe(Alpha=(0.15, Basis.MG_PER_SEED, "fluopyram"))
    fields = (field("Thick"), field("Thin", seeds=100_000.0))
    one = season(products=(alpha,), recipes=(rate,), fields=fields)
    acre = replace(one, active_limits=(ActiveLimit("fluopyram", per_acre=0.04),))
    shut, found = barred(acre)
    assert shut.sentence.startswith("Field Thick (80 acres) can't be planted: 1 lot would fit")
    assert (found.bar, found.fields, found.wholly) == (Bar.ACTIVE, ("Thick",), False)
    assert "limit of 0.04 lb/acre for fluopyram (up to 0.0463 lb/acre)" in found.sentence
    # 1 lb/acre is 1,120.851 g/ha (NIST Handbook 44, Appendix C): 0.04 is 44.8, 0.046297 is 51.9
    metric = replace(acre, farm=replace(acre.farm, metric=True))
    said = barred(metric)[1].sentence
    assert "limit of 44.8 g/ha for fluopyram (up to 51.9 g/ha)" in said
    seed = replace(one, active_limits=(ActiveLimit("fluopyram", per_seed=0.14),))
    (found,) = [b for b in barred(seed) if b.what == "recipe"]
    assert (found.lots, found.wholly) == (("L1",), True)
    assert "limit of 0.14 mg/seed for fluopyram (it puts up to 0.15 mg/seed on)" in found.sentence


def needy(*pressures: Pressure):
    threat = Threat("Pythium", need={Pressure.HIGH: Rating.G, Pressure.LOW: Rating.F})
    return {
        "threats": (threat,),
        "fields": tuple(field(f"F{i}", pressure={"Pythium": p}) for i, p in enumerate(pressures)),
    }


def test_recipes_too_weak_on_the_same_fields_share_a_sentence():
    one = season(
        **needy(Pressure.HIGH, Pressure.NONE, Pressure.NONE),
        products=(product(), product("Beta", protection={"Pythium": Rating.G})),
        recipes=(recipe("A", Alpha=1.0), recipe("B", Alpha=2.0), recipe("C", Beta=1.0)),
    )
    assert sentences(one) == [
        "Recipes A and B are too weak for Pythium on 1 of 3 fields: F0 (needed: G)."
    ]


def test_fields_that_nothing_may_go_on_come_first():
    one = season(
        **needy(Pressure.HIGH, Pressure.NONE),
        lots=(lot(), lot("Late", maturity=2.6, variety="V26")),
    )
    one = replace(one, fields=(*one.fields, field("Early", earliest=1.0, latest=1.4)))
    one = replace(
        one, fields=tuple(replace(f, latest=2.2) for f in one.fields[:2]) + one.fields[2:]
    )
    found = barred(one)
    assert [(b.what, b.names) for b in found if b.wholly] == [
        ("field", ("Early",)),
        ("field", ("F0",)),
        ("lot", ("Late",)),
    ]
    assert "protection too weak (Pythium)" in found[1].sentence
    assert "none of the lots fits (maturity keeps 2 lots off)" in found[0].sentence
    assert found[2].sentence == (
        "Lot Late (V26, 2.6) fits none of the 3 fields: maturity keeps it off 3."
    )


def test_lots_are_counted_with_what_keeps_them_off():
    one = season(
        fields=(field("A", grower="home"), field("B", grower="next"), field("C", latest=1.8)),
        lots=(lot(grower="home"),),
    )
    (fit,) = lot_fits(one)
    assert (fit.fields, dict(fit.kept_off)) == (1, {Bar.GROWER: 1, Bar.MATURITY: 1})


@pytest.mark.parametrize("seed", few(range(40), 4))
def test_what_can_be_used_nowhere_is_what_the_model_may_not_use(seed):
    """Against the pairs that the optimizer allows: a recipe is idle exactly where none has it."""
    from planner.agronomy.suitability import suitable
    from tests.support.random_season import tiny_season

    one = tiny_season(seed)
    used = {r for names in suitable(one).values() for r in names}
    idle = {n for b in barred(one) if b.wholly and b.what == "recipe" for n in b.names}
    assert idle == {r.name for r in one.recipes} - used
    open_fields = {f for f, _ in suitable(one)}
    shut = {n for b in barred(one) if b.what == "field" for n in b.names}
    assert shut == {f.name for f in one.fields} - open_fields


# --- figures that are asked about ----------------------------------------------------------------

JUG = container(size=320.0, price=300.0)


@pytest.mark.parametrize(
    ("odd", "words", "fine"),
    [
        (
            {"lots": (lot(seeds_per_lb=280.0),)},
            "Is 280 seeds/lb right for lot L1 (Seed lots, row 2)? Soybean seed usually has 1,700 "
            "to 5,000 seeds/lb; 2,800 seeds/lb would be.",
            {"lots": (lot(seeds_per_lb=1_700.0), lot("L2", seeds_per_lb=5_000.0))},
        ),
        (
            {"fields": (field(seeds=14_000.0),)},
            "Is 14,000 seeds/acre right for field North",
            {"fields": (field(seeds=40_000.0), field("S", seeds=400_000.0))},
        ),
        (
            {"fields": (field(sowing=TargetStand(1_100_000.0, 0.9)),)},
            "; 110,000 plants/acre would be",
            {"fields": (field(sowing=TargetStand(110_000.0, 0.9)),)},
        ),
        (
            {"recipes": (recipe(Alpha=(32.0, CWT)),)},
            "Is 32 fl oz/cwt of Alpha right in recipe R1? 0.1 to 9.2 fl oz/cwt of one product",
            {"recipes": (recipe(Alpha=(9.2, CWT)),)},
        ),
        (
            {"recipes": (recipe(Alpha=20.0),)},  # a unit of 50 lb: 40 fl oz/cwt
            "Is 40 fl oz/cwt of Alpha",
            {"recipes": (recipe(Alpha=4.6),)},
        ),
        (
            {"recipes": (recipe("A", Alpha=0.4), recipe("B", Alpha=0.4), recipe("C", Alpha=4.0))},
            "right in recipe C? In other recipes it is 0.8 fl oz/cwt.",
            {"recipes": (recipe("A", Alpha=1.0), recipe("C", Alpha=4.5))},
        ),
        (
            {"containers": (container(size=3_200.0),)},
            "Is 25 gal right for the Size of Alpha / jug (Containers, row 2)? A jug usually holds "
            "0.25 to 6.5 gal; 2.5 gal would be.",
            {"containers": (container(), container(name="bulk tote", size=33_920.0, price=2e4))},
        ),
        (
            {"containers": (JUG, container(name="drum", size=1_920.0, price=18_000.0))},
            "Is $18,000.00 right for Alpha / drum? That is $1,200.00 a gallon, and the product's "
            "other prices come to $120.00 a gallon.",
            {"containers": (JUG, container(name="drum", size=1_920.0, price=1_600.0))},
        ),
        (  # 2 fl oz on a unit at 7,000 / 320 $ each
            {"containers": (container(price=7_000.0),)},
            "It puts $43.75 of product on a unit of seed; $0.02 to $40.00 is usual.",
            {"containers": (container(price=6_300.0),)},
        ),
        (
            {"lots": (lot(can_buy=40.0, buy_price=610.0),)},
            "Is $610.00 right for a unit of lot L1 (Seed lots, row 2)? A unit usually costs $15.00 "
            "to $200.00; $61.00 would be.",
            {"lots": (lot(can_buy=40.0, buy_price=61.0),)},
        ),
        (
            {"farm": farm(soybean_price=104.0)},
            "Is $104.00 right for Soybean price (Farm)",
            {"farm": farm(soybean_price=10.4)},
        ),
        (
            {"farm": farm(liquid_limit=80.0)},
            "Is 80 fl oz/cwt right for Liquid limit (Farm)",
            {"farm": farm(liquid_limit=8.0)},
        ),
        (
            {"farm": farm(seeds_per_unit=14_000.0), "recipes": (recipe(Alpha=(2.0, CWT)),)},
            "; 140,000 seeds would be",
            {"farm": farm(seeds_per_unit=160_000.0)},
        ),
        (
            {"products": (product(density=91.0),)},
            "Is 91 lb/gal right for the Density of Alpha",
            {"products": (product(density=9.1),)},
        ),
        (
            {
                "products": (product(actives=(Active("fluopyram", 5.0),)),),
                "recipes": (recipe(Alpha=(1.5, Basis.MG_PER_SEED, "fluopyram")),),
            },
            "Is 1.5 mg/seed of fluopyram right in recipe R1? 0.002 to 0.5 mg/seed of one active",
            {
                "products": (product(actives=(Active("fluopyram", 5.0),)),),
                "recipes": (recipe(Alpha=(0.15, Basis.MG_PER_SEED, "fluopyram")),),
            },
        ),
        (  # 9.2 fl oz/cwt: Brzezinski et al. 2017, 600 mL/100 kg; water counts, too
            {"recipes": (recipe(water=0.01, Alpha=4.6),)},
            "Can seed flow and dry with 9.22 fl oz/cwt on it? That is what recipe R1 (Recipes, row "
            "2) puts on lot L1.",
            {"recipes": (recipe(Alpha=4.6),)},
        ),
        (
            {"fields": (field(acres=1e6),)},
            "Is 1,000,000 acres right for field North (Fields, row 2)? A field usually has 0.1 to "
            "5,000 acres.",
            {"fields": (field(acres=0.1), field("S", acres=5_000.0))},
        ),
        (
            {"lots": (lot(units_per_bag=0.001),)},
            "Is 0.001 units right for Units per bag of lot L1 (Seed lots, row 2)? A bag, box or "
            "truck usually holds 0.25 to 1,500 units.",
            {"lots": (lot(units_per_bag=0.25), lot("L2", units_per_bag=1_500.0))},
        ),
        (  # planned on 2/1/2027
            {"lots": (lot(test_date=date(2028, 2, 1)),)},
            "Is Test date 2/1/2028 right for lot L1 (Seed lots, row 2)? It is after the Plan date, "
            "2/1/2027.",
            {"lots": (lot(test_date=date(2027, 2, 1)),)},
        ),
        (
            {"lots": tuple(lot(name, test_date=date(2028, 2, 1)) for name in ("L1", "L2", "L3"))},
            "Is Test date 2/1/2028 right for lot L1 (Seed lots, row 2)? It is after the Plan date, "
            "2/1/2027 (2 other lots are tested after it, too).",
            {"lots": (lot(test_date=date(2027, 2, 1)),)},
        ),
        (
            {"products": (product(kind="inoculant"),)},
            "How long does Alpha (Products, row 2) live on treated seed? Its On-seed life is blank",
            {"products": (product(kind="inoculant", on_seed_life=0.2), product("Beta"))},
        ),
    ],
)
def test_a_figure_far_from_what_is_usual_is_asked_about(odd, words, fine):
    told = questions(season(**odd))
    assert any(words in text for text in told), told
    assert questions(season(**fine)) == ()


def test_wet_recipes_are_not_asked_about_where_the_farm_sets_a_limit_or_warning():
    wet = (recipe(water=3.0, Alpha=4.6),)
    for limits in ({"liquid_limit": 20.0}, {"liquid_warning": 20.0}):
        assert questions(season(farm=farm(**limits), recipes=wet)) == ()


def test_prices_in_other_money_are_held_against_each_other_only():
    one = season(farm=farm(currency="JPY"), containers=(container(price=45_000.0),))
    assert questions(one) == ()
    both = replace(one, containers=(*one.containers, container(name="bladder", price=450_000.0)))
    assert len(questions(both)) == 1


def test_a_column_in_another_unit_is_told_in_few_words():
    one = season(lots=tuple(lot(f"L{i}", seeds_per_lb=6_173.0) for i in range(40)))
    told = questions(one)
    assert len(told) == 6
    assert told[-1] == "There are 35 more such questions about Seed lots."


# --- growers -------------------------------------------------------------------------------------


def test_blank_growers_beside_named_ones_are_asked_about():
    lots = (lot(), lot("L2", grower="Neighbor"), lot("L3", grower="Neighbor"))
    fields = (field(grower="Neighbor"), field("South"), field("West"))
    (told,) = questions(season(lots=lots, fields=fields))
    assert "blank on 2 of 3 fields (first: Fields, row 2) and seed lot L1 (" in told
    assert "(Seed lots, row 2; 1 of 3), while" in told
    assert "Blank means any" in told
    assert "while others name Neighbor?" in told


@pytest.mark.parametrize("grower", [None, "home"])
def test_growers_all_blank_or_all_named_are_not(grower):
    assert questions(season(lots=(lot(grower=grower),), fields=(field(grower=grower),))) == ()


# --- where it is told ----------------------------------------------------------------------------


def test_check_tells_them(tmp_path, capsys):
    sheets = put(good(), "Recipes", 2, "Rate", "40 fl oz/cwt")
    sheets = put(sheets, "Fields", 3, "Grower", "Neighbor")
    assert cli.run(["check", str(folder(tmp_path / "season", sheets))]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "Recipe Base is over your Liquid limit of 8 fl oz/cwt" in said
    assert "so it isn't used." in said
    assert "Is 40 fl oz/cwt of Green Cap right in recipe Base (Recipes, row 2)?" in said
    assert "Is Grower meant to be blank on field Home 80 (Fields, row 2; 1 of 2)" in said


def test_page_one_and_the_notes_tell_them():
    one = two_recipes(32.0)
    plan = greedy_plan(one)
    facts = Facts(plan, one)
    texts = [b for b in front_sheet(facts).blocks if isinstance(b, Text)]
    (block,) = [b for b in texts if b.title.startswith("Check before you order")]
    assert block.paragraphs[0].startswith("Recipe Base is over your Liquid limit")
    assert block.paragraphs[1].startswith("Is 32 fl oz/cwt of Alpha right in recipe Base")
    notes = [
        line for b in warnings_sheet(facts).blocks if isinstance(b, Text) for line in b.paragraphs
    ]
    assert block.paragraphs[0] in notes


def test_page_one_names_the_worst_and_counts_the_rest():
    fields = tuple(field(f"F{i}", seeds=1_000.0) for i in range(9))
    one = two_recipes(32.0, fields=fields)
    facts = Facts(greedy_plan(one), one)
    texts = [b for b in front_sheet(facts).blocks if isinstance(b, Text)]
    (block,) = [b for b in texts if b.title.startswith("Check before you order")]
    assert block.paragraphs[-1] == f"and 3 more: see {WARNINGS}."


def test_page_one_says_nothing_where_there_is_nothing():
    one = season()
    blocks = front_sheet(Facts(greedy_plan(one), one)).blocks
    assert not any(isinstance(b, Text) and b.title.startswith("Check") for b in blocks)


def test_ranges_are_asked_about_in_three_figures():
    """10 and 60 gal are 37.85 and 227.1 L (NIST Handbook 44): nobody speaks of drums so exactly."""
    drum = container(name="drum", size=20.0 / 0.0295735295625)
    (said,) = [
        s for s in unusual(season(farm=farm(metric=True), containers=(drum,))) if "drum" in s
    ]
    assert "A drum usually holds 37.9 to 227 L; 200 L would be" in said

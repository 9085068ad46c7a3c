"""Premixes: which products share a pump, amounts by tank, order; seed flow; clean-outs."""

import io
from dataclasses import replace
from datetime import date

import openpyxl
import pytest

from planner.campaign.calibration import calibration, flow_of_catch, on_seed_by_flow
from planner.campaign.campaign import make_campaign, update
from planner.campaign.cleaning import clean_outs
from planner.campaign.domain import Batch, Draw, ProductFacts, Run
from planner.campaign.premix import in_order, kept_apart, left_to_mix, premix, streams
from planner.campaign.store import from_dict, to_dict
from planner.report.breaks import page_breaks
from planner.report.calibration_frames import calibration_sheet
from planner.report.campaign_frames import campaign_book, campaign_sheets
from planner.report.heights import row_heights
from planner.report.layout import lay_out
from planner.report.measures import Manner
from planner.report.workbook import render
from planner.season.domain import CARRIER, POWDER, Active, Basis, Done, Product, Rate, Recipe
from tests.support.campaigns import hand_plan, hand_season
from tests.support.seasons import farm, lot, season

CWT = Basis.FLOZ_PER_CWT


def product(name, kind="fungicide", **more):
    return Product(name, kind, **more)


KINDS = {
    "Cap": "fungicide",
    "Bug": "insecticide",
    "Sheen": "polymer",
    "Red": "colorant",
    "Root": "inoculant",
}


def mixed(pumps=None, *, water=1.5, tank=None, flow=None, products=None, **rates):
    """Rates in fl oz/cwt of products by name, on 200 units of 50 lb: 100 cwt."""
    held = products or tuple(product(name, KINDS[name]) for name in rates)
    return season(
        farm=farm(pumps=pumps, tank=tank, seed_flow=flow),
        lots=(lot(on_hand=200.0),),
        products=held,
        carriers=(product("Water", CARRIER),) if water else (),
        containers=(),
        recipes=(
            Recipe(
                "R1",
                tuple(Rate(name, rate, CWT) for name, rate in rates.items()),
                carriers=(Rate("Water", water, CWT),) if water else (),
            ),
        ),
    )


def batch(bags=5):
    """200 units in bags of 40."""
    return Batch("L1", "R1", "V20", 40.0, bags, 0.0, 50.0, 2800.0, (), ())


def test_a_slurry_of_100_cwt():
    """2.0 + 1.5 + color 1.0 + water 1.5 = 6.0 fl oz/cwt: 600 fl oz on 100 cwt (derived).

    200 + 150 + 100 + 150 fl oz. A tank of 15 gal, 1,920 fl oz, treats 320 cwt, 640 units of 50 lb.
    A jar of 100 mL holds 33.3 + 25.0 + 16.7 + 25.0 mL.
    """
    one = mixed(1, tank=1920.0, Cap=2.0, Bug=1.5, Red=1.0)
    (mix,) = premix(one, batch()).mixes
    assert mix.total == pytest.approx(600.0)
    assert mix.per_cwt == pytest.approx(6.0)
    assert (mix.fill, mix.full_tanks, mix.last) == (pytest.approx(600.0), 1, 0.0)
    amounts = {}
    for step in mix.steps:
        amounts[step.product] = amounts.get(step.product, 0.0) + step.share * mix.total
    wanted = {"Cap": 200.0, "Bug": 150.0, "Red": 100.0, "Water": 150.0}
    assert amounts == pytest.approx(wanted)
    assert pytest.approx(100.0 * amounts["Cap"] / mix.total) == 100.0 / 6.0 * 2.0
    assert mix.units_a_tank == pytest.approx(200.0)
    large = premix(one, batch(bags=20)).mixes[0]  # 800 units, 2,400 fl oz
    assert (large.full_tanks, large.units_a_tank) == (1, pytest.approx(640.0))
    assert large.last == pytest.approx(480.0)


def test_order_of_mixing_by_kind():
    """Part of the water, actives, (rest) after polymer and color, what lives last.

    Canola Watch (Manitoba's guide) for part of the water and suspensions first; common practice.
    """
    one = mixed(1, Root=1.0, Red=1.0, Cap=1.0, Sheen=1.0)
    (mix,) = premix(one, batch()).mixes
    poured = [(s.product, s.part) for s in mix.steps]
    assert poured == [
        ("Water", "half"),
        ("Cap", ""),
        ("Sheen", ""),
        ("Red", ""),
        ("Water", "rest"),
        ("Root", ""),
    ]
    assert sum(s.share for s in mix.steps) == pytest.approx(1.0)


def test_a_products_own_place_goes_before_its_kind():
    group = (
        product("Cap"),
        product("Red", "colorant", mixing_order=1),
        product("Sheen", "polymer"),
    )
    assert [p.name for p in in_order(group)] == ["Red", "Cap", "Sheen"]


def names(one):
    return sorted(sorted(p.name for p in g) for g in streams(one, one.recipes[0]))


@pytest.mark.parametrize(
    ("pumps", "groups"),
    [
        (None, [["Bug"], ["Cap"], ["Root"], ["Water"]]),
        (4, [["Bug"], ["Cap"], ["Root"], ["Water"]]),
        # what lives has a pump of its own first, water never
        (2, [["Bug", "Cap", "Water"], ["Root"]]),
        (1, [["Bug", "Cap", "Root", "Water"]]),
    ],
)
def test_what_shares_a_pump(pumps, groups):
    assert names(mixed(pumps, Cap=1.0, Bug=1.0, Root=1.0)) == groups


def test_what_must_not_meet_is_kept_apart_where_pumps_allow():
    """Root alone would be usual; Cap and Bug must not meet, so one of them is."""
    held = (
        product("Cap", not_with=("Bug",)),
        product("Bug", "insecticide"),
        product("Root", "inoculant"),
    )
    two = mixed(2, water=0.0, products=held, Cap=1.0, Bug=1.0, Root=1.0)
    for group in streams(two, two.recipes[0]):
        assert kept_apart(group) == []
    one = mixed(1, water=0.0, products=held, Cap=1.0, Bug=1.0, Root=1.0)
    (mix,) = premix(one, batch()).mixes
    assert mix.not_with == ("Cap and Bug",)


def test_a_powder_has_no_pump():
    held = (product("Cap"), product("Slick", POWDER))
    one = mixed(1, water=0.0, products=held, Cap=1.0, Slick=1.0)
    assert premix(one, batch()) is None
    assert names(one) == [["Cap"]]


def test_no_tank_stands_longer_than_its_slurry_lives():
    """At 500 lb/min and 3 fl oz/cwt 15 fl oz pass a minute: half an hour of life is 450 fl oz."""
    held = (product("Cap", slurry_life=0.5), product("Bug", "insecticide", slurry_life=24.0))
    one = mixed(1, water=0.0, tank=1920.0, flow=500.0, products=held, Cap=2.0, Bug=1.0)
    (mix,) = premix(one, batch(bags=20)).mixes  # 400 cwt, 1,200 fl oz
    assert (mix.life, mix.kept_small) == (0.5, True)
    assert (mix.fill, mix.full_tanks) == (pytest.approx(450.0), 2)
    assert mix.last == pytest.approx(300.0)
    assert mix.minutes == pytest.approx(30.0)


def test_a_pump_with_a_premix_is_calibrated_for_all_of_it():
    """Two of three premixed, 1.0 + 0.5 + water 1.5: 3 fl oz/cwt, at 500 lb/min 15 a minute."""
    one = mixed(2, flow=500.0, Cap=1.0, Red=0.5, Root=2.0)
    sheet = calibration(one, batch())
    assert {d.product: d.floz_per_min for d in sheet.doses} == {
        "Premix": pytest.approx(15.0),
        "Root": pytest.approx(10.0),
    }
    assert sheet.premixed == (("Premix", "Water", "Cap", "Red"),)


def wet_season():
    """The hand season with water, one pump, and Beta kept off Alpha."""
    one = hand_season()
    with_water = tuple(
        replace(r, carriers=(Rate("Water", 0.5, Basis.FLOZ_PER_UNIT),)) for r in one.recipes
    )
    return replace(
        one,
        farm=replace(one.farm, pumps=1, tank=128.0),
        carriers=(Product("Water", CARRIER),),
        recipes=with_water,
    )


def test_premix_sheet():
    """R2 on L2: 2 Alpha, 1 Beta, 0.5 water a unit: 315 fl oz for 90 units, tanks of 128.

    Two full tanks of 36.6 units and one of 59 fl oz. The jar: 57.1 mL of Alpha, 28.6 of Beta.
    """
    made = make_campaign(wet_season(), hand_plan())
    assert from_dict(to_dict(made)) == made
    book = openpyxl.load_workbook(io.BytesIO(render(campaign_book(made))))
    rows = [[c for c in r if c is not None] for r in book["Premix"].iter_rows(values_only=True)]
    start = next(
        i for i, r in enumerate(rows) if r and str(r[0]).endswith("L2 with R2, 90.0 units.")
    )
    table = rows[start + 2 : start + 7]
    assert [r[1:3] for r in table[:4]] == [
        ["Water", "half"],
        ["Alpha", "all"],
        ["Water", "rest"],
        ["Beta", "all"],
    ]
    alpha = table[1]
    assert alpha[3:] == pytest.approx([2.0, 180.0, 128 * 2 / 3.5, 59 * 2 / 3.5, 57.142857])
    assert table[4][1:4] == pytest.approx([3.5, 315.0, 128.0])
    assert rows[start + 7][0].startswith(
        "2 full tanks of 1 gal, for 36.6 units each and a last one"
    )
    assert "How long it may sit: see the labels." in rows[start + 7][0]


def test_no_more_is_premixed_than_is_left_to_treat():
    """Two bags of 40 are done: the part bag of 10 takes 10 x 3.5 = 35 fl oz, one small tank."""
    made = make_campaign(wet_season(), hand_plan())
    whole = {(p.lot, p.recipe): p for p in left_to_mix(made)}
    assert whole["L2", "R2"].mixes[0].total == pytest.approx(315.0)
    later = update(made, [Done("L1", "R1", 3), Done("L2", "R2", 2)])
    (one,) = left_to_mix(later)
    (mix,) = one.mixes
    assert (one.lot, one.units) == ("L2", pytest.approx(10.0))
    assert (mix.total, mix.fill) == (pytest.approx(35.0), pytest.approx(35.0))
    assert (mix.full_tanks, mix.last, mix.units_a_tank) == (1, 0.0, pytest.approx(10.0))
    first = next(p for p in left_to_mix(update(made, [Done("L2", "R2", 1)])) if p.lot == "L2")
    mix = first.mixes[0]  # 50 units: 175 fl oz in tanks of 128
    assert (mix.full_tanks, mix.last) == (1, pytest.approx(47.0))
    titles = {s.title for s in campaign_sheets(update(later, [Done("L2", "R2", 1)]))}
    assert "Premix" not in titles


def test_without_pumps_set_nothing_is_premixed():
    made = make_campaign(hand_season(), hand_plan())
    assert made.premixes == ()


# --- seed flow -----------------------------------------------------------------------------------


def test_seed_flow_by_a_catch_of_30_seconds():
    """137.5 lb in 30 s are 275 lb/min; at 6.5 fl oz/cwt 17.875 fl oz a minute (derived)."""
    assert flow_of_catch(137.5) == pytest.approx(275.0)
    assert pytest.approx(17.875) == 275.0 / 100.0 * 6.5


def test_what_a_wrong_flow_does():
    """A flow 20 % low, as Grainews says an uncalibrated one can be, turns 6 into 7.5 fl oz/cwt."""
    assert 6.0 * (1 + on_seed_by_flow(-0.2)) == pytest.approx(7.5)
    assert on_seed_by_flow(0.25) == pytest.approx(-0.2)


def test_three_batches_share_a_page():
    """Batches of five products that differ in basis: three stand on a page."""
    made = make_campaign(hand_season(), hand_plan())
    doses = made.calibration[1].doses
    five = replace(
        made.calibration[1],
        doses=(doses * 3)[:5],
        sizes=tuple(replace(s, doses=(s.doses * 3)[:5]) for s in made.calibration[1].sizes),
    )
    many = replace(
        made,
        batches=tuple(replace(made.batches[1], lot=f"L{n}") for n in range(10)),
        calibration=tuple(replace(five, lot=f"L{n}") for n in range(10)),
    )
    layout = lay_out(calibration_sheet(many), Manner(), home=True)
    layout.heights = row_heights(layout, Manner())
    starts = [p.rows[0] for p in layout.placed if getattr(p.block, "title", "")[:1].isdigit()]
    pages = page_breaks(layout)
    on_page = [
        sum(a <= s < b for s in starts) for a, b in zip(pages, [*pages[1:], 10_000], strict=True)
    ]
    assert on_page[0] >= 3


# --- clean-outs ----------------------------------------------------------------------------------

DAYS = (date(2027, 4, 20), date(2027, 4, 21))


def run(day, recipe):
    return Run(day, "L1", recipe, 1, 1, 40.0)


def kept(recipe, *products):
    draws = tuple(Draw(p, 1.0) for p in products)
    return replace(batch(), recipe=recipe, draws=draws)


@pytest.mark.parametrize(
    ("facts", "found"),
    [
        ((ProductFacts("A", not_with=("B",)),), [("R1", "R2", ("A and B",))]),
        ((ProductFacts("B", not_with=("A",)),), [("R1", "R2", ("A and B",))]),
        ((ProductFacts("A", not_with=("C",)),), []),
        ((), []),
    ],
)
def test_a_clean_out_where_products_must_not_meet(facts, found):
    runs = [run(DAYS[0], "R1"), run(DAYS[1], "R2")]
    batches = [kept("R1", "A"), kept("R2", "B")]
    made = clean_outs(runs, batches, facts)
    assert [(c.before, c.after, c.pairs) for c in made] == found
    assert all(c.day == DAYS[1] for c in made)


def test_actives_are_no_matter_to_pumps():
    held = (product("Cap", actives=(Active("fludioxonil", 1.0),)), product("Bug", "insecticide"))
    assert names(mixed(1, water=0.0, products=held, Cap=1.0, Bug=1.0)) == [["Bug", "Cap"]]

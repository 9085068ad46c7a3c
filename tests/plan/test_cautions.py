"""Each warning: a plan where it is due, and one where it just is not."""

from dataclasses import replace
from datetime import date, timedelta

import pytest

from planner.plan.cautions import CHECKS, STANDING, warnings
from planner.plan.plan import OrderLine, Planting, ProductUse, SeedPurchase, Treating
from planner.plan.product_cautions import expired_stock, order_by_passed, too_much_liquid
from planner.plan.seed_cautions import white_mold_rows_too_narrow, white_mold_too_thick
from planner.season.domain import (
    Brought,
    DiscountLevel,
    Done,
    Pressure,
    Rating,
    Row,
    SeedingRate,
    Supplier,
    TargetStand,
    Threat,
    TreatedSeed,
    WentBefore,
)
from tests.support.plans import HAND_PLAN
from tests.support.seasons import FIRST_DAY, container, farm, field, lot, product, recipe, season

WATER = tuple(Threat(x, loss={Pressure.LOW: 0.5}) for x in ("Phytophthora", "White mold"))


def bare(rating=None, held=None, threat="Phytophthora", pressed=True):
    """A variety with a rating of its own against a threat on the field, and a recipe's."""
    return {
        "threats": WATER,
        "fields": (field(seeds=110_000.0, pressure={threat: Pressure.LOW} if pressed else {}),),
        "products": (product(protection={threat: held} if held else {}),),
        "tolerance": {"V20": {threat: rating}} if rating else {},
    }


def both(percent):
    """Two discounts that come together, one of 60 % and one of so much."""
    levels = (DiscountLevel("Early", 0.0, 0.6), DiscountLevel("Cash", 0.0, percent))
    return {"discounts": levels}


def taken(loss, crop=None):
    """A threat that takes so much, and another that takes 10 bu/acre."""
    return {
        "threats": tuple(
            Threat(name, loss={Pressure.LOW: bushels})
            for name, bushels in (("rot", loss), ("rust", 10.0))
        ),
        "fields": (
            field(pressure=dict.fromkeys(("rot", "rust"), Pressure.LOW), expected_yield=crop),
        ),
    }


def rows(seeds, width, history, **changes):
    """A field with rows so wide and such a history of white mold."""
    one = field(seeds=seeds, row_width=width, white_mold_history=history, **changes)
    return {"fields": (one,)}


def credited(threat="White mold", **changes):
    """80 acres that lose 5 bu/acre at $10, of which a rating of G keeps off half: $2,000."""
    return {
        "farm": farm(**{"weigh_yield_loss": True, "soybean_price": 10.0, **changes}),
        "threats": (Threat(threat, loss={Pressure.LOW: 5.0}),),
        "fields": (field(pressure={threat: Pressure.LOW}),),
        "products": (product(protection={threat: Rating.G}),),
        "control": {Rating.G: 0.5},
    }


def treated_last(recipe, loss):
    """A bag of that recipe was reported done before; Alpha leaves so much in the line."""
    log = (Done("L1", recipe, 1, FIRST_DAY),)
    return {
        "products": (product(line_loss=loss),),
        "brought": Brought(season(), (), {}, WentBefore(log)),
    }


DAY = timedelta(days=1)
PLAN = replace(
    HAND_PLAN,
    order=(OrderLine("Alpha", "jug", 1, 300.0, 300.0, "Elm"),),
    seed_purchases=(),
    treating=(Treating("L1", "R1", 2, 0, 80.0),),
    planting=(Planting("North", "L1", "R1", 80.0, 80.0),),
    products=(ProductUse("Alpha", 160.0, 0.0, 0.0, 320.0, 160.0),),
    shortages=(),
)
"""80 acres with 80 units from two bags and one jug: nothing to warn of."""
WHITE = {"White Mold (Sclerotinia)": Pressure.HIGH}
MAY = date(2027, 5, 10)


def stock(expires, on_hand=50.0):
    return {"products": (product(on_hand=on_hand, expires=expires),)}


def heel(size, amount):
    return {
        "containers": (
            container(name="vessel", size=size, price=size, heel=amount, supplier="Elm"),
        )
    }


def sown(seeds, pressure, **changes):
    return {"fields": (field(seeds=seeds, pressure=pressure, **changes),)}


def lived(life, **changes):
    """Seed treated by 20 April at the latest, planted on 10 May: 20 days."""
    return {
        "farm": farm(treating_done_by=FIRST_DAY),
        "fields": (field(planting_date=MAY),),
        "products": (product(on_seed_life=life),),
        **changes,
    }


def treated_before(life):
    """A lot treated by 1 February, planted on 10 May: 98 days; another can be treated yet."""
    return {
        "fields": (field(planting_date=MAY),),
        "products": (product(on_seed_life=life),),
        "lots": (lot(on_hand=0.0, treated_with="R1"), lot("L2")),
    }


def done_before(by):
    """R1 is still to be treated, and the shop asks for its approval; R2 was treated before."""
    second = replace(recipe("R2", Alpha=1.0), approved_by=by)
    return {
        "recipes": (recipe(Alpha=2.0), second),
        "treated": (
            TreatedSeed("L1", "R2", 0.01, Row("Treated so far", 2)),
            TreatedSeed("L1", "R1", 0.01, Row("Treated so far", 3)),
        ),
    }


def probed(day, planting=MAY, **changes):
    return {"lots": (lot(test_date=day, **changes),), "fields": (field(planting_date=planting),)}


def discount(spend, **changes):
    return {"discounts": (DiscountLevel("Early", spend, 0.1, row=Row("Discounts", 3), **changes),)}


def freight(free_from, amount=40.0):
    return {"suppliers": (Supplier("Elm", amount, free_from, row=Row("Suppliers", 2)),)}


def early(day):
    return {"suppliers": (Supplier("Elm", order_by=day, row=Row("Suppliers", 2)),)}


# what it is, season where it is due, words, season where it just is not
CASES = [
    (
        "stock expired",
        stock(FIRST_DAY - DAY),
        "50 fl oz of Alpha on hand (Products, row 2) expires on 4/19/2027, before",
        stock(FIRST_DAY),
    ),
    (
        "stock expired before the plan, of 2/1/2027",
        stock(date(2027, 1, 31)),
        "50 fl oz of Alpha on hand (Products, row 2) expired on 1/31/2027, before",
        stock(FIRST_DAY),
    ),
    (
        "stock expires while treating",
        {**stock(FIRST_DAY + DAY), "farm": farm(treating_done_by=FIRST_DAY + 2 * DAY)},
        "expires on 4/21/2027, before treating is done (4/22/2027)",
        {**stock(FIRST_DAY + 2 * DAY), "farm": farm(treating_done_by=FIRST_DAY + 2 * DAY)},
    ),
    (
        "stock expires before planting begins, no last day of treating given",
        {**stock(MAY - DAY), "fields": (field(planting_date=MAY),)},
        "expires on 5/9/2027, before the first field is planted (5/10/2027), and is counted",
        {**stock(MAY), "fields": (field(planting_date=MAY),)},
    ),
    ("no stock to expire", stock(FIRST_DAY - DAY), "expires", stock(FIRST_DAY - DAY, 0.0)),
    (
        "liquid",
        {"farm": farm(liquid_warning=4.0)},
        "Recipe R1 (Recipes, row 2) puts up to 4.00 fl oz on 100 lb of seed (lot L1). Liquid "
        "warning is from 4:",
        {"farm": farm(liquid_warning=4.01)},
    ),
    (
        "seedlings held by the variety only",
        bare(Rating.G),
        "Only the variety holds Phytophthora (V20 under R1 on North). Field resistance works from",
        bare(Rating.G, Rating.P),
    ),
    ("no tolerance, no gap", bare(Rating.P), "Only the variety", bare()),
    ("no pressure, no gap", bare(Rating.P), "Only the variety", bare(Rating.P, pressed=False)),
    (
        "a seedling gap is of water molds",
        bare(Rating.P),
        "Only the variety",
        bare(Rating.P, threat="White mold"),
    ),
    # 40 % of 50 bu/acre are 20
    (
        "losses add up to much of the crop",
        taken(10.1),
        "more than 40% of a usual yield of 50 bu/acre: North 20.1. Threats take from one crop",
        taken(10.0),
    ),
    ("losses off one crop", taken(10.1), "fill Expected yield", taken(10.1, 60.0)),
    # 40 CFR 261.7: 3 % up to 119 gal, 0.3 % above; by volume 9.6 fl oz of 2.5 gal
    (
        "heel of a jug",
        heel(320.0, 9.7),
        "more than the 9.6 fl oz that may stay in an empty container of its size (40 CFR 261.7",
        heel(320.0, 9.6),
    ),
    ("heel of a quart", heel(32.0, 1.0), "more than the 0.96 fl oz", heel(32.0, 0.96)),
    ("heel of a keg", heel(1920.0, 57.7), "the 57.6 fl oz", heel(1920.0, 57.6)),
    ("heel of a drum", heel(7040.0, 211.3), "the 211.2 fl oz", heel(7040.0, 211.2)),
    ("heel at 119 gal", heel(15_232.0, 457.0), "the 456.96 fl oz", heel(15_232.0, 456.9)),
    ("heel above 119 gal", heel(15_360.0, 46.1), "the 46.08 fl oz", heel(15_360.0, 46.0)),
    ("heel of a tote", heel(33_920.0, 101.8), "the 101.76 fl oz", heel(33_920.0, 101.7)),
    (
        "on-seed life of all that could be planted",
        lived(19.0),
        "Field North (Fields, row 2) is planted on 5/10/2027, past the on-seed life of every",
        lived(20.0),
    ),
    (
        "on-seed life of what is planned",
        lived(
            19.0,
            recipes=(recipe(Alpha=2.0), recipe("R2", Beta=2.0)),
            products=(product(on_seed_life=19.0), product("Beta")),
        ),
        "the on-seed life of what is planned there (R1)",
        lived(
            20.0,
            recipes=(recipe(Alpha=2.0), recipe("R2", Beta=2.0)),
            products=(product(on_seed_life=20.0), product("Beta")),
        ),
    ),
    # treated as late as can be, it cures two days
    (
        "on-seed life under the cure",
        {"fields": (field(planting_date=MAY),), "products": (product(on_seed_life=1.0),)},
        "past the on-seed life",
        {"fields": (field(planting_date=MAY),), "products": (product(on_seed_life=2.0),)},
    ),
    # a lot that came treated is as old as the plan at the least: 1 February to 10 May are 98 days
    (
        "on-seed life of a treated lot",
        {
            "fields": (field(planting_date=MAY),),
            "products": (product(on_seed_life=97.0),),
            "lots": (lot(on_hand=0.0, treated_with="R1"),),
        },
        "past the on-seed life",
        {
            "fields": (field(planting_date=MAY),),
            "products": (product(on_seed_life=98.0),),
            "lots": (lot(on_hand=0.0, treated_with="R1"),),
        },
    ),
    # other seed would do, so that one is told what can be done about this one
    (
        "on-seed life of a treated lot beside another",
        treated_before(97.0),
        "on seed that is treated already (L1 under R1): what lives on it is gone by then.",
        treated_before(98.0),
    ),
    (
        "seed treated before under a recipe that nobody approved and that is not treated again",
        done_before(None),
        "Treated before this plan without an approval on record: R2 (Treated so far, row 2).",
        done_before("L. Adviser"),
    ),
    # Crop Protection Network, CPN-5009, 2022: no more than 110,000 seeds/acre with a history of
    # severe white mold, and in rows of 15 inches or less with any.
    (
        "white mold planted too thick",
        rows(110_001.0, 15.0, "some"),
        "North (Fields, row 2), rows 15 inches apart, at 110,001",
        rows(110_000.0, 15.0, "some"),
    ),
    (
        "rows just too wide for the number",
        rows(140_000.0, 15.0, "some"),
        "CPN-5009",
        rows(140_000.0, 15.1, "some"),
    ),
    ("no history", rows(140_000.0, 15.0, "some"), "CPN-5009", rows(140_000.0, 15.0, "none")),
    ("history not known", rows(140_000.0, 15.0, "some"), "CPN-5009", rows(140_000.0, 15.0, None)),
    ("width not known", rows(140_000.0, 15.0, "some"), "CPN-5009", rows(140_000.0, None, "some")),
    (
        "severe before, at any width",
        rows(110_001.0, 30.0, "severe"),
        "North (Fields, row 2), severe before, at 110,001",
        rows(110_001.0, 30.0, "some"),
    ),
    (
        "severe before, width not known",
        rows(110_001.0, None, "severe"),
        "severe before, at 110,001",
        rows(110_000.0, None, "severe"),
    ),
    (
        "severe before in rows too narrow",
        rows(100_000.0, 29.9, "severe"),
        "North (Fields, row 2) at 29.9 inches",
        rows(100_000.0, 30.0, "severe"),
    ),
    (
        "pressure alone is no history",
        rows(140_000.0, 15.0, "some"),
        "CPN-5009",
        sown(140_000.0, WHITE),
    ),
    (
        "white mold by stand",
        rows(0.0, 15.0, "some", sowing=TargetStand(99_001.0, 0.9))
        | {"lots": (lot(germination=1.0),)},
        "apart, at 110,001",
        rows(0.0, 15.0, "some", sowing=TargetStand(99_000.0, 0.9))
        | {"lots": (lot(germination=1.0),)},
    ),
    # D. Smith, Univ. of Wisconsin: white mold infects through the flowers
    (
        "white mold in the total",
        credited(),
        "The total counts $2,000.00 of losses to white mold as kept off by what is on the seed",
        credited(credit_white_mold=True),
    ),
    ("losses not weighed", credited(), "white mold", credited(weigh_yield_loss=False)),
    ("another threat", credited(), "white mold", credited("Pythium")),
    # Iowa Code 199.8(1)(a): nine months, the month of the test not counted
    (
        "old germination test",
        probed(date(2026, 7, 31)),
        "lot L1 (Seed lots, row 2) is of 7/31/2026, more than 9 months before planting",
        probed(date(2026, 8, 1)),
    ),
    (
        "old germination test at a month's end",
        probed(date(2026, 8, 1), date(2027, 6, 1)),
        "more than 9 months",
        probed(date(2026, 8, 31), date(2027, 5, 31)),
    ),
    # Michigan State Univ. Extension, 2013: under 10 % seed is fragile in treating
    (
        "products kept apart in one recipe",
        {
            "products": (product(), product("Beta", on_hand=500.0, not_with=("Alpha",))),
            "recipes": (recipe("R1", Alpha=2.0, Beta=2.0),),
        },
        "(Recipes, row 2) puts on one seed what Products keeps apart (Do not mix with): Alpha and",
        {
            "products": (product(), product("Beta", on_hand=500.0, not_with=("Gamma",))),
            "recipes": (recipe("R1", Alpha=2.0, Beta=2.0),),
        },
    ),
    (
        "dry seed",
        {"lots": (lot(moisture=0.099),)},
        "Lot L1 (Seed lots, row 2) has 9.9% moisture",
        {"lots": (lot(moisture=0.10),)},
    ),
    # Michigan State Univ. Extension, 2013: at 85 % or less a test of vigor, too
    (
        "weak seed",
        {"lots": (lot(germination=0.85),)},
        "Lot L1 (Seed lots, row 2) germinates at 85%: have its vigor tested, too, before it is "
        "treated. Weak seed takes more harm from liquid, and treated seed can't go back. A Seeding "
        "rate on Fields is dropped as it stands",
        {"lots": (lot(germination=0.86),)},
    ),
    # Iowa Code 199.8(1)(a), as for a test: nine months, the first one not counted
    (
        "treated long ago and never tested",
        probed(None, treated_with="R1", on_hand=0.0, treated_on=date(2026, 7, 31)),
        "Lot L1 (Seed lots, row 2) was treated on 7/31/2026, more than 9 months before planting on "
        "5/10/2027, and has no Test date",
        probed(None, treated_with="R1", on_hand=0.0, treated_on=date(2026, 8, 1)),
    ),
    (
        "return above price",
        {"lots": (lot(can_buy=40.0, buy_price=90.0, return_value=90.01),)},
        "Lot L1 (Seed lots, row 2) is worth $90.01 a unit",
        {"lots": (lot(can_buy=40.0, buy_price=90.0, return_value=90.0),)},
    ),
    (
        "product worth more than it costs",
        {"products": (product(carryover=0.91),), **discount(0.0)},
        "A jug of Alpha (Containers, row 2) can cost as little as $270.00, less than its "
        "Carryover value, 91%",
        {"products": (product(carryover=0.9),), **discount(0.0)},
    ),
    (
        "more off than it costs",
        both(0.41),
        "Discounts Early and Cash can together take 101% off Alpha jug (Containers, row 2), more",
        both(0.4),
    ),
    (
        "product without a recipe",
        {"products": (product(), product("Beta"))},
        "No recipe uses Beta (Products, row 2)",
        {"products": (product(), product("Beta")), "recipes": (recipe(Alpha=2.0, Beta=1.0),)},
    ),
    (
        "living product carried over",
        {"products": (product(kind="Inoculant", carryover=0.5),)},
        "Alpha (Products, row 2) is Inoculant and carries 50%",
        {"products": (product(kind="fungicide", carryover=0.5),)},
    ),
    (
        "a figure in question",
        {"lots": (lot(seeds_per_lb=28_000.0),)},
        "Is 28,000 seeds/lb right for lot L1 (Seed lots, row 2)?",
        {"lots": (lot(),)},
    ),
    ("order by", early(date(2027, 1, 31)), "wanted orders by 1/31/2027", early(date(2027, 2, 1))),
    # 300 ordered: 5 % under 315.78 are 299.99, under 315.80 they are 300.01
    (
        "discount nearly reached",
        discount(315.78),
        "(Discounts, row 3): at list price the order is $15.78 short of the level of $315",
        discount(315.80),
    ),
    ("discount reached", discount(300.01), "short of the level", discount(300.0)),
    (
        "discount of another supplier",
        discount(310.0, supplier="Elm"),
        "short of the level",
        discount(310.0, supplier="Oak"),
    ),
    (
        "discount on another product",
        discount(310.0, products=("Alpha",)),
        "short of the level",
        discount(310.0, products=("Beta",)),
    ),
    ("free freight nearly reached", freight(315.78), "short of free freight", freight(315.80)),
    ("free freight reached", freight(300.01), "it costs $40.00", freight(300.0)),
    ("no freight", freight(310.0), "short of free freight", freight(310.0, 0.0)),
    (
        "line primed again",
        treated_last("R1", 10.0),
        "priming it for R1 again: 10.0 fl oz of Alpha, worth $9.38.",
        treated_last("R2", 10.0),
    ),
    ("nothing in the line", treated_last("R1", 0.1), "0.1 fl oz", treated_last("R1", 0.0)),
]


@pytest.mark.parametrize(
    ("due", "words", "just_not"), [c[1:] for c in CASES], ids=[c[0] for c in CASES]
)
def test_warning(due, words, just_not):
    (found,) = warnings(PLAN, season(**due))
    assert words in found
    assert warnings(PLAN, season(**just_not)) == ()


def test_no_warning_without_cause():
    assert warnings(PLAN, season()) == ()


def test_seed_bought_after_its_day_to_order():
    """Plan date of the season is 1 February 2027; the day itself is not too late."""
    plan = replace(PLAN, seed_purchases=(SeedPurchase("L1", 1, 40.0, 100.0),))
    late = season(lots=(lot(order_by=date(2027, 1, 31)),))
    (said,) = order_by_passed(plan, late)
    assert said.startswith("Seed of L1 (Seed lots, row 2) was to be ordered by 1/31/2027")
    assert said.endswith("The plan counts $0.00 a unit.")
    (said,) = order_by_passed(plan, replace(late, lots=(replace(late.lots[0], late_price=70.0),)))
    assert said.endswith("The plan counts $0.00 a unit, not the Late price of $70.00.")
    assert not list(order_by_passed(plan, season(lots=(lot(order_by=date(2027, 2, 1)),))))
    assert not list(order_by_passed(PLAN, late))  # none of it is bought


@pytest.mark.parametrize(
    ("late_price", "counted"),
    [
        (None, "The plan counts the listed price."),
        (330.0, "The plan counts the listed price, not the Late price (jug of Alpha $330.00)."),
    ],
)
def test_containers_ordered_after_the_suppliers_day(late_price, counted):
    one = season(
        suppliers=(Supplier("Elm", order_by=date(2027, 1, 31)),),
        containers=(container(supplier="Elm", late_price=late_price),),
    )
    (said,) = order_by_passed(PLAN, one)
    assert said.startswith("Elm wanted orders by 1/31/2027, which is past: ask whether it still")
    assert said.endswith(counted)


def test_discount_taken_after_its_day():
    """Plan date is 1 February 2027; $300 are ordered, of a supplier that names no day."""
    for day, told in ((date(2027, 1, 31), True), (date(2027, 2, 1), False)):
        one = season(discounts=(DiscountLevel("Early", 300.0, 0.1, order_by=day),))
        said = list(order_by_passed(PLAN, one))
        assert [s.split(";")[0] for s in said] == (
            ["Discount Early was for orders by 1/31/2027"] if told else []
        )
    high = DiscountLevel("Early", 300.01, 0.1, order_by=date(2027, 1, 31))
    assert not list(order_by_passed(PLAN, season(discounts=(high,))))  # not reached


def test_discount_that_is_over_and_so_not_taken():
    """10 % of $300, of a supplier whose own day, 1 March, is later; in time, nothing is lost."""
    for day, told in ((date(2027, 1, 31), True), (date(2027, 2, 1), False)):
        one = season(
            suppliers=(Supplier("Elm", order_by=date(2027, 3, 1)),),
            discounts=(DiscountLevel("Early", 300.0, 0.1, order_by=day),),
        )
        assert list(order_by_passed(PLAN, one)) == (
            [
                "Discount Early was for orders by 1/31/2027, before the plan date, so it is not "
                "taken off: $30.00. Is its Order by right?"
            ]
            if told
            else []
        )


def test_treated_seed_left_in_units_and_money():
    """3 bags, 82.4 units planted: 37.6 left.

    Worth 10 a unit untreated, and 2 fl oz at 300/320 each: 37.6 x 11.875 = 446.50.
    """
    plan = replace(
        PLAN,
        treating=(Treating("L1", "R1", 3, 0, 120.0),),
        planting=(Planting("North", "L1", "R1", 80.0, 82.4),),
    )
    one = season(lots=(lot(return_value=10.0),))
    (found,) = warnings(plan, one)
    assert "37.6 units of treated seed are left over, worth about $446.50" in found
    assert "37.6 of L1 under R1" in found
    assert warnings(PLAN, one) == ()


def test_fields_dropped_too_thick_share_one_warning():
    names = ["North", *(f"F{n}" for n in range(2, 15))]
    fields = tuple(
        field(n, seeds=111_000.0 + i, row_width=15.0, white_mold_history="some")
        for i, n in enumerate(names)
    )
    found = [w for w in warnings(PLAN, season(fields=fields)) if "CPN-5009" in w]
    assert len(found) == 1
    assert found[0].startswith("14 fields with a history of white mold planted too thick")
    assert "F14 (Fields, row 2), rows 15 inches apart, at 111,013" in found[0]
    assert "F3 (Fields, row 2), rows 15 inches apart, at 111,002; and 2 more." in found[0]


def test_severe_in_narrow_rows_is_two_findings():
    """CPN-5009: widen the rows to 30 inches, and no more than 110,000 seeds/acre."""
    found = [
        w for w in warnings(PLAN, season(**rows(140_000.0, 15.0, "severe"))) if "CPN-5009" in w
    ]
    assert len(found) == 2


def test_seed_treated_before_is_left_too():
    one = season(treated=(TreatedSeed("L1", "R1", 12.0),))
    (found,) = warnings(PLAN, one)
    assert "12.0 units of treated seed" in found


def test_a_crumb_of_treated_seed_is_not_told():
    plan = replace(PLAN, planting=(Planting("North", "L1", "R1", 79.96, 79.96),))
    assert warnings(plan, season()) == ()


def test_only_a_better_level_is_told():
    """The level above the one reached is told, one that takes less off is not."""
    reached = DiscountLevel("Early", 200.0, 0.08)
    better, worse = (DiscountLevel("Early", 310.0, percent) for percent in (0.1, 0.08))
    assert len(warnings(PLAN, season(discounts=(reached, better)))) == 1
    assert warnings(PLAN, season(discounts=(reached, worse))) == ()


def test_metric_farms_read_metric_warnings():
    """96 fl oz are 2.84 L, 2 fl oz/cwt 130 mL/100 kg, 111,000 seeds an acre 274,287 a ha.

    A planter is set in whole thousands, and no more than 271,816 is 271,000.
    """
    metric = farm(metric=True, liquid_warning=2.0)
    assert "2.84 L of Alpha on hand" in "".join(
        expired_stock(PLAN, season(farm=metric, **stock(FIRST_DAY - DAY, 96.0)))
    )
    wet = season(farm=metric, recipes=(recipe(Alpha=4.0),))
    (said,) = too_much_liquid(PLAN, wet)
    assert "mL on 100 kg of seed" in said
    assert "Liquid warning is from 130:" in said
    thick = season(farm=metric, **rows(111_000.0, 15.0, "severe"))
    (said,) = white_mold_too_thick(PLAN, thick)
    assert "at 274,000" in said
    assert "no more than 271,000 seeds per ha" in said
    (said,) = white_mold_rows_too_narrow(PLAN, thick)
    assert "at 38 cm" in said
    assert "rows 76 cm apart" in said
    (said,) = white_mold_rows_too_narrow(
        PLAN, season(farm=metric, **rows(111_000.0, 37.5 / 2.54, "severe"))
    )
    assert "at 37.5 cm" in said


@pytest.mark.parametrize(("cm", "found"), [(75.0, 0), (76.2, 0), (70.0, 1), (50.0, 1)])
def test_metric_rows_of_75_cm_are_the_bulletins_30_inches(cm, found):
    metric = season(farm=farm(metric=True), **rows(100_000.0, cm / 2.54, "severe"))
    assert len(list(white_mold_rows_too_narrow(PLAN, metric))) == found


@pytest.mark.parametrize(("cm", "found"), [(37.5, 1), (38.1, 1), (45.0, 0)])
def test_metric_rows_of_37_cm_are_the_bulletins_15_inches(cm, found):
    metric = season(farm=farm(metric=True), **rows(140_000.0, cm / 2.54, "some"))
    assert len(list(white_mold_too_thick(PLAN, metric))) == found


def test_currency_by_name_is_set_off():
    one = season(farm=farm(currency="CAD"), **discount(310.0))
    assert "the order is CAD 10.00 short" in warnings(PLAN, one)[0]


def test_untreated_seed_has_no_on_seed_life():
    one = season(
        fields=(field(planting_date=MAY, sowing=SeedingRate(140_000.0)),),
        products=(product(on_seed_life=0.0),),
        farm=farm(allow_untreated=True),
    )
    plan = replace(PLAN, treating=(), planting=(Planting("North", "L1", "Untreated", 80, 80),))
    assert warnings(plan, one) == ()


ELEVEN = replace(PLAN, run_order=tuple(f"R{n}" for n in range(11)))


def test_more_recipes_on_a_primed_line_than_all_orders_are_tried_for():
    assert any("11 recipes run on a line that stays" in w for w in warnings(ELEVEN, season()))
    ten = replace(PLAN, run_order=ELEVEN.run_order[:10])
    assert not any("stays primed" in w for w in warnings(ten, season()))


def test_what_is_too_wet_is_one_warning_however_many_recipes():
    one = recipe(Alpha=4.0)
    wet = season(farm=farm(liquid_warning=2.0), recipes=(one, replace(one, name="R2")))
    two = replace(PLAN, treating=(*PLAN.treating, replace(PLAN.treating[0], recipe="R2")))
    (said,) = too_much_liquid(two, wet)
    assert "Recipe R1 " in said
    assert "; Recipe R2 " in said
    assert said.count("Liquid warning is from 2: seed may bridge") == 1


def test_every_check_is_due_in_some_case():
    """No warning is without a case above that asks for it."""
    left = replace(PLAN, treating=(Treating("L1", "R1", 3, 0, 120.0),))
    tried = [(PLAN, season(**due)) for _, due, _, _ in CASES]
    tried += [(left, season()), (ELEVEN, season())]
    for check in CHECKS:
        assert any(list(check(plan, one)) for plan, one in tried), check.__name__


def test_standing_cautions_say_what_must_be_said():
    text = " ".join(STANDING)
    for words in ("label", "local rules", "licensed", "protective equipment", "never food", "oil"):
        assert words in text
    assert "No seed treatment protects against white mold all season" in text

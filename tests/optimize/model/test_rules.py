"""Each rule and cost term alone: a season where it bites, and one where it just does not.

All are variations of one season: 80 acres at one unit an acre, a lot of 120 units in bags of 40 at
50 lb a unit, 2 fl oz a unit, jugs of 320 fl oz for $300. Two bags are treated with 160 fl oz from
one jug: $300, nothing short. The expected figures are worked by hand in the comments.
"""

from datetime import timedelta

import pytest

from planner.optimize.mip import highs
from planner.optimize.model import program
from planner.optimize.model.instance import make_instance
from planner.optimize.model.program import make_model
from planner.optimize.options import SolveOptions
from planner.optimize.search.run import solve
from planner.plan.audit import audit
from planner.plan.plan import Outcome
from planner.season.domain import (
    Active,
    ActiveLimit,
    Basis,
    DiscountLevel,
    MaturityShare,
    OnItsWay,
    Pressure,
    Rating,
    Supplier,
    TargetStand,
    Threat,
    TreatedSeed,
)
from tests.support.seasons import FIRST_DAY, container, farm, field, lot, product, recipe, season

R1, R2 = recipe("R1", Alpha=2.0), recipe("R2", Alpha=5.0)
HIGH = {"rot": Pressure.HIGH}
V16 = {"variety": "V16", "maturity": 1.6}


def active(strength=1.0, **changes):
    return product(actives=(Active("alpha-ine", strength),), **changes)


def two(first=40.0, second=40.0, **changes):
    """Two lots of two varieties."""
    return (
        lot("L1", on_hand=first, units_per_bag=first or 40.0, **changes),
        lot("L2", on_hand=second, units_per_bag=second or 40.0, **{**V16, **changes}),
    )


def jugs(*breaks, **changes):
    return (container(breaks=breaks or ((1, 300.0),), **changes),)


def elm(**changes):
    return {
        "containers": jugs(supplier="Elm"),
        "suppliers": (Supplier("Elm", **changes),),
    }


def needs(product_rating):
    return {
        "fields": (field(pressure=HIGH),),
        "products": (product(protection={"rot": product_rating}),),
        "threats": (Threat("rot", need={Pressure.HIGH: Rating.G}),),
    }


def weighed(price=10.0, **changes):
    """A threat that takes 2 bu/acre; Alpha prevents half of it, Beta nine tenths."""
    return {
        "farm": farm(weigh_yield_loss=True, soybean_price=price),
        "fields": (field(pressure=HIGH),),
        "products": (
            product(protection={"rot": Rating.F}),
            product("Beta", protection={"rot": Rating.E}),
        ),
        "threats": (Threat("rot", loss={Pressure.HIGH: 2.0}),),
        "control": {Rating.F: 0.5, Rating.E: 0.9},
        **changes,
    }


BETA = {
    "recipes": (R1, recipe("R2", Beta=2.0)),
    "containers": (container(), container("Beta", price=900.0)),
}
STRONGER = {**BETA, "containers": (container(), container("Beta", price=310.0))}
EVE, NEXT = FIRST_DAY - timedelta(days=1), FIRST_DAY
NO_STOCK = {"on_hand": 0.0, "can_buy": 80.0, "buy_price": 12.0, "return_value": 10.0}


def first(priority):
    """40 acres at two units an acre."""
    return field("A", 40.0, 280_000.0, priority=priority)


def second(priority):
    """80 acres at one unit an acre."""
    return field("B", 80.0, priority=priority)


# name, changes to the season, acres short, cost
CASES = [
    ("nothing special", {}, 0, 300),
    # Rule 1: what may go where.
    ("latest maturity met", {"fields": (field(latest=2.0),)}, 0, 300),
    ("latest maturity bites", {"fields": (field(latest=1.9),)}, 80, 0),
    ("earliest maturity met", {"fields": (field(earliest=2.0),)}, 0, 300),
    ("earliest maturity bites", {"fields": (field(earliest=2.1),)}, 80, 0),
    (
        "any of the traits is there",
        {"fields": (field(traits=("x", "z")),), "lots": (lot(trait=("y", "x")),)},
        0,
        300,
    ),
    (
        "trait bites",
        {"fields": (field(traits=("x", "z")),), "lots": (lot(trait=("y",)),)},
        80,
        0,
    ),
    ("seed without a grower goes anywhere", {"fields": (field(grower="Ann"),)}, 0, 300),
    (
        "grower bites",
        {"fields": (field(grower="Ann"),), "lots": (lot(grower="Bob"),)},
        80,
        0,
    ),
    ("only varieties met", {"fields": (field(only_varieties=("V16", "V20")),)}, 0, 300),
    ("only varieties bites", {"fields": (field(only_varieties=("V16",)),)}, 80, 0),
    ("only recipes met", {"fields": (field(only_recipes=("R1",)),), "recipes": (R1, R2)}, 0, 300),
    # R2 takes 400 fl oz: two jugs.
    ("only recipes bites", {"fields": (field(only_recipes=("R2",)),), "recipes": (R1, R2)}, 0, 600),
    ("need met by the rating", needs(Rating.G), 0, 300),
    ("need bites", needs(Rating.F), 80, 0),
    ("no need at this pressure", {**needs(Rating.F), "fields": (field(),)}, 0, 300),
    # 2 fl oz on 50 lb are 4 fl oz/cwt.
    ("liquid limit met", {"farm": farm(liquid_limit=4.0)}, 0, 300),
    ("liquid limit bites", {"farm": farm(liquid_limit=3.99)}, 80, 0),
    # 2 fl oz of 1 lb/gal are 2/128 lb a unit, which is an acre's drop; spare seed does not count.
    (
        "active per acre met at the drop rate",
        {
            "products": (active(),),
            "active_limits": (ActiveLimit("alpha-ine", per_acre=2 / 128),),
            "farm": farm(spare_seed=0.05),
        },
        0,
        300,  # 84 units: three bags, 240 fl oz
    ),
    (
        "active per acre bites",
        {
            "products": (active(),),
            "active_limits": (ActiveLimit("alpha-ine", per_acre=0.0156),),
        },
        80,
        0,
    ),
    (
        "active per acre bites beside a limit per seed",
        {
            "products": (active(),),
            "active_limits": (
                ActiveLimit("alpha-ine", per_acre=0.0156),
                ActiveLimit("beta-ine", per_seed=1.0),
            ),
        },
        80,
        0,
    ),
    # 2/128 lb = 7,087.38 mg on 140,000 seeds: 0.050624 mg a seed.
    (
        "active per seed met",
        {
            "products": (active(),),
            "active_limits": (ActiveLimit("alpha-ine", per_seed=0.05063),),
        },
        0,
        300,
    ),
    (
        "active per seed bites",
        {"products": (active(),), "active_limits": (ActiveLimit("alpha-ine", per_seed=0.0506),)},
        80,
        0,
    ),
    # Rule 2: shares of a field.
    ("two varieties allowed", {"lots": two(), "farm": farm(max_varieties=2)}, 0, 300),
    ("one variety only bites", {"lots": two(), "farm": farm(max_varieties=1)}, 40, 300),
    (
        "two lots of one variety are one share",
        {
            "lots": (lot("L1", on_hand=40.0), lot("L2", on_hand=40.0)),
            "farm": farm(max_varieties=1),
        },
        0,
        300,
    ),
    ("smallest split met", {"lots": two(), "farm": farm(smallest_split=40.0)}, 0, 300),
    # Neither share of 40 acres is large enough, so nothing can be planted.
    ("smallest split bites", {"lots": two(), "farm": farm(smallest_split=40.5)}, 80, 0),
    (
        "a field under the smallest split is one share",
        {"fields": (field(acres=30.0),), "farm": farm(smallest_split=40.0)},
        0,
        300,
    ),
    # Of two lots of one variety, 60 and 20 units, both are needed: 20 acres of the second.
    (
        "smallest lot share met",
        {
            "lots": (lot("L1", on_hand=60.0), lot("L2", on_hand=20.0)),
            "farm": farm(smallest_lot_share=20.0),
        },
        0,
        300,
    ),
    # 20 acres are too few for a lot, so L2 goes unused: 20 acres are short.
    (
        "smallest lot share bites",
        {
            "lots": (lot("L1", on_hand=60.0), lot("L2", on_hand=20.0)),
            "farm": farm(smallest_lot_share=20.5),
        },
        20,
        300,
    ),
    # As one share the two lots keep the smallest split of 40 acres; 20 acres of a lot are allowed.
    (
        "smallest split counts lots of a variety together",
        {
            "lots": (lot("L1", on_hand=60.0), lot("L2", on_hand=20.0)),
            "farm": farm(smallest_split=40.0, smallest_lot_share=15.0),
        },
        0,
        300,
    ),
    (
        "a field under the smallest lot share is planted from one lot",
        {"fields": (field(acres=30.0),), "farm": farm(smallest_lot_share=40.0)},
        0,
        300,
    ),
    # 30 acres in all: 20 units of L1 and 20 of L2 would do, but the whole field is one lot's.
    (
        "a field under the smallest lot share takes no two lots",
        {
            "fields": (field(acres=30.0),),
            "lots": (lot("L1", on_hand=20.0), lot("L2", on_hand=20.0)),
            "farm": farm(smallest_lot_share=40.0),
        },
        30,
        0,
    ),
    # Rule 3: whole bags.
    ("two bags are enough", {"lots": (lot(return_value=10.0),)}, 0, 1100),
    # 80.8 units: a third bag.
    (
        "whole bags bite",
        {"lots": (lot(return_value=10.0),), "farm": farm(spare_seed=0.01)},
        0,
        1500,
    ),
    # 90 units are two bags and a part of 10: bag and part hold 50.
    (
        "part bag is enough",
        {"lots": (lot(on_hand=90.0, return_value=10.0),), "fields": (field(acres=50.0),)},
        0,
        800,
    ),
    (
        "part bag is too small",
        {"lots": (lot(on_hand=90.0, return_value=10.0),), "fields": (field(acres=50.5),)},
        0,
        1100,
    ),
    # A bag of 40 for $2,000.
    (
        "a full bag can be bought",
        {"lots": (lot(on_hand=40.0, can_buy=40.0, buy_price=50.0),)},
        0,
        2300,
    ),
    (
        "no full bag can be bought",
        {"lots": (lot(on_hand=40.0, can_buy=39.9, buy_price=50.0),)},
        40,
        300,
    ),
    # 80 x 12 bought; treated as much as bought, so nothing is given up.
    ("bought seed is not given up", {"lots": (lot(**NO_STOCK),)}, 0, 1260),
    ("seed must be treated", {"farm": farm(allow_untreated=False)}, 0, 300),
    ("untreated seed takes no product", {"farm": farm(allow_untreated=True)}, 0, 0),
    # Untreated seed is planted by the unit: 50 units, not 80.
    (
        "untreated seed by the unit",
        {
            "farm": farm(allow_untreated=True),
            "lots": (lot(return_value=10.0),),
            "fields": (field(acres=50.0),),
        },
        0,
        500,
    ),
    # 126,000 plants / 0.9 = 140,000 seeds; at 90 % germination 88.9 units: a third bag.
    (
        "stand at full germination",
        {
            "fields": (field(sowing=TargetStand(126_000.0, 0.9)),),
            "lots": (lot(germination=1.0, return_value=10.0),),
        },
        0,
        1100,
    ),
    (
        "germination bites",
        {
            "fields": (field(sowing=TargetStand(126_000.0, 0.9)),),
            "lots": (lot(germination=0.9, return_value=10.0),),
        },
        0,
        1500,
    ),
    # Rule 4: product. 4 fl oz a unit take exactly a jug.
    ("a jug to the drop", {"recipes": (recipe(Alpha=4.0),)}, 0, 300),
    (
        "margin bites",
        {"recipes": (recipe(Alpha=4.0),), "farm": farm(product_margin=0.01)},
        0,
        600,
    ),
    (
        "line loss bites",
        {"recipes": (recipe(Alpha=4.0),), "products": (product(line_loss=1.0),)},
        0,
        600,
    ),
    ("heel bites", {"recipes": (recipe(Alpha=4.0),), "containers": jugs(heel=0.5)}, 0, 600),
    ("line loss once for a recipe", {"products": (product(line_loss=160.0),)}, 0, 300),
    # Two recipes run: 160 + 80.5 + 80.5 fl oz.
    (
        "line loss for every recipe run",
        {
            "fields": (
                field("A", 40.0, only_recipes=("R1",)),
                field("B", 40.0, only_recipes=("R3",)),
            ),
            "recipes": (R1, recipe("R3", Alpha=2.0)),
            "products": (product(line_loss=80.5),),
        },
        0,
        600,
    ),
    ("stock is enough", {"products": (product(on_hand=160.0),)}, 0, 0),
    ("stock is not enough", {"products": (product(on_hand=159.9),)}, 0, 300),
    ("stock good on the first day", {"products": (product(on_hand=160.0, expires=NEXT),)}, 0, 0),
    ("stock expires before", {"products": (product(on_hand=160.0, expires=EVE),)}, 0, 300),
    (
        "as many as are available",
        {"recipes": (recipe(Alpha=8.0),), "containers": jugs(most=2)},
        0,
        600,
    ),
    # One jug treats one bag.
    (
        "most available bites",
        {"recipes": (recipe(Alpha=8.0),), "containers": jugs(most=1)},
        40,
        300,
    ),
    # Rule 5: spread over all acres.
    (
        "variety share met",
        {"lots": two(), "farm": farm(most_of_one_variety=0.5)},
        0,
        300,
    ),
    # 39 acres of V16 allow 39 of V20.
    (
        "variety share bites",
        {"lots": two(80.0, 39.0), "farm": farm(most_of_one_variety=0.5)},
        2,
        300,
    ),
    (
        "maturity share met",
        {"lots": two(), "maturity_spread": (MaturityShare(2.0, 2.4, 0.5),)},
        0,
        300,
    ),
    (
        "maturity share bites, bounds included",
        {"lots": two(80.0, 39.0), "maturity_spread": (MaturityShare(1.8, 2.0, 0.5),)},
        2,
        300,
    ),
    (
        "maturity just outside the span",
        {"lots": two(80.0, 39.0), "maturity_spread": (MaturityShare(2.1, 2.4, 0.5),)},
        0,
        300,
    ),
    # Shortage by priority.
    # 80 units: either 40 acres at two units or 80 at one.
    (
        "priority 1 first, though it takes more seed",
        {"fields": (first(1), second(2)), "lots": (lot(on_hand=80.0),)},
        80,
        300,
    ),
    (
        "priority the other way",
        {"fields": (first(2), second(1)), "lots": (lot(on_hand=80.0),)},
        40,
        300,
    ),
    # Order: breaks, freight, discounts.
    # 640 fl oz: two jugs for 600 or three for 450.
    (
        "price break pays",
        {"recipes": (recipe(Alpha=8.0),), "containers": jugs((1, 300.0), (3, 150.0))},
        0,
        450,
    ),
    (
        "price break just does not pay",
        {"recipes": (recipe(Alpha=8.0),), "containers": jugs((1, 300.0), (3, 201.0))},
        0,
        600,
    ),
    ("no fewer than two", {"containers": jugs((2, 300.0))}, 0, 600),
    ("freight", elm(freight=50.0), 0, 350),
    ("freight free", elm(freight=50.0, free_from=300.0), 0, 300),
    ("freight just not free", elm(freight=50.0, free_from=300.5), 0, 350),
    ("a second jug for free freight", elm(freight=301.0, free_from=600.0), 0, 600),
    ("a second jug does not pay", elm(freight=299.0, free_from=600.0), 0, 599),
    ("freight of nobody ordered from", {**elm(freight=50.0), "containers": jugs()}, 0, 300),
    ("discount reached", {"discounts": (DiscountLevel("Early", 300.0, 0.1),)}, 0, 270),
    ("discount just missed", {"discounts": (DiscountLevel("Early", 300.5, 0.1),)}, 0, 300),
    ("a second jug for a discount", {"discounts": (DiscountLevel("Early", 600.0, 0.55),)}, 0, 270),
    (
        "one level of a discount",
        {"discounts": (DiscountLevel("Early", 100.0, 0.05), DiscountLevel("Early", 300.0, 0.1))},
        0,
        270,
    ),
    (
        "two discounts add up",
        {"discounts": (DiscountLevel("Early", 100.0, 0.05), DiscountLevel("Cash", 300.0, 0.1))},
        0,
        255,
    ),
    (
        "discount on another product",
        {
            "products": (product(), product("Beta")),
            "discounts": (DiscountLevel("Early", 100.0, 0.1, products=("Beta",)),),
        },
        0,
        300,
    ),
    (
        "discount of another supplier",
        {
            **elm(),
            "suppliers": (Supplier("Elm"), Supplier("Oak")),
            "discounts": (DiscountLevel("Early", 100.0, 0.1, supplier="Oak"),),
        },
        0,
        300,
    ),
    # Carryover: 160 fl oz left at half of 300/320.
    ("carryover credit", {"products": (product(carryover=0.5),)}, 0, 225),
    # The lowest price per volume counts, even of a break that is not reached: 128/320.
    (
        "carryover at the lowest price",
        {"products": (product(carryover=0.5),), "containers": jugs((1, 300.0), (9, 128.0))},
        0,
        268,
    ),
    ("no carryover", {"products": (product(carryover=0.0),)}, 0, 300),
    # Yield loss: 80 acres x 2 bu x 0.5 x $10.
    ("yield loss not weighed", weighed(farm=farm()), 0, 300),
    ("yield loss weighed", weighed(), 0, 1100),
    # Beta loses 160 instead of 800 and costs 600 more.
    ("protection pays", weighed(**BETA), 0, 1060),
    # At $9 it loses 144 instead of 720: 576 saved for 600.
    ("protection just does not pay", weighed(price=9.0, **BETA), 0, 1020),
    # In mid-season.
    (
        "treated so far takes no product",
        {
            "treated": (TreatedSeed("L1", "R1", 40.0),),
            "products": (product(on_hand=80.0),),
            "lots": (lot(return_value=10.0),),
        },
        0,
        400,
    ),
    (
        "treated so far leaves the lot",
        {"treated": (TreatedSeed("L1", "R1", 50.0),), "lots": (lot(on_hand=80.0),)},
        0,
        300,  # 30 units in a part bag
    ),
    (
        "treated so far with what the field may not have",
        {
            "fields": (field(only_recipes=("R1",)),),
            "recipes": (R1, R2),
            "treated": (TreatedSeed("L1", "R2", 50.0),),
            "lots": (lot(on_hand=80.0),),
        },
        50,
        300,
    ),
    ("ordered so far", {"ordered": (OnItsWay("Alpha", "jug", 1),)}, 0, 0),
    # 160 fl oz are needed; of a jug on its way 1 fl oz can't be drawn out.
    (
        "ordered so far is enough without its heel",
        {
            "ordered": (OnItsWay("Alpha", "jug", 1),),
            "containers": (container(size=161.0, heel=1.0),),
        },
        0,
        0,
    ),
    (
        "ordered so far is too little without its heel",
        {
            "ordered": (OnItsWay("Alpha", "jug", 1),),
            "containers": (container(size=160.0, heel=1.0),),
        },
        0,
        300,
    ),
    (
        "ordered so far reaches no break",
        {
            "recipes": (recipe(Alpha=6.0),),  # 480 fl oz: one more jug
            "containers": jugs((1, 300.0), (2, 100.0), heel=0.0, most=1),
            "ordered": (OnItsWay("Alpha", "jug", 1),),
        },
        0,
        300,
    ),
    (
        "ordered so far reaches no discount and no free freight",
        {
            **elm(freight=50.0, free_from=600.0),
            "containers": jugs(supplier="Elm", most=1),
            "recipes": (recipe(Alpha=6.0),),
            "ordered": (OnItsWay("Alpha", "jug", 1),),
            "discounts": (DiscountLevel("Early", 600.0, 0.1),),
        },
        0,
        350,
    ),
    (
        "more treated so far than there was",
        {"treated": (TreatedSeed("L1", "R1", 50.0),), "lots": (lot(on_hand=30.0),)},
        30,
        0,
    ),
    # 1,600 fl oz are five jugs, all at the break of three, though it is the dearer one.
    (
        "a dearer break prices every container",
        {"recipes": (recipe(Alpha=20.0),), "containers": jugs((1, 100.0), (3, 110.0))},
        0,
        550,
    ),
    # 0.2 acres are left for the second variety, of which there are 0.3 units.
    (
        "a smallest split under an acre met",
        {"farm": farm(smallest_split=0.3), "lots": two(79.8, 0.3)},
        0,
        300,
    ),
    (
        "a smallest split under an acre bites",
        {"farm": farm(smallest_split=0.31), "lots": two(79.8, 0.3)},
        0.2,
        300,
    ),
    # 300 + 0.50 against 300.20 without freight.
    (
        "half a dollar of freight",
        {
            "containers": (
                container(supplier="Elm"),
                container(name="keg", price=300.2, supplier="Oak"),
            ),
            "suppliers": (Supplier("Elm", freight=0.5), Supplier("Oak")),
        },
        0,
        300.2,
    ),
    # Beta's stock is enough, but a jug of it at $20 makes 320 of 300: a tenth off is 32.
    (
        "a jug that nothing needs for a discount",
        {
            "products": (product(), product("Beta", on_hand=999.0)),
            "recipes": (recipe(Alpha=2.0, Beta=1.0),),
            "containers": (*jugs((1, 300.0)), container("Beta", price=20.0)),
            "discounts": (DiscountLevel("Early", 320.0, 0.1),),
        },
        0,
        288,
    ),
    # 80 x 0.00625 = half a fl oz, but jugs are sold from two on.
    (
        "a little of what is sold by two",
        {"recipes": (recipe(Alpha=0.00625),), "containers": jugs((2, 300.0))},
        0,
        600,
    ),
    # 28 of them at $8 make 524 of 300, half off; at $20, the price of a single one, 26 would do.
    *(
        (
            f"many jugs at their low price, {name}",
            {
                "products": (product(), product("Beta", on_hand=stock)),
                "recipes": (recipe(Alpha=2.0, Beta=1.0),),
                "containers": (
                    *jugs((1, 300.0)),
                    container("Beta", breaks=((1, 20.0), (2, 8.0))),
                ),
                "discounts": (DiscountLevel("Early", 520.0, 0.5),),
            },
            0,
            262,
        )
        for name, stock in (("none needed", 999.0), ("one needed", 0.0))
    ),
    # Nothing is spent at Elm, and that is enough; Oak's jug would be $10.
    (
        "freight that is free from nothing",
        {
            "containers": (
                container(price=0.0, supplier="Elm"),
                container(name="keg", price=10.0, supplier="Oak"),
            ),
            "suppliers": (Supplier("Elm", freight=50.0, free_from=0.0), Supplier("Oak")),
        },
        0,
        0,
    ),
    # Three jugs at $7 for freight of 50: 300 + 21.
    (
        "jugs that nothing needs for free freight",
        {
            **elm(freight=50.0, free_from=320.0),
            "products": (product(), product("Beta", on_hand=999.0)),
            "recipes": (recipe(Alpha=2.0, Beta=1.0),),
            "containers": (
                *jugs((1, 300.0), supplier="Elm"),
                container("Beta", price=7.0, supplier="Elm"),
            ),
        },
        0,
        321,
    ),
    (
        "stock that can't be bought has no price to carry over",
        {"products": (product(on_hand=999.0, carryover=0.5),), "containers": ()},
        0,
        0,
    ),
    (
        "a lot that is already treated costs nothing more",
        {"lots": (lot(treated_with="R1", return_value=10.0),)},
        0,
        0,
    ),
    (
        "a lot that is treated wrongly",
        {
            "lots": (lot(treated_with="R2"),),
            "recipes": (R1, R2),
            "fields": (field(only_recipes=("R1",)),),
        },
        80,
        0,
    ),
    (
        "an already treated lot is bought by full bags",
        {"lots": (lot(treated_with="R1", **{**NO_STOCK, "can_buy": 119.0}),)},
        0,
        960,
    ),
    # Two of three varieties at 30 acres each.
    (
        "no third variety",
        {
            "lots": tuple(
                lot(f"L{n}", f"V{n}", on_hand=30.0, units_per_bag=30.0) for n in (1, 2, 3)
            ),
            "farm": farm(max_varieties=2),
        },
        20,
        300,
    ),
    # 640 fl oz for two fields, the smaller one first: two jugs.
    (
        "need of several fields",
        {
            "fields": (field("A", 10.0), field("B", 150.0)),
            "lots": (lot(on_hand=160.0),),
            "recipes": (recipe(Alpha=4.0),),
        },
        0,
        600,
    ),
    # Two jugs at $250 are less than the keg, at $300 they would be more.
    (
        "the break in the middle",
        {
            "recipes": (recipe(Alpha=8.0),),
            "containers": (
                *jugs((1, 300.0), (2, 250.0), (9, 200.0)),
                container(name="keg", size=640.0, price=550.0),
            ),
        },
        0,
        500,
    ),
    # 80 x 0.1 = 8 fl oz in bottles of 1.
    (
        "many small bottles",
        {"recipes": (recipe(Alpha=0.1),), "containers": (container(size=1.0, price=2.0),)},
        0,
        16,
    ),
    # Alpha's stock is enough, but two jugs of it at 50 cents make 901 of 900, half off.
    (
        "jugs under a dollar for a discount",
        {
            "products": (product(on_hand=999.0), product("Beta")),
            "recipes": (recipe(Alpha=2.0, Beta=2.0),),
            "containers": (container(price=0.5), container("Beta", price=900.0)),
            "discounts": (DiscountLevel("Early", 901.0, 0.5),),
        },
        0,
        450.5,
    ),
    # 110 jugs at ten cents make up for what Beta's $890 lack.
    (
        "many jugs at ten cents for a discount",
        {
            "products": (product(on_hand=999.0), product("Beta")),
            "recipes": (recipe(Alpha=2.0, Beta=2.0),),
            "containers": (container(price=0.1), container("Beta", price=890.0)),
            "discounts": (DiscountLevel("Early", 901.0, 0.5),),
        },
        0,
        450.5,
    ),
    (
        "many jugs at ten cents that are needed too",
        {
            "products": (product(), product("Beta")),
            "recipes": (recipe(Alpha=2.0, Beta=2.0),),
            "containers": (container(price=0.1), container("Beta", price=890.0)),
            "discounts": (DiscountLevel("Early", 901.0, 0.5),),
        },
        0,
        450.5,
    ),
    (
        "a second jug for a discount of its product",
        {"discounts": (DiscountLevel("Early", 600.0, 0.55, products=("Alpha",)),)},
        0,
        270,
    ),
    # The second lot, treated with the first recipe, is bought for 80 acres at $12.
    (
        "the second of two lots is bought treated",
        {"lots": (lot(on_hand=0.0), lot("L2", treated_with="R1", **NO_STOCK))},
        0,
        960,
    ),
    (
        "a free jug that nothing needs",
        {
            "products": (product(on_hand=999.0),),
            "containers": (container(price=0.0),),
            "discounts": (DiscountLevel("Early", 100.0, 0.1),),
        },
        0,
        0,
    ),
    # Half a unit in a part bag takes 1 fl oz, the line 320: two jugs.
    (
        "line loss for less than a unit",
        {
            "fields": (field(acres=0.5),),
            "lots": (lot(on_hand=0.5),),
            "products": (product(line_loss=320.0),),
        },
        0,
        600,
    ),
    # What is rated G prevents nothing where nothing is said of G: 80 acres x 2 bu x $10.
    (
        "a rating of unknown worth",
        weighed(products=(product(protection={"rot": Rating.G}), product("Beta"))),
        0,
        1900,
    ),
    ("weighed without a price", weighed(farm=farm(weigh_yield_loss=True)), 0, 300),
    # Beta would save 64 bu for $10 more, but bushels have no price, or are not to be weighed.
    (
        "a stronger recipe, but no price",
        weighed(farm=farm(weigh_yield_loss=True), **STRONGER),
        0,
        300,
    ),
    (
        "a stronger recipe, but losses are not weighed",
        weighed(farm=farm(weigh_yield_loss=False, soybean_price=10.0), **STRONGER),
        0,
        300,
    ),
    (
        "untreated acres lose all",
        weighed(farm=farm(weigh_yield_loss=True, soybean_price=1.0, allow_untreated=True)),
        0,
        160,
    ),
    # 160 fl oz from pails that give 30 of their 50: six.
    (
        "pails that keep a good part of what is in them",
        {"containers": (container(name="pail", size=50.0, heel=20.0, price=100.0),)},
        0,
        600,
    ),
    # 40 bags of 2 units are bought and take 160 fl oz: two small jugs.
    (
        "jugs for what is bought in bags",
        {
            "lots": (lot(**NO_STOCK, units_per_bag=2.0),),
            "containers": (container(size=80.0, price=100.0),),
        },
        0,
        1160,
    ),
    # 40 acres at two units take 160 fl oz: two small jugs.
    (
        "jugs for two units an acre",
        {
            "fields": (field(acres=40.0, seeds=280_000.0),),
            "lots": (lot(units_per_bag=1.0),),
            "containers": (container(size=80.0, price=100.0),),
        },
        0,
        200,
    ),
    # The only jug to be had is dear, and so half off: $150, less than the keg.
    (
        "a discount where the cheaper break is out of reach",
        {
            **elm(),
            "containers": (
                *jugs((1, 300.0), (2, 100.0), most=1, supplier="Elm"),
                container(name="keg", price=200.0),
            ),
            "discounts": (DiscountLevel("Early", 250.0, 0.5, supplier="Elm"),),
        },
        0,
        150,
    ),
    # Enough Alpha is on hand; Beta takes a jug of $5, freight is $400 up to a list spend of $110.
    # Two jugs of Alpha for $200 reach that; three, from which one is $60, for $180.
    (
        "more of what nobody needs, at its break, for free freight",
        {
            "suppliers": (Supplier("Elm", freight=400.0, free_from=110.0),),
            "products": (product(on_hand=1000.0), product("Beta")),
            "recipes": (recipe("R1", Alpha=2.0, Beta=2.0),),
            "containers": (
                *jugs((1, 100.0), (3, 60.0), supplier="Elm"),
                container("Beta", price=5.0, most=1, supplier="Elm"),
            ),
        },
        0,
        185,
    ),
    # A part bag of a tenth of a unit needs a ten-thousandth of a fl oz, a full bag 0.04: a jug.
    (
        "next to nothing for a part bag beside full ones",
        {
            "fields": (field(acres=0.1),),
            "lots": (lot(on_hand=40.1),),
            "recipes": (recipe(Alpha=1e-3),),
        },
        0,
        300,
    ),
    # A part bag of 20 units needs a ten-thousandth of a fl oz, and so a jug.
    (
        "next to nothing for a part bag",
        {
            "fields": (field(acres=20.0),),
            "lots": (lot(on_hand=20.0),),
            "recipes": (recipe(Alpha=5e-6),),
        },
        0,
        300,
    ),
]


@pytest.mark.parametrize(
    ("changes", "short", "total"), [case[1:] for case in CASES], ids=[case[0] for case in CASES]
)
def test_rule(changes, short, total):
    """The plan has the acres short and the cost that were worked by hand, and is proven."""
    one = season(**changes)
    plan = solve(one, SolveOptions(seconds=20, gap=0.0))
    audit(plan, one)
    assert sum(s.acres for s in plan.shortages) == pytest.approx(short, abs=1e-6)
    assert plan.cost.total == pytest.approx(total, rel=1e-9, abs=1e-6)
    assert plan.outcome is Outcome.OPTIMAL


def test_no_variables_are_left_without_columns(monkeypatch):
    """Their rows would be kept without them, as if they were zero: another program."""
    monkeypatch.setattr(program, "GROUPS", tuple(g for g in program.GROUPS if g != "run"))
    with pytest.raises(AssertionError, match="run"):
        make_model(make_instance(season()))


def test_half_a_jug_takes_no_two_levels_of_a_discount_off():
    """By hand: half a jug is $150, of which the better level takes 10 % off and no other more."""
    levels = DiscountLevel("Early", 100.0, 0.05), DiscountLevel("Early", 300.0, 0.1)
    one = season(containers=jugs(), discounts=levels)
    model = make_model(make_instance(one)).bounded("short_in", 0.0)
    assert highs.solve(model.matrix.linear, highs.Limits()).objective == pytest.approx(135.0)


@pytest.mark.parametrize(("on_hand", "parts"), [(120.0, []), (130.0, [(0, 0)])])
def test_only_a_part_bag_that_is_there_can_be_treated(on_hand, parts):
    model = make_model(make_instance(season(lots=(lot(on_hand=on_hand),))))
    assert model.keys["part"] == parts


def test_a_crumb_beyond_whole_bags_is_no_part_bag():
    """A millionth of a unit over 4,000 is rounding; over 1 unit it is not."""
    lots = (
        lot("L1", on_hand=4000.000001),
        lot("L2", on_hand=1.000001, units_per_bag=1.0),
    )
    assert make_instance(season(lots=lots)).part_bag.tolist() == pytest.approx([0.0, 1e-6])


def test_only_what_is_weighed_is_lost():
    """2 bu/acre, half of it prevented by Alpha, at $10: $10 an acre, or nothing unless weighed."""
    recipes = {"recipes": (R1,)}
    assert make_instance(season(**weighed(**recipes))).choices.loss.tolist() == [10.0]
    unweighed = weighed(**recipes, farm=farm(soybean_price=10.0))
    assert make_instance(season(**unweighed)).choices.loss.tolist() == [0.0]


def test_one_field_from_acres_to_kegs():
    """80 acres, 3 % spare: 82.4 units, 3 bags of 40, 120 treated, 37.6 left, 240 fl oz.

    By hand; 40 units of 140,000 seeds a mini-bulk and kegs of 15 gal are common practice.
    """
    one = season(
        farm=farm(spare_seed=0.03),
        recipes=(recipe(Alpha=(4.0, Basis.FLOZ_PER_CWT)),),
        containers=(container(name="keg", size=15 * 128.0, price=2000.0),),
    )
    plan = solve(one)
    (treating,) = plan.treating
    assert (treating.full_bags, treating.part_bag, treating.units) == (3, 0, 120.0)
    assert sum(p.units for p in plan.planting) == pytest.approx(82.4)
    assert treating.units - 82.4 == pytest.approx(37.6)
    assert plan.products[0].need == pytest.approx(240.0)
    assert [(o.container, o.count) for o in plan.order] == [("keg", 1)]


def test_rows_of_the_rules_are_all_rows_one_rule_after_the_other():
    """Counted as they are added; derived."""
    model = make_model(make_instance(season()))
    counted = list(model.rows.values())
    assert [r.start for r in counted] == [0, *(r.stop for r in counted[:-1])]
    assert counted[-1].stop == len(model.matrix.row_lower) > 0

"""Numbers at their edges, through the whole optimizer and the audit.

All seasons vary one: 80 acres at one unit an acre, a lot of 120 units in bags of 40, so two bags
are treated; 2 fl oz a unit, so they take 160 fl oz; jugs of 320 fl oz for $300. What each variation
should come to is worked by hand beside it.
"""

from dataclasses import replace

import numpy as np
import pytest

from planner.errors import NoPlanError
from planner.optimize.from_plan.warm_start import settled_around
from planner.optimize.incumbent.incumbent import Incumbent
from planner.optimize.mip.highs import Limits
from planner.optimize.mip.highs import solve as solve_matrix
from planner.optimize.model.extract import bags_bought, make_plan
from planner.optimize.model.extract import counts as counts_of
from planner.optimize.model.instance import make_instance, whole
from planner.optimize.model.program import make_model
from planner.optimize.options import SolveOptions
from planner.optimize.search.finish import settled
from planner.optimize.search.run import solve
from planner.plan import recount
from planner.plan.audit import _more, audit
from planner.plan.plan import Cost, Outcome, Plan
from planner.plan.price import list_price, order_cost, reaches
from planner.season.domain import DiscountLevel, Supplier
from planner.season.read import read_season
from tests.conftest import TINY
from tests.support.inputs import csv_files
from tests.support.seasons import container, farm, field, lot, product, recipe, season

BETA = (product(), product("Beta"))


def planned(one):
    """The plan of a season, audited and proven."""
    plan = solve(one, SolveOptions(seconds=10, gap=0.0))
    audit(plan, one)
    assert plan.outcome is Outcome.OPTIMAL
    return plan


def counts(plan):
    return {f"{o.product} {o.container}": o.count for o in plan.order}


def bags(plan):
    return {t.lot: (t.full_bags, t.part_bag) for t in plan.treating}


def units(need, per_bag=1.0, **changes):
    """Season changes: as many acres as units, all of the lot."""
    return {
        "fields": (field(acres=need),),
        "lots": (lot(on_hand=need, units_per_bag=per_bag),),
        **changes,
    }


def jugs(size=320.0, price=300.0, **changes):
    return {"containers": (container(size=size, price=price, **changes),)}


def two_products(alpha, beta, tote):
    """Season changes: a product in jugs and one in totes at $500, both in the recipe."""
    return {
        "products": BETA,
        "recipes": (recipe(Alpha=alpha, Beta=beta),),
        "containers": (container(), container("Beta", "tote", tote, 500.0)),
    }


# name, changes to the season, acres short, cost, containers, bags of L1
CASES = [
    # 80 units x 1e6 fl oz are 80 totes of 1e6.
    (
        "a rate of 1e6 in totes",
        {"recipes": (recipe(Alpha=1e6),), **jugs(1e6, 1000.0)},
        0,
        80_000.0,
        80,
        (2, 0),
    ),
    # 8e7 / 320 = 250,000 jugs, exactly full; 0.001 fl oz more on each unit is one jug more.
    ("a rate of 1e6 in jugs", {"recipes": (recipe(Alpha=1e6),)}, 0, 7.5e7, 250_000, (2, 0)),
    (
        "a rate of 1e6 and a hair",
        {"recipes": (recipe(Alpha=1e6 + 0.001),)},
        0,
        75_000_300.0,
        250_001,
        (2, 0),
    ),
    # 80 x 1e-4 = 0.008 fl oz: still a whole jug.
    ("a rate of 1e-4", {"recipes": (recipe(Alpha=1e-4),)}, 0, 300.0, 1, (2, 0)),
    # 80 x 1e-6 = 0.00008 fl oz are on hand.
    (
        "a rate of 1e-6 from stock",
        {"recipes": (recipe(Alpha=1e-6),), "products": (product(on_hand=0.00008),)},
        0,
        0.0,
        0,
        (2, 0),
    ),
    # 80 x 1e-6 from bottles of 0.00004: two.
    (
        "a rate of 1e-6 in tiny bottles",
        {"recipes": (recipe(Alpha=1e-6),), **jugs(0.00004, 3.0)},
        0,
        6.0,
        2,
        (2, 0),
    ),
    # Exactly a jug; a ten-thousandth under; a hundred-thousandth over (0.0032 fl oz).
    ("a need that fills a jug", {"recipes": (recipe(Alpha=4.0),)}, 0, 300.0, 1, (2, 0)),
    ("a hair under a jug", {"recipes": (recipe(Alpha=4.0 * (1 - 1e-5)),)}, 0, 300.0, 1, (2, 0)),
    ("a hair over a jug", {"recipes": (recipe(Alpha=4.0 * (1 + 1e-5)),)}, 0, 600.0, 2, (2, 0)),
    # Over by less than decimals can say: 3 x 0.1 is 0.30000000000000004 to a computer.
    (
        "three tenths in a bottle of 0.3",
        {**units(3.0), "recipes": (recipe(Alpha=0.1),), **jugs(0.3)},
        0,
        300.0,
        1,
        (3, 0),
    ),
    # What the heel holds back is not there: 324 - 4 = 320.
    (
        "a jug full but for its heel",
        {"recipes": (recipe(Alpha=4.0),), **jugs(324.0, heel=4.0)},
        0,
        300.0,
        1,
        (2, 0),
    ),
    # 0.3 units are three bags of 0.1, though 0.3 / 0.1 is 2.9999999999999996 to a computer.
    ("three bags of 0.1", units(0.3, 0.1), 0, 300.0, 1, (3, 0)),
    # ... and what is over is no part bag: 0.1 + 0.2 is 0.30000000000000004.
    ("three bags and dust", units(0.1 + 0.2, 0.1), 0, 300.0, 1, (3, 0)),
    # 80 x 1.03 = 82.4 units are two bags of 41.2; with 3.01 % spare 82.408 take a third.
    (
        "spare seed that fills the bags",
        {"farm": farm(spare_seed=0.03), "lots": (lot(on_hand=123.6, units_per_bag=41.2),)},
        0,
        300.0,
        1,
        (2, 0),
    ),
    (
        "spare seed that just does not fit",
        {"farm": farm(spare_seed=0.0301), "lots": (lot(on_hand=123.6, units_per_bag=41.2),)},
        0,
        300.0,
        1,
        (3, 0),
    ),
    # 80 x 40/11 x 1.1 = 320, which is 320.00000000000006 to a computer.
    (
        "a margin that fills a jug",
        {"farm": farm(product_margin=0.1), "recipes": (recipe(Alpha=40 / 11),)},
        0,
        300.0,
        1,
        (2, 0),
    ),
    (
        "a margin a hair over a jug",
        {"farm": farm(product_margin=0.10001), "recipes": (recipe(Alpha=40 / 11),)},
        0,
        600.0,
        2,
        (2, 0),
    ),
    # A million acres: 25,000 bags, 2,000,000 fl oz, 6,250 jugs exactly.
    ("a million acres", units(1e6, 40.0), 0, 1_875_000.0, 6250, (25_000, 0)),
    # A thousandth of an acre takes a bag, its 80 fl oz a jug.
    ("a thousandth of an acre", {"fields": (field(acres=0.001),)}, 0, 300.0, 1, (1, 0)),
    # 1,000,000.001 acres take the bag and the jug on top.
    (
        "both",
        {
            "fields": (field(acres=1e6), field("South", 0.001)),
            "lots": (lot(on_hand=1e6 + 40.0),),
        },
        0,
        1_875_300.0,
        6251,
        (25_001, 0),
    ),
    # 120 units for a million acres.
    ("nearly all short", {"fields": (field(acres=1e6),)}, 999_880.0, 300.0, 1, (3, 0)),
    ("a price of 0", jugs(price=0.0), 0, 0.0, 1, (2, 0)),
    ("a price of 1e7", jugs(price=1e7), 0, 1e7, 1, (2, 0)),
    # 160 of 320 fl oz are left, worth half of half of 1e7.
    (
        "half of a dear jug carried over",
        {"products": (product(carryover=0.5),), **jugs(price=1e7)},
        0,
        7_500_000.0,
        1,
        (2, 0),
    ),
    # No count of a free jug brings the discount or free freight; the freight is rewards.
    (
        "a free jug reaches nothing",
        {
            **jugs(price=0.0, supplier="Elm"),
            "suppliers": (Supplier("Elm", freight=50.0, free_from=100.0),),
            "discounts": (DiscountLevel("Early", 100.0, 0.1),),
        },
        0,
        50.0,
        1,
        (2, 0),
    ),
    # Six jugs of 27 fl oz at 1,234.10 are 7,404.60, which a computer makes 9e-13 less, and reach
    # the level: half off. 160 fl oz need six.
    (
        "a spend that reaches its level in decimals",
        {**jugs(27.0, 1234.1), "discounts": (DiscountLevel("Early", 7404.6, 0.5),)},
        0,
        3702.3,
        6,
        (2, 0),
    ),
    # The same for freight.
    (
        "a spend that frees freight in decimals",
        {
            **jugs(27.0, 1234.1, supplier="Elm"),
            "suppliers": (Supplier("Elm", freight=50.0, free_from=7404.6),),
        },
        0,
        7404.6,
        6,
        (2, 0),
    ),
]


@pytest.mark.parametrize(
    ("changes", "short", "total", "ordered", "treated"),
    [case[1:] for case in CASES],
    ids=[case[0] for case in CASES],
)
def test_a_season_at_an_edge_has_the_optimum_worked_by_hand(
    changes, short, total, ordered, treated
):
    plan = planned(season(**changes))
    assert sum(s.acres for s in plan.shortages) == pytest.approx(short, rel=1e-9)
    assert plan.cost.total == pytest.approx(total, rel=1e-9, abs=1e-6)
    assert sum(counts(plan).values()) == ordered
    assert bags(plan) == {"L1": treated}


# 320 fl oz and so little more that a whole number of jugs is met within the solver's tolerance, but
# not within the audit's. Either count would do; there has to be a plan.
HAIRS = {
    "a need a hair over a jug": {"recipes": (recipe(Alpha=4.0 * (1 + 1e-7)),)},
    "a need a hair over ten jugs": {"recipes": (recipe(Alpha=40.0 * (1 + 1e-8)),)},
    "a need a hair over the stock": {
        "recipes": (recipe(Alpha=4.0 * (1 + 1e-7)),),
        "products": (product(on_hand=320.0),),
    },
    # 80 x 1e-6 = 0.00008 fl oz: a jug, of which that is less than a millionth.
    "a rate of 1e-6 from a jug": {"recipes": (recipe(Alpha=1e-6),)},
}


@pytest.mark.parametrize(("name", "jugs"), list(zip(HAIRS, (1, 10, 0, 0), strict=True)))
def test_a_hair_over_is_planned(name, jugs):
    one = season(**HAIRS[name])
    plan = solve(one, SolveOptions(seconds=2, gap=0.0))
    audit(plan, one)
    assert plan.shortages == ()
    assert sum(line.count for line in plan.order) in (jugs, jugs + 1)
    assert plan.cost.total == 300.0 * sum(line.count for line in plan.order)


@pytest.mark.parametrize(
    ("changes", "total"),
    [
        ({"discounts": (DiscountLevel("Early", 42_000.0, 0.1),)}, 41_999.99),
        ({"suppliers": (Supplier("Elm", freight=50.0, free_from=42_000.0),)}, 42_049.99),
    ],
    ids=["discount", "freight"],
)
def test_a_cent_under_a_level_does_not_reach_it(changes, total):
    """The solver does not tell a cent of $42,000: the cost is right, if not always proven."""
    one = season(**jugs(price=41_999.99, supplier="Elm"), **changes)
    plan = solve(one, SolveOptions(seconds=2, gap=0.0))
    audit(plan, one)
    assert plan.cost.total == pytest.approx(total, rel=1e-12)


# --- far apart in one season ----------------------------------------------------------------------


def test_nine_decades_of_rates():
    """1e-4 and 1e5 fl oz a unit: one jug, and 8e6 fl oz in eight totes of 1e6 for $4,000."""
    plan = planned(season(**two_products(1e-4, 1e5, 1e6)))
    assert counts(plan) == {"Alpha jug": 1, "Beta tote": 8}
    assert plan.cost.total == pytest.approx(4300.0)
    assert [u.need for u in plan.products] == pytest.approx([0.008, 8e6], rel=1e-12)


def test_nine_decades_of_prices():
    """A jug at 1e7 and one at 0.01, which is not lost beside it: a keg at 0.02 is not taken."""
    one = season(
        products=BETA,
        recipes=(recipe(Alpha=2.0, Beta=2.0),),
        containers=(
            container(price=1e7),
            container("Beta", "jug", price=0.01),
            container("Beta", "keg", price=0.02),
        ),
    )
    assert counts(planned(one)) == {"Alpha jug": 1, "Beta jug": 1}


def test_free_containers_before_dear_ones():
    one = season(containers=(container(price=1e7), container(name="keg", price=0.0)))
    assert counts(planned(one)) == {"Alpha keg": 1}


def test_bags_nine_decades_apart():
    """1e6 units in one bag beside bags of 0.001: 80.001 acres take both, the dear one last.

    A field of 80 acres from the large bag at $1 given up a unit would cost 1e6; 80,000 small bags
    with 80 units at $2 cost $160, 80,001 of them 160.002, and the jug of 320 fl oz $300.
    """
    one = season(
        fields=(field(acres=80.001),),
        lots=(
            lot("L1", on_hand=1e6, units_per_bag=1e6, return_value=1.0),
            lot("L2", on_hand=100.0, units_per_bag=0.001, return_value=2.0),
        ),
    )
    plan = planned(one)
    assert bags(plan) == {"L2": (80_001, 0)}
    assert plan.cost.total == pytest.approx(460.002, rel=1e-9)


# --- whole numbers that come back as 2.9999998 ----------------------------------------------------

TIGHT = {
    # 130 acres take 3 bags of 40 and the part bag of 10: 130 x 2 fl oz are a jug of 260, full.
    "nothing short": (units(130.0, 40.0, **jugs(260.0)), 0.0),
    # 70 acres of 200 stay short.
    "short": (
        {**units(130.0, 40.0, **jugs(260.0)), "fields": (field(acres=200.0),)},
        70.0,
    ),
}


def solution(name):
    """Model and solution with 3 bags, 1 part bag and 1 jug, and the acres short."""
    changes, short = TIGHT[name]
    one = season(**changes)
    model = make_model(make_instance(one))
    cost = model.matrix.cost.copy()
    cost[model.at["short_in"]] = 1e4
    x = solve_matrix(replace(model.matrix, cost=cost), Limits()).x
    assert x is not None
    return one, model, np.where(model.matrix.integer, np.round(x), x), short


def check(one, plan, short):
    audit(plan, one)
    assert bags(plan) == {"L1": (3, 1)}
    assert counts(plan) == {"Alpha jug": 1}
    assert plan.cost.total == 300.0
    assert plan.outcome is Outcome.OPTIMAL
    assert sum(s.acres for s in plan.shortages) == pytest.approx(short, abs=1e-4)


@pytest.mark.parametrize("off", [-2e-7, 2e-7, -9e-7, 9e-7])
@pytest.mark.parametrize("name", TIGHT)
def test_whole_numbers_a_hair_off(name, off):
    """3 that comes as 2.9999998 is 3 bags, 1 as 1.0000002 is one, and 0.0000002 is none."""
    one, model, x, short = solution(name)
    x = np.where(model.matrix.integer, x + off, x)
    check(one, make_plan(model, x, 300.0), short)


@pytest.mark.parametrize("off", [-2e-7, 2e-7])
@pytest.mark.parametrize("name", TIGHT)
def test_acres_that_follow_such_numbers(name, off):
    """Acres from 2.9999998 bags are a hair fewer, from 3.0000002 a hair more; both are let pass."""
    one, model, x, short = solution(name)
    x = np.where(model.matrix.integer, x + off, x)
    acres = model.at["acres"]
    x[acres] = np.minimum(x[acres] * (1.0 + off), one.fields[0].acres)
    plan = make_plan(model, x, 300.0)
    assert [p.acres for p in plan.planting] == pytest.approx([130.0], rel=3e-7)
    check(one, plan, short)


@pytest.mark.parametrize("off", [-2e-7, 2e-7])
@pytest.mark.parametrize("name", TIGHT)
@pytest.mark.parametrize("settle", ["around", "best"])
def test_such_numbers_aresettled(name, off, settle):
    """What is solved again around them gives the plan of the whole numbers."""
    one, model, x, short = solution(name)
    x = np.where(model.matrix.integer, x + off, x)
    if settle == "around":
        y = settled_around(model, x)
    else:
        incumbent = Incumbent(SolveOptions(), None, None)
        incumbent.model, incumbent.x = model, x
        y = settled(incumbent)
    check(one, make_plan(model, y, 300.0), short)


@pytest.mark.parametrize("share", [2e-7, 7e-5])
def test_a_share_of_next_to_nothing_is_none_once_it_is_settled(share):
    """A flag of 1e-6 lets a few acres in 100,000 of another lot pass; the split is 20 at least."""
    one = season(
        farm=farm(smallest_split=20.0, smallest_lot_share=20.0),
        lots=(lot(on_hand=120.0), lot("L2", on_hand=120.0, variety="V2")),
    )
    model = make_model(make_instance(one))
    cost = model.matrix.cost.copy()
    cost[model.at["short_in"]] = 1e4
    x = solve_matrix(replace(model.matrix, cost=cost), Limits()).x
    acres = model.at["acres"]
    most, least = acres[np.argmax(x[acres])], acres[np.argmin(x[acres])]
    x[[most, least]] += [-share, share]
    plan = make_plan(model, settled_around(model, x), 300.0)
    audit(plan, one)
    assert [p.acres for p in plan.planting] == pytest.approx([80.0])


@pytest.mark.parametrize("group", ["bags", "part", "count"])
def test_what_is_not_whole_is_no_plan(group):
    """2.9998 is no rounding: better no plan than one with a bag too many."""
    _, model, x, _ = solution("nothing short")
    x[model.at[group]] -= 2e-4
    with pytest.raises(NoPlanError, match="where a whole number must be"):
        make_plan(model, x, 300.0)


def test_dust_is_not_planted():
    """A ten-millionth of a field is the solver's dust; what is above it is planted."""
    one, model, x, _ = solution("short")
    x[model.at["acres"]] = 200.0 * 0.9e-7
    assert make_plan(model, x, 300.0).planting == ()
    x[model.at["acres"]] = 200.0 * 1.1e-7
    (line,) = make_plan(model, x, 300.0).planting
    assert line.acres == line.units == 200.0 * 1.1e-7
    assert one.fields[0].acres == 200.0


@pytest.mark.parametrize(("share", "told"), [(1.1e-6, True), (0.9e-6, False)])
def test_a_crumb_of_a_field_is_not_short(share, told):
    """A millionth of 200 acres may be lost in the arithmetic; more is a shortage."""
    _, model, x, _ = solution("short")
    x[model.at["acres"]] = 200.0 * (1.0 - share)
    assert [s.acres for s in make_plan(model, x, 300.0).shortages] == (
        [pytest.approx(200.0 * share, rel=1e-6)] if told else []
    )


def test_nothing_of_nothing_is_listed():
    """What no container and no bag is bought of has no line."""
    one = season(lots=(lot(on_hand=80.0, can_buy=40.0, buy_price=1.0),))
    model = make_model(make_instance(one))
    x = np.zeros(model.matrix.n_columns)
    assert counts_of(model, x) == bags_bought(model, x) == {}
    x[model.at["count"]] = x[model.at["bought"]] = 1.0
    assert counts_of(model, x) == {("Alpha", "jug"): 1}
    assert bags_bought(model, x) == {"L1": 1}


@pytest.mark.parametrize(("price", "gap"), [(300.0, 0.5), (1.5, 0.5), (0.5, 0.25)])
def test_the_gap_is_a_share_of_the_cost_or_of_one(price, gap):
    """Half the cost is proven: the gap is a half, or half of 0.50 where a cost is under 1."""
    one = season(**{**units(130.0, 40.0), **jugs(260.0, price)})
    model = make_model(make_instance(one))
    x = solution("nothing short")[2]
    plan = make_plan(model, x, price / 2.0)
    audit(plan, one)
    assert plan.gap == pytest.approx(gap)


# --- how much is let pass -------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("count", "full"), [(3.0, 3), (3 - 1e-12, 3), (3 - 1e-6, 2), (1e6 - 1e-5, 1_000_000)]
)
def test_bags_are_cut_to_a_billionth(count, full):
    """A billionth of what is there is rounding; a millionth of a bag is missing from it."""
    assert whole(count) == full


@pytest.mark.parametrize(("units_", "full"), [(120.0, 3), (120 - 1e-10, 3), (120 - 1e-4, 2)])
def test_the_audit_cuts_bags_alike(units_, full):
    assert recount.whole(units_, 40.0) == full


@pytest.mark.parametrize(("over", "part"), [(0.0, False), (1e-10, False), (1e-4, True)])
def test_what_is_left_of_a_bag(over, part):
    """120.0001 units are three bags of 40 and a very small one; 120.0000000001 are three."""
    one = season(lots=(lot(on_hand=120.0 + over),))
    assert bool(make_instance(one).part_bag[0]) is part
    assert bool(recount.bags_to_treat(one.lots[0], one).part) is part


def test_nothing_is_left_of_seven_million_bags():
    """7,000,001 x 0.7 is 4,900,000.7 units, of which a computer finds 9e-10 left over."""
    one = season(lots=(lot(on_hand=4_900_000.7, units_per_bag=0.7),))
    it = make_instance(one)
    assert (it.full_bags[0], it.part_bag[0]) == (7_000_001, 0.0)
    assert recount.bags_to_treat(one.lots[0], one) == (7_000_001, 0.0)


@pytest.mark.parametrize(
    ("a", "b", "more"),
    [
        (10.0, 10.0, False),
        (10 + 9e-6, 10.0, False),
        (10 + 2e-5, 10.0, True),
        (1e7 + 9.0, 1e7, False),
        (1e7 + 20.0, 1e7, True),
        (5e-7, 0.0, False),
        (0.0, -2e-6, True),
        (-1e7, -1e7 - 9.0, False),
        (9.0, 10.0, False),
    ],
)
def test_the_audit_compares_to_a_millionth(a, b, more):
    """A millionth of the larger number, or of one where both are less."""
    assert _more(a, b) is more


@pytest.mark.parametrize(
    ("spend", "level", "enough"),
    [
        (500.0, 500.0, True),
        (500 - 1e-9, 500.0, True),
        (500 - 1e-4, 500.0, False),
        (1e7 - 1e-3, 1e7, True),  # a ten-billionth of it
        (1e7 - 1.0, 1e7, False),
        (0.3 - 1e-10, 0.3, True),
        (0.3 - 1e-6, 0.3, False),
    ],
)
def test_a_spend_reaches_its_level_to_a_billionth(spend, level, enough):
    """A tenth of a cent under $500 is under it; what sums of prices lose on the way is not."""
    one = season(
        containers=(container(price=spend, supplier="Elm"),),
        suppliers=(Supplier("Elm", freight=50.0, free_from=level),),
        discounts=(DiscountLevel("Early", level, 0.1),),
    )
    found = order_cost(one, {("Alpha", "jug"): 1})
    assert reaches(spend, level) is enough
    assert (found.freight == 0.0) is enough
    assert (found.discounts > 0.0) is enough
    plan = Plan(
        outcome=Outcome.OPTIMAL,
        gap=0.0,
        bound=0.0,
        cost=Cost(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0),
        order=found.lines,
        seed_purchases=(),
        treating=(),
        planting=(),
        products=(),
    )
    counted = recount.cost(plan, one)
    assert (counted.freight == 0.0) is enough
    assert (counted.discounts > 0.0) is enough


# --- units that cancel to a hair ------------------------------------------------------------------

FLOZ, ACRE, POUND = 29.5735295625, 0.40468564224, 0.45359237
"""mL, ha and kg: exact by definition."""
METRIC = {
    "fields.csv": (
        f"Field,Acres,Seeding rate\nHome 80,{80 * ACRE!r} ha,{140000 / ACRE!r} seeds/ha\n"
    ),
    "seed lots.csv": (
        "Lot,Variety,Maturity,Units on hand,Units per bag,Seeds per lb\n"
        f"L-1,Heron,1.8,160,40,{2800 / POUND!r} seeds/kg\n"
    ),
    "containers.csv": (
        "Product,Container,Size,Price\n"
        f"Green Cap,jug,{128 * FLOZ!r} mL,100\nGreen Cap,keg,{240 * FLOZ / 1000!r} L,190\n"
    ),
    "recipes.csv": f"Recipe,Product,Rate\nBase,Green Cap,{4 * FLOZ / POUND!r} mL/100 kg\n",
}
US = {
    "containers.csv": (
        "Product,Container,Size,Price\nGreen Cap,jug,1 gal,100\nGreen Cap,keg,240 fl oz,190\n"
    ),
}


@pytest.mark.parametrize("files", [(), ("fields.csv",), ("recipes.csv",), tuple(METRIC)], ids=str)
def test_metric_that_equals_us_gives_the_same_plan(tmp_path, files):
    """120 units at 2 fl oz fill the keg of 240 fl oz exactly, however it was measured: $190.

    82.4 units are sown (3 % spare), three bags of 40 are treated. 1 fl oz/cwt is 29.57... mL on
    100 lb = 45.36 kg, so mL/100 kg is fl oz/cwt x 29.57... / 0.4536.
    """
    texts = {**TINY, **US, **{name: METRIC[name] for name in files}}
    one = read_season(csv_files(tmp_path, texts))
    plan = planned(one)
    assert counts(plan) == {"Green Cap keg": 1}
    assert bags(plan) == {"L-1": (3, 0)}
    assert plan.cost.total == 190.0
    assert plan.products[0].need == pytest.approx(240.0, rel=1e-12)
    assert sum(p.units for p in plan.planting) == pytest.approx(82.4, rel=1e-9)


def test_fewer_than_the_lowest_break_have_no_price():
    """Sold from two on: one alone can't be ordered, and it is said which container that is."""
    twos = container(breaks=((2, 300.0), (4, 280.0)))
    with pytest.raises(ValueError, match=r"1 of Alpha \w+ is under its lowest From count"):
        list_price(twos, 1)
    assert [list_price(twos, n) for n in (2, 3, 4)] == [300.0, 300.0, 280.0]

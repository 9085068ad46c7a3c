"""A plan worked by hand passes the audit; every single thing broken in it is caught."""

import math
from dataclasses import fields as record_fields
from dataclasses import replace
from datetime import timedelta

import pytest

from planner.errors import AuditError
from planner.plan import recount
from planner.plan.audit import RULES, audit
from planner.plan.plan import PROVEN_GAP, Cost, Outcome, Planting, Shortage, Treating
from planner.plan.price import price_plan
from planner.season.domain import Pressure, PriceBreak, Rating, TreatedSeed
from tests.support.plans import HAND_PLAN, HAND_SEASON
from tests.support.seasons import FIRST_DAY


def test_the_hand_plan_passes():
    audit(HAND_PLAN, HAND_SEASON)


def test_prices_equal_the_hand_plan():
    """The money side made from decisions is the one worked by hand."""
    plan = price_plan(
        HAND_SEASON,
        HAND_PLAN.counts,
        HAND_PLAN.bags_bought,
        HAND_PLAN.treating,
        HAND_PLAN.planting,
        bound=HAND_PLAN.bound,
    )
    for term in record_fields(plan.cost):
        assert getattr(plan.cost, term.name) == pytest.approx(getattr(HAND_PLAN.cost, term.name))
    assert plan.cost.total == pytest.approx(1402.59375)
    assert (plan.outcome, plan.gap) == (HAND_PLAN.outcome, pytest.approx(HAND_PLAN.gap))
    assert plan.order == HAND_PLAN.order
    assert plan.seed_purchases == HAND_PLAN.seed_purchases
    for found, worked in zip(plan.products, HAND_PLAN.products, strict=True):
        assert found.product == worked.product
        for name in ("need", "on_hand", "on_its_way", "bought", "left"):
            assert getattr(found, name) == pytest.approx(getattr(worked, name))


def line(name: str, i: int, **changes):
    """Plan with one line of one of its tables changed."""
    lines = list(getattr(HAND_PLAN, name))
    lines[i] = replace(lines[i], **changes)
    return replace(HAND_PLAN, **{name: tuple(lines)})


def more(name: str, *lines):
    return replace(HAND_PLAN, **{name: (*getattr(HAND_PLAN, name), *lines)})


def less(name: str, i: int):
    lines = getattr(HAND_PLAN, name)
    return replace(HAND_PLAN, **{name: lines[:i] + lines[i + 1 :]})


def dearer(term: str):
    """Plan whose cost says a term wrongly, and whose bound and gap follow that total."""
    cost = replace(HAND_PLAN.cost, **{term: getattr(HAND_PLAN.cost, term) + 1.0})
    return replace(HAND_PLAN, cost=cost)


# what is wrong, plan, words of the audit
WRONG_PLANS = [
    ("a figure that is no number", line("planting", 0, acres=math.nan), "planting line 1 acres is"),
    ("a bound that is no number", replace(HAND_PLAN, bound=-math.inf), "bound is not a finite"),
    ("unknown field", line("planting", 0, field="Z"), "Z, L1, R1 is not in the season"),
    ("unknown lot", line("treating", 0, lot="Z"), "Z, R1 is not in the season"),
    ("unknown recipe", line("treating", 0, recipe="Z"), "L1, Z is not in the season"),
    ("treating with nothing", line("treating", 0, recipe="Untreated"), "is not in the season"),
    ("unknown container", line("order", 0, container="tote"), "Alpha, tote is not in"),
    ("unknown seed", line("seed_purchases", 0, lot="Z"), "seed purchases: Z is not"),
    ("unknown short field", line("shortages", 0, field="Z"), "shortages: Z is not"),
    ("a line twice", more("order", HAND_PLAN.order[0]), "Alpha, jug stands there 2 times"),
    ("a product left out", less("products", 0), "not one line for every product"),
    ("acres lost", line("planting", 0, acres=29.0, units=29.0), "39 acres planted and short"),
    ("shortage left out", less("shortages", 0), "20 acres planted and short, it has 30"),
    ("a share of no acres", more("planting", Planting("B", "L1", "R1", 0.0, 0.0)), "without acres"),
    ("a shortage of no acres", more("shortages", Shortage("A", 0.0)), "without acres"),
    ("too few units", line("planting", 0, units=29.0), "29 units, 30 are needed"),
    ("a bag too many", line("treating", 1, full_bags=2, units=40.0), "4 full bags treated, there"),
    ("a part bag too many", line("treating", 1, part_bag=1, units=30.0), "2 part bags treated"),
    (
        "a part bag of a lot without any",
        more("treating", Treating("L2", "R1", 0, 1, 0.0)),
        "part bags treated, there is none",
    ),
    ("a treating of no bags", more("treating", Treating("L2", "R1", 0, 0, 0.0)), "without bags"),
    ("units unlike the bags", line("treating", 0, units=60.0), "60 units treated, the bags hold"),
    ("treating again", more("treating", Treating("L3", "R1", 1, 0, 10.0)), "L3 is treated again"),
    ("a bag that can't be bought", line("seed_purchases", 0, bags=2), "2 bags bought, 1 are"),
    ("no bag bought", line("seed_purchases", 0, bags=0), "0 bags bought, 1 are"),
    ("units unlike the bags bought", line("seed_purchases", 0, units=21.0), "21 units in 1 bags"),
    ("seed at a wrong price", line("seed_purchases", 0, cost=200.0), "do not cost 200"),
    ("seed planted that is not treated", less("treating", 1), "planted under R2, 0 are treated"),
    ("unit price", line("order", 0, unit_price=60.0), "unit price 60, at 2 it is 50"),
    ("line cost", line("order", 0, cost=120.0), "do not cost 120"),
    ("supplier", line("order", 0, supplier="Oak"), "supplier 'Oak', it is 'Elm'"),
    ("more than available", line("order", 0, count=4, cost=200.0), "4, only 3 are available"),
    ("nothing ordered", line("order", 0, count=0, cost=0.0), "0 cannot be ordered"),
    ("too little product", less("order", 1), "Beta: 20.4 fl oz too little"),
    *(
        (f"product's {name}", line("products", 0, **{name: 1.5}), f"Alpha: {name} is said 1.5")
        for name in ("need", "on_hand", "on_its_way", "bought", "left")
    ),
    *(
        (f"cost of {f.name}", dearer(f.name), f"cost, {f.name.replace('_', ' ')}: said")
        for f in record_fields(Cost)
    ),
    ("floor above the cost", replace(HAND_PLAN, bound=1403.0), "floor 1403.0000 is above"),
    ("gap made small", replace(HAND_PLAN, gap=0.0), "gap is said 0.000000"),
    ("not optimal", replace(HAND_PLAN, outcome=Outcome.OPTIMAL), "called optimal, but"),
    (
        "optimal though fewer may be short",
        replace(
            HAND_PLAN,
            outcome=Outcome.OPTIMAL,
            bound=1402.59375,
            gap=0.0,
            shortage_proven=False,
        ),
        "called optimal, but",
    ),
    ("proven but not said", replace(HAND_PLAN, bound=1402.59375, gap=0.0), "called feasible"),
    ("time running backwards", replace(HAND_PLAN, seconds=-1.0), "deciding took -1"),
]


@pytest.mark.parametrize(
    ("plan", "words"), [w[1:] for w in WRONG_PLANS], ids=[w[0] for w in WRONG_PLANS]
)
def test_a_wrong_plan_is_refused(plan, words):
    with pytest.raises(AuditError) as caught:
        audit(plan, HAND_SEASON)
    assert words in str(caught.value)


def home(**changes):
    return {"farm": replace(HAND_SEASON.farm, **changes)}


def record(name: str, i: int, **changes):
    """Season change: one record of one sheet."""
    records = list(getattr(HAND_SEASON, name))
    records[i] = replace(records[i], **changes)
    return {name: tuple(records)}


# rule or figure, how the season differs so that the plan no longer fits it, words of the audit
OTHER_SEASONS = [
    ("latest maturity", record("fields", 0, latest=1.9), "A with lot L1 under R1: maturity"),
    ("earliest maturity", record("fields", 1, earliest=1.7), "maturity outside"),
    ("trait", record("fields", 0, traits=("x",)), "trait does not fit"),
    (
        "grower",
        {**record("fields", 0, grower="Ann"), **record("lots", 0, grower="Bob")},
        "another grower",
    ),
    ("only varieties", record("fields", 0, only_varieties=("V16",)), "only varieties"),
    ("only recipes", record("fields", 0, only_recipes=("R2",)), "under R1: not among"),
    (
        "need",
        record("threats", 0, need={Pressure.HIGH: Rating.G}),
        "too weak (rot)",
    ),
    ("liquid limit", home(liquid_limit=3.9), "more liquid"),
    ("active per acre", record("active_limits", 0, per_acre=0.0156), "(alpha-ine)"),
    ("active per seed", record("active_limits", 0, per_seed=0.0506), "(alpha-ine)"),
    ("untreated", home(allow_untreated=False), "may not be planted untreated"),
    ("most varieties", home(max_varieties=1), "2 varieties and recipes, 1 are allowed"),
    ("smallest split", home(smallest_split=10.1), "only 10 acres of V20 under R2"),
    ("most to spend", home(most_to_spend=HAND_PLAN.cost.spent - 0.01), "may be spent"),
    ("order of runs", home(line_stays_primed=True), "said to run as nothing, treated with are R1"),
    ("smallest lot share", home(smallest_lot_share=10.1), "only 10 acres of lot L1 under R2"),
    ("field's acres", record("fields", 0, acres=41.0), "it has 41"),
    ("seeding rate", home(spare_seed=0.01), "30 units, 30.3 are needed"),
    ("seeds per unit", home(seeds_per_unit=70_000.0), "30 units, 60 are needed"),
    ("units per bag", record("lots", 0, units_per_bag=25.0), "the bags hold"),
    ("units on hand", record("lots", 0, on_hand=49.0), "3 full bags treated, there are 2"),
    ("part bag", record("lots", 0, on_hand=50.0), "1 part bags treated, there is none"),
    ("can buy", record("lots", 0, can_buy=19.0), "1 bags bought, 0 are available"),
    ("untreated seed", record("lots", 1, on_hand=9.0), "10 units treated or planted untreated of"),
    ("treated lot", record("lots", 2, on_hand=9.0), "planted under R1, 9 are treated so"),
    ("treated so far", record("treated", 0, units=60.0), "full bags treated, there are 1"),
    ("stock", record("products", 0, on_hand=19.0), "on_hand is said 20, counted 19"),
    ("expiry", record("products", 1, expires=FIRST_DAY), "on_hand is said 0, counted 30"),
    (
        "stock expired",
        record("products", 0, expires=FIRST_DAY - timedelta(days=1)),
        "on_hand is said 20, counted 0",
    ),
    ("line loss", record("products", 0, line_loss=6.0), "need is said 132.4, counted 134.4"),
    ("margin", home(product_margin=0.03), "need is said"),
    ("heel", record("containers", 0, heel=5.0), "bought is said 120, counted 118"),
    ("size", record("containers", 1, size=20.0), "Beta: 0.4 fl oz too little"),
    ("on its way", {"ordered": ()}, "on_its_way is said 60, counted 0"),
    ("most available", record("containers", 0, most=1), "2, only 1 are available"),
    (
        "from count",
        record("containers", 0, breaks=(PriceBreak(3, 50.0),)),
        "2 cannot be ordered",
    ),
    (
        "price break",
        record("containers", 0, breaks=(PriceBreak(1, 60.0), PriceBreak(3, 50.0))),
        "unit price 50, at 2 it is 60",
    ),
    ("variety share", home(most_of_one_variety=0.6), "variety V20: 40 of 60 acres"),
    (
        "maturity share",
        record("maturity_spread", 0, share=0.3),
        "maturities 1.6 to 1.9: 20 of 60 acres",
    ),
    (
        "a span that ends with the variety",
        record("maturity_spread", 0, earliest=1.0, latest=1.6, share=0.3),
        "maturities 1 to 1.6: 20 of 60 acres",
    ),
    (
        "a span that ends a rounding before it",
        record("maturity_spread", 0, earliest=1.6 + 1e-12, latest=1.7, share=0.3),
        "20 of 60 acres",
    ),
    ("freight", record("suppliers", 0, freight=30.0), "cost, freight: said 25.00, counted 30.00"),
    ("free freight", record("suppliers", 0, free_from=100.0), "counted 0.00"),
    ("freight due", record("suppliers", 1, free_from=41.0), "counted 35.00"),
    ("discount", record("discounts", 1, percent=0.2), "discounts: said 16.00, counted 30.00"),
    ("discount level", record("discounts", 1, spend=141.0), "counted 9.00"),
    ("discount's supplier", record("discounts", 2, supplier="Elm"), "counted 14.00"),
    ("discount's products", record("discounts", 2, products=("Alpha",)), "counted 14.00"),
    ("buy price", record("lots", 0, buy_price=13.0), "seed bought: said 240.00, counted 260.00"),
    ("return value", record("lots", 0, return_value=11.0), "given up: said 550.00, counted 600"),
    ("return of untreated", record("lots", 1, return_value=6.0), "counted 560.00"),
    ("carryover", record("products", 0, carryover=0.4), "carryover credit: said 26.41"),
    ("carryover of another", record("products", 1, carryover=0.5), "carryover credit: said 26.41"),
    ("soybean price", home(soybean_price=11.0), "yield loss: said 490.00, counted 539.00"),
    ("loss not weighed", home(weigh_yield_loss=False), "yield loss: said 490.00, counted 0.00"),
    ("control", {"control": {Rating.F: 0.5, Rating.G: 0.5}}, "counted 550.00"),
]


@pytest.mark.parametrize(
    ("changes", "words"), [s[1:] for s in OTHER_SEASONS], ids=[s[0] for s in OTHER_SEASONS]
)
def test_a_plan_of_another_season_is_refused(changes, words):
    with pytest.raises(AuditError) as caught:
        audit(HAND_PLAN, replace(HAND_SEASON, **changes))
    assert words in str(caught.value)


def test_seed_counted_again():
    """L1: 60 - 10 treated so far = 50, two bags of 20 and 10; one bag is bought, L3 was treated."""
    lots = {one.name: one for one in HAND_SEASON.lots}
    assert [recount.loose_units(one, HAND_SEASON) for one in lots.values()] == [50.0, 30.0, 10.0]
    assert [recount.bags_to_treat(one, HAND_SEASON) for one in lots.values()] == [
        (2, 10.0),
        (30, 0.0),
        (0, 0.0),
    ]
    assert recount.newly_treated(HAND_PLAN, HAND_SEASON) == {("L1", "R1"): 50.0, ("L1", "R2"): 20.0}
    more_done = replace(HAND_SEASON, treated=(*HAND_SEASON.treated, TreatedSeed("L2", "R2", 4.0)))
    assert recount.treated_pool(HAND_PLAN, more_done) == {
        ("L1", "R1"): 60.0,
        ("L1", "R2"): 20.0,
        ("L2", "R2"): 4.0,
        ("L3", "R1"): 10.0,
    }
    assert recount.planted_units(HAND_PLAN) == {
        ("L1", "R1"): 30.0,
        ("L1", "R2"): 10.0,
        ("L2", "Untreated"): 10.0,
        ("L3", "R1"): 10.0,
    }


def test_no_less_than_nothing_is_loose():
    """61 of 60 units said to be treated so far leave none, not one too few."""
    (one,) = [x for x in HAND_SEASON.lots if x.name == "L1"]
    done = replace(HAND_SEASON, treated=(TreatedSeed("L1", "R1", 61.0),))
    assert recount.loose_units(one, done) == 0.0


def test_every_broken_rule_is_named():
    plan = replace(line("planting", 0, units=29.0), seconds=-1.0)
    with pytest.raises(AuditError, match="breaks 2 rules") as caught:
        audit(plan, HAND_SEASON)
    assert len(str(caught.value).splitlines()) == 3
    assert caught.value.exit_code == 70


# what the hand plan just meets
MET = [
    ("most available", record("containers", 0, most=2)),
    ("smallest split", home(smallest_split=10.0)),
    ("smallest lot share", home(smallest_lot_share=10.0)),
    ("variety share", home(most_of_one_variety=40 / 60)),
    ("most to spend", home(most_to_spend=HAND_PLAN.cost.spent)),
    ("maturity share", record("maturity_spread", 0, share=20 / 60)),
    ("a span that ends before", record("maturity_spread", 0, earliest=1.0, latest=1.59, share=0.1)),
    ("a span that begins after", record("maturity_spread", 0, earliest=1.61, share=0.1)),
    ("free freight", record("suppliers", 1, free_from=40.0)),
    ("discount level", record("discounts", 1, spend=140.0)),
]


@pytest.mark.parametrize("changes", [m[1] for m in MET], ids=[m[0] for m in MET])
def test_a_limit_may_be_met(changes):
    audit(HAND_PLAN, replace(HAND_SEASON, **changes))


@pytest.mark.parametrize("outcome", [Outcome.OPTIMAL, Outcome.FEASIBLE])
def test_a_gap_just_as_proven_may_be_called_either(outcome):
    total = HAND_PLAN.cost.total
    bound = total * (1.0 - PROVEN_GAP)
    audit(replace(HAND_PLAN, outcome=outcome, bound=bound, gap=PROVEN_GAP), HAND_SEASON)


def test_rounding_is_let_pass():
    audit(line("planting", 0, units=30.0 + 1e-8, acres=30.0 - 1e-8), HAND_SEASON)


@pytest.mark.parametrize("rule", RULES, ids=[r.__name__ for r in RULES])
def test_every_rule_is_among_those_broken_here(rule):
    """No rule of the audit is without a plan or season above that breaks it."""
    plans = [(plan, HAND_SEASON) for _, plan, _ in WRONG_PLANS[11:]]
    seasons = [(HAND_PLAN, replace(HAND_SEASON, **changes)) for _, changes, _ in OTHER_SEASONS]
    assert any(list(rule(plan, one)) for plan, one in plans + seasons)

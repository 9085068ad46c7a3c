"""Rules of optional sheets and settings: a season where each bites, and one where it just does not.

Variations of the season of `tests.optimize.model.test_rules`: 80 acres at one unit an acre, a lot
of 120 units in bags of 40, 2 fl oz a unit, jugs of 320 fl oz for $300, of which one is enough. The
expected figures are worked by hand in the comments.
"""

from dataclasses import replace
from datetime import date
from itertools import permutations
from random import Random

import pytest

from planner.agronomy.protection import together
from planner.errors import AuditError
from planner.optimize.options import SearchParams, SolveOptions
from planner.optimize.params import LineParams
from planner.optimize.search.run import solve
from planner.plan.audit import audit
from planner.plan.line import flushes, shortest
from planner.plan.plan import Outcome
from planner.season.domain import DiscountLevel, Pressure, Rating, Supplier, Threat
from tests.laws import oracle, second_model
from tests.support.seasons import container, farm, field, lot, product, recipe, season

R1 = recipe("R1", Alpha=2.0)
HIGH = {"rot": Pressure.HIGH}
JANUARY, FEBRUARY = date(2027, 1, 15), date(2027, 2, 1)


def tolerant(rating, *, counts=True, needed=Rating.G, products=(), **changes):
    """A need of G; Alpha is rated F, the variety as said."""
    return {
        "fields": (field(pressure=HIGH),),
        "products": products or (product(protection={"rot": Rating.F}),),
        "threats": (Threat("rot", need={Pressure.HIGH: needed}, variety_counts=counts),),
        "tolerance": {"V20": {"rot": rating}},
        **changes,
    }


def losing(*losses, price=10.0, crop=None, **changes):
    """Threats that take so many bu/acre; nothing holds them but what is said."""
    names = ("rot", "rust", "wilt")[: len(losses)]
    return {
        "farm": farm(weigh_yield_loss=True, soybean_price=price),
        "fields": (field(pressure=dict.fromkeys(names, Pressure.HIGH), expected_yield=crop),),
        "threats": tuple(
            Threat(name, loss={Pressure.HIGH: loss})
            for name, loss in zip(names, losses, strict=True)
        ),
        "control": {Rating.F: 0.5, Rating.E: 0.9},
        **changes,
    }


BETA = {
    "products": (product(), product("Beta", protection={"rot": Rating.E})),
    "recipes": (R1, recipe("R2", Beta=2.0)),
}


def beta_at(price):
    return {**BETA, "containers": (container(), container("Beta", price=price))}


def line(loss, *, primed=True, Gamma=300.0, **recipes):
    """Fields of 40 acres, each for one recipe at 2 fl oz/unit of each product; jugs of 320 fl oz.

    All products but Delta leave the loss in the line.
    """
    names = sorted({name for held in recipes.values() for name in held})
    return {
        "farm": farm(line_stays_primed=primed),
        "fields": tuple(field(r, 40.0, only_recipes=(r,)) for r in recipes),
        "lots": (lot(on_hand=160.0),),
        "products": tuple(
            product(name, line_loss=0.0 if name == "Delta" else loss) for name in names
        ),
        "containers": tuple(
            container(name, price=Gamma if name == "Gamma" else 300.0) for name in names
        ),
        "recipes": tuple(recipe(r, **dict.fromkeys(held, 2.0)) for r, held in recipes.items()),
    }


TO_BUY = {"lots": (lot(on_hand=0.0, can_buy=80.0, buy_price=12.0),)}


def freighted(amount):
    return {"containers": (container(supplier="Elm"),), "suppliers": (Supplier("Elm", amount),)}


def dated(discount, **suppliers):
    """Two jugs, one of each product at its supplier; a tenth off from $600 of list price."""
    return {
        "products": (product(), product("Beta")),
        "recipes": (recipe("R1", Alpha=2.0, Beta=2.0),),
        "containers": (container(supplier="Elm"), container("Beta", supplier="Oak")),
        "suppliers": tuple(Supplier(name, order_by=day) for name, day in suppliers.items()),
        "discounts": (DiscountLevel("Early", 600.0, 0.1, order_by=discount),),
    }


# name, changes to the season, acres short, cost
CASES = [
    # A variety's own tolerance.
    ("variety reaches the need", tolerant(Rating.G), 0, 300),
    ("variety just does not reach it", tolerant(Rating.F), 80, 0),
    ("variety reaches it but does not count", tolerant(Rating.G, counts=False), 80, 0),
    (
        "recipe reaches it, whatever the variety",
        tolerant(Rating.P, products=(product(protection={"rot": Rating.G}),)),
        0,
        300,
    ),
    (
        "seed goes untreated on a tolerant variety",
        tolerant(Rating.G, farm=farm(allow_untreated=True)),
        0,
        0,
    ),
    (
        "another variety is tolerant",
        tolerant(Rating.G, lots=(lot(), lot("L2", "V16", 1.6)), needed=Rating.VG)
        | {"tolerance": {"V16": {"rot": Rating.VG}}},
        0,
        300,
    ),
    # 80 acres x 2 bu x (1 - 0.5) of the recipe x (1 - 0.5) of the variety x $10 are 400.
    (
        "what the recipe leaves, the variety holds",
        losing(2.0, products=(product(protection={"rot": Rating.F}),))
        | {"tolerance": {"V20": {"rot": Rating.F}}},
        0,
        700,
    ),
    # Losses of one crop. 6, 4.8 and 3 of 60 bu: 13.8 added up, 12.804 off one another (60 x (1 -
    # 0.9 x 0.92 x 0.95)): 80 acres at $10.
    ("losses add up", losing(6.0, 4.8, 3.0), 0, 300 + 11_040),
    ("losses off one crop", losing(6.0, 4.8, 3.0, crop=60.0), 0, 300 + 10_243.2),
    # 40 % of 12 bu, and more than all of them: all 12 are lost.
    ("no more than the crop is lost", losing(4.8, 15.0, crop=12.0), 0, 300 + 9_600),
    # Beta holds 0.9 of the 6: 5.4 x 80 x 10 = 4,320 saved when added up.
    ("protection pays just so", losing(6.0, 20.0, **beta_at(4_619.0)), 0, 4_619 + 16_480),
    ("protection does not", losing(6.0, 20.0, **beta_at(4_621.0)), 0, 300 + 20_800),
    # Off one crop of 60 the rest leaves two thirds: 3.6 x 80 x 10 = 2,880 saved.
    # Lost without: 60 x (1 - 0.9 x 2/3) = 24; with: 60 x (1 - 0.99 x 2/3) = 20.4.
    ("off one crop it saves less", losing(6.0, 20.0, crop=60.0, **beta_at(3_181.0)), 0, 19_500),
    ("off one crop it just pays", losing(6.0, 20.0, crop=60.0, **beta_at(3_179.0)), 0, 19_499),
    # A discount's date: both jugs reach $600 together, or neither.
    ("both ordered in time", dated(FEBRUARY, Elm=JANUARY, Oak=FEBRUARY), 0, 540),
    ("no date, so all in time", dated(None, Elm=JANUARY, Oak=FEBRUARY), 0, 540),
    ("one too late", dated(JANUARY, Elm=JANUARY, Oak=FEBRUARY), 0, 600),
    ("a supplier without a day is in time", dated(JANUARY, Elm=JANUARY, Oak=None), 0, 540),
    # Most to spend: money comes before acres. One jug is $300.
    ("just enough to spend", {"farm": farm(most_to_spend=300.0)}, 0, 300),
    ("a cent too little", {"farm": farm(most_to_spend=299.99)}, 80, 0),
    # R1 takes 640 fl oz on 80 units: two jugs; one bag of 40 units for one.
    (
        "half of it can be paid",
        {"farm": farm(most_to_spend=599.0), "recipes": (recipe("R1", Alpha=8.0),)},
        40,
        300,
    ),
    # A tenth off brings two jugs within it.
    (
        "with the discount it can be paid",
        {
            "farm": farm(most_to_spend=540.0),
            "recipes": (recipe("R1", Alpha=8.0),),
            "discounts": (DiscountLevel("Early", 600.0, 0.1),),
        },
        0,
        540,
    ),
    ("freight counts", {"farm": farm(most_to_spend=349.0), **freighted(50.0)}, 80, 0),
    ("freight just paid", {"farm": farm(most_to_spend=350.0), **freighted(50.0)}, 0, 350),
    # Two bags of 40 units at $12 and a jug: 1,260; for 1,259.99 one bag less.
    ("seed to buy counts", {"farm": farm(most_to_spend=1_259.99), **TO_BUY}, 40, 780),
    ("seed to buy just paid", {"farm": farm(most_to_spend=1_260.0), **TO_BUY}, 0, 1_260),
    # What is given up is no money rewards: 80 units at $50.
    (
        "return value does not count",
        {"farm": farm(most_to_spend=300.0), "lots": (lot(return_value=50.0),)},
        0,
        4_300,
    ),
    # The keg for $400 is the cheaper with half of what is left credited (400 - 0.5 x 0.25 x 1440),
    # but can't be rewards: the jug then, less the credit for 160 fl oz.
    (
        "the cheaper order can't be paid",
        {
            "farm": farm(most_to_spend=399.0),
            "products": (product(carryover=0.5),),
            "containers": (container(), container(name="keg", size=1600.0, price=400.0)),
        },
        0,
        280,
    ),
    # The line stays primed: 160 fl oz on 80 units, and the loss once or twice; a jug holds 320.
    ("lost once for both recipes", line(160.0, R1=("Alpha",), R2=("Alpha",)), 0, 300),
    ("just not in one jug", line(160.5, R1=("Alpha",), R2=("Alpha",)), 0, 600),
    ("lost twice", line(160.0, primed=False, R1=("Alpha",), R2=("Alpha",)), 0, 600),
    ("just in one jug", line(80.0, primed=False, R1=("Alpha",), R2=("Alpha",)), 0, 300),
    # R2, R1, R3 keeps both on the line; by the alphabet Beta would be flushed twice.
    (
        "the order is part of it",
        line(160.0, R1=("Alpha", "Beta"), R2=("Alpha",), R3=("Beta",)),
        0,
        600,
    ),
    # Whichever order, one of three is flushed twice, and takes a second jug: the one for $90.
    (
        "one must be flushed twice",
        line(160.0, R1=("Alpha", "Beta"), R2=("Beta", "Gamma"), R3=("Alpha", "Gamma"), Gamma=90.0),
        0,
        780,
    ),
    # A third recipe without anything of the line's breaks no stretch that it must.
    (
        "a recipe that leaves nothing goes to an end",
        line(160.0, R1=("Alpha",), R2=("Delta",), R3=("Alpha",)),
        0,
        600,
    ),
    # Elm's two jugs alone reach it, and nothing comes off Oak's: 600 + 300 - 60.
    (
        "what comes too late gets nothing off",
        dated(JANUARY, Elm=JANUARY, Oak=FEBRUARY)
        | {"recipes": (recipe("R1", Alpha=8.0, Beta=2.0),)},
        0,
        840,
    ),
]


@pytest.mark.parametrize(
    ("changes", "short", "cost"), [c[1:] for c in CASES], ids=[c[0] for c in CASES]
)
def test_rule(changes, short, cost):
    one = season(**changes)
    plan = solve(one, SolveOptions(seconds=20, gap=0.0))
    audit(plan, one)
    assert plan.outcome is Outcome.OPTIMAL
    assert sum(s.acres for s in plan.shortages) == pytest.approx(short, abs=1e-4)
    assert plan.cost.total == pytest.approx(cost, abs=1e-3)
    for again in (oracle.solve(one), second_model.solve(one)):
        assert sum(again.short) == pytest.approx(short, abs=1e-4)
        assert again.cost == pytest.approx(cost, abs=1e-3)


def test_losses_together():
    """On 60 bu/acre 10, 8 and 5 % are 23 % added up, 21.34 % off one another.

    Three of 40, 35 and 30 % are 105 % added up and 72.7 % off one another; of 30, 25 and 20 % 75
    and 58 %. What keeps 10 % to 4 % saves 3.6 bu added up, 3.1464 bu off what the others leave, so
    adding up overstates what a treatment saves (derived).
    """
    assert together([6.0, 4.8, 3.0], None) == pytest.approx(13.8)
    assert together([6.0, 4.8, 3.0], 60.0) == pytest.approx(12.804)
    assert together([24.0, 21.0, 18.0], 60.0) == pytest.approx(0.727 * 60.0)
    assert together([70.0, 1.0], 60.0) == pytest.approx(60.0)
    assert together([18.0, 15.0, 12.0], None) == pytest.approx(45.0)
    assert together([18.0, 15.0, 12.0], 60.0) == pytest.approx(0.58 * 60.0)
    for crop, saved in ((None, 3.6), (60.0, 3.1464)):
        kept = together([2.4, 4.8, 3.0], crop)
        assert together([6.0, 4.8, 3.0], crop) - kept == pytest.approx(saved)


def test_the_order_of_runs_is_told():
    """Alpha and Beta stay on the line; where one of three is flushed twice, it is the cheap one."""
    one = season(**line(160.0, R1=("Alpha", "Beta"), R2=("Alpha",), R3=("Beta",)))
    order = solve(one, SolveOptions(seconds=20, gap=0.0)).run_order
    assert order in (("R2", "R1", "R3"), ("R3", "R1", "R2"))
    cycle = {"R1": ("Alpha", "Beta"), "R2": ("Beta", "Gamma"), "R3": ("Alpha", "Gamma")}
    one = season(**line(160.0, Gamma=90.0, **cycle))
    assert solve(one, SolveOptions(seconds=20, gap=0.0)).run_order[1] == "R1"
    one = season(**line(160.0, primed=False, **cycle))
    assert solve(one, SolveOptions(seconds=20, gap=0.0)).run_order == ()


def test_the_order_suits_the_days():
    """Either way round loses as little; the field planted first has its seed treated first."""
    one = season(**line(160.0, R1=("Alpha", "Beta"), R2=("Alpha",), R3=("Beta",)))
    for early, order in (("R2", ("R2", "R1", "R3")), ("R3", ("R3", "R1", "R2"))):
        fields = tuple(
            replace(f, planting_date=date(2027, 5, 1 if f.name == early else 20))
            for f in one.fields
        )
        plan = solve(replace(one, fields=fields), SolveOptions(seconds=20, gap=0.0))
        assert plan.run_order == order


def test_an_order_that_says_otherwise_is_no_plan():
    """The audit counts stretches by itself, and misses no recipe."""
    one = season(**line(160.0, R1=("Alpha", "Beta"), R2=("Alpha",), R3=("Beta",)))
    plan = solve(one, SolveOptions(seconds=20, gap=0.0))
    for order in (("R1", "R2", "R3"), plan.run_order[:2], ()):
        with pytest.raises(AuditError, match=r"Beta|run as"):
            audit(replace(plan, run_order=order), one)


def test_shortest_orders_equal_trying_all():
    """Held and Karp's dynamic program against all orders, on random sets of products."""
    rng = Random(7)
    names = ("Alpha", "Beta", "Gamma", "Delta")
    for _ in range(60):
        recipes = tuple(
            recipe(f"R{n}", **dict.fromkeys(rng.sample(names, rng.randint(1, 3)), 1.0))
            for n in range(rng.randint(1, 5))
        )
        one = season(
            recipes=recipes,
            products=tuple(product(n, line_loss=rng.choice((0.0, 4.0, 10.0))) for n in names),
            containers=tuple(container(n, price=rng.choice((90.0, 300.0))) for n in names),
        )
        price = {c.product: c.breaks[0].price / c.size for c in one.containers}
        loss = {p.name: p.line_loss * price[p.name] for p in one.products}

        def lost(order, one=one, loss=loss):
            return sum(n * loss[p] for p, n in flushes(order, one).items())

        run = [r.name for r in recipes]
        best = min(map(lost, permutations(run)))
        assert lost(shortest(run, one)) == pytest.approx(best)


PRIMED = [c for c in CASES if "farm" in c[1] and c[1]["farm"].line_stays_primed]


@pytest.mark.parametrize(
    ("changes", "short", "cost"), [c[1:] for c in PRIMED], ids=[c[0] for c in PRIMED]
)
def test_the_line_with_arcs_and_flow(changes, short, cost):
    """As beyond ten kinds of recipes, where the model puts them in order itself."""
    arcs = SearchParams(line=LineParams(most_kinds=0))
    plan = solve(season(**changes), SolveOptions(seconds=20, gap=0.0, params=arcs))
    audit(plan, season(**changes))
    assert sum(s.acres for s in plan.shortages) == pytest.approx(short, abs=1e-4)
    assert plan.cost.total == pytest.approx(cost, abs=1e-3)

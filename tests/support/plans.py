"""A season with every sheet in use and a plan for it, both worked by hand."""

from datetime import timedelta

from planner.plan.plan import (
    Cost,
    OrderLine,
    Outcome,
    Plan,
    Planting,
    ProductUse,
    SeedPurchase,
    Shortage,
    Treating,
)
from planner.season.domain import (
    Active,
    ActiveLimit,
    DiscountLevel,
    MaturityShare,
    OnItsWay,
    Pressure,
    Rating,
    Supplier,
    Threat,
    TreatedSeed,
)
from tests.support.seasons import FIRST_DAY, container, farm, field, lot, product, recipe, season

V16 = {"variety": "V16", "maturity": 1.6, "return_value": 5.0}

HAND_SEASON = season(
    farm=farm(
        product_margin=0.02,
        max_varieties=2,
        smallest_split=10.0,
        most_of_one_variety=0.7,
        liquid_limit=5.0,
        allow_untreated=True,
        weigh_yield_loss=True,
        soybean_price=10.0,
    ),
    fields=(
        field("A", 40.0, latest=2.0, pressure={"rot": Pressure.HIGH}),
        field("B", 30.0, priority=2, pressure={"rot": Pressure.LOW}),
    ),
    lots=(
        lot("L1", on_hand=60.0, units_per_bag=20.0, return_value=10.0, can_buy=20.0, buy_price=12),
        lot("L2", on_hand=30.0, units_per_bag=1.0, **V16),
        lot("L3", on_hand=10.0, units_per_bag=10.0, treated_with="R1", **V16),
    ),
    products=(
        product(
            on_hand=20.0,
            line_loss=5.0,
            carryover=0.5,
            protection={"rot": Rating.F},
            actives=(Active("alpha-ine", 1.0),),
        ),
        product(
            "Beta",
            on_hand=30.0,
            expires=FIRST_DAY - timedelta(days=1),
            protection={"rot": Rating.G},
        ),
    ),
    containers=(
        container(size=64.0, heel=4.0, breaks=((1, 60.0), (2, 50.0)), most=3, supplier="Elm"),
        container("Beta", size=32.0, price=40.0, supplier="Oak"),
    ),
    recipes=(recipe("R1", Alpha=2.0), recipe("R2", Alpha=1.0, Beta=1.0)),
    threats=(
        Threat("rot", need={Pressure.HIGH: Rating.F}, loss={Pressure.LOW: 1.0, Pressure.HIGH: 2.0}),
    ),
    control={Rating.F: 0.5, Rating.G: 0.8},
    active_limits=(ActiveLimit("alpha-ine", per_acre=0.016, per_seed=0.051),),
    suppliers=(Supplier("Elm", 25.0, 200.0), Supplier("Oak", 10.0, 40.0)),
    discounts=(
        DiscountLevel("Early", 100.0, 0.05),
        DiscountLevel("Early", 140.0, 0.10),
        DiscountLevel("Cash", 40.0, 0.05, "Oak", ("Beta",)),
    ),
    maturity_spread=(MaturityShare(1.6, 1.9, 0.4),),
    treated=(TreatedSeed("L1", "R1", 10.0),),
    ordered=(OnItsWay("Alpha", "jug", 1),),
)
"""A unit an acre. L1: 10 units treated so far, two full bags and a part of 10 left, one to buy."""

HAND_PLAN = Plan(
    outcome=Outcome.FEASIBLE,
    gap=2.59375 / 1402.59375,
    bound=1400.0,
    cost=Cost(
        containers=140.0,  # 2 x 50 + 40
        freight=25.0,  # Elm's 100 is under 200; Oak's 40 is free
        discounts=16.0,  # 10 % of 140 and 5 % of 40
        seed_bought=240.0,  # 20 x 12
        seed_given_up=550.0,  # L1: 10 x (70 - 20); L2: 5 x 10; L3 was treated before
        carryover_credit=26.40625,  # half of 50/64 x 67.6; Beta has none
        yield_loss=490.0,  # $10 x (30 x 2 x 0.5 + 10 x 2 x 0.2 + 10 x 1 x 0.5 + 10 x 1)
    ),
    order=(
        OrderLine("Alpha", "jug", 2, 50.0, 100.0, "Elm"),
        OrderLine("Beta", "jug", 1, 40.0, 40.0, "Oak"),
    ),
    seed_purchases=(SeedPurchase("L1", 1, 20.0, 240.0),),
    treating=(Treating("L1", "R1", 2, 1, 50.0), Treating("L1", "R2", 1, 0, 20.0)),
    planting=(
        Planting("A", "L1", "R1", 30.0, 30.0),
        Planting("A", "L1", "R2", 10.0, 10.0),
        Planting("B", "L3", "R1", 10.0, 10.0),
        Planting("B", "L2", "Untreated", 10.0, 10.0),
    ),
    products=(
        # (50 x 2 + 20 x 1) x 1.02 + 2 x 5; a jug gives 60
        ProductUse("Alpha", 132.4, 20.0, 60.0, 120.0, 67.6),
        # 20 x 1.02; the stock has expired
        ProductUse("Beta", 20.4, 0.0, 0.0, 32.0, 11.6),
    ),
    shortages=(Shortage("B", 10.0),),
)

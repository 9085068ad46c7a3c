"""The order against its rivals: exact mixes, where the choice flips, levels, the second-best."""

import itertools
from collections import Counter
from dataclasses import replace
from datetime import date
from random import Random

import pytest

from planner.explain.mix_search import Spend, cheapest, ways_to_buy
from planner.explain.mixes import Around, describe
from planner.explain.rivals import OTHER_WAYS, order_rivals, product_rivals
from planner.optimize.from_plan.runner_up import second_best_order
from planner.optimize.options import SolveOptions
from planner.optimize.search.run import solve
from planner.plan.offers import lowest_price_per_floz
from planner.plan.plan import Cost, Outcome, Plan, ProductUse
from planner.plan.price import order_cost
from planner.season.domain import DiscountLevel, Supplier
from tests.support import packs
from tests.support.quick import few
from tests.support.random_season import tiny_season
from tests.support.seasons import container, field, lot, product, recipe, season

PACKS = tuple(container(name=f"{s:g}", size=s, price=p) for s, p in packs.PRICES.items())


def around(*containers, counts=None, **changes) -> Around:
    whole = season(containers=containers, **changes)
    return Around.of(whole, "Alpha", counts or {})


@pytest.mark.parametrize(("need", "cost"), packs.COSTS)
def test_packs_cover_a_need_at_the_least_cost(need: float, cost: float) -> None:
    """Packs of 100, 250 and 500: a public question on covering a need with them, 1,050 for 2.40."""
    best = cheapest(around(*PACKS), need)
    assert best.complete
    assert best.mixes[0].cost == pytest.approx(cost)


def test_rivals_come_by_cost_and_waste_nothing() -> None:
    """1,050 by hand: 2 x 500 + 100 is 2.40; with 250 for the 100 it is 2.75; then 2.90.

    2 x 500 + 2 x 100 would cost 2.80, but one 100 could be left out, so it is no rival.
    """
    mixes = ways_to_buy(around(*PACKS), 1050, keep=3).mixes
    assert [dict(m.counts) for m in mixes] == [
        {"100": 1, "500": 2},
        {"250": 1, "500": 2},
        {"100": 1, "250": 2, "500": 1},
    ]
    assert [m.cost for m in mixes] == pytest.approx([2.40, 2.75, 2.90])


def test_where_each_pays_unused_all_that_are_sold_are_weighed() -> None:
    """A jug of $300 less 15 % is worth 90 % of $300 next season: each brings $15, needed or not."""
    level = DiscountLevel("Early", 0.0, 0.15)
    dear = container(most=4), container(name="keg", size=640.0, price=900.0, most=2)
    one = around(*dear, products=(product(carryover=0.9),), discounts=(level,))
    mixes = ways_to_buy(one, 100.0, keep=4).mixes
    assert [dict(m.counts) for m in mixes] == [{"jug": n} for n in (4, 3, 2, 1)]
    assert [m.cost for m in mixes] == pytest.approx([-60.0, -45.0, -30.0, -15.0])


def random_case(rng: Random):
    """A product in one to three containers beside another one, with freight and discounts."""
    suppliers = (
        Supplier("Elm", rng.choice((0.0, 50.0, 120.0)), rng.choice((None, 500.0, 900.0))),
        Supplier("Oak", 30.0),
    )
    levels = [DiscountLevel("Early", 400.0, 0.03), DiscountLevel("Early", 900.0, 0.06)]
    discounts = tuple(levels[: rng.randint(0, 2)])
    if rng.random() < 0.5:
        discounts += (DiscountLevel("Club", 300.0, 0.05, "Elm", ("Alpha",)),)
    sold = []
    for i in range(rng.randint(1, 3)):
        price = rng.randint(20, 90) * (i + 1)
        breaks = ((rng.choice((1, 1, 1, 2)), price),)
        if rng.random() < 0.5:
            breaks += ((4, round(price * 0.9)),)
        sold.append(
            container(
                name=f"c{i}",
                size=100.0 * (i + 1) * rng.choice((1.0, 1.5)),
                breaks=breaks,
                heel=rng.choice((0.0, 5.0)),
                most=rng.choice((None, None, 3)),
                supplier=rng.choice(("Elm", "Oak", None)),
            )
        )
    sold.append(container("Beta", "b", 100.0, 77.0, supplier="Elm"))
    whole = season(
        products=(product(carryover=rng.choice((0.0, 0.0, 0.3, 0.5))), product("Beta")),
        containers=tuple(sold),
        suppliers=suppliers,
        discounts=discounts,
    )
    return whole, {("Beta", "b"): rng.randint(0, 6)}, float(rng.randint(-50, 600))


def paid(whole, others, counts) -> float:
    """Containers and freight less discounts of an order in two parts."""
    cost = order_cost(whole, {**others, **counts})
    return cost.containers + cost.freight - cost.discounts


def all_mixes(whole, others, want):
    """Every mix up to 12 of each container, priced as a whole order by the plan's own prices."""
    sold = [c for c in whole.containers if c.product == "Alpha"]
    credit = whole.products[0].carryover * lowest_price_per_floz(whole, "Alpha")

    for numbers in itertools.product(range(13), repeat=len(sold)):
        pairs = list(zip(sold, numbers, strict=True))
        if any(n and n < min(b.from_count for b in c.breaks) for c, n in pairs):
            continue
        if any(c.most is not None and n > c.most for c, n in pairs):
            continue
        volume = sum(n * (c.size - c.heel) for c, n in pairs)
        if volume >= want - 1e-6:
            counts = {("Alpha", c.name): n for c, n in pairs if n}
            yield paid(whole, others, counts) - paid(whole, others, {}) - credit * volume


def test_cheapest_mix_equals_brute_force() -> None:
    equal = none = 0
    for seed in range(60):
        whole, others, want = random_case(Random(seed))
        costs = sorted(all_mixes(whole, others, want))
        best = cheapest(Around.of(whole, "Alpha", others), want)
        assert best.complete
        if not costs:
            assert not best.mixes, seed
            none += 1
        elif all(n <= 12 for _, n in best.mixes[0].counts):
            assert best.mixes[0].cost == pytest.approx(costs[0], abs=1e-6), seed
            equal += 1
        else:  # brute force can't reach it
            assert best.mixes[0].cost <= costs[0] + 1e-6, seed
    assert equal > 45
    assert none > 0


@pytest.mark.parametrize("seed", few(range(30), 4))
def test_a_mix_costs_what_the_whole_order_costs_more(seed: int) -> None:
    rng = Random(seed)
    whole, others, _ = random_case(rng)
    counts = {
        c.name: rng.randint(2, 3)
        for c in whole.containers
        if c.product == "Alpha" and rng.random() < 0.7
    }
    mix = describe(Around.of(whole, "Alpha", others), counts)
    mine = order_cost(whole, {**others, **{("Alpha", c): n for c, n in counts.items()}})
    without = order_cost(whole, others)
    paid = mine.containers + mine.freight - mine.discounts
    paid -= without.containers + without.freight - without.discounts
    credit = whole.products[0].carryover * lowest_price_per_floz(whole, "Alpha")
    assert mix.cost == pytest.approx(paid - credit * mix.volume)


def test_a_spend_can_be_asked_for() -> None:
    """100 fl oz of need, but $2.00 of spend: two 500s cost just that."""
    best = cheapest(around(*PACKS), 100, spend=Spend(2.0))
    assert best.mixes[0].spend == pytest.approx(2.0)


# -- what is told of a product: the law ------------------------------------------------------------


def every_mix(whole, others):
    """Counts, volume and cost of every mix up to 13 of each container, whatever it covers.

    Thirteen are more than any need here takes, and reach every discount level: no container holds
    less than 95 fl oz or costs less than $72, the largest need is 1,000, the highest level $900.
    """
    sold = [c for c in whole.containers if c.product == "Alpha"]
    credit = whole.products[0].carryover * lowest_price_per_floz(whole, "Alpha")

    empty = paid(whole, others, {})
    choices = [
        [n for n in range(14) if not n or c.breaks[0].from_count <= n <= (c.most or 13)]
        for c in sold
    ]
    for numbers in itertools.product(*choices):
        counts = {c.name: n for c, n in zip(sold, numbers, strict=True) if n}
        volume = sum(n * (c.size - c.heel) for c, n in zip(sold, numbers, strict=True))
        cost = paid(whole, others, {("Alpha", c): n for c, n in counts.items()}) - empty
        yield counts, volume, cost - credit * volume


def inside(small, large) -> bool:
    return small != large and all(n <= large.get(c, 0) for c, n in small.items())


def law_case(seed: int):
    """A season, the other product's order, a need, and the mix that a plan has for it."""
    rng = Random(seed)
    whole, others, _ = random_case(rng)
    raised = tuple(
        replace(c, breaks=tuple(replace(b, price=b.price + 60.0) for b in c.breaks))
        for c in whole.containers
    )
    whole = replace(whole, containers=raised)
    if seed % 3 == 0:  # a discount that what is ordered late does not count toward
        days = (None, date(2027, 1, 10), date(2027, 2, 1))
        whole = replace(
            whole,
            suppliers=tuple(replace(s, order_by=rng.choice(days)) for s in whole.suppliers),
            discounts=tuple(replace(d, order_by=rng.choice(days)) for d in whole.discounts),
        )
    need = float(rng.randint(1, 700))
    stock = rng.choice((0.0, 0.0, 150.0))
    want = need - stock
    every = list(every_mix(whole, others))
    covers = [m for m in every if m[1] >= want - 1e-6]
    if not covers:
        return None
    mine = min(covers, key=lambda m: (round(m[2], 6), m[1]))
    if seed % 5 == 4:  # a plan that is not proven may have a dearer mix
        mine = rng.choice(sorted(covers, key=lambda m: m[2])[:6])
    return whole, others, need, stock, mine, every


@pytest.mark.slow
def test_most_cases_of_the_law_are_there() -> None:
    """Where nothing covers the need there is no case."""
    assert sum(law_case(seed) is not None for seed in range(120)) > 100


@pytest.mark.parametrize("seed", few(range(120), 4))
def test_what_is_told_of_a_product_equals_brute_force(seed: int) -> None:
    """Other ways to buy it, the next step up and the next step down, over all counts there are."""
    case = law_case(seed)
    if case is None:
        return
    whole, others, need, stock, (own, volume, cost), every = case
    want = need - stock
    use = ProductUse("Alpha", need, stock, 0.0, volume, stock + volume - need)
    counts = {**others, **{("Alpha", c): n for c, n in own.items()}}
    plan = Plan(Outcome.OPTIMAL, 0.0, 0.0, Cost(), products=(use,))
    told = product_rivals(use, plan, whole, counts)
    assert told.complete
    assert dict(told.mixes[0].containers) == own
    used = max(0.0, want) * whole.products[0].carryover * lowest_price_per_floz(whole, "Alpha")
    assert told.mixes[0].cost == pytest.approx(cost + used)  # no credit for what the seed takes

    covers = [m for m in every if m[1] >= want - 1e-6]
    real = [
        m for m in covers if not any(inside(o[0], m[0]) and o[2] <= m[2] + 1e-6 for o in covers)
    ]
    others_by_cost = sorted(m[2] for m in real if m[0] != own)[:OTHER_WAYS]
    assert [m.cost - used for m in told.mixes[1:]] == pytest.approx(others_by_cost, abs=1e-5)
    assert all(dict(m.containers) in [r[0] for r in real] for m in told.mixes[1:])
    assert [m.more for m in told.mixes] == pytest.approx([m.cost - used - cost for m in told.mixes])

    above = [m for m in every if m[1] > volume + 1e-3]
    if not above:
        assert told.need_up is None
        assert "No order covers more" in told.sentence
    else:
        assert told.need_up == pytest.approx(volume - want)
        best = min(m[2] for m in above)
        assert told.step_up == pytest.approx(best - cost, abs=1e-5)
        assert dict(told.mix_up) in [m[0] for m in above if m[2] <= best + 1e-5]

    least = min(m[2] for m in covers)
    below = [m for m in every if m[1] < want - 1e-6 and m[2] < least - 0.005]
    if want <= 0.0 or not below:
        assert told.need_down is None
    else:
        nearest = max(m[1] for m in below)
        assert told.need_down == pytest.approx(want - nearest)
        best = min(m[2] for m in every if m[1] >= nearest - 1e-6)
        assert told.saved_down == pytest.approx(cost - best, abs=1e-5)
        assert dict(told.mix_down) in [m[0] for m in below if m[2] <= best + 1e-5]


def test_the_step_up_is_one_more_jug_where_that_is_cheapest() -> None:
    """Two jugs at $740 hold 640 fl oz; a third costs $740, a drum of 3,840 fl oz $3,751."""
    whole = season(
        lots=(lot(on_hand=80.0, units_per_bag=1.0),),
        recipes=(recipe(Alpha=7.5),),  # 80 units take 600 fl oz
        containers=(
            container(name="jug", size=320.0, price=740.0),
            container(name="drum", size=3840.0, price=3751.0),
        ),
    )
    told = order_rivals(solve(whole, SolveOptions()), whole).products[0]
    assert dict(told.mixes[0].containers) == {"jug": 2}
    assert told.need_up == pytest.approx(40.0)
    assert dict(told.mix_up) == {"jug": 3}
    assert told.step_up == pytest.approx(740.0)
    # a third jug is not another way to buy it, the drum is
    assert [dict(m.containers) for m in told.mixes[1:]] == [{"drum": 1}]


def test_more_of_the_same_jug_is_the_next_step_where_nothing_else_is_sold() -> None:
    """One jug at $64 covers the need; two are $64 more, whatever a discount would ask for."""
    whole = season(
        lots=(lot(on_hand=80.0, units_per_bag=1.0),),
        recipes=(recipe(Alpha=4.0),),  # 320 fl oz to the drop
        containers=(container(name="jug", size=320.0, price=64.0),),
        discounts=(DiscountLevel("Early order", 1950.0, 0.05),),
    )
    told = order_rivals(solve(whole, SolveOptions()), whole).products[0]
    assert dict(told.mix_up) == {"jug": 2}
    assert told.step_up == pytest.approx(64.0)
    assert told.need_up == pytest.approx(0.0)
    assert len(told.mixes) == 1


# -- a whole plan ---------------------------------------------------------------------------------


def packs_season(**changes):
    """80 acres take 80 units in bags of one, at 13.125 fl oz a unit: 1,050 fl oz of Alpha."""
    return season(
        lots=(lot(on_hand=80.0, units_per_bag=1.0),),
        recipes=(recipe(Alpha=13.125),),
        containers=PACKS,
        **changes,
    )


def test_flips_of_need_and_price_worked_by_hand() -> None:
    """Packs of 100 for 0.40, 250 for 0.75, 500 for 1.00, need 1,050: 2 x 500 + 100 for 2.40.

    It holds 1,100, so it covers 50 more; beyond, 2 x 500 + 250 is best for 2.75, 0.35 more.
    With 50 less, 2 x 500 would do, 0.40 cheaper. The 100 may cost 0.75 before the 250 takes its
    place. The 500 may cost 1.50: at that price two and a 100 are 3.40, as are one with a 100 and
    two 250s. The 250 must fall to 0.50, where two of them are as good as a 500.
    """
    plan = solve(packs_season(), SolveOptions())
    rivals = order_rivals(plan, packs_season()).products[0]
    assert dict(rivals.mixes[0].containers) == {"100": 1, "500": 2}
    assert rivals.need_up == pytest.approx(50.0)
    assert dict(rivals.mix_up) == {"250": 1, "500": 2}
    assert rivals.step_up == pytest.approx(0.35)
    assert rivals.need_down == pytest.approx(50.0)
    assert dict(rivals.mix_down) == {"500": 2}
    assert rivals.saved_down == pytest.approx(0.40)
    flips = {f.container: f.price for f in rivals.price_flips}
    assert flips == pytest.approx({"100": 0.75, "250": 0.50, "500": 1.50}, abs=0.011)
    # 50 fl oz are left: 3.8 units more at 13.125 each, and one more costs nothing
    assert rivals.units_covered == pytest.approx(50 / 13.125)
    assert rivals.one_more_unit == pytest.approx(0.0)


def test_one_more_unit_costs_the_next_container_where_nothing_is_left() -> None:
    """80 units at 12.5 fl oz fill two 500s to the drop; unit 81 needs a 100 for 0.40."""
    whole = replace(packs_season(), recipes=(recipe(Alpha=12.5),))
    rivals = order_rivals(solve(whole, SolveOptions()), whole).products[0]
    assert dict(rivals.mixes[0].containers) == {"500": 2}
    assert rivals.one_more_unit == pytest.approx(0.40)
    assert "One more unit treated would cost $0.40" in rivals.sentence


def test_rounding_up_to_a_level_worked_by_hand() -> None:
    """Three jugs at $300 make $900; $1,000 would bring 5 % off.

    A fourth jug makes $1,200 less $60, $1,140: $240 more, so it does not pay. At 30 % off it
    would be $840, $60 less, and the plan itself would order four.
    """
    whole = season(
        lots=(lot(on_hand=80.0, units_per_bag=1.0),),
        recipes=(recipe(Alpha=12.0),),
        discounts=(DiscountLevel("Early order", 1000.0, 0.05),),
    )
    plan = solve(whole, SolveOptions())
    (level,) = order_rivals(plan, whole).levels
    assert level.missing == pytest.approx(100.0)
    assert dict(level.containers) == {"jug": 4}
    assert level.more == pytest.approx(240.0)
    rich = replace(whole, discounts=(DiscountLevel("Early order", 1000.0, 0.30),))
    plan = solve(rich, SolveOptions())
    assert plan.order[0].count == 4
    assert order_rivals(plan, rich).levels == ()


def test_stock_that_will_do_has_nothing_to_buy() -> None:
    whole = season(
        fields=(field(acres=40.0),), lots=(lot(on_hand=40.0),), products=(product(on_hand=500.0),)
    )
    plan = solve(whole, SolveOptions())
    rivals = order_rivals(plan, whole)
    (alpha,) = rivals.products
    assert alpha.to_buy == 0.0
    assert alpha.need_up == pytest.approx(420.0)  # 500 on hand, 40 units at 2 fl oz take 80
    assert "stock will do" in alpha.sentence
    assert rivals.second_best == "Nothing has to be ordered."


@pytest.mark.slow
def test_no_rival_is_cheaper_than_a_proven_plan() -> None:
    seen = Counter()
    for seed in range(40):
        whole = tiny_season(seed)
        plan = solve(whole, SolveOptions(10.0))
        slack = 0.01 + 1e-4 * abs(plan.cost.total)
        rivals = order_rivals(plan, whole)
        assert all(each.complete for each in rivals.products)
        other = second_best_order(whole, plan) if plan.order else None
        told = {
            "mixes": [m.more for each in rivals.products for m in each.mixes],
            "levels": [x.more for x in rivals.levels if x.more is not None],
            "orders": [other.more] if other else [],
        }
        for kind, costs in told.items():
            assert all(more >= -slack for more in costs), (seed, kind)
            seen[kind] += len(costs)
    assert min(seen[kind] for kind in ("mixes", "levels", "orders")) > 3, seen

"""Run order and calendar against exhaustive enumeration, and worked by hand."""

from collections import Counter
from dataclasses import replace
from datetime import timedelta
from itertools import combinations_with_replacement, permutations, product
from random import Random

import pytest

from planner.campaign import run_order
from planner.campaign.begun import Begun
from planner.campaign.calendar import late_bags, late_in_any_order, pieces, runs, soonest
from planner.campaign.changes import Line
from planner.campaign.domain import Shop
from planner.campaign.placer import due, leaves
from planner.campaign.remedies import faster, remedies
from planner.campaign.run_order import Cost, find_order
from tests.support.campaigns import FIRST, batch, random_batches, random_shop, supply
from tests.support.quick import few, long_after

SUPPLIES = [
    supply(p, loss, value)
    for p, loss, value in zip("ABCDE", (1, 2, 4, 8, 16), (3, 1, 2, 1, 0), strict=True)
]


# --- by hand -----------------------------------------------------------------------------------


def test_recipes_that_share_products_follow_one_another():
    """Bags of AB, CD, ABC, each of its own lot, 20 minutes a product, 10 a lot.

    AB - ABC - CD: in 2, in 1, out 2 in 1, out 2 = 8 x 20 + 30 = 190.
    AB - CD - ABC: in 2, out 2 in 2, out 1 in 2, out 3 = 12 x 20 + 30 = 270.
    """
    batches = [batch("1", "X", "AB"), batch("2", "Y", "CD"), batch("3", "Z", "ABC")]
    shop = Shop(FIRST, cure_days=0)
    order, facts = find_order(batches, SUPPLIES, shop)
    assert [b.recipe for b in order] in (["X", "Z", "Y"], ["Y", "Z", "X"])
    assert facts.minutes == 190.0


def test_a_lot_under_two_recipes_is_calibrated_once():
    """Lots 1, 2 under X and 2, 3 under Y: 1 2 - 2 3 takes three calibrations, not four."""
    batches = [
        batch("2", "X", "A"),
        batch("1", "X", "A"),
        batch("3", "Y", "B"),
        batch("2", "Y", "B"),
    ]
    shop = Shop(FIRST, cure_days=0)
    order, facts = find_order(batches, SUPPLIES, shop)
    assert [b.lot for b in order] == ["1", "2", "2", "3"]
    assert facts.minutes == 4 * 20 + 3 * 10


def test_living_recipes_come_last_unless_their_fields_are_planted_early():
    """One bag a day. Living X is last as long as nothing comes too late by it.

    If X must be treated on the first day, it goes first, though plain Y then follows it.
    """
    shop = Shop(FIRST, cure_days=0, bags_per_day=1)
    plain = batch("2", "Y", "A")
    order, _ = find_order([batch("1", "X", "B", living=True), plain], SUPPLIES, shop)
    assert [b.recipe for b in order] == ["Y", "X"]
    early = batch("1", "X", "B", [(1, 0, None, 0)], living=True)
    order, _ = find_order([early, plain], SUPPLIES, shop)
    assert [b.recipe for b in order] == ["X", "Y"]


def test_what_is_on_the_line_already_is_not_entered_again():
    """A on the line: A (10 for the lot), out with it and in with B (40 + 10), out 20: 80."""
    batches = [batch("1", "X", "A"), batch("2", "Y", "B")]
    shop = Shop(FIRST, cure_days=0)
    order, facts = find_order(batches, SUPPLIES, shop, Begun(line=Line(frozenset("A"), "9")))
    assert [b.recipe for b in order] == ["X", "Y"]
    assert facts.minutes == 80.0


def test_days_off_bags_a_day_and_floor():
    """Five bags, two a day, the second day off, room for three that leave after two days.

    Day 0: two; day 1 off; day 2: the first two leave, two more; day 3: one.
    """
    shop = Shop(FIRST, cure_days=2, bags_per_day=2, floor_space=3, days_off=(FIRST + timedelta(1),))
    placed = runs(pieces([batch("1", "X", "A", [(5, None, None, None)])], shop))
    assert [((r.day - FIRST).days, r.bags) for r in placed] == [(0, 2), (2, 2), (3, 1)]


def test_how_many_bags_too_many_and_what_would_do():
    """Seven bags, two a day, three days: one bag is too many.

    One day more would do, or starting a day earlier, or one bag a day more (3 + 3 + 1).
    """
    shop = Shop(
        FIRST,
        cure_days=1,
        bags_per_day=2,
        done_by=FIRST + timedelta(2),
        plan_date=FIRST - timedelta(9),
    )
    order = [batch("1", "X", "A", [(7, None, None, None)])]
    assert late_bags(order, shop) == late_in_any_order(order, shop) == 1
    assert remedies(order, shop) == (
        "1 treating day more at the end, until Fri 4/23/2027",
        "starting 1 day earlier, on Mon 4/19/2027",
        "1 bag more a day",
    )


def test_floor_space_that_would_do():
    """Four bags wait for a field planted on day 9; room for two until then, so two are late."""
    shop = Shop(FIRST, cure_days=1, floor_space=2)
    order = [batch("1", "X", "A", [(4, 9, None, 8)])]
    assert late_bags(order, shop) == 2
    assert remedies(order, shop) == ("floor space for 2 bags more",)


# --- exhaustive --------------------------------------------------------------------------------


def all_orders(batches):
    """Every order that keeps recipes together."""
    by_recipe = {}
    for b in batches:
        by_recipe.setdefault(b.recipe, []).append(b)
    for names in permutations(by_recipe):
        for inner in product(*(permutations(by_recipe[n]) for n in names)):
            yield [b for group in inner for b in group]


def cost_of(order, shop, *, with_days):
    """Cost of an order, counted step by step as the rules say."""
    on, lot, minutes, money, loss, inversions = set(), "", 0.0, 0.0, 0.0, 0
    living, seen, dues = [], [], []
    for b in order:
        wanted = {d.product for d in b.draws}
        minutes += shop.changeover_minutes * len(on ^ wanted)
        minutes += shop.calibration_minutes * (lot != b.lot)
        for s in SUPPLIES:
            if s.product in wanted - on:
                loss += s.line_loss
                money += s.line_loss * s.value
        on, lot = wanted, b.lot
        if b.recipe not in seen:
            seen.append(b.recipe)
            living.append(any(x.living for x in order if x.recipe == b.recipe))
            dues.append(min(due_of(x, shop) for x in order if x.recipe == b.recipe))
    minutes += shop.changeover_minutes * len(on)
    inversions = sum(a and not b for i, a in enumerate(living) for b in living[i + 1 :])
    late = late_bags(order, shop) if with_days else 0
    turns = sum(a > b for i, a in enumerate(dues) for b in dues[i + 1 :])
    return Cost(late, turns, inversions, round(minutes, 6), round(money, 6), round(loss, 6))


@pytest.mark.parametrize("seed", few(range(60), 4))
def test_order_without_dates_is_the_best_of_all(seed):
    """Up to four recipes, two lots each, every permutation of both."""
    rng = Random(seed)
    batches = random_batches(rng, rng.randint(1, 4), 4, dated=False)
    shop = Shop(FIRST, cure_days=1, changeover_minutes=rng.choice((0.0, 20.0)))
    order, facts = find_order(batches, SUPPLIES, shop)
    best = min(cost_of(o, shop, with_days=False) for o in all_orders(batches))
    assert cost_of(order, shop, with_days=False) == best
    assert (facts.minutes, facts.loss, facts.exact) == (best.minutes, best.loss, True)


def due_of(b, shop):
    return min(due(p, shop) for p in b.portions)


@pytest.mark.parametrize("seed", few(range(120), 4))
def test_order_with_dates_is_the_best_of_all(seed):
    """One lot a recipe, so that nothing but the recipes' order is open; days and floor bind."""
    rng = Random(seed)
    batches = random_batches(rng, rng.randint(2, 5), 1, dated=True)
    shop = random_shop(rng)
    order, facts = find_order(batches, SUPPLIES, shop)
    best = min(cost_of(o, shop, with_days=True) for o in all_orders(batches))
    assert cost_of(order, shop, with_days=True) == best
    assert facts.exact


@pytest.mark.parametrize("seed", few(range(60), 4))
def test_order_with_dates_and_several_lots(seed):
    """Among orders that keep a recipe's lots by last day (ends aside) none is better."""
    rng = Random(seed)
    batches = random_batches(rng, rng.randint(2, 3), 5, dated=True)
    shop = random_shop(rng)
    order, _ = find_order(batches, SUPPLIES, shop)
    plain = [o for o in all_orders(batches) if in_last_day_order(o, shop)]
    best = min(cost_of(o, shop, with_days=True) for o in plain)
    assert cost_of(order, shop, with_days=True) <= best


def in_last_day_order(order, shop):
    for name in {b.recipe for b in order}:
        mine = [b for b in order if b.recipe == name]
        if mine != sorted(mine, key=lambda b: (due_of(b, shop), b.lot)):
            return False
    return True


def all_calendars(order, shop, days):
    """Every way to put the bags of an order on days, in order, within day and floor limits."""
    bags = [(p, p.earliest) for b in order for p in b.portions for _ in range(p.bags)]
    first = shop.first_day.toordinal()
    open_days = [d for d in range(first, first + days) if d not in off_days(shop)]
    for plan in combinations_with_replacement(open_days, len(bags)):
        alive = all(not e or e.toordinal() <= d for (_, e), d in zip(bags, plan, strict=True))
        if alive and within(bags, plan, shop):
            yield [d > due(p, shop) for (p, _), d in zip(bags, plan, strict=True)], plan


def off_days(shop):
    return {d.toordinal() for d in shop.days_off}


def within(bags, plan, shop):
    most, space = shop.bags_per_day or 99, shop.floor_space or 99
    if any(plan.count(d) > most for d in set(plan)):
        return False
    leave = [leaves(d, p, shop) for (p, _), d in zip(bags, plan, strict=True)]
    return all(
        sum(d <= day < out for d, out in zip(plan, leave, strict=True)) <= space
        for day in set(plan)
    )


@pytest.mark.slow
@pytest.mark.parametrize("seed", long_after(40, range(80)))
def test_calendar_has_the_earliest_day_for_every_bag(seed):
    """No calendar of the same order has any bag on an earlier day, or fewer bags late."""
    rng = Random(seed)
    order = random_batches(rng, 2, 2, dated=True)[:2]
    order = [batch(b.lot, b.recipe, "A", _short(b)) for b in order]
    shop = random_shop(rng)
    ours = [p.day for p in soonest(order, shop) for _ in range(p.bags)]
    found = list(all_calendars(order, shop, 14))
    assert found, "fourteen days are enough for so few bags"
    assert any(plan == tuple(ours) for _, plan in found)
    for late, plan in found:
        assert all(a <= b for a, b in zip(ours, plan, strict=True))
        assert late_bags(order, shop) <= sum(late)


def last_days(order, shop):
    """Last day of every bag with the spare days kept free, by counting open days back."""
    off, found = off_days(shop), []
    for b in order:
        day, left = min(due(p, shop) for p in b.portions), shop.spare_days
        while day in off or left:
            left -= day not in off
            day -= 1
        found += [day] * b.bags
    return found


@pytest.mark.parametrize("seed", few(range(60), 4))
def test_calendar_has_the_latest_day_for_every_bag(seed):
    """No calendar of the same order that keeps the spare days has any bag on a later day.

    A batch that fits on a day is on one, and none of it after its first bag's last day.
    Where none keeps them, no more bags are late than in the calendar that treats at once.
    """
    rng = Random(seed)
    order = [batch(f"L{n}", f"R{n}", "A", _dated(rng)) for n in range(rng.randint(1, 2))]
    shop = replace(random_shop(rng), spare_days=rng.choice((0, 1, 2)), floor_space=None)
    ours = [p.day for p in pieces(order, shop) for _ in range(p.bags)]
    assert late_of(order, ours, shop) == late_bags(order, shop)
    limits = last_days(order, shop)
    free = [
        plan
        for _, plan in all_calendars(order, shop, 12)
        if all(d <= limit for d, limit in zip(plan, limits, strict=True))
        and whole(order, plan, shop.bags_per_day or 99)
    ]
    for plan in free:
        assert all(a >= b for a, b in zip(ours, plan, strict=True)), (ours, plan)
    if free:
        assert tuple(ours) in free


def whole(order, plan, most):
    """Whether every batch that a day holds is on one day."""
    days = iter(plan)
    each = [{next(days) for _ in range(b.bags)} for b in order]
    return all(len(on) == 1 or b.bags > most for b, on in zip(order, each, strict=True))


def late_of(order, days, shop):
    bags = [p for b in order for p in b.portions for _ in range(p.bags)]
    return sum(d > due(p, shop) for p, d in zip(bags, days, strict=True))


def _dated(rng):
    """One or two portions of a batch with a planting date, the later planted last."""
    days = sorted(rng.sample(range(3, 11), rng.randint(1, 2)))
    return [(1 if i else rng.randint(1, 2), day, None, day - 1) for i, day in enumerate(days)]


@pytest.mark.parametrize("seed", few(range(40), 4))
def test_pounds_and_hours_limit_like_bags_of_one_weight(seed):
    """Two 50-lb bags a day are 100 lb a day, and 10 minutes at 10 lb/min without changes."""
    rng = Random(seed)
    order = random_batches(rng, 3, 2, dated=True)
    bags = replace(
        random_shop(rng), bags_per_day=2, changeover_minutes=0.0, calibration_minutes=0.0
    )
    pounds = replace(bags, bags_per_day=None, pounds_per_day=100.0)
    hours = replace(bags, bags_per_day=None, minutes_per_day=10.0, seed_flow=10.0)
    for place in (pieces, soonest):
        days = [[(p.day, p.bags) for p in place(order, shop)] for shop in (bags, pounds, hours)]
        assert days[0] == days[1] == days[2]
    floors = {late_in_any_order(order, shop) for shop in (bags, pounds, hours)}
    assert len(floors) == 1


def test_a_bag_of_one_unit_is_not_a_box():
    """A box of 45 units weighs 2,250 lb, forty bags of one unit 2,000 lb together.

    At 4,500 lb a day both fit on one day, though 41 packages are more than ten bags a day.
    """
    box = replace(batch("1", "X", "A"), units_per_bag=45.0)
    small = batch("2", "X", "A", [(40, None, None, None)])
    by_weight = Shop(FIRST, cure_days=0, pounds_per_day=4500.0)
    assert len({p.day for p in pieces([box, small], by_weight)}) == 1
    by_count = Shop(FIRST, cure_days=0, bags_per_day=10)
    assert len({p.day for p in pieces([box, small], by_count)}) == 5
    one_batch = replace(small, together=True)
    assert len({p.day for p in pieces([box, one_batch], by_count)}) == 1


def test_bags_of_one_unit_make_a_few_batches_where_the_floor_is_small():
    """Forty bags, room for fifteen that leave after a day: 15, 15, 10."""
    small = replace(batch("2", "X", "A", [(40, None, None, None)]), together=True)
    shop = Shop(FIRST, cure_days=1, bags_per_day=10, floor_space=15)
    assert [p.bags for p in pieces([small], shop)] == [15, 15, 10]


def test_changes_take_their_time_out_of_the_hours_of_a_day():
    """One hour at 50 lb/min is 60 bags of 50 lb. A in and lot 1: 30 minutes, so 30 bags.

    The next day has its whole hour.
    """
    shop = Shop(FIRST, cure_days=0, seed_flow=50.0, minutes_per_day=60.0)
    order = [batch("1", "X", "A", [(70, None, None, None)])]
    assert [p.bags for p in pieces(order, shop)] == [30, 40]


def test_more_pounds_or_hours_that_would_do():
    """Seven bags of 50 lb, three days: 100 lb or 2 minutes a day leave one too late.

    A thousand pounds more would do, and an hour more (hours come in whole ones).
    """
    days = {"done_by": FIRST + timedelta(2), "changeover_minutes": 0.0, "calibration_minutes": 0.0}
    order = [batch("1", "X", "A", [(7, None, None, None)])]
    pounds = Shop(FIRST, cure_days=1, pounds_per_day=100.0, **days)
    assert remedies(order, pounds)[-1] == "1,000 lb more a day"
    hours = Shop(FIRST, cure_days=1, minutes_per_day=2.0, seed_flow=50.0, **days)
    assert remedies(order, hours)[-1] == "1 hour more a day"


@pytest.mark.parametrize("seed", few(range(40), 4))
def test_late_floor_by_weight_holds(seed):
    """Bags of different weight: no order has fewer bags late than the floor says."""
    rng = Random(seed)
    batches = [
        replace(b, units_per_bag=rng.choice((1.0, 2.0, 4.0)))
        for b in random_batches(rng, 3, 1, dated=True)
    ]
    shop = replace(random_shop(rng), bags_per_day=None, pounds_per_day=rng.choice((100.0, 220.0)))
    floor = late_in_any_order(batches, shop)
    assert all(floor <= late_bags(o, shop) for o in all_orders(batches))


def test_what_is_planted_first_is_treated_first():
    """Y is due on day 2, X on day 8; X alone shares nothing, so both orders cost the same.

    With Z, which holds the products of X and is due between them, Y - Z - X is in turn. X and Z
    next to each other with Y before or after: the minutes are the same here, days decide.
    """
    batches = [
        batch("1", "X", "AB", [(1, 9, None, 8)]),
        batch("2", "Y", "CD", [(1, 3, None, 2)]),
        batch("3", "Z", "AB", [(1, 5, None, 4)]),
    ]
    order, _ = find_order(batches, SUPPLIES, Shop(FIRST, cure_days=1))
    assert [b.recipe for b in order] == ["Y", "Z", "X"]


def test_an_order_that_the_plan_decided_on_is_kept():
    batches = [batch("1", "X", "AB"), batch("2", "Y", "CD"), batch("3", "Z", "ABC")]
    order, facts = find_order(batches, SUPPLIES, Shop(FIRST, cure_days=0), planned=("X", "Y", "Z"))
    assert [b.recipe for b in order] == ["X", "Y", "Z"]
    assert facts.minutes == 270.0


def _short(b):
    """A batch's portions as `batch` takes them, three bags at the most."""
    days = [
        tuple(None if d is None else (d - FIRST).days for d in (p.planting, p.earliest, p.latest))
        for p in b.portions
    ]
    bags = [min(b.portions[0].bags, 2), 1]
    return [(n, *d) for n, d in zip(bags, days, strict=False)]


@pytest.mark.parametrize("seed", few(range(60), 4))
def test_late_floor_holds_for_every_order(seed):
    """Whatever the order of the bags, as many are late; without floor space it is met exactly."""
    rng = Random(seed)
    batches = random_batches(rng, 2, 1, dated=True)
    shop = random_shop(rng)
    floor = late_in_any_order(batches, shop)
    assert all(floor <= late_bags(o, shop) for o in all_orders(batches))
    assert floor == best_matching(batches, shop)


def best_matching(batches, shop):
    """Fewest late bags if every bag may take any open day of its own: augmenting paths."""
    bags = [p for b in batches for p in b.portions for _ in range(p.bags)]
    first = shop.first_day.toordinal()
    most = shop.bags_per_day or len(bags)
    slots = [
        (d, n) for d in range(first, first + 40) if d not in off_days(shop) for n in range(most)
    ]
    taken = {}

    def place(i, tried):
        p = bags[i]
        low = p.earliest.toordinal() if p.earliest else 0
        for slot in slots:
            if low <= slot[0] <= due(p, shop) and slot not in tried:
                tried.add(slot)
                if slot not in taken or place(taken[slot], tried):
                    taken[slot] = i
                    return True
        return False

    return sum(not place(i, set()) for i in range(len(bags)))


def test_smallest_remedy_does_and_one_less_does_not():
    """With the remedy nothing is late any more, and there is nothing left to remedy."""
    seen = Counter()
    for seed in range(30):
        rng = Random(seed)
        order = random_batches(rng, 3, 2, dated=True)
        shop = replace(random_shop(rng), bags_per_day=1, floor_space=None)
        told = [r for r in remedies(order, shop) if r.endswith("more a day")]
        assert late_bags(order, shop) > 0, seed
        if told:
            more = int(told[0].split()[0])
            seen["one more" if more == 1 else "several more"] += 1
            assert late_bags(order, faster(shop, more)) == 0, seed
            assert remedies(order, faster(shop, more)) == (), seed
            assert late_bags(order, faster(shop, more - 1)) > 0, seed
        else:
            seen["late anyhow"] += 1
            assert late_bags(order, faster(shop, 1000)) > 0, seed
    assert min(seen[how] for how in ("one more", "several more", "late anyhow")) > 0, seen


# --- many recipes ------------------------------------------------------------------------------


def test_bounded_search_tells_its_floor(monkeypatch):
    """The bounded search of few recipes, held against the best of all and its own floor."""
    rng = Random(5)
    gaps = []
    for _ in range(20):
        batches = random_batches(rng, 5, 3, dated=False)
        shop = Shop(FIRST, cure_days=1)
        best = find_order(batches, SUPPLIES, shop)[1]
        with monkeypatch.context() as patched:
            patched.setattr(run_order, "EXACT", 3)
            patched.setattr(run_order, "WIDTH", 4)
            found = find_order(batches, SUPPLIES, shop)[1]
        assert not found.exact
        assert found.floor_minutes <= best.minutes <= found.minutes
        gaps.append(found.minutes - best.minutes)
    assert sum(gaps) / len(gaps) < 20.0, "a change or less on average"


def test_thirty_recipes_in_bounded_time():
    rng = Random(7)
    batches = random_batches(rng, 30, 12, dated=False)
    order, facts = find_order(batches, SUPPLIES, Shop(FIRST, cure_days=1))
    assert sorted((b.lot, b.recipe) for b in order) == sorted((b.lot, b.recipe) for b in batches)
    assert facts.floor_minutes <= facts.minutes
    assert not facts.exact


def test_order_does_not_depend_on_the_order_of_the_input():
    rng = Random(3)
    batches = random_batches(rng, 5, 4, dated=True)
    shop = random_shop(rng)
    first = find_order(batches, SUPPLIES, shop)
    rng.shuffle(batches)
    assert find_order(batches, SUPPLIES, shop) == first

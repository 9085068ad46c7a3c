"""The shop's days: capacity by weight, recipes cut where dates want it, approvals, samples, audit.

All seasons are those of `tests.support.campaigns`, worked by hand in each test; nothing else is a
source.
"""

from dataclasses import replace
from datetime import date, timedelta

import pytest

from planner.campaign.begun import Work
from planner.campaign.campaign import make_campaign, update
from planner.campaign.check import check
from planner.campaign.domain import Flush, Shop
from planner.campaign.ical import deadlines
from planner.campaign.schedule import schedule
from planner.errors import AuditError
from planner.plan.plan import Planting, SeedPurchase, Treating
from planner.season.domain import UNTREATED, Done, Field, SeedingRate, Supplier, TreatedSeed
from tests.support.campaigns import FIRST, batch, hand_plan, hand_season, supply


def farm_with(season, **changes):
    return replace(season, farm=replace(season.farm, **changes))


def on_days(campaign):
    """(Month.day, recipe, first bag, last bag) of every run."""
    return [(f"{r.day:%m.%d}", r.recipe, r.first_bag, r.last_bag) for r in campaign.calendar.runs]


# --- capacity ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("pounds", "days"),
    [
        (6000.0, [("05.01", "R1", 1, 3), ("05.06", "R2", 1, 3)]),
        (
            5999.0,
            [
                ("04.30", "R1", 1, 1),
                ("05.01", "R1", 2, 3),
                ("05.05", "R2", 1, 1),
                ("05.06", "R2", 2, 3),
            ],
        ),
        (
            1.0,
            [
                *(("04.29", "R1", 1, 1), ("04.30", "R1", 2, 2), ("05.01", "R1", 3, 3)),
                *(("05.04", "R2", 1, 1), ("05.05", "R2", 2, 2), ("05.06", "R2", 3, 3)),
            ],
        ),
    ],
)
def test_pounds_a_day(pounds, days):
    """A bag of 40 units weighs 2,000 lb, the part bag of L2 500 but takes the place of a full one.

    6,000 lb hold all three of L1 on one day, 5,999 two; a bag always fits on a day of its own.
    """
    season = farm_with(hand_season(), bags_per_day=None, pounds_per_day=pounds)
    assert on_days(make_campaign(season, hand_plan())) == days


def test_hours_a_day_hold_seed_and_changes():
    """300 lb/min: three bags of L1 take 20 minutes, Alpha in 20, calibration 10: 50 in all.

    50 minutes hold them, 49 do not.
    """
    season = farm_with(hand_season(), bags_per_day=None)
    for minutes, days in ((50.0, 1), (49.0, 2)):
        made = make_campaign(farm_with(season, hours_per_day=minutes / 60.0), hand_plan())
        assert len({r.day for r in made.calendar.runs if r.lot == "L1"}) == days


def test_no_capacity_is_said():
    season = farm_with(hand_season(), bags_per_day=None)
    told = make_campaign(season, hand_plan()).notes
    assert any("gets through in a day is not given (Pounds per day" in n for n in told)
    hours = farm_with(season, hours_per_day=4.0)
    assert not any("is not given (Pounds" in n for n in make_campaign(hours, hand_plan()).notes)


def test_bags_of_one_unit_beside_boxes_are_one_batch():
    """L2 in bags of one unit: three bags a day would take 30 days, as one batch it is one."""
    season, plan = hand_season(), hand_plan()
    small = replace(season.lots[1], units_per_bag=1.0)
    plan = replace(plan, treating=(plan.treating[0], Treating("L2", "R2", 90, 0, 90.0)))
    made = make_campaign(replace(season, lots=(season.lots[0], small)), plan)
    assert on_days(made) == [("05.01", "R1", 1, 3), ("05.06", "R2", 1, 90)]
    alone = replace(plan, treating=plan.treating[1:], planting=plan.planting[1:], products=())
    uses = hand_plan().products
    needs = (replace(uses[0], need=199.0, left=293.0), uses[1])
    alone = replace(alone, products=needs)
    made = make_campaign(replace(season, lots=(season.lots[0], small)), alone)
    assert len({r.day for r in made.calendar.runs}) == 30, "no larger bags: each one counts"


# --- recipes cut where dates want it -----------------------------------------------------------


def far_season(*, within, stock=100.0):
    """Two bags of L1 under R1 for North (5 May), the third for Far, planted on 10 June.

    Without a cut all of R1 runs on 1 May, which is 40 days before 10 June.
    """
    season, plan = hand_season(), hand_plan()
    far = Field("Far", 40.0, SeedingRate(140_000.0), planting_date=date(2027, 6, 10))
    north = replace(plan.planting[0], acres=80.0, units=80.0)
    alpha = replace(season.products[0], on_hand=stock)
    use = replace(plan.products[0], on_hand=stock, left=stock - 69.0)
    season = replace(
        farm_with(season, treat_within=within),
        fields=(*season.fields, far),
        products=(alpha, season.products[1]),
    )
    plan = replace(
        plan,
        planting=(north, plan.planting[1], Planting("Far", "L1", "R1", 40.0, 40.0)),
        products=(use, plan.products[1]),
    )
    return season, plan


def test_a_recipe_is_run_in_one_go_where_its_fields_are_planted_near_enough():
    made = make_campaign(*far_season(within=40.0))
    assert on_days(made) == [("05.01", "R1", 1, 3), ("05.06", "R2", 1, 3)]
    assert (made.calendar.early, made.drawdown.flushes) == (0, ())


def test_a_recipe_is_taken_up_again_for_a_field_planted_much_later():
    """Far's bag is due on 8 June; two days kept free: 6 June.

    Alpha (10 fl oz, a jug of 200 for 90) is flushed once more: 10 x 0.45 = 4.50; 31 are left.
    Between, Beta goes out and Alpha stays: no minutes for R1, but L1 is calibrated once more (10).
    """
    made = make_campaign(*far_season(within=39.0))
    assert on_days(made) == [("05.01", "R1", 1, 2), ("05.06", "R2", 1, 3), ("06.06", "R1", 3, 3)]
    (flush,) = made.drawdown.flushes
    assert (flush.product, flush.times, flush.missing) == ("Alpha", 1, 0.0)
    assert (flush.more, flush.there, flush.money) == pytest.approx((10.0, 31.0, 4.5))
    told = next(n for n in made.notes if n.startswith("Alpha is flushed once more"))
    assert "counts on, as a recipe is run again: 10.0 fl oz, $4" in told
    assert "the 31.0 fl oz left over by the plan cover it" in told
    assert made.order.minutes - made.order.least_minutes == 10.0
    assert any(n.startswith("Treating in this order adds 10 minutes") for n in made.notes)
    left = next(u for u in made.drawdown.containers if u.product == "Alpha" and not u.dry)
    assert left.left == pytest.approx(21.0)


def test_no_recipe_is_cut_for_the_days_to_planting_where_product_would_run_short():
    """75 fl oz on hand: 461 needed of 467, so 6 are left and another 10 for the line are not.

    The third bag of R1, for Far, is treated on 1 May with the two for North: 40 days before.
    """
    made = make_campaign(*far_season(within=39.0, stock=75.0))
    bags = [("05.01", "R1", 1, 2), ("05.01", "R1", 3, 3), ("05.06", "R2", 1, 3)]
    assert on_days(made) == bags
    assert [r.early for r in made.calendar.runs] == [False, True, False]
    assert made.calendar.early == 1
    assert any("1 bag is treated more than 39 days before" in n for n in made.notes)


def test_what_the_line_takes_and_is_not_there_is_missing():
    """R1, R2 and R1 again, done so: 10 fl oz more for the line with 6 left, 4 are missing."""
    made = make_campaign(*far_season(within=60.0, stock=75.0))
    done = [Done("L1", "R1", 1, date(2027, 4, 21)), Done("L2", "R2", 3, date(2027, 4, 30))]
    later = update(made, done)
    (flush,) = later.drawdown.flushes
    assert flush.missing == pytest.approx(4.0)
    assert any("so 4.0 fl oz are missing" in n for n in later.notes)


def test_the_order_of_the_plan_is_kept_where_days_allow_it():
    """Lines of AB, BC, CA. Planned X - Y - Z: A twice, B and C once; one bag a day.

    Due X, Y, Z on days 3, 4, 5: kept. Z due on day 0: it goes first, C - A - B ... C: C once more.
    """
    shop = Shop(FIRST, cure_days=1, bags_per_day=1, stays_primed=True)
    lines = {"X": "AB", "Y": "BC", "Z": "CA"}
    stock = [replace(supply(p, 2.0), planned_loss=4.0 if p == "A" else 2.0) for p in "ABC"]

    def planned(days):
        made = [
            batch(f"L{n}", n, lines[n], [(1, day + 1, None, day)])
            for n, day in zip("XYZ", days, strict=True)
        ]
        return schedule(made, Work(made, stock, shop), planned=("X", "Y", "Z"))

    kept = planned((3, 4, 5))
    assert ([b.recipe for b in kept.order], kept.facts.kept) == (["X", "Y", "Z"], True)
    moved = planned((3, 4, 0))
    assert ([b.recipe for b in moved.order], moved.facts.kept) == (["Z", "X", "Y"], False)


def test_the_order_that_the_plan_decided_on_is_the_shops():
    """Line stays primed: Alpha is on it for R1 and R2, so 10 fl oz once: 451 of 492, 41 left.

    R2 first: it may be treated from 30 April (Beta lives 10 days, South is on 10 May), R1 is to be
    done by 1 May with its spare days; three bags a day. As soon as R1 is due on 30 April, not.
    """
    season, plan = farm_with(hand_season(), line_stays_primed=True), hand_plan()
    alpha = replace(plan.products[0], need=451.0, left=41.0)
    plan = replace(plan, products=(alpha, plan.products[1]), run_order=("R2", "R1"))
    made = make_campaign(season, plan)
    assert on_days(made) == [("04.30", "R2", 1, 3), ("05.01", "R1", 1, 3)]
    assert (made.order.kept, made.drawdown.flushes) == (True, ())
    used = sum(u.drawn for u in made.drawdown.containers if u.product == "Alpha")
    assert used == pytest.approx(451.0)
    north = replace(season.fields[0], planting_date=date(2027, 5, 1))
    early = make_campaign(replace(season, fields=(north, season.fields[1])), plan)
    assert on_days(early) == [("04.27", "R1", 1, 3), ("05.06", "R2", 1, 3)]
    assert early.order.kept is False
    (said,) = (n for n in early.notes if "Days do not allow the order of recipes" in n)
    assert early.drawdown.flushes == ()
    assert said.endswith(": that of the calendar flushes no more.")


# --- asked for in time -------------------------------------------------------------------------


def test_approval_comes_before_what_is_bought_for_a_recipe():
    """Beta for R2 is ordered from Elm by 15 March; R1 has no order day and runs on 1 May."""
    season = hand_season()
    open_ = replace(season.recipes[1], approved_by=None, approved_on=None)
    made = make_campaign(replace(season, recipes=(season.recipes[0], open_)), hand_plan())
    assert {c.recipe: c.needed_by for c in made.cards} == {
        "R1": date(2027, 5, 1),
        "R2": date(2027, 3, 15),
    }
    event = next(e for e in made.events if e.key == "approve|R2")
    assert (event.day, event.text) == (
        date(2027, 3, 14),
        "R2: Beta must be ordered by Mon 3/15/2027",
    )
    later = replace(season, suppliers=(Supplier("Elm", order_by=date(2027, 6, 1)),))
    made = make_campaign(later, hand_plan())
    assert {c.recipe: c.needed_by for c in made.cards}["R2"] == date(2027, 5, 6)


def test_approval_is_not_asked_for_on_days_that_are_past():
    """R1 runs on 1 May, R2 on 6 May; Elm's day to order Beta for R2 was 15 March.

    Two of three bags of R1 done on 1 May: its next bag asks. All three done: none is left to ask.
    """
    made = make_campaign(*_nobody_signed())
    part = update(made, [Done("L1", "R1", 2, date(2027, 5, 1))])
    r1, r2 = part.cards
    assert (r1.needed_by, r1.treated_from) == (date(2027, 5, 2), date(2027, 5, 1))
    assert (r2.needed_by, r2.treated_from) == (date(2027, 5, 6), None)
    told = " ".join(part.notes)
    assert "R1 (before Sun 5/2/2027, when its next bags are treated)" in told
    assert "R2 (before Thu 5/6/2027, when it is first treated)" in told
    whole = update(made, [Done("L1", "R1", 3, date(2027, 5, 1))])
    assert (whole.cards[0].needed_by, whole.cards[0].treated_from) == (None, date(2027, 5, 1))
    told = " ".join(whole.notes)
    assert "R1 (before" not in told
    assert "Treated without an approval on record: R1 (since Sat 5/1/2027)" in told
    assert not any("R1" in e.key for e in whole.events if e.key.startswith("approve"))


def test_bags_treated_before_the_plan_count_as_treated_without_approval():
    season, plan = _nobody_signed()
    before = TreatedSeed("L1", "R1", 40.0, on=date(2027, 4, 20))
    lots = (replace(season.lots[0], on_hand=160.0), *season.lots[1:])
    made = make_campaign(replace(season, treated=(before,), lots=lots), plan)
    told = " ".join(made.notes)
    assert "R1 (before Sat 5/1/2027, when its next bags are treated)" in told
    assert "Treated without an approval on record: R1 (since Tue 4/20/2027)" in told


def _nobody_signed():
    season = hand_season()
    recipes = tuple(replace(r, approved_by=None, approved_on=None) for r in season.recipes)
    return replace(season, recipes=recipes), hand_plan()


@pytest.mark.parametrize(
    ("tested", "recipe", "days", "send"),
    [
        (date(2026, 7, 3), "R1", 21.0, date(2027, 4, 10)),
        (date(2026, 7, 3), "R1", 30.0, date(2027, 4, 1)),
        (date(2026, 7, 3), UNTREATED, 21.0, date(2027, 4, 10)),
        (date(2026, 8, 3), "R1", 21.0, None),
    ],
)
def test_a_sample_goes_out_before_the_seed_is_treated(tested, recipe, days, send):
    """L1 of July 2026 is good through April 2027, of August through May; North is on 5 May.

    L1 is treated on 1 May: the sample goes out 21 days before, on 10 April. Where North's own seed
    stays untreated, the bags that are treated all the same come first, undated after R2's day.
    """
    season = farm_with(hand_season(), test_days=days)
    season = replace(season, lots=(replace(season.lots[0], test_date=tested), season.lots[1]))
    plan = hand_plan()
    if recipe == UNTREATED:
        half = replace(plan.planting[0], acres=50.0, units=50.0)
        plan = replace(plan, planting=(half, replace(half, recipe=recipe), plan.planting[1]))
    made = make_campaign(season, plan)
    assert [(r.lot, r.send_by) for r in made.retests] == ([("L1", send)] if send else [])
    assert any("Send a sample by" in n for n in made.notes) == bool(send)
    assert any(e.key == "sample|L1" and e.day == send for e in made.events) == bool(send)


def test_a_retest_names_the_first_planting_that_the_test_is_too_old_for():
    """L1 goes to North on 5 May and to East on 20 May; its test is good through April."""
    season, plan = hand_season(), hand_plan()
    north = season.fields[0]
    east = replace(north, name="East", planting_date=date(2027, 5, 20))
    lots = (replace(season.lots[0], test_date=date(2026, 7, 3)), season.lots[1])
    half = replace(plan.planting[0], acres=50.0, units=50.0)
    planting = (half, replace(half, field="East"), plan.planting[1])
    made = make_campaign(
        replace(season, fields=(*season.fields, east), lots=lots), replace(plan, planting=planting)
    )
    assert [(r.lot, r.planting) for r in made.retests] == [("L1", date(2027, 5, 5))]


def test_the_last_planting_day_bounds_what_lives_longer():
    """South's seed lives until 16 May, North's without end: planted by 12 May, both of them."""
    season = farm_with(hand_season(), last_planting_day=date(2027, 5, 12))
    made = make_campaign(season, hand_plan())
    assert {p.field: p.last for p in made.clock} == dict.fromkeys(
        ("North", "South"), date(2027, 5, 12)
    )
    south = next(p for p in made.clock if p.field == "South")
    assert south.inoculant_until == date(2027, 5, 16)
    last = next(e for e in made.events if e.title == "Last planting day")
    assert (last.day, last.text) == (date(2027, 5, 12), "North; South")


def test_order_and_pay_on_days_of_their_own():
    season = hand_season()
    elm = replace(season.suppliers[0], pay_by=date(2027, 4, 1))
    made = make_campaign(replace(season, suppliers=(elm,)), hand_plan())
    assert [(e.day, e.title) for e in made.deadlines] == [
        (date(2027, 3, 15), "Order by today: Elm"),
        (date(2027, 4, 1), "Pay by today: Elm"),
    ]


@pytest.mark.parametrize(
    ("day", "title", "remind"),
    [
        (date(2027, 3, 12), "Order and pay by today: Elm", (7, 1)),
        (
            date(2027, 3, 13),
            "Order and pay by today: Elm (a weekend: by the Friday before)",
            (7, 1),
        ),
        (
            date(2027, 3, 14),
            "Order and pay by today: Elm (a weekend: by the Friday before)",
            (7, 2),
        ),
    ],
    ids=["Friday", "Saturday", "Sunday"],
)
def test_a_last_day_on_a_weekend_reminds_on_friday(day, title, remind):
    season = hand_season()
    elm = replace(season.suppliers[0], order_by=day)
    (event,) = make_campaign(replace(season, suppliers=(elm,)), hand_plan()).deadlines
    assert (event.day, event.title, event.remind) == (day, title, remind)


def test_seed_is_ordered_and_paid_by_seller_and_day():
    """Elm is paid later than ordered; the lot's own day goes before Elm's; Oak is on no sheet."""
    season = hand_season()
    elm = replace(season.suppliers[0], order_by=date(2027, 3, 15), pay_by=date(2027, 4, 1))
    lots = (
        replace(season.lots[0], seller="Elm", order_by=date(2027, 2, 10)),
        replace(season.lots[1], seller="Oak", order_by=date(2027, 2, 20)),
    )
    bought = (SeedPurchase("L1", 1, 40.0, 100.0), SeedPurchase("L2", 2, 80.0, 200.0))
    season = replace(season, lots=lots, suppliers=(elm,))
    plan = replace(hand_plan(), order=(), seed_purchases=bought)
    assert [(e.day, e.title, e.text) for e in deadlines(season, plan)] == [
        (date(2027, 2, 10), "Order seed by today: Elm", "1 x 40 units of L1 (V18)"),
        (date(2027, 4, 1), "Pay seed by today: Elm", "1 x 40 units of L1 (V18)"),
        (
            date(2027, 2, 20),
            "Order and pay seed by today: Oak (a weekend: by the Friday before)",
            "2 x 40 units of L2 (V22)",
        ),
    ]
    no_days = replace(season, lots=hand_season().lots)
    assert deadlines(no_days, plan) == ()


# --- the audit of days -------------------------------------------------------------------------


@pytest.fixture(scope="module")
def cut():
    season = farm_with(far_season(within=39.0)[0], pounds_per_day=6000.0)
    season = replace(
        season, lots=(replace(season.lots[0], test_date=date(2026, 7, 3)), season.lots[1])
    )
    return make_campaign(season, far_season(within=39.0)[1])


def first_day_changed(campaign, **changes):
    first, *rest = campaign.calendar.days
    days = (replace(first, **changes), *rest)
    return replace(campaign, calendar=replace(campaign.calendar, days=days))


def shop_changed(campaign, **changes):
    return replace(campaign, shop=replace(campaign.shop, **changes))


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda c: shop_changed(c, pounds_per_day=3999.0), "4000 lb on 2027-05-01"),
        (lambda c: shop_changed(c, minutes_per_day=40.0), "minutes on 2027-05-01"),
        (lambda c: shop_changed(c, bags_per_day=1), "2 bags on 2027-05-01"),
        (lambda c: shop_changed(c, treat_within=3), "days to planting are reported wrong"),
        (lambda c: first_day_changed(c, free=1.0), "units free after 2027-05-01"),
        (lambda c: first_day_changed(c, spare=3), "cannot slip 3 days"),
        (lambda c: replace(c, drawdown=replace(c.drawdown, flushes=())), "more flushed"),
        (
            lambda c: replace(
                c, drawdown=replace(c.drawdown, flushes=(Flush("Alpha", 1, 10.0, 99.0, 4.5),))
            ),
            "what covers its flushes",
        ),
        (lambda c: replace(c, retests=()), "no new one is asked for"),
        (
            lambda c: replace(
                c,
                retests=(replace(c.retests[0], send_by=c.retests[0].send_by + timedelta(1)),),
            ),
            "too late",
        ),
        (
            lambda c: replace(c, cards=(replace(c.cards[0], needed_by=None), c.cards[1])),
            "approval is asked for",
        ),
        (
            lambda c: replace(c, order=replace(c.order, kept=True), planned_order=("R1", "R2")),
            "recipes run as",
        ),
    ],
)
def test_a_wrong_day_does_not_pass(cut, change, words):
    check(cut)
    with pytest.raises(AuditError, match=words):
        check(change(cut))

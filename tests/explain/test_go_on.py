"""Going on in mid-season: what a campaign reports done, what it took, what is paid for."""

import json
import re
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest

from planner import api
from planner.errors import InputError
from planner.explain.again import plan_again
from planner.explain.money import money_answer
from planner.optimize.options import SolveOptions
from planner.optimize.search.run import solve
from planner.plan.audit import audit
from planner.plan.plan import Plan
from planner.plan.still_in_line import still_in_line
from planner.report.campaign_files import update_campaign
from planner.report.container_frames import level_sheet
from planner.report.sheets import Text
from planner.season.domain import Brought, Done, OnItsWay, Season, TreatedSeed, WentBefore
from tests.support.seasons import container, farm, field, lot, product, recipe, season

DAY = date(2027, 4, 22)


def winter(**changes) -> Season:
    """240 acres from six bags of 40: at 2 fl oz a unit 480 fl oz and a line loss of 10.

    On hand are 100 fl oz; a jug of 320 holds 310 that can be used: two are bought, 230 are left.
    """
    return season(
        **{
            "farm": farm(),
            "fields": (field(acres=240.0),),
            "lots": (lot(on_hand=240.0, return_value=5.0),),
            "products": (product(on_hand=100.0, line_loss=10.0),),
            "containers": (container(size=320.0, heel=10.0, price=300.0, supplier="Elm"),),
            "recipes": (recipe(Alpha=2.0),),
            **changes,
        }
    )


def planned(whole: Season, folder: Path, since: Path | None = None) -> tuple[Season, Plan, Path]:
    """Plan a season and write its plan.json; with `since` as `wholedrum plan --since` does."""
    earlier = None
    if since is not None:
        whole, earlier, _ = api.bring_in(whole, since)
    plan = api.make_plan(whole, seconds=10)
    if earlier is not None:
        plan, _ = api.keep_near(whole, earlier, plan, seconds=10)
    api.write(plan, whole, folder, packs=())
    return whole, plan, folder / "plan.json"


def done(file: Path, bags: int, day: date = DAY) -> None:
    update_campaign(file, [f"L1:R1:{bags}:{day.isoformat()}"])


def bought(whole: Season, count: int = 2) -> Season:
    return replace(whole, ordered=(OnItsWay("Alpha", "jug", count),))


def test_bags_reported_done_reach_the_next_plan_with_what_they_took(tmp_path) -> None:
    """Two of six bags are done: 80 units and 80 x 2 + 10 = 170 fl oz, 100 of them off On hand.

    The other 70 come off one of the two jugs, so 240 of it are on hand and one jug is on its way.
    Four bags are left, 320 + 10 fl oz of 240 + 310.
    """
    _, old, file = planned(winter(), tmp_path / "old")
    assert [(t.full_bags, t.units) for t in old.treating] == [(6, 240.0)]
    done(file, 2)
    now, earlier, notes = api.bring_in(bought(winter()), file)
    assert now.treated == (TreatedSeed("L1", "R1", 80.0, on=DAY),)
    assert now.products[0].on_hand == pytest.approx(240.0)
    assert [o.count for o in now.ordered] == [1]
    assert "so counted as treated here: 80 units of L1 under R1" in notes[0]
    assert "took 170 fl oz of Alpha: taken off On hand" in notes[1]
    plan = api.make_plan(now, seconds=10)
    plan, again = api.keep_near(now, earlier, plan, seconds=10)
    assert [(t.full_bags, t.units) for t in plan.treating] == [(4, 160.0)]
    assert plan.order == ()
    (use,) = plan.products
    assert (use.need, use.on_hand, use.on_its_way) == pytest.approx((330.0, 240.0, 310.0))
    assert again.order[0].on_way == 2
    assert again.order[0].change == 0
    assert again.sentences[0].startswith("Nothing changes")


def test_what_is_paid_for_counts_as_spent(tmp_path) -> None:
    """As above, nothing but two bags done and the jugs paid: the season costs what it did.

    Only the line loss is taken twice, 10 fl oz, worth nothing here. Paid are two jugs at $300 and
    $5 for each of 80 units that can't go back any more.
    """
    _, _, file = planned(winter(), tmp_path / "old")
    done(file, 2)
    now, earlier, _ = api.bring_in(bought(winter()), file)
    _, again = api.keep_near(now, earlier, api.make_plan(now, seconds=10), seconds=10)
    assert (again.paid, again.given_up) == pytest.approx((600.0, 400.0))
    assert again.total + again.paid + again.given_up == pytest.approx(again.old_total)
    assert "and the order stands." in again.sentences[0]
    assert "less than in the old plan" not in again.sentences[0]
    assert "more than in the old plan" not in again.sentences[0]


def test_a_part_of_the_order_is_paid_at_its_own_price(tmp_path) -> None:
    """One jug at $300 is paid; two would have been $280 each."""
    jugs = (container(size=320.0, heel=10.0, breaks=((1, 300.0), (2, 280.0)), supplier="Elm"),)
    _, old, file = planned(winter(containers=jugs), tmp_path / "old")
    assert old.cost.containers == pytest.approx(560.0)
    now, earlier, _ = api.bring_in(bought(winter(containers=jugs), 1), file)
    _, again = api.keep_near(now, earlier, api.make_plan(now, seconds=10), seconds=10)
    assert again.paid == pytest.approx(300.0)
    assert again.total + again.paid - again.old_total == pytest.approx(40.0)
    said = again.sentences[0]
    assert (
        "what of the order is not bought yet is still to be bought. To be paid now: $300." in said
    )
    assert said.endswith("costs $40.00 more than in the old plan, $300 already paid counted in.")


def test_fewer_than_the_lowest_from_count_are_paid_at_its_price(tmp_path) -> None:
    """Three jugs at $300 each at the least are ordered; one of them has come."""
    jugs = (container(size=320.0, heel=10.0, breaks=((3, 300.0), (5, 280.0)), supplier="Elm"),)
    _, old, file = planned(winter(containers=jugs), tmp_path / "old")
    assert [o.count for o in old.order] == [3]
    now, earlier, _ = api.bring_in(bought(winter(containers=jugs), 1), file)
    _, again = api.keep_near(now, earlier, api.make_plan(now, seconds=10), seconds=10)
    assert again.paid == pytest.approx(300.0)


def test_what_was_paid_before_is_not_in_the_most_to_spend(tmp_path) -> None:
    """One of two jugs is paid, one is to buy; a bag of 40 at $5 is done, which nobody pays."""
    _, _, file = planned(winter(farm=farm(most_to_spend=900.0)), tmp_path / "old")
    done(file, 1)
    now, earlier, _ = api.bring_in(bought(winter(farm=farm(most_to_spend=900.0)), 1), file)
    plan, again = api.keep_near(now, earlier, api.make_plan(now, seconds=10), seconds=10)
    assert (again.paid, again.given_up) == pytest.approx((300.0, 200.0))
    assert again.sentences[1].endswith(
        "Most to spend, $900, holds for what is bought from now on; the $300 paid since the old "
        "plan is not in it."
    )
    money = money_answer(plan, now, {})
    assert money.sentence.startswith("$300 of at most $900 is spent on what is bought from now on")


def test_a_field_that_only_stays_unplanted_changes_no_seed(tmp_path) -> None:
    """Of 240 acres, 40 have no seed any more: a bag got wet."""
    _, _, file = planned(winter(), tmp_path / "old")
    now, earlier, _ = api.bring_in(winter(lots=(lot(on_hand=200.0, return_value=5.0),)), file)
    _, again = api.keep_near(now, earlier, api.make_plan(now, seconds=10), seconds=10)
    assert again.sentences[0].startswith(
        "1 field stays unplanted, all or part (North), 40 acres in all; no plan moves fewer."
    )
    assert "less than in the old plan. 40 acres more stay unplanted." in again.sentences[0]
    assert again.more_short == pytest.approx(40.0)


def test_jugs_that_went_into_on_hand_were_bought(tmp_path) -> None:
    """On hand was counted when both jugs were there: 100 + 620 fl oz, none on its way."""
    _, _, file = planned(winter(), tmp_path / "old")
    now, earlier, _ = api.bring_in(winter(products=(product(on_hand=720.0, line_loss=10.0),)), file)
    _, again = api.keep_near(now, earlier, api.make_plan(now, seconds=10), seconds=10)
    assert (again.order[0].on_way, again.order[0].change) == (2, 0)
    assert again.paid == pytest.approx(600.0)


def test_bags_typed_as_well_count_once(tmp_path) -> None:
    """Two bags are reported and typed, and a third one typed only."""
    _, _, file = planned(winter(), tmp_path / "old")
    done(file, 2)
    typed = replace(bought(winter()), treated=(TreatedSeed("L1", "R1", 80.0),))
    now, _, _ = api.bring_in(typed, file)
    assert now.treated == typed.treated
    three = replace(typed, treated=(TreatedSeed("L1", "R1", 120.0),))
    now, _, notes = api.bring_in(three, file)
    assert now.treated == three.treated
    assert now.products[0].on_hand == pytest.approx(240.0)
    (note,) = [n for n in notes if n.startswith("Treated so far")]
    assert "40 units of L1 under R1 more than the old plan knew" in note
    assert "about 90 fl oz of Alpha" in note


def test_treated_so_far_without_a_change_of_stock_is_pointed_out(tmp_path) -> None:
    """40 units took 80 fl oz and a line loss of 10; not so where On hand was counted again."""
    _, _, file = planned(winter(), tmp_path / "old")
    typed = replace(bought(winter()), treated=(TreatedSeed("L1", "R1", 40.0),))
    now, _, notes = api.bring_in(typed, file)
    assert now == typed
    assert len(notes) == 1
    assert "They took about 90 fl oz of Alpha" in notes[0]
    counted = replace(typed, products=(product(on_hand=10.0, line_loss=10.0),))
    assert api.bring_in(counted, file)[2] == ()


def test_stock_counted_again_is_left_as_it_was_counted(tmp_path) -> None:
    _, _, file = planned(winter(), tmp_path / "old")
    done(file, 2)
    counted = replace(bought(winter(), 1), products=(product(on_hand=235.0, line_loss=10.0),))
    now, _, notes = api.bring_in(counted, file)
    assert now.products == counted.products
    assert now.ordered == counted.ordered
    assert sum(t.units for t in now.treated) == 80.0
    assert "took 170 fl oz of Alpha." in notes[1]
    assert "taken as measured after them" in notes[1]


def test_the_season_that_a_plan_was_made_for_has_what_was_done_by_then(tmp_path) -> None:
    """Two bags before the second plan, one after it: its season has two, and 170 fl oz less."""
    whole = bought(winter())
    _, _, first = planned(winter(), tmp_path / "one")
    done(first, 2)
    now, plan, second = planned(whole, tmp_path / "two", since=first)
    done(second, 1, date(2027, 4, 24))
    made_for = api.season_planned(whole, second)
    assert (made_for.treated, made_for.products, made_for.ordered) == (
        now.treated,
        now.products,
        now.ordered,
    )
    audit(plan, made_for)
    assert api.season_planned(winter(), first) == winter()


def test_what_was_reported_stays_reported_from_plan_to_plan(tmp_path) -> None:
    """Two bags in the first plan, one in the second: the third knows of all three, once.

    Taken are 170 and then 80 + 10 fl oz, a line loss for each plan's own run.
    """
    whole = bought(winter())
    _, _, first = planned(winter(), tmp_path / "one")
    done(first, 2)
    _, plan, second = planned(whole, tmp_path / "two", since=first)
    assert sum(t.full_bags for t in plan.treating) == 4
    done(second, 1, date(2027, 4, 24))
    now, _, _ = api.bring_in(whole, second)
    assert [(t.units, t.on) for t in now.treated] == [(80.0, DAY), (40.0, date(2027, 4, 24))]
    use = now.products[0].on_hand + sum(o.count * 310.0 for o in now.ordered)
    assert use == pytest.approx(100.0 + 620.0 - 170.0 - 90.0)
    _, plan, third = planned(whole, tmp_path / "three", since=second)
    assert sum(t.full_bags for t in plan.treating) == 3
    again, _, _ = api.bring_in(whole, third)
    assert sum(t.units for t in again.treated) == 120.0


def test_a_line_that_is_primed_again_within_a_recipe_is_told(tmp_path) -> None:
    """Two of six bags are done when the season is planned again: 10 fl oz are counted once more.

    Four bags take 320 + 10 fl oz; 185 + 310 - 170 = 325 are there, so a jug is bought for 5 of
    the 10. Cost and levels say so (derived).
    """
    whole = bought(winter(products=(product(on_hand=185.0, line_loss=10.0),)), 1)
    _, plan, first = planned(whole, tmp_path / "one")
    assert not any("priming" in text for text in plan.warnings)
    done(first, 2)
    now, plan, _ = planned(whole, tmp_path / "two", since=first)
    assert [o.count for o in plan.order] == [1]
    (told,) = [text for text in plan.warnings if "priming" in text]
    assert told == (
        "R1 was treated last, on 4/22/2027. In case the line was emptied since, the plan counts "
        "priming it for R1 again: 10.0 fl oz of Alpha, worth $9.38. If the line still "
        "holds that, treat R1 first: that much more is left, and 1 x jug of Alpha need "
        "not be bought."
    )
    campaign = api.make_campaign(now, plan)
    assert [s.in_line for s in campaign.supplies] == [10.0]
    notes = level_sheet(campaign).blocks[1]
    assert isinstance(notes, Text)
    assert notes.paragraphs[1].endswith(
        "If so, more is left than both levels say: 10 fl oz of Alpha."
    )


@pytest.mark.parametrize(
    ("stays_primed", "last", "again"),
    [
        (True, "A", {"Alpha": 10.0}),  # the next recipe takes what it shares with the last one
        (True, "AB", {"Alpha": 10.0, "Beta": 20.0}),
        (False, "A", None),  # another recipe: a line that is emptied between them
        (False, "AB", {"Alpha": 10.0, "Beta": 20.0}),
        (True, "gone", None),
    ],
)
def test_the_line_may_hold_what_the_next_recipe_shares(stays_primed, last, again) -> None:
    """Recipe AB is still to treat, A or AB was treated last."""
    now = winter(
        farm=farm(line_stays_primed=stays_primed),
        products=(product(line_loss=10.0), product("Beta", line_loss=20.0)),
        containers=(container(), container("Beta")),
        recipes=(recipe("A", Alpha=2.0), recipe("AB", Alpha=2.0, Beta=2.0)),
        fields=(field(acres=240.0, only_recipes=frozenset({"AB"})),),
    )
    log = (Done("L1", "A", 1, DAY - timedelta(1)), Done("L1", last, 1, DAY))
    brought = Brought(now, (), {}, WentBefore(log))
    plan = api.make_plan(now, seconds=10)
    found = still_in_line(replace(now, brought=brought), plan)
    assert (found and found.floz) == again


def test_a_log_goes_on_from_plan_to_plan(tmp_path) -> None:
    """Two bags of six are reported before planning again, and stand in the same log after it."""
    _, _, file = planned(winter(), tmp_path / "old")
    log = tmp_path / "log.csv"
    log.write_text("Lot,Recipe,Bags,Day\nL1,R1,2,\n", "utf-8")
    update_campaign(file, log=log)
    _, _, second = planned(bought(winter()), tmp_path / "new", since=file)
    log.write_text("Lot,Recipe,Bags,Day\nL1,R1,2,\nL1,R1,1,4/23/2027\n", "utf-8")
    campaign, _, (said,) = update_campaign(second, log=log)
    assert [(d.bags, d.on) for d in campaign.done] == [(1, date(2027, 4, 23))]
    assert said == "1 row of log.csv was counted before and is skipped (row 2)."
    (batch,) = campaign.batches
    assert batch.bags == 4
    done(second, 3)
    _, plan, third = planned(bought(winter()), tmp_path / "third", since=second)
    assert plan.treating == ()
    more = winter(fields=(field(acres=280.0),), lots=(lot(on_hand=280.0),))
    _, _, fourth = planned(bought(more), tmp_path / "fourth", since=third)
    campaign, _, (said, lacking) = update_campaign(fourth, log=log)
    assert campaign.done == (), "the log is known still, though nothing was left to treat between"
    assert "2 rows of log.csv were counted before" in said
    assert "made with bags that are not in log.csv: 3 bags of L1 with R1" in lacking


def test_nothing_is_planned_on_days_that_have_passed(tmp_path) -> None:
    """First treating day is still that of the winter, 1 April; work was reported on the 22nd."""
    early = farm(first_treating_day=date(2027, 4, 1), plan_date=date(2027, 1, 15))
    soon = (field(acres=240.0, planting_date=date(2027, 4, 20)),)
    one = winter(farm=early, fields=soon)
    whole, plan, file = planned(one, tmp_path / "old")
    assert api.make_campaign(whole, plan).calendar.runs[0].day < DAY
    done(file, 2)
    now = planned(bought(one), tmp_path / "new", since=file)
    assert min(r.day for r in api.make_campaign(*now[:2]).calendar.runs) > DAY
    dated = replace(one, farm=replace(early, plan_date=date(2027, 4, 25)))
    later = api.make_campaign(*planned(dated, tmp_path / "third")[:2])
    assert min(r.day for r in later.calendar.runs) >= date(2027, 4, 25)


def test_days_of_a_farm_without_a_name_stay_the_same_days(tmp_path) -> None:
    """Its field is called otherwise in the plan that goes on from the first or replaces it."""
    nameless = winter(farm=farm(name=""))
    before = api.make_campaign(*planned(nameless, tmp_path / "old")[:2])
    now = replace(nameless, fields=(field("Long Forty", acres=240.0),))
    file = tmp_path / "old" / "plan.json"
    after = api.make_campaign(*planned(now, tmp_path / "new", since=file)[:2])
    assert before.shop.apart == after.shop.apart != ""
    days = file.with_name("plan.ics")
    uids = re.findall(rb"UID:.*", days.read_bytes())
    planned(now, tmp_path / "old")
    assert re.findall(rb"UID:.*", days.read_bytes()) == uids != []


def test_what_is_missing_for_the_bags_done_is_said(tmp_path) -> None:
    """Nothing is on Ordered so far, but two bags took 170 of 100 fl oz on hand."""
    _, _, file = planned(winter(), tmp_path / "old")
    done(file, 2)
    now, _, notes = api.bring_in(winter(), file)
    assert now.products[0].on_hand == 0.0
    assert "hold too little by 70 fl oz of Alpha: add what was bought to Ordered so far" in notes[1]


def test_seed_bought_already_and_seed_still_to_buy(tmp_path) -> None:
    """240 acres from 160 units on hand: two bags are bought. One comes, then 40 acres more.

    So one bag was bought already and two are to buy: one of the old plan, one new.
    """
    lots = (lot(on_hand=160.0, can_buy=160.0, buy_price=50.0, return_value=5.0),)
    _, old, file = planned(winter(lots=lots), tmp_path / "old")
    assert [s.bags for s in old.seed_purchases] == [2]
    here = (replace(lots[0], on_hand=200.0, can_buy=120.0),)
    fields = (field(acres=240.0), field("Forty", acres=40.0))
    now, earlier, _ = api.bring_in(winter(lots=here, fields=fields), file)
    _, again = api.keep_near(now, earlier, api.make_plan(now, seconds=10), seconds=10)
    (line,) = again.seed
    assert (line.old, line.bought, line.now, line.change) == (2, 1, 2, 1)
    assert "2 bags of L1 more (1 bought already)" in again.sentences[1]
    assert "+1 bag of L1" in again.sentences[0]
    assert (again.paid, again.given_up) == pytest.approx((40 * 50.0, -40 * 5.0))
    assert (
        "$2,000 already paid and $200 that seed bought since would bring back" in again.sentences[0]
    )


def test_bags_done_of_seed_bought_are_on_hand(tmp_path) -> None:
    """Six bags done though Units on hand says four: the two of the old plan were bought."""
    lots = (lot(on_hand=160.0, can_buy=80.0, buy_price=50.0),)
    _, _, file = planned(winter(lots=lots), tmp_path / "old")
    done(file, 6)
    now, _, notes = api.bring_in(bought(winter(lots=lots)), file)
    assert (now.lots[0].on_hand, now.lots[0].can_buy) == (240.0, 0.0)
    assert any("that the old plan bought are counted as on hand" in note for note in notes)
    plan = api.make_plan(now, seconds=10)
    assert (plan.treating, plan.seed_purchases) == ((), ())


def test_reports_about_seed_that_is_gone_are_not_counted(tmp_path) -> None:
    _, _, file = planned(winter(), tmp_path / "old")
    done(file, 2)
    gone = winter(lots=(lot("L9", on_hand=240.0),))
    now, _, notes = api.bring_in(bought(gone), file)
    assert now.treated == ()
    assert "has no such lot any more" in notes[0]
    less = winter(lots=(lot(on_hand=40.0),))
    now, _, notes = api.bring_in(bought(less), file)
    assert [t.units for t in now.treated] == [40.0]
    assert any("leaves only 40 units for them" in note for note in notes)


def test_stock_that_expired_is_not_what_the_bags_took(tmp_path) -> None:
    """100 fl oz expired in winter: the 170 came off the first jug, 140 of it are on hand."""
    old_stock = product(on_hand=100.0, line_loss=10.0, expires=date(2027, 1, 1))
    _, _, file = planned(winter(products=(old_stock,)), tmp_path / "old")
    done(file, 2)
    now, _, _ = api.bring_in(bought(winter(products=(old_stock,))), file)
    assert (now.products[0].on_hand, now.products[0].expires) == (pytest.approx(140.0), None)
    assert [o.count for o in now.ordered] == [1]


@pytest.mark.parametrize("held", [310.0, 320.0])
def test_jugs_that_went_whole_into_on_hand_came_before_the_bags_took_of_them(
    tmp_path, held: float
) -> None:
    """On hand has grown by two jugs, usable or full: nobody measured it after the two bags."""
    _, _, file = planned(winter(), tmp_path / "old")
    done(file, 2)
    there = winter(products=(product(on_hand=100.0 + 2.0 * held, line_loss=10.0),))
    now, earlier, notes = api.bring_in(there, file)
    assert now.products[0].on_hand == pytest.approx(100.0 + 2.0 * held - 170.0)
    assert "took 170 fl oz of Alpha: taken off On hand" in notes[1]
    _, again = api.keep_near(now, earlier, api.make_plan(now, seconds=10), seconds=10)
    assert again.paid == pytest.approx(600.0)
    assert again.order[0].on_way == 2


def test_one_jug_that_came_is_not_two_by_what_bags_took(tmp_path) -> None:
    """Of two jugs one came and went into On hand; the 250 fl oz taken don't make it two."""
    _, _, file = planned(winter(), tmp_path / "old")
    done(file, 3)
    there = winter(products=(product(on_hand=410.0, line_loss=10.0),))
    now, earlier, _ = api.bring_in(there, file)
    assert now.products[0].on_hand == pytest.approx(160.0)
    _, again = api.keep_near(now, earlier, api.make_plan(now, seconds=10), seconds=10)
    assert again.paid == pytest.approx(300.0)


def test_jugs_that_did_not_come_were_not_used_up(tmp_path) -> None:
    """Two were on their way, one never came: 310 fl oz less, of which no bag took any.

    Of the other one and the 100 on hand the two bags took 170.
    """
    _, _, file = planned(bought(winter()), tmp_path / "old")
    done(file, 2)
    now, _, notes = api.bring_in(bought(winter(), 1), file)
    assert now.products[0].on_hand == pytest.approx(240.0)
    assert now.ordered == ()
    assert "taken off On hand" in notes[1]


def test_stock_that_was_good_when_bags_took_it_is_what_they_took(tmp_path) -> None:
    """It expired on the 23rd, after the two bags; they took all 100 of it and 70 of a jug."""
    aging = product(on_hand=100.0, line_loss=10.0, expires=date(2027, 4, 23))
    _, _, file = planned(winter(products=(aging,)), tmp_path / "old")
    done(file, 2)
    later = farm(first_treating_day=date(2027, 4, 25), plan_date=date(2027, 4, 24))
    now, _, _ = api.bring_in(bought(winter(products=(aging,), farm=later)), file)
    assert (now.products[0].on_hand, now.products[0].expires) == (pytest.approx(240.0), None)
    assert [o.count for o in now.ordered] == [1]


def test_what_could_not_be_counted_is_not_forgotten(tmp_path) -> None:
    """A plan is made while the lot has another name, and one while it holds too little."""
    _, _, file = planned(winter(), tmp_path / "old")
    done(file, 2)
    other = bought(winter(lots=(lot("L9", on_hand=240.0),)))
    _, _, second = planned(other, tmp_path / "second", since=file)
    less = bought(winter(lots=(lot(on_hand=40.0),)))
    now, _, _ = api.bring_in(less, second)
    assert [t.units for t in now.treated] == [40.0]
    _, _, third = planned(less, tmp_path / "third", since=second)
    now, _, _ = api.bring_in(bought(winter()), third)
    assert sum(t.units for t in now.treated) == 80.0
    assert {t.on for t in now.treated} == {DAY}


def test_a_recipe_that_changed_after_bags_were_treated_is_pointed_out(tmp_path) -> None:
    """Not so where the seed turned out heavier: rates by weight then put on more."""
    _, _, file = planned(winter(), tmp_path / "old")
    done(file, 2)
    _, _, notes = api.bring_in(bought(winter(recipes=(recipe(Alpha=3.0),))), file)
    assert any(n.startswith("Recipe R1 has changed since bags were treated with it") for n in notes)
    heavier = winter(lots=(lot(on_hand=240.0, seeds_per_lb=2_500.0),))
    _, _, notes = api.bring_in(bought(heavier), file)
    assert not any("has changed since bags" in n for n in notes)


def test_a_plan_date_before_what_is_done_is_pointed_out(tmp_path) -> None:
    """Else days to order that are past are told as if they were to come."""
    winter_day = farm(plan_date=date(2026, 12, 1), first_treating_day=date(2027, 4, 1))
    _, _, file = planned(winter(farm=winter_day), tmp_path / "old")
    done(file, 2)
    _, _, notes = api.bring_in(bought(winter(farm=winter_day)), file)
    assert notes[-1].startswith("Plan date is 12/1/2026, but bags were treated on 4/22/2027")
    today = replace(winter_day, plan_date=date(2027, 4, 23))
    _, _, notes = api.bring_in(bought(winter(farm=today)), file)
    assert not any("Plan date" in n for n in notes)


def test_a_plan_of_other_fields_is_asked_about(tmp_path) -> None:
    """Continued from by mistake: none of its fields is in the season."""
    _, _, file = planned(winter(), tmp_path / "old")
    words = "Is the old plan one of this farm? None of its fields is in this season."
    _, _, notes = api.bring_in(winter(fields=(field("Elsewhere"),)), file)
    assert words in notes
    _, _, notes = api.bring_in(winter(fields=(field(), field("Elsewhere"))), file)
    assert words not in notes


def test_a_plan_json_from_before_tells_less_but_does(tmp_path) -> None:
    """Without what the sheets said, On hand is what the plan counted."""
    _, _, file = planned(winter(), tmp_path / "old")
    done(file, 2)
    data = json.loads(file.read_text("utf-8"))
    del data["for_planning_again"]
    file.write_text(json.dumps(data), "utf-8")
    now, _, _ = api.bring_in(bought(winter()), file)
    assert now.products[0].on_hand == pytest.approx(240.0)


def test_a_calendar_goes_on_counting_where_nothing_was_done_between(tmp_path) -> None:
    """A calendar program ignores events with a lower SEQUENCE than it knows (RFC 5545, 3.8.7.4)."""
    _, _, file = planned(winter(), tmp_path / "old")
    done(file, 2)
    counts = []
    for n in range(3):
        whole, plan, file = planned(bought(winter()), tmp_path / f"{n}", since=file)
        counts.append(api.make_campaign(whole, plan).revision)
    assert counts == [2, 3, 4]


def test_a_campaign_of_which_nothing_is_done_is_not_read(tmp_path) -> None:
    """So a plan.json of another version of the calendar will do."""
    _, _, file = planned(winter(), tmp_path / "old")
    data = json.loads(file.read_text("utf-8"))
    data["campaign"]["calendar"] = {}
    file.write_text(json.dumps(data), "utf-8")
    now, _, notes = api.bring_in(bought(winter()), file)
    assert (now.treated, notes) == ((), ())
    data["campaign"]["done"] = [{"lot": "L1", "recipe": "R1", "bags": 2, "on": "2027-04-22"}]
    file.write_text(json.dumps(data), "utf-8")
    with pytest.raises(InputError, match="make the plan again"):
        api.bring_in(bought(winter()), file)


@pytest.mark.slow
@pytest.mark.parametrize(
    "broken",
    [
        {"sheets": {}},
        [],
        "text",
        {"seed": [{"lot": "L1", "units": -1.0}]},
        {"seed": [{"lot": "L1", "units": float("nan")}]},
        {"on_hand": [{"product": "Alpha"}]},
        {"ordered": [{"product": "Alpha", "container": "jug", "count": 10**400}]},
    ],
)
def test_a_broken_plan_json_is_a_fault(tmp_path, broken) -> None:
    _, _, file = planned(winter(), tmp_path / "old")
    data = json.loads(file.read_text("utf-8"))
    if isinstance(broken, dict) and "sheets" not in broken:
        data["for_planning_again"]["sheets"].update(broken)
    else:
        data["for_planning_again"] = broken
    file.write_text(json.dumps(data), "utf-8")
    with pytest.raises(InputError, match="for_planning_again"):
        api.bring_in(bought(winter()), file)


def test_planning_again_of_what_was_brought_in_is_audited() -> None:
    """What is left to do of the old plan, without what was done since, is a plan of the rest."""
    whole = winter()
    old = solve(whole, SolveOptions(10.0))
    rest = replace(bought(whole), treated=(TreatedSeed("L1", "R1", 80.0),))
    plan, again = plan_again(rest, old, solve(rest, SolveOptions(10.0)))
    audit(plan, rest)
    assert again.moved == 0.0

"""A campaign worked by hand, and how it is brought up to date. The working stands in each test."""

import json
from dataclasses import replace
from datetime import date, datetime

import openpyxl
import pytest

from planner.campaign.campaign import make_campaign, update
from planner.campaign.check import check, check_plan
from planner.campaign.done import read_done, take_back
from planner.campaign.logged import read_log
from planner.campaign.store import from_dict, to_dict
from planner.errors import AuditError, InputError
from planner.plan.plan import ProductUse
from planner.report.clock_frames import clock_sheet
from planner.season.domain import POWDER, UNTREATED, Done
from planner.terminal.shop import campaign_lines
from tests.support.campaigns import hand_plan, hand_season


@pytest.fixture
def made():
    return make_campaign(hand_season(), hand_plan())


def runs(campaign):
    return [
        (r.day.isoformat(), r.lot, r.recipe, r.first_bag, r.last_bag, r.units)
        for r in campaign.calendar.runs
    ]


def test_days_follow_from_cure_spare_days_and_bags_a_day(made):
    """L1 (three bags, three a day) is due on 3 May, L2 on 8 May; two days of each are kept free.

    L2 lives 10 days and South is planted on 10 May, so it may not be treated before 30 April.
    """
    assert runs(made) == [
        ("2027-05-01", "L1", "R1", 1, 3, 120.0),
        ("2027-05-06", "L2", "R2", 1, 3, 90.0),
    ]
    assert [(d.free, d.spare) for d in made.calendar.days] == [(90.0, 2), (0.0, 2)]
    portion = made.batches[1].portions[0]
    assert (portion.earliest, portion.latest) == (date(2027, 4, 30), date(2027, 5, 8))
    assert made.calendar.late == 0
    assert made.calendar.remedies == ()


def test_minutes_count_every_product_that_enters_or_leaves_and_every_lot(made):
    """Alpha in 20, L1 10; Beta in 20, L2 10; both out at the end 40: 30 and 70, 100 in all."""
    assert [d.minutes for d in made.calendar.days] == [30.0, 70.0]
    assert made.order.minutes == made.order.floor_minutes == 100.0
    assert made.order.exact


def test_line_loss_of_a_product_that_stays_on_the_line_may_be_saved(made):
    """The plan holds 10 + 10 + 4; Alpha stays on the line from R1 to R2, so 14 are lost."""
    assert (made.order.planned_loss, made.order.loss) == (24.0, 14.0)
    assert any("10.0 fl oz" in note for note in made.notes)


def test_bags_stand_on_the_floor_until_their_field_is_planted(made):
    """Three bags on 1 May; they leave on 5 May, so three stand there on 6 May.

    Without days off before it South's seed would be treated next to it on 4 May: then six.
    """
    assert [d.on_floor for d in made.calendar.days] == [3, 3]
    season = hand_season()
    shut = tuple(date(2027, 5, d) for d in (5, 6, 7, 8))
    farm = replace(season.farm, spare_days=0.0)
    early = make_campaign(replace(season, farm=farm, days_off=shut), hand_plan())
    assert [(d.day.day, d.on_floor) for d in early.calendar.days] == [(3, 3), (4, 6)]


def test_containers_run_dry_at_the_worked_bags(made):
    """Alpha.

    Stock 100 - 10 for the line = 90; bag 1 takes 40 x 2 x 1.05 = 84, leaves 6; bag 2 empties the
    stock and takes 78 of the first jug, leaves 118; bag 3 leaves 34. R2: 10 for the line, 24; bag
    1 of L2 empties the jug and takes 60 of the second, 136; bag 2: 52; the part bag of 10 units
    takes 21: 31 are left.
    """
    alpha = [u for u in made.drawdown.containers if u.product == "Alpha"]
    assert [(u.source, u.on_line, u.dry) for u in alpha] == [
        ("stock on hand", "start of R1", "L1, R1, bag 2"),
        ("jug", "L1, R1, bag 2", "L2, R2, bag 1"),
        ("jug", "L2, R2, bag 1", ""),
    ]
    assert [u.left for u in alpha] == pytest.approx([0.0, 0.0, 31.0])
    beta = [u for u in made.drawdown.containers if u.product == "Beta"]
    assert [(u.dry, u.left) for u in beta] == [("", pytest.approx(29.5))]


def test_levels_after_batches_lie_between_margin_used_and_unused(made):
    """After L1: 492 - 10 - 252 = 230 with the margin used up; 12 of margin may still be there.

    The first jug then holds 34 usable and 4 of heel: 38 x 9.6 / 128 = 2.85 lb, with 3 lb of tare
    5.85.
    """
    level = next(x for x in made.drawdown.levels if x.after == "L1, R1, bag 3")
    assert level.left == pytest.approx(230.0)
    assert level.left_at_most == pytest.approx(242.0)
    assert level.net_weight == pytest.approx(2.85)
    assert level.gross_weight == pytest.approx(5.85)
    last = [x for x in made.drawdown.levels if x.product == "Alpha"][-1]
    assert (last.after, last.day) == ("day", date(2027, 5, 6))
    assert last.left == pytest.approx(31.0)


def test_first_and_last_planting_days_of_a_field(made):
    """South: cured 8 May; alive until 16 May; a test of September 2026 is good through June."""
    south = next(p for p in made.clock if p.field == "South")
    assert (south.first, south.last) == (date(2027, 5, 8), date(2027, 5, 16))
    assert south.inoculant_until == date(2027, 5, 16)
    assert south.test_until == date(2027, 6, 30)
    north = next(p for p in made.clock if p.field == "North")
    assert (north.first, north.last) == (date(2027, 5, 3), None)


def test_cards_show_three_forms_of_a_rate_and_what_is_wanted_when(made):
    """Fludioxonil at 4 lb/gal: 2 fl oz/unit = 2/128 x 4 lb on 140,000 seeds.

    453,592.37 x 4 x 2 / 128 / 140,000 = 0.202496 mg a seed.
    """
    first, second = made.cards
    assert (first.needed_by, first.approved_by) == (date(2027, 5, 1), "")
    assert (second.needed_by, second.approved_by) == (date(2027, 3, 15), "A. Keeper")
    alpha = second.lines[0]
    assert (alpha.written, alpha.floz_per_unit, alpha.floz_per_cwt) == ("4 fl oz/cwt", 2.0, 4.0)
    assert alpha.mg_per_seed == pytest.approx((0.202496,), abs=1e-6)
    assert second.lots[0].liquid_per_cwt == pytest.approx(6.0)
    assert second.liquid_warning == 5.0
    note = (
        "Recipes without the approval of a licensed person: R1 (before Sat 5/1/2027, when it is"
        " first treated)."
    )
    assert note in made.notes


def test_leftovers_are_seed_and_product(made):
    """L1: 120 treated, 100 planted; L2: 90 and 80; Alpha 31 in an opened jug, Beta 29.5."""
    told = [(x.what, x.detail, round(x.amount, 6)) for x in made.leftovers]
    assert told == [
        ("Treated seed of L1", "R1", 20.0),
        ("Treated seed of L2", "R2", 10.0),
        ("Alpha", "jug (opened)", 31.0),
        ("Beta", "pouch (opened)", 29.5),
    ]


def test_powder_that_is_left_is_told_though_no_pump_takes_it():
    """20 fl oz bought, 12 taken: no container of it is on the line."""
    season, plan = hand_season(), hand_plan()
    slick = replace(season.products[0], name="Slick", kind=POWDER)
    bag = replace(season.containers[0], product="Slick", name="bag")
    use = ProductUse("Slick", 12.0, 0.0, 0.0, 20.0, 8.0)
    season = replace(
        season, products=(*season.products, slick), containers=(*season.containers, bag)
    )
    made = make_campaign(season, replace(plan, products=(*plan.products, use)))
    left = {x.what: (x.detail, x.amount) for x in made.leftovers}
    assert left["Slick"] == ("all packages together", 8.0)


def test_tag_names_substances_and_the_month_of_the_inoculant(made):
    """Common names (7 CFR 201.31a) and the caution; month and year of the inoculant (201.24a).

    The caution's words: Minnesota Dept. of Agriculture, page on treated seed ("do not use for food,
    feed, or oil"); "purposes" from memory of 7 CFR 201.31a, paragraph d.
    L2 is treated on 6 May and lives through 16 May: April, the last whole month, is over by then.
    """
    tag = next(t for t in made.tags if t.recipe == "R2")
    assert tag.text[0] == "Treated with fludioxonil."
    assert "Do not use for food, feed, or oil purposes." in tag.text
    assert "Inoculant not claimed effective after May 16, 2027." in tag.text


def test_log_has_a_line_for_every_product_of_every_run(made):
    """R1 has one product, R2 two. L2 weighs 90 x 50 lb."""
    assert [(x.lot, x.product, x.amount) for x in made.log] == [
        ("L1", "Alpha", 240.0),
        ("L2", "Alpha", 180.0),
        ("L2", "Beta", 90.0),
    ]
    assert made.log[1].weight == pytest.approx(4500.0)
    assert made.log[1].plant_by == date(2027, 5, 16)


def test_nothing_to_treat_makes_an_empty_campaign():
    plan = replace(hand_plan(), treating=(), planting=(), products=(), order=())
    made = make_campaign(hand_season(), plan)
    assert (made.batches, made.calendar.runs, made.notes) == ((), (), ())


# --- the audit ---------------------------------------------------------------------------------


def test_a_plan_that_runs_short_does_not_pass():
    """One jug less: 461 fl oz needed, 296 there."""
    plan = hand_plan()
    plan = replace(plan, order=(replace(plan.order[0], count=1), plan.order[1]))
    with pytest.raises(AuditError, match="Alpha: runs short, 461"):
        make_campaign(hand_season(), plan)


def test_a_lost_bag_does_not_pass(made):
    first = replace(made.calendar.runs[0], last_bag=2)
    calendar = replace(made.calendar, runs=(first, *made.calendar.runs[1:]))
    with pytest.raises(AuditError, match="L1, R1: bags in calendar"):
        check(replace(made, calendar=calendar))


def test_a_bag_too_much_against_the_plan_does_not_pass(made):
    plan = hand_plan()
    treating = (replace(plan.treating[0], full_bags=2, units=80.0), plan.treating[1])
    with pytest.raises(AuditError, match="L1, R1"):
        check_plan(made, replace(plan, treating=treating))


def test_a_lost_floz_does_not_pass(made):
    uses = made.drawdown.containers
    drawdown = replace(made.drawdown, containers=(replace(uses[0], drawn=99.0), *uses[1:]))
    with pytest.raises(AuditError, match="Alpha: 460"):
        check(replace(made, drawdown=drawdown))


def test_a_bag_on_a_day_off_does_not_pass(made):
    shop = replace(made.shop, days_off=(date(2027, 5, 1),))
    with pytest.raises(AuditError, match="not open"):
        check(replace(made, shop=shop))


# --- up to date ----------------------------------------------------------------------------


def test_what_is_done_stays_and_the_rest_follows(made):
    """Two of three bags done on 21 April: the third keeps its day, 1 May, as bag 3."""
    done = read_done(made, ["l1:r1:2:2027-04-21"])
    later = update(made, done)
    assert runs(later) == [
        ("2027-04-21", "L1", "R1", 1, 2, 80.0),
        ("2027-05-01", "L1", "R1", 3, 3, 40.0),
        ("2027-05-06", "L2", "R2", 1, 3, 90.0),
    ]
    assert [r.done for r in later.calendar.runs] == [True, False, False]
    again = update(later, [Done("L1", "R1", 1)])
    assert [r.done for r in again.calendar.runs] == [True, True, False]
    assert again.calendar.runs[1].day == date(2027, 5, 1)


def test_line_and_lot_that_are_on_cost_nothing_to_go_on_with(made):
    """After two bags of L1: Beta in 20, L2 10, both out 40."""
    later = update(made, [Done("L1", "R1", 2)])
    assert later.order.minutes == 70.0


def test_days_lost_are_told(made):
    """Nothing done until 9 May: L1 was due on the 3rd, L2 on the 8th.

    That is five bags too many: the 80 units for South are in two bags, the part bag is spare.
    """
    later = update(made, [], today=date(2027, 5, 9))
    assert later.calendar.late == later.calendar.late_floor == 5
    assert "5 bags are too many" in later.notes[0]


def test_where_all_is_done_the_line_has_nothing_to_change(made):
    later = update(made, [Done("L1", "R1", 3), Done("L2", "R2", 3)])
    assert all(r.done for r in later.calendar.runs)
    assert later.order.minutes == 0.0


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("L9:R1:2", "the batches are L1:R1; L2:R2"),
        ("L1:R1:two", "not a number of bags"),
        ("L1:R1:0", "not a number of bags"),
        ("L1:R1:1:soon", "not a day"),
        ("L1:R1:1:13/4/2027", "not a day such as 2027-04-14 or 4/14/2027"),
        ("L1:R1:1:4/29/2026", "over half a year from 4/20/2027, the first treating day"),
        ("L1:R2:1", "the batches of L1 are L1:R1; seed treated otherwise"),
        ("L1", "the batches of L1 are"),
    ],
)
def test_a_wrong_entry_says_what_is_meant(made, text, words):
    with pytest.raises(InputError) as caught:
        read_done(made, ["L1:R1:1", text])
    (fault,) = caught.value.faults
    assert (fault.row, fault.column) == (0, "entry 2")
    with pytest.raises(InputError, match=r"(?m)^  --done: found '"):
        read_done(made, [text])
    assert words in str(caught.value)


def test_a_day_may_be_written_as_the_calendar_shows_it(made):
    (one,) = read_done(made, ["L1:R1:1:4/29/2027"])
    assert one == Done("L1", "R1", 1, date(2027, 4, 29))
    metric = replace(made, shop=replace(made.shop, metric=True))
    with pytest.raises(InputError, match=r"not a day such as 2027-04-14$"):
        read_done(metric, ["L1:R1:1:4/29/2027"])


def test_more_bags_than_there_are(made):
    said = r"--done has 1 fault; nothing was changed:\n.*at most 1 bag; 2 of 3 are counted"
    with pytest.raises(InputError, match=said):
        update(made, [Done("L1", "R1", 2), Done("L1", "R1", 2)])
    later = update(made, [Done("L1", "R1", 3)])
    with pytest.raises(InputError, match=r"no more bags of it; 3 of 3 .* such as L1:R1:-1"):
        update(later, [Done("L1", "R1", 1)])


def test_bags_reported_wrong_are_taken_back(made):
    """The last ones first, of a day where one is given; bags of others stay."""
    one, two, other = (
        Done("L1", "R1", 1, date(2027, 4, 21)),
        Done("L1", "R1", 2, date(2027, 4, 22)),
        Done("L2", "R2", 1, date(2027, 4, 23)),
    )
    later = update(made, [one, two, other])
    (back,) = read_done(later, ["L1:R1:-1"])
    assert take_back(later, [back]).done == (one, replace(two, bags=1), other)
    (back,) = read_done(later, ["l1:r1: -3"])
    assert take_back(later, [back]).done == (other,)
    (back,) = read_done(later, ["L1:R1:-1:4/21/2027"])
    assert take_back(later, [back]).done == (two, other)
    for text, words in (("L1:R1:-4", "at most 3 bags"), ("L2:R2:-1:4/22/2027", "of that day")):
        with pytest.raises(InputError, match=words):
            take_back(later, read_done(later, [text]))
    again = update(take_back(later, read_done(later, ["L1:R1:-3"])), [two])
    assert sum(r.bags for r in again.calendar.runs if r.done) == 3


def test_done_from_a_table(made, tmp_path):
    path = tmp_path / "log.csv"
    path.write_text("Lot, Recipe ,Bags,Day\nL1,R1,2,2027-04-21\n,,,\nL2,R2,1,\n", "utf-8")
    assert read_log(made, path).new == (
        Done("L1", "R1", 2, date(2027, 4, 21)),
        Done("L2", "R2", 1, date(2027, 5, 6), assumed=True),  # its planned day, as none is given
    )
    with pytest.raises(InputError, match="a file that can be read"):
        read_log(made, tmp_path / "none.csv")


@pytest.mark.parametrize(
    "text",
    [
        "Lot;Recipe;Bags;Day\nL1;R1;2;2027-04-21\n",
        "\ufeffBags\tNote\t RECIPE \tlot\n2\twindy, wet\tr1\t l1 \n",
    ],
)
def test_a_table_divided_otherwise(made, tmp_path, text):
    path = tmp_path / "log.csv"
    path.write_text(text, "utf-8")
    assert [(d.lot, d.recipe, d.bags) for d in read_log(made, path).new] == [("L1", "R1", 2)]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "log.csv: expected .* Lot and Recipe and Bags not found"),
        (
            "\nSeed lot,Treatment,Bags\nL1,R1,2\n",
            "log.csv, row 2: found 'Seed lot, Treatment, Bags'; .* Lot and Recipe not found",
        ),
        ('Lot,Recipe,Bags\n"L1,R1,2\n', "log.csv, row 2: .* never closed"),
    ],
)
def test_a_table_that_is_not_understood_is_a_fault(made, tmp_path, text, said):
    path = tmp_path / "log.csv"
    path.write_text(text, "utf-8")
    with pytest.raises(InputError, match=said) as caught:
        read_log(made, path)
    assert "log.csv has 1 fault; nothing was changed:" in str(caught.value)


def test_names_with_colons(made, tmp_path):
    """Bags of recipe R1 and of another, R1:2, on the same lot."""
    first, second = made.batches
    both = replace(made, batches=(first, replace(second, lot="L1", recipe="R1:2")))
    for text, recipe, bags in (
        ("L1:R1:2", "R1", 2),
        ("L1:R1:2:1", "R1:2", 1),
        ("L1:R1:2:2027-04-21", "R1", 2),
        ("L1:R1:2:1:2027-04-21", "R1:2", 1),
    ):
        (one,) = read_done(both, [text])
        assert (one.recipe, one.bags) == (recipe, bags)
    path = tmp_path / "log.csv"
    path.write_text("Lot,Recipe,Bags\nL1,R1:2,1\n", "utf-8")
    (one,) = read_log(both, path).new
    assert (one.recipe, one.bags) == ("R1:2", 1)


def counted(made, path, text):
    """Campaign after a log with these rows was read, and what was said of it."""
    path.write_text(f"Lot,Recipe,Bags,Day\n{text}", "utf-8")
    before, new, said = read_log(made, path)
    return update(replace(made, done=before), new), said


def test_a_log_that_grows_counts_every_row_once(made, tmp_path):
    """A bag of three with its day, a bag of three without; both again, each with one below it."""
    path = tmp_path / "log.csv"
    first = "\nL1,R1,1,4/21/2027\nL2,R2,1,\n"
    later, said = counted(made, path, first)
    assert (len(later.done), said) == (2, ())
    again, said = counted(later, path, first)
    assert again.done == later.done
    assert said == ("2 rows of log.csv were counted before and are skipped (rows 3 to 4).",)
    more, said = counted(again, path, first + "L1,R1,1,4/21/2027\nL2,R2,1,\n")
    assert len(said) == 1
    assert sorted((d.lot, d.bags) for d in more.done) == [("L1", 1)] * 2 + [("L2", 1)] * 2
    with pytest.raises(InputError, match=r"log.csv, row 5: .* at most 2 bags; 1 of 3 are counted"):
        counted(later, path, first + "L1,R1,3,\n")


def test_every_fault_of_a_log_is_told_at_once(made, tmp_path):
    """A recipe that is not there, three bags and one more, no number: rows 2, 4 and 5."""
    path = tmp_path / "log.csv"
    with pytest.raises(InputError) as caught:
        counted(made, path, "L1,R9,1,\nL1,R1,3,\nL1,R1,1,\nL2,R2,two,\n")
    assert [f.row for f in caught.value.faults] == [2, 4, 5]


def test_bags_still_to_treat_are_numbers_not_counts(made):
    """The third bag alone is left: a 3 under Bags would read as three bags."""
    lines = campaign_lines(update(made, [Done("L1", "R1", 2)]), ())
    header = lines[lines.index("Still to treat") + 1]
    assert header.split() == ["Day", "Lot", "Recipe", "Bag", "numbers"]


def test_a_day_written_later_is_taken_over(made, tmp_path):
    path = tmp_path / "log.csv"
    later, _ = counted(made, path, "L2,R2,1,\n")
    (planned,) = later.done
    assert planned.assumed
    dated, (said,) = counted(later, path, "l2,r2,1,2027-05-03\n")
    assert dated.done == (Done("L2", "R2", 1, date(2027, 5, 3)),)
    assert said.endswith("skipped (row 2). The day written there since is taken over (row 2).")
    again, (said,) = counted(dated, path, "L2,R2,1,\n")
    assert again.done == dated.done
    assert said.endswith("skipped (row 2).")


def test_what_the_log_lacks_is_said(made, tmp_path):
    """A row that was mended counts beside what it was: so that is named, with the way out."""
    path = tmp_path / "log.csv"
    later, _ = counted(made, path, "L1,R1,1,4/21/2027\n")
    mended, (said,) = counted(later, path, "L1,R1,1,4/22/2027\n")
    assert len(mended.done) == 2
    assert said.startswith("Counted before, but not in log.csv: 1 bag of L1 with R1 on 4/21/2027.")
    assert "--recount" in said


def test_rows_told_to_the_plan_before_are_known(made, tmp_path):
    """Lot L0 was all treated under it: it is no batch any more; two bags of L1 went before."""
    told = (Done("L0", "R1", 4, date(2027, 4, 20)), Done("L1", "R1", 2, date(2027, 4, 21)))
    path = tmp_path / "log.csv"
    rows = "L0,R1,4,4/20/2027\nL1,R1,2,4/21/2027\n"
    later, said = counted(replace(made, told=told), path, rows + "L1,R1,1,4/22/2027\n")
    assert later.done == (Done("L1", "R1", 1, date(2027, 4, 22)),)
    assert said == ("2 rows of log.csv were counted before and are skipped (rows 2 to 3).",)
    with pytest.raises(InputError, match=r"log.csv, row 2: .* the batches are L1:R1; L2:R2"):
        counted(replace(made, told=told), path, "L0,R1,5,\n")


def test_a_row_mended_after_the_plan_was_made_with_it_is_said(made, tmp_path):
    """Not so for a log that began since: it has none of the older rows."""
    told = (Done("L0", "R1", 4, date(2027, 4, 20)), Done("L1", "R1", 2, date(2027, 4, 21)))
    path = tmp_path / "log.csv"
    _, said = counted(replace(made, told=told), path, "L0,R1,4,4/20/2027\nL1,R1,1,4/21/2027\n")
    assert "not in log.csv: 2 bags of L1 with R1 on 4/21/2027." in said[-1]
    assert "without --since" in said[-1]
    _, said = counted(replace(made, told=told), path, "L1,R1,1,4/22/2027\n")
    assert said == ()
    rows = "L0,R1,4,4/20/2027\nL1,R1,2,4/20/2027\nL1,R1,3,4/22/2027\n"
    with pytest.raises(InputError, match="made with 2 bags of L1 with R1 on 4/21/2027"):
        counted(replace(made, told=told), path, rows)


def test_a_log_in_a_workbook(made, tmp_path):
    book = openpyxl.Workbook()
    book.active.append(["Day", "Lot", "Recipe", "Bags", "Remark"])
    book.active.append([datetime(2027, 4, 21), "L1", "R1", 2, "windy"])
    book.active.append([None, "L2", "R2", 1.0])
    path = tmp_path / "log.xlsx"
    book.save(path)
    assert [(d.lot, d.bags, d.on) for d in read_log(made, path).new] == [
        ("L1", 2, date(2027, 4, 21)),
        ("L2", 1, date(2027, 5, 6)),
    ]
    path.write_bytes(path.read_bytes()[:300])
    with pytest.raises(InputError, match="damaged"):
        read_log(made, path)


# --- JSON ----------------------------------------------------------------------------------


def test_json_there_and_back(made):
    later = update(made, read_done(made, ["L1:R1:2"]))
    for campaign in (made, later):
        text = json.dumps(to_dict(campaign), allow_nan=False)
        assert from_dict(json.loads(text)) == campaign


@pytest.mark.parametrize("change", ["shop", "batches", "calendar"])
def test_json_of_something_else_is_refused(made, change):
    data = to_dict(made)
    for value in (None, 3, {"x": 1}, [{"x": 1}]):
        with pytest.raises(InputError, match="make the plan again"):
            from_dict({**data, change: value})


def test_json_that_was_tampered_with_is_refused(made):
    """A fl oz, a bag, a batch or a container less: it does not add up any more."""
    for path, value in (
        (("drawdown", "containers", 0, "drawn"), 99.0),
        (("calendar", "runs", 0, "last_bag"), 2),
        (("batches", 0, "full_bags"), 10**30),
        (("batches", 0, "draws", 0, "product"), "Nobody"),
        (("supplies", 0, "sources"), []),
        (("shop", "first_day"), "2027-99-99"),
        (("shop", "cure_days"), True),
        (("batches", 0, "unit_weight"), float("nan")),
        (("tags", 0, "recipe"), "Nobody"),
        (("shop", "tag_stock"), "3 x 5 in"),
        (("calibration", 0, "lot"), "Nobody"),
    ):
        data = json.loads(json.dumps(to_dict(made)))
        place = data
        for key in path[:-1]:
            place = place[key]
        place[path[-1]] = value
        with pytest.raises(InputError, match="make the plan again"):
            from_dict(data)


def test_clock_tells_untreated_seed_by_its_test(made):
    """North's seed goes untreated; its test of July 2026 is good through April, planting is in May.

    Nothing cures and nothing lives on it.
    """
    season, plan = hand_season(), hand_plan()
    old = replace(season.lots[0], test_date=date(2026, 7, 3))
    north = replace(plan.planting[0], recipe=UNTREATED)
    kept = replace(plan, planting=(north, plan.planting[1]))
    untreated = make_campaign(replace(season, lots=(old, season.lots[1])), kept)
    told = next(p for p in untreated.clock if p.field == "North")
    assert (told.first, told.last) == (None, date(2027, 4, 30))
    assert "germination test is too old" in told.note
    assert sum(b.full_bags for b in untreated.batches) == sum(b.full_bags for b in made.batches)


def test_what_is_left_of_a_lot_that_came_treated_is_told():
    """50 units that came under R1, 30 of them planted: 20 are left."""
    season, plan = hand_season(), hand_plan()
    came = replace(season.lots[0], name="L9", on_hand=50.0, treated_with="R1")
    some = replace(plan.planting[0], lot="L9", acres=30.0, units=30.0)
    season = replace(season, lots=(*season.lots, came))
    made = make_campaign(season, replace(plan, planting=(*plan.planting, some)))
    left = {(x.what, x.detail): x.amount for x in made.leftovers}
    assert left["Treated seed of L9", "R1"] == pytest.approx(20.0)


def test_clock_says_which_of_life_and_test_is_over():
    """L2 tested in July 2026: good through April 2027, South is planted on 10 May.

    All of it treated on 20 April already: alive until 30 April.
    """
    season, plan = hand_season(), hand_plan()
    old = replace(season.lots[1], test_date=date(2026, 7, 3))
    made = make_campaign(replace(season, lots=(season.lots[0], old)), plan)
    assert any("germination test is too old" in n and "4/30/2027" in n for n in made.notes)
    (table,) = clock_sheet(made).blocks  # not before it is cured in May, and by 30 April: neither
    south = {r[0]: r for r in table.rows}["South"]
    lasts, alive, tested = south[5].value, south[6], south[7]
    assert tested == date(2027, 4, 30)
    assert lasts == alive
    assert "too old" in south[8].value
    done = update(make_campaign(season, plan), [Done("L2", "R2", 3, date(2027, 4, 20))])
    assert any("lives on the seed is gone (Fri 4/30/2027)" in n for n in done.notes)

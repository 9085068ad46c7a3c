"""What sits in the line between two treating days longer than it may, worked by hand.

The hand season at 5,999 lb a day: R2, with Beta, runs on 5 and 6 May (see `test_days`), so the line
stands at least 12 hours where a day has 12. Seed takes 90 x 1 x 1.05 = 94.5 of Beta's 128 fl oz.
"""

from dataclasses import replace
from datetime import date

import pytest

from planner.campaign.campaign import make_campaign, update
from planner.campaign.domain import Flush
from planner.campaign.notes import before_ordering, notes
from planner.campaign.reported import reported
from planner.campaign.standing import Night, Standing, minutes_again, standing, too_long
from planner.campaign.store import from_dict, to_dict
from planner.report.calendar_frames import calendar_sheet, days_sheet
from planner.report.clean_frames import cleaning_sheet
from planner.report.container_frames import level_sheet
from planner.report.facts import Facts
from planner.report.front_frames import front_sheet
from planner.report.sheets import Cell, Look
from planner.season.domain import Done
from tests.support.books import table_in
from tests.support.campaigns import hand_plan, hand_season

EVE, MORROW = date(2027, 5, 5), date(2027, 5, 6)


def worked(life, *, loss=4.0, alpha=None, pounds=5999.0, containers=(), **settings):
    one, plan = hand_season(), hand_plan()
    one = replace(one, containers=containers or one.containers)
    first, second = one.products
    beta = replace(second, slurry_life=life, line_loss=loss)
    uses = (plan.products[0], replace(plan.products[1], need=94.5 + loss, left=33.5 - loss))
    one = replace(
        one,
        farm=replace(one.farm, bags_per_day=None, pounds_per_day=pounds, **settings),
        products=(replace(first, slurry_life=alpha), beta),
    )
    return make_campaign(one, replace(plan, products=uses))


def tables(made):
    return {getattr(b, "name", ""): b for b in cleaning_sheet(made).blocks}


@pytest.mark.parametrize(
    ("life", "settings", "sits"),
    [
        (11.9, {}, 12.0),
        (12.0, {}, None),
        (None, {}, None),
        # eight hours a day: the line stands for 16
        (15.9, {"hours_per_day": 8.0}, 16.0),
        (16.0, {"hours_per_day": 8.0}, None),
    ],
)
def test_a_night_in_the_line(life, settings, sits):
    made = worked(life, **settings)
    if sits is None:
        assert standing(made) == ()
        assert "sits" not in tables(made)
        return
    night = Night("Beta", EVE, MORROW, life, sits)
    assert standing(made) == (Standing(night, 4.0, pytest.approx(29.5)),)
    ((day, until, product, *_),) = tables(made)["sits"].rows
    assert (day, until, product) == (EVE, MORROW, "Beta")
    assert not any("would sit" in note for note in made.notes)  # 29.5 cover 4
    assert from_dict(to_dict(made)) == made


def test_all_on_one_day_leaves_nothing_in_the_line():
    assert standing(worked(1.0, pounds=6000.0)) == ()


def test_what_is_missing_is_said_first_of_all():
    """128 - 94.5 - 20 = 13.5 are left over, 20 are wanted."""
    made = worked(6.0, loss=20.0)
    (one,) = standing(made)
    assert one.missing == pytest.approx(6.5)
    (note,) = [n for n in made.notes if "would sit" in n]
    assert "Beta may sit 6 hours and would sit in the line for longer, from Wed 5/5/2027" in note
    assert "takes 20.0 fl oz more; only 13.5 fl oz are left over" in note
    # a pouch of 128 fl oz is $60, without freight or discount
    assert "6.5 fl oz are missing: treat it on fewer days, or buy 1 more pouch of Beta for" in note
    assert note.endswith("for $60.00 more.")
    assert before_ordering(made) == [note]
    page_one = front_sheet(Facts(hand_plan(), hand_season(), campaign=made)).blocks
    (check,) = [b for b in page_one if getattr(b, "title", "") == "Check before you order"]
    assert check.paragraphs[0] == note


def test_what_to_buy_is_named_once_where_a_product_is_flushed_and_sits_too_long():
    """20 fl oz a night and 30 for a flush, of 13.5: the purchase that is named covers both."""
    made = worked(6.0, loss=20.0)
    flush = Flush("Beta", 1, 30.0, 13.5, 14.0)
    both = replace(made, drawdown=replace(made.drawdown, flushes=(flush,)))
    for said in (notes(both), before_ordering(both)):
        about = [text for text in said if text.startswith("Beta ")]
        assert len(about) == 2
        assert sum(text.count("buy 1 more pouch of Beta") for text in about) == 1
        assert "16.5 fl oz are missing" in about[0]
        assert about[1].endswith("are missing, too: treat it on fewer days, or buy as above.")


def test_a_container_is_named_as_long_as_all_may_be_ordered():
    """Later than winter prices may be others, so none is named once seed is treated."""
    made = worked(6.0, loss=20.0)
    assert from_dict(to_dict(made)) == made
    later = update(made, [Done("L1", "R1", 3, date(2027, 5, 1))])
    (note,) = [n for n in later.notes if "would sit" in n]
    assert note.endswith("6.5 fl oz are missing: treat it on fewer days, or buy more.")
    assert notes(update(made, [])) == made.notes


def test_what_cannot_be_bought_is_said():
    one = hand_season()
    pouch = replace(one.containers[1], most=1)
    made = worked(6.0, loss=20.0, containers=(one.containers[0], pouch))
    (note,) = [n for n in made.notes if "would sit" in n]
    assert note.endswith(
        "6.5 fl oz are missing: treat it on fewer days; what is sold does not cover it."
    )


def test_days_that_do_not_suffice_are_said_before_anything_is_ordered():
    """A bag a day from 1 May: the sixth is treated on the 6th, and treating ends on the 5th."""
    one, plan = hand_season(), hand_plan()
    farm = replace(one.farm, bags_per_day=1.0, first_treating_day=date(2027, 5, 1))
    one = replace(one, farm=replace(farm, treating_done_by=date(2027, 5, 5)))
    made = make_campaign(one, plan)
    assert made.calendar.late == 1
    page_one = front_sheet(Facts(plan, one, campaign=made)).blocks
    (check,) = [b for b in page_one if getattr(b, "title", "") == "Check before you order"]
    assert check.paragraphs[0] == "In the shop: " + " ".join(made.notes[:2])
    assert "1 treating day more at the end, until Thu 5/6/2027; or starting 1 day" in made.notes[1]


def test_the_calendar_has_the_flush_of_the_evening_and_the_priming_of_the_morning():
    """Beta may sit 6 hours and would sit 12, from 5 to 6 May; Alpha has no limit."""
    (runs,) = [b for b in calendar_sheet(worked(6.0)).blocks if getattr(b, "name", "") == "runs"]
    line = [(row[0], row[2], row[3]) for row in runs.rows if row[1] == "the line"]
    assert line == [
        (EVE, "R2", "in the evening: flush out Beta"),
        (MORROW, "R2", "first of all: prime Beta again"),
    ]
    days = [row[0] for row in runs.rows]
    assert days == sorted(days)
    assert runs.rows[days.index(MORROW)][1] == "the line"
    (runs,) = [b for b in calendar_sheet(worked(None)).blocks if getattr(b, "name", "") == "runs"]
    assert not any(row[1] == "the line" for row in runs.rows)


def test_a_bag_heavier_than_a_day_holds_is_said():
    """40 units of 50 lb are 2,000 lb; the part bag of L2 is 500."""
    made = worked(None, pounds=1999.0)
    (note,) = [n for n in made.notes if "single bag" in n]
    assert "more than the 1,999 lb of Pounds per day and has a day of its own: " in note
    assert note.count("2,000 lb") == 5
    (days,) = [b for b in days_sheet(made).blocks if getattr(b, "name", "") == "days"]
    marked = [row[2] for row in days.rows if isinstance(row[2], Cell)]
    assert [c.look for c in marked] == [Look.WATCH] * 5
    assert "Marked weight" in days.note
    assert not any("single bag" in n for n in worked(None, pounds=2000.0).notes)


def test_nothing_is_missing_where_what_is_left_covers_it():
    assert standing(worked(6.0))
    assert before_ordering(worked(6.0)) == []


def test_several_nights_share_a_note():
    """A bag a day: two nights, 40 fl oz in all."""
    made = worked(6.0, loss=20.0, pounds=1.0)
    assert [(s.night.since.day, s.there) for s in standing(made)] == [(4, 13.5), (5, 0.0)]
    (note,) = [n for n in made.notes if "would sit" in n]
    assert "longer, 2 times, first from Tue 5/4/2027 to Wed 5/5/2027" in note
    assert "takes 40.0 fl oz more; only 13.5 fl oz are left over" in note
    assert "26.5 fl oz are missing" in note


def test_what_is_flushed_between_recipes_does_not_sit():
    """From R1 on 1 May to R2 on 5 May Alpha stays only where the line does; 84 hours, 31 left."""
    assert [s.night for s in standing(worked(None, alpha=80.0))] == []
    kept = worked(None, alpha=80.0, line_stays_primed=True)
    (one,) = standing(kept)
    assert one.night[1:5] == (date(2027, 5, 1), EVE, 80.0, 84.0)
    assert one.takes == 10.0


def test_what_the_next_recipe_lacks_is_flushed_in_the_evening_and_not_primed_again():
    """R2 first, on 1 May, and R1 on the 5th: of a line that stays primed Beta leaves by then."""
    made = worked(6.0, alpha=None, line_stays_primed=True)
    first, *_ = made.calendar.runs
    runs = tuple(
        replace(r, lot=lot, recipe=recipe, day=day, first_bag=1, last_bag=3)
        for r, lot, recipe, day in (
            (first, "L2", "R2", date(2027, 5, 1)),
            (first, "L1", "R1", EVE),
        )
    )
    turned = replace(made, calendar=replace(made.calendar, runs=runs))
    night = Night("Beta", date(2027, 5, 1), EVE, 6.0, 84.0, again=False)
    (one,) = standing(turned)
    assert (one.night, one.takes) == (night, 0.0)
    ((*_, takes, there),) = tables(turned)["sits"].rows
    assert (takes, there) == (None, None)
    assert before_ordering(turned) == []
    assert minutes_again(turned) == {}


def test_flushing_and_priming_again_is_in_each_days_time():
    """Beta is flushed on the evening of the 5th and primed on the 6th: 20 minutes each."""
    made = worked(11.9)
    load = table_in(days_sheet(made), "days")
    assert [c.header for c in load.columns][-1] == "Flush, prime again"
    assert {row[0]: row[-1] for row in load.rows if row[-1]} == {EVE: 20.0, MORROW: 20.0}
    assert "that time comes on top. Days come up to 7 days sooner" in load.note
    short = replace(made, shop=replace(made.shop, minutes_per_day=20.0))  # seed takes some of it
    load = table_in(days_sheet(short), "days")
    assert all(row[-1].look is Look.WATCH for row in load.rows if row[-1])
    assert not any("Hours per day" in note for note in made.notes)
    (said,) = [note for note in notes(short) if "Hours per day" in note]
    assert "beyond the 20 of Hours per day: Fri 4/30/2027 37, Wed 5/5/2027 57, " in said
    assert "To flush in the evening what may not sit in the line" in said
    plain = worked(12.0)
    assert "Flush, prime again" not in [
        c.header for b in days_sheet(plain).blocks[-1:] for c in b.columns
    ]


def test_jugs_and_levels_count_what_is_primed_again():
    """A bag a day: 20 + 42 fl oz on 4 May, 20 + 42 on the 5th, 20 + 10.5 on the 6th of 128."""
    made = worked(6.0, loss=20.0, pounds=1.0)
    (jug,) = [u for u in made.drawdown.containers if u.product == "Beta"]
    assert (jug.dry, jug.dry_day, jug.left) == ("R2, primed again", MORROW, 0.0)
    rows = [row for row in level_sheet(made).blocks[-1].rows if row[1] == "Beta"]
    left = {row[0]: (row[5], row[6]) for row in rows}
    assert left[EVE] == (pytest.approx(4.0), pytest.approx(8.0))  # 2 of 42 are margin
    assert left[MORROW] == (Cell(pytest.approx(-26.5), Look.SHORT), pytest.approx(-22.0))
    assert not any(x.what == "Beta" for x in made.leftovers)
    done = [Done("L1", "R1", 3), *(Done("L2", "R2", 1, day) for day in (date(2027, 5, 4), EVE))]
    _, took = reported(update(made, done))
    assert took["Beta"] == pytest.approx(124.0)


def test_the_flush_after_the_last_bag_may_make_a_day_too_long():
    """R2: 20 minutes to prime Beta, 10 to calibrate, 15 to run, and then 40 to flush both: 85.

    Days are chosen by what comes before the last flush.
    """
    one, plan = hand_season(), hand_plan()
    one = replace(one, farm=replace(one.farm, bags_per_day=None, hours_per_day=70.0 / 60.0))
    made = make_campaign(one, plan)
    assert minutes_again(made) == {}
    assert too_long(made) == {MORROW: pytest.approx(85.0)}
    (said,) = [note for note in made.notes if "Hours per day" in note]
    assert "beyond the 70 of Hours per day: Thu 5/6/2027 85." in said
    load = table_in(days_sheet(made), "days")
    marked = [row[0] for row in load.rows if getattr(row[8], "look", None) is Look.WATCH]
    assert marked == [MORROW]
    assert "the day is longer than Hours per day" in load.note


def test_a_premix_goes_as_a_whole():
    """One pump: Beta's life holds for Alpha in the same tank and line."""
    made = worked(6.0, alpha=48.0, pumps=1)
    assert [(s.night.product, s.night.may) for s in standing(made)] == [
        ("Alpha", 6.0),
        ("Beta", 6.0),
    ]


def test_nights_that_are_over_are_not_told():
    made = worked(6.0)
    done = [Done("L1", "R1", 3, EVE), Done("L2", "R2", 2, EVE), Done("L2", "R2", 1, MORROW)]
    assert standing(update(made, done)) == ()

"""Conservation on random plans, calibration by hand, the calendar file."""

import io
from dataclasses import replace
from datetime import date, timedelta
from itertools import pairwise

import icalendar
import pytest
from openpyxl import load_workbook

from planner.agronomy.rates import floz_per_cwt, floz_per_unit
from planner.agronomy.seeding import unit_weight
from planner.campaign.calibration import (
    calibration,
    catch,
    dose,
    doses,
    sample_grams,
    seeds_per_lb,
)
from planner.campaign.campaign import make_campaign, update
from planner.campaign.domain import Done, Event
from planner.campaign.ical import to_ical
from planner.campaign.placer import leaves
from planner.report.campaign_frames import campaign_book
from planner.report.workbook import render
from planner.season.domain import (
    Active,
    Basis,
    Farm,
    OnItsWay,
    Product,
    Rate,
    Recipe,
    Season,
    SeedLot,
    TreatedSeed,
)
from tests.support.campaigns import FIRST, hand_plan, hand_season, need_of, random_case
from tests.support.quick import few

CASES = 150

# --- conservation ------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", few(range(CASES)))
def test_every_bag_once_and_every_floz_accounted_for(seed):
    """Counted again here from season, plan and campaign, besides the campaign's own audit."""
    season, plan = random_case(seed)
    made = make_campaign(season, plan)
    treated = {}
    for run in made.calendar.runs:
        for bag in range(run.first_bag, run.last_bag + 1):
            assert (run.lot, run.recipe, bag) not in treated
            treated[run.lot, run.recipe, bag] = run.day
    assert len(treated) == sum(t.full_bags + t.part_bag for t in plan.treating)
    kinds = {(c.product, c.name): c for c in season.containers}
    for product in season.products:
        uses = [u for u in made.drawdown.containers if u.product == product.name]
        need = need_of(season, list(plan.treating), product.name)
        need += again(season, made, product)
        held = sum(u.usable for u in uses)
        need = min(need, held)
        assert sum(u.drawn for u in uses) == pytest.approx(need, abs=1e-6)
        if need:
            bought = sum(
                o.count * (kinds[o.product, o.container].size - kinds[o.product, o.container].heel)
                for o in plan.order
                if o.product == product.name
            )
            left = sum(u.left for u in uses)
            assert left == pytest.approx(product.on_hand + bought - need, abs=1e-6)


def again(season, campaign, product):
    """Fl oz that the line takes where a recipe is taken up again, counted run by run."""
    recipes = {r.name: {x.product for x in r.rates} for r in season.recipes}
    seen, before, taken = set(), None, 0.0
    for run in campaign.calendar.runs:
        if run.recipe != before and run.recipe in seen and product.name in recipes[run.recipe]:
            taken += product.line_loss
        seen.add(run.recipe)
        before = run.recipe
    return taken


@pytest.mark.parametrize("seed", few(range(CASES)))
def test_levels_fall_and_containers_follow_one_another(seed):
    season, plan = random_case(seed)
    made = make_campaign(season, plan)
    for supply in made.supplies:
        levels = [x for x in made.drawdown.levels if x.product == supply.product]
        assert all(a.left >= b.left - 1e-9 for a, b in pairwise(levels))
        assert all(x.left <= x.left_at_most + 1e-9 for x in levels)
        uses = [u for u in made.drawdown.containers if u.product == supply.product]
        opened = [bool(u.on_line) for u in uses]
        assert opened == sorted(opened, reverse=True), "no container is opened before its turn"
        for use, after in pairwise(uses):
            if after.on_line:
                assert use.dry
                assert use.left == pytest.approx(0.0, abs=1e-6)
        if supply.sources and supply.sources[0].name == "stock on hand":
            assert uses[0].on_line or not levels, "opened stock goes first"


@pytest.mark.parametrize("seed", few(range(40), 4))
def test_bags_done_in_any_order_keep_the_books(seed):
    """Half of the bags done, last batch first: the same fl oz, every bag still once.

    What a recipe takes that is taken up again comes on top, as far as there is any.
    """
    season, plan = random_case(seed)
    made = make_campaign(season, plan)
    done = [
        Done(b.lot, b.recipe, (b.bags + 1) // 2, FIRST + timedelta(days=i))
        for i, b in enumerate(reversed(made.batches))
    ]
    later = update(made, done)
    assert sum(r.bags for r in later.calendar.runs) == sum(b.bags for b in made.batches)
    assert sum(r.bags for r in later.calendar.runs if r.done) == sum(d.bags for d in done)
    products = {p.name: p for p in season.products}
    for supply in later.supplies:
        product = products[supply.product]
        need = need_of(season, list(plan.treating), product.name) + again(season, later, product)
        held = sum(s.usable for s in supply.sources)
        assert total(later, product.name) == pytest.approx(min(need, held), abs=1e-6)


def total(campaign, product):
    return sum(u.drawn for u in campaign.drawdown.containers if u.product == product)


def test_seed_treated_before_goes_to_the_field_planted_first():
    """60 of 100 units for North were treated before; the new bags of 40 go on from there.

    Bag 1 fills North up (60 + 40 = 100), bags 2 and 3 go to South.
    """
    season, plan = hand_season(), hand_plan()
    season = replace(season, treated=(TreatedSeed("L1", "R1", 60.0),))
    more = replace(plan.planting[1], lot="L1", recipe="R1", units=80.0)
    plan = replace(plan, planting=(*plan.planting, more))
    batch = next(b for b in make_campaign(season, plan).batches if b.lot == "L1")
    assert [(p.first_bag, p.bags, p.fields) for p in batch.portions] == [
        (1, 1, ("North",)),
        (2, 2, ("South",)),
    ]


def test_a_bag_for_two_fields_is_cured_for_the_first_and_alive_for_the_second():
    """L2 holds 90 units: 30 for North (5 May), 60 for South (10 May); the first bag serves both.

    Alive on 10 May: not before 30 April. Cured on 5 May: by 3 May. What is left of it on 5 May
    stands in the shop until 10 May.
    """
    plan = hand_plan()
    shared = (
        replace(plan.planting[1], field="North", units=30.0),
        replace(plan.planting[1], units=60.0),
    )
    made = make_campaign(hand_season(), replace(plan, planting=(plan.planting[0], *shared)))
    first, second = next(b for b in made.batches if b.lot == "L2").portions
    assert first.fields == ("North", "South")
    assert (first.earliest, first.latest) == (date(2027, 4, 30), date(2027, 5, 3))
    assert (second.fields, second.latest) == (("South",), date(2027, 5, 8))
    assert (first.planting, first.emptied) == (date(2027, 5, 5), date(2027, 5, 10))
    may = date(2027, 5, 1).toordinal()
    assert leaves(may, first, made.shop) == date(2027, 5, 10).toordinal()
    assert leaves(may, replace(first, emptied=None), made.shop) == date(2027, 5, 5).toordinal()


def test_a_life_shorter_than_the_cure_is_told():
    """Four hours on the seed (a sixth of a day) and two days of cure: no day fits."""
    season = hand_season()
    beta = replace(season.products[1], on_seed_life=4 / 24)
    made = make_campaign(replace(season, products=(season.products[0], beta)), hand_plan())
    assert any("no day fits" in note for note in made.notes)
    assert made.calendar.late == 2


# --- calibration -------------------------------------------------------------------------------


def lot(per_lb, units=1.0):
    return SeedLot("L", "V", 2.0, 500.0, per_lb, units_per_bag=units)


def one_rate(amount, basis, strength=5.0, **farm):
    """Season of one product and one recipe, for `doses`."""
    farm = Farm(plan_date=FIRST, crop_year=2027, first_treating_day=FIRST, **farm)
    product = Product("P", actives=(Active("A", strength),))
    recipe = Recipe("R", (Rate("P", amount, basis),))
    return Season(farm, (), (), (product,), (), (recipe,)), recipe


@pytest.mark.parametrize(
    ("per_lb", "grams"),
    [
        (2000, 226.796),
        (2400, 188.997),
        (2600, 174.459),
        (2800, 161.997),
        (3000, 151.197),
        (3200, 141.748),
        (3500, 129.598),
    ],
)
def test_weight_of_a_thousand_seeds(per_lb, grams):
    """g per 1,000 seeds = 453,592.37 / (seeds/lb): arithmetic on the international pound."""
    assert sample_grams(1000, per_lb) == pytest.approx(grams, abs=5e-4)
    assert seeds_per_lb(1000, grams) == pytest.approx(per_lb, rel=1e-5)


def test_row_of_a_continuous_treater():
    """300 lb/min at 6 fl oz/cwt: 18 fl oz/min = 532 mL/min, 9.0 fl oz in 30 s (by hand)."""
    made = dose("P", 3.0, 50.0, 1.0, 300.0)
    assert made.floz_per_min == pytest.approx(18.0)
    assert made.ml_per_min == pytest.approx(532, abs=0.5)
    assert [c.floz for c in made.catches] == pytest.approx([4.5, 9.0, 18.0])
    assert [c.seconds for c in made.catches] == [15, 30, 60]


def test_row_of_a_batch_treater():
    """A 40-lb dump at 6 fl oz/cwt takes 2.4 fl oz = 71 mL (by hand)."""
    made = dose("P", 6.0 * 0.4, 40.0, 1.0, None)
    assert made.floz_per_cwt == pytest.approx(6.0)
    assert (made.floz_per_bag, made.ml_per_bag) == pytest.approx((2.4, 71), abs=0.03)
    assert (made.floz_per_min, made.catches) == (None, ())


def test_band_of_a_catch():
    """60 s at 10 fl oz/min: 295.735 mL, five percent either way (common practice)."""
    made = catch(10.0, 60)
    assert made.ml == pytest.approx(295.735295625)
    assert (made.low_ml, made.high_ml) == pytest.approx((280.9485, 310.5221), abs=1e-3)


@pytest.mark.parametrize(
    ("per_lb", "weight", "floz"),
    [
        (2200, 63.6, 2.55),
        (2600, 53.8, 2.15),
        (2800, 50.0, 2.0),
        (3200, 43.8, 1.75),
        (3600, 38.9, 1.56),
    ],
)
def test_size_of_the_seed_changes_a_rate_by_weight(per_lb, weight, floz):
    """4 fl oz/cwt a unit by seeds/lb, derived; sizes within those of Gibson's Agronomy 212."""
    season, recipe = one_rate(4.0, Basis.FLOZ_PER_CWT)
    (made,) = doses(season, recipe, lot(per_lb))
    assert made.floz_per_unit == pytest.approx(floz, abs=0.005)
    assert unit_weight(lot(per_lb), season.farm) == pytest.approx(weight, abs=0.05)


@pytest.mark.parametrize(
    ("per_lb", "per_cwt"),
    [(2000, 1.4286), (2400, 1.7143), (2800, 2.0), (3200, 2.2857), (3500, 2.5)],
)
def test_floz_a_unit_as_floz_a_cwt(per_lb, per_cwt):
    """fl oz per 140,000-seed unit x (seeds/lb)/1,400 = fl oz/cwt (arithmetic)."""
    season, recipe = one_rate(1.0, Basis.FLOZ_PER_UNIT)
    (made,) = doses(season, recipe, lot(per_lb))
    assert made.floz_per_cwt == pytest.approx(per_cwt, abs=5e-5)


def test_mg_a_seed_as_floz_a_unit():
    """0.15 mg/seed is 21 g a unit; at 5 lb/gal 1.18520 fl oz (arithmetic, invented strength)."""
    season, recipe = one_rate(0.15, Basis.MG_PER_SEED)
    (made,) = doses(season, recipe, lot(2800))
    assert made.floz_per_unit == pytest.approx(1.18520, abs=1e-5)


def test_floz_a_cwt_in_metric():
    """4 fl oz/cwt = 260.794 mL/100 kg (NIST Handbook 44, App. C: pound and fluid ounce).

    As the calibration sheet of a metric farm gives it, under "By weight": R2 on L2.
    """
    season = hand_season()
    season = replace(season, farm=replace(season.farm, metric=True))
    book = load_workbook(io.BytesIO(render(campaign_book(make_campaign(season, hand_plan())))))
    rows = [[c for c in row if c is not None] for row in book["Calibration"].values]
    start = next(i for i, row in enumerate(rows) if row and str(row[0]).endswith("L2 with R2"))
    head = next(row for row in rows[start:] if row[:1] == ["Pump with"])
    alpha = next(row for row in rows[start:] if row[:1] == ["Alpha"])
    place = next(i for i, text in enumerate(head) if text.startswith("By weight"))
    assert "(mL/100\N{NO-BREAK SPACE}kg)" in head[place]
    assert alpha[place] == pytest.approx(260.794, abs=5e-4)


def test_size_table_of_a_batch():
    """Ten percent more seeds a pound: 50 / 1.1 = 45.4545 lb; 4 fl oz/cwt of that is 1.81818.

    The flow by weight stays: 4 fl oz/cwt at 300 lb/min is 12 fl oz/min. A rate a unit instead
    stays 2 a unit, and its flow rises by a tenth: 300 / 45.4545 x 2 = 13.2 fl oz/min.
    """
    made = make_campaign(hand_season(), hand_plan())
    by_recipe = {c.recipe: c for c in made.calibration}
    row = by_recipe["R2"].sizes[-1]
    assert row.change == pytest.approx(0.1)
    assert row.unit_weight == pytest.approx(45.4545, abs=1e-4)
    assert row.bag_weight == pytest.approx(1818.18, abs=0.01)
    assert row.doses[0].floz_per_unit == pytest.approx(1.81818, abs=1e-5)
    assert row.doses[0].floz_per_min == pytest.approx(12.0)
    plain = by_recipe["R1"]
    assert plain.doses[0].floz_per_min == pytest.approx(12.0)
    assert plain.sizes[-1].doses[0].floz_per_unit == pytest.approx(2.0)
    assert plain.sizes[-1].doses[0].floz_per_min == pytest.approx(13.2)


def test_calibration_agrees_with_the_rates_that_the_plan_counts():
    season, plan = random_case(11)
    made = make_campaign(season, plan)
    for batch in made.batches:
        sheet = calibration(season, batch)
        recipe = next(r for r in season.recipes if r.name == batch.recipe)
        one = next(x for x in season.lots if x.name == batch.lot)
        for rate, d in zip(recipe.rates, sheet.doses, strict=True):
            assert d.floz_per_unit == pytest.approx(floz_per_unit(rate, one, season))
            assert d.floz_per_cwt == pytest.approx(floz_per_cwt(rate, one, season))


# --- the calendar file -------------------------------------------------------------------------


def opened(campaign):
    """Events of the file, by icalendar's own parser."""
    calendar = icalendar.Calendar.from_ical(to_ical(campaign))
    return calendar, list(calendar.walk("VEVENT"))


def test_days_in_the_file():
    made = make_campaign(hand_season(), hand_plan())
    calendar, events = opened(made)
    told = [(e.decoded("dtstart"), str(e["summary"])) for e in events]
    assert told == [
        (date(2027, 3, 15), "Order and pay by today: Elm"),
        (date(2027, 4, 30), "Approval needed: R1"),
        (date(2027, 5, 1), "First treating day: treat 120 units, R1"),
        (date(2027, 5, 6), "Treat 90 units, R2"),
        (date(2027, 5, 16), "Plant by today"),
    ]
    first = str(events[2]["description"]).splitlines()
    assert first == [
        "R1: L1, bags 1 to 3, 120 units",
        "Have ready: jug of Alpha",
        "Still untreated that evening: 90 units",
    ]
    assert str(calendar["version"]) == "2.0"
    assert len({str(e["uid"]) for e in events}) == len(events)
    assert all(e.decoded("dtend") == e.decoded("dtstart") + timedelta(days=1) for e in events)


def test_every_entry_reminds():
    """Alarms inside the event with ACTION, TRIGGER, DESCRIPTION (RFC 9074, corrected grammar).

    Seven in the morning of the day before: 17 hours before the day begins.
    """
    _, events = opened(make_campaign(hand_season(), hand_plan()))
    for event in events:
        alarms = [c for c in event.subcomponents if c.name == "VALARM"]
        assert alarms
        for alarm in alarms:
            assert str(alarm["action"]) == "DISPLAY"
            assert str(alarm["description"]) == str(event["summary"])
        assert alarms[-1].decoded("trigger") == timedelta(hours=-17)
    order = next(e for e in events if str(e["summary"]).startswith("Order"))
    assert order.subcomponents[0].decoded("trigger") == timedelta(days=-7, hours=7)


def test_file_keeps_the_standard():
    """Lines of at most 75 octets ended by CR LF; UID and DTSTAMP (RFC 5545, 3.1 and 3.6.1).

    The figures are from memory of the standard.
    """
    made = make_campaign(hand_season(), hand_plan())
    data = to_ical(made)
    lines = data.split(b"\r\n")
    assert lines[0] == b"BEGIN:VCALENDAR"
    assert lines[-2:] == [b"END:VCALENDAR", b""]
    assert all(len(line) <= 75 and b"\n" not in line for line in lines)
    assert data.count(b"\r\nUID:") == data.count(b"\r\nDTSTAMP:") == data.count(b"BEGIN:VEVENT")
    assert to_ical(made) == data


def test_names_cannot_break_out_of_their_line():
    """Names hold what the standard escapes (3.3.11), line ends and control characters."""
    nasty = "A;B,C\\D\r\nEND:VEVENT\x00\x1b[2J" + "Й" * 60
    made = make_campaign(hand_season(), hand_plan())
    made = replace(made, events=(Event(FIRST, nasty, nasty),), deadlines=())
    _, events = opened(made)
    assert len(events) == 1
    summary = str(events[0]["summary"])
    assert summary.startswith("A;B,C\\D\nEND:VEVENT[2J")
    assert summary.endswith("Й" * 60)
    assert b"\x00" not in to_ical(made)


# --- the ends of the calendar ------------------------------------------------------------------


@pytest.mark.parametrize("life", [None, 0.0, 1e300])
@pytest.mark.parametrize("cure", [0.0, 1e300])
@pytest.mark.parametrize("day", [date.min, date.max])
def test_days_at_the_ends_of_the_calendar(day, cure, life):
    """No day is so late, no span so long, that anything but late bags comes of it."""
    season, plan = hand_season(), hand_plan()
    farm = replace(season.farm, first_treating_day=day, plan_date=day, cure_days=cure)
    season = replace(
        season,
        farm=replace(farm, treating_done_by=day, bags_per_day=1.0, floor_space=1.0),
        fields=tuple(replace(f, planting_date=day) for f in season.fields),
        lots=tuple(replace(x, test_date=day) for x in season.lots),
        products=tuple(replace(p, on_seed_life=life, expires=day) for p in season.products),
    )
    made = make_campaign(season, plan)
    assert to_ical(made)
    assert sum(r.bags for r in made.calendar.runs) == 6


def test_opened_stock_goes_first_then_what_is_on_its_way_then_large_containers():
    season, plan = hand_season(), hand_plan()
    drum = replace(season.containers[0], name="drum", size=400.0, heel=8.0)
    season = replace(
        season,
        containers=(*season.containers, drum),
        ordered=(OnItsWay("Alpha", "jug", 1),),
    )
    order = (replace(plan.order[0], count=1), replace(plan.order[0], container="drum", count=2))
    use = replace(plan.products[0], on_its_way=196.0, bought=980.0, left=815.0)
    plan = replace(plan, order=(*order, plan.order[1]), products=(use, plan.products[1]))
    made = make_campaign(season, plan)
    alpha = [u for u in made.drawdown.containers if u.product == "Alpha"]
    assert [u.source for u in alpha] == ["stock on hand", "jug", "drum", "drum", "jug"]
    assert [u.left for u in alpha] == pytest.approx([0.0, 0.0, 227.0, 392.0, 196.0])
    closed = [x.detail for x in made.leftovers if x.what == "Alpha"]
    assert closed == ["drum (opened)", "drum (closed)", "jug (closed)"]


def test_expired_stock_is_told_where_it_is_still_drawn_from():
    """Stock of 100 is used up at bag 2 on 20 April; it expires the day before."""
    season = hand_season()
    old = replace(season.products[0], expires=FIRST - timedelta(days=1))
    made = make_campaign(replace(season, products=(old, season.products[1])), hand_plan())
    assert any(
        "expires on Mon 4/19/2027, still drawn from on Sat 5/1/2027" in n for n in made.notes
    )


def test_an_event_keeps_its_uid_when_its_day_moves():
    """The first two bags are done on 21 April, the third on 4 May: its day moves with its UID."""
    made = make_campaign(hand_season(), hand_plan())
    done = [Done("L1", "R1", 2, date(2027, 4, 21))]
    later = update(made, done, today=date(2027, 5, 4))
    before, after = ({str(e["uid"]): e for e in opened(x)[1]} for x in (made, later))
    moved = [u for u in before if u in after and moves(before[u], after[u])]
    assert moved
    assert all(int(e["sequence"]) == 1 for e in after.values())


def moves(before, after):
    return after.decoded("dtstart") != before.decoded("dtstart")

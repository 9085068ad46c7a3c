"""Conservation on random plans, and days at the ends of the calendar."""

from dataclasses import replace
from datetime import date, timedelta
from itertools import pairwise

import pytest

from planner.campaign.campaign import make_campaign, update
from planner.campaign.ical import to_ical
from planner.campaign.placer import leaves
from planner.plan.plan import Planting
from planner.season.domain import (
    Done,
    OnItsWay,
    TreatedSeed,
)
from tests.support.campaigns import FIRST, hand_plan, hand_season, need_of, random_case
from tests.support.quick import few

CASES = 150

# --- conservation ------------------------------------------------------------------------------


@pytest.fixture(scope="module", params=few(range(CASES)))
def carried_out(request):
    """A random season, its plan, and the campaign made of them once for all tests of it."""
    season, plan = random_case(request.param)
    return season, plan, make_campaign(season, plan)


def test_every_bag_once_and_every_floz_accounted_for(carried_out):
    """Counted again here from season, plan and campaign, besides the campaign's own audit."""
    season, plan, made = carried_out
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
    """Fl oz that the line takes where a recipe is taken up again, or stood too long over night."""
    recipes = {r.name: {x.product for x in r.rates} for r in season.recipes}
    seen, before, times = set(), None, 0
    for run in campaign.calendar.runs:
        if product.name in recipes[run.recipe]:
            if before is None or run.recipe != before.recipe:
                times += run.recipe in seen
            elif product.slurry_life is not None and run.day != before.day:
                times += 24 * (run.day - before.day).days - 12 > product.slurry_life
        seen.add(run.recipe)
        before = run
    return times * product.line_loss


def test_levels_fall_and_containers_follow_one_another(carried_out):
    _, _, made = carried_out
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

    What the line takes again comes on top, as far as there is any.
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
    assert made.calendar.late == 2
    assert made.notes[0].startswith("No day suits 2 bags: cured in time, what lives on the seed is")
    assert "L2 with R2, bags 1 to 2: no day fits." in made.notes[1]
    assert made.notes[1].endswith("Cure it less.")


def test_bags_without_a_day_hide_no_remedy_for_the_others():
    """North is planted on 5 May, South on the 20th; L2's first bag goes to both, and lives 10 days.

    A bag a day from 2 May: L1 on three days, L2 from 10 May on, when treating ends. So one of its
    other two is late; two bags a day have room for both.
    """
    season, plan = hand_season(), hand_plan()
    farm = replace(
        season.farm,
        first_treating_day=date(2027, 5, 2),
        treating_done_by=date(2027, 5, 10),
        bags_per_day=1.0,
    )
    fields = (season.fields[0], replace(season.fields[1], planting_date=date(2027, 5, 20)))
    rows = (
        replace(plan.planting[0], acres=80.0, units=80.0),
        Planting("North", "L2", "R2", 20.0, 20.0),
        replace(plan.planting[1], acres=70.0, units=70.0),
    )
    made = make_campaign(replace(season, fields=fields, farm=farm), replace(plan, planting=rows))
    assert made.calendar.late == 2
    days, remedy, why, *_ = made.notes
    assert days.startswith("There are not enough days: 2 bags are too many")
    assert days.endswith("No day suits 1 of them, whatever is changed.")
    assert remedy.startswith("Any one of these would bring the others in time, in the same order:")
    assert remedy.endswith("or 1 bag more a day.")
    assert why.startswith("L2 with R2, bag 1: no day fits. It must be treated by Mon 5/3/2027")
    assert "or give the last of them seed of another bag" in why
    more = replace(farm, bags_per_day=2.0)
    made = make_campaign(replace(season, fields=fields, farm=more), replace(plan, planting=rows))
    assert made.notes[0].startswith("No day suits 1 bag: cured in time")


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

"""What the sheets say, before anything is drawn: balances, sums, order, sentences."""

import math
import re
from dataclasses import replace
from datetime import date

import pytest
from openpyxl.chart import BarChart

from planner.agronomy.protection import need
from planner.explain.again_changes import Again
from planner.explain.explain import Explanation
from planner.plan.plan import Cost, Outcome, Plan, Planting, SeedPurchase, Shortage
from planner.report.again_frames import CHANGED
from planner.report.answer import (
    bags_by_size,
    cash,
    payments,
    spare,
    threats,
    to_do_lines,
    to_pay,
)
from planner.report.breaks import page_breaks
from planner.report.charts import _frame
from planner.report.facts import Facts
from planner.report.field_frames import fields_sheet
from planner.report.fit import plain
from planner.report.front_frames import MOST_LINES, front_sheet, nearness
from planner.report.layout import lay_out
from planner.report.measures import Manner, Measure
from planner.report.order_frames import order_sheet
from planner.report.picture_frames import picture_sheets
from planner.report.protection_frames import protection_sheet, protection_table, threats_in_order
from planner.report.sheets import (
    MAX_TITLE,
    Chart,
    ChartKind,
    ChartRow,
    Column,
    KeyFigures,
    Link,
    Look,
    Room,
    Series,
    Sheet,
    Table,
    Text,
)
from planner.report.supplier_frames import seed_order_sheets, supplier_sheets
from planner.report.treating_frames import doses_sheet, per_recipe, treating_sheet
from planner.season.domain import Container, Pressure, PriceBreak, Rating, Supplier
from tests.support.books import all_sheets, described, table_in, winter
from tests.support.plans import HAND_PLAN, HAND_SEASON
from tests.support.quick import few
from tests.support.random_season import tiny_season
from tests.support.sample_plan import awkward_season, big_season, greedy_plan, sample_season
from tests.support.seasons import farm, field, lot, season

RANDOM = few(range(60), 4)


def facts_of(season) -> Facts:
    return Facts(greedy_plan(season), season)


def column(found: Table, key: str) -> list:
    return [plain(row[found.column(key)]) for row in found.rows]


# --- measures ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("measure", "us", "metric"),
    [  # one US working unit of each; NIST Handbook 44, Appendix C, worked out by hand
        (Measure.AREA, 1.0, 0.40468564224),
        (Measure.VOLUME, 1 / 128, 0.0295735295625),
        (Measure.DOSE, 1.0, 29.5735295625),
        (Measure.WEIGHT, 1.0, 0.45359237),
        (Measure.DOSE_PER_WEIGHT, 1.0, 65.1984723),  # mL/100 kg, to nine figures
        (Measure.SEEDS_PER_WEIGHT, 1.0, 2.2046226218),
        (Measure.SEEDS_PER_AREA, 1.0, 2.4710538147),
        (Measure.WEIGHT_PER_AREA, 1.0, 1.1208511562),  # kg/ha in a lb/acre
        (Measure.YIELD, 1.0, 67.2510693739),  # kg/ha; a bushel is 60 lb (Indiana Code 24-6-1-1)
        (Measure.MONEY_PER_VOLUME, 128.0, 33.8140227018),
    ],
)
def test_numbers_are_shown_by_published_factors(measure: Measure, us: float, metric: float) -> None:
    assert Manner().value(1.0, measure) == pytest.approx(us, rel=1e-9)
    assert Manner(metric=True).value(1.0, measure) == pytest.approx(metric, rel=1e-8)


def test_liters_are_as_fine_as_gallons() -> None:
    """A 5 L can with a heel of 50 mL holds 4.95 L to use, not 5.0 less 0.0 and 4.9."""
    liter = 1000 / 29.5735295625  # NIST Handbook 44, Appendix C
    said = [Manner(metric=True).say(x * liter, Measure.VOLUME) for x in (5.0, 0.05, 4.95)]
    assert said == ["5 L", "0.05 L", "4.95 L"]


def test_every_measure_has_a_unit_in_both_systems() -> None:
    """Those that have one name the farm's own units and its currency, and no others."""
    us = Manner()
    metric = Manner(metric=True, currency="kr")
    assert (us.label(Measure.YIELD), metric.label(Measure.YIELD)) == ("bu/acre", "kg/ha")
    for measure in set(Measure):
        ours, theirs = us.label(measure), metric.label(measure)
        assert bool(ours) is bool(theirs), measure
        assert "¤" not in ours + theirs
        assert not re.search(r"\b(mL|L|ha|kg|kr)\b", ours), measure
        assert not re.search(r"\b(gal|fl oz|acres?|lb|cwt)\b|\$", theirs), measure
    assert (us.label(Measure.AREA), metric.label(Measure.AREA)) == ("acres", "ha")
    assert (us.label(Measure.VOLUME), metric.label(Measure.VOLUME)) == ("gal", "L")


# --- balances ------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", RANDOM)
def test_every_unit_of_seed_is_somewhere(seed: int) -> None:
    facts = facts_of(tiny_season(seed))
    for b in facts.lot_balances:
        have = b.lot.on_hand + b.bought
        assert have == pytest.approx(b.planted + b.left_treated + b.left_untreated, abs=1e-6)
        assert min(b.left_treated, b.left_untreated) >= -1e-6
    by_maturity = sum(m.planted + m.left_treated + m.left_untreated for m in facts.maturities)
    assert by_maturity == pytest.approx(sum(b.lot.on_hand + b.bought for b in facts.lot_balances))


@pytest.mark.parametrize("seed", RANDOM)
def test_accounts_add_up_to_the_cost(seed: int) -> None:
    facts = facts_of(tiny_season(seed))
    cost = facts.plan.cost
    assert sum(a.spend for a in facts.accounts) == pytest.approx(cost.containers)
    assert sum(a.saved for a in facts.accounts) == pytest.approx(cost.discounts)
    assert sum(a.freight for a in facts.accounts) == pytest.approx(cost.freight)


@pytest.mark.parametrize("seed", RANDOM)
def test_need_by_recipe_adds_up_to_the_need(seed: int) -> None:
    facts = facts_of(tiny_season(seed))
    found = per_recipe(facts)
    need: dict[str, float] = {}
    for product, used in zip(column(found, "product"), column(found, "need"), strict=True):
        need[product] = need.get(product, 0.0) + used
    for use in facts.plan.products:
        assert need.get(use.product, 0.0) == pytest.approx(use.need, abs=1e-9)


def test_the_hand_plan_by_hand() -> None:
    """The plan of the audit's tests: its treated units, by lot, are those of its table."""
    facts = Facts(HAND_PLAN, HAND_SEASON)
    treated = {b.lot.name: b.treated for b in facts.lot_balances}
    assert sum(treated.values()) == sum(t.units for t in HAND_PLAN.treating)
    assert sum(c.total for c in facts.costs) == pytest.approx(HAND_PLAN.cost.total)


def test_maturities_are_put_together_where_there_are_many() -> None:
    season = sample_season()
    lots = tuple(
        replace(season.lots[0], name=f"L{i}", variety=f"V{i}", maturity=1.0 + i / 20)
        for i in range(40)
    )
    facts = facts_of(replace(season, lots=lots))
    assert len(facts.maturities) <= 14
    assert " to " in facts.maturities[0].label
    assert sum(m.planted for m in facts.maturities) == pytest.approx(
        sum(p.units for p in facts.plan.planting)
    )


def test_doses_of_a_part_bag_are_those_of_its_units() -> None:
    """20 units of 43.75 lb (140,000 seeds at 3,200 a lb) at 4 fl oz/cwt take 35 fl oz."""
    found = table_in(doses_sheet(facts_of(sample_season())), "doses")
    rows = [r for r in found.rows if r[1] == "S26-701" and plain(r[2]) == "Duskfield"]
    assert plain(rows[0][found.column("part")]) == pytest.approx(35.0)
    assert plain(rows[0][found.column("bag")]) is None


# --- sentences -----------------------------------------------------------------------------------


def test_sureness_in_words() -> None:
    season = sample_season()
    plan = replace(greedy_plan(season), shortages=())
    total = plan.cost.total
    said = nearness(Facts(replace(plan, bound=total - 1234.5, gap=1234.5 / total), season))
    assert said[0].startswith(
        "No plan can be cheaper by more than $1,234.50 (2.98% of the total compared)"
    )
    proven = replace(plan, bound=total - 2.0, gap=2.0 / total, outcome=Outcome.OPTIMAL)
    assert nearness(Facts(proven, season))[0].startswith("Proven: no plan can be cheaper by more")
    exact = replace(proven, bound=total, gap=0.0)
    assert "by a cent" in nearness(Facts(exact, season))[0]
    for bound, gap in ((-math.inf, math.inf), (-2.0 * total, 3.0)):
        blind = replace(plan, bound=bound, gap=gap)
        assert "not known" in nearness(Facts(blind, season))[0]
    short = replace(exact, shortages=(Shortage("Far Forty", 1.0),), shortage_proven=False)
    assert "leaves less land short may exist" in nearness(Facts(short, season))[-1]
    assert "and leaves no more land short is cheaper" in nearness(Facts(short, season))[0]
    near = replace(short, bound=total - 2.0, gap=2.0 / total, outcome=Outcome.FEASIBLE)
    assert nearness(Facts(near, season))[0].startswith(
        "No plan that leaves no more land short can be cheaper by more than $2.00"
    )


def test_the_first_page_says_what_is_short_or_that_nothing_is() -> None:
    season = sample_season()
    plan = greedy_plan(season)
    texts = [b for b in front_sheet(Facts(plan, season)).blocks if isinstance(b, Text)]
    assert any("Far Forty: 18.9 acres short" in p for t in texts for p in t.paragraphs)
    whole = Facts(replace(plan, shortages=()), season)
    texts = [b for b in front_sheet(whole).blocks if isinstance(b, Text)]
    (top,) = [b for b in front_sheet(whole).blocks if isinstance(b, KeyFigures)]
    assert any(f.note.endswith(": all covered") for f in top.figures)
    assert not any("short -" in p or "SHORT" in p for t in texts for p in t.paragraphs)


def test_the_first_page_stays_short_with_a_long_order() -> None:
    season = sample_season()
    containers = tuple(
        Container("Duskfield", f"can {i}", 30.0, (PriceBreak(1, 10.0),), most=1) for i in range(60)
    )
    facts = facts_of(replace(season, containers=(*containers, *season.containers)))
    assert len(facts.plan.order) > MOST_LINES
    found = table_in(front_sheet(facts), "order")
    assert len(found.rows) == MOST_LINES
    assert "more line" in found.note


def test_white_mold_comes_first() -> None:
    facts = facts_of(sample_season())
    assert threats_in_order(facts)[0].name == "White mold"
    found = protection_table(facts)
    assert column(found, "threat")[0] == "White mold"
    said = [p for b in protection_sheet(facts).blocks if isinstance(b, Text) for p in b.paragraphs]
    assert any("No seed treatment protects against white mold all season" in p for p in said)


def test_protection_lists_every_field_under_pressure() -> None:
    facts = facts_of(sample_season())
    found = protection_table(facts)
    for threat in facts.season.threats:
        rows = [r for r in found.rows if r[0] == threat.name]
        acres = sum(plain(r[found.column("area")]) for r in rows)
        pressed = [f for f in facts.season.fields if f.pressure[threat.name] is not Pressure.NONE]
        assert acres == pytest.approx(sum(f.acres for f in pressed))
        needs = [r[found.column("need")] for r in rows]
        assert needs == sorted(needs, key=["G", "F", "P", "none"].index)
    # an acre under two threats is in two groups: they are summed, all of them together are not
    assert (found.group, found.total_label) == ("threat", "")
    assert (
        not lay_out(Sheet("Mine", "For a test.", (found,)), Manner(), home=True).placed[0].total_row
    )


def test_what_protection_costs_has_a_column_where_it_is_known_only() -> None:
    """It was a column of 'not known', with a note that explained what it might have said."""
    found = table_in(protection_sheet(facts_of(sample_season())), "threats")
    assert "cost" not in [c.key for c in found.columns]
    assert "Protection costs" not in found.note


def test_threats_count_fields_that_ask_for_a_rating_only() -> None:
    """White mold asks on Marsh Bottom and Willow Slough: 146 + 96 acres, all under Full."""
    facts = facts_of(sample_season())
    found = table_in(protection_sheet(facts), "threats")
    rows = {plain(row[0]): row for row in found.rows}
    area, verdict = found.column("area"), found.column("verdict")
    assert rows["White mold"][area] == pytest.approx(242.0)
    assert plain(rows["White mold"][verdict]) == "enough"
    short = [f.acres_short for p in facts.threats if p.threat == "Pythium" for f in p.fields]
    assert sum(short) == pytest.approx(18.9, abs=0.05)
    assert rows["Pythium"][area] == pytest.approx(687.8 + 18.9, abs=0.1)
    assert plain(rows["Pythium"][verdict]) == "land unplanted"


def test_land_whose_pressure_asks_for_nothing_is_not_called_protected() -> None:
    """Without a need at moderate only Marsh Bottom, high, 146 acres, asks for protection."""
    season = sample_season()
    pythium, mold, *others = season.threats
    easy = replace(mold, need={Pressure.HIGH: Rating.G})
    assert easy.name == "White mold"
    season = replace(season, threats=(pythium, easy, *others))
    found = table_in(protection_sheet(facts_of(season)), "threats")
    (row,) = [row for row in found.rows if plain(row[0]) == "White mold"]
    assert row[found.column("area")] == pytest.approx(146.0)


def test_fields_show_need_and_rating_side_by_side() -> None:
    facts = facts_of(sample_season())
    found = table_in(protection_sheet(facts), "fields")
    mold = next(n for n, c in enumerate(found.columns) if c.header == "White mold")
    said = {row[0]: plain(row[mold]) for row in found.rows if row[mold] is not None}
    assert set(said) == {"Marsh Bottom", "Willow Slough"}
    wanted = {f.name: need(f, facts.season.threats[1]).name for f in facts.season.fields}
    assert all(said[name].startswith(f"{wanted[name]}: ") for name in said)


def test_seed_treated_before_is_listed_whole() -> None:
    """On Treating as on Seed: rows of Treated so far, and lots that were treated as a whole."""
    season = sample_season()
    lots = (replace(season.lots[0], treated_with=season.recipes[0].name), *season.lots[1:])
    facts = facts_of(replace(season, lots=lots))
    found = table_in(treating_sheet(facts), "before")
    before = sum(b.treated_before for b in facts.lot_balances)
    assert season.lots[0].on_hand <= before == pytest.approx(sum(column(found, "units")))
    # of a lot that can be bought treated, and was not, nothing was treated before
    none = (*lots, replace(lots[0], name="Not bought", on_hand=0.0, can_buy=40.0))
    found = table_in(treating_sheet(facts_of(replace(season, lots=none))), "before")
    assert "Not bought" not in column(found, "lot")


def test_seed_to_buy_stands_in_the_order_on_the_first_page() -> None:
    season = sample_season()
    plan = greedy_plan(season)
    lot = season.lots[0]
    bought = (SeedPurchase(lot.name, 2, 2 * lot.units_per_bag, 1234.5),)
    facts = Facts(replace(plan, seed_purchases=bought), season)
    found = table_in(front_sheet(facts), "order")
    (row,) = [r for r in found.rows if str(r[1]).startswith("seed ")]
    assert row[1] == f"seed {lot.variety}, lot {lot.name}"
    assert (plain(row[3]), row[4], row[5]) == (2, 617.25, 1234.5)
    assert payments(facts)[-1].amount == 1234.5
    assert to_pay(facts) == pytest.approx(sum(a.to_pay for a in facts.accounts) + 1234.5)
    none = table_in(front_sheet(Facts(replace(plan, seed_purchases=()), season)), "order")
    assert not any(str(r[1]).startswith("seed ") for r in none.rows)


def test_an_order_of_seed_says_that_it_is_to_come_treated() -> None:
    """The seller got lot and count alone: he could not know what it was to have on it."""
    *others, treated = HAND_SEASON.lots
    assert (treated.name, treated.treated_with) == ("L3", "R1")
    lots = (*others, replace(treated, can_buy=20.0, buy_price=70.0))
    plan = replace(HAND_PLAN, seed_purchases=(SeedPurchase("L3", 1, 10.0, 700.0),))
    facts = Facts(plan, replace(HAND_SEASON, lots=lots))
    (order,) = seed_order_sheets(facts)
    assert column(table_in(order, "lines"), "treated") == ["treated with R1: Alpha"]
    rows = table_in(front_sheet(facts), "order").rows
    assert any(str(row[1]) == "seed V16, lot L3, treated with R1" for row in rows)
    assert table_in(treating_sheet(facts), "before").title.endswith(", or bought treated")
    both = (SeedPurchase("L1", 1, 20.0, 240.0), *plan.seed_purchases)
    (order,) = seed_order_sheets(Facts(replace(plan, seed_purchases=both), facts.season))
    assert column(table_in(order, "lines"), "treated")[0] == "untreated"
    bought = table_in(order_sheet(Facts(replace(plan, seed_purchases=both), facts.season)), "seed")
    assert column(bought, "treated") == ["untreated", "R1"]
    alone = Facts(replace(plan, seed_purchases=both[:1]), facts.season)
    assert "treated" not in [c.key for c in table_in(order_sheet(alone), "seed").columns]
    (order,) = seed_order_sheets(alone)
    assert "treated" not in [c.key for c in table_in(order, "lines").columns]


def test_the_first_page_reads_in_four_lines() -> None:
    """Cash, threats, what runs short and what is next, above the order and the total.

    A jug of Rosemark is bought for 3.2 of its margin of 9.7 fl oz: that is to be checked.
    """
    season = sample_season()
    blocks = front_sheet(facts_of(season)).blocks
    titles = [b.title for b in blocks if isinstance(b, Text | Table) and b.title]
    kept = [t for t in titles if not t.startswith("Short:")]
    assert kept == [
        "Cash",
        "White mold and other threats",
        "What runs short first",
        "Check before you order",
        "Do next",
        "What to order",
        "Total compared (not a bill)",
        "How near the cheapest",
    ]
    facts = facts_of(season)
    assert cash(facts).startswith(f"${to_pay(facts):,.2f} in all")
    assert threats(facts)[0].startswith("White mold: ENOUGH. ")
    assert all(a.name in cash(facts) for a in facts.accounts)


def test_the_total_on_page_one_is_whole_cents_as_its_parts_are() -> None:
    """Three prices with parts of a cent: $100.004, $20.003 and $3.999 are $124.01, not 124.006."""
    facts = facts_of(sample_season())
    cost = Cost(containers=100.004, freight=20.003, seed_bought=3.999)
    table = table_in(front_sheet(Facts(replace(facts.plan, cost=cost), facts.season)), "cost")
    (row,) = table.rows
    assert [plain(cell) for cell in row] == [100.0, 20.0, 4.01, 124.01]


def test_where_only_a_poor_rating_is_asked_for_nobody_reads_enough() -> None:
    """P is the lowest rating that a product can have: who asks for no more has next to nothing."""
    one = sample_season()
    poor = dict.fromkeys((Pressure.LOW, Pressure.MODERATE, Pressure.HIGH), Rating.P)
    lots = tuple(replace(x, on_hand=3 * x.on_hand) for x in one.lots)
    facts = facts_of(
        replace(one, lots=lots, threats=tuple(replace(t, need=poor) for t in one.threats))
    )
    said = threats(facts)
    assert "ENOUGH" not in " ".join(said)
    assert "White mold: a rating of P (poor) is all that Threats asks for" in said[0]
    assert "only poor asked" in said[1]
    (figures,) = (b.figures for b in front_sheet(facts).blocks if isinstance(b, KeyFigures))
    figure = next(f for f in figures if f.label == "White mold")
    assert (figure.value, figure.look) == ("only poor asked", Look.WATCH)
    verdicts = column(table_in(protection_sheet(facts), "threats"), "verdict")
    assert {str(v) for v in verdicts} <= {"only poor asked", "nothing asked"}
    reached = {str(v) for v in column(protection_table(facts), "verdict")}
    assert "enough" not in reached
    assert all("enough." not in page.sentence for page in facts.threats)


def test_product_spare_under_three_percent_is_marked() -> None:
    facts = facts_of(sample_season())
    said = " ".join(spare(facts))
    for m in facts.margins[:8]:
        part = said.partition(f"{m.product} ")[2].partition(",")[0]
        assert ("TIGHT" in part) is (m.used < 0.03), (m, part)


def test_the_spare_of_every_product_is_named_the_scarcest_first() -> None:
    facts = facts_of(sample_season())
    assert len(facts.margins) > 2
    said = spare(facts)[0]
    places = [said.index(f" {m.product} ") for m in facts.margins]
    assert places == sorted(places)
    assert [m.used for m in facts.margins] == sorted(m.used for m in facts.margins)


def test_of_many_products_those_with_most_to_spare_are_counted(monkeypatch) -> None:
    facts = facts_of(sample_season())
    monkeypatch.setattr("planner.report.answer.MOST_SPARE", 1)
    rest = facts.margins[1:]
    said = spare(facts)[0]
    assert f"{len(rest)} more products with {rest[0].used:.1%}" in said


def test_seed_of_one_seller_that_is_ordered_by_two_days_is_paid_once() -> None:
    """Two lots of one seller, to be ordered in April and May and paid in June."""
    season = sample_season()
    days = (date(2027, 4, 10), date(2027, 5, 10))
    lots = [
        replace(lot, seller="Coop", order_by=day)
        for lot, day in zip(season.lots, days, strict=False)
    ]
    seller = Supplier("Coop", pay_by=date(2027, 6, 1))
    season = replace(season, lots=(*lots, *season.lots[2:]), suppliers=(*season.suppliers, seller))
    bought = tuple(SeedPurchase(x.name, 1, x.units_per_bag, 100.0 + n) for n, x in enumerate(lots))
    facts = Facts(replace(greedy_plan(season), seed_purchases=bought), season)
    (paid,) = [p for p in payments(facts) if p.who == "Coop"]
    assert (paid.day, paid.what, paid.amount) == (date(2027, 6, 1), "seed", 201.0)


def test_payments_and_days_off_stand_in_what_is_next() -> None:
    facts = facts_of(sample_season())
    lines = to_do_lines(facts)
    assert payments(facts)
    for p in payments(facts):
        paid = f"pay {p.who} ${p.amount:,.2f}"
        (line,) = [x for x in lines if paid in x or paid.capitalize() in x]
        assert p.day is None or line.startswith(f"By {p.day:%a} ")
    for line in (x for x in lines if x.startswith("By ")):
        assert (" (a weekend: by the Friday before):" in line) is (line[3:6] in ("Sat", "Sun"))


def test_days_before_the_plan_are_told_as_past() -> None:
    """The suppliers wanted orders by 15 January and 1 February; in May, that is to be done now."""
    winter_ = sample_season()
    may = replace(winter_, farm=replace(winter_.farm, plan_date=date(2027, 5, 2)))
    facts = facts_of(may)
    first, *rest = to_do_lines(facts)
    assert first.startswith("Now (was due Fri 1/15/2027): order ")
    assert not [x for x in (first, *rest) if x.startswith("By ")]
    assert "to North Depot for products now (was due Fri 1/15/2027)" in cash(facts)
    texts = [b for b in front_sheet(facts).blocks if isinstance(b, Text)]
    (asked,) = [b for b in texts if b.title == "Check before you order"]
    wanted = "North Depot wanted orders by 1/15/2027, which is past: ask whether it still sells"
    assert asked.paragraphs[0].startswith(wanted)
    for sheet in supplier_sheets(facts):
        assert plain(table_in(sheet, "parties").rows[2][1]) is None
    on_time = facts_of(winter_)
    assert to_do_lines(on_time)[0].startswith("By Fri 1/15/2027: order ")
    assert plain(table_in(supplier_sheets(on_time)[0], "parties").rows[2][1]) == date(2027, 1, 15)


def test_bags_are_told_apart_by_size() -> None:
    facts = facts_of(sample_season())
    sizes = {facts.lots[t.lot].units_per_bag for t in facts.plan.treating if t.full_bags}
    said = bags_by_size(facts)
    for size in sizes:
        full = sum(
            t.full_bags for t in facts.plan.treating if facts.lots[t.lot].units_per_bag == size
        )
        assert f"{full:,} of {size:g} unit" in said


# --- the book ------------------------------------------------------------------------------------


@pytest.mark.parametrize("make", [sample_season, awkward_season, lambda: big_season(30)])
def test_titles_are_ours_and_short(make) -> None:
    season = make()
    titles = list(all_sheets(described(greedy_plan(season), season)))
    for book in described(greedy_plan(season), season).values():
        assert len({s.title.casefold() for s in book.sheets}) == len(book.sheets)
    assert len({t.casefold() for t in titles}) == len(titles)
    names = {x.name for x in (*season.fields, *season.lots, *season.products, *season.suppliers)}
    for title in titles:
        assert len(title) <= MAX_TITLE
        assert title.replace(" ", "").isalnum()
        assert title not in names


def test_rooms_stand_in_their_order() -> None:
    season = sample_season()
    book = winter(greedy_plan(season), season)
    rooms = [list(Room).index(s.room) for s in book.sheets]
    assert rooms == sorted(rooms)
    assert next(s.title for s in book.sheets if s.room is Room.ORDER) == "Order sheet 1"


@pytest.mark.parametrize(("before", "breaks"), [(38, True), (20, False)])
def test_a_long_table_does_not_begin_at_the_foot_of_a_page(before: int, breaks: bool) -> None:
    """A page holds 46 rows of 15 points; four stand above the text, one below it."""
    text = Text(tuple("x" for _ in range(before)))
    long = Table("long", (Column("a", "A"),), tuple((str(n),) for n in range(100)), "Long")
    layout = lay_out(Sheet("Mine", "For a test.", (text, long)), Manner(), home=False)
    assert page_breaks(layout) == ([layout.table("long").top] if breaks else [])


@pytest.mark.parametrize(("paragraphs", "begins_a_page"), [(2, False), (20, True)])
def test_no_title_stands_alone_on_a_page_before_the_table_whose_header_repeats(
    paragraphs: int, begins_a_page: bool
) -> None:
    text = Text(tuple(f"Paragraph {i}" for i in range(paragraphs)))
    rows = tuple((str(n),) for n in range(44))  # nearly a page
    main = Table("main", (Column("a", "A"),), rows, repeat_header=True)
    layout = lay_out(Sheet("Mine", "For a test.", (text, main)), Manner(), home=False)
    table = layout.table("main")
    assert page_breaks(layout) == ([table.top] if begins_a_page else [])
    assert table.torn is not begins_a_page


def test_a_plan_made_again_opens_with_what_changed() -> None:
    season = sample_season()
    nothing = dict.fromkeys(("moves", "fields", "order", "seed", "spare"), ())
    money = ("worth_moving", "keeping", "cheapest", "total", "old_total", "paid", "given_up")
    zero = dict.fromkeys((*money, "moved", "fewest", "moved_bound", "more_short"), 0.0)
    said = ("Two fields moved.", "Buy.", "Nothing is left over.")
    again = Again(most_moved=None, from_before="", sentences=said, **nothing, **zero)
    book = winter(greedy_plan(season), season, why=Explanation(again=again))
    assert [s.title for s in book.sheets[:2]] == ["The plan", CHANGED]
    assert book.sheets[0].blocks[0].paragraphs == (f"Two fields moved. See {CHANGED}.",)


def test_every_row_has_a_content_for_every_column() -> None:
    for make in (sample_season, awkward_season):
        season = make()
        for sheet in all_sheets(described(greedy_plan(season), season)).values():
            tables = [b for b in sheet.blocks if isinstance(b, Table)]
            assert len({t.name for t in tables}) == len(tables)
            for t in tables:
                assert len({c.key for c in t.columns}) == len(t.columns), t.name
                assert all(len(row) == len(t.columns) for row in t.rows), (sheet.title, t.name)


def test_nothing_follows_the_table_of_fields_whose_header_is_on_every_page() -> None:
    """What followed stood on a page of its own under that header, which had no rows there."""
    blocks = fields_sheet(facts_of(sample_season())).blocks
    assert isinstance(blocks[-1], Table)
    assert blocks[-1].repeat_header


def test_a_part_under_the_smallest_split_is_explained() -> None:
    """76.3 and 3.7 acres of two lots are one share of 80 acres, whatever the smallest split."""
    whole = season(
        farm=farm(smallest_split=20.0), lots=(lot(on_hand=77.0), lot("L2", on_hand=20.0))
    )
    parts = (("L1", 76.3), ("L2", 3.7))
    planting = tuple(Planting("North", name, "R1", acres, acres) for name, acres in parts)
    plan = Plan(Outcome.FEASIBLE, 0.0, 0.0, Cost(), planting=planting)
    table = table_in(fields_sheet(Facts(plan, whole)), "planting")
    assert "North has only 3.7 acres of L2: Smallest split adds up" in table.note
    one = replace(plan, planting=planting[:1])
    table = table_in(fields_sheet(Facts(one, whole)), "planting")
    assert "Smallest" not in table.note
    free = replace(whole, farm=farm())
    table = table_in(fields_sheet(Facts(plan, free)), "planting")
    assert "Smallest" not in table.note
    corner = (replace(planting[0], acres=79.2), replace(planting[1], acres=0.8))
    table = table_in(fields_sheet(Facts(replace(plan, planting=corner), free)), "planting")
    assert "only 0.8 acres of L2. The setting Smallest lot share keeps" in table.note


@pytest.mark.parametrize(("metric", "length", "seeds"), [(False, "ft", 57.4), (True, "m", 188.2)])
def test_the_drop_is_told_in_a_length_of_row_where_the_row_width_is_known(metric, length, seeds):
    """200,000 in 15-inch rows are 5.74 in a foot (Gibson); derived: 188.2 in 10 m at 494,000/ha."""
    fields = (field(seeds=200_000.0, row_width=15.0), field("South"))
    whole = season(farm=farm(metric=metric), fields=fields)
    planting = tuple(Planting(f.name, "L1", "R1", 80.0, 80.0) for f in fields)
    plan = Plan(Outcome.FEASIBLE, 0.0, 0.0, Cost(), planting=planting)
    table = table_in(fields_sheet(Facts(plan, whole)), "planting")
    at = [c.header for c in table.columns].index(f"Seeds in 10 {length} of row")
    assert [row[at] for row in table.rows] == [pytest.approx(seeds, abs=0.05), None]
    assert table.columns[at].measure is Measure.NUMBER
    bare = table_in(
        fields_sheet(Facts(plan, replace(whole, fields=(field(), fields[1])))), "planting"
    )
    assert not any("of row" in c.header for c in bare.columns)


def test_charts_name_the_farms_land_and_draw_no_title_over_names_beside_bars() -> None:
    """Names beside bars are wide: the title of their axis was drawn over them."""
    for metric, land in ((False, "an acre"), (True, "a hectare")):
        facts = facts_of(sample_season(metric=metric))
        titles = [
            c.title
            for b in picture_sheets(facts)[0].blocks
            if isinstance(b, ChartRow)
            for c in b.charts
        ]
        assert any(t.startswith(f"Cost of {land} by field") for t in titles), titles
    for kind, titled in ((ChartKind.STACKED_BARS, False), (ChartKind.COLUMNS, True)):
        drawn = BarChart()
        chart = Chart("c", kind, Link("s", "t"), "a", (Series("a"),), "Kind of cost", "Amount")
        _frame(drawn, chart, "$")
        assert (drawn.x_axis.title is not None) is titled


# --- seed, by seller and day ---------------------------------------------------------------------


def seed_season():
    """Three lots to buy: two of Elm's (paid on 1 March, one ordered sooner), one of nobody's."""
    one = sample_season()
    elm = Supplier("Elm", order_by=date(2027, 1, 31), pay_by=date(2027, 3, 1))
    lots = (
        replace(one.lots[0], seller="Elm"),
        replace(one.lots[1], seller="Elm", order_by=date(2026, 12, 20)),
        replace(one.lots[2], order_by=date(2027, 1, 10)),
        *one.lots[3:],
    )
    season_ = replace(one, suppliers=(*one.suppliers, elm), lots=lots)
    bought = tuple(
        SeedPurchase(x.name, 2, 2 * x.units_per_bag, cost)
        for x, cost in zip(lots[:3], (1_000.0, 500.0, 250.0), strict=True)
    )
    return season_, replace(greedy_plan(one), seed_purchases=bought)


def test_seed_is_ordered_from_each_seller_on_a_sheet_of_its_own() -> None:
    season_, plan = seed_season()
    facts = Facts(plan, season_)
    found = table_in(order_sheet(facts), "seed")
    assert column(found, "seller") == ["Elm", None, "Elm"]
    assert column(found, "order_by") == [date(2026, 12, 20), date(2027, 1, 10), date(2027, 1, 31)]
    first, second = seed_order_sheets(facts)
    assert (first.title, second.title) == ("Seed order 1", "Seed order 2")
    assert first.purpose.endswith("from Elm.")
    assert column(table_in(first, "lines"), "amount") == [500.0, 1_000.0]
    assert table_in(first, "parties").rows[2:4] == (
        ("Order to reach you by", date(2026, 12, 20)),
        ("Pay by", date(2027, 3, 1)),
    )
    assert column(table_in(second, "lines"), "amount") == [250.0]


def test_what_is_paid_when_adds_up_day_by_day() -> None:
    """Elm's seed is due on Elm's own day to pay, nobody's on the day to order it."""
    season_, plan = seed_season()
    facts = Facts(plan, season_)
    found = table_in(order_sheet(facts), "cash")
    seed = [row for row in found.rows if row[2] == "seed"]
    assert [(row[0], row[1], plain(row[3])) for row in seed] == [
        (date(2027, 1, 10), "seller not named", 250.0),
        (date(2027, 3, 1), "Elm", 500.0),
        (date(2027, 3, 1), "Elm", 1_000.0),
    ]
    pay = sum(a.to_pay for a in facts.accounts) + 1_750.0
    assert sum(column(found, "amount")) == pytest.approx(pay)
    assert column(found, "so_far")[-1] == pytest.approx(pay)
    days = [day for day in column(found, "pay_by") if not isinstance(day, str)]
    assert days == sorted(days)


def test_an_order_says_by_when_it_is_paid() -> None:
    """The supplier's own day, else the day to order by; nothing where no day is named."""
    one = sample_season()
    plan = greedy_plan(one)
    for order_by, pay_by, said in (
        (date(2027, 1, 15), date(2027, 3, 1), [("Pay by", date(2027, 3, 1))]),
        (date(2027, 1, 15), None, [("Pay by", date(2027, 1, 15))]),
        (None, None, []),
    ):
        days = {"order_by": order_by, "pay_by": pay_by}
        facts = Facts(
            plan, replace(one, suppliers=tuple(replace(s, **days) for s in one.suppliers))
        )
        named = [
            s for s, a in zip(supplier_sheets(facts), facts.accounts, strict=True) if a.supplier
        ]
        assert named
        for sheet in named:
            assert [r for r in table_in(sheet, "parties").rows if r[0] == "Pay by"] == said


def test_without_sellers_and_days_seed_is_ordered_on_one_sheet_as_before() -> None:
    season_, plan = seed_season()
    bare = replace(
        season_, lots=tuple(replace(x, seller=None, order_by=None) for x in season_.lots)
    )
    facts = Facts(plan, bare)
    assert [s.title for s in seed_order_sheets(facts)] == ["Seed order"]
    found = table_in(order_sheet(facts), "seed")
    assert {c.key for c in found.columns}.isdisjoint({"seller", "order_by"})

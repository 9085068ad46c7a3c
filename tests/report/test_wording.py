"""What a grower reads on paper: sentences that don't contradict the figures beside them."""

import math
import re
from dataclasses import replace
from datetime import date
from functools import cache
from itertools import pairwise

import pytest

from planner.campaign.campaign import make_campaign
from planner.explain.explain import Explanation
from planner.explain.rules import RuleCost
from planner.explain.words import Speech
from planner.explain.worth import worth_treating
from planner.plan.plan import Outcome, SeedPurchase, Shortage
from planner.plan.seed_cautions import treated_seed_left
from planner.report import answer
from planner.report.answer import _threat, enough, threats
from planner.report.breaks import shrink_parts
from planner.report.calibration_frames import calibration_sheet
from planner.report.card_frames import card_sheet
from planner.report.explain_frames import worth_sheets
from planner.report.facts import PROTECTION, RULES, STUDY, Facts
from planner.report.fit import INDENT, MARGIN, fitted_widths
from planner.report.frames import make_book, make_books
from planner.report.front_frames import WIDEST_NAME, _paid_for, _wide, front_sheet
from planner.report.heights import row_heights
from planner.report.layout import lay_out
from planner.report.measures import Manner, Measure
from planner.report.notes_frames import notes_sheet
from planner.report.order_frames import order_sheet
from planner.report.paper import LONGEST_FOOT
from planner.report.risk_frames import _bars, _far
from planner.report.share_frames import bills_sheet
from planner.report.sheets import Column, KeyFigures, Pack, Table, Text
from planner.report.stock_frames import product_detail_sheet, products_sheet
from planner.report.supplier_frames import supplier_sheets
from planner.report.tag_frames import MOST_VARIETIES, _alike
from planner.report.texts import text_width, together
from planner.risk.as_planned import as_planned
from planner.risk.chances import SparePlanted, Spread
from planner.risk.margins import ProductMargin
from planner.risk.words import first_short, seed_and_first
from planner.season.domain import Pressure, Quantity, Rating, Unknown
from planner.sharing.by_use import by_use
from tests.support.books import table_in
from tests.support.sample_plan import big_season, greedy_plan, sample_season

METRIC = Manner(metric=True)


@cache
def sample(metric: bool = False):
    season = sample_season(metric)
    return season, greedy_plan(season)


def words(sheet) -> str:
    return " ".join(p for b in sheet.blocks if isinstance(b, Text) for p in b.paragraphs)


def test_land_without_enough_is_set_against_its_own_land_not_against_all_treated() -> None:
    """Pythium asks on 706.7 acres of the sample; 18.9 of them stay unplanted."""
    season, plan = sample()
    facts = Facts(plan, season)
    (page,) = (p for p in facts.threats if p.threat == "Pythium")
    assert not enough(page)
    (said,) = (t for t in threats(facts) if t.startswith("LAND UNPLANTED"))
    assert said == (
        "LAND UNPLANTED that needs protection from: Pythium (18.9 acres). What is planted is "
        "protected."
    )
    assert not any(f.field in t for t in threats(facts) for f in page.fields)


def test_the_first_page_names_short_fields_once_the_largest_first() -> None:
    season, plan = sample()
    fields = [f"Field {n}" for n in range(15)]
    short = tuple(Shortage(f, 1.0 + n, "Why.") for n, f in enumerate(fields))
    facts = Facts(replace(plan, shortages=short), season)
    blocks = front_sheet(facts).blocks
    (at,) = (n for n, b in enumerate(blocks) if isinstance(b, Text) and "Short: " in b.title)
    assert isinstance(blocks[at - 1], KeyFigures)
    *reasons, rest = blocks[at].paragraphs
    assert reasons == [f"{fields[n]}: {n + 1} acres short - Why." for n in (14, 13, 12)]
    named = ", ".join(f"{fields[n]} ({n + 1} acres)" for n in range(11, 2, -1))
    assert rest == f"{named}, 3 more fields (6 acres): see Short fields."


def test_what_is_paid_is_said_to_be_for_what_is_bought() -> None:
    season, plan = sample()
    assert plan.order
    bought = replace(plan, seed_purchases=(SeedPurchase("L-1", 1, 40.0, 100.0),))
    none = replace(plan, order=(), seed_purchases=())
    for made, note in (
        (bought, "product and seed"),
        (replace(bought, order=()), "seed"),
        (replace(bought, seed_purchases=()), "product"),
        (none, "nothing is bought"),
    ):
        assert _paid_for(Facts(made, season)) == note


def test_nothing_is_said_of_losses_where_no_rating_has_a_control() -> None:
    season, plan = sample()
    threats = tuple(replace(t, loss={Pressure.HIGH: 4.0}) for t in season.threats)
    control = {Rating.G: 0.5, Rating.VG: 0.8}
    season = replace(season, threats=threats, control=control)
    assert any(w.loss_prevented for w in worth_treating(plan, season))
    unrated = replace(season, control={})
    found = worth_treating(plan, unrated)
    assert found
    assert {(w.loss_prevented, w.net_per_acre) for w in found} == {(None, None)}
    for sheet in worth_sheets(found, Manner()):
        keys = {c.key for c in table_in(sheet, "worth").columns}
        assert not keys & {"saved", "net"}


@pytest.mark.parametrize(("manner", "places"), [(Manner(), 2), (METRIC, 0)])
def test_yields_in_kilograms_have_no_hundredths(manner: Manner, places: int) -> None:
    season, plan = sample()
    priced = replace(season, farm=replace(season.farm, soybean_price=10.0))
    sheet = next(iter(worth_sheets(worth_treating(plan, priced), manner)))
    columns = [c for c in table_in(sheet, "worth").columns if c.measure is Measure.YIELD]
    assert [c.key for c in columns] == ["even"]
    own = manner.shown(Measure.YIELD).decimals
    assert [own if c.decimals is None else c.decimals for c in columns] == [places]


RULE = RuleCost("No share under 10 acres", "convenience", "", "", None, None, None, None, 0.0, "")


def test_protection_is_a_page_only_where_something_threatens() -> None:
    season, plan = sample()
    assert PROTECTION in {s.title for s in make_books(plan, season)[Pack.WINTER].sheets}
    calm = replace(season, threats=(), fields=tuple(replace(f, pressure={}) for f in season.fields))
    assert PROTECTION not in {s.title for s in make_books(plan, calm)[Pack.WINTER].sheets}


def test_recipe_cards_can_be_read_beside_the_treater() -> None:
    """Letters of a cell have 10 points, printed at 8 or more; no note has smaller ones."""
    for metric in (False, True):
        season, plan = sample(metric=metric)
        sheet = card_sheet(make_campaign(season, plan))
        layout = lay_out(sheet, Manner(metric=metric), home=True)
        layout.heights = row_heights(layout, Manner(metric=metric))
        shrink_parts(layout)
        assert 10.0 * layout.scale >= 8.0
        assert not any(b.note for b in sheet.blocks if isinstance(b, Table))


def test_rules_that_were_not_narrowed_are_a_line_of_the_study_and_no_page() -> None:
    season, plan = sample()
    late = Explanation(rules=(RULE, replace(RULE, rule="3% spare seed")))
    study = make_books(plan, season, why=late)[Pack.STUDY]
    assert RULES not in {s.title for s in study.sheets}
    first = next(s for s in study.sheets if s.title == STUDY)
    assert "2 rules could not be narrowed down" in words(first)
    known = replace(RULE, cost=12.0, at_least=5.0, at_most=20.0, gap=0.01, sentence="It costs $12.")
    study = make_books(plan, season, why=Explanation(rules=(known, RULE)))[Pack.STUDY]
    sheet = next(s for s in study.sheets if s.title == RULES)
    assert "1 rule could not be narrowed down" in words(sheet)
    first = next(s for s in study.sheets if s.title == STUDY)
    assert "could not be narrowed" not in words(first)
    # a screen jumps there once it has worked them out
    assert RULES in {s.title for s in make_book(plan, season, why=late).sheets}


def test_a_floor_that_says_nothing_is_not_known() -> None:
    season, plan = sample()
    far = replace(plan, bound=-9.0 * plan.cost.total, gap=10.0)
    near = replace(plan, bound=0.9 * plan.cost.total, gap=0.1)
    for one, known in ((far, False), (near, True), (replace(plan, bound=-math.inf), False)):
        rows = dict(table_in(notes_sheet(Facts(one, season)), "made").rows)
        assert (rows["Proven floor of the total"] != "not known") is known
        assert (rows["How near the cheapest"] != "not known") is known
    proven = replace(near, outcome=Outcome.OPTIMAL, gap=0.0)
    rows = dict(table_in(notes_sheet(Facts(proven, season)), "made").rows)
    assert rows["How near the cheapest"] == "proven cheapest"


def test_bills_say_what_of_a_share_is_money() -> None:
    """In all: containers, freight and seed less discounts, less the credit for what is left.

    The sample's lots are nobody's, so what they would bring back is paid for, too.
    """
    season, plan = sample()
    season = replace(
        season,
        fields=tuple(
            replace(f, grower=("Ash", "Birch")[n % 2]) for n, f in enumerate(season.fields)
        ),
    )
    sheet = bills_sheet(by_use(plan, season), "use", plan, season)
    shares = table_in(sheet, "shares")
    at = {c.key: n for n, c in enumerate(shares.columns)}
    for row in shares.rows:
        assert row[at["own"]] + row[at["paid"]] == pytest.approx(row[at["share"]])
    c = plan.cost
    money = c.containers + c.freight - c.discounts + c.seed_bought - c.carryover_credit
    money += c.seed_given_up
    assert sum(row[at["paid"]] for row in shares.rows) == pytest.approx(money, abs=0.02)
    assert "A share is no bill yet" in words(sheet)


def test_a_card_that_is_approved_asks_for_no_approval() -> None:
    season, plan = sample()
    names = [r.name for r in season.recipes]
    signed = replace(season.recipes[0], approved_by="Adviser", approved_on=date(2026, 11, 20))
    made = make_campaign(replace(season, recipes=(signed, *season.recipes[1:])), plan)
    titles = [b.title for b in card_sheet(made).blocks if isinstance(b, Table)]
    for name in {c.recipe for c in made.cards}:
        (said,) = (t for t in titles if t.startswith(f"Recipe {name}"))
        assert ("to be approved" in said) is (name != names[0])
        assert ("approved on Fri 11/20/2026" in said) is (name == names[0])


def test_many_leftovers_are_summed_behind_the_largest(monkeypatch) -> None:
    season = big_season(60)
    plan = greedy_plan(season)
    (said,) = treated_seed_left(plan, season)
    left = [float(x) for x in re.findall(r"([\d.]+) of \S+ under", said)]
    assert len(left) == 3
    monkeypatch.setattr("planner.plan.seed_cautions.MOST_LEFT", 1)
    (said,) = treated_seed_left(plan, season)
    assert said.count(" under ") == 1
    assert f" and {sum(left[1:]):.1f} of 2 more): treated seed is never food" in said


def test_a_product_with_nothing_to_spare_is_not_said_in_zeros() -> None:
    margin = ProductMargin("Alpha", 320.0, 320.0, 1e-7, 1e-9, -1e-9, "A", -1e-9, 0.0, ("A", "Base"))
    assert first_short([margin]) == (
        "Alpha runs short first: nothing of it is to spare, so any more use than planned, or "
        "heavier seed, leaves it short."
    )
    some = replace(margin, used=0.018, seed_size=-0.05)
    assert first_short([some]).startswith("Alpha runs short first: as soon as 1.8% more")


def test_a_product_that_heavier_seed_runs_short_of_first_has_a_sentence_of_its_own() -> None:
    first = ProductMargin("Alpha", 320.0, 320.0, 6.0, 0.018, None, "A", None, 0.0, ("A", "Base"))
    other = replace(first, product="Beta", used=0.05, seed_size=-0.049)
    assert first_short([first, other]) == (
        "Alpha runs short first: as soon as 1.8% more of it is used than planned. Of heavier "
        "seed, Beta does: as soon as seeds per lb of all lots are 4.9% lower than planned."
    )


def test_the_first_page_says_when_seed_is_short_more_often_than_product() -> None:
    season, plan = sample()
    one = Unknown(Quantity.SEEDS_PER_LB, -0.2, 0.1)
    held = as_planned(replace(season, unknowns=(one,)), plan, draws=256)
    for chance_, said in ((0.104, True), (1.0, False)):
        drawn = replace(held, seed_enough=chance_, short_acres=2.5, spare=None)
        page = words(front_sheet(Facts(plan, season, drawn)))
        sentence = "some lot comes up short in 90 of 100 seasons, 2.5 acres in an average year."
        assert (sentence in page) is said
    for planted, said in ((0.64, True), (0.96, False)):
        spare = SparePlanted(0.03, planted, 0.5)
        drawn = replace(held, seed_enough=0.104, short_acres=2.5, white_mold=None, spare=spare)
        page = words(front_sheet(Facts(plan, season, drawn)))
        sentence = (
            "even with the 3% spare seed planted, some lot comes up short in 36 of 100 seasons, "
            "0.5 acres in an average year; with it kept back, in 90 of 100."
        )
        assert (sentence in page) is said
        assert seed_and_first(drawn).endswith(
            "With the 3% spare seed kept back, the seed of every lot suffices in 10 of 100; "
            f"with it planted, that of every lot in {planted * 100:.0f} of 100."
        )
    drawn = replace(held, seed_enough=0.104, short_acres=0.04, spare=None)
    page = words(front_sheet(Facts(plan, season, drawn)))
    assert "90 of 100 seasons, hardly any land in an average year." in page
    for product, said in ((0.9, "Seed is tighter: even"), (0.28, "Seed runs short, too: even")):
        drawn = replace(held, enough=product, spare=SparePlanted(0.03, 0.64, 0.5))
        assert said in words(front_sheet(Facts(plan, season, drawn)))


def test_what_is_to_spare_is_a_share_of_the_same_everywhere() -> None:
    """Of what goes on seed: line losses, which Used holds too, don't grow with it."""
    season, plan = sample()
    facts = Facts(plan, season)
    for text in (answer.spare(facts)[0], products_sheet(facts).blocks[0].note):
        assert "in percent of what goes on seed" in text


def test_many_varieties_of_one_tag_are_counted() -> None:
    season, plan = sample()
    tag = make_campaign(season, plan).tags[0]
    for n, named in ((MOST_VARIETIES, True), (MOST_VARIETIES + 1, False)):
        tags = [replace(tag, lot=f"L{i}", variety=f"V{i}") for i in range(n)]
        ((lots, varieties, *_),) = _alike(tags)
        assert lots.count(",") == n - 1
        assert varieties == (", ".join(f"V{i}" for i in range(n)) if named else f"{n} varieties")


def test_a_number_on_a_label_keeps_its_unit() -> None:
    assert together("Lot A, variety B 16: 40 units, 2,137 lb").split(" ")[-2:] == [
        "40\xa0units,",
        "2,137\xa0lb",
    ]
    assert together("tested October 2026, 4 more") == "tested October 2026, 4 more"


@pytest.mark.parametrize("metric", [False, True])
def test_bars_of_a_picture_have_names_of_their_own(metric: bool) -> None:
    """Bars 1.5 fl oz (44 mL) wide: liters to one decimal would name two of them alike."""
    manner = Manner(metric=metric)
    edges = tuple(600.0 + 1.5 * n for n in range(21))
    shares = tuple(1.0 / 20 for _ in edges[1:])
    column = _bars(Spread("Alpha", edges[9], edges, shares), manner).columns[0]
    places = manner.shown(Measure.VOLUME).decimals if column.decimals is None else column.decimals
    middles = [(a + b) / 2 for a, b in pairwise(edges)]
    named = {f"{manner.value(x, Measure.VOLUME):.{places}f}" for x in middles}
    assert len(named) == len(middles)


def test_the_soybean_price_of_a_metric_farm_is_by_the_ton() -> None:
    """A metric ton of soybeans is 36.74 bushels (60 lb a bushel): $10 x 36.74 = $367.44."""
    season, plan = sample(metric=True)
    season = replace(season, farm=replace(season.farm, soybean_price=10.0))
    rows = {r[0]: r[1] for r in table_in(notes_sheet(Facts(plan, season)), "settings").rows}
    assert rows["Soybean price"].value == "$367.44/t"


def test_the_example_of_a_metric_calibration_is_in_whole_milliliters() -> None:
    """125 kg a minute at 420 mL on 100 kg: 525 mL."""
    made = make_campaign(*sample(metric=True))
    said = words(calibration_sheet(made))
    assert "125 / 100 x 420 = 525 mL a minute" in said


@pytest.mark.parametrize("lying", [True, False])
def test_a_long_farm_name_keeps_clear_of_the_middle_of_the_foot(lying: bool) -> None:
    """8 point type: a digit is 0.556 em (Arial's metrics); pages are 10 and 7.5 inches wide."""
    half = (10.0 if lying else 7.5) * 72.0 / (8 * 0.556) / 2.0
    left = LONGEST_FOOT[lying] + text_width(", plan c62e1bab4a2b")
    assert left + text_width("What each day needs") / 2.0 < half


def test_long_names_widen_the_order_of_the_first_page() -> None:
    long = "North Depot of the Three Rivers"
    assert _wide([("North Depot", 1)], 0, 21.0) == 21.0
    assert text_width(long) < _wide([("North Depot", 1), (long, 2)], 0, 21.0) < WIDEST_NAME
    assert _wide([(long + " and of their Valleys", 1)], 0, 21.0) == WIDEST_NAME


def test_a_column_with_a_width_of_its_own_still_shows_its_numbers() -> None:
    """1,335.9% of a product is left of a jug on a small field: it showed as ###."""
    column = Column("spare", "Spare, percent", Measure.PERCENT, width=9)
    narrow, wide = (
        fitted_widths([Table("t", (column,), ((share,),))], Manner())[0]
        for share in (0.096, 13.359)
    )
    assert narrow == 9
    assert wide >= len("1,335.9%") + INDENT + MARGIN[0]


def test_a_container_is_ordered_by_the_size_it_has() -> None:
    """A pint is 0.125 gal; 0.13 gal is on no label. Jugs alone keep their two decimals."""
    season, plan = sample()
    assert {c.decimals for c in _sizes(season, plan)} == {2}
    pints = tuple(replace(c, size=16.0, heel=0.0) for c in season.containers)
    assert {c.decimals for c in _sizes(replace(season, containers=pints), plan)} == {3}


def _sizes(season, plan):
    facts = Facts(plan, season)
    sheets = (order_sheet(facts), *supplier_sheets(facts), product_detail_sheet(facts))
    found = [
        c
        for sheet in sheets
        for b in sheet.blocks
        if isinstance(b, Table)
        for c in b.columns
        if c.key == "size"
    ]
    assert len(found) >= 3
    return found


def test_a_product_of_which_there_is_plenty_is_not_said_never_to_run_short() -> None:
    assert _far(13.359).value == "over 1,000%"
    assert _far(None).value == "never"
    assert _far(0.25).value == 0.25


def test_where_nothing_that_needs_it_is_planted_nothing_is_called_protected() -> None:
    season, plan = sample()
    facts = Facts(plan, season)
    (page,) = (p for p in facts.threats if p.threat == "White mold")
    bare = tuple(replace(f, acres_short=f.acres, enough=False) for f in page.fields)
    said = _threat(replace(page, fields=bare), Speech(season.farm))
    assert "White mold: LAND UNPLANTED. None of the " in said
    assert "protected" not in said


def test_where_nothing_is_treated_no_stock_is_said_to_cover_it() -> None:
    season, plan = sample()
    bare = replace(plan, order=(), seed_purchases=(), treating=(), planting=())
    for facts, said in (
        (Facts(bare, season), "Nothing to order: no seed is treated."),
        (Facts(replace(bare, treating=plan.treating), season), "covers what the seed takes."),
    ):
        for sheet in (front_sheet(facts), order_sheet(facts)):
            assert table_in(sheet, "order").empty.endswith(said)

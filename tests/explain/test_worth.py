"""Worth treating, by prices and trials that are published; enough for the disease, by hand."""

from dataclasses import replace

import pytest

from planner.agronomy.protection import is_white_mold
from planner.explain.explain import explain, threat_costs
from planner.explain.protection import threat_pages
from planner.explain.rules import rule_trials, rules_on
from planner.explain.threats import Cost
from planner.explain.trial import ExplainBudget, solve_all
from planner.explain.words import Speech
from planner.explain.worth import break_even, volume_prices, worth_treating
from planner.optimize.options import SolveOptions
from planner.optimize.search.run import solve
from planner.report.facts import Facts
from planner.report.protection_frames import cost_of
from planner.report.sheets import Cell
from planner.report.threat_frames import threat_sheets
from planner.season.domain import DiscountLevel, Pressure, Rating, Season, Supplier, Threat
from tests.support.seasons import container, farm, field, lot, product, recipe, season


def treated_at(price: float, seeds: float, bushel: float) -> Season:
    """A treatment of so much a unit: 1 fl oz/unit out of a container of 100 for 100 x as much."""
    return season(
        farm=farm(soybean_price=bushel),
        fields=(field(acres=90.0, seeds=seeds),),
        lots=(lot(on_hand=100.0, units_per_bag=1.0),),
        recipes=(recipe(Alpha=1.0),),
        containers=(container(size=100.0, price=100.0 * price),),
    )


@pytest.mark.parametrize(
    ("price", "per_acre", "bushels"),
    [(5.50, 5.89, 0.65), (15.00, 16.07, 1.77), (19.20, 20.57, 2.26)],
)
def test_maryland_break_evens(price: float, per_acre: float, bushels: float) -> None:
    """150,000 seeds/acre, a treatment's price a 140,000-seed bag, grain at $9.10 a bushel.

    Prices and rate: Kness & Kleczewski, Maryland soybean checkoff, project 53199 (2017). Dollars an
    acre and bushels are our division, not the project's.
    """
    whole = treated_at(price, 150_000.0, 9.10)
    (worth,) = worth_treating(solve(whole, SolveOptions()), whole)
    assert worth.per_unit == pytest.approx(price)
    assert round(worth.per_acre, 2) == per_acre
    assert worth.break_even is not None
    assert round(worth.break_even, 2) == bushels


@pytest.mark.parametrize(("price", "bushels"), [(4.0, 0.67), (10.0, 1.67)])
def test_wisconsin_break_evens(price: float, bushels: float) -> None:
    """$4 and $10 a unit at a unit an acre and $6 a bushel.

    Prices: Esker & Conley, Crop Science 52:351-359 (2012), by its extension summary. The bushels
    are our division, not theirs.
    """
    whole = treated_at(price, 140_000.0, 6.0)
    (worth,) = worth_treating(solve(whole, SolveOptions()), whole)
    assert worth.break_even is not None
    assert round(worth.break_even, 2) == bushels
    assert f"{bushels} bu per acre pay for it" in worth.sentence
    # a bushel of 60 lb is 27.2155 kg (Indiana Code 24-6-1-1), an acre 0.404686 ha: 67.25 kg a ha
    metric = replace(whole, farm=replace(whole.farm, metric=True))
    (worth,) = worth_treating(solve(metric, SolveOptions()), metric)
    assert f"; {price / 6.0 * 67.25:.0f} kg per ha pay for it" in worth.sentence


def test_michigan_fluopyram() -> None:
    """1.9 bu/acre at $9 cover $17.10.

    The 1.9 bu: Michigan State Univ. Extension, "Are soybean seed treatments profitable?", on-farm
    trials of 2016-18. Price and dollars are ours.
    """
    assert break_even(17.10, 9.0) == pytest.approx(1.9)


def test_price_paid_holds_discounts_not_freight() -> None:
    """One jug of 320 fl oz with a heel of 20 for $300, 10 % off, $50 freight: $0.90 a fl oz."""
    whole = season(
        containers=(container(heel=20.0, supplier="Elm"),),
        suppliers=(Supplier("Elm", 50.0),),
        discounts=(DiscountLevel("Early", 100.0, 0.10),),
    )
    assert volume_prices(solve(whole, SolveOptions()), whole) == {"Alpha": pytest.approx(0.90)}


def test_stock_is_priced_at_the_nearest_container() -> None:
    whole = season(
        products=(product(on_hand=900.0),),
        containers=(container(), container(name="keg", size=1000.0, price=800.0)),
    )
    assert volume_prices(solve(whole, SolveOptions()), whole) == {"Alpha": pytest.approx(0.80)}


def test_without_a_price_there_is_no_break_even() -> None:
    (worth,) = worth_treating(solve(season(), SolveOptions()), season())
    assert (worth.break_even, worth.loss_prevented, worth.net_per_acre) == (None, None, None)
    assert worth.acres == pytest.approx(80.0)


# -- enough for the disease -----------------------------------------------------------------------


def mold(*, on_hand: float = 160.0, **changes) -> Season:
    """Two fields under white mold, 40 acres high and 60 low, and 40 acres without.

    Strong reaches VG, Weak only F. At 10 bu/acre lost under high pressure VG holds half.
    """
    return season(
        fields=(
            field("Creek", 40.0, pressure={"White mold": Pressure.HIGH}),
            field("Hill", 60.0, pressure={"White mold": Pressure.LOW}),
            field("Flat", 40.0),
        ),
        lots=(lot(on_hand=on_hand, units_per_bag=20.0),),
        products=(
            product("Strong", protection={"White mold": Rating.VG}),
            product("Weak", protection={"White mold": Rating.F}),
        ),
        containers=(
            container("Strong", size=100.0, price=400.0),
            container("Weak", size=200.0, price=100.0),
        ),
        recipes=(recipe("Hard", Strong=2.0), recipe("Soft", Weak=2.0)),
        threats=(
            Threat("Pythium", need={Pressure.LOW: Rating.P}),
            Threat("White mold", {Pressure.HIGH: Rating.VG}, {Pressure.HIGH: 10.0}),
        ),
        control={Rating.VG: 0.5, Rating.F: 0.1},
        **changes,
    )


def test_enough_worked_by_hand() -> None:
    """Creek takes two bags of Hard (80 fl oz, one $400 container).

    Hill and Flat take five bags of Soft, 200 fl oz, one $100 container; the eighth bag stays
    untreated and would plant and protect 20 acres more like Creek. All 160 units suit Creek; 40
    are treated strongly enough. Without the need, all seven bags take 280 fl oz of Weak, two
    containers, $200: so protection costs $300, $7.50 an acre of Creek's 40.
    """
    whole = mold()
    plan = solve(whole, SolveOptions())
    assert plan.cost.total == pytest.approx(500.0)
    rules = rules_on(whole)
    found = solve_all(rule_trials(rules, plan), ExplainBudget(60.0))
    (page,) = threat_pages(plan, whole, threat_costs(plan, whole, rules, found))
    assert page.white_mold
    assert [(p.pressure, p.need, p.acres) for p in page.pressures] == [
        ("high", "VG", 40.0),
        ("low", "", 60.0),
    ]
    creek, hill = page.fields
    assert (creek.field, creek.enough, creek.units) == ("Creek", True, 40.0)
    assert (hill.field, hill.need, hill.enough) == ("Hill", "", True)
    assert (page.units_needed, page.units_suit, page.units_strong) == pytest.approx(
        (40.0, 160.0, 40.0)
    )
    assert page.units_left == pytest.approx(20.0)
    assert (page.tight_lot, page.like_field) == ("L1", "Creek")
    assert page.more_acres == pytest.approx(20.0)
    assert page.cost is not None
    assert page.cost.total == pytest.approx(300.0)
    assert page.cost.per_acre == pytest.approx(7.50)
    assert page.cost.per_unit == pytest.approx(7.50)
    assert "1 field (40 acres) asks for protection from White mold and takes 40 units: enough." in (
        page.sentence
    )


def test_no_more_land_is_protected_than_product_is_for() -> None:
    """Of Strong one container of 100 fl oz is sold: 80 are taken, 20 are 10 units, no whole bag."""
    whole = mold()
    few = replace(whole, containers=(replace(whole.containers[0], most=1), whole.containers[1]))
    (page,) = threat_pages(solve(few, SolveOptions()), few)
    assert page.units_left == pytest.approx(20.0)
    assert page.more_acres == 0.0
    assert " No more land like Creek could be protected." in page.sentence
    more = replace(few.containers[0], size=120.0)
    few = replace(few, containers=(more, whole.containers[1]))
    (page,) = threat_pages(solve(few, SolveOptions()), few)
    assert page.more_acres == pytest.approx(20.0)


@pytest.mark.parametrize(
    ("cost", "cell", "words"),
    [
        (None, "not known", "was not worked out in the time set"),
        ((300.0, 300.0, 300.0), 7.5, "costs $300: $7.50 per acre, $7.50 per unit."),
        ((0.0, 0.0, 300.0), "at most $7.50", "costs at most $300: $7.50 per acre"),
        (
            (300.0, 200.0, 420.0),
            "$5.00 to $10.50",
            "costs at least $200 and at most $420: $5.00 to $10.50 per acre.",
        ),
        ((0.0, 0.0, 0.39), 0.0, "costs under $0.01 per acre."),
    ],
    ids=["not planned", "known", "at most", "between", "nothing"],
)
def test_the_sheets_say_alike_what_protection_costs(cost, cell, words) -> None:
    """On the 40 acres of Creek, which take 40 units."""
    whole = mold()
    each = {"acres": 40.0, "per_unit": 0.0, "acres_gained": 0.0, "gap": 0.0}
    costs = {"White mold": Cost(*cost, per_acre=cost[0] / 40.0, **each)} if cost else {}
    (page,) = threat_pages(solve(whole, SolveOptions()), whole, costs)
    shown = cost_of(page, Speech(whole.farm))
    assert (shown.value if isinstance(shown, Cell) else shown) == cell
    assert words in page.sentence


def test_seed_sold_treated_that_is_not_bought_is_not_treated() -> None:
    """Creek takes 40 units of P under Hard: 50 are on hand, two bags of 20 more are for sale.

    Of the second season 30 are on hand, so one bag is bought, and 10 of its units are left.
    """
    for on_hand, strong, left in ((50.0, 50.0, (10.0, 40.0)), (30.0, 50.0, (10.0, 20.0))):
        whole = mold()
        sold = {"units_per_bag": 20.0, "can_buy": 40.0, "buy_price": 50.0, "treated_with": "Hard"}
        treated = lot("P", on_hand=on_hand, **sold)
        whole = replace(whole, fields=whole.fields[:1], lots=(treated,))
        (page,) = threat_pages(solve(whole, SolveOptions()), whole)
        (line,) = page.lots
        assert page.units_strong == line.strong == pytest.approx(strong)
        assert (line.left_strong, line.left_open) == pytest.approx(left)
        assert page.units_left == pytest.approx(sum(left))


def test_not_enough_is_said_with_the_acres() -> None:
    """Creek is served first with priority 2 for the others; 20 units on hand cover half of it."""
    whole = mold(on_hand=20.0)
    later = tuple(replace(f, priority=1 if f.name == "Creek" else 2) for f in whole.fields)
    whole = replace(whole, fields=later)
    (page,) = threat_pages(solve(whole, SolveOptions()), whole)
    assert page.fields[0].acres_short == pytest.approx(20.0)
    assert not page.fields[0].enough
    assert page.units_needed == pytest.approx(40.0)
    assert "20 acres of them stay unplanted on Creek, the rest is protected" in page.sentence


def test_white_mold_comes_first_with_its_caution() -> None:
    whole = mold()
    wet = replace(whole.fields[2], pressure={"Pythium": Pressure.LOW})
    whole = replace(
        whole,
        fields=(*whole.fields[:2], wet),
        products=tuple(
            replace(p, protection={**p.protection, "Pythium": Rating.G}) for p in whole.products
        ),
    )
    plan = solve(whole, SolveOptions())
    assert [p.threat for p in threat_pages(plan, whole)] == ["White mold", "Pythium"]
    first = next(threat_sheets(Facts(plan, whole))).blocks[0]
    assert "No seed treatment protects against white mold all season" in first.paragraphs[0]


def test_white_mold_is_known_by_its_name_in_any_spelling() -> None:
    assert all(map(is_white_mold, ("White mold", "WHITE MOULD", "white  mold (Sclerotinia)")))
    assert not is_white_mold("Downy mildew")


def test_a_threat_that_presses_nowhere_has_no_page() -> None:
    whole = season(threats=(Threat("White mold", {Pressure.HIGH: Rating.VG}),))
    assert explain(whole, solve(whole, SolveOptions()), ExplainBudget(0.0)).threats == ()


def test_loss_prevented_and_net() -> None:
    """Hard on Creek: 10 bu x half = 5 bu saved, at $10 worth $50; it costs 2 fl oz x $4 = $8."""
    whole = mold(farm=farm(soybean_price=10.0, credit_white_mold=True))
    worth = worth_treating(solve(whole, SolveOptions()), whole)
    hard = next(w for w in worth if (w.field, w.recipe) == ("Creek", "Hard"))
    assert hard.per_acre == pytest.approx(8.0)
    assert hard.loss_prevented == pytest.approx(5.0)
    assert hard.net_per_acre == pytest.approx(42.0)
    assert hard.sentence.endswith("5 bu are expected to be saved: $42.00 ahead.")


def test_white_mold_is_not_credited_unless_the_farm_says_so() -> None:
    """The same 5 bu left out: $8 behind; another threat's losses are still credited.

    Infection comes by spores through the flowers (D. Smith, Univ. of Wisconsin, reprint in No-Till
    Farmer), so nothing on the seed is there when it does.
    """
    whole = mold(farm=farm(soybean_price=10.0))
    worth = worth_treating(solve(whole, SolveOptions()), whole)
    hard = next(w for w in worth if (w.field, w.recipe) == ("Creek", "Hard"))
    assert hard.loss_prevented == pytest.approx(0.0)
    assert hard.not_credited == pytest.approx(5.0)
    assert hard.net_per_acre == pytest.approx(-8.0)
    assert (
        "0 bu are expected to be saved: $8.00 behind. 5 bu of white mold are not" in hard.sentence
    )
    assert "infects through the flowers" in hard.sentence


def test_other_threats_are_credited_beside_white_mold() -> None:
    """Rot takes 4 bu of 40 and the mold 10; VG holds half. Off one crop the mold leaves 30 of 40.

    Without: 40 x (1 - 0.9 x 0.75) = 13; with rot held to 2: 40 x (1 - 0.95 x 0.75) = 11.5.
    """
    threats = tuple(
        Threat(name, {}, {Pressure.HIGH: loss})
        for name, loss in (("White mold", 10.0), ("rot", 4.0))
    )
    held = dict.fromkeys(("White mold", "rot"), Rating.VG)
    whole = season(
        farm=farm(soybean_price=10.0),
        fields=(field(pressure=dict.fromkeys(held, Pressure.HIGH), expected_yield=40.0),),
        products=(product(protection=held),),
        threats=threats,
        control={Rating.VG: 0.5},
    )
    (worth,) = worth_treating(solve(whole, SolveOptions()), whole)
    assert worth.loss_prevented == pytest.approx(1.5)


def test_a_currency_of_letters_keeps_off_its_amount() -> None:
    assert Speech(farm(currency="kr")).money(-1234.0) == "-kr 1,234"
    assert Speech(farm(currency="€")).money(12.5) == "€12.50"

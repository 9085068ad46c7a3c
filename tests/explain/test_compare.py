"""Plans side by side; the whys as plain values and as sheets."""

import json
from dataclasses import replace

import pytest

from planner.explain.again import plan_again
from planner.explain.as_json import comparison, to_dict
from planner.explain.compare import compare
from planner.explain.explain import explain
from planner.explain.trial import ExplainBudget
from planner.optimize.options import SolveOptions
from planner.optimize.search.run import solve
from planner.plan.plan import Cost, Outcome, Shortage
from planner.report.again_frames import what_if_sheet
from planner.report.comparison import comparison_book, remarks
from planner.report.explain_frames import explain_sheets, shortage_blocks
from planner.report.fit import plain
from planner.report.measures import Manner
from planner.report.sheets import MAX_TITLE, Table
from planner.season.domain import DiscountLevel, OnItsWay, Pressure, Rating, Threat
from planner.terminal.comparing import comparison_lines
from tests.support.books import table_in
from tests.support.random_season import tiny_season
from tests.support.seasons import container, farm, field, lot, product, season

SHORT = season(
    farm=farm(max_varieties=1, soybean_price=10.0, spare_seed=0.02),
    fields=(field(acres=100.0, pressure={"White mold": Pressure.HIGH}), field("South", 20.0)),
    lots=(lot(on_hand=80.0, buy_price=50.0), lot("L2", "V22", 2.2, on_hand=20.0)),
    products=(product(protection={"White mold": Rating.VG}),),
    discounts=(DiscountLevel("Early order", 1000.0, 0.05),),
    threats=(Threat("White mold", {Pressure.HIGH: Rating.G}, {Pressure.HIGH: 4.0}),),
    control={Rating.VG: 0.8},
)


def test_comparison_worked_by_hand() -> None:
    """80 units at 2 fl oz take 160 fl oz: one jug, of 320 or of 160, for $300 or for $400."""
    base = solve(season(), SolveOptions())
    wet = replace(season(), containers=(container(size=160.0),))
    other = solve(wet, SolveOptions())
    dear = solve(replace(season(), containers=(container(price=400.0),)), SolveOptions())
    result = compare([("base", base), ("small", other), ("dear", dear)])
    parts = {part.name: part for part in result.parts}
    cost = {line.what[0]: line for line in parts["Cost"].lines}
    assert cost["Total compared"].amounts == pytest.approx((300.0, 300.0, 400.0))
    assert cost["Containers"].differs
    assert not cost["Freight"].differs
    assert parts["Order"].lines[0].amounts == (1, 1, 1)
    assert parts["Fields"].different == ()
    assert not result.same


def test_costs_add_up_to_their_total() -> None:
    """A jug at $300 less 5 %, 160 fl oz of it left at half its price: 300 - 15 - 75 = 210."""
    whole = season(
        products=(product(carryover=0.5),),
        discounts=(DiscountLevel("Early order", 100.0, 0.05),),
    )
    plan = solve(whole, SolveOptions())
    *terms, total = compare([("one", plan), ("two", plan)]).parts[0].lines
    assert {x.what[0]: x.amounts[0] for x in terms if x.amounts[0]} == pytest.approx(
        {"Containers": 300.0, "Discounts": -15.0, "Carryover credit": -75.0}
    )
    assert total.amounts[0] == pytest.approx(210.0)


def test_costs_that_are_shown_add_up_to_the_cent() -> None:
    """100 - 2.004 - 5.004 is 92.992: shown as 100.00, -2.00 and -5.00 it would look a cent off."""
    cost = Cost(containers=100.0, discounts=2.004, carryover_credit=5.004)
    plan = replace(solve(season(), SolveOptions()), cost=cost)
    *terms, total = compare([("one", plan), ("two", plan)]).parts[0].lines
    assert round(total.amounts[0], 2) == 92.99
    assert sum(round(100 * x.amounts[0]) for x in terms) == 9299


def test_a_total_that_lacks_what_is_paid_is_not_compared_in_silence() -> None:
    """The jug is on its way and paid: the plan costs nothing, and its total says nothing."""
    base = solve(season(), SolveOptions())
    paid = solve(season(ordered=(OnItsWay("Alpha", "jug", 1),)), SolveOptions())
    result = compare([("winter", base), ("spring", paid)])
    assert result.paid_before == ("spring",)
    words = "Containers ordered already cost nothing in spring: totals can't be compared"
    text = comparison_book(result, Manner()).sheets[0].blocks[0].paragraphs
    assert any(words in line for line in text)
    assert words in " ".join(line.strip() for line in comparison_lines(result, Manner()))
    note = next(b for b in what_if_sheet(result, ()).blocks if isinstance(b, Table)).note
    assert words in note
    assert compare([("one", paid), ("two", paid)]).paid_before == ()


def test_seed_treated_before_is_said_as_its_product_is_in_no_total() -> None:
    plan = solve(season(), SolveOptions())
    treated = {("L1", "R1"): 40.0}
    result = compare([("winter", plan), ("spring", plan)], [{}, treated])
    assert result.treated_before == ("spring",)
    words = "Seed treated already takes no more product in spring: totals can't be compared"
    assert words in " ".join(line.strip() for line in comparison_lines(result, Manner()))
    assert result.only([1]).treated_before == ()
    for same in ([treated, treated], [{}, {}], ()):
        assert compare([("one", plan), ("two", plan)], same).treated_before == ()


def test_money_of_two_kinds_is_not_compared_in_silence() -> None:
    plan = solve(season(), SolveOptions())
    two = [("here", plan), ("there", plan)]
    result = compare(two, currencies=["$", "C$"])
    words = "Not one money: here is in $ and there is in C$. Amounts stand as they are, all under $"
    assert words in " ".join(line.strip() for line in comparison_lines(result, Manner()))
    assert remarks(compare(two, currencies=["$", "$"])) == ()


def test_a_plan_that_plants_less_is_not_called_cheaper_in_silence() -> None:
    """120 units cover 120 acres; with 40 units 40 are planted, which takes less product."""
    whole = solve(season(), SolveOptions())
    short = solve(season(lots=(lot(on_hand=40.0),)), SolveOptions())
    assert short.shortages
    result = compare([("whole", whole), ("short", short)])
    assert result.plants_less == ("short",)
    words = "short leaves more land unplanted (see Shortages): a lower total is not cheaper there."
    assert words in " ".join(line.strip() for line in comparison_lines(result, Manner()))
    assert compare([("one", short), ("two", short)]).plants_less == ()


def test_how_sure_is_said_in_words_and_a_gap_above_the_whole_cost_is_not_known() -> None:
    base = solve(season(), SolveOptions())
    rough = replace(base, outcome=Outcome.FEASIBLE, bound=-1449.0, gap=5.83)
    result = compare([("base", base), ("rough", rough)])
    lines = comparison_lines(result, Manner())
    said = ["How", "near", "the", "cheapest", "proven", "cheapest", "not", "known"]
    assert lines[1].split() == said
    first = next(
        b for b in comparison_book(result, Manner()).sheets[0].blocks if hasattr(b, "rows")
    )
    assert [row[1] for row in first.rows] == ["proven cheapest", "not known"]


def test_a_plan_that_was_not_found_is_said_in_words_and_held_against_nothing() -> None:
    """Its total would be what product on hand is worth, beside all land short."""
    base = solve(season(), SolveOptions())
    none = replace(
        base,
        outcome=Outcome.FEASIBLE,
        order=(),
        treating=(),
        planting=(),
        shortages=(Shortage("North", 100.0),),
    )
    wet = solve(replace(season(), containers=(container(price=400.0),)), SolveOptions())
    result = compare([("as it is", base), ("dry", none), ("dear", wet)])
    assert result.not_found == (1,)
    sheet = what_if_sheet(result, ())
    plans = table_in(sheet, "plans")
    assert [row[0] for row in plans.rows] == ["as it is", "dry", "dear"]
    assert [row[1].value for row in plans.rows[1:2]] == ["no plan found in its time"]
    assert plans.rows[2][2] == pytest.approx(100.0)
    assert "Land short" not in [c.header for c in plans.columns]
    others = [b for b in sheet.blocks if isinstance(b, Table) and b.name.startswith("part")]
    assert all("dry" not in [c.header for c in t.columns] for t in others)
    (first,) = comparison_book(result, Manner()).sheets
    plans, *others = [b for b in first.blocks if isinstance(b, Table)]
    assert plans.rows[1][1].value == "no plan found in its time"
    assert all("dry" not in [c.header for c in t.columns] for t in others)
    proven = replace(none, outcome=Outcome.OPTIMAL)
    assert compare([("as it is", base), ("no seed", proven)]).not_found == ()


def test_plans_of_scenarios_are_priced_in_the_season_as_it_is() -> None:
    """80 acres take 160 fl oz, a jug of 320; with 150 % margin 400, two jugs, bought in vain if it
    does not come to that. A plan for half the land says nothing of the rest.
    """
    whole = season(farm=farm(product_margin=0.0))
    more = replace(whole, farm=replace(whole.farm, product_margin=1.5))
    half = replace(whole, fields=(replace(whole.fields[0], acres=40.0),))
    plans = [solve(each, SolveOptions()) for each in (whole, more, half)]
    base, dear, _ = (plan.cost.total for plan in plans)
    assert (base, dear) == pytest.approx((300.0, 600.0))
    assert compare([("a", plans[0]), ("b", plans[1])]).totals_as_it_is == ()
    named = list(zip(("as it is", "spilt", "half"), plans, strict=True))
    result = compare(named, season=whole)
    assert result.totals_as_it_is == (base, pytest.approx(dear), None)
    assert result.better_as_it_is == ()
    table = table_in(what_if_sheet(result, ()), "plans")
    at = [c.header for c in table.columns].index("Its plan if it does not happen")
    assert [plain(row[at]) for row in table.rows] == [base, pytest.approx(dear), "not possible"]
    assert "counted with the figures of its own season" in table.note
    shown = comparison_lines(result, Manner())
    assert any("if it does not happen" in line and "not possible" in line for line in shown)
    assert result.only([0, 2]).totals_as_it_is == (base, None)
    poor = replace(plans[0], cost=replace(plans[0].cost, containers=5_000.0))
    found = compare([("as it is", poor), ("spilt", plans[1])], season=whole)
    assert found.better_as_it_is == ("spilt",)
    assert any("What spilt decides is cheaper" in text for text in remarks(found))


def test_more_seconds_are_asked_for_only_where_a_plan_is_not_proven() -> None:
    base = solve(season(), SolveOptions())
    rough = replace(base, outcome=Outcome.FEASIBLE, gap=0.02)
    for other, open_ in ((base, False), (rough, True)):
        note = table_in(
            what_if_sheet(compare([("as it is", base), ("dry", other)]), ()), "plans"
        ).note
        assert ("A difference smaller than a share under How near the cheapest" in note) is open_


def test_a_plan_that_may_leave_too_much_land_short_is_named() -> None:
    base = solve(season(), SolveOptions())
    short = replace(base, shortages=(Shortage("North", 10.0),), shortage_proven=False)
    result = compare([("as it is", base), ("dry", short)])
    assert result.acres_short == (0.0, 10.0)
    assert result.open_short == result.only([0, 1]).open_short == ("dry",)
    note = next(b for b in what_if_sheet(result, ()).blocks if isinstance(b, Table)).note
    assert "Less land may have to stay short in: dry." in note
    assert any("short in: dry." in line for line in comparison_lines(result, Manner()))
    first = comparison_book(result, Manner()).sheets[0].blocks
    assert any("short in: dry." in line for line in first[0].paragraphs)
    assert [row[-1] for row in first[1].rows] == [0.0, 10.0]
    proven = replace(short, shortage_proven=True)
    assert compare([("as it is", base), ("dry", proven)]).open_short == ()


def test_only_long_tables_have_a_sheet_of_their_own() -> None:
    base = solve(season(), SolveOptions())
    many = replace(base, shortages=tuple(Shortage(f"Field {n}", 1.0) for n in range(13)))
    first, *others = comparison_book(compare([("a", base), ("b", many)]), Manner()).sheets
    assert [s.title for s in others] == ["Shortages"]
    assert len(others[0].blocks[0].rows) == 13
    titles = [getattr(b, "title", "") for b in first.blocks]
    sides = ["Cost", "Shortages", "Order", "Seed to buy", "Recipes", "Treating", "Fields"]
    assert titles[1:] == ["The plans", *sides]


def test_differences_come_first_and_the_largest_on_top() -> None:
    base = solve(season(fields=(field("A", 40.0), field("B", 40.0))), SolveOptions())
    moved = tuple(
        replace(p, lot="L2", acres=p.acres) if p.field == "B" else p for p in base.planting
    )
    result = compare([("old", base), ("new", replace(base, planting=moved))])
    fields = next(part for part in result.parts if part.name == "Fields")
    assert [line.what[0] for line in fields.lines] == ["B", "B", "A"]
    assert [line.differs for line in fields.lines] == [True, True, False]


def test_a_plan_against_itself_is_the_same() -> None:
    plan = solve(season(), SolveOptions())
    assert compare([("one", plan), ("two", plan)]).same


def test_one_plan_alone_is_refused() -> None:
    with pytest.raises(ValueError, match="two plans"):
        compare([("one", solve(season(), SolveOptions()))])


def test_comparison_as_plain_values() -> None:
    plan = solve(season(), SolveOptions())
    data = json.loads(json.dumps(comparison(compare([("one", plan), ("two", plan)]))))
    assert data["names"] == ["one", "two"]
    assert data["parts"][0]["lines"][0]["differs"] is False


def told(whole):
    plan = solve(whole, SolveOptions())
    why = explain(whole, plan, ExplainBudget(60.0))
    _, again = plan_again(whole, plan, plan)
    compared = compare([("as it is", plan), ("the same", plan)])
    return replace(why, again=again, compared=compared)


def test_keys_of_plan_json() -> None:
    data = to_dict(told(SHORT))
    assert set(data) == {
        "short_fields",
        "repairs",
        "enough_for_disease",
        "order_rivals",
        "rule_costs",
        "worth_treating",
        "what_if",
        "planning_again",
    }
    back = json.loads(json.dumps(data, allow_nan=False))
    assert back["short_fields"][0]["cause"] == "seed used up"
    costs = [way["cost"] for idea in back["repairs"] for way in idea["repairs"]]
    assert min(costs) >= 0.0
    assert back["enough_for_disease"][0]["threat"] == "White mold"
    assert {"sentence", "cost", "at_least", "at_most", "gap"} <= set(back["rule_costs"][0])


def test_parts_without_content_are_left_out() -> None:
    whole = season(lots=(lot(units_per_bag=1.0),))
    why = explain(whole, solve(whole, SolveOptions()), ExplainBudget(0.0))
    assert set(to_dict(why)) == {"order_rivals", "worth_treating"}


def test_sheets_open_with_what_changed_and_fit_their_columns() -> None:
    sheets = explain_sheets(told(SHORT), Manner())
    assert [s.title for s in sheets] == [
        "What changed",
        "What if",
        "Other ways to buy it",
        "Cost of rules",
        "Worth treating",
        "Recipes by field",
    ]
    for sheet in sheets:
        tables = [block for block in sheet.blocks if isinstance(block, Table)]
        assert len(sheet.title) <= MAX_TITLE
        assert len({t.name for t in tables}) == len(tables) > 0
        assert all(len(row) == len(t.columns) for t in tables for row in t.rows)


@pytest.mark.slow
def test_random_seasons_can_be_told_whole() -> None:
    for seed in range(0, 60, 10):
        whole = tiny_season(seed)
        why = told(whole)
        data = json.loads(json.dumps(to_dict(why), allow_nan=False))
        short = {s.field for s in solve(whole, SolveOptions()).shortages}
        assert {x["field"] for x in data.get("short_fields", [])} == short
        titles = [s.title for s in explain_sheets(why, Manner())]
        assert bool(shortage_blocks(why)) is bool(short)
        assert {"What changed", "Other ways to buy it"} <= set(titles)

"""What a rule costs, by hand and by law; the time that explaining may take."""

import threading
from dataclasses import replace

import pytest

from planner.errors import Interrupted, NoPlanError
from planner.explain.explain import explain
from planner.explain.held import held_cost
from planner.explain.rules import RuleCost, _sentence, rule_costs, rule_trials, rules_on
from planner.explain.trial import ExplainBudget, Trial, solve_all
from planner.explain.words import Speech
from planner.optimize.options import SolveOptions
from planner.optimize.search.run import solve
from planner.season.domain import MaturityShare, Pressure, Rating, Season, Threat
from tests.support.random_season import tiny_season
from tests.support.seasons import container, farm, field, lot, product, recipe, season


def priced(whole: Season, seconds: float = 60.0):
    plan = solve(whole, SolveOptions())
    rules = rules_on(whole)
    found = solve_all(rule_trials(rules, plan), ExplainBudget(seconds))
    return plan, {c.rule: c for c in rule_costs(plan, whole, rules, found)}


def test_whole_bags_worked_by_hand() -> None:
    """50 acres take 50 units; in bags of 40 that is two, 80 units treated, worth $10 each.

    Seed given up: 80 x $10 = $800. By the unit it would be 50 x $10 = $500. Product: 160 against
    100 fl oz, both one jug of 320. So whole bags cost $300.
    """
    whole = season(fields=(field(acres=50.0),), lots=(lot(return_value=10.0),))
    plan, costs = priced(whole)
    assert plan.cost.total == pytest.approx(300.0 + 800.0)
    bags = costs["Bags are treated whole, not by the unit"]
    assert (bags.cost, bags.purpose) == (pytest.approx(300.0), "convenience")
    assert bags.sentence == "Bags are treated whole, not by the unit: costs $300."


def test_bags_of_a_unit_are_no_rule() -> None:
    assert rules_on(season(lots=(lot(units_per_bag=1.0),))) == ()


def test_margins_worked_by_hand() -> None:
    """160 acres by the unit at 2 fl oz: 320 fl oz fill one jug of 320 to the drop.

    With 5 % spare seed or 2 % margin on product a second jug of $300 is needed; without either,
    the other alone still needs it, so each alone saves nothing; both margins off save $300.
    """
    lots = (lot(on_hand=200.0, units_per_bag=1.0),)
    fields = (field(acres=160.0),)
    plan, costs = priced(season(farm=farm(spare_seed=0.05), fields=fields, lots=lots))
    assert plan.cost.total == pytest.approx(600.0)
    assert costs["5% spare seed"].cost == pytest.approx(300.0)
    assert costs["5% spare seed"].purpose == "safety"
    _, costs = priced(season(farm=farm(product_margin=0.02), fields=fields, lots=lots))
    assert costs["2% margin on product"].cost == pytest.approx(300.0)
    both = farm(product_margin=0.02, spare_seed=0.05)
    _, costs = priced(season(farm=both, fields=fields, lots=lots))
    assert [c.cost for c in costs.values()] == pytest.approx([0.0, 0.0])
    assert costs["5% spare seed"].sentence == "5% spare seed: costs nothing."


def mold_season(**changes) -> Season:
    """Strong costs a $400 jug, Weak a $100 one; two fields of 40 units fit either's jug of 320.

    Only the field North has mold, which Weak does not hold.
    """
    return season(
        fields=(
            field("North", 40.0, pressure={"White mold": Pressure.HIGH}),
            field("South", 40.0),
        ),
        lots=(lot(on_hand=80.0),),
        products=(product("Strong", protection={"White mold": Rating.VG}), product("Weak")),
        containers=(container("Strong", price=400.0), container("Weak", price=100.0)),
        recipes=(recipe("Hard", Strong=2.0), recipe("Soft", Weak=2.0)),
        threats=(Threat("White mold", need={Pressure.HIGH: Rating.VG}),),
        **changes,
    )


def test_protection_worked_by_hand() -> None:
    """Strong on both fields takes 160 fl oz of its jug: $400; without the need, Weak: $100."""
    plan, costs = priced(mold_season())
    assert plan.cost.total == pytest.approx(400.0)
    everywhere = costs["Protection from White mold on every field that needs it"]
    assert everywhere.cost == pytest.approx(300.0)
    assert (everywhere.threat, everywhere.purpose) == ("White mold", "safety")
    one = costs["Protection of North from White mold"]
    assert (one.field, one.cost) == ("North", pytest.approx(300.0))


def test_a_field_that_asks_nothing_still_loses_yield() -> None:
    """The need of North is dropped, its expected loss is not.

    At 20 bu/acre, $10 a bushel and half the loss held by VG, untold protection would save 40 x 20 x
    0.5 x $10 = $4,000, more than Strong costs, so the plan keeps it and the need costs nothing.
    """
    whole = mold_season(
        farm=farm(weigh_yield_loss=True, soybean_price=10.0), control={Rating.VG: 0.5}
    )
    threat = Threat("White mold", {Pressure.HIGH: Rating.VG}, {Pressure.HIGH: 20.0})
    whole = replace(whole, threats=(threat,))
    plan, costs = priced(whole)
    assert plan.cost.yield_loss == pytest.approx(4000.0)
    assert costs["Protection of North from White mold"].cost == pytest.approx(0.0)


def test_a_rule_that_keeps_acres_unplanted_says_so() -> None:
    """One share of variety and recipe, 40 units of each of two varieties, 80 acres: 40 short."""
    whole = season(
        farm=farm(max_varieties=1), lots=(lot(on_hand=40.0), lot("L2", "V22", 2.2, on_hand=40.0))
    )
    _, costs = priced(whole)
    varieties = costs["At most 1 share of variety and recipe in a field"]
    assert varieties.acres_gained == pytest.approx(40.0)
    assert "40 acres more would be planted" in varieties.sentence


def test_a_rule_that_keeps_acres_of_the_first_priority_unplanted_says_so() -> None:
    """First asks for a rating that no recipe has: its 80 units go to 80 acres of Later.

    As many acres are short with the rule as without it, but others.
    """
    fields = (
        field("First", 80.0, pressure={"White mold": Pressure.HIGH}),
        field("Later", 80.0, priority=2),
    )
    threat = Threat("White mold", {Pressure.HIGH: Rating.E})
    _, costs = priced(replace(mold_season(), fields=fields, threats=(threat,)))
    rule = costs["Protection of First from White mold"]
    assert rule.acres_gained == pytest.approx(80.0)
    assert "80 acres more would be planted in place of 80 acres of a later" in rule.sentence


def test_every_rule_that_is_on_is_priced() -> None:
    whole = season(
        farm=farm(
            max_varieties=2,
            smallest_split=10.0,
            most_of_one_variety=1.0,
            spare_seed=0.02,
            product_margin=0.01,
        ),
        maturity_spread=(MaturityShare(1.5, 3.0, 1.0),),
    )
    names = {rule.key for rule in rules_on(whole)}
    assert names == {"varieties", "split", "bags", "variety share", "spread", "spare", "margin"}


@pytest.mark.slow
def test_a_rule_never_pays_and_its_span_holds_its_cost() -> None:
    """On random seasons solved to proof: 0 <= cost, and the proven span holds it."""
    seen = paid = 0
    for seed in range(0, 120, 5):
        whole = tiny_season(seed)
        plan, costs = priced(whole)
        slack = 0.01 + 2e-4 * abs(plan.cost.total)
        for c in costs.values():
            if c.acres_gained or c.cost is None:
                continue
            assert c.cost >= 0.0
            assert c.at_least is not None
            assert c.at_most is not None
            assert c.at_least - slack <= c.cost <= c.at_most + slack
            seen += 1
            paid += c.cost > 1.0
    assert seen > 30
    assert paid > 6


@pytest.mark.slow
def test_going_on_from_the_plan_finds_what_planning_afresh_finds() -> None:
    seen = 0
    for seed in range(0, 80, 8):
        whole = tiny_season(seed)
        plan = solve(whole, SolveOptions(10.0))
        slack = 0.01 + 2e-4 * abs(plan.cost.total)
        rules = rules_on(whole)
        found = solve_all(rule_trials(rules, plan), ExplainBudget(60.0))
        for rule in rules:
            afresh = solve(rule.without, SolveOptions(10.0))
            if not afresh.shortages and not plan.shortages:
                assert found[rule.key].cost.total == pytest.approx(afresh.cost.total, abs=slack)
                assert held_cost(plan, rule.without) >= afresh.cost.total - slack
                seen += 1
    assert seen > 10


# -- time -----------------------------------------------------------------------------------------


def test_no_time_solves_nothing_but_tells_the_rest() -> None:
    whole = mold_season()
    plan = solve(whole, SolveOptions())
    told = explain(whole, plan, ExplainBudget(0.0))
    assert all(c.cost is None and "not worked out" in c.sentence for c in told.rules)
    assert told.order is not None
    assert told.threats
    assert told.worth


def test_a_stop_is_heard() -> None:
    stop = threading.Event()
    stop.set()
    whole = mold_season()
    told = explain(whole, solve(whole, SolveOptions()), ExplainBudget(60.0, stop=stop))
    assert all(c.cost is None for c in told.rules)


def test_the_budget_holds_for_all_solves_together() -> None:
    trials = [Trial(str(seed), tiny_season(seed)) for seed in range(400)]
    found = solve_all(trials, ExplainBudget(1.0))
    assert 0 < len(found) < 400
    assert list(found) == [str(i) for i in range(len(found))]  # the first ones first


@pytest.mark.slow
def test_two_processes_find_what_one_finds() -> None:
    trials = [Trial(str(seed), tiny_season(seed)) for seed in range(4)]
    alone = solve_all(trials, ExplainBudget(60.0))
    both = solve_all(trials, ExplainBudget(60.0, workers=2))
    assert {k: p.cost for k, p in alone.items()} == {k: p.cost for k, p in both.items()}


def test_a_trial_without_a_plan_or_with_a_wrong_one_is_missing(monkeypatch) -> None:
    """Nothing that goes wrong in a changed season may lose the plan that is to be explained."""
    honest = solve(season(), SolveOptions())

    def spoil(error):
        def fake(*_args, **_kwargs):
            if error is None:
                return replace(honest, cost=replace(honest.cost, containers=1.0))
            raise error

        return fake

    for error in (NoPlanError("no plan"), Interrupted("stopped"), MemoryError(), None):
        monkeypatch.setattr("planner.optimize.search.run.solve", spoil(error))
        assert solve_all([Trial("one", season())], ExplainBudget(5.0)) == {}


def test_without_room_for_processes_one_does_the_work(monkeypatch) -> None:
    def refuse(*_args, **_kwargs):
        raise OSError("no more processes")

    monkeypatch.setattr("planner.explain.crew.get_context", refuse)
    trials = [Trial(str(seed), tiny_season(seed)) for seed in range(3)]
    assert list(solve_all(trials, ExplainBudget(30.0, workers=2))) == ["0", "1", "2"]


def test_bounds_that_read_alike_are_said_once() -> None:
    """Between $323.60 and $324.40, read as $324 and $324: once."""
    cost = RuleCost("Rule", "safety", "", "", 324.2, 323.6, 324.4)
    assert _sentence(cost, Speech(farm())) == "Rule: costs $324."
    wider = replace(cost, at_most=326.4)
    assert _sentence(wider, Speech(farm())).endswith("for certain between $324 and $326.")

"""Second stages of seasons with one variety a field, whose plans come from a search.

Optima come from a second model (`tests/laws/second_model.py`), which shares no arithmetic with the
optimizer: bought by its order, the season as planned costs what its optimum does.
"""

import pytest

from planner.optimize.heuristics.alone import plan_alone
from planner.optimize.model.program import Model
from planner.optimize.search.run import solve
from planner.risk import second_stage
from planner.risk.order import Order, ordered_by
from planner.risk.second_stage import SecondStage
from planner.risk.turned_out import Turn
from tests.support.searches import best, hard, under

CASES = [((4, 3, 2, 1), 4, False), ((5, 4, 3, 1), 2, False)]
AS_PLANNED = Turn({})


@pytest.fixture
def searches(monkeypatch: pytest.MonkeyPatch) -> list[tuple[float, int]]:
    """Nothing is settled by a glance, no season is too small for a search; its seconds and seed."""
    begun: list[tuple[float, int]] = []

    def noted(model: Model, seconds: float, seed: int) -> object:
        begun.append((seconds, seed))
        return plan_alone(model, seconds, seed)

    monkeypatch.setattr(second_stage, "plan_alone", noted)
    monkeypatch.setattr(second_stage, "_is_settled", lambda _: False)
    monkeypatch.setattr(second_stage, "GLANCE", 1e-6)
    monkeypatch.setattr(second_stage, "FEW_SHARES", 0)
    return begun


@pytest.mark.parametrize("case", CASES, ids=str)
def test_the_best_order_comes_to_its_plan(
    case: tuple[tuple[int, ...], int, bool], searches: list[tuple[float, int]]
) -> None:
    season, optimum = hard(case), best(case)
    stage, order = SecondStage(season, seconds=2.0), ordered_by(solve(season))
    found = stage.outcome(order, AS_PLANNED)
    assert found.short == 0.0
    assert [seconds for seconds, _ in searches] == pytest.approx([2.0], rel=1e-3)
    assert under(optimum.cost, found.value)
    assert found.value <= 1.03 * optimum.cost


@pytest.mark.parametrize("case", CASES, ids=str)
def test_a_draw_at_best_is_planned_and_proven(
    case: tuple[tuple[int, ...], int, bool], searches: list[tuple[float, int]]
) -> None:
    season, optimum = hard(case), best(case)
    stage = SecondStage(season, seconds=3.0)
    found = stage.floor(AS_PLANNED)
    assert under(found.floor, optimum.cost)
    for x in (found, stage.best_of(AS_PLANNED, found.planted)):
        assert under(optimum.cost, x.value)
        assert x.value <= 1.03 * optimum.cost
    assert [seconds for seconds, _ in searches] == pytest.approx([0.75, 3.0], rel=1e-3)


def test_where_acres_stay_short_another_search_takes_longer(
    searches: list[tuple[float, int]],
) -> None:
    """Nothing is ordered, so that something is short whatever is planted."""
    stage = SecondStage(hard(CASES[0]), seconds=0.2)
    assert stage.outcome(Order(), AS_PLANNED).short > 0.0
    (first, seed), (longer, other) = searches
    assert longer == pytest.approx(second_stage.LONGER * first)
    assert other != seed

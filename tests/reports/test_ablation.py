"""Strategies and bounds can be switched off one by one, and what is worth what adds up."""

import pytest

from planner.optimize.incumbent.incumbent import Incumbent
from planner.optimize.options import SearchParams, SolveOptions
from planner.optimize.search import common, portfolio
from planner.optimize.search.run import solve
from planner.optimize.search.strategies import NAMES, STRATEGIES
from planner.plan.audit import audit
from reports import ablation
from tests.support.random_season import hard_season


def options(*names: str) -> SolveOptions:
    return SolveOptions(effort=1, params=SearchParams(without=frozenset(names)))


def test_a_name_that_is_none_is_refused() -> None:
    with pytest.raises(AssertionError):
        solve(hard_season(4, 3, 2, 1, 1), options("lnear relaxation"))


def test_what_is_switched_off_is_never_chosen() -> None:
    """With all but one switched off, nothing else runs."""
    names = [s.name for s in STRATEGIES]
    left = "annealing from the best plan"
    without = options(*(name for name in names if name != left))
    context = common.open_context(Incumbent(without, None, None), hard_season(6, 4, 3, 2, 1))
    context.workers.ready.set()
    assert {portfolio.choose(context).name for _ in range(20)} == {left}


@pytest.mark.slow
@pytest.mark.parametrize("name", sorted(NAMES))
def test_without_any_one_a_plan_keeps_the_rules(name: str) -> None:
    season = hard_season(7, 5, 3, 1, 2, short=True)
    params = SearchParams(without=frozenset({name}), small_shares=0)
    audit(solve(season, SolveOptions(effort=1, params=params)), season)


def test_worth_is_the_mean_loss_over_seeds() -> None:
    """By hand: 1 % and 3 % dearer are 2 %; the bound falls by 1 % once; a seed alone counts not."""
    rows = {}
    for seed, (full, less, bound) in enumerate([(100, 101, 99), (200, 206, 197), (50, None, None)]):
        run = ablation.Run("demo", ablation.ALL, seed, 5.0, None)
        rows[run] = {"short": 0.0, "cost": full, "bound": full - 1.0}
        if less is not None:
            rows[run._replace(without="diving")] = {"short": 0.0, "cost": less, "bound": bound}
    found = ablation.worth(rows, "diving")["demo"]
    assert found["cost"] == pytest.approx(2.0)
    assert found["bound"] == pytest.approx(0.5)
    assert found["seeds"] == 2
    assert ablation.cell(found) == "+2.00 / +0.50"

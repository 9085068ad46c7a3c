"""Plans put together from parts of plans.

Optima come from brute force (`tests/laws/oracle.py`) and a second model
(`tests/laws/second_model.py`), which share no arithmetic with the optimizer.
"""

from dataclasses import replace

import numpy as np
import pytest

from planner.optimize.annealing.anneal import anneal, annealing_job
from planner.optimize.annealing.decode import planted, with_order
from planner.optimize.heuristics.set_partitioning import Patterns
from planner.optimize.incumbent.budgets import Budget
from planner.optimize.incumbent.incumbent import Incumbent
from planner.optimize.mip.highs import Limits, Watch, reduced
from planner.optimize.mip.highs import solve as solve_matrix
from planner.optimize.model.program import rounded
from planner.optimize.options import SearchParams, SolveOptions
from planner.optimize.params import ShortageParams
from planner.optimize.search import common, run
from planner.optimize.search.run import solve
from planner.plan.audit import audit
from tests.support.quick import long_after
from tests.support.random_season import hard_season
from tests.support.searches import CLOSE, as_told, best, hard, held_short, under


def sampled_plans(context, seed: int):
    """Plans that a stretch of annealing comes by, as the exact model has them."""
    incumbent, seen = context.incumbent, []
    job = annealing_job(incumbent, Budget(np.inf, 40), np.random.default_rng(seed))
    anneal(context.current, replace(job, samples=40), incumbent, seen)
    assert seen
    found = [
        with_order(incumbent.model, planted(incumbent.model, context.current, s), 5.0) for s in seen
    ]
    return [x for x in found if x is not None]


@pytest.mark.slow
@pytest.mark.parametrize("case", long_after(1, [((5, 4, 3, 1), 2), ((7, 5, 3, 1), 4)]), ids=str)
def test_patterns_make_plans_and_the_best_of_them(case):
    """No plan made of patterns is below the second model's optimum; with its own, it is found."""
    size, seed = case
    one = hard((size, seed, False))
    optimum = best((size, seed, False))
    incumbent = Incumbent(SolveOptions(), None, None)
    context = common.open_context(incumbent, one)
    model = held_short(one, optimum.short)
    plans = [
        x for n in range(3) for x in sampled_plans(context, n) if sum(incumbent.shortage(x)) < CLOSE
    ]
    plans.sort(key=model.matrix.price)
    patterns = Patterns(model)
    for x in plans:
        patterns.add(x)
    worst = plans[-1]
    made = patterns.best(model.matrix, worst, Limits(gap=0.0), Watch())
    assert incumbent._keeps_rules(made)
    assert under(optimum.cost, model.matrix.price(made))
    assert model.matrix.price(made) <= model.matrix.price(plans[0]) + CLOSE
    x = rounded(model, solve_matrix(model.matrix, Limits(gap=1e-9)).x)
    # bags that came as 2.9999998 and are rounded leave what follows them a hair off its rows
    part, columns = reduced(model.matrix, ~model.matrix.integer, x)
    x[columns] = solve_matrix(part, Limits()).x
    patterns.add(x)
    made = patterns.best(model.matrix, worst, Limits(gap=0.0), Watch())
    assert incumbent._keeps_rules(made)
    assert model.matrix.price(made) == pytest.approx(optimum.cost, rel=1e-5)


@pytest.mark.slow
def test_patterns_of_many_plans_make_a_cheaper_one():
    """Parts of plans that were cooled one by one go together better than in any of these."""
    one = hard_season(30, 18, 5, 1, 22)
    incumbent = Incumbent(SolveOptions(), None, None)
    context = common.open_context(incumbent, one)
    plans = [x for seed in range(3) for x in sampled_plans(context, seed)]
    patterns = Patterns(incumbent.model)
    for x in plans:
        patterns.add(x)
    matrix = incumbent.model.bounded("short_in", 0.0).matrix
    cheapest = min((x for x in plans if sum(incumbent.shortage(x)) == 0.0), key=matrix.price)
    made = patterns.best(matrix, cheapest, Limits(nodes=100), Watch())
    assert incumbent._keeps_rules(made)
    assert matrix.price(made) < 0.999 * matrix.price(cheapest)


@pytest.mark.long
@pytest.mark.slow
@pytest.mark.parametrize(("short", "effort"), [(False, 2), (True, 1)])
def test_patterns_by_steps_repeat_themselves(short, effort):
    """Where one variety a field is allowed, counted steps give the same plan again."""
    made = []

    class Noted(Patterns):
        def best(self, *args):
            made.append(super().best(*args))
            return made[-1]

    one = hard_season(10, 7, 3, 1, 8, short=short)
    many = ShortageParams(few_pairs=0)  # else acres short are settled without any pattern
    soon = SearchParams(enough_seen=20, enough_seen_for_acres=20, small_shares=0, shortage=many)
    options = SolveOptions(effort=effort, seed=1, params=soon)
    context = common.open_context(Incumbent(options, None, None), one)
    context = replace(context, patterns=Noted(context.incumbent.model))
    plan = run.search(context)
    audit(plan, one)
    assert any(x is not None for x in made)
    assert as_told(solve(one, options)) == as_told(plan)

"""The relaxation by varieties: its acres short are a bound, and where seed goes is right.

Optima come from brute force (`tests/laws/oracle.py`) and a second model
(`tests/laws/second_model.py`), which share no arithmetic with the optimizer.
"""

from dataclasses import replace

import numpy as np
import pytest

from planner.optimize.bounds.disaggregation import disaggregate, weights
from planner.optimize.bounds.relaxations import least_short
from planner.optimize.bounds.variety_aggregated import (
    AggregatedSearch,
    aggregated_program,
    columns_without,
    least_short_aggregated,
    possible_pairs,
    seed_rows,
    seed_there_is,
)
from planner.optimize.incumbent.budgets import Budget
from planner.optimize.incumbent.incumbent import Incumbent
from planner.optimize.mip.highs import INFINITE, Answer, Limits, Matrix, Verdict
from planner.optimize.mip.highs import solve as solve_matrix
from planner.optimize.model.instance import make_instance
from planner.optimize.model.program import make_model
from planner.optimize.options import SolveOptions
from planner.optimize.search import common
from planner.optimize.search.first_plan import make_first_plan
from tests.laws import oracle, second_model
from tests.support.quick import long_after
from tests.support.random_season import hard_season, tiny_season
from tests.support.shortages import compared


def least_by_aggregation(one):
    """Acres short that no plan of a season has fewer than, bags left out; and without the rule."""
    incumbent = Incumbent(SolveOptions(effort=1), None, None)
    incumbent.model = make_model(make_instance(one))
    program = aggregated_program(incumbent.model)
    x, least = least_short_aggregated(incumbent, program, 60.0, None, solve_matrix)
    assert program.given(x, incumbent.model.it).sum(axis=1).max() <= 1
    _, loose = least_short(incumbent, incumbent.model, 60.0, None, solve_matrix)
    return tuple(least), tuple(loose)


@pytest.mark.long
@pytest.mark.slow
def test_filling_is_a_floor_of_what_brute_force_leaves_short():
    """On tiny seasons with every rule, one variety a field; mostly it is the optimum itself."""
    short = same = 0
    for seed in range(300):
        one = tiny_season(seed)
        if one.farm.max_varieties != 1 or oracle.size(one) > 300:
            continue
        optimum = oracle.solve(one).short
        if sum(optimum) < 1e-6:
            continue
        least, _ = least_by_aggregation(one)
        assert compared(least, optimum) <= 0, seed
        short += 1
        same += least == pytest.approx(optimum, abs=1e-3)
    assert short > 20
    assert same > 0.6 * short


@pytest.mark.slow
@pytest.mark.parametrize("seed", long_after(3, [6, 8, 9, 11]))  # the last two: both priorities
def test_filling_is_what_the_second_model_leaves_short(seed):
    """Here the bound is the optimum, which the bound without the field rule is far below."""
    one = hard_season(7, 5, 3, 1, seed, short=True)
    least, loose = least_by_aggregation(one)
    assert least == pytest.approx(second_model.solve(one).short, abs=1e-3)
    assert any(a < b - 0.5 for a, b in zip(loose, least, strict=True))


@pytest.mark.parametrize("varieties", [1, 2])
@pytest.mark.parametrize("seed", [6, 8, 9])
def test_pairs_that_are_possible_are_those_that_can_be_forced(seed, varieties):
    """Each pair of field and variety asked for by itself, at the fewest acres short there can be.

    Where a field has one variety few pairs are left; no plan of the second model's acres is lost.
    """
    one = hard_season(7, 5, 3, varieties, seed, short=True)
    incumbent = Incumbent(SolveOptions(effort=1), None, None)
    incumbent.model = make_model(make_instance(one))
    program = aggregated_program(incumbent.model)
    _, least = least_short_aggregated(incumbent, program, 60.0, None, solve_matrix)
    most = least + 1e-3
    found = possible_pairs(program, most, Limits(), solve_matrix, incumbent)
    matrix = program.matrix
    upper = matrix.upper.copy()
    upper[program.short_in] = most
    forced = []
    for column in program.whether.tolist():
        lower = matrix.lower.copy()
        lower[column] = 1.0
        asked = replace(matrix, lower=lower, upper=upper)
        forced.append(solve_matrix(asked, Limits()).x is not None)
    assert found.tolist() == forced
    assert varieties > 1 or found.sum() < len(found)
    shut = columns_without(incumbent.model, program, found)
    acres = shut[incumbent.model.at["acres"]]
    c, it = incumbent.model.choices, incumbent.model.it
    pairs = set(zip(program.field[found].tolist(), program.variety[found].tolist(), strict=True))
    own = zip(c.field.tolist(), it.variety_of[c.lot].tolist(), strict=True)
    assert acres.tolist() == [pair not in pairs for pair in own]


def test_what_is_possible_is_not_said_where_there_is_no_time_for_it():
    """Then nothing is ruled out."""
    incumbent = Incumbent(SolveOptions(effort=1), None, None)
    incumbent.model = make_model(make_instance(hard_season(7, 5, 3, 1, 6, short=True)))
    program = aggregated_program(incumbent.model)
    most = np.zeros(len(program.short_in)) + 1e3
    assert possible_pairs(program, most, Limits(0.0), solve_matrix, incumbent) is None


def sown_at_most(it, fields, lots, acres):
    """By how much some acres can be multiplied until the lots' seed is gone, lot by lot."""
    units = np.zeros((len(it.fields), len(it.lots)))
    units[it.choices.field, it.choices.lot] = it.choices.units
    n, m = len(fields), len(lots)
    matrix = Matrix(
        cost=np.append(np.zeros(n * m), -1.0),
        lower=np.zeros(n * m + 1),
        upper=np.full(n * m + 1, INFINITE),
        integer=np.zeros(n * m + 1, dtype=bool),
        row_lower=np.zeros(0),
        row_upper=np.zeros(0),
        start=np.zeros(n * m + 2, dtype=np.int64),
        row=np.zeros(0, dtype=np.int64),
        value=np.zeros(0),
    )
    f, j = np.divmod(np.arange(n * m), m)
    entries = (
        np.concatenate([f, np.arange(n), n + j]),
        np.concatenate([np.arange(n * m), np.full(n, n * m), np.arange(n * m)]),
        np.concatenate([np.ones(n * m), -acres, units[fields][:, lots].ravel()]),
    )
    low = np.concatenate([np.zeros(n), np.full(m, -INFINITE)])
    high = np.concatenate([np.zeros(n), seed_there_is(it)[lots]])
    return -solve_matrix(matrix.with_rows(entries, low, high), Limits()).objective


@pytest.mark.parametrize("seed", range(4))
def test_seed_of_a_variety_sows_what_its_lots_sow(seed):
    """Rows in which lots are not told apart, beside the lots themselves, for random acres."""
    it = make_instance(hard_season(24, 14, 3, 1, seed, short=True))
    rng, c = np.random.default_rng(seed), it.choices
    pairs = np.unique(c.field * len(it.varieties) + it.variety_of[c.lot])
    owner, variety = np.divmod(pairs, len(it.varieties))
    row, pair, units, there_is = seed_rows(it, owner, variety)
    mixed = 0
    for v in np.unique(variety).tolist():
        mine, lots = np.flatnonzero(variety == v), np.flatnonzero(it.variety_of == v)
        acres = np.zeros(len(pairs))
        acres[mine] = rng.uniform(10.0, 100.0, len(mine))
        use = np.bincount(row, units * acres[pair], len(there_is))
        most = (there_is[use > 0] / use[use > 0]).min()
        assert most == pytest.approx(sown_at_most(it, owner[mine], lots, acres[mine]), rel=1e-6)
        own = [len(set(c.units[(c.field == f) & np.isin(c.lot, lots)])) for f in owner[mine]]
        mixed += min(own) < max(own)
    assert mixed > 0


@pytest.mark.long
@pytest.mark.slow
@pytest.mark.parametrize("size", [(12, 8, 3, 1, 5), (14, 9, 3, 1, 1), (20, 12, 4, 1, 8)], ids=str)
def test_a_few_varieties_at_a_time_come_to_what_all_at_once_say(size):
    """Filled anew bit by bit as well as by one solve; then planted, without an acre more short."""
    one = hard_season(*size, short=True)
    incumbent = Incumbent(SolveOptions(effort=2), None, None)
    context = common.open_context(incumbent, one)
    make_first_plan(context)
    first, program = incumbent.short, aggregated_program(incumbent.model)
    aggregated = AggregatedSearch(
        program, weights(incumbent.model), program.of(incumbent.model, incumbent.x)
    )
    assert aggregated.matrix.price(aggregated.x) == pytest.approx(weights(incumbent.model) @ first)
    aggregated.work(Budget(np.inf, 6000), incumbent, context.rng, solve_matrix)
    _, least = least_short_aggregated(incumbent, program, 60.0, None, solve_matrix)
    assert tuple(aggregated.x[program.short_in]) == pytest.approx(tuple(least), abs=1e-2)
    assert incumbent.offer(disaggregate(incumbent, aggregated, Limits()))
    assert incumbent.short == pytest.approx(tuple(least), abs=1e-2)
    assert sum(incumbent.short) < sum(first) - 1.0


def test_a_variety_for_which_time_is_short_leaves_only_its_own_fields_bare():
    """The first solve finds nothing: the plan made still plants all the others."""
    one = hard_season(7, 5, 3, 1, 8, short=True)
    incumbent = Incumbent(SolveOptions(effort=1), None, None)
    context = common.open_context(incumbent, one)
    make_first_plan(context)
    model, program = incumbent.model, aggregated_program(incumbent.model)
    x, _ = least_short_aggregated(incumbent, program, 60.0, None, solve_matrix)
    aggregated = AggregatedSearch(program, weights(model), program.of(model, incumbent.x))
    aggregated.offer(x)
    asked = []

    def solver(matrix, limits, **more):
        asked.append(matrix)
        if len(asked) == 1:
            return Answer(Verdict.NONE_FOUND, None, INFINITE, -INFINITE)
        return solve_matrix(matrix, limits, **more)

    y = disaggregate(incumbent, aggregated, Limits(), solver)
    given = program.given(x, model.it)
    first = int(np.flatnonzero(given.any(axis=0))[0])
    bare = y[model.at["short"]] >= np.array([f.acres for f in one.fields]) - 1e-6
    assert incumbent._keeps_rules(y)
    assert bare[given[:, first]].all()
    assert not bare[given.any(axis=1) & ~given[:, first]].any()

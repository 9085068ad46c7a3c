"""Patterns of a variety under a recipe, held against every set of fields and bags, one by one."""

from dataclasses import replace
from itertools import product

import numpy as np
import pytest

from planner.optimize.bounds.patterns import CELLS, Bags, Block, priced

FIELDS, COLUMNS = 6, 12


def made(seed):
    """A block of six fields, full bags of two lots, one of them dear, and a part bag; prices."""
    rng = np.random.default_rng(seed)
    size = float(rng.uniform(20.0, 50.0))
    full = Bags(size, ((FIELDS, int(rng.integers(1, 4))), (FIELDS + 1, int(rng.integers(1, 3)))))
    part = Bags(float(rng.uniform(2.0, size)), ((FIELDS + 2, 1),))
    block = Block(COLUMNS - 1, np.arange(FIELDS), rng.uniform(20.0, 60.0, FIELDS), [part, full])
    cost = np.zeros(COLUMNS)
    cost[:FIELDS] = -rng.uniform(-5.0, 60.0, FIELDS)
    cost[FIELDS : FIELDS + 3] = rng.uniform(-3.0, 60.0, 3)
    return block, cost


def every(block, cost, less=0.0):
    """Cost of the cheapest bags of every set of fields; each field needing so much less.

    All together may go without the block's spare units.
    """
    lots = [(column, bags.size, most) for bags in block.bags for column, most in bags.lots]
    numbers = [range(most + 1) for _, _, most in lots]
    held = [
        (sum(k * s for k, (_, s, _) in zip(n, lots, strict=True)), n) for n in product(*numbers)
    ]
    for taken in product((False, True), repeat=FIELDS):
        fields = np.flatnonzero(taken)
        need = float(np.maximum(0.0, block.need[fields] - less).sum()) - block.spare
        costs = [
            sum(k * cost[c] for k, (c, _, _) in zip(n, lots, strict=True))
            for units, n in held
            if units >= need - 1e-9
        ]
        if costs:
            yield tuple(fields.tolist()), min(costs) + float(cost[fields].sum())


@pytest.mark.parametrize("spare", [0.0, 9.0])
@pytest.mark.parametrize("seed", range(20))
def test_no_pattern_is_cheaper_and_rounding_takes_little_off(seed, spare):
    """Units are counted in steps, each field's rounded down: by no more than a step."""
    block, cost = made(seed)
    block = replace(block, spare=spare)
    prices = priced(block, cost)
    exactly = min(0.0, *(c for _, c in every(block, cost)))
    loosely = min(0.0, *(c for _, c in every(block, cost, less=2.0 * block.step)))
    assert loosely - 1e-9 <= prices.least <= exactly + 1e-9


@pytest.mark.parametrize("seed", range(20))
def test_all_patterns_within_a_cost_are_listed(seed):
    block, cost = made(seed)
    prices = priced(block, cost)
    most = prices.least + 30.0
    listed = {tuple(c[c < FIELDS].tolist()) for c, _ in prices.within(most, 10_000)}
    assert {fields for fields, c in every(block, cost) if c <= most} <= listed
    assert listed <= {f for f, c in every(block, cost, less=2.0 * block.step) if c <= most + 1e-9}
    assert prices.within(most, len(listed)) is None


@pytest.mark.parametrize("seed", range(20))
def test_the_cheapest_pattern_costs_what_is_said_and_its_bags_hold_its_seed(seed):
    block, cost = made(seed)
    prices = priced(block, cost)
    columns, values = prices.cheapest()
    assert float(cost[columns] @ values) == pytest.approx(prices.least)
    units = dict.fromkeys(range(FIELDS), 0.0)
    units |= {column: bags.size for bags in block.bags for column, _ in bags.lots}
    held = sum(units[c] * v for c, v in zip(columns.tolist(), values.tolist(), strict=True))
    need = float(block.need[columns[columns < FIELDS]].sum())
    assert held >= need - FIELDS * block.step
    assert block.step * CELLS <= float(block.need.sum()) + 1e-9

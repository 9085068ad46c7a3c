"""The search for plans: bounds are proofs, and runs can be repeated.

Optima come from brute force (`tests/laws/oracle.py`) and a second model
(`tests/laws/second_model.py`), which share no arithmetic with the optimizer.
"""

from dataclasses import replace
from random import Random

import numpy as np
import pytest

from planner.optimize.incumbent.incumbent import Incumbent
from planner.optimize.mip.highs import now
from planner.optimize.options import SearchParams, SolveOptions
from planner.optimize.search import common, run
from planner.optimize.search.run import solve
from planner.plan.audit import audit
from tests.support.quick import long_after
from tests.support.random_season import hard_season
from tests.support.searches import SMALL, as_told, best, hard, under
from tests.support.shortages import compared, short_by_priority

FEW_CHOICES = SearchParams(many_choices=0, first_choices=3)


WAYS = {
    "as it comes": SolveOptions(seed=2),
    "relaxation first": SolveOptions(params=SearchParams(head_start=())),
    "few choices in memory": SolveOptions(params=FEW_CHOICES),
    "by steps": SolveOptions(effort=1),
    "few choices by steps": SolveOptions(effort=1, params=FEW_CHOICES),
}
"""Parameters of the search that send small seasons the ways of larger ones."""


class SoonAfterAFloor:
    """Hears what a search reports, and stops it some seconds after its first bound."""

    def __init__(self, seconds: float) -> None:
        self.heard, self.seconds, self.until = [], seconds, np.inf

    def hear(self, progress) -> None:
        self.heard.append(progress)
        if progress.bound is not None:
            self.until = min(self.until, now() + self.seconds)

    def is_set(self) -> bool:
        return now() > self.until


@pytest.mark.slow
@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("case", long_after(3, SMALL[:4]), ids=str)
def test_every_floor_told_is_a_floor(case, way):
    """Whatever way a bound is proven, none that the search tells on its way passes the optimum."""
    one, optimum = hard(case), best(case)
    soon = SoonAfterAFloor(2.0)
    plan = solve(one, WAYS[way], soon.hear, None if WAYS[way].effort else soon)
    audit(plan, one)
    told = [p.bound for p in soon.heard if p.bound is not None]
    assert told
    assert sorted(told) == told, "a bound fell"
    assert all(under(bound, optimum.cost) for bound in (*told, plan.bound))
    assert compared(short_by_priority(plan, one), optimum.short) == 0
    assert under(optimum.cost, plan.cost.total)


def shuffled(season, seed: int):
    """The season with the rows of its sheets in another order."""
    rng = Random(seed)

    def mixed(rows):
        return tuple(rng.sample(rows, len(rows)))

    return replace(
        season,
        **{
            sheet: mixed(getattr(season, sheet))
            for sheet in ("fields", "lots", "products", "containers", "recipes", "threats")
        },
        suppliers=mixed(season.suppliers),
        discounts=mixed(season.discounts),
    )


@pytest.mark.slow
@pytest.mark.parametrize("case", [((9, 6, 3, 1), 1, False)], ids=str)
def test_effort_repeats_itself(case):
    """Counted in steps, the plan is the same on every run and for rows in any order."""
    one = hard(case)
    options = SolveOptions(effort=1, seed=1)
    plan = solve(one, options)
    audit(plan, one)
    assert as_told(solve(one, options)) == as_told(plan)
    other = shuffled(one, 5)
    assert other.fields != one.fields
    assert as_told(solve(other, options)) == as_told(plan)


@pytest.mark.slow
def test_every_further_core_searches_too():
    """An annealer for each core beyond the two that are always busy; the prover may get one too."""
    one = hard_season(40, 24, 6, 1, 3)

    class Enough:
        """Stops the search a second after there are as many processes as there must be."""

        def __init__(self, most):
            self.most, self.workers, self.until, self.seen = most, [], np.inf, 0

        def annealers(self):
            return sum(worker.sent is not None for worker in list(self.workers))

        def is_set(self):
            self.seen = max(self.seen, self.annealers())
            if self.seen >= self.most - 1 and len(self.workers) >= self.most:
                self.until = min(self.until, now() + 1.0)
            return now() > self.until

    cores = 5
    stop = Enough(cores)
    context = common.open_context(Incumbent(SolveOptions(seconds=60, cores=cores), None, stop), one)
    stop.workers = context.workers.started
    audit(run.search(context), one)
    assert cores - 1 <= stop.seen <= len(context.workers.started) == cores

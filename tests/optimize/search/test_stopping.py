"""Stopped at any moment, the search hands back a plan that keeps every rule, with a bound."""

import sys
import threading

import numpy as np
import pytest

from planner.errors import NoPlanError
from planner.optimize.annealing.anneal import anneal_apart, annealing_job
from planner.optimize.annealing.decode import decoded
from planner.optimize.bounds import benders
from planner.optimize.from_plan.warm_start import columns_of
from planner.optimize.incumbent.budgets import Budget
from planner.optimize.incumbent.incumbent import Incumbent
from planner.optimize.mip.highs import Answer, Limits, Verdict, now, reduced
from planner.optimize.mip.highs import solve as solve_matrix
from planner.optimize.mip.process import ProcessGoneError
from planner.optimize.model.instance import make_instance
from planner.optimize.model.program import PURCHASE, make_model, rounded
from planner.optimize.options import SearchParams, SolveOptions
from planner.optimize.search import run
from planner.optimize.search.beside import begin
from planner.optimize.search.common import open_context
from planner.optimize.search.finish import offer_cheapest_order
from planner.optimize.search.first_plan import make_first_plan
from planner.optimize.search.order_apart import settle_order
from planner.optimize.search.run import search, solve
from planner.optimize.search.workers import Workers
from planner.plan.audit import audit
from planner.plan.plan import Outcome
from tests.support.random_season import hard_season
from tests.support.searches import hard


@pytest.mark.parametrize("seconds", [0.0, 0.3, 1.0, pytest.param(2.5, marks=pytest.mark.slow)])
def test_stopped_plans_keep_the_rules_and_have_a_floor(seconds):
    """Whenever the user stops, there is a plan that keeps every rule, with a proven bound."""
    one = hard_season(30, 18, 5, 2, 2)
    stop = threading.Event()
    timer = threading.Timer(seconds, stop.set)
    timer.start()
    plan = solve(one, SolveOptions(seconds=60.0), None, stop)
    timer.cancel()
    audit(plan, one)
    assert np.isfinite(plan.bound)
    assert plan.bound <= plan.cost.total


def test_a_stopped_search_still_orders_cheapest_for_what_it_plants():
    """The dearest order that the rules allow, for the best plan's bags, is bettered to the best."""
    one = hard(((6, 4, 3, 2), 1, False))
    plan = solve(one, SolveOptions(seconds=20.0))
    assert plan.outcome is Outcome.OPTIMAL
    incumbent = Incumbent(SolveOptions(), None, None)
    incumbent.model = model = make_model(make_instance(one))
    x = columns_of(model, plan)
    assert x is not None
    free = np.zeros(model.matrix.n_columns, dtype=bool)
    free[np.concatenate([model.at[group] for group in PURCHASE])] = True
    part, columns = reduced(model.aimed(-model.matrix.cost).matrix, free, x)
    dear = x.copy()
    dear[columns] = solve_matrix(part, Limits(seconds=5.0, gap=0.1)).x
    assert incumbent.offer(rounded(model, dear))
    assert incumbent.cost > plan.cost.total + 10.0
    offer_cheapest_order(incumbent)
    assert incumbent.cost == pytest.approx(plan.cost.total, abs=0.02)


def test_stopped_at_the_first_plan():
    """Stopped as soon as a plan is told, that plan or a better one comes back."""
    one = hard_season(20, 12, 4, 1, 3)
    stop = threading.Event()
    heard = []

    def hear(progress):
        heard.append(progress)
        if progress.cost is not None:
            stop.set()

    plan = solve(one, SolveOptions(seconds=60.0), hear, stop)
    audit(plan, one)
    assert np.isfinite(plan.bound)
    first = next(p for p in heard if p.cost is not None)
    short = sum(s.acres for s in plan.shortages)
    assert short < first.acres_short - 1e-3 or plan.cost.total <= first.cost * (1 + 1e-6)


def test_stopped_while_orders_are_opened_there_is_none_to_hold(monkeypatch):
    """The program over orders begins at the relaxation, solved anew, or at nothing."""
    stop = threading.Event()
    context = open_context(Incumbent(SolveOptions(), None, stop), hard_season(8, 6, 3, 1, 1))
    make_first_plan(context)
    opened = benders.open_orders

    def stopped(master, params):
        stop.set()
        nothing = Answer(Verdict.NONE_FOUND, None, np.inf, -np.inf)
        monkeypatch.setattr(master.kept, "solve", lambda seconds: nothing)
        return opened(master, params)

    monkeypatch.setattr(benders, "open_orders", stopped)
    assert settle_order(context, context.incumbent.model) is None
    assert context.order.x is None


def test_fields_are_planted_though_time_ran_out_on_a_plan_that_plants_none():
    """A busy machine may know no other plan by then; the first plan of all fields is still made."""
    incumbent = Incumbent(SolveOptions(seconds=1e-3), None, None)
    context = open_context(incumbent, hard_season(8, 6, 3, 1, 1))
    context.current.clear()
    incumbent.offer(decoded(incumbent.model, context.current))
    nothing = sum(incumbent.short)
    assert incumbent.is_set()
    assert nothing == pytest.approx(sum(f.acres for f in incumbent.model.it.fields))
    make_first_plan(context)
    assert sum(incumbent.short) < 0.5 * nothing


def test_processes_that_die_are_replaced():
    """Both are killed as the search begins; it still finds the optimum, in the time given."""
    one = hard_season(10, 8, 3, 1, 2)
    best = solve(one, SolveOptions(seconds=30.0)).cost.total
    context = open_context(Incumbent(SolveOptions(seconds=30.0), None, None), one)
    workers, begun = context.workers, now()
    for worker in (workers.for_bounds(), workers.for_annealing()):
        worker.process.kill()
        worker.process.wait()
    assert search(context).cost.total == pytest.approx(best, rel=1e-4)
    assert now() - begun < 90.0  # and does not wait for those that are gone
    assert len(workers.started) > 2


def test_a_search_that_fails_leaves_nothing_at_work(monkeypatch):
    """The search fails with the annealer being set up and bounds being proven beside it."""
    options = SolveOptions(seconds=60.0, params=SearchParams(head_start=()))
    context = open_context(Incumbent(options, None, None), hard_season(14, 10, 4, 2, 3))

    def fail(*_: object, **__: object) -> None:
        msg = "for the test"
        raise NoPlanError(msg)

    monkeypatch.setattr("planner.optimize.search.run.pursue", fail)
    with pytest.raises(NoPlanError, match="for the test"):
        search(context)
    assert not any(thread.is_alive() for thread in context.workers.threads)
    assert not any(worker.busy and worker.is_alive() for worker in context.workers.started)
    with pytest.raises(ProcessGoneError):
        context.workers.for_bounds()


def test_more_cores_anneal_in_the_same_processes_every_time():
    context = open_context(
        Incumbent(SolveOptions(seconds=60.0, cores=4), None, None), hard_season(6, 5, 3, 1, 1)
    )
    first = context.workers.for_more(2)
    first[0].process.kill()
    first[0].process.wait()
    again = context.workers.for_more(2)
    assert again[0] is not first[0]
    assert again[1] is first[1]
    context.incumbent.over.set()
    context.workers.close()


def test_a_process_that_does_not_hear_is_not_used_by_two_threads(monkeypatch):
    """The thread that anneals besides goes on after its time; the next one gets another process."""
    options = SolveOptions(seconds=60.0, cores=3)
    context = open_context(Incumbent(options, None, None), hard_season(6, 5, 3, 1, 1))
    released = threading.Event()
    monkeypatch.setattr(run, "GRACE", 0.05)
    monkeypatch.setattr(run, "pursue", lambda *_: None)
    monkeypatch.setattr(
        run, "begin_search", lambda it, **_: begin(it, lambda _: released.wait(30.0))
    )
    run._search_beside_proof(context, begin(context, lambda _: None))
    (first,) = context.workers.more
    assert context.workers.for_more(1) != [first]
    released.set()
    context.workers.close()


def test_a_job_that_never_began_does_not_spoil_the_next():
    """The season is sent with the first job that runs, not with one that was stopped before."""
    incumbent = Incumbent(SolveOptions(seconds=60.0), None, None)
    context = open_context(incumbent, hard_season(6, 5, 3, 1, 1))
    make_first_plan(context)
    stop = threading.Event()
    stop.set()
    job = annealing_job(incumbent, Budget(0.1), context.rng)
    worker = context.workers.for_annealing()
    assert anneal_apart(worker, context.current, job, stop, []) is None
    stop.clear()
    assert anneal_apart(worker, context.current, job, stop, []) is not None
    context.workers.close()


def test_no_thread_is_lost_where_several_begin_some():
    """The search waits for all of them at its end."""
    workers, end = Workers(), threading.Event()
    begun: list[threading.Thread] = []

    def begin_many() -> None:
        begun.extend(workers.beside(end.wait) for _ in range(20))

    interval = sys.getswitchinterval()
    sys.setswitchinterval(1e-6)
    try:
        starters = [threading.Thread(target=begin_many) for _ in range(8)]
        for starter in starters:
            starter.start()
        for starter in starters:
            starter.join()
    finally:
        sys.setswitchinterval(interval)
    assert set(begun) == set(workers.threads)
    assert len(begun) == 160
    end.set()
    workers.close()

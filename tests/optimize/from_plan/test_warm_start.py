"""A search that begins with a plan, of the same season or of one that differs a little."""

import threading
from dataclasses import replace

import pytest

from planner import api
from planner.optimize.from_plan.warm_start import share_names
from planner.optimize.model.instance import make_instance
from planner.optimize.search.common import places_planted
from planner.plan.plan import Plan
from planner.season.domain import Season
from tests.support.sample_plan import sample_season


@pytest.fixture(scope="module")
def whole() -> Season:
    return sample_season()


@pytest.fixture(scope="module")
def plan(whole: Season) -> Plan:
    return api.make_plan(whole, seconds=5.0)


def stopped() -> threading.Event:
    stop = threading.Event()
    stop.set()
    return stop


def test_it_is_no_worse_than_the_plan_that_it_begins_with(whole: Season, plan: Plan) -> None:
    """Where every container costs a tenth more, the plan does; stopped at once, it stands."""
    dearer = replace(
        whole,
        containers=tuple(
            replace(c, breaks=tuple(replace(b, price=1.1 * b.price) for b in c.breaks))
            for c in whole.containers
        ),
    )
    found = api.make_plan(dearer, known=plan, stop=stopped())
    assert sum(s.acres for s in found.shortages) == pytest.approx(
        sum(s.acres for s in plan.shortages), abs=1e-3
    )
    assert found.cost.containers <= 1.1 * plan.cost.containers + 0.01
    assert found.treating == plan.treating


def test_what_a_plan_plants_is_found_among_all_choices(whole: Season, plan: Plan) -> None:
    """So it stays among those that are looked at where there are many."""
    it = make_instance(whole)
    found = share_names(it, it.choices.only(places_planted(it, plan)))
    assert sorted(found) == sorted({(p.field, p.lot, p.recipe) for p in plan.planting})


@pytest.mark.parametrize("gone", ["lots", "containers", "recipes"])
def test_a_plan_with_what_is_not_there_is_as_good_as_unknown(
    whole: Season, plan: Plan, gone: str
) -> None:
    names = {
        "lots": plan.treating[0].lot,
        "containers": plan.order[0].container,
        "recipes": plan.treating[0].recipe,
    }
    left = tuple(x for x in getattr(whole, gone) if x.name != names[gone])
    assert len(left) < len(getattr(whole, gone))
    found = api.make_plan(replace(whole, **{gone: left}), seconds=2.0, known=plan)
    assert names[gone] not in {t.lot for t in found.treating} | {t.recipe for t in found.treating}

"""What each move saves when planning again: worked by hand, and adding up."""

from dataclasses import replace
from random import Random
from types import SimpleNamespace

import pytest

from planner.explain.again import plan_again
from planner.explain.again_words import move_lines
from planner.optimize.from_plan.acres_moved import Terms
from planner.optimize.from_plan.each_move import Moves
from planner.optimize.from_plan.stay_near import stay
from planner.optimize.options import SolveOptions
from planner.optimize.search.run import solve
from planner.plan.audit import audit
from planner.plan.moves import acres_by_share, moved_acres
from planner.report.again_frames import again_sheet
from planner.season.domain import Season
from tests.support.seasons import field, lot, season


def three_fields(l4_worth: float, *, spare: bool) -> Season:
    """North and South, 40 acres each, can share one bag of 80 to buy; East has a lot of its own.

    A bag of L1 holds 80 units at $50. Where `spare` there are 80 units of L2, worth $10 each, too.
    East takes 40 units of L3, worth $20 each, or of L4.
    """
    only = {"only_varieties": ("V1", "V2")}
    return season(
        fields=(
            field("North", acres=40.0, **only),
            field("South", acres=40.0, **only),
            field("East", acres=40.0, only_varieties=("V3", "V4")),
        ),
        lots=(
            lot("L1", "V1", on_hand=0.0, can_buy=80.0, buy_price=50.0, units_per_bag=80.0),
            lot("L2", "V2", on_hand=80.0 * spare, return_value=10.0, units_per_bag=40.0),
            lot("L3", "V3", on_hand=40.0, return_value=20.0),
            lot("L4", "V4", on_hand=40.0, return_value=l4_worth),
        ),
    )


def planned_again(old: Season, now: Season, **options: float):
    before = solve(old, SolveOptions(10.0))
    plan, told = plan_again(now, before, solve(now, SolveOptions(10.0)), **options)
    audit(plan, now)
    return plan, told


def test_fields_that_share_a_bag_move_together_and_others_by_themselves() -> None:
    """Moving North or South alone still buys the bag and gives up 40 x $10 as well; both together
    save 80 x (50 - 10) = $3,200. East saves 40 x (20 - 15) = $200 by itself."""
    plan, told = planned_again(three_fields(25.0, spare=False), three_fields(15.0, spare=True))
    assert {p.field: p.lot for p in plan.planting} == {"North": "L2", "South": "L2", "East": "L4"}
    assert [(set(m.fields), m.acres, m.so_far, m.saves) for m in told.moves] == [
        ({"North", "South"}, *map(pytest.approx, (80.0, 80.0, 3200.0))),
        ({"East"}, *map(pytest.approx, (40.0, 120.0, 200.0))),
    ]
    assert told.keeping - told.total == pytest.approx(3400.0)
    said = move_lines(told)
    assert said[1].startswith("1. North and South together, 80 acres: $3,200 (1 bag of L1 less to")
    assert said[2].startswith(
        "2. East, 40 acres (120 acres by then): $200 (seed worth $200 more can"
    )
    assert {f.field: f.steps for f in told.fields} == {"North": (1,), "South": (1,), "East": (2,)}
    table = next(b for b in again_sheet(told).blocks if getattr(b, "name", "") == "moves")
    assert [row[1] for row in table.rows] == ["North, South", "East"]


def test_of_several_moves_only_those_that_pay_are_made() -> None:
    """East would save 40 x (20 - 19.1) = $36, less than $1 an acre: it stays, the others move."""
    plan, told = planned_again(three_fields(25.0, spare=False), three_fields(19.1, spare=True))
    assert {p.field: p.lot for p in plan.planting}["East"] == "L3"
    assert [(set(m.fields), m.saves) for m in told.moves] == [
        ({"North", "South"}, pytest.approx(3200.0))
    ]
    assert told.total - told.cheapest == pytest.approx(36.0)


def test_without_time_the_moves_are_told_as_one_and_still_add_up() -> None:
    now = three_fields(15.0, spare=True)
    old = acres_by_share(solve(three_fields(25.0, spare=False), SolveOptions(10.0)))
    best = solve(now, SolveOptions(10.0))
    found = stay(now, (best,), old, Terms(1.0), SolveOptions(0.0))
    (step,) = found.steps
    assert (set(step.fields), step.apart) == ({"North", "South", "East"}, False)
    assert step.money == pytest.approx(found.kept.cost.total - found.plan.cost.total)


def test_a_solve_that_finds_nothing_leaves_the_plans_known(monkeypatch) -> None:
    """Then every figure is a difference of plans known before: all moves in one step."""
    from planner.optimize.from_plan import each_move

    def nothing(matrix: object, limits: object, watch: object) -> SimpleNamespace:
        return SimpleNamespace(x=None)

    monkeypatch.setattr(each_move, "solve", nothing)
    _, told = planned_again(three_fields(25.0, spare=False), three_fields(15.0, spare=True))
    assert [(len(m.fields), m.saves) for m in told.moves] == [(3, pytest.approx(3400.0))]


def six_fields(draw: Random) -> Season:
    """Six fields that could each take any of four lots, a bag of 20 units more or less of each."""
    return season(
        fields=tuple(field(name, acres=draw.choice((20.0, 40.0, 60.0))) for name in "ABCDEF"),
        lots=tuple(
            lot(
                f"L{i}",
                f"V{i}",
                on_hand=80.0,
                can_buy=80.0,
                buy_price=draw.uniform(30.0, 60.0),
                units_per_bag=20.0,
                return_value=draw.uniform(5.0, 25.0),
            )
            for i in range(4)
        ),
    )


def test_steps_are_plans_that_keep_every_rule_and_add_up(monkeypatch) -> None:
    """Seasons where seed is worth something else in April: the plan between two steps passes the
    audit, which shares no arithmetic with the solver; each moves less and costs more."""
    found = []
    taken_apart = Moves.taken_apart
    monkeypatch.setattr(
        Moves, "taken_apart", lambda self: found.append(taken_apart(self)) or found[-1]
    )
    for seed in range(8):
        draw = Random(seed)
        whole = six_fields(draw)
        lots = tuple(replace(x, return_value=draw.uniform(5.0, 25.0)) for x in whole.lots)
        now = replace(whole, lots=lots)
        old = solve(whole, SolveOptions(10.0))
        plan, told = plan_again(now, old, solve(now, SolveOptions(10.0)))
        _, steps = found[-1]
        saved = sum(m.saves for m in told.moves)
        assert saved == pytest.approx(told.keeping - told.total, abs=1e-6)
        assert told.fewest + sum(m.acres for m in told.moves) == pytest.approx(told.moved, abs=0.02)
        for step in steps:
            audit(step.without, now)
            audit(step.plan, now)
            assert step.money >= 1.0 * step.acres - 0.02
            fewer, more = (moved_acres(old, p, now) for p in (step.without, step.plan))
            assert step.acres == pytest.approx(more - fewer, abs=0.02)
        if steps:
            assert steps[-1].plan == plan
    assert sum(len(steps) for _, steps in found) >= 10

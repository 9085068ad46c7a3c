"""The front door from Python: public names, and the flow from input to files."""

import json
import threading
from dataclasses import replace
from pathlib import Path

import pytest

import planner
from planner.plan.audit import audit
from tests.support.seasons import field, season

DEMO = Path(__file__).parent.parent / "data" / "demo.xlsx"


def test_public_names_are_these() -> None:
    assert planner.__all__ == [
        "AuditError",
        "EngineError",
        "Fault",
        "InputError",
        "Interrupted",
        "NoPlanError",
        "OutputError",
        "Plan",
        "PlannerError",
        "Season",
        "load",
        "make_plan",
        "write",
    ]


@pytest.mark.parametrize("name", planner.__all__)
def test_public_names_exist_and_are_documented(name: str) -> None:
    assert (getattr(planner, name).__doc__ or "").strip()


def test_a_name_that_is_not_public_is_refused() -> None:
    with pytest.raises(AttributeError, match="no_such_name"):
        planner.no_such_name  # noqa: B018


def test_every_error_has_its_own_exit_code() -> None:
    """The codes are those that README lists; 0, 2 and 4 are not errors of ours."""
    codes = {c.__name__: c.exit_code for c in planner.PlannerError.__subclasses__()}
    assert codes == {
        "InputError": 3,
        "NoPlanError": 5,
        "OutputError": 6,
        "EngineError": 7,
        "AuditError": 70,
        "Interrupted": 130,
    }


def test_memory_that_runs_out_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    season = planner.load(DEMO)

    def refuse(*_args: object, **_named: object) -> None:
        raise MemoryError

    monkeypatch.setattr("planner.optimize.search.run.solve", refuse)
    with pytest.raises(planner.NoPlanError, match="memory"):
        planner.make_plan(season)


@pytest.mark.slow
def test_a_plan_that_fails_the_audit_does_not_get_out(monkeypatch: pytest.MonkeyPatch) -> None:
    from dataclasses import replace

    from planner.optimize.search import run

    season = planner.load(DEMO)
    honest = run.solve

    def cheat(*args: object, **named: object) -> planner.Plan:
        plan = honest(*args, **named)  # type: ignore[arg-type]
        return replace(plan, cost=replace(plan.cost, freight=plan.cost.freight + 1.0))

    monkeypatch.setattr("planner.optimize.search.run.solve", cheat)
    with pytest.raises(planner.AuditError):
        planner.make_plan(season, seconds=1)


def test_from_input_to_files(tmp_path: Path) -> None:
    season = planner.load(DEMO)
    seen = []
    plan = planner.make_plan(season, seconds=2, on_progress=seen.append)
    audit(plan, season)
    paths = planner.write(plan, season, tmp_path / "out")
    names = {path.name for path in paths}
    assert {"plan.json", "plan.xlsx"} <= names
    assert {path.name for path in (tmp_path / "out").iterdir()} == names
    written = json.loads((tmp_path / "out" / "plan.json").read_text("utf-8"))
    assert written["contract"] == 1
    assert written["cost"]["total"] == pytest.approx(plan.cost.total, abs=0.005)
    assert any(p.cost is not None for p in seen)


@pytest.mark.parametrize("stopped", [False, True])
def test_a_plan_that_plants_nothing_is_none_unless_nothing_can_be_planted(
    monkeypatch: pytest.MonkeyPatch, stopped: bool
) -> None:
    """The only lot is a 2.0: with a window up to 1.8 all 80 acres are short, which is proven.

    A search that was cut short comes to the same plan without the proof.
    """
    bare = season(fields=(field(latest=1.8),))
    plan = planner.make_plan(bare, seconds=5)
    assert (sum(s.acres for s in plan.shortages), plan.shortage_proven) == (80.0, True)
    starved = replace(plan, shortage_proven=False, seconds=3.0)
    monkeypatch.setattr("planner.optimize.search.run.solve", lambda *_, **__: starved)
    stop = threading.Event()
    if stopped:
        stop.set()
    expected = planner.Interrupted if stopped else planner.NoPlanError
    with pytest.raises(expected, match="plan that plants a"):
        planner.make_plan(bare, seconds=3, stop=stop)
    some = replace(starved, shortages=(replace(plan.shortages[0], acres=79.0),))
    monkeypatch.setattr("planner.optimize.search.run.solve", lambda *_, **__: some)
    monkeypatch.setattr("planner.explain.complete.complete", lambda made, _: made)
    assert planner.make_plan(bare, seconds=3) is some

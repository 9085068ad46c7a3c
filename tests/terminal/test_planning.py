"""The command plan with scenarios: each begins with the plan as it is; Ctrl-C is carried on."""

import json
from pathlib import Path
from time import sleep
from typing import Any

import pytest

from planner import api, cli
from planner.errors import Interrupted, NoPlanError
from planner.plan.plan import Plan
from planner.terminal import planning
from planner.terminal.deciding import Options, decide

Capture = pytest.CaptureFixture[str]
ROWS = (
    "Scenario,Sheet,Row,Column,Value\n"
    "Dear,Containers,Green Cap / jug,Price,130\nCheap,Containers,Green Cap / jug,Price,70\n"
)


@pytest.fixture
def two(tiny: Path) -> Path:
    (tiny / "what if.csv").write_text(ROWS, "utf-8")
    return tiny


@pytest.mark.parametrize(
    ("ends", "begun", "planned", "said"),
    [
        ({}, ["", "Dear", "Cheap"], ["Dear", "Cheap"], None),
        ({"Dear": True}, ["", "Dear"], ["Dear"], "Not planned: Cheap; you stopped it."),
        ({"": True}, [""], [], "Not planned: Dear, Cheap; you stopped it."),
        ({"Cheap": True}, ["", "Dear", "Cheap"], ["Dear", "Cheap"], None),
        ({"Dear": Interrupted("none")}, ["", "Dear"], [], "Not planned: Dear, Cheap; you"),
        (
            {"Dear": NoPlanError("none")},
            ["", "Dear", "Cheap"],
            ["Cheap"],
            "Not planned: Dear; give",
        ),
    ],
)
def test_ctrl_c_is_carried_on_and_what_is_known_is_written(
    two: Path,
    tmp_path: Path,
    capsys: Capture,
    monkeypatch: pytest.MonkeyPatch,
    ends: dict[str, bool | Exception],
    begun: list[str],
    planned: list[str],
    said: str | None,
) -> None:
    real, explain, known, seconds = planning.decide, api.explain, {}, []

    def decide(*given: Any, what: str = "", **named: Any) -> tuple[Plan, bool]:
        known[what], end = named.get("known"), ends.get(what, False)
        if isinstance(end, Exception):
            raise end
        return real(*given, what=what, **named)[0], end

    def explained(*given: Any, **named: Any) -> Any:
        seconds.append(named["seconds"])
        return explain(*given, **named)

    monkeypatch.setattr(planning, "decide", decide)
    monkeypatch.setattr(api, "explain", explained)
    out = tmp_path / "out"
    command = ["plan", str(two), "--out", str(out), "--seconds", "5", "--why", "4", "--pack"]
    assert cli.run([*command, "study", "--what-if"]) == 0
    assert list(known) == begun
    assert all(known[name] is not None for name in begun[1:]), "the plan as it is begins each"
    written = json.loads((out / "plan.json").read_text("utf-8"))
    assert written.get("what_if", {}).get("names", ["as it is"])[1:] == planned
    stopped = any(end is True or isinstance(end, Interrupted) for end in ends.values())
    assert seconds == [0.0 if stopped else 4.0]
    shown = " ".join(capsys.readouterr().out.split())
    assert (said in shown) if said else ("Not planned" not in shown)


def test_what_is_done_meanwhile_is_over_once_the_plan_is_decided(tiny: Path) -> None:
    over: list[bool] = []

    def meanwhile() -> None:
        sleep(0.5)
        over.append(True)

    decide(api.load(tiny), Options(effort=1, quiet=True), meanwhile=meanwhile)
    assert over == [True], "else two threads import the same libraries, which may fail"

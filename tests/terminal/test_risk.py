"""The command risk and the option --safe, from input to files and sentences."""

import json
from importlib.util import find_spec
from pathlib import Path

import openpyxl
import pytest

from planner import api, cli
from planner.engine import on_dask
from planner.engine.jobs import cores
from planner.errors import EngineError, NoPlanError
from planner.risk.second_stage import SecondStage
from planner.terminal import risk as terminal_risk
from tests.risk.test_orders import CONTAINERS, UNKNOWN
from tests.support.work import needs_dask

Capture = pytest.CaptureFixture[str]


@pytest.fixture
def unknown(tiny: Path) -> Path:
    """The tiny season with what is not known, late prices and a cost of a short acre."""
    (tiny / "containers.csv").write_text(CONTAINERS, "utf-8")
    (tiny / "unknowns.csv").write_text(UNKNOWN, "utf-8")
    with (tiny / "farm.csv").open("a", encoding="utf-8") as file:
        file.write("Cost of a short acre,500\n")
    return tiny


def test_risk_writes_orders_and_says_which_is_best(
    unknown: Path, tmp_path: Path, capsys: Capture
) -> None:
    out = tmp_path / "out"
    assert (
        cli.run(
            [
                "risk",
                str(unknown),
                "--out",
                str(out),
                "--draws",
                "8",
                "--seconds",
                "60",
                "--workers",
                "1",
            ]
        )
        == 0
    )
    shown = capsys.readouterr()
    assert "lowest mean cost" in shown.out
    found = json.loads((out / "plan.json").read_text("utf-8"))["unknowns"]
    assert len(found["orders"]) >= 2
    assert found["orders"][0]["mean_cost"] <= found["orders"][-1]["mean_cost"]
    assert found["order_draws"] == 8
    book = openpyxl.load_workbook(out / "study.xlsx")
    texts = [str(c.value) for row in book["Orders compared"] for c in row if c.value is not None]
    assert "Order now, decide again when all is known" in texts
    assert "Buy now or wait" in texts


def test_the_plan_is_written_where_time_runs_out_before_orders_are_compared(
    unknown: Path, tmp_path: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    def too_late(*_: object, **given: object) -> None:
        assert given["workers"] == (cores() if find_spec("distributed") else 1)
        msg = "time ran out before any draw was settled; give it more seconds"
        raise NoPlanError(msg)

    monkeypatch.setattr(api, "compare_orders", too_late)
    out = tmp_path / "out"
    assert cli.run(["risk", str(unknown), "--out", str(out), "--seconds", "20"]) == 0
    assert "Orders were not compared: time ran out" in " ".join(capsys.readouterr().out.split())
    found = json.loads((out / "plan.json").read_text("utf-8"))
    assert "orders" not in found["unknowns"]
    assert (out / "plan.xlsx").exists()


def test_a_bug_of_ours_is_no_lack_of_time_and_the_plan_is_not_lost_by_it(
    unknown: Path, tmp_path: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object, **_given: object) -> None:
        raise KeyError("Green Cap")

    monkeypatch.setattr(SecondStage, "_model", broken)
    out = tmp_path / "out"
    command = ["risk", str(unknown), "--out", str(out), "--seconds", "20", "--workers", "1"]
    assert cli.run(command) == 1
    shown = capsys.readouterr()
    assert "a bug in wholedrum (KeyError: 'Green Cap')" in shown.err
    assert "Orders were not compared" not in shown.out
    assert f"Written: {out / 'plan.json'}" in shown.out
    assert (out / "plan.json").exists()


def test_a_cluster_lost_on_the_way_does_not_lose_the_plan(
    unknown: Path, tmp_path: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    def lost(*_: object, **_given: object) -> None:
        msg = "the Dask scheduler does not answer any more; 3 jobs are done"
        raise EngineError(msg)

    monkeypatch.setattr(api, "compare_orders", lost)
    out = tmp_path / "out"
    command = ["risk", str(unknown), "--out", str(out), "--seconds", "20", "--workers", "1"]
    assert cli.run(command) == EngineError.exit_code
    shown = capsys.readouterr()
    assert "does not answer any more" in shown.err
    assert f"Written: {out / 'plan.json'}" in shown.out
    assert (out / "plan.xlsx").exists()


@needs_dask
def test_a_cluster_that_is_not_there_is_told_before_anything_is_decided(
    unknown: Path, tmp_path: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    decided: list[object] = []
    monkeypatch.setattr(terminal_risk, "decide", lambda *given: decided.append(given))
    monkeypatch.setattr(on_dask, "CONNECT", 1.0)
    command = ["risk", str(unknown), "--out", str(tmp_path / "out"), "--seconds", "20"]
    assert cli.run([*command, "--cluster", "tcp://127.0.0.1:1"]) == EngineError.exit_code
    assert "no Dask scheduler answers" in capsys.readouterr().err
    assert decided == []


def test_stopped_while_deciding_no_orders_are_compared(
    unknown: Path, tmp_path: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = terminal_risk.decide
    monkeypatch.setattr(terminal_risk, "decide", lambda *given: (real(*given)[0], True))
    monkeypatch.setattr(api, "compare_orders", lambda *_, **_given: pytest.fail("compared"))
    out = tmp_path / "out"
    assert cli.run(["risk", str(unknown), "--out", str(out), "--seconds", "20"]) == 0
    assert "Orders were not compared: you stopped it." in capsys.readouterr().out
    assert (out / "plan.json").exists()


def test_a_safe_plan_has_more_and_page_one_says_so(
    unknown: Path, tmp_path: Path, capsys: Capture
) -> None:
    """Two jugs hold 256 fl oz; 240 are needed as planned, 288 at the most: one more jug."""
    rows = "Scenario,Sheet,Row,Column,Value\nDear jugs,Containers,Green Cap / jug,Price,130\n"
    (unknown / "what if.csv").write_text(rows, "utf-8")
    out = tmp_path / "out"
    command = ["plan", str(unknown), "--out", str(out), "--seconds", "5", "--why", "0"]
    assert cli.run([*command, "--safe", "99"]) == 0
    shown = capsys.readouterr().out
    assert "Added to be safe: 1 more jug of Green Cap; $100 more to pay." in shown
    assert "Worked out without the containers that were added to be safe." in shown
    totals = "Total compared $200.00 $240.00"  # scenarios, too, have nothing added
    assert totals in " ".join(shown.split())
    book = openpyxl.load_workbook(out / "study.xlsx")
    texts = " ".join(str(c.value) for row in book["What if"] for c in row if c.value is not None)
    assert "Worked out without the containers that were added to be safe." in texts
    plan = json.loads((out / "plan.json").read_text("utf-8"))
    assert sum(o["count"] for o in plan["order"]) == 3
    assert plan["unknowns"]["as_planned"]["enough"] >= 0.99
    assert cli.run(command) == 0
    sheet = openpyxl.load_workbook(out / "plan.xlsx").worksheets[0]
    texts = " ".join(str(c.value) for row in sheet for c in row if c.value is not None)
    assert "How safe is this order" in texts
    assert "seasons this order is enough; for $" in texts
    assert "ecide whether to spend $" in texts
    assert "1 more jug of Green Cap" in texts


def test_safe_without_unknowns_says_what_to_do(tiny: Path, tmp_path: Path, capsys: Capture) -> None:
    assert cli.run(["plan", str(tiny), "--out", str(tmp_path / "out"), "--safe", "95"]) == 5
    assert "--usual-unknowns" in capsys.readouterr().err
    assert not (tmp_path / "out" / "plan.json").exists()


def test_usual_unknowns_beside_own_ones_are_told_to_add_nothing(
    unknown: Path, tmp_path: Path, capsys: Capture
) -> None:
    command = [
        "plan",
        str(unknown),
        "--out",
        str(tmp_path / "out"),
        "--why",
        "0",
        "--pack",
        "winter",
    ]
    assert cli.run([*command, "--seconds", "3", "--usual-unknowns"]) == 0
    shown = " ".join(capsys.readouterr().out.split())
    assert "its own rows were taken and nothing was added to them" in shown

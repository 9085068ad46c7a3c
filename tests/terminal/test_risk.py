"""The command risk and the option --safe, from input to files and sentences."""

import json
from importlib.util import find_spec
from pathlib import Path

import openpyxl
import pytest

from planner import api, cli
from planner.errors import NoPlanError
from planner.optimize.options import cores
from tests.risk.test_orders import CONTAINERS, UNKNOWN

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


def test_a_safe_plan_has_more_and_page_one_says_so(
    unknown: Path, tmp_path: Path, capsys: Capture
) -> None:
    """Two jugs hold 256 fl oz; 240 are needed as planned, 288 at the most: one more jug."""
    out = tmp_path / "out"
    command = ["plan", str(unknown), "--out", str(out), "--seconds", "5", "--why", "0"]
    assert cli.run([*command, "--safe", "99"]) == 0
    capsys.readouterr()
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

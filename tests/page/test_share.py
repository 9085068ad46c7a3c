"""The page Share: one order, three growers, and what is kept of it over a restart.

Containers, shares and the groups' costs are those derived by hand in `tests/sharing/test_files.py`.
"""

from __future__ import annotations

import io
import re
from typing import TYPE_CHECKING

import pytest

pytest.importorskip("starlette")

from openpyxl import load_workbook

from tests.support import inputs
from tests.support.page import Reader, texts

if TYPE_CHECKING:
    from pathlib import Path

    from tests.support.inputs import Sheets

NEEDS = {"Ann": "4", "Bob": "6", "Cy": "9"}
SAVINGS = {"Ann": "$408.3", "Bob": "$533.3", "Cy": "$758.3"}
"""By hand $408.33, $533.33 and $758.33; one of them bears the cent that is left over."""


def sheets(rule: str, growers: dict[str, str] = NEEDS) -> Sheets:
    """Needs of 4, 6 and 9 gal; a jug of 2.5 gal costs $250, a drum of 15 gal $1,200."""
    return {
        "Farm": [
            ["Setting", "Value"],
            ["Crop year", "2027"],
            ["Plan date", "2026-12-10"],
            ["Share costs by", rule],
        ],
        "Fields": [
            ["Field", "Acres", "Seeding rate", "Grower"],
            *([f"{n} home", acres, "140000", n] for n, acres in growers.items()),
        ],
        "Seed lots": [
            [
                "Lot",
                "Variety",
                "Maturity",
                "Units on hand",
                "Units per bag",
                "Seeds per lb",
                "Grower",
            ],
            *([f"L-{n}", f"V-{n}", "2.0", a, "1", "2800", n] for n, a in growers.items()),
        ],
        "Products": [["Product", "Kind"], ["Alpha", "fungicide"]],
        "Containers": [
            ["Product", "Container", "Size", "Price"],
            ["Alpha", "jug", "2.5 gal", "250"],
            ["Alpha", "drum", "15 gal", "1200"],
        ],
        "Recipes": [["Recipe", "Product", "Rate"], ["R1", "Alpha", "128 fl oz/unit"]],
    }


def planned(folder: Path, rule: str = "savings") -> tuple[Reader, str]:
    """Someone who has a plan of the season for three, and its address."""
    folder.mkdir(exist_ok=True)
    workbook = inputs.workbook(folder.parent / "three.xlsx", sheets(rule))
    reader = Reader(folder).enter()
    season = reader.drop("three.xlsx", workbook.read_bytes())
    reader.planned(season)
    return reader, season


def test_bills_by_use_are_there_at_once_and_by_the_farms_rule_on_asking(tmp_path: Path) -> None:
    reader, season = planned(tmp_path / "farm")
    before = reader.get(f"{season}/share")
    assert "6 groups have to be planned" in texts(before)
    assert re.search(r"\$357\.(89|90)", before)  # Ann's share by use: 4 of 19 gal of $1,700
    assert "/share/files/" not in before
    reader.finished(season, "share", each="2")
    said = reader.get(f"{season}/share")
    for grower, amount in SAVINGS.items():
        assert re.search(rf"{grower}</td>.{{0,200}}{re.escape(amount)}", said, re.DOTALL), grower
    assert "Bob and Cy pay" in texts(said)  # together more than alone
    listed = re.findall(rf'href="({season}/share/files/\d+)"[^>]*>([^<]+)', said)
    assert {"settlement.xlsx", "bill 1 ann.xlsx", "bill 3 cy.xlsx"} <= {n for _, n in listed}
    bill = reader.client.get(next(w for w, n in listed if n == "bill 1 ann.xlsx"))
    cells = [
        f"{c.value:.2f}" if isinstance(c.value, float) else str(c.value)
        for ws in load_workbook(io.BytesIO(bill.content)).worksheets
        for row in ws.iter_rows()
        for c in row
    ]
    assert any(text.startswith("408.3") for text in cells)
    assert not any("Bob" in text or "Cy" in text for text in cells)
    reader.get(f"{season}/share/files/{len(listed)}", 404)


@pytest.mark.slow
def test_bills_and_the_reasons_outlast_the_page(tmp_path: Path) -> None:
    reader, season = planned(tmp_path / "farm", "use")
    reader.finished(season, "share", each="2")
    again = Reader(tmp_path / "farm").enter()
    said = again.get(f"{season}/share")
    assert "made before the page was started" in texts(said)
    assert "bill 2 bob.xlsx" in said
    answer = texts(again.get(f"{season}/answer"))
    assert "finds it out again when you ask" in answer
    assert "what rules cost, worth treating; up to 20 seconds" in answer
    listed = again.get(f"{season}/files").split("<h1>")[1]
    again.finished(season, "why")
    assert "finds it out again" not in texts(again.get(f"{season}/answer"))
    assert again.get(f"{season}/files").split("<h1>")[1] == listed
    again.planned(season)  # another plan: the bills of the old one are no longer offered
    assert "bill 2 bob.xlsx" not in again.get(f"{season}/share")


@pytest.mark.slow
def test_a_season_with_one_grower_has_nothing_to_share(tmp_path: Path) -> None:
    workbook = inputs.workbook(tmp_path / "one.xlsx", sheets("use", {"Ann": "4"}))
    reader = Reader(tmp_path).enter()
    season = reader.drop("one.xlsx", workbook.read_bytes())
    reader.get(f"{season}/share", 404)
    reader.planned(season)
    assert "/share" not in reader.get(f"{season}/answer")
    assert "name the Grower of every field" in texts(reader.get(f"{season}/share", 404))
    reader.post(f"{season}/share", 404, each="2")


@pytest.mark.slow
def test_too_many_growers_for_the_rule_is_said_before_anything_is_planned(tmp_path: Path) -> None:
    many = {f"G{n}": "4" for n in range(20)}
    workbook = inputs.workbook(tmp_path / "many.xlsx", sheets("least regret", many))
    reader = Reader(tmp_path).enter()
    season = reader.drop("many.xlsx", workbook.read_bytes())
    reader.planned(season)
    said = texts(reader.get(f"{season}/share"))
    assert "too many growers to share by least regret" in said
    assert "use or savings" in texts(reader.post(f"{season}/share", 400, each="2"))

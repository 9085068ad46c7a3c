"""The page to try an order on, calculated by LibreOffice, against the prices of the plan.

Counts are overtyped as a person would; the totals of the page must be those that
`planner.plan.price` works out from the same counts, to the cent.
"""

import io
import random
import subprocess
from dataclasses import replace
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from openpyxl.workbook import Workbook

from planner.plan.plan import Plan
from planner.plan.price import carryover, order_cost, product_uses
from planner.report.sheets import Pack
from planner.report.try_frames import total_of
from planner.report.workbook import render
from planner.season.domain import DiscountLevel, PriceBreak, Season
from planner.season.read import read_season
from tests.support.books import described
from tests.support.office import MISSING, SOFFICE, needs_office
from tests.support.sample_plan import awkward_season, greedy_plan, sample_season

PAGE = "Try an order"
Counts = dict[tuple[str, str], int]


def many_levels() -> Season:
    """Discounts that overlap, breaks that begin at two, a most, and no supplier for some."""
    season = sample_season()
    containers = tuple(
        replace(c, breaks=(PriceBreak(2, 900.0), PriceBreak(5, 850.5)), most=8)
        if c.name == "2.5 gal bag"
        else c
        for c in season.containers
    )
    levels = (
        DiscountLevel("Early order", 1_000.0, 0.015, "North Depot"),
        DiscountLevel("Bundle", 2_000.0, 0.05, None, ("Duskfield", "Slipcoat")),
        DiscountLevel("Bundle", 9_000.0, 0.06, None, ("Slipcoat",)),
    )
    return replace(season, containers=containers, discounts=season.discounts + levels)


SEASONS = {
    "sample": sample_season,
    "metric": lambda: sample_season(metric=True, currency="€"),
    "awkward": awkward_season,
    "levels": many_levels,
    "demo": lambda: read_season(Path(__file__).parents[2] / "data" / "demo"),
}


def planned(plan: Plan) -> Counts:
    return {(line.product, line.container): line.count for line in plan.order}


def some_counts(season: Season, seed: int) -> Counts:
    """Counts at which breaks, freight and discount levels change, all of them allowed."""
    rng = random.Random(seed)
    counts = {}
    for c in season.containers:
        most = 9 if c.most is None else c.most
        choice = [0, *(n for n in range(1, most + 1) if n >= c.breaks[0].from_count)]
        counts[c.product, c.name] = rng.choice(choice)
    return counts


def overtyped(book: Workbook, counts: Counts) -> bytes:
    """The workbook with other counts, and without any stored results."""
    sheet = book[PAGE]
    top = next(r for r in range(1, 60) if sheet.cell(r, 4).value == "Count")
    row = top + 1
    seen = set()
    while sheet.cell(row, 1).value:
        key = (sheet.cell(row, 1).value, sheet.cell(row, 2).value)
        if key in counts:
            assert not sheet.cell(row, 4).protection.locked
            sheet.cell(row, 4).value = counts[key]
            seen.add(key)
        row += 1
    assert seen == set(counts)
    out = io.BytesIO()
    book.save(out)  # writes formulas without results, so that they must be calculated
    return out.getvalue()


@pytest.fixture(scope="module")
def calculated(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """Seasons with several orders each, calculated by LibreOffice in one go."""
    if SOFFICE is None:
        pytest.skip(MISSING)
    folder = tmp_path_factory.mktemp("office")
    cases: dict[str, Any] = {}
    for name, make in SEASONS.items():
        season = make()
        plan = greedy_plan(season)
        content = render(described(plan, season)[Pack.STUDY])
        book = openpyxl.load_workbook(io.BytesIO(content))
        for number in range(3):
            counts = planned(plan) if number == 0 else some_counts(season, number)
            path = folder / f"{name}-{number}.xlsx"
            path.write_bytes(overtyped(book, counts))
            cases[path.stem] = (season, plan, counts, content)
    profile = f"-env:UserInstallation={(folder / 'profile').as_uri()}"
    done = folder / "done"
    command = [SOFFICE, profile, "--headless", "--convert-to", "xlsx:Calc MS Excel 2007 XML"]
    command += ["--outdir", str(done), *(str(folder / f"{c}.xlsx") for c in cases)]
    subprocess.run(command, check=True, capture_output=True, timeout=240)
    found = {}
    for name, case in cases.items():
        book = openpyxl.load_workbook(done / f"{name}.xlsx", data_only=True)
        book.path = done / f"{name}.xlsx"
        found[name] = (book, *case)
    return found


def costs_on(page: Any) -> dict[str, tuple[float, float, float]]:
    """Kind of cost: with this order, in the plan, difference."""
    top = next(r for r in range(1, 200) if page.cell(r, 2).value == "This order")
    found = {}
    row = top + 1
    while page.cell(row, 1).value:
        found[page.cell(row, 1).value] = tuple(page.cell(row, c).value for c in (2, 3, 4))
        row += 1
        if page.cell(row, 2).value is None:
            break
    return found


CASES = [f"{name}-{number}" for name in SEASONS for number in range(3)]


@pytest.mark.long
@pytest.mark.slow
@needs_office
@pytest.mark.parametrize("case", CASES)
def test_totals_are_those_of_the_prices_to_the_cent(calculated: dict[str, Any], case: str) -> None:
    book, season, plan, counts, _ = calculated[case]
    order = order_cost(season, counts)
    credit = carryover(season, product_uses(season, plan.treating, counts))
    wanted = replace(
        plan.cost,
        containers=order.containers,
        freight=order.freight,
        discounts=order.discounts,
        carryover_credit=credit,
    )
    found = costs_on(book[PAGE])
    assert found["Containers"][0] == pytest.approx(wanted.containers, abs=0.005)
    assert found["Freight"][0] == pytest.approx(wanted.freight, abs=0.005)
    assert found["Discounts"][0] == pytest.approx(-wanted.discounts, abs=0.005)
    assert found["Carryover credit"][0] == pytest.approx(-wanted.carryover_credit, abs=0.005)
    assert found["Total compared"][0] == pytest.approx(wanted.total, abs=0.005)
    assert found["Total compared"][1] == pytest.approx(plan.cost.total, abs=0.005)
    assert found["Total compared"][2] == pytest.approx(wanted.total - plan.cost.total, abs=0.01)


@pytest.mark.slow
@needs_office
@pytest.mark.parametrize("case", CASES)
def test_it_says_which_products_are_short(calculated: dict[str, Any], case: str) -> None:
    book, season, plan, counts, _ = calculated[case]
    page = book[PAGE]
    uses = {u.product: u for u in product_uses(season, plan.treating, counts)}
    top = next(r for r in range(1, 200) if page.cell(r, 7).value == "Enough?")
    short = 0
    for row in range(top + 1, top + 1 + len(season.products)):
        use = uses[page.cell(row, 1).value]
        factor = 0.0295735295625 if season.farm.metric else 1 / 128  # NIST Handbook 44, App. C
        assert page.cell(row, 6).value == pytest.approx(use.left * factor, abs=1e-9)
        assert page.cell(row, 7).value == ("short" if use.left < -0.02 else "enough")
        short += use.left < -0.02
    if case.endswith("-0"):
        assert short == 0


@pytest.mark.slow
@needs_office
@pytest.mark.parametrize("case", CASES)
def test_no_cell_holds_an_error(calculated: dict[str, Any], case: str) -> None:
    book = calculated[case][0]
    cells = [c for sheet in book for row in sheet.iter_rows() for c in row]
    assert len(cells) > 500
    wrong = [c.coordinate for c in cells if c.data_type == "e" or str(c.value).startswith("#")]
    assert not wrong


@pytest.mark.slow
@needs_office
@pytest.mark.parametrize("name", SEASONS)
def test_results_stored_are_those_calculated(calculated: dict[str, Any], name: str) -> None:
    """Phones, previews and pandas see what an office program would show."""
    book, _, _, _, content = calculated[f"{name}-0"]
    stored = openpyxl.load_workbook(io.BytesIO(content), data_only=True)[PAGE]
    live = openpyxl.load_workbook(io.BytesIO(content))[PAGE]
    formulas = [c for row in live.iter_rows() for c in row if c.data_type == "f"]
    assert len(formulas) > 50
    for c in formulas:
        seen, now = stored[c.coordinate].value, book[PAGE][c.coordinate].value
        if isinstance(now, int | float):
            assert seen == pytest.approx(now, abs=1e-6), c.coordinate
        else:
            assert (seen or "") == (now or ""), c.coordinate


@pytest.mark.slow
@needs_office
def test_texts_stay_texts_in_the_office_program(calculated: dict[str, Any]) -> None:
    """What LibreOffice writes back of names such as ``=HYPERLINK(...)`` is text as before."""
    book, season, *_ = calculated["awkward-0"]
    live = openpyxl.load_workbook(book.path)
    formulas = {
        c.parent.title for w in live for row in w.iter_rows() for c in row if c.data_type == "f"
    }
    assert formulas == {PAGE}
    assert not [
        c
        for w in live
        for row in w.iter_rows()
        for c in row
        if c.hyperlink and c.hyperlink.target and "invalid" in c.hyperlink.target
    ]
    found = {c.value for row in live["Seed"].iter_rows() for c in row}
    assert {lot.name for lot in season.lots} <= found


@pytest.mark.slow
@needs_office
def test_counts_that_cannot_be_ordered_are_marked(
    calculated: dict[str, Any], tmp_path: Path
) -> None:
    content = calculated["levels-0"][4]
    counts = {("Rosemark", "2.5 gal bag"): 1, ("Slipcoat", "30 gal drum"): 3}
    path = tmp_path / "odd.xlsx"
    path.write_bytes(overtyped(openpyxl.load_workbook(io.BytesIO(content)), counts))
    profile = f"-env:UserInstallation={(tmp_path / 'profile').as_uri()}"
    command = [SOFFICE, profile, "--headless", "--convert-to", "xlsx:Calc MS Excel 2007 XML"]
    subprocess.run(
        [*command, "--outdir", str(tmp_path / "done"), str(path)],
        check=True,
        capture_output=True,
        timeout=120,
    )
    page = openpyxl.load_workbook(tmp_path / "done" / "odd.xlsx", data_only=True)[PAGE]
    said = {(row[0].value, row[1].value): row[9].value for row in page.iter_rows() if row[9].value}
    assert said["Rosemark", "2.5 gal bag"] == "at least 2"
    assert said["Slipcoat", "30 gal drum"] == "at most 2 for sale"


def test_long_sums_are_nested() -> None:
    """A function takes 255 arguments at the most (ECMA-376 part 1, 18.17.2, from memory)."""
    text = total_of("t", "k", range(0, 1000, 2))
    depth, arguments = 0, [1]
    for letter in text:
        if letter == "(":
            arguments.append(1)
        elif letter == ")":
            assert arguments.pop() <= 255
        elif letter == ",":
            arguments[-1] += 1
        depth += {"(": 1, ")": -1}.get(letter, 0)
    assert depth == 0
    assert text.count("{t.k:") == 500

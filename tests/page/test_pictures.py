"""Charts as the page draws them, against places derived by hand from the scale."""

from __future__ import annotations

import re

import pytest

pytest.importorskip("markupsafe")

from planner.optimize.options import Progress
from planner.page import svg
from planner.page.closing import closing_in
from planner.report.measures import Manner, Measure
from planner.report.sheets import (
    Book,
    Chart,
    ChartKind,
    ChartRow,
    Column,
    Link,
    Series,
    Sheet,
    Table,
)


def drawn(kind: ChartKind, low: float | None, *series: Series) -> str:
    """Picture of two rows, whose columns are 50 and 20, 30 and 10."""
    columns = (Column("name", "Name"), *(Column(s.key, s.key, Measure.NUMBER) for s in series))
    rows = (("A", 50.0, 20.0), ("B", 30.0, 10.0))
    table = Table(name="numbers", columns=columns, rows=rows)
    chart = Chart("Picture", kind, Link("Data", "numbers"), "name", series, "", "Value", low=low)
    book = Book((Sheet("Data", "", (table, ChartRow((chart,)))),))
    return str(svg.draw(chart, book))


def bars(picture: str) -> list[tuple[str, float, float]]:
    """What each bar says, its top and its height."""
    number = '="([^"]+)"'
    bar = f"<rect x=.*? y{number} width=.*? height{number} fill[^>]+><title>(.*?)</title>"
    found = re.findall(bar, picture)
    return [(said, float(y), float(h)) for y, h, said in found if ":" in said]


def heights(picture: str) -> dict[float, float]:
    """Height at which each number of the upright scale stands."""
    found = re.findall(
        r'<text x="[^"]+" y="([^"]+)" text-anchor="end"[^>]*>([\d.]+)</text>', picture
    )
    return {float(number): float(y) - 4 for y, number in found}


@pytest.mark.parametrize("low", [None, 20.0])
def test_what_is_stacked_stands_where_its_numbers_say(low: float | None) -> None:
    """A bar of 20 on one of 50 that is not drawn is from 50 to 70, wherever the axis begins."""
    picture = drawn(ChartKind.STACKED_COLUMNS, low, Series("first", lift=True), Series("second"))
    scale = heights(picture)
    one = max(scale)
    other = min(scale)
    per = (scale[other] - scale[one]) / (one - other)
    for (said, top, height), (start, value) in zip(
        bars(picture), [(50.0, 20.0), (30.0, 10.0)], strict=True
    ):
        assert f"second: {value:g}" in said
        assert height == pytest.approx(value * per, abs=0.2)
        assert top + height == pytest.approx(scale[other] - (start - other) * per, abs=0.2)


def test_bars_side_by_side_begin_at_the_axis_and_what_stands_out_is_filled_otherwise() -> None:
    picture = drawn(ChartKind.COLUMNS, None, Series("first"), Series("second", ink=True))
    scale = heights(picture)
    assert len(bars(picture)) == 4
    for _, top, height in bars(picture):
        assert top + height == pytest.approx(scale[0.0], abs=0.2)
    assert svg.INKS[svg.STANDS_OUT] in picture


def test_the_first_plan_of_a_search_is_seen_before_there_is_a_second() -> None:
    """Its line goes on to now: from 1 s to 3 s of 10."""
    picture = str(closing_in([Progress(1.0, 500.0, None, 0.0)], 3.0, 10.0, Manner()))
    at = {int(s): float(x) for x, s in re.findall(r'<text x="([^"]+)"[^>]*>(\d+) s<', picture)}
    traced = re.search(r'points="(\S+),\S+ (\S+),\S+" class="best"', picture)
    assert traced is not None
    second = (at[10] - at[0]) / 10
    assert float(traced[1]) == pytest.approx(at[0] + second, abs=0.1)
    assert float(traced[2]) == pytest.approx(at[0] + 3 * second, abs=0.1)

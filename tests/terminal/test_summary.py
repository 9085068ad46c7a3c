"""What the command check says was understood."""

from planner.terminal.summary import season_lines
from tests.support.seasons import product, season


def test_all_products_that_were_typed_are_counted():
    lines = season_lines(season(carriers=(product("Water", kind="carrier"),)))
    assert "1 product, 1 carrier" in lines
    assert "1 product" in season_lines(season())

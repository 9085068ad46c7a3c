"""Seasons with sheets or names missing: refused in words or planned, never a crash.

All pairs of them, each planned: ``python -m reports.reliability.broken_pairs``.
"""

from __future__ import annotations

from random import Random

import pytest

from reports.reliability.broken_pairs import breaks, end, full
from tests.support.inputs import setting
from tests.support.quick import few

ENDS = {"refused", "planned", "no plan"}


@pytest.mark.parametrize("name", few(breaks()))
def test_a_season_broken_in_one_place_is_refused_or_planned(tmp_path, name):
    assert end(breaks()[name](full()), tmp_path) in ENDS


def test_the_whole_of_it_is_planned(tmp_path):
    assert end(full(), tmp_path) == "planned"


@pytest.mark.slow
def test_pairs_of_breaks_are_refused_or_read(tmp_path):
    known, random, ends = breaks(), Random(7), []
    for number in range(300):
        one, two = random.sample(sorted(known), 2)
        place = tmp_path / str(number)
        place.mkdir()
        ends.append(end(known[two](known[one](full())), place, plan=False))
    assert set(ends) == {"refused", "read"}


@pytest.mark.parametrize("missing", ["Products", "Recipes"])
def test_a_sheet_that_others_name_must_have_rows_even_where_seed_may_go_untreated(
    tmp_path, missing
):
    sheets = setting(full(), "Allow untreated", "yes")
    sheets[missing] = sheets[missing][:1]
    assert end(sheets, tmp_path) == "refused"

"""What is not known in winter: sheet Unknowns, late prices and returns; filled, blank, broken."""

import pytest

from planner.errors import Fault
from planner.season.domain import Quantity, Unknown
from tests.support.inputs import Sheets, faults, good, put, read, setting

PERCENT = 0.01


def fault(tmp_path, sheets: Sheets) -> Fault:
    (found,) = faults(tmp_path, sheets)
    return found


def with_row(*cells: str) -> Sheets:
    sheets = good()
    sheets["Unknowns"] = [sheets["Unknowns"][0], list(cells)]
    return sheets


class TestFilled:
    def test_rows_become_records(self, tmp_path):
        rows = read(tmp_path, put(good(), "Unknowns", 4, "Of", "Creek")).unknowns
        assert [u.what for u in rows] == [
            Quantity.SEEDS_PER_LB,
            Quantity.GERMINATION,
            Quantity.ACRES,
            Quantity.PRODUCT_USED,
        ]
        sizes, germination, acres, used = rows
        assert (sizes.low, sizes.likely, sizes.high) == pytest.approx((-0.04, 0.0, 0.04))
        assert (sizes.of, sizes.together) == ((), False)
        assert (germination.of, germination.together) == (("L-1", "L-2"), True)
        assert acres.of == ("Creek",)
        assert used.likely == pytest.approx(PERCENT)

    def test_names_are_spelled_as_where_they_are_defined(self, tmp_path):
        sheets = with_row("product USED", " green  cap;SHEEN", "-1", "", "2", "")
        (row,) = read(tmp_path, sheets).unknowns
        assert (row.what, row.of) == (Quantity.PRODUCT_USED, ("Green Cap", "Sheen"))

    def test_without_the_sheet_nothing_is_unknown(self, tmp_path):
        sheets = good()
        del sheets["Unknowns"]
        assert read(tmp_path, sheets).unknowns == ()

    def test_late_prices_returns_and_what_a_short_acre_costs(self, tmp_path):
        sheets = put(good(), "Containers", 2, "Late price", "990")
        put(sheets, "Containers", 3, "Returned for", "90%")  # the jug's second row, of its break
        put(sheets, "Seed lots", 2, "Late price", "75")
        season = read(tmp_path, setting(sheets, "Cost of a short acre", "150"))
        jug, keg, _ = season.containers
        assert (jug.late_price, jug.returned_for) == (990.0, 0.9)
        assert (keg.late_price, keg.returned_for) == (None, 0.0)
        assert [lot.late_price for lot in season.lots] == [75.0, None, None]
        assert season.farm.short_acre_cost == 150.0

    def test_blank_they_are_not_known(self, tmp_path):
        season = read(tmp_path, good())
        assert {c.late_price for c in season.containers} == {None}
        assert {c.returned_for for c in season.containers} == {0.0}
        assert season.farm.short_acre_cost is None


class TestBroken:
    def test_low_above_high(self, tmp_path):
        found = fault(tmp_path, with_row("Seeds per lb", "", "5%", "", "2%", ""))
        assert (found.sheet, found.row, found.column, found.seen) == ("Unknowns", 2, "Low", "5%")
        assert found.expected == "no more than High, 2%"

    def test_likely_outside(self, tmp_path):
        found = fault(tmp_path, with_row("Acres", "", "-5%", "6%", "2%", ""))
        assert (found.column, found.seen) == ("Likely", "6%")
        assert found.expected == "Likely from Low to High, -5 to 2%"

    def test_a_blank_likely_is_zero_and_may_be_outside(self, tmp_path):
        found = fault(tmp_path, with_row("Acres", "", "2%", "", "5%", ""))
        assert "a blank Likely is 0%" in found.remedy

    @pytest.mark.parametrize(
        ("what", "name", "near"),
        [
            ("Seeds per lb", "L-11", "L-1"),
            ("Acres", "Creeek", "Creek"),
            ("Product used", "Green Cup", "Green Cap"),
            ("Units on hand", "Creek", "a Lot of sheet Seed lots"),
            ("Acres", "all", "leave the cell blank, which means all of them"),
        ],
    )
    def test_names_that_do_not_exist(self, tmp_path, what, name, near):
        found = fault(tmp_path, with_row(what, name, "-5%", "", "5%", ""))
        assert (found.column, found.seen) == ("Of", name)
        assert near in f"{found.expected} {found.remedy}"

    def test_seed_size_is_told_to_be_seeds_per_lb(self, tmp_path):
        found = fault(tmp_path, with_row("seed size", "", "-5%", "", "5%", ""))
        assert found.remedy.startswith("that is Seeds per lb")

    @pytest.mark.parametrize("what", ["Seeds per lb", "Product used"])
    def test_nothing_left(self, tmp_path, what):
        found = fault(tmp_path, with_row(what, "", "-100%", "", "5%", ""))
        assert (found.column, found.expected) == ("Low", "a percent above -100%")

    @pytest.mark.parametrize("what", ["Seeds per lb", "Acres"])
    def test_less_than_nothing(self, tmp_path, what):
        found = fault(tmp_path, with_row(what, "", "-120%", "", "5%", ""))
        assert (found.column, found.expected) == ("Low", "a percent from -100% to 1000%")

    def test_germination_below_zero(self, tmp_path):
        found = fault(tmp_path, with_row("Germination", "L-3", "-88%", "", "5%", ""))
        assert found.expected == "points that leave a germination above 0%: L-3 has 88%"

    def test_germination_below_zero_by_two_rows_together(self, tmp_path):
        sheets = with_row("Germination", "", "-50%", "", "5%", "")
        sheets["Unknowns"] += [["Germination", "L-3", "-38%", "", "5%", ""]] * 2
        found = fault(tmp_path, sheets)
        assert (found.row, found.column) == (3, "Low")
        assert found.expected == (
            "points that leave a germination above 0%: L-3 has 88%, "
            "of which rows above take 50 points"
        )

    def test_germination_of_a_lot_that_has_none(self, tmp_path):
        sheets = with_row("Germination", "L-3", "-5%", "", "5%", "")
        sheets["Seed lots"][3][7] = ""
        found = fault(tmp_path, sheets)
        assert (found.column, found.expected) == ("Of", "a lot with a Germination")

    def test_rows_of_one_container_disagree(self, tmp_path):
        sheets = put(good(), "Containers", 2, "Late price", "990")
        put(sheets, "Containers", 3, "Late price", "950")
        assert fault(tmp_path, sheets).column == "Late price"


def test_a_late_price_below_the_early_one_is_told_not_refused(tmp_path):
    sheets = put(good(), "Containers", 4, "Late price", "5,000")
    put(sheets, "Seed lots", 2, "Late price", "50")
    told = read(tmp_path, sheets).notes
    assert "Containers, row 4: the late price, 5,000, is below the early one, 5,100." in told
    assert "Seed lots, row 2: the late price, 50, is below the early one, 55." in told


def test_a_record_by_hand_needs_only_what_low_and_high():
    assert Unknown(Quantity.ACRES, -0.1, 0.1).likely == 0.0

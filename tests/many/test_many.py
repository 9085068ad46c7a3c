"""A folder of seasons: bad ones stop no other, each is planned once, orders pooled by hand."""

import json
import os
import signal
import subprocess
import sys
import time
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from openpyxl import load_workbook

from planner.errors import InputError, Interrupted
from planner.many.found import SUMMARY, Source, fingerprint, left_out, seasons_in
from planner.many.ledger import RECORD, folder_name, kept
from planner.many.run import All, plan_all
from planner.optimize.options import SolveOptions
from planner.plan.plan import OrderLine
from planner.report.many_frames import many_book
from planner.report.measures import Measure
from planner.report.workbook import render
from planner.season.domain import DiscountLevel, Supplier
from planner.sharing.dealer import (
    FAULTS,
    Need,
    Opened,
    Planned,
    SeedBought,
    added_up,
    by_currency,
    by_week,
    from_data,
    pool,
    to_data,
)
from planner.terminal.deciding import Options
from planner.terminal.many import PLANS, many_lines, plan_many
from planner.units.money import cents
from tests.support.inputs import folder as write_season
from tests.support.inputs import put
from tests.support.seasons import container

STEPS = SolveOptions(effort=1)
ELM = (container("Alpha", "drum", 1920.0, 1200.0, supplier="Elm"),)
OFFERS = (container("Alpha", "jug", 320.0, 250.0), container("Alpha", "drum", 1920.0, 1200.0))
GAL = 128.0


def planned(name: str, gallons: float, own: float, **changes) -> Planned:
    given = {
        "needs": (Need("Alpha", gallons * GAL, 0.0),),
        "offers": OFFERS,
        "order_cost": own,
        **changes,
    }
    return Planned(name, "m", "optimal", **given)


class TestPooling:
    """Derived by hand: 2.5 gal at $250 and 15 gal at $1,200, needs of 4, 6 and 9 gal."""

    three = (planned("a", 4, 500.0), planned("b", 6, 750.0), planned("c", 9, 1000.0))

    def test_one_order_over_all_needs(self):
        """19 gal in one drum and two jugs at $1,700, in place of 2,250."""
        found = pool(self.three, STEPS)
        assert {(x.container, x.count) for x in found.order} == {("drum", 1), ("jug", 2)}
        assert (found.cost, found.apart, found.saved) == pytest.approx((1700, 2250, 550))
        assert found.bound == pytest.approx(1700)

    def test_shares_are_by_use_and_add_up(self):
        found = pool(self.three, STEPS)
        assert [name for name, _, _ in found.shares] == ["a", "b", "c"]
        shares = [share for _, share, _ in found.shares]
        assert shares == pytest.approx([1700 * g / 19 for g in (4, 6, 9)], abs=0.011)
        assert sum(map(cents, shares)) == 170_000

    def test_what_each_saves_adds_up_to_the_cent(self):
        """Of a drum of $1,000.37, 4 of 15 gal are left at 30 %: $80.0296, so $920.34 are shared."""
        drum = (container("Alpha", "drum", 1920.0, 1000.37),)
        two = tuple(
            planned(name, gal, own, needs=(Need("Alpha", gal * GAL, 0.3),), offers=drum)
            for name, gal, own in (("a", 4, 780.29), ("b", 7, 840.31))
        )
        found = pool(two, STEPS)
        assert (found.cost, found.saved) == (920.34, 1620.6 - 920.34)
        assert sum(cents(own) - cents(share) for _, share, own in found.shares) == 70026

    def test_who_would_pay_more_by_use_is_told_so(self):
        """A drum at $1,200: by use 14/15 and 1/15, $1,120 and $80; 1,200 of 1,350 are 88.89 %."""
        drum = OFFERS[1:]
        two = (planned("a", 14, 1100.0, offers=drum), planned("b", 1, 250.0, offers=drum))
        for own, said in (
            (1100.0, "a would pay more by use than for its own order"),
            (1100.0, "If each pays the same part of its own order, 88.89%, nobody pays more."),
            (900.0, "One order for all costs more than one for each: order apart."),
        ):
            pooled = pool((replace(two[0], order_cost=own), two[1]), STEPS)
            (sheet,) = (s for s in many_book(two, (pooled,)).sheets if s.title.startswith("One"))
            assert any(said in text for text in sheet.blocks[1].paragraphs)
        fair = many_book(two, (pool((replace(two[0], order_cost=1150.0), two[1]), STEPS),))
        (sheet,) = (s for s in fair.sheets if s.title.startswith("One"))
        assert not any("by use" in text for text in sheet.blocks[1].paragraphs)

    def test_levels_and_free_freight_are_reached_together(self):
        """Each $1,000 at $100 freight; two reach $2,000: 10 % off and no freight."""
        drum = (container("Alpha", "drum", 1920.0, 1000.0, supplier="Elm"),)
        more = {
            "offers": drum,
            "suppliers": (Supplier("Elm", 100.0, 2000.0),),
            "discounts": (DiscountLevel("Volume", 2000.0, 0.1, "Elm"),),
        }
        two = (planned("a", 15, 1100.0, **more), planned("b", 15, 1100.0, **more))
        found = pool(two, STEPS)
        assert (found.cost, found.saved) == pytest.approx((1800, 400))

    def test_of_two_prices_the_dearer_counts_and_that_is_told(self):
        cheap = planned("a", 15, 900.0, offers=(container("Alpha", "drum", 1920.0, 900.0),))
        dear = planned("b", 15, 1000.0, offers=(container("Alpha", "drum", 1920.0, 1000.0),))
        found = pool((cheap, dear), STEPS)
        assert found.cost == pytest.approx(2000)
        assert any("differ" in text for text in found.notes)

    def test_a_discount_of_any_supplier_counts_what_all_buy_and_that_is_told(self):
        """Two drums of $1,200 without a supplier, 10 % off for the order of both."""
        early = {"discounts": (DiscountLevel("Early", 2000.0, 0.1),)}
        theirs, ours = planned("a", 15, 1200.0), planned("b", 15, 1200.0, **early)
        found = pool((theirs, ours), STEPS)
        assert found.cost == pytest.approx(2160)
        (note,) = [text for text in found.notes if "Early" in text]
        assert "here it counts what all of them buy" in note
        assert pool((planned("a", 15, 1200.0, **early), ours), STEPS).notes == ()

    def test_names_of_files_that_differ_in_case_are_two_seasons(self):
        two = (planned("North.xlsx", 15, 1200.0), planned("north.xlsx", 15, 1200.0))
        assert pool(two, STEPS).shares == (
            ("North.xlsx", 1200.0, 1200.0),
            ("north.xlsx", 1200.0, 1200.0),
        )

    def test_names_match_without_regard_to_case(self):
        """4 and 6 gal are one jug's 2.5 gal four times; the dearer jug of the two counts."""
        jug = container("alpha", "JUG", 320.0, 260.0, supplier="ELM")
        drum = container("Alpha", "drum", 1920.0, 5000.0)
        line = OrderLine("alpha", "JUG", 2, 260.0, 520.0, "ELM")
        lower = planned(
            "a",
            4,
            520.0,
            needs=(Need("alpha", 4 * GAL, 0.0),),
            offers=(jug,),
            suppliers=(Supplier("ELM", 10.0),),
            order=(line,),
            opened=(Opened("alpha", "JUG", "2027-05-03", 2),),
        )
        upper = planned(
            "b",
            6,
            750.0,
            offers=(replace(jug, product="Alpha", name="jug", supplier="Elm"), drum),
            suppliers=(Supplier("Elm", 10.0),),
            order=(replace(line, product="Alpha", container="jug", supplier="Elm"),),
            opened=(Opened("Alpha", "jug", "2027-05-03", 3),),
        )
        found = pool((lower, upper), STEPS)
        assert [(x.product, x.container, x.count) for x in found.order] == [("alpha", "JUG", 4)]
        assert found.cost == pytest.approx(4 * 260 + 10)
        (one,) = added_up((lower, upper))
        assert (one.count, one.seasons) == (4, 2)
        (week,) = by_week((lower, upper))
        assert week.count == 5

    def test_money_of_several_currencies_is_never_added(self):
        here, there = planned("a", 15, 1200.0), planned("b", 15, 1300.0, currency="CAD")
        with pytest.raises(ValueError, match="several currencies"):
            pool((here, there), STEPS)
        line = OrderLine("Alpha", "drum", 1, 1200.0, 1200.0)
        records = tuple(replace(r, order=(line,), cost=r.order_cost) for r in (here, there))
        assert [pool((r,), STEPS) for r in records] == [None, None]  # each is one order already
        assert [(x.currency, x.cost) for x in added_up(records)] == [("$", 1200), ("CAD", 1200)]
        groups = by_currency((*records, replace(there, name="c", currency="cad")))
        assert {k: [r.name for r in v] for k, v in groups.items()} == {
            "$": ["a"],
            "CAD": ["b", "c"],
        }
        more = [[*group, replace(group[0], name="d")] for group in groups.values()]
        pooled = tuple(pool(group, STEPS) for group in more)
        lines = " ".join(" ".join(many_lines(All(records, 2, 0.0, 0.0, 0), pooled)).split())
        assert "would cost $2,400.00 in place of $2,400.00" in lines
        assert "would cost CAD 3,600.00 in place of CAD 3,900.00" in lines
        book = many_book(records, pooled)
        first = book.sheets[0].blocks[0].figures
        assert [(f.label, f.value) for f in first if "compared" in f.label] == [
            ("Total compared, $", 1200.0),
            ("Total compared, CAD", 1300.0),
        ]
        titles = ["One order for all", "One order for all 2"]
        assert [s.title for s in book.sheets if s.title.startswith("One")] == titles
        assert [f.note for f in first[-2:]] == [f"see {title}" for title in titles]
        tables = [b for s in book.sheets[:2] for b in s.blocks if hasattr(b, "columns")]
        for table in tables:
            assert "currency" in [c.key for c in table.columns]
            assert not any(c.total and c.measure is Measure.MONEY for c in table.columns)

    def test_the_first_day_to_order_counts_whichever_season_says_it(self):
        """An order by 1/10 reaches 10 % off until 1/15, one by 2/20 does not."""
        early = {"discounts": (DiscountLevel("Early", 100.0, 0.1, None, (), date(2027, 1, 15)),)}
        soon, late = (
            planned(
                name, 15, 1200.0, offers=ELM, suppliers=(Supplier("Elm", order_by=day),), **early
            )
            for name, day in (("a", date(2027, 1, 10)), ("b", date(2027, 2, 20)))
        )
        for two in ((soon, late), (late, soon)):
            found = pool(two, STEPS)
            assert found.cost == pytest.approx(2160)
            assert any("by 1/10/2027, as the first of them has to" in n for n in found.notes)
        assert pool((late, replace(late, name="c")), STEPS).cost == pytest.approx(2400)

    def test_nothing_to_buy_is_no_order(self):
        assert pool((planned("a", 1, 0.0, needs=()),), STEPS) is None
        assert pool((Planned("a", "m", FAULTS),), STEPS) is None


def test_orders_added_up():
    line = OrderLine("Alpha", "jug", 2, 250.0, 500.0, "Elm")
    (one,) = added_up((planned("a", 4, 1, order=(line,)), planned("b", 4, 1, order=(line,))))
    assert (one.count, one.cost, one.seasons) == (4, 1000.0, 2)


def test_seed_to_buy_stands_under_the_orders_by_variety():
    """Derived by hand: 3 and 2 bags of 40 units; without seed to buy there is no table of it."""
    one = SeedBought("V2", "L-1", "Elm", 3, 120.0, 4_800.0)
    other = SeedBought("V1", "L-9", "", 2, 80.0, 3_300.0)
    book = many_book((planned("b", 4, 1, seed=(one,)), planned("a", 4, 1, seed=(one, other))))
    orders, seed = next(s for s in book.sheets if s.title == "All orders").blocks
    assert seed.title == "Seed to buy"
    assert seed.rows == (
        ("V1", "L-9", None, "a", 2, 80.0, 3_300.0),
        ("V2", "L-1", "Elm", "a", 3, 120.0, 4_800.0),
        ("V2", "L-1", "Elm", "b", 3, 120.0, 4_800.0),
    )
    assert [c.header for c in seed.columns if c.total] == ["Bags", "Seed", "Cost"]
    none = many_book((planned("b", 4, 1),))
    assert next(s for s in none.sheets if s.title == "All orders").blocks == (orders,)


def test_weeks_begin_on_monday():
    """2027-05-03 is a Monday (perpetual calendar)."""
    days = ("2027-05-02", "2027-05-03", "2027-05-09")
    one = planned("a", 4, 1, opened=tuple(Opened("Alpha", "jug", d, 1) for d in days))
    assert [(w.monday, w.count) for w in by_week((one, one))] == [
        (date(2027, 4, 26), 2),
        (date(2027, 5, 3), 4),
    ]


def test_weeks_of_two_years_say_theirs():
    opened = [Opened("Alpha", "jug", day, 1) for day in ("2026-12-28", "2027-05-03")]
    both = many_book((planned("a", 4, 1, opened=tuple(opened)),)).sheets[-1].blocks[0]
    assert both.title == "Containers by week, Mondays of 2026 to 2027"
    assert [c.header for c in both.columns[1:3]] == ["12/28/2026", "5/3/2027"]
    one = many_book((planned("a", 4, 1, opened=tuple(opened[1:])),)).sheets[-1].blocks[0]
    assert one.title == "Containers by week, Mondays of 2027"
    assert one.columns[1].header == "5/3"


def test_seasons_that_are_all_metric_are_summed_up_in_metric_units():
    """100 acres are 40.47 ha (NIST Handbook 44); a season without a plan has no say."""
    opened = (Opened("Alpha", "jug", "2027-05-03", 1),)
    one = planned("a", 4, 1, opened=opened, metric=True, acres=100.0, short=10.0)
    for records, area, day, said in (
        ((one, Planned("b", "m", FAULTS)), "ha", "05-03", "4.05 ha"),
        ((one, planned("b", 4, 1)), "acres", "5/3", "4.05 ha"),
    ):
        book = many_book(records)
        assert book.manner.label(Measure.AREA) == area
        assert f"Short, {area}" in [f.label for f in book.sheets[0].blocks[0].figures]
        assert book.sheets[-1].blocks[0].columns[1].header == day
        assert any(said in line for line in many_lines(All(records, 0, 0.0, 0.0, 0)))


def test_copies_of_a_season_are_told_and_money_has_its_sign():
    records = (
        *(planned(name, 4, 500.0, season="1", cost=78555.95) for name in ("a", "copy of a")),
        planned("b", 4, 500.0, season="2"),
    )
    lines = many_lines(All(records, 3, 0.0, 0.0, 0), (pool(records, STEPS),))
    assert sum("$78,555.95" in line for line in lines) == 2
    said = " ".join(line.strip() for line in lines)
    words = "a and copy of a say the same season: all sums count it 2 times."
    assert words in said
    assert "One order for all would cost $1,200.00 in place of $1,500.00: $300.00 less." in said
    long = many_lines(All((planned("k" * 200, 4, 1.0, gap=0.0099),), 0, 0.0, 0.0, 0))
    assert max(map(len, long)) <= 100
    assert any("0.99%" in line for line in long)
    blocks = many_book(records).sheets[0].blocks
    assert any(words in getattr(b, "paragraphs", ("",))[0] for b in blocks)


def test_records_survive_json():
    one = planned(
        "a/../b",
        4,
        500.0,
        order=(OrderLine("Alpha", "jug", 2, 250.0, 500.0),),
        suppliers=(Supplier("Elm", 1.0, None, date(2027, 1, 15)),),
        discounts=(DiscountLevel("Early", 10.0, 0.1, None, ("Alpha",), date(2027, 1, 1)),),
        opened=(Opened("Alpha", "jug", "2027-05-03", 1),),
        seed=(SeedBought("V1", "L-1", "", 3, 120.0, 4_800.0),),
        warnings=("look",),
        gap=None,
    )
    back = from_data(json.loads(json.dumps(to_data(one))))
    assert replace(back, offers=()) == replace(one, offers=())
    assert [c.breaks[0].price for c in back.offers] == [250.0, 1200.0]


def some(tmp_path: Path, names: tuple[str, ...]) -> Path:
    """A folder of small seasons: one field of two, so that a plan takes no time."""
    from tests.support.inputs import good

    home = tmp_path / "seasons"
    home.mkdir()
    for number, name in enumerate(names):
        sheets = good()
        for gone in ("What if", "Unknowns", "Treated so far", "Ordered so far"):
            sheets.pop(gone)
        put(sheets, "Fields", 2, "Acres", f"{40 + number}")
        write_season(home / name, sheets)
    return home


ODD = ("north", "odd & ..name $(rm -rf)", "大豆")


class TestFolder:
    def test_a_bad_season_stops_no_other(self, tmp_path):
        home = some(tmp_path, ODD)
        (home / "north" / "fields.csv").write_text("Field,Acres\nA,many\n")
        (home / "bröken.xlsx").write_bytes(b"no workbook")
        made = run(home, tmp_path / "out")
        assert [r.name for r in made.records] == ["大豆", "bröken.xlsx", ODD[0], ODD[1]]
        outcomes = {r.name: r.outcome for r in made.records}
        assert outcomes["north"] == outcomes["bröken.xlsx"] == FAULTS
        assert made.records[1].faults[0].startswith("bröken.xlsx: found")
        assert all(r.faults for r in made.records if not r.has_plan)
        assert sum(r.has_plan for r in made.records) == 2
        again = run(home, tmp_path / "out")
        assert again.before == 2
        said = " ".join(many_lines(again))
        assert "2 of 4 seasons planned, 2 of them before. Why seasons could not" in said

    def test_a_restart_plans_only_what_is_left(self, tmp_path):
        home, out = some(tmp_path, ODD), tmp_path / "out"
        asked: list[object] = []

        class Soon:
            def is_set(self) -> bool:
                return len(asked) >= 2

        first = run(home, out, on_done=asked.append, stop=Soon())
        assert (len(first.records), first.left) == (2, 1)
        stamps = {p: p.stat().st_mtime_ns for p in out.rglob(RECORD)}
        second = run(home, out)
        assert (second.before, second.left, len(second.records)) == (2, 0, 3)
        assert {p: p.stat().st_mtime_ns for p in stamps} == stamps
        third = run(home, out)
        assert (third.before, third.work) == (3, 0.0)
        known = [(r.name, r.mark, r.cost, r.order, r.needs) for r in second.records]
        assert [(r.name, r.mark, r.cost, r.order, r.needs) for r in third.records] == known

    def test_a_changed_season_is_planned_again(self, tmp_path):
        home, out = some(tmp_path, ODD[:1]), tmp_path / "out"
        run(home, out)
        fields = home / "north" / "fields.csv"
        fields.write_text(fields.read_text("utf-8").replace("40,", "50,", 1), "utf-8")
        again = run(home, out)
        assert again.before == 0
        assert again.records[0].acres == pytest.approx(62.5)

    def test_half_a_record_is_none(self, tmp_path):
        home, out = some(tmp_path, ODD[:1]), tmp_path / "out"
        run(home, out)
        (path,) = out.rglob(RECORD)
        path.write_text(path.read_text("utf-8")[:100], "utf-8")
        assert run(home, out).before == 0

    def test_names_never_become_paths(self, tmp_path):
        home, out = some(tmp_path, ODD), tmp_path / "out"
        run(home, out)
        assert {p.parent for p in out.iterdir()} == {out}
        for folder in out.iterdir():
            assert set(folder.name) <= set("abcdefghijklmnopqrstuvwxyz0123456789-")
        assert {p.name for p in tmp_path.iterdir()} == {"seasons", "out"}

    def test_an_empty_folder_is_a_fault(self, tmp_path):
        with pytest.raises(InputError, match="season workbooks"):
            seasons_in(tmp_path)
        with pytest.raises(InputError):
            seasons_in(tmp_path / "missing")

    def test_what_is_no_season_is_not_taken_for_one(self, tmp_path):
        home = some(tmp_path, ODD[:1])
        for name in ("~$north.xlsx", ".hidden.xlsx", "north-faults.xlsx", "notes.txt"):
            (home / name).write_bytes(b"")
        (home / "all seasons.xlsx").write_bytes(render(many_book(())))
        (home / "pictures").mkdir()
        assert [s.name for s in seasons_in(home)] == ["north"]

    def test_spreadsheets_that_are_not_planned_are_told(self, tmp_path):
        """A copy with marked faults is planned where the season that it was copied from is gone."""
        for name in ("A.xlsx", "A-faults.xlsx", "B-Faults.xlsx", "-faults.xlsx", "C.ODS", "c.txt"):
            (tmp_path / name).write_bytes(b"")
        for name in ("plan.xlsx", SUMMARY):
            (tmp_path / name).write_bytes(render(many_book(())))
        assert [s.name for s in seasons_in(tmp_path)] == ["A.xlsx", "B-Faults.xlsx", "-faults.xlsx"]
        told = left_out(tmp_path, seasons_in(tmp_path))
        assert told == (
            "A-faults.xlsx is left out: it is a copy of A.xlsx with the faults marked. If you "
            "corrected the copy, take A.xlsx out of the folder.",
            "C.ODS is left out: only .xlsx and .xlsm are read; save it as .xlsx.",
            "plan.xlsx is left out: wholedrum wrote it, it is no season.",
        )
        lines = plan_many(tmp_path, tmp_path / "out", Options(1.0, effort=1), 1, None)
        assert " ".join(told) in " ".join(line.strip() for line in lines)
        book = load_workbook(tmp_path / "out" / SUMMARY)
        values = {c.value for row in book["All seasons"].iter_rows() for c in row}
        assert set(told) <= values

    def test_where_nothing_is_a_season_it_says_why(self, tmp_path):
        (tmp_path / "C.ods").write_bytes(b"")
        with pytest.raises(InputError, match=r"C\.ods is left out: only \.xlsx"):
            seasons_in(tmp_path)

    def test_the_summary_holds_every_season(self, tmp_path):
        home, out = some(tmp_path, ODD), tmp_path / "out"
        (home / "north" / "fields.csv").write_text("Field,Acres\nA,many\n")
        said = plan_many(home, out, Options(60.0, effort=1, quiet=True), 1, None)
        assert said[:2] == [
            "2 of 3 seasons planned.",
            f"Why seasons could not be planned: sheet Faults of {SUMMARY}.",
        ]
        assert said[-1].endswith("all seasons.xlsx")
        book = load_workbook(out / "all seasons.xlsx")
        assert {"All seasons", "Faults", "All orders", "By week"} <= set(book.sheetnames)
        values = {c.value for row in book["All seasons"].iter_rows() for c in row}
        assert set(ODD) <= values
        costs = [
            json.loads(p.read_text("utf-8"))["cost"]["total"]
            for p in (out / PLANS).rglob("plan.json")
        ]
        assert len(costs) == 2
        assert {cents(c) / 100 for c in costs} <= values

    def test_ctrl_c_while_one_order_is_planned_still_leaves_the_summary(
        self, tmp_path, monkeypatch, capfd
    ):
        def pooling(_records, _options, _on_progress=None, stop=None):
            os.kill(os.getpid(), signal.SIGINT)
            assert stop.wait(30)
            raise Interrupted

        monkeypatch.setattr("planner.sharing.dealer.pool", pooling)
        home, out = some(tmp_path, ODD[:2]), tmp_path / "out"
        before = signal.signal(signal.SIGINT, signal.default_int_handler)  # ignored in a background
        try:
            plan_many(home, out, Options(60.0, effort=1), 1, None)
        finally:
            signal.signal(signal.SIGINT, before)
        assert (out / SUMMARY).exists()
        assert "one order for all is the best found so far" in capfd.readouterr().err


def run(home: Path, out: Path, **more):
    return plan_all(seasons_in(home), out, STEPS, version="1", **more)


def test_a_fingerprint_knows_content_name_and_version():
    one = fingerprint("a", {"x": b"1"}, "1")
    others = [("a", {"x": b"2"}, "1"), ("b", {"x": b"1"}, "1"), ("a", {"x": b"1"}, "2")]
    assert one not in {fingerprint(*other) for other in others}


def test_more_seconds_plan_again(tmp_path):
    home, out = some(tmp_path, ODD[:1]), tmp_path / "out"
    made = run(home, out).records[0]
    assert kept(out, "north", made.mark, 60.0) is not None
    assert kept(out, "north", made.mark, 61.0) is None
    assert kept(out, "../north", made.mark, 60.0) is None


def test_a_source_is_read_by_content(tmp_path):
    path = tmp_path / "a.xlsx"
    path.write_bytes(b"12")
    assert Source(path).content() == {"a.xlsx": b"12"}
    assert folder_name("a.xlsx", "f" * 16) == "a-xlsx-ffffffff"


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="signals of Unix")
def test_killed_in_the_middle_it_goes_on_where_it_stopped(tmp_path):
    """The whole command killed: what was kept stays untouched, all else is planned after."""
    names = tuple(f"farm {i}" for i in range(8))
    home, out = some(tmp_path, names), tmp_path / "out"
    command = [sys.executable, "-m", "planner", "many", str(home), "--out", str(out)]
    command += ["--effort", "1", "--quiet"]
    shown = {"cwd": Path(__file__).parents[2], "stdout": subprocess.DEVNULL}
    child = subprocess.Popen(command, start_new_session=True, **shown)
    while len(list(out.rglob(RECORD))) < 3 and child.poll() is None:
        time.sleep(0.02)
    os.killpg(child.pid, signal.SIGKILL)
    child.wait()
    stamps = {p: p.stat().st_mtime_ns for p in out.rglob(RECORD)}
    assert 3 <= len(stamps) < 8
    subprocess.run(command, check=True, **shown)
    records = list(out.rglob(RECORD))
    assert len(records) == 8
    assert {p: p.stat().st_mtime_ns for p in stamps} == stamps
    assert len({p.parent for p in records}) == 8

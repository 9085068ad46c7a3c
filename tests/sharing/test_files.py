"""Plans of groups, and what is written of a shared order: bills, settlement, a book a grower."""

import io
import json
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest
from openpyxl import load_workbook

from planner.campaign.campaign import make_campaign
from planner.errors import InputError, NoPlanError
from planner.optimize.options import SolveOptions
from planner.optimize.search.run import solve
from planner.report.grower_frames import file_names, grower_book
from planner.report.plan_files import plan_content
from planner.report.share_files import write_shares
from planner.report.share_frames import LICENSE, NOT_BILLED, settlement_book, verdict
from planner.report.workbook import render
from planner.season.domain import Grower
from planner.sharing.bills import BillLine
from planner.sharing.groups import group_plan
from planner.sharing.shares import Sharing, SharingBudget, groups_to_plan, masks_for, share
from planner.units.money import cents
from tests.sharing.test_bills import priced, two_growers
from tests.support.sample_plan import greedy_plan, sample_season
from tests.support.seasons import container, farm, field, lot, product, recipe, season

ODD = "../../Ox & bow: \x00=cmd|' /C calc'!A0"
NAMES = ("Ashwillow", ODD, "Zimmerdale")


@cache
def sample():
    """The sample season with three growers, each with seed and fields of his own."""
    made = sample_season()
    fields = tuple(
        replace(f, name=f"{f.name} {'pqr'[i % 3]}{i}", grower=NAMES[i % 3])
        for i, f in enumerate(made.fields)
    )
    made = replace(
        made,
        farm=replace(made.farm, name="Quietwater Farm"),
        fields=fields,
        growers=(Grower("Zimmerdale", "Mill Road 4", 150.0),),
    )
    return made, greedy_plan(made)


def texts(data: bytes) -> str:
    """Every cell, sheet name, header, footer and property of a workbook."""
    book = load_workbook(io.BytesIO(data))
    found = [f"{book.properties.title} {book.properties.creator} {book.properties.subject}"]
    for ws in book.worksheets:
        found.append(ws.title)
        found += [str(c.value) for row in ws.iter_rows() for c in row if c.value is not None]
        for part in (ws.oddFooter, ws.oddHeader):
            found += [str(x.text) for x in (part.left, part.center, part.right)]
    return "\n".join(found)


def alike(names, gallons, sold):
    """Growers who each need so much from a bag of their own, and their plan of two containers."""
    made = season(
        fields=tuple(field(n, gallons, grower=n) for n in names),
        lots=tuple(lot(f"L-{n}", on_hand=gallons, units_per_bag=gallons, grower=n) for n in names),
        containers=(sold,),
        recipes=(recipe(Alpha=128.0),),
    )
    plan = priced(
        made,
        [(f"L-{n}", "R1", 1, gallons) for n in names],
        [(n, f"L-{n}", "R1", gallons, gallons) for n in names],
        {(sold.product, sold.name): 2},
    )
    return made, plan


class TestPlansOfGroups:
    """Whole containers: 2.5 gal at $250, 15 gal at $1,200. Derived by hand."""

    def three(self, by: str = "use"):
        """Needs of 4, 6 and 9 gal, of 1 gal a unit so that figures stay plain."""
        names, needs = ("Ann", "Bob", "Cy"), (4.0, 6.0, 9.0)
        made = season(
            farm=farm(share_by=by),
            fields=tuple(field(n, a, grower=n) for n, a in zip(names, needs, strict=True)),
            lots=tuple(
                lot(f"L-{n}", on_hand=a, units_per_bag=1.0, grower=n)
                for n, a in zip(names, needs, strict=True)
            ),
            containers=(
                container("Alpha", "jug", 320.0, 250.0),
                container("Alpha", "drum", 1920.0, 1200.0),
            ),
            products=(product(),),
            recipes=(recipe(Alpha=128.0),),
        )
        plan = priced(
            made,
            [(f"L-{n}", "R1", int(a), a) for n, a in zip(names, needs, strict=True)],
            [(n, f"L-{n}", "R1", a, a) for n, a in zip(names, needs, strict=True)],
            {("Alpha", "jug"): 2, ("Alpha", "drum"): 1},
        )
        return made, plan

    def test_costs_of_groups_are_those_of_whole_containers(self):
        """500, 750, 1000 alone; 1000, 1200, 1200 in pairs; 1700 for all."""
        made, plan = self.three()
        found = share(made, plan, SharingBudget(effort=3))
        alone = {c.names: round(c.alone) for c in found.charges}
        assert alone == {
            ("Ann",): 500,
            ("Bob",): 750,
            ("Cy",): 1000,
            ("Ann", "Bob"): 1000,
            ("Ann", "Cy"): 1200,
            ("Bob", "Cy"): 1200,
        }
        assert all(c.bound == pytest.approx(c.alone) for c in found.charges)
        # by volume: 357.89, 536.84, 805.26; Bob and Cy pay 142.10 more than alone
        assert [b.share for b in found.bills] == pytest.approx([357.89, 536.84, 805.26], abs=0.011)
        assert found.charges[0].names == ("Bob", "Cy")
        assert found.charges[0].over == pytest.approx(142.10, abs=0.011)
        assert found.core_empty is False
        assert [x.container for x in found.together] == ["drum"]

    @pytest.mark.parametrize(
        ("by", "shares"),
        [("savings", [408.33, 533.33, 758.34]), ("least regret", [500.0, 500.0, 700.0])],
    )
    def test_other_rules(self, by, shares):
        made, plan = self.three(by)
        found = share(made, plan, SharingBudget(effort=3))
        assert [b.share for b in found.bills] == pytest.approx(shares, abs=0.011)
        assert sum(cents(b.share) for b in found.bills) == 170_000
        for b in found.bills:
            assert sum(cents(x.amount) for x in b.lines) == cents(b.share)
        assert found.low == pytest.approx([b.share for b in found.bills], abs=0.02)
        (said, *_) = verdict(found, made)
        worse = "Bob and Cy pay" in said
        assert worse is (by == "savings")

    def test_an_empty_core_is_said(self):
        """Three who need 7.5 gal, only drums of 15: two share one for 500 each, three pay 667."""
        made, plan = alike(("Ann", "Bob", "Cy"), 7.5, container("Alpha", "drum", 1920.0, 1000.0))
        found = share(made, plan, SharingBudget(effort=3))
        assert found.core_empty
        assert found.core_excess == pytest.approx(1000 / 3, abs=0.01)
        assert "at least $333.33 too much" in " ".join(verdict(found, made))

    def test_whoever_would_plant_less_alone_is_not_compared(self):
        """Bob has no seed: the farm's sows his field. Alone he plants nothing at no cost."""
        made, plan = two_growers()
        made = replace(made, lots=(replace(made.lots[0], grower="Ann"),))
        made = replace(made, fields=(made.fields[0], replace(made.fields[1], grower=None)))
        found = share(made, plan, SharingBudget(effort=3))
        bob = found.bills[1]
        assert (bob.grower, bob.alone, bob.short_alone) == ("Tiny farm", 0.0, 20.0)
        assert found.core_empty is None
        assert "Tiny farm alone would leave 20 acres unplanted" in " ".join(verdict(found, made))

    def test_whoever_would_plant_more_alone_is_not_compared(self):
        """Seed of nobody's for one field: Ann's comes first, and Bob's stays unplanted."""
        fields = (
            field("North", 10.0, grower="Ann"),
            field("South", 10.0, grower="Bob", priority=2),
        )
        made = season(fields=fields, lots=(lot(on_hand=10.0, units_per_bag=10.0),))
        plan = solve(made, SolveOptions(effort=3))
        found = share(made, plan, SharingBudget(effort=3))
        assert [(s.field, s.acres) for s in plan.shortages] == [("South", 10.0)]
        assert (found.bills[1].short_alone, found.bills[1].saved) == (-10.0, None)
        assert found.core_empty is None
        assert "Bob alone would plant 10 acres that stay" in " ".join(verdict(found, made))

    def test_stopped_before_all_groups_bills_are_by_use(self):
        made, plan = self.three("savings")

        class Set:
            def is_set(self) -> bool:
                return True

        found = share(made, plan, SharingBudget(effort=1), stop=Set())
        assert found.by == "use"
        assert found.core_empty is None
        assert [b.alone for b in found.bills] == [None] * 3

    def test_many_growers_are_sampled(self):
        """Ten growers have 1,022 groups; random orders ask for some of them, and each alone."""
        names = [f"G{i}" for i in range(10)]
        made = season(
            farm=farm(share_by="savings"),
            fields=tuple(field(n, 1.25, grower=n) for n in names),
            lots=tuple(lot(f"L-{n}", on_hand=1.25, units_per_bag=1.25, grower=n) for n in names),
            containers=(container("Alpha", "jug", 320.0, 250.0),),
            recipes=(recipe(Alpha=128.0),),
        )
        masks = masks_for(made)
        assert len(masks) < 300
        assert {1 << i for i in range(10)} <= set(masks)

    @pytest.mark.parametrize(
        ("by", "count", "groups"),
        [("use", 3, 6), ("use", 7, 7), ("savings", 7, 126), ("least regret", 7, 126)],
    )
    def test_shares_by_use_of_many_need_each_grower_alone_and_no_group(self, by, count, groups):
        names = [f"G{i}" for i in range(count)]
        made = season(farm=farm(share_by=by), fields=tuple(field(n, grower=n) for n in names))
        assert groups_to_plan(made) == groups

    def test_of_four_growers_by_use_none_is_said_to_gain_in_a_group(self):
        """Needs of 1.25 gal each: alone a jug of $250, together two for $500, $125 each."""
        names = [f"G{i}" for i in range(4)]
        made, plan = alike(names, 1.25, container("Alpha", "jug", 320.0, 250.0))
        found = share(made, plan, SharingBudget(effort=3))
        assert [(c.names, c.alone) for c in found.charges] == [((n,), 250.0) for n in names]
        assert [b.saved for b in found.bills] == [125.0] * 4
        assert verdict(found, made) == (
            "No grower pays more here than by ordering alone.",
            "Whether several of them would do better by themselves was not looked into.",
        )

    def test_one_grower_has_nobody_to_share_with(self):
        with pytest.raises(InputError, match="found '1 grower'; expected two growers"):
            share(season(), two_growers()[1])

    def test_least_regret_has_its_limit(self):
        names = [f"G{i}" for i in range(13)]
        made = season(
            farm=farm(share_by="least regret"), fields=tuple(field(n, grower=n) for n in names)
        )
        with pytest.raises(InputError, match="savings"):
            share(made, two_growers()[1])


class TestPlanHasBills:
    def test_by_use_in_json_and_workbook(self):
        made, plan = sample()
        content = plan_content(plan, made, make_campaign(made, plan), packs=("study",))
        data = json.loads(content["plan.json"])
        assert sum(cents(b["share"]) for b in data["bills"]) == cents(plan.cost.total)
        assert [b["grower"] for b in data["bills"]] == list(NAMES)
        ws = load_workbook(io.BytesIO(content["study.xlsx"]))["Bills"]
        values = {str(c.value) for row in ws.iter_rows() for c in row}
        assert {"Ashwillow", "Zimmerdale"} <= values
        numbers = {
            round(c.value, 2) for r in ws.iter_rows() for c in r if isinstance(c.value, float)
        }
        assert {b["share"] for b in data["bills"]} <= numbers

    def test_one_grower_has_none(self):
        made = sample_season()
        plan = greedy_plan(made)
        content = plan_content(plan, made, make_campaign(made, plan), packs=("study",))
        assert "bills" not in json.loads(content["plan.json"])
        assert "Bills" not in load_workbook(io.BytesIO(content["study.xlsx"])).sheetnames


def sharing_of(made, plan) -> Sharing:
    from planner.sharing.by_use import by_use

    return Sharing("use", by_use(plan, made), (), False, None, ())


def table_of(book, name: str):
    """The table of this name in a book."""
    return next(
        x for s in book.sheets for x in s.blocks if getattr(x, "name", "") == name and x.rows
    )


class TestGrowersBooks:
    @pytest.mark.parametrize("number", range(3))
    def test_nothing_of_another_growers_is_on_any_sheet(self, number):
        """Names, fields, lots and shares of the others."""
        made, plan = sample()
        sharing = sharing_of(made, plan)
        bills = sharing.bills
        data = render(grower_book(bills[number], sharing, plan, made, make_campaign(made, plan)))
        said = texts(data)
        mine = NAMES[number]
        planted = {p.lot for p in plan.planting if own(made, p.field, mine)}
        for i, other in enumerate(NAMES):
            if other == mine:
                continue
            strangers = [f.name for f in made.fields if f.grower == other]
            strangers += [x.name for x in made.lots if x.grower == other and x.name not in planted]
            strangers += ["Ashwillow", "Ox & bow", "Zimmerdale"][i : i + 1]
            for word in strangers:
                assert word not in said, word
            assert f"{bills[i].share:.2f}" not in said
        assert made.fingerprint == "" or made.fingerprint not in said

    def test_fields_recipes_units_and_cautions_are_there(self):
        made, plan = sample()
        sharing = sharing_of(made, plan)
        bill = sharing.bills[0]
        said = texts(render(grower_book(bill, sharing, plan, made, make_campaign(made, plan))))
        planted = [p for p in plan.planting if own(made, p.field, "Ashwillow")]
        assert planted
        for p in planted:
            assert {p.field, p.lot, p.recipe} <= set(said.split("\n"))
        assert "never food, feed or oil" in said
        assert "Quietwater Farm" in said

    def test_treated_units_cover_what_is_planted(self):
        made, plan = sample()
        sharing = sharing_of(made, plan)
        campaign = make_campaign(made, plan)
        new = {(t.lot, t.recipe) for t in plan.treating}
        for bill in sharing.bills:
            book = load_workbook(
                io.BytesIO(render(grower_book(bill, sharing, plan, made, campaign)))
            )["Fields and seed"]
            rows = [[c.value for c in row] for row in book.iter_rows()]
            treated = section(rows, "Treated on", 5)
            planted = sum(
                p.units
                for p in plan.planting
                if own(made, p.field, bill.grower) and (p.lot, p.recipe) in new
            )
            assert sum(treated) >= planted - 0.06 * max(1, len(treated))


def own(made, name: str, grower: str) -> bool:
    return next(f.grower for f in made.fields if f.name == name) == grower


def section(rows: list[list], header: str, column: int) -> list[float]:
    """Numbers of a column of the table with this header, up to its total."""
    start = next(i for i, row in enumerate(rows) if row and row[0] == header)
    found = []
    for row in rows[start + 1 :]:
        if row[0] in ("Total", None):
            break
        found.append(float(row[column]))
    return found


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where the bills of the sample season are to stand."""
    return tmp_path_factory.mktemp("shares") / "a" / "out"


@pytest.fixture(scope="module")
def paths(folder: Path) -> tuple[Path, ...]:
    """The files of the sample season's bills."""
    made, plan = sample()
    return write_shares(sharing_of(made, plan), plan, made, folder)


class TestFiles:
    def test_names_with_odd_characters_never_become_paths(self, folder: Path, paths):
        assert {p.parent for p in paths} == {folder}
        assert sorted(p.name for p in paths) == sorted(
            [
                "plan.json",
                "plan.xlsx",
                "shop.xlsx",
                "study.xlsx",
                "plan.ics",
                "settlement.xlsx",
                "bill 1 ashwillow.xlsx",
                "bill 2 ox-bow-cmd-c-calc-a0.xlsx",
                "bill 3 zimmerdale.xlsx",
            ]
        )
        there = [p for p in folder.parents[1].rglob("*") if p.is_file()]
        assert sorted(there) == sorted(paths)

    @pytest.mark.parametrize(
        "name",
        ["..", "/", "CON", "a/b", "a\\b", "C:\\x", "\x00", "", "   ", "é" * 300, "大豆", "-rf"],
    )
    def test_any_name_makes_a_plain_file_name(self, name):
        made = file_names([name])[name]
        assert made.startswith("bill 1")
        assert made.endswith(".xlsx")
        assert set(made) <= set("abcdefghijklmnopqrstuvwxyz0123456789 .-")
        assert len(made) < 60
        assert ".." not in made

    def test_two_growers_never_share_a_file(self):
        names = file_names(["Ann", "ann!", "ANN?"])
        assert len(set(names.values())) == 3

    @pytest.mark.slow
    def test_bills_of_an_earlier_run_are_taken_away_and_nothing_else(self, tmp_path: Path):
        made, plan = sample()
        sharing = sharing_of(made, plan)
        names = file_names([b.grower for b in sharing.bills])
        write_shares(sharing, plan, made, tmp_path)
        bill = (tmp_path / names["Zimmerdale"]).read_bytes()
        for stale in ("bill 7 gone.xlsx", "bill 8.xlsx", "bill 1 zimmerdale (2).xlsx"):
            (tmp_path / stale).write_bytes(bill)
        mine = {"bill 9 own.xlsx": b"no workbook", "bill for Ann.xlsx": bill, "notes.txt": b""}
        for name, data in mine.items():
            (tmp_path / name).write_bytes(data)
        paths = write_shares(sharing, plan, made, tmp_path)
        there = {p.name for p in tmp_path.iterdir() if not p.name.startswith(".")}
        assert there == {p.name for p in paths} | set(mine)

    def test_a_bound_that_was_not_found_is_said(self):
        made, plan = two_growers()
        sharing = share(made, plan, SharingBudget(effort=3))
        assert sharing.charges
        plans = (
            group_plan(1, replace(plan, bound=b, gap=g)) for b, g in ((-50.0, 1.2), (0.0, 1.0))
        )
        assert {group.bound for group in plans} == {float("-inf")}
        loose = tuple(c._replace(bound=float("-inf"), short=0.0) for c in sharing.charges)
        nowhere = (float("-inf"),) * 2, (float("inf"),) * 2
        made_loose = replace(sharing, charges=loose, low=nowhere[0], high=nowhere[1])
        book = settlement_book(made_loose, plan, made, {})
        tables = [x for s in book.sheets for x in s.blocks if getattr(x, "name", "") == "groups"]
        assert {row[4] for t in tables for row in t.rows} == {"not known"}
        said = texts(render(book))
        assert f"How little {len(loose)} groups could cost alone was not found out" in said
        assert "Share could be" not in said
        assert "could cost up to" not in said

    def test_the_money_of_all_shares_is_paid_out_or_kept(self):
        """Derived: of $2,313 nobody bills nothing; $2,202 are paid out, $120 are for the farm's
        seed, less $9 for product that it keeps."""
        made, plan = two_growers()
        table = table_of(settlement_book(sharing_of(made, plan), plan, made, {}), "paid")
        assert [row[:2] for row in table.rows] == [
            ("Containers, at list price", 180.0),
            ("Freight", 40.0),
            ("Discounts", -18.0),
            ("Seed bought", 2000.0),
            ("Seed from Tiny farm's stock, at its return value", 120.0),
            ("Product left over, at its worth", -9.0),
        ]
        assert "Tiny farm keeps it" in table.rows[4][2]
        assert table.note == "Tiny farm pays out $2,202.00 of it."

    def test_what_nobody_bills_is_called_the_same_on_every_sheet(self):
        made, plan = sample()
        sharing = sharing_of(made, plan)
        book = settlement_book(sharing, plan, made, {})
        for name in ("accounts", "shares"):
            (own,) = (c for c in table_of(book, name).columns if c.key == "own")
            assert own.header == NOT_BILLED
        bill = sharing.bills[1]
        lines = (*bill.lines, BillLine("Expected yield loss", 25.0, own=True))
        bill = replace(bill, lines=lines, share=bill.share + 25.0)
        sharing = replace(sharing, bills=(sharing.bills[0], bill, *sharing.bills[2:]))
        paper = grower_book(bill, sharing, plan, made, make_campaign(made, plan))
        assert NOT_BILLED in [row[0] for row in table_of(paper, "to_pay").rows]

    def test_the_money_of_all_shares_meets_their_sum_to_the_cent(self):
        made, plan = sample()
        bills = sharing_of(made, plan).bills
        book = settlement_book(sharing_of(made, plan), plan, made, {})
        rows = table_of(book, "paid").rows
        in_money = sum(cents(b.share) - cents(b.own) for b in bills)
        assert sum(cents(row[1]) for row in rows) == in_money

    def test_who_gets_money_back_is_told_so_and_not_asked_to_pay(self):
        made, plan = two_growers()
        made = replace(
            made,
            fields=(replace(made.fields[0], grower=None), made.fields[1]),
            growers=(Grower("Bob", deposit=1000.0),),
        )
        sharing = sharing_of(made, plan)
        bob = sharing.bills[1]
        said = texts(render(grower_book(bob, sharing, plan, made, make_campaign(made, plan))))
        assert "Tiny farm pays you this back" in said
        assert "To get back from Tiny farm" in said
        assert "Are you" not in said

    def test_the_settlement_says_who_owes_whom(self, paths):
        sharing = sharing_of(*sample())
        said = texts(next(p for p in paths if p.name == "settlement.xlsx").read_bytes())
        zim = sharing.bills[2]
        due = zim.share - zim.own - 150.0
        assert f"Zimmerdale pays Quietwater Farm ${due:,.2f}." in said
        assert "Mill Road 4" in said
        for sentence in LICENSE:
            assert sentence in said.replace("• ", "")


def test_a_plan_is_not_lost_where_its_cost_could_not_be_shared(tmp_path, monkeypatch):
    from planner.terminal import sharing as terminal
    from planner.terminal.deciding import Options

    def failing(*_args, **_more):
        raise NoPlanError("no plan was found for Ann alone")

    made, plan = two_growers()
    monkeypatch.setattr(terminal.api, "load", lambda _source: made)
    monkeypatch.setattr(terminal, "decide", lambda *_: (plan, False))
    monkeypatch.setattr(terminal.api, "share", failing)
    said: list[str] = []
    with pytest.raises(NoPlanError):
        terminal.share_season(
            Path("s.xlsx"), tmp_path, Options(quiet=True), 1.0, 1, None, said.extend
        )
    assert (tmp_path / "plan.json").exists()
    assert f"Written: {tmp_path / 'plan.json'}" in said

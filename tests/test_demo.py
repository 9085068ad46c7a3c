"""The demo season: what it must hold, that it is one season in two forms, and its plan."""

import tomllib
from collections import Counter
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import icalendar
import pytest
from openpyxl import load_workbook

from planner.agronomy.rates import mg_per_seed
from planner.api import make_plan
from planner.campaign.campaign import make_campaign
from planner.campaign.ical import to_ical
from planner.form.content import demo_folder
from planner.form.template import write_blank, write_csv
from planner.plan.audit import audit
from planner.plan.cautions import warnings
from planner.plan.plan import Outcome, Plan
from planner.season.domain import NOWHERE, POWDER, UNTREATED, Basis, Pressure, Season
from planner.season.read import read_season

ROOT = Path(__file__).parent.parent
FOLDER, WORKBOOK = ROOT / "data" / "demo", ROOT / "data" / "demo.xlsx"
GALLON = 128.0


@pytest.fixture(scope="module")
def season() -> Season:
    return read_season(FOLDER)


@pytest.fixture(scope="module")
def plan(season: Season) -> Plan:
    return make_plan(season, seconds=120)


def bare(season: Season) -> Season:
    """Season without the places that its records were read from."""
    lists = (
        "fields lots products carriers containers recipes threats active_limits suppliers "
        "discounts maturity_spread treated ordered what_if unknowns growers"
    )
    plain = {
        name: tuple(_bare(record) for record in getattr(season, name)) for name in lists.split()
    }
    return replace(season, source="", **plain)


def _bare(record: object) -> object:
    changes: dict[str, object] = {"row": NOWHERE}
    for name in ("rates", "carriers", "actives", "breaks"):
        if hasattr(record, name):
            changes[name] = tuple(replace(r, row=NOWHERE) for r in getattr(record, name))
    return replace(record, **changes)  # type: ignore[type-var]


def test_workbook_and_csv_are_one_season(season: Season, tmp_path: Path) -> None:
    other = read_season(WORKBOOK)
    assert other.fingerprint == season.fingerprint
    assert bare(other) == bare(season)
    assert season.notes == other.notes == ()


def test_start_writes_the_demo_that_stands_in_data(season: Season, tmp_path: Path) -> None:
    write_csv(tmp_path / "csv", demo=True)
    path = write_blank(tmp_path / "demo.xlsx", demo=True)
    for source in (tmp_path / "csv", path):
        assert bare(read_season(source)) == bare(season)


def test_the_demo_says_what_a_short_acre_costs_for() -> None:
    """A plan never trades land for money: only the command risk counts that setting."""
    rows = load_workbook(WORKBOOK)["Farm"].iter_rows(values_only=True)
    (note,) = (row[2] for row in rows if str(row[0]).startswith("Cost of a short acre"))
    assert "in the command risk" in note
    assert "A plan leaves as little land short as it can, whatever that costs." in note


@pytest.mark.long
@pytest.mark.slow
def test_workbook_and_csv_give_the_same_plan() -> None:
    """Counted effort, so that not even the floor depends on the clock."""
    one, other = (make_plan(read_season(source), effort=1) for source in (FOLDER, WORKBOOK))
    assert replace(other, seconds=0.0, warnings=()) == replace(one, seconds=0.0, warnings=())


class TestContents:
    def test_it_has_18_fields_on_2000_acres(self, season: Season) -> None:
        assert len(season.fields) == 18
        assert sum(f.acres for f in season.fields) == pytest.approx(2000)
        mold = [
            f
            for f in season.fields
            if f.pressure.get("White mold", Pressure.NONE).value in ("moderate", "high")
        ]
        assert len(mold) == 3

    def test_one_white_mold_field_is_tight(self, season: Season) -> None:
        """Marsh Bottom: 146 acres x 110,000 x 1.03 / 140,000 = 118.2 of 120 units that suit."""
        from planner.agronomy.suitability import suitable

        field = next(f for f in season.fields if f.name == "Marsh Bottom")
        assert field.pressure["White mold"] is Pressure.HIGH
        lots = {lot for name, lot in suitable(season) if name == field.name}
        units = sum(lot.on_hand + lot.can_buy for lot in season.lots if lot.name in lots)
        need = 146 * 110_000 * 1.03 / 140_000
        assert need < units < 1.02 * need

    def test_it_has_14_lots_of_seven_varieties(self, season: Season) -> None:
        assert len(season.lots) == 14
        assert len({lot.variety for lot in season.lots}) == 7
        assert {lot.maturity for lot in season.lots} >= {1.6, 2.6}
        assert all(1.6 <= lot.maturity <= 2.6 for lot in season.lots)
        assert {lot.units_per_bag for lot in season.lots} == {1, 40, 45}
        sizes = [lot.seeds_per_lb for lot in season.lots]
        assert (min(sizes), max(sizes)) == (2400, 3300)
        assert any(lot.treated_with for lot in season.lots)

    def test_products_recipes_and_containers(self, season: Season) -> None:
        assert len(season.recipes) == 5
        assert len(season.products) == 9
        assert [p.name for p in season.carriers] == ["Water"]
        assert [p.name for p in season.products if p.kind == POWDER] == ["Palmdust"]
        written = {rate.written.split(" ", 1)[1] for r in season.recipes for rate in r.rates}
        assert written == {"fl oz/unit", "mL/unit", "fl oz/cwt", "mL/100 kg", "mg/seed", "g/100 kg"}
        assert {rate.basis for r in season.recipes for rate in r.rates} == set(Basis)
        sizes = {c.size / GALLON for c in season.containers}
        assert (min(sizes), max(sizes)) == (2.5, 265)
        assert any(len(c.breaks) > 2 for c in season.containers)
        day = season.farm.first_treating_day
        expired = [p for p in season.products if p.on_hand and p.expires and p.expires < day]
        assert [p.name for p in expired] == ["Palewatch"]

    def test_every_optional_sheet_is_in_use(self, season: Season) -> None:
        for name in (
            "threats", "control", "active_limits", "suppliers", "discounts", "maturity_spread",
            "treated", "ordered", "days_off", "what_if",
        ):  # fmt: skip
            assert getattr(season, name), name
        assert len(season.suppliers) == 2
        levels = Counter((d.name, d.supplier) for d in season.discounts)
        assert max(levels.values()) >= 3
        assert any(r.approved_by for r in season.recipes)
        assert not all(r.approved_by for r in season.recipes)

    def test_two_fungicides_share_the_rate_of_the_trial(self, season: Season) -> None:
        """Fludioxonil and mefenoxam together 0.0094 mg/seed, in every recipe about as much.

        Gaspar, Mitchell & Conley, Univ. of Wisconsin-Madison, summary of 2014. The demo's second
        one is metalaxyl; how the two share it is invented.
        """
        usual = replace(season.lots[0], seeds_per_lb=2800.0)
        for recipe in season.recipes:
            on_seed = mg_per_seed(recipe, usual, season)
            both = on_seed["Fludioxonil"], on_seed["Metalaxyl"]
            assert sum(both) == pytest.approx(0.0094, rel=0.02)
            assert min(both) > 0.003

    def test_ethaboxam_is_within_the_rates_of_the_trials(self, season: Season) -> None:
        """7.5 to 15 g a.i. on 100 kg of seed: Dorrance et al., abstract of the APS meeting of 2012.

        Grams on 100 kg are mg on a seed x seeds in 100 kg: 2.2046 x 100 x seeds/lb.
        """
        usual = replace(season.lots[0], seeds_per_lb=2800.0)
        for recipe in season.recipes:
            mg = mg_per_seed(recipe, usual, season).get("Ethaboxam")
            if mg is not None:
                assert 7.5 <= mg / 1000.0 * 2800.0 * 220.46226 <= 15.0

    def test_liquid_stays_within_what_trials_put_on(self, season: Season) -> None:
        """Limit 600 mL/100 kg, the lowest volume of Brzezinski et al. (2017); warning 500.

        Bork et al. stored seed well after 0.5 L on 100 kg and a day's drying.
        """
        assert season.farm.liquid_limit == pytest.approx(600 / 65.198, abs=0.01)
        assert season.farm.liquid_warning == pytest.approx(500 / 65.198, abs=0.04)

    def test_the_shops_columns_and_settings_are_in_use(self, season: Season) -> None:
        farm = season.farm
        assert (farm.pumps, farm.tank, farm.tags) == (2, 15 * GALLON, "per lot")
        assert any(lot.leaves_loose for lot in season.lots)
        assert any(r.carriers for r in season.recipes)
        for name in (
            "slurry_life", "not_with", "registration", "signal_word", "equipment", "re_entry",
            "first_aid", "tag_statement",
        ):  # fmt: skip
            assert any(getattr(p, name) for p in season.products), name
        assert {f.white_mold_history for f in season.fields} == {"some", "none", None}
        assert {f.row_width for f in season.fields} == {15.0, 30.0}

    def test_heels_are_under_the_legal_ceiling(self, season: Season) -> None:
        """40 CFR 261.7(b)(1): 3 % of capacity up to 119 gal, 0.3 % above (there by weight)."""
        for container in season.containers:
            share = 0.03 if container.size <= 119 * GALLON else 0.003
            assert container.heel <= share * container.size

    def test_names_are_not_told_apart_by_case_alone(self, season: Season) -> None:
        for records in (season.fields, season.lots, season.products, season.recipes):
            names = [r.name.casefold() for r in records]
            assert len(set(names)) == len(names)


class TestPlan:
    @pytest.mark.slow
    def test_it_is_proven_and_covers_every_acre(self, plan: Plan, season: Season) -> None:
        assert plan.outcome is Outcome.OPTIMAL
        assert plan.gap <= 1e-4
        assert plan.shortages == ()
        audit(plan, season)
        assert sum(p.acres for p in plan.planting) == pytest.approx(2000)

    def test_every_feature_is_at_work(self, plan: Plan, season: Season) -> None:
        cost = plan.cost
        for term in (
            cost.containers, cost.freight, cost.discounts, cost.seed_bought, cost.seed_given_up,
            cost.carryover_credit, cost.yield_loss,
        ):  # fmt: skip
            assert term > 0
        recipes = {p.recipe for p in plan.planting}
        assert recipes == {r.name for r in season.recipes} | {UNTREATED}
        assert {line.supplier for line in plan.order} == {s.name for s in season.suppliers}
        first = {(c.product, c.name): c.breaks[0].price for c in season.containers}
        assert any(line.unit_price < first[line.product, line.container] for line in plan.order)
        assert len({line.container for line in plan.order}) >= 3
        assert any(p.on_its_way for p in plan.products)
        assert any(t.part_bag for t in plan.treating)
        shares = Counter(p.field for p in plan.planting)
        assert max(shares.values()) >= 2
        already = {lot.name for lot in season.lots if lot.treated_with}
        assert already & {p.lot for p in plan.planting}

    def test_warnings_show(self, plan: Plan, season: Season) -> None:
        text = "\n".join(warnings(plan, season))
        for word in ("Palewatch", "Crane Corner", "White mold", "C18-202", "9.6%", "treated seed"):
            assert word in text


class TestShipping:
    def test_the_demo_is_found(self) -> None:
        assert demo_folder() == FOLDER

    def test_every_room_and_the_demo_are_packed(self) -> None:
        """Packages are listed by name, so that the demo can be one of them."""
        config = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
        packed = config["tool"]["setuptools"]
        inits = (ROOT / "planner").glob("*/**/__init__.py")
        rooms = {".".join(path.parent.relative_to(ROOT).parts) for path in inits}
        assert set(packed["packages"]) == {"planner", "planner.data"} | rooms
        assert packed["package-dir"] == {"planner.data": "data"}
        assert "demo/*.csv" in packed["package-data"]["planner.data"]

    def test_sources_name_every_kind_of_figure(self) -> None:
        text = (ROOT / "data" / "SOURCES.md").read_text("utf-8").casefold()
        for word in ("seeds per unit", "seeding rates", "prices", "ratings", "heels", "invented"):
            assert word in text


def test_calendar_file_of_the_demo_is_short_enough_to_live_with(season: Season, plan: Plan) -> None:
    """Order, pay, sample out, approve, treating days, last planting day; each of them reminds."""
    made = make_campaign(season, plan)
    entries = icalendar.Calendar.from_ical(to_ical(made)).walk("VEVENT")
    titles = [str(e["summary"]) for e in entries]
    for word in ("Order", "Pay", "Send seed sample", "Approval", "First treating day", "Treat"):
        assert any(t.startswith(word) for t in titles), word
    assert titles[-1] == "Last planting day"
    assert len(titles) <= 15
    assert all(any(c.name == "VALARM" for c in e.subcomponents) for e in entries)


def test_days_of_the_demo_are_late_with_days_to_spare(season: Season, plan: Plan) -> None:
    """Nothing late or early, two treating days to spare, at most 25,000 lb a day."""
    made = make_campaign(season, plan)
    assert (made.calendar.late, made.calendar.early) == (0, 0)
    assert min(d.spare for d in made.calendar.days if d.spare is not None) == 2
    assert max(d.weight for d in made.calendar.days) <= 25_000.0
    assert made.calendar.days[0].day > season.farm.first_treating_day + timedelta(days=10)

"""Next season's workbook from this one's: what is kept, moved, cleared and told."""

import json
from datetime import date
from pathlib import Path

import pytest

from planner.errors import InputError
from planner.form.carry import next_season, plan_beside
from planner.form.content import Percent, Table, full
from planner.form.template import (
    write_next,
    write_workbook,
)
from planner.season.read import read_season


class TestNextSeason:
    @pytest.fixture
    def old(self, tiny: Path) -> Path:
        (tiny / "days off.csv").write_text("Date,Note\n2027-04-25,Sunday\n", "utf-8")
        fields = "Field,Acres,Seeding rate,Planting date,My note,Only varieties\n"
        fields += "Home 80,80,140000,2028-02-29,wet corner,Heron\n"
        (tiny / "fields.csv").write_text(fields, "utf-8")
        (tiny / "suppliers.csv").write_text(
            "Supplier,Order by,Pay by\nElm,2027-01-15,2027-03-01\n", "utf-8"
        )
        (tiny / "discounts.csv").write_text(
            "Discount,Spend at least,Percent off,Order by\nEarly,100,2%,2027-01-20\n", "utf-8"
        )
        (tiny / "what if.csv").write_text(
            "Scenario,Sheet,Row,Column,Value\n"
            "Late,Farm,First treating day,Value,2027-05-03\n"
            "Late,Suppliers,Elm,Order by,2027-02-01\n"
            "Dear,Containers,Green Cap / jug,Price,120\n",
            "utf-8",
        )
        return tiny

    def test_dates_move_lots_go_and_all_of_it_is_told(self, old: Path) -> None:
        carried = next_season(old)
        assert "Fill in Seed lots, a row for each lot" in carried.notes[-1]
        fields = carried.content["Fields"]
        row = dict(zip(fields.headers, fields.rows[0], strict=True))
        assert row["Planting date"] == date(2029, 2, 28)
        assert row["My note"] == "wet corner"
        assert carried.content["Seed lots"].rows == ()
        farm = {str(r[0]): r[1] for r in carried.content["Farm"].rows}
        assert farm["Plan date"] == date(2028, 1, 15)
        assert farm["Spare seed (%)"] == Percent(3.0)
        assert carried.content["Suppliers"].rows[0][-2:] == (date(2028, 1, 15), date(2028, 3, 1))
        assert carried.content["Discounts"].rows[0][-1] == date(2028, 1, 20)
        tried = [row[-1] for row in carried.content["What if"].rows]
        assert tried == [date(2028, 5, 3), date(2028, 2, 1), "120"]
        day = carried.content["Days off"].rows[0][0]
        assert isinstance(day, date)
        assert day.weekday() == date(2027, 4, 25).weekday()
        told = "\n".join(carried.notes)
        for word in ("L-1", "No plan.json", "My note", "52 weeks", "Only varieties"):
            assert word in told

    def test_stock_is_what_the_plan_leaves(self, old: Path) -> None:
        mark = read_season(old).fingerprint
        plan = old.parent / "tiny-plan" / "plan.json"
        plan.parent.mkdir()
        text = '{"crop_year": 2027, "fingerprint": "%s", "products": [%s]}'
        plan.write_text(text % (mark, '{"product": "green cap", "left": 16}'), "utf-8")
        assert plan_beside(old) == plan
        workbook = old.parent / "tiny.xlsx"  # beside the folder of its name: see plan_folder
        own = workbook.with_name("tiny.xlsx-plan") / "plan.json"
        own.parent.mkdir()
        own.write_bytes(plan.read_bytes())
        assert plan_beside(workbook) == own
        row = next_season(old).content["Products"].rows[0]
        headers = next_season(old).content["Products"].headers
        assert dict(zip(headers, row, strict=True))["On hand (gal)"] == pytest.approx(16 / 128)

    def test_what_is_alive_is_not_kept_over_winter(self, old: Path) -> None:
        (old / "products.csv").write_text(
            "Product,Kind,Carryover value\nGreen Cap,inoculant,\nRed Cap,biological,20%\n", "utf-8"
        )
        left = [{"product": name, "left": 16} for name in ("Green Cap", "Red Cap")]
        text = json.dumps({"crop_year": 2027, "products": left})
        (old / "plan.json").write_text(text, "utf-8")
        carried = next_season(old)
        at = carried.content["Products"].headers.index("On hand (gal)")
        assert [row[at] for row in carried.content["Products"].rows] == [None, 16 / 128]
        assert any("not carried: Green Cap." in line for line in carried.notes)

    def test_products_told_apart_by_what_is_in_brackets_keep_each_its_own(self, old: Path) -> None:
        (old / "products.csv").write_text(
            "Product,Kind\nGreen Cap,fungicide\nSheen (red),polymer\nSheen (blue),polymer\n",
            "utf-8",
        )
        amounts = {"Sheen (red)": 16, "Sheen (blue)": 64, "Old Cap": 1}
        left = [{"product": name, "left": floz} for name, floz in amounts.items()]
        text = json.dumps({"crop_year": 2027, "products": left})
        (old / "plan.json").write_text(text, "utf-8")
        carried = next_season(old)
        at = carried.content["Products"].headers.index("On hand (gal)")
        assert [row[at] for row in carried.content["Products"].rows] == [None, 16 / 128, 64 / 128]
        assert "Products: not on the sheet, leftover not kept: Old Cap." in carried.notes

    def test_a_plan_date_in_mid_season_is_not_the_next_plans(self, old: Path) -> None:
        file = old / "farm.csv"
        text = file.read_text("utf-8").replace("2027-01-15", "2027-05-04")
        file.write_text(f"{text}First treating day,2027-04-12\n", "utf-8")
        farm = {str(r[0]): r[1] for r in next_season(old).content["Farm"].rows}
        assert farm["Plan date"] is None
        assert farm["First treating day"] == date(2028, 4, 12)

    @pytest.mark.parametrize(
        "text",
        [
            *("not json", "[]", "{}", '{"crop_year": 2026, "products": []}', '{"products": 1}'),
            "[" * 100_000,
            *(
                f'{{"crop_year": 2027, "products": [{{"product": "Green Cap", "left": {left}}}]}}'
                for left in ("NaN", "1e999", "1" + "0" * 400)
            ),
        ],
        ids=range(9),
    )
    def test_a_plan_that_does_not_belong_clears_the_stock(self, old: Path, text: str) -> None:
        (old / "plan.json").write_text(text, "utf-8")
        carried = next_season(old)
        at = carried.content["Products"].headers.index("On hand (gal)")
        assert [row[at] for row in carried.content["Products"].rows] == [None]
        assert any("stock on hand is cleared" in line for line in carried.notes)

    def test_a_plan_in_another_folder_is_named(self, old: Path, tmp_path: Path) -> None:
        elsewhere = tmp_path / "elsewhere"
        elsewhere.mkdir()
        text = '{"crop_year": 2027, "products": [{"product": "Green Cap", "left": 16}]}'
        (elsewhere / "plan.json").write_text(text, "utf-8")
        for named in (elsewhere, elsewhere / "plan.json"):
            carried = next_season(old, named)
            at = carried.content["Products"].headers.index("On hand (gal)")
            assert carried.content["Products"].rows[0][at] == pytest.approx(16 / 128)
            assert any("elsewhere/plan.json leaves over" in line for line in carried.notes)

    @pytest.mark.parametrize("text", [None, "[]", '{"crop_year": 2026, "products": []}'])
    def test_a_plan_that_is_named_and_will_not_do_is_refused(
        self, old: Path, tmp_path: Path, text: str | None
    ) -> None:
        named = tmp_path / "named.json"
        if text is not None:
            named.write_text(text, "utf-8")
        with pytest.raises(InputError, match=r"named\.json"):
            write_next(tmp_path / "n.xlsx", None, old, named)
        assert not (tmp_path / "n.xlsx").exists()

    def test_the_new_workbook_lacks_nothing_but_seed(self, old: Path, tmp_path: Path) -> None:
        written, told = write_next(tmp_path / "n.xlsx", tmp_path / "n", old)
        assert told
        assert written[0].name == "n.xlsx"
        for source in (tmp_path / "n.xlsx", tmp_path / "n"):
            with pytest.raises(InputError) as error:
                read_season(source)
            assert {f.sheet.split(".")[0].casefold() for f in error.value.faults} <= {
                "seed lots",
                "fields",
            }

    @pytest.mark.parametrize(
        ("file", "header"), [("fields.csv", "Only varieties"), ("what if.csv", "Sheet")]
    )
    def test_headers_with_a_word_in_brackets_are_found(
        self, old: Path, file: str, header: str
    ) -> None:
        plain = next_season(old)
        text = (old / file).read_text("utf-8")
        assert f",{header}" in text
        text = text.replace(f",{header}", f",{header} (list)", 1)
        (old / file).write_text(text, "utf-8")
        carried = next_season(old)
        assert carried.content == plain.content
        assert carried.notes == plain.notes

    def test_only_what_is_left_behind_is_called_so(self, old: Path) -> None:
        """A setting of one's own goes along; a sheet of one's own and a row of totals do not."""
        (old / "diary.csv").write_text("Day,Rain\n1,2\n", "utf-8")
        with (old / "fields.csv").open("a", encoding="utf-8") as file:
            file.write("Total,80\n")
        with (old / "farm.csv").open("a", encoding="utf-8") as file:
            file.write("Shop foreman,Ole\n")
        carried = next_season(old)
        behind = [n for n in carried.notes if n.startswith("Not carried over")]
        assert len(behind) == 2
        assert "diary" in behind[0]
        assert "totals" in behind[1]
        assert "Shop foreman" in [row[0] for row in carried.content["Farm"].rows]

    def test_rates_keep_the_unit_of_their_header(self, old: Path) -> None:
        text = "Recipe,Product,Rate (fl oz/cwt)\nBase,Green Cap,4\n"
        (old / "recipes.csv").write_text(text, "utf-8")
        assert next_season(old).content["Recipes"].headers[2] == "Rate (fl oz/cwt)"

    def test_metric_columns_keep_their_unit(self, old: Path, tmp_path: Path) -> None:
        text = "Field,Area (ha),Seeding rate (seeds/ha)\nHome 80,30,350000\n"
        (old / "fields.csv").write_text(text, "utf-8")
        carried = next_season(old)
        assert carried.content["Fields"].headers[:3] == (
            "Field",
            "Acres (ha)",
            "Seeding rate (seeds/ha)",
        )
        lots = Table(("Lot", "Variety", "Maturity", "Units on hand", "Seeds per lb"),
                     (("L", "Heron", 1.8, 160.0, 2800.0),))  # fmt: skip
        content = full({**carried.content, "Seed lots": lots})
        path = write_workbook(tmp_path / "metric.xlsx", content, "metric")
        (field,) = read_season(path).fields
        assert field.acres == pytest.approx(30 * 2.471053814671653)  # 1 / 0.40468564224

"""What the shop's columns and settings mean: filled, blank, broken, and in the optimizer."""

from datetime import date

import pytest

from planner.optimize.options import SolveOptions
from planner.optimize.search.run import solve
from planner.plan.audit import audit
from planner.plan.price import seed_days
from planner.season.domain import CARRIER, POWDER, Supplier
from tests.laws import oracle, second_model
from tests.support.inputs import Sheets, faults, good, put, read, setting
from tests.support.seasons import container, farm, lot, product, recipe, season


def watered() -> Sheets:
    """The good season with water in recipe Full and talc in Base."""
    sheets = good()
    sheets["Products"] += [
        ["Water", "Carrier", "", "", "", "", ""],
        ["Slick", "fluency powder", "", "", "", "", ""],
    ]
    sheets["Containers"].append(["Slick", "pail", "5 gal", "90", "", "", "", ""])
    sheets["Recipes"] += [["Full", "Water", "1 fl oz/cwt", ""], ["Base", "Slick", "60 mL/unit", ""]]
    return sheets


def test_water_is_kept_apart_from_what_is_bought(tmp_path):
    made = read(tmp_path, watered())
    assert [p.name for p in made.products] == ["Green Cap", "Sheen", "Slick"]
    assert [p.name for p in made.carriers] == ["Water"]
    full = next(r for r in made.recipes if r.name == "Full")
    assert [r.product for r in full.rates] == ["Green Cap", "Sheen"]
    assert [(r.product, r.written) for r in full.carriers] == [("Water", "1 fl oz/cwt")]


FACTS = {
    "Slurry life (h)": ("90 min", "slurry_life", 1.5),
    "Mixing order": ("2", "mixing_order", 2),
    "Do not mix with": ("sheen", "not_with", ("Sheen",)),
    "Registration number": ("000-00", "registration", "000-00"),
    "Signal word": ("danger - poison", "signal_word", "DANGER - POISON"),
    "Protective equipment": ("gloves", "equipment", "gloves"),
    "Re-entry": ("12 h", "re_entry", "12 h"),
    "First aid": ("rinse", "first_aid", "rinse"),
    "Tag statement": ("cover spills", "tag_statement", "cover spills"),
}


def test_facts_of_products_filled_and_blank(tmp_path):
    sheets = good()
    for header, (text, _, _) in FACTS.items():
        put(sheets, "Products", 2, header, text)
    cap, sheen = read(tmp_path, sheets).products
    for _, name, value in FACTS.values():
        assert getattr(cap, name) == value
        assert not getattr(sheen, name)


def test_fields_lots_and_settings_filled_and_blank(tmp_path):
    sheets = put(good(), "Fields", 2, "Row width", "38.1 cm")
    put(sheets, "Fields", 2, "White mold history", "Severe")
    put(sheets, "Fields", 3, "White mold history", "yes")
    put(sheets, "Seed lots", 2, "Leaves loose", "yes")
    blank = read(tmp_path / "..", good()).farm
    assert (blank.pumps, blank.tank, blank.tags) == (None, None, "per lot")
    assert (blank.tag_stock, blank.credit_white_mold) == ("4 x 6 in", False)
    for name, text in {
        "Pumps": "2",
        "Tank": "15 gal",
        "Tags": "per package",
        "Tag stock": "2 x 4 in",
        "Credit white mold": "yes",
    }.items():
        setting(sheets, name, text)
    made = read(tmp_path, sheets)
    home, creek = made.fields
    assert home.row_width == pytest.approx(15.0)
    assert (home.white_mold_history, creek.white_mold_history) == ("severe", "some")
    assert creek.row_width is None
    assert [lot.leaves_loose for lot in made.lots] == [True, False, False]
    assert (made.farm.pumps, made.farm.tank, made.farm.tags) == (2, 1920.0, "per package")
    assert (made.farm.tag_stock, made.farm.credit_white_mold) == ("2 x 4 in", True)


BROKEN = [
    # 40 CFR 156.64 knows these words and no others
    ("Products", 2, "Signal word", "BEWARE", "one of DANGER - POISON, DANGER, WARNING, CAUTION"),
    ("Products", 2, "Signal word", "DANGERS", "nearest: 'DANGER'"),
    ("Products", 2, "Slurry life (h)", "0", "a number above 0 h"),
    ("Products", 2, "Slurry life (h)", "a day", "a number in h or min"),
    ("Products", 2, "Mixing order", "0", "a whole number of 1 or more"),
    ("Products", 2, "Do not mix with", "Shen", "nearest: 'Sheen'"),
    ("Products", 2, "Do not mix with", "Green Cap", "other products than Green Cap itself"),
    ("Fields", 2, "Row width", "-15", "a number above 0 inches"),
    ("Fields", 2, "White mold history", "bad", "one of none, some, severe"),
    ("Seed lots", 2, "Leaves loose", "maybe", "yes or no"),
    ("Containers", 5, "Product", "Water", "no product of kind carrier"),
    ("Protection", 2, "Product", "Water", "no product of kind carrier"),
    ("Ordered so far", 2, "Product", "Water", "no product of kind carrier"),
    ("Recipes", 6, "Rate", "2 fl oz/cwt", "fl oz/unit or mL/unit, as a fluency powder"),
    ("Recipes", 2, "Product", "Water", "a recipe with a product besides its carrier"),
]


@pytest.mark.parametrize(("sheet", "row", "column", "text", "words"), BROKEN)
def test_broken_cells(tmp_path, sheet, row, column, text, words):
    sheets = put(watered(), sheet, row, column, text)
    if words.startswith("a recipe"):
        sheets["Recipes"] = [r for r in sheets["Recipes"] if r[1] != "Slick"]
    found = faults(tmp_path, sheets)
    assert any(
        (f.sheet, f.row) == (sheet, row) and words in f"{f.expected}; {f.remedy}" for f in found
    ), found


@pytest.mark.parametrize(
    ("name", "text", "words"),
    [
        ("Pumps", "0", "a whole number of 1 or more"),
        ("Tank", "15", "write the unit"),
        ("Tags", "per bag", "one of per lot, per package"),
        ("Tag stock", "3 x 5 in", "one of 2 x 4 in, 4 x 6 in"),
    ],
)
def test_broken_settings(tmp_path, name, text, words):
    (fault,) = faults(tmp_path, setting(good(), name, text))
    assert words in f"{fault.expected}; {fault.remedy}"


TALC = {
    "products": (product(), product("Slick", kind=POWDER)),
    "containers": (container(), container("Slick", price=50.0)),
    "recipes": (recipe(Alpha=2.0, Slick=2.0),),
}

# A unit weighs 50 lb: 2 fl oz of Alpha are 4 fl oz/cwt, 1 of water 2 more. 80 units, one jug: $300.
LIQUID = [
    ("water fits", {"recipes": (recipe(water=1.0, Alpha=2.0),)}, 6.0, 0, 300),
    ("water is too much", {"recipes": (recipe(water=1.0, Alpha=2.0),)}, 5.99, 80, 0),
    ("a powder is no liquid, but bought", TALC, 4.0, 0, 350),
    ("what it goes with is", TALC, 3.99, 80, 0),
]


@pytest.mark.parametrize(
    ("changes", "limit", "short", "cost"), [c[1:] for c in LIQUID], ids=[c[0] for c in LIQUID]
)
def test_liquid_counts_water_and_no_powder(changes, limit, short, cost):
    one = season(farm=farm(liquid_limit=limit), **changes)
    plan = solve(one, SolveOptions(seconds=20, gap=0.0))
    audit(plan, one)
    assert sum(s.acres for s in plan.shortages) == pytest.approx(short, abs=1e-4)
    assert plan.cost.total == pytest.approx(cost, abs=1e-3)
    for again in (oracle.solve(one), second_model.solve(one)):
        assert sum(again.short) == pytest.approx(short, abs=1e-4)
        assert again.cost == pytest.approx(cost, abs=1e-3)


def test_kinds_are_on_the_form():
    from planner.season.schema import KINDS

    assert {CARRIER, POWDER} <= set(KINDS)


# --- who sells seed, and when it is ordered and paid ---


def test_seller_and_day_of_a_lot_filled_and_blank(tmp_path):
    sheets = put(good(), "Seed lots", 2, "Seller", "north YARD")
    sheets = put(sheets, "Seed lots", 2, "Order by", "2026-12-20")
    first, second, _ = read(tmp_path, sheets).lots
    assert (first.seller, first.order_by) == ("North yard", date(2026, 12, 20))
    assert (second.seller, second.order_by) == (None, None)


def test_a_seller_who_is_on_no_other_sheet_is_read_as_it_stands(tmp_path):
    sheets = setting(good(), "First treating day", "2027-04-20")
    made = read(tmp_path, put(sheets, "Seed lots", 2, "Seller", "Hill seed"))
    assert (made.lots[0].seller, made.asked) == ("Hill seed", ())
    assert [s.name for s in made.suppliers] == ["North yard", "River yard"]


@pytest.mark.parametrize(
    ("sheet", "column", "text", "words"),
    [
        ("Seed lots", "Seller", "Nort yard", "nearest: 'North yard'"),
        ("Seed lots", "Order by", "soon", "2027"),
        ("Suppliers", "Pay by", "2027-01-14", "no day before Order by"),
    ],
)
def test_broken_days_and_sellers_are_faults_of_their_cell(tmp_path, sheet, column, text, words):
    (fault,) = faults(tmp_path, put(good(), sheet, 2, column, text))
    assert (fault.sheet, fault.row, fault.column) == (sheet, 2, column)
    assert words in f"{fault.expected} {fault.remedy}"


def test_pay_by_on_the_day_of_order_by_is_no_fault(tmp_path):
    made = read(tmp_path, put(good(), "Suppliers", 2, "Pay by", "2027-01-15"))
    assert made.suppliers[0].pay_by == date(2027, 1, 15)


@pytest.mark.parametrize(
    ("own", "seller", "days"),
    [
        (None, {}, (None, None)),
        (None, {"order_by": 5}, (5, 5)),
        (3, {"order_by": 5}, (3, 3)),
        (3, {"order_by": 5, "pay_by": 9}, (3, 9)),
        (7, {"pay_by": 6}, (7, 7)),  # nothing is paid before it is ordered
        (None, {"pay_by": 6}, (None, 6)),
    ],
)
def test_days_to_order_and_to_pay_seed(own, seller, days):
    def january(day):
        return None if day is None else date(2027, 1, day)

    elm = Supplier("Elm", **{name: january(day) for name, day in seller.items()})
    bought = lot(seller="Elm", order_by=january(own))
    assert seed_days(bought, season(suppliers=(elm,))) == tuple(map(january, days))

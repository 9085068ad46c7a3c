"""Tags of treated seed and invoices of loose seed: what is on them, and that they fit the stock."""

import io
import re
import shutil
import subprocess
from dataclasses import replace
from datetime import date

import openpyxl
import pytest

from planner.campaign.campaign import make_campaign, update
from planner.campaign.store import from_dict, to_dict
from planner.campaign.tags import effective_until, strongest
from planner.report import tag_frames
from planner.report.campaign_frames import campaign_book
from planner.report.labels import MARGIN, fitted
from planner.report.workbook import render
from planner.season.domain import Active, Done, Product
from planner.units import say_day
from tests.support.campaigns import hand_plan, hand_season
from tests.support.office import needs_drawing

STATEMENT = "Cover or collect spilled seed. Do not treat this seed again."


def told_season(**settings):
    """The hand season with facts of its products, a germination, and settings."""
    one = hand_season()
    alpha, beta = one.products
    alpha = replace(
        alpha,
        registration="00000-00",
        signal_word="WARNING",
        equipment="gloves",
        re_entry="12 h",
        first_aid="rinse with water",
        tag_statement=STATEMENT,
        not_with=("Beta",),
    )
    first, second = one.lots
    return replace(
        one,
        farm=replace(one.farm, **settings),
        products=(alpha, beta),
        lots=(
            replace(first, germination=0.93, test_date=date(2026, 11, 4)),
            replace(second, germination=None),
        ),
    )


def campaign(**settings):
    return make_campaign(told_season(**settings), hand_plan())


def labels(made):
    (block,) = (b for b in tag_frames.label_sheet(made).blocks if hasattr(b, "labels"))
    return block.labels


def test_label_of_a_lot():
    """Substance and caution (7 CFR 201.31a), signal word, the label's words, what the seed is.

    L1: three bags of 40 units of 50 lb.
    """
    made = campaign()
    (day,) = {r.day for r in made.calendar.runs if r.lot == "L1"}
    one = next(x for x in labels(made) if "Lot L1," in x[1])
    assert one == (
        "TREATED SOYBEAN SEED",
        "Lot L1, variety V18: 40 units, 2,000 lb",
        f"Treated {say_day(day)} by Hand farm, recipe R1. 2,800 seeds/lb; germination 93%, tested"
        " November 2026.",
        "Treated with fludioxonil.",
        "Do not use for food, feed, or oil purposes.",
        "Signal word: WARNING",
        STATEMENT,
    )


def test_nothing_is_invented_where_the_season_says_nothing():
    made = make_campaign(hand_season(), hand_plan())
    one = next(x for x in labels(made) if "Lot L1," in x[1])
    said = "\n".join(one)
    assert "Signal word: ______________" in said
    assert "By the label of Alpha: ____" in said
    assert "germination ______%, tested ______________" in said


def test_a_pesticide_without_active_ingredient_leaves_lines():
    """7 CFR 201.31a wants its common name, not its brand's: nobody knows it but its label."""
    one = told_season()
    alpha = replace(one.products[0], actives=(), tag_statement="", signal_word="")
    made = make_campaign(replace(one, products=(alpha, one.products[1])), hand_plan())
    said = next(x for x in labels(made) if "Lot L2," in x[1])
    assert "Treated with ______________ (in Alpha)." in said
    assert "Also carries Beta (inoculant)." in said
    assert "Signal word: ______________" in said
    assert any(x.startswith("By the label of Alpha: ____") for x in said)


def test_a_biological_has_lines_on_the_card_and_its_word_counts():
    """Many are registered as pesticides, too; here one with the stronger word (40 CFR 156.64)."""
    one = told_season()
    alpha, beta = one.products
    alpha = replace(alpha, signal_word="CAUTION")
    made = make_campaign(
        replace(one, products=(alpha, replace(beta, kind="biological"))), hand_plan()
    )
    cards = openpyxl.load_workbook(io.BytesIO(render(campaign_book(made))))["Recipe cards"]
    assert ["Beta"] in [[c for c in r if c is not None] for r in cards.values]
    assert strongest((alpha, replace(beta, kind="biological", signal_word="WARNING"))) == "WARNING"
    assert strongest((alpha, replace(beta, kind="biological"))) == "CAUTION"


def test_a_label_for_every_package():
    """L1: three bags of 40; L2: two of 40 and a part bag of 10."""
    found = labels(campaign(tags="per package"))
    assert [x[1] for x in found] == [
        "Lot L1, variety V18: package 1 of 3, 40 units, 2,000 lb",
        "Lot L1, variety V18: package 2 of 3, 40 units, 2,000 lb",
        "Lot L1, variety V18: package 3 of 3, 40 units, 2,000 lb",
        "Lot L2, variety V22: package 1 of 3, 40 units, 2,000 lb",
        "Lot L2, variety V22: package 2 of 3, 40 units, 2,000 lb",
        "Lot L2, variety V22: package 3 of 3, 10 units, 500 lb",
    ]
    inoculated = [x for x in found if "Lot L2" in x[1]]
    assert all(any("Inoculant not claimed" in text for text in x) for x in inoculated)


def test_days_on_labels_follow_what_was_done():
    made = update(campaign(tags="per package"), [Done("L1", "R1", 1, date(2027, 4, 22))])
    first = next(x for x in labels(made) if "package 1 of 3" in x[1] and "L1" in x[1])
    assert first[2].startswith("Treated 4/22/2027 by")


def test_days_on_labels_of_a_metric_farm():
    """Days as on the other sheets, as ISO 8601 has them; 20,000 lb are 9,072 kg."""
    made = campaign(metric=True)
    (day,) = {r.day for r in made.calendar.runs if r.lot == "L1"}
    assert next(x for x in labels(made) if "Lot L1," in x[1])[2].startswith(f"Treated {day} by")
    assert "20,000 lb (9,072 kg) or more" in str(tag_frames.tag_sheet(made).blocks)


def test_too_many_packages_get_a_label_a_lot(monkeypatch):
    monkeypatch.setattr(tag_frames, "MOST_LABELS", 5)
    made = campaign(tags="per package")
    assert len(labels(made)) == 2
    assert "More than 5 packages" in str(tag_frames.tag_sheet(made).blocks)


@pytest.mark.parametrize(
    ("words", "word"),
    [
        (("CAUTION", "WARNING"), "WARNING"),
        (("DANGER", "DANGER - POISON"), "DANGER - POISON"),
        (("none", "CAUTION"), "CAUTION"),
        (("none",), "none"),
        (("CAUTION", ""), ""),
        # none is stronger, so what is not known does not matter
        (("DANGER - POISON", ""), "DANGER - POISON"),
        ((), ""),
    ],
)
def test_strongest_signal_word(words, word):
    """Of several products the strongest: by category, 40 CFR 156.64; what is not known stays so."""
    products = [
        Product(f"P{i}", signal_word=w, actives=(Active("a", 1.0),)) for i, w in enumerate(words)
    ]
    assert strongest([*products, Product("Sheen", "polymer")]) == word


def test_the_month_that_is_claimed_is_never_over_before_the_seed_is_treated():
    assert effective_until(date(2026, 12, 31), 30) == "December 2026"
    assert effective_until(date(2027, 1, 1), 29) == "January 30, 2027"
    assert effective_until(date(2027, 1, 1), 30) == "January 2027"


# --- loose seed ----------------------------------------------------------------------------------


def loose(**settings):
    one = told_season(**settings)
    lots = (replace(one.lots[0], leaves_loose=True), one.lots[1])
    fields = (replace(one.fields[0], grower="Neighbor"), one.fields[1])
    return make_campaign(replace(one, lots=lots, fields=fields), hand_plan())


def test_loose_seed_has_an_invoice_in_place_of_tags():
    """7 CFR 201.33: the label's words on the invoice. 100 units of 50 lb go to North."""
    made = loose()
    (one,) = made.invoices
    assert (one.lot, one.grower, one.fields) == ("L1", "Neighbor", ("North",))
    assert (one.units, one.weight) == (pytest.approx(100.0), pytest.approx(5000.0))
    assert [x[1][:6] for x in labels(made)] == ["Lot L2"]
    book = openpyxl.load_workbook(io.BytesIO(render(campaign_book(made))))
    said = "\n".join(
        str(c) for row in book["Bulk invoices"].iter_rows(values_only=True) for c in row if c
    )
    for words in ("Neighbor", "100.0", "5,000 lb", "Treated with fludioxonil.", STATEMENT):
        assert words in said
    assert from_dict(to_dict(made)) == made


def test_all_loose_makes_no_labels():
    one = told_season()
    lots = tuple(replace(x, leaves_loose=True) for x in one.lots)
    made = make_campaign(replace(one, lots=lots), hand_plan())
    titles = [s.title for s in campaign_book(made).sheets]
    assert "Bulk invoices" in titles
    assert "Tag labels" not in titles


# --- facts on cards and logs ---------------------------------------------------------------------


def test_facts_of_the_label_on_card_and_log():
    book = openpyxl.load_workbook(io.BytesIO(render(campaign_book(campaign()))))
    rows = [
        [c for c in r if c is not None] for r in book["Recipe cards"].iter_rows(values_only=True)
    ]
    assert ["Alpha", "00000-00", "WARNING", "gloves", "12 h", "rinse with water"] in rows
    assert not any(r[0] == "Beta" and len(r) == 1 for r in rows if r)  # has no active ingredient
    bare = make_campaign(hand_season(), hand_plan())
    cards = openpyxl.load_workbook(io.BytesIO(render(campaign_book(bare))))["Recipe cards"]
    assert ["Alpha"] in [[c for c in r if c is not None] for r in cards.values]  # lines to write on
    assert any(r and "Alpha must not be mixed with Beta" in str(r[0]) for r in rows)
    log = [list(r) for r in book["Treatment log"].iter_rows(values_only=True)]
    head = next(r for r in log if "EPA no." in r)
    at = head.index("EPA no.")
    assert {r[at] for r in log if "Alpha" in r} == {"00000-00"}
    assert {r[at] for r in log if "Beta" in r} == {None}


# --- shared packages -----------------------------------------------------------------------------


def test_who_gets_a_package_that_two_fields_share():
    """North takes 100 of L1's 120 units in bags of 40; East, planted later, takes 15: 20 of bag 3
    go to North, 15 to East, 5 to none (derived)."""
    one, plan = told_season(), hand_plan()
    east = replace(one.fields[0], name="East", planting_date=date(2027, 5, 6))
    plan = replace(
        plan,
        planting=(*plan.planting, replace(plan.planting[0], field="East", acres=15.0, units=15.0)),
    )
    made = make_campaign(replace(one, fields=(*one.fields, east)), plan)
    assert [(s.lot, s.bag, s.field, s.units) for s in made.shared] == [
        ("L1", 3, "North", pytest.approx(20.0)),
        ("L1", 3, "East", pytest.approx(15.0)),
        ("L1", 3, "", pytest.approx(5.0)),
    ]
    assert campaign().shared == ()


# --- fit -----------------------------------------------------------------------------------------

LONG = tuple(
    f"Paragraph {n} of a label that wants many words on the tag of its seed." for n in range(15)
)


def test_a_text_too_long_goes_on_two_labels_in_full():
    points, parts = fitted(("HEAD", "Lot L1", *LONG), (4.0, 2.0))
    assert points == 8.0
    assert len(parts) > 1
    assert all(part[:2] == ("HEAD", "Lot L1") for part in parts)
    assert [t for part in parts for t in part[2:-1]] == list(LONG)
    assert fitted(("HEAD", "Lot L1", *LONG), (4.0, 6.0))[0] > 8.0


@pytest.mark.slow
@needs_drawing
@pytest.mark.parametrize(("stock", "size"), [("2 x 4 in", (288, 144)), ("4 x 6 in", (288, 432))])
def test_a_label_is_a_page_of_the_stocks_size(tmp_path, stock, size):
    """LibreOffice prints every label on one page of 4 x 2 or 4 x 6 inches, nothing else on it."""
    made = campaign(tags="per package", tag_stock=stock)
    book = campaign_book(made)
    (sheet,) = (s for s in book.sheets if s.title == "Tag labels")
    path = tmp_path / "labels.xlsx"
    path.write_bytes(render(replace(book, sheets=(sheet,))))
    profile = f"-env:UserInstallation={(tmp_path / 'office').as_uri()}"
    command = ["soffice", profile, "--headless", "--convert-to", "pdf", "--outdir", str(tmp_path)]
    subprocess.run([*command, str(path)], check=True, capture_output=True, timeout=600)
    pdf = str(tmp_path / "labels.pdf")
    assert shutil.which("pdftotext")
    done = subprocess.run(["pdftotext", "-bbox", pdf, "-"], check=True, capture_output=True)
    pages = done.stdout.decode().split("<page ")[1:]
    assert len(pages) == 6
    for page in pages:
        width, height = (float(n) for n in re.findall(r'(?:width|height)="([\d.]+)"', page)[:2])
        assert (width, height) == (pytest.approx(size[0], abs=1), pytest.approx(size[1], abs=1))
        ends = [float(n) for n in re.findall(r'xMax="([\d.]+)"', page)]
        feet = [float(n) for n in re.findall(r'yMax="([\d.]+)"', page)]
        assert max(ends) <= width - MARGIN * 72 + 1
        assert max(feet) <= height - MARGIN * 72 + 1
        assert "Label" not in page
        assert ">TREATED<" in page

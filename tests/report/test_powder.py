"""Powder for the planter, where some of the seed was treated before the plan. Worked by hand.

80 acres at a unit an acre: 40 units of L1, treated here, 40 of L2, which came treated. R1 takes 2
fl oz of powder a unit: the order counts 80, and L2's seed wants 80 more when it is planted.
"""

import pytest

from planner.campaign.campaign import make_campaign
from planner.optimize.options import SolveOptions
from planner.optimize.search.run import solve
from planner.report.card_frames import card_sheet
from planner.report.facts import Facts
from planner.report.field_frames import fields_sheet
from planner.report.sheets import Table, Text
from planner.report.treating_frames import doses_sheet
from planner.season.domain import POWDER
from tests.support.seasons import container, lot, product, recipe, season


def facts(on_hand, **second):
    one = season(
        lots=(lot(on_hand=40.0), lot("L2", **{"on_hand": 40.0, **second})),
        products=(product(), product("Dust", kind=POWDER, on_hand=on_hand)),
        containers=(container(), container("Dust")),
        recipes=(recipe("R1", Alpha=2.0, Dust=2.0),),
    )
    return Facts(solve(one, SolveOptions(seconds=20, gap=0.0)), one)


def notes(sheet):
    return [b.note for b in sheet.blocks if isinstance(b, Table) and b.note]


def said(sheet):
    (text,) = (b for b in sheet.blocks if isinstance(b, Text))
    return [p for p in text.paragraphs if "the order does not count" in p]


@pytest.mark.parametrize(
    ("on_hand", "words"),
    [
        (160.0, "80 fl oz are left over for it."),
        (159.0, "79 fl oz are left over. Get the rest as well."),
    ],
)
def test_seed_that_came_treated_takes_powder_too(on_hand, words):
    sheet = fields_sheet(facts(on_hand, treated_with="R1"))
    (line,) = said(sheet)
    assert "takes 80 fl oz of Dust, too" in line
    assert line.endswith(words)
    (table,) = (b for b in sheet.blocks if isinstance(b, Table))
    assert sorted(row[table.column("powder")] for row in table.rows) == [80.0, 80.0]


def test_what_is_treated_here_is_counted_already():
    assert said(fields_sheet(facts(160.0))) == []


def test_doses_and_cards_say_that_it_does_not_go_through_the_treater():
    made = facts(160.0)
    (note,) = notes(doses_sheet(made))
    assert note.endswith(" Dust: into the planter, not the treater.")
    cards = card_sheet(make_campaign(made.season, made.plan))
    said = [p for b in cards.blocks if isinstance(b, Text) for p in b.paragraphs]
    assert "Dust: into the planter, not the treater." in said

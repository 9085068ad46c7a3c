"""Short sheets on one page: nothing of them goes, long ones stay by themselves."""

from __future__ import annotations

from planner.report.facts import RULES
from planner.report.gathered import LONGEST, gathered
from planner.report.sheets import Column, Page, Sheet, Table, Text


def short(title: str, rows: int = 3) -> Sheet:
    table = Table(
        title.split()[0].lower(),
        (Column("a", "A"),),
        tuple((str(n),) for n in range(rows)),
        repeat_header=True,
        filter=True,
    )
    return Sheet(title, f"What {title} is for.", (table,), Page(landscape=True))


def test_short_sheets_stand_on_one_and_keep_all_they_say() -> None:
    sheets = [short(RULES), short("Other"), short("Most to spend"), short("Bought treated")]
    one, other = gathered(sheets)
    assert (one.title, other.title) == (RULES, "Other")
    assert one.purpose.endswith("Below: most to spend, bought treated.")
    tables = [b for b in one.blocks if isinstance(b, Table)]
    assert [t.rows for t in tables] == [s.blocks[0].rows for s in (*sheets[:1], *sheets[2:])]
    assert [t.repeat_header for t in tables] == [True, False, False]
    assert [b.title for b in one.blocks if isinstance(b, Text)] == [
        "Most to spend",
        "Bought treated",
    ]


def test_a_long_sheet_and_a_lone_one_stay_as_they_are() -> None:
    sheets = [short(RULES, LONGEST + 1), short("Most to spend")]
    assert gathered(sheets) == sheets

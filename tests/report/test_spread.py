"""Long tables on paper: a sheet repeats one header, so each of them is the last of its sheet."""

import io
from dataclasses import replace

import openpyxl
import pytest

from planner.campaign.campaign import make_campaign
from planner.explain.explain import explain
from planner.explain.trial import ExplainBudget
from planner.report.breaks import page_breaks, pages_used, shrink_parts, spare_a_page
from planner.report.heights import BLOCK_TITLE, row_heights, title_lines
from planner.report.layout import lay_out
from planner.report.measures import Manner
from planner.report.sheets import Book, Cell, Column, Link, Page, PageBreak, Sheet, Table, Text
from planner.report.spread import spread
from planner.report.table_writer import part_ends
from planner.report.workbook import render
from tests.support.books import described
from tests.support.sample_plan import awkward_season, big_season, greedy_plan, tiled

COLUMNS = (Column("name", "Name"), Column("other", "Other"))


def rows(count: int) -> tuple[tuple[str, str], ...]:
    return tuple((f"name {n}", f"other {n}") for n in range(count))


def sheet(*blocks) -> Sheet:
    return Sheet("Mine", "For a test.", blocks)


MAIN = Table("main", COLUMNS, rows(200), repeat_header=True)
SECOND = Table("second", COLUMNS, rows(90), "The second one")
SMALL = Table("small", COLUMNS, rows(20), "A small one")


def names(of: Sheet) -> list[str]:
    return [b.name for b in of.blocks if isinstance(b, Table)]


def test_the_main_table_goes_last_and_the_others_keep_their_order() -> None:
    text = Text(("Said after it.",))
    (found,) = spread([sheet(MAIN, SMALL, PageBreak(), text)], Manner())
    assert found.blocks == (SMALL, text, MAIN)


def test_a_second_long_table_gets_a_sheet_and_a_line_says_where() -> None:
    first, second = spread([sheet(SECOND, MAIN)], Manner())
    assert (first.title, second.title, second.heading) == ("Mine", "Mine 2", "The second one")
    assert first.blocks == (Text(("See Mine 2.",), "The second one"), MAIN)
    (table,) = second.blocks
    assert isinstance(table, Table)
    assert (table.rows, table.repeat_header) == (SECOND.rows, True)


def test_short_sheets_and_those_for_others_stay_as_they_are() -> None:
    """Twenty rows fit a page of 46; an order is signed under its last line."""
    short = sheet(replace(MAIN, rows=rows(20)), SMALL)
    order = replace(sheet(MAIN, SECOND), page=Page(private=False))
    assert spread([short, order], Manner()) == (short, order)


def test_a_table_that_fits_a_page_but_not_below_the_title_counts_as_long() -> None:
    """43 rows and a header fill a page of 46: the page before held the title alone."""
    nearly = replace(SECOND, rows=rows(43))
    (here,) = [p for p in lay_out(sheet(nearly), Manner(), home=True).placed if p.block is nearly]
    page = lay_out(sheet(nearly), Manner(), home=True).page_points
    assert 15.0 * (here.end - here.top) <= page < 15.0 * here.end
    assert [s.title for s in spread([sheet(nearly, SMALL)], Manner())] == ["Mine", "Mine 2"]
    # the header of a main table was repeated on the page of another one
    main = replace(nearly, repeat_header=True)
    (found,) = spread([sheet(main, SMALL)], Manner())
    assert names(found) == ["small", "second"]


def test_links_find_a_table_that_moved() -> None:
    here = Cell("to it", link=Link("Mine", "second", 4))
    links = Table("links", (Column("to", "To"),), ((here,),))
    book = Book((*spread([sheet(SECOND, MAIN)], Manner()), Sheet("Links", "For a test.", (links,))))
    made = openpyxl.load_workbook(io.BytesIO(render(book)))
    (link,) = [
        cell.hyperlink.location
        for row in made["Links"].iter_rows()
        for cell in row
        if cell.value == "to it"
    ]
    title, address = link.split("!")
    assert title == "'Mine 2'"
    assert made["Mine 2"][address].value == "name 4"


def whole_plan(season, plan, why=None) -> list[Book]:
    campaign = make_campaign(season, plan)
    return [*described(plan, season, campaign=campaign, why=why).values()]


def explained() -> list[Book]:
    season = awkward_season()
    plan = greedy_plan(season)
    return whole_plan(season, plan, explain(season, plan, ExplainBudget(0.0)))


def of_season(make) -> list[Book]:
    season = make()
    return whole_plan(season, greedy_plan(season))


@pytest.mark.parametrize(
    "make",
    [explained, lambda: of_season(lambda: big_season(200)), lambda: whole_plan(*tiled(15))],
    ids=["awkward", "large", "tiled"],
)
def test_no_table_of_a_plan_runs_over_pages_without_its_header(make) -> None:
    long = 0
    for book, each in [(made, sheet) for made in make() for sheet in made.sheets]:
        layout = lay_out(each, book.manner, home=each.page.private)
        layout.heights = row_heights(layout, book.manner)
        for placed in layout.placed:
            block = placed.block
            high = layout.points(placed.top, placed.end)
            if layout.one_page or not isinstance(block, Table) or high <= layout.page_points:
                continue
            long += 1
            assert block.repeat_header, (each.title, block.name)
            assert block is each.blocks[-1] or not each.page.private, (each.title, block.name)
    assert long > 3


@pytest.mark.parametrize("filled", [40, 41])
def test_a_table_begins_on_a_new_page_where_the_one_before_fills_its_page(filled: int) -> None:
    """A page holds 46 rows: four on top, the header and its rows, and a blank that may hang over.

    Forty rows leave nothing after that blank, 41 have it hang over; the next 20 rows go on.
    """
    full = Table("full", COLUMNS, rows(filled))
    after = Table("after", COLUMNS, rows(20), "After it")
    more = Table("more", COLUMNS, rows(30), "More")
    layout = lay_out(sheet(full, after, more), Manner(), home=False)
    assert page_breaks(layout) == [layout.table("after").top, layout.table("more").top]


@pytest.mark.parametrize("if_torn", [False, True])
@pytest.mark.parametrize(("second", "size"), [(30, 1.0), (50, 46 / 52), (120, 1.0)])
def test_parts_that_hardly_miss_a_page_are_printed_smaller(
    second: int, size: float, if_torn: bool
) -> None:
    """A page holds 46 rows. The second part has a header, its rows, a blank; 120 are too many."""
    first = Table("first", COLUMNS, rows(10))
    layout = lay_out(
        sheet(first, PageBreak(if_torn), Table("second", COLUMNS, rows(second))),
        Manner(),
        home=False,
    )
    shrink_parts(layout)
    assert layout.scale == pytest.approx(size)


def test_a_few_last_rows_take_no_page_of_their_own() -> None:
    """Rows of 15 points, 690 points a page (letter, 11 in less margins): by hand."""
    wide = (Column("name", "Name", width=91), Column("other", "Other", width=2))

    def pages(rows: int) -> tuple[int, float]:
        table = Table("long", wide, tuple((str(n), "") for n in range(rows)), repeat_header=True)
        layout = lay_out(Sheet("Long", "", (table,)), Manner(), home=False)
        layout.heights = {}
        spare_a_page(layout)
        return pages_used(layout)[0], layout.scale

    a_page = 690 // 15
    filled = 2 * a_page - 5  # three rows above, a header, and the header again
    assert pages(filled + 2)[0] == 2
    assert pages(filled + 2)[1] < pages(filled)[1]
    assert pages(filled + a_page // 2)[0] == 3


@pytest.mark.parametrize(("each", "pages"), [(25, 4), (35, 6), (20, 4)])
def test_blocks_that_half_fill_their_pages_stand_two_to_a_page(each: int, pages: int) -> None:
    """A page holds 46 rows, 55 in print 1.2 times smaller: two of 25 with header and blank.

    The first page has four rows on top, so one block is alone on it; two of 35 are too many.
    """
    blocks = [Table(f"t{n}", COLUMNS, rows(each)) for n in range(6)]
    layout = lay_out(sheet(*blocks), Manner(), home=False)
    layout.heights = {}
    spare_a_page(layout)
    assert pages_used(layout)[0] == pages
    assert (layout.scale < 1.0) is (each == 25)


def test_where_one_page_is_saved_another_may_be_too() -> None:
    """A page holds 46 rows. 4 on top and two blocks of 22 need 47, two of 40 and 12 need 51."""
    blocks = [Table(f"t{n}", COLUMNS, rows(each)) for n, each in enumerate((20, 20, 38, 10))]
    layout = lay_out(sheet(*blocks), Manner(), home=False)
    layout.heights = {}
    assert pages_used(layout)[0] == 4
    spare_a_page(layout)
    assert pages_used(layout)[0] == 2
    assert 46 / 54 < layout.scale < 46 / 51


def test_parts_are_ruled_off_where_they_have_rows() -> None:
    def ends(names: str) -> set[int]:
        table = Table("t", COLUMNS, tuple((n, "") for n in names), parts="name")
        return part_ends(table)

    assert ends("aaabbbb") == {2}
    assert ends("aabbcc") == {1, 3}
    assert ends("abcd") == set()
    assert ends("") == set()


def test_a_title_wider_than_the_page_wraps_and_prints_on_one_page_across() -> None:
    title = " + ".join(["Duskfield 480 FS Suspension Concentrate"] * 8)
    table = Table("t", COLUMNS, (("a", "b"),), title=title)
    layout = lay_out(Sheet("Long", "", (table,)), Manner(), home=False)
    assert title_lines(layout, title) > 1
    layout.heights = row_heights(layout, Manner())
    assert layout.heights[layout.placed[0].title_row] > BLOCK_TITLE
    file = openpyxl.load_workbook(io.BytesIO(render(Book((layout.sheet,)))))
    sheet = file["Long"]
    (cell,) = [c for row in sheet.iter_rows() for c in row if c.value == title]
    assert cell.alignment.wrap_text
    assert any(cell.coordinate in merged for merged in sheet.merged_cells.ranges)

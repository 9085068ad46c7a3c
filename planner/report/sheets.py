"""What a workbook says, without a word on how it looks: sheets, their blocks, tables and charts.

A `Book` holds `Sheet`s, a sheet its title, purpose and blocks one below the other. Blocks are
`Text`, `KeyFigures`, `Table` and `ChartRow`. `planner.report.workbook.render` turns a book into
bytes. Three promises make a description easy to write:

* numbers are handed over in working units (fl oz, units, acres, lb, fractions of one, money) and
  become the farm's own units by the `Measure` of their column;
* any text is safe: it can't become a formula or link, is cleaned of control characters and cut
  (and that is said) where a cell would overflow;
* links and formulas are only what is described by `Link` and `Formula`, never part of a text.

>>> from planner.report.measures import Measure
>>> fields = Table(
...     name="short",
...     title="Acres that stay unplanted",
...     columns=(Column("field", "Field"), Column("acres", "Short", Measure.AREA, total=True)),
...     rows=(("North", Cell(12.5, Look.SHORT)),),
...     empty="All land is covered.",
... )
>>> Sheet("Short fields", "Which fields are short, and by how much.", (fields,)).title
'Short fields'
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date
from enum import Enum
from typing import TYPE_CHECKING, TypeAlias

from planner.report.measures import Manner, Measure

if TYPE_CHECKING:
    from collections.abc import Mapping

MAX_TITLE = 31
"""Longest name of a sheet, by the file format."""
MAX_TEXT = 32_767
"""Longest text of a cell, by the file format."""


class Look(Enum):
    """What a cell or paragraph means; the renderer gives each meaning its look."""

    PLAIN = "plain"
    STRONG = "strong"
    """Stands out: bold."""
    FAINT = "faint"
    """Of less weight: a remark, a zero, a thing not in use."""
    OK = "ok"
    """As it should be: enough, covered, proven."""
    WATCH = "watch"
    """Wants a second look."""
    SHORT = "short"
    """Not enough, not covered, not allowed."""
    TOTAL = "total"
    """Sum of the rows above."""
    FILL_IN = "fill in"
    """Blank line to write on, by hand on paper or in the cell."""
    OVERTYPE = "overtype"
    """Cell that the reader is invited to change."""


@dataclass(frozen=True, slots=True)
class Link:
    """A jump inside the book: to a sheet, or to a table on it, or to one row of the table."""

    sheet: str
    """`Sheet.title`."""
    table: str = ""
    """`Table.name`; empty for the top of the sheet."""
    row: int = -1
    """Index into `Table.rows`; -1 for the table's header."""


@dataclass(frozen=True, slots=True)
class Formula:
    """A live formula of ours and the value that it has now.

    ``{column}`` stands for a cell of the same row by `Column.key`, ``{table.column}`` for a whole
    column of a table, ``{table.column:3}`` for its fourth cell; tables are sought on the same
    sheet. Cells hold what the reader sees, in the farm's units: a formula computes with those.

    >>> Formula("={count}*{price}", 40.0).value
    40.0
    """

    text: str
    value: float | str
    """Result in working units, as a plain cell would hold it; stored beside the formula for
    viewers that don't calculate."""


Value: TypeAlias = str | float | int | bool | date | None
"""What a cell may hold; None is blank. bool shows as yes or no."""


@dataclass(frozen=True, slots=True)
class Cell:
    """A value with a meaning, a jump, or a measure of its own. A bare value is a plain cell."""

    value: Value | Formula = None
    look: Look = Look.PLAIN
    link: Link | None = None
    measure: Measure | None = None
    """In place of the column's."""


Content: TypeAlias = Value | Formula | Cell


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a table. The header shows `header` and, behind it, the measure's unit."""

    key: str
    """Name inside the table, for charts and formulas; lower-case letters and underscores."""
    header: str
    measure: Measure = Measure.TEXT
    width: float | None = None
    """In characters; None fits the content (texts wrap past 40)."""
    total: bool = False
    """Sum it under the table (and under each group)."""
    decimals: int | None = None
    """In place of the measure's."""
    look: Look = Look.PLAIN
    """Of all cells that have none of their own."""
    passing: bool = False
    """Says how far things are: a row is the same row whatever it says."""
    when: tuple[tuple[str, Look], ...] = ()
    """Looks that follow the text of a live cell: (what it begins with, look)."""


@dataclass(frozen=True, slots=True)
class Table:
    """A table with one header row. Rows hold a content for every column."""

    name: str
    """Unique in its sheet; lower-case letters and underscores. Links and charts find it by this."""
    columns: tuple[Column, ...]
    rows: tuple[tuple[Content, ...], ...] = ()
    title: str = ""
    total_label: str = "Total"
    """In the first column of the total row, which stands if any column is summed; empty where only
    the groups are summed, as what is in several of them would count several times."""
    group: str = ""
    """Key of the column whose equal neighbors form a group with a subtotal; rows come sorted."""
    parts: str = ""
    """Key of the column whose equal neighbors are ruled off from the next ones."""
    break_groups: bool = False
    """Start every group on a page of its own."""
    filter: bool = False
    """Filter buttons on the header; for one table of a sheet, without groups."""
    repeat_header: bool = False
    """The sheet's main table: its header stays in sight and is printed on every page."""
    plain: bool = False
    """No header row and roomy rows: a form, such as names and lines to sign on."""
    roomy: bool = False
    """Rows high enough to write on."""
    empty: str = "None."
    """Said in place of a table without rows."""
    note: str = ""
    """A small line under the table; above it where its header is repeated."""

    def column(self, key: str) -> int:
        """Index of a column by its key; ValueError if there is none."""
        return [c.key for c in self.columns].index(key)

    def without(self, *keys: str) -> Table:
        """The same, but for some of its columns."""
        kept = [n for n, column in enumerate(self.columns) if column.key not in keys]
        return replace(
            self,
            columns=tuple(self.columns[n] for n in kept),
            rows=tuple(tuple(row[n] for n in kept) for row in self.rows),
        )

    def without_blank(self, *keys: str) -> Table:
        """The same, but for those of some columns that no row has anything in.

        >>> both = Table("t", (Column("a", "A"), Column("b", "B")), ((1, None), (2, None)))
        >>> both.without_blank("a", "b").rows
        ((1,), (2,))
        """
        places = ((key, self.column(key)) for key in keys)
        return self.without(*(k for k, n in places if all(row[n] is None for row in self.rows)))


@dataclass(frozen=True, slots=True)
class Text:
    """Paragraphs, one below the other, each wrapped over the width of the page."""

    paragraphs: tuple[str, ...]
    title: str = ""
    look: Look = Look.PLAIN
    bullets: bool = False


@dataclass(frozen=True, slots=True)
class KeyFigure:
    """One figure that matters, shown large, with its meaning under it."""

    label: str
    value: Value | Formula
    measure: Measure = Measure.TEXT
    note: str = ""
    look: Look = Look.PLAIN
    link: Link | None = None


@dataclass(frozen=True, slots=True)
class KeyFigures:
    """Three to five figures side by side."""

    figures: tuple[KeyFigure, ...]


class ChartKind(Enum):
    """How numbers are drawn."""

    COLUMNS = "columns"
    """Upright, side by side."""
    STACKED_COLUMNS = "stacked columns"
    STACKED_BARS = "stacked bars"
    """Lying, first row on top: for long names."""

    @property
    def lying(self) -> bool:
        """Whether bars lie."""
        return self is ChartKind.STACKED_BARS

    @property
    def stacked(self) -> bool:
        """Whether bars of a category are one on the other."""
        return self is not ChartKind.COLUMNS


@dataclass(frozen=True, slots=True)
class Series:
    """Numbers of a chart: a column of its table. Named by the column's header."""

    key: str
    marks: bool = False
    """Draw marks at these heights over the (stacked) bars, such as what is needed."""
    line: bool = False
    """Draw a line through these heights over the bars."""
    lift: bool = False
    """Not drawn and not named: it only lifts what is stacked on it."""
    ink: bool = False
    """Filled with ink, so that it stands out from the others."""


@dataclass(frozen=True, slots=True)
class Chart:
    """A chart of columns of one table of the book."""

    title: str
    kind: ChartKind
    table: Link
    """Sheet and table that hold its numbers."""
    categories: str
    """Key of the column that names the bars."""
    series: tuple[Series, ...]
    category_axis: str
    value_axis: str
    """Without unit; the unit of the first series is put behind."""
    height: float = 7.5
    """cm; lying bars grow beyond it with their number."""
    low: float | None = None
    """Value at which its axis begins, as a plain cell holds it; None for zero, or below."""
    first: int = 0
    """Draw only this many rows of the table; 0 for all."""


@dataclass(frozen=True, slots=True)
class ChartRow:
    """One or two charts side by side, over the width of the page."""

    charts: tuple[Chart, ...]


@dataclass(frozen=True, slots=True)
class PageBreak:
    """The next block begins a new printed page."""

    if_torn: bool = False
    """Only where what stands up to the next `PageBreak` would not fit on the page begun."""


@dataclass(frozen=True, slots=True)
class Labels:
    """Labels that are printed on stock of their own size, each on a page; see `Page.label`."""

    labels: tuple[tuple[str, ...], ...]
    """Paragraphs of each; the first two are set bold."""
    heads: int = 2


Block: TypeAlias = Text | Table | KeyFigures | ChartRow | PageBreak | Labels


@dataclass(frozen=True, slots=True)
class Page:
    """How a sheet is printed. Paper is letter, or A4 for metric farms; always one page wide."""

    landscape: bool = False
    one_page: bool = False
    """Shrink to a single page."""
    smaller: float = 1.0
    """Size of print as a share of what its width asks for, so that more is on a page."""
    private: bool = True
    """Foot with farm and fingerprint; False for a sheet that goes to someone else."""
    label: tuple[float, float] | None = None
    """Width and height of label stock, inches: only the sheet's `Labels` are printed."""


class Room(Enum):
    """Family of a sheet: its place among the others, in this order, and the color of its tab."""

    PLAN = "plan"
    ORDER = "order"
    TREATING = "treating"
    FIELDS = "fields"
    STOCK = "stock"
    WHY = "why"
    NOTES = "notes"


class Pack(Enum):
    """Workbook of a plan; see `planner.report.packs`."""

    WINTER = "winter"
    """To order and decide from."""
    SHOP = "shop"
    """To treat and plant from."""
    STUDY = "study"
    """Why the plan is as it is, and every further table."""


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet with one purpose."""

    title: str
    """On its tab and on top: plain words of ours, at most `MAX_TITLE` characters of them."""
    purpose: str
    """One sentence under the title: what it is for."""
    blocks: tuple[Block, ...] = ()
    page: Page = Page()
    room: Room = Room.PLAN
    heading: str = ""
    """On top in place of the title."""
    protect: bool = False
    """Lock all cells but those to overtype or fill in (without a password)."""
    apart: bool = False
    """Holds one long table that belongs to the sheet before."""
    moved: Mapping[str, str] = field(default_factory=dict)
    """Title of the sheet on which a table of this one stands by itself, by the table's name."""
    packs: tuple[Pack, ...] = ()
    """Workbooks that it is in; empty for the one of its room."""


@dataclass(frozen=True, slots=True)
class Book:
    """A whole workbook."""

    sheets: tuple[Sheet, ...]
    manner: Manner = field(default_factory=Manner)
    farm: str = ""
    season: str = ""
    """Such as 'Season 2027'."""
    dated: date | None = None
    fingerprint: str = ""

"""Long tables: paper repeats one header a sheet, so every long table is the last of its sheet."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from planner.report.breaks import LITTLE
from planner.report.heights import row_heights
from planner.report.layout import lay_out
from planner.report.sheets import PageBreak, Table, Text

if TYPE_CHECKING:
    from collections.abc import Iterable

    from planner.report.layout import Layout, Placed
    from planner.report.measures import Manner
    from planner.report.sheets import Block, Sheet

MOST_ROWS = 10
"""No table of so few rows is longer than a printed page."""


def spread(sheets: Iterable[Sheet], manner: Manner) -> tuple[Sheet, ...]:
    """Rearrange the sheets on which a table runs over pages without its header.

    The main table of a sheet, if it is long, goes to its end; every other long table goes to a
    sheet of its own behind, and a line says so. Links find it there. A sheet that goes to someone
    else stays as it is, to be signed under its last line.
    """
    return tuple(
        part
        for sheet in sheets
        for part in (_parts(sheet, manner) if sheet.page.private else [sheet])
    )


def _parts(sheet: Sheet, manner: Manner) -> list[Sheet]:
    last = sheet.blocks[-1] if sheet.blocks else None
    tables = [b for b in sheet.blocks if isinstance(b, Table) and len(b.rows) > MOST_ROWS]
    if not tables or (len(tables) == 1 and tables[0] is last and tables[0].repeat_header):
        return [sheet]
    long = _long_tables(sheet, manner)
    main = [t for t in long if t.repeat_header]
    others = [t for t in long if not t.repeat_header and not sheet.protect]
    moved = {t.name: f"{sheet.title} {n}" for n, t in enumerate(others, 2)}
    blocks: list[Block] = []
    for block in sheet.blocks:
        if isinstance(block, Table) and block.name in moved:
            blocks.append(Text((f"See {moved[block.name]}.",), block.title))
        elif not (isinstance(block, Table) and block in main):
            blocks.append(block)
    if main:
        blocks = [b for b in blocks if not isinstance(b, PageBreak)]
    stays = replace(sheet, blocks=(*blocks, *main), moved=moved)
    return [stays, *(_apart(sheet, table, moved[table.name]) for table in others)]


def _long_tables(sheet: Sheet, manner: Manner) -> list[Table]:
    layout = lay_out(sheet, manner, home=sheet.page.private)
    layout.heights = row_heights(layout, manner)
    if layout.one_page:
        return []
    return [
        placed.block
        for placed in layout.placed
        if isinstance(placed.block, Table) and _longer_than_a_page(layout, placed)
    ]


def _longer_than_a_page(layout: Layout, placed: Placed) -> bool:
    """Whether a table, with what little stands above it on the first page, is longer than one."""
    above = layout.points(1, placed.top)
    above = above if above < LITTLE * layout.page_points else 0.0
    return above + layout.points(placed.top, placed.end) > layout.page_points


def _apart(sheet: Sheet, table: Table, title: str) -> Sheet:
    """One table of a sheet as a sheet of its own."""
    return replace(
        sheet,
        title=title,
        heading=table.title,
        purpose=f"Goes with the sheet {sheet.title}.",
        apart=True,
        blocks=(replace(table, title="", repeat_header=True),),
    )

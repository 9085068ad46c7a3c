"""Where printed pages begin, and how much smaller a sheet is printed to need fewer of them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.report.layout import ROW
from planner.report.sheets import PageBreak, Table

if TYPE_CHECKING:
    from planner.report.layout import Layout

LEAST_BEGUN = 130.0
"""Points that a block longer than a page must find to begin on: title, header, some rows."""
LITTLE = 0.3
"""Share of a page that is too little to stand on it alone: a long table then begins below."""
CRUMB = 0.35
"""Share of a page that is too little for the last one: print a little smaller does without it."""
TIGHTER = (1.01, 1.02, 1.04, 1.08, 1.12, 1.16, 1.2)
"""How much smaller that may be, tried in turn."""
LEAST_TIGHT = 0.67
"""Size of print under which none is printed smaller for that."""


def shrink_parts(layout: Layout) -> None:
    """Print a little smaller where that keeps what stands between page breaks on one page each."""
    breaks = [p.top for p in layout.placed if isinstance(p.block, PageBreak)]
    if breaks:
        ends = zip([1, *breaks], [*breaks, layout.end], strict=True)
        each = [layout.points(first, end) for first, end in ends]
        highest = max((high for high in each if layout.may_shrink(high)), default=0.0)
        if highest > layout.page_points:
            layout.shrunk *= highest / layout.page_points


def spare_a_page(layout: Layout) -> None:
    """Print a little smaller where that keeps a few last rows from a page of their own.

    Also where blocks that are kept whole leave so much of their pages empty that two are saved.
    """
    scale, shrunk = layout.scale, layout.shrunk
    best, enough = shrunk, _worth_while(layout)
    for smaller in TIGHTER:
        if enough < 1 or scale / smaller < LEAST_TIGHT:
            break
        layout.shrunk = shrunk * smaller
        if pages_used(layout)[0] <= enough:
            best, enough = layout.shrunk, _worth_while(layout)
    layout.shrunk = best


def _worth_while(layout: Layout) -> int:
    """Pages that a sheet is to come down to for print that is a little smaller; 0 if none."""
    pages, left = pages_used(layout)
    whole = not any(p.torn for p in layout.placed)
    return pages - 1 if left <= CRUMB else pages - 2 if whole else 0


def pages_used(layout: Layout) -> tuple[int, float]:
    """Printed pages of a sheet, and the share of the last one that is filled; estimated."""
    room, breaks = layout.page_points, set(page_breaks(layout))
    header = {
        row: layout.points(p.header_row, p.header_row + 1)
        for p in layout.placed
        if isinstance(p.block, Table) and p.block.repeat_header
        for row in range(p.header_row + 1, p.end)
    }
    pages, used = 1, 0.0
    for row in range(1, layout.end):
        high = layout.points(row, row + 1)
        if row in breaks or used + high > room:
            pages, used = pages + 1, header.get(row, 0.0)
        used += high
    return pages, used / room


def page_breaks(layout: Layout) -> list[int]:
    """Rows to begin a page with, so that no block is torn that fits a page; notes which are."""
    if layout.sheet.page.label is not None:
        return [row for p in layout.placed for row in p.firsts][1:]
    found: list[int] = []
    room, used = layout.page_points, layout.points(1, 5)
    for number, placed in enumerate(layout.placed):
        block = placed.block
        placed.torn = False
        high = layout.points(placed.top, placed.end)
        fits = used + high - ROW <= room
        repeats = isinstance(block, Table) and block.repeat_header
        torn = high - ROW > room and room - used >= LEAST_BEGUN
        torn = torn or (repeats and used < LITTLE * room)
        if isinstance(block, PageBreak):
            fits = block.if_torn and used + _part(layout, number) - ROW <= room
            torn = False
        if not (fits or torn):
            found.append(placed.top)
            used = 0.0
        used += high
        if isinstance(block, Table) and block.break_groups:
            found += [row + 1 for row in placed.group_ends[:-1]]
            used = layout.points(found[-1], placed.end) if found else used
        if used - ROW > room:  # runs on over pages; where the last of them is filled is a guess
            placed.torn = True
            used %= room
    return [row for row in found if row > 5]


def _part(layout: Layout, number: int) -> float:
    """Height of what stands between a page break and the next one, or the end."""
    rest = layout.placed[number + 1 :]
    end = next((p.top for p in rest if isinstance(p.block, PageBreak)), layout.end)
    return layout.points(layout.placed[number].top, end)

"""The workbooks of a plan, for winter, shop and study: which sheet is in which."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from planner.report.sheets import Cell, KeyFigures, Pack, Room, Table

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from planner.report.sheets import Block, Content, Link, Sheet

PLAN_STEM = "plan"
NAMES = {Pack.WINTER: PLAN_STEM, Pack.SHOP: "shop", Pack.STUDY: "study"}
"""First word of the name of each workbook's file."""
OF_ROOM = {
    Room.PLAN: Pack.WINTER,
    Room.ORDER: Pack.WINTER,
    Room.TREATING: Pack.SHOP,
    Room.FIELDS: Pack.WINTER,
    Room.STOCK: Pack.STUDY,
    Room.WHY: Pack.STUDY,
    Room.NOTES: Pack.STUDY,
}
"""Workbook of a sheet that names none."""
ALL = tuple(Pack)


def packs_of(sheet: Sheet) -> tuple[Pack, ...]:
    """Workbooks that a sheet is in."""
    return sheet.packs or (OF_ROOM[sheet.room],)


def file_name(pack: Pack, stem: str = PLAN_STEM) -> str:
    """Name of a workbook's file beside the files of a plan with that stem.

    >>> file_name(Pack.SHOP), file_name(Pack.SHOP, "plan (2)"), file_name(Pack.WINTER, "plan (2)")
    ('shop.xlsx', 'shop (2).xlsx', 'plan (2).xlsx')
    >>> file_name(Pack.STUDY, "north"), file_name(Pack.WINTER, "north")
    ('north study.xlsx', 'north.xlsx')
    """
    first, gap, rest = stem.partition(" ")
    if first == PLAN_STEM:
        return f"{NAMES[pack]}{gap}{rest}.xlsx"
    return f"{stem}.xlsx" if pack is Pack.WINTER else f"{stem} {NAMES[pack]}.xlsx"


def elsewhere(title: str, pack: Pack) -> str:
    """Name a sheet that is in another workbook.

    >>> elsewhere("Order", Pack.STUDY)
    'Order in the study workbook'
    """
    return f"{title} in the {NAMES[pack]} workbook"


def within(sheets: Sequence[Sheet]) -> tuple[Sheet, ...]:
    """Sheets of one workbook: what would jump to a sheet of another one jumps nowhere."""
    titles = {s.title for s in sheets}
    return tuple(replace(s, blocks=tuple(_kept(b, titles) for b in s.blocks)) for s in sheets)


def _kept(block: Block, titles: Iterable[str]) -> Block:
    if isinstance(block, Table):
        rows = tuple(tuple(_content(c, titles) for c in row) for row in block.rows)
        return replace(block, rows=rows)
    if isinstance(block, KeyFigures):
        figures = tuple(replace(f, link=_link(f.link, titles)) for f in block.figures)
        return replace(block, figures=figures)
    return block


def _content(content: Content, titles: Iterable[str]) -> Content:
    if isinstance(content, Cell) and content.link is not None:
        return replace(content, link=_link(content.link, titles))
    return content


def _link(link: Link | None, titles: Iterable[str]) -> Link | None:
    return link if link is not None and link.sheet in titles else None

"""Short sheets that are printed on one, so that none leaves most of a page empty."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from planner.report.clean_frames import SHARED
from planner.report.container_frames import LEFT
from planner.report.explain_frames import BOUGHT_TREATED
from planner.report.facts import MATURITY, MOST_TO_SPEND, RULES, SEED
from planner.report.sheets import Page, Table, Text

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from planner.report.sheets import Block, Sheet

TOGETHER = ((RULES, MOST_TO_SPEND, BOUGHT_TREATED), (SEED, MATURITY), (SHARED, LEFT))
"""Titles of sheets of which the first that is there takes in the others."""
LONGEST = 24
"""Rows beyond which a table fills a page and its sheet stays by itself."""


def gathered(sheets: Sequence[Sheet]) -> list[Sheet]:
    """Put short sheets together; each keeps its title, above its tables."""
    found = {s.title: s for s in sheets}
    joined: dict[str, Sheet] = {}
    gone: set[str] = set()
    for titles in TOGETHER:
        own = [found[t] for t in titles if t in found and _short(found[t])]
        if len(own) > 1:
            joined[own[0].title] = _joined(own)
            gone |= {s.title for s in own[1:]}
    return [joined.get(s.title, s) for s in sheets if s.title not in gone]


def _short(sheet: Sheet) -> bool:
    return all(len(b.rows) <= LONGEST for b in sheet.blocks if isinstance(b, Table))


def _joined(sheets: Sequence[Sheet]) -> Sheet:
    first, *others = sheets
    purpose = f"{first.purpose} Below: {', '.join(_small(s.title) for s in others)}."
    blocks = (*first.blocks, *(b for s in others for b in _titled(s)))
    return replace(first, purpose=purpose, blocks=blocks, page=Page())


def _titled(sheet: Sheet) -> Iterator[Block]:
    """Blocks of a sheet under its title; of a sheet only one header row is printed again."""
    yield Text((sheet.purpose,), sheet.title)
    for block in sheet.blocks:
        if isinstance(block, Table):
            yield replace(block, repeat_header=False, filter=False)
        else:
            yield block


def _small(title: str) -> str:
    return title[:1].lower() + title[1:]

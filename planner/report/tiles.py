"""Key figures side by side: over which columns of its sheet each of them stretches."""

from __future__ import annotations

from itertools import combinations, pairwise
from typing import TYPE_CHECKING

from planner.report.fit import WIDER, value_width
from planner.report.texts import clean, text_width

if TYPE_CHECKING:
    from planner.report.measures import Manner
    from planner.report.sheets import KeyFigure, KeyFigures

SMALL, LARGE = 0.9, 1.6 * WIDER
"""Width of the letters of label and note, and of the value, in widths of a cell's letters."""
OFF_BORDERS = 3.0
"""Characters that the texts of a tile keep off its borders."""
NOTE_LINES = 2
"""Lines that a note may take before it asks for a wider tile."""


def tile_ends(block: KeyFigures, widths: list[float], manner: Manner) -> list[int]:
    """Last column of every tile, counted from 1, on a sheet with columns of these widths."""
    return shares(widths, [_wanted(figure, manner) for figure in block.figures])


def note_widths(block: KeyFigures, widths: list[float], manner: Manner) -> list[float]:
    """Width that the note of every tile has, in characters of a cell."""
    ends = [0, *tile_ends(block, widths, manner)]
    return [(sum(widths[a:b]) - OFF_BORDERS) / SMALL for a, b in pairwise(ends)]


def _wanted(figure: KeyFigure, manner: Manner) -> float:
    """Width in which a tile's texts stand unshrunk, characters."""
    note = clean(figure.note)
    longest = max((text_width(word) for word in note.split()), default=0.0)
    small = max(text_width(clean(figure.label)), longest, text_width(note) / NOTE_LINES)
    return (
        max(SMALL * small, LARGE * value_width(figure.value, figure.measure, manner)) + OFF_BORDERS
    )


def shares(widths: list[float], wanted: list[float]) -> list[int]:
    """Last column of each of some neighbours, the tightest as far from too narrow as can be.

    >>> shares([10, 10, 10, 10], [8, 8]), shares([30, 5, 5], [9, 9, 9])
    ([2, 4], [1, 2, 3])
    >>> shares([10, 10, 10, 10], [30, 9])
    [3, 4]
    """
    last = len(widths)

    def room(inner: tuple[int, ...]) -> tuple[float, float]:
        spans = [sum(widths[a:b]) for a, b in pairwise((0, *inner, last))]
        return min(s / w for s, w in zip(spans, wanted, strict=True)), -max(spans)

    return [*max(combinations(range(1, last), len(wanted) - 1), key=room), last]

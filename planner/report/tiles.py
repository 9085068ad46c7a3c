"""Key figures side by side: over which columns of its sheet each of them stretches."""

from __future__ import annotations

from itertools import combinations, pairwise
from typing import TYPE_CHECKING

from planner.report.fit import WIDER, value_width
from planner.report.texts import clean, lines, text_width

if TYPE_CHECKING:
    from planner.report.measures import Manner
    from planner.report.sheets import KeyFigure, KeyFigures

SMALL, LARGE = 0.9, 1.6 * WIDER
"""Width of the letters of label and note, and of the value, in widths of a cell's letters."""
OFF_BORDERS = 3.0
"""Characters that the texts of a tile keep off its borders."""
LINES = 2
"""Lines that a label or note may take before it asks for a wider tile."""


def tile_ends(block: KeyFigures, widths: list[float], manner: Manner) -> list[int]:
    """Last column of every tile, counted from 1, on a sheet with columns of these widths."""
    return shares(widths, [_wanted(figure, manner) for figure in block.figures])


def tile_lines(block: KeyFigures, widths: list[float], manner: Manner) -> tuple[int, int]:
    """Lines that the longest label and the longest note take in their tiles."""
    ends = [0, *tile_ends(block, widths, manner)]
    rooms = [(sum(widths[a:b]) - OFF_BORDERS) / SMALL for a, b in pairwise(ends)]
    both = [
        (lines(clean(f.label), room), lines(clean(f.note), room))
        for f, room in zip(block.figures, rooms, strict=True)
    ]
    return max(label for label, _ in both), max(note for _, note in both)


def _wanted(figure: KeyFigure, manner: Manner) -> float:
    """Width in which a tile's texts stand unshrunk and on few lines, characters."""
    small = max(_on_few_lines(clean(text)) for text in (figure.label, figure.note))
    large = value_width(figure.value, figure.measure, manner)
    return max(SMALL * small, LARGE * large) + OFF_BORDERS


def _on_few_lines(text: str) -> float:
    longest = max((text_width(word) for word in text.split()), default=0.0)
    return max(longest, text_width(text) / LINES)


def shares(widths: list[float], wanted: list[float]) -> list[int]:
    """Last column of each of some neighbors, the tightest as far from too narrow as can be.

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

"""Labels: texts set in the largest type that fits the stock, cut into two where none does."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.report.texts import clean, lines

if TYPE_CHECKING:
    from collections.abc import Sequence

CM_PER_INCH = 2.54
PIXELS_PER_INCH, PIXELS_PER_CHAR, PADDING = 96.0, 7.0, 5.0
"""Of a column in type of 10 point; its padding in pixels."""
MARGIN = 0.12
"""Of a label, inches on every side."""
SIZES = (12.0, 11.0, 10.0, 9.0, 8.5, 8.0)
"""Type of a label, points; not smaller than the 8 point of 7 CFR 201.31a."""
LEADING = 1.27
"""Height of a line, in heights of its type."""
SPARE = 4.0
"""Points of a label that stay free at its foot."""
SAFE = 1.5
"""Widths of a digit by which a column is narrower than the label: one wider is cut into pages."""
EASE = 0.96
"""Share of the width that a line may take: printers' letters differ a little."""


def width_chars(width: float) -> float:
    """Width of the column that fills a label of that many inches."""
    return ((width - 2 * MARGIN) * PIXELS_PER_INCH - PADDING) / PIXELS_PER_CHAR - SAFE


def height(text: str, points: float, width: float, bold: bool) -> float:
    """Height of one paragraph on a label of that many inches' width, points."""
    chars = width_chars(width) * 10.0 / points * EASE
    return lines(clean(text), chars, bold) * points * LEADING


def fitted(
    label: Sequence[str], stock: tuple[float, float], heads: int = 2
) -> tuple[float, list[tuple[str, ...]]]:
    """Size of type for a label, and the label; in several where even the smallest does not fit.

    Parameters
    ----------
    label
        Paragraphs; the first of them are set bold and stand on every part.
    stock
        Width and height of the label, inches.
    heads
        How many stand on every part.
    """
    width, high = stock
    room = (high - 2 * MARGIN) * 72.0 - SPARE
    for points in SIZES:
        used = sum(height(t, points, width, i < heads) for i, t in enumerate(label))
        if used <= room:
            return points, [tuple(label)]
    points = SIZES[-1]
    head = tuple(label[:heads])
    parts: list[list[str]] = [[]]
    top = sum(height(t, points, width, True) for t in head) + 2 * points * LEADING
    used = top
    for text in label[heads:]:
        each = height(text, points, width, False)
        if used + each > room and parts[-1]:
            parts.append([])
            used = top
        parts[-1].append(text)
        used += each
    return points, [
        (*head, *part, f"Label {n} of {len(parts)}: fix both.") for n, part in enumerate(parts, 1)
    ]

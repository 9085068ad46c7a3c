"""Pieces of SVG pictures: bars, lines, texts, patterns, round numbers of an axis.

No style is written into a picture: colors are attributes, patterns stand beside them, and texts
take their look from the page's style sheet.
"""

from __future__ import annotations

import math
from itertools import count
from typing import TYPE_CHECKING

from markupsafe import Markup, escape

from planner.report.measures import Measure
from planner.units import say_money

if TYPE_CHECKING:
    from collections.abc import Sequence

    from planner.report.measures import Manner

WIDTH = 560.0
LETTER = 6.6
"""Width of a letter of the chart's texts, at most, in units of the picture."""
INKS = ("#2f6f80", "#a3560c", "#dfe8ea", "#6e2410", "#6c8f98", "#5b4b8a")
EDGE = "#1c2b30"
PATTERNS = ("", "slant", "", "cross", "lines", "dots")
"""Beside each color, so that bars stay apart without it."""
SHOULD_TICK = 5
_numbers = count(1)


def ticks(low: float, high: float) -> list[float]:
    """Round numbers that span from `low` to `high`.

    >>> ticks(0, 87)
    [0.0, 20.0, 40.0, 60.0, 80.0, 100.0]
    >>> ticks(-12, 30)
    [-20.0, -10.0, 0.0, 10.0, 20.0, 30.0]
    """
    span = max(high - low, 1e-9)
    rough = span / SHOULD_TICK
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(m * power for m in (1, 2, 2.5, 5, 10) if m * power >= rough * 0.999)
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    return [round(i * step, 10) + 0.0 for i in range(first, max(last, first + 1) + 1)]


def axis_number(number: float, measure: Measure, manner: Manner) -> str:
    """Number of an axis.

    >>> from planner.report.measures import Manner
    >>> axis_number(-1234.5, Measure.MONEY, Manner(currency="CHF"))
    '-CHF 1,234.5'
    """
    text = f"{number:,.2f}".rstrip("0").rstrip(".")
    if measure in (Measure.MONEY, Measure.WHOLE_MONEY):
        return say_money(text, manner.currency)
    return f"{number * 100:g}%" if measure is Measure.PERCENT else text


class Picture:
    """Pieces of an SVG with patterns and names of its own."""

    def __init__(self, title: str, height: float, width: float = WIDTH) -> None:
        self.mark = f"c{next(_numbers)}"
        self.title, self.height, self.width = title, height, width
        self.parts: list[str] = []

    def fill(self, ink: int) -> str:
        """Color or pattern of a series."""
        return f"url(#{self.mark}-{ink})" if PATTERNS[ink] else INKS[ink]

    def bar(self, x: float, y: float, w: float, h: float, ink: int, said: str) -> None:
        """Draw a bar with its title."""
        self.parts.append(
            f'<rect x="{x:.1f}" y="{y:.1f}" width="{max(w, 0):.1f}" height="{max(h, 0):.1f}" '
            f'fill="{self.fill(ink)}" stroke="{EDGE}" stroke-width="0.7">'
            f"<title>{escape(said)}</title></rect>"
        )

    def line(self, x1: float, y1: float, x2: float, y2: float, css: str, width: float = 1) -> None:
        """Draw a line."""
        self.parts.append(
            f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" class="{css}" '
            f'stroke-width="{width}"/>'
        )

    def text(self, x: float, y: float, text: str, anchor: str = "start", css: str = "") -> None:
        """Write a text."""
        self.parts.append(
            f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" class="{css}">'
            f"{escape(text)}</text>"
        )

    def slanted(self, x: float, y: float, text: str) -> None:
        """Write a text that rises to a place from the left."""
        self.parts.append(
            f'<text transform="translate({x:.1f} {y:.1f}) rotate(-38)" text-anchor="end" '
            f'class="tick">{escape(text)}</text>'
        )

    def trace(self, points: Sequence[tuple[float, float]], css: str = "path") -> None:
        """Draw a line through points."""
        if points:
            text = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
            self.parts.append(f'<polyline points="{text}" class="{css}" fill="none"/>')

    def done(self, inks: Sequence[int] = ()) -> Markup:
        """Close the picture."""
        patterns = "".join(_pattern(f"{self.mark}-{i}", i) for i in dict.fromkeys(inks))
        defs = f"<defs>{patterns}</defs>" if patterns else ""
        return Markup(
            f'<svg class="chart" viewBox="0 0 {self.width:.0f} {self.height:.0f}" role="img" '
            f'aria-labelledby="{self.mark}-t" preserveAspectRatio="xMidYMid meet">'
            f'<title id="{self.mark}-t">{escape(self.title)}</title>{defs}'
            f"{''.join(self.parts)}</svg>"
        )


def _pattern(name: str, ink: int) -> str:
    kind, color = PATTERNS[ink], INKS[ink]
    head = f'<pattern id="{name}" width="6" height="6" patternUnits="userSpaceOnUse"'
    ground = f'<rect width="6" height="6" fill="{color}"/>'
    drawn = {
        "slant": '<path d="M-1 7 L7 -1" stroke="#fff6e6" stroke-width="1.6"/>',
        "cross": '<path d="M0 3H6M3 0V6" stroke="#f8dccf" stroke-width="0.8"/>',
        "lines": '<path d="M0 3H6" stroke="#fff" stroke-width="1.6"/>',
        "dots": '<circle cx="3" cy="3" r="1.3" fill="#fff"/>',
    }
    return f"{head}>{ground}{drawn[kind]}</pattern>" if kind else ""

"""Where the parts of a chart go: bars that lie, with names beside them, or stand on theirs."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.page.picture import LETTER, WIDTH

if TYPE_CHECKING:
    from collections.abc import Sequence

    from planner.page.picture import Picture

MOST_BESIDE, MOST_SLANTED = 28, 14
"""Letters of a name beside a lying bar, and under a standing one where names are long; the whole
name is in the bar's title."""


class Axes:
    """What lying and standing bars share: categories along one side, values along the other."""

    low_end: float
    high_end: float
    """Where the smallest and the largest number of the scale are, on the side of the values."""
    bottom: float
    """Under it comes the legend."""
    step: float
    """From one category to the next."""
    first: float
    """Where the first category begins."""
    gap: float
    """Free in front of the bars of a category."""
    thick: float
    """Of a bar."""

    def __init__(
        self,
        names: Sequence[str],
        scale: Sequence[float],
        labels: Sequence[str],
        side_by_side: int,
    ) -> None:
        self.names, self.scale, self.labels = names, scale, labels
        self.side_by_side = side_by_side
        self.place()

    def place(self) -> None:
        """Settle where everything is."""
        raise NotImplementedError

    def at(self, value: float) -> float:
        """Where a value is; what is off the scale is at its end."""
        share = (value - self.scale[0]) / (self.scale[-1] - self.scale[0])
        return self.low_end + (self.high_end - self.low_end) * min(1.0, max(0.0, share))

    def span(self, i: int) -> tuple[float, float]:
        """Where the bars of a category begin and end."""
        start = self.first + i * self.step + self.gap
        return start, start + self.thick * self.side_by_side

    def middle(self, i: int) -> float:
        """Middle of a category."""
        return self.first + (i + 0.5) * self.step


class Lying(Axes):
    """Categories from top to bottom, values from left to right."""

    def place(self) -> None:
        """Settle where everything is: as high as there are bars."""
        self.thick = 15.0 if self.side_by_side == 1 else 9.0
        self.step = self.side_by_side * self.thick + 8
        self.first, self.gap = 8.0, 0.0
        self.low_end = 12 + LETTER * min(MOST_BESIDE, max(len(n) for n in self.names))
        self.high_end = WIDTH - 24
        self._floor = 10 + self.step * len(self.names)
        self.bottom = self._floor + 20

    def frame(self, picture: Picture, title: str) -> None:
        """Draw lines and numbers of the scale."""
        for tick, label in zip(self.scale, self.labels, strict=True):
            x = self.at(tick)
            picture.line(x, 6, x, self._floor, "grid")
            picture.text(x, self._floor + 14, label, "middle", "tick")
        picture.text(self.high_end, self._floor + 30, title, "end", "tick")

    def name(self, picture: Picture, i: int) -> None:
        """Write the name of a category beside its bars."""
        text = _cut(self.names[i], MOST_BESIDE)
        picture.text(self.low_end - 6, self.first + (i + 0.5) * self.step, text, "end")

    def bar(
        self, picture: Picture, i: int, place: int, low: float, high: float, ink: int, said: str
    ) -> None:
        """Draw a bar from one value to another."""
        y = self.span(i)[0] + place * self.thick
        thick = self.thick - (1 if self.side_by_side > 1 else 0)
        picture.bar(self.at(low), y, self.at(high) - self.at(low), thick, ink, said)

    def mark(self, picture: Picture, i: int, value: float) -> None:
        """Draw a mark across the bars of a category."""
        start, end = self.span(i)
        picture.line(self.at(value), start - 3, self.at(value), end + 3, "mark", 3)

    def point(self, i: int, value: float) -> tuple[float, float]:
        """Where a line passes a category."""
        return self.at(value), self.middle(i)

    def base(self, picture: Picture, value: float) -> None:
        """Draw the line that bars begin at."""
        picture.line(self.at(value), 6, self.at(value), self._floor, "axis")


class Standing(Axes):
    """Categories from left to right, values from bottom to top."""

    def place(self) -> None:
        """Settle where everything is: names that are too long for their step slant."""
        self._left = 14 + LETTER * max(len(label) for label in self.labels)
        self.step = (WIDTH - self._left - 12) / len(self.names)
        longest = max(len(n) for n in self.names)
        self.slants = longest > int(self.step / LETTER)
        wide = min(46.0, self.step * 0.76)
        self.first, self.gap = self._left, (self.step - wide) / 2
        self.thick = wide / self.side_by_side
        self.high_end, self.low_end = 26.0, 216.0
        under = 12 + 4.4 * min(MOST_SLANTED, longest) if self.slants else 18.0
        self.bottom = self.low_end + under + 6

    def frame(self, picture: Picture, title: str) -> None:
        """Draw lines and numbers of the scale."""
        picture.text(8, 14, title, "start", "tick")
        for tick, label in zip(self.scale, self.labels, strict=True):
            y = self.at(tick)
            picture.line(self._left, y, WIDTH - 8, y, "grid")
            picture.text(self._left - 6, y + 4, label, "end", "tick")

    def name(self, picture: Picture, i: int) -> None:
        """Write the name of a category under its bars."""
        if self.slants:
            picture.slanted(self.middle(i), self.low_end + 12, _cut(self.names[i], MOST_SLANTED))
        else:
            picture.text(self.middle(i), self.low_end + 15, self.names[i], "middle", "tick")

    def bar(
        self, picture: Picture, i: int, place: int, low: float, high: float, ink: int, said: str
    ) -> None:
        """Draw a bar from one value to another."""
        x = self.span(i)[0] + place * self.thick
        wide = self.thick - (0.5 if self.side_by_side > 1 else 0)
        picture.bar(x, self.at(high), wide, self.at(low) - self.at(high), ink, said)

    def mark(self, picture: Picture, i: int, value: float) -> None:
        """Draw a mark across the bars of a category."""
        start, end = self.span(i)
        picture.line(start - 4, self.at(value), end + 4, self.at(value), "mark", 3)

    def point(self, i: int, value: float) -> tuple[float, float]:
        """Where a line passes a category."""
        return self.middle(i), self.at(value)

    def base(self, picture: Picture, value: float) -> None:
        """Draw the line that bars begin at."""
        picture.line(self._left, self.at(value), WIDTH - 8, self.at(value), "axis")


def _cut(name: str, most: int) -> str:
    return name if len(name) <= most else name[: most - 1] + "…"

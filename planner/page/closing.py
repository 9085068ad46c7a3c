"""The picture of a search: lowest total and proven bound close in on each other."""

from __future__ import annotations

from typing import TYPE_CHECKING

from markupsafe import Markup

from planner.page.picture import LETTER, WIDTH, Picture, axis_number, ticks
from planner.report.measures import Measure

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from planner.optimize.options import Progress
    from planner.report.measures import Manner


def closing_in(points: Sequence[Progress], now: float, seconds: float, manner: Manner) -> Markup:
    """Draw lowest total and bound over the time of a search; nothing before there is a plan.

    Parameters
    ----------
    now, seconds
        Seconds that it has run, and that it may.
    """
    known = [(p.seconds, p.cost) for p in points if p.cost is not None]
    bounds = [(p.seconds, p.bound) for p in points if p.bound is not None]
    if not known:
        return Markup("")
    costs, lows = [cost for _, cost in known], [bound for _, bound in bounds]
    late = costs[len(costs) // 3 :]
    high = max(late) + 0.02 * abs(max(late))
    low = max(min([*lows, *costs]), high - 3 * (high - (lows[-1] if lows else costs[-1])) - 1.0)
    scale = ticks(low, high)
    picture = Picture("Lowest total and proven floor while the search runs", 230.0)
    left = 14 + LETTER * max(len(axis_number(t, Measure.MONEY, manner)) for t in scale)
    top, bottom, right = 14.0, 176.0, WIDTH - 16

    def y_of(value: float) -> float:
        share = (value - scale[0]) / (scale[-1] - scale[0])
        return bottom - (bottom - top) * min(1.0, max(0.0, share))

    def x_of(at: float) -> float:
        return left + (right - left) * min(1.0, at / max(seconds, 1e-9))

    for tick in scale:
        picture.line(left, y_of(tick), right, y_of(tick), "grid")
        said = axis_number(tick, Measure.MONEY, manner)
        picture.text(left - 6, y_of(tick) + 4, said, "end", "tick")
    for at in ticks(0.0, seconds):
        if at <= seconds:
            picture.text(x_of(at), bottom + 16, f"{at:g} s", "middle", "tick")
    picture.trace(_steps(known, now, x_of, y_of), "best")
    picture.trace(_steps(bounds, now, x_of, y_of), "floor")
    picture.line(left, bottom, right, bottom, "axis")
    for x, css, name in ((8.0, "best", "lowest total so far"), (190.0, "floor", "proven floor")):
        picture.trace([(x, bottom + 38), (x + 26, bottom + 38)], css)
        picture.text(x + 32, bottom + 42, name)
    return picture.done()


def _steps(
    states: Sequence[tuple[float, float]],
    now: float,
    x_of: Callable[[float], float],
    y_of: Callable[[float], float],
) -> list[tuple[float, float]]:
    """Corners of a line that keeps each value until the next one, up to now."""
    points: list[tuple[float, float]] = []
    for at, value in states:
        if points:
            points.append((x_of(at), points[-1][1]))
        points.append((x_of(at), y_of(value)))
    if points:
        points.append((x_of(now), points[-1][1]))
    return points

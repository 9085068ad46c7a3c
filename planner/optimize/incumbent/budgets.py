"""How long a solve near a plan may go on, and when one that finds nothing better is stopped."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from planner.optimize.mip.highs import Limits, Watch, now

if TYPE_CHECKING:
    import numpy as np

    from planner.optimize.incumbent.incumbent import Incumbent
    from planner.optimize.mip.highs import Floats


def longest(incumbent: Incumbent) -> float:
    """Seconds that one stretch of search may take."""
    return max(3.0, 0.15 * incumbent.options.seconds)


@dataclass(slots=True)
class _Patience:
    """Stop a solve that has found nothing better for a while."""

    incumbent: Incumbent
    idle: float
    heard: float

    def hear(self, x: Floats, cost: float) -> None:
        """Note that something better was found."""
        del x, cost
        self.heard = now()

    def is_set(self) -> bool:
        """Whether to stop."""
        if self.incumbent.is_set():
            return True
        counted = self.incumbent.options.effort is not None
        return not counted and now() - self.heard > self.idle


def idle_seconds(incumbent: Incumbent) -> float:
    """Seconds in which a solve near a solution must find a better one to go on."""
    params, it = incumbent.options.params.strategies, incumbent.model.it
    seconds = params.idle * incumbent.options.seconds
    if it.season.farm.max_varieties == 1:  # patterns put together take as long as they get
        return seconds
    return min(seconds, params.idle_most * max(1.0, len(it.fields) / 60.0))


def patient(incumbent: Incumbent, *, started: bool = False) -> Watch:
    """Stop a solve when the search stops, and when it has found nothing better for a while.

    What did not start from anything gets longer for its first, and then half as long.
    """
    idle = idle_seconds(incumbent)
    patience = (
        _Patience(incumbent, idle, now())
        if started
        else _Patience(incumbent, idle / 2, now() + idle)
    )
    return Watch(patience, patience.hear)


def limits_near(incumbent: Incumbent, rng: np.random.Generator, gap: float = 1e-4) -> Limits:
    """For a solve that need not come to its end."""
    seed, options = int(rng.integers(2**31)), incumbent.options
    longest = options.params.strategies.longest
    seconds = min(longest * idle_seconds(incumbent), incumbent.left())
    return Budget(seconds, options.steps).limits(gap, seed)


def times_best(incumbent: Incumbent, x: Floats) -> float:
    """Cost of a solution as a multiple of the best plan's; costs may be negative."""
    return 1.0 + (incumbent.model.matrix.price(x) - incumbent.cost) / max(1.0, abs(incumbent.cost))


@dataclass(frozen=True, slots=True)
class Budget:
    """How much a strategy may spend: seconds, or steps where work must be repeatable."""

    seconds: float
    steps: int | None = None

    def limits(self, gap: float, seed: int) -> Limits:
        """The same for one solve."""
        if self.steps is not None:
            return Limits(gap=gap, nodes=self.steps, seed=seed)
        return Limits(seconds=self.seconds, gap=gap, seed=seed)


def to_the_end(incumbent: Incumbent) -> Limits:
    """All the time that is left, and half the gap: for two solves that each prove it."""
    return Limits(incumbent.left(), incumbent.options.gap / 2, restarts=False)
